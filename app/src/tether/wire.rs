//! What parent and child say to each other: one JSON object a line, one order at a time.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// What the child is told to do.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case")]
pub enum Order {
    /// List the cameras that are plugged in.
    List,
    /// Open a camera and make sure that it answers.
    Open { port: Option<String>, known: Option<Identity> },
    /// Read the settings that matter.
    Settings,
    /// Set one of them and read it back.
    Set { name: String, value: String },
    /// Read battery and room.
    State,
    /// Fire the shutter.
    Trigger,
    /// Wait for news, no longer than this.
    Events { for_ms: u64 },
    /// Copy a file from the card to a file that is not there yet.
    Download { file: CardFile, to: PathBuf },
    /// Remove a file from the card.
    Remove { file: CardFile },
    /// Write one live frame to a file that is not there yet.
    Live { to: PathBuf },
}

/// What the child answers.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    Cameras(Vec<Found>),
    Opened(Identity),
    Settings(Vec<Setting>),
    State(State),
    News(Vec<News>),
    /// How long the copy is, and how long the camera says that the file is.
    Copied {
        bytes: u64,
        stated: Option<u64>,
    },
    /// Whether there was a live frame to write.
    Live(bool),
    Done,
}

pub type Reply = Result<Answer, Trouble>;

/// A camera on a port.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Found {
    pub model: String,
    pub port: String,
}

/// Who a camera is; empty where it does not tell.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    pub maker: String,
    pub model: String,
    pub serial: String,
}

impl std::fmt::Display for Identity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Many cameras repeat their maker in the model's name.
        let maker = if self.model.starts_with(&self.maker) { "" } else { &self.maker };
        let words = [maker, &self.model, &self.serial].into_iter().filter(|word| !word.is_empty());
        f.write_str(&words.collect::<Vec<_>>().join(" "))
    }
}

/// One setting: its word in this program, its value, its choices.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Setting {
    pub name: String,
    pub value: String,
    pub choices: Vec<String>,
}

/// Battery and room.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct State {
    pub battery: Option<String>,
    pub free_bytes: Option<u64>,
}

/// A file on the camera's card.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct CardFile {
    pub folder: String,
    pub name: String,
}

/// What the camera says by itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum News {
    File(CardFile),
    Complete,
}

/// What went wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trouble {
    pub kind: TroubleKind,
    pub text: String,
}

/// What sort of trouble it is, as far as the parent acts on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TroubleKind {
    /// The camera does not answer; the child's handle is spoilt.
    Lost,
    /// Another program has the camera.
    Claimed,
    /// The camera is busy and may not be in a moment.
    Busy,
    /// The camera's card is full.
    Full,
    /// The camera has no such thing.
    Unsupported,
    /// What the person asked for cannot be.
    Setup,
    /// Anything else.
    Other,
}
