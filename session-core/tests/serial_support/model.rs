//! A modelled table on a modelled computer, for the tests of the serial driver.
#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::sync::{Arc, Mutex};
use std::time::Duration;

use session_core::cancel::CancelToken;
use session_core::turntable::serial::{SerialOptions, SerialTable};
use session_core::turntable::{TableError, TablePosition, Turntable};

pub mod babble;
pub mod board;
pub mod ports;

use board::Board;
use ports::{ModelPorts, SharedBoard, lock};

pub const PORT: &str = "/dev/ttyACM0";
pub const ID: &str = "e660583883724a32";

pub fn secs(secs: f64) -> Duration {
    Duration::from_secs_f64(secs)
}

pub struct Bench {
    pub board: SharedBoard,
    pub ports: ModelPorts,
}

impl Bench {
    pub fn new(prepare: impl FnOnce(&mut Board)) -> Self {
        let mut board = Board::new(ID);
        prepare(&mut board);
        let board = Arc::new(Mutex::new(board));
        let ports = ModelPorts::default();
        ports.plug(PORT, &board);
        Self { board, ports }
    }

    pub fn open(&self) -> Result<SerialTable, TableError> {
        SerialTable::open_on(Box::new(self.ports.clone()), PORT, 115_200, SerialOptions::default())
    }

    pub fn truth(&self) -> TablePosition {
        lock(&self.board).truth()
    }
}

pub fn ready(prepare: impl FnOnce(&mut Board)) -> (Bench, SerialTable) {
    let bench = Bench::new(prepare);
    let mut table = bench.open().unwrap();
    table.set_zero().unwrap();
    (bench, table)
}

pub fn turn(table: &mut SerialTable, step: i64) -> Result<TablePosition, TableError> {
    table.turn_to(step, &CancelToken::default(), &mut |_| {})
}

/// What one piece of work gives, without the text of its failure.
pub type Outcome = Result<Option<TablePosition>, TableError>;

/// A short session; each result is handed to `check` with the table's own knowledge beside it.
pub fn session(table: &mut SerialTable, mut check: impl FnMut(&Outcome)) {
    let mut work = |outcome: Result<TablePosition, TableError>| check(&outcome.map(Some));
    work(table.position());
    work(table.set_zero());
    work(turn(table, 340));
    work(turn(table, -17));
    check(&table.fire_shutter(secs(0.2)).map(|()| None));
    check(&table.position().map(Some));
    check(&table.release().map(|()| None));
}

/// Gives the items one after another, again and again.
pub fn in_turn<T: Clone + Send + 'static>(items: Vec<T>) -> impl FnMut() -> T + Send {
    let mut next = 0;
    move || {
        next += 1;
        items[(next - 1) % items.len()].clone()
    }
}
