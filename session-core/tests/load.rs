//! Loads against handbook formulas, published examples and a sum over small pieces.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use proptest::prelude::*;
use session_core::angle::StepsPerTurn;
use session_core::load::{
    Load, LoadField, Motor, Plate, Severity, Solid, TorquePoint, about_parallel_axis, assess,
};

fn disc(mass_kg: f64, diameter_m: f64) -> Load {
    let solid = Solid::Cylinder { diameter_m };
    Load { solid, mass_kg, off_centre_m: 0.0, height_m: None, base_m: None }
}

/// A plate that adds nothing, for figures of the load alone.
fn no_plate(diameter_m: f64) -> Plate {
    Plate { diameter_m, mass_kg: 0.0, bearing_m: diameter_m, friction: 0.0, bearing_limit_kg: None }
}

fn near(value: f64, want: f64, within: f64) {
    assert!((value - want).abs() <= within, "{value} is not {want}");
}

/// Full discs on 15 mN·m: J = ½·m·r² and α = M/J. The masses and sizes are a hobby table's usual range,
/// the figures worked out by hand beforehand with the textbook formulas.
#[test]
fn discs_on_a_hobby_motor_accelerate_as_worked_out_by_hand() {
    for (mass, diameter, inertia, accel) in [
        (0.3, 0.15, 0.000_843_75, 1019.0),
        (1.0, 0.25, 0.007_812_5, 110.0),
        (3.0, 0.30, 0.033_75, 25.5),
        (10.0, 0.40, 0.2, 4.30),
    ] {
        let report = assess(&disc(mass, diameter), &no_plate(0.4), &Motor::hobby()).unwrap();
        near(report.inertia_kg_m2(), inertia, 1e-12);
        near(report.accel_from_deg_per_sec2(0.015), accel, accel * 0.002);
        near(report.torque_needed_nm(report.accel_from_deg_per_sec2(0.015)), 0.015, 1e-12);
    }
}

/// `OpenStax` College Physics, example 10.7 (from memory; 84.4 kg·m² and 4.44 rad/s² also seen quoted):
/// a 50 kg merry-go-round of 1.50 m radius is pushed with 250 N at its edge: 56.25 kg·m², 6.67 rad/s²;
/// with an 18 kg child 1.25 m from the centre 84.4 kg·m², 4.44 rad/s².
#[test]
fn the_published_merry_go_round_comes_out() {
    let disc = Solid::Cylinder { diameter_m: 3.0 }.own_inertia(50.0);
    let child = about_parallel_axis(0.0, 18.0, 1.25);
    near(disc, 56.25, 1e-9);
    near(250.0 * 1.5 / disc, 6.67, 0.005);
    near(disc + child, 84.4, 0.05);
    near(250.0 * 1.5 / (disc + child), 4.44, 0.005);
}

/// `OpenStax` University Physics 1, example 10.13 (from memory): a 25 kg child 1.0 m from the centre of a
/// 500 kg disc of 2.0 m radius: 1025 kg·m².
#[test]
fn the_published_disc_with_a_child_comes_out() {
    let disc = Solid::Cylinder { diameter_m: 4.0 }.own_inertia(500.0);
    near(about_parallel_axis(0.0, 25.0, 1.0) + disc, 1025.0, 1e-9);
}

/// A published exercise with its solution (wizedu.com, question 1207508): a 560 kg disc of 2.5 m radius with
/// two 25 kg children at the edge, from rest to 15 turns a minute in 11 s, takes 294.5 N·m (2062.5 kg·m²).
#[test]
fn the_published_torque_comes_out() {
    let disc = Solid::Cylinder { diameter_m: 5.0 }.own_inertia(560.0);
    let whole = disc + 2.0 * about_parallel_axis(0.0, 25.0, 2.5);
    near(whole, 2062.5, 1e-9);
    let accel = 15.0 / 60.0 * std::f64::consts::TAU / 11.0;
    near(whole * accel, 294.525, 0.05);
}

/// The handbook formulas against the definition ∫ r² dm, summed over small pieces.
#[test]
fn formulas_agree_with_a_sum_over_small_pieces() {
    let (width, depth, off) = (0.3, 0.12, 0.05);
    let pieces = 1200;
    let by_pieces = |inside: &dyn Fn(f64, f64) -> bool, reach: f64, off: f64| {
        let (mut sum, mut count) = (0.0, 0.0);
        for i in 0..pieces {
            for j in 0..pieces {
                let at = |k: i32| ((f64::from(k) + 0.5) / f64::from(pieces) - 0.5) * 2.0 * reach;
                let (x, y) = (at(i), at(j));
                if inside(x, y) {
                    sum += (x + off).powi(2) + y * y;
                    count += 1.0;
                }
            }
        }
        sum / count
    };
    let around = |solid: Solid| about_parallel_axis(solid.own_inertia(1.0), 1.0, off);
    let in_box = |x: f64, y: f64| x.abs() < width / 2.0 && y.abs() < depth / 2.0;
    near(
        around(Solid::Box { width_m: width, depth_m: depth }) / by_pieces(&in_box, width / 2.0, off),
        1.0,
        2e-3,
    );
    let in_ring = |x: f64, y: f64| (0.08..0.1).contains(&x.hypot(y));
    near(around(Solid::Ring { outer_m: 0.2, inner_m: 0.16 }) / by_pieces(&in_ring, 0.1, off), 1.0, 2e-3);
    let in_disc = |x: f64, y: f64| x.hypot(y) < 0.1;
    near(around(Solid::Cylinder { diameter_m: 0.2 }) / by_pieces(&in_disc, 0.1, off), 1.0, 2e-3);
    // A ball seen from above has √(R² − r²) of mass over each spot.
    let (mut sum, mut mass) = (0.0, 0.0);
    for i in 0..pieces {
        let r = (f64::from(i) + 0.5) / f64::from(pieces) * 0.1;
        let weight = r * (0.01 - r * r).sqrt();
        sum += weight * r * r;
        mass += weight;
    }
    near(Solid::Sphere { diameter_m: 0.2 }.own_inertia(1.0) / (sum / mass), 1.0, 2e-3);
}

/// Bearing friction by hand: 0.0015 · 10 kg · 9.80665 m/s² · 0.03 m = 4.413 mN·m.
#[test]
fn friction_is_that_of_the_bearing_makers_formula() {
    let plate = Plate { bearing_m: 0.06, friction: 0.0015, mass_kg: 2.0, ..Plate::default() };
    near(plate.friction_torque_nm(8.0), 0.004_413, 1e-6);
}

#[test]
fn a_mug_may_turn_at_the_motors_own_pace_and_a_heavy_jar_more_gently() {
    let mug = assess(&disc(0.3, 0.09), &Plate::default(), &Motor::hobby()).unwrap();
    let jar = assess(&disc(3.0, 0.22), &Plate::default(), &Motor::hobby()).unwrap();
    let (mug, jar) = (mug.proposal.unwrap(), jar.proposal.unwrap());
    assert_eq!((mug.cruise_rate, mug.start_rate, mug.accel), (250.0, 80.0, 500.0));
    assert!(jar.accel <= mug.accel / 2.0 && jar.start_rate < mug.start_rate, "{jar:?}");
    assert!(jar.speeds.turn_secs(10.0) > mug.speeds.turn_secs(10.0));
}

#[test]
fn loads_that_must_not_turn_get_no_speed() {
    let dangerous = |load: Load, plate: Plate, word: &str| {
        let report = assess(&load, &plate, &Motor::hobby()).unwrap();
        assert!(report.proposal.is_none());
        let first = &report.warnings[0];
        assert_eq!(first.severity, Severity::Danger);
        assert!(first.message.contains(word), "{}", first.message);
    };
    // 2 kg 9 cm out on a 0.4 kg plate: centre of mass 7.5 cm out, the ring at 6 cm.
    dangerous(Load { off_centre_m: 0.09, ..disc(2.0, 0.05) }, Plate::default(), "tips over");
    let weak = Plate { bearing_limit_kg: Some(4.0), ..Plate::default() };
    dangerous(disc(3.7, 0.2), weak, "may carry");
    dangerous(disc(20.0, 0.2), Plate::default(), "too weak");
}

#[test]
fn what_needs_care_is_said() {
    let said = |load: Load| {
        let report = assess(&load, &Plate::default(), &Motor::hobby()).unwrap();
        report.warnings.into_iter().map(|warning| warning.message).collect::<Vec<_>>().join("\n")
    };
    // A vase of 40 cm on a base of 8 cm leans tan⁻¹(4/20) = 11.3°.
    let vase = Load { height_m: Some(0.4), base_m: Some(0.08), ..disc(1.0, 0.14) };
    let report = assess(&vase, &Plate::default(), &Motor::hobby()).unwrap();
    near(report.topple_deg.unwrap(), 11.31, 0.005);
    assert!(said(vase).contains("tall and narrow"));
    assert!(said(Load { off_centre_m: 0.05, ..disc(1.0, 0.16) }).contains("beyond the plate's rim"));
    assert!(said(Load { off_centre_m: 0.05, ..disc(1.0, 0.1) }).contains("half way"));
    assert!(said(Load { solid: Solid::Sphere { diameter_m: 0.1 }, ..disc(0.5, 0.1) }).contains("rolls"));
    assert!(said(disc(6.0, 0.1)).contains("harm"));
    assert!(said(disc(0.3, 0.09)).is_empty());
}

#[test]
fn nonsense_is_refused_by_name() {
    let field = |load: Load, plate: Plate| assess(&load, &plate, &Motor::hobby()).unwrap_err().field;
    let good = disc(1.0, 0.1);
    for mass in [-1.0, 0.0, f64::NAN, f64::INFINITY, 500.0] {
        assert_eq!(field(Load { mass_kg: mass, ..good }, Plate::default()), LoadField::Mass, "{mass}");
    }
    for size in [-0.1, 0.0, f64::NAN, 40.0] {
        assert_eq!(field(disc(1.0, size), Plate::default()), LoadField::Width, "{size}");
        assert_eq!(field(Load { height_m: Some(size), ..good }, Plate::default()), LoadField::Height);
        assert_eq!(field(Load { base_m: Some(size), ..good }, Plate::default()), LoadField::Base);
    }
    for off in [-0.01, f64::NAN, 0.126] {
        assert_eq!(field(Load { off_centre_m: off, ..good }, Plate::default()), LoadField::OffCentre);
    }
    let ring = Solid::Ring { outer_m: 0.1, inner_m: 0.11 };
    assert_eq!(field(Load { solid: ring, ..good }, Plate::default()), LoadField::Inner);
    let flat = Solid::Box { width_m: 0.1, depth_m: 0.0 };
    assert_eq!(field(Load { solid: flat, ..good }, Plate::default()), LoadField::Depth);
    let plate = Plate::default();
    assert_eq!(field(good, Plate { diameter_m: f64::NAN, ..plate }), LoadField::PlateDiameter);
    assert_eq!(field(good, Plate { mass_kg: -1.0, ..plate }), LoadField::PlateMass);
    assert_eq!(field(good, Plate { bearing_m: 0.3, ..plate }), LoadField::Bearing);
    assert_eq!(field(good, Plate { friction: 2.0, ..plate }), LoadField::Friction);
    assert_eq!(field(good, Plate { bearing_limit_kg: Some(0.0), ..plate }), LoadField::BearingLimit);
    for torque in [
        vec![],
        vec![(100.0, f64::NAN)],
        vec![(0.0, 1.0)],
        vec![(2.0, 1.0), (1.0, 0.5)],
        vec![(1.0, 0.1), (2.0, 0.2)],
    ] {
        let points = torque
            .iter()
            .map(|&(steps_per_sec, torque_nm)| TorquePoint { steps_per_sec, torque_nm })
            .collect();
        let motor = Motor::from_figures(StepsPerTurn::HOBBY_HALF_STEPS, 2.0, points);
        assert_eq!(assess(&good, &plate, &motor).unwrap_err().field, LoadField::Motor, "{torque:?}");
    }
}

proptest! {
    /// Whatever the load, a proposal keeps its margin and its own order of rates.
    #[test]
    fn proposals_keep_the_margin(
        mass in 0.01_f64..15.0, width in 0.02_f64..0.4, off in 0.0_f64..0.12, height in 0.02_f64..0.6,
    ) {
        let load = Load { off_centre_m: off, height_m: Some(height), ..disc(mass, width) };
        let motor = Motor::hobby();
        let report = assess(&load, &Plate::default(), &motor).unwrap();
        prop_assert_eq!(report.proposal.is_none(), report.is_dangerous());
        if let Some(found) = &report.proposal {
            prop_assert!(found.margin >= 2.0 - 1e-9, "{}", found.margin);
            prop_assert!(found.start_rate > 0.0 && found.start_rate <= found.cruise_rate);
            prop_assert!(found.cruise_rate <= motor.cruise_cap && found.start_rate <= motor.start_cap);
            prop_assert!(found.torque_needed_nm * 2.0 <= motor.torque_at(found.cruise_rate) + 1e-12);
            // The jump at the start is one the motor can drag the load after within one full step.
            let half = report.accel_from_deg_per_sec2(motor.torque_at(found.cruise_rate) / 2.0);
            let steps_per_sec2 = half / 360.0 * motor.steps_per_turn.to_f64();
            prop_assert!(found.start_rate.powi(2) <= 2.0 * steps_per_sec2 * motor.steps_per_full_step * (1.0 + 1e-9));
        }
        prop_assert!(report.sentences().iter().all(|sentence| !sentence.contains("NaN") && !sentence.contains("inf")));
    }
}
