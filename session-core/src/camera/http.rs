//! A camera that gives a picture for each HTTP request: phones, network and single-board cameras.
//!
//! The answer's content counts, not what its header says. Where the answer is a stream of pictures
//! (motion JPEG), the first whole one after the request is the frame, and the live picture comes from it too.

use std::net::{TcpStream, ToSocketAddrs};
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use super::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use crate::cancel::CancelToken;

mod address;
mod exchange;
mod stream;

pub use address::{HttpAddress, LOGIN_VARIABLE};
use exchange::Picture;

/// Bounds of one request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HttpOptions {
    /// How long a picture may take, from the request to its last byte.
    pub timeout: Duration,
    /// The most bytes a picture may have.
    pub limit_bytes: u64,
}

impl Default for HttpOptions {
    fn default() -> Self {
        Self { timeout: Duration::from_secs(30), limit_bytes: 200_000_000 }
    }
}

/// How often a waiting exposure looks whether it is to stop.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long the probe waits for the camera's line to open.
const PROBE: Duration = Duration::from_secs(5);

/// Takes frames by asking for them.
#[derive(Debug)]
pub struct HttpCamera {
    address: HttpAddress,
    options: HttpOptions,
    agent: ureq::Agent,
    arrived: Option<Picture>,
    /// Whether the address gives a stream; `None` until it has been asked.
    streams: Option<bool>,
}

impl HttpCamera {
    /// Builds a camera at an address.
    pub fn new(address: HttpAddress, options: HttpOptions) -> Self {
        let address = address.or_login_from_environment();
        Self { address, options, agent: exchange::agent(), arrived: None, streams: None }
    }

    /// Asks for a picture in a thread of its own, so that a stop need not wait for the network.
    fn ask(&mut self, cancel: &CancelToken) -> Result<Picture, CameraError> {
        let (sender, answer) = channel();
        let (agent, address) = (self.agent.clone(), self.address.clone());
        let (options, stop) = (self.options.clone(), cancel.clone());
        let asking = thread::Builder::new().name("http camera".to_owned()).spawn(move || {
            // Nobody listens any more after a stop.
            let _ = sender.send(exchange::get(&agent, &address, &options, &stop));
        });
        asking.map_err(|error| CameraError::Failed(format!("no thread for the request: {error}")))?;
        loop {
            match answer.recv_timeout(LOOK_EVERY) {
                Ok(result) => {
                    if let Ok(picture) = &result {
                        self.streams = Some(picture.streamed);
                    }
                    return result;
                }
                Err(RecvTimeoutError::Timeout) if cancel.is_cancelled() => {
                    return Err(CameraError::Cancelled);
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(CameraError::Failed(format!("the request to {} broke off", self.address)));
                }
            }
        }
    }
}

impl Camera for HttpCamera {
    fn name(&self) -> String {
        format!("camera at {}", self.address)
    }

    /// Only opens a line: a request might already fire a shutter.
    fn probe(&mut self) -> Result<(), CameraError> {
        let url = self.address.url();
        let host = url.host_str().unwrap_or_default().trim_matches(['[', ']']);
        let port = url.port_or_known_default().unwrap_or(80);
        let lost = |reason: String| CameraError::Lost(format!("{}: {reason}", self.address));
        let places = (host, port).to_socket_addrs().map_err(|error| lost(error.to_string()))?;
        let mut reason = "no computer answers to this name".to_owned();
        for place in places {
            match TcpStream::connect_timeout(&place, PROBE) {
                Ok(_) => return Ok(()),
                Err(error) => reason = error.to_string(),
            }
        }
        Err(lost(reason))
    }

    /// The shutter has closed for certain only when the whole picture is here.
    fn expose(&mut self, _: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        self.arrived = None;
        self.arrived = Some(self.ask(context.cancel)?);
        Ok(())
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        _: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let picture =
            self.arrived.take().ok_or_else(|| CameraError::Failed("nothing was exposed".to_owned()))?;
        Ok(vec![Arrival::Bytes {
            name: format!("frame-{:06}.{}", request.shot, picture.kind.extension()),
            bytes: Arc::new(picture.bytes),
        }])
    }

    fn patience(&self) -> Duration {
        self.options.timeout
    }

    fn live_frame(&mut self) -> Result<Option<Vec<u8>>, CameraError> {
        // An address of stills has no live picture, and asking might fire its shutter.
        if self.streams == Some(false) {
            return Ok(None);
        }
        let picture = self.ask(&CancelToken::default())?;
        Ok(picture.streamed.then_some(picture.bytes))
    }
}
