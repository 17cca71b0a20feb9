//! The answer in figures and in plain sentences.

use serde::Serialize;

use super::{GRAVITY, Load, Motor, Plate, about_parallel_axis};
use crate::motion::SpeedProfile;

/// The motor is asked for at most one part in so many of its torque (common practice, no source).
pub const SAFETY_FACTOR: f64 = 2.0;
/// A ramp is not made shorter than this, however light the load (common practice, no source).
const RAMP_SECS_MIN: f64 = 0.5;
/// Speed at the object's edge that is not exceeded, m/s (common practice, no source).
const EDGE_SPEED_MAX: f64 = 0.3;
/// The turn that is made as short as the motor allows: one of 36 stops.
const USUAL_TURN_DEG: f64 = 10.0;
/// Below this toppling angle a piece counts as tall and narrow, degrees (common practice, no source).
const TOPPLE_WARN_DEG: f64 = 15.0;
/// Above this mass a fall does harm, kg (common practice, no source).
const HEAVY_KG: f64 = 5.0;

/// How grave a warning is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth care.
    Caution,
    /// The table must not turn this load.
    Danger,
}

/// Something about a load that a person must know.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadWarning {
    /// How grave it is.
    pub severity: Severity,
    /// What it is and what to do.
    pub message: String,
}

/// Speeds that suit a load.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadProposal {
    /// Step rate taken at once from rest, steps/s.
    pub start_rate: f64,
    /// Highest step rate, steps/s.
    pub cruise_rate: f64,
    /// Its change, steps/s².
    pub accel: f64,
    /// The change of that, steps/s³.
    pub jerk: f64,
    /// The same in degrees.
    pub speeds: SpeedProfile,
    /// Torque this takes at most, N·m.
    pub torque_needed_nm: f64,
    /// Torque the motor has at the highest rate, N·m.
    pub torque_available_nm: f64,
    /// How many times the torque needed is there, at least [`SAFETY_FACTOR`].
    pub margin: f64,
}

/// What a load asks of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadReport {
    /// Moment of inertia of the object about the table's axis, kg·m².
    pub object_inertia_kg_m2: f64,
    /// Moment of inertia of the plate, kg·m².
    pub plate_inertia_kg_m2: f64,
    /// Torque that the bearing's friction takes, N·m.
    pub friction_torque_nm: f64,
    /// How far the common centre of mass of object and plate lies off the axis, m.
    pub centre_offset_m: f64,
    /// How far the object may lean before it topples, degrees; `None` without a height or base.
    pub topple_deg: Option<f64>,
    /// Speeds that suit the load; `None` where it must not be turned.
    pub proposal: Option<LoadProposal>,
    /// What to be warned of, gravest first.
    pub warnings: Vec<LoadWarning>,
    /// The motor and where its figures come from.
    pub motor: String,
}

impl LoadReport {
    /// Moment of inertia of all that turns, kg·m².
    ///
    /// Without the motor's own rotor: the torque figures of steppers are taken with it.
    pub fn inertia_kg_m2(&self) -> f64 {
        self.object_inertia_kg_m2 + self.plate_inertia_kg_m2
    }

    /// The torque an acceleration takes, friction included, N·m: J·α and friction.
    pub fn torque_needed_nm(&self, accel_deg_per_sec2: f64) -> f64 {
        self.inertia_kg_m2() * accel_deg_per_sec2.to_radians() + self.friction_torque_nm
    }

    /// The acceleration a torque gives, friction taken off, degrees/s²; 0 where friction takes it all.
    pub fn accel_from_deg_per_sec2(&self, torque_nm: f64) -> f64 {
        ((torque_nm - self.friction_torque_nm) / self.inertia_kg_m2()).max(0.0).to_degrees()
    }

    /// Whether anything forbids turning the load.
    pub fn is_dangerous(&self) -> bool {
        self.warnings.iter().any(|warning| warning.severity == Severity::Danger)
    }

    /// The report in plain sentences.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![
            format!(
                "Moment of inertia: {} kg·m² (object {}, plate {}).",
                figures(self.inertia_kg_m2()),
                figures(self.object_inertia_kg_m2),
                figures(self.plate_inertia_kg_m2)
            ),
            format!("The bearing's friction takes about {} mN·m.", figures(self.friction_torque_nm * 1e3)),
        ];
        match &self.proposal {
            Some(proposal) => {
                let speeds = &proposal.speeds;
                said.push(format!(
                    "Turn at up to {} °/s ({} steps/s), starting at {} °/s ({} steps/s), with {} °/s² ({} steps/s²).",
                    figures(speeds.cruise_deg_per_sec),
                    proposal.cruise_rate,
                    figures(speeds.start_deg_per_sec),
                    proposal.start_rate,
                    figures(speeds.accel_deg_per_sec2),
                    proposal.accel
                ));
                said.push(format!(
                    "That takes {} of the motor's {} mN·m at that speed: {:.1} times what is needed. A turn of 10° takes \
                     {:.1} s.",
                    figures(proposal.torque_needed_nm * 1e3),
                    figures(proposal.torque_available_nm * 1e3),
                    proposal.margin,
                    speeds.turn_secs(USUAL_TURN_DEG)
                ));
                said.push(format!(
                    "Settings of the controller: start_rate={} cruise_rate={} accel={} jerk={}",
                    proposal.start_rate, proposal.cruise_rate, proposal.accel, proposal.jerk
                ));
            }
            None => said.push("No speed is proposed: this load must not be turned as it is.".to_owned()),
        }
        if let Some(degrees) = self.topple_deg {
            said.push(format!("The object topples when it leans {degrees:.0}°."));
        }
        said.push(format!("Motor: {}.", self.motor));
        said
    }
}

/// Three figures are as many as the assumptions bear.
fn figures(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = (2 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.decimals$}")
}

/// The largest number of the row 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, … that does not exceed `value`.
fn rounded_down(value: f64) -> f64 {
    const ROW: [f64; 9] = [8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0];
    if value <= 0.0 || !value.is_finite() {
        return 0.0;
    }
    let decade = 10_f64.powi(value.log10().floor() as i32);
    // A number of the row itself must not fall to the next by a rounding of its own.
    let lead = value / decade * (1.0 + 1e-12);
    ROW.into_iter().find(|step| *step <= lead).unwrap_or(1.0) * decade
}

/// Works everything out for figures that have been checked.
pub(super) fn work_out(load: &Load, plate: &Plate, motor: &Motor) -> LoadReport {
    let own = load.solid.own_inertia(load.mass_kg);
    let mut report = LoadReport {
        object_inertia_kg_m2: about_parallel_axis(own, load.mass_kg, load.off_centre_m),
        plate_inertia_kg_m2: plate.inertia(),
        friction_torque_nm: plate.friction_torque_nm(load.mass_kg),
        centre_offset_m: load.mass_kg * load.off_centre_m / (load.mass_kg + plate.mass_kg),
        topple_deg: topple_deg(load),
        proposal: None,
        warnings: Vec::new(),
        motor: format!("{} ({})", motor.name, motor.source),
    };
    report.warnings = warnings(load, plate, &report);
    if !report.is_dangerous() {
        report.proposal = propose(load, motor, &report);
        if report.proposal.is_none() {
            report.warnings.push(LoadWarning {
                severity: Severity::Danger,
                message: format!(
                    "the motor is too weak: friction alone takes {} mN·m and no more than one part in {SAFETY_FACTOR} of \
                     its {} mN·m is used; lighten the load, mend the bearing, or take a stronger motor",
                    figures(report.friction_torque_nm * 1e3),
                    figures(motor.torque_at(0.0) * 1e3)
                ),
            });
        }
    }
    report.warnings.sort_by_key(|warning| std::cmp::Reverse(warning.severity));
    report
}

/// tan φ = half the base over the height of the centre of mass, taken at half the object's height.
fn topple_deg(load: &Load) -> Option<f64> {
    let base = load.base_m.or(load.solid.base_width_m())?;
    Some((base / load.height_m?).atan().to_degrees())
}

fn warnings(load: &Load, plate: &Plate, report: &LoadReport) -> Vec<LoadWarning> {
    let mut found = Vec::new();
    let mut say = |severity, message: String| found.push(LoadWarning { severity, message });
    let ring = plate.bearing_m / 2.0;
    let cm = |metres: f64| figures(metres * 100.0);
    if report.centre_offset_m >= ring {
        say(
            Severity::Danger,
            format!(
                "the plate tips over: the common centre of mass lies {} cm off the axis, outside the bearing's ring at {} \
                 cm; move the object in, or balance it",
                cm(report.centre_offset_m),
                cm(ring)
            ),
        );
    } else if report.centre_offset_m >= ring / 2.0 {
        say(
            Severity::Caution,
            format!(
                "the common centre of mass lies {} cm off the axis, more than half way to the bearing's ring at {} cm; a \
                 touch may tip the plate",
                cm(report.centre_offset_m),
                cm(ring)
            ),
        );
    }
    let total = load.mass_kg + plate.mass_kg;
    if let Some(limit) = plate.bearing_limit_kg.filter(|limit| total > *limit) {
        say(
            Severity::Danger,
            format!(
                "object and plate weigh {} kg, more than the {limit} kg the bearing may carry",
                figures(total)
            ),
        );
    }
    if load.off_centre_m + load.solid.reach_m() > plate.diameter_m / 2.0 {
        say(
            Severity::Caution,
            format!(
                "the object reaches {} cm beyond the plate's rim; see that nothing stands in its way all round",
                cm(load.off_centre_m + load.solid.reach_m() - plate.diameter_m / 2.0)
            ),
        );
    }
    if let Some(degrees) = report.topple_deg.filter(|degrees| *degrees < TOPPLE_WARN_DEG) {
        say(
            Severity::Caution,
            format!(
                "the object is tall and narrow and topples when it leans {degrees:.0}°; secure it with putty or a stand"
            ),
        );
    }
    if load.solid.base_width_m().is_none() && load.base_m.is_none() {
        say(Severity::Caution, "a ball rolls; give it a stand, and say how wide that is".to_owned());
    }
    if load.mass_kg > HEAVY_KG {
        say(
            Severity::Caution,
            format!(
                "{} kg do harm when they fall: lift with care, keep feet clear, and check what table and stand may carry",
                figures(load.mass_kg)
            ),
        );
    }
    found
}

/// The speeds that make a usual turn shortest within torque, gentleness and footing.
fn propose(load: &Load, motor: &Motor, report: &LoadReport) -> Option<LoadProposal> {
    let degrees_per_step = 360.0 / motor.steps_per_turn.to_f64();
    let edge_m = load.off_centre_m + load.solid.reach_m();
    let edge_cap = (EDGE_SPEED_MAX / edge_m).to_degrees() / degrees_per_step;
    let mut cruise = rounded_down(motor.cruise_cap.min(edge_cap));
    let mut best: Option<(f64, LoadProposal)> = None;
    // Torque falls with speed: slower may be quicker. Three decades down nothing useful is left.
    for _ in 0..28 {
        if let Some(found) = at_cruise(load, motor, report, cruise) {
            let secs = found.speeds.turn_secs(USUAL_TURN_DEG);
            if best.as_ref().is_none_or(|(least, _)| secs < *least) {
                best = Some((secs, found));
            }
        }
        cruise = rounded_down(cruise * 0.999);
    }
    best.map(|(_, proposal)| proposal)
}

fn at_cruise(load: &Load, motor: &Motor, report: &LoadReport, cruise: f64) -> Option<LoadProposal> {
    let degrees_per_step = 360.0 / motor.steps_per_turn.to_f64();
    let available = motor.torque_at(cruise);
    let by_torque = report.accel_from_deg_per_sec2(available / SAFETY_FACTOR) / degrees_per_step;
    let by_footing = footing_accel_deg_per_sec2(load, report, cruise * degrees_per_step)? / degrees_per_step;
    let possible = by_torque.min(by_footing);
    let accel = rounded_down(possible.min(cruise / RAMP_SECS_MIN));
    if accel <= 0.0 {
        return None;
    }
    // Speed taken at once: the load must catch up before the motor is one full step behind, beyond which a
    // stepper falls out of step, so v² = 2·a·s over one full step (textbook kinematics).
    let catch_up = (2.0 * possible * motor.steps_per_full_step).sqrt();
    let start = rounded_down(catch_up.min(motor.start_cap).min(cruise));
    // Full acceleration after a quarter of a straight ramp's time: soft, and only a quarter longer.
    let ramp_secs = (cruise - start) / accel;
    let jerk = if ramp_secs > 0.0 { rounded_down(accel / (ramp_secs / 4.0)) } else { 0.0 };
    let speeds = SpeedProfile::from_step_rates(motor.steps_per_turn, start, cruise, accel, jerk);
    let needed = report.torque_needed_nm(speeds.accel_deg_per_sec2);
    Some(LoadProposal {
        start_rate: start,
        cruise_rate: cruise,
        accel,
        jerk,
        speeds,
        torque_needed_nm: needed,
        torque_available_nm: available,
        margin: available / needed,
    })
}

/// The acceleration that an object off the axis stands without toppling, half of it; `None` where the
/// speed alone is too much.
///
/// An object off the axis by e feels α·e along the turn and ω²·e outwards, and topples when their
/// resultant passes g·tan φ; the sum of both is the safe side of the resultant.
fn footing_accel_deg_per_sec2(load: &Load, report: &LoadReport, cruise_deg_per_sec: f64) -> Option<f64> {
    let (Some(topple), true) = (report.topple_deg, load.off_centre_m > 0.0) else {
        return Some(f64::INFINITY);
    };
    let allowed = GRAVITY * topple.to_radians().tan() / SAFETY_FACTOR;
    let outwards = cruise_deg_per_sec.to_radians().powi(2) * load.off_centre_m;
    let left = (allowed - outwards) / load.off_centre_m;
    (left > 0.0).then(|| left.to_degrees())
}
