//! The serial driver against a modelled board under noise, spoilt bytes and late answers: properties.

#[path = "serial_support/model.rs"]
mod model;

use model::babble::Babble;
use model::ports::lock;
use model::{Bench, PORT, in_turn, ready, secs, session, turn};
use proptest::prelude::*;
use session_core::angle::StepsPerTurn;
use session_core::calibration::apply::CalibratedTable;
use session_core::cancel::CancelToken;
use session_core::turntable::serial::{SerialOptions, SerialTable};
use session_core::turntable::{TableError, Turntable};

/// Text and bytes that stand between lines without meaning anything.
fn noise() -> impl Strategy<Value = Vec<u8>> {
    let text = "[ -Z^-~]{0,80}".prop_filter("it must not be an answer", |text| {
        !text.trim().starts_with("error:") && text.trim() != "ok"
    });
    prop_oneof![
        Just(Vec::new()),
        Just(b"\r\n\r\n".to_vec()),
        // What a bootloader of a common board says, in general terms.
        Just(b"rst:0x1 (POWERON_RESET),boot:0x13\r\nentry 0x400805e4\r\n".to_vec()),
        // Lines cut short.
        Just(b"[status state=idle a=1.0 st\n[status]\n[status a=1.000000]\n".to_vec()),
        text.prop_map(|text| format!("{text}\r").into_bytes()),
        prop::collection::vec(0x80u8..=0xff, 1..40),
        prop::collection::vec(0u8..0x18, 1..20)
            .prop_map(|bytes| bytes.into_iter().filter(|byte| *byte != b'\r').collect()),
        (600usize..3000).prop_map(|count| {
            let mut bytes = vec![b'z'; count];
            bytes.push(b'\n');
            bytes
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// Boot text, noise, echoes, any line end and any cutting into pieces change nothing.
    #[test]
    fn noise_between_lines_changes_nothing(
        dresses in prop::collection::vec((noise(), prop_oneof![Just("\n"), Just("\r"), Just("\r\n")]), 1..12),
        piece in 1usize..40,
        echo in any::<bool>(),
    ) {
        let bench = Bench::new(|board| {
            board.faults.dress = Box::new(in_turn(dresses));
            board.faults.piece = piece;
            board.faults.echo = echo;
        });
        let mut table = bench.open().unwrap();
        session(&mut table, |outcome| match outcome {
            Ok(position) => assert!(position.as_ref().is_none_or(|position| *position == bench.truth())),
            Err(error) => panic!("{error:?}"),
        });
        prop_assert_eq!(lock(&bench.board).truth().step, -17);
        prop_assert_eq!(lock(&bench.board).presses, 1);
    }

    /// Spoilt bytes, stray answers and bytes without line ends may cost the work, but never the truth.
    #[test]
    fn spoilt_lines_never_give_a_wrong_position(
        strays in prop::collection::vec(
            prop_oneof![
                4 => Just(Vec::new()),
                1 => Just(b"ok\n".to_vec()),
                1 => Just(b"error: stopped\n".to_vec()),
                1 => Just(b"[stopped a=0.000000 step=0]\n".to_vec()),
                1 => Just(b"[turning a=0.000000 step=0]\n".to_vec()),
                1 => prop::collection::vec(any::<u8>(), 0..30),
            ],
            1..15,
        ),
        spoilt in prop::collection::vec(0usize..4000, 0..12),
        flip in 1u8..=255,
    ) {
        let bench = Bench::new(|board| {
            let mut sent = 0;
            board.faults.dress = Box::new({
                let mut strays = in_turn(strays);
                move || (strays(), "\n")
            });
            board.faults.spoil = Box::new(move |byte| {
                sent += 1;
                if spoilt.contains(&sent) { byte ^ flip } else { byte }
            });
        });
        if let Ok(mut table) = bench.open() {
            session(&mut table, |outcome| {
                if let Ok(Some(position)) = outcome {
                    assert_eq!(position.step, bench.truth().step);
                }
            });
        }
    }

    /// Answers that come late, by any time, are never taken for those of later lines.
    #[test]
    fn late_answers_are_not_mistaken(
        delays in prop::collection::vec(prop_oneof![5 => Just(0.0), 1 => 0.0f64..1.0, 2 => 0.0f64..15.0], 1..40),
        work in prop::collection::vec((0u8..5, -300i64..300), 1..12),
    ) {
        let (bench, mut table) = ready(|_| {});
        lock(&bench.board).faults.delay = Box::new({
            let mut delays = in_turn(delays);
            move || secs(delays())
        });
        for (kind, step) in work {
            let outcome = match kind {
                0 => table.position(),
                1 => table.set_zero(),
                2 => table.reconnect(),
                _ => turn(&mut table, step),
            };
            match outcome {
                Ok(position) => prop_assert_eq!(position, bench.truth()),
                Err(TableError::TimedOut { .. } | TableError::Lost(_) | TableError::NotATable(_)) => {}
                Err(TableError::Refused { reason, .. }) => prop_assert!(reason == "stopped", "{}", reason),
                Err(error) => prop_assert!(false, "{:?}", error),
            }
        }
    }

    /// Answers to a program now dead that come only after the port has been opened again are told apart.
    #[test]
    fn answers_left_from_before_are_not_mistaken(
        left in prop::collection::vec((0usize..4, prop_oneof![Just(0.0), 0.11f64..0.9]), 0..7),
        slow in prop_oneof![Just(0.0), 0.0f64..0.8],
    ) {
        const LINES: [&str; 4] = ["M175*126\n", "M174*127\n", "M173*120\n", "M172*121\n"];
        // The one sequence that the greeting itself asks; no program leaves it unanswered.
        let asked: Vec<usize> = left.iter().map(|(line, _)| *line).collect();
        prop_assume!(!asked.windows(4).any(|window| window == [0, 1, 0, 2]));
        let bench = Bench::new(|board| {
            board.keeps_output = true;
            let mut late = 0.0;
            for (line, gap) in left {
                late += gap;
                board.faults.delay = Box::new(move || secs(late));
                board.receive(LINES[line].as_bytes());
            }
            board.faults.delay = Box::new(move || secs(slow));
        });
        match bench.open() {
            Ok(mut table) => {
                prop_assert_eq!(table.set_zero().unwrap(), bench.truth());
                for step in 1..8 {
                    prop_assert_eq!(turn(&mut table, step).unwrap(), bench.truth());
                }
                prop_assert!(lock(&bench.board).cans.is_empty());
            }
            Err(error) => prop_assert!(matches!(error, TableError::NotATable(_)), "{:?}", error),
        }
    }

    /// Where the measured steps in a turn differ from the board's, each turn still ends on the wanted step.
    #[test]
    fn a_measured_gear_and_the_boards_own_meet_on_the_same_step(
        (board_num, board_den) in (8i64..4_000_000, 1i64..1000).prop_filter("8 steps a turn", |(n, d)| *n >= 8 * d),
        off_ppm in -100_000i64..100_000,
        work in prop::collection::vec(-400i64..400, 1..8),
    ) {
        let board_steps = StepsPerTurn::new(board_num, board_den).unwrap();
        let true_steps = StepsPerTurn::new(board_num * (1_000_000 + off_ppm), board_den * 1_000_000).unwrap();
        let bench = Bench::new(|board| {
            board.steps = board_steps;
            board.settings = format!(
                "steps_num={board_num} steps_den={board_den} start_rate=120 cruise_rate=250 accel=400 shutter=1"
            );
        });
        let mut table = CalibratedTable::new(Box::new(bench.open().unwrap()), true_steps);
        prop_assert_eq!(table.facts().steps_per_turn, true_steps);
        table.set_zero().unwrap();
        for step in work {
            let position = table.turn_to(step, &CancelToken::default(), &mut |_| {}).unwrap();
            prop_assert_eq!(position.step, step);
            prop_assert_eq!(bench.truth().step, step, "the board's own count");
        }
        prop_assert_eq!(table.reconnect().unwrap(), bench.truth());
    }

    /// Whatever is being done when the line goes, at whatever byte: an error, no hang, nothing that did not
    /// happen, and a position only as the board itself tells it.
    #[test]
    fn a_cut_at_any_byte_of_any_work_ends_in_a_clear_state(
        work in prop::collection::vec((0u8..7, -600i64..600, 0.0f64..4.0), 1..8),
        cut in 1u64..6000,
        power_from_usb in any::<bool>(),
    ) {
        let bench = Bench::new(|board| {
            board.faults.cut_after = Some(cut);
            board.power_from_usb = power_from_usb;
        });
        let mut table = match bench.open() {
            Ok(table) => table,
            Err(error) => {
                prop_assert!(matches!(error, TableError::Lost(_)), "{:?}", error);
                return Ok(());
            }
        };
        let mut last_zero = None;
        for (kind, step, after) in work {
            let presses = lock(&bench.board).presses;
            let cancel = CancelToken::default();
            let outcome = match kind {
                0 => table.position().map(Some),
                1 => table.set_zero().map(Some),
                2 => table.reconnect().map(Some),
                3 => table.fire_shutter(secs(after)).map(|()| None),
                4 => table.release().map(|()| None),
                5 => turn(&mut table, step).map(Some),
                _ => {
                    {
                        let mut board = lock(&bench.board);
                        board.cancel_at = Some((board.now + secs(after), cancel.clone()));
                    }
                    let turned = table.turn_to(step, &cancel, &mut |_| {});
                    lock(&bench.board).cancel_at = None;
                    turned.map(Some)
                }
            };
            let plugged = lock(&bench.board).plugged;
            match outcome {
                Ok(Some(position)) => {
                    if plugged {
                        prop_assert_eq!(&position, &bench.truth());
                    }
                    if matches!(kind, 5 | 6) {
                        prop_assert_eq!(position.step, step);
                    }
                    last_zero = position.zero;
                }
                Ok(None) if kind == 3 => prop_assert_eq!(lock(&bench.board).presses, presses + 1),
                Ok(None) => {}
                Err(TableError::Stopped { step }) => {
                    prop_assert!(kind == 6);
                    if plugged {
                        prop_assert_eq!(step, bench.truth().step);
                    }
                }
                Err(error) => {
                    prop_assert!(matches!(error, TableError::Lost(_) | TableError::CannotOpen { .. }), "{:?}", error);
                    prop_assert!(!plugged, "{:?} with the plug in", error);
                }
            }
        }
        {
            let mut board = lock(&bench.board);
            board.plugged = true;
            board.faults.cut_after = None;
        }
        let back = table.reconnect().unwrap();
        prop_assert_eq!(&back, &bench.truth());
        // The same name of a zero only where the board has kept its position without a break.
        if back.zero.is_some() && back.zero == last_zero {
            prop_assert_eq!(lock(&bench.board).boot, 0x003f_9a21);
        }
        prop_assert_eq!(turn(&mut table, 5).unwrap(), bench.truth());
    }

    /// Whatever answers, nothing panics, nothing hangs, and no table is made of it.
    #[test]
    fn any_bytes_at_all_are_no_table(bytes in prop::collection::vec(any::<u8>(), 0..4000), piece in 1usize..64) {
        let opened = SerialTable::open_on(Box::new(Babble { bytes, piece }), PORT, 115_200, SerialOptions::default());
        prop_assert!(matches!(opened, Err(TableError::NotATable(_))), "{:?}", opened);
    }
}
