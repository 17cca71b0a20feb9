//! `roundstop plate`: a frame of the table without the product, for a set's white background.

use std::path::Path;

use anyhow::Context;
use session_core::journal::SessionFolder;
use session_core::plan::Plan;

use super::{DeviceArgs, EXIT_DONE, cancelled_by_ctrl_c, fault, tell_recovery};
use crate::{listing, single_shot, studio};

/// Runs `roundstop plate DIR`.
pub fn run(dir: &Path, row: Option<&str>, devices: &DeviceArgs) -> u8 {
    match shoot(dir, row, devices) {
        Ok(name) => {
            println!("The empty table is kept as {name} and used for the finishing of this set.");
            EXIT_DONE
        }
        Err(error) => fault(&error),
    }
}

/// Shoots it and notes it in the set's settings; gives its name as seen from the set's folder.
fn shoot(dir: &Path, row: Option<&str>, devices: &DeviceArgs) -> anyhow::Result<String> {
    // Held until it is done, so that no session shoots into the set meanwhile.
    let folder = SessionFolder::open(dir)?;
    tell_recovery(&folder);
    let row = row_of(folder.plan(), row)?;
    let mut settings = listing::read_finishing(dir)?;
    let options = devices.options.studio();
    let mut studio = studio::open(&devices.table, &devices.camera, &options).map_err(anyhow::Error::msg)?;
    studio.camera.probe()?;
    let cancel = cancelled_by_ctrl_c();
    let prompt = |text: String| eprintln!("{text}");
    let name =
        single_shot::shoot_plate(&mut studio, &folder, &row, &cancel, &prompt).map_err(anyhow::Error::msg)?;
    settings.use_plate_of_row(row, Some(name.clone()));
    listing::write_finishing(dir, &settings).with_context(|| {
        format!("the empty table is kept as {name}, but not noted; name it with finish --plate")
    })?;
    Ok(name)
}

/// The row that is meant: each is seen from another height.
fn row_of(plan: &Plan, asked: Option<&str>) -> anyhow::Result<String> {
    let names: Vec<&str> = plan.rows.iter().map(|row| row.name.as_str()).collect();
    let all = names.join(", ");
    match (asked, names.as_slice()) {
        (Some(asked), _) if names.contains(&asked) => Ok(asked.to_owned()),
        (Some(asked), _) => anyhow::bail!("the plan has no row '{asked}'; its rows are {all}"),
        (None, [only]) => Ok((*only).to_owned()),
        (None, _) => anyhow::bail!(
            "the plan has several rows ({all}), each seen from another height; set the camera for one of them and name it with --row"
        ),
    }
}
