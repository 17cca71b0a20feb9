//! `roundstop table probe`: what answers on a port, without moving or changing anything.

use std::collections::BTreeMap;
use std::str::FromStr;

use clap::Args;
use session_core::turntable::serial::{OtherController, Probed, ProbedTable, probe};

use super::{EXIT_DONE, EXIT_FAULT, EXIT_MISSING, fault};
use crate::studio::TableSpec;

/// Which port.
#[derive(Debug, Args)]
pub struct ProbeArgs {
    /// The port's path or name, with its speed unless that is 115200
    #[arg(value_name = "PORT[@BAUD]", value_parser = port)]
    port: (String, u32),
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

fn port(text: &str) -> Result<(String, u32), String> {
    let rest = text.strip_prefix("serial:").unwrap_or(text);
    match TableSpec::from_str(&format!("serial:{rest}")) {
        Ok(TableSpec::Serial { path, baud }) => Ok((path, baud)),
        _ => Err(format!("'{text}' is no port; write PATH or PATH@BAUD")),
    }
}

/// Runs `roundstop table probe PORT`: 0 for a table that is ready, 3 for anything else that answers or nothing.
pub fn run(args: &ProbeArgs) -> u8 {
    let (port, baud) = &args.port;
    let found = match probe(port, *baud) {
        Ok(found) => found,
        Err(error) => return fault(&error.into()),
    };
    if args.json {
        match serde_json::to_string_pretty(&found) {
            Ok(text) => println!("{text}"),
            Err(error) => {
                eprintln!("roundstop: what was found cannot be written: {error}");
                return EXIT_FAULT;
            }
        }
    } else {
        for line in words(port, &found) {
            println!("{line}");
        }
    }
    match found {
        Probed::Table(table) if table.refusal.is_none() => EXIT_DONE,
        _ => EXIT_MISSING,
    }
}

/// What was found, in words.
pub fn words(port: &str, found: &Probed) -> Vec<String> {
    let mut lines = match found {
        Probed::Table(table) => table_words(port, table),
        Probed::Other(other) => other_words(port, other),
        Probed::Nothing => vec![format!(
            "Nothing answers at {port}. Check that the table has power, that the cable carries data, and the speed."
        )],
    };
    lines.push(
        "Nothing was moved and no setting changed. Opening a port pulses its DTR line: many boards start anew on that and forget \
         where they stand."
            .to_owned(),
    );
    lines
}

fn table_words(port: &str, table: &ProbedTable) -> Vec<String> {
    let mut lines = Vec::new();
    if table.program.is_empty() {
        lines.push(format!("A table controller answers at {port}."));
    } else {
        lines.push(format!("{port}: {}, protocol {}, id {}", table.program, table.protocol, table.id));
    }
    if let Some(reason) = &table.refusal {
        lines.push(format!("It refuses to work: {reason}. Correct that, then reset its board."));
    }
    let mut left: BTreeMap<&str, &str> =
        table.settings.iter().map(|(key, value)| (key.as_str(), value.as_str())).collect();
    let mut take = |key: &str| left.remove(key);
    if let (Some(num), Some(den)) = (take("steps_num"), take("steps_den")) {
        let steps = match (num.parse::<f64>(), den.parse::<f64>()) {
            (Ok(num), Ok(den)) if den > 0.0 => format!(" = {:.2}", num / den),
            _ => String::new(),
        };
        lines.push(format!("  gear         {num}/{den}{steps} steps in a turn of the plate"));
    }
    if let (Some(start), Some(cruise), Some(accel)) = (take("start_rate"), take("cruise_rate"), take("accel"))
    {
        lines.push(format!(
            "  speed        from {start} to {cruise} steps a second, changing by {accel} a second, a second"
        ));
    }
    match take("jerk") {
        None | Some("0") => {}
        Some(jerk) => lines.push(format!("  soft ramps   {jerk} steps a second, each second, each second")),
    }
    if let Some(shutter) = take("shutter") {
        lines.push(format!("  shutter      {}", if shutter == "1" { "wired" } else { "not wired" }));
    }
    if let Some(secs) = take("idle_release_s") {
        lines.push(format!("  idle coils   off after {secs} s"));
    }
    for (key, value) in left {
        lines.push(format!("  {key:<12} {value}"));
    }
    let status = |key: &str| table.status.get(key).map(String::as_str);
    if let (Some(angle), Some(step)) = (status("a"), status("step")) {
        let known = if status("known") == Some("1") { "known" } else { "not known: set zero before a set" };
        lines.push(format!("  position     {angle}° (step {step}), {known}"));
    }
    if let Some(state) = status("state") {
        lines.push(format!("  state        {state}"));
    }
    lines.push(format!(
        "  index        {}",
        match status("index") {
            None | Some("none") => "none",
            Some("on") => "wired, on at this place",
            Some(_) => "wired, off at this place",
        }
    ));
    if let Some(coils) = status("coils") {
        lines.push(format!("  coils        {}", if coils == "1" { "on" } else { "off" }));
    }
    if table.started_anew {
        lines.push("  Its banner came just now: it has started anew.".to_owned());
    }
    lines
}

fn other_words(port: &str, other: &OtherController) -> Vec<String> {
    let mut lines = vec![format!("Something answers at {port}, but not with the table's own program.")];
    lines.extend(other.banner.iter().map(|line| format!("  unasked      {line}")));
    lines.extend(other.answers.iter().map(|line| format!("  to questions {line}")));
    let all = || other.banner.iter().chain(&other.answers);
    if all().any(|line| line.contains(">>>") || line.contains("MicroPython")) {
        lines.push(
            "It is a MicroPython prompt: copy the table's program to the board (roundstop controller write)."
                .to_owned(),
        );
    } else if let Some(dialect) = other.dialect {
        lines.push(format!(
            "Its answers look like the dialect '{dialect}'. Try: --table serial:{port} --dialect {dialect} --table-steps N/D"
        ));
        if dialect == "dwell" {
            lines.push(
                "Whether its ok means queued or moved, only a move can tell; 'dwell' is right for both."
                    .to_owned(),
            );
        }
    }
    lines
}
