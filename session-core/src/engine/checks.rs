//! The engine's part about checks: they run behind the next turn, and what they find may ask for a
//! retake or a person.
//!
//! A finding acts on the version it was made on, and only while that version is the stop's newest and
//! in use; found later, it is on record and nothing else. What was found before is no news.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use super::{Action, CheckOf, Engine, Lens, Mode, PauseReason, StopState, Timer};
use crate::check::{FlagKind, FlagPolicy, Response};

/// What is known of checks when a run begins, and what is to follow from them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChecksSeed {
    /// What follows from each kind of flag.
    pub policy: FlagPolicy,
    /// How long the end of a row or set waits while no check comes in.
    pub patience: Duration,
    /// What was found earlier: stop, version, kinds.
    pub found: Vec<(u32, u32, BTreeSet<FlagKind>)>,
    /// Rows, counted from 0, that have been shot but not judged as a whole.
    pub open_rows: BTreeSet<usize>,
}

/// Checks on their way and what they have found.
#[derive(Debug, Clone, Default)]
pub(super) struct Checks {
    policy: FlagPolicy,
    patience: Duration,
    /// Kinds found, by stop and version.
    found: BTreeMap<(u32, u32), BTreeSet<FlagKind>>,
    /// Tickets of checks that have not ended.
    under_way: BTreeSet<u64>,
    /// Rows with frames that were not judged with the whole row yet.
    open_rows: BTreeSet<usize>,
    /// The timer of the present wait.
    wait: Option<u64>,
    /// The stop whose flag the session is about to pause for.
    pub(super) pause_at: Option<u32>,
}

impl Engine {
    /// Has every frame checked from now on.
    pub fn check_frames(&mut self, seed: ChecksSeed) {
        let found = seed.found.into_iter().map(|(stop, version, kinds)| ((stop, version), kinds));
        self.checks = Some(Checks {
            policy: seed.policy,
            patience: seed.patience,
            found: found.collect(),
            open_rows: seed.open_rows,
            ..Checks::default()
        });
    }

    /// Whether nothing but checks is being waited for.
    pub fn waits_for_checks(&self) -> bool {
        self.checks.as_ref().is_some_and(|checks| checks.wait.is_some())
            && matches!(self.mode, Mode::Running | Mode::Pausing)
    }

    /// Has a frame just kept checked.
    pub(super) fn check_frame(&mut self, stop: u32, version: u32, actions: &mut Vec<Action>) {
        if self.checks.is_none() {
            return;
        }
        self.row_has_changed(stop);
        self.begin_check(CheckOf::Frame { stop, version }, actions);
    }

    /// A stop's frame in use is another: its row is judged anew at its end.
    pub(super) fn row_has_changed(&mut self, stop: u32) {
        let row = self.stop(stop).map(|status| status.stop.row);
        if let Some(checks) = &mut self.checks {
            checks.open_rows.extend(row);
        }
    }

    fn begin_check(&mut self, of: CheckOf, actions: &mut Vec<Action>) {
        let ticket = self.next_ticket();
        if let Some(checks) = &mut self.checks {
            checks.under_way.insert(ticket);
            actions.push(Action::Check { ticket, of });
        }
    }

    pub(super) fn on_check_ended(&mut self, ticket: u64) {
        if let Some(checks) = &mut self.checks {
            checks.under_way.remove(&ticket);
            checks.wait = None;
        }
    }

    /// Goes on without the checks under way: nothing has come in for too long. Rows not begun are judged yet.
    pub(super) fn on_checks_overdue(&mut self, ticket: u64) {
        if let Some(checks) = &mut self.checks
            && checks.wait == Some(ticket)
        {
            checks.wait = None;
            checks.under_way.clear();
        }
    }

    pub(super) fn on_frame_checked(&mut self, stop: u32, version: u32, kinds: BTreeSet<FlagKind>) {
        let Some(checks) = &mut self.checks else { return };
        checks.wait = None;
        let known = checks.found.get(&(stop, version));
        let is_news = |kind: &FlagKind| known.is_none_or(|known| !known.contains(kind));
        let mut news: Vec<FlagKind> = kinds.iter().copied().filter(is_news).collect();
        // A retake would leave the pause unasked for.
        news.sort_by_key(|kind| checks.policy.response(*kind) != Response::Pause);
        checks.found.insert((stop, version), kinds);
        for kind in news {
            // A stop that is shot again anyway needs no more.
            let is_current = self.stop(stop).is_some_and(|status| {
                status.state == StopState::Kept
                    && status.chosen == version
                    && status.versions == version
                    && !status.skipped
            });
            if is_current && !self.queue.contains(&stop) && !self.is_in_work(stop) {
                self.answer_flag(stop, version, kind);
            }
        }
    }

    fn answer_flag(&mut self, stop: u32, version: u32, kind: FlagKind) {
        let Some(checks) = &mut self.checks else { return };
        match checks.policy.response(kind) {
            Response::Tell => {}
            Response::Pause => match self.mode {
                Mode::Running => {
                    checks.pause_at = Some(stop);
                    self.mode = Mode::Pausing;
                }
                // Mending the fault is no answer to the flag.
                Mode::Fault(_) => drop(checks.pause_at.get_or_insert(stop)),
                _ => {}
            },
            Response::Retake => {
                let mut earlier = checks.found.range((stop, 0)..(stop, version));
                let seen_before = earlier.any(|(_, kinds)| kinds.contains(&kind));
                // A table that has been said to be done does not begin to turn by itself.
                if !seen_before && !matches!(self.mode, Mode::Ready | Mode::Finished) {
                    self.enqueue_in_row(stop);
                }
            }
        }
    }

    /// Puts a stop behind the others of its row, so that the camera still stands for it.
    fn enqueue_in_row(&mut self, stop: u32) {
        let row_of = |engine: &Self, index: u32| engine.stop(index).map(|status| status.stop.row);
        let row = row_of(self, stop);
        // Before the closing frame, which counts from its row's first frame.
        let in_row = |index: &u32| {
            self.stop(*index).is_some_and(|status| Some(status.stop.row) == row && !status.stop.closing)
        };
        let at = match self.queue.iter().rposition(in_row) {
            Some(last) => last + 1,
            None if self.row_now == row => 0,
            None => self.queue.len(),
        };
        self.queue.insert(at, stop);
    }

    /// Whether no check can change any more what is to be shot, of one row or of all; begins those of
    /// whole rows, and waits for any only so long.
    pub(super) fn checks_are_in(&mut self, row: Option<usize>, actions: &mut Vec<Action>) -> bool {
        let Some(checks) = &mut self.checks else { return true };
        if checks.under_way.is_empty() {
            let next = checks.open_rows.iter().copied().find(|open| row.is_none_or(|row| row == *open));
            let Some(next) = next else {
                checks.wait = None;
                return true;
            };
            checks.open_rows.remove(&next);
            self.begin_check(CheckOf::Row { row: next }, actions);
        }
        if self.checks.as_ref().is_some_and(|checks| checks.wait.is_none()) {
            let ticket = self.next_ticket();
            if let Some(checks) = &mut self.checks {
                checks.wait = Some(ticket);
                let timer = Timer::ChecksOverdue { ticket };
                actions.push(Action::StartTimer { timer, after: checks.patience });
            }
        }
        false
    }

    /// The wait for checks is over: there is something to shoot.
    pub(super) fn end_check_wait(&mut self) {
        if let Some(checks) = &mut self.checks {
            checks.wait = None;
        }
    }

    /// Why a session that was to pause now waits.
    pub(super) fn pause_reason(&mut self) -> PauseReason {
        let flagged = self.checks.as_mut().and_then(|checks| checks.pause_at.take());
        flagged.map_or(PauseReason::Asked, |stop| PauseReason::Flagged { stop })
    }

    /// Pauses for a flag when the last stop has been shot; tells whether it did.
    pub(super) fn pause_at_the_end(&mut self) -> bool {
        let is_due = self.mode == Mode::Pausing && self.lens == Lens::Free && self.pause_is_due();
        if is_due {
            self.mode = Mode::Paused(self.pause_reason());
        }
        is_due
    }

    /// Whether a flag asks for a pause that has not come yet.
    pub(super) fn pause_is_due(&self) -> bool {
        self.checks.as_ref().is_some_and(|checks| checks.pause_at.is_some())
    }

    /// A person lets the session go on, or halts it: no flag found so far pauses it any more.
    pub(super) fn forget_pause(&mut self) {
        if let Some(checks) = &mut self.checks {
            checks.pause_at = None;
        }
    }
}
