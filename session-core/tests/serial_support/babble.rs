//! Something on a port that is no table.

use std::time::Duration;

use session_core::turntable::serial::{Gone, PortNote, Ports, Wire};

/// A port that says the same bytes over and over.
pub struct Babble {
    pub bytes: Vec<u8>,
    pub piece: usize,
}

struct BabbleWire {
    bytes: Vec<u8>,
    piece: usize,
    at: usize,
    now: Duration,
}

impl Ports for Babble {
    fn list(&self) -> Vec<PortNote> {
        Vec::new()
    }

    fn open(&self, _port: &str, _baud: u32) -> Result<Box<dyn Wire>, String> {
        Ok(Box::new(BabbleWire { bytes: self.bytes.clone(), piece: self.piece, at: 0, now: Duration::ZERO }))
    }
}

impl Wire for BabbleWire {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> Result<usize, Gone> {
        self.now += timeout.max(Duration::from_millis(1));
        let count = self.piece.min(buffer.len()).min(self.bytes.len());
        for slot in &mut buffer[..count] {
            *slot = self.bytes[self.at % self.bytes.len()];
            self.at += 1;
        }
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8], _timeout: Duration) -> Result<usize, Gone> {
        Ok(bytes.len())
    }

    fn now(&self) -> Duration {
        self.now
    }
}
