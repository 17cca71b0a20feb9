//! Does what the checks or thumbnails do to a list of frames, for timing from outside.
//!
//! `check_speed check STEP_DEG FILE ...` or `check_speed thumbnails FILE ...`, on one thread. Used by
//! `tests/outside/speed.py`.

use std::path::PathBuf;

use imaging::check::{FrameInput, check_set};
use imaging::decode;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    match args.next().as_deref() {
        Some("check") => {
            let step: f64 = args.next().ok_or("give the step in degrees")?.parse()?;
            let inputs: Vec<FrameInput> = args
                .enumerate()
                .map(|(i, path)| FrameInput {
                    index: i as u32 + 1,
                    degrees: step * i as f64,
                    closing: false,
                    path: PathBuf::from(path),
                })
                .collect();
            let report =
                rayon::ThreadPoolBuilder::new().num_threads(1).build()?.install(|| check_set(&inputs, false));
            let told = report.frames.iter().filter(|f| f.measured.is_ok()).count();
            println!("{told} angles told");
        }
        Some("thumbnails") => {
            for path in args {
                decode::thumbnail(&std::fs::read(path)?, 320)?;
            }
        }
        _ => return Err("say check or thumbnails".into()),
    }
    Ok(())
}
