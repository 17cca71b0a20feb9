//! Speed profiles against properties, an integration by small steps, and a published example.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::VecDeque;
use std::time::Duration;

use proptest::prelude::*;
use session_core::angle::{Angle, StepsPerTurn};
use session_core::camera::settings::FrameSettings;
use session_core::engine::{Action, Engine, EngineConfig, Event, Intent, Mode, StopSeed, StopState, Timer};
use session_core::motion::{Direction, SpeedProfile, approach};
use session_core::plan::Plan;
use session_core::turntable::TablePosition;

fn profile(start: f64, cruise: f64, accel: f64, jerk: f64) -> SpeedProfile {
    SpeedProfile {
        start_deg_per_sec: start,
        cruise_deg_per_sec: cruise,
        accel_deg_per_sec2: accel,
        jerk_deg_per_sec3: (jerk > 0.0).then_some(jerk),
    }
}

fn profiles() -> impl Strategy<Value = SpeedProfile> {
    // A factor between the rates, so that every kind of ramp comes up.
    (0.0_f64..30.0, 0.5_f64..100.0, 1.0_f64..500.0, prop_oneof![Just(0.0), 0.05_f64..50.0], any::<bool>())
        .prop_map(|(start, above, accel, per_accel, at_rest)| {
            let start = if at_rest { 0.0 } else { start };
            profile(start, start + above, accel, accel * per_accel)
        })
}

proptest! {
    #[test]
    fn a_move_is_symmetric_continuous_and_within_its_limits(
        profile in profiles(),
        degrees in prop_oneof![0.01_f64..1.0, 1.0_f64..30.0, 30.0_f64..800.0],
        backwards: bool,
    ) {
        let (start, cruise, accel) =
            (profile.start_deg_per_sec, profile.cruise_deg_per_sec, profile.accel_deg_per_sec2);
        let signed = if backwards { -degrees } else { degrees };
        let secs = profile.turn_secs(signed);
        prop_assert!((secs - profile.turn_secs(degrees)).abs() <= 1e-12 * secs);
        prop_assert!((profile.degrees_after(signed, secs) - signed).abs() <= 1e-12 * degrees);
        let parts = 400;
        let width = secs / f64::from(parts);
        let at = |part: i32| profile.degrees_after(degrees, width * f64::from(part));
        let tiny = 1e-9 * (degrees + cruise * secs);
        let mut speeds = Vec::new();
        for part in 0..=parts {
            // Half the way is the mirror image of the other half.
            prop_assert!((at(part) + at(parts - part) - degrees).abs() <= tiny);
            prop_assert!((profile.degrees_after(signed, width * f64::from(part)).abs() - at(part)).abs() <= tiny);
            if part > 0 {
                speeds.push((at(part) - at(part - 1)) / width);
            }
        }
        for speed in &speeds {
            prop_assert!(*speed >= start * (1.0 - 1e-6) - 1e-9, "{speed} under the start speed {start}");
            prop_assert!(*speed <= cruise * (1.0 + 1e-6), "{speed} over the cruise speed {cruise}");
        }
        let mut rates = Vec::new();
        for pair in speeds.windows(2) {
            let rate = (pair[1] - pair[0]) / width;
            prop_assert!(rate.abs() <= accel * (1.0 + 1e-5) + 1e-13 * (degrees + cruise * secs) / width.powi(2), "{rate} over {accel}");
            rates.push(rate);
        }
        if let Some(jerk) = profile.jerk_deg_per_sec3 {
            for pair in rates.windows(2) {
                // In the middle a move without even stretch goes from a ramp to its mirror image; there too the
                // acceleration is continuous, because S ramps end at none.
                let change = (pair[1] - pair[0]).abs() / width;
                prop_assert!(change <= jerk * (1.0 + 1e-4) + 1e-13 * (degrees + cruise * secs) / width.powi(3), "{change} over {jerk}");
            }
        }
    }

    #[test]
    fn without_limit_to_the_jerk_the_ramps_are_straight(
        profile in profiles(), degrees in 0.01_f64..800.0, share in 0.0_f64..1.0,
    ) {
        let straight = SpeedProfile { jerk_deg_per_sec3: None, ..profile };
        let nearly = SpeedProfile { jerk_deg_per_sec3: Some(profile.accel_deg_per_sec2 * 1e9), ..profile };
        let secs = straight.turn_secs(degrees);
        prop_assert!((nearly.turn_secs(degrees) - secs).abs() <= 1e-6 * secs.max(1.0));
        let (a, b) =
            (straight.degrees_after(degrees, secs * share), nearly.degrees_after(degrees, secs * share));
        prop_assert!((a - b).abs() <= 1e-5 * degrees.max(1.0), "{a} {b}");
        // And a lower jerk never makes a move quicker.
        prop_assert!(profile.turn_secs(degrees) >= secs * (1.0 - 1e-12));
    }

    #[test]
    fn a_longer_move_takes_longer(profile in profiles(), degrees in 0.01_f64..100.0, more in 0.001_f64..50.0) {
        prop_assert!(profile.turn_secs(degrees + more) > profile.turn_secs(degrees));
    }

    /// Outside check: the same move driven forward by the laws of motion in small steps (semi-implicit
    /// Euler, any numerical-methods textbook). It knows no ramp formula: the jerk is on until the
    /// acceleration must come down to meet the top speed, and the top speed is found by halving.
    #[test]
    fn small_steps_of_time_lead_to_the_same_move(
        start in 0.0_f64..20.0, above in 1.0_f64..60.0, accel in 5.0_f64..200.0,
        per_accel in 0.5_f64..20.0, degrees in 0.2_f64..60.0,
    ) {
        let profile = profile(start, start + above, accel, accel * per_accel);
        let by_steps = integrated_secs(&profile, degrees);
        let secs = profile.turn_secs(degrees);
        prop_assert!((secs - by_steps).abs() <= 0.005 * by_steps + 0.002, "{secs} s, by small steps {by_steps} s");
    }
}

/// Seconds and degrees of one ramp up to `peak`, by small steps.
fn integrated_ramp(profile: &SpeedProfile, peak: f64) -> (f64, f64) {
    let jerk = profile.jerk_deg_per_sec3.unwrap();
    let width = 2e-5;
    let (mut time, mut way, mut speed, mut accel) = (0.0, 0.0, profile.start_deg_per_sec, 0.0_f64);
    while speed < peak && time < 60.0 {
        // From here the acceleration needs accel²/(2·jerk) more speed to come down to nothing.
        let must_fall = speed + accel * accel / (2.0 * jerk) >= peak;
        accel = if must_fall { accel - jerk * width } else { accel + jerk * width };
        accel = accel.min(profile.accel_deg_per_sec2);
        if accel <= 0.0 {
            break;
        }
        speed += accel * width;
        way += speed * width;
        time += width;
    }
    (time, way)
}

fn integrated_secs(profile: &SpeedProfile, degrees: f64) -> f64 {
    let (start, cruise) = (profile.start_deg_per_sec, profile.cruise_deg_per_sec);
    let (time, way) = integrated_ramp(profile, cruise);
    if 2.0 * way <= degrees {
        return 2.0 * time + (degrees - 2.0 * way) / cruise;
    }
    let (mut low, mut high) = (start, cruise);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if 2.0 * integrated_ramp(profile, middle).1 > degrees { high = middle } else { low = middle }
    }
    // What the steps of time leave over goes at the top speed.
    let (time, way) = integrated_ramp(profile, low);
    2.0 * time + (degrees - 2.0 * way).max(0.0) / low.max(1e-3)
}

/// L. Biagiotti, C. Melchiorri, "Trajectory Planning for Automatic Machines and Robots", Springer 2008,
/// examples 3.9 and 3.10 (from memory): a double S over 10 from speed 1 to speed 0 with accelerations to
/// 10 and jerk 30. Ours has equal ends, so its ramp up comes from a move that starts at 1 and
/// its ramp down from one that starts at 0; the two halves together are the example.
#[test]
fn the_published_double_s_comes_out() {
    // Example 3.9, top speed 5: ramps 0.7333 s and 0.8333 s, 1.1433 s between.
    let up = profile(1.0, 5.0, 10.0, 30.0);
    let down = profile(0.0, 5.0, 10.0, 30.0);
    // A move of 100 has an even stretch of (100 − both ramps)/5; what is left are the ramps' seconds.
    let ramp_secs = |profile: &SpeedProfile, mean: f64, want: f64| {
        let even = (100.0 - 2.0 * mean * want) / 5.0;
        assert!((profile.turn_secs(100.0) - even - 2.0 * want).abs() < 1e-3, "{want}");
    };
    ramp_secs(&up, 3.0, 0.7333);
    ramp_secs(&down, 2.5, 0.8333);
    assert!(((10.0 - 3.0 * 0.7333 - 2.5 * 0.8333) / 5.0 - 1.1433_f64).abs() < 1e-4);

    // Example 3.10, top speed 10 not reached: 8.4136 at most, ramps 1.0747 s and 1.1747 s.
    let up = profile(1.0, 10.0, 10.0, 30.0);
    let down = profile(0.0, 10.0, 10.0, 30.0);
    let (up_way, down_way) = (f64::midpoint(1.0, 8.4136) * 1.0747, 8.4136 / 2.0 * 1.1747);
    assert!((up_way + down_way - 10.0_f64).abs() < 1e-3);
    assert!((up.turn_secs(2.0 * up_way) - 2.0 * 1.0747).abs() < 2e-4);
    assert!((down.turn_secs(2.0 * down_way) - 2.0 * 1.1747).abs() < 2e-4);
}

#[test]
fn a_profile_without_jerk_reads_as_straight() {
    let old = r#"{"start_deg_per_sec": 10.0, "cruise_deg_per_sec": 20.0, "accel_deg_per_sec2": 30.0}"#;
    let read: SpeedProfile = serde_json::from_str(old).unwrap();
    assert_eq!(read, profile(10.0, 20.0, 30.0, 0.0));
    let steps = StepsPerTurn::new(3600, 1).unwrap();
    let rates = SpeedProfile::from_step_rates(steps, 100.0, 200.0, 300.0, 400.0);
    assert_eq!(rates.jerk_deg_per_sec3, Some(40.0));
    assert_eq!(SpeedProfile::from_step_rates(steps, 100.0, 200.0, 300.0, 0.0).jerk_deg_per_sec3, None);
}

/// A retake of the stop the table stands on, once the gears may have gone slack: back past it and up again.
#[test]
fn a_retake_of_the_present_stop_comes_from_the_same_side() {
    let steps = StepsPerTurn::HOBBY_HALF_STEPS;
    let stop = Angle::from_turns(90, 360);
    for direction in [Direction::Anticlockwise, Direction::Clockwise] {
        let here = steps.nearest_step(direction.table_angle(stop));
        let run_up = Angle::from_turns(2, 360);
        let back = here - direction.sign() * steps.steps_covering(run_up);
        assert_eq!(approach(here, false, stop, direction, steps, run_up), vec![back, here]);
        assert!(approach(here, true, stop, direction, steps, run_up).is_empty());
    }
}

/// Feeds the engine what an obedient table and camera would say; gives the steps it turned to.
fn obey(engine: &mut Engine, first: Event) -> Vec<i64> {
    let mut turned = Vec::new();
    let mut events = VecDeque::from([first]);
    while let Some(event) = events.pop_front() {
        for action in engine.handle(Duration::ZERO, event) {
            match action {
                Action::Turn { ticket, to, .. } => {
                    turned.push(to);
                    let position = TablePosition { step: to, zero: Some("zero-1".to_owned()) };
                    events.push_back(Event::TurnFinished { ticket, position });
                }
                Action::StartTimer { timer: timer @ Timer::Settled { .. }, .. } => {
                    events.push_back(Event::TimerFired { timer });
                }
                Action::Expose { shot } => {
                    events.push_back(Event::ExposureEnded { shot: shot.number });
                    events.push_back(Event::FrameArrived { shot: shot.number });
                }
                Action::Keep { shot } => events.push_back(Event::FrameKept {
                    shot: shot.number,
                    version: 1,
                    settings: FrameSettings::default(),
                }),
                _ => {}
            }
        }
    }
    turned
}

/// After a set the motor is let go, and the load may roll back in the gears' play: the stop it
/// stands on is left and reached again along the plan's direction.
#[test]
fn the_engine_overshoots_for_a_retake_of_the_stop_it_stands_on() {
    for direction in [Direction::Anticlockwise, Direction::Clockwise] {
        let mut plan = Plan::single_row("LP-1", 3);
        plan.direction = direction;
        let seeds = plan.stops("2026-03-14").unwrap().into_iter();
        let seeds = seeds.map(|stop| StopSeed {
            stop,
            state: StopState::Missing,
            versions: 0,
            chosen: 0,
            step: None,
        });
        let steps = StepsPerTurn::HOBBY_HALF_STEPS;
        let config = EngineConfig::new(direction, steps, SpeedProfile::default());
        let run_up = direction.sign() * steps.steps_covering(config.run_up);
        let mut engine = Engine::new(config, seeds.collect(), Some("zero-1".to_owned()), 0);
        let position = TablePosition { step: 0, zero: Some("zero-1".to_owned()) };
        obey(&mut engine, Event::TableReady { position });
        let set = obey(&mut engine, Event::Person(Intent::Start));
        // The first stop too is reached from behind.
        assert_eq!(set[..2], [-run_up, 0]);
        assert_eq!((set.len(), engine.mode()), (4, &Mode::Finished));
        let here = set[3];
        let retake = |stop| Event::Person(Intent::Retake { stops: vec![stop] });
        assert_eq!(obey(&mut engine, retake(3)), [here - run_up, here]);
        assert_eq!(obey(&mut engine, retake(3)), [here - run_up, here]);
    }
}
