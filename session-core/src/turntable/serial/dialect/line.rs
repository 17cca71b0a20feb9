//! One line at a time to a controller of another dialect.
//!
//! Each line gets one last answer, but that may come late. So no line is sent while an answer is owed: a
//! line that stays silent ends the use of this opening of the port, and no late answer can be mistaken.

use std::collections::VecDeque;
use std::time::Duration;

use super::Dialect;
use crate::turntable::serial::parse::LineSplitter;
use crate::turntable::serial::wire::{Gone, LOOK_EVERY, Wire, write_whole};

/// How much foreign text is kept for messages.
const OVERHEARD_MAX: usize = 4;

/// Says why a line has no good answer.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fault {
    /// The line is gone.
    Gone(String),
    /// The controller's banner came.
    Restarted(String),
    /// The controller has locked itself.
    Alarm(String),
    /// The controller said no, and why.
    Refused(String),
    /// The time is over.
    Silent,
    /// The caller's interrupt came up.
    Interrupted,
}

impl From<Gone> for Fault {
    fn from(Gone(reason): Gone) -> Self {
        Self::Gone(reason)
    }
}

/// What a line that came in is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Heard {
    Ok,
    Error(String),
    Alarm(String),
    Banner(String),
    Text(String),
}

/// Where the axis stands, in units as the controller counts them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Report {
    pub units: f64,
    /// Decimals of the figure that came.
    pub decimals: usize,
    /// Whether the controller is at rest; `true` where it does not say.
    pub idle: bool,
}

impl Report {
    /// Whether two reports in a row say that the axis rests at one place.
    pub fn rests_with(&self, later: &Self) -> bool {
        self.idle && later.idle && (self.units - later.units).abs() < 1e-9
    }
}

/// A wire with what is owed on it.
pub(super) struct DialectLine {
    wire: Box<dyn Wire>,
    splitter: LineSplitter,
    texts: VecDeque<String>,
    /// Lines sent whose last answer has not come.
    owed: u32,
    overheard: VecDeque<String>,
}

impl DialectLine {
    pub fn new(wire: Box<dyn Wire>) -> Self {
        Self {
            wire,
            splitter: LineSplitter::default(),
            texts: VecDeque::new(),
            owed: 0,
            overheard: VecDeque::new(),
        }
    }

    pub fn now(&self) -> Duration {
        self.wire.now()
    }

    /// The last text that was no answer, for messages.
    pub fn overheard(&self) -> Vec<String> {
        self.overheard.iter().cloned().collect()
    }

    /// Declares that no answer is due any more.
    pub fn forget_owed(&mut self) {
        self.owed = 0;
    }

    pub fn write(&mut self, bytes: &[u8]) -> Result<(), Fault> {
        tracing::debug!(text = %bytes.escape_ascii(), "controller <-");
        if write_whole(&mut *self.wire, bytes)? { Ok(()) } else { Err(Fault::Silent) }
    }

    /// Gives the next line and what it is; `None` when none came until then.
    pub fn next(
        &mut self,
        dialect: &Dialect,
        until: Duration,
        interrupt: &dyn Fn() -> bool,
    ) -> Result<Option<Heard>, Fault> {
        loop {
            if interrupt() {
                return Err(Fault::Interrupted);
            }
            if let Some(text) = self.texts.pop_front() {
                tracing::debug!(text, "controller ->");
                let heard = classify(dialect, text);
                if let Heard::Text(text) | Heard::Banner(text) | Heard::Alarm(text) = &heard {
                    if self.overheard.len() == OVERHEARD_MAX {
                        self.overheard.pop_front();
                    }
                    self.overheard.push_back(text.chars().take(60).collect());
                }
                if matches!(heard, Heard::Banner(_)) {
                    // It has forgotten every line it owed an answer to.
                    self.owed = 0;
                }
                return Ok(Some(heard));
            }
            let now = self.now();
            if now >= until {
                return Ok(None);
            }
            self.read(until.saturating_sub(now).min(LOOK_EVERY))?;
        }
    }

    fn read(&mut self, wait: Duration) -> Result<usize, Fault> {
        let mut buffer = [0; 256];
        let count = self.wire.read(&mut buffer, wait)?.min(buffer.len());
        let texts = &mut self.texts;
        self.splitter.push_texts(&buffer[..count], &mut |text| texts.push_back(text.to_owned()));
        Ok(count)
    }

    /// Takes in what came unasked for, so that news of a restart or an alarm comes before the next line.
    fn drain(&mut self, dialect: &Dialect) -> Result<(), Fault> {
        // Bounded, for a line that never falls silent.
        for _ in 0..256 {
            let count = self.read(Duration::ZERO)?;
            while !self.texts.is_empty() {
                match self.next(dialect, Duration::ZERO, &|| false)? {
                    Some(Heard::Banner(text)) => return Err(Fault::Restarted(text)),
                    Some(Heard::Alarm(text)) => return Err(Fault::Alarm(text)),
                    _ => {}
                }
            }
            if count == 0 {
                break;
            }
        }
        Ok(())
    }

    /// Sends one line and waits for its last answer; `each` hears what comes before it.
    pub fn ask(
        &mut self,
        dialect: &Dialect,
        words: &str,
        wait: Duration,
        interrupt: &dyn Fn() -> bool,
        each: &mut dyn FnMut(&str),
    ) -> Result<(), Fault> {
        self.drain(dialect)?;
        if self.owed > 0 {
            return Err(Fault::Silent);
        }
        self.owed = 1;
        self.write(format!("{words}\n").as_bytes())?;
        self.await_owed(dialect, self.now() + wait, interrupt, each)
    }

    /// Waits until no answer is owed.
    pub fn await_owed(
        &mut self,
        dialect: &Dialect,
        until: Duration,
        interrupt: &dyn Fn() -> bool,
        each: &mut dyn FnMut(&str),
    ) -> Result<(), Fault> {
        while self.owed > 0 {
            match self.next(dialect, until, interrupt)?.ok_or(Fault::Silent)? {
                Heard::Ok => self.owed -= 1,
                Heard::Error(reason) => {
                    self.owed -= 1;
                    return Err(Fault::Refused(reason));
                }
                Heard::Banner(text) => return Err(Fault::Restarted(text)),
                Heard::Alarm(text) => return Err(Fault::Alarm(text)),
                Heard::Text(text) => each(&text),
            }
        }
        Ok(())
    }

    /// Asks where the axis stands; `None` where the dialect has no words for it.
    pub fn report(
        &mut self,
        dialect: &Dialect,
        wait: Duration,
        interrupt: &dyn Fn() -> bool,
    ) -> Result<Option<Report>, Fault> {
        let Some(status) = &dialect.status else { return Ok(None) };
        let read = |text: &str| {
            let (units, decimals) = status.position.number(text)?;
            let idle = status.idle.as_ref().is_none_or(|idle| idle.finds(text));
            Some(Report { units, decimals, idle })
        };
        let mut report = None;
        if status.is_line {
            let mut each = |text: &str| report = read(text).or(report);
            self.ask(dialect, &status.ask, wait, interrupt, &mut each)?;
            return report.map(Some).ok_or(Fault::Silent);
        }
        // Another program's question, or one that timed out, may have been answered meanwhile.
        self.drain(dialect)?;
        self.write(status.ask.as_bytes())?;
        let until = self.now() + wait;
        loop {
            match self.next(dialect, until, interrupt)?.ok_or(Fault::Silent)? {
                Heard::Banner(text) => return Err(Fault::Restarted(text)),
                Heard::Alarm(text) => return Err(Fault::Alarm(text)),
                Heard::Text(text) => {
                    if let Some(report) = read(&text) {
                        return Ok(Some(report));
                    }
                }
                Heard::Ok | Heard::Error(_) => {}
            }
        }
    }

    /// Passes over what comes until the line has been quiet for so long; bounded by `most`.
    pub fn settle(&mut self, dialect: &Dialect, quiet: Duration, most: Duration) -> Result<(), Fault> {
        let ends = self.now() + most;
        while self.next(dialect, (self.now() + quiet).min(ends), &|| false)?.is_some() {}
        Ok(())
    }
}

fn classify(dialect: &Dialect, text: String) -> Heard {
    let starts_with =
        |word: &str| text.get(..word.len()).is_some_and(|start| start.eq_ignore_ascii_case(word));
    if dialect.banner.finds(&text) {
        return Heard::Banner(text);
    }
    if dialect.alarm.as_ref().is_some_and(|alarm| alarm.finds(&text)) {
        return Heard::Alarm(text);
    }
    if dialect.error.as_ref().map_or_else(|| starts_with("error"), |error| error.finds(&text)) {
        return Heard::Error(text);
    }
    // Some controllers add figures after the word.
    let plain_ok = || text.split_ascii_whitespace().next() == Some("ok");
    if dialect.ok.as_ref().map_or_else(plain_ok, |ok| ok.finds(&text)) {
        return Heard::Ok;
    }
    Heard::Text(text)
}
