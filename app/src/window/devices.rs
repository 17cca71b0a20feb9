//! Table and camera as chosen in the window: fields as typed, and what they name.

use session_core::turntable::serial::Dialect;

use super::speech::{Speech, SpeechEdit};
use crate::ports::Port;
use crate::studio::{CameraSpec, DEFAULT_BAUD, TableSpec};
use crate::window::text::t;

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
    /// A camera on a cable or the network.
    Tether,
    /// A camera that gives stills at a web address.
    Web,
}

impl CameraKind {
    /// All kinds, in the order they are offered.
    pub const ALL: [Self; 5] = [Self::Simulated, Self::Tether, Self::Folder, Self::Web, Self::Command];

    /// What stands before the detail where the command line names it.
    fn prefix(self) -> &'static str {
        match self {
            Self::Simulated => "sim",
            Self::Folder => "folder:",
            Self::Command => "command:",
            Self::Tether => "tether:",
            Self::Web => "http:",
        }
    }

    /// The kind and the detail of a camera.
    fn of(camera: &CameraSpec) -> (Self, String) {
        let text = camera.to_string();
        match text.as_str() {
            "sim" => (Self::Simulated, String::new()),
            "tether" => (Self::Tether, String::new()),
            _ => Self::ALL
                .into_iter()
                .find_map(|kind| Some((kind, text.strip_prefix(kind.prefix())?.to_owned())))
                // What is left is an address with its own scheme.
                .unwrap_or((Self::Web, text)),
        }
    }
}

/// A change of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TableEdit {
    /// Another kind.
    Kind(TableKind),
    /// The serial port's path or name.
    Path(String),
    /// How it is spoken to.
    Speech(SpeechEdit),
}

/// A change of the camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CameraEdit {
    /// Another kind.
    Kind(CameraKind),
    /// The detail of the present kind: folder, command, port or address.
    Detail(String),
}

/// The serial ports found on this computer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Ports {
    /// No one has looked yet.
    #[default]
    Unknown,
    /// Being looked for.
    Looking,
    /// What was found.
    Found(Vec<Port>),
    /// The system would not say.
    Refused(String),
}

/// What a port said when it was asked.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Heard {
    /// No one has asked.
    #[default]
    Nothing,
    /// Being asked.
    Asking,
    /// Said, in lines, and the name of the dialect it looks like.
    Lines(Vec<String>, Option<String>),
}

/// Table and camera as chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceChoice {
    /// The kind of table.
    pub table: TableKind,
    /// The serial port as typed.
    pub port: String,
    /// How the controller is spoken to.
    pub speech: Speech,
    /// What was heard on the port.
    pub heard: Heard,
    /// The kind of camera.
    pub camera: CameraKind,
    /// Each kind's detail as typed, in the order of [`CameraKind::ALL`].
    details: [String; 5],
    /// Serial ports to choose from.
    pub ports: Ports,
}

impl DeviceChoice {
    /// Fills the fields from what the command line names.
    pub fn new(table: &TableSpec, camera: &CameraSpec, dialect: Option<Dialect>) -> Self {
        let (kind, detail) = CameraKind::of(camera);
        let mut choice = Self {
            table: TableKind::Simulated,
            port: String::new(),
            speech: Speech::new(
                dialect,
                if let TableSpec::Serial { baud, .. } = table { *baud } else { DEFAULT_BAUD },
            ),
            heard: Heard::Nothing,
            camera: kind,
            details: Default::default(),
            ports: Ports::Unknown,
        };
        *choice.detail_mut() = detail;
        if let TableSpec::Serial { path, .. } = table {
            choice.table = TableKind::Serial;
            choice.port.clone_from(path);
        }
        choice
    }

    fn at(&self) -> usize {
        CameraKind::ALL.iter().position(|kind| *kind == self.camera).unwrap_or(0)
    }

    /// The detail of the present kind of camera, as typed.
    pub fn detail(&self) -> &str {
        &self.details[self.at()]
    }

    fn detail_mut(&mut self) -> &mut String {
        &mut self.details[self.at()]
    }

    /// Takes a change of the table.
    pub fn edit_table(&mut self, edit: TableEdit) {
        match edit {
            TableEdit::Kind(kind) => self.table = kind,
            TableEdit::Path(path) => {
                self.port = path;
                self.heard = Heard::Nothing;
            }
            TableEdit::Speech(edit) => self.speech.apply(edit),
        }
    }

    /// Takes a change of the camera.
    pub fn edit_camera(&mut self, edit: CameraEdit) {
        match edit {
            CameraEdit::Kind(kind) => self.camera = kind,
            CameraEdit::Detail(text) => *self.detail_mut() = text,
        }
    }

    /// The table the fields name.
    ///
    /// # Errors
    /// What is missing, in words.
    pub fn table_spec(&self) -> Result<TableSpec, String> {
        match self.table {
            TableKind::Simulated => Ok(TableSpec::Sim),
            TableKind::Serial if self.port.trim().is_empty() => Err(t!("devices-no-serial-port-is-chosen")),
            TableKind::Serial => {
                self.speech.dialect()?;
                Ok(TableSpec::Serial { path: self.port.trim().to_owned(), baud: self.speech.baud()? })
            }
        }
    }

    /// The camera the fields name.
    ///
    /// # Errors
    /// What is missing, in words.
    pub fn camera_spec(&self) -> Result<CameraSpec, String> {
        match self.camera {
            CameraKind::Simulated if self.table != TableKind::Simulated => {
                Err(t!("devices-the-simulated-camera-sees-only"))
            }
            CameraKind::Simulated => Ok(CameraSpec::Sim),
            CameraKind::Folder if self.detail().trim().is_empty() => {
                Err(t!("devices-no-folder-is-chosen-for"))
            }
            CameraKind::Command if self.detail().trim().is_empty() => {
                Err(t!("devices-no-command-is-given-for"))
            }
            CameraKind::Web if self.detail().trim().is_empty() => Err(t!("devices-no-address-is-given-for")),
            CameraKind::Tether if self.detail().trim().is_empty() => "tether".parse(),
            CameraKind::Web if self.detail().trim().starts_with("https:") => self.detail().trim().parse(),
            kind => format!("{}{}", kind.prefix(), self.detail().trim()).parse(),
        }
    }

    /// Why table and camera cannot be connected as chosen; `None` when they can.
    pub fn hindrance(&self) -> Option<String> {
        self.table_spec().err().or_else(|| self.camera_spec().err())
    }

    /// The chosen table's name, before it is connected.
    pub fn table_name(&self) -> String {
        match self.table {
            TableKind::Simulated => t!("devices-simulated-table"),
            TableKind::Serial if self.port.trim().is_empty() => t!("devices-no-port-chosen"),
            TableKind::Serial => t!("devices-serial", port = self.port.trim()),
        }
    }

    /// The chosen camera's name, before it is connected.
    pub fn camera_name(&self) -> String {
        match self.camera {
            CameraKind::Simulated => t!("devices-simulated-camera"),
            CameraKind::Folder if self.detail().trim().is_empty() => t!("devices-no-folder-chosen"),
            CameraKind::Folder => t!("devices-folder", folder = self.detail().trim()),
            CameraKind::Command => t!("devices-command"),
            CameraKind::Tether => t!("devices-cable", detail = self.detail()).trim().to_owned(),
            CameraKind::Web => t!("devices-web-address"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_camera_the_command_line_names_stands_in_the_fields_unchanged() {
        for text in [
            "sim",
            "tether",
            "tether:ptpip:127.0.0.1:5001:5002",
            "folder:card",
            "command:shoot {file}",
            "http://192.0.2.7/still.jpg",
            "https://192.0.2.7/still.jpg",
        ] {
            let spec: CameraSpec = text.parse().unwrap();
            let choice = DeviceChoice::new(&TableSpec::Sim, &spec, None);
            assert_eq!(choice.camera_spec(), Ok(spec), "{text}");
        }
    }
}
