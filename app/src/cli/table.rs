//! `roundstop table …`: what a table can carry, and how far it can be trusted.

use clap::{Args, Subcommand};

use super::fault;
use crate::studio::TableSpec;

mod calibrate;
mod load;
mod settle;
mod show;

/// Said wherever a table is about to be loaded or turned.
const CAUTION: &str = "Turning parts catch fingers, hair and cables: keep clear while the table turns. Secure tall, \
heavy and glass pieces, and unplug the motor's supply before you reach into it.";

/// What can be done with a table outside a session.
#[derive(Debug, Subcommand)]
pub enum TableCommand {
    /// Say what answers on a port, without moving or changing anything
    Probe(super::probe::ProbeArgs),
    /// Work out what a load asks of the motor, and which speed and acceleration suit it
    Load(Box<load::LoadArgs>),
    /// Say what has been measured of a table, or of all tables
    Show {
        /// The table: sim, or serial:PATH[@BAUD]; without it every table known here
        #[arg(long, value_name = "T")]
        table: Option<TableSpec>,
        /// Print one JSON list
        #[arg(long)]
        json: bool,
    },
    /// Measure the true steps in a turn by how far a mark is off after whole turns
    Calibrate(calibrate::ClosureArgs),
    /// Measure the gears' play by reaching one place from both sides
    Play(calibrate::PlayArgs),
    /// Keep the time a table needs to come to rest after a turn, or measure it in a live picture
    Settle(settle::SettleArgs),
    /// Set aside all that has been measured of a table
    Forget {
        #[command(flatten)]
        table: TableArg,
    },
}

#[derive(Debug, Args)]
pub struct TableArg {
    /// The table: sim, or serial:PATH[@BAUD]
    #[arg(long, value_name = "T")]
    table: TableSpec,
}

/// Runs `roundstop table …`.
pub fn run(command: &TableCommand) -> u8 {
    let done = match command {
        TableCommand::Probe(args) => return super::probe::run(args),
        TableCommand::Load(args) => return load::run(args),
        TableCommand::Show { table, json } => show::show(table.as_ref(), *json),
        TableCommand::Calibrate(args) => calibrate::closure(args),
        TableCommand::Play(args) => calibrate::play(args),
        TableCommand::Settle(args) => settle::run(args),
        TableCommand::Forget { table } => show::forget(&table.table),
    };
    match done {
        Ok(()) => super::EXIT_DONE,
        Err(error) => fault(&error),
    }
}
