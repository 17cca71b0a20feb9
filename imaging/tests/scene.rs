//! The virtual studio against its own geometry, against other readers, and against rules of
//! photography.

#![allow(clippy::unwrap_used)] // a helper that fails is a test that fails

use imaging::Picture;
use imaging::scene::{
    ExposureData, Pose, SceneError, SceneFaults, SceneObject, SceneView, Studio, render_jpeg,
};
use imaging::srgb;

const VIEW: SceneView = SceneView { object: SceneObject::Mug, width_px: 600, height_px: 450, tilt_deg: 14.0 };

fn exposure() -> ExposureData {
    ExposureData {
        shutter_s: 1.0 / 125.0,
        f_number: 11.0,
        iso: 100,
        captured_at: "2025:03:04 10:20:30".into(),
        subsec_ms: 250,
    }
}

fn at(deg: f64) -> Pose {
    Pose::at_rest(deg, 1)
}

fn render(view: SceneView, pose: &Pose, faults: &SceneFaults) -> Picture {
    Studio::new(view).unwrap().render_rgb(pose, faults).unwrap()
}

/// Luma of a pixel in coded values, Rec. 709 weights.
fn luma(picture: &Picture, column: u32, row: u32) -> f64 {
    let [r, g, b] = picture.pixel(column, row).unwrap().map(f64::from);
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// Mean squared change from pixel to pixel, along rows and along columns.
fn detail(picture: &Picture, columns: std::ops::Range<u32>, rows: std::ops::Range<u32>) -> [f64; 2] {
    let mut sums = [0.0; 2];
    for row in rows {
        for column in columns.clone() {
            let here = luma(picture, column, row);
            sums[0] += (luma(picture, column + 1, row) - here).powi(2);
            sums[1] += (luma(picture, column, row + 1) - here).powi(2);
        }
    }
    sums
}

/// Median of one channel in linear light over the top strip, which shows only the sweep.
fn background(picture: &Picture, channel: usize) -> f64 {
    let mut codes: Vec<u8> = (0..40)
        .flat_map(|row| (0..picture.width_px()).map(move |column| (column, row)))
        .map(|(column, row)| picture.pixel(column, row).unwrap()[channel])
        .collect();
    codes.sort_unstable();
    // The mean of the middle half: finer than 8 bits, and as steady as the median.
    let middle = &codes[codes.len() / 4..codes.len() * 3 / 4];
    middle.iter().map(|&c| srgb::to_linear(f64::from(c) / 255.0)).sum::<f64>() / middle.len() as f64
}

#[test]
fn the_same_inputs_give_the_same_bytes() {
    let none = SceneFaults::default();
    let first = render_jpeg(&VIEW, &at(33.0), &none, &exposure(), 90).unwrap();
    let again = render_jpeg(&VIEW, &at(33.0), &none, &exposure(), 90).unwrap();
    assert_eq!(first, again);
}

#[test]
fn another_angle_or_another_shot_gives_other_bytes() {
    for object in SceneObject::ALL {
        let studio = Studio::new(SceneView { object, ..VIEW }).unwrap();
        let none = SceneFaults::default();
        let of = |deg, shot| studio.render_jpeg(&Pose::at_rest(deg, shot), &none, &exposure(), 90).unwrap();
        let first = of(10.0, 1);
        assert_ne!(first, of(10.001, 1), "{object:?}: angle");
        assert_ne!(first, of(10.0, 2), "{object:?}: shot");
    }
}

/// Seen from above, counter-clockwise is positive (RS-274/NGC, NIST IR 6556: positive seen
/// from the positive end of the axis), so the near side moves to the right.
#[test]
fn the_near_side_moves_right_and_the_far_side_left() {
    let near = [0.0, -41.0, 60.0];
    let far = [0.0, 41.0, 60.0];
    let column = |point, deg| VIEW.project(point, deg).0;
    assert!(column(near, 5.0) > column(near, 0.0) + 5.0);
    assert!(column(far, 5.0) < column(far, 0.0) - 5.0);
    // The handle points right at 0°, away at 90°, left at 180°.
    let handle = [69.0, 0.0, 55.0];
    let axis = VIEW.axis_column_px();
    assert!(column(handle, 0.0) > axis + 100.0);
    assert!((column(handle, 90.0) - axis).abs() < 1e-6);
    assert!(column(handle, 180.0) < axis - 100.0);
}

/// The rendered pixels move as `project` says: a patch of the painted wall is looked for in
/// the next frame and found where its point is projected to.
#[test]
fn painted_detail_moves_as_projected() {
    let view = SceneView { width_px: 1200, height_px: 900, ..VIEW };
    let studio = Studio::new(view).unwrap();
    let none = SceneFaults::default();
    // The lark stands near −74° on the wall and the second one near 118°; turned to the front.
    for (place_deg, height_mm) in [(-74.0_f64, 61.0), (118.0, 60.0), (-128.0, 63.0)] {
        let (sin, cos) = place_deg.to_radians().sin_cos();
        let point = [41.4 * cos, 41.4 * sin, height_mm];
        let front = -90.0 - place_deg;
        for step in [1.5, -2.25] {
            let before = studio.render_rgb(&at(front), &none).unwrap();
            let after = studio.render_rgb(&at(front + step), &none).unwrap();
            let (x0, y0) = view.project(point, front);
            let (x1, _) = view.project(point, front + step);
            let expected = x1 - x0;
            let score = |shift: i64| -> f64 {
                let mut sum = 0.0;
                for row in (y0 as i64 - 20)..(y0 as i64 + 20) {
                    for column in (x0 as i64 - 16)..(x0 as i64 + 16) {
                        let a = luma(&before, column as u32, row as u32);
                        let b = luma(&after, (column + shift) as u32, row as u32);
                        sum += (a - b).powi(2);
                    }
                }
                sum
            };
            let best = (-20..=20).min_by(|&a, &b| score(a).total_cmp(&score(b))).unwrap();
            let (low, here, high) = (score(best - 1), score(best), score(best + 1));
            let found = best as f64 + (low - high) / (2.0 * (low - 2.0 * here + high));
            assert!(
                (found - expected).abs() < 0.4,
                "{place_deg}° by {step}°: moved {found:.2} px, projected {expected:.2} px"
            );
        }
    }
}

/// Columns of the outermost strong edges of a row, to a fraction of a pixel.
fn outline(picture: &Picture, row: u32) -> (f64, f64) {
    let slope = |column: u32| {
        (row - 1..=row + 1)
            .map(|r| luma(picture, column + 1, r) - luma(picture, column - 1, r))
            .sum::<f64>()
            .abs()
            / 6.0
    };
    let peak = |columns: &mut dyn Iterator<Item = u32>| -> f64 {
        let mut last = 0.0;
        for column in columns {
            let here = slope(column);
            let (left, right) = (slope(column - 1), slope(column + 1));
            if here > 5.0 && here >= left && here >= right {
                let bend = left - 2.0 * here + right;
                last = f64::from(column) + 0.5 + (left - right) / (2.0 * bend);
                break;
            }
        }
        last
    };
    let width = picture.width_px();
    (peak(&mut (2..width - 2)), peak(&mut (2..width - 2).rev()))
}

#[test]
fn a_round_pot_is_symmetrical_about_the_axis_column() {
    let view = SceneView { object: SceneObject::Vase, width_px: 1200, height_px: 900, ..VIEW };
    let studio = Studio::new(view).unwrap();
    for offset in [0.0_f32, 37.5, -20.0] {
        let faults = SceneFaults { axis_offset_px: offset, ..SceneFaults::default() };
        let picture = studio.render_rgb(&at(0.0), &faults).unwrap();
        // Rows on the belly, above the plate's far edge.
        let middles: Vec<f64> = (340..500)
            .step_by(4)
            .map(|row| {
                let (left, right) = outline(&picture, row);
                assert!(right - left > 100.0, "row {row}: {left} to {right}");
                println!("{row} {left:.2} {right:.2}");
                f64::midpoint(left, right)
            })
            .collect();
        let mean = middles.iter().sum::<f64>() / middles.len() as f64;
        let expected = view.axis_column_px() + f64::from(offset);
        assert!((mean - expected).abs() < 0.2, "axis at {mean:.2}, should be {expected:.2}");
    }
}

#[test]
fn motion_blur_takes_horizontal_detail() {
    let still = render(VIEW, &at(-16.0), &SceneFaults::default());
    let moving = Pose::turning(-18.0, -14.0, 9, 1);
    let moved = render(VIEW, &moving, &SceneFaults::default());
    let (columns, rows) = (260..340, 150..260);
    let before = detail(&still, columns.clone(), rows.clone());
    let after = detail(&moved, columns, rows);
    assert!(after[0] < 0.5 * before[0], "along rows {before:?} {after:?}");
    assert!(after[1] / before[1] > 1.5 * after[0] / before[0], "along columns {before:?} {after:?}");
}

#[test]
fn defocus_takes_detail_both_ways() {
    let faults = SceneFaults { defocus_px: 3.0, ..SceneFaults::default() };
    let sharp = render(VIEW, &at(-16.0), &SceneFaults::default());
    let soft = render(VIEW, &at(-16.0), &faults);
    let before = detail(&sharp, 260..340, 150..260);
    let after = detail(&soft, 260..340, 150..260);
    assert!(after[0] < 0.4 * before[0] && after[1] < 0.4 * before[1], "{before:?} {after:?}");
}

/// A stop is a factor of two in light (ISO 2721, ISO 12232: exposure in log2 units).
#[test]
fn exposure_and_white_balance_faults_read_back_in_linear_light() {
    let right = render(VIEW, &at(0.0), &SceneFaults::default());
    let bright = render(VIEW, &at(0.0), &SceneFaults { exposure_ev: 0.3, ..SceneFaults::default() });
    let dark = render(VIEW, &at(0.0), &SceneFaults { exposure_ev: -1.0, ..SceneFaults::default() });
    let stops = |p: &Picture| (background(p, 1) / background(&right, 1)).log2();
    assert!((stops(&bright) - 0.3).abs() < 0.01, "{}", stops(&bright));
    assert!((stops(&dark) + 1.0).abs() < 0.01, "{}", stops(&dark));
    let faults = SceneFaults { channel_gain: [1.08, 1.0, 0.9], ..SceneFaults::default() };
    let tinted = render(VIEW, &at(0.0), &faults);
    for channel in 0..3 {
        let gain = background(&tinted, channel) / background(&right, channel);
        assert!((gain - f64::from(faults.channel_gain[channel])).abs() < 0.01, "{gain}");
    }
    // Nothing of the sweep is clipped in a right exposure, nor a third of a stop over.
    assert!(background(&bright, 0) < 0.98);
}

#[test]
fn roll_and_off_centre_follow_the_projection() {
    let rolled = SceneFaults { camera_roll_deg: 3.0, ..SceneFaults::default() };
    // Clockwise: what stands on the right sinks.
    let right_point = [60.0, 0.0, 40.0];
    let level = VIEW.project(right_point, 0.0);
    let turned = VIEW.project_with(right_point, 0.0, &rolled);
    assert!(turned.1 > level.1 + 5.0);
    let off = SceneFaults { off_centre_mm: [4.0, 0.0], ..SceneFaults::default() };
    let shift =
        |deg| VIEW.project_with([0.0, 0.0, 40.0], deg, &off).0 - VIEW.project([0.0, 0.0, 40.0], deg).0;
    let expected = 4.0 * VIEW.px_per_mm();
    assert!((shift(0.0) - expected).abs() < 0.05, "{} {expected}", shift(0.0));
    assert!((shift(180.0) + expected).abs() < 0.05);
    // And the pixels follow: the vase's middle moves as far.
    let view = SceneView { object: SceneObject::Vase, ..VIEW };
    let studio = Studio::new(view).unwrap();
    let middle = |faults: &SceneFaults, deg| {
        let picture = studio.render_rgb(&at(deg), faults).unwrap();
        let (left, right) = outline(&picture, 215);
        f64::midpoint(left, right)
    };
    let moved = middle(&off, 0.0) - middle(&SceneFaults::default(), 0.0);
    let predicted = view.px_per_mm() * 4.0;
    assert!((moved - predicted).abs() < 0.5, "{moved} {predicted}");
}

#[test]
fn highlights_stand_still_while_the_pot_turns() {
    // The vase is round and plain: apart from noise its frames are the same at any angle.
    let view = SceneView { object: SceneObject::Vase, ..VIEW };
    let studio = Studio::new(view).unwrap();
    let none = SceneFaults::default();
    let (a, b) = (studio.render_rgb(&at(0.0), &none).unwrap(), studio.render_rgb(&at(77.0), &none).unwrap());
    let worst = a.rgb().iter().zip(b.rgb()).map(|(&x, &y)| x.abs_diff(y)).max().unwrap();
    let mean = a.rgb().iter().zip(b.rgb()).map(|(&x, &y)| f64::from(x.abs_diff(y))).sum::<f64>()
        / a.rgb().len() as f64;
    assert!(mean < 1.5, "{mean}");
    assert!(worst < 60, "{worst}");
    // The mug's frames are not: its paint turns.
    let studio = Studio::new(VIEW).unwrap();
    let (a, b) = (studio.render_rgb(&at(0.0), &none).unwrap(), studio.render_rgb(&at(77.0), &none).unwrap());
    let far = a.rgb().iter().zip(b.rgb()).filter(|(x, y)| x.abs_diff(**y) > 40).count();
    assert!(far > 2000, "{far}");
}

/// Read back with `little_exif`, which shares no code with our writer.
#[test]
fn exif_reads_back_with_another_reader() {
    use little_exif::exif_tag::ExifTag;
    use little_exif::filetype::FileExtension;
    use little_exif::metadata::Metadata;

    let bytes = render_jpeg(&VIEW, &at(0.0), &SceneFaults::default(), &exposure(), 90).unwrap();
    let found = Metadata::new_from_vec(&bytes, FileExtension::JPEG).unwrap();
    let first = |tag: &ExifTag| found.get_tag(tag).next().cloned().unwrap();
    let text = |tag: &ExifTag| match first(tag) {
        ExifTag::DateTimeOriginal(s)
        | ExifTag::SubSecTimeOriginal(s)
        | ExifTag::Make(s)
        | ExifTag::Model(s) => s.trim_end_matches('\0').to_owned(),
        other => panic!("{other:?}"),
    };
    let empty = String::new;
    assert_eq!(text(&ExifTag::DateTimeOriginal(empty())), "2025:03:04 10:20:30");
    assert_eq!(text(&ExifTag::SubSecTimeOriginal(empty())), "250");
    assert!(text(&ExifTag::Make(empty())).contains("Larkhollow"));
    assert!(text(&ExifTag::Model(empty())).contains("simulated"));
    let ratio = |tag: &ExifTag| match first(tag) {
        ExifTag::ExposureTime(r) | ExifTag::FNumber(r) | ExifTag::FocalLength(r) => {
            f64::from(r[0].nominator) / f64::from(r[0].denominator)
        }
        other => panic!("{other:?}"),
    };
    assert!((ratio(&ExifTag::ExposureTime(vec![])) - 0.008).abs() < 1e-9);
    assert!((ratio(&ExifTag::FNumber(vec![])) - 11.0).abs() < 1e-9);
    let focal = ratio(&ExifTag::FocalLength(vec![]));
    assert!((80.0..140.0).contains(&focal), "{focal}");
    assert!(matches!(first(&ExifTag::ISO(vec![])), ExifTag::ISO(v) if v == [100]));
    assert!(matches!(first(&ExifTag::Orientation(vec![])), ExifTag::Orientation(v) if v == [1]));
}

#[test]
fn what_cannot_be_rendered_is_refused_in_words() {
    let sized = |width_px| Studio::new(SceneView { width_px, ..VIEW }).err().unwrap().to_string();
    assert!(sized(0).contains("16 to 12000"));
    assert!(sized(20_000).contains("20000"));
    let studio = Studio::new(VIEW).unwrap();
    let none = SceneFaults::default();
    let nowhere = Pose { table_deg: vec![], shot: 0 };
    assert!(matches!(studio.render_rgb(&nowhere, &none), Err(SceneError::OutOfRange { .. })));
    let lost = Pose::at_rest(f64::NAN, 0);
    assert!(matches!(studio.render_rgb(&lost, &none), Err(SceneError::OutOfRange { .. })));
    let faults = SceneFaults { defocus_px: f32::INFINITY, ..none };
    assert!(matches!(studio.render_rgb(&at(0.0), &faults), Err(SceneError::OutOfRange { .. })));
    let undated = ExposureData { captured_at: "yesterday".into(), ..exposure() };
    let error = studio.render_jpeg(&at(0.0), &none, &undated, 90).unwrap_err();
    assert!(error.to_string().contains("YYYY:MM:DD"), "{error}");
    assert!(studio.render_jpeg(&at(0.0), &none, &exposure(), 0).is_err());
}

#[test]
fn small_odd_and_large_frames_render() {
    for (width_px, height_px) in [(16, 16), (37, 211), (301, 40), (3601, 2399)] {
        let picture = render(SceneView { width_px, height_px, ..VIEW }, &at(12.0), &SceneFaults::default());
        assert_eq!((picture.width_px(), picture.height_px()), (width_px, height_px));
    }
}
