//! `roundstop plan`: making and looking at plans.

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Subcommand};
use session_core::angle::Angle;
use session_core::file_name::NamePattern;
use session_core::journal::durable;
use session_core::motion::{Direction, SpeedProfile};
use session_core::plan::{Plan, Row};

use super::{EXIT_DONE, fault, read_plan, usage};

#[derive(Debug, Subcommand)]
pub enum PlanCommand {
    /// Write a new plan file
    New(Box<NewArgs>),
    /// List a plan's stops, file names and time
    Show {
        /// The plan
        file: PathBuf,
    },
}

#[derive(Debug, Args)]
pub struct NewArgs {
    /// The file to write; an existing one is not replaced
    file: PathBuf,
    /// The product's SKU; part of every file name
    #[arg(long)]
    sku: String,
    /// The product's name
    #[arg(long, default_value = "")]
    title: String,
    /// How many stops each row has
    #[arg(long, value_name = "N")]
    stops: u32,
    /// Where the first stop lies, degrees along the direction
    #[arg(long, value_name = "D", default_value = "0", allow_hyphen_values = true)]
    start: Angle,
    /// How far a row reaches, degrees; less than 360 has a stop at each end
    #[arg(long, value_name = "D", default_value = "360")]
    arc: Angle,
    /// Turn with the clock, seen from above
    #[arg(long, conflicts_with = "anticlockwise")]
    clockwise: bool,
    /// Turn against the clock, seen from above (the default)
    #[arg(long)]
    anticlockwise: bool,
    /// Rows as NAME[:STOPS[:TILT NOTE]], parted by commas, such as 'level,high:12:camera 40 cm up, tilt 30°'
    #[arg(long, value_name = "ROWS")]
    rows: Option<String>,
    /// Stop numbers left out of every row, parted by commas
    #[arg(long = "leave-out", alias = "skip", value_name = "NUMBERS", value_delimiter = ',')]
    skip: Vec<u32>,
    /// File names, with {sku} {row} {stop} {degrees} {date}
    #[arg(long, value_name = "PATTERN")]
    file_name: Option<String>,
    /// Closing frame: shoot the first stop of each whole-turn row once more, a full turn on, to see whether the turn
    /// closes; it is no part of the set
    #[arg(long)]
    closing_frame: bool,
    /// The wait between the end of a turn and the exposure, seconds
    #[arg(long, value_name = "SECONDS")]
    settle: Option<f64>,
    /// Watch the live picture after each turn and expose as soon as it stands still, after this many seconds
    /// at most; where it does not tell, the settle time is waited
    #[arg(long, value_name = "SECONDS")]
    rest_within: Option<f64>,
    /// How long the shutter is taken to be open, seconds
    #[arg(long, value_name = "SECONDS")]
    exposure: Option<f64>,
}

/// Runs `roundstop plan …`.
pub fn run(command: &PlanCommand) -> u8 {
    match command {
        PlanCommand::New(args) => new(args),
        PlanCommand::Show { file } => show(file),
    }
}

fn new(args: &NewArgs) -> u8 {
    let mut plan = Plan::single_row(&args.sku, args.stops);
    plan.title.clone_from(&args.title);
    plan.direction = if args.clockwise { Direction::Clockwise } else { Direction::Anticlockwise };
    plan.rows = match rows(args) {
        Ok(rows) => rows,
        Err(reason) => return usage(&reason),
    };
    if let Some(pattern) = &args.file_name {
        plan.file_name = NamePattern(pattern.clone());
    }
    plan.closing_frame = args.closing_frame;
    plan.settle_secs = args.settle.unwrap_or(plan.settle_secs);
    plan.rest_within_secs = args.rest_within;
    plan.exposure_secs = args.exposure.unwrap_or(plan.exposure_secs);
    let problems = plan.problems();
    if !problems.is_empty() {
        for problem in problems {
            eprintln!("roundstop: {problem}");
        }
        return super::EXIT_USAGE;
    }
    match write(&args.file, &plan) {
        Ok(()) => {
            let stops = plan.stops("2026-01-31").map_or(0, |stops| stops.len());
            let time = crate::words::duration(plan.estimate_secs(&SpeedProfile::default()));
            println!(
                "{} written: {stops} stops, about {time} on a common geared stepper.",
                args.file.display()
            );
            EXIT_DONE
        }
        Err(error) => fault(&error),
    }
}

/// Writes a plan without replacing anything.
fn write(file: &Path, plan: &Plan) -> anyhow::Result<()> {
    let folder = durable::parent_of(file);
    let name = file.file_name().context("the plan file has no name")?.to_string_lossy();
    anyhow::ensure!(
        !file.exists(),
        "{} is there already and is not replaced; choose another name",
        file.display()
    );
    durable::Part::write(folder, &name, plan.to_json().as_bytes())?.settle(file)?;
    durable::sync_folder(folder)?;
    Ok(())
}

fn rows(args: &NewArgs) -> Result<Vec<Row>, String> {
    let row = |name: &str, stops: u32, tilt_note: &str| Row {
        name: name.to_owned(),
        tilt_note: tilt_note.to_owned(),
        stops,
        start: args.start,
        arc: args.arc,
        skip: args.skip.clone(),
    };
    let Some(text) = &args.rows else { return Ok(vec![row("level", args.stops, "")]) };
    let mut rows: Vec<Row> = Vec::new();
    for item in text.split(',') {
        let mut parts = item.splitn(3, ':').map(str::trim);
        let name = parts.next().unwrap_or_default();
        // A comma inside a note: the item belongs to the note before it.
        if let Some(before) =
            rows.last_mut().filter(|before| !before.tilt_note.is_empty() && item.starts_with(' '))
        {
            if looks_like_a_row(item) {
                return Err(format!(
                    "'{}' looks like a row of its own, but after a comma with a space it belongs to the note of '{}'; leave the space out for a row, or the colon for a note",
                    item.trim(),
                    before.name
                ));
            }
            before.tilt_note = format!("{},{item}", before.tilt_note);
            continue;
        }
        let stops = match parts.next().filter(|stops| !stops.is_empty()) {
            None => args.stops,
            Some(stops) => stops
                .parse()
                .map_err(|_| format!("'{item}' has no number of stops after its name; write NAME:STOPS"))?,
        };
        rows.push(row(name, stops, parts.next().unwrap_or_default()));
    }
    Ok(rows)
}

/// Whether a part of a note reads as NAME:STOPS.
fn looks_like_a_row(item: &str) -> bool {
    let mut parts = item.split(':').map(str::trim);
    let name = parts.next().unwrap_or_default();
    !name.is_empty() && parts.next().is_some_and(|stops| stops.parse::<u32>().is_ok())
}

fn show(file: &Path) -> u8 {
    let plan = match read_plan(file) {
        Ok(plan) => plan,
        Err(error) => return fault(&error),
    };
    let date = jiff::ZonedDateTime::now().date().to_string();
    let shots = match plan.shots(&date) {
        Ok(shots) => shots,
        Err(error) => return fault(&error.into()),
    };
    println!("{}  {}  {}", plan.sku, plan.title, plan.direction.word());
    for stop in &shots {
        let row = &plan.rows[stop.row];
        println!(
            "{:>5}  {:>8}°  {:<12} {}{}",
            stop.index,
            stop.angle.wrapped().short_degrees(),
            row.name,
            stop.file_stem,
            if stop.closing { "  (closing frame, no part of the set)" } else { "" }
        );
    }
    let time = crate::words::duration(plan.estimate_secs(&SpeedProfile::default()));
    println!(
        "{} stops, about {time} on a common geared stepper.",
        shots.iter().filter(|stop| !stop.closing).count()
    );
    EXIT_DONE
}
