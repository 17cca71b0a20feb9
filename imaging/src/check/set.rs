//! Judges a whole row of stops: every frame against its neighbours, then axis and angles.

use std::path::PathBuf;

use rayon::prelude::*;
use serde::ser::{Serialize, SerializeMap, Serializer};

use super::{Flag, FlagKind, check_frame_quick, same};
use crate::measure::angle::{
    Angle, Axis, Stop, Told, TurnFacts, TurnFrame, measure_turn, measure_turn_until,
};
use crate::measure::{FrameFacts, Measured, measure};

/// A frame to check.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameInput {
    /// The stop's number, as the person knows it.
    pub index: u32,
    /// Planned angle along the plan's direction, degrees from 0.
    pub degrees: f64,
    /// Whether this is the closing frame, one full turn after the first; kept apart from the set.
    pub closing: bool,
    /// The file.
    pub path: PathBuf,
}

/// What was found on one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameReport {
    /// The stop's number.
    pub index: u32,
    /// Planned angle, degrees.
    pub degrees: f64,
    /// Whether this is the closing frame.
    pub closing: bool,
    /// What is wrong, if anything.
    pub flags: Vec<Flag>,
    /// The angle measured from the pictures, or why it cannot be told.
    pub measured: Told<Angle>,
}

/// What was found on a row of stops.
#[derive(Debug, Clone, PartialEq)]
pub struct SetReport {
    /// The turning axis, or why it cannot be told.
    pub axis: Told<Axis>,
    /// Degrees the table turned beyond 360 when told to turn 360, and the uncertainty.
    pub closure_deg: Told<(f64, f64)>,
    /// The frames in the order given.
    pub frames: Vec<FrameReport>,
}

impl SetReport {
    /// Tells whether no frame has a flag.
    pub fn is_clean(&self) -> bool {
        self.frames.iter().all(|f| f.flags.is_empty())
    }

    /// Returns true steps per turn, given those assumed while shooting and a told closure.
    pub fn steps_per_turn(&self, assumed: f64) -> Option<f64> {
        self.closure_deg.as_ref().ok().map(|(closure, _)| assumed * 360.0 / (360.0 + closure))
    }
}

/// A table that was told to turn and moved by less than this did not move, degrees.
const STOOD_DEG: f64 = 0.1;

/// Reads, measures and judges the frames of one row, in the order of the plan. `clockwise` is the
/// plan's direction seen from above.
///
/// A file that cannot be read becomes a flag on its frame.
pub fn check_set(inputs: &[FrameInput], clockwise: bool) -> SetReport {
    let measured: Vec<Result<Measured, String>> = inputs
        .par_iter()
        .map(|input| {
            let bytes = std::fs::read(&input.path).map_err(|e| {
                format!("{} cannot be read: {e}; see whether it is still there", input.path.display())
            })?;
            measure(&bytes).map_err(|e| e.to_string())
        })
        .collect();
    check_measured(inputs, &measured, clockwise)
}

/// Judges frames that are measured already; `measured` stands in the order of `inputs`.
pub fn check_measured(
    inputs: &[FrameInput],
    measured: &[Result<Measured, String>],
    clockwise: bool,
) -> SetReport {
    let looked = Looked::at(inputs, measured);
    let turn = measure_turn(&looked.turn(inputs, measured), clockwise);
    looked.with(turn)
}

/// The same unless told to stop, which takes well under a second; `None` when it was.
pub fn check_measured_until(
    inputs: &[FrameInput],
    measured: &[Result<Measured, String>],
    clockwise: bool,
    stop: Stop,
) -> Option<SetReport> {
    let looked = Looked::at(inputs, measured);
    let turn = measure_turn_until(&looked.turn(inputs, measured), clockwise, stop)?;
    Some(looked.with(turn))
}

/// Frames judged by their looks, before their angles are known.
struct Looked {
    reports: Vec<FrameReport>,
    /// Which of them can be measured.
    usable: Vec<usize>,
}

impl Looked {
    fn at(inputs: &[FrameInput], measured: &[Result<Measured, String>]) -> Self {
        let facts: Vec<Result<&FrameFacts, &str>> =
            measured.iter().map(|m| m.as_ref().map(|m| &m.facts).map_err(String::as_str)).collect();
        let reports: Vec<FrameReport> = inputs
            .iter()
            .zip(check_looks(inputs, &facts))
            .map(|(input, flags)| FrameReport {
                index: input.index,
                degrees: input.degrees,
                closing: input.closing,
                flags,
                measured: Err("the file cannot be read".into()),
            })
            .collect();
        let usable: Vec<usize> =
            (0..inputs.len()).filter(|&i| facts[i].is_ok_and(|f| f.damaged.is_none())).collect();
        Self { reports, usable }
    }

    fn turn<'a>(
        &self,
        inputs: &[FrameInput],
        measured: &'a [Result<Measured, String>],
    ) -> Vec<TurnFrame<'a>> {
        self.usable
            .iter()
            .filter_map(|&i| {
                let measured = measured.get(i)?.as_ref().ok()?;
                Some(TurnFrame {
                    degrees: inputs[i].degrees,
                    closing: inputs[i].closing,
                    copy_of_previous: self.reports[i].flags.iter().any(|f| f.kind == FlagKind::Duplicate),
                    measured,
                })
            })
            .collect()
    }

    fn with(self, turn: TurnFacts) -> SetReport {
        let Self { mut reports, usable } = self;
        for (&i, angle) in usable.iter().zip(turn.angles) {
            reports[i].measured = angle;
        }
        for &(frame, amount, sigma) in &turn.story.wrong {
            let here = usable[frame];
            let flag = if stands_as_before(&reports, here, sigma) {
                Flag::new(
                    FlagKind::Duplicate,
                    amount,
                    "°",
                    format!(
                        "the object stands as at the stop before, {:.2}° short (± {sigma:.2}°): the table did not move; retake the stop",
                        amount.abs()
                    ),
                )
            } else {
                Flag::new(
                    FlagKind::WrongAngle,
                    amount,
                    "°",
                    format!(
                        "the stop stands {:.2}° {} (± {sigma:.2}°) while its neighbours are right; retake it",
                        amount.abs(),
                        if amount > 0.0 { "too far" } else { "short" }
                    ),
                )
            };
            reports[here].flags.push(flag);
        }
        for (frame, amount, sigma) in &turn.story.slips {
            reports[usable[*frame]].flags.push(Flag::new(
            FlagKind::ObjectSlipped,
            *amount,
            "°",
            format!("from this stop on the object stands {:.2}° shifted (± {sigma:.2}°): it slipped on the plate; fix it and shoot the set again from here", amount.abs()),
        ));
        }
        for report in &mut reports {
            report.flags.sort_by_key(|f| f.kind);
        }
        SetReport { axis: turn.axis, closure_deg: turn.closure_deg, frames: reports }
    }
}

/// Judges frames by their looks alone, copies included, axis and angles not: quick enough while a set is
/// shot. `facts` stands in the order of `inputs`; an error says why a file cannot be read.
pub fn check_looks(inputs: &[FrameInput], facts: &[Result<&FrameFacts, &str>]) -> Vec<Vec<Flag>> {
    let readable: Vec<Option<&FrameFacts>> = facts.iter().map(|f| f.ok()).collect();
    // The closing frame is meant to be the first stop's picture again.
    let in_set: Vec<Option<&FrameFacts>> =
        readable.iter().zip(inputs).map(|(f, i)| f.filter(|_| !i.closing)).collect();
    let round = goes_round(inputs);
    let looks = facts.iter().enumerate().map(|(i, f)| match f {
        Ok(f) => check_frame_quick(f, &neighbours(&readable, i, round)),
        Err(reason) => vec![Flag::new(FlagKind::Damaged, 100.0, "%", (*reason).to_owned())],
    });
    looks.zip(same::copies(&in_set)).map(|(flags, copy)| flags.into_iter().chain(copy).collect()).collect()
}

/// Whether a stop's measured angle is that of the stop before it, though another was planned.
fn stands_as_before(reports: &[FrameReport], here: usize, sigma: f64) -> bool {
    let Some(before) = here.checked_sub(1).map(|b| &reports[b]) else { return false };
    let (Ok(angle), Ok(angle_before)) = (&reports[here].measured, &before.measured) else { return false };
    let same = (3.0 * sigma).max(STOOD_DEG);
    (angle.degrees - angle_before.degrees).abs() < same
        && (reports[here].degrees - before.degrees).abs() > 2.0 * same
}

/// Whether the last stop's neighbour is the first one.
fn goes_round(inputs: &[FrameInput]) -> bool {
    let mut degrees: Vec<f64> =
        inputs.iter().filter(|i| !i.closing).map(|i| i.degrees.rem_euclid(360.0)).collect();
    degrees.sort_by(f64::total_cmp);
    match (degrees.first(), degrees.last()) {
        (Some(first), Some(last)) => {
            let usual = (last - first) / degrees.len().max(2) as f64;
            first + 360.0 - last < 3.0 * usual.max(1.0)
        }
        _ => false,
    }
}

/// Up to eight readable frames about one, the nearest first.
fn neighbours<'a>(facts: &[Option<&'a FrameFacts>], at: usize, round: bool) -> Vec<&'a FrameFacts> {
    let n = facts.len() as isize;
    let mut found: Vec<&'a FrameFacts> = Vec::new();
    for d in 1..n {
        for place in [at as isize - d, at as isize + d] {
            let place = if round { place.rem_euclid(n) } else { place };
            if place != at as isize
                && let Some(Some(f)) = usize::try_from(place).ok().and_then(|p| facts.get(p))
                && !found.iter().any(|g| std::ptr::eq(*g, *f))
            {
                found.push(*f);
            }
        }
        if found.len() >= 8 {
            break;
        }
    }
    found
}

fn round_to(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

impl Serialize for SetReport {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(None)?;
        map.serialize_entry("axis", &AxisJson(&self.axis))?;
        match &self.closure_deg {
            Ok((closure, sigma)) => {
                map.serialize_entry("closure_deg", &round_to(*closure, 4))?;
                map.serialize_entry("closure_uncertainty_deg", &round_to(*sigma, 4))?;
            }
            Err(reason) => cannot_tell(&mut map, reason)?,
        }
        map.serialize_entry("frames", &self.frames)?;
        map.end()
    }
}

impl Serialize for FrameReport {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(None)?;
        map.serialize_entry("index", &self.index)?;
        map.serialize_entry("degrees", &self.degrees)?;
        if self.closing {
            map.serialize_entry("closing", &true)?;
        }
        map.serialize_entry("flags", &self.flags)?;
        match &self.measured {
            Ok(angle) => {
                map.serialize_entry("measured_degrees", &round_to(angle.degrees, 4))?;
                map.serialize_entry("uncertainty_degrees", &round_to(angle.uncertainty_deg, 4))?;
            }
            Err(reason) => cannot_tell(&mut map, reason)?,
        }
        map.end()
    }
}

fn cannot_tell<M: SerializeMap>(map: &mut M, reason: &str) -> Result<(), M::Error> {
    map.serialize_entry("cannot_tell", &true)?;
    map.serialize_entry("reason", reason)
}

struct AxisJson<'a>(&'a Told<Axis>);

impl Serialize for AxisJson<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(None)?;
        match self.0 {
            Ok(axis) => {
                map.serialize_entry("column_px", &round_to(axis.column_px, 3))?;
                map.serialize_entry("uncertainty_px", &round_to(axis.uncertainty_px, 3))?;
                match &axis.lean_deg {
                    Ok((lean, sigma)) => {
                        map.serialize_entry("lean_deg", &round_to(*lean, 4))?;
                        map.serialize_entry("lean_uncertainty_deg", &round_to(*sigma, 4))?;
                    }
                    Err(reason) => cannot_tell(&mut map, reason)?,
                }
                if let Some(off) = &axis.off_axis {
                    map.serialize_entry("off_axis_px", &round_to(off.distance_px, 2))?;
                    map.serialize_entry("off_axis_percent_of_width", &round_to(off.percent_of_width, 2))?;
                    map.serialize_entry("move_towards_deg", &round_to(off.move_towards_deg, 1))?;
                }
            }
            Err(reason) => cannot_tell(&mut map, reason)?,
        }
        map.end()
    }
}
