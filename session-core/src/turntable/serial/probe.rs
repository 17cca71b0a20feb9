//! Asks what is on a port, moving nothing and changing nothing.
//!
//! What is sent: the version, settings and status words of our own controllers; to anything else a bare
//! `?`, which is a status question or no word at all, then the end of that line, then `M114`, which asks for
//! the position or is refused. No CAN, no G word, no mode. Two things cannot be helped: opening a port
//! pulses DTR, on which many boards start anew, and the first line ends a table's turning alone.

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use serde::Serialize;

use super::parse::{LineSplitter, keys};
use super::ports::{Ports, SystemPorts};
use super::wire::{Gone, Wire};
use super::words::{self, Question};
use crate::turntable::TableError;

/// How long a board that starts anew on opening may take to answer.
const ANSWER_WAIT: Duration = Duration::from_secs(5);
/// How long a turn that someone else began is waited for.
const TURN_WAIT: Duration = Duration::from_secs(90);
/// How long each question may take.
const QUESTION_WAIT: Duration = Duration::from_secs(1);
/// How long the line must be quiet before the first word.
const QUIET: Duration = Duration::from_millis(300);
/// How much of what is said is kept.
const HEARD_MAX: usize = 12;

/// What is on a port.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "found", rename_all = "snake_case")]
pub enum Probed {
    /// A controller with our program.
    Table(ProbedTable),
    /// Something else that speaks.
    Other(OtherController),
    /// Nothing that answers.
    Nothing,
}

/// What a controller with our program says of itself; keys and values as they came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ProbedTable {
    /// The program's name and number.
    pub program: String,
    /// The language it speaks.
    pub protocol: String,
    /// The controller's own number.
    pub id: String,
    /// Its settings; empty where it gave none.
    pub settings: BTreeMap<String, String>,
    /// Its state; empty where it gave none.
    pub status: BTreeMap<String, String>,
    /// Why it refuses to work, where it does.
    pub refusal: Option<String>,
    /// Whether its banner came after opening: then it has started anew, by the opening or by itself.
    pub started_anew: bool,
}

/// What another controller says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OtherController {
    /// What it said unasked after opening.
    pub banner: Vec<String>,
    /// What it said to the questions.
    pub answers: Vec<String>,
    /// The name of the dialect its answers look like; `None` where they look like none.
    pub dialect: Option<&'static str>,
}

/// Probes a port of the operating system.
///
/// # Errors
/// [`TableError::CannotOpen`] when the system does not give the port, [`TableError::Lost`] when it goes away meanwhile.
pub fn probe(port: &str, baud: u32) -> Result<Probed, TableError> {
    probe_on(&SystemPorts, port, baud)
}

/// Does what [`probe`] does on other ports than the system's, such as scripted ones.
///
/// # Errors
/// As for [`probe`].
pub fn probe_on(ports: &dyn Ports, port: &str, baud: u32) -> Result<Probed, TableError> {
    let wire =
        ports.open(port, baud).map_err(|reason| TableError::CannotOpen { port: port.to_owned(), reason })?;
    let mut talk = Talk { wire, splitter: LineSplitter::default(), lines: VecDeque::new() };
    talk.probe().map_err(|Gone(reason)| TableError::Lost(reason))
}

struct Talk {
    wire: Box<dyn Wire>,
    splitter: LineSplitter,
    lines: VecDeque<String>,
}

impl Talk {
    fn probe(&mut self) -> Result<Probed, Gone> {
        let mut banner = self.listen(QUIET, QUESTION_WAIT * 2)?;
        let begun = self.wire.now();
        let mut deadline = begun + ANSWER_WAIT;
        let mut answers = Vec::new();
        let mut turning = false;
        let mut asked_before = false;
        while self.wire.now() < deadline {
            let said = if turning {
                self.listen(QUESTION_WAIT, QUESTION_WAIT)?
            } else {
                self.ask(&words::seal(Question::Version.word()), Some("version"))?
            };
            // A table in the middle of a turn answers when that has ended; it is not stopped for this.
            turning = said.iter().any(|line| info(line, "turning").is_some());
            if turning {
                deadline = (self.wire.now() + ANSWER_WAIT).min(begun + TURN_WAIT);
            }
            let version = said.iter().find_map(|line| info(line, "version"));
            if let Some(version) = version {
                return self.table(&version, &banner).map(Probed::Table);
            }
            if let Some(reason) = settings_refusal(&said) {
                let none = BTreeMap::new();
                return Ok(Probed::Table(table_of("", &none, none.clone(), Some(reason), &banner)));
            }
            // A board that is still starting answers nothing, or with its banner.
            let has_answered = !turning && said.iter().any(|line| is_last_answer(line));
            if has_answered || answers.is_empty() {
                answers.extend(said);
            } else {
                banner.extend(said);
            }
            // Once more after the first: a half line that a dead program left was spoilt by it.
            if has_answered && std::mem::replace(&mut asked_before, true) {
                break;
            }
        }
        for question in [&b"?"[..], b"\n", b"M114\n"] {
            answers.extend(self.ask(question, None)?);
        }
        banner.truncate(HEARD_MAX);
        answers.truncate(HEARD_MAX);
        if banner.is_empty() && answers.is_empty() {
            return Ok(Probed::Nothing);
        }
        let dialect = looks_like(&answers);
        Ok(Probed::Other(OtherController { banner, answers, dialect }))
    }

    fn table(&mut self, version: &str, banner: &[String]) -> Result<ProbedTable, Gone> {
        let mut maps = [BTreeMap::new(), BTreeMap::new()];
        let mut refusal = None;
        for (map, (question, kind)) in
            maps.iter_mut().zip([(Question::Settings, "settings"), (Question::Status, "status")])
        {
            let said = self.ask(&words::seal(question.word()), Some(kind))?;
            if let Some(text) = said.iter().find_map(|line| info(line, kind)) {
                *map = owned_keys(&text);
            }
            refusal = said
                .iter()
                .find_map(|line| line.strip_prefix("error:"))
                .map(|text| text.trim().to_owned())
                .or(refusal);
        }
        let [settings, status] = maps;
        Ok(table_of(version, &settings, status, refusal, banner))
    }

    /// Sends bytes and gives what comes until their last answer; where a kind of information is wanted, an `ok`
    /// before it belongs to an earlier line.
    fn ask(&mut self, bytes: &[u8], wanted: Option<&str>) -> Result<Vec<String>, Gone> {
        let until = self.wire.now() + QUESTION_WAIT;
        let mut left = bytes;
        while !left.is_empty() && self.wire.now() < until {
            let taken = self.wire.write(left, Duration::from_millis(10))?;
            left = left.get(taken..).unwrap_or_default();
        }
        let mut said = Vec::new();
        while let Some(line) = self.next(until)? {
            let is_last = is_last_answer(&line);
            let is_ok = is_last && line.starts_with("ok");
            said.push(line);
            let is_earlier =
                is_ok && wanted.is_some_and(|kind| !said.iter().any(|line| info(line, kind).is_some()));
            if is_last && !is_earlier {
                break;
            }
            if said.len() > HEARD_MAX {
                said.remove(0);
            }
        }
        Ok(said)
    }

    fn listen(&mut self, quiet: Duration, most: Duration) -> Result<Vec<String>, Gone> {
        let ends = self.wire.now() + most;
        let mut said = Vec::new();
        while let Some(line) = self.next((self.wire.now() + quiet).min(ends))? {
            if said.len() < HEARD_MAX {
                said.push(line);
            }
        }
        Ok(said)
    }

    fn next(&mut self, until: Duration) -> Result<Option<String>, Gone> {
        loop {
            if let Some(line) = self.lines.pop_front() {
                return Ok(Some(line));
            }
            let now = self.wire.now();
            if now >= until {
                return Ok(None);
            }
            let mut buffer = [0; 256];
            let count = self.wire.read(&mut buffer, until.saturating_sub(now))?.min(buffer.len());
            let lines = &mut self.lines;
            self.splitter
                .push_texts(&buffer[..count], &mut |text| lines.push_back(text.chars().take(200).collect()));
        }
    }
}

fn table_of(
    version: &str,
    settings: &BTreeMap<String, String>,
    status: BTreeMap<String, String>,
    refusal: Option<String>,
    banner: &[String],
) -> ProbedTable {
    let named = owned_keys(version);
    let program: Vec<&str> =
        version.split_ascii_whitespace().take_while(|part| !part.contains('=')).collect();
    let of = |key: &str| named.get(key).cloned().unwrap_or_default();
    ProbedTable {
        program: program.join(" "),
        protocol: of("protocol"),
        id: of("id"),
        settings: settings.clone(),
        status,
        refusal,
        started_anew: banner.iter().any(|line| info(line, "boot").is_some()),
    }
}

fn is_last_answer(line: &str) -> bool {
    line == "ok" || line.starts_with("ok ") || line.to_ascii_lowercase().starts_with("error")
}

/// What our program answers to every line while its settings are wrong.
fn settings_refusal(said: &[String]) -> Option<String> {
    said.iter().find_map(|line| {
        Some(line.strip_prefix("error:")?.trim().to_owned()).filter(|text| text.starts_with("settings:"))
    })
}

/// The body of an information line of a kind.
fn info(line: &str, kind: &str) -> Option<String> {
    let body = line.strip_suffix(']')?.rsplit_once('[')?.1;
    body.strip_prefix(kind)?.strip_prefix(' ').map(str::to_owned)
}

fn owned_keys(text: &str) -> BTreeMap<String, String> {
    keys(text)
        .unwrap_or_default()
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value.to_owned()))
        .collect()
}

/// Which preset's answers these look like. Between `ok-when-moved` and `dwell` only a move could tell.
fn looks_like(answers: &[String]) -> Option<&'static str> {
    let any = |test: &dyn Fn(&str) -> bool| answers.iter().any(|line| test(line));
    if any(&|line| line.starts_with('<') && line.contains("Pos:")) {
        Some("status-poll")
    } else if any(&|line| line.contains("X:") && line.contains("Y:")) {
        Some("finish-word")
    } else if any(&|line| is_last_answer(line)) {
        Some("dwell")
    } else {
        None
    }
}
