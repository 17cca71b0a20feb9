//! The engine against a world that obeys, fails, dawdles and loses its mind, driven without a clock.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;

use proptest::prelude::*;
use session_core::angle::{Angle, StepsPerTurn};
use session_core::camera::CameraError;
use session_core::camera::settings::{FrameSettings, Setting};
use session_core::engine::{
    Action, Engine, EngineConfig, Event, FaultKind, Intent, KeepFailure, Mode, PauseReason, Refused,
    SettingsSeed, Shot, StopSeed, StopState, Timer,
};
use session_core::motion::{Direction, SpeedProfile};
use session_core::plan::{Plan, Row, Stop};
use session_core::rest::Rest;
use session_core::turntable::{TableError, TablePosition};

const ZERO: &str = "zero-1";

fn stops(plan: &Plan) -> Vec<Stop> {
    plan.stops("2026-03-14").unwrap()
}

fn missing(stops: &[Stop]) -> Vec<StopSeed> {
    stops
        .iter()
        .map(|stop| StopSeed {
            stop: stop.clone(),
            state: StopState::Missing,
            versions: 0,
            chosen: 0,
            step: None,
        })
        .collect()
}

fn config(direction: Direction) -> EngineConfig {
    EngineConfig::new(direction, StepsPerTurn::HOBBY_HALF_STEPS, SpeedProfile::default())
}

fn config_for(plan: &Plan) -> EngineConfig {
    let rest_within = plan.rest_within_secs.map(Duration::from_secs_f64);
    EngineConfig { rest_within, ..config(plan.direction) }
}

/// A frame's settings as its file tells them.
fn at_iso(iso: u32) -> FrameSettings {
    let mut settings = FrameSettings::default();
    settings.from_file.insert(Setting::Iso, iso.to_string());
    settings.from_file.insert(Setting::Shutter, "1/60 s".to_owned());
    settings
}

/// What one answer of the world will be.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Luck {
    Fine,
    /// The frame fails, or the table refuses.
    Fails,
    /// The table reports another step than asked.
    WrongStep,
    /// The table or camera is gone.
    Gone,
    /// The controller starts anew and forgets its zero.
    Restarts,
    /// The bytes are not a picture.
    BadFrame,
    /// The disk is full.
    DiskFull,
    /// No answer at all; the watchdog fires.
    Silent,
}

/// Carries out actions and keeps count of what must never happen.
struct World {
    engine: Engine,
    stops: Vec<Stop>,
    direction: Direction,
    run_up: i64,
    /// The longest wait for the picture to stand still, where the plan has it watched.
    watches: Option<Duration>,
    step: i64,
    zero: Option<String>,
    queue: VecDeque<Event>,
    luck: VecDeque<Luck>,
    moving: Option<(u64, i64)>,
    /// Whether the load was waited for since the last turn.
    waited: bool,
    exposing: Option<Shot>,
    receiving: BTreeSet<u64>,
    shots: Vec<Shot>,
    kept: Vec<Shot>,
    held: Vec<u64>,
    /// Frames whose keeping hangs.
    with_keeper: BTreeSet<u64>,
    versions: std::collections::HashMap<u32, u32>,
    /// Which frames, counted from 0 as they are kept, were shot at another ISO.
    drifts: BTreeSet<usize>,
    /// What each stop's latest frame was shot with.
    settings: std::collections::HashMap<u32, FrameSettings>,
    /// Settings that the person took for the rest of the set.
    accepted: Vec<FrameSettings>,
    log: Vec<(Duration, Event, Vec<Action>)>,
    now: Duration,
    last_final_move: i64,
}

impl World {
    fn new(plan: &Plan, luck: Vec<Luck>, expected_zero: Option<String>) -> Self {
        let stops = stops(plan);
        let config = config_for(plan);
        let run_up = config.steps_per_turn.steps_covering(config.run_up);
        let watches = config.rest_within;
        let mut engine = Engine::new(config, missing(&stops), expected_zero, 0);
        engine.lock_settings(SettingsSeed::default());
        Self {
            engine,
            stops,
            direction: plan.direction,
            run_up,
            watches,
            step: 0,
            zero: Some(ZERO.to_owned()),
            queue: VecDeque::new(),
            luck: luck.into(),
            moving: None,
            waited: false,
            exposing: None,
            receiving: BTreeSet::new(),
            shots: Vec::new(),
            kept: Vec::new(),
            held: Vec::new(),
            with_keeper: BTreeSet::new(),
            versions: std::collections::HashMap::new(),
            drifts: BTreeSet::new(),
            settings: std::collections::HashMap::new(),
            accepted: Vec::new(),
            log: Vec::new(),
            now: Duration::ZERO,
            last_final_move: 0,
        }
    }

    fn luck(&mut self) -> Luck {
        self.luck.pop_front().unwrap_or(Luck::Fine)
    }

    fn here(&self) -> TablePosition {
        TablePosition { step: self.step, zero: self.zero.clone() }
    }

    fn tell(&mut self, event: Event) {
        self.now += Duration::from_millis(10);
        self.waited |= matches!(
            event,
            Event::RestWatched { rest: Rest::Still | Rest::Moving { .. }, .. }
                | Event::TimerFired { timer: Timer::Settled { .. } | Timer::RestOverdue { .. } }
        );
        let actions = self.engine.handle(self.now, event.clone());
        self.log.push((self.now, event, actions.clone()));
        if self.asks_for_settings() {
            let begins = |action: &Action| matches!(action, Action::Turn { .. } | Action::Expose { .. });
            assert!(!actions.iter().any(begins), "the session goes on without an answer");
        }
        for action in actions {
            self.carry_out(action);
        }
    }

    fn asks_for_settings(&self) -> bool {
        matches!(self.engine.mode(), Mode::Fault(fault) if fault.kind == FaultKind::Settings)
    }

    /// Answers everything that is open, oldest first, until the engine waits for a person.
    fn settle(&mut self) {
        let mut rounds = 0;
        while let Some(event) = self.queue.pop_front() {
            self.tell(event);
            rounds += 1;
            assert!(rounds < 200_000, "the session never ends");
        }
    }

    fn person(&mut self, intent: Intent) {
        self.tell(Event::Person(intent));
        self.settle();
    }

    fn carry_out(&mut self, action: Action) {
        match action {
            Action::Turn { ticket, to, .. } => {
                assert!(self.moving.is_none(), "two turns at once");
                assert!(self.exposing.is_none(), "a turn while the shutter is open");
                self.waited = false;
                self.last_final_move = to - self.step;
                self.moving = Some((ticket, to));
                let luck = self.luck();
                self.answer_turn(ticket, to, luck);
            }
            Action::Expose { shot } => {
                assert!(self.moving.is_none(), "an exposure while the table turns");
                assert!(self.exposing.is_none() && self.receiving.is_empty(), "two exposures at once");
                assert!(self.waited, "an exposure before the load was waited for");
                self.check_place(&shot);
                self.exposing = Some(shot.clone());
                self.shots.push(shot.clone());
                let luck = self.luck();
                self.answer_exposure(&shot, luck);
            }
            Action::Keep { shot } => {
                assert!(self.kept.iter().all(|kept| kept.number != shot.number), "kept twice");
                let number = shot.number;
                // One that still hangs is not given it twice; by now it has come through.
                let luck = if self.with_keeper.remove(&number) { Luck::Fine } else { self.luck() };
                match luck {
                    Luck::Silent => {
                        self.with_keeper.insert(number);
                        let timer = Timer::KeepOverdue { shot: number };
                        self.queue.push_back(Event::TimerFired { timer });
                    }
                    Luck::BadFrame => self.queue.push_back(Event::KeepFailed {
                        shot: number,
                        failure: KeepFailure::BadFrame("cut short".to_owned()),
                    }),
                    Luck::DiskFull => self.queue.push_back(Event::KeepFailed {
                        shot: number,
                        failure: KeepFailure::Storage("full".to_owned()),
                    }),
                    _ => {
                        let version = self.versions.entry(shot.stop).or_default();
                        *version += 1;
                        let version = *version;
                        let drifts = self.drifts.contains(&self.kept.len());
                        let settings = at_iso(if drifts { 400 } else { 100 });
                        self.settings.insert(shot.stop, settings.clone());
                        self.kept.push(shot);
                        self.queue.push_back(Event::FrameKept { shot: number, version, settings });
                    }
                }
            }
            Action::Hold { shot } => self.held.push(shot),
            Action::ZeroTable => {
                self.step = 0;
                self.zero = Some("zero-set".to_owned());
                self.queue.push_back(Event::TableReady { position: self.here() });
            }
            Action::ReconnectTable => self.queue.push_back(Event::TableReady { position: self.here() }),
            Action::StartTimer { timer: timer @ Timer::Settled { .. }, .. } => {
                self.queue.push_back(Event::TimerFired { timer });
            }
            Action::WatchRest { ticket, most } => self.answer_watch(ticket, most),
            Action::StopTable => {
                if let Some((ticket, _)) = self.moving.take() {
                    self.queue.retain(
                        |event| !matches!(event, Event::TurnFinished { ticket: t, .. } if *t == ticket),
                    );
                    self.queue.push_back(Event::TurnFailed {
                        ticket,
                        error: TableError::Stopped { step: self.step },
                    });
                }
            }
            Action::CancelExposure => {
                if let Some(shot) = self.exposing.take() {
                    self.queue.retain(|event| !matches!(event, Event::ExposureEnded { shot: s } | Event::FrameArrived { shot: s } if *s == shot.number));
                    self.queue.push_back(Event::ExposureFailed {
                        shot: shot.number,
                        error: CameraError::Cancelled,
                    });
                }
            }
            Action::RecordSettings { settings } => self.accepted.push(settings),
            Action::StartTimer { .. }
            | Action::EndWatch
            | Action::ReleaseTable
            | Action::Check { .. }
            | Action::RecordZero { .. }
            | Action::RecordSetAside { .. }
            | Action::RecordKeepVersion { .. } => {}
        }
    }

    fn answer_watch(&mut self, ticket: u64, most: Duration) {
        assert_eq!(Some(most), self.watches, "watched for another time than the plan's");
        let rest = match self.luck() {
            Luck::Silent => {
                self.queue.push_back(Event::TimerFired { timer: Timer::RestOverdue { ticket } });
                return;
            }
            Luck::Fails | Luck::Gone => Rest::CannotTell { reason: "no live picture".to_owned() },
            Luck::WrongStep => Rest::Moving { swing_px: Some(1.5) },
            _ => Rest::Still,
        };
        self.queue.push_back(Event::RestWatched { ticket, rest });
    }

    fn answer_turn(&mut self, ticket: u64, to: i64, luck: Luck) {
        let fail = |error| Event::TurnFailed { ticket, error };
        let event = match luck {
            Luck::Fails => fail(TableError::Refused { word: "G0".to_owned(), reason: "no".to_owned() }),
            Luck::Gone => fail(TableError::Lost("unplugged".to_owned())),
            Luck::Restarts => {
                self.zero = None;
                self.step = 0;
                fail(TableError::Restarted("boot".to_owned()))
            }
            Luck::WrongStep => {
                self.step = to - 3;
                Event::TurnFinished { ticket, position: self.here() }
            }
            Luck::Silent => Event::TimerFired { timer: Timer::TurnOverdue { ticket } },
            _ => {
                self.step = to;
                Event::TurnFinished { ticket, position: self.here() }
            }
        };
        self.queue.push_back(event);
        self.queue.push_back(Event::TimerFired { timer: Timer::TurnOverdue { ticket: ticket + 1_000_000 } });
        // A silent table is still moving; any other has ended its move with this answer.
        self.moving = (luck == Luck::Silent).then_some((ticket, to));
    }

    fn answer_exposure(&mut self, shot: &Shot, luck: Luck) {
        let number = shot.number;
        match luck {
            Luck::Fails => {
                self.exposing = None;
                self.queue.push_back(Event::ExposureFailed {
                    shot: number,
                    error: CameraError::Failed("no".to_owned()),
                });
            }
            Luck::Gone => {
                self.exposing = None;
                self.queue.push_back(Event::ExposureEnded { shot: number });
                self.queue.push_back(Event::FrameFailed {
                    shot: number,
                    error: CameraError::Lost("off".to_owned()),
                });
            }
            Luck::Silent => {
                self.queue.push_back(Event::TimerFired { timer: Timer::FrameOverdue { shot: number } });
            }
            _ => {
                self.exposing = None;
                self.queue.push_back(Event::ExposureEnded { shot: number });
                self.queue.push_back(Event::FrameArrived { shot: number });
            }
        }
    }

    /// The heart of it: a shot is only ever taken where its stop is, as the table confirmed.
    fn check_place(&self, shot: &Shot) {
        let steps = StepsPerTurn::HOBBY_HALF_STEPS;
        let stop = self.stops.iter().find(|stop| stop.index == shot.stop).expect("a stop of the plan");
        assert_eq!(shot.reported_step, self.step, "recorded against a step the table did not report");
        assert_eq!(shot.commanded_step, shot.reported_step);
        let along = self.direction.table_angle(steps.angle_of(self.step)).wrapped();
        let off = along.distance_round(stop.angle.wrapped());
        assert!(off + off <= steps.angle_of(1), "stop {} shot {off}° off", shot.stop);
        assert!(
            self.last_final_move * self.direction.sign() > 0 || self.run_up == 0,
            "stop {} was reached from the other side",
            shot.stop
        );
    }
}

fn ready(plan: &Plan, luck: Vec<Luck>) -> World {
    let mut world = World::new(plan, luck, None);
    let position = world.here();
    world.tell(Event::TableReady { position });
    world
}

#[test]
fn a_set_without_trouble_is_shot_in_order_without_turning_back() {
    let plan = Plan::single_row("LH-1", 24);
    let mut world = ready(&plan, vec![]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    let order: Vec<u32> = world.kept.iter().map(|shot| shot.stop).collect();
    assert_eq!(order, (1..=24).collect::<Vec<u32>>());
    let steps: Vec<i64> = world.kept.iter().map(|shot| shot.reported_step).collect();
    assert!(steps.is_sorted());
    // 345° of 4075.77 half-steps, rounded once: 3905.949 → 3906.
    assert_eq!(steps.last(), Some(&3906));
}

#[test]
fn rows_go_on_turning_the_same_way_and_no_error_adds_up() {
    let mut plan = Plan::single_row("LH-1", 7);
    for n in 2..=11 {
        plan.rows.push(Row::full_turn(&format!("row{n}"), 7));
    }
    let mut world = ready(&plan, vec![]);
    world.person(Intent::Start);
    let steps: Vec<i64> = world.kept.iter().map(|shot| shot.reported_step).collect();
    assert!(steps.is_sorted());
    // After ten turns stop 71 stands at 10 × 1650688/405 = 40757.728…, rounded once.
    assert_eq!(steps[70], 40_758);
}

#[test]
fn the_next_turn_starts_when_the_exposure_has_ended_not_when_the_frame_has_come() {
    let plan = Plan::single_row("LH-1", 4);
    let mut engine = Engine::new(config(Direction::Anticlockwise), missing(&stops(&plan)), None, 0);
    let here = |step| TablePosition { step, zero: Some(ZERO.to_owned()) };
    let mut now = Duration::ZERO;
    let mut tell = |event| {
        now += Duration::from_millis(1);
        engine.handle(now, event)
    };
    tell(Event::TableReady { position: here(0) });
    let mut actions = tell(Event::Person(Intent::Start));
    // Through run-up, turn and settling to the first exposure.
    let shot = loop {
        let step = actions.iter().find_map(|action| match action {
            Action::Turn { ticket, to, .. } => {
                Some(Event::TurnFinished { ticket: *ticket, position: here(*to) })
            }
            Action::StartTimer { timer: timer @ Timer::Settled { .. }, .. } => {
                Some(Event::TimerFired { timer: *timer })
            }
            _ => None,
        });
        if let Some(Action::Expose { shot }) =
            actions.iter().find(|action| matches!(action, Action::Expose { .. }))
        {
            break shot.clone();
        }
        actions = tell(step.expect("something to answer"));
    };
    let actions = tell(Event::ExposureEnded { shot: shot.number });
    assert!(matches!(actions[0], Action::Turn { stop: 2, .. }), "{actions:?}");
    // The table arrives and settles; the camera is still busy, so no second exposure.
    let Action::Turn { ticket, to, .. } = actions[0] else { unreachable!() };
    let actions = tell(Event::TurnFinished { ticket, position: here(to) });
    let Action::StartTimer { timer, .. } = actions[0] else { panic!("{actions:?}") };
    assert!(tell(Event::TimerFired { timer }).is_empty());
    let actions = tell(Event::FrameArrived { shot: shot.number });
    assert!(matches!(&actions[0], Action::Keep { shot } if shot.stop == 1));
    assert!(matches!(&actions[1], Action::StartTimer { timer: Timer::KeepOverdue { shot: 1 }, .. }));
    assert!(matches!(&actions[2], Action::Expose { shot } if shot.stop == 2));
}

/// An engine at its first wait for rest, with the wait's ticket and the time it began.
fn watching() -> (Engine, u64, Duration) {
    let plan = Plan::single_row("LH-1", 4);
    let plan = Plan { rest_within_secs: Some(4.0), ..plan };
    let mut engine = Engine::new(config_for(&plan), missing(&stops(&plan)), None, 0);
    let here = |step| TablePosition { step, zero: Some(ZERO.to_owned()) };
    let mut now = Duration::ZERO;
    engine.handle(now, Event::TableReady { position: here(0) });
    let mut actions = engine.handle(now, Event::Person(Intent::Start));
    for _ in 0..9 {
        if let Some(ticket) = actions.iter().find_map(|action| match action {
            Action::WatchRest { ticket, most } => {
                assert_eq!(*most, Duration::from_secs(4));
                Some(*ticket)
            }
            _ => None,
        }) {
            return (engine, ticket, now);
        }
        let ended = actions.iter().find_map(|action| match action {
            Action::Turn { ticket, to, .. } => {
                Some(Event::TurnFinished { ticket: *ticket, position: here(*to) })
            }
            _ => None,
        });
        now += Duration::from_secs(1);
        actions = engine.handle(now, ended.expect("a turn"));
    }
    panic!("nothing is watched");
}

#[test]
fn the_exposure_begins_when_the_picture_stands_still_or_has_moved_for_too_long() {
    for rest in [Rest::Still, Rest::Moving { swing_px: Some(2.0) }] {
        let (mut engine, ticket, began) = watching();
        assert_eq!(engine.stop_of_wait(ticket), Some(1));
        let late = Event::RestWatched { ticket: ticket + 7, rest: rest.clone() };
        assert!(engine.handle(began, late).is_empty(), "another wait's answer is not this one's");
        let actions = engine.handle(began, Event::RestWatched { ticket, rest });
        assert!(matches!(actions[0], Action::Expose { .. }), "{actions:?}");
    }
    // Nobody answers: the wait ends all the same.
    let (mut engine, ticket, began) = watching();
    let actions = engine.handle(began, Event::TimerFired { timer: Timer::RestOverdue { ticket } });
    assert!(matches!(actions[0], Action::Expose { .. }), "{actions:?}");
}

#[test]
fn where_the_picture_does_not_tell_what_is_left_of_the_settle_time_is_waited() {
    for (waited_ms, left_ms) in [(0, 800), (300, 500), (900, 0)] {
        let (mut engine, ticket, began) = watching();
        let rest = Rest::CannotTell { reason: "the camera has none".to_owned() };
        let now = began + Duration::from_millis(waited_ms);
        let actions = engine.handle(now, Event::RestWatched { ticket, rest });
        let [Action::StartTimer { timer, after }] = &actions[..] else { panic!("{actions:?}") };
        assert_eq!(*after, Duration::from_millis(left_ms));
        let actions = engine.handle(now + *after, Event::TimerFired { timer: *timer });
        assert!(matches!(actions[0], Action::Expose { .. }), "{actions:?}");
    }
}

#[test]
fn stopping_gives_the_watch_up_and_nothing_is_exposed() {
    let (mut engine, ticket, began) = watching();
    let actions = engine.handle(began, Event::Person(Intent::StopNow));
    assert!(actions.contains(&Action::EndWatch), "{actions:?}");
    assert_eq!(*engine.mode(), Mode::Stopped);
    assert!(engine.handle(began, Event::RestWatched { ticket, rest: Rest::Still }).is_empty());
}

#[test]
fn a_retake_shoots_only_its_stops_and_adds_versions() {
    let plan = Plan::single_row("LH-1", 24);
    let mut world = ready(&plan, vec![]);
    world.person(Intent::Start);
    world.person(Intent::Retake { stops: vec![3, 7] });
    assert_eq!(*world.engine.mode(), Mode::Finished);
    let again: Vec<u32> = world.kept[24..].iter().map(|shot| shot.stop).collect();
    assert_eq!(again, [3, 7]);
    assert_eq!(world.versions[&3], 2);
    assert_eq!(world.versions[&4], 1);
}

#[test]
fn a_bad_frame_is_shot_again_a_bounded_number_of_times_then_a_person_is_asked() {
    let plan = Plan::single_row("LH-1", 4);
    // Run-up and turn go well, then every frame fails.
    let mut luck = vec![Luck::Fine; 2];
    luck.extend([Luck::Fails; 40]);
    let mut world = ready(&plan, luck);
    world.person(Intent::Start);
    let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
    assert_eq!((fault.kind, fault.stop), (FaultKind::Camera, Some(1)));
    assert!(fault.message.contains("3 times"), "{}", fault.message);
    assert_eq!(world.shots.len(), 3);
    // Leaving the stop out goes on with the rest and leaves it missing.
    world.luck.clear();
    world.person(Intent::Skip { stop: 1 });
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.iter().map(|shot| shot.stop).collect::<Vec<_>>(), [2, 3, 4]);
    // Start takes the rest up later, but not what the person left out; a retake does.
    world.person(Intent::Start);
    assert_eq!(world.kept.len(), 3);
    world.person(Intent::Retake { stops: vec![1] });
    assert_eq!(world.kept.len(), 4);
}

#[test]
fn a_controller_that_starts_anew_is_never_resumed_silently() {
    let plan = Plan::single_row("LH-1", 6);
    let mut world = ready(&plan, vec![]);
    world.person(Intent::Start);
    world.luck = VecDeque::from([Luck::Restarts]);
    world.person(Intent::Retake { stops: vec![2] });
    assert!(
        matches!(world.engine.mode(), Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown),
        "{:?}",
        world.engine.mode()
    );
    let kept = world.kept.len();
    world.person(Intent::TryAgain);
    assert_eq!(world.kept.len(), kept, "trying again does not make the position known");
    world.person(Intent::ZeroIsHere);
    assert_eq!(*world.engine.mode(), Mode::Finished);
}

#[test]
fn a_table_whose_zero_has_changed_since_is_not_trusted() {
    let plan = Plan::single_row("LH-1", 6);
    for zero in [None, Some("another".to_owned())] {
        let mut world = World::new(&plan, vec![], Some(ZERO.to_owned()));
        world.zero = zero;
        let position = world.here();
        world.tell(Event::TableReady { position });
        world.person(Intent::Start);
        assert!(
            matches!(world.engine.mode(), Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown)
        );
        assert!(world.shots.is_empty());
    }
}

#[test]
fn a_new_set_on_a_table_that_knows_no_zero_sets_it_where_it_stands() {
    let mut world = World::new(&Plan::single_row("LH-1", 6), vec![], None);
    world.zero = None;
    world.step = 1234;
    let position = world.here();
    world.tell(Event::TableReady { position });
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept[0].reported_step, 0);
}

#[test]
fn pause_ends_the_stop_under_way_and_resume_goes_on() {
    let plan = Plan::single_row("LH-1", 6);
    let mut world = ready(&plan, vec![]);
    world.tell(Event::Person(Intent::Start));
    while world.kept.len() < 2 {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    world.person(Intent::PauseAfterFrame);
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::Asked));
    let kept = world.kept.len();
    assert!((2..=4).contains(&kept));
    world.person(Intent::Resume);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 6);
}

#[test]
fn stop_at_once_halts_the_table_and_start_takes_up_the_missing_stops() {
    let plan = Plan::single_row("LH-1", 12);
    for halt_after in 1..60 {
        let mut world = ready(&plan, vec![]);
        world.tell(Event::Person(Intent::Start));
        for _ in 0..halt_after {
            if let Some(event) = world.queue.pop_front() {
                world.tell(event);
            }
        }
        let was_finished = *world.engine.mode() == Mode::Finished;
        world.person(Intent::StopNow);
        assert_eq!(*world.engine.mode(), if was_finished { Mode::Finished } else { Mode::Stopped });
        world.person(Intent::Start);
        assert_eq!(*world.engine.mode(), Mode::Finished);
        let stops: BTreeSet<u32> = world.kept.iter().map(|shot| shot.stop).collect();
        assert_eq!(stops.len(), 12, "halted after {halt_after}");
        assert_eq!(world.kept.len(), 12, "no stop is shot twice");
    }
}

#[test]
fn retakes_called_off_leave_what_is_missing_to_be_shot() {
    let mut world = ready(&Plan::single_row("LH-1", 6), vec![]);
    world.person(Intent::Retake { stops: vec![1, 2] });
    assert_eq!(world.kept.len(), 2);
    world.tell(Event::Person(Intent::Retake { stops: vec![1, 2, 3] }));
    world.person(Intent::StopNow);
    world.person(Intent::CallOffRetakes);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    let shot: Vec<u32> = world.kept.iter().map(|shot| shot.stop).collect();
    assert_eq!(shot, [1, 2, 3, 4, 5, 6], "neither stop 1 nor 2 is shot again");
}

#[test]
fn a_full_disk_holds_the_frame_and_keeps_it_once_there_is_room() {
    let plan = Plan::single_row("LH-1", 3);
    // Run-up, turn, exposure, the next turn, and then the first frame meets the disk.
    let mut world = ready(&plan, vec![Luck::Fine, Luck::Fine, Luck::Fine, Luck::Fine, Luck::DiskFull]);
    world.person(Intent::Start);
    assert!(
        matches!(world.engine.mode(), Mode::Fault(fault) if fault.kind == FaultKind::Storage),
        "{:?}",
        world.engine.mode()
    );
    let shots = world.shots.len();
    world.person(Intent::TryAgain);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 3);
    assert!(world.shots.iter().filter(|shot| shot.stop == 1).count() == 1, "shot once, after {shots}");
}

#[test]
fn a_frame_that_comes_after_it_was_given_up_is_held_not_kept() {
    let plan = Plan::single_row("LH-1", 3);
    let mut world = ready(&plan, vec![Luck::Fine, Luck::Fine, Luck::Silent]);
    world.person(Intent::Start);
    assert!(matches!(world.engine.mode(), Mode::Fault(fault) if fault.kind == FaultKind::Camera));
    let late = world.shots[0].number;
    world.exposing = None;
    world.person(Intent::TryAgain);
    world.tell(Event::FrameArrived { shot: late });
    world.settle();
    assert_eq!(world.held, [late]);
    assert!(world.kept.iter().all(|shot| shot.number != late));
}

#[test]
fn a_new_row_waits_for_the_camera_to_be_set() {
    let mut plan = Plan::single_row("LH-1", 3);
    plan.rows.push(Row::full_turn("high", 2));
    let stops = stops(&plan);
    let mut world = ready(&plan, vec![]);
    world.engine = Engine::new(
        EngineConfig { pause_between_rows: true, ..config(plan.direction) },
        missing(&stops),
        None,
        0,
    );
    let position = world.here();
    world.tell(Event::TableReady { position });
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::NewRow { row: 1 }));
    assert_eq!(world.kept.len(), 3);
    world.person(Intent::Resume);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 5);
}

#[test]
fn a_set_begun_earlier_asks_for_the_row_it_goes_on_with() {
    let mut plan = Plan::single_row("LH-1", 3);
    plan.rows.push(Row::full_turn("high", 2));
    let mut seeds = missing(&stops(&plan));
    for seed in &mut seeds[..3] {
        *seed = StopSeed { state: StopState::Kept, versions: 1, chosen: 1, ..seed.clone() };
    }
    for (intent, row, shots) in [(Intent::Start, 1, 2), (Intent::Retake { stops: vec![2] }, 0, 1)] {
        let mut world = ready(&plan, vec![]);
        let config = EngineConfig { pause_between_rows: true, ..config(plan.direction) };
        world.engine = Engine::new(config, seeds.clone(), None, 0);
        let position = world.here();
        world.tell(Event::TableReady { position });
        world.person(intent);
        assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::NewRow { row }));
        assert!(world.shots.is_empty());
        world.person(Intent::Resume);
        assert_eq!(*world.engine.mode(), Mode::Finished);
        assert_eq!(world.shots.len(), shots);
    }
}

#[test]
fn zero_can_be_set_while_a_frame_is_still_on_its_way() {
    let plan = Plan::single_row("LH-1", 3);
    // Run-up, turn, exposure; then the controller starts anew in the next turn.
    let mut world = ready(&plan, vec![Luck::Fine, Luck::Fine, Luck::Fine, Luck::Restarts]);
    world.tell(Event::Person(Intent::Start));
    while !matches!(world.queue.front(), Some(Event::FrameArrived { .. })) {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    let late = world.queue.pop_front().unwrap();
    world.settle();
    let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
    assert_eq!(fault.kind, FaultKind::PositionUnknown);
    // What to do is said once, as the fault's advice.
    assert!(!fault.message.contains("set zero"), "{}", fault.message);
    world.tell(Event::Person(Intent::ZeroIsHere));
    assert!(!matches!(world.engine.mode(), Mode::Fault(_)), "the wish was passed over");
    world.queue.push_back(late);
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 3);
}

#[test]
fn a_table_lost_while_it_fires_is_opened_again() {
    let plan = Plan::single_row("LH-1", 3);
    let mut world = ready(&plan, vec![Luck::Fine, Luck::Fine, Luck::Silent]);
    world.tell(Event::Person(Intent::Start));
    while world.shots.is_empty() {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    world.queue.clear();
    world.exposing = None;
    world.tell(Event::TableTrouble { error: TableError::Lost("unplugged".to_owned()) });
    world.tell(Event::ExposureFailed { shot: 1, error: CameraError::Failed("the table is gone".to_owned()) });
    let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
    assert_eq!(fault.kind, FaultKind::Table);
    assert!(!fault.message.contains("check its cable"), "said in the advice: {}", fault.message);
    world.person(Intent::TryAgain);
    let reconnects = world.log.iter().flat_map(|(_, _, actions)| actions);
    assert_eq!(reconnects.filter(|action| **action == Action::ReconnectTable).count(), 1);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 3);
}

#[test]
fn a_table_that_answers_anew_is_not_taken_to_stand_at_its_stop() {
    let plan = Plan::single_row("LH-1", 3);
    let mut world = ready(&plan, vec![]);
    world.tell(Event::Person(Intent::Start));
    while !matches!(world.queue.front(), Some(Event::FrameArrived { .. })) {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    let frame = world.queue.pop_front().unwrap();
    // It turns to the second stop, settles and waits for the camera; then it is turned by hand.
    world.settle();
    world.step += 777;
    let position = world.here();
    world.tell(Event::TableReady { position });
    world.queue.push_back(frame);
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
}

#[test]
fn a_disk_that_never_answers_neither_holds_up_the_stop_nor_loses_the_frame() {
    let plan = Plan::single_row("LH-1", 3);
    let luck = vec![Luck::Fine, Luck::Fine, Luck::Fine, Luck::Fine, Luck::Silent];
    for late in [false, true] {
        let mut world = ready(&plan, luck.clone());
        world.person(Intent::Start);
        let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
        assert_eq!((fault.kind, fault.stop), (FaultKind::Storage, Some(1)));
        assert!(fault.advice.contains("held in memory"), "{}", fault.advice);
        world.person(Intent::StopNow);
        assert_eq!(*world.engine.mode(), Mode::Stopped);
        if late {
            // The disk has come to after all.
            world.with_keeper.clear();
            world.kept.push(world.shots[0].clone());
            world.tell(Event::FrameKept { shot: 1, version: 1, settings: at_iso(100) });
        }
        world.person(Intent::Start);
        assert_eq!(*world.engine.mode(), Mode::Finished);
        assert_eq!(world.kept.len(), 3);
        assert_eq!(world.shots.iter().filter(|shot| shot.stop == 1).count(), 1, "shot once");
    }
}

#[test]
fn what_the_disk_refuses_before_it_is_begun_is_a_fault_of_the_disk() {
    let plan = Plan::single_row("LH-1", 2);
    let refuse = |world: &mut World, refused| {
        world.tell(Event::DiskRefused { refused, reason: "the disk is full".to_owned() });
        let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
        assert_eq!(fault.kind, FaultKind::Storage);
        // There is no frame that could be held.
        assert!(!fault.advice.contains("held"), "{}", fault.advice);
    };
    let zeroes = |world: &World| {
        let actions = world.log.iter().flat_map(|(_, _, actions)| actions);
        actions.filter(|action| matches!(action, Action::RecordZero { .. })).count()
    };
    let mut world = ready(&plan, vec![]);
    world.tell(Event::Person(Intent::Start));
    assert_eq!(zeroes(&world), 1);
    refuse(&mut world, Refused::Zero);
    world.settle();
    assert!(world.shots.is_empty(), "shot from a zero that is not on record");
    world.person(Intent::TryAgain);
    assert_eq!(zeroes(&world), 2);
    assert_eq!(*world.engine.mode(), Mode::Finished);

    let mut world = ready(&plan, vec![Luck::Fine, Luck::Fine, Luck::Silent]);
    world.tell(Event::Person(Intent::Start));
    while world.shots.is_empty() {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    world.exposing = None;
    refuse(&mut world, Refused::Exposure { shot: 1 });
    world.person(Intent::TryAgain);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 2);
}

fn any_luck() -> impl Strategy<Value = Luck> {
    prop_oneof![
        12 => Just(Luck::Fine),
        1 => Just(Luck::Fails),
        1 => Just(Luck::WrongStep),
        1 => Just(Luck::Gone),
        1 => Just(Luck::Restarts),
        1 => Just(Luck::BadFrame),
        1 => Just(Luck::DiskFull),
        1 => Just(Luck::Silent),
    ]
}

fn any_intent(stops: u32) -> impl Strategy<Value = Intent> {
    prop_oneof![
        3 => Just(Intent::Start),
        2 => Just(Intent::PauseAfterFrame),
        3 => Just(Intent::Resume),
        2 => Just(Intent::StopNow),
        1 => Just(Intent::CallOffRetakes),
        3 => Just(Intent::TryAgain),
        1 => Just(Intent::GoOnWithSettings),
        2 => Just(Intent::ZeroIsHere),
        2 => (1..=stops).prop_map(|stop| Intent::Retake { stops: vec![stop] }),
        1 => (1..=stops).prop_map(|stop| Intent::Skip { stop }),
        1 => (1..=stops).prop_map(|stop| Intent::SetAside { stop }),
        1 => (1..=stops).prop_map(|stop| Intent::KeepVersion { stop, version: 1 }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever fails and whatever is pressed: no shot off its place, none against an unconfirmed angle,
    /// no two things at once (the world asserts), no endless loop, and in the end the set can be finished.
    #[test]
    fn no_order_of_trouble_and_wishes_breaks_the_promise(
        luck in prop::collection::vec(any_luck(), 0..200),
        wishes in prop::collection::vec((0_usize..30, any_intent(9)), 1..25),
        drifts in prop::collection::btree_set(0_usize..40, 0..5),
        clockwise: bool,
        watches: bool,
    ) {
        let mut plan = Plan::single_row("LH-1", 9);
        plan.rest_within_secs = watches.then_some(4.0);
        plan.direction = if clockwise { Direction::Clockwise } else { Direction::Anticlockwise };
        let mut world = ready(&plan, luck);
        world.drifts = drifts;
        for (events, wish) in wishes {
            for _ in 0..events {
                if let Some(event) = world.queue.pop_front() {
                    world.tell(event);
                }
            }
            // A watchdog has given the device up; the world forgets it too.
            if matches!(world.engine.mode(), Mode::Fault(_)) && world.queue.is_empty() {
                world.moving = None;
                world.exposing = None;
            }
            world.tell(Event::Person(wish));
        }
        world.settle();
        // Now nothing fails any more and the person helps until it is done.
        world.luck.clear();
        world.drifts.clear();
        for _ in 0..40 {
            world.moving = None;
            world.exposing = None;
            match world.engine.mode().clone() {
                Mode::Finished => break,
                Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown => world.person(Intent::ZeroIsHere),
                Mode::Fault(fault) if fault.kind == FaultKind::Settings => {
                    world.person(Intent::GoOnWithSettings);
                }
                Mode::Fault(_) => world.person(Intent::TryAgain),
                Mode::Paused(_) => world.person(Intent::Resume),
                _ => world.person(Intent::Start),
            }
        }
        prop_assert_eq!(world.engine.mode(), &Mode::Finished);
        for stop in 1..=9 {
            world.person(Intent::Retake { stops: vec![stop] });
            // Settings that were taken for the rest differ from those of this retake.
            if world.asks_for_settings() {
                world.person(Intent::GoOnWithSettings);
            }
        }
        prop_assert!(world.engine.stops().iter().all(|stop| stop.state == StopState::Kept));

        // Replay: the same events at the same times give the same actions.
        let mut again = Engine::new(config_for(&plan), missing(&stops(&plan)), None, 0);
        again.lock_settings(SettingsSeed::default());
        for (now, event, actions) in &world.log {
            let text = serde_json::to_string(event).unwrap();
            let event: Event = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&again.handle(*now, event), actions);
        }
    }
}

#[test]
fn other_settings_stop_the_session_and_the_person_chooses() {
    let plan = Plan::single_row("LH-1", 6);
    let mut world = ready(&plan, vec![]);
    world.drifts = BTreeSet::from([2]);
    world.person(Intent::Start);
    let Mode::Fault(fault) = world.engine.mode().clone() else { panic!("{:?}", world.engine.mode()) };
    assert_eq!((fault.kind, fault.stop), (FaultKind::Settings, Some(3)));
    assert_eq!(
        fault.message,
        "the frame at 120° was shot with other settings than those before: ISO changed from 100 to 400"
    );
    // It is kept all the same.
    assert_eq!(world.engine.stops()[2].state, StopState::Kept);
    // Put back: that stop is shot again, and nothing else is.
    world.person(Intent::TryAgain);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    let order: Vec<u32> = world.kept.iter().map(|shot| shot.stop).collect();
    assert_eq!(order, [1, 2, 3, 3, 4, 5, 6]);
    assert!(world.accepted.is_empty());
}

#[test]
fn going_on_with_new_settings_asks_once_and_notes_it() {
    let mut world = ready(&Plan::single_row("LH-1", 6), vec![]);
    world.drifts = (3..100).collect();
    world.person(Intent::Start);
    assert!(world.asks_for_settings());
    world.person(Intent::GoOnWithSettings);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 6);
    assert_eq!(world.accepted, [at_iso(400)]);
}

#[test]
fn the_only_frame_of_a_set_may_be_shot_anew_with_other_settings() {
    let mut world = ready(&Plan::single_row("LH-1", 6), vec![]);
    world.drifts = (1..100).collect();
    world.person(Intent::Retake { stops: vec![1] });
    world.person(Intent::Retake { stops: vec![1] });
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
}

#[test]
fn frames_that_differ_from_an_earlier_run_are_asked_for_unless_they_are_shot_again() {
    let plan = Plan::single_row("LH-1", 3);
    let kept: Vec<StopSeed> = stops(&plan)
        .into_iter()
        .map(|stop| StopSeed { stop, state: StopState::Kept, versions: 1, chosen: 1, step: None })
        .collect();
    let seed = SettingsSeed { reference: Some(at_iso(100)), drifted: vec![(2, 2, at_iso(400))] };
    for (intent, asks) in [(Intent::Start, true), (Intent::Retake { stops: vec![2] }, false)] {
        let mut world = ready(&plan, vec![]);
        world.engine = Engine::new(config(plan.direction), kept.clone(), None, 3);
        world.engine.lock_settings(seed.clone());
        let position = world.here();
        world.tell(Event::TableReady { position });
        world.person(intent);
        assert_eq!(world.asks_for_settings(), asks);
        assert_eq!(world.shots.len(), usize::from(!asks));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Put back every time, a set ends even, with no frame shot more often than it drifted.
    #[test]
    fn putting_settings_back_ends_in_an_even_set(drifts in prop::collection::btree_set(1_usize..30, 0..12)) {
        let mut world = ready(&Plan::single_row("LH-1", 9), vec![]);
        world.drifts = drifts;
        world.person(Intent::Start);
        for _ in 0..30 {
            if world.asks_for_settings() {
                world.person(Intent::TryAgain);
            }
        }
        prop_assert_eq!(world.engine.mode(), &Mode::Finished);
        prop_assert!(world.settings.values().all(|settings| *settings == at_iso(100)));
        let drifted = world.drifts.iter().filter(|at| **at < world.kept.len()).count();
        prop_assert_eq!(world.kept.len(), 9 + drifted);
    }

    /// Gone on every time, no frame is shot twice and every change is on record.
    #[test]
    fn going_on_shoots_nothing_twice(drifts in prop::collection::btree_set(0_usize..9, 0..9)) {
        let mut world = ready(&Plan::single_row("LH-1", 9), vec![]);
        world.drifts = drifts;
        world.person(Intent::Start);
        for _ in 0..30 {
            world.person(Intent::GoOnWithSettings);
        }
        prop_assert_eq!(world.engine.mode(), &Mode::Finished);
        prop_assert_eq!(world.kept.len(), 9);
        let first = world.settings[&world.kept[0].stop].clone();
        let known = |settings: &FrameSettings| *settings == first || world.accepted.contains(settings);
        prop_assert!(world.settings.values().all(known));
    }
}

#[test]
fn an_angle_asked_for_is_an_angle_of_the_plan() {
    // The whole promise in one place for a plan with awkward numbers.
    let mut plan = Plan::single_row("LH-1", 1439);
    plan.rows[0].start = "0.123".parse().unwrap();
    let mut world = ready(&plan, vec![]);
    world.person(Intent::Start);
    assert_eq!(world.kept.len(), 1439);
    assert_eq!(world.stops[0].angle, "0.123".parse::<Angle>().unwrap());
}
