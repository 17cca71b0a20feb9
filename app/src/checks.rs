//! Looks at frames while a session runs: joins `imaging`'s checks and the session.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use imaging::check::{self, FrameInput, check_looks, check_measured_until};
use imaging::measure::angle::{Angle, Told};
use imaging::measure::{FrameFacts, Measured, measure};
use session_core::cancel::CancelToken;
use session_core::check::{Finding, Flag, FlagKind, FrameChecker, FrameToCheck, SeenAngle};
use session_core::motion::Direction;
use session_core::runner::Eyes;

use crate::rest::Watcher;

/// How many of the nearest frames a frame is judged among, itself included.
const AMONG: usize = 13;
/// How many of the nearest are judged anew with it: it lies on both sides of their judgement.
const ANEW: usize = 4;
/// Fewer others tell too little: the frame is judged by itself, and with them once there are more.
const LEAST_OTHERS: usize = 4;
/// The longest row whose angles are measured while it is shot; each frame takes about 2 MB of memory.
const MOST_WITH_ANGLES: usize = 400;

/// Who looks at pictures for a session.
pub fn eyes() -> Eyes {
    Eyes { checker: Some(Box::new(Checker::default())), rest: Some(Box::new(Watcher::default())) }
}

/// A frame that was looked at.
#[derive(Debug)]
enum Seen {
    Measured(Box<Measured>),
    /// Of a long row the pixels are not kept.
    Facts(Box<FrameFacts>),
    /// Why it cannot be read.
    Unreadable(String),
}

impl Seen {
    fn look(path: &Path) -> Self {
        match read(path) {
            Ok(measured) => Self::Measured(Box::new(measured)),
            Err(reason) => Self::Unreadable(reason),
        }
    }

    fn facts(&self) -> Result<&FrameFacts, &str> {
        match self {
            Self::Measured(measured) => Ok(&measured.facts),
            Self::Facts(facts) => Ok(facts),
            Self::Unreadable(reason) => Err(reason),
        }
    }
}

fn read(path: &Path) -> Result<Measured, String> {
    let bytes = std::fs::read(path).map_err(|error| {
        format!("{} cannot be read: {error}; see whether it is still there", path.display())
    })?;
    measure(&bytes).map_err(|error| error.to_string())
}

/// Judges frames as they are kept; remembers what it has measured of the present row.
#[derive(Debug, Default)]
pub struct Checker {
    seen: HashMap<PathBuf, Seen>,
    /// What was told last of each stop and version.
    told: HashMap<(u32, u32), Found>,
}

/// What was found on a frame.
#[derive(Debug, Clone, PartialEq)]
struct Found {
    flags: Vec<Flag>,
    /// Only the whole row tells it.
    seen_angle: Option<SeenAngle>,
}

impl Found {
    fn by_looks(flags: Vec<Flag>) -> Self {
        Self { flags, seen_angle: None }
    }
}

impl FrameChecker for Checker {
    fn check_frame(
        &mut self,
        row: &[FrameToCheck],
        stop: u32,
        cancel: &CancelToken,
        found: &mut dyn FnMut(Finding),
    ) {
        let Some(this) = row.iter().find(|frame| frame.stop == stop) else { return };
        self.forget_others(row);
        let mut among: Vec<&FrameToCheck> = row.iter().collect();
        among.sort_by(|one, other| apart(one, this).total_cmp(&apart(other, this)));
        among.truncate(AMONG);
        let near: HashSet<u32> = among.iter().take(1 + ANEW).map(|frame| frame.stop).collect();
        // The order of the plan again: a copy is told by the frame before it.
        let among: Vec<&FrameToCheck> =
            row.iter().filter(|frame| among.iter().any(|near| near.stop == frame.stop)).collect();
        for frame in &among {
            if cancel.is_cancelled() {
                return;
            }
            self.look(frame, row.len());
        }
        let readable = among.iter().filter(|frame| self.seen[&frame.path].facts().is_ok()).count();
        if readable > LEAST_OTHERS {
            for (frame, flags) in among.iter().zip(self.looks(&among)) {
                let is_this = frame.stop == stop;
                // Of frames judged in an earlier run only the whole row tells anew.
                let known = self.told.get(&(frame.stop, frame.version));
                if is_this || (near.contains(&frame.stop) && known.is_some()) {
                    let angles =
                        known.map(|known| known.flags.iter().filter(|flag| is_of_the_row(flag.kind)));
                    let flags = flags.into_iter().chain(angles.into_iter().flatten().cloned()).collect();
                    // Its angle is measured with the whole row only.
                    let seen_angle = known.and_then(|known| known.seen_angle.clone());
                    self.tell(frame, Found { flags, seen_angle }, is_this, found);
                }
            }
        } else if let Some(flags) = self.looks(&[this]).pop() {
            self.tell(this, Found::by_looks(flags), true, found);
        }
    }

    fn check_row(
        &mut self,
        row: &[FrameToCheck],
        direction: Direction,
        cancel: &CancelToken,
        found: &mut dyn FnMut(Finding),
    ) -> Result<Option<String>, String> {
        self.forget_others(row);
        for frame in row {
            if cancel.is_cancelled() {
                return Ok(None);
            }
            self.look(frame, row.len());
        }
        let (judged, note) = if row.len() <= MOST_WITH_ANGLES {
            let Some(judged) = self.with_angles(row, direction, cancel) else { return Ok(None) };
            judged
        } else {
            let frames: Vec<&FrameToCheck> = row.iter().collect();
            let note = format!(
                "A row of {} frames is too long to measure its angles while it is shot; 'roundstop check' does it afterwards.",
                row.len()
            );
            (self.looks(&frames).into_iter().map(Found::by_looks).collect(), Some(note))
        };
        for (frame, judged) in row.iter().zip(judged) {
            self.tell(frame, judged, false, found);
        }
        Ok(note)
    }
}

impl Checker {
    /// Drops what was measured of other rows and of versions no longer in use.
    fn forget_others(&mut self, row: &[FrameToCheck]) {
        let paths: HashSet<&Path> = row.iter().map(|frame| frame.path.as_path()).collect();
        self.seen.retain(|path, _| paths.contains(path.as_path()));
    }

    fn look(&mut self, frame: &FrameToCheck, row_len: usize) {
        self.seen.entry(frame.path.clone()).or_insert_with(|| match Seen::look(&frame.path) {
            Seen::Measured(measured) if row_len > MOST_WITH_ANGLES => Seen::Facts(Box::new(measured.facts)),
            seen => seen,
        });
    }

    /// Judges frames that were looked at, angles excepted.
    fn looks(&self, frames: &[&FrameToCheck]) -> Vec<Vec<Flag>> {
        let inputs: Vec<FrameInput> = frames.iter().map(|frame| input(frame)).collect();
        let facts: Vec<Result<&FrameFacts, &str>> = frames
            .iter()
            .map(|frame| self.seen.get(&frame.path).map_or(Err("not read"), Seen::facts))
            .collect();
        check_looks(&inputs, &facts).into_iter().map(plain_flags).collect()
    }

    /// Judges a row, angles included, and says whether its turn closes where it has a closing frame; `None` when
    /// cancelled.
    fn with_angles(
        &mut self,
        row: &[FrameToCheck],
        direction: Direction,
        cancel: &CancelToken,
    ) -> Option<(Vec<Found>, Option<String>)> {
        let inputs: Vec<FrameInput> = row.iter().map(input).collect();
        let measured: Vec<Result<Measured, String>> = row
            .iter()
            .map(|frame| match self.seen.remove(&frame.path) {
                Some(Seen::Measured(measured)) => Ok(*measured),
                Some(Seen::Unreadable(reason)) => Err(reason),
                // Measured while the row was longer than it is now.
                Some(Seen::Facts(_)) | None => read(&frame.path),
            })
            .collect();
        let clockwise = direction == Direction::Clockwise;
        let report = check_measured_until(&inputs, &measured, clockwise, &|| cancel.is_cancelled());
        for (frame, measured) in row.iter().zip(measured) {
            let seen = match measured {
                Ok(measured) => Seen::Measured(Box::new(measured)),
                Err(reason) => Seen::Unreadable(reason),
            };
            self.seen.insert(frame.path.clone(), seen);
        }
        let report = report?;
        let closes = row.iter().any(|frame| frame.closing).then(|| closure_words(&report.closure_deg));
        let found = report.frames.into_iter().map(|frame| Found {
            flags: plain_flags(frame.flags),
            seen_angle: Some(plain_angle(frame.measured)),
        });
        Some((found.collect(), closes))
    }

    /// Tells what was found on a frame if it is news, or in any case.
    fn tell(
        &mut self,
        frame: &FrameToCheck,
        judged: Found,
        in_any_case: bool,
        found: &mut dyn FnMut(Finding),
    ) {
        let before = self.told.insert((frame.stop, frame.version), judged.clone());
        if in_any_case || before.as_ref() != Some(&judged) {
            let Found { flags, seen_angle } = judged;
            found(Finding { stop: frame.stop, version: frame.version, flags, seen_angle });
        }
    }
}

/// Whether a turn closes, in a sentence; what is left over and its standard uncertainty are in degrees.
fn closure_words(closure: &Result<(f64, f64), String>) -> String {
    match closure {
        Ok((left, sigma)) if left.abs() <= closure_range_deg(*sigma) => {
            format!("The turn closes: {left:+.2}° ± {sigma:.2}° are left over.")
        }
        Ok((left, sigma)) => format!(
            "The turn does not close: {left:+.2}° ± {sigma:.2}° are left over, so the table's steps in a turn are wrong; 'roundstop check' says the true ones."
        ),
        Err(reason) => format!("Whether the turn closes cannot be told: {reason}."),
    }
}

/// Within three times the standard uncertainty, degrees, what is left over of a turn may be chance.
pub fn closure_range_deg(sigma_deg: f64) -> f64 {
    (3.0 * sigma_deg).max(0.01)
}

/// How far apart two frames' angles are, degrees.
fn apart(one: &FrameToCheck, other: &FrameToCheck) -> f64 {
    let apart = (one.degrees - other.degrees).rem_euclid(360.0);
    apart.min(360.0 - apart)
}

fn input(frame: &FrameToCheck) -> FrameInput {
    FrameInput { index: frame.stop, degrees: frame.degrees, closing: frame.closing, path: frame.path.clone() }
}

/// Whether only the whole row can tell such a flag.
fn is_of_the_row(kind: FlagKind) -> bool {
    matches!(kind, FlagKind::WrongAngle | FlagKind::ObjectSlipped)
}

/// The session's word for what `imaging` has found.
pub fn plain_kind(kind: check::FlagKind) -> FlagKind {
    match kind {
        check::FlagKind::OutOfFocus => FlagKind::OutOfFocus,
        check::FlagKind::MotionBlur => FlagKind::MotionBlur,
        check::FlagKind::ExposureOff => FlagKind::ExposureOff,
        check::FlagKind::WhiteBalanceOff => FlagKind::WhiteBalanceOff,
        check::FlagKind::Clipped => FlagKind::Clipped,
        check::FlagKind::Duplicate => FlagKind::Duplicate,
        check::FlagKind::WrongAngle => FlagKind::WrongAngle,
        check::FlagKind::ObjectSlipped => FlagKind::ObjectSlipped,
        check::FlagKind::BackgroundUneven => FlagKind::BackgroundUneven,
        check::FlagKind::Damaged => FlagKind::Damaged,
        check::FlagKind::SizeDiffers => FlagKind::SizeDiffers,
    }
}

/// The session's form of an angle that `imaging` has measured.
fn plain_angle(measured: Told<Angle>) -> SeenAngle {
    // Thousandths are finer than anything measured here, and keep the journal's lines short.
    let thousandths = |degrees: f64| (degrees * 1e3).round() / 1e3;
    match measured {
        // JSON has no word for what is not finite.
        Ok(angle) if angle.degrees.is_finite() && angle.uncertainty_deg.is_finite() => SeenAngle::Told {
            degrees: thousandths(angle.degrees),
            uncertainty_deg: thousandths(angle.uncertainty_deg),
        },
        Ok(_) => SeenAngle::CannotTell { cannot_tell: "the places followed do not settle it".to_owned() },
        Err(cannot_tell) => SeenAngle::CannotTell { cannot_tell },
    }
}

fn plain_flags(flags: Vec<check::Flag>) -> Vec<Flag> {
    flags
        .into_iter()
        .map(|flag| Flag {
            kind: plain_kind(flag.kind),
            reason: flag.reason,
            // JSON has no word for what is not finite.
            amount: if flag.amount.is_finite() { flag.amount } else { 0.0 },
            unit: flag.unit.to_owned(),
        })
        .collect()
}
