//! The threads that join engine, devices and journal.
//!
//! One thread runs the engine; table, camera and disk each have their own, so that a transfer or a
//! slow disk never holds up the next turn. Results are never dropped; news for people may be late.

use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crossbeam_channel::{Sender, bounded};

use crate::angle::Angle;
use crate::camera::settings::CameraSettings;
use crate::camera::{Arrival, Camera, CameraError, ExposureRequest};
use crate::cancel::CancelToken;
use crate::check::{FlagPolicy, FrameChecker, SeenAngle};
use crate::clock::Clock;
use crate::engine::{CheckOf, Event, Intent};
use crate::journal::{FolderError, JournalError, KeptFrame, SessionFolder};
use crate::rest::RestWatcher;
use crate::turntable::{TableError, Turntable};
use crate::view::Update;

mod event_log;
mod session;
mod workers;

/// Settings of a run that are neither plan nor device.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOptions {
    /// How often a stop is tried again before a person is asked.
    pub retries: u32,
    /// Gear play to take up before each stop.
    pub run_up: Angle,
    /// Whether to stop before each new row for the camera to be set.
    pub pause_between_rows: bool,
    /// Whether to go on without a question when the camera's settings change within the set.
    pub settings_may_change: bool,
    /// What follows from each kind of flag, where frames are checked.
    pub on_flag: FlagPolicy,
    /// The program's name and version, for the journal.
    pub program: String,
}

impl Default for RunOptions {
    fn default() -> Self {
        Self {
            retries: 2,
            run_up: Angle::from_turns(2, 360),
            pause_between_rows: false,
            settings_may_change: false,
            on_flag: FlagPolicy::default(),
            program: format!("session-core {}", env!("CARGO_PKG_VERSION")),
        }
    }
}

/// Says why a session cannot begin.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The table does not answer.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The camera cannot be used.
    #[error(transparent)]
    Camera(#[from] CameraError),
    /// The folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The system gives no thread.
    #[error("the session's threads cannot be started: {0}; close some programs and try again")]
    Threads(#[from] std::io::Error),
}

/// What the session thread hears.
enum Message {
    Event(Event),
    /// The plate passes a step.
    Passing(i64),
    Arrived {
        shot: u64,
        arrivals: Vec<Arrival>,
        settings: Option<CameraSettings>,
    },
    Held {
        shot: u64,
        arrivals: Vec<Arrival>,
    },
    Kept {
        shot: u64,
        frame: KeptFrame,
    },
    /// The pictures were asked for the angle of a version of a stop.
    AngleSeen {
        stop: u32,
        version: u32,
        seen: SeenAngle,
    },
    /// Something a person should do or know, at a stop or of the whole.
    Say {
        stop: Option<u32>,
        text: String,
    },
    Quit,
}

/// What the table's thread is told.
enum TableOrder {
    Turn { ticket: u64, to: i64 },
    Zero,
    Reconnect,
    Release,
    Fire { press: Duration, done: Sender<Result<(), String>> },
}

/// What the camera's thread is told.
enum CameraOrder {
    Expose(ExposureRequest),
    /// Watch the live picture from a turn's end until it rests, up to a time of the session's clock.
    Watch {
        ticket: u64,
        turn_ended: Duration,
        until: Duration,
    },
}

/// What the checker's thread is told.
struct CheckOrder {
    ticket: u64,
    of: CheckOf,
}

/// Who looks at pictures for the session, which itself knows no pixels.
#[derive(Default)]
pub struct Eyes {
    /// Looks at every frame behind the next turn, and at the end of a row or set at all together; without
    /// one no frame is looked at.
    pub checker: Option<Box<dyn FrameChecker>>,
    /// Tells when the load rests, where the plan asks for it; without one the settle time is waited.
    pub rest: Option<Box<dyn RestWatcher>>,
}

/// The devices of a session that has ended, still open: a board that forgets where it stands when its port is
/// opened again must not be closed between two uses.
pub struct Devices {
    /// The table.
    pub table: Box<dyn Turntable>,
    /// The camera.
    pub camera: Box<dyn Camera>,
    /// The clock they share.
    pub clock: Clock,
}

impl std::fmt::Debug for Devices {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Devices({}, {})", self.table.facts().name, self.camera.name())
    }
}

/// What is left of a session that has ended; each `None` when its thread has died.
#[derive(Debug, Default)]
pub struct Ended {
    /// The folder, its lock still held.
    pub folder: Option<SessionFolder>,
    /// The devices.
    pub devices: Option<Devices>,
}

/// A running session; dropping it stops the session.
#[derive(Debug)]
pub struct SessionHandle {
    messages: Sender<Message>,
    thread: Option<JoinHandle<Ended>>,
}

impl SessionHandle {
    /// Sends what a person wants.
    pub fn send(&self, intent: Intent) {
        // A session that has ended hears nothing, which is no fault of the sender.
        let _ = self.messages.send(Message::Event(Event::Person(intent)));
    }

    /// A sender of intents that other threads may hold.
    pub fn sender(&self) -> IntentSender {
        IntentSender(self.messages.clone())
    }

    /// Stops the session at once and waits until nothing is on its way any more.
    ///
    /// Gives the folder back; `None` when the session's thread has died.
    pub fn finish(self) -> Option<SessionFolder> {
        self.end().folder
    }

    /// Ends the session as [`SessionHandle::finish`], and gives back what it was made of.
    pub fn end(mut self) -> Ended {
        let _ = self.messages.send(Message::Quit);
        self.thread.take().and_then(|thread| thread.join().ok()).unwrap_or_default()
    }
}

impl Drop for SessionHandle {
    fn drop(&mut self) {
        let _ = self.messages.send(Message::Quit);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Sends intents from another thread, such as a signal handler.
#[derive(Debug, Clone)]
pub struct IntentSender(Sender<Message>);

impl IntentSender {
    /// Sends what a person wants.
    pub fn send(&self, intent: Intent) {
        let _ = self.0.send(Message::Event(Event::Person(intent)));
    }
}

/// Begins a session on an open folder; it waits for [`Intent::Start`] or [`Intent::Retake`].
///
/// `news` is called from the session's thread for every [`Update`]; it must not block.
///
/// # Errors
/// When a device does not answer or the journal cannot be written.
pub fn start(
    mut folder: SessionFolder,
    mut table: Box<dyn Turntable>,
    mut camera: Box<dyn Camera>,
    eyes: Eyes,
    clock: Clock,
    options: RunOptions,
    news: impl FnMut(Update) + Send + 'static,
) -> Result<SessionHandle, StartError> {
    let position = table.position()?;
    camera.probe()?;
    let (camera_settings, warnings) = match camera.settings() {
        Ok(settings) => {
            let warnings = settings.as_ref().map(CameraSettings::automatics).unwrap_or_default();
            (settings, warnings)
        }
        Err(error) => (None, vec![format!("The camera's settings cannot be read: {error}")]),
    };
    let facts = table.facts().clone();
    folder.set_steps_per_turn(facts.steps_per_turn)?;
    folder.append(crate::journal::Record::RunBegan {
        program: options.program.clone(),
        table: facts.name.clone(),
        camera: camera.name(),
        steps_per_turn: facts.steps_per_turn,
        camera_settings,
    })?;
    let folder = Arc::new(folder);
    let (messages, inbox) = bounded::<Message>(1024);
    let camera_name = camera.name();
    let camera_patience = camera.patience();
    let table_worker = workers::spawn_table(table, messages.clone())?;
    let shutter = facts.has_shutter.then(|| table_worker.shutter_line());
    let can_watch = eyes.rest.is_some();
    let camera_worker = workers::spawn_camera(camera, shutter, eyes.rest, clock.clone(), messages.clone())?;
    let keeper = workers::spawn_keeper(Arc::clone(&folder), messages.clone())?;
    let checker = eyes
        .checker
        .map(|checker| workers::spawn_checker(checker, Arc::clone(&folder), messages.clone()))
        .transpose()?;
    let session = session::Session::new(session::Parts {
        folder,
        facts,
        camera_name,
        camera_patience,
        warnings,
        options,
        clock,
        table: table_worker,
        camera: camera_worker,
        can_watch,
        keeper,
        checker,
        news: Box::new(news),
    });
    let own = messages.clone();
    let _ = own.send(Message::Event(Event::TableReady { position }));
    let thread = thread::Builder::new().name("session".to_owned()).spawn(move || session.run(&inbox))?;
    Ok(SessionHandle { messages, thread: Some(thread) })
}
