//! Opens the table and the camera that a person names.

use std::path::PathBuf;
use std::str::FromStr;

use session_core::camera::Camera;
use session_core::clock::{Clock, SimSpeed};
use session_core::turntable::Turntable;

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
            Err(format!("'{text}' is no camera; write sim, folder:PATH or command:\"PROGRAM {{file}} {{degrees}}\""))
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
    /// How long a frame may take to come, seconds.
    pub frame_timeout_secs: f64,
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
