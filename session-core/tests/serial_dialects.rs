//! Controllers of other dialects on a scripted line: a turn is never told as ended before it has, and what
//! goes wrong is a clear error.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "serial_support/queued.rs"]
mod queued;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use proptest::prelude::*;
use queued::{BANNER, Controller, Mishap, QueuedPort, Shared, lock};
use session_core::angle::StepsPerTurn;
use session_core::cancel::CancelToken;
use session_core::turntable::serial::{Dialect, DialectTable, PRESETS, ShutterWords, StopBytes};
use session_core::turntable::{TableError, TablePosition, Turntable};

const PORT: &str = "/dev/ttyUSB0";

fn secs(secs: f64) -> Duration {
    Duration::from_secs_f64(secs)
}

/// A preset for 3200 steps in a turn at the model's 20° a second.
fn dialect(name: &str) -> Dialect {
    let mut dialect = Dialect::preset(name).unwrap();
    dialect.steps_per_turn = Some(StepsPerTurn::new(3200, 1).unwrap());
    dialect.speeds.cruise_deg_per_sec = 20.0;
    dialect
}

fn controller(name: &str, prepare: impl FnOnce(&mut Controller)) -> Shared {
    let mut controller = Controller::new();
    controller.acknowledges = name == "ok-when-moved";
    prepare(&mut controller);
    Arc::new(Mutex::new(controller))
}

fn open(controller: &Shared, dialect: Dialect) -> Result<DialectTable, TableError> {
    DialectTable::open_on(Box::new(QueuedPort(Arc::clone(controller))), PORT, 115_200, dialect)
}

fn ready(name: &str, prepare: impl FnOnce(&mut Controller)) -> (Shared, DialectTable) {
    let controller = controller(name, prepare);
    let mut table = open(&controller, dialect(name)).unwrap();
    table.set_zero().unwrap();
    (controller, table)
}

fn turn(table: &mut DialectTable, step: i64) -> Result<TablePosition, TableError> {
    table.turn_to(step, &CancelToken::default(), &mut |_| {})
}

/// Lets something happen so many seconds from now.
fn soon(controller: &Shared, after: f64, mishap: Mishap) {
    let mut controller = lock(controller);
    let at = controller.now + secs(after);
    controller.mishaps.push((at, mishap));
}

fn names() -> impl Iterator<Item = &'static str> {
    PRESETS.into_iter().map(|(name, _)| name)
}

#[test]
fn every_dialect_turns_and_waits_for_the_true_end() {
    for name in names() {
        let controller = controller(name, |_| {});
        let mut table = open(&controller, dialect(name)).unwrap();
        assert_eq!(
            table.position(),
            Ok(TablePosition { step: 0, zero: None }),
            "{name}: zero is never assumed"
        );
        let zero = table.set_zero().unwrap().zero;
        assert!(zero.is_some(), "{name}");
        // 24 stops of a turn of 3200 steps, and one back.
        for step in (0..=24).map(|stop| (stop * 3200 + 12) / 24).chain([-100]) {
            assert_eq!(turn(&mut table, step), Ok(TablePosition { step, zero: zero.clone() }), "{name}");
            let controller = lock(&controller);
            assert!(!controller.is_moving(), "{name}: told before the end");
            assert!(
                (controller.place() - step as f64 * 0.1125).abs() < 0.001,
                "{name}: {}",
                controller.place()
            );
        }
        table.release().unwrap();
    }
}

#[test]
fn a_status_is_asked_for_five_times_a_second_at_most() {
    let (controller, mut table) = ready("status-poll", |_| {});
    lock(&controller).polls.clear();
    let mut passed = Vec::new();
    table.turn_to(800, &CancelToken::default(), &mut |step| passed.push(step)).unwrap();
    assert!(passed.len() > 15 && passed.is_sorted(), "{passed:?}");
    let polls = lock(&controller).polls.clone();
    // The question before the turn stands apart.
    assert!(polls[2..].windows(2).all(|pair| pair[1].saturating_sub(pair[0]) >= secs(0.2)), "{polls:?}");
}

#[test]
fn a_move_that_begins_late_is_still_waited_for() {
    for name in names() {
        let (controller, mut table) = ready(name, |_| {});
        lock(&controller).late_start = secs(1.0);
        assert_eq!(turn(&mut table, 400).unwrap().step, 400, "{name}");
        assert!(!lock(&controller).is_moving(), "{name}");
        assert!((lock(&controller).place() - 45.0).abs() < 0.001, "{name}");
    }
}

#[test]
fn letters_and_units_are_settings() {
    let controller = controller("finish-word", |controller| {
        controller.axis = 'X';
        controller.reports_work = true;
    });
    let mut other = dialect("finish-word");
    other.axis = 'X';
    other.degrees_per_unit = 9.0;
    other.status = None;
    let mut table = open(&controller, other).unwrap();
    turn(&mut table, 400).unwrap();
    // 400 of 3200 steps are 45°, 5 units of 9°.
    assert!((lock(&controller).place() - 5.0).abs() < 0.001);
}

#[test]
fn work_and_machine_positions_are_both_understood() {
    for reports_work in [false, true] {
        let (controller, mut table) =
            ready("status-poll", |controller| controller.reports_work = reports_work);
        assert_eq!(turn(&mut table, -250).unwrap().step, -250);
        assert!((lock(&controller).place() + 28.125).abs() < 0.001);
    }
}

#[test]
fn a_refused_turn_says_so_and_the_next_one_is_made() {
    for name in names() {
        let (controller, mut table) = ready(name, |_| {});
        lock(&controller).refuses = Some("G0");
        let error = turn(&mut table, 100).unwrap_err();
        assert!(
            matches!(&error, TableError::Refused { word, reason } if word == "G90 G0 A11.2500" && reason == "error:20"),
            "{name}: {error:?}"
        );
        lock(&controller).refuses = None;
        assert_eq!(turn(&mut table, 100).unwrap().step, 100, "{name}");
    }
}

#[test]
fn an_end_that_cannot_be_learned_is_no_end() {
    for (name, word) in [("dwell", "G4"), ("finish-word", "M400")] {
        let (controller, mut table) = ready(name, |_| {});
        lock(&controller).refuses = Some(word);
        let error = turn(&mut table, 400).unwrap_err();
        assert!(matches!(&error, TableError::PositionLost(text) if text.contains("move_end")), "{error:?}");
    }
}

#[test]
fn a_reset_costs_the_zero_and_nothing_turns_until_that_is_known() {
    for name in names() {
        let mut settings = dialect(name);
        settings.banner = String::from("for help").try_into().unwrap();
        for in_turn in [true, false] {
            let controller = controller(name, |_| {});
            let mut table = open(&controller, settings.clone()).unwrap();
            let zero = table.set_zero().unwrap().zero;
            turn(&mut table, 100).unwrap();
            if in_turn {
                soon(&controller, 1.0, Mishap::Reset { banner: true });
            } else {
                soon(&controller, 0.0, Mishap::Reset { banner: true });
            }
            let moves = |controller: &Shared| {
                lock(controller).received.iter().filter(|line| line.contains("G0")).count()
            };
            assert_eq!(
                turn(&mut table, 800),
                Err(TableError::Restarted(BANNER.to_owned())),
                "{name} {in_turn}"
            );
            let before = moves(&controller);
            assert!(matches!(turn(&mut table, 800), Err(TableError::Restarted(_))), "{name}");
            assert!(table.fire_shutter(secs(0.1)).is_err(), "{name}");
            assert_eq!(moves(&controller), before, "{name}: nothing moves on an unknown position");
            assert_eq!(table.position(), Ok(TablePosition { step: 0, zero: None }), "{name}");
            let again = table.set_zero().unwrap().zero;
            assert_ne!(again, zero, "{name}");
            assert_eq!(turn(&mut table, 50), Ok(TablePosition { step: 50, zero: again }), "{name}");
        }
    }
}

#[test]
fn a_reset_without_a_banner_is_found_where_the_position_can_be_asked() {
    for name in ["finish-word", "status-poll"] {
        for in_turn in [true, false] {
            let (controller, mut table) = ready(name, |_| {});
            turn(&mut table, 100).unwrap();
            soon(&controller, if in_turn { 1.0 } else { 0.0 }, Mishap::Reset { banner: false });
            let error = turn(&mut table, 800).unwrap_err();
            assert!(
                matches!(error, TableError::PositionLost(_) | TableError::TimedOut { .. }),
                "{name} {in_turn}: {error:?}"
            );
            assert!(turn(&mut table, 800).is_err(), "{name}");
            assert_eq!(table.reconnect().unwrap().zero, None, "{name}");
        }
    }
}

#[test]
fn a_turn_that_ends_elsewhere_is_an_error_that_says_where() {
    let (controller, mut table) = ready("status-poll", |_| {});
    soon(&controller, 1.0, Mishap::BreakOff);
    let error = turn(&mut table, 800).unwrap_err();
    // About a second at 20° a second, of 90°.
    assert!(
        matches!(&error, TableError::PositionLost(text) if text.contains("instead of step 800")),
        "{error:?}"
    );
    assert!(turn(&mut table, 800).is_err(), "not before the position has been asked for");
    assert_eq!(table.position().unwrap().zero, None);
}

#[test]
fn an_alarm_is_told_and_kept_until_it_is_cleared() {
    let (controller, mut table) = ready("status-poll", |_| {});
    soon(&controller, 1.0, Mishap::Alarm);
    let error = turn(&mut table, 800).unwrap_err();
    assert!(matches!(&error, TableError::PositionLost(text) if text.contains("ALARM:1")), "{error:?}");
    let error = table.set_zero().unwrap_err();
    assert!(matches!(&error, TableError::NotATable(text) if text.contains("is in alarm")), "{error:?}");
    assert!(matches!(table.reconnect(), Err(TableError::NotATable(_))));
    // Cleared at the controller.
    lock(&controller).alarm = false;
    assert_eq!(table.reconnect(), Ok(TablePosition { step: 0, zero: None }));
    table.set_zero().unwrap();
    assert_eq!(turn(&mut table, 10).unwrap().step, 10);
}

#[test]
fn an_alarm_is_cleared_on_opening_only_where_the_dialect_says_how() {
    let locked = || controller("status-poll", |controller| controller.alarm = true);
    assert!(matches!(open(&locked(), dialect("status-poll")), Err(TableError::NotATable(_))));
    let mut clearing = dialect("status-poll");
    clearing.clear_alarm = Some("$X".to_owned());
    let controller = locked();
    let mut table = open(&controller, clearing).unwrap();
    assert_eq!(turn(&mut table, 10).unwrap().step, 10);
}

#[test]
fn a_cancel_stops_the_turn_and_the_zero_holds_only_where_no_step_is_lost() {
    for (send, keeps_position) in [("\u{85}", true), ("\u{85}", false), ("\u{18}", false), ("\u{18}", true)] {
        let controller = controller("status-poll", |_| {});
        let mut settings = dialect("status-poll");
        settings.stop = Some(StopBytes { send: send.to_owned(), keeps_position });
        let mut table = open(&controller, settings).unwrap();
        let zero = table.set_zero().unwrap().zero;
        let cancel = CancelToken::default();
        soon(&controller, 2.0, Mishap::Cancel(cancel.clone()));
        let stopped = table.turn_to(3200, &cancel, &mut |_| {});
        let Err(TableError::Stopped { step }) = stopped else { panic!("{send:?}: {stopped:?}") };
        assert!(!lock(&controller).is_moving());
        if send == "\u{85}" {
            // About two seconds at 20° a second.
            assert!((300..400).contains(&step), "{step}");
            assert!((lock(&controller).place() - step as f64 * 0.1125).abs() < 0.06, "where it truly stands");
        }
        if send == "\u{85}" && keeps_position {
            let position = table.position().unwrap();
            assert_eq!(position, TablePosition { step, zero });
            assert_eq!(turn(&mut table, 3200).unwrap().step, 3200);
        } else {
            assert!(matches!(turn(&mut table, 10), Err(TableError::PositionLost(_))), "{send:?}");
            // A reset in mid-turn locks this controller until a person clears it.
            lock(&controller).alarm = false;
            assert_eq!(table.position().unwrap().zero, None);
            table.set_zero().unwrap();
            assert_eq!(turn(&mut table, 10).unwrap().step, 10);
        }
    }
}

#[test]
fn without_a_way_to_stop_a_cancelled_turn_runs_to_its_end() {
    for name in ["ok-when-moved", "dwell", "finish-word"] {
        let (controller, mut table) = ready(name, |_| {});
        let cancel = CancelToken::default();
        soon(&controller, 1.0, Mishap::Cancel(cancel.clone()));
        assert_eq!(
            table.turn_to(400, &cancel, &mut |_| {}),
            Err(TableError::Stopped { step: 400 }),
            "{name}"
        );
        assert!(!lock(&controller).is_moving(), "{name}");
        let position = table.position().unwrap();
        assert_eq!((position.step, position.zero.is_some()), (400, true), "{name}");
    }
}

#[test]
fn a_plug_that_was_out_between_two_words_costs_the_zero() {
    for name in names() {
        let (controller, mut table) = ready(name, |_| {});
        assert_eq!(turn(&mut table, 40).unwrap().step, 40, "{name}");
        lock(&controller).replug();
        assert_eq!(table.reconnect().unwrap().zero, None, "{name}");
        assert!(table.set_zero().unwrap().zero.is_some(), "{name}");
    }
}

#[test]
fn a_table_slower_than_told_times_out_and_is_opened_anew() {
    let (controller, mut table) = ready("dwell", |controller| controller.rate = 0.5);
    let error = turn(&mut table, 800).unwrap_err();
    assert!(matches!(error, TableError::TimedOut { .. }), "{error:?}");
    assert!(matches!(turn(&mut table, 0), Err(TableError::Lost(_))));
    // It still turns: it is not taken over in mid-turn.
    assert!(table.reconnect().is_err());
    lock(&controller).now += secs(400.0);
    assert_eq!(table.reconnect(), Ok(TablePosition { step: 0, zero: None }));
}

#[test]
fn the_shutter_stays_closed_for_as_long_as_asked() {
    let on_off = ShutterWords::OnOff { on: "M64".to_owned(), off: "M65".to_owned() };
    for words in [ShutterWords::Timed("M240 P{secs}".to_owned()), on_off] {
        let controller = controller("dwell", |_| {});
        let mut settings = dialect("dwell");
        settings.shutter = Some(words);
        let mut table = open(&controller, settings).unwrap();
        assert!(table.facts().has_shutter);
        table.fire_shutter(secs(0.35)).unwrap();
        let controller = lock(&controller);
        let [(closed, true), (opened, false)] = controller.contact[..] else {
            panic!("{:?}", controller.contact)
        };
        let press = opened.saturating_sub(closed);
        assert!(press >= secs(0.35) && press < secs(0.4), "{press:?}");
        assert!(opened <= controller.now, "told after the contact has opened");
    }
    let (_, mut table) = ready("dwell", |_| {});
    assert!(matches!(table.fire_shutter(secs(0.1)), Err(TableError::Refused { .. })));
}

#[test]
fn what_is_not_of_the_dialect_is_told_apart() {
    let says = |name: &str, prepare: fn(&mut Controller)| {
        open(&controller(name, prepare), dialect(name)).unwrap_err().to_string()
    };
    assert!(says("dwell", |controller| controller.refuses = Some("G21")).contains("refused an opening line"));
    assert!(says("status-poll", |controller| controller.axis = 'B').contains("zero_words"));
    let steps = DialectTable::open(PORT, 115_200, Dialect::preset("dwell").unwrap()).unwrap_err().to_string();
    assert!(steps.contains("steps_per_turn is missing"), "{steps}");
}

proptest! {
    /// Whatever the dialect, the gear and the way, a turn told as ended has ended, and where it was to.
    #[test]
    fn never_told_before_it_has_ended(
        name in prop::sample::select(names().collect::<Vec<_>>()),
        (num, den) in (1000i64..200_000, 1i64..50).prop_filter("8 steps a turn", |(n, d)| *n >= 8 * d),
        work in prop::collection::vec(-9000i64..9000, 1..6),
        late in 0.0f64..1.5,
        rate in 5.0f64..60.0,
    ) {
        let controller = controller(name, |controller| controller.rate = rate);
        let steps = StepsPerTurn::new(num, den).unwrap();
        let mut settings = dialect(name);
        settings.steps_per_turn = Some(steps);
        settings.speeds.cruise_deg_per_sec = rate;
        let mut table = open(&controller, settings).unwrap();
        table.set_zero().unwrap();
        lock(&controller).late_start = secs(late);
        for step in work {
            prop_assert_eq!(turn(&mut table, step).map(|position| position.step), Ok(step));
            let controller = lock(&controller);
            prop_assert!(!controller.is_moving());
            prop_assert!((controller.place() - steps.angle_of(step).degrees()).abs() < 0.0002);
        }
    }

    /// The line goes at any byte: an error, no hang, and never a turn told that did not happen.
    #[test]
    fn a_cut_at_any_byte_ends_in_a_clear_state(
        name in prop::sample::select(names().collect::<Vec<_>>()),
        cut in 1u64..1500,
        work in prop::collection::vec((0u8..5, -900i64..900), 1..8),
    ) {
        let controller = controller(name, |controller| controller.cut_after = Some(cut));
        let Ok(mut table) = open(&controller, dialect(name)).inspect_err(|error| {
            assert!(matches!(error, TableError::Lost(_)), "{error:?}");
        }) else { return Ok(()) };
        for (kind, step) in work {
            let outcome = match kind {
                0 => table.position(),
                1 => table.set_zero(),
                2 => table.reconnect(),
                _ => turn(&mut table, step),
            };
            let plugged = lock(&controller).plugged;
            match outcome {
                Ok(position) if kind > 2 => {
                    prop_assert_eq!(position.step, step);
                    prop_assert!(!lock(&controller).is_moving());
                }
                Ok(_) => {}
                Err(error) => {
                    prop_assert!(matches!(error, TableError::Lost(_) | TableError::CannotOpen { .. }), "{:?}", error);
                    prop_assert!(!plugged, "{:?} with the plug in", error);
                }
            }
        }
        let was_cut = {
            let mut controller = lock(&controller);
            let was_cut = !std::mem::replace(&mut controller.plugged, true);
            controller.cut_after = None;
            // What was begun ends meanwhile.
            controller.now += secs(100.0);
            was_cut
        };
        let back = table.reconnect().unwrap();
        prop_assert!(!was_cut || back.zero.is_none(), "a zero outlived the line");
        prop_assert!(table.set_zero().unwrap().zero.is_some());
        prop_assert_eq!(turn(&mut table, 5).unwrap().step, 5);
    }
}
