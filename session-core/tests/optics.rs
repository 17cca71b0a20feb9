//! Depth of field, framing and diffraction against worked figures and against ray geometry.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use proptest::prelude::*;
use session_core::optics::{
    OpticsError, Report, Subject, View, airy_mm, common_blur_mm, f_number_for_depth, hyperfocal_mm,
    magnification, sharp_from_to_mm,
};

fn close(value: f64, wanted: f64, off: f64) {
    assert!((value - wanted).abs() <= off, "{value} is not {wanted}");
}

fn view() -> View {
    View {
        sensor_width_mm: 36.0,
        sensor_height_mm: 24.0,
        focal_mm: 100.0,
        f_number: 11.0,
        distance_mm: 600.0,
        blur_mm: 0.02,
        pixel_mm: None,
    }
}

fn mug() -> Subject {
    Subject { width_mm: 120.0, height_mm: Some(100.0), off_centre_mm: 0.0 }
}

/// Worked examples of the textbook formulas H = f²/(Nc) + f, s(H−f)/(H+s−2f), s(H−f)/(H−s).
#[test]
fn depth_of_field_as_worked_by_hand() {
    // f 50 mm, f/8, c 0.03 mm: 2500 / 0.24 + 50.
    close(hyperfocal_mm(50.0, 8.0, 0.03), 10_466.7, 0.05);
    let (near, far) = sharp_from_to_mm(50.0, 8.0, 0.03, 3000.0);
    close(near, 2337.9, 0.05);
    close(far, 4185.3, 0.05);
    let (near, far) = sharp_from_to_mm(100.0, 11.0, 0.02, 600.0);
    close(near, 593.47, 0.005);
    close(far, 606.67, 0.005);
    // Focused at the hyperfocal distance: sharp from half of it (nearly) to infinity.
    let h = hyperfocal_mm(50.0, 8.0, 0.03);
    let (near, far) = sharp_from_to_mm(50.0, 8.0, 0.03, h);
    close(near, h / 2.0, 1e-6);
    assert!(far.is_infinite());
}

/// Airy disc at 550 nm: f/8 gives 10.7 µm, a value found in many tables of diffraction limits
/// (2.44 × 0.00055 × 8 = 0.010736 mm).
#[test]
fn diffraction_as_in_tables() {
    close(airy_mm(8.0, 0.0), 0.0107, 0.0001);
    // Life size doubles the working f-number.
    close(airy_mm(8.0, 1.0), 2.0 * airy_mm(8.0, 0.0), 1e-12);
    close(magnification(100.0, 200.0), 1.0, 1e-12);
    // The usual 0.029 mm for 36 × 24 mm (common practice, no source).
    close(common_blur_mm(36.0, 24.0), 0.029, 0.0005);
}

/// The blur disc by similar triangles through the lens, apart from the formulas under test.
fn blur_by_rays(focal: f64, n: f64, focus: f64, point: f64) -> f64 {
    let image_of = |distance: f64| focal * distance / (distance - focal);
    let (sensor, image) = (image_of(focus), image_of(point));
    (focal / n) * (image - sensor).abs() / image
}

proptest! {
    /// At the limits of depth the rays make exactly the blur allowed.
    #[test]
    fn limits_agree_with_rays(
        focal in 20.0..200.0_f64, n in 1.4..32.0_f64, blur in 0.005..0.05_f64, away in 2.0..40.0_f64,
    ) {
        let distance = focal * away;
        let (near, far) = sharp_from_to_mm(focal, n, blur, distance);
        prop_assume!(near > focal * 1.05);
        prop_assert!((blur_by_rays(focal, n, distance, near) - blur).abs() < 1e-9 * blur.max(1.0));
        if far.is_finite() && far < 1e7 {
            prop_assert!((blur_by_rays(focal, n, distance, far) - blur).abs() < 1e-6);
        }
    }

    /// The f-number asked for makes both ends of a depth just sharp, and no other focus does with less.
    #[test]
    fn the_best_focus_is_the_best(
        focal in 20.0..200.0_f64, blur in 0.005..0.05_f64, near_at in 2.0..30.0_f64, deep in 1.01..1.8_f64,
        elsewhere in 0.0..1.0_f64,
    ) {
        let near = focal * near_at;
        let far = near * deep;
        let (n, focus) = f_number_for_depth(focal, blur, near, far);
        prop_assert!((blur_by_rays(focal, n, focus, near) - blur).abs() < 1e-9);
        prop_assert!((blur_by_rays(focal, n, focus, far) - blur).abs() < 1e-9);
        let other = near + elsewhere * (far - near);
        let worst = blur_by_rays(focal, n, other, near).max(blur_by_rays(focal, n, other, far));
        // A nearer focus magnifies the blur of the far end; farther, of the near end.
        prop_assert!(worst >= blur * 0.98);
    }

    /// No point of the circle, at any stop, is imaged outside what is said to be filled.
    #[test]
    fn the_circle_stays_inside_its_width(
        width in 10.0..300.0_f64, off in 0.0..40.0_f64, away in 3.0..20.0_f64, degrees in 0.0..360.0_f64,
    ) {
        let view = View { distance_mm: 100.0 * away, ..view() };
        let subject = Subject { width_mm: width, height_mm: None, off_centre_mm: off };
        let Ok(report) = Report::new(view, subject) else { return Ok(()) };
        let v = view.focal_mm * view.distance_mm / (view.distance_mm - view.focal_mm);
        let r = report.swept_radius_mm;
        let (x, z) = (r * degrees.to_radians().sin(), view.distance_mm - r * degrees.to_radians().cos());
        let on_sensor = v * x / z;
        prop_assert!(on_sensor.abs() <= report.fills_width * 18.0 + 1e-9);
        // And the bound is reached where the line of sight touches the circle.
        let touch = (r / view.distance_mm).acos();
        let (x, z) = (r * touch.sin(), view.distance_mm - r * touch.cos());
        prop_assert!((v * x / z - report.fills_width * 18.0).abs() < 1e-9);
    }
}

#[test]
fn a_mug_at_60_cm_is_not_sharp_all_round_and_the_way_out_is_said() {
    let report = Report::new(view(), mug()).unwrap();
    assert!(!report.sharp_all_round);
    close(report.near_side_mm, 540.0, 1e-9);
    close(report.far_side_mm, 660.0, 1e-9);
    // 100² / (594 − 100) × 120 / 1200 / 0.02.
    close(report.best_focus_mm, 594.0, 1e-9);
    close(report.f_number_needed, 101.2, 0.05);
    let said = report.sentences().join("\n");
    for words in ["Sharp from 59.3 cm to 60.7 cm", "sweeps from 54.0 cm to 66.0 cm", "No common f-number"] {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn a_ring_box_far_off_is_sharp_and_fits() {
    let view = View { distance_mm: 1500.0, f_number: 11.0, blur_mm: 0.029, pixel_mm: Some(0.006), ..view() };
    let subject = Subject { width_mm: 50.0, height_mm: Some(40.0), off_centre_mm: 0.0 };
    let report = Report::new(view, subject).unwrap();
    assert!(report.sharp_all_round, "{report:?}");
    assert!(report.fills_width < 0.2 && report.fills_height.unwrap() < 0.2);
    // 0.029 / (2.44 × 0.00055 × (1 + 100/1400)).
    close(report.diffraction_f_number, 20.17, 0.01);
    close(report.diffraction_f_number_pixels.unwrap(), 8.346, 0.001);
    let said = report.sentences().join("\n");
    for words in
        ["all of it is sharp", "fits at every stop", "starts to cost sharpness at f/20", "from f/8.3 on"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn off_centre_and_tall_objects_are_cut_off_and_it_is_said() {
    let view = View { distance_mm: 500.0, ..view() };
    let subject = Subject { width_mm: 130.0, height_mm: Some(200.0), off_centre_mm: 15.0 };
    let report = Report::new(view, subject).unwrap();
    assert!(report.fills_width > 1.0 && report.fills_height.unwrap() > 1.0);
    let said = report.sentences().join("\n");
    for words in ["it is cut off at some stops", "Centring the object helps", "turn it upright"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // The same object centred fits its width: 2 × 65 mm at 500 mm and m = 0.25 is 32.8 mm of 36.
    let centred = Report::new(view, Subject { off_centre_mm: 0.0, ..subject }).unwrap();
    close(centred.fills_width * 36.0, 125.0 * 130.0 / (500.0_f64.powi(2) - 65.0_f64.powi(2)).sqrt(), 1e-9);
    assert!(centred.fills_width < 1.0);
}

#[test]
fn what_no_camera_can_have_is_refused() {
    let too_close = Report::new(View { distance_mm: 90.0, ..view() }, mug());
    assert_eq!(too_close, Err(OpticsError::TooClose { focal_mm: 100.0, distance_mm: 90.0 }));
    let collides = Report::new(View { distance_mm: 155.0, ..view() }, mug());
    assert!(matches!(collides, Err(OpticsError::Collides { .. })));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(Report::new(View { f_number: bad, ..view() }, mug()).is_err());
        assert!(Report::new(view(), Subject { width_mm: bad, ..mug() }).is_err());
    }
}
