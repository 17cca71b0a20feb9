//! The modelled board on a modelled computer: wires and ports.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use session_core::turntable::serial::{Gone, PortNote, Ports, UsbIdentity, Wire};

use super::board::Board;

pub type SharedBoard = Arc<Mutex<Board>>;

pub fn lock(board: &SharedBoard) -> MutexGuard<'_, Board> {
    board.lock().unwrap()
}

struct ModelWire {
    board: SharedBoard,
    opening: u64,
}

impl ModelWire {
    fn check(&self, board: &Board) -> Result<(), Gone> {
        let there = board.plugged && board.opened == self.opening;
        if there { Ok(()) } else { Err(Gone("Input/output error".to_owned())) }
    }
}

impl Wire for ModelWire {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> Result<usize, Gone> {
        let mut board = lock(&self.board);
        let until = board.now + timeout;
        loop {
            self.check(&board)?;
            let mut count = 0;
            while count < buffer.len().min(board.faults.piece) && board.plugged {
                let now = board.now;
                if board.out.front().is_none_or(|(due, _)| *due > now) {
                    break;
                }
                let Some((_, byte)) = board.out.pop_front() else { break };
                buffer[count] = byte;
                count += 1;
                board.pass();
            }
            if count > 0 {
                return Ok(count);
            }
            if board.now >= until {
                return Ok(0);
            }
            let due = board.out.front().map(|(due, _)| *due);
            let next = board
                .next_event()
                .into_iter()
                .chain(due)
                .min()
                .map_or(until, |at| at.clamp(board.now, until));
            board.advance(next);
        }
    }

    fn write(&mut self, bytes: &[u8], _timeout: Duration) -> Result<usize, Gone> {
        let mut board = lock(&self.board);
        self.check(&board)?;
        for (index, &byte) in bytes.iter().enumerate() {
            let soon = board.now + Duration::from_micros(87);
            board.advance(soon);
            board.take(byte);
            board.pass();
            if !board.plugged {
                return Ok(index + 1);
            }
        }
        Ok(bytes.len())
    }

    fn now(&self) -> Duration {
        lock(&self.board).now
    }
}

/// The ports of a modelled computer; clones share them.
#[derive(Clone, Default)]
pub struct ModelPorts {
    pub boards: Arc<Mutex<HashMap<String, SharedBoard>>>,
}

impl ModelPorts {
    pub fn plug(&self, port: &str, board: &SharedBoard) {
        self.boards.lock().unwrap().insert(port.to_owned(), Arc::clone(board));
    }

    pub fn unplug(&self, port: &str) {
        if let Some(board) = self.boards.lock().unwrap().remove(port) {
            lock(&board).opened += 1;
        }
    }
}

impl Ports for ModelPorts {
    fn list(&self) -> Vec<PortNote> {
        let usb = Some(UsbIdentity { vendor: 0x1209, product: 1, serial_number: None });
        let mut names: Vec<String> = self.boards.lock().unwrap().keys().cloned().collect();
        names.sort();
        names.into_iter().map(|name| PortNote { name, description: None, usb: usb.clone() }).collect()
    }

    fn open(&self, port: &str, _baud: u32) -> Result<Box<dyn Wire>, String> {
        let board = self.boards.lock().unwrap().get(port).cloned().ok_or("there is no such port")?;
        let opening = {
            let mut board = lock(&board);
            if !board.plugged {
                return Err("there is no such port".to_owned());
            }
            board.opened += 1;
            if !board.keeps_output {
                board.out.clear();
            }
            board.opened
        };
        Ok(Box::new(ModelWire { board, opening }))
    }
}
