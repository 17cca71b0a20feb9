//! Opens the table and the camera that a person names.

use std::collections::HashMap;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use imaging::scene::{self, SceneObject};
use session_core::camera::Camera;
use session_core::camera::command::CommandCamera;
use session_core::camera::folder::{FolderCamera, FolderOptions, Trigger};
use session_core::camera::simulated::{Render, SimCamera, SimExposure};
use session_core::clock::{Clock, SimSpeed};
use session_core::turntable::Turntable;
use session_core::turntable::serial::{SerialOptions, SerialTable};
use session_core::turntable::simulated::{SimTable, SimTableSettings};

/// A table as a person names it: `sim` or `serial:PATH[@BAUD]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TableSpec {
    /// The simulated table.
    Sim,
    /// A controller on a serial port.
    Serial {
        /// The port's path or name.
        path: String,
        /// The line's speed.
        baud: u32,
    },
}

/// The line speed of the project's own controller; on USB serial it does not matter.
pub const DEFAULT_BAUD: u32 = 115_200;

impl FromStr for TableSpec {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "sim" {
            return Ok(Self::Sim);
        }
        let bad = || format!("'{text}' is no table; write sim or serial:PATH[@BAUD]");
        let rest = text.strip_prefix("serial:").filter(|rest| !rest.is_empty()).ok_or_else(bad)?;
        match rest.rsplit_once('@') {
            Some((path, baud)) if !path.is_empty() && baud.bytes().all(|byte| byte.is_ascii_digit()) => {
                let baud = baud.parse().map_err(|_| bad())?;
                Ok(Self::Serial { path: path.to_owned(), baud })
            }
            _ => Ok(Self::Serial { path: rest.to_owned(), baud: DEFAULT_BAUD }),
        }
    }
}

impl std::fmt::Display for TableSpec {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sim => f.write_str("sim"),
            Self::Serial { path, baud: DEFAULT_BAUD } => write!(f, "serial:{path}"),
            Self::Serial { path, baud } => write!(f, "serial:{path}@{baud}"),
        }
    }
}

/// A camera as a person names it: `sim`, `folder:PATH` or `command:"PROGRAM {file} {degrees}"`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CameraSpec {
    /// The simulated camera; it needs the simulated table.
    Sim,
    /// Frames arrive in a folder.
    Folder(PathBuf),
    /// A program makes each frame.
    Command(String),
}

impl FromStr for CameraSpec {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let with_rest = |prefix: &str| text.strip_prefix(prefix).filter(|rest| !rest.trim().is_empty());
        if text == "sim" {
            Ok(Self::Sim)
        } else if let Some(path) = with_rest("folder:") {
            Ok(Self::Folder(PathBuf::from(path)))
        } else if let Some(command) = with_rest("command:") {
            Ok(Self::Command(command.to_owned()))
        } else {
            Err(format!(
                "'{text}' is no camera; write sim, folder:PATH or command:\"PROGRAM {{file}} {{degrees}}\""
            ))
        }
    }
}

impl std::fmt::Display for CameraSpec {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sim => f.write_str("sim"),
            Self::Folder(path) => write!(f, "folder:{}", path.display()),
            Self::Command(command) => write!(f, "command:{command}"),
        }
    }
}

/// Settings of the simulated devices and of waits.
#[derive(Debug, Clone, PartialEq)]
pub struct StudioOptions {
    /// How fast simulated time passes; real devices always run in real time.
    pub sim_speed: SimSpeed,
    /// Size of simulated frames, pixels.
    pub sim_frame_px: (u32, u32),
    /// What stands on the simulated table.
    pub sim_object: SceneObject,
    /// How long a frame may take to come, seconds.
    pub frame_timeout_secs: f64,
    /// Whether a person fires the shutter even where the table could.
    pub hand_fired: bool,
}

/// An open table and camera, with the clock they share.
pub struct Studio {
    /// The session's clock.
    pub clock: Clock,
    /// The table.
    pub table: Box<dyn Turntable>,
    /// The camera.
    pub camera: Box<dyn Camera>,
}

impl Default for StudioOptions {
    fn default() -> Self {
        Self {
            sim_speed: SimSpeed::default(),
            sim_frame_px: (1500, 1000),
            sim_object: SceneObject::Mug,
            frame_timeout_secs: 30.0,
            hand_fired: false,
        }
    }
}

/// Opens the devices. May take seconds: a controller board resets when its port is opened.
///
/// # Errors
/// A sentence for people: which device, what is wrong, what to do.
pub fn open(table: &TableSpec, camera: &CameraSpec, options: &StudioOptions) -> Result<Studio, String> {
    // Time may only be quickened while no real table's motion depends on it.
    let clock = match table {
        TableSpec::Sim => Clock::new(options.sim_speed),
        TableSpec::Serial { .. } => Clock::default(),
    };
    let mut sim_probe = None;
    let table: Box<dyn Turntable> = match table {
        TableSpec::Sim => {
            let (table, probe) = SimTable::new(SimTableSettings::default(), clock.clone());
            sim_probe = Some(probe);
            Box::new(table)
        }
        TableSpec::Serial { path, baud } => Box::new(
            SerialTable::open(path, *baud, SerialOptions::default()).map_err(|error| error.to_string())?,
        ),
    };
    let timeout = Duration::from_secs_f64(options.frame_timeout_secs);
    let camera: Box<dyn Camera> = match (camera, sim_probe) {
        (CameraSpec::Sim, Some(probe)) => {
            let render = simulated_sensor(options);
            Box::new(SimCamera::new(probe, clock.clone(), SIM_TRANSFER, render))
        }
        (CameraSpec::Sim, None) => {
            return Err("the simulated camera sees only the simulated table; with a real table use a folder: or command: camera".to_owned());
        }
        (CameraSpec::Folder(path), _) => {
            let trigger = if options.hand_fired { Trigger::Hand } else { Trigger::TableElseHand };
            let folder_options =
                FolderOptions { trigger, frame_timeout: timeout, ..FolderOptions::default() };
            Box::new(FolderCamera::new(path.clone(), folder_options))
        }
        (CameraSpec::Command(command), _) => {
            Box::new(CommandCamera::new(command, timeout).map_err(|error| error.to_string())?)
        }
    };
    Ok(Studio { clock, table, camera })
}

/// How long a simulated frame takes to the computer.
const SIM_TRANSFER: Duration = Duration::from_millis(300);
/// JPEG quality of simulated frames.
const SIM_QUALITY: u8 = 90;

/// Draws simulated exposures; scenes are kept, one for each camera height.
pub fn simulated_sensor(options: &StudioOptions) -> Render {
    let (width_px, height_px) = options.sim_frame_px;
    let object = options.sim_object;
    let scenes: Mutex<HashMap<String, Arc<scene::Studio>>> = Mutex::default();
    Arc::new(move |exposure: &SimExposure| {
        let studio = {
            let mut scenes = scenes.lock().unwrap_or_else(PoisonError::into_inner);
            match scenes.get(&exposure.row) {
                Some(studio) => Arc::clone(studio),
                None => {
                    let view = scene::SceneView {
                        object,
                        width_px,
                        height_px,
                        tilt_deg: row_tilt_deg(&exposure.row),
                    };
                    let studio = Arc::new(scene::Studio::new(view).map_err(|error| error.to_string())?);
                    scenes.insert(exposure.row.clone(), Arc::clone(&studio));
                    studio
                }
            }
        };
        let now = jiff::ZonedDateTime::now();
        let data = scene::ExposureData {
            shutter_s: exposure.exposure_secs.max(1.0 / 16_000.0),
            f_number: 11.0,
            iso: 100,
            captured_at: now.strftime("%Y:%m:%d %H:%M:%S").to_string(),
            subsec_ms: u16::try_from(now.millisecond()).unwrap_or(0),
        };
        let pose = scene::Pose { table_deg: exposure.table_deg.clone(), shot: exposure.shot };
        studio
            .render_jpeg(&pose, &scene::SceneFaults::default(), &data, SIM_QUALITY)
            .map_err(|error| error.to_string())
    })
}

/// The simulated camera's height for a row, told by the row's name; the demo's own convention.
fn row_tilt_deg(row: &str) -> f32 {
    match row {
        "low" => 6.0,
        "high" => 34.0,
        "top" => 60.0,
        _ => 14.0,
    }
}
