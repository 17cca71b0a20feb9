//! The session's own thread: feeds the engine and carries out what it answers.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError};
use jiff::Timestamp;

use super::event_log::EventLog;
use super::workers::Worker;
use super::{
    Arrival, Camera, CameraError, CameraOrder, CameraSettings, CheckOrder, Clock, Devices, Ended, Event,
    ExposureRequest, Intent, Message, RunOptions, SessionFolder, TableOrder, Turntable, Update,
};
use crate::camera::settings::FrameSettings;
use crate::cancel::CancelToken;
use crate::check::Flag;
use crate::engine::{Action, Activity, Engine, EngineConfig, KeepFailure, Mode, Refused, Shot, Timer};
use crate::journal::{KeepJob, Record};
use crate::rest::Rest;
use crate::turntable::{TableError, TableFacts};
use crate::view::{RowView, SessionView, StopView, VersionView};

/// How many of the last frames the pace is taken from.
const PACE_FRAMES: usize = 12;
/// What a camera may take beyond its own patience before it counts as hanging.
const HANGING: Duration = Duration::from_secs(30);
/// How long the end of a row or set waits while no check comes in; far beyond what a frame takes.
const CHECK_PATIENCE: Duration = Duration::from_secs(120);
/// How long a session that is told to end waits for what is on its way.
const FAREWELL: Duration = Duration::from_secs(10);

/// What a session is made of.
pub(super) struct Parts {
    pub folder: Arc<SessionFolder>,
    pub facts: TableFacts,
    pub camera_name: String,
    pub camera_patience: Duration,
    /// What the camera chooses by itself.
    pub warnings: Vec<String>,
    pub options: RunOptions,
    pub clock: Clock,
    pub table: Worker<TableOrder, Box<dyn Turntable>>,
    pub camera: Worker<CameraOrder, Box<dyn Camera>>,
    /// Whether somebody can tell from the live picture that the load rests.
    pub can_watch: bool,
    pub keeper: Worker<KeepJob>,
    pub checker: Option<Worker<CheckOrder>>,
    pub news: Box<dyn FnMut(Update) + Send>,
}

/// An exposure's files and what is known of them.
struct Arrived {
    exposed_at: Timestamp,
    arrivals: Vec<Arrival>,
    settings: Option<CameraSettings>,
    /// Whether the keeper has them; one that hangs is not given them twice.
    with_keeper: bool,
}

/// The session thread's state.
pub(super) struct Session {
    parts: Parts,
    engine: Engine,
    log: EventLog,
    timers: Vec<(Instant, Timer)>,
    /// Stops the last exposure ordered, and the last watch.
    exposure: CancelToken,
    watch: CancelToken,
    /// Why the live picture did not tell, as said last.
    cannot_tell: Option<String>,
    /// Events that came up while another was being handled.
    pending: VecDeque<Event>,
    /// Files of exposures that are not kept yet.
    arrived: HashMap<u64, Arrived>,
    exposed_at: HashMap<u64, Timestamp>,
    /// The pictures of every version, for views.
    pictures: HashMap<u32, Vec<VersionView>>,
    /// Checks that wait for the checker, which has one at a time: the session never waits for it.
    checks: VecDeque<CheckOrder>,
    is_checking: bool,
    pace: VecDeque<Duration>,
    /// Whether this run has kept a frame.
    has_kept: bool,
    plate_step: Option<i64>,
    leaving: Option<Instant>,
}

impl Session {
    pub fn new(parts: Parts) -> Self {
        let plan = parts.folder.plan();
        let config = EngineConfig {
            run_up: parts.options.run_up,
            settle: Duration::from_secs_f64(plan.settle_secs),
            rest_within: plan.rest_within_secs.filter(|_| parts.can_watch).map(Duration::from_secs_f64),
            frame_patience: parts.camera_patience + Duration::from_secs_f64(plan.exposure_secs) + HANGING,
            retries: parts.options.retries,
            pause_between_rows: parts.options.pause_between_rows,
            ..EngineConfig::new(plan.direction, parts.facts.steps_per_turn, parts.facts.speeds)
        };
        let (zero, last_shot) =
            parts.folder.with_ledger(|ledger| (ledger.zero().map(str::to_owned), ledger.last_shot()));
        let mut engine = Engine::new(config, parts.folder.seeds(), zero, last_shot);
        if !parts.options.settings_may_change {
            engine.lock_settings(parts.folder.settings_seed());
        }
        if parts.checker.is_some() {
            let policy = parts.options.on_flag.clone();
            engine.check_frames(parts.folder.checks_seed(policy, CHECK_PATIENCE));
        }
        let folder = &parts.folder;
        let pictures = folder.shots().iter().map(|stop| (stop.index, folder.pictures_of(stop))).collect();
        let log = EventLog::open(&parts.folder.cache_folder());
        Self {
            parts,
            engine,
            log,
            timers: Vec::new(),
            exposure: CancelToken::default(),
            watch: CancelToken::default(),
            cannot_tell: None,
            pending: VecDeque::new(),
            arrived: HashMap::new(),
            exposed_at: HashMap::new(),
            pictures,
            checks: VecDeque::new(),
            is_checking: false,
            pace: VecDeque::new(),
            has_kept: false,
            plate_step: None,
            leaving: None,
        }
    }

    /// Runs until told to quit; gives the folder back, its lock still held, and the devices.
    pub fn run(mut self, inbox: &Receiver<Message>) -> Ended {
        for warning in &self.parts.warnings {
            (self.parts.news)(Update::Prompt { stop: None, text: warning.clone() });
        }
        self.show();
        loop {
            while let Some(event) = self.pending.pop_front() {
                self.feed(event);
            }
            if self.may_leave() {
                break;
            }
            let wake = self.timers.iter().map(|(at, _)| *at).chain(self.leaving).min();
            let message = match wake {
                Some(at) => match inbox.recv_deadline(at) {
                    Ok(message) => Some(message),
                    Err(RecvTimeoutError::Timeout) => None,
                    Err(RecvTimeoutError::Disconnected) => break,
                },
                None => match inbox.recv() {
                    Ok(message) => Some(message),
                    Err(_) => break,
                },
            };
            match message {
                Some(message) => self.hear(message),
                None => self.fire_timers(),
            }
        }
        self.leave(inbox)
    }

    fn may_leave(&self) -> bool {
        self.leaving.is_some_and(|deadline| {
            let done =
                self.engine.is_quiet() && !matches!(self.engine.mode(), Mode::Running | Mode::Stopping);
            done || Instant::now() >= deadline
        })
    }

    fn leave(mut self, inbox: &Receiver<Message>) -> Ended {
        self.parts.table.cancel();
        self.exposure.cancel();
        self.watch.cancel();
        let camera = self.parts.camera.finish();
        let table = self.parts.table.finish();
        let clock = self.parts.clock.clone();
        let devices = table.zip(camera).map(|(table, camera)| Devices { table, camera, clock });
        let is_written = self.parts.keeper.finish_within(FAREWELL);
        if let Some(checker) = &mut self.parts.checker {
            checker.cancel();
            checker.finish_within(FAREWELL);
        }
        for message in inbox.try_iter() {
            match message {
                Message::Kept { shot, .. } => drop(self.arrived.remove(&shot)),
                Message::Arrived { shot, arrivals, settings } => {
                    let exposed_at = Timestamp::now();
                    let arrived = Arrived { exposed_at, arrivals, settings, with_keeper: false };
                    drop(self.arrived.insert(shot, arrived));
                }
                _ => {}
            }
        }
        let left = std::mem::take(&mut self.arrived);
        if is_written {
            for (shot, arrived) in left {
                self.hold(shot, &arrived.arrivals, "the session ended before it was kept");
            }
        } else {
            // Anything more written would wait for the disk too.
            let count = left.len();
            self.say(format!(
                "The disk does not answer: the last {count} frames may not be kept. Once it answers, look at the set's status."
            ));
        }
        (self.parts.news)(Update::Ended);
        // The keeper's thread held the only other handle, and it has ended.
        Ended { folder: Arc::into_inner(self.parts.folder), devices }
    }

    fn hear(&mut self, message: Message) {
        match message {
            Message::Event(event) => self.feed(event),
            Message::Passing(step) => {
                self.plate_step = Some(step);
                let degrees = self.plate_degrees(step);
                (self.parts.news)(Update::Plate(degrees));
            }
            Message::Arrived { shot, arrivals, settings } => {
                let exposed_at = self.exposed_at.remove(&shot).unwrap_or_else(Timestamp::now);
                self.arrived.insert(shot, Arrived { exposed_at, arrivals, settings, with_keeper: false });
                self.feed(Event::FrameArrived { shot });
            }
            Message::Held { shot, arrivals } => {
                self.hold(shot, &arrivals, "it cannot be told which stop these belong to");
            }
            Message::Kept { shot, frame } => {
                self.arrived.remove(&shot);
                let path = frame.path.clone();
                self.pictures.entry(frame.stop).or_default().push(VersionView {
                    version: frame.version,
                    path: path.clone(),
                    flags: Vec::new(),
                    seen_angle: None,
                });
                (self.parts.news)(Update::Kept { stop: frame.stop, version: frame.version, path });
                self.warn_of_automatics(&frame.settings);
                self.feed(Event::FrameKept { shot, version: frame.version, settings: frame.settings });
            }
            Message::AngleSeen { stop, version, seen } => {
                let mut versions = self.pictures.get_mut(&stop).into_iter().flatten();
                if let Some(view) = versions.find(|view| view.version == version) {
                    view.seen_angle = Some(seen);
                }
            }
            Message::Say { stop, text } => (self.parts.news)(Update::Prompt { stop, text }),
            Message::Quit => {
                self.leaving = Some(Instant::now() + FAREWELL);
                self.feed(Event::Person(Intent::StopNow));
            }
        }
    }

    fn feed(&mut self, event: Event) {
        let now = self.parts.clock.now();
        self.log.note(now, &event);
        self.take_note(now, &event);
        let turned = match &event {
            Event::TurnFinished { ticket, position } => self
                .engine
                .turn_of_ticket(*ticket)
                .map(|(stop, to)| Record::Turned { stop, commanded_step: to, reported_step: position.step }),
            _ => None,
        };
        let flagged = match &event {
            Event::FrameChecked { stop, version, flags } => self.note_flags(*stop, *version, flags),
            _ => None,
        };
        for action in self.engine.handle(now, event) {
            self.carry_out(action);
        }
        if let Some((stop, version, flags)) = flagged {
            // Its turn may have come at once.
            let again = !matches!(self.engine.activity(stop), Activity::None | Activity::Keeping);
            (self.parts.news)(Update::Flagged { stop, version, flags, again });
        }
        // After the actions: the settling wait runs while the disk syncs.
        if let Some(turned) = turned {
            self.record(turned);
        }
        self.show();
    }

    /// Journals what an event proves and keeps the session's pace.
    fn take_note(&mut self, now: Duration, event: &Event) {
        match event {
            Event::TurnFinished { position, .. } => {
                self.plate_step = Some(position.step);
            }
            Event::TableReady { position } => self.plate_step = Some(position.step),
            Event::RestWatched { ticket, rest } => self.note_rest(*ticket, rest),
            Event::TurnFailed { error: TableError::Stopped { step }, .. } => self.plate_step = Some(*step),
            Event::ExposureEnded { shot } => {
                self.exposed_at.insert(*shot, Timestamp::now());
                self.pace.push_back(now);
                if self.pace.len() > PACE_FRAMES {
                    self.pace.pop_front();
                }
            }
            Event::ExposureFailed { shot, error } | Event::FrameFailed { shot, error } => {
                self.exposed_at.remove(shot);
                self.note_failure(*shot, &error.to_string(), *error != CameraError::Cancelled);
            }
            Event::KeepFailed { shot, failure: KeepFailure::BadFrame(reason) } => {
                self.note_failure(*shot, reason, true);
                if let Some(arrived) = self.arrived.remove(shot) {
                    self.hold(*shot, &arrived.arrivals, reason);
                }
            }
            Event::KeepFailed { shot, failure: KeepFailure::Storage(_) } => {
                if let Some(arrived) = self.arrived.get_mut(shot) {
                    arrived.with_keeper = false;
                }
            }
            Event::CheckEnded { .. } => {
                self.is_checking = false;
                self.check_next();
            }
            Event::TimerFired { timer: Timer::ChecksOverdue { .. } } if self.engine.waits_for_checks() => {
                let secs = CHECK_PATIENCE.as_secs();
                self.say(format!(
                    "The checks have said nothing for {secs} s and are not waited for; look at the set with 'roundstop check'."
                ));
            }
            // Shooting may go on after any of these, and the wait before it is no pace.
            Event::Person(
                Intent::Start
                | Intent::Resume
                | Intent::TryAgain
                | Intent::GoOnWithSettings
                | Intent::Retake { .. }
                | Intent::Skip { .. }
                | Intent::ZeroIsHere,
            ) => self.pace.clear(),
            _ => {}
        }
    }

    /// Says where the load was not seen to rest; why the picture does not tell is said once.
    fn note_rest(&mut self, ticket: u64, rest: &Rest) {
        let Some(stop) = self.engine.stop_of_wait(ticket) else { return };
        let text = match rest {
            Rest::Still => return,
            Rest::Moving { swing_px } => {
                let most = self.parts.folder.plan().rest_within_secs.unwrap_or_default();
                let swing = swing_px.map(|px| format!(" by {px:.1} px")).unwrap_or_default();
                format!(
                    "the live picture still moved{swing} after {most} s, so the frame is shot as it is; allow a longer wait, or turn more gently"
                )
            }
            Rest::CannotTell { reason } => {
                if self.cannot_tell.as_ref() == Some(reason) {
                    return;
                }
                self.cannot_tell = Some(reason.clone());
                let secs = self.parts.folder.plan().settle_secs;
                format!(
                    "the live picture does not tell when the load rests ({reason}); the settle time of {secs} s is waited"
                )
            }
        };
        (self.parts.news)(Update::Prompt { stop: Some(stop), text });
    }

    /// Says once what the run's first frame shows to be automatic and the camera did not tell before.
    fn warn_of_automatics(&mut self, settings: &FrameSettings) {
        if std::mem::replace(&mut self.has_kept, true) {
            return;
        }
        for sentence in settings.automatics() {
            if !self.parts.warnings.contains(&sentence) {
                self.say(sentence);
            }
        }
    }

    /// Journals a try that gave no frame, and its number with it; `is_trouble` tells people too.
    fn note_failure(&mut self, shot: u64, reason: &str, is_trouble: bool) {
        let Some(stop) = self.engine.stop_of_shot(shot) else { return };
        // A full disk must not keep the session from going on to the fault that says so.
        let _ = self.parts.folder.append(Record::FrameFailed { shot, stop, reason: reason.to_owned() });
        if is_trouble {
            (self.parts.news)(Update::Failed { stop, reason: reason.to_owned() });
        }
    }

    fn hold(&mut self, shot: u64, arrivals: &[Arrival], reason: &str) {
        let text = match self.parts.folder.hold(shot, arrivals, reason) {
            Ok(names) if names.is_empty() => return,
            Ok(names) => {
                format!("Held in quarantine/, not used for any stop: {} ({reason}).", names.join(", "))
            }
            Err(error) => format!("Files could not be moved to quarantine: {error}"),
        };
        self.say(text);
    }

    fn say(&mut self, text: String) {
        (self.parts.news)(Update::Prompt { stop: None, text });
    }

    fn carry_out(&mut self, action: Action) {
        match action {
            Action::Turn { ticket, stop, to } => {
                if let Err(error) = self.parts.folder.append(Record::TurnIntent { stop, to_step: to }) {
                    // Not sent: a turn that is not on record would leave the position in doubt.
                    self.disk_refused(Refused::Turn { ticket }, &error);
                    return;
                }
                self.parts.table.order(TableOrder::Turn { ticket, to });
            }
            Action::ZeroTable => self.parts.table.order(TableOrder::Zero),
            Action::ReconnectTable => self.parts.table.order(TableOrder::Reconnect),
            Action::ReleaseTable => self.parts.table.order(TableOrder::Release),
            Action::StopTable => self.parts.table.cancel(),
            Action::StartTimer { timer, after } => self.start_timer(timer, after),
            Action::Expose { shot } => self.expose(&shot),
            Action::CancelExposure => self.exposure.cancel(),
            Action::WatchRest { ticket, most } => self.watch_rest(ticket, most),
            Action::EndWatch => self.watch.cancel(),
            Action::Keep { shot } => self.keep(shot),
            Action::Check { ticket, of } => {
                self.checks.push_back(CheckOrder { ticket, of });
                self.check_next();
            }
            Action::Hold { shot } => {
                if let Some(arrived) = self.arrived.remove(&shot) {
                    self.hold(shot, &arrived.arrivals, "it came after the wait for it had been given up");
                }
            }
            Action::RecordZero { zero, last_shot_before } => {
                let record = Record::ZeroSet { zero, last_shot_before: Some(last_shot_before) };
                if let Err(error) = self.parts.folder.append(record) {
                    self.disk_refused(Refused::Zero, &error);
                }
            }
            Action::RecordSetAside { stop } => {
                if let Err(error) = self.parts.folder.set_aside(&[stop]) {
                    self.say(format!("Stop {stop} is not set aside: {error}"));
                }
            }
            Action::RecordSettings { settings } => self.record(Record::SettingsAccepted { settings }),
            Action::RecordKeepVersion { stop, version } => {
                if let Err(error) = self.parts.folder.choose_version(&[stop], version) {
                    self.say(format!("Version {version} of stop {stop} is not chosen: {error}"));
                }
            }
        }
    }

    fn record(&mut self, record: Record) {
        if let Err(error) = self.parts.folder.append(record) {
            self.say(format!("The journal could not be written: {error}"));
        }
    }

    /// Tells the engine what was not done because it would not have been on record.
    fn disk_refused(&mut self, refused: Refused, error: &impl std::fmt::Display) {
        self.pending.push_back(Event::DiskRefused { refused, reason: error.to_string() });
    }

    fn start_timer(&mut self, timer: Timer, after: Duration) {
        let real = match timer {
            Timer::Settled { .. } => {
                let clock = &self.parts.clock;
                let real = clock.real(after);
                if real.is_zero() {
                    // Virtual time: the wait only moves the clock on.
                    clock.advance_to(clock.now() + after);
                    self.pending.push_back(Event::TimerFired { timer });
                    return;
                }
                real
            }
            Timer::RestOverdue { .. }
            | Timer::TurnOverdue { .. }
            | Timer::FrameOverdue { .. }
            | Timer::ChecksOverdue { .. } => {
                // One of each kind runs at a time; a new one replaces the last.
                self.timers.retain(|(_, old)| std::mem::discriminant(old) != std::mem::discriminant(&timer));
                after
            }
            Timer::KeepOverdue { .. } => {
                self.timers.retain(|(_, old)| *old != timer);
                after
            }
        };
        self.timers.push((Instant::now() + real, timer));
    }

    fn fire_timers(&mut self) {
        let now = Instant::now();
        let (due, waiting) = std::mem::take(&mut self.timers).into_iter().partition(|(at, _)| *at <= now);
        self.timers = waiting;
        for (_, timer) in due {
            self.feed(Event::TimerFired { timer });
        }
    }

    fn expose(&mut self, shot: &Shot) {
        let folder = &self.parts.folder;
        let plan = folder.plan();
        let Some(stop) = folder.shots().iter().find(|stop| stop.index == shot.stop) else {
            let error = CameraError::Failed("the stop is not in the plan".to_owned());
            self.pending.push_back(Event::ExposureFailed { shot: shot.number, error });
            return;
        };
        let inbox = match folder.make_inbox(shot.number) {
            Ok(inbox) => inbox,
            Err(error) => return self.disk_refused(Refused::Exposure { shot: shot.number }, &error),
        };
        let request = ExposureRequest {
            shot: shot.number,
            stop: stop.index,
            row: plan.rows[stop.row].name.clone(),
            degrees_text: stop.angle.wrapped().short_degrees(),
            sku: plan.sku.clone(),
            empty_table: false,
            exposure: Duration::from_secs_f64(plan.exposure_secs),
            inbox,
        };
        self.parts.camera.order(CameraOrder::Expose(request));
        self.exposure = self.parts.camera.last_order();
    }

    fn watch_rest(&mut self, ticket: u64, most: Duration) {
        let turn_ended = self.parts.clock.now();
        let until = turn_ended + most;
        self.parts.camera.order(CameraOrder::Watch { ticket, turn_ended, until });
        self.watch = self.parts.camera.last_order();
    }

    fn keep(&mut self, shot: Shot) {
        if let Some(arrived) = self.arrived.get_mut(&shot.number).filter(|arrived| !arrived.with_keeper) {
            arrived.with_keeper = true;
            self.parts.keeper.order(KeepJob {
                shot,
                source: self.parts.camera_name.clone(),
                exposed_at: arrived.exposed_at,
                arrivals: arrived.arrivals.clone(),
                settings: arrived.settings.clone(),
            });
        }
    }

    /// Gives the checker its next order, if it has none.
    fn check_next(&mut self) {
        if let Some(checker) = &mut self.parts.checker
            && !self.is_checking
            && let Some(order) = self.checks.pop_front()
        {
            self.is_checking = true;
            checker.order(order);
        }
    }

    /// Shows what was found on a version; gives what was not known before, if anything.
    fn note_flags(&mut self, stop: u32, version: u32, flags: &[Flag]) -> Option<(u32, u32, Vec<Flag>)> {
        let versions = self.pictures.get_mut(&stop)?;
        let view = versions.iter_mut().find(|view| view.version == version)?;
        let is_news = |flag: &&Flag| view.flags.iter().all(|known| known.kind != flag.kind);
        let news: Vec<Flag> = flags.iter().filter(is_news).cloned().collect();
        view.flags = flags.to_vec();
        (!news.is_empty()).then_some((stop, version, news))
    }

    fn plate_degrees(&self, step: i64) -> f64 {
        let direction = self.parts.folder.plan().direction;
        direction.table_angle(self.parts.facts.steps_per_turn.angle_of(step)).wrapped().degrees()
    }

    /// Seconds left: this run's own pace, or the plan's estimate before it has one.
    fn secs_left(&self) -> Option<f64> {
        let left = self.engine.left_to_shoot();
        if left == 0 {
            return None;
        }
        let per_frame = match (self.pace.front(), self.pace.back()) {
            (Some(first), Some(last)) if self.pace.len() > 1 => {
                last.saturating_sub(*first).as_secs_f64() / (self.pace.len() - 1) as f64
            }
            _ => {
                let plan = self.parts.folder.plan();
                plan.estimate_secs(&self.parts.facts.speeds) / self.parts.folder.shots().len().max(1) as f64
            }
        };
        Some(per_frame * left as f64)
    }

    fn show(&mut self) {
        let plan = self.parts.folder.plan();
        let stops = self
            .engine
            .stops()
            .iter()
            .map(|status| StopView {
                index: status.stop.index,
                row: status.stop.row,
                closing: status.stop.closing,
                degrees: status.stop.angle.wrapped().degrees(),
                degrees_text: status.stop.angle.wrapped().short_degrees(),
                state: status.state,
                activity: self.engine.activity(status.stop.index),
                skipped: status.skipped,
                versions: self.pictures.get(&status.stop.index).cloned().unwrap_or_default(),
                chosen: if status.state == crate::engine::StopState::Kept { status.chosen } else { 0 },
                problem: status.problem.clone(),
            })
            .collect();
        let view = SessionView {
            sku: plan.sku.clone(),
            folder: self.parts.folder.root().to_owned(),
            direction: plan.direction,
            rows: plan
                .rows
                .iter()
                .map(|row| RowView { name: row.name.clone(), tilt_note: row.tilt_note.clone() })
                .collect(),
            stops,
            mode: self.engine.mode().clone(),
            plate_deg: self
                .engine
                .position()
                .filter(|position| position.zero.is_some())
                .and(self.plate_step)
                .map(|step| self.plate_degrees(step)),
            left: self.engine.left_to_shoot(),
            secs_left: self.secs_left(),
            checking: self.engine.waits_for_checks(),
            table: self.parts.facts.name.clone(),
            camera: self.parts.camera_name.clone(),
        };
        (self.parts.news)(Update::View(Arc::new(view)));
    }
}
