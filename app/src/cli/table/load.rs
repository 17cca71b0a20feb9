//! `roundstop table load`: what a load asks of the motor.

use clap::{Args, ValueEnum};
use session_core::angle::StepsPerTurn;
use session_core::load::{self, Load, LoadError, LoadField, LoadReport, Motor, Plate, Solid, TorquePoint};

use super::super::units::{length_mm, length_or_zero_mm, mass_kg};
use super::super::{EXIT_DONE, EXIT_FAULT, usage};
use super::CAUTION;

/// The solid an object comes nearest to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Shape {
    /// Full and round, the safe guess for most pots
    Cylinder,
    /// A round wall without core, such as an empty vase
    Ring,
    /// With corners
    Box,
    /// A ball
    Sphere,
}

#[derive(Debug, Args)]
pub struct LoadArgs {
    /// The object's mass, such as 1.2kg or 300g
    #[arg(long, value_parser = mass_kg)]
    mass: f64,
    /// The object's widest width, such as 20cm
    #[arg(long, value_parser = length_mm)]
    width: f64,
    /// What the object comes nearest to
    #[arg(long, value_enum, default_value = "cylinder")]
    shape: Shape,
    /// Inner diameter of a ring
    #[arg(long, value_parser = length_mm)]
    inner: Option<f64>,
    /// The other side of a box
    #[arg(long, value_parser = length_mm)]
    depth: Option<f64>,
    /// How far the object's middle stands off the table's axis
    #[arg(long, value_name = "LENGTH", default_value = "0", value_parser = length_or_zero_mm)]
    off_centre: f64,
    /// The object's height; then it is also said whether it may topple
    #[arg(long, value_parser = length_mm)]
    height: Option<f64>,
    /// The width the object stands on, where that is less than its widest
    #[arg(long, value_parser = length_mm)]
    base: Option<f64>,
    /// Diameter of the plate
    #[arg(long, value_name = "LENGTH", default_value = "25cm", value_parser = length_mm)]
    plate: f64,
    /// Mass of the plate
    #[arg(long, value_name = "MASS", default_value = "400g", value_parser = mass_kg)]
    plate_mass: f64,
    /// Diameter of the ring of balls the plate rests on
    #[arg(long, value_name = "LENGTH", default_value = "12cm", value_parser = length_mm)]
    bearing: f64,
    /// Coefficient of friction of that ring
    #[arg(long, value_name = "NUMBER", default_value = "0.003")]
    bearing_friction: f64,
    /// What the bearing may carry by its maker's word, plate included
    #[arg(long, value_name = "MASS", value_parser = mass_kg)]
    bearing_limit: Option<f64>,
    /// The motor: hobby, or its torque at the plate as RATE:TORQUE,… in steps a second and mN·m, rates rising
    #[arg(long, default_value = "hobby")]
    motor: String,
    /// Steps in a turn of the plate, for a motor by its own figures
    #[arg(long, value_name = "STEPS", default_value = "1650688/405")]
    motor_steps: StepsPerTurn,
    /// How many of those steps make one full step of the motor
    #[arg(long, value_name = "N", default_value = "2")]
    motor_full_step: f64,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs `roundstop table load`: usage where a figure cannot be, fault where the load must not be turned.
pub fn run(args: &LoadArgs) -> u8 {
    let report = match assess(args) {
        Ok(report) => report,
        Err(reason) => return usage(&reason),
    };
    if args.json {
        println!("{}", as_json(&report));
    } else {
        for warning in &report.warnings {
            println!("{}: {}.", severity_word(warning.severity), warning.message);
        }
        for sentence in report.sentences() {
            println!("{sentence}");
        }
        println!("{CAUTION}");
    }
    if report.is_dangerous() { EXIT_FAULT } else { EXIT_DONE }
}

fn severity_word(severity: load::Severity) -> &'static str {
    match severity {
        load::Severity::Danger => "DANGER",
        load::Severity::Caution => "Caution",
    }
}

fn as_json(report: &LoadReport) -> String {
    let mut value = serde_json::to_value(report).unwrap_or_default();
    value["inertia_kg_m2"] = report.inertia_kg_m2().into();
    value["may_turn"] = (!report.is_dangerous()).into();
    value.to_string()
}

fn assess(args: &LoadArgs) -> Result<LoadReport, String> {
    let metres = |mm: f64| mm / 1000.0;
    let width = metres(args.width);
    let solid = match args.shape {
        Shape::Cylinder => Solid::Cylinder { diameter_m: width },
        Shape::Sphere => Solid::Sphere { diameter_m: width },
        Shape::Ring => Solid::Ring {
            outer_m: width,
            inner_m: metres(args.inner.ok_or("a ring needs --inner, its inner diameter")?),
        },
        Shape::Box => Solid::Box { width_m: width, depth_m: metres(args.depth.unwrap_or(args.width)) },
    };
    if args.inner.is_some() && args.shape != Shape::Ring {
        return Err("--inner goes with --shape ring".to_owned());
    }
    if args.depth.is_some() && args.shape != Shape::Box {
        return Err("--depth goes with --shape box".to_owned());
    }
    let load = Load {
        solid,
        mass_kg: args.mass,
        off_centre_m: metres(args.off_centre),
        height_m: args.height.map(metres),
        base_m: args.base.map(metres),
    };
    let plate = Plate {
        diameter_m: metres(args.plate),
        mass_kg: args.plate_mass,
        bearing_m: metres(args.bearing),
        friction: args.bearing_friction,
        bearing_limit_kg: args.bearing_limit,
    };
    load::assess(&load, &plate, &motor(args)?)
        .map_err(|LoadError { field, message }| format!("{}: {message}", flag(field)))
}

/// The flag a field was typed with.
fn flag(field: LoadField) -> &'static str {
    match field {
        LoadField::Mass => "--mass",
        LoadField::Width => "--width",
        LoadField::Depth => "--depth",
        LoadField::Inner => "--inner",
        LoadField::OffCentre => "--off-centre",
        LoadField::Height => "--height",
        LoadField::Base => "--base",
        LoadField::PlateDiameter => "--plate",
        LoadField::PlateMass => "--plate-mass",
        LoadField::Bearing => "--bearing",
        LoadField::Friction => "--bearing-friction",
        LoadField::BearingLimit => "--bearing-limit",
        LoadField::Motor => "--motor",
    }
}

fn motor(args: &LoadArgs) -> Result<Motor, String> {
    if args.motor == "hobby" {
        return Ok(Motor::hobby());
    }
    let point = |text: &str| {
        let (rate, torque) = text.split_once(':')?;
        let torque_nm = torque.trim().parse::<f64>().ok()? / 1000.0;
        Some(TorquePoint { steps_per_sec: rate.trim().parse().ok()?, torque_nm })
    };
    let points: Option<Vec<TorquePoint>> = args.motor.split(',').map(point).collect();
    let points = points.ok_or_else(|| {
        format!(
            "--motor: '{}' is no motor; write hobby, or points such as 200:400,1000:150 (steps a second : mN·m at the plate)",
            args.motor
        )
    })?;
    Ok(Motor::from_figures(args.motor_steps, args.motor_full_step, points))
}
