//! `roundstop controller write`: the board's program, settings and wiring from a few answers.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};
use session_core::angle::{Angle, StepsPerTurn};

use super::{EXIT_DONE, EXIT_FAULT, usage};
use crate::controller_files::{self, Answers, BoardFiles, CAUTIONS, Driver, FIRST_TURN, Saved};

/// What can be done for the table's own controller.
#[derive(Debug, Subcommand)]
pub enum ControllerCommand {
    /// Save the board's program, its settings and a wiring sheet, and print the wiring
    Write(Box<WriteArgs>),
}

/// Where to, and the answers.
#[derive(Debug, Args)]
pub struct WriteArgs {
    /// The board's drive, or an existing folder to copy from
    dir: PathBuf,
    /// How the motor is driven
    #[arg(long, value_enum, default_value = "four_coils")]
    driver: DriverArg,
    /// Pins of the driver's IN1 to IN4
    #[arg(long, value_name = "P,P,P,P", value_parser = pins::<4>, default_value = "18,19,21,22")]
    coil_pins: [u8; 4],
    /// STEP pin of a step/direction driver
    #[arg(long, value_name = "PIN", default_value = "18")]
    step_pin: u8,
    /// DIR pin of a step/direction driver
    #[arg(long, value_name = "PIN", default_value = "19")]
    dir_pin: u8,
    /// ENABLE pin of a step/direction driver
    #[arg(long, value_name = "PIN", default_value = "21")]
    enable_pin: u8,
    /// The plate turns clockwise, seen from above, for a positive angle: turn it round
    #[arg(long)]
    reverse: bool,
    /// Steps in one turn of the plate, such as 1650688/405
    #[arg(long, value_name = "N/D", conflicts_with_all = ["gear", "motor_steps", "microsteps"])]
    steps_per_turn: Option<StepsPerTurn>,
    /// Turns of the motor for one of the plate, such as 25792/405
    #[arg(long, value_name = "N/D", value_parser = gear)]
    gear: Option<(i64, i64)>,
    /// Steps in a turn of the motor itself [default: 64 half-steps; 200 with a step/direction driver]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(i64).range(4..=10_000))]
    motor_steps: Option<i64>,
    /// Microsteps set on a step/direction driver [default: 16]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(i64).range(1..=256))]
    microsteps: Option<i64>,
    /// Pins of half and full press, one pin for full press alone, or none
    #[arg(long, value_name = "HALF,FULL|none", value_parser = shutter, default_value = "26,27")]
    shutter_pins: Shutter,
    /// Pin of the switch that lets the table turn alone, or none
    #[arg(long, value_name = "PIN|none", value_parser = pin_or_none, default_value = "4")]
    switch_pin: PinOrNone,
    /// Pin of the index sensor, or none
    #[arg(long, value_name = "PIN|none", value_parser = pin_or_none, default_value = "none")]
    index_pin: PinOrNone,
    /// The set speed, steps a second
    #[arg(long, value_name = "STEPS")]
    cruise: Option<u32>,
    /// The change of speed, steps a second, a second
    #[arg(long, value_name = "STEPS")]
    accel: Option<u32>,
    /// Put new files in the place of different ones, which are kept with the ending .old
    #[arg(long)]
    replace: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[value(rename_all = "snake_case")]
enum DriverArg {
    FourCoils,
    StepDir,
}

#[derive(Debug, Clone, Copy)]
struct PinOrNone(Option<u8>);

#[derive(Debug, Clone, Copy)]
struct Shutter {
    half: Option<u8>,
    full: Option<u8>,
}

fn pin(text: &str) -> Result<u8, String> {
    text.trim().parse().map_err(|_| format!("'{text}' is no pin number"))
}

fn pins<const N: usize>(text: &str) -> Result<[u8; N], String> {
    let all = text.split(',').map(pin).collect::<Result<Vec<_>, _>>()?;
    all.try_into().map_err(|_| format!("write {N} pin numbers with commas between"))
}

fn pin_or_none(text: &str) -> Result<PinOrNone, String> {
    Ok(PinOrNone(if text == "none" { None } else { Some(pin(text)?) }))
}

fn shutter(text: &str) -> Result<Shutter, String> {
    if text == "none" {
        return Ok(Shutter { half: None, full: None });
    }
    match text.split_once(',') {
        Some((half, full)) => Ok(Shutter { half: Some(pin(half)?), full: Some(pin(full)?) }),
        None => Ok(Shutter { half: None, full: Some(pin(text)?) }),
    }
}

/// Reads a ratio such as `25792/405` or `5.18`, exactly.
fn gear(text: &str) -> Result<(i64, i64), String> {
    let bad = || format!("'{text}' is no gear; write motor turns for one plate turn, such as 25792/405 or 5");
    // An angle is read exactly too; its degrees stand for the ratio.
    let ratio: Angle = text.parse().map_err(|_| bad())?;
    if !ratio.is_positive() {
        return Err(bad());
    }
    let exact = ratio.to_string();
    let (num, den) = match (exact.split_once('/'), exact.split_once('.')) {
        (Some((num, den)), _) => (num.to_owned(), den.to_owned()),
        (None, Some((whole, part))) => (format!("{whole}{part}"), format!("1{}", "0".repeat(part.len()))),
        (None, None) => (exact, "1".to_owned()),
    };
    Ok((num.parse().map_err(|_| bad())?, den.parse().map_err(|_| bad())?))
}

impl WriteArgs {
    fn answers(&self) -> Result<Answers, String> {
        let driver = match self.driver {
            DriverArg::FourCoils => Driver::FourCoils(self.coil_pins),
            DriverArg::StepDir => {
                Driver::StepDir { step: self.step_pin, dir: self.dir_pin, enable: self.enable_pin }
            }
        };
        Ok(Answers {
            driver,
            reverse: self.reverse,
            steps_per_turn: self.steps()?,
            cruise_rate: self.cruise,
            accel: self.accel,
            half_press_pin: self.shutter_pins.half,
            full_press_pin: self.shutter_pins.full,
            spin_switch_pin: self.switch_pin.0,
            index_pin: self.index_pin.0,
        })
    }

    fn steps(&self) -> Result<StepsPerTurn, String> {
        if let Some(steps) = self.steps_per_turn {
            return Ok(steps);
        }
        let motor = match self.driver {
            DriverArg::FourCoils if self.microsteps.is_some() => {
                return Err(
                    "--microsteps belongs to --driver step_dir; four coils are half-stepped".to_owned()
                );
            }
            DriverArg::FourCoils => {
                if self.gear.is_none() && self.motor_steps.is_none() {
                    return Ok(StepsPerTurn::HOBBY_HALF_STEPS);
                }
                self.motor_steps.unwrap_or(64)
            }
            DriverArg::StepDir => self.motor_steps.unwrap_or(200) * self.microsteps.unwrap_or(16),
        };
        let (num, den) = match (self.gear, self.driver) {
            (Some(gear), _) => gear,
            (None, DriverArg::FourCoils) => (25_792, 405),
            (None, DriverArg::StepDir) => (1, 1),
        };
        let steps = num.checked_mul(motor).ok_or("the gear is out of range")?;
        StepsPerTurn::new(steps, den).map_err(|error| error.to_string())
    }
}

/// Runs `roundstop controller …`.
pub fn run(command: &ControllerCommand) -> u8 {
    let ControllerCommand::Write(args) = command;
    let files = match args.answers().and_then(|answers| controller_files::prepare(&answers)) {
        Ok(files) => files,
        Err(reason) => return usage(&reason),
    };
    match controller_files::save(&files, &args.dir, args.replace) {
        Ok(saved) => {
            print(&files, &saved, &args.dir);
            EXIT_DONE
        }
        Err(reason) => {
            eprintln!("roundstop: {reason}");
            EXIT_FAULT
        }
    }
}

fn print(files: &BoardFiles, saved: &[Saved], folder: &Path) {
    for file in saved {
        match file {
            Saved::New(path) => println!("wrote    {}", path.display()),
            Saved::Same(path) => println!("the same {}", path.display()),
            Saved::Replaced(path, old) => {
                println!("wrote    {}, the old one is {}", path.display(), old.display());
            }
        }
    }
    println!("\nWiring (drawn in {}):", folder.join("wiring.svg").display());
    for wire in &files.wiring {
        let from = format!("{} {}", wire.from.part, wire.from.terminal);
        let to = format!("{} {}", wire.to.part, wire.to.terminal);
        let note = if wire.note.is_empty() {
            wire.line.word().to_owned()
        } else {
            format!("{}; {}", wire.line.word(), wire.note)
        };
        println!("  {from:<28} -> {to:<30} {note}");
    }
    println!("\nFrom bare board to first turn:");
    for (index, step) in FIRST_TURN.iter().enumerate() {
        println!("  {}. {step}", index + 1);
    }
    println!(
        "  Copy by: mpremote cp roundstop_table.py table_settings.py main.py :   (where the board shows no drive of its own)"
    );
    println!("\nCautions:");
    for caution in CAUTIONS {
        println!("  ! {caution}");
    }
}
