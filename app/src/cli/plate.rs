//! `roundstop plate`: a frame of the table without the product, for a set's white background.

use std::path::Path;

use anyhow::Context;
use session_core::cancel::CancelToken;
use session_core::journal::SessionFolder;

use super::{DeviceArgs, EXIT_DONE, fault};
use crate::{listing, single_shot, studio};

/// Runs `roundstop plate DIR`.
pub fn run(dir: &Path, devices: &DeviceArgs) -> u8 {
    match shoot(dir, devices) {
        Ok(name) => {
            println!("The empty table is kept as {name} and used for the finishing of this set.");
            EXIT_DONE
        }
        Err(error) => fault(&error),
    }
}

/// Shoots it and notes it in the set's settings; gives its name as seen from the set's folder.
fn shoot(dir: &Path, devices: &DeviceArgs) -> anyhow::Result<String> {
    // Held until it is done, so that no session shoots into the set meanwhile.
    let folder = SessionFolder::open(dir)?;
    let mut settings = listing::read_finishing(dir)?;
    let options = devices.options.studio();
    let mut studio = studio::open(&devices.table, &devices.camera, &options).map_err(anyhow::Error::msg)?;
    studio.camera.probe()?;
    let prompt = |text: String| eprintln!("{text}");
    let name = single_shot::shoot_plate(&mut studio, folder.root(), &CancelToken::default(), &prompt)
        .map_err(anyhow::Error::msg)?;
    settings.plate = Some(name.clone());
    listing::write_finishing(dir, &settings).with_context(|| {
        format!("the empty table is kept as {name}, but not noted; name it with finish --plate")
    })?;
    Ok(name)
}
