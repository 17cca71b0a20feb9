//! The state machine of a session: events in, actions out; no clock, no threads, no I/O.
//!
//! Replaying the same events gives the same actions. Tickets and shot numbers tie an answer to the
//! question it belongs to, so a late answer is seen to be late.

use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;

use crate::angle::{Angle, StepsPerTurn};
use crate::camera::CameraError;
use crate::camera::settings::FrameSettings;
use crate::motion::{Direction, approach};
use crate::plan::Stop;
use crate::turntable::{TableError, TablePosition};

mod checks;
mod closing;
mod faults;
mod frames;
mod settings_lock;
mod settling;
mod types;

pub use checks::ChecksSeed;
pub use types::{
    Action, Activity, CheckOf, EngineConfig, Event, Fault, FaultKind, Intent, KeepFailure, Mode, PauseReason,
    Refused, SettingsSeed, Shot, StopSeed, StopState, StopStatus, Timer,
};

/// What a turn may take beyond twice its estimate.
const TURN_PATIENCE: Duration = Duration::from_secs(20);
/// How many frames may wait for the disk before the next exposure waits too.
const MOST_KEEPING: usize = 3;

/// What the table is doing, as far as the engine knows.
#[derive(Debug, Clone, PartialEq)]
enum Motion {
    /// At rest, at no stop in particular.
    Still,
    /// Turning to a stop; `legs` are the moves after the present one.
    Turning { ticket: u64, stop: u32, to: i64, legs: VecDeque<i64> },
    /// At a stop since `since`, waiting for the load to come to rest.
    Settling { ticket: u64, stop: u32, at: i64, since: Duration },
    /// At a stop and at rest.
    AtStop { stop: u32, at: i64 },
}

/// What the camera is doing.
#[derive(Debug, Clone, PartialEq)]
enum Lens {
    Free,
    Exposing(Shot),
    Receiving(Shot),
}

/// The state machine of one session.
#[derive(Debug, Clone)]
pub struct Engine {
    config: EngineConfig,
    stops: Vec<StopStatus>,
    queue: VecDeque<u32>,
    mode: Mode,
    position: Option<TablePosition>,
    /// Whether the last move ran along the plan's direction, so that the gears lean that way.
    leaning: bool,
    table_gone: bool,
    reconnecting: bool,
    zero_wanted: bool,
    expected_zero: Option<String>,
    /// The disk has refused the record of the zero; it is written before the next turn.
    zero_unrecorded: bool,
    /// The last exposure before the zero was taken: frames up to it count from another one.
    last_shot_before_zero: u64,
    motion: Motion,
    lens: Lens,
    keeping: Vec<Shot>,
    /// Shots whose files wait for room on the disk.
    stuck: Vec<Shot>,
    /// The row the camera is set for; `None` while no one has said.
    row_now: Option<usize>,
    /// `None` lets the settings change freely.
    settings_lock: Option<settings_lock::SettingsLock>,
    /// `None` where nobody looks at the frames.
    checks: Option<checks::Checks>,
    last_ticket: u64,
    last_shot: u64,
    now: Duration,
}

impl Engine {
    /// Builds an engine for these stops.
    ///
    /// `expected_zero` is the zero that frames kept earlier were counted from, when there are any;
    /// `last_shot` the highest shot number the session has used.
    pub fn new(
        config: EngineConfig,
        stops: Vec<StopSeed>,
        expected_zero: Option<String>,
        last_shot: u64,
    ) -> Self {
        // A set begins with the camera set for its first row; later, no one knows how it stands, which
        // matters where there is another row.
        let is_new = stops.iter().all(|seed| seed.versions == 0);
        let first_row = stops.first().map(|seed| seed.stop.row);
        let one_row = stops.iter().all(|seed| Some(seed.stop.row) == first_row);
        let row_now = first_row.filter(|_| is_new || one_row);
        Self {
            config,
            stops: stops.into_iter().map(StopStatus::new).collect(),
            queue: VecDeque::new(),
            mode: Mode::Ready,
            position: None,
            leaning: false,
            table_gone: false,
            reconnecting: false,
            zero_wanted: false,
            expected_zero,
            zero_unrecorded: false,
            last_shot_before_zero: 0,
            motion: Motion::Still,
            lens: Lens::Free,
            keeping: Vec::new(),
            stuck: Vec::new(),
            row_now,
            settings_lock: None,
            checks: None,
            last_ticket: 0,
            last_shot,
            now: Duration::ZERO,
        }
    }

    /// Takes one event at session time `now` and answers with what is to be done, in order.
    pub fn handle(&mut self, now: Duration, event: Event) -> Vec<Action> {
        self.now = now;
        let mut actions = Vec::new();
        match event {
            Event::Person(intent) => self.on_intent(intent, &mut actions),
            Event::TableReady { position } => self.on_table_ready(position, &mut actions),
            Event::TableTrouble { error } => self.table_fault(&error),
            Event::TurnFinished { ticket, position } => self.on_turn_finished(ticket, position, &mut actions),
            Event::TurnFailed { ticket, error } => self.on_turn_failed(ticket, &error),
            Event::DiskRefused { refused, reason } => self.on_disk_refused(refused, reason),
            Event::TimerFired { timer } => self.on_timer(timer, &mut actions),
            Event::RestWatched { ticket, rest } => self.on_rest_watched(ticket, &rest, &mut actions),
            Event::ExposureEnded { shot } => self.on_exposure_ended(shot),
            Event::ExposureFailed { shot, error } | Event::FrameFailed { shot, error } => {
                self.on_frame_failed(shot, &error);
            }
            Event::FrameArrived { shot } => self.on_frame_arrived(shot, &mut actions),
            Event::FrameKept { shot, version, settings } => {
                self.on_frame_kept(shot, version, settings, &mut actions);
            }
            Event::KeepFailed { shot, failure } => self.on_keep_failed(shot, failure),
            Event::FrameChecked { stop, version, flags } => {
                self.on_frame_checked(stop, version, flags.iter().map(|flag| flag.kind).collect());
            }
            Event::CheckEnded { ticket } => self.on_check_ended(ticket),
        }
        self.advance(&mut actions);
        actions
    }

    /// What the session as a whole is doing.
    pub fn mode(&self) -> &Mode {
        &self.mode
    }

    /// All stops with their states, in shooting order.
    pub fn stops(&self) -> &[StopStatus] {
        &self.stops
    }

    /// Where the table last said it stands.
    pub fn position(&self) -> Option<&TablePosition> {
        self.position.as_ref()
    }

    /// Stops still to be shot in this run, the present one included.
    pub fn left_to_shoot(&self) -> usize {
        self.queue.len() + usize::from(self.lens != Lens::Free)
    }

    /// What is being done for a stop at this moment.
    pub fn activity(&self, stop: u32) -> Activity {
        match &self.lens {
            Lens::Exposing(shot) if shot.stop == stop => return Activity::Exposing,
            Lens::Receiving(shot) if shot.stop == stop => return Activity::Receiving,
            _ => {}
        }
        if self.keeping.iter().chain(&self.stuck).any(|shot| shot.stop == stop) {
            return Activity::Keeping;
        }
        match &self.motion {
            Motion::Turning { stop: at, .. } if *at == stop => Activity::Turning,
            Motion::Settling { stop: at, .. } if *at == stop => Activity::Settling,
            _ if self.queue.contains(&stop) => Activity::Queued,
            _ => Activity::None,
        }
    }

    /// The stop an exposure belongs to, while it is not kept or given up.
    pub fn stop_of_shot(&self, number: u64) -> Option<u32> {
        let in_lens = match &self.lens {
            Lens::Exposing(shot) | Lens::Receiving(shot) => Some(shot),
            Lens::Free => None,
        };
        let mut known = in_lens.into_iter().chain(&self.keeping).chain(&self.stuck);
        known.find(|shot| shot.number == number).map(|shot| shot.stop)
    }

    /// The stop and the step that a running turn leads to.
    pub fn turn_of_ticket(&self, wanted: u64) -> Option<(u32, i64)> {
        match self.motion {
            Motion::Turning { ticket, stop, to, .. } if ticket == wanted => Some((stop, to)),
            _ => None,
        }
    }

    /// The stop at which a wait for rest runs.
    pub fn stop_of_wait(&self, wanted: u64) -> Option<u32> {
        match self.motion {
            Motion::Settling { ticket, stop, .. } if ticket == wanted => Some(stop),
            _ => None,
        }
    }

    /// Whether nothing is under way that a restart could lose.
    pub fn is_quiet(&self) -> bool {
        self.lens == Lens::Free && self.keeping.is_empty() && !matches!(self.motion, Motion::Turning { .. })
    }

    fn on_intent(&mut self, intent: Intent, actions: &mut Vec<Action>) {
        match intent {
            Intent::Start => {
                if matches!(self.mode, Mode::Ready | Mode::Stopped | Mode::Finished) {
                    self.forget_pause();
                    let missing: Vec<u32> = self
                        .stops
                        .iter()
                        .filter(|stop| {
                            stop.state != StopState::Kept
                                && !stop.skipped
                                && !self.is_in_work(stop.stop.index)
                        })
                        .map(|stop| stop.stop.index)
                        .collect();
                    self.enqueue(missing);
                    self.run(actions);
                }
            }
            Intent::Retake { stops } => self.retake(stops, actions),
            Intent::PauseAfterFrame => {
                if self.mode == Mode::Running {
                    self.mode = Mode::Pausing;
                }
            }
            Intent::Resume => match self.mode.clone() {
                Mode::Pausing => {
                    self.forget_pause();
                    self.mode = Mode::Running;
                }
                // Only this says that the camera is set; a stop at the question leaves it open.
                Mode::Paused(PauseReason::NewRow { row }) => {
                    self.row_now = Some(row);
                    self.run(actions);
                }
                Mode::Paused(_) => self.run(actions),
                Mode::Stopped => self.on_intent(Intent::Start, actions),
                _ => {}
            },
            Intent::StopNow => self.stop_now(actions),
            Intent::CallOffRetakes => {
                let stops = &self.stops;
                let is_kept = |stop: &u32| {
                    stops.iter().any(|known| known.stop.index == *stop && known.state == StopState::Kept)
                };
                self.queue.retain(|stop| !is_kept(stop));
            }
            Intent::Skip { stop } => {
                self.queue.retain(|queued| *queued != stop);
                if let Some(status) = self.stop_mut(stop) {
                    status.skipped = true;
                }
                if let Mode::Fault(fault) = &self.mode
                    && fault.stop == Some(stop)
                    && !fault.kind.needs_the_table()
                {
                    self.run(actions);
                }
            }
            Intent::TryAgain => self.try_again(actions),
            Intent::GoOnWithSettings => self.go_on_with_settings(actions),
            Intent::ZeroIsHere => {
                // While the line is being opened again, its answer would be taken for the zero's.
                let answers = !self.table_gone && !self.zero_wanted;
                let still = !matches!(self.motion, Motion::Turning { .. });
                if answers && still && !matches!(self.lens, Lens::Exposing(_)) {
                    self.zero_wanted = true;
                    self.leaning = false;
                    self.motion = Motion::Still;
                    actions.push(Action::ZeroTable);
                    if matches!(&self.mode, Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown) {
                        self.run(actions);
                    }
                }
            }
            Intent::SetAside { stop } => {
                if let Some(status) = self.stop_mut(stop)
                    && status.state == StopState::Kept
                {
                    status.state = StopState::SetAside;
                    self.another_in_use(stop);
                    actions.push(Action::RecordSetAside { stop });
                }
            }
            Intent::KeepVersion { stop, version } => {
                if let Some(status) = self.stop_mut(stop)
                    && version >= 1
                    && version <= status.versions
                {
                    status.state = StopState::Kept;
                    status.chosen = version;
                    status.step = None;
                    self.another_in_use(stop);
                    actions.push(Action::RecordKeepVersion { stop, version });
                }
            }
        }
    }

    fn retake(&mut self, stops: Vec<u32>, actions: &mut Vec<Action>) {
        let known: BTreeSet<u32> = self.stops.iter().map(|stop| stop.stop.index).collect();
        let wanted: Vec<u32> = stops.into_iter().filter(|stop| known.contains(stop)).collect();
        for stop in &wanted {
            if let Some(status) = self.stop_mut(*stop) {
                status.skipped = false;
                status.attempts = 0;
                status.problem = None;
            }
        }
        self.enqueue(wanted);
        if matches!(self.mode, Mode::Ready | Mode::Stopped | Mode::Finished) {
            self.run(actions);
        }
    }

    /// A person has decided on the stop's frames by hand.
    fn another_in_use(&mut self, stop: u32) {
        self.forget_drift(stop);
        self.row_has_changed(stop);
    }

    /// Puts stops that are not in the queue at its end, in the order given.
    fn enqueue(&mut self, wanted: Vec<u32>) {
        let mut waiting: BTreeSet<u32> = self.queue.iter().copied().collect();
        for stop in wanted {
            if waiting.insert(stop) {
                self.queue.push_back(stop);
            }
        }
    }

    fn is_in_work(&self, stop: u32) -> bool {
        let in_lens = matches!(&self.lens, Lens::Exposing(shot) | Lens::Receiving(shot) if shot.stop == stop);
        in_lens || self.keeping.iter().chain(&self.stuck).any(|shot| shot.stop == stop)
    }

    /// Lets the session run (again); a person may have touched the product, so it settles anew, and
    /// may have made room, so held frames are written. A flag's pause that a fault has forestalled follows.
    fn run(&mut self, actions: &mut Vec<Action>) {
        self.mode = if self.pause_is_due() { Mode::Pausing } else { Mode::Running };
        for shot in std::mem::take(&mut self.stuck) {
            self.keep(shot, actions);
        }
        if matches!(self.motion, Motion::AtStop { .. }) {
            self.motion = Motion::Still;
        }
    }

    fn stop_now(&mut self, actions: &mut Vec<Action>) {
        self.forget_pause();
        if matches!(self.motion, Motion::Turning { .. }) {
            actions.push(Action::StopTable);
        }
        self.stop_settling(actions);
        // A frame already exposed is let in; asked twice, that wait ends too.
        let asked_before = self.mode == Mode::Stopping;
        if matches!(self.lens, Lens::Exposing(_)) || (asked_before && self.lens != Lens::Free) {
            actions.push(Action::CancelExposure);
        }
        if !matches!(self.mode, Mode::Ready | Mode::Finished | Mode::Stopped) {
            self.mode = Mode::Stopping;
        }
    }

    /// Puts a stop back that an exposure has taken out of the queue; a turn takes none out.
    fn requeue(&mut self, stop: u32) {
        if !self.queue.contains(&stop)
            && !self.stops.iter().any(|status| status.stop.index == stop && status.skipped)
        {
            self.queue.push_front(stop);
        }
    }

    /// Starts whatever can start now. The one place that begins turns and exposures.
    fn advance(&mut self, actions: &mut Vec<Action>) {
        match self.mode {
            Mode::Running | Mode::Pausing => {}
            Mode::Stopping => {
                if self.is_quiet() {
                    self.mode = Mode::Stopped;
                    self.release(actions);
                }
                return;
            }
            _ => return,
        }
        if self.raise_drift() {
            return;
        }
        if matches!(self.motion, Motion::Turning { .. } | Motion::Settling { .. }) {
            return;
        }
        if !self.position_is_sure(actions) {
            return;
        }
        let Some(next) = self.queue.front().copied() else {
            if self.pause_at_the_end() {
                return;
            }
            if self.is_quiet() && self.stuck.is_empty() && self.checks_are_in(None, actions) {
                self.mode = Mode::Finished;
                self.release(actions);
            }
            return;
        };
        match self.motion {
            Motion::AtStop { stop, at } if stop == next => {
                if self.lens == Lens::Free && self.keeping.len() < MOST_KEEPING {
                    self.expose(stop, at, actions);
                }
            }
            _ => {
                if matches!(self.lens, Lens::Exposing(_)) {
                    return;
                }
                if self.mode == Mode::Pausing {
                    if self.lens == Lens::Free {
                        self.mode = Mode::Paused(self.pause_reason());
                    }
                    return;
                }
                if !self.row_is_ready(next, actions) {
                    return;
                }
                self.turn_to_stop(next, actions);
            }
        }
    }

    /// Lets the motor go; the load may then roll back within the gears' play.
    fn release(&mut self, actions: &mut Vec<Action>) {
        self.motion = Motion::Still;
        self.leaning = false;
        actions.push(Action::ReleaseTable);
    }

    /// Asks for the row's camera position before its first stop; tells whether to go on.
    fn row_is_ready(&mut self, next: u32, actions: &mut Vec<Action>) -> bool {
        let Some(row) = self.stop(next).map(|status| status.stop.row) else { return false };
        if self.config.pause_between_rows && self.row_now != Some(row) {
            if self.lens != Lens::Free {
                return false;
            }
            // A stop of the row before is shot again while the camera still stands for it.
            if let Some(before) = self.row_now
                && !(self.keeping.is_empty() && self.checks_are_in(Some(before), actions))
            {
                return false;
            }
            self.mode = Mode::Paused(PauseReason::NewRow { row });
            return false;
        }
        self.row_now = Some(row);
        true
    }

    fn turn_to_stop(&mut self, index: u32, actions: &mut Vec<Action>) {
        self.end_check_wait();
        if self.waits_for_first(index) {
            return;
        }
        let (Some(status), Some(position)) = (self.stop(index), self.position.as_ref()) else { return };
        let closing = self.closing_goal(index).map(|goal| self.closing_legs(position.step, goal));
        let legs = closing.unwrap_or_else(|| {
            approach(
                position.step,
                self.leaning,
                status.stop.angle,
                self.config.direction,
                self.config.steps_per_turn,
                self.config.run_up,
            )
        });
        let mut legs = VecDeque::from(legs);
        match legs.pop_front() {
            Some(to) => self.start_leg(index, to, legs, actions),
            None => self.settle(index, position.step, actions),
        }
    }

    fn start_leg(&mut self, stop: u32, to: i64, legs: VecDeque<i64>, actions: &mut Vec<Action>) {
        let from = self.position.as_ref().map_or(0, |position| position.step);
        let ticket = self.next_ticket();
        let secs = self.config.speeds.turn_secs(self.config.steps_per_turn.angle_of(to - from).degrees());
        actions.push(Action::Turn { ticket, stop, to });
        actions.push(Action::StartTimer {
            timer: Timer::TurnOverdue { ticket },
            after: Duration::from_secs_f64(secs * 2.0) + TURN_PATIENCE,
        });
        self.motion = Motion::Turning { ticket, stop, to, legs };
    }

    fn expose(&mut self, stop: u32, at: i64, actions: &mut Vec<Action>) {
        self.last_shot += 1;
        self.queue.pop_front();
        let shot = Shot { number: self.last_shot, stop, commanded_step: at, reported_step: at };
        actions.push(Action::Expose { shot: shot.clone() });
        actions.push(Action::StartTimer {
            timer: Timer::FrameOverdue { shot: shot.number },
            after: self.config.frame_patience,
        });
        self.lens = Lens::Exposing(shot);
    }

    fn on_turn_finished(&mut self, ticket: u64, position: TablePosition, actions: &mut Vec<Action>) {
        let Motion::Turning { ticket: running, stop, to, legs } = &self.motion else { return };
        if *running != ticket {
            return;
        }
        let (stop, to, mut legs) = (*stop, *to, legs.clone());
        let from = self.position.as_ref().map_or(position.step, |before| before.step);
        self.leaning = (position.step - from) * self.config.direction.sign() > 0;
        let same_zero = position.zero.is_some() && position.zero == self.expected_zero;
        let arrived = position.step;
        self.position = Some(position);
        self.motion = Motion::Still;
        if !same_zero {
            self.raise(
                FaultKind::PositionUnknown,
                Some(stop),
                "the table has started anew during the turn and its position is unknown".to_owned(),
            );
        } else if self.mode == Mode::Stopping {
            // Halted where it is; the stop is still in the queue.
        } else if arrived != to {
            self.leaning = false;
            let reason = format!("the table says it stands at step {arrived}, but step {to} was asked for");
            self.failure(FaultKind::Table, stop, &reason);
        } else if let Some(next) = legs.pop_front() {
            // In a fault nothing is begun; the stop is reached anew once a person has answered.
            if matches!(self.mode, Mode::Running | Mode::Pausing) {
                self.start_leg(stop, next, legs, actions);
            }
        } else {
            self.settle(stop, to, actions);
        }
    }

    fn on_turn_failed(&mut self, ticket: u64, error: &TableError) {
        let Motion::Turning { ticket: running, stop, .. } = self.motion else { return };
        if running != ticket {
            return;
        }
        self.motion = Motion::Still;
        self.leaning = false;
        match error {
            TableError::Stopped { step } => {
                if let Some(position) = &mut self.position {
                    position.step = *step;
                }
                if matches!(self.mode, Mode::Running | Mode::Pausing) {
                    // Stopped at the controller itself, not by this program.
                    self.raise(
                        FaultKind::Table,
                        Some(stop),
                        format!("the table was stopped at step {step} before it arrived"),
                    );
                }
            }
            TableError::Refused { .. } => self.failure(FaultKind::Table, stop, &error.to_string()),
            _ => self.table_fault(error),
        }
    }

    fn on_timer(&mut self, timer: Timer, actions: &mut Vec<Action>) {
        match timer {
            Timer::Settled { ticket } | Timer::RestOverdue { ticket } => self.on_settled(ticket),
            Timer::TurnOverdue { ticket } => {
                if let Motion::Turning { ticket: running, stop, .. } = self.motion
                    && running == ticket
                {
                    self.motion = Motion::Still;
                    actions.push(Action::StopTable);
                    self.table_gone = true;
                    self.raise(
                        FaultKind::Table,
                        Some(stop),
                        "the turn has taken far longer than it can".to_owned(),
                    );
                }
            }
            Timer::FrameOverdue { shot } => self.on_frame_overdue(shot, actions),
            Timer::KeepOverdue { shot } => self.on_keep_overdue(shot),
            Timer::ChecksOverdue { ticket } => self.on_checks_overdue(ticket),
        }
    }

    fn stop(&self, index: u32) -> Option<&StopStatus> {
        self.stops.iter().find(|status| status.stop.index == index)
    }

    fn stop_mut(&mut self, index: u32) -> Option<&mut StopStatus> {
        self.stops.iter_mut().find(|status| status.stop.index == index)
    }

    fn next_ticket(&mut self) -> u64 {
        self.last_ticket += 1;
        self.last_ticket
    }
}
