//! `roundstop check`: what the pictures themselves say about a set.

use std::collections::BTreeMap;
use std::path::Path;

use imaging::check::{FrameInput, SetReport, check_set};
use serde::Serialize;
use session_core::angle::StepsPerTurn;
use session_core::journal::SessionFolder;
use session_core::motion::Direction;

use super::{EXIT_DONE, EXIT_FAULT, EXIT_MISSING, fault};
use crate::checks::{closure_range_deg, plain_kind};

/// Runs `roundstop check DIR`: 0 without doubtful frames, 3 with some, 1 when the set cannot be checked.
pub fn run(dir: &Path, json: bool) -> u8 {
    let rows = match check(dir) {
        Ok(rows) => rows,
        Err(error) => return fault(&error),
    };
    if json {
        match serde_json::to_string_pretty(&Whole::new(&rows)) {
            Ok(text) => println!("{text}"),
            Err(error) => {
                eprintln!("roundstop: the report cannot be written: {error}");
                return EXIT_FAULT;
            }
        }
    } else {
        for row in &rows {
            print_table(row);
        }
    }
    if rows.iter().all(|row| row.report.is_clean()) { EXIT_DONE } else { EXIT_MISSING }
}

/// One row of stops and what was found.
struct Row {
    name: String,
    report: SetReport,
    /// Steps in a turn that the set was shot with.
    assumed: StepsPerTurn,
    /// Why the row's closing frame tells nothing, where it has one.
    unclosed: Option<String>,
}

fn check(dir: &Path) -> anyhow::Result<Vec<Row>> {
    let (session, status) = SessionFolder::read(dir)?;
    let clockwise = session.plan.direction == Direction::Clockwise;
    let mut rows: Vec<(String, Vec<FrameInput>)> = Vec::new();
    for stop in &status.stops {
        let Some(file) = &stop.file else { continue };
        let input =
            FrameInput { index: stop.index, degrees: stop.degrees, closing: false, path: dir.join(file) };
        match rows.iter_mut().find(|(name, _)| *name == stop.row) {
            Some((_, inputs)) => inputs.push(input),
            None => rows.push((stop.row.clone(), vec![input])),
        }
    }
    let mut unclosed: BTreeMap<String, String> = BTreeMap::new();
    for closing in &status.closing {
        let stop = &closing.stop;
        let reason = match (&stop.file, rows.iter_mut().find(|(name, _)| *name == stop.row)) {
            (Some(file), Some((_, inputs))) if closing.is_a_turn_on => {
                let path = dir.join(file);
                inputs.push(FrameInput { index: stop.index, degrees: stop.degrees, closing: true, path });
                continue;
            }
            (None, _) => "is not shot yet",
            _ => "was not shot one turn on from the row's first frame",
        };
        let text = format!(
            "the closing frame {reason}; shoot it with 'roundstop retake DIR --stops {}'",
            stop.index
        );
        unclosed.insert(stop.row.clone(), text);
    }
    anyhow::ensure!(!rows.is_empty(), "{} holds no kept frames to check; shoot the set first", dir.display());
    let row = |(name, inputs): (String, Vec<FrameInput>)| Row {
        report: check_set(&inputs, clockwise),
        assumed: session.steps_per_turn,
        unclosed: unclosed.remove(&name),
        name,
    };
    Ok(rows.into_iter().map(row).collect())
}

/// The JSON form: one row is the report itself; with several, axis and closure are the first row's
/// and `rows` holds each row's own.
#[derive(Serialize)]
struct Whole<'a> {
    #[serde(flatten)]
    first: &'a SetReport,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    rows: BTreeMap<&'a str, &'a SetReport>,
}

impl<'a> Whole<'a> {
    fn new(rows: &'a [Row]) -> Self {
        let others = if rows.len() > 1 {
            rows.iter().map(|r| (r.name.as_str(), &r.report)).collect()
        } else {
            BTreeMap::new()
        };
        Self { first: &rows[0].report, rows: others }
    }
}

fn print_table(row: &Row) {
    let report = &row.report;
    if !row.name.is_empty() {
        println!("row {}", row.name);
    }
    match &report.axis {
        Ok(axis) => {
            let lean = match &axis.lean_deg {
                Ok((lean, sigma)) => format!("leans {lean:+.3}° ± {sigma:.3}°"),
                Err(reason) => format!("lean: cannot tell, {reason}"),
            };
            println!(
                "axis     column {:.2} ± {:.2} px at mid height, {lean}",
                axis.column_px, axis.uncertainty_px
            );
            if let Some(off) = &axis.off_axis {
                println!(
                    "centring the object stands {:.1} % of its width off the axis; to centre it, move it towards {:.0}° (0° right, 90° away, plate at 0°)",
                    off.percent_of_width, off.move_towards_deg
                );
            }
        }
        Err(reason) => println!("axis     cannot tell: {reason}"),
    }
    match &report.closure_deg {
        Ok((closure, sigma)) => print_closure(*closure, *sigma, row.assumed),
        Err(reason) => println!("closure  cannot tell: {}", row.unclosed.as_ref().unwrap_or(reason)),
    }
    println!(" stop   planned  measured            off  found");
    for frame in &report.frames {
        let (measured, bar) = match &frame.measured {
            Ok(angle) => (
                format!("{:8.2}° ±{:.2}", angle.degrees, angle.uncertainty_deg),
                bar(angle.degrees - frame.degrees),
            ),
            Err(_) => ("  cannot tell".to_owned(), bar(0.0)),
        };
        let flags: Vec<String> = frame
            .flags
            .iter()
            .map(|f| format!("{} {:+.2} {}", plain_kind(f.kind), f.amount, f.unit))
            .collect();
        let closing = if frame.closing { "closing " } else { "" };
        println!(
            "{:>5}  {:>7.2}°  {measured:<16} {bar}  {closing}{}",
            frame.index,
            frame.degrees,
            flags.join("; ")
        );
    }
    for frame in &report.frames {
        for flag in &frame.flags {
            println!("stop {}: {}", frame.index, flag.reason);
        }
    }
    let flagged = report.frames.iter().filter(|f| !f.flags.is_empty()).count();
    println!("{flagged} of {} frames are doubtful.", report.frames.len());
}

/// Says how far the turn is from closing, and the steps in a turn that would close it.
fn print_closure(closure_deg: f64, sigma_deg: f64, assumed: StepsPerTurn) {
    let steps = assumed.to_f64() * 360.0 / (360.0 + closure_deg);
    let steps_sigma = steps * sigma_deg / 360.0;
    println!(
        "closure  {closure_deg:+.3}° ± {sigma_deg:.3}° over a full turn of {:.3} steps",
        assumed.to_f64()
    );
    let range_deg = closure_range_deg(sigma_deg);
    if closure_deg.abs() > range_deg {
        println!(
            "         a true turn has {steps:.2} ± {steps_sigma:.2} steps; keep that for the table with"
        );
        println!(
            "         roundstop table calibrate --table TABLE --turns 1 --leftover {closure_deg:.3} --uncertainty {range_deg:.3} --assumed {assumed}"
        );
    }
}

/// A bar of nine places: a mark left or right of the middle, one place for each 0.25°.
fn bar(off_deg: f64) -> String {
    let places = (off_deg / 0.25).round().clamp(-4.0, 4.0) as i32;
    (-4..=4)
        .map(|i| match i {
            0 => '|',
            i if (places > 0 && i > 0 && i <= places) || (places < 0 && i < 0 && i >= places) => '=',
            _ => '·',
        })
        .collect()
}
