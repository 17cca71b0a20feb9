//! The demo studio: simulated devices and a plan of an invented pottery, ready to start.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use session_core::camera::simulated::SimExposure;
use session_core::journal::SessionFolder;
use session_core::plan::Plan;

use crate::cli::{EXIT_DONE, EXIT_FAULT};
use crate::settings::{self, Settings};
use crate::studio::{CameraSpec, StudioOptions, TableSpec};
use crate::window::WindowStart;
use crate::words::with_causes;

/// The demo's plan; the same file that lies in `demo-data/plans`.
const PLAN: &str = include_str!("../../demo-data/plans/mug-24.json");

/// What the window starts with when nothing else is asked for.
///
/// # Errors
/// When no folder for the demo's sets can be found.
pub fn start() -> anyhow::Result<WindowStart> {
    Ok(WindowStart {
        plan: Plan::from_json(PLAN).context("the demo plan is damaged")?,
        own_plan: false,
        folder: free_folder()?,
        table: TableSpec::Sim,
        camera: CameraSpec::Sim,
        options: StudioOptions::default(),
        note: Some(
            "This is the demo studio: a simulated table and camera. Press Start to shoot the set.".to_owned(),
        ),
        settings: Settings::default(),
        remember: None,
    })
}

/// Goes on where the last start ended: with the set and the devices in use then, or else on the demo.
fn remembered() -> anyhow::Result<WindowStart> {
    let mut start = start()?;
    let Some(place) = settings::place() else { return Ok(start) };
    let settings = settings::read(&place);
    if let Some(last) = settings.last_set() {
        last.clone_into(&mut start.folder);
        let devices = settings.table.as_deref().and_then(|table| table.parse().ok());
        let devices = devices.zip(settings.camera.as_deref().and_then(|camera| camera.parse().ok()));
        if let Some((table, camera)) = devices {
            (start.table, start.camera) = (table, camera);
            start.options.dialect.clone_from(&settings.dialect);
            start.options.calibrations = crate::studio::calibration_folder();
        }
        start.note = None;
    }
    Ok(WindowStart { settings, remember: Some(place), ..start })
}

/// Opens the window on the demo; without a display it shoots the demo set and says where it lies.
pub fn window() -> u8 {
    let started = remembered().map_err(|error| with_causes(&error)).and_then(crate::window::run);
    match started {
        Ok(()) => EXIT_DONE,
        Err(reason) => {
            eprintln!("roundstop: no window can be opened here ({reason}).");
            eprintln!("Shooting the demo set on the command line instead.");
            shoot()
        }
    }
}

/// Shoots the demo set on simulated devices and prints where it lies.
pub fn shoot() -> u8 {
    let begun = start().and_then(|demo| Ok(SessionFolder::open_or_create(&demo.folder, &demo.plan)?));
    match begun {
        Ok(folder) => crate::cli::rehearse(folder),
        Err(error) => {
            eprintln!("roundstop: {}", with_causes(&error));
            EXIT_FAULT
        }
    }
}

/// Draws one frame of the demo's pot into a new file.
///
/// # Errors
/// When the file is there already or cannot be written.
pub fn frame(
    file: &Path,
    degrees: f64,
    size: (u32, u32),
    object: imaging::scene::SceneObject,
) -> anyhow::Result<()> {
    let options = StudioOptions { sim_frame_px: size, sim_object: object, ..StudioOptions::default() };
    let exposure = SimExposure {
        table_deg: vec![degrees],
        shot: u64::from(std::process::id()),
        stop: 0,
        row: String::new(),
        empty_table: false,
        exposure_secs: 0.25,
    };
    let bytes = crate::studio::simulated_sensor(&options)(&exposure).map_err(anyhow::Error::msg)?;
    File::create_new(file)
        .and_then(|mut out| out.write_all(&bytes))
        .with_context(|| format!("the frame {} cannot be written", file.display()))
}

/// The first demo folder that is new or not complete, so that every start finds something to shoot.
fn free_folder() -> anyhow::Result<PathBuf> {
    let folders = directories::ProjectDirs::from("", "", "Roundstop")
        .context("this system names no home folder; set HOME")?;
    let demo = folders.data_local_dir().join("demo");
    let sets = (1..).map(|number| demo.join(format!("hedgerow-mug-{number:02}")));
    sets.into_iter().find(|set| is_open(set)).context("no folder for the demo is free")
}

fn is_open(set: &Path) -> bool {
    !set.exists() || SessionFolder::read_status(set).is_ok_and(|status| !status.complete)
}
