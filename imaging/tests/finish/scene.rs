//! The demo's studio, shot askew, finished with the axis measured from its own pictures.

use imaging::finish::{Axis, FinishSettings};
use imaging::measure::{self, angle};
use imaging::scene::{Pose, SceneFaults, SceneView, Studio};

use super::finish_all;
use super::stage::png;

#[test]
fn the_measured_axis_ends_up_vertical_and_in_the_middle() {
    let view = SceneView { width_px: 1200, height_px: 900, ..SceneView::default() };
    let studio = Studio::new(view).unwrap();
    let askew = SceneFaults { axis_offset_px: 37.0, camera_roll_deg: 1.5, ..SceneFaults::default() };
    let frames: Vec<Vec<u8>> = (0..18)
        .map(|i| {
            let faults = SceneFaults { exposure_ev: [0.0, 0.3, -0.3][i % 3], ..askew };
            let picture = studio.render_rgb(&Pose::at_rest(i as f64 * 20.0, i as u64), &faults).unwrap();
            png(picture.rgb(), (1200, 900))
        })
        .collect();
    let measured: Vec<_> = frames.iter().map(|f| measure::measure(f).unwrap()).collect();
    let turn: Vec<angle::TurnFrame> = measured
        .iter()
        .enumerate()
        .map(|(i, measured)| angle::TurnFrame {
            degrees: i as f64 * 20.0,
            closing: false,
            copy_of_previous: false,
            measured,
        })
        .collect();
    let found = angle::measure_turn(&turn, false).axis.unwrap();
    let axis = Axis { column_px: found.column_px, lean_deg: found.lean_deg.clone().map_or(0.0, |l| l.0) };
    let slices: Vec<&[u8]> = frames.iter().map(Vec::as_slice).collect();
    let (plan, finished) = finish_all(&slices, None, Some(axis), &FinishSettings::default()).unwrap();
    let size = f64::from(finished[0].picture.width_px());
    let c = plan.placement.crop;
    let place = |z: f64| {
        let (x, y) = view.project_with([0.0, 0.0, z], 0.0, &askew);
        let [x, y] = plan.placement.straightened([x, y]);
        [(x - c.left_px) * size / c.width_px, (y - c.top_px) * size / c.height_px]
    };
    let (low, high) = (place(5.0), place(95.0));
    let lean = ((high[0] - low[0]) / (low[1] - high[1])).atan().to_degrees();
    let off = f64::midpoint(low[0], high[0]) - size / 2.0;
    println!("measured {axis:?}; finished axis {off:.3} px off the middle, leaning {lean:.4}°");
    assert!(off.abs() < 0.5 && lean.abs() < 0.1, "{off} px, {lean}°");
}
