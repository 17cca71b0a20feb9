//! `roundstop list`: many products one after another, from a CSV file.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use session_core::engine::Intent;
use session_core::journal::SessionFolder;
use session_core::shoot_list::{Product, ShootList};

use super::{DeviceArgs, EXIT_DONE, EXIT_MISSING, RunArgs, fault, shoot};

#[derive(Debug, Subcommand)]
pub enum ListCommand {
    /// Show a shoot list and how far each product is
    Show {
        /// The list: CSV with columns sku, name, plan, notes, done
        file: PathBuf,
        /// The folder that the products' folders lie in
        #[arg(long, value_name = "DIR")]
        sets: Option<PathBuf>,
        /// Print one JSON object
        #[arg(long)]
        json: bool,
    },
    /// Shoot the next product that is not done, and mark it as done when its set is complete
    Next(Box<NextArgs>),
}

#[derive(Debug, Args)]
pub struct NextArgs {
    /// The list
    file: PathBuf,
    /// The folder for the products' folders, each named by its SKU
    #[arg(long, value_name = "DIR")]
    sets: PathBuf,
    /// Shoot this product instead
    #[arg(long)]
    sku: Option<String>,
    #[command(flatten)]
    devices: DeviceArgs,
    #[command(flatten)]
    run: RunArgs,
}

/// Runs `roundstop list`.
pub fn run(command: &ListCommand) -> u8 {
    match command {
        ListCommand::Show { file, sets, json } => match ShootList::read(file) {
            Ok(list) => show(&list, sets.as_deref(), *json),
            Err(error) => fault(&error.into()),
        },
        ListCommand::Next(args) => match next(args) {
            Ok(code) => code,
            Err(error) => fault(&error),
        },
    }
}

/// How far a product's set is, as its folder tells.
#[derive(serde::Serialize)]
struct Progress {
    sku: String,
    name: String,
    notes: String,
    done: bool,
    kept: usize,
    stops: usize,
}

fn progress(product: &Product, sets: Option<&Path>) -> Result<Progress, String> {
    let status = sets.and_then(|sets| SessionFolder::read_status(&sets.join(&product.sku)).ok());
    let (kept, stops) = match status {
        Some(status) => (status.kept(), status.stops.len()),
        None => {
            let plan = product.load_plan()?;
            (0, plan.stops("2026-01-31").map_err(|error| error.to_string())?.len())
        }
    };
    Ok(Progress {
        sku: product.sku.clone(),
        name: product.name.clone(),
        notes: product.notes.clone(),
        done: product.done,
        kept,
        stops,
    })
}

fn show(list: &ShootList, sets: Option<&Path>, json: bool) -> u8 {
    let rows: Result<Vec<Progress>, String> =
        list.products.iter().map(|product| progress(product, sets)).collect();
    let rows = match rows {
        Ok(rows) => rows,
        Err(reason) => return fault(&anyhow::anyhow!(reason)),
    };
    if json {
        println!("{}", serde_json::json!({ "products": rows }));
    } else {
        let wide = rows.iter().map(|row| row.sku.len()).max().unwrap_or(0);
        for row in &rows {
            let state = match (row.done, row.kept) {
                (true, _) => "done".to_owned(),
                (false, 0) => format!("{} stops to shoot", row.stops),
                (false, kept) => format!("{kept} of {} kept", row.stops),
            };
            println!("{:wide$}  {state:20}  {}  {}", row.sku, row.name, row.notes);
        }
    }
    if rows.iter().all(|row| row.done) { EXIT_DONE } else { EXIT_MISSING }
}

fn next(args: &NextArgs) -> anyhow::Result<u8> {
    let mut list = ShootList::read(&args.file)?;
    let product = match &args.sku {
        Some(sku) => Some(list.products.iter().find(|product| product.sku == *sku).ok_or_else(|| {
            anyhow::anyhow!("the list has no product {sku}; `roundstop list show` names them")
        })?),
        None => list.next_open(None),
    };
    let Some(product) = product.cloned() else {
        println!("Every product of the list is done.");
        return Ok(EXIT_DONE);
    };
    let plan = product.load_plan().map_err(anyhow::Error::msg)?;
    eprintln!("{} {} {}", product.sku, product.name, product.notes);
    let folder = SessionFolder::open_or_create(&args.sets.join(&product.sku), &plan)?;
    let code = shoot::run(folder, &args.devices, &args.run, Intent::Start);
    if code == EXIT_DONE {
        list.mark_done(&product.sku)?;
    }
    Ok(code)
}
