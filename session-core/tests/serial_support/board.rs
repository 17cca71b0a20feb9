//! A model of the controller on a scripted line and clock, written from `controller/PROTOCOL.md`.
//!
//! It is not the product: the tests compare what the driver says with what this board knows to be true,
//! while the line between them drops, delays, dresses up or spoils what passes. The real
//! controller program has tests of its own in `serial_controller.rs`.

use std::collections::VecDeque;
use std::time::Duration;

use session_core::angle::{Angle, StepsPerTurn};
use session_core::cancel::CancelToken;
use session_core::turntable::TablePosition;

/// Steps a second of the model's turns, without ramps.
const RATE: f64 = 250.0;
const BOOT_TEXT: &str = "Roundstop-table 1.0.0 protocol=1";

/// What runs on the board.
struct Run {
    from: i64,
    to: i64,
    started: Duration,
    ends: Duration,
    next_report: Duration,
}

/// What the line does to what passes.
pub struct Faults {
    /// Bytes, both ways together, after which the line is gone.
    pub cut_after: Option<u64>,
    /// Gives what stands before each line sent, and how it ends.
    pub dress: Box<dyn FnMut() -> (Vec<u8>, &'static str) + Send>,
    /// Spoils bytes on their way to the computer.
    pub spoil: Box<dyn FnMut(u8) -> u8 + Send>,
    /// How long what is sent for a line lies on the way.
    pub delay: Box<dyn FnMut() -> Duration + Send>,
    /// How many bytes one read gives at most.
    pub piece: usize,
    /// Whether each line received is sent back.
    pub echo: bool,
}

#[allow(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct Board {
    pub now: Duration,
    pub step: i64,
    pub known: bool,
    pub boot: u32,
    pub zero: u64,
    pub id: String,
    pub settings: String,
    /// All lines get this answer while it is set.
    pub fault: Option<String>,
    pub version: String,
    /// A plate that is blocked never ends its turn.
    pub blocked: bool,
    pub plugged: bool,
    pub power_from_usb: bool,
    /// Whether what was sent and not read waits on the board for the next opening.
    pub keeps_output: bool,
    /// Starts anew instead of carrying out the n-th line from now.
    pub restart_at_line: Option<usize>,
    pub restart_is_announced: bool,
    pub partial: Vec<u8>,
    pub received: Vec<String>,
    pub cans: Vec<Duration>,
    pub cancel_at: Option<(Duration, CancelToken)>,
    pub presses: u64,
    pub coils: bool,
    /// The step that its index mark stands for, if it has one.
    pub index_step: Option<i64>,
    /// Whether it knows M171.
    pub knows_hold: bool,
    pub passed: u64,
    pub faults: Faults,
    pub steps: StepsPerTurn,
    queue: VecDeque<String>,
    run: Option<Run>,
    /// What is on its way to the computer, and when it comes.
    pub out: VecDeque<(Duration, u8)>,
    last_due: Duration,
    /// Counts the openings of its port; only the last one's wire leads here.
    pub opened: u64,
}

impl Board {
    pub fn new(id: &str) -> Self {
        Self {
            now: Duration::ZERO,
            step: 0,
            known: false,
            boot: 0x003f_9a21,
            zero: 0,
            id: id.to_owned(),
            settings:
                "steps_num=1650688 steps_den=405 start_rate=120 cruise_rate=250 accel=400 idle_release_s=2.0 \
                       shutter=1 half_press_s=0.0 full_press_s=0.2 later_key=5"
                    .to_owned(),
            fault: None,
            version: BOOT_TEXT.to_owned(),
            blocked: false,
            plugged: true,
            power_from_usb: false,
            keeps_output: false,
            restart_at_line: None,
            restart_is_announced: true,
            partial: Vec::new(),
            received: Vec::new(),
            cans: Vec::new(),
            cancel_at: None,
            presses: 0,
            coils: false,
            index_step: None,
            knows_hold: true,
            passed: 0,
            faults: Faults {
                cut_after: None,
                dress: Box::new(|| (Vec::new(), "\n")),
                spoil: Box::new(|byte| byte),
                delay: Box::new(|| Duration::ZERO),
                piece: usize::MAX,
                echo: false,
            },
            steps: StepsPerTurn::HOBBY_HALF_STEPS,
            queue: VecDeque::new(),
            run: None,
            out: VecDeque::new(),
            last_due: Duration::ZERO,
            opened: 0,
        }
    }

    /// What the driver must report now, if it reports anything.
    pub fn truth(&self) -> TablePosition {
        let zero = self.known.then(|| format!("{}-{:06x}-{}", self.id, self.boot, self.zero));
        TablePosition { step: self.step, zero }
    }

    pub fn is_turning(&self) -> bool {
        self.run.is_some()
    }

    /// Takes the plug out.
    pub fn unplug(&mut self) {
        self.plugged = false;
        self.out.clear();
        if self.power_from_usb {
            self.restart();
        }
    }

    pub fn restart(&mut self) {
        self.run = None;
        self.queue.clear();
        self.partial.clear();
        self.step = 0;
        self.known = false;
        self.zero = 0;
        self.coils = false;
        self.boot += 1;
        if self.restart_is_announced {
            self.say(&format!("[boot {BOOT_TEXT}]"));
        }
    }

    /// Begins a turn that no line on this wire asked for.
    pub fn start_turn(&mut self, to: i64) {
        let secs = (to - self.step).abs() as f64 / RATE;
        let ends = if self.blocked {
            Duration::from_secs(1_000_000)
        } else {
            self.now + Duration::from_secs_f64(secs)
        };
        let half = Duration::from_millis(500);
        self.run = Some(Run { from: self.step, to, started: self.now, ends, next_report: self.now + half });
    }

    /// Receives bytes from a program that is no longer there.
    pub fn receive(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.take(byte);
        }
    }

    /// Says something unasked for.
    pub fn tell(&mut self, line: &str) {
        self.say(line);
    }

    fn say(&mut self, line: &str) {
        let (mut bytes, end) = (self.faults.dress)();
        bytes.extend(line.as_bytes());
        bytes.extend(end.as_bytes());
        for byte in bytes {
            let spoilt = (self.faults.spoil)(byte);
            self.out.push_back((self.last_due.max(self.now), spoilt));
        }
    }

    fn place(&self, step: i64) -> String {
        format!("a={} step={step}", self.steps.angle_of(step).degrees_text(6))
    }

    fn step_at(&self, run: &Run, time: Duration) -> i64 {
        if self.blocked {
            return run.from;
        }
        let passed = (time.saturating_sub(run.started).as_secs_f64() * RATE) as i64;
        run.from + passed.min((run.to - run.from).abs()) * (run.to - run.from).signum()
    }

    pub fn next_event(&self) -> Option<Duration> {
        let run =
            self.run.as_ref().map(|run| if self.blocked { run.ends } else { run.ends.min(run.next_report) });
        let cancel = self.cancel_at.as_ref().map(|(at, _)| *at);
        [run, cancel].into_iter().flatten().min()
    }

    pub fn advance(&mut self, to: Duration) {
        while let Some(at) = self.next_event().filter(|at| *at <= to) {
            self.now = self.now.max(at);
            if let Some((_, cancel)) = self.cancel_at.take_if(|(when, _)| *when <= at) {
                cancel.cancel();
            }
            if let Some(run) = self.run.take_if(|run| run.ends <= at) {
                self.step = run.to;
                self.say("ok");
                self.next_line();
            } else if let Some(mut run) = self.run.take_if(|run| !self.blocked && run.next_report <= at) {
                run.next_report += Duration::from_millis(500);
                let place = self.place(self.step_at(&run, at));
                self.run = Some(run);
                self.say(&format!("[turning {place}]"));
            }
        }
        self.now = self.now.max(to);
    }

    fn can(&mut self) {
        self.cans.push(self.now);
        self.partial.clear();
        let run = self.run.take();
        if let Some(run) = &run {
            self.step = self.step_at(run, self.now);
        }
        self.say(&format!("[stopped {}]", self.place(self.step)));
        for _ in 0..(usize::from(run.is_some()) + self.queue.len()) {
            self.say("error: stopped");
        }
        self.queue.clear();
    }

    pub fn take(&mut self, byte: u8) {
        match byte {
            0x18 => self.can(),
            b'\n' => {
                let line = String::from_utf8_lossy(&std::mem::take(&mut self.partial)).into_owned();
                if self.faults.echo {
                    self.say(&line);
                }
                self.received.push(line.clone());
                self.queue.push_back(line);
                self.next_line();
            }
            byte => self.partial.push(byte),
        }
    }

    fn next_line(&mut self) {
        while self.run.is_none() {
            let Some(line) = self.queue.pop_front() else { return };
            if let Some(left) = &mut self.restart_at_line {
                if *left == 0 {
                    self.restart_at_line = None;
                    self.restart();
                    return;
                }
                *left -= 1;
            }
            self.last_due = self.last_due.max(self.now + (self.faults.delay)());
            let answer = self.carry_out(&line);
            match answer {
                Ok(true) => self.say("ok"),
                Ok(false) => {}
                Err(reason) => self.say(&format!("error: {reason}")),
            }
        }
    }

    /// Gives whether the line has ended.
    fn carry_out(&mut self, line: &str) -> Result<bool, String> {
        if let Some(fault) = &self.fault {
            return Err(fault.clone());
        }
        let (words, sum) = line.rsplit_once('*').ok_or("this model wants a checksum")?;
        let right = words.bytes().fold(0, |sum, byte| sum ^ byte).to_string();
        if right != sum {
            return Err("checksum is wrong".to_owned());
        }
        match words {
            "M173" => {
                let text = format!(
                    "[status state=idle {} known={} boot={:06x} zero={} coils={} queue=0]",
                    self.place(self.step),
                    u8::from(self.known),
                    self.boot,
                    self.zero,
                    u8::from(self.coils)
                );
                self.say(&text);
            }
            "M174" => self.say(&format!("[settings {}]", self.settings)),
            "M175" => self.say(&format!("[version {} id={}]", self.version, self.id)),
            "M171" if self.knows_hold => self.coils = true,
            "M172" => self.coils = false,
            "G92 A0" => {
                self.step = 0;
                self.known = true;
                self.zero += 1;
            }
            "M176" => {
                let index = self.index_step.ok_or("the settings name no index switch (index_pin)")?;
                self.step = index;
                self.known = true;
                self.zero += 1;
            }
            _ if words.starts_with("M170 P") => self.presses += 1,
            _ => {
                let angle: Angle = words
                    .strip_prefix("G90 G0 A")
                    .and_then(|angle| angle.parse().ok())
                    .ok_or_else(|| format!("unknown word {words}"))?;
                self.start_turn(self.steps.nearest_step(angle));
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Counts a byte on the line; the cut comes after it.
    pub fn pass(&mut self) {
        self.passed += 1;
        if self.faults.cut_after.is_some_and(|cut| self.passed >= cut) {
            self.unplug();
        }
    }
}
