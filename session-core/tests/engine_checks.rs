//! Checks beside the engine: what they find acts on the right frame, never loses one, and never without end.
//!
//! Devices obey here; what varies is what is found, when it is told, and what a person wants meanwhile.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;

use proptest::prelude::*;
use session_core::angle::StepsPerTurn;
use session_core::camera::CameraError;
use session_core::camera::settings::{FrameSettings, Setting};
use session_core::check::{Flag, FlagKind, FlagPolicy, Response};
use session_core::engine::{
    Action, Activity, CheckOf, ChecksSeed, Engine, EngineConfig, Event, Intent, Mode, PauseReason,
    SettingsSeed, StopSeed, StopState, Timer,
};
use session_core::motion::{Direction, SpeedProfile};
use session_core::plan::{Plan, Row};
use session_core::turntable::{TableError, TablePosition};

const PATIENCE: Duration = Duration::from_secs(120);

/// What is found on a stop's versions: by looks at once, or only with the whole row.
type Flaws = BTreeMap<(u32, u32), FlagKind>;

struct World {
    engine: Engine,
    step: i64,
    /// What the devices will say, in order.
    queue: VecDeque<Event>,
    /// What the checker will say, in order; it may be late.
    checker: VecDeque<Event>,
    looks: Flaws,
    with_row: Flaws,
    /// Stop and version of every frame, in the order they were kept.
    kept: Vec<(u32, u32)>,
    turns: usize,
    waits: Vec<Timer>,
    row_checks: Vec<usize>,
    rows: BTreeMap<u32, usize>,
    log: Vec<(Event, Vec<Action>)>,
    seeds: Vec<StopSeed>,
    seed: ChecksSeed,
    config: EngineConfig,
    /// The zeros put on record, each with the last exposure before it.
    zeros: Vec<(String, u64)>,
}

fn flag(kind: FlagKind) -> Flag {
    Flag { kind, reason: "seen".to_owned(), amount: 1.0, unit: "px".to_owned() }
}

fn policy(choices: &[(FlagKind, Response)]) -> FlagPolicy {
    let mut policy = FlagPolicy::default();
    for kind in FlagKind::ALL {
        policy.choose(kind, Response::Tell);
    }
    for (kind, response) in choices {
        policy.choose(*kind, *response);
    }
    policy
}

impl World {
    fn new(plan: &Plan, policy: FlagPolicy) -> Self {
        Self::with_config(plan, policy, |config| config)
    }

    fn with_config(
        plan: &Plan,
        policy: FlagPolicy,
        change: impl FnOnce(EngineConfig) -> EngineConfig,
    ) -> Self {
        let stops = plan.shots("2026-03-14").unwrap();
        let rows = stops.iter().map(|stop| (stop.index, stop.row)).collect();
        let seeds: Vec<StopSeed> = stops
            .into_iter()
            .map(|stop| StopSeed { stop, state: StopState::Missing, versions: 0, chosen: 0, step: None })
            .collect();
        let steps = StepsPerTurn::HOBBY_HALF_STEPS;
        let config = change(EngineConfig::new(plan.direction, steps, SpeedProfile::default()));
        let seed = ChecksSeed { policy, patience: PATIENCE, ..ChecksSeed::default() };
        let mut engine = Engine::new(config.clone(), seeds.clone(), None, 0);
        engine.check_frames(seed.clone());
        let mut world = Self {
            engine,
            step: 0,
            queue: VecDeque::new(),
            checker: VecDeque::new(),
            looks: Flaws::new(),
            with_row: Flaws::new(),
            kept: Vec::new(),
            turns: 0,
            waits: Vec::new(),
            row_checks: Vec::new(),
            rows,
            log: Vec::new(),
            seeds,
            seed,
            config,
            zeros: Vec::new(),
        };
        world.tell(Event::TableReady { position: world.here() });
        world
    }

    fn here(&self) -> TablePosition {
        TablePosition { step: self.step, zero: Some("zero-1".to_owned()) }
    }

    fn tell(&mut self, event: Event) {
        let actions = self.engine.handle(Duration::ZERO, event.clone());
        self.log.push((event, actions.clone()));
        for action in actions {
            self.carry_out(action);
        }
    }

    fn carry_out(&mut self, action: Action) {
        match action {
            Action::Turn { ticket, to, .. } => {
                self.turns += 1;
                self.step = to;
                self.queue.push_back(Event::TurnFinished { ticket, position: self.here() });
            }
            Action::ZeroTable => {
                self.step = 0;
                self.queue.push_back(Event::TableReady { position: self.here() });
            }
            Action::RecordZero { zero, last_shot_before } => self.zeros.push((zero, last_shot_before)),
            Action::StopTable => {
                let turning = self.queue.iter().find_map(|event| match event {
                    Event::TurnFinished { ticket, .. } => Some(*ticket),
                    _ => None,
                });
                self.queue.retain(|event| !matches!(event, Event::TurnFinished { .. }));
                if let Some(ticket) = turning {
                    let error = TableError::Stopped { step: self.step };
                    self.queue.push_back(Event::TurnFailed { ticket, error });
                }
            }
            Action::CancelExposure => {
                let exposing = self.queue.iter().find_map(|event| match event {
                    Event::ExposureEnded { shot } => Some(*shot),
                    _ => None,
                });
                if let Some(shot) = exposing {
                    self.queue.retain(|event| !matches!(event, Event::ExposureEnded { shot: s } | Event::FrameArrived { shot: s } if *s == shot));
                    self.queue.push_back(Event::ExposureFailed { shot, error: CameraError::Cancelled });
                }
            }
            Action::StartTimer { timer: timer @ Timer::Settled { .. }, .. } => {
                self.queue.push_back(Event::TimerFired { timer });
            }
            Action::StartTimer { timer: timer @ Timer::ChecksOverdue { .. }, after } => {
                assert_eq!(after, PATIENCE);
                self.waits.push(timer);
            }
            Action::Expose { shot } => {
                self.queue.push_back(Event::ExposureEnded { shot: shot.number });
                self.queue.push_back(Event::FrameArrived { shot: shot.number });
            }
            Action::Keep { shot } => {
                let version = 1 + self.kept.iter().filter(|(stop, _)| *stop == shot.stop).count() as u32;
                self.kept.push((shot.stop, version));
                let settings = FrameSettings::default();
                self.queue.push_back(Event::FrameKept { shot: shot.number, version, settings });
            }
            Action::Check { ticket, of } => {
                match of {
                    CheckOf::Frame { stop, version } => {
                        let flags = self.looks.get(&(stop, version)).map(|kind| flag(*kind));
                        let flags = flags.into_iter().collect();
                        self.checker.push_back(Event::FrameChecked { stop, version, flags });
                    }
                    CheckOf::Row { row } => {
                        self.row_checks.push(row);
                        let newest: BTreeMap<u32, u32> = self.kept.iter().copied().collect();
                        for (stop, version) in newest {
                            if self.rows[&stop] == row {
                                let key = (stop, version);
                                let found = [self.looks.get(&key), self.with_row.get(&key)];
                                let flags = found.into_iter().flatten().map(|kind| flag(*kind)).collect();
                                self.checker.push_back(Event::FrameChecked { stop, version, flags });
                            }
                        }
                    }
                }
                self.checker.push_back(Event::CheckEnded { ticket });
            }
            _ => {}
        }
    }

    /// Lets devices and checker speak until nothing is left to be said.
    fn settle(&mut self) {
        for _ in 0..20_000 {
            let Some(event) = self.queue.pop_front().or_else(|| self.checker.pop_front()) else { return };
            self.tell(event);
        }
        panic!("the session never ends");
    }

    fn person(&mut self, intent: Intent) {
        self.tell(Event::Person(intent));
        self.settle();
    }

    fn order(&self) -> Vec<u32> {
        self.kept.iter().map(|(stop, _)| *stop).collect()
    }
}

fn six() -> Plan {
    Plan::single_row("LH-1", 6)
}

#[test]
fn a_flagged_stop_is_shot_again_once_after_the_others_of_its_row() {
    let mut world = World::new(&six(), policy(&[(FlagKind::MotionBlur, Response::Retake)]));
    world.looks = Flaws::from([((2, 1), FlagKind::MotionBlur), ((2, 2), FlagKind::MotionBlur)]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 2]);
    // The newest version is the one in use, as after any retake.
    assert_eq!((world.engine.stops()[1].chosen, world.engine.stops()[1].versions), (2, 2));
}

#[test]
fn what_only_the_whole_row_shows_is_shot_again_before_the_set_is_called_done() {
    let mut world = World::new(&six(), policy(&[(FlagKind::WrongAngle, Response::Retake)]));
    world.with_row = Flaws::from([((4, 1), FlagKind::WrongAngle), ((5, 1), FlagKind::WrongAngle)]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 4, 5]);
    assert_eq!(world.row_checks, [0, 0], "judged anew with the new frames");
}

#[test]
fn the_table_never_waits_for_the_checker_but_the_sets_end_does() {
    let mut world = World::new(&six(), policy(&[(FlagKind::MotionBlur, Response::Retake)]));
    world.looks = Flaws::from([((6, 1), FlagKind::MotionBlur)]);
    world.tell(Event::Person(Intent::Start));
    while let Some(event) = world.queue.pop_front() {
        world.tell(event);
    }
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6], "shot without a word of the checker");
    assert_eq!(*world.engine.mode(), Mode::Running);
    assert!(world.engine.waits_for_checks());
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 6]);
}

#[test]
fn a_checker_that_says_nothing_is_not_waited_for_for_ever() {
    let mut world = World::new(&six(), FlagPolicy::default());
    world.looks = Flaws::from([((3, 1), FlagKind::MotionBlur)]);
    world.tell(Event::Person(Intent::Start));
    while let Some(event) = world.queue.pop_front() {
        world.tell(event);
    }
    // Once for the frames and once for the row.
    for ended in [false, true] {
        let timer = *world.waits.last().unwrap();
        world.tell(Event::TimerFired { timer });
        assert_eq!(*world.engine.mode() == Mode::Finished, ended);
    }
    // Found after all: on record, but a table that was said to be done does not begin to turn.
    let turns = world.turns;
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!((world.turns, world.kept.len()), (turns, 6));
}

#[test]
fn a_wait_that_goes_on_is_renewed_by_each_outcome() {
    let mut world = World::new(&six(), FlagPolicy::default());
    world.tell(Event::Person(Intent::Start));
    while let Some(event) = world.queue.pop_front() {
        world.tell(event);
    }
    let first = *world.waits.last().unwrap();
    let event = world.checker.pop_front().unwrap();
    world.tell(event);
    world.tell(Event::TimerFired { timer: first });
    assert_eq!(*world.engine.mode(), Mode::Running, "the wait began anew");
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
}

#[test]
fn a_row_that_takes_too_long_leaves_the_other_rows_to_be_judged() {
    let mut plan = Plan::single_row("LH-1", 3);
    plan.rows.push(Row::full_turn("high", 2));
    plan.rows.push(Row::full_turn("low", 2));
    let mut world = World::new(&plan, policy(&[(FlagKind::WrongAngle, Response::Retake)]));
    world.with_row = Flaws::from([((1, 1), FlagKind::WrongAngle), ((6, 1), FlagKind::WrongAngle)]);
    world.tell(Event::Person(Intent::Start));
    while world.row_checks.is_empty() {
        let event = world.queue.pop_front().or_else(|| world.checker.pop_front()).unwrap();
        world.tell(event);
    }
    // The first row's outcome does not come.
    let late = std::mem::take(&mut world.checker);
    let timer = *world.waits.last().unwrap();
    world.tell(Event::TimerFired { timer });
    assert_eq!(*world.engine.mode(), Mode::Running);
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.row_checks, [0, 1, 2, 2], "each row once, and the one with a new frame anew");
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 7, 6]);
    // Of the first row it is on record, but a table that was said to be done does not begin to turn.
    world.checker = late;
    world.settle();
    assert_eq!((world.engine.mode(), world.kept.len()), (&Mode::Finished, 8));
}

#[test]
fn a_pause_comes_although_another_flag_of_the_frame_asks_for_a_retake() {
    let mut world = World::new(&six(), FlagPolicy::default());
    world.tell(Event::Person(Intent::Start));
    while world.kept.len() < 3 {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    world.checker.clear();
    // Usually a wrong angle is shot again, an object that slipped waits for a hand.
    let flags = vec![flag(FlagKind::WrongAngle), flag(FlagKind::ObjectSlipped)];
    world.tell(Event::FrameChecked { stop: 2, version: 1, flags });
    world.settle();
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::Flagged { stop: 2 }));
    world.person(Intent::Resume);
    assert_eq!(world.order().iter().filter(|stop| **stop == 2).count(), 2, "and it is shot again");
}

#[test]
fn a_stop_left_out_is_neither_shot_again_nor_paused_for() {
    for response in [Response::Retake, Response::Pause] {
        let mut world = World::new(&six(), policy(&[(FlagKind::MotionBlur, response)]));
        world.looks = Flaws::from([((1, 1), FlagKind::MotionBlur)]);
        world.tell(Event::Person(Intent::Start));
        while world.kept.len() < 3 {
            let event = world.queue.pop_front().unwrap();
            world.tell(event);
        }
        world.person(Intent::Skip { stop: 1 });
        assert_eq!(*world.engine.mode(), Mode::Finished);
        assert_eq!(world.order(), [1, 2, 3, 4, 5, 6]);
    }
}

#[test]
fn a_pause_keeps_every_frame_and_names_the_stop() {
    let mut world = World::new(&six(), policy(&[(FlagKind::OutOfFocus, Response::Pause)]));
    world.looks = Flaws::from([((3, 1), FlagKind::OutOfFocus)]);
    world.tell(Event::Person(Intent::Start));
    // The checker is prompt: it speaks before the devices.
    while let Some(event) = world.checker.pop_front().or_else(|| world.queue.pop_front()) {
        world.tell(event);
    }
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::Flagged { stop: 3 }));
    assert!(world.kept.len() < 6 && world.kept.contains(&(3, 1)));
    assert!(world.engine.stops()[2].state == StopState::Kept);
    // The lens is put right, the stop shot again, then the rest.
    world.tell(Event::Person(Intent::Retake { stops: vec![3] }));
    world.person(Intent::Resume);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 7);
    assert!(world.kept.contains(&(3, 2)));
}

#[test]
fn a_fault_mended_does_not_make_a_flags_pause_forgotten() {
    let at_iso = |iso: &str| {
        let mut settings = FrameSettings::default();
        settings.from_file.insert(Setting::Iso, iso.to_owned());
        settings
    };
    let paused = Mode::Paused(PauseReason::Flagged { stop: 2 });
    for answer in [Intent::TryAgain, Intent::Skip { stop: 4 }, Intent::GoOnWithSettings] {
        for flag_comes_first in [true, false] {
            let choices = policy(&[(FlagKind::ObjectSlipped, Response::Pause)]);
            let mut world =
                World::with_config(&six(), choices, |config| EngineConfig { retries: 0, ..config });
            let reference = Some(at_iso("100"));
            world.engine.lock_settings(SettingsSeed { reference, drifted: Vec::new() });
            world.tell(Event::Person(Intent::Start));
            // Stop 4 is exposed while the frame of stop 3 is still being written.
            while world.engine.activity(4) != Activity::Exposing {
                match world.queue.pop_front().unwrap() {
                    Event::FrameKept { shot: 3, .. } => {}
                    Event::FrameKept { shot, version, .. } => {
                        world.tell(Event::FrameKept { shot, version, settings: at_iso("100") });
                    }
                    event => world.tell(event),
                }
            }
            let flags = vec![flag(FlagKind::ObjectSlipped)];
            let flagged = Event::FrameChecked { stop: 2, version: 1, flags };
            if flag_comes_first {
                world.tell(flagged.clone());
                assert_eq!(*world.engine.mode(), Mode::Pausing);
            }
            if answer == Intent::GoOnWithSettings {
                world.tell(Event::FrameKept { shot: 3, version: 1, settings: at_iso("400") });
            } else {
                world.queue.clear();
                let error = CameraError::Failed("the mirror is stuck".to_owned());
                world.tell(Event::ExposureFailed { shot: 4, error });
            }
            assert!(matches!(world.engine.mode(), Mode::Fault(_)), "{:?}", world.engine.mode());
            if !flag_comes_first {
                world.tell(flagged);
            }
            let turns = world.turns;
            world.person(answer.clone());
            assert_eq!((world.engine.mode(), world.turns), (&paused, turns), "{answer:?}");
            world.person(Intent::Resume);
            assert_ne!(*world.engine.mode(), paused, "asked once");
        }
    }
}

#[test]
fn a_pause_for_the_last_stop_comes_before_the_set_is_called_done() {
    let mut world = World::new(&six(), policy(&[(FlagKind::ObjectSlipped, Response::Pause)]));
    world.with_row = Flaws::from([((5, 1), FlagKind::ObjectSlipped)]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::Flagged { stop: 5 }));
    world.person(Intent::Resume);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.len(), 6);
}

#[test]
fn a_flag_on_a_version_that_was_retaken_by_hand_asks_for_nothing() {
    for response in [Response::Retake, Response::Pause] {
        let mut world = World::new(&six(), policy(&[(FlagKind::Duplicate, response)]));
        world.looks = Flaws::from([((1, 1), FlagKind::Duplicate)]);
        world.tell(Event::Person(Intent::Retake { stops: vec![1] }));
        while let Some(event) = world.queue.pop_front() {
            world.tell(event);
        }
        // Not looked at yet; the photographer shoots it again and that comes in first.
        world.tell(Event::Person(Intent::Retake { stops: vec![1] }));
        while let Some(event) = world.queue.pop_front() {
            world.tell(event);
        }
        world.settle();
        assert_eq!(*world.engine.mode(), Mode::Finished);
        assert_eq!(world.kept, [(1, 1), (1, 2)]);
    }
}

#[test]
fn a_stopped_session_is_not_set_going_by_a_flag() {
    let mut world = World::new(&six(), policy(&[(FlagKind::MotionBlur, Response::Retake)]));
    world.looks = Flaws::from([((1, 1), FlagKind::MotionBlur)]);
    world.tell(Event::Person(Intent::Start));
    while world.kept.len() < 3 {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    world.tell(Event::Person(Intent::StopNow));
    while let Some(event) = world.queue.pop_front() {
        world.tell(event);
    }
    assert_eq!(*world.engine.mode(), Mode::Stopped);
    let turns = world.turns;
    world.settle();
    assert_eq!((*world.engine.mode() == Mode::Stopped, world.turns), (true, turns));
    // Gone on with, it is shot again like any other.
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.kept.iter().filter(|(stop, _)| *stop == 1).count(), 2);
}

#[test]
fn a_row_is_judged_and_mended_while_the_camera_still_stands_for_it() {
    let mut plan = Plan::single_row("LH-1", 3);
    plan.rows.push(Row::full_turn("high", 2));
    let choices = policy(&[(FlagKind::WrongAngle, Response::Retake)]);
    let mut world =
        World::with_config(&plan, choices, |config| EngineConfig { pause_between_rows: true, ..config });
    world.with_row = Flaws::from([((1, 1), FlagKind::WrongAngle)]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Paused(PauseReason::NewRow { row: 1 }));
    assert_eq!(world.order(), [1, 2, 3, 1]);
    world.person(Intent::Resume);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.order(), [1, 2, 3, 1, 4, 5]);
    assert_eq!(world.row_checks, [0, 0, 1]);
}

#[test]
fn what_an_earlier_run_found_is_no_news_but_counts_as_the_one_retake() {
    let seeds = |engine: &Engine| -> Vec<StopSeed> {
        let kept = |stop: &session_core::engine::StopStatus| StopSeed {
            stop: stop.stop.clone(),
            state: StopState::Kept,
            versions: 1,
            chosen: 1,
            step: None,
        };
        engine.stops().iter().map(kept).collect()
    };
    let choices = policy(&[(FlagKind::MotionBlur, Response::Retake)]);
    let mut world = World::new(&six(), choices.clone());
    world.person(Intent::Start);
    let found = vec![(2, 1, BTreeSet::from([FlagKind::MotionBlur]))];
    let seed = ChecksSeed { found, open_rows: [0].into(), ..world.seed.clone() };
    world.engine = Engine::new(world.config.clone(), seeds(&world.engine), None, 6);
    world.engine.check_frames(seed);
    world.looks = Flaws::from([((2, 1), FlagKind::MotionBlur), ((2, 2), FlagKind::MotionBlur)]);
    world.tell(Event::TableReady { position: world.here() });
    world.row_checks.clear();
    world.person(Intent::Start);
    assert_eq!((world.row_checks.len(), world.kept.len()), (1, 6), "judged as a whole, nothing is news");
    world.person(Intent::Retake { stops: vec![2] });
    assert_eq!(world.kept.len(), 7, "the same flag on a retake is told, not shot a third time");
}

/// The step at which the latest frame of a stop was shot.
fn step_of(world: &World, stop: u32) -> i64 {
    let mut shots = world.log.iter().flat_map(|(_, actions)| actions).filter_map(|action| match action {
        Action::Keep { shot } if shot.stop == stop => Some(shot.reported_step),
        _ => None,
    });
    shots.next_back().unwrap()
}

#[test]
fn a_closing_frame_ends_its_row_one_turn_on_from_the_first() {
    for direction in [Direction::Anticlockwise, Direction::Clockwise] {
        let mut plan = Plan { closing_frame: true, direction, ..Plan::single_row("LH-1", 5) };
        plan.rows[0].start = "20".parse().unwrap();
        plan.rows.push(Row { arc: "90".parse().unwrap(), ..Row::full_turn("high", 2) });
        plan.rows.push(Row::full_turn("low", 3));
        let mut world = World::new(&plan, policy(&[]));
        world.person(Intent::Start);
        // Rows of 5, 2 and 3 stops; the second is no whole turn. Numbers follow those of the set.
        assert_eq!(world.order(), [1, 2, 3, 4, 5, 11, 6, 7, 8, 9, 10, 13]);
        for (first, closing) in [(1, 11), (8, 13)] {
            let turned = (step_of(&world, closing) - step_of(&world, first)).abs();
            // 1650688/405 half-steps, rounded at each end.
            assert!((4075..=4077).contains(&turned), "{turned}");
        }
    }
}

#[test]
fn a_first_frame_shot_again_closes_its_row_anew() {
    let plan = Plan { closing_frame: true, ..six() };
    let mut world = World::new(&plan, policy(&[(FlagKind::WrongAngle, Response::Retake)]));
    world.with_row = Flaws::from([((1, 1), FlagKind::WrongAngle)]);
    world.person(Intent::Start);
    assert_eq!(*world.engine.mode(), Mode::Finished);
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 7, 1, 7]);
    assert!((4075..=4077).contains(&(step_of(&world, 7) - step_of(&world, 1))));
    // One found in time is shot again before the row is closed, and so closed once.
    let mut world = World::new(&plan, policy(&[(FlagKind::Duplicate, Response::Retake)]));
    world.looks = Flaws::from([((1, 1), FlagKind::Duplicate)]);
    world.tell(Event::Person(Intent::Start));
    while let Some(event) = world.checker.pop_front().or_else(|| world.queue.pop_front()) {
        world.tell(event);
    }
    assert_eq!(world.order(), [1, 2, 3, 4, 5, 6, 1, 7]);
    assert!((4075..=4077).contains(&(step_of(&world, 7) - step_of(&world, 1))));
}

#[test]
fn a_zero_taken_anew_parts_the_closing_frame_from_what_was_shot_before() {
    let plan = Plan { closing_frame: true, ..six() };
    let mut world = World::new(&plan, policy(&[]));
    world.person(Intent::Start);
    assert!(world.engine.stops().iter().all(|status| status.step.is_some()));
    // A hand has placed the product; the table counts from here now, under the same name.
    let shot = world.kept.len() as u64;
    world.person(Intent::ZeroIsHere);
    assert_eq!(world.zeros.last(), Some(&("zero-1".to_owned(), shot)));
    assert!(world.engine.stops().iter().all(|status| status.step.is_none()));
    // No goal of the old count: the plate makes no turns towards one.
    world.person(Intent::Retake { stops: vec![7] });
    assert!(step_of(&world, 7).abs() < 4075, "{}", step_of(&world, 7));
    // The first frame shot anew closes its row in the new count.
    world.person(Intent::Retake { stops: vec![1] });
    assert_eq!(world.order()[7..], [7, 1, 7]);
    assert!((4075..=4077).contains(&(step_of(&world, 7) - step_of(&world, 1))));
}

#[test]
fn a_frame_on_its_way_while_a_zero_is_taken_counts_from_the_zero_before() {
    let mut world = World::new(&Plan { closing_frame: true, ..six() }, policy(&[]));
    world.tell(Event::Person(Intent::Retake { stops: vec![1] }));
    while !matches!(world.queue.front(), Some(Event::FrameKept { .. })) {
        let event = world.queue.pop_front().unwrap();
        world.tell(event);
    }
    let late = world.queue.pop_front().unwrap();
    world.person(Intent::ZeroIsHere);
    assert_eq!(world.zeros.last().map(|(_, before)| *before), Some(1));
    world.tell(late);
    assert_eq!((world.engine.stops()[0].state, world.engine.stops()[0].step), (StopState::Kept, None));
    world.person(Intent::Retake { stops: vec![2] });
    assert!(world.engine.stops()[1].step.is_some());
}

fn any_kind() -> impl Strategy<Value = FlagKind> {
    prop::sample::select(FlagKind::ALL.to_vec())
}

fn any_flaws() -> impl Strategy<Value = Flaws> {
    prop::collection::btree_map((1_u32..=9, 1_u32..=4), any_kind(), 0..14)
}

fn any_policy() -> impl Strategy<Value = FlagPolicy> {
    let response = prop::sample::select(Response::ALL.to_vec());
    prop::collection::vec((any_kind(), response), 0..11).prop_map(|choices| policy(&choices))
}

fn any_intent() -> impl Strategy<Value = Intent> {
    prop_oneof![
        2 => Just(Intent::Start),
        2 => Just(Intent::Resume),
        1 => Just(Intent::PauseAfterFrame),
        1 => Just(Intent::StopNow),
        2 => (1_u32..=7).prop_map(|stop| Intent::Retake { stops: vec![stop] }),
        1 => (1_u32..=7).prop_map(|stop| Intent::SetAside { stop }),
        1 => (1_u32..=7).prop_map(|stop| Intent::KeepVersion { stop, version: 1 }),
        1 => (1_u32..=7).prop_map(|stop| Intent::Skip { stop }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 800, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is found, whenever it is told and whatever is pressed: the set can be finished, no frame is
    /// lost, and by itself no stop is shot again more than once for each kind that asks for it.
    #[test]
    fn findings_never_lose_a_frame_and_never_shoot_without_end(
        looks in any_flaws(),
        with_row in any_flaws(),
        choices in any_policy(),
        two_rows: bool,
        pauses: bool,
        closes: bool,
        wishes in prop::collection::vec((0_usize..25, 0_usize..6, any_intent()), 0..12),
    ) {
        let mut plan = Plan::single_row("LH-1", if two_rows { 4 } else { 7 });
        if two_rows {
            plan.rows.push(Row::full_turn("high", 3));
        }
        plan.closing_frame = closes;
        let mut world = World::with_config(&plan, choices.clone(), |config| {
            EngineConfig { pause_between_rows: pauses, ..config }
        });
        world.looks = looks;
        world.with_row = with_row;
        let mut by_hand: BTreeMap<u32, usize> = BTreeMap::new();
        let mut set_aside: BTreeMap<u32, usize> = BTreeMap::new();
        world.tell(Event::Person(Intent::Start));
        for (device_events, checker_events, wish) in wishes {
            for _ in 0..device_events {
                if let Some(event) = world.queue.pop_front() {
                    world.tell(event);
                }
            }
            for _ in 0..checker_events {
                if let Some(event) = world.checker.pop_front() {
                    world.tell(event);
                }
            }
            if let Intent::Retake { stops } = &wish {
                *by_hand.entry(stops[0]).or_default() += 1;
            }
            if let Intent::SetAside { stop } = &wish {
                *set_aside.entry(*stop).or_default() += 1;
            }
            world.tell(Event::Person(wish));
        }
        world.settle();
        for _ in 0..60 {
            match world.engine.mode().clone() {
                Mode::Finished => break,
                Mode::Paused(_) => world.person(Intent::Resume),
                _ => world.person(Intent::Start),
            }
        }
        prop_assert_eq!(world.engine.mode(), &Mode::Finished);
        for status in world.engine.stops() {
            let stop = status.stop.index;
            let shot = world.kept.iter().filter(|(kept, _)| *kept == stop).count();
            // Every frame that was kept is known to the engine: none is lost.
            prop_assert_eq!(status.versions as usize, shot);
            // Each new first frame asks for a new closing frame.
            if status.stop.closing {
                continue;
            }
            let flaws = world.looks.iter().chain(&world.with_row).filter(|((flawed, _), _)| *flawed == stop);
            let asking: BTreeSet<FlagKind> =
                flaws.map(|(_, kind)| *kind).filter(|kind| choices.response(*kind) == Response::Retake).collect();
            let asked = by_hand.get(&stop).unwrap_or(&0) + set_aside.get(&stop).unwrap_or(&0);
            prop_assert!(shot <= 1 + asked + asking.len(), "stop {} shot {} times", stop, shot);
        }
        // Replay: the same events give the same actions.
        let mut again = Engine::new(world.config.clone(), world.seeds.clone(), None, 0);
        again.check_frames(world.seed.clone());
        for (event, actions) in &world.log {
            let text = serde_json::to_string(event).unwrap();
            let event: Event = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&again.handle(Duration::ZERO, event), actions);
        }
    }
}
