//! The system's own dialogs for files and folders, each on a thread of its own.

use std::path::{Path, PathBuf};

use crate::window::text::t;
use crossbeam_channel::{Receiver, Sender, bounded};

/// How a path was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// By the system's dialog, which asks before a file is replaced.
    ByDialog,
    /// By typing it.
    ByTyping,
}

/// What a file or folder is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// A plan file to load.
    OpenPlan,
    /// Where to save the plan.
    SavePlan,
    /// Where the board's files go.
    BoardFolder,
    /// A shoot list to open.
    OpenList,
    /// The session folder.
    SessionFolder,
    /// The folder that the camera's frames arrive in.
    CameraFolder,
    /// The frame of the empty table.
    Plate,
    /// A listing profile.
    ListingProfile,
    /// The folder that the listing's folder is made in.
    ListingFolder,
}

impl Purpose {
    /// What a dialog for it is called.
    pub fn title(self) -> String {
        match self {
            Self::OpenPlan => t!("ask-open-a-plan"),
            Self::SavePlan => t!("ask-save-the-plan"),
            Self::BoardFolder => t!("ask-choose-the-boards-drive-or"),
            Self::OpenList => t!("ask-open-a-shoot-list"),
            Self::SessionFolder => t!("ask-choose-the-session-folder"),
            Self::CameraFolder => t!("ask-choose-the-folder-the-cameras"),
            Self::Plate => t!("finishing-choose-plate-title"),
            Self::ListingProfile => t!("finishing-open-profile-title"),
            Self::ListingFolder => t!("finishing-choose-folder-title"),
        }
    }

    /// Whether it is for a file, so that a path that ends with a folder is not yet one.
    pub fn wants_file(self) -> bool {
        match self {
            Self::OpenPlan | Self::SavePlan | Self::OpenList | Self::Plate | Self::ListingProfile => true,
            Self::BoardFolder | Self::SessionFolder | Self::CameraFolder | Self::ListingFolder => false,
        }
    }

    /// The word on the button that does it with a path that was typed.
    pub fn action(self) -> String {
        match self {
            Self::OpenPlan | Self::OpenList => t!("ask-open"),
            Self::SavePlan | Self::BoardFolder => t!("ask-save"),
            Self::SessionFolder
            | Self::CameraFolder
            | Self::Plate
            | Self::ListingProfile
            | Self::ListingFolder => t!("ask-use"),
        }
    }
}

/// What came of asking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// The person chose this.
    Chosen(Purpose, PathBuf),
    /// No dialog could be shown, for this reason; typing begins with this path.
    NoDialog(Purpose, String, PathBuf),
}

/// A path that is typed where the system shows no dialog.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TypedPath {
    /// What for.
    pub purpose: Purpose,
    /// Why it is typed.
    pub reason: String,
    /// The path as typed.
    pub text: String,
}

impl TypedPath {
    /// Whether there is a path to use.
    pub fn is_whole(&self) -> bool {
        let text = self.text.trim();
        let is_folder = text.ends_with(std::path::is_separator);
        !(text.is_empty() || self.purpose.wants_file() && is_folder)
    }
}

/// What is done with a path that is typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PathEdit {
    /// It is typed.
    Type(String),
    /// It is to be used.
    Use,
    /// It is no longer wanted.
    Close,
}

/// The least time in which a person closes a dialog.
const QUICKEST_PERSON: std::time::Duration = std::time::Duration::from_millis(400);

/// Opens dialogs and gathers the answers.
pub struct Dialogs {
    answers: Receiver<Answer>,
    sender: Sender<Answer>,
    ctx: egui::Context,
}

impl Dialogs {
    /// Makes a place for answers; one that comes in wakes the window of `ctx`.
    pub fn new(ctx: egui::Context) -> Self {
        let (sender, answers) = bounded(16);
        Self { answers, sender, ctx }
    }

    /// What has been chosen since the last look.
    pub fn answers(&self) -> Vec<Answer> {
        self.answers.try_iter().collect()
    }

    /// Asks for a file or folder. Where no dialog can be shown the path is typed, from `begin` on.
    pub fn open(&self, purpose: Purpose, begin: PathBuf) {
        let dialog = dialog(purpose, &begin);
        match purpose {
            Purpose::OpenPlan => {
                self.ask(purpose, begin, dialog.add_filter(t!("ask-plan"), &["json"]).pick_file());
            }
            Purpose::OpenList => {
                self.ask(purpose, begin, dialog.add_filter(t!("ask-list"), &["csv"]).pick_file());
            }
            Purpose::ListingProfile => {
                self.ask(purpose, begin, dialog.add_filter(t!("ask-profile"), &["toml"]).pick_file());
            }
            Purpose::Plate => self.ask(purpose, begin, dialog.pick_file()),
            Purpose::SavePlan => {
                self.ask(purpose, begin, dialog.add_filter(t!("ask-plan"), &["json"]).save_file());
            }
            Purpose::BoardFolder
            | Purpose::SessionFolder
            | Purpose::CameraFolder
            | Purpose::ListingFolder => {
                self.ask(purpose, begin, dialog.set_can_create_directories(true).pick_folder());
            }
        }
    }

    /// Waits for an answer elsewhere; the dialog itself was made on this thread, as some systems ask.
    fn ask(
        &self,
        purpose: Purpose,
        begin: PathBuf,
        chosen: impl Future<Output = Option<rfd::FileHandle>> + Send + 'static,
    ) {
        let (sender, ctx) = (self.sender.clone(), self.ctx.clone());
        let begin_here = begin.clone();
        let asked = std::thread::Builder::new().name("file dialog".to_owned()).spawn(move || {
            let asked = std::time::Instant::now();
            let answer = match pollster::block_on(chosen) {
                Some(file) => Answer::Chosen(purpose, file.path().to_owned()),
                // No one closes a dialog that fast: there was none to be seen.
                None if asked.elapsed() < QUICKEST_PERSON => {
                    Answer::NoDialog(purpose, t!("ask-this-system-shows-no-file"), begin)
                }
                None => return,
            };
            // The answers only overflow when no one is at the window.
            let _ = sender.try_send(answer);
            ctx.request_repaint();
        });
        if let Err(error) = asked {
            let reason = t!("ask-no-dialog-can-be-shown", error = error.to_string());
            let _ = self.sender.try_send(Answer::NoDialog(purpose, reason, begin_here));
        }
    }
}

/// A dialog that begins where the choice most often lies; otherwise where the system's last one ended.
fn dialog(purpose: Purpose, begin: &Path) -> rfd::AsyncFileDialog {
    let dialog = rfd::AsyncFileDialog::new().set_title(purpose.title());
    match (purpose, begin.parent()) {
        (Purpose::Plate, _) => dialog.set_directory(begin),
        (Purpose::SessionFolder, Some(sets)) => dialog.set_directory(sets),
        (Purpose::SavePlan, _) => dialog.set_file_name(session_core::file_name::of_path(begin)),
        _ => dialog,
    }
}
