//! The engine against a world that obeys, fails, dawdles and loses its mind, driven without a clock.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;

use proptest::prelude::*;
use session_core::angle::{Angle, StepsPerTurn};
use session_core::camera::CameraError;
use session_core::engine::{
    Action, Engine, EngineConfig, Event, FaultKind, Intent, KeepFailure, Mode, PauseReason, Shot, StopSeed,
    StopState, Timer,
};
use session_core::motion::{Direction, SpeedProfile};
use session_core::plan::{Plan, Row, Stop};
use session_core::turntable::{TableError, TablePosition};

const ZERO: &str = "zero-1";

fn stops(plan: &Plan) -> Vec<Stop> {
    plan.stops("2026-03-14").unwrap()
}

fn missing(stops: &[Stop]) -> Vec<StopSeed> {
    stops
        .iter()
        .map(|stop| StopSeed { stop: stop.clone(), state: StopState::Missing, versions: 0, chosen: 0 })
        .collect()
}

fn config(direction: Direction) -> EngineConfig {
    EngineConfig::new(direction, StepsPerTurn::HOBBY_HALF_STEPS, SpeedProfile::default())
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
    step: i64,
    zero: Option<String>,
    queue: VecDeque<Event>,
    luck: VecDeque<Luck>,
    moving: Option<(u64, i64)>,
    exposing: Option<Shot>,
    receiving: BTreeSet<u64>,
    shots: Vec<Shot>,
    kept: Vec<Shot>,
    held: Vec<u64>,
    versions: std::collections::HashMap<u32, u32>,
    log: Vec<(Duration, Event, Vec<Action>)>,
    now: Duration,
    last_final_move: i64,
}

impl World {
    fn new(plan: &Plan, luck: Vec<Luck>, expected_zero: Option<String>) -> Self {
        let stops = stops(plan);
        let config = config(plan.direction);
        let run_up = config.steps_per_turn.steps_covering(config.run_up);
        Self {
            engine: Engine::new(config, missing(&stops), expected_zero, 0),
            stops,
            direction: plan.direction,
            run_up,
            step: 0,
            zero: Some(ZERO.to_owned()),
            queue: VecDeque::new(),
            luck: luck.into(),
            moving: None,
            exposing: None,
            receiving: BTreeSet::new(),
            shots: Vec::new(),
            kept: Vec::new(),
            held: Vec::new(),
            versions: std::collections::HashMap::new(),
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
        let actions = self.engine.handle(self.now, event.clone());
        self.log.push((self.now, event, actions.clone()));
        for action in actions {
            self.carry_out(action);
        }
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
                self.last_final_move = to - self.step;
                self.moving = Some((ticket, to));
                let luck = self.luck();
                self.answer_turn(ticket, to, luck);
            }
            Action::Expose { shot } => {
                assert!(self.moving.is_none(), "an exposure while the table turns");
                assert!(self.exposing.is_none() && self.receiving.is_empty(), "two exposures at once");
                self.check_place(&shot);
                self.exposing = Some(shot.clone());
                self.shots.push(shot.clone());
                let luck = self.luck();
                self.answer_exposure(&shot, luck);
            }
            Action::Keep { shot } => {
                assert!(self.kept.iter().all(|kept| kept.number != shot.number), "kept twice");
                let luck = self.luck();
                let number = shot.number;
                match luck {
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
                        self.kept.push(shot);
                        self.queue.push_back(Event::FrameKept { shot: number, version });
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
            Action::StartTimer { .. }
            | Action::ReleaseTable
            | Action::RecordZero { .. }
            | Action::RecordSetAside { .. }
            | Action::RecordKeepVersion { .. } => {}
        }
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
    assert!(matches!(&actions[1], Action::Expose { shot } if shot.stop == 2));
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
        3 => Just(Intent::TryAgain),
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
        clockwise: bool,
    ) {
        let mut plan = Plan::single_row("LH-1", 9);
        plan.direction = if clockwise { Direction::Clockwise } else { Direction::Anticlockwise };
        let mut world = ready(&plan, luck);
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
        for _ in 0..40 {
            world.moving = None;
            world.exposing = None;
            match world.engine.mode().clone() {
                Mode::Finished => break,
                Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown => world.person(Intent::ZeroIsHere),
                Mode::Fault(_) => world.person(Intent::TryAgain),
                Mode::Paused(_) => world.person(Intent::Resume),
                _ => world.person(Intent::Start),
            }
        }
        prop_assert_eq!(world.engine.mode(), &Mode::Finished);
        for stop in 1..=9 {
            world.person(Intent::Retake { stops: vec![stop] });
        }
        prop_assert!(world.engine.stops().iter().all(|stop| stop.state == StopState::Kept));

        // Replay: the same events at the same times give the same actions.
        let mut again = Engine::new(config(plan.direction), missing(&stops(&plan)), None, 0);
        for (now, event, actions) in &world.log {
            let text = serde_json::to_string(event).unwrap();
            let event: Event = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&again.handle(*now, event), actions);
        }
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
