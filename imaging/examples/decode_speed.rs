//! Measures how long a 24-megapixel JPEG takes to decode at reduced size and whole.
//!
//! `cargo run -p imaging --release --example decode_speed`

use imaging::decode;
use imaging::scene::{ExposureData, Pose, SceneFaults, SceneView, Studio};
use std::time::Instant;

/// Runs some work several times and prints the median and the fastest time.
fn measure(name: &str, mut work: impl FnMut()) {
    let mut times: Vec<f64> = (0..9)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    println!("{name:34} median {:7.1} ms   fastest {:7.1} ms", times[4], times[0]);
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let exposure = ExposureData {
        shutter_s: 0.008,
        f_number: 11.0,
        iso: 100,
        captured_at: "2025:03:04 10:20:30".into(),
        subsec_ms: 0,
    };
    let none = SceneFaults::default();
    let small = Studio::new(SceneView::default())?;
    let mut shot = 0;
    let mut next = || {
        shot += 1;
        Pose::at_rest(300.0 + f64::from(shot), u64::from(shot as u32))
    };
    measure("render 1200 x 900", || {
        drop(small.render_rgb(&next(), &none));
    });
    measure("render 1200 x 900 to JPEG", || {
        drop(small.render_jpeg(&next(), &none, &exposure, 92));
    });
    let large = Studio::new(SceneView { width_px: 6000, height_px: 4000, ..SceneView::default() })?;
    measure("render 6000 x 4000 to JPEG", || {
        drop(large.render_jpeg(&next(), &none, &exposure, 92));
    });
    let bytes = large.render_jpeg(&next(), &none, &exposure, 92)?;
    println!("24-megapixel JPEG of {:.2} MB", bytes.len() as f64 / 1e6);
    measure("thumbnail, 320 px", || drop(decode::thumbnail(&bytes, 320)));
    measure("preview, 1600 px", || drop(decode::preview(&bytes, 1600)));
    measure("full", || drop(decode::full(&bytes)));
    measure("full, then shrunk to 320 px", || {
        drop(decode::full(&bytes).map(|d| d.picture.shrunk_to(320)));
    });
    Ok(())
}
