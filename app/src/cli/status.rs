//! `roundstop status`: what a set's folder holds.

use std::path::Path;

use session_core::journal::{SessionFolder, SetStatus, StopReport};

use super::{EXIT_DONE, EXIT_MISSING, fault};

/// Runs `roundstop status DIR`.
pub fn run(dir: &Path, json: bool) -> u8 {
    let status = match SessionFolder::read_status(dir) {
        Ok(status) => status,
        Err(error) => return fault(&error.into()),
    };
    if json {
        print_json(&status);
    } else {
        print_table(&status);
    }
    exit_code(&status)
}

/// 0 for a complete set, 3 for one with stops missing.
pub fn exit_code(status: &SetStatus) -> u8 {
    if status.complete { EXIT_DONE } else { EXIT_MISSING }
}

/// Prints the status as one JSON object.
pub fn print_json(status: &SetStatus) {
    match serde_json::to_string_pretty(status) {
        Ok(text) => println!("{text}"),
        Err(error) => eprintln!("roundstop: the status cannot be written: {error}"),
    }
}

fn print_stop(stop: &StopReport, more: &str) {
    println!(
        "{:>5}  {:>8}  {:<12} {:<10} {}{more}",
        stop.index,
        format!("{:.2}°", stop.degrees),
        stop.row,
        crate::words::state(stop.state),
        stop.file.as_deref().unwrap_or("-"),
    );
}

fn print_table(status: &SetStatus) {
    println!(" stop   degrees  row          state      file");
    for stop in &status.stops {
        let versions = if stop.versions.len() > 1 {
            format!("  ({} versions)", stop.versions.len())
        } else {
            String::new()
        };
        let flagged =
            if stop.flags.is_empty() { String::new() } else { format!("  doubtful: {}", flags(stop)) };
        print_stop(stop, &format!("{versions}{flagged}"));
    }
    for closing in &status.closing {
        let stop = &closing.stop;
        let note = match (&stop.file, closing.is_a_turn_on) {
            (Some(_), false) => ", not a turn on from the first frame",
            _ => "",
        };
        print_stop(stop, &format!("  (closing frame{note})"));
    }
    for sentence in flagged(status).iter().chain(&status.notes) {
        println!("{sentence}");
    }
    println!("{}", summary(status));
}

/// One line: how far the set is.
pub fn summary(status: &SetStatus) -> String {
    let (kept, all) = (status.kept(), status.stops.len());
    let flagged = match status.flagged().count() {
        0 => String::new(),
        1 => " 1 frame is doubtful.".to_owned(),
        several => format!(" {several} frames are doubtful."),
    };
    if status.complete {
        format!("{}: complete, {all} of {all} stops kept.{flagged}", status.sku)
    } else {
        format!("{}: {kept} of {all} stops kept, {} missing.{flagged}", status.sku, all - kept)
    }
}

/// Kinds and amounts of a stop's flags.
fn flags(stop: &StopReport) -> String {
    stop.flags.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// A sentence for each flag on a frame in use; none for a set without flags.
pub fn flagged(status: &SetStatus) -> Vec<String> {
    let of_stop = |stop: &StopReport| -> Vec<String> {
        stop.flags.iter().map(|flag| format!("Stop {}: {flag}: {}.", stop.index, flag.reason)).collect()
    };
    status.flagged().flat_map(of_stop).collect()
}
