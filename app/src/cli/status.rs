//! `roundstop status`: what a set's folder holds.

use std::path::Path;

use session_core::journal::{SessionFolder, SetStatus};

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

fn print_table(status: &SetStatus) {
    println!(" stop   degrees  row          state      file");
    for stop in &status.stops {
        let versions = if stop.versions.len() > 1 {
            format!("  ({} versions)", stop.versions.len())
        } else {
            String::new()
        };
        println!(
            "{:>5}  {:>8}  {:<12} {:<10} {}{versions}",
            stop.index,
            format!("{:.2}°", stop.degrees),
            stop.row,
            crate::words::state(stop.state),
            stop.file.as_deref().unwrap_or("-")
        );
    }
    for note in &status.notes {
        println!("{note}");
    }
    println!("{}", summary(status));
}

/// One line: how far the set is.
pub fn summary(status: &SetStatus) -> String {
    let (kept, all) = (status.kept(), status.stops.len());
    if status.complete {
        format!("{}: complete, {all} of {all} stops kept.", status.sku)
    } else {
        format!("{}: {kept} of {all} stops kept, {} missing.", status.sku, all - kept)
    }
}
