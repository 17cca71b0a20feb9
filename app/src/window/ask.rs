//! The system's own dialogs for files and folders, each on a thread of its own.

use std::path::{Path, PathBuf};

use crate::window::text::t;
use crossbeam_channel::{Receiver, Sender, bounded};

/// What the person chose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// A plan file to load.
    OpenPlan(PathBuf),
    /// Where to save the plan.
    SavePlan(PathBuf),
    /// Where the board's files go.
    BoardFolder(PathBuf),
    /// A shoot list to open.
    OpenList(PathBuf),
    /// The session folder.
    SessionFolder(PathBuf),
    /// The folder that the camera's frames arrive in.
    CameraFolder(PathBuf),
    /// The frame of the empty table.
    Plate(PathBuf),
    /// A listing profile.
    ListingProfile(PathBuf),
    /// The folder that the listing's folder is made in.
    ListingFolder(PathBuf),
    /// No dialog could be shown.
    Unavailable(String),
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
        let dialog = rfd::AsyncFileDialog::new()
            .set_title(t!("ask-open-a-plan"))
            .add_filter(t!("ask-plan"), &["json"]);
        self.ask(dialog.pick_file(), Answer::OpenPlan);
    }

    /// Asks for the board's drive, or a folder.
    pub fn board_folder(&self) {
        let dialog = rfd::AsyncFileDialog::new().set_title(t!("ask-choose-the-boards-drive-or"));
        self.ask(dialog.pick_folder(), Answer::BoardFolder);
    }

    /// Asks for a shoot list.
    pub fn open_list(&self) {
        let dialog = rfd::AsyncFileDialog::new()
            .set_title(t!("ask-open-a-shoot-list"))
            .add_filter(t!("ask-list"), &["csv"]);
        self.ask(dialog.pick_file(), Answer::OpenList);
    }

    /// Asks where to save the plan of this SKU.
    pub fn save_plan(&self, sku: &str) {
        let dialog = rfd::AsyncFileDialog::new()
            .set_title(t!("ask-save-the-plan"))
            .add_filter(t!("ask-plan"), &["json"])
            .set_file_name(format!("{sku}-plan.json"));
        self.ask(dialog.save_file(), Answer::SavePlan);
    }

    /// Asks for the session folder, beginning beside the present one.
    pub fn session_folder(&self, present: &Path) {
        let mut dialog = rfd::AsyncFileDialog::new()
            .set_title(t!("ask-choose-the-session-folder"))
            .set_can_create_directories(true);
        if let Some(beside) = present.parent().filter(|path| path.is_dir()) {
            dialog = dialog.set_directory(beside);
        }
        self.ask(dialog.pick_folder(), Answer::SessionFolder);
    }

    /// Asks for the folder that the camera's frames arrive in.
    pub fn camera_folder(&self) {
        let dialog = rfd::AsyncFileDialog::new().set_title(t!("ask-choose-the-folder-the-cameras"));
        self.ask(dialog.pick_folder(), Answer::CameraFolder);
    }

    /// Asks for the frame of the empty table, beginning in the set's folder.
    pub fn plate(&self, set: &Path) {
        let dialog = rfd::AsyncFileDialog::new().set_title(t!("finishing-choose-plate-title"));
        self.ask(dialog.set_directory(set).pick_file(), Answer::Plate);
    }

    /// Asks for a file with a listing profile.
    pub fn listing_profile(&self) {
        let dialog = rfd::AsyncFileDialog::new()
            .set_title(t!("finishing-open-profile-title"))
            .add_filter("Profile", &["toml"]);
        self.ask(dialog.pick_file(), Answer::ListingProfile);
    }

    /// Asks for the folder that the listing's folder is made in.
    pub fn listing_folder(&self) {
        let dialog = rfd::AsyncFileDialog::new().set_title(t!("finishing-choose-folder-title"));
        self.ask(dialog.pick_folder(), Answer::ListingFolder);
    }

    /// Waits for an answer elsewhere; the dialog itself was made on this thread, as some systems ask.
    fn ask(
        &self,
        chosen: impl Future<Output = Option<rfd::FileHandle>> + Send + 'static,
        answer: impl FnOnce(PathBuf) -> Answer + Send + 'static,
    ) {
        let (sender, ctx) = (self.sender.clone(), self.ctx.clone());
        let asked = std::thread::Builder::new().name("file dialog".to_owned()).spawn(move || {
            let asked = std::time::Instant::now();
            let answer = match pollster::block_on(chosen) {
                Some(file) => answer(file.path().to_owned()),
                // No one closes a dialog that fast: there was none to be seen.
                None if asked.elapsed() < QUICKEST_PERSON => {
                    Answer::Unavailable(t!("ask-this-system-shows-no-file"))
                }
                None => return,
            };
            // The answers only overflow when no one is at the window.
            let _ = sender.try_send(answer);
            ctx.request_repaint();
        });
        if let Err(error) = asked {
            let reason = t!("ask-no-dialog-can-be-shown", error = error.to_string());
            let _ = self.sender.try_send(Answer::Unavailable(reason));
        }
    }
}
