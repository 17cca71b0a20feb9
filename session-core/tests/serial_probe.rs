//! The probe against controllers on a scripted line: what it says, and that it moves and changes nothing.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "serial_support/model.rs"]
mod model;
#[path = "serial_support/queued.rs"]
#[allow(dead_code, reason = "each test program uses its own part")]
mod queued;

use std::sync::{Arc, Mutex};

use model::babble::Babble;
use model::{Bench, ID, PORT, secs};
use queued::{Controller, QueuedPort};
use session_core::turntable::TableError;
use session_core::turntable::serial::{Probed, probe_on};

#[test]
fn our_own_controller_tells_what_it_is_and_stays_as_it_was() {
    for prepare in [
        (|_| {}) as fn(&mut model::board::Board),
        |board| board.known = true,
        // Another program's turn is left running.
        |board| board.start_turn(500),
        |board| board.coils = true,
        |board| board.partial = b"G90 G0 A90".to_vec(),
    ] {
        let bench = Bench::new(prepare);
        let before = {
            let board = model::ports::lock(&bench.board);
            (board.known, board.zero, board.coils, board.is_turning())
        };
        let found = probe_on(&bench.ports, PORT, 115_200).unwrap();
        let Probed::Table(table) = found else { panic!("{found:?}") };
        assert_eq!(
            (table.program.as_str(), table.protocol.as_str(), table.id.as_str()),
            ("Roundstop-table 1.0.0", "1", ID)
        );
        assert_eq!(table.settings["steps_num"], "1650688");
        assert_eq!(table.settings["later_key"], "5", "keys of a later version are shown as they are");
        let board = model::ports::lock(&bench.board);
        assert_eq!((board.known, board.zero, board.coils), (before.0, before.1, before.2));
        assert!(board.cans.is_empty(), "no stop");
        assert!(!before.3 || board.is_turning() || board.step == 500);
        assert!(board.received.iter().all(|line| line.contains("M17")), "{:?}", board.received);
    }
}

#[test]
fn a_board_that_refuses_says_why() {
    let bench = Bench::new(|board| board.fault = Some("settings: accel is missing".to_owned()));
    let Probed::Table(table) = probe_on(&bench.ports, PORT, 115_200).unwrap() else { panic!("a table") };
    assert_eq!(table.refusal.as_deref(), Some("settings: accel is missing"));
}

#[test]
fn another_controller_is_told_by_its_answers_and_left_alone() {
    type Prepare = fn(&mut Controller);
    let cases: [Prepare; 2] = [|_| {}, |controller| controller.alarm = true];
    for prepare in cases {
        let mut controller = Controller::new();
        prepare(&mut controller);
        let (place, alarm) = (controller.place(), controller.alarm);
        let shared = Arc::new(Mutex::new(controller));
        let found = probe_on(&QueuedPort(Arc::clone(&shared)), PORT, 115_200).unwrap();
        let Probed::Other(other) = found else { panic!("{found:?}") };
        assert_eq!(other.dialect, Some("status-poll"), "{other:?}");
        let controller = queued::lock(&shared);
        assert!((controller.place() - place).abs() < 1e-9 && !controller.is_moving());
        assert_eq!(controller.alarm, alarm);
        assert!(controller.contact.is_empty());
        assert!(controller.received.iter().all(|line| !line.contains('G')), "{:?}", controller.received);
        assert!(controller.now < secs(30.0), "it takes a bounded time: {:?}", controller.now);
    }
}

#[test]
fn nothing_and_noise_are_told_apart() {
    let babble = |bytes: &[u8]| probe_on(&Babble { bytes: bytes.to_vec(), piece: 7 }, PORT, 115_200).unwrap();
    assert_eq!(babble(b""), Probed::Nothing);
    let Probed::Other(other) = babble(b"$HELLO,1\r\n") else { panic!("something speaks") };
    assert_eq!(other.dialect, None);
    assert!(other.banner.len() + other.answers.len() <= 24);
    let Probed::Other(prompt) = babble(b">>> M175*120\r\nTraceback (most recent call last):\r\n") else {
        panic!()
    };
    assert!(prompt.banner.iter().chain(&prompt.answers).any(|line| line.contains(">>>")), "{prompt:?}");
}

/// Every byte of the probe's talk is the last one once.
#[test]
fn a_cut_after_any_byte_is_lost_and_no_hang() {
    for cut in 1..300 {
        let bench = Bench::new(|board| board.faults.cut_after = Some(cut));
        match probe_on(&bench.ports, PORT, 115_200) {
            Err(TableError::Lost(_)) => {}
            Ok(Probed::Table(_)) => assert!(cut > 250 || !model::ports::lock(&bench.board).plugged),
            other => panic!("cut after {cut}: {other:?}"),
        }
    }
}
