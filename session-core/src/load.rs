//! What a load asks of the table: inertia, torque, tipping, and the speeds that suit it.
//!
//! Solids are taken as even in density, so the figures are good to perhaps a quarter: the safety factor
//! on the motor's torque covers that, and a real load that stalls goes down with the speed further.

use serde::{Deserialize, Serialize};

mod motor;
mod report;

pub use motor::{Motor, TorquePoint};
pub use report::{LoadProposal, LoadReport, LoadWarning, Severity};

/// Standard gravity, m/s² (BIPM, The International System of Units, conventional value).
pub const GRAVITY: f64 = 9.806_65;

/// The largest mass that is worked with, kg; a heavier load needs an engineer, not a table of this kind.
pub const MASS_MAX_KG: f64 = 100.0;
/// The largest size that is worked with, m.
pub const SIZE_MAX_M: f64 = 2.0;

/// The solid an object comes nearest to; sizes in metres, the axis of symmetry upright.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Solid {
    /// A full cylinder, such as a filled jar; also the safe guess for most pots.
    Cylinder {
        /// Its widest diameter.
        diameter_m: f64,
    },
    /// A wall without core, such as an empty vase.
    Ring {
        /// Its outer diameter.
        outer_m: f64,
        /// Its inner diameter, less than the outer.
        inner_m: f64,
    },
    /// A box standing upright.
    Box {
        /// One side of its base.
        width_m: f64,
        /// The other side.
        depth_m: f64,
    },
    /// A ball.
    Sphere {
        /// Its diameter.
        diameter_m: f64,
    },
}

impl Solid {
    /// The moment of inertia about the solid's own upright axis, kg·m², for a mass in kg.
    ///
    /// Solid cylinder ½·m·r², hollow cylinder ½·m·(r₁² + r₂²), box m·(a² + b²)/12, ball ⅖·m·r²
    /// (any mechanics handbook; `OpenStax` University Physics 1, figure 10.20, from memory).
    pub fn own_inertia(&self, mass_kg: f64) -> f64 {
        let radius2 = |diameter: f64| diameter * diameter / 4.0;
        mass_kg
            * match *self {
                Self::Cylinder { diameter_m } => radius2(diameter_m) / 2.0,
                Self::Ring { outer_m, inner_m } => f64::midpoint(radius2(outer_m), radius2(inner_m)),
                Self::Box { width_m, depth_m } => (width_m * width_m + depth_m * depth_m) / 12.0,
                Self::Sphere { diameter_m } => radius2(diameter_m) * 0.4,
            }
    }

    /// The farthest the solid reaches from its own axis, m.
    pub fn reach_m(&self) -> f64 {
        match *self {
            Self::Cylinder { diameter_m } | Self::Sphere { diameter_m } => diameter_m / 2.0,
            Self::Ring { outer_m, .. } => outer_m / 2.0,
            Self::Box { width_m, depth_m } => width_m.hypot(depth_m) / 2.0,
        }
    }

    /// The narrowest width of its base, m; a ball has none.
    pub fn base_width_m(&self) -> Option<f64> {
        match *self {
            Self::Cylinder { diameter_m } => Some(diameter_m),
            Self::Ring { outer_m, .. } => Some(outer_m),
            Self::Box { width_m, depth_m } => Some(width_m.min(depth_m)),
            Self::Sphere { .. } => None,
        }
    }
}

/// The moment of inertia about an axis `distance_m` away from the one through the centre of mass, kg·m².
///
/// Parallel-axis rule (Huygens and Steiner): I = I₀ + m·d².
pub fn about_parallel_axis(own_inertia_kg_m2: f64, mass_kg: f64, distance_m: f64) -> f64 {
    own_inertia_kg_m2 + mass_kg * distance_m * distance_m
}

/// What stands on the plate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// The solid it comes nearest to, with its widest size.
    pub solid: Solid,
    /// Its mass, kg, above 0 and at most [`MASS_MAX_KG`].
    pub mass_kg: f64,
    /// How far its centre of mass stands off the table's axis, m.
    pub off_centre_m: f64,
    /// Its height, m, when known; without it nothing is said about toppling.
    pub height_m: Option<f64>,
    /// The width it stands on, m, where that is less than the solid's own.
    pub base_m: Option<f64>,
}

/// The plate and what carries it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Plate {
    /// Diameter, m.
    pub diameter_m: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Diameter of the ring of balls or slides it rests on, m.
    pub bearing_m: f64,
    /// Coefficient of friction of that bearing, no unit.
    pub friction: f64,
    /// The most the bearing may carry, plate included, kg; `None` when its maker gives no figure.
    pub bearing_limit_kg: Option<f64>,
}

impl Default for Plate {
    /// A common hobby plate on a ring of balls; invented sizes.
    ///
    /// Friction: a bearing maker's catalogue gives 0.0010 to 0.0015 for thrust ball bearings and 0.01 to
    /// 0.02 for plain ones (Koyo, ball and roller bearings, table 4-1); pressed rings for turntables
    /// are rougher, so twice the upper figure is taken (knowledge without source).
    fn default() -> Self {
        Self { diameter_m: 0.25, mass_kg: 0.4, bearing_m: 0.12, friction: 0.003, bearing_limit_kg: None }
    }
}

impl Plate {
    /// Its moment of inertia about the axis, as a full disc, kg·m².
    pub fn inertia(&self) -> f64 {
        Solid::Cylinder { diameter_m: self.diameter_m }.own_inertia(self.mass_kg)
    }

    /// The torque that its bearing's friction takes with `load_kg` on it, N·m.
    ///
    /// M = μ·P·d/2 (Koyo, ball and roller bearings, section on the coefficient of friction).
    pub fn friction_torque_nm(&self, load_kg: f64) -> f64 {
        self.friction * (load_kg + self.mass_kg) * GRAVITY * self.bearing_m / 2.0
    }
}

/// The field of a load, plate or motor that something is wrong with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LoadField {
    /// The object's mass.
    Mass,
    /// The object's width or diameter.
    Width,
    /// The box's other side.
    Depth,
    /// The ring's inner diameter.
    Inner,
    /// The distance of its centre from the axis.
    OffCentre,
    /// Its height.
    Height,
    /// The width it stands on.
    Base,
    /// The plate's diameter.
    PlateDiameter,
    /// The plate's mass.
    PlateMass,
    /// The bearing's diameter.
    Bearing,
    /// The bearing's friction.
    Friction,
    /// What the bearing may carry.
    BearingLimit,
    /// The motor's torque figures.
    Motor,
}

/// Says which field cannot be, and why.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct LoadError {
    /// The field.
    pub field: LoadField,
    /// What is wrong with it and what would be right.
    pub message: String,
}

fn refuse(field: LoadField, message: String) -> LoadError {
    LoadError { field, message }
}

/// Checks one figure; written so that a NaN is refused too.
fn within(
    field: LoadField,
    name: &str,
    value: f64,
    low: f64,
    high: f64,
    unit: &str,
) -> Result<(), LoadError> {
    if value >= low && value <= high {
        return Ok(());
    }
    Err(refuse(field, format!("the {name} must be {low} to {high} {unit}, not {value}")))
}

/// Works out what a load asks of plate and motor.
///
/// # Errors
/// [`LoadError`] for the first figure that cannot be: below zero, not a number, beyond reason, or off
/// the plate.
pub fn assess(load: &Load, plate: &Plate, motor: &Motor) -> Result<LoadReport, LoadError> {
    check_load(load)?;
    let size = |field, name, value| within(field, name, value, 0.005, SIZE_MAX_M, "m");
    size(LoadField::PlateDiameter, "plate's diameter", plate.diameter_m)?;
    within(LoadField::PlateMass, "plate's mass", plate.mass_kg, 0.0, MASS_MAX_KG, "kg")?;
    size(LoadField::Bearing, "bearing's diameter", plate.bearing_m)?;
    if plate.bearing_m > plate.diameter_m {
        return Err(refuse(
            LoadField::Bearing,
            format!(
                "the bearing ({} m) cannot be wider than the plate ({} m)",
                plate.bearing_m, plate.diameter_m
            ),
        ));
    }
    within(
        LoadField::Friction,
        "bearing's coefficient of friction",
        plate.friction,
        0.0,
        1.0,
        "without unit",
    )?;
    if let Some(limit) = plate.bearing_limit_kg {
        within(LoadField::BearingLimit, "bearing's limit", limit, 0.01, 1000.0, "kg")?;
    }
    if load.off_centre_m > plate.diameter_m / 2.0 {
        return Err(refuse(
            LoadField::OffCentre,
            format!(
                "the object's centre stands {} m off the axis, beyond the plate's rim at {} m; move it in",
                load.off_centre_m,
                plate.diameter_m / 2.0
            ),
        ));
    }
    motor.check()?;
    Ok(report::work_out(load, plate, motor))
}

fn check_load(load: &Load) -> Result<(), LoadError> {
    let size = |field, name, value| within(field, name, value, 0.005, SIZE_MAX_M, "m");
    within(LoadField::Mass, "object's mass", load.mass_kg, 0.001, MASS_MAX_KG, "kg")?;
    match load.solid {
        Solid::Cylinder { diameter_m } | Solid::Sphere { diameter_m } => {
            size(LoadField::Width, "object's width", diameter_m)?;
        }
        Solid::Ring { outer_m, inner_m } => {
            size(LoadField::Width, "object's width", outer_m)?;
            within(LoadField::Inner, "ring's inner diameter", inner_m, 0.0, outer_m, "m")?;
        }
        Solid::Box { width_m, depth_m } => {
            size(LoadField::Width, "object's width", width_m)?;
            size(LoadField::Depth, "box's depth", depth_m)?;
        }
    }
    within(LoadField::OffCentre, "distance off centre", load.off_centre_m, 0.0, SIZE_MAX_M, "m")?;
    if let Some(height) = load.height_m {
        size(LoadField::Height, "object's height", height)?;
    }
    if let Some(base) = load.base_m {
        size(LoadField::Base, "width of the base", base)?;
    }
    Ok(())
}
