//! Displacement of preview frames against moves known by construction.

use imaging::measure::Plane;
use imaging::measure::register::displacement;

/// A smooth pattern moved by (x, y): a sum of waves that fit the frame a whole number of times.
fn pattern(x: f64, y: f64) -> Plane {
    let (w, h) = (96, 64);
    let mut data = Vec::new();
    for j in 0..h {
        for i in 0..w {
            let (u, v) = ((f64::from(i) - x) / f64::from(w), (f64::from(j) - y) / f64::from(h));
            let tau = std::f64::consts::TAU;
            // Waves of many lengths and directions, so that only one place agrees.
            let value: f64 = (1..=14)
                .map(|k| {
                    let (p, q) = (f64::from(k), f64::from(k * 5 % 11 - 5));
                    9.0 * (tau * (p * u + q * v) + f64::from(k * k)).sin()
                })
                .sum::<f64>()
                + 128.0;
            data.push(value.round().clamp(0.0, 255.0) as u8);
        }
    }
    Plane { width: w as usize, height: h as usize, data }
}

#[test]
fn moves_are_found_to_a_hundredth_of_a_pixel() {
    for (x, y) in [(0.0, 0.0), (0.33, -0.71), (5.25, 2.5), (-11.6, 7.08)] {
        let (dx, dy) = displacement(&pattern(0.0, 0.0), &pattern(x, y)).unwrap();
        assert!((dx - x).abs() < 0.012 && (dy - y).abs() < 0.012, "{x} {y}: {dx} {dy}");
    }
}

#[test]
fn pictures_that_say_nothing_are_refused() {
    let flat = Plane { width: 64, height: 64, data: vec![7; 64 * 64] };
    assert!(displacement(&flat, &flat).is_none());
    assert!(displacement(&pattern(0.0, 0.0), &flat).is_none());
}
