//! The bytes below the protocol: a trait with explicit time-outs, and the operating system's port.
//!
//! The protocol code never waits on a port by itself. It asks the wire for bytes with a time-out and
//! takes the time from the wire too, so tests run it against a scripted line on a scripted clock.

use std::io::{self, Read, Write};
use std::time::{Duration, Instant};

use serialport::{ErrorKind, SerialPort};

/// Says that a line no longer leads anywhere, and what the system said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gone(pub String);

/// A line of bytes to a controller.
pub trait Wire: Send {
    /// Reads what has come in, waiting at most `timeout` for the first byte.
    ///
    /// Gives the number of bytes put into `buffer`; 0 means that nothing came in the time.
    ///
    /// # Errors
    /// [`Gone`] when the other end is no longer there.
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> Result<usize, Gone>;

    /// Writes as many of the bytes as the line takes within `timeout`, and gives their number.
    ///
    /// That the line took them does not mean that the controller read them: only its answer does.
    ///
    /// # Errors
    /// [`Gone`] when the other end is no longer there.
    fn write(&mut self, bytes: &[u8], timeout: Duration) -> Result<usize, Gone>;

    /// Tells the time since some fixed moment, by this line's clock.
    fn now(&self) -> Duration;
}

/// How often a wait on a line looks up to see whether it was interrupted.
pub(super) const LOOK_EVERY: Duration = Duration::from_millis(10);
/// How long a line may take to be written; a controller that reads takes it at once.
const WRITE_WAIT: Duration = Duration::from_secs(2);

/// Writes all the bytes; tells whether the line has taken them in time.
pub(super) fn write_whole(wire: &mut dyn Wire, bytes: &[u8]) -> Result<bool, Gone> {
    let until = wire.now() + WRITE_WAIT;
    let mut left = bytes;
    while !left.is_empty() {
        let taken = wire.write(left, LOOK_EVERY)?;
        left = left.get(taken..).unwrap_or_default();
        if !left.is_empty() && wire.now() >= until {
            return Ok(false);
        }
    }
    Ok(true)
}

/// A port of the operating system, held exclusively until dropped.
pub struct SerialWire {
    port: Box<dyn SerialPort>,
    opened: Instant,
}

impl SerialWire {
    /// Opens a port: 8 data bits, no parity, 1 stop bit, raw, exclusive; forgets what was on its way.
    ///
    /// # Errors
    /// A plain reason with the next step, for [`TableError::CannotOpen`](crate::turntable::TableError::CannotOpen).
    pub fn open(port: &str, baud: u32) -> Result<Self, String> {
        let mut open = serialport::new(port, baud)
            .timeout(Duration::from_millis(10))
            .open()
            .map_err(|error| open_reason(port, &error))?;
        // USB boards send nothing while DTR is low, and both lines high is the resting state of the
        // reset circuit on common boards. A pseudo-terminal answers ENOTTY, which is no fault.
        let _ = open.write_data_terminal_ready(true);
        let _ = open.write_request_to_send(true);
        let _ = open.clear(serialport::ClearBuffer::All);
        Ok(Self { port: open, opened: Instant::now() })
    }
}

impl Wire for SerialWire {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> Result<usize, Gone> {
        self.port.set_timeout(timeout).map_err(|error| Gone(error.to_string()))?;
        outcome(self.port.read(buffer))
    }

    fn write(&mut self, bytes: &[u8], timeout: Duration) -> Result<usize, Gone> {
        self.port.set_timeout(timeout).map_err(|error| Gone(error.to_string()))?;
        outcome(self.port.write(bytes))
    }

    fn now(&self) -> Duration {
        self.opened.elapsed()
    }
}

/// Tells a quiet line from one that is gone.
///
/// Only a time-out and an interrupted call are harmless. No byte without an error is how a terminal
/// says hang-up, and everything else that an unplugged port answers (`BrokenPipe`, `NotConnected`,
/// `ENXIO`, `EIO`, whose kinds differ by system) means gone.
fn outcome(result: io::Result<usize>) -> Result<usize, Gone> {
    match result {
        Ok(0) => Err(Gone("the line was closed from the other end".to_owned())),
        Ok(count) => Ok(count),
        Err(error) => match error.kind() {
            io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted => Ok(0),
            _ => Err(Gone(error.to_string())),
        },
    }
}

/// Says in plain words why a port did not open, and what to do.
fn open_reason(port: &str, error: &serialport::Error) -> String {
    let exists = std::path::Path::new(port).exists();
    match error.kind {
        ErrorKind::Io(io::ErrorKind::PermissionDenied) if cfg!(windows) => {
            "another program holds it; close that program, then try again".to_owned()
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) if cfg!(target_os = "linux") => {
            "you may not use it. Add yourself to the group that owns the port (`sudo usermod -aG dialout $USER`; on \
             some systems the group is `uucp`), log out and in again, then try again"
                .to_owned()
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            "you may not use it; ask the system's keeper for the right to read and write it, then try again".to_owned()
        }
        ErrorKind::NoDevice if exists => {
            format!("another program holds it ({}); close that program, then try again", error.description)
        }
        ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound) => {
            "there is no such port; plug the table in, check the port's name, then try again".to_owned()
        }
        _ => format!("the system says '{}'; check that it is a serial port, unplug the table and plug it in again", error.description),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_time_outs_are_harmless() {
        use io::ErrorKind as K;
        for kind in [K::TimedOut, K::WouldBlock, K::Interrupted] {
            assert_eq!(outcome(Err(kind.into())), Ok(0), "{kind:?}");
        }
        assert_eq!(outcome(Ok(3)), Ok(3));
        assert!(outcome(Ok(0)).is_err());
        for kind in
            [K::BrokenPipe, K::NotConnected, K::Other, K::UnexpectedEof, K::NotFound, K::PermissionDenied]
        {
            assert!(outcome(Err(kind.into())).is_err(), "{kind:?}");
        }
    }

    #[test]
    #[cfg(unix)]
    fn each_way_of_not_opening_says_what_to_do() {
        let reason = |kind, text: &str| open_reason("/dev/null", &serialport::Error::new(kind, text));
        let missing = SerialWire::open("/dev/roundstop-no-such-port", 115_200).err().unwrap_or_default();
        assert!(missing.contains("no such port"), "{missing}");
        let no_port = SerialWire::open("/dev/null", 115_200).err().unwrap_or_default();
        assert!(no_port.contains("check that it is a serial port"), "{no_port}");
        let busy = reason(ErrorKind::NoDevice, "Unable to acquire exclusive lock on serial port");
        assert!(busy.contains("another program holds it"), "{busy}");
        let denied = reason(ErrorKind::Io(io::ErrorKind::PermissionDenied), "Permission denied");
        assert!(!cfg!(target_os = "linux") || denied.contains("dialout"), "{denied}");
    }

    #[test]
    #[cfg(unix)]
    fn a_closed_pseudo_terminal_is_gone_and_a_second_opener_is_refused() {
        let (master, slave) = serialport::TTYPort::pair().unwrap();
        let name = slave.name().unwrap();
        drop(slave);
        // DTR and RTS answer ENOTTY here, which must not stop the opening.
        let mut wire = SerialWire::open(&name, 115_200).unwrap();
        let mut buffer = [0; 8];
        assert_eq!(wire.read(&mut buffer, Duration::from_millis(1)), Ok(0));
        let second = SerialWire::open(&name, 115_200).err().unwrap_or_default();
        assert!(second.contains("another program holds it"), "{second}");
        drop(master);
        assert!(wire.read(&mut buffer, Duration::from_millis(1)).is_err());
    }
}
