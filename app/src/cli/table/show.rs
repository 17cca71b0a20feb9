//! `roundstop table show` and `forget`: what is kept of a table.

use anyhow::Context;
use session_core::calibration::store::{Provenance, Store, StoredSettle, TableCalibration};

use crate::studio::{self, TableSpec};

/// Where calibrations are kept.
pub fn store() -> anyhow::Result<Store> {
    let folder =
        studio::calibration_folder().context("this system names no folder for settings; set HOME")?;
    Ok(Store::new(folder))
}

/// Today, and how a figure came about.
pub fn today(method: &str) -> Provenance {
    Provenance { date: jiff::ZonedDateTime::now().date().to_string(), method: method.to_owned() }
}

/// Prints what is known of a table.
pub fn print(calibration: &TableCalibration) {
    println!("Table {}:", calibration.table);
    for sentence in calibration.sentences() {
        println!("  {sentence}");
    }
}

/// Runs `roundstop table show`.
pub fn show(table: Option<&TableSpec>, json: bool) -> anyhow::Result<()> {
    let store = store()?;
    let ids = match table {
        Some(table) => vec![studio::open_table(table).map_err(anyhow::Error::msg)?.id],
        None => store.tables()?,
    };
    let mut known = Vec::new();
    for id in &ids {
        known.push(store.load(id)?.unwrap_or_else(|| TableCalibration::new(id)));
    }
    if json {
        println!("{}", serde_json::to_string(&known)?);
    } else if known.is_empty() {
        println!(
            "No table has been measured here yet. 'roundstop table calibrate' and 'roundstop table play' do it."
        );
    }
    if !json {
        known.iter().for_each(print);
    }
    Ok(())
}

/// Keeps a settle time and how it came about.
pub fn settle(table: &TableSpec, seconds: f64, method: &str) -> anyhow::Result<()> {
    anyhow::ensure!(seconds <= 60.0, "the settle time must be at most 60 seconds, not {seconds}");
    let id = studio::open_table(table).map_err(anyhow::Error::msg)?.id;
    let settle = StoredSettle { seconds, measured: today(method) };
    print(&store()?.change(&id, |calibration| calibration.settle = Some(settle))?);
    Ok(())
}

/// Runs `roundstop table forget`.
pub fn forget(table: &TableSpec) -> anyhow::Result<()> {
    let id = studio::open_table(table).map_err(anyhow::Error::msg)?.id;
    match store()?.forget(&id)? {
        Some(aside) => println!("What was measured of table {id} is set aside as {}", aside.display()),
        None => println!("Nothing had been measured of table {id}."),
    }
    Ok(())
}
