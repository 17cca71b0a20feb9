//! Table and camera as chosen in the window: fields as typed, and what they name.

use std::path::PathBuf;

use crate::studio::{CameraSpec, DEFAULT_BAUD, TableSpec};

/// The kinds of table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableKind {
    /// The simulated table.
    Simulated,
    /// A controller on a serial port.
    Serial,
}

/// The kinds of camera.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CameraKind {
    /// The simulated camera.
    Simulated,
    /// Frames arrive in a folder.
    Folder,
    /// A program makes each frame.
    Command,
    /// Anything else the command line can name.
    Other,
}

/// A change of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TableEdit {
    /// Another kind.
    Kind(TableKind),
    /// The serial port's path or name.
    Path(String),
}

/// A change of the camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CameraEdit {
    /// Another kind.
    Kind(CameraKind),
    /// The folder that frames arrive in.
    Folder(String),
    /// The program that makes a frame.
    Command(String),
}

/// The serial ports found on this computer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Ports {
    /// No one has looked yet.
    #[default]
    Unknown,
    /// Being looked for.
    Looking,
    /// What was found: path and what hangs there, if the system says.
    Found(Vec<(String, String)>),
    /// The system would not say.
    Refused(String),
}

/// Table and camera as chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceChoice {
    /// The kind of table.
    pub table: TableKind,
    /// The serial port as typed.
    pub port: String,
    /// The serial line's speed.
    pub baud: u32,
    /// The kind of camera.
    pub camera: CameraKind,
    /// The camera's folder as typed.
    pub camera_folder: String,
    /// The camera command as typed.
    pub camera_command: String,
    /// The camera as it was named at the start, for kinds the window has no fields for.
    pub camera_as_named: CameraSpec,
    /// Serial ports to choose from.
    pub ports: Ports,
}

impl DeviceChoice {
    /// Fills the fields from what the command line names.
    pub fn new(table: &TableSpec, camera: &CameraSpec) -> Self {
        let mut choice = Self {
            table: TableKind::Simulated,
            port: String::new(),
            baud: DEFAULT_BAUD,
            camera: CameraKind::Other,
            camera_folder: String::new(),
            camera_command: String::new(),
            camera_as_named: camera.clone(),
            ports: Ports::Unknown,
        };
        if let TableSpec::Serial { path, baud } = table {
            choice.table = TableKind::Serial;
            choice.port.clone_from(path);
            choice.baud = *baud;
        }
        if let CameraSpec::Folder(path) = camera {
            choice.camera = CameraKind::Folder;
            choice.camera_folder = path.display().to_string();
        } else if let CameraSpec::Command(command) = camera {
            choice.camera = CameraKind::Command;
            choice.camera_command.clone_from(command);
        } else if *camera == CameraSpec::Sim {
            choice.camera = CameraKind::Simulated;
        }
        choice
    }

    /// Takes a change of the table.
    pub fn edit_table(&mut self, edit: TableEdit) {
        match edit {
            TableEdit::Kind(kind) => self.table = kind,
            TableEdit::Path(path) => self.port = path,
        }
    }

    /// Takes a change of the camera.
    pub fn edit_camera(&mut self, edit: CameraEdit) {
        match edit {
            CameraEdit::Kind(kind) => self.camera = kind,
            CameraEdit::Folder(folder) => self.camera_folder = folder,
            CameraEdit::Command(command) => self.camera_command = command,
        }
    }

    /// The table the fields name.
    ///
    /// # Errors
    /// What is missing, in words.
    pub fn table_spec(&self) -> Result<TableSpec, String> {
        match self.table {
            TableKind::Simulated => Ok(TableSpec::Sim),
            TableKind::Serial if self.port.trim().is_empty() => {
                Err("no serial port is chosen for the table; pick one under 'Table', or type its path"
                    .to_owned())
            }
            TableKind::Serial => Ok(TableSpec::Serial { path: self.port.trim().to_owned(), baud: self.baud }),
        }
    }

    /// The camera the fields name.
    ///
    /// # Errors
    /// What is missing, in words.
    pub fn camera_spec(&self) -> Result<CameraSpec, String> {
        match self.camera {
            CameraKind::Simulated if self.table != TableKind::Simulated => Err(
                "the simulated camera sees only the simulated table; choose another camera under 'Camera'"
                    .to_owned(),
            ),
            CameraKind::Simulated => Ok(CameraSpec::Sim),
            CameraKind::Folder if self.camera_folder.trim().is_empty() => {
                Err("no folder is chosen for the camera's frames; pick one under 'Camera'".to_owned())
            }
            CameraKind::Folder => Ok(CameraSpec::Folder(PathBuf::from(self.camera_folder.trim()))),
            CameraKind::Command if self.camera_command.trim().is_empty() => {
                Err("no command is given for the camera; write one under 'Camera', such as shoot {file}"
                    .to_owned())
            }
            CameraKind::Command => Ok(CameraSpec::Command(self.camera_command.trim().to_owned())),
            CameraKind::Other => Ok(self.camera_as_named.clone()),
        }
    }

    /// The chosen table's name, before it is connected.
    pub fn table_name(&self) -> String {
        match self.table {
            TableKind::Simulated => "simulated table".to_owned(),
            TableKind::Serial if self.port.trim().is_empty() => "no port chosen".to_owned(),
            TableKind::Serial => format!("serial {}", self.port.trim()),
        }
    }

    /// The chosen camera's name, before it is connected.
    pub fn camera_name(&self) -> String {
        match self.camera {
            CameraKind::Simulated => "simulated camera".to_owned(),
            CameraKind::Folder if self.camera_folder.trim().is_empty() => "no folder chosen".to_owned(),
            CameraKind::Folder => format!("folder {}", self.camera_folder.trim()),
            CameraKind::Command => "command".to_owned(),
            CameraKind::Other => self.camera_as_named.to_string(),
        }
    }
}
