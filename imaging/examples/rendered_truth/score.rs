//! Counts what was found against what was there.

use std::collections::BTreeMap;
use std::path::Path;

use imaging::check::{FlagKind, SetReport};

use crate::truth::Truth;

/// Faults found out of faults there.
#[derive(Default, Clone, Copy)]
struct Count {
    found: usize,
    all: usize,
}

/// The table over all sets.
#[derive(Default)]
pub struct Score {
    sets: usize,
    frames: usize,
    clean_frames: usize,
    false_flags: BTreeMap<FlagKind, usize>,
    false_frames: usize,
    faults: BTreeMap<&'static str, Count>,
    cannot_tell: BTreeMap<&'static str, usize>,
    column_errors: Vec<f64>,
    lean_errors: Vec<f64>,
    off_axis_errors: Vec<f64>,
    closure_errors: Vec<f64>,
    amount_errors: Vec<f64>,
    column_untold: usize,
    lean_untold: usize,
    closure_untold: usize,
    plain_angles: usize,
    plain_frames: usize,
    angle_errors: Vec<f64>,
}

fn kind_of(fault: &str) -> Option<(&'static str, FlagKind)> {
    Some(match fault {
        "wrong_angle" => ("wrong angle", FlagKind::WrongAngle),
        "slip" => ("slip", FlagKind::ObjectSlipped),
        "defocus" => ("defocus", FlagKind::OutOfFocus),
        "motion_blur" => ("motion blur", FlagKind::MotionBlur),
        "exposure" => ("exposure", FlagKind::ExposureOff),
        "white_balance" => ("white balance", FlagKind::WhiteBalanceOff),
        "duplicate" => ("duplicate", FlagKind::Duplicate),
        _ => return None,
    })
}

impl Score {
    /// Takes one set into the count.
    pub fn take(&mut self, set: &Path, truth: &Truth, report: &SetReport) {
        self.sets += 1;
        self.frames += truth.frames.len();
        let name = set.file_name().and_then(|n| n.to_str()).unwrap_or("").to_owned();
        // Where each fault stands in the frames as given; a slip at a missing stop shows at the next.
        let mut expected: Vec<Vec<(&'static str, FlagKind, f64)>> = vec![Vec::new(); truth.frames.len()];
        for fault in &truth.faults {
            let (Some((word, kind)), Some(index)) =
                (fault["kind"].as_str().and_then(kind_of), fault["index"].as_u64())
            else {
                continue;
            };
            if let Some(at) = truth.frames.iter().position(|f| f.planned >= index && !f.closing) {
                let exact = truth.frames[at].planned == index || kind == FlagKind::ObjectSlipped;
                if exact {
                    expected[at].push((word, kind, fault["deg"].as_f64().unwrap_or(f64::NAN)));
                }
            }
        }
        let untextured = matches!(truth.pattern.as_str(), "plain" | "bands");
        for (i, frame) in report.frames.iter().enumerate() {
            if expected[i].is_empty() {
                self.clean_frames += 1;
            }
            for &(word, kind, deg) in &expected[i] {
                let count = self.faults.entry(word).or_default();
                let found = frame.flags.iter().find(|f| f.kind == kind);
                let turned = matches!(kind, FlagKind::WrongAngle | FlagKind::ObjectSlipped);
                if found.is_none() && turned && frame.measured.is_err() {
                    *self.cannot_tell.entry(word).or_default() += 1;
                    continue;
                }
                count.all += 1;
                if let Some(flag) = found {
                    count.found += 1;
                    if turned {
                        self.amount_errors.push((flag.amount - deg).abs());
                        if (flag.amount - deg).abs() > 0.05 {
                            println!("  AMOUNT {name} frame {i} {word}: {:+.3} for {deg:+.3}", flag.amount);
                        }
                    }
                } else {
                    let said: Vec<_> = frame.flags.iter().map(|f| (f.kind, f.amount)).collect();
                    println!("  MISSED {name} frame {i} {word} {deg}; said {said:?}");
                }
            }
            let mut blamed = false;
            for flag in &frame.flags {
                let blurred = [FlagKind::OutOfFocus, FlagKind::MotionBlur];
                let meant = expected[i]
                    .iter()
                    .any(|e| e.1 == flag.kind || (blurred.contains(&e.1) && blurred.contains(&flag.kind)));
                if !meant {
                    *self.false_flags.entry(flag.kind).or_default() += 1;
                    blamed = true;
                    println!(
                        "  FALSE {name} frame {i} {:?} {} {} (there: {:?})",
                        flag.kind, flag.amount, flag.unit, expected[i]
                    );
                }
            }
            self.false_frames += usize::from(blamed);
            if untextured {
                self.plain_frames += 1;
                self.plain_angles += usize::from(frame.measured.is_ok());
            }
        }
        self.axis(truth, report, &name);
        match &report.closure_deg {
            Ok((c, _)) => {
                let e = (c - truth.closure_deg).abs();
                if e > 0.02 {
                    println!("  CLOSURE {name} off {e:.3}");
                }
                self.closure_errors.push(e);
            }
            Err(_) => self.closure_untold += 1,
        }
        let off: Vec<f64> = report
            .frames
            .iter()
            .zip(&truth.frames)
            .filter_map(|(r, f)| Some(r.measured.as_ref().ok()?.degrees - f.true_degrees))
            .collect();
        let mut sorted = off.clone();
        sorted.sort_by(f64::total_cmp);
        if let Some(&middle) = sorted.get(sorted.len() / 2) {
            self.angle_errors.extend(off.iter().map(|o| (o - middle).abs()));
        }
    }

    fn axis(&mut self, truth: &Truth, report: &SetReport, name: &str) {
        let Ok(axis) = &report.axis else {
            self.column_untold += 1;
            self.lean_untold += 1;
            return;
        };
        let e = (axis.column_px - truth.axis_column_px).abs();
        if e > 0.3 {
            println!("  COLUMN {name} off {e:.3} ± {:.3}", axis.uncertainty_px);
        }
        self.column_errors.push(e);
        match &axis.lean_deg {
            Ok((lean, _)) => {
                let e = (lean - truth.axis_lean_deg).abs();
                if e > 0.05 {
                    println!("  LEAN {name} off {e:.3}");
                }
                self.lean_errors.push(e);
            }
            Err(_) => self.lean_untold += 1,
        }
        if let (Some(off), Some((percent, towards))) = (&axis.off_axis, truth.off_centre_percent()) {
            let angle = (off.move_towards_deg - towards).to_radians();
            // Error of the vector, in per cent of the object's width.
            let e = (off.percent_of_width.powi(2) + percent.powi(2)
                - 2.0 * off.percent_of_width * percent * angle.cos())
            .max(0.0)
            .sqrt();
            if e > 0.02 * percent && e > 0.1 {
                println!(
                    "  OFF AXIS {name} {:.2} % of {percent:.2} %, true px {:.2} measured {:.2}",
                    off.percent_of_width,
                    percent / 100.0 * truth.object_width * truth.focal_px() / truth.distance,
                    off.distance_px
                );
            }
            self.off_axis_errors.push(e);
        }
    }

    /// Names the limits that are not met.
    pub fn misses(&self) -> Vec<String> {
        let mut out = Vec::new();
        let mut limit = |name: &str, value: f64, most: f64| {
            if value > most {
                out.push(format!("{name}: {value:.4} > {most}"));
            }
        };
        limit("axis column, worst px", worst(&self.column_errors), 0.5);
        limit("axis column, median px", middle(&self.column_errors), 0.1);
        limit("axis lean, worst °", worst(&self.lean_errors), 0.05);
        limit("closure, worst °", worst(&self.closure_errors), 0.02);
        limit("angles told on plain objects", self.plain_angles as f64, 0.0);
        limit(
            "false flags, share of clean frames",
            self.false_frames as f64 / self.clean_frames.max(1) as f64,
            0.005,
        );
        for (word, count) in &self.faults {
            let share = count.found as f64 / count.all.max(1) as f64;
            let least = if *word == "slip" { 0.98 } else { 0.99 };
            limit(&format!("{word} not found"), 1.0 - share, 1.0 - least + 1e-9);
        }
        out
    }

    /// Prints the table.
    pub fn print(&self) {
        println!("\n{} sets, {} frames", self.sets, self.frames);
        let row = |name: &str, errors: &[f64], untold: usize, unit: &str| {
            println!(
                "{name:28} told {:4}, cannot tell {untold:4}; median {:.4}, worst {:.4} {unit}",
                errors.len(),
                middle(errors),
                worst(errors)
            );
        };
        row("axis column", &self.column_errors, self.column_untold, "px");
        row("axis lean", &self.lean_errors, self.lean_untold, "°");
        row("object off axis", &self.off_axis_errors, 0, "% of width");
        row("closure", &self.closure_errors, self.closure_untold, "°");
        row("wrong stop or slip, amount", &self.amount_errors, 0, "°");
        row("angle of a stop", &self.angle_errors, 0, "°");
        for (word, count) in &self.faults {
            let untold = self.cannot_tell.get(word).copied().unwrap_or(0);
            println!("{word:28} found {:4} of {:4}, cannot tell {untold}", count.found, count.all);
        }
        println!(
            "plain or banded objects      {} angles told on {} frames",
            self.plain_angles, self.plain_frames
        );
        println!(
            "false flags                  {:?} on {} of {} clean frames",
            self.false_flags, self.false_frames, self.clean_frames
        );
        for miss in self.misses() {
            println!("NOT MET: {miss}");
        }
    }
}

fn worst(v: &[f64]) -> f64 {
    v.iter().copied().fold(0.0, f64::max)
}

fn middle(v: &[f64]) -> f64 {
    let mut v = v.to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(0.0)
}
