//! A turntable on a serial line, run by the program in `controller/` (see its PROTOCOL.md).
//!
//! From the bottom up: [`wire`](Wire) carries bytes with time-outs, `parse` cuts them into lines and
//! facts, `words` holds the words that are sent, `exchange` matches answers to what was sent,
//! `greeting` finds out who answers, and [`SerialTable`] does the jobs of a
//! [`Turntable`](super::Turntable). Beside it, [`DialectTable`] drives other controllers of the same words by
//! the settings of a [`Dialect`], and [`probe()`] asks what is on a port without moving or changing anything.
//!
//! The words are those of RS-274/NGC (T. Kramer, F. Proctor, E. Messina, "The NIST RS274NGC Interpreter,
//! Version 3", NIST IR 6556, 2000) with one rotary axis; answers and M170 to M177 are this project's own.

mod dialect;
mod driver;
mod exchange;
mod greeting;
mod parse;
mod ports;
mod probe;
mod wire;
mod words;

pub use dialect::{Dialect, DialectTable, MoveEnd, PRESETS, Pattern, ShutterWords, StatusWords, StopBytes};
pub use driver::SerialTable;
pub use greeting::SerialOptions;
pub use ports::{PortNote, Ports, SystemPorts, UsbIdentity};
pub use probe::{OtherController, Probed, ProbedTable, probe, probe_on};
pub use wire::{Gone, SerialWire, Wire};
