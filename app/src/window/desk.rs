//! The thread that does what takes time: opening folder and devices, ending sessions, plan files.
//!
//! It owns the running session; the window holds only a sender of intents.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, TryRecvError, bounded};
use session_core::cancel::CancelToken;
use session_core::check::FlagPolicy;
use session_core::engine::Activity;
use session_core::journal::durable::replace_state;
use session_core::journal::{FolderError, FrameRecord, JOURNAL_FILE, SessionFolder, StopKey};
use session_core::plan::Plan;
use session_core::runner::{self, IntentSender, RunOptions, SessionHandle};
use session_core::shoot_list::ShootList;
use session_core::view::StopView;

use super::ask::Asked;
use super::attention;
use super::devices::Ports;
use super::facts::{FactsKey, FactsReader, StopFacts};
use super::mailbox::Mailbox;
use super::places::PlanInForce;
use super::products::{ListOffer, ProductList};
use super::recents::{self, RecentSet};
use super::tryout::{Trial, Tryout, TryoutView};
use crate::controller_files::{self, BoardFiles, Saved};
use crate::ports;
use crate::settings::{self, Settings};
use crate::studio::{self, CameraSpec, StudioOptions, TableSpec};
use crate::window::text::t;

mod lists;
mod trials;

use trials::StudioFacts;

/// Everything a session needs to begin.
#[derive(Debug, Clone)]
pub struct Opening {
    /// The session folder.
    pub folder: PathBuf,
    /// The plan to shoot.
    pub plan: Plan,
    /// The table.
    pub table: TableSpec,
    /// The camera.
    pub camera: CameraSpec,
    /// Settings of both.
    pub options: StudioOptions,
    /// What follows when a frame is flagged.
    pub on_flag: FlagPolicy,
}

/// A note on stops' frames, for a set whose session is not running.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameNote {
    /// Use none of these stops' frames.
    SetAside(Vec<u32>),
    /// Use this version.
    Use {
        /// The stop's number.
        stop: u32,
        /// The version, from 1.
        version: u32,
    },
}

/// What the desk is asked to do.
#[allow(clippy::large_enum_variant, reason = "a handful at a time")]
#[derive(Debug)]
pub enum Order {
    /// See what set the folder holds.
    Look(PathBuf),
    /// See how sets worked on before stand.
    LookAtRecents(Vec<PathBuf>),
    /// Begin a session.
    Open(Box<Opening>),
    /// End the session, if one runs, and let go of the devices.
    Close,
    /// End the session, if one runs, and keep its devices for the next.
    EndSession,
    /// End the session, if one runs, and change the set's plan.
    Replan(PathBuf, Plan),
    /// Note something on frames of a set whose session is not running.
    Note(PathBuf, FrameNote),
    /// Read a plan file.
    LoadPlan(PathBuf),
    /// Write a plan file.
    SavePlan(PathBuf, Plan, Asked),
    /// See what was dropped on the window: a set's folder, or a plan file.
    Dropped(PathBuf),
    /// Try table and camera out; the devices are opened first when need be.
    Try {
        /// The table.
        table: TableSpec,
        /// The camera.
        camera: CameraSpec,
        /// Settings of both.
        options: StudioOptions,
        /// What to try.
        trial: Trial,
        /// Stops it.
        cancel: CancelToken,
    },
    /// Shoot the table without the product, for the finishing of a set; a session that runs is ended first and its
    /// devices are used.
    ShootPlate {
        /// The set's folder.
        set: PathBuf,
        /// The name of the row whose camera height it is shot from.
        row: String,
        /// The table.
        table: TableSpec,
        /// The camera.
        camera: CameraSpec,
        /// Settings of both.
        options: StudioOptions,
        /// Stops it.
        cancel: CancelToken,
    },
    /// Keep the computer awake, or no longer.
    StayAwake(bool),
    /// Call the person: what for, and whether all is done.
    Call(String, bool),
    /// Save a board's files into a folder; other files of the same names are kept beside.
    SaveBoard(Box<BoardFiles>, PathBuf),
    /// Read a shoot list, to be looked at.
    ReadList(PathBuf),
    /// Use the shoot list read last.
    UseList,
    /// Go on with the shoot list that was in use before.
    GoOnWithList(PathBuf),
    /// See what a product of the list needs.
    Product(String),
    /// A product's set is complete.
    ProductDone(String),
    /// Write the window's settings down.
    Remember(PathBuf, Box<Settings>),
    /// Ask what is on a serial port, at this speed; what is tried out is let go first.
    Probe(String, u32),
    /// See what is known of a stop's frames.
    Facts(PathBuf, FactsKey),
    /// List serial ports.
    ListPorts,
    /// Open a folder in the system's file manager.
    ShowFolder(PathBuf),
    /// End the session and the thread.
    Quit,
}

/// What the desk has done.
#[derive(Debug)]
pub enum DeskNews {
    /// What a folder holds; `None` when there is no set in it yet.
    Looked {
        /// The folder.
        folder: PathBuf,
        /// The set, or why it cannot be used.
        found: Result<Option<PlanInForce>, String>,
    },
    /// How the sets worked on before stand; those gone are left out.
    Recents(Vec<RecentSet>),
    /// A session has begun and listens.
    Opened {
        /// Takes intents for it.
        sender: IntentSender,
        /// Its plan.
        plan: Plan,
    },
    /// A session could not begin.
    NotOpened(String),
    /// The session has ended and the devices are let go.
    Closed,
    /// A plan file was read, or not.
    PlanLoaded(Result<Plan, String>),
    /// A plan file was written, or not.
    PlanSaved(Result<PathBuf, String>),
    /// What is tried out stands like this; `None` when the devices are let go.
    Tried(Option<Box<TryoutView>>),
    /// What was tried did not work.
    NotTried(String),
    /// A frame of the empty table was kept.
    PlateShot {
        /// The set's folder.
        set: PathBuf,
        /// The row's name.
        row: String,
        /// The frame's name as seen from the set's folder.
        name: String,
    },
    /// Something a person has to do now for what is being tried.
    Prompt(String),
    /// The board's files are saved.
    BoardSaved(String),
    /// The board's files are not saved.
    BoardNotSaved(String),
    /// The shoot list in use, as it stands.
    List(ProductList),
    /// A shoot list was read and can be used, or not.
    ListRead(ListOffer),
    /// A product of the list: its plan and its folder.
    Product(Plan, PathBuf),
    /// A folder was dropped on the window.
    FolderDropped(PathBuf),
    /// What a port said, in lines, and the name of the dialect it looks like.
    Probed(Vec<String>, Option<String>),
    /// What is known of a stop's frames; `None` when the folder does not tell.
    Facts(FactsKey, Option<StopFacts>),
    /// The serial ports.
    Ports(Ports),
    /// Something good to know.
    Note(String),
    /// Something went wrong that changes nothing else.
    Trouble(String),
}

/// Sends orders; dropping it ends the session and waits for frames on their way.
pub struct Desk {
    orders: Sender<Order>,
    thread: Option<JoinHandle<()>>,
}

impl Desk {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(mailbox: Mailbox) -> Result<Self, String> {
        let (orders, inbox) = bounded(64);
        let thread = std::thread::Builder::new()
            .name("desk".to_owned())
            .spawn(move || {
                Worker {
                    mailbox,
                    session: None,
                    studio: None,
                    tryout: None,
                    awake: None,
                    list: None,
                    list_read: None,
                    facts: FactsReader::default(),
                }
                .run(&inbox);
            })
            .map_err(|error| t!("desk-the-windows-worker-cannot-be", error = error.to_string()))?;
        Ok(Self { orders, thread: Some(thread) })
    }

    /// Gives an order; tells whether it was taken.
    pub fn order(&self, order: Order) -> bool {
        // Never waits: a full desk is busy opening a device, and the person can ask again.
        self.orders.try_send(order).is_ok()
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.orders.send(Order::Quit);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Worker {
    mailbox: Mailbox,
    session: Option<SessionHandle>,
    /// What the running session's devices came with.
    studio: Option<StudioFacts>,
    tryout: Option<Tryout>,
    awake: Option<keepawake::KeepAwake>,
    list: Option<ShootList>,
    /// A list that was read and is not used yet.
    list_read: Option<ShootList>,
    facts: FactsReader,
}

impl Worker {
    fn run(mut self, inbox: &Receiver<Order>) {
        while let Some(order) = self.next(inbox) {
            match order {
                Order::Try { table, camera, options, trial, cancel } => {
                    match self.try_out(&table, &camera, &options, trial, &cancel) {
                        Ok(view) => self.mailbox.desk(DeskNews::Tried(Some(Box::new(view)))),
                        Err(reason) => self.mailbox.desk(DeskNews::NotTried(reason)),
                    }
                }
                Order::ShootPlate { set, row, table, camera, options, cancel } => {
                    let news = match self.shoot_plate(&set, &row, (&table, &camera), &options, &cancel) {
                        Ok(name) => DeskNews::PlateShot { set, row, name },
                        Err(reason) => DeskNews::NotTried(reason),
                    };
                    // They are open now, whatever came of it.
                    let tried = self.tried();
                    self.mailbox.desk(tried);
                    self.mailbox.desk(news);
                }
                Order::Look(folder) => self.look(folder),
                Order::LookAtRecents(folders) => {
                    self.mailbox.desk(DeskNews::Recents(recents::look(folders)));
                }
                Order::Open(opening) => match self.open(*opening) {
                    Ok((sender, plan)) => self.mailbox.desk(DeskNews::Opened { sender, plan }),
                    Err(reason) => self.mailbox.desk(DeskNews::NotOpened(reason)),
                },
                Order::Close => {
                    if self.tryout.take().is_some() {
                        self.mailbox.desk(DeskNews::Tried(None));
                    }
                    self.close();
                }
                Order::EndSession => {
                    let folder = self.take_devices_over();
                    let tried = self.tried();
                    self.mailbox.desk(tried);
                    self.tell_closed(folder);
                }
                Order::Replan(folder, plan) => self.replan(folder, plan),
                Order::Note(folder, wish) => {
                    if let Err(reason) = note(&folder, &wish) {
                        self.mailbox.desk(DeskNews::Trouble(reason));
                    }
                    self.look(folder);
                }
                Order::SavePlan(path, plan, asked) => {
                    self.mailbox.desk(DeskNews::PlanSaved(save_plan(path, &plan, asked)));
                }
                Order::StayAwake(true) => self.awake = attention::stay_awake(),
                Order::StayAwake(false) => self.awake = None,
                Order::Call(text, done) => attention::call(&text, done),
                Order::SaveBoard(files, folder) => self.save_board(&files, &folder),
                Order::ReadList(path) => self.read_list(path),
                Order::UseList => self.use_list(),
                Order::GoOnWithList(path) => self.go_on_with_list(&path),
                Order::Product(sku) => self.product(&sku),
                Order::ProductDone(sku) => self.product_done(&sku),
                Order::Remember(place, settings) => {
                    if let Err(reason) = settings::write(&place, &settings) {
                        self.mailbox.desk(DeskNews::Trouble(t!(
                            "desk-the-windows-settings-cannot-be",
                            reason = reason
                        )));
                    }
                }
                Order::Dropped(path) if path.is_dir() => self.mailbox.desk(DeskNews::FolderDropped(path)),
                Order::Dropped(path)
                    if path.extension().is_some_and(|kind| kind.eq_ignore_ascii_case("csv")) =>
                {
                    self.read_list(path);
                }
                Order::LoadPlan(path) | Order::Dropped(path) => {
                    self.mailbox.desk(DeskNews::PlanLoaded(load_plan(&path)));
                }
                Order::Probe(port, baud) => self.probe(&port, baud),
                Order::Facts(folder, key) => {
                    self.mailbox.desk(DeskNews::Facts(key, self.facts.read(&folder, key.stop)));
                }
                Order::ListPorts => self.mailbox.desk(DeskNews::Ports(list_ports())),
                Order::ShowFolder(folder) => self.show_folder(folder),
                Order::Quit => break,
            }
        }
        if let Some(session) = self.session.take() {
            session.finish();
        }
    }

    /// Opens a folder in the system's file manager, on a thread of its own: some file managers are waited for
    /// until they are closed.
    fn show_folder(&self, folder: PathBuf) {
        let mailbox = self.mailbox.clone();
        let name = folder.display().to_string();
        let shown = std::thread::Builder::new().name("file manager".to_owned()).spawn(move || {
            let folder_name = folder.display().to_string();
            if !folder.is_dir() {
                mailbox.desk(DeskNews::Trouble(t!("desk-folder-not-there", folder = folder_name)));
            } else if open::that(&folder).is_err() {
                mailbox.desk(DeskNews::Trouble(t!("desk-folder-not-shown", folder = folder_name)));
            }
        });
        if shown.is_err() {
            self.mailbox.desk(DeskNews::Trouble(t!("desk-folder-not-shown", folder = name)));
        }
    }

    /// The next order; live pictures are brought in while there is none.
    fn next(&mut self, inbox: &Receiver<Order>) -> Option<Order> {
        loop {
            let Some(tryout) = self.tryout.as_mut().filter(|tryout| tryout.is_live()) else {
                return inbox.recv().ok();
            };
            match inbox.try_recv() {
                Ok(order) => return Some(order),
                Err(TryRecvError::Disconnected) => return None,
                Err(TryRecvError::Empty) => {}
            }
            match tryout.live_picture() {
                Ok(Some(picture)) => self.mailbox.live(picture),
                Ok(None) => {}
                Err(reason) => self.mailbox.desk(DeskNews::NotTried(reason)),
            }
        }
    }

    fn save_board(&self, files: &BoardFiles, folder: &Path) {
        self.mailbox.desk(match controller_files::save(files, folder, true) {
            Ok(saved) => {
                let kept = saved.iter().filter(|file| matches!(file, Saved::Replaced(..))).count();
                let kept = if kept == 0 { "" } else { &t!("desk-what-lay-there-before-is") };
                DeskNews::BoardSaved(t!(
                    "desk-the-controllers-files-lie-in",
                    folder = folder.display().to_string(),
                    kept = kept
                ))
            }
            Err(reason) => DeskNews::BoardNotSaved(reason),
        });
    }

    fn look(&self, folder: PathBuf) {
        let found = match SessionFolder::open(&folder) {
            Ok(open) => {
                self.tell_recovery(&open);
                Ok(Some(in_force(&open)))
            }
            Err(FolderError::NoSession(_)) if !folder.join(JOURNAL_FILE).exists() => Ok(None),
            Err(error) => Err(error.to_string()),
        };
        self.mailbox.desk(DeskNews::Looked { folder, found });
    }

    /// Says what the opening of a folder found and mended.
    fn tell_recovery(&self, folder: &SessionFolder) {
        for sentence in folder.recovery().sentences() {
            self.mailbox.desk(DeskNews::Trouble(sentence));
        }
    }

    fn open(&mut self, opening: Opening) -> Result<(IntentSender, Plan), String> {
        if let Some(session) = self.session.take() {
            session.finish();
        }
        let folder = SessionFolder::open_or_create(&opening.folder, &opening.plan)
            .map_err(|error| error.to_string())?;
        self.tell_recovery(&folder);
        // Opened once already: a board may forget where it stands when its port is opened again.
        let studio = match self.tryout.take().filter(|tryout| tryout.is(&opening.table, &opening.camera)) {
            Some(tryout) => tryout.into_studio(),
            None => studio::open(&opening.table, &opening.camera, &opening.options)?,
        };
        self.mailbox.desk(DeskNews::Tried(None));
        for note in studio.notes.iter().chain(&studio.settle_note(&opening.plan)) {
            self.mailbox.desk(DeskNews::Note(note.clone()));
        }
        self.studio = Some(StudioFacts::of(opening.table, opening.camera, &studio));
        let options = RunOptions {
            run_up: studio.run_up(),
            pause_between_rows: true,
            on_flag: opening.on_flag,
            program: format!("roundstop {}", env!("CARGO_PKG_VERSION")),
            ..RunOptions::default()
        };
        let mailbox = self.mailbox.clone();
        let eyes = crate::checks::eyes();
        let tell = move |update| mailbox.session(update);
        let session = runner::start(folder, studio.table, studio.camera, eyes, studio.clock, options, tell)
            .map_err(|error| error.to_string())?;
        let sender = session.sender();
        self.session = Some(session);
        Ok((sender, opening.plan))
    }

    fn close(&mut self) {
        let folder = self.session.take().and_then(SessionHandle::finish);
        self.tell_closed(folder);
    }

    /// Says that the session has ended, and what its folder holds.
    fn tell_closed(&self, folder: Option<SessionFolder>) {
        self.mailbox.desk(DeskNews::Closed);
        if let Some(folder) = folder {
            let found = Ok(Some(in_force(&folder)));
            self.mailbox.desk(DeskNews::Looked { folder: folder.root().to_owned(), found });
        }
    }

    fn replan(&mut self, path: PathBuf, plan: Plan) {
        let held = self.session.take().and_then(SessionHandle::finish);
        self.mailbox.desk(DeskNews::Closed);
        let changed = held
            .map_or_else(|| SessionFolder::open(&path), Ok)
            .and_then(|mut folder| folder.set_plan(plan).map(|()| folder));
        match changed {
            Ok(folder) => {
                let found = Ok(Some(in_force(&folder)));
                self.mailbox.desk(DeskNews::Looked { folder: path, found });
            }
            Err(error) => {
                self.mailbox.desk(DeskNews::Trouble(error.to_string()));
                self.look(path);
            }
        }
    }
}

/// What an open folder holds, in the form a running session would show it.
fn in_force(folder: &SessionFolder) -> PlanInForce {
    let stops = folder
        .seeds()
        .into_iter()
        .map(|seed| StopView {
            index: seed.stop.index,
            row: seed.stop.row,
            closing: seed.stop.closing,
            degrees: seed.stop.angle.wrapped().degrees(),
            degrees_text: seed.stop.angle.wrapped().short_degrees(),
            state: seed.state,
            activity: Activity::None,
            skipped: false,
            versions: folder.pictures_of(&seed.stop),
            chosen: seed.chosen,
            problem: None,
        })
        .collect();
    let own: HashSet<StopKey> = folder.shots().iter().map(|stop| folder.key_of(stop)).collect();
    let spare = folder.with_ledger(|ledger| {
        let keys = ledger.all_frames().map(FrameRecord::key);
        let in_use = keys.filter(|key| ledger.frame(key).is_some_and(|frame| frame.in_use().is_some()));
        in_use.filter(|key| !own.contains(key)).collect()
    });
    PlanInForce { plan: folder.plan().clone(), stops, spare }
}

fn note(path: &Path, note: &FrameNote) -> Result<(), String> {
    let folder = SessionFolder::open(path).map_err(|error| error.to_string())?;
    let noted = match note {
        FrameNote::SetAside(stops) => folder.set_aside(stops),
        FrameNote::Use { stop, version } => folder.choose_version(&[*stop], *version),
    };
    noted.map_err(|error| error.to_string())
}

/// Writes a plan. A dialog has asked before something is replaced; whoever types a path was not asked.
fn save_plan(path: PathBuf, plan: &Plan, asked: Asked) -> Result<PathBuf, String> {
    if asked == Asked::ByTyping && path.symlink_metadata().is_ok() {
        return Err(t!("desk-plan-file-is-there", path = path.display().to_string()));
    }
    replace_state(&path, plan.to_json().as_bytes()).map_err(|error| error.to_string())?;
    Ok(path)
}

fn load_plan(path: &Path) -> Result<Plan, String> {
    let text = std::fs::read_to_string(path).map_err(|error| {
        t!("desk-cannot-be-read-choose-another", path = path.display().to_string(), error = error.to_string())
    })?;
    Plan::from_json(&text).map_err(|error| format!("{}: {error}", path.display()))
}

fn list_ports() -> Ports {
    match ports::list() {
        Ok(ports) => Ports::Found(ports),
        Err(error) => Ports::Refused(t!("desk-the-serial-ports-cannot-be", error = error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_typed_name_replaces_no_file() {
        let folder = tempfile::tempdir().unwrap();
        let frame = folder.path().join("frame.jpg");
        replace_state(&frame, b"a picture").unwrap();
        let plan = Plan::single_row("LP-0142", 4);
        let refused = save_plan(frame.clone(), &plan, Asked::ByTyping).unwrap_err();
        assert!(refused.contains("frame.jpg is there already"), "{refused}");
        assert_eq!(std::fs::read(&frame).unwrap(), b"a picture");
        let path = folder.path().join("plan.json");
        assert_eq!(save_plan(path.clone(), &plan, Asked::ByTyping).as_ref(), Ok(&path));
        // A dialog has asked already.
        let larger = Plan::single_row("LP-0142", 8);
        save_plan(path.clone(), &larger, Asked::ByDialog).unwrap();
        assert_eq!(load_plan(&path).unwrap(), larger);
    }
}
