//! Measures rendered sets and compares with their truth; prints a table of limits with counts.
//!
//! `cargo run -p imaging --release --example rendered_truth -- FOLDER [SET ...]`
//!
//! The sets come from `tests/outside/rendered_sets.py`, a renderer that shares nothing with this crate.
//! Ends with 1 when a limit is not met.

use std::path::{Path, PathBuf};

use imaging::check::{FrameInput, SetReport, check_set};

#[path = "rendered_truth/score.rs"]
mod score;
#[path = "rendered_truth/table.rs"]
mod table;
#[path = "rendered_truth/truth.rs"]
mod truth;
use score::Score;
use truth::Truth;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let root = PathBuf::from(args.next().ok_or("give the folder of rendered sets")?);
    let wanted: Vec<String> = args.collect();
    let mut sets: Vec<PathBuf> = std::fs::read_dir(&root)?
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.join("truth.json").is_file())
        .filter(|p| wanted.is_empty() || wanted.iter().any(|w| p.ends_with(w)))
        .collect();
    sets.sort();
    if sets.is_empty() {
        return Err(format!("{} holds no rendered sets; run rendered_sets.py first", root.display()).into());
    }
    let mut score = Score::default();
    for set in &sets {
        one_set(set, &mut score)?;
    }
    match score.print() {
        0 => Ok(()),
        n => Err(format!("{n} limits are not met").into()),
    }
}

fn one_set(set: &Path, score: &mut Score) -> Result<(), Box<dyn std::error::Error>> {
    let truth = Truth::read(set)?;
    let inputs: Vec<FrameInput> = truth
        .frames
        .iter()
        .map(|f| FrameInput {
            index: f.planned as u32 + 1,
            degrees: f.degrees,
            closing: f.closing,
            path: set.join(&f.file),
        })
        .collect();
    let start = std::time::Instant::now();
    let report = check_set(&inputs, truth.clockwise);
    println!(
        "== {} {} {} {} frames, arc {}, distance {}, tilt {}: {:.0} ms a frame",
        set.file_name().and_then(|n| n.to_str()).unwrap_or(""),
        truth.object,
        truth.pattern,
        truth.frames.len(),
        truth.arc_deg,
        truth.distance,
        truth.tilt_deg,
        start.elapsed().as_secs_f64() * 1e3 / truth.frames.len() as f64,
    );
    describe(&truth, &report);
    score.take(set, &truth, &report);
    Ok(())
}

/// Prints what the set's report says of axis, closure and angles.
fn describe(truth: &Truth, report: &SetReport) {
    match &report.axis {
        Ok(a) => println!(
            "  column off {:+.3} ± {:.3} px; lean {}",
            a.column_px - truth.axis_column_px,
            a.uncertainty_px,
            match &a.lean_deg {
                Ok((l, s)) => format!("off {:+.4} ± {s:.4}°", l - truth.axis_lean_deg),
                Err(reason) => reason.clone(),
            }
        ),
        Err(reason) => println!("  axis: {reason}"),
    }
    match &report.closure_deg {
        Ok((c, s)) => println!("  closure off {:+.4} ± {s:.4}°", c - truth.closure_deg),
        Err(reason) => println!("  closure: {reason}"),
    }
    let mut untold = std::collections::BTreeMap::<&str, usize>::new();
    for frame in &report.frames {
        if let Err(reason) = &frame.measured {
            *untold.entry(reason).or_default() += 1;
        }
    }
    for (reason, n) in untold {
        println!("  {n} angles: {reason}");
    }
}
