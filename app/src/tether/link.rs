//! The parent's hold on the child: one order, one reply, a deadline for each.

use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, unbounded};
use session_core::cancel::CancelToken;

use super::wire::{Answer, Order, Reply, Trouble};

/// The hidden command that makes this program a child.
pub const CHILD_COMMAND: &str = "tether-child";
/// How often the wait for a reply looks at the request to stop.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long a child may take to let its camera go.
const FAREWELL: Duration = Duration::from_millis(1500);

/// Says why an order was not carried out.
#[derive(Debug)]
pub enum LinkError {
    /// The child answered that it could not.
    Trouble(Trouble),
    /// The child hangs or has ended; the link is of no more use.
    Broken(String),
    /// The order was given up on request; the link is of no more use.
    Cancelled,
}

/// A running child.
#[derive(Debug)]
pub struct Link {
    child: Child,
    orders: Option<ChildStdin>,
    replies: Receiver<Reply>,
    /// Whether it has overrun a deadline: then waiting for its farewell is idle.
    hangs: bool,
}

impl Link {
    /// Starts a child.
    ///
    /// # Errors
    /// When this program cannot be started a second time.
    pub fn start() -> io::Result<Self> {
        let mut command = Command::new(std::env::current_exe()?);
        command.arg(CHILD_COMMAND).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        #[cfg(unix)]
        {
            use std::os::unix::process::CommandExt;
            // A group of its own: Ctrl-C in the terminal is for the parent, which ends the child in order.
            command.process_group(0);
        }
        let mut child = command.spawn()?;
        let orders = child.stdin.take();
        let (sender, replies) = unbounded();
        if let Some(out) = child.stdout.take() {
            thread::Builder::new().name("tether".to_owned()).spawn(move || {
                for line in BufReader::new(out).lines() {
                    let Ok(line) = line else { break };
                    // Drivers may print on the same stream; only replies count.
                    if let Ok(reply) = serde_json::from_str::<Reply>(&line)
                        && sender.send(reply).is_err()
                    {
                        break;
                    }
                }
            })?;
        }
        Ok(Self { child, orders, replies, hangs: false })
    }

    /// Gives an order and waits for its reply, at most `limit`.
    ///
    /// # Errors
    /// [`LinkError`]; after anything but `Trouble` the link must be dropped.
    pub fn ask(&mut self, order: &Order, limit: Duration, cancel: &CancelToken) -> Result<Answer, LinkError> {
        let deadline = Instant::now() + limit;
        self.send(order).map_err(|error| self.broken(&error.to_string()))?;
        loop {
            if cancel.is_cancelled() {
                return Err(LinkError::Cancelled);
            }
            let left = deadline.saturating_duration_since(Instant::now());
            match self.replies.recv_timeout(left.min(LOOK_EVERY)) {
                Ok(reply) => return reply.map_err(LinkError::Trouble),
                Err(RecvTimeoutError::Timeout) if left.is_zero() => {
                    self.hangs = true;
                    return Err(LinkError::Broken(format!(
                        "the camera did not answer within {:.0} s",
                        limit.as_secs_f64()
                    )));
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return Err(self.broken("its line has closed")),
            }
        }
    }

    fn send(&mut self, order: &Order) -> io::Result<()> {
        let closed = || io::Error::from(io::ErrorKind::BrokenPipe);
        let line = serde_json::to_string(order)? + "\n";
        let orders = self.orders.as_mut().ok_or_else(closed)?;
        orders.write_all(line.as_bytes())?;
        orders.flush()
    }

    fn broken(&mut self, reason: &str) -> LinkError {
        let how = match self.child.try_wait() {
            Ok(Some(status)) => status.to_string(),
            _ => reason.to_owned(),
        };
        LinkError::Broken(format!("the process that talks to the camera has ended ({how})"))
    }
}

impl Drop for Link {
    /// Closes the line so that the camera is let go in order; a child that hangs is killed.
    fn drop(&mut self) {
        self.orders = None;
        let patience = if self.hangs { Duration::ZERO } else { FAREWELL };
        let deadline = Instant::now() + patience;
        while matches!(self.child.try_wait(), Ok(None)) && Instant::now() < deadline {
            thread::sleep(Duration::from_millis(10));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A name for a file on its way: the camera's own, which may hold anything, after a number of ours.
pub fn inbox_name(number: usize, camera_name: &str) -> String {
    let name = Path::new(camera_name).file_name().unwrap_or_default().to_string_lossy();
    let name: String =
        name.chars().map(|c| if c.is_control() || "\\/:*?\"<>|".contains(c) { '_' } else { c }).collect();
    format!("{number:02}-{name}")
}
