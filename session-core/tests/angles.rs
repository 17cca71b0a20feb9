//! Angles stay exact: checked by properties, by Python's big fractions, and against published figures.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use proptest::prelude::*;
use session_core::angle::{Angle, StepsPerTurn};
use session_core::motion::{Direction, SpeedProfile, approach};
use session_core::plan::{Plan, Row};

fn steps() -> impl Strategy<Value = StepsPerTurn> {
    (200_i64..50_000_000, 1_i64..5000).prop_filter_map("at least four steps", |(numerator, denominator)| {
        StepsPerTurn::new(numerator, denominator).ok()
    })
}

proptest! {
    #[test]
    fn every_commanded_step_is_within_half_a_step_of_the_ideal(
        steps in steps(),
        stops in 1_u32..=1440,
        number in 1_u32..=1440,
        start in -360_000_i64..360_000,
        turns in -10_000_i64..10_000,
    ) {
        let number = 1 + (number - 1) % stops;
        let mut row = Row::full_turn("level", stops);
        row.start = format!("{}.{:03}", start / 1000, (start % 1000).abs()).parse().unwrap();
        let angle = row.angle_of(number).plus_turns(turns);
        let step = steps.nearest_step(angle);
        // The step's own angle is exact, so the distance is too: at most half of one step's angle.
        let off = if steps.angle_of(step) > angle { steps.angle_of(step) - angle } else { angle - steps.angle_of(step) };
        prop_assert!(off + off <= steps.angle_of(1));
    }

    #[test]
    fn a_step_sent_as_six_decimals_is_rounded_back_to_itself(steps in (200_i64..100_000_000, 1_i64..500)
        .prop_filter_map("range", |(n, d)| StepsPerTurn::new(n, d).ok().filter(|s| s.to_f64() < 1e6)), turns in -2_000.0..2_000.0)
    {
        // Within the turns that an angle can say, however few steps a turn has.
        let step = ((turns * steps.to_f64()) as i64).clamp(-10_000_000, 10_000_000);
        let sent: Angle = steps.angle_of(step).degrees_text(6).parse().unwrap();
        prop_assert_eq!(steps.nearest_step(sent), step);
    }

    #[test]
    fn the_last_move_runs_one_way_over_the_run_up(
        steps in steps(),
        from in -1_000_000_i64..1_000_000,
        leaning: bool,
        stops in 1_u32..=1440,
        number in 0_u32..1440,
        clockwise: bool,
        run_up_tenths in 0_i64..50,
    ) {
        let direction = if clockwise { Direction::Clockwise } else { Direction::Anticlockwise };
        let stop = Angle::TURN.part(number % stops, stops);
        let run_up = Angle::from_turns(run_up_tenths, 3600);
        let run_up_steps = steps.steps_covering(run_up);
        let legs = approach(from, leaning, stop, direction, steps, run_up);
        let end = legs.last().copied().unwrap_or(from);
        // It ends on the stop itself, in one turn or another.
        let along = direction.table_angle(steps.angle_of(end));
        let off = along.wrapped().distance_round(stop);
        prop_assert!(off + off <= steps.angle_of(1), "{off} off");
        let before = if legs.len() > 1 { legs[legs.len() - 2] } else { from };
        let last = (end - before) * direction.sign();
        if legs.is_empty() {
            prop_assert!(leaning || run_up_steps == 0);
        } else if run_up_steps > 0 {
            prop_assert!(last > 0);
            prop_assert!(leaning && legs.len() == 1 || last >= run_up_steps);
        }
        // Never the long way round.
        let longest = steps.nearest_step(Angle::TURN) / 2 + 3 * run_up_steps + 4;
        let way: i64 = std::iter::once(from).chain(legs.iter().copied()).zip(&legs).map(|(a, b)| (b - a).abs()).sum();
        prop_assert!(way <= longest + 2 * run_up_steps, "{way} steps, a turn has {}", steps.to_f64());
    }

    #[test]
    fn typed_degrees_come_back_as_typed(whole in -10_000_i64..10_000, decimals in 0_u32..1_000_000) {
        let text = format!("{whole}.{decimals:06}");
        let angle: Angle = text.parse().unwrap();
        prop_assert_eq!(angle.to_string().parse::<Angle>().unwrap(), angle);
        prop_assert_eq!(angle.degrees_text(6), if whole == 0 && decimals == 0 { "0.000000".to_owned() } else { text });
    }

    #[test]
    fn a_turn_covers_its_distance(start in 0.0_f64..50.0, above in 0.0_f64..200.0, accel in 0.1_f64..2000.0, degrees in -720.0_f64..720.0) {
        let profile = SpeedProfile { start_deg_per_sec: start, cruise_deg_per_sec: start + above + 0.1, accel_deg_per_sec2: accel, jerk_deg_per_sec3: None };
        let secs = profile.turn_secs(degrees);
        prop_assert!(secs >= 0.0);
        let mut last = 0.0;
        for part in 0..=20 {
            let now = profile.degrees_after(degrees, secs * f64::from(part) / 20.0).abs();
            prop_assert!(now + 1e-6 >= last);
            last = now;
        }
        prop_assert!((last - degrees.abs()).abs() < 1e-6);
        // Just before the end it is nearly there: no jump at the end hides a wrong profile.
        let late = profile.degrees_after(degrees, secs * 0.999).abs();
        prop_assert!(degrees.abs() - late <= (start + above + 0.1) * secs * 0.001 + 1e-6);
    }
}

/// Outside check: Python's `fractions.Fraction` computes the same steps on its own.
#[test]
fn steps_agree_with_pythons_fractions() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/outside/steps_by_fractions.py");
    let mut python = Command::new("python3")
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 runs the independent computation");
    let mut cases = Vec::new();
    for gear in ["1650688/405", "4096", "4076", "51200/3", "200", "3200/7", "999999937/1000"] {
        for stops in [1, 7, 24, 36, 72, 360, 1439, 1440] {
            for number in [1, 2, stops / 2 + 1, stops] {
                for (start, turns) in [("0", 0), ("12.345", 10), ("-0.001", -3), ("359.999", 1000)] {
                    let mut row = Row::full_turn("level", stops);
                    row.start = start.parse().unwrap();
                    let degrees = row.angle_of(number);
                    let ours = gear.parse::<StepsPerTurn>().unwrap().nearest_step(degrees.plus_turns(turns));
                    cases.push((gear, degrees.to_string(), turns, ours));
                }
            }
        }
    }
    let mut input = python.stdin.take().unwrap();
    let lines: String = cases
        .iter()
        .map(|(gear, degrees, turns, _)| {
            format!("{{\"steps\": \"{gear}\", \"degrees\": \"{degrees}\", \"turns\": {turns}}}\n")
        })
        .collect();
    let writer = std::thread::spawn(move || input.write_all(lines.as_bytes()).unwrap());
    let output = python.wait_with_output().unwrap();
    writer.join().unwrap();
    assert!(output.status.success());
    let said = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines.len(), cases.len());
    for (line, case) in lines.iter().zip(&cases) {
        assert_eq!(*line, format!("{} True", case.3), "{case:?}");
    }
}

/// Gear train 22·26·31·32 / (9·9·10·11) with 64 half-steps a motor turn; tooth counts published on
/// a maker forum in 2011.
#[test]
fn the_hobby_stepper_has_its_published_gearing() {
    let by_teeth = StepsPerTurn::new(64 * 22 * 26 * 31 * 32, 9 * 9 * 10 * 11).unwrap();
    assert_eq!(by_teeth, StepsPerTurn::HOBBY_HALF_STEPS);
    assert!((StepsPerTurn::HOBBY_HALF_STEPS.to_f64() - 4075.7728).abs() < 1e-4);
    // Taking 4096 or 4076 for it adds up; exact rounding stays within half a step.
    let after_a_turn = |steps: i64| (StepsPerTurn::HOBBY_HALF_STEPS.angle_of(steps) - Angle::TURN).degrees();
    assert!((after_a_turn(4096) - 1.787).abs() < 5e-4);
    assert!((after_a_turn(4076) - 0.020).abs() < 5e-4);
    let half_step = StepsPerTurn::HOBBY_HALF_STEPS.angle_of(1).degrees() / 2.0;
    assert!((half_step - 0.0442).abs() < 5e-5);
}

/// Uniform acceleration by hand: 100 °/s² from rest over 100° peaks at 100 °/s after 1 s each way.
#[test]
fn turn_times_agree_with_textbook_mechanics() {
    let profile = SpeedProfile {
        start_deg_per_sec: 0.0,
        cruise_deg_per_sec: 1000.0,
        accel_deg_per_sec2: 100.0,
        jerk_deg_per_sec3: None,
    };
    assert!((profile.turn_secs(100.0) - 2.0).abs() < 1e-9);
    // With a cruise of 50 °/s: 0.5 s and 12.5° on each ramp, 75° at 50 °/s between.
    let capped = SpeedProfile { cruise_deg_per_sec: 50.0, ..profile };
    assert!((capped.turn_secs(100.0) - 2.5).abs() < 1e-9);
}

#[test]
fn the_estimate_counts_turns_settling_and_exposure() {
    let plan = Plan::single_row("LH-1", 4);
    let profile = SpeedProfile {
        start_deg_per_sec: 90.0,
        cruise_deg_per_sec: 90.0,
        accel_deg_per_sec2: 0.0,
        jerk_deg_per_sec3: None,
    };
    // Three turns of 90° at 90 °/s, four stops of 0.8 s + 0.25 s.
    assert!((plan.estimate_secs(&profile) - (3.0 + 4.0 * 1.05)).abs() < 1e-9);
}
