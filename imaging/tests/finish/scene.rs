//! The demo's studio, shot askew in uneven, tinted light, finished with the axis measured from its own pictures.

use imaging::finish::{Axis, FinishSettings};
use imaging::measure::{self, angle};
use imaging::scene::{Pose, SceneFaults, SceneView, Studio};
use imaging::srgb;

use super::stage::png;
use super::{finish_all, truth_on};

const SIZE: (u32, u32) = (1200, 900);
const STOPS: usize = 18;
/// Axis 37 px off the middle and leaning 1.5°, a grey-blue cast.
const ASKEW: SceneFaults = SceneFaults {
    defocus_px: 0.0,
    exposure_ev: 0.0,
    channel_gain: [0.93, 0.985, 1.07],
    axis_offset_px: 37.0,
    camera_roll_deg: 1.5,
    off_centre_mm: [0.0; 2],
};

fn measured_axis(frames: &[Vec<u8>]) -> Axis {
    let measured: Vec<_> = frames.iter().map(|f| measure::measure(f).unwrap()).collect();
    let turn: Vec<angle::TurnFrame> = measured
        .iter()
        .enumerate()
        .map(|(i, measured)| angle::TurnFrame {
            degrees: degrees(i),
            closing: false,
            copy_of_previous: false,
            measured,
        })
        .collect();
    let found = angle::measure_turn(&turn, false).axis.unwrap();
    Axis { column_px: found.column_px, lean_deg: found.lean_deg.clone().unwrap().0 }
}

/// The object's light in a finished picture against that in a frame shot with the right exposure, by channel.
fn against(
    picture: &imaging::Picture,
    even: &imaging::Picture,
    truth: &[f32],
    on_picture: impl Fn(&[f32]) -> Vec<f32>,
) -> [f64; 3] {
    let table = srgb::linear_of_code();
    [0, 1, 2].map(|c| {
        let light: Vec<f32> = even.rgb().chunks_exact(3).map(|p| table[usize::from(p[c])]).collect();
        let (mut found, mut wanted) = (0.0, 0.0);
        for ((i, even), truth) in on_picture(&light).iter().enumerate().zip(truth) {
            // Inside the object, and not clipped in any exposure of the set.
            if *truth >= 1.0 && (0.02..0.7).contains(even) {
                found += f64::from(table[usize::from(picture.rgb()[i * 3 + c])]);
                wanted += f64::from(*even);
            }
        }
        found / wanted
    })
}

fn degrees(stop: usize) -> f64 {
    stop as f64 * 360.0 / STOPS as f64
}

/// Every limit on one set: axis within 0.5 px and 0.1°, exposure within 0.03 EV, background pure white for 99.5 %
/// outside the shadow, mask 99 % the true one, no frame cut by the common crop.
#[test]
fn a_set_shot_askew_becomes_even_upright_and_white_by_its_measured_axis() {
    let view = SceneView { width_px: SIZE.0, height_px: SIZE.1, ..SceneView::default() };
    let studio = Studio::new(view).unwrap();
    let frames: Vec<Vec<u8>> = (0..STOPS)
        .map(|i| {
            let faults = SceneFaults { exposure_ev: [0.0, 0.3, -0.3][i % 3], ..ASKEW };
            png(studio.render_rgb(&Pose::at_rest(degrees(i), i as u64), &faults).unwrap().rgb(), SIZE)
        })
        .collect();
    let axis = measured_axis(&frames);
    let slices: Vec<&[u8]> = frames.iter().map(Vec::as_slice).collect();
    let (plan, finished) = finish_all(&slices, None, Some(axis), &FinishSettings::default()).unwrap();
    let (width, height) = (finished[0].picture.width_px(), finished[0].picture.height_px());
    let c = plan.placement.crop;
    let place = |z: f64| {
        let (x, y) = view.project_with([0.0, 0.0, z], 0.0, &ASKEW);
        let [x, y] = plan.placement.straightened([x, y]);
        [(x - c.left_px) * f64::from(width) / c.width_px, (y - c.top_px) * f64::from(height) / c.height_px]
    };
    let (low, high) = (place(5.0), place(95.0));
    let lean = ((high[0] - low[0]) / (low[1] - high[1])).atan().to_degrees();
    let off = f64::midpoint(low[0], high[0]) - f64::from(width) / 2.0;
    let (mut least_white, mut least_overlap) = (1.0_f64, 1.0_f64);
    let mut levels: Vec<[f64; 3]> = Vec::new();
    for (i, done) in finished.iter().enumerate() {
        let on_picture = |map: &[f32]| truth_on(&plan, map, (width, height), SIZE);
        let object = studio.outline(degrees(i), &ASKEW).unwrap();
        let truth = on_picture(&object);
        let kept = f64::from(truth.iter().sum::<f32>()) * c.width_px * c.height_px
            / f64::from(width * height)
            / f64::from(object.iter().sum::<f32>());
        assert!((0.998..1.002).contains(&kept), "stop {i}: {kept} of the object is inside");
        let border = (0..width).flat_map(|k| [k, (height - 1) * width + k]);
        let border = border.chain((0..height).flat_map(|k| [k * width, k * width + width - 1]));
        assert!(border.into_iter().all(|at| truth[at as usize] == 0.0), "stop {i} is cut");
        // What the shadow takes 0.6 % of and more is shadow; a whole code of white is 0.9 % of light.
        let left = studio.light_left(degrees(i), &ASKEW).unwrap();
        let shadow: Vec<f32> = left.iter().map(|left| f32::from(u8::from(*left < 0.994))).collect();
        let shadow = on_picture(&shadow);
        let alpha = done.cutout.as_ref().unwrap().alpha();
        let (mut white, mut ground, mut both, mut either) = (0_u32, 0_u32, 0_u32, 0_u32);
        for y in 0..height {
            for x in 0..width {
                let at = (y * width + x) as usize;
                let (found, wanted) = (alpha[at] >= 128, truth[at] >= 0.5);
                both += u32::from(found && wanted);
                either += u32::from(found || wanted);
                let beside = (y.saturating_sub(2)..(y + 3).min(height)).any(|y| {
                    (x.saturating_sub(2)..(x + 3).min(width)).any(|x| truth[(y * width + x) as usize] > 0.0)
                });
                if shadow[at] == 0.0 && !beside {
                    ground += 1;
                    white += u32::from(done.picture.pixel(x, y) == Some([255; 3]));
                }
            }
        }
        least_white = least_white.min(f64::from(white) / f64::from(ground));
        least_overlap = least_overlap.min(f64::from(both) / f64::from(either));
        let even = studio.render_rgb(&Pose::at_rest(degrees(i), i as u64), &ASKEW).unwrap();
        levels.push(against(&done.picture, &even, &truth, |map| on_picture(map)));
    }
    let spread = (0..3)
        .map(|c| {
            let logs: Vec<f64> = levels.iter().map(|m| m[c].log2()).collect();
            logs.iter().copied().fold(f64::MIN, f64::max) - logs.iter().copied().fold(f64::MAX, f64::min)
        })
        .fold(0.0, f64::max);
    println!(
        "measured {axis:?}; finished axis {off:.3} px off the middle, leaning {lean:.4}°, spread {spread:.4} EV, white {:.3} %, overlap {:.3} %",
        least_white * 100.0,
        least_overlap * 100.0
    );
    assert!(off.abs() < 0.5 && lean.abs() < 0.1, "{off} px, {lean}°");
    assert!(spread < 0.03, "{spread} EV");
    assert!(least_white >= 0.995, "{least_white}");
    assert!(least_overlap >= 0.99, "{least_overlap}");
}
