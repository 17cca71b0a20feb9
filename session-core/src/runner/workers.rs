//! The device threads: each takes orders from a channel and answers with messages.

use std::io;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::{Sender, bounded};

use super::{
    Camera, CameraError, CameraOrder, CancelToken, CheckOf, CheckOrder, Clock, Event, FrameChecker, Message,
    SessionFolder, TableError, TableOrder, Turntable,
};
use crate::camera::{CameraContext, ShutterLine};
use crate::check::Finding;
use crate::engine::KeepFailure;
use crate::journal::KeepJob;
use crate::rest::{Rest, RestWatcher};

/// A device thread with the channel that feeds it.
pub(super) struct Worker<Order, Device = ()> {
    orders: Option<Sender<(Order, CancelToken)>>,
    thread: Option<JoinHandle<Device>>,
    /// Stops the last order given; each has its own, so that a late one cannot touch the next.
    last: CancelToken,
}

impl<Order: Send + 'static, Device: Send + 'static> Worker<Order, Device> {
    fn spawn(
        name: &str,
        messages: Sender<Message>,
        mut device: Device,
        mut work: impl FnMut(&mut Device, Order, &CancelToken, &Sender<Message>) + Send + 'static,
    ) -> io::Result<Self> {
        let (orders, inbox) = bounded::<(Order, CancelToken)>(16);
        let thread = thread::Builder::new().name(name.to_owned()).spawn(move || {
            for (order, cancel) in inbox {
                work(&mut device, order, &cancel, &messages);
            }
            device
        })?;
        Ok(Self { orders: Some(orders), thread: Some(thread), last: CancelToken::default() })
    }

    /// Hands over an order; the worker takes orders one after another.
    pub fn order(&mut self, order: Order) {
        self.last = CancelToken::default();
        if let Some(orders) = &self.orders {
            // A worker only ends when the session does.
            let _ = orders.send((order, self.last.clone()));
        }
    }

    /// Stops the last order given, also once others have followed it.
    pub fn last_order(&self) -> CancelToken {
        self.last.clone()
    }

    /// Asks for the last order to be stopped.
    pub fn cancel(&self) {
        self.last.cancel();
    }

    /// Lets the worker finish what it has, waits for it and gives its device back; `None` when it has died.
    pub fn finish(&mut self) -> Option<Device> {
        self.orders = None;
        self.thread.take().and_then(|thread| thread.join().ok())
    }

    /// Lets the worker finish what it has, for so long at most; tells whether it has ended.
    pub fn finish_within(&mut self, most: Duration) -> bool {
        self.orders = None;
        let deadline = Instant::now() + most;
        while self.thread.as_ref().is_some_and(|thread| !thread.is_finished()) {
            if Instant::now() >= deadline {
                return false;
            }
            thread::sleep(Duration::from_millis(5));
        }
        self.finish();
        true
    }
}

impl Worker<TableOrder, Box<dyn Turntable>> {
    /// The table's shutter contact, for the camera's thread.
    pub fn shutter_line(&self) -> TableShutter {
        TableShutter(self.orders.clone())
    }
}

/// Fires the shutter through the table's thread.
pub(super) struct TableShutter(Option<Sender<(TableOrder, CancelToken)>>);

impl ShutterLine for TableShutter {
    fn fire(&self, press: Duration) -> Result<(), String> {
        let gone = || "the table's line is closed".to_owned();
        let (done, answer) = bounded(1);
        self.0
            .as_ref()
            .ok_or_else(gone)?
            .send((TableOrder::Fire { press, done }, CancelToken::default()))
            .map_err(|_| gone())?;
        answer.recv().map_err(|_| gone())?
    }
}

pub(super) fn spawn_table(
    table: Box<dyn Turntable>,
    messages: Sender<Message>,
) -> io::Result<Worker<TableOrder, Box<dyn Turntable>>> {
    Worker::spawn("table", messages, table, |table, order, cancel, messages| {
        let ready = |result| match result {
            Ok(position) => Event::TableReady { position },
            Err(error) => Event::TableTrouble { error },
        };
        let event = match order {
            TableOrder::Turn { ticket, to } => {
                let mut passing = |step| {
                    // Progress may be lost, results never.
                    let _ = messages.try_send(Message::Passing(step));
                };
                match table.turn_to(to, cancel, &mut passing) {
                    Ok(position) => Event::TurnFinished { ticket, position },
                    Err(error) => Event::TurnFailed { ticket, error },
                }
            }
            TableOrder::Zero => ready(table.set_zero()),
            TableOrder::Reconnect => ready(table.reconnect()),
            TableOrder::Release => {
                // Only warmth is at stake, and a lost table shows at the next turn.
                let _ = table.release();
                return;
            }
            TableOrder::Fire { press, done } => {
                let fired = table.fire_shutter(press);
                // What is wrong with the table itself is not the camera's to mend.
                let trouble =
                    fired.clone().err().filter(|error| !matches!(error, TableError::Refused { .. }));
                if let Some(error) = trouble {
                    let _ = messages.send(Message::Event(Event::TableTrouble { error }));
                }
                let _ = done.send(fired.map_err(|error| error.to_string()));
                return;
            }
        };
        let _ = messages.send(Message::Event(event));
    })
}

pub(super) fn spawn_camera(
    camera: Box<dyn Camera>,
    shutter: Option<TableShutter>,
    mut watcher: Option<Box<dyn RestWatcher>>,
    clock: Clock,
    messages: Sender<Message>,
) -> io::Result<Worker<CameraOrder, Box<dyn Camera>>> {
    Worker::spawn("camera", messages, camera, move |camera, order: CameraOrder, cancel, messages| {
        let request = match order {
            CameraOrder::Expose(request) => request,
            CameraOrder::Watch { ticket, turn_ended, until } => {
                let rest = match &mut watcher {
                    Some(watcher) => {
                        watch(camera.as_mut(), watcher.as_mut(), &clock, turn_ended, until, cancel)
                    }
                    None => Rest::CannotTell { reason: "nobody watches it".to_owned() },
                };
                let _ = messages.send(Message::Event(Event::RestWatched { ticket, rest }));
                return;
            }
        };
        let shot = request.shot;
        let stop = request.stop;
        let prompt = |text: String| {
            let _ = messages.try_send(Message::Say { stop: Some(stop), text });
        };
        let context = CameraContext {
            cancel,
            shutter: shutter.as_ref().map(|line| line as &dyn ShutterLine),
            prompt: &prompt,
        };
        let send = |event| {
            let _ = messages.send(Message::Event(event));
        };
        if let Err(error) = camera.expose(&request, &context) {
            send(Event::ExposureFailed { shot, error });
        } else {
            send(Event::ExposureEnded { shot });
            match camera.fetch(&request, &context) {
                Ok(arrivals) if arrivals.is_empty() => {
                    send(Event::FrameFailed {
                        shot,
                        error: CameraError::Failed("the camera gave no file".to_owned()),
                    });
                }
                Ok(arrivals) => {
                    // Best effort: a camera that does not tell now has its frame all the same.
                    let settings = camera.settings().unwrap_or_default();
                    let _ = messages.send(Message::Arrived { shot, arrivals, settings });
                }
                Err(error) => send(Event::FrameFailed { shot, error }),
            }
        }
        let arrivals = camera.take_held();
        if !arrivals.is_empty() {
            let _ = messages.send(Message::Held { shot, arrivals });
        }
    })
}

/// The pace of live pictures on a virtual clock, which moves on only when told to.
const VIRTUAL_LIVE: Duration = Duration::from_millis(33);

/// Looks at live pictures until the load rests or they do not tell; at `until` says what was seen last.
fn watch(
    camera: &mut dyn Camera,
    watcher: &mut dyn RestWatcher,
    clock: &Clock,
    turn_ended: Duration,
    until: Duration,
    cancel: &CancelToken,
) -> Rest {
    watcher.begin();
    let mut seen = Rest::Moving { swing_px: None };
    loop {
        let now = clock.now();
        if now >= until || cancel.is_cancelled() {
            return seen;
        }
        let picture = match camera.live_frame() {
            Ok(Some(picture)) => picture,
            Ok(None) => return Rest::CannotTell { reason: "the camera has none".to_owned() },
            Err(error) => return Rest::CannotTell { reason: error.to_string() },
        };
        seen = watcher.look(now.saturating_sub(turn_ended).as_secs_f64(), &picture);
        if !matches!(seen, Rest::Moving { .. }) {
            return seen;
        }
        clock.advance_to(now + VIRTUAL_LIVE);
    }
}

pub(super) fn spawn_keeper(
    folder: Arc<SessionFolder>,
    messages: Sender<Message>,
) -> io::Result<Worker<KeepJob>> {
    Worker::spawn("keeper", messages, (), move |(), job: KeepJob, _, messages| {
        let shot = job.shot.number;
        // Readers of foreign files are at work here; one that gives way must not end the keeping.
        let kept = panic::catch_unwind(AssertUnwindSafe(|| folder.keep(&job))).unwrap_or_else(|_| {
            Err(KeepFailure::BadFrame(
                "this program failed on the frame's file; the file is held in quarantine".to_owned(),
            ))
        });
        let message = match kept {
            Ok(frame) => Message::Kept { shot, frame },
            Err(failure) => Message::Event(Event::KeepFailed { shot, failure }),
        };
        let _ = messages.send(message);
    })
}

pub(super) fn spawn_checker(
    mut checker: Box<dyn FrameChecker>,
    folder: Arc<SessionFolder>,
    messages: Sender<Message>,
) -> io::Result<Worker<CheckOrder>> {
    Worker::spawn("checker", messages, (), move |(), order: CheckOrder, cancel, messages| {
        let say = |stop: Option<u32>, text: String| {
            let _ = messages.send(Message::Say { stop, text });
        };
        let mut found = |finding: Finding| {
            if let Err(error) = folder.note_finding(&finding) {
                say(None, format!("What was found on stop {} is not on record: {error}", finding.stop));
            }
            let Finding { stop, version, flags, seen_angle } = finding;
            // Before the event, whose handling shows both.
            if let Some(seen) = seen_angle {
                let _ = messages.send(Message::AngleSeen { stop, version, seen });
            }
            let _ = messages.send(Message::Event(Event::FrameChecked { stop, version, flags }));
        };
        // Readers of foreign files are at work here; one that gives way must not end the checking.
        let checked = panic::catch_unwind(AssertUnwindSafe(|| match order.of {
            CheckOf::Frame { stop, version } => {
                checker.check_frame(&folder.row_about(stop, version), stop, cancel, &mut found);
                Ok(None)
            }
            CheckOf::Row { row } => {
                let frames = folder.row_to_check(row);
                let note = checker.check_row(&frames, folder.plan().direction, cancel, &mut found)?;
                if !cancel.is_cancelled() {
                    folder.note_row_checked(row, &frames).map_err(|error| error.to_string())?;
                }
                Ok(note)
            }
        }));
        match checked {
            Ok(Ok(None)) => {}
            Ok(Ok(Some(text)) | Err(text)) => say(None, text),
            Err(_) => say(
                None,
                "This program failed while it looked at a frame, which is kept; look at it yourself."
                    .to_owned(),
            ),
        }
        let _ = messages.send(Message::Event(Event::CheckEnded { ticket: order.ticket }));
    })
}
