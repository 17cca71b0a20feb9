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
    /// No dialog could be shown, for this reason.
    NoDialog(Purpose, String),
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

    /// Asks for a plan file.
    pub fn open_plan(&self) {
        self.pick_file(Purpose::OpenPlan, |dialog| dialog.add_filter(t!("ask-plan"), &["json"]));
    }

    /// Asks for the board's drive, or a folder.
    pub fn board_folder(&self) {
        self.pick_folder(Purpose::BoardFolder, |dialog| dialog);
    }

    /// Asks for a shoot list.
    pub fn open_list(&self) {
        self.pick_file(Purpose::OpenList, |dialog| dialog.add_filter(t!("ask-list"), &["csv"]));
    }

    /// Asks where to save the plan of this SKU.
    pub fn save_plan(&self, sku: &str) {
        let purpose = Purpose::SavePlan;
        let dialog = rfd::AsyncFileDialog::new()
            .set_title(purpose.title())
            .add_filter(t!("ask-plan"), &["json"])
            .set_file_name(format!("{sku}-plan.json"));
        self.ask(purpose, dialog.save_file());
    }

    /// Asks for the session folder, beginning beside the present one.
    pub fn session_folder(&self, present: &Path) {
        let beside = present.parent().filter(|path| path.is_dir());
        self.pick_folder(Purpose::SessionFolder, |dialog| {
            let dialog = dialog.set_can_create_directories(true);
            if let Some(beside) = beside { dialog.set_directory(beside) } else { dialog }
        });
    }

    /// Asks for the folder that the camera's frames arrive in.
    pub fn camera_folder(&self) {
        self.pick_folder(Purpose::CameraFolder, |dialog| dialog);
    }

    /// Asks for the frame of the empty table, beginning in the set's folder.
    pub fn plate(&self, set: &Path) {
        self.pick_file(Purpose::Plate, |dialog| dialog.set_directory(set));
    }

    /// Asks for a file with a listing profile.
    pub fn listing_profile(&self) {
        self.pick_file(Purpose::ListingProfile, |dialog| dialog.add_filter("Profile", &["toml"]));
    }

    /// Asks for the folder that the listing's folder is made in.
    pub fn listing_folder(&self) {
        self.pick_folder(Purpose::ListingFolder, |dialog| dialog);
    }

    fn pick_file(&self, purpose: Purpose, set: impl FnOnce(rfd::AsyncFileDialog) -> rfd::AsyncFileDialog) {
        let dialog = set(rfd::AsyncFileDialog::new().set_title(purpose.title()));
        self.ask(purpose, dialog.pick_file());
    }

    fn pick_folder(&self, purpose: Purpose, set: impl FnOnce(rfd::AsyncFileDialog) -> rfd::AsyncFileDialog) {
        let dialog = set(rfd::AsyncFileDialog::new().set_title(purpose.title()));
        self.ask(purpose, dialog.pick_folder());
    }

    /// Waits for an answer elsewhere; the dialog itself was made on this thread, as some systems ask.
    fn ask(&self, purpose: Purpose, chosen: impl Future<Output = Option<rfd::FileHandle>> + Send + 'static) {
        let (sender, ctx) = (self.sender.clone(), self.ctx.clone());
        let asked = std::thread::Builder::new().name("file dialog".to_owned()).spawn(move || {
            let asked = std::time::Instant::now();
            let answer = match pollster::block_on(chosen) {
                Some(file) => Answer::Chosen(purpose, file.path().to_owned()),
                // No one closes a dialog that fast: there was none to be seen.
                None if asked.elapsed() < QUICKEST_PERSON => {
                    Answer::NoDialog(purpose, t!("ask-this-system-shows-no-file"))
                }
                None => return,
            };
            // The answers only overflow when no one is at the window.
            let _ = sender.try_send(answer);
            ctx.request_repaint();
        });
        if let Err(error) = asked {
            let reason = t!("ask-no-dialog-can-be-shown", error = error.to_string());
            let _ = self.sender.try_send(Answer::NoDialog(purpose, reason));
        }
    }
}
