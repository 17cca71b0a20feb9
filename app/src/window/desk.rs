//! The thread that does what takes time: opening folder and devices, ending sessions, plan files.
//!
//! It owns the running session; the window holds only a sender of intents.

use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, bounded};
use session_core::engine::{Activity, Intent};
use session_core::journal::durable::replace_state;
use session_core::journal::{FolderError, Record, SessionFolder};
use session_core::plan::Plan;
use session_core::runner::{self, IntentSender, RunOptions, SessionHandle};
use session_core::view::StopView;

use super::devices::Ports;
use super::mailbox::Mailbox;
use super::places::PlanInForce;
use crate::studio::{self, CameraSpec, StudioOptions, TableSpec};

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
    /// What to do once it is open.
    pub then: Option<Intent>,
}

/// A note on a stop's frames, for a set whose session is not running.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameNote {
    /// Use none of the stop's frames.
    SetAside(u32),
    /// Use this version.
    Use {
        /// The stop's number.
        stop: u32,
        /// The version, from 1.
        version: u32,
    },
}

/// What the desk is asked to do.
#[derive(Debug)]
pub enum Order {
    /// See what set the folder holds.
    Look(PathBuf),
    /// Begin a session.
    Open(Box<Opening>),
    /// End the session, if one runs, and let go of the devices.
    Close,
    /// End the session, if one runs, and change the set's plan.
    Replan(PathBuf, Plan),
    /// Note something on frames of a set whose session is not running.
    Note(PathBuf, Vec<FrameNote>),
    /// Read a plan file.
    LoadPlan(PathBuf),
    /// Write a plan file.
    SavePlan(PathBuf, Plan),
    /// List serial ports.
    ListPorts,
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
    /// The serial ports.
    Ports(Ports),
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
            .spawn(move || Worker { mailbox, session: None }.run(&inbox))
            .map_err(|error| {
                format!("the window's worker cannot be started: {error}; close some programs and try again")
            })?;
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
}

impl Worker {
    fn run(mut self, inbox: &Receiver<Order>) {
        for order in inbox {
            match order {
                Order::Look(folder) => self.look(folder),
                Order::Open(opening) => match self.open(*opening) {
                    Ok((sender, plan)) => self.mailbox.desk(DeskNews::Opened { sender, plan }),
                    Err(reason) => self.mailbox.desk(DeskNews::NotOpened(reason)),
                },
                Order::Close => self.close(),
                Order::Replan(folder, plan) => self.replan(folder, plan),
                Order::Note(folder, notes) => {
                    if let Err(reason) = note(&folder, &notes) {
                        self.mailbox.desk(DeskNews::Trouble(reason));
                    }
                    self.look(folder);
                }
                Order::LoadPlan(path) => self.mailbox.desk(DeskNews::PlanLoaded(load_plan(&path))),
                Order::SavePlan(path, plan) => {
                    let saved = replace_state(&path, plan.to_json().as_bytes());
                    let saved = saved.map(|()| path).map_err(|error| error.to_string());
                    self.mailbox.desk(DeskNews::PlanSaved(saved));
                }
                Order::ListPorts => self.mailbox.desk(DeskNews::Ports(list_ports())),
                Order::Quit => break,
            }
        }
        if let Some(session) = self.session.take() {
            session.finish();
        }
    }

    fn look(&self, folder: PathBuf) {
        let found = match SessionFolder::open(&folder) {
            Ok(open) => Ok(Some(in_force(&open))),
            Err(FolderError::NoSession(_)) if !folder.join("journal.jsonl").exists() => Ok(None),
            Err(error) => Err(error.to_string()),
        };
        self.mailbox.desk(DeskNews::Looked { folder, found });
    }

    fn open(&mut self, opening: Opening) -> Result<(IntentSender, Plan), String> {
        if let Some(session) = self.session.take() {
            session.finish();
        }
        let folder = SessionFolder::open_or_create(&opening.folder, &opening.plan)
            .map_err(|error| error.to_string())?;
        let studio = studio::open(&opening.table, &opening.camera, &opening.options)?;
        let options = RunOptions {
            pause_between_rows: true,
            program: format!("roundstop {}", env!("CARGO_PKG_VERSION")),
            ..RunOptions::default()
        };
        let mailbox = self.mailbox.clone();
        let session =
            runner::start(folder, studio.table, studio.camera, studio.clock, options, move |update| {
                mailbox.session(update);
            })
            .map_err(|error| error.to_string())?;
        if let Some(intent) = opening.then {
            session.send(intent);
        }
        let sender = session.sender();
        self.session = Some(session);
        Ok((sender, opening.plan))
    }

    fn close(&mut self) {
        let folder = self.session.take().and_then(SessionHandle::finish);
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
    PlanInForce { plan: folder.plan().clone(), stops }
}

fn note(path: &Path, notes: &[FrameNote]) -> Result<(), String> {
    let folder = SessionFolder::open(path).map_err(|error| error.to_string())?;
    for note in notes {
        let wanted = match note {
            FrameNote::SetAside(stop) | FrameNote::Use { stop, .. } => *stop,
        };
        let Some(stop) = folder.stops().iter().find(|stop| stop.index == wanted) else { continue };
        let key = folder.key_of(stop);
        let record = match note {
            FrameNote::SetAside(_) => Record::SetAside { row: key.row, angle: key.angle },
            FrameNote::Use { version, .. } => {
                Record::VersionChosen { row: key.row, angle: key.angle, version: *version }
            }
        };
        folder.append(record).map_err(|error| error.to_string())?;
    }
    Ok(())
}

fn load_plan(path: &Path) -> Result<Plan, String> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| format!("{} cannot be read: {error}; choose another plan file", path.display()))?;
    Plan::from_json(&text).map_err(|error| format!("{}: {error}", path.display()))
}

fn list_ports() -> Ports {
    match serialport::available_ports() {
        Ok(ports) => Ports::Found(
            ports
                .into_iter()
                .map(|port| {
                    let what = match port.port_type {
                        serialport::SerialPortType::UsbPort(usb) => {
                            usb.product.or(usb.manufacturer).unwrap_or_else(|| "USB".to_owned())
                        }
                        serialport::SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
                        _ => String::new(),
                    };
                    (port.port_name, what)
                })
                .collect(),
        ),
        Err(error) => Ports::Refused(format!(
            "the serial ports cannot be listed: {error}; type the port's path instead"
        )),
    }
}
