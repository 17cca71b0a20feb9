//! Finishing, against a stage whose truth is known and against published values.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod bad_input;
mod pots;
mod scene;
mod stage;

use imaging::finish::{
    Axis, Background, FinishError, FinishSettings, Finished, FrameToFinish, Glance, RowLight, SetPlan,
    Shadow, Sight, SmallPlate, Target, finish_frame, look, place_plate, plan_place,
};
use stage::{Drawn, Fault, SIZE, Thing, draw};

/// Finishes frames as the app does: a look at each, light, plan, each frame.
fn finish_all(
    frames: &[&[u8]],
    plate: Option<&[u8]>,
    axis: Option<Axis>,
    settings: &FinishSettings,
) -> Result<(SetPlan, Vec<Finished>), FinishError> {
    let stops: Vec<u32> = (1..=frames.len() as u32).collect();
    let small = plate.map(SmallPlate::read).transpose()?;
    let looks = frames.iter().map(|f| look(f, small.as_ref())).collect::<Result<Vec<_>, _>>()?;
    let (glances, sights): (Vec<Glance>, Vec<Sight>) = looks.into_iter().map(|l| (l.glance, l.sight)).unzip();
    let light = RowLight::measure(&stops, &glances)?.with(settings);
    let plan = plan_place(glances[0].full_size_px, &stops, &sights, axis, light, settings)?;
    let target = Target::native(&plan.placement);
    let placed = plate.map(|p| place_plate(p, &plan, target)).transpose()?;
    let finished = frames
        .iter()
        .zip(&sights)
        .enumerate()
        .map(|(number, (f, sight))| {
            let which = FrameToFinish { number, sight, plate: placed.as_ref() };
            finish_frame(f, &plan, which, settings, target)
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok((plan, finished))
}

/// The truth's share of the object in a finished picture, by following each pixel back to the frame.
fn truth_at(plan: &SetPlan, truth: &[f32], size: (u32, u32)) -> Vec<f32> {
    truth_on(plan, truth, size, SIZE)
}

/// As [`truth_at`], on frames of another size.
fn truth_on(plan: &SetPlan, truth: &[f32], size: (u32, u32), frame: (u32, u32)) -> Vec<f32> {
    let c = plan.placement.crop;
    (0..size.0 * size.1)
        .map(|i| {
            let x = c.left_px + (f64::from(i % size.0) + 0.5) * c.width_px / f64::from(size.0);
            let y = c.top_px + (f64::from(i / size.0) + 0.5) * c.height_px / f64::from(size.1);
            let [x, y] = plan.placement.on_frame([x, y]);
            let (column, row) = ((x - 0.5).round(), (y - 0.5).round());
            let inside =
                column >= 0.0 && row >= 0.0 && column < f64::from(frame.0) && row < f64::from(frame.1);
            if inside { truth[row as usize * frame.0 as usize + column as usize] } else { 0.0 }
        })
        .collect()
}

const FAULTY: Fault = Fault { axis_off_px: 37.0, lean_deg: 1.5, exposure_ev: 0.0, cast: [0.93, 0.985, 1.07] };

/// A dozen stops with exposure steps of 0.3 stops either way.
fn faulty_set(thing: Thing) -> Vec<Drawn> {
    (0..12)
        .map(|i| {
            let exposure_ev = [0.0, 0.3, -0.3, 0.0, -0.3, 0.3][i % 6];
            draw(i as f64 * 30.0, thing, &Fault { exposure_ev, ..FAULTY })
        })
        .collect()
}

fn check_faulty_set(plate: Option<&[u8]>) {
    let set = faulty_set(Thing::Jug);
    let frames: Vec<&[u8]> = set.iter().map(|d| d.png.as_slice()).collect();
    let axis = Axis { column_px: 637.0, lean_deg: 1.5 };
    let (plan, finished) = finish_all(&frames, plate, Some(axis), &FinishSettings::default()).unwrap();
    let mut means = Vec::new();
    let mut least_white = 1.0_f64;
    let mut least_overlap = 1.0_f64;
    for (i, (done, drawn)) in finished.iter().zip(&set).enumerate() {
        let size = (done.picture.width_px(), done.picture.height_px());
        assert_eq!(size.0, size.1, "square");
        let truth = truth_at(&plan, &drawn.truth, size);
        let shadow: Vec<f32> =
            stage::shadow_map(&FAULTY, 0.006).iter().map(|s| f32::from(u8::from(*s))).collect();
        let shadow = truth_at(&plan, &shadow, size);
        // Outside shadow and object, two pixels off its edge.
        let (mut white, mut ground) = (0_u32, 0_u32);
        let (mut both, mut either) = (0_u32, 0_u32);
        let mut body = [0.0_f64; 3];
        let mut body_count = 0.0;
        let alpha = done.cutout.as_ref().unwrap().alpha();
        let near = |x: u32, y: u32| {
            (y.saturating_sub(2)..(y + 3).min(size.1)).any(|y| {
                (x.saturating_sub(2)..(x + 3).min(size.0)).any(|x| truth[(y * size.0 + x) as usize] > 0.0)
            })
        };
        for y in 0..size.1 {
            for x in 0..size.0 {
                let at = (y * size.0 + x) as usize;
                let (found, wanted) = (alpha[at] >= 128, truth[at] >= 0.5);
                both += u32::from(found && wanted);
                either += u32::from(found || wanted);
                let pixel = done.picture.pixel(x, y).unwrap();
                if truth[at] == 0.0 && shadow[at] == 0.0 && !near(x, y) {
                    ground += 1;
                    white += u32::from(pixel == [255; 3]);
                }
                // A patch of the body, above the handle, that looks the same from every side.
                let (u, v) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
                let c = plan.placement.crop;
                let on_frame = plan.placement.on_frame([
                    c.left_px + u * c.width_px / f64::from(size.0),
                    c.top_px + v * c.height_px / f64::from(size.1),
                ]);
                let (right, up) = stage::on_stage(on_frame[0], on_frame[1], &FAULTY);
                if right.abs() < 40.0 && (360.0..390.0).contains(&up) {
                    for c in 0..3 {
                        body[c] += imaging::srgb::to_linear(f64::from(pixel[c]) / 255.0);
                    }
                    body_count += 1.0;
                }
            }
        }
        least_white = least_white.min(f64::from(white) / f64::from(ground));
        least_overlap = least_overlap.min(f64::from(both) / f64::from(either));
        means.push(body.map(|v| v / body_count));
        // Nothing of the object lies outside the common crop.
        let inside: f32 = truth.iter().sum();
        let scale = plan.placement.crop.width_px / f64::from(size.0);
        let whole: f32 = drawn.truth.iter().sum();
        let kept = f64::from(inside) * scale * scale / f64::from(whole);
        assert!((0.998..1.002).contains(&kept), "stop {i}: {kept} of the object is inside");
        let border = || (0..size.0).flat_map(|k| [(k, 0), (k, size.1 - 1), (0, k), (size.0 - 1, k)]);
        assert!(border().all(|(x, y)| truth[(y * size.0 + x) as usize] == 0.0), "stop {i} is cut");
        // A shadow that is longer than the crop must not end with an edge on a white page.
        let darkest = border().map(|(x, y)| done.picture.pixel(x, y).unwrap()[1]).min().unwrap();
        assert!(darkest >= 253, "stop {i}: {darkest} at the border");
    }
    // The axis: two places on it far apart, carried over to the finished picture.
    let size = f64::from(finished[0].picture.width_px());
    let place = |up: f64| {
        let (sin, cos) = 1.5_f64.to_radians().sin_cos();
        let d = 230.0 - up;
        let frame = [637.0 - sin * d, 450.0 + cos * d];
        let [x, y] = plan.placement.straightened(frame);
        let c = plan.placement.crop;
        [(x - c.left_px) * size / c.width_px, (y - c.top_px) * size / c.height_px]
    };
    let (low, high) = (place(0.0), place(430.0));
    let lean = ((high[0] - low[0]) / (low[1] - high[1])).atan().to_degrees();
    let off = f64::midpoint(low[0], high[0]) - size / 2.0;
    let spread = (0..3)
        .map(|c| {
            let logs: Vec<f64> = means.iter().map(|m| m[c].log2()).collect();
            logs.iter().copied().fold(f64::MIN, f64::max) - logs.iter().copied().fold(f64::MAX, f64::min)
        })
        .fold(0.0, f64::max);
    println!(
        "plate {}: axis {off:.3} px {lean:.4}°, spread {spread:.4} EV, white {:.3} %, overlap {:.3} %",
        plate.is_some(),
        least_white * 100.0,
        least_overlap * 100.0
    );
    assert!(off.abs() < 0.5 && lean.abs() < 0.1, "{off} px, {lean}°");
    assert!(spread < 0.03, "{spread} EV");
    assert!(least_white >= 0.995, "{least_white}");
    assert!(least_overlap >= 0.99, "{least_overlap}");
    // The cast is gone: the paint is the stage's own colour again but for the exposure.
    let paint = [0.58, 0.50, 0.36];
    let m = means[0];
    let (red, blue) = ((m[0] / m[1]) / (paint[0] / paint[1]), (m[2] / m[1]) / (paint[2] / paint[1]));
    assert!((red - 1.0).abs() < 0.02 && (blue - 1.0).abs() < 0.02, "{red} {blue}");
}

#[test]
fn a_faulty_set_becomes_even_upright_and_white_with_a_plate() {
    let plate = draw(0.0, Thing::Empty, &FAULTY);
    check_faulty_set(Some(&plate.png));
}

#[test]
fn a_faulty_set_becomes_even_upright_and_white_without_a_plate() {
    check_faulty_set(None);
}

/// The contact shadow stays where it was, about as deep as it was.
#[test]
fn the_shadow_stays_or_goes_as_asked() {
    let frame = draw(90.0, Thing::Jug, &Fault::default());
    let plate = draw(0.0, Thing::Empty, &Fault::default());
    let axis = Axis { column_px: 600.0, lean_deg: 0.0 };
    for (shadow, plate) in
        [(Shadow::Keep, Some(plate.png.as_slice())), (Shadow::Keep, None), (Shadow::Remove, None)]
    {
        let settings = FinishSettings { shadow, sharpen_percent: 0.0, ..FinishSettings::default() };
        let (plan, finished) = finish_all(&[&frame.png], plate, Some(axis), &settings).unwrap();
        let size = finished[0].picture.width_px();
        let c = plan.placement.crop;
        // Just below the foot, 25 px right of the axis: the stage says what light is left there.
        let (right, up) = (25.0, -8.0);
        let x = ((600.0 + right - c.left_px) * f64::from(size) / c.width_px) as u32;
        let y = ((450.0 + 230.0 - up - c.top_px) * f64::from(size) / c.height_px) as u32;
        let found = imaging::srgb::to_linear(f64::from(finished[0].picture.pixel(x, y).unwrap()[1]) / 255.0);
        let wanted = if shadow == Shadow::Keep { 1.0 - stage::shadow_at(right, up) } else { 1.0 };
        println!("{shadow:?} plate {}: {found:.3} for {wanted:.3}", plate.is_some());
        assert!((found - wanted).abs() < 0.07, "{shadow:?}: {found} for {wanted}");
    }
}

/// Along the edge of light glaze no pixel is brighter than both the object and white's mixture allows, nor
/// darker than the object.
#[test]
fn no_halo_stands_round_the_edge() {
    let frame = draw(90.0, Thing::Jug, &Fault::default());
    let plate = draw(0.0, Thing::Empty, &Fault::default());
    let axis = Axis { column_px: 600.0, lean_deg: 0.0 };
    let settings = FinishSettings { sharpen_percent: 0.0, ..FinishSettings::default() };
    let (plan, finished) = finish_all(&[&frame.png], Some(&plate.png), Some(axis), &settings).unwrap();
    let size = finished[0].picture.width_px();
    let truth = truth_at(&plan, &frame.truth, (size, size));
    let shadow: Vec<f32> =
        stage::shadow_map(&Fault::default(), 0.01).iter().map(|s| f32::from(u8::from(*s))).collect();
    let shadow = truth_at(&plan, &shadow, (size, size));
    // Rows across the body: outside the edge everything is white, inside nothing jumps towards white.
    let mut grey_rim = 0;
    let mut rim = 0;
    for y in 0..size {
        for x in 3..size - 3 {
            let at = |x: u32| (y * size + x) as usize;
            // Sampling between pixels carries the edge half a pixel on: looked at from one pixel away.
            let clear = |x: u32| truth[at(x)] == 0.0 && shadow[at(x)] == 0.0;
            let outside = clear(x - 1) && clear(x) && clear(x + 1);
            let beside = truth[at(x - 3)] > 0.9 || truth[at(x + 3)] > 0.9;
            if outside && beside {
                rim += 1;
                let pixel = finished[0].picture.pixel(x, y).unwrap();
                grey_rim += u32::from(pixel.iter().any(|v| *v < 245));
            }
        }
    }
    println!("{grey_rim} of {rim} rim pixels are not white");
    assert!(rim > 300 && grey_rim * 50 <= rim, "{grey_rim} of {rim}");
}

#[test]
fn an_even_set_stays_as_it_is() {
    let set: Vec<Drawn> = (0..6).map(|i| draw(f64::from(i) * 60.0, Thing::Jug, &Fault::default())).collect();
    let glances: Vec<_> = set.iter().map(|d| look(&d.png, None).unwrap().glance).collect();
    let light = RowLight::measure(&[1, 2, 3, 4, 5, 6], &glances).unwrap().with(&FinishSettings::default());
    let same = light.gains.iter().flatten().all(|g| (g - 1.0).abs() < f32::EPSILON);
    assert!(same, "{:?}", light.gains);
    assert!(light.notes.is_empty());
}

#[test]
fn each_step_can_be_left_out() {
    let frame = draw(0.0, Thing::Jug, &FAULTY);
    let settings = FinishSettings {
        even: false,
        white_balance: imaging::finish::WhiteBalance::AsShot,
        straighten: false,
        crop: None,
        background: Background::AsShot,
        sharpen_percent: 0.0,
        ..FinishSettings::default()
    };
    let (_, finished) = finish_all(&[&frame.png], None, None, &settings).unwrap();
    let original = imaging::decode::full(&frame.png).unwrap().picture;
    assert_eq!(finished[0].picture, original, "nothing asked for, nothing changed");
}

#[test]
fn a_white_object_on_white_is_said_to_be_untold() {
    let frame = draw(40.0, Thing::White, &Fault::default());
    let plate = draw(0.0, Thing::Empty, &Fault::default());
    for plate in [None, Some(plate.png.as_slice())] {
        let error =
            finish_all(&[&frame.png], plate, None, &FinishSettings::default()).err().map(|e| e.to_string());
        let error = error.unwrap_or_default();
        assert!(
            error.contains("cannot be told") && error.contains("leave the background as shot"),
            "{error:?}"
        );
    }
}

/// Without a colour of its own an object is told by its strong edges; its shadow is not part of it.
#[test]
fn grey_stoneware_is_told_by_its_edges() {
    let frame = draw(60.0, Thing::Grey, &Fault::default());
    let plate = draw(0.0, Thing::Empty, &Fault::default());
    for plate in [None, Some(plate.png.as_slice())] {
        let (plan, finished) = finish_all(&[&frame.png], plate, None, &FinishSettings::default()).unwrap();
        let size = finished[0].picture.width_px();
        let truth = truth_at(&plan, &frame.truth, (size, size));
        let alpha = finished[0].cutout.as_ref().unwrap().alpha();
        let pairs = || alpha.iter().zip(&truth).map(|(a, t)| (*a >= 128, *t >= 0.5));
        let both = pairs().filter(|(a, t)| *a && *t).count() as f64;
        let either = pairs().filter(|(a, t)| *a || *t).count() as f64;
        println!("grey, plate {}: overlap {:.3} %", plate.is_some(), 100.0 * both / either);
        assert!(both / either > 0.98, "{}", both / either);
    }
}

#[test]
fn a_crop_on_a_background_as_shot_stays_on_the_frame() {
    let frame = draw(0.0, Thing::Jug, &FAULTY);
    let mut settings = FinishSettings { background: Background::AsShot, ..FinishSettings::default() };
    settings.crop = Some(imaging::finish::CropSettings { margin_percent: 30.0, ratio: 1.0 });
    let axis = Axis { column_px: 637.0, lean_deg: 1.5 };
    let (plan, _) = finish_all(&[&frame.png], None, Some(axis), &settings).unwrap();
    let c = plan.placement.crop;
    for (i, j) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
        let [x, y] = plan.placement.on_frame([c.left_px + i * c.width_px, c.top_px + j * c.height_px]);
        assert!((-0.1..=1200.1).contains(&x) && (-0.1..=900.1).contains(&y), "{x} {y}");
    }
    assert!((c.left_px + c.width_px / 2.0 - 637.0).abs() < 1e-6, "the axis stays in the middle");
    assert!(plan.notes.iter().any(|n| n.contains("no room")), "{:?}", plan.notes);
}

/// A turned frame without a crop has corners that the camera did not see: they show the backdrop's light there,
/// and no smeared pixels.
#[test]
fn what_lies_beyond_the_frame_shows_the_backdrop() {
    let frame = draw(0.0, Thing::Jug, &Fault { lean_deg: 6.0, ..Fault::default() });
    let settings = FinishSettings {
        background: Background::AsShot,
        crop: None,
        sharpen_percent: 0.0,
        ..FinishSettings::default()
    };
    let axis = Axis { column_px: 600.0, lean_deg: 6.0 };
    let (plan, finished) = finish_all(&[&frame.png], None, Some(axis), &settings).unwrap();
    let picture = &finished[0].picture;
    let size = (picture.width_px(), picture.height_px());
    let is_on_frame = plan.placement.frame_test(size);
    let mut beyond = 0;
    for y in 0..size.1 {
        let mut last = None;
        for x in (0..size.0).filter(|x| !is_on_frame(*x, y)) {
            beyond += 1;
            let here = picture.pixel(x, y).unwrap();
            // The sweep is between these codes everywhere at its border (0.68 of the light and less).
            assert!(here.iter().all(|v| (190..220).contains(v)), "{x} {y}: {here:?}");
            // Grain of the border would run on in streaks: neighbours differ by a code at most.
            if let Some((before, last)) = last
                && before + 1 == x
            {
                let last: [u8; 3] = last;
                assert!((0..3).all(|c| here[c].abs_diff(last[c]) <= 1), "{x} {y}: {last:?} {here:?}");
            }
            last = Some((x, here));
        }
    }
    assert!(beyond > 5000, "{beyond}");
}
