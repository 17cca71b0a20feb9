//! The open camera behind a child: orders as calls, troubles as sentences, a new child when one is spoilt.

use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use session_core::camera::{CameraContext, CameraError};
use session_core::cancel::CancelToken;

use super::link::{Link, LinkError};
use super::wire::{Answer, CardFile, Found, Identity, News, Order, Setting, State, Trouble, TroubleKind};

/// How long listing and opening may take; a camera on the network may have to wake.
const OPEN_LIMIT: Duration = Duration::from_secs(20);
/// How long a setting or a state may take.
const ASK_LIMIT: Duration = Duration::from_secs(10);
/// How long a trigger may take beyond the exposure; a lens that focuses is slow.
const TRIGGER_LIMIT: Duration = Duration::from_secs(15);
/// How long a camera that says busy is asked again.
const BUSY_FOR: Duration = Duration::from_secs(10);
/// How long a camera that is gone is looked for before a person is asked.
const RECONNECT_FOR: Duration = Duration::from_secs(5);
/// The pause between two tries; also how soon a request to stop is seen.
const TRY_EVERY: Duration = Duration::from_millis(100);

/// The longest that [`Remote::reopen`] and [`Remote::trigger`] together may take beyond the exposure.
pub const LONGEST_TRIGGER: Duration = Duration::from_secs(
    RECONNECT_FOR.as_secs() + OPEN_LIMIT.as_secs() + BUSY_FOR.as_secs() + TRIGGER_LIMIT.as_secs(),
);

/// Lists the cameras that are plugged in.
pub fn list() -> Result<Vec<Found>, CameraError> {
    let mut remote = Remote::new(None);
    remote.link = Some(start()?);
    match remote.ask(&Order::List, OPEN_LIMIT, &CancelToken::default()).map_err(|refusal| refusal.error)? {
        Answer::Cameras(found) => Ok(found),
        other => Err(unexpected(&other)),
    }
}

/// Why an order was not carried out, for the program and for people.
struct Refusal {
    kind: TroubleKind,
    error: CameraError,
}

/// A camera held by a child process.
#[derive(Debug)]
pub struct Remote {
    port: Option<String>,
    link: Option<Link>,
    /// Who the session began with.
    known: Option<Identity>,
}

impl Remote {
    /// Builds the hold on a camera; nothing is opened yet.
    pub fn new(port: Option<&str>) -> Self {
        Self { port: port.map(str::to_owned), link: None, known: None }
    }

    /// A name for people.
    pub fn name(&self) -> String {
        match (&self.known, &self.port) {
            (Some(known), _) => known.to_string(),
            (None, Some(port)) => format!("camera on {port}"),
            (None, None) => "tethered camera".to_owned(),
        }
    }

    /// Starts a child and opens the camera, unless both are there; tells whether it had to.
    pub fn open(&mut self, cancel: &CancelToken) -> Result<bool, CameraError> {
        if self.link.is_some() {
            return Ok(false);
        }
        self.link = Some(start()?);
        let order = Order::Open { port: self.port.clone(), known: self.known.clone() };
        let opened = match self.ask(&order, OPEN_LIMIT, cancel) {
            Ok(Answer::Opened(identity)) => {
                self.known = Some(identity);
                Ok(true)
            }
            Ok(other) => Err(unexpected(&other)),
            Err(refusal) => Err(refusal.error),
        };
        if opened.is_err() {
            self.link = None;
        }
        opened
    }

    /// Opens the camera as [`Remote::open`] does, looking for it a while if it is gone.
    pub fn reopen(&mut self, context: &CameraContext<'_>) -> Result<bool, CameraError> {
        let deadline = Instant::now() + RECONNECT_FOR;
        let mut told = false;
        loop {
            match self.open(context.cancel) {
                Err(error @ CameraError::Lost(_)) if Instant::now() < deadline => {
                    if !std::mem::replace(&mut told, true) {
                        (context.prompt)(format!("{error}; looking for it."));
                    }
                    pause(TRY_EVERY, context.cancel)?;
                }
                other => return other,
            }
        }
    }

    /// Lets the camera go; the next `open` starts anew.
    pub fn close(&mut self) {
        self.link = None;
    }

    /// Fires the shutter, asking a busy camera again for a while.
    pub fn trigger(&mut self, exposure: Duration, cancel: &CancelToken) -> Result<(), CameraError> {
        let deadline = Instant::now() + BUSY_FOR;
        loop {
            match self.ask(&Order::Trigger, exposure + TRIGGER_LIMIT, cancel) {
                Ok(_) => return Ok(()),
                Err(Refusal { kind: TroubleKind::Busy, .. }) if Instant::now() < deadline => {
                    pause(TRY_EVERY, cancel)?;
                }
                Err(refusal) => return Err(refusal.error),
            }
        }
    }

    /// What the camera has to say, waiting for the first word no longer than this.
    pub fn events(&mut self, longest: Duration, cancel: &CancelToken) -> Result<Vec<News>, CameraError> {
        let for_ms = longest.as_millis() as u64;
        match self
            .ask(&Order::Events { for_ms }, longest + ASK_LIMIT, cancel)
            .map_err(|refusal| refusal.error)?
        {
            Answer::News(news) => Ok(news),
            other => Err(unexpected(&other)),
        }
    }

    /// Copies a file off the card; gives its bytes and what the camera says they should be.
    pub fn copy(
        &mut self,
        file: &CardFile,
        to: &Path,
        limit: Duration,
        cancel: &CancelToken,
    ) -> Result<(u64, Option<u64>), CameraError> {
        let order = Order::Download { file: file.clone(), to: to.to_owned() };
        match self.ask(&order, limit, cancel).map_err(|refusal| refusal.error)? {
            Answer::Copied { bytes, stated } => Ok((bytes, stated)),
            other => Err(unexpected(&other)),
        }
    }

    /// Removes a file from the card.
    pub fn remove(&mut self, file: &CardFile) -> Result<(), CameraError> {
        let order = Order::Remove { file: file.clone() };
        self.ask(&order, ASK_LIMIT, &CancelToken::default()).map(drop).map_err(|refusal| refusal.error)
    }

    /// Reads the settings that matter, as far as the camera has them.
    pub fn settings(&mut self) -> Result<Vec<Setting>, CameraError> {
        match self
            .ask(&Order::Settings, ASK_LIMIT, &CancelToken::default())
            .map_err(|refusal| refusal.error)?
        {
            Answer::Settings(settings) => Ok(settings),
            other => Err(unexpected(&other)),
        }
    }

    /// Sets one of them and reads it back.
    pub fn set(&mut self, name: &str, value: &str) -> Result<(), CameraError> {
        let order = Order::Set { name: name.to_owned(), value: value.to_owned() };
        self.ask(&order, ASK_LIMIT, &CancelToken::default()).map(drop).map_err(|refusal| refusal.error)
    }

    /// Reads battery and room.
    pub fn state(&mut self) -> Result<State, CameraError> {
        match self.ask(&Order::State, ASK_LIMIT, &CancelToken::default()).map_err(|refusal| refusal.error)? {
            Answer::State(state) => Ok(state),
            other => Err(unexpected(&other)),
        }
    }

    /// Writes a live frame to a new file; tells whether the camera has one.
    pub fn live(&mut self, to: &Path) -> Result<bool, CameraError> {
        let order = Order::Live { to: to.to_owned() };
        match self.ask(&order, ASK_LIMIT, &CancelToken::default()).map_err(|refusal| refusal.error)? {
            Answer::Live(there) => Ok(there),
            other => Err(unexpected(&other)),
        }
    }

    /// Gives an order. A link that is of no more use is dropped; the next `open` makes a new one.
    fn ask(&mut self, order: &Order, limit: Duration, cancel: &CancelToken) -> Result<Answer, Refusal> {
        let Some(link) = &mut self.link else {
            let error = CameraError::Lost("it is not open".to_owned());
            return Err(Refusal { kind: TroubleKind::Lost, error });
        };
        let refusal = match link.ask(order, limit, cancel) {
            Ok(answer) => return Ok(answer),
            Err(LinkError::Trouble(trouble)) => {
                Refusal { kind: trouble.kind, error: explain(trouble, &self.name()) }
            }
            Err(LinkError::Broken(reason)) => {
                Refusal { kind: TroubleKind::Lost, error: CameraError::Lost(reason) }
            }
            Err(LinkError::Cancelled) => Refusal { kind: TroubleKind::Lost, error: CameraError::Cancelled },
        };
        // A handle whose camera has vanished never recovers.
        if refusal.kind == TroubleKind::Lost {
            self.link = None;
        }
        Err(refusal)
    }
}

fn start() -> Result<Link, CameraError> {
    Link::start().map_err(|error| {
        CameraError::Failed(format!("the process that talks to the camera cannot be started: {error}; close some programs and try again"))
    })
}

/// What a trouble means and what to do about it.
fn explain(Trouble { kind, text }: Trouble, camera: &str) -> CameraError {
    match kind {
        TroubleKind::Lost => CameraError::Lost(text),
        TroubleKind::Claimed => CameraError::BadSetup(format!(
            "another program holds the camera, often the desktop's own file manager ({text}); close what shows it or let it go with `gio mount -s gphoto2`, then try again"
        )),
        TroubleKind::Full => CameraError::Failed(format!(
            "the card in {camera} is full ({text}); put in another card or make room, then try again"
        )),
        TroubleKind::Busy => CameraError::Failed(format!(
            "{camera} stayed busy for {:.0} s ({text}); leave its menus, set its lens to manual focus, and try again",
            BUSY_FOR.as_secs_f64()
        )),
        TroubleKind::Unsupported => CameraError::BadSetup(format!(
            "{camera} cannot do this from the computer ({text}); use a folder: or command: camera"
        )),
        TroubleKind::Setup => CameraError::BadSetup(text),
        TroubleKind::Other => CameraError::Failed(text),
    }
}

fn unexpected(answer: &Answer) -> CameraError {
    CameraError::Failed(format!("the process that talks to the camera answered out of turn ({answer:?})"))
}

/// Waits, looking at the request to stop.
fn pause(time: Duration, cancel: &CancelToken) -> Result<(), CameraError> {
    if cancel.is_cancelled() {
        return Err(CameraError::Cancelled);
    }
    thread::sleep(time);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{Trouble, TroubleKind, explain};

    #[test]
    fn a_camera_held_by_the_desktop_is_explained_with_the_cure() {
        let text = "Could not claim the USB device".to_owned();
        let error = explain(Trouble { kind: TroubleKind::Claimed, text }, "Larkhollow One").to_string();
        assert!(
            error.contains("another program holds the camera") && error.contains("gio mount -s gphoto2"),
            "{error}"
        );
    }
}
