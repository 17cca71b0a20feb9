//! The child process: orders in on standard input, one reply a line on standard output.

use std::io::{self, BufRead, Write};
use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

use super::device::Device;
use super::wire::{Order, Reply, Trouble, TroubleKind};

/// How long the camera may take to be let go after the parent has hung up.
const FAREWELL: Duration = Duration::from_secs(3);

/// Serves orders until the parent closes the line; gives the exit code.
///
/// A child whose parent has died ends by itself, even while libgphoto2 hangs: none is left over.
pub fn run() -> u8 {
    super::log::catch();
    let (sender, orders) = channel();
    thread::spawn(move || {
        for line in io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            if sender.send(line).is_err() {
                break;
            }
        }
        drop(sender);
        thread::sleep(FAREWELL);
        std::process::exit(1);
    });
    let mut device = Device::default();
    for line in orders {
        let reply: Reply = match serde_json::from_str::<Order>(&line) {
            Ok(order) => device.carry_out(order),
            Err(error) => {
                Err(Trouble { kind: TroubleKind::Other, text: format!("order not known: {error}") })
            }
        };
        let sent = serde_json::to_string(&reply).map_err(io::Error::from).and_then(|text| {
            let mut out = io::stdout().lock();
            writeln!(out, "{text}")?;
            out.flush()
        });
        if sent.is_err() {
            return 1;
        }
    }
    0
}
