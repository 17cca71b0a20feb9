//! Renders frames of the demo's studio into a folder, to look at.
//!
//! `cargo run -p imaging --release --example studio -- FOLDER [OBJECT] [WIDTH HEIGHT] [DEG ...]`

use imaging::scene::{ExposureData, Pose, SceneFaults, SceneObject, SceneView, Studio};
use std::fs::{File, create_dir_all};
use std::io::Write;
use std::path::PathBuf;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let folder = PathBuf::from(args.next().ok_or("give the folder to render into")?);
    let object = match args.next().as_deref() {
        Some("teapot") => SceneObject::Teapot,
        Some("bowl") => SceneObject::Bowl,
        Some("vase") => SceneObject::Vase,
        _ => SceneObject::Mug,
    };
    let numbers: Vec<f64> = args.map(|a| a.parse()).collect::<Result<_, _>>()?;
    let side = |i: usize, other: u32| numbers.get(i).map_or(other, |&n| n as u32);
    let view = SceneView { object, width_px: side(0, 1200), height_px: side(1, 900), ..SceneView::default() };
    create_dir_all(&folder)?;
    let start = Instant::now();
    let studio = Studio::new(view)?;
    println!("studio prepared in {:.1} ms", start.elapsed().as_secs_f64() * 1e3);
    let exposure = ExposureData {
        shutter_s: 1.0 / 125.0,
        f_number: 11.0,
        iso: 100,
        captured_at: "2025:03:04 10:20:30".into(),
        subsec_ms: 250,
    };
    let angles = if numbers.len() > 2 { &numbers[2..] } else { &[0.0, 300.0] };
    for (shot, &deg) in angles.iter().enumerate() {
        let start = Instant::now();
        let pose = Pose::at_rest(deg, shot as u64);
        studio.render_rgb(&pose, &SceneFaults::default())?;
        let rendered = start.elapsed().as_secs_f64() * 1e3;
        let bytes = studio.render_jpeg(&pose, &SceneFaults::default(), &exposure, 92)?;
        let total = start.elapsed().as_secs_f64() * 1e3 - rendered;
        let path = folder.join(format!("{object:?}_{deg:03}.jpg"));
        File::create(&path)?.write_all(&bytes)?;
        println!(
            "{deg}°: render {rendered:.1} ms, render and encode {total:.1} ms, {:.2} MB",
            bytes.len() as f64 / 1e6
        );
    }
    Ok(())
}
