//! The first minute on a line: is it a table of ours, and which?
//!
//! Opening a port resets many boards, and others have been running for hours, perhaps in the middle
//! of a turn that a program now dead had asked for. What is sent here is harmless to anything: the
//! version question moves nothing, and a half line that a dead program left is spoilt by it.
//! A bare line end would have carried that half line out.
//!
//! Answers to lines of a program now dead may still come, as many as its queue held. So the
//! table is asked a sequence of questions that does not repeat itself (version, settings, version,
//! status), one at a time, and each time the very next answer must be of the kind asked for. Answers
//! that lag behind by one, two or three lines would show the sequence shifted, and no shift of
//! it fits itself. To lag by four they would have to be that very sequence, but its last question is
//! only ever sent once the first three have been answered.

use std::time::Duration;

use super::exchange::{Answer, Exchange, Failure};
use super::parse::{Info, Line, Settings, Status, Version};
use super::words::{self, Question};
use crate::turntable::TableError;

/// How long a line must be quiet before the first word.
const QUIET_GAP: Duration = Duration::from_millis(100);
/// How long boot text may put off the first word.
const QUIET_MAX: Duration = Duration::from_secs(1);
/// How often the version is asked for until it comes.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// How long each question of the sequence may take.
const MATCH_WAIT: Duration = Duration::from_secs(1);

/// How long to wait for a table to answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialOptions {
    /// For the first answer after opening; boards that reset on opening take up to 5 s.
    pub answer_wait: Duration,
    /// For a quiet line before the first word.
    pub quiet: Duration,
}

impl Default for SerialOptions {
    fn default() -> Self {
        Self { answer_wait: Duration::from_secs(5), quiet: Duration::from_millis(200) }
    }
}

/// What a table says of itself.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Greeting {
    pub version: Version,
    pub settings: Settings,
    pub status: Status,
}

/// Finds out who answers, and leaves the exchange in step with it.
///
/// `ours` says that this line led to a table of ours before: then a long silence is answered with a
/// CAN, for the table may be in an action that lasts. To a stranger a CAN might be a reset,
/// so it gets one only after a line that only our program sends.
pub(super) fn greet(
    exchange: &mut Exchange,
    port: &str,
    options: &SerialOptions,
    ours: bool,
) -> Result<Greeting, TableError> {
    let deadline = exchange.now() + options.answer_wait;
    let mut state = Greeter { can_sent: false, last_error: None, heard_table: false };
    let result = loop {
        match state.attempt(exchange, options, deadline, ours) {
            // It reset in the middle of this: begin again while there is time.
            Err(Fault::Line(Failure::Restarted(_))) if exchange.now() < deadline => {}
            result => break result,
        }
    };
    result.map_err(|fault| match fault {
        Fault::Line(Failure::Gone(reason)) => TableError::Lost(reason),
        Fault::Line(_) => TableError::NotATable(state.no_answer(exchange, port)),
        Fault::Stranger(text) => TableError::NotATable(format!("{port}: {text}")),
    })
}

enum Fault {
    Line(Failure),
    Stranger(String),
}

impl From<Failure> for Fault {
    fn from(failure: Failure) -> Self {
        Self::Line(failure)
    }
}

struct Greeter {
    can_sent: bool,
    last_error: Option<String>,
    heard_table: bool,
}

impl Greeter {
    fn attempt(
        &mut self,
        exchange: &mut Exchange,
        options: &SerialOptions,
        deadline: Duration,
        ours: bool,
    ) -> Result<Greeting, Fault> {
        self.wait_for_quiet(exchange, options)?;
        let version = self.ask_version(exchange, deadline, ours)?;
        known(&version).map_err(Fault::Stranger)?;
        let deadline = exchange.now() + options.answer_wait;
        loop {
            self.settle(exchange, deadline)?;
            match match_up(exchange, &version.id) {
                Ok(Some(greeting)) => {
                    exchange.trust();
                    return Ok(greeting);
                }
                Err(Fault::Line(Failure::Refused(reason))) => self.last_error = Some(reason),
                Ok(None) | Err(Fault::Line(Failure::Silent)) => {}
                Err(fault) => return Err(fault),
            }
            if exchange.now() >= deadline {
                return Err(Failure::Silent.into());
            }
        }
    }

    /// Passes over answers that are still coming in.
    fn settle(&mut self, exchange: &mut Exchange, deadline: Duration) -> Result<(), Failure> {
        while let Some(line) = exchange.next_line((exchange.now() + QUIET_GAP).min(deadline), &|| false)? {
            if let Line::Info(Info::Boot(text)) = line {
                return Err(Failure::Restarted(text));
            }
            self.hear(exchange, &line)?;
        }
        Ok(())
    }

    /// Lets boot text run out before anything is sent.
    fn wait_for_quiet(&mut self, exchange: &mut Exchange, options: &SerialOptions) -> Result<(), Failure> {
        let begun = exchange.now();
        let mut until = begun + options.quiet;
        while let Some(line) = exchange.next_line(until, &|| false)? {
            self.hear(exchange, &line)?;
            until = until.max(exchange.now() + QUIET_GAP).min(begun + QUIET_MAX.max(options.quiet));
        }
        Ok(())
    }

    /// Notes what a line gives away; stops a table that is still turning for someone else.
    fn hear(&mut self, exchange: &mut Exchange, line: &Line) -> Result<(), Failure> {
        match line {
            Line::Error(reason) => self.last_error = Some(reason.clone()),
            Line::Info(Info::Turning(_)) if !self.can_sent => {
                self.can_sent = true;
                self.heard_table = true;
                exchange.send_can()?;
            }
            Line::Info(_) => self.heard_table = true,
            _ => {}
        }
        Ok(())
    }

    fn ask_version(
        &mut self,
        exchange: &mut Exchange,
        deadline: Duration,
        ours: bool,
    ) -> Result<Version, Failure> {
        let begun = exchange.now();
        let can_at = begun + deadline.saturating_sub(begun) / 2;
        let mut ask_at = begun;
        loop {
            let now = exchange.now();
            if now >= deadline {
                return Err(Failure::Silent);
            }
            if ours && !self.can_sent && now >= can_at {
                self.can_sent = true;
                exchange.send_can()?;
            }
            if now >= ask_at {
                exchange.send(Question::Version.word())?;
                ask_at = now + ASK_EVERY;
            }
            let Some(line) = exchange.next_line(ask_at.min(deadline), &|| false)? else { continue };
            match line {
                Line::Info(Info::Version(version)) => return Ok(version),
                // It is ready now; what was sent before is lost.
                Line::Info(Info::Boot(_)) => {
                    self.heard_table = true;
                    ask_at = ask_at.min(exchange.now() + QUIET_GAP);
                }
                line => self.hear(exchange, &line)?,
            }
        }
    }

    fn no_answer(&self, exchange: &Exchange, port: &str) -> String {
        let heard = exchange.overheard();
        if let Some(reason) = &self.last_error {
            refused(port, reason)
        } else if self.heard_table {
            format!(
                "the table at {port} began to answer and then fell silent; check its supply, reset its board, then try again"
            )
        } else if heard
            .iter()
            .any(|text| text.contains(">>>") || text.contains("MicroPython") || text.contains("Traceback"))
        {
            format!(
                "a MicroPython prompt answers at {port}, but no table program runs there; copy the table's program and \
                 settings to the board so that it starts by itself, reset the board, then try again"
            )
        } else if heard.is_empty() {
            format!(
                "nothing answers at {port}; check that the table has power, that the cable carries data, that this is the \
                 right port, and that the speed is 115200, then try again"
            )
        } else {
            format!(
                "what answers at {port} is no table this program knows (it says '{}'); choose the table's port, or put the \
                 table's program on this board",
                heard.join("', '")
            )
        }
    }
}

/// Asks the sequence of questions; `None` when an answer belonged to another question.
fn match_up(exchange: &mut Exchange, id: &str) -> Result<Option<Greeting>, Fault> {
    let Some(Answer::Version(version)) = exchange.ask_strictly(Question::Version, MATCH_WAIT)? else {
        return Ok(None);
    };
    let Some(Answer::Settings(settings)) = exchange.ask_strictly(Question::Settings, MATCH_WAIT)? else {
        return Ok(None);
    };
    let Some(Answer::Version(again)) = exchange.ask_strictly(Question::Version, MATCH_WAIT)? else {
        return Ok(None);
    };
    if version.id != id || again.id != id {
        return Err(Fault::Stranger(format!(
            "more than one table seems to answer (ids {id}, {} and {}); leave one of them connected",
            version.id, again.id
        )));
    }
    let settings = settings.map_err(|fault| {
        Fault::Stranger(format!(
            "the table's settings make no sense ({fault}); correct table_settings.py on its board and reset the board"
        ))
    })?;
    exchange.set_steps(settings.steps_per_turn);
    // From cruise speed down to rest, and time to say so.
    let rates = settings.rates;
    let soft = if rates.jerk > 0.0 { 2.0 * rates.accel / rates.jerk } else { 0.0 };
    let ramp = (rates.cruise - rates.start) / rates.accel + soft;
    exchange.halt_wait = Duration::from_secs(3) + Duration::from_secs_f64(ramp.clamp(0.0, 600.0));
    let Some(Answer::Status(status)) = exchange.ask_strictly(Question::Status, MATCH_WAIT)? else {
        return Ok(None);
    };
    Ok(Some(Greeting { version, settings, status }))
}

fn refused(port: &str, reason: &str) -> String {
    if reason.starts_with("settings") {
        format!(
            "the table at {port} says its own settings are wrong ({reason}); correct table_settings.py on its board and reset the board"
        )
    } else {
        format!(
            "what answers at {port} is no table this program knows (it says 'error: {reason}'); choose the table's port, or \
             put the table's program on this board"
        )
    }
}

/// Checks that this program understands the table's.
fn known(version: &Version) -> Result<(), String> {
    let name = version.program.split(' ').next().unwrap_or_default();
    if name != words::PROGRAM {
        return Err(format!(
            "'{}' answers, which is no table this program knows; choose the table's port, or put the table's program on this board",
            version.program
        ));
    }
    if version.protocol != words::PROTOCOL {
        return Err(format!(
            "the table speaks protocol {}, but this program speaks {}; bring the table's program and this one to matching versions",
            version.protocol,
            words::PROTOCOL
        ));
    }
    Ok(())
}
