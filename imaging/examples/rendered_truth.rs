//! Measures rendered sets and compares with their truth; prints a table with counts.
//!
//! `cargo run -p imaging --release --example rendered_truth -- FOLDER [SET ...]`
//!
//! The sets come from `tests/outside/rendered_sets.py`, a renderer that shares nothing with this crate.

use std::path::{Path, PathBuf};

use imaging::check::{FrameInput, check_measured};
use imaging::measure::Measured;
use imaging::measure::angle::{TurnFrame, measure_turn};
use rayon::prelude::*;

#[path = "rendered_truth/score.rs"]
mod score;
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
    let mut score = Score::default();
    for set in &sets {
        one_set(set, &mut score)?;
    }
    score.print();
    if !score.misses().is_empty() && wanted.is_empty() {
        return Err(format!("{} limits are not met", score.misses().len()).into());
    }
    Ok(())
}

#[allow(clippy::too_many_lines, reason = "a table's rows, one after another")]
fn one_set(set: &Path, score: &mut Score) -> Result<(), Box<dyn std::error::Error>> {
    let truth = Truth::read(set)?;
    let start = std::time::Instant::now();
    let focal = truth.focal_px();
    let measured: Vec<_> = truth
        .frames
        .par_iter()
        .map(|f| imaging::measure::measure(&std::fs::read(set.join(&f.file)).unwrap_or_default()))
        .collect::<Result<_, _>>()?;
    let t1 = start.elapsed().as_secs_f64();
    let frames: Vec<TurnFrame> = truth
        .frames
        .iter()
        .zip(&measured)
        .map(|(f, m)| TurnFrame {
            degrees: f.degrees,
            closing: f.closing,
            copy_of_previous: f.faults.iter().any(|k| k == "duplicate"),
            measured: m,
        })
        .collect();
    let turn = measure_turn(&frames, truth.clockwise);
    let inputs: Vec<FrameInput> = truth
        .frames
        .iter()
        .map(|f| FrameInput {
            index: f.planned as u32,
            degrees: f.degrees,
            closing: f.closing,
            path: set.join(&f.file),
        })
        .collect();
    let t2 = start.elapsed().as_secs_f64() - t1;
    println!(
        "== {} {} {} n={} arc={} d={} tilt={} closing={} | facts {:.0} ms turn {:.0} ms a frame, {} tracks",
        set.file_name().and_then(|n| n.to_str()).unwrap_or(""),
        truth.object,
        truth.pattern,
        truth.frames.len(),
        truth.arc_deg,
        truth.distance,
        truth.tilt_deg,
        truth.frames.iter().any(|f| f.closing),
        t1 * 1e3 / frames.len() as f64,
        t2 * 1e3 / frames.len() as f64,
        turn.tracks
    );
    if std::env::var_os("RS_DEBUG").is_some() {
        println!("  true tilt {:.4} per_px {:.3e}", truth.tilt_deg.to_radians(), 1.0 / focal);
    }
    match &turn.axis {
        Ok(a) => {
            println!(
                "  axis column err {:+.3} (±{:.3}); lean {}",
                a.column_px - truth.axis_column_px,
                a.uncertainty_px,
                match &a.lean_deg {
                    Ok((l, s)) => format!("err {:+.4} (±{s:.4})", l - truth.axis_lean_deg),
                    Err(r) => r.clone(),
                }
            );
            if let (Some(o), Some(t)) = (&a.off_axis, truth.off_centre_percent()) {
                println!(
                    "  off axis {:.2} % of width, true {:.2} %; towards {:.0}°, true {:.0}°",
                    o.percent_of_width, t.0, o.move_towards_deg, t.1
                );
            }
        }
        Err(r) => println!("  axis: {r}"),
    }
    match &turn.closure_deg {
        Ok((c, s)) => println!(
            "  closure {c:+.4} ±{s:.4}, true {:+.4}, err {:+.4}",
            truth.closure_deg,
            c - truth.closure_deg
        ),
        Err(r) => println!("  closure: {r} (true {:+.3})", truth.closure_deg),
    }
    let mut errors: Vec<f64> = Vec::new();
    let mut untold = std::collections::BTreeMap::<String, usize>::new();
    // Both scales start at the first segment's fit: compare after taking out the mean difference.
    let diffs: Vec<f64> = turn
        .angles
        .iter()
        .zip(&truth.frames)
        .filter_map(|(a, f)| Some(a.as_ref().ok()?.degrees - f.true_degrees))
        .collect();
    let mut sorted = diffs.clone();
    sorted.sort_by(f64::total_cmp);
    let shift = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    let mut unc: f64 = 0.0;
    for (a, f) in turn.angles.iter().zip(&truth.frames) {
        match a {
            Ok(a) => {
                errors.push((a.degrees - f.true_degrees - shift).abs());
                unc = unc.max(a.uncertainty_deg);
            }
            Err(r) => *untold.entry(r.clone()).or_default() += 1,
        }
    }
    errors.sort_by(f64::total_cmp);
    if !errors.is_empty() {
        println!(
            "  angles {}: median err {:.4}, worst {:.4}, worst unc {:.4}, shift {:+.3}",
            errors.len(),
            errors[errors.len() / 2],
            errors[errors.len() - 1],
            unc,
            shift
        );
    }
    for (r, n) in untold {
        println!("  {n} × cannot tell: {r}");
    }
    let story: Vec<String> = turn
        .story
        .wrong
        .iter()
        .map(|w| format!("wrong[{}] {:+.3}", truth.frames[w.0].planned, w.1))
        .chain(turn.story.slips.iter().map(|w| format!("slip[{}] {:+.3}", truth.frames[w.0].planned, w.1)))
        .collect();
    println!("  says {story:?}; true {:?}", truth.turn_faults());
    drop(frames);
    let measured: Vec<Result<Measured, String>> = measured.into_iter().map(Ok).collect();
    let report = check_measured(&inputs, &measured, truth.clockwise);
    score.take(set, &truth, &report);
    Ok(())
}
