//! The real controller program on this computer, the log of its coils, and a bridge to put before it.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serialport::{SerialPort, TTYPort};
use session_core::turntable::TableError;
use session_core::turntable::serial::{SerialOptions, SerialTable};

/// A hang is a failure; no test says how long anything takes within it.
pub const HANG: Duration = Duration::from_secs(60);

/// The running controller program.
pub struct Program {
    child: Child,
    pub link: PathBuf,
}

impl Program {
    /// Starts it; `None` when MicroPython is not there and may be missing.
    pub fn start(folder: &Path, speed: &str) -> Option<Self> {
        let link = folder.join("table");
        let run = Path::new(env!("CARGO_MANIFEST_DIR")).join("../controller/host/run");
        let started = Command::new("python3")
            .arg(&run)
            .arg(&link)
            .args(["--speed", speed, "--log"])
            .arg(folder.join("coils.log"))
            .arg("--shutter-log")
            .arg(folder.join("shutter.log"))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn();
        let mut child = match started {
            Ok(child) => child,
            Err(error) => return missing(&format!("python3 does not start ({error})")),
        };
        let mut ready = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut ready).unwrap();
        if ready.starts_with("ready ") {
            return Some(Self { child, link });
        }
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        child.wait().unwrap();
        assert!(said.contains("MicroPython is missing"), "host/run did not start: {ready}{said}");
        missing(said.trim())
    }

    pub fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }

    /// Ends it as a pulled plug would.
    pub fn kill(&mut self) {
        self.signal(Signal::KILL);
        self.child.wait().unwrap();
    }

    pub fn name(&self) -> &str {
        self.link.to_str().unwrap()
    }

    pub fn open(&self) -> Result<SerialTable, TableError> {
        SerialTable::open(self.name(), 115_200, SerialOptions::default())
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        if matches!(self.child.try_wait(), Ok(None)) {
            let _ = kill_process(Pid::from_child(&self.child), Signal::TERM);
            let _ = self.child.wait();
        }
    }
}

pub fn missing(why: &str) -> Option<Program> {
    let required =
        ["CI", "ROUNDSTOP_REQUIRE_MICROPYTHON"].iter().any(|name| std::env::var_os(name).is_some());
    assert!(!required, "the controller program cannot be run: {why}");
    // Written past the test harness, which would keep it to itself.
    let _ = writeln!(
        std::io::stderr(),
        "\n*** SKIPPED: {} was NOT tested against the controller program: {why} ***\n",
        thread::current().name().unwrap_or("a test")
    );
    None
}

/// Gives the position of the motor by the log of its coils alone, in half-steps from power-up.
pub fn coil_position(folder: &Path) -> i64 {
    const ORDER: [&str; 8] = ["1000", "1100", "0100", "0110", "0010", "0011", "0001", "1001"];
    let text = std::fs::read_to_string(folder.join("coils.log")).unwrap();
    let mut position = 0;
    let mut place: Option<i64> = None;
    // The last line may be half written.
    let (whole, _) = text.rsplit_once('\n').unwrap_or_default();
    for line in whole.lines() {
        let (_, coils) = line.split_once(' ').unwrap();
        if coils == "0000" {
            continue;
        }
        let new = ORDER
            .iter()
            .position(|order| *order == coils)
            .unwrap_or_else(|| panic!("{line} is no half-step")) as i64;
        let moved = place.map_or(0, |old| (new - old + 4).rem_euclid(8) - 4);
        assert!(moved.abs() <= 1, "{line} is a jump of {moved}");
        position += moved;
        place = Some(new);
    }
    position
}

/// Compares the coils with what the driver said; the log is written a moment after the answer.
pub fn assert_coils_at(folder: &Path, step: i64) {
    let until = Instant::now() + HANG;
    while coil_position(folder) != step && Instant::now() < until {
        thread::sleep(Duration::from_millis(5));
    }
    assert_eq!(coil_position(folder), step, "the coils stand elsewhere");
}

/// A serial bridge that stays plugged in while the board behind it starts anew.
pub struct Bridge {
    pub port: String,
    swap: mpsc::Sender<Option<PathBuf>>,
    done: mpsc::Receiver<()>,
}

impl Bridge {
    /// Carries bytes between its own pseudo-terminal and the one at `link`; lets no banner pass if `mute`.
    pub fn new(link: &Path, mute: &'static AtomicBool) -> Self {
        let (mut master, slave) = TTYPort::pair().unwrap();
        let port = slave.name().unwrap();
        // The driver opens it by name and wants it for itself.
        drop(slave);
        let (swap, swaps) = mpsc::channel::<Option<PathBuf>>();
        let (tell, done) = mpsc::channel();
        let first = link.to_owned();
        thread::spawn(move || {
            let open = |link: &Path| serialport::new(link.to_str().unwrap(), 115_200).open().unwrap();
            let mut board: Option<Box<dyn SerialPort>> = Some(open(&first));
            loop {
                match swaps.try_recv() {
                    Ok(link) => {
                        board = link.map(|link| open(&link));
                        if let Some(board) = board.as_mut().filter(|_| mute.load(Ordering::SeqCst)) {
                            swallow_line(board.as_mut());
                        }
                        tell.send(()).unwrap();
                    }
                    Err(mpsc::TryRecvError::Disconnected) => return,
                    Err(mpsc::TryRecvError::Empty) => {}
                }
                carry(&mut master, board.as_mut().map(|board| board as &mut dyn Write));
                if let Some(board) = &mut board {
                    carry(board.as_mut(), Some(&mut master));
                } else {
                    thread::sleep(Duration::from_millis(1));
                }
            }
        });
        Self { port, swap, done }
    }

    pub fn lead_to(&self, link: Option<&Path>) {
        self.swap.send(link.map(Path::to_owned)).unwrap();
        self.done.recv_timeout(HANG).unwrap();
    }
}

pub fn carry(from: &mut dyn SerialPort, to: Option<&mut dyn Write>) {
    let mut buffer = [0; 512];
    from.set_timeout(Duration::from_millis(1)).unwrap();
    if let Ok(count) = from.read(&mut buffer)
        && let Some(to) = to
    {
        let _ = to.write_all(&buffer[..count]);
    }
}

pub fn swallow_line(board: &mut dyn SerialPort) {
    board.set_timeout(HANG).unwrap();
    let mut byte = [0];
    while byte[0] != b'\n' {
        board.read_exact(&mut byte).unwrap();
    }
}
