//! A turntable on a serial line, run by the program in `controller/` (see its PROTOCOL.md).
//!
//! From the bottom up: [`wire`](Wire) carries bytes with time-outs, `parse` cuts them into lines and
//! facts, `dialect` holds the words that are sent, `exchange` matches answers to what was sent,
//! `greeting` finds out who answers, and [`SerialTable`] does the jobs of a
//! [`Turntable`](super::Turntable).
//!
//! The words are those of RS-274/NGC (T. Kramer, F. Proctor, E. Messina, "The NIST RS274NGC Interpreter,
//! Version 3", NIST IR 6556, 2000) with one rotary axis; answers and M170 to M175 are this project's own.

mod dialect;
mod driver;
mod exchange;
mod greeting;
mod parse;
mod ports;
mod wire;

pub use driver::SerialTable;
pub use greeting::SerialOptions;
pub use ports::{PortNote, Ports, SystemPorts, UsbIdentity};
pub use wire::{Gone, SerialWire, Wire};
