//! `roundstop table calibrate` and `play`: measuring a table with a mark on its rim.
//!
//! With the measured figure on the command line nothing turns. Without it the table is turned and the
//! answers are read from the standard input, from a person or a script.

use std::io::{self, BufRead, Write};

use anyhow::{Context, bail};
use clap::Args;
use session_core::angle::{Angle, StepsPerTurn};
use session_core::calibration::store::{StoredGearing, StoredPlay};
use session_core::calibration::{ClosureMeasurement, TURNS_MAX, check_play, gearing};
use session_core::cancel::CancelToken;

use super::super::cancelled_by_ctrl_c;
use super::show::{print, store, today};
use super::{CAUTION, TableArg};
use crate::studio::{self, OpenTable};

/// How far the table turns on before a mark is read, so that the gears lean one way.
const LEAN_DEG: i64 = 20;

#[derive(Debug, Args)]
pub struct ClosureArgs {
    #[command(flatten)]
    table: TableArg,
    /// How many turns are made; more turns measure finer
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(TURNS_MAX)))]
    turns: u32,
    /// Degrees the mark stood beyond its place after them, negative when it fell short; then nothing turns
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    leftover: Option<f64>,
    /// How far that reading may be off, degrees
    #[arg(long, value_name = "DEGREES", default_value = "0.5")]
    uncertainty: f64,
    /// Steps in a turn the turns were made with, where that was not the controller's own figure
    #[arg(long, value_name = "STEPS", requires = "leftover")]
    assumed: Option<StepsPerTurn>,
}

#[derive(Debug, Args)]
pub struct PlayArgs {
    #[command(flatten)]
    table: TableArg,
    /// The play as measured, degrees; then nothing turns
    #[arg(long, value_name = "DEGREES")]
    measured: Option<f64>,
    /// How far that figure may be off, degrees
    #[arg(long, value_name = "DEGREES", default_value = "0.2")]
    uncertainty: f64,
}

/// Runs `roundstop table calibrate`.
pub fn closure(args: &ClosureArgs) -> anyhow::Result<()> {
    let store = store()?;
    let mut open = studio::open_table(&args.table.table).map_err(anyhow::Error::msg)?;
    // A file that cannot be used is found out before the table turns.
    store.load(&open.id)?;
    let controller = open.table.facts().steps_per_turn;
    let (leftover_degrees, method) = match args.leftover {
        Some(leftover) => (leftover, "entered by a person"),
        None => (turn_and_ask(&mut open, args.turns)?, "read off a mark by a person"),
    };
    let measurement = ClosureMeasurement {
        turns: args.turns,
        leftover_degrees,
        uncertainty_degrees: args.uncertainty,
        method: format!("{method}, {leftover_degrees}° ± {}° after {} turns", args.uncertainty, args.turns),
    };
    let found = gearing(args.assumed.unwrap_or(controller), &measurement)?;
    println!("Measured: {:.3} ± {:.3} steps in a turn.", found.measured, found.uncertainty_steps);
    match &found.train {
        Some(train) => {
            println!("That is {train}; its exact figure {} is used from now on.", found.steps_per_turn);
        }
        None => println!("No known gear train fits it alone; the measured figure is used from now on."),
    }
    let gearing = StoredGearing {
        steps_per_turn: found.steps_per_turn,
        uncertainty_steps: found.uncertainty_steps,
        controller_steps_per_turn: controller,
        train: found.train,
        measured: today(&measurement.method),
    };
    print(&store.change(&open.id, |calibration| calibration.gearing = Some(gearing))?);
    Ok(())
}

/// Runs `roundstop table play`.
pub fn play(args: &PlayArgs) -> anyhow::Result<()> {
    let store = store()?;
    let mut open = studio::open_table(&args.table.table).map_err(anyhow::Error::msg)?;
    store.load(&open.id)?;
    let (degrees, method) = match args.measured {
        Some(degrees) => (degrees, "entered by a person"),
        None => (reach_from_both_sides(&mut open)?, "read off a mark by a person"),
    };
    check_play(degrees)?;
    anyhow::ensure!(
        (0.0..=180.0).contains(&args.uncertainty),
        "the uncertainty must be 0 to 180 degrees, not {}",
        args.uncertainty
    );
    let play = StoredPlay { degrees, uncertainty_degrees: args.uncertainty, measured: today(method) };
    print(&store.change(&open.id, |calibration| calibration.play = Some(play))?);
    Ok(())
}

/// The table on its own steps, with a Ctrl-C that stops it.
struct Bench<'a> {
    open: &'a mut OpenTable,
    steps: StepsPerTurn,
    cancel: CancelToken,
}

impl<'a> Bench<'a> {
    fn new(open: &'a mut OpenTable) -> anyhow::Result<Self> {
        eprintln!("{CAUTION}");
        ask("Clear the plate of all that could catch, then press Enter to let the table turn.")?;
        let cancel = cancelled_by_ctrl_c();
        let steps = open.table.facts().steps_per_turn;
        Ok(Self { open, steps, cancel })
    }

    fn here(&mut self) -> anyhow::Result<i64> {
        let position = self.open.table.position()?;
        // Only a table that does not know where it stands is given a zero: a set may count from the old one.
        Ok(if position.zero.is_some() { position.step } else { self.open.table.set_zero()?.step })
    }

    fn turn_to(&mut self, step: i64) -> anyhow::Result<()> {
        self.open.table.turn_to(step, &self.cancel, &mut |_| {})?;
        Ok(())
    }

    fn degrees(&self, degrees: i64) -> i64 {
        self.steps.nearest_step(Angle::from_turns(degrees, 360))
    }

    /// Turns on a little and stays there; gives the step.
    fn lean(&mut self) -> anyhow::Result<i64> {
        let place = self.here()? + self.degrees(LEAN_DEG);
        self.turn_to(place)?;
        Ok(place)
    }
}

fn turn_and_ask(open: &mut OpenTable, turns: u32) -> anyhow::Result<f64> {
    let mut bench = Bench::new(open)?;
    let place = bench.lean()?;
    ask("Put a mark on the rim exactly at a fixed pointer, then press Enter.")?;
    eprintln!("The table now makes {turns} turns. Ctrl-C stops it.");
    let goal = place + bench.steps.nearest_step(Angle::TURN.part(turns, 1));
    let turned = bench.turn_to(goal);
    let released = bench.open.table.release();
    turned?;
    released?;
    ask_degrees(
        "How many degrees does the mark stand beyond the pointer, the way the table turned? Write it negative when it fell \
         short. (1 mm on the rim of a plate of 25 cm is 0.46°.)",
    )
}

fn reach_from_both_sides(open: &mut OpenTable) -> anyhow::Result<f64> {
    let mut bench = Bench::new(open)?;
    let place = bench.lean()?;
    ask("Put a mark on the rim exactly at a fixed pointer, then press Enter.")?;
    let beyond = place + bench.degrees(LEAN_DEG);
    bench.turn_to(beyond)?;
    let turned = bench.turn_to(place);
    let released = bench.open.table.release();
    turned?;
    released?;
    ask_degrees(
        "The table has come back to the same place from the other side. How many degrees does the mark stand off the pointer? \
         (1 mm on the rim of a plate of 25 cm is 0.46°.)",
    )
}

/// Puts a question and waits for a line.
fn ask(question: &str) -> anyhow::Result<String> {
    eprint!("{question} ");
    io::stderr().flush().context("the question cannot be shown")?;
    let mut line = String::new();
    if io::stdin().lock().read_line(&mut line).context("the answer cannot be read")? == 0 {
        bail!(
            "there is no answer, so nothing was kept; give the figure on the command line, or answer the questions"
        );
    }
    Ok(line.trim().to_owned())
}

fn ask_degrees(question: &str) -> anyhow::Result<f64> {
    loop {
        let answer = ask(question)?;
        match answer.trim_end_matches(['°', ' ']).parse::<f64>() {
            Ok(degrees) if degrees.is_finite() => return Ok(degrees),
            _ => eprintln!("'{answer}' is not a number of degrees; write it like 1.8 or -0.5."),
        }
    }
}
