//! A model of a controller that queues moves, on a scripted clock.
//!
//! It is written from what controllers of RS-274 words have in common (facts with sources stand in the
//! dialects' settings): `ok` may mean queued; a dwell or a finish word is answered behind the moves; a question
//! for the status is answered at once; G92 shifts the axis but not the machine's own count.

use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use session_core::cancel::CancelToken;
use session_core::turntable::serial::{Gone, PortNote, Ports, Wire};

pub const BANNER: &str = "Turner 3 ['$' for help]";

#[derive(Clone, Copy)]
struct Move {
    from: f64,
    to: f64,
    begins: Duration,
    ends: Duration,
}

/// What happens to the controller at a moment.
#[derive(Clone)]
pub enum Mishap {
    /// It starts anew, with or without its banner.
    Reset { banner: bool },
    /// It locks itself.
    Alarm,
    /// The move in hand ends where it is.
    BreakOff,
    /// A person raises the flag.
    Cancel(CancelToken),
}

pub struct Controller {
    pub now: Duration,
    pub axis: char,
    /// Units a second.
    pub rate: f64,
    /// Whether a move's `ok` comes when it has ended.
    pub acknowledges: bool,
    /// Whether the status gives work positions instead of the machine's own.
    pub reports_work: bool,
    /// Lines that are refused.
    pub refuses: Option<&'static str>,
    /// How long a move lies in the queue before it begins.
    pub late_start: Duration,
    pub alarm: bool,
    pub plugged: bool,
    pub mishaps: Vec<(Duration, Mishap)>,
    /// Bytes, both ways together, after which the line is gone.
    pub cut_after: Option<u64>,
    pub passed: u64,
    pub received: Vec<String>,
    /// When the contact closed and opened.
    pub contact: Vec<(Duration, bool)>,
    machine: f64,
    offset: f64,
    moves: Vec<Move>,
    partial: Vec<u8>,
    out: Vec<(Duration, u8)>,
    opened: u64,
    /// When each question for the status came.
    pub polls: Vec<Duration>,
}

pub type Shared = Arc<Mutex<Controller>>;

pub fn lock(controller: &Shared) -> MutexGuard<'_, Controller> {
    controller.lock().unwrap()
}

impl Controller {
    pub fn new() -> Self {
        Self {
            now: Duration::ZERO,
            axis: 'A',
            rate: 20.0,
            acknowledges: false,
            reports_work: false,
            refuses: None,
            late_start: Duration::ZERO,
            alarm: false,
            plugged: true,
            mishaps: Vec::new(),
            cut_after: None,
            passed: 0,
            received: Vec::new(),
            contact: Vec::new(),
            // It has been running: its figures are not 0.
            machine: 1234.5,
            offset: 0.0,
            moves: Vec::new(),
            partial: Vec::new(),
            out: Vec::new(),
            opened: 0,
            polls: Vec::new(),
        }
    }

    /// Where the axis truly stands, units from the last G92.
    pub fn place(&self) -> f64 {
        self.machine_now() - self.offset
    }

    pub fn is_moving(&self) -> bool {
        self.moves.iter().any(|one| one.ends > self.now)
    }

    fn machine_now(&self) -> f64 {
        let Some(one) = self.moves.iter().rev().find(|one| one.begins <= self.now) else {
            return self.moves.first().map_or(self.machine, |one| one.from);
        };
        if self.now >= one.ends {
            return one.to;
        }
        let part = self.now.saturating_sub(one.begins).as_secs_f64()
            / one.ends.saturating_sub(one.begins).as_secs_f64();
        one.from + (one.to - one.from) * part
    }

    fn goal(&self) -> f64 {
        self.moves.last().map_or(self.machine, |one| one.to)
    }

    fn busy_until(&self) -> Duration {
        self.moves.last().map_or(self.now, |one| one.ends.max(self.now))
    }

    fn say(&mut self, line: &str, due: Duration) {
        let due = self.out.last().map_or(due, |(last, _)| due.max(*last));
        self.out.extend(line.bytes().chain(*b"\r\n").map(|byte| (due, byte)));
    }

    fn say_now(&mut self, line: &str) {
        // The status of a bare byte comes between other answers, at once.
        let at = self.out.iter().position(|(due, _)| *due > self.now).unwrap_or(self.out.len());
        let now = self.now;
        self.out.splice(at..at, line.bytes().chain(*b"\r\n").map(|byte| (now, byte)));
    }

    fn break_off(&mut self) {
        self.machine = self.machine_now();
        self.moves.clear();
    }

    fn reset(&mut self, banner: bool) {
        self.break_off();
        self.out.clear();
        self.partial.clear();
        // It counts from 0 again, and its G92 is forgotten.
        self.machine = 0.0;
        self.offset = 0.0;
        if banner {
            self.say_now(BANNER);
        }
    }

    fn happen(&mut self, mishap: Mishap) {
        match mishap {
            Mishap::Reset { banner } => self.reset(banner),
            Mishap::Alarm => {
                self.break_off();
                self.out.clear();
                self.alarm = true;
                self.say_now("ALARM:1");
            }
            Mishap::BreakOff => {
                self.break_off();
                let now = self.now;
                for (due, _) in &mut self.out {
                    *due = (*due).min(now);
                }
            }
            Mishap::Cancel(cancel) => cancel.cancel(),
        }
    }

    fn next_event(&self) -> Option<Duration> {
        self.mishaps.iter().map(|(at, _)| *at).min()
    }

    fn advance(&mut self, to: Duration) {
        while let Some(at) = self.next_event().filter(|at| *at <= to) {
            self.now = self.now.max(at);
            let index = self.mishaps.iter().position(|(when, _)| *when == at).unwrap();
            let (_, mishap) = self.mishaps.remove(index);
            self.happen(mishap);
        }
        self.now = self.now.max(to);
    }

    fn take(&mut self, byte: u8) {
        match byte {
            b'?' => {
                self.polls.push(self.now);
                let state = match (self.alarm, self.is_moving()) {
                    (true, _) => "Alarm",
                    (_, true) => "Run",
                    _ => "Idle",
                };
                let (kind, place) =
                    if self.reports_work { ("WPos", self.place()) } else { ("MPos", self.machine_now()) };
                self.say_now(&format!("<{state}|{kind}:0.000,0.000,0.000,{place:.3}|FS:0,0>"));
            }
            // Brings the motor to rest with every step counted.
            0x85 => self.happen(Mishap::BreakOff),
            0x18 => {
                let moving = self.is_moving();
                let place = self.machine_now();
                self.reset(true);
                self.machine = place;
                self.alarm = moving;
            }
            b'\n' => {
                let line = String::from_utf8(std::mem::take(&mut self.partial)).unwrap();
                self.received.push(line.clone());
                self.carry_out(&line);
            }
            byte => self.partial.push(byte),
        }
    }

    fn carry_out(&mut self, line: &str) {
        let now = self.now;
        if self.refuses.is_some_and(|refused| line.contains(refused)) {
            return self.say("error:20", now);
        }
        if self.alarm && line != "$X" {
            return self.say("error:9", now);
        }
        let target = format!("G90 G0 {}", self.axis);
        if let Some(units) = line.strip_prefix(&target) {
            let to = units.parse::<f64>().unwrap() + self.offset;
            let (from, begins) = (self.goal(), self.busy_until() + self.late_start);
            let ends = begins + Duration::from_secs_f64((to - from).abs() / self.rate);
            self.moves.push(Move { from, to, begins, ends });
            return self.say("ok", if self.acknowledges { ends } else { now });
        }
        let zero = format!("G92 {}0", self.axis);
        match line {
            "G4 P0" | "M400" => self.say("ok", self.busy_until()),
            "M114" => {
                let place = self.goal() - self.offset;
                self.say(&format!("X:0.00 Y:0.00 {}:{place:.2} Count X:0", self.axis), now);
                self.say("ok", now);
            }
            "$X" => {
                self.alarm = false;
                self.say("ok", now);
            }
            "M64" | "M65" => {
                self.contact.push((now, line == "M64"));
                self.say("ok", now);
            }
            "G21" | "G90" | "M17" | "M18" => self.say("ok", now),
            _ if line == zero => {
                self.offset = self.goal();
                self.say("ok", now);
            }
            _ if line.starts_with("M240 P") => {
                let secs: f64 = line[6..].parse().unwrap();
                let opens = now + Duration::from_secs_f64(secs);
                self.contact.extend([(now, true), (opens, false)]);
                self.say("ok", now);
            }
            _ => self.say("error:20", now),
        }
    }

    fn pass(&mut self) {
        self.passed += 1;
        if self.cut_after.is_some_and(|cut| self.passed >= cut) {
            self.plugged = false;
            self.replug();
        }
    }

    /// What was open stays dead when the plug is in again.
    pub fn replug(&mut self) {
        self.opened += 1;
    }
}

struct QueuedWire {
    controller: Shared,
    opening: u64,
}

impl QueuedWire {
    fn check(&self, controller: &Controller) -> Result<(), Gone> {
        let there = controller.plugged && controller.opened == self.opening;
        if there { Ok(()) } else { Err(Gone("Input/output error".to_owned())) }
    }
}

impl Wire for QueuedWire {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> Result<usize, Gone> {
        let mut controller = lock(&self.controller);
        let until = controller.now + timeout;
        loop {
            self.check(&controller)?;
            let mut count = 0;
            while count < buffer.len()
                && controller.plugged
                && controller.out.first().is_some_and(|(due, _)| *due <= controller.now)
            {
                buffer[count] = controller.out.remove(0).1;
                count += 1;
                controller.pass();
            }
            if count > 0 {
                return Ok(count);
            }
            if controller.now >= until {
                return Ok(0);
            }
            let due = controller.out.first().map(|(due, _)| *due);
            let next = controller.next_event().into_iter().chain(due).min().map_or(until, |at| at.min(until));
            let next = next.max(controller.now);
            controller.advance(next);
        }
    }

    fn write(&mut self, bytes: &[u8], _timeout: Duration) -> Result<usize, Gone> {
        let mut controller = lock(&self.controller);
        self.check(&controller)?;
        for (index, &byte) in bytes.iter().enumerate() {
            let soon = controller.now + Duration::from_micros(87);
            controller.advance(soon);
            controller.take(byte);
            controller.pass();
            if !controller.plugged {
                return Ok(index + 1);
            }
        }
        Ok(bytes.len())
    }

    fn now(&self) -> Duration {
        lock(&self.controller).now
    }
}

/// The one port it is on.
#[derive(Clone)]
pub struct QueuedPort(pub Shared);

impl Ports for QueuedPort {
    fn list(&self) -> Vec<PortNote> {
        Vec::new()
    }

    fn open(&self, _port: &str, _baud: u32) -> Result<Box<dyn Wire>, String> {
        let mut controller = lock(&self.0);
        if !controller.plugged {
            return Err("there is no such port".to_owned());
        }
        controller.opened += 1;
        controller.out.clear();
        controller.partial.clear();
        Ok(Box::new(QueuedWire { controller: Arc::clone(&self.0), opening: controller.opened }))
    }
}
