//! Opens the table and the camera that a person names.

use std::collections::HashMap;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use imaging::scene::{self, SceneObject};
use session_core::angle::Angle;
use session_core::calibration::apply::CalibratedTable;
use session_core::calibration::store::{Store, StoredPlay, TableCalibration};
use session_core::camera::Camera;
use session_core::camera::command::CommandCamera;
use session_core::camera::folder::{FolderCamera, FolderOptions, Trigger};
use session_core::camera::http::{HttpAddress, HttpCamera, HttpOptions};
use session_core::camera::simulated::{Render, SimCamera, SimExposure};
use session_core::clock::{Clock, SimSpeed};
use session_core::plan::Plan;
use session_core::runner::RunOptions;
use session_core::turntable::Turntable;
use session_core::turntable::serial::{Dialect, DialectTable, PRESETS, SerialOptions, SerialTable};
use session_core::turntable::simulated::{SimProbe, SimTable, SimTableSettings};

use crate::tether::{self, TetherOptions};

mod faults;

use faults::FaultRun;
pub use faults::{FaultSpec, SimFault};

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

/// A camera as a person names it: `sim`, `folder:PATH`, `command:"PROGRAM {file} {degrees}"`, `http://ADDRESS`,
/// `https://ADDRESS`, `tether` or `tether:PORT`.
///
/// `Display` writes what `FromStr` reads, so it may hold an address's password: for fields that take it back
/// only. The open camera's own name holds none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CameraSpec {
    /// The simulated camera; it needs the simulated table.
    Sim,
    /// Frames arrive in a folder.
    Folder(PathBuf),
    /// A program makes each frame.
    Command(String),
    /// A camera that gives a picture for each HTTP request.
    Http(HttpAddress),
    /// A camera on a cable or the network, through libgphoto2.
    Tether {
        /// A port of libgphoto2, such as `usb:001,004` or `ptpip:192.0.2.7`; without one, the only camera on a cable.
        port: Option<String>,
    },
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
        } else if text.starts_with("https://") {
            text.parse().map(Self::Http)
        } else if let Some(address) = with_rest("http:") {
            // The rest may be a whole address: http:https://….
            let whole = if address.starts_with("//") { text } else { address };
            whole.parse().map(Self::Http)
        } else if text == "tether" {
            Ok(Self::Tether { port: None })
        } else if let Some(port) = with_rest("tether:") {
            Ok(Self::Tether { port: Some(port.to_owned()) })
        } else {
            Err(format!(
                "'{text}' is no camera; write sim, folder:PATH, command:\"PROGRAM {{file}} {{degrees}}\", http://ADDRESS or tether[:PORT]"
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
            Self::Http(address) => {
                let whole = address.with_secret();
                let prefix = if whole.starts_with("http://") { "" } else { "http:" };
                write!(f, "{prefix}{whole}")
            }
            Self::Tether { port: None } => f.write_str("tether"),
            Self::Tether { port: Some(port) } => write!(f, "tether:{port}"),
        }
    }
}

/// How a table is spoken to, as a person names it: `roundstop`, a dialect's name, or a file with one.
#[derive(Debug, Clone, PartialEq)]
pub struct DialectSpec(pub Option<Dialect>);

impl FromStr for DialectSpec {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "roundstop" {
            return Ok(Self(None));
        }
        if let Some(dialect) = Dialect::preset(text) {
            return Ok(Self(Some(dialect)));
        }
        let names = || PRESETS.map(|(name, about)| format!("{name} ({about})")).join(", ");
        let content = std::fs::read_to_string(text).map_err(|error| {
            format!("'{text}' is no dialect and no file that can be read ({error}); write roundstop, {} or a file", names())
        })?;
        let dialect =
            serde_json::from_str(&content).map_err(|error| format!("{text} is no dialect: {error}"))?;
        Ok(Self(Some(dialect)))
    }
}

/// The size of simulated frames unless told otherwise, pixels: enough that the usual listings need no enlarging.
pub const SIM_FRAME_PX: (u32, u32) = (3000, 2000);
/// The same as it is written on the command line.
pub const SIM_FRAME: &str = "3000x2000";

/// Settings of the simulated devices and of waits.
#[derive(Debug, Clone, PartialEq)]
pub struct StudioOptions {
    /// How fast simulated time passes; real devices always run in real time.
    pub sim_speed: SimSpeed,
    /// Size of simulated frames, pixels.
    pub sim_frame_px: (u32, u32),
    /// What stands on the simulated table.
    pub sim_object: SceneObject,
    /// What goes wrong at the simulated camera.
    pub sim_faults: Option<FaultSpec>,
    /// How long a frame may take to come, seconds.
    pub frame_timeout_secs: f64,
    /// Whether a person fires the shutter even where the table could.
    pub hand_fired: bool,
    /// Settings that a tethered camera gets before the set: names of [`tether::SETTINGS`] with values.
    pub camera_settings: Vec<(String, String)>,
    /// Whether frames leave a tethered camera's card once the session has taken them over.
    pub remove_from_card: bool,
    /// How a table on a serial port is spoken to; `None` for the program in `controller/`.
    pub dialect: Option<Dialect>,
    /// The folder in which calibrations are kept; `None` takes every table at its own word.
    pub calibrations: Option<PathBuf>,
}

/// An open table and camera, with the clock they share.
pub struct Studio {
    /// The session's clock.
    pub clock: Clock,
    /// The table.
    pub table: Box<dyn Turntable>,
    /// The camera.
    pub camera: Box<dyn Camera>,
    /// What has been measured of the table; its steps in a turn are in the table's facts already.
    pub calibration: Option<TableCalibration>,
    /// What a person should know of that before the session.
    pub notes: Vec<String>,
}

impl Studio {
    /// The run-up that takes up this table's gear play; the usual one where it was not measured.
    pub fn run_up(&self) -> Angle {
        let play = self.calibration.as_ref().and_then(|calibration| calibration.play.as_ref());
        // Measured to a tenth of a degree; a thousandth keeps that exactly.
        let exact =
            |play: &StoredPlay| Angle::from_turns((play.run_up_degrees() * 1000.0).round() as i64, 360_000);
        play.map_or(RunOptions::default().run_up, exact)
    }

    /// A sentence when the plan waits less than the table was found to need, and the live picture is not
    /// watched instead.
    pub fn settle_note(&self, plan: &Plan) -> Option<String> {
        let needed = self.calibration.as_ref()?.settle.as_ref()?.seconds;
        (plan.rest_within_secs.is_none() && needed > plan.settle_secs).then(|| {
            let secs = plan.settle_secs;
            format!(
                "The plan lets the load settle for {secs} s, but this table needs {needed} s; raise the plan's settle \
                 time if frames are blurred."
            )
        })
    }
}

impl Default for StudioOptions {
    fn default() -> Self {
        Self {
            sim_speed: SimSpeed::default(),
            sim_frame_px: SIM_FRAME_PX,
            sim_object: SceneObject::Mug,
            sim_faults: None,
            frame_timeout_secs: 30.0,
            hand_fired: false,
            camera_settings: Vec::new(),
            remove_from_card: false,
            dialect: None,
            calibrations: None,
        }
    }
}

/// Where this person's calibrations are kept; `None` where the system names no such folder.
pub fn calibration_folder() -> Option<PathBuf> {
    let folders = directories::ProjectDirs::from("", "", "Roundstop")?;
    Some(folders.config_dir().join("tables"))
}

/// A table on its own, counting in its own steps, and the id its calibration goes by.
pub struct OpenTable {
    /// The table, without any calibration.
    pub table: Box<dyn Turntable>,
    /// The controller's own id; `simulated` for the simulated table.
    pub id: String,
}

/// Opens a table without a camera, for measuring it; a simulated one turns in no time.
///
/// # Errors
/// A sentence for people: what is wrong and what to do.
pub fn open_table(table: &TableSpec) -> Result<OpenTable, String> {
    Ok(open_table_on(table, &Clock::new(SimSpeed::Max))?.0)
}

fn open_table_on(table: &TableSpec, clock: &Clock) -> Result<(OpenTable, Option<SimProbe>), String> {
    match table {
        TableSpec::Sim => {
            let (table, probe) = SimTable::new(SimTableSettings::default(), clock.clone());
            Ok((OpenTable { table: Box::new(table), id: "simulated".to_owned() }, Some(probe)))
        }
        TableSpec::Serial { path, baud } => {
            let table = SerialTable::open(path, *baud, SerialOptions::default())
                .map_err(|error| error.to_string())?;
            let id = table.id().to_owned();
            Ok((OpenTable { table: Box::new(table), id }, None))
        }
    }
}

/// Gives a table what has been measured of it.
fn calibrated(
    open: OpenTable,
    folder: Option<&PathBuf>,
    notes: &mut Vec<String>,
) -> Result<(Box<dyn Turntable>, Option<TableCalibration>), String> {
    let OpenTable { table, id } = open;
    let Some(folder) = folder else { return Ok((table, None)) };
    let known = Store::new(folder.clone()).load(&id).map_err(|error| error.to_string())?;
    let Some(calibration) = known else { return Ok((table, None)) };
    let own = table.facts().steps_per_turn;
    let table: Box<dyn Turntable> = match (calibration.steps_for(own), &calibration.gearing) {
        (Some(steps), _) => Box::new(CalibratedTable::new(table, steps)),
        (None, Some(gearing)) => {
            notes.push(format!(
                "The table's controller now gives {own} steps in a turn; when it was measured it gave {}. The measured figure is \
                 not used: measure anew with 'roundstop table calibrate'.",
                gearing.controller_steps_per_turn
            ));
            table
        }
        (None, None) => table,
    };
    Ok((table, Some(calibration)))
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
    let mut notes = Vec::new();
    let mut sim_probe = None;
    let (table, calibration) = match (table, &options.dialect) {
        // Another maker's controller has no id of its own: its steps in a turn come with the dialect.
        (TableSpec::Serial { path, baud }, Some(dialect)) => {
            let table =
                DialectTable::open(path, *baud, dialect.clone()).map_err(|error| error.to_string())?;
            (Box::new(table) as Box<dyn Turntable>, None)
        }
        _ => {
            let (open, probe) = open_table_on(table, &clock)?;
            sim_probe = probe;
            calibrated(open, options.calibrations.as_ref(), &mut notes)?
        }
    };
    if options.sim_faults.is_some() && *camera != CameraSpec::Sim {
        return Err("faults can be asked for of the simulated camera only; leave --faults out".to_owned());
    }
    let timeout = Duration::from_secs_f64(options.frame_timeout_secs);
    let camera: Box<dyn Camera> = match (camera, sim_probe) {
        (CameraSpec::Sim, Some(probe)) => {
            let render = simulated_sensor(options);
            Box::new(SimCamera::new(probe, clock.clone(), SIM_TRANSFER, render))
        }
        (CameraSpec::Sim, None) => {
            return Err("the simulated camera sees only the simulated table; with a real table use a folder:, command:, http: or tether camera".to_owned());
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
        (CameraSpec::Http(address), _) => {
            Box::new(HttpCamera::new(address.clone(), HttpOptions { timeout, ..HttpOptions::default() }))
        }
        (CameraSpec::Tether { port }, _) => {
            let tether = TetherOptions {
                settings: options.camera_settings.clone(),
                remove_from_card: options.remove_from_card,
                frame_timeout: timeout,
            };
            tether::open(port.as_deref(), tether)?
        }
    };
    Ok(Studio { clock, table, camera, calibration, notes })
}

/// How long a simulated frame takes to the computer.
const SIM_TRANSFER: Duration = Duration::from_millis(300);
/// JPEG quality of simulated frames.
const SIM_QUALITY: u8 = 90;

/// Draws simulated exposures; scenes are kept, one for each camera height.
pub fn simulated_sensor(options: &StudioOptions) -> Render {
    let (width_px, height_px) = options.sim_frame_px;
    let object = options.sim_object;
    let scenes: Mutex<HashMap<(String, bool), Arc<scene::Studio>>> = Mutex::default();
    let faults = FaultRun::new(options.sim_faults.clone());
    let last: Mutex<Option<Vec<u8>>> = Mutex::default();
    Arc::new(move |exposure: &SimExposure| {
        let studio = {
            let mut scenes = scenes.lock().unwrap_or_else(PoisonError::into_inner);
            let which = (exposure.row.clone(), exposure.empty_table);
            match scenes.get(&which) {
                Some(studio) => Arc::clone(studio),
                None => {
                    let view = scene::SceneView {
                        object,
                        width_px,
                        height_px,
                        tilt_deg: row_tilt_deg(&exposure.row),
                    };
                    let studio = scene::Studio::new(view).map_err(|error| error.to_string())?;
                    let studio = Arc::new(if exposure.empty_table { studio.without_pot() } else { studio });
                    scenes.insert(which, Arc::clone(&studio));
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
        let drawn = faults.draw(exposure, width_px);
        let mut last = last.lock().unwrap_or_else(PoisonError::into_inner);
        if let (true, Some(before)) = (drawn.repeats, last.as_ref()) {
            return Ok(before.clone());
        }
        let picture = studio
            .render_jpeg(&drawn.pose, &drawn.scene, &data, SIM_QUALITY)
            .map_err(|error| error.to_string())?;
        if exposure.stop > 0 {
            *last = Some(picture.clone());
        }
        Ok(picture)
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
