//! `roundstop adopt`: files shot before become a set's frames.

use std::collections::HashMap;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde::Serialize;
use session_core::adopt::{self, Adoption, Order, TimeSource};
use session_core::journal::{SESSION_FILE, SessionFolder, SetStatus};
use session_core::plan::Plan;

use super::{EXIT_MISSING, fault, status};

/// Where the files lie, and which set they become.
#[derive(Debug, Args)]
pub struct AdoptArgs {
    /// The folder the card was copied to; sub-folders count
    dir: PathBuf,
    /// The plan they were shot to
    #[arg(long, value_name = "FILE")]
    plan: PathBuf,
    /// The set's folder; made when it is not there
    #[arg(long, value_name = "SET")]
    into: PathBuf,
    /// What tells their order; needed where names and clock disagree
    #[arg(long, value_enum, value_name = "ORDER")]
    order: Option<OrderArg>,
    /// Copy without a question
    #[arg(long)]
    yes: bool,
    /// Print one JSON object; without --yes nothing is copied
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum OrderArg {
    /// File names, numbers by value
    Name,
    /// The camera's clock, else the files' times
    Time,
}

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct Printed<'a> {
    order: Order,
    clock: TimeSource,
    frames: Vec<PrintedFrame>,
    notes: &'a [String],
    adopted: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    status: Option<SetStatus>,
}

#[derive(Debug, Serialize)]
struct PrintedFrame {
    stop: u32,
    row: String,
    degrees: f64,
    files: Vec<String>,
    taken: String,
}

/// Runs `roundstop adopt`.
pub fn run(args: &AdoptArgs) -> u8 {
    match adopt(args) {
        Ok(code) => code,
        Err(error) => fault(&error),
    }
}

fn adopt(args: &AdoptArgs) -> anyhow::Result<u8> {
    let plan = super::read_plan(&args.plan)?;
    // A set that is not there yet is made only once the person has said yes.
    let is_there = args.into.join(SESSION_FILE).exists();
    let existing = is_there.then(|| SessionFolder::open_or_create(&args.into, &plan)).transpose()?;
    let (open, known) = match &existing {
        Some(folder) => adopt::open_stops(folder),
        None => (plan.stops(&jiff::ZonedDateTime::now().date().to_string())?, HashMap::new()),
    };
    let order = args.order.map(|order| match order {
        OrderArg::Name => Order::Name,
        OrderArg::Time => Order::Time,
    });
    let adoption = Adoption::new(&args.dir, &open, &known, order)?;
    if !args.json {
        print_table(&adoption, &plan);
    }
    if !args.yes && (args.json || !said_yes(args, &adoption)) {
        if args.json {
            print_json(&adoption, &plan, None);
        } else {
            println!("Nothing was copied.");
        }
        return Ok(EXIT_MISSING);
    }
    let folder = match existing {
        Some(folder) => folder,
        None => SessionFolder::open_or_create(&args.into, &plan)?,
    };
    adoption.carry_out(&folder, |kept| {
        eprintln!("stop {} kept: {}", kept.stop.index, kept.candidate.name.display());
    })?;
    let status = folder.status();
    let code = status::exit_code(&status);
    if args.json {
        print_json(&adoption, &plan, Some(status));
    } else {
        println!("{} The originals lie untouched in {}.", status::summary(&status), args.dir.display());
    }
    Ok(code)
}

fn print_table(adoption: &Adoption, plan: &Plan) {
    println!(" stop   degrees  row          taken                    files");
    for item in &adoption.matches {
        println!(
            "{:>5}  {:>8}  {:<12} {:<24} {}",
            item.stop.index,
            format!("{:.2}°", item.stop.angle.wrapped().degrees()),
            plan.rows[item.stop.row].name,
            item.at.to_string().replace('T', " "),
            names(item).join(" + ")
        );
    }
    let told = match (adoption.order, adoption.clock) {
        (Order::Name, _) => "by their names",
        (Order::Time, TimeSource::Camera) => "by the camera's clock",
        (Order::Time, TimeSource::FileTime) => "by the files' times",
    };
    println!("{} frames, put in order {told}. No table has confirmed their angles.", adoption.matches.len());
    for note in &adoption.notes {
        println!("{note}");
    }
}

/// The picture's path below the folder, then the other files' names.
fn names(item: &adopt::Match) -> Vec<String> {
    let others = item.candidate.files.iter().skip(1).map(|path| session_core::file_name::of_path(path));
    std::iter::once(item.candidate.name.display().to_string()).chain(others).collect()
}

fn print_json(adoption: &Adoption, plan: &Plan, status: Option<SetStatus>) {
    let frames = adoption.matches.iter().map(|item| PrintedFrame {
        stop: item.stop.index,
        row: plan.rows[item.stop.row].name.clone(),
        degrees: item.stop.angle.wrapped().degrees(),
        files: names(item),
        taken: item.at.to_string(),
    });
    let printed = Printed {
        order: adoption.order,
        clock: adoption.clock,
        frames: frames.collect(),
        notes: &adoption.notes,
        adopted: status.is_some(),
        status,
    };
    match serde_json::to_string_pretty(&printed) {
        Ok(text) => println!("{text}"),
        Err(error) => eprintln!("roundstop: the result cannot be written: {error}"),
    }
}

/// Asks where somebody can answer.
fn said_yes(args: &AdoptArgs, adoption: &Adoption) -> bool {
    if !io::stdin().is_terminal() {
        println!("To copy them into {}, run again with --yes.", args.into.display());
        return false;
    }
    print!("Copy these {} frames into {}? y = yes, n = no: ", adoption.matches.len(), args.into.display());
    let _ = io::stdout().flush();
    let mut line = String::new();
    io::stdin().lock().read_line(&mut line).is_ok() && line.trim().eq_ignore_ascii_case("y")
}
