//! `roundstop export`: finished pictures become a shop's listing, for one set or a whole list.

use std::path::PathBuf;

use clap::Args;
use session_core::shoot_list::{ShootList, sets_beside};

use super::finish::{BatchArgs, pictures};
use super::{EXIT_DONE, EXIT_FAULT, fault, usage};
use crate::listing::{self, ExportOrder, ExportReport};
use crate::words::{file_size, with_causes};

#[derive(Debug, Args)]
pub struct ExportArgs {
    /// The set's folder
    #[arg(required_unless_present = "list", conflicts_with = "list")]
    dir: Option<PathBuf>,
    /// Export every product of a shoot list; each goes to its own folder in OUT
    #[arg(long, value_name = "FILE")]
    list: Option<PathBuf>,
    /// The folder that the products' folders lie in; 'sets' beside the list where it is not named
    #[arg(long, value_name = "DIR", requires = "list")]
    sets: Option<PathBuf>,
    /// The listing profile: square (2000 px JPEG), wide (1600 × 1200 JPEG), light (800 px WebP), or a TOML file
    #[arg(long, value_name = "P")]
    profile: String,
    /// The listing's folder; an earlier listing there is replaced as a whole
    #[arg(long, value_name = "OUT")]
    to: PathBuf,
    #[command(flatten)]
    run: BatchArgs,
}

/// Runs `roundstop export`.
pub fn run(args: &ExportArgs) -> u8 {
    match export(args) {
        Ok(code) => code,
        Err(error) => fault(&error),
    }
}

fn export(args: &ExportArgs) -> anyhow::Result<u8> {
    let profile = listing::read_profile(&args.profile)?;
    let Some(list) = &args.list else {
        let Some(dir) = &args.dir else { return Ok(usage("name the set's folder, or a list with --list")) };
        let order = ExportOrder { dir, profile: &profile, to: args.to.clone(), title: None };
        let report = args.run.with_meter(|meter, _| listing::export(&order, meter))?;
        if args.run.json {
            println!("{}", serde_json::to_string_pretty(&report)?);
        } else {
            say(&report);
        }
        return Ok(EXIT_DONE);
    };
    let sets = args.sets.clone().unwrap_or_else(|| sets_beside(list));
    let list = ShootList::read(list)?;
    let mut reports = Vec::new();
    let mut failed = Vec::new();
    args.run.with_meter(|meter, aside| {
        for product in &list.products {
            let dir = sets.join(&product.sku);
            let to = args.to.join(&product.sku);
            let order = ExportOrder { dir: &dir, profile: &profile, to, title: Some(&product.name) };
            let outcome = listing::export(&order, meter);
            anyhow::ensure!(!meter.cancel.is_cancelled(), "stopped; run it again to go on where it was");
            match outcome {
                Ok(report) => {
                    // A long list is watched: each product is told as soon as it is done.
                    if !args.run.json {
                        aside(&|| say(&report));
                    }
                    reports.push(report);
                }
                // One product's trouble does not hold up the others.
                Err(error) => {
                    let reason = with_causes(&error);
                    aside(&|| eprintln!("roundstop: {}: {reason}", product.sku));
                    failed.push((&product.sku, reason));
                }
            }
        }
        Ok(())
    })?;
    if args.run.json {
        let failed: Vec<_> =
            failed.iter().map(|(sku, reason)| serde_json::json!({ "sku": sku, "reason": reason })).collect();
        println!("{}", serde_json::json!({ "listings": reports, "failed": failed }));
    } else {
        println!("{} of {} products exported.", reports.len(), list.products.len());
    }
    Ok(if failed.is_empty() { EXIT_DONE } else { EXIT_FAULT })
}

fn say(report: &ExportReport) {
    println!(
        "{}: {} as '{}' with a margin of {} % in {} ({} made, {} unchanged; the largest has {}).",
        report.sku,
        pictures(report.pictures),
        report.profile,
        report.margin_percent,
        report.folder,
        report.made,
        report.pictures - report.made,
        file_size(report.largest_bytes)
    );
    for note in &report.notes {
        println!("  note: {note}");
    }
}
