//! One question, one answer: matching what comes in to what was sent.
//!
//! The controller gives every line exactly one last answer, in order, but an answer does not say
//! which line it belongs to. An answer that comes after its time-out must not be taken for that
//! of a later line. So:
//!
//! * Only one line is under way at a time. Its kind is a *suspect* until its last answer has come.
//! * A question counts as answered when its own information line and then a last answer have come;
//!   last answers before that belong to earlier lines and are passed over.
//! * While anything is suspect, [`Exchange::sync`] goes before the next line: a CAN empties the
//!   controller's queue, then a question is asked whose kind is *not* suspect. Answers come in order,
//!   so once that one has come, all that was due before it has come too. With every kind of question
//!   suspect nothing can be told apart any more, and the line is given up.
//! * The angle and step of a place must agree with each other, or the line is passed over as spoilt.
//!
//! A motion word has no information line of its own, so the driver never trusts its `ok` alone: it
//! asks for the status afterwards, and takes the position from there.

use std::collections::VecDeque;
use std::time::Duration;

use super::parse::{Info, Line, LineSplitter, Place, Settings, Status, Version};
use super::wire::{Gone, LOOK_EVERY, Wire, write_whole};
use super::words::{self, CAN, Question};
use crate::angle::StepsPerTurn;

/// How long one question may go unanswered before the next kind is tried.
const QUESTION_WAIT: Duration = Duration::from_secs(1);
/// How much foreign text is kept for messages.
const OVERHEARD_MAX: usize = 4;

/// Says why an exchange gave no answer.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Failure {
    /// The line is gone.
    Gone(String),
    /// The controller has announced that it started anew.
    Restarted(String),
    /// The time is over.
    Silent,
    /// The controller said no, and why.
    Refused(String),
    /// The caller's interrupt came up.
    Interrupted,
}

impl From<Gone> for Failure {
    fn from(Gone(reason): Gone) -> Self {
        Self::Gone(reason)
    }
}

/// The answer to a question.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Answer {
    Version(Version),
    Settings(Result<Settings, String>),
    Status(Status),
}

/// What a wait listens to besides the wire.
pub(super) struct Ear<'a> {
    /// Ends the wait at once when it comes up.
    pub interrupt: &'a dyn Fn() -> bool,
    /// Hears of each step a turn tells it has passed.
    pub passing: &'a mut dyn FnMut(i64),
}

/// How long a motion or an action may take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patience {
    /// In all.
    pub whole: Duration,
    /// Without any sign of life, once the table has begun to give some.
    pub silent: Duration,
}

/// A wire with what is known about answers still due on it.
pub(super) struct Exchange {
    wire: Box<dyn Wire>,
    splitter: LineSplitter,
    lines: VecDeque<Line>,
    /// Kinds of questions that a late answer may still come for.
    suspect_questions: Vec<Question>,
    /// Whether a late answer without information line may still come.
    suspect_action: bool,
    /// The gearing that places are checked against, once known.
    steps: Option<StepsPerTurn>,
    /// How long the table may take to come to a halt.
    pub halt_wait: Duration,
    overheard: VecDeque<String>,
}

impl Exchange {
    pub fn new(wire: Box<dyn Wire>) -> Self {
        Self {
            wire,
            splitter: LineSplitter::default(),
            lines: VecDeque::new(),
            suspect_questions: Vec::new(),
            suspect_action: false,
            steps: None,
            halt_wait: Duration::from_secs(3),
            overheard: VecDeque::new(),
        }
    }

    pub fn now(&self) -> Duration {
        self.wire.now()
    }

    /// Checks places against this gearing from now on.
    pub fn set_steps(&mut self, steps: StepsPerTurn) {
        self.steps = Some(steps);
    }

    /// Declares that nothing is due any more.
    pub fn trust(&mut self) {
        self.suspect_questions.clear();
        self.suspect_action = false;
    }

    /// The last text that was neither answer nor information, for messages.
    pub fn overheard(&self) -> Vec<String> {
        self.overheard.iter().cloned().collect()
    }

    /// Sends the stop byte.
    pub fn send_can(&mut self) -> Result<(), Failure> {
        tracing::debug!("table <- CAN");
        self.write(&[CAN])
    }

    /// Sends one line with its checksum.
    pub fn send(&mut self, words: &str) -> Result<(), Failure> {
        tracing::debug!(words, "table <-");
        self.write(&words::seal(words))
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        // What stands half written on the line is spoilt by its checksum.
        if write_whole(&mut *self.wire, bytes)? { Ok(()) } else { Err(Failure::Silent) }
    }

    /// Gives the next line, whatever it is; `None` when none came until then.
    pub fn next_line(
        &mut self,
        until: Duration,
        interrupt: &dyn Fn() -> bool,
    ) -> Result<Option<Line>, Failure> {
        loop {
            if interrupt() {
                return Err(Failure::Interrupted);
            }
            if let Some(line) = self.lines.pop_front() {
                tracing::debug!(?line, "table ->");
                if let Line::Other(text) = &line {
                    if self.overheard.len() == OVERHEARD_MAX {
                        self.overheard.pop_front();
                    }
                    self.overheard.push_back(text.chars().take(60).collect());
                }
                return Ok(Some(line));
            }
            let now = self.now();
            if now >= until {
                return Ok(None);
            }
            self.read(until.saturating_sub(now).min(LOOK_EVERY))?;
        }
    }

    fn read(&mut self, wait: Duration) -> Result<usize, Failure> {
        let mut buffer = [0; 256];
        let count = self.wire.read(&mut buffer, wait)?.min(buffer.len());
        self.splitter.push(&buffer[..count], &mut self.lines);
        Ok(count)
    }

    /// Takes in what lies on the wire unasked for, so that news of a restart comes before the next line.
    fn drain(&mut self) -> Result<(), Failure> {
        // Bounded, for a line that never falls silent.
        for _ in 0..256 {
            let count = self.read(Duration::ZERO)?;
            while let Some(line) = self.lines.pop_front() {
                if let Line::Info(Info::Boot(text)) = line {
                    self.trust();
                    return Err(Failure::Restarted(text));
                }
            }
            if count == 0 {
                break;
            }
        }
        self.splitter.drop_noise();
        Ok(())
    }

    fn agrees(&self, place: Place) -> bool {
        self.steps.is_none_or(|steps| place.agrees_with(steps))
    }

    /// Waits for the last answer to the line under way; of a question, for its information line first.
    fn await_answer(
        &mut self,
        wanted: Option<Question>,
        patience: Patience,
        ear: &mut Ear<'_>,
    ) -> Result<Option<Answer>, Failure> {
        let whole = self.now() + patience.whole;
        let mut until = whole;
        let mut answer = None;
        loop {
            let Some(line) = self.next_line(until, ear.interrupt)? else { return Err(Failure::Silent) };
            match line {
                Line::Info(Info::Boot(text)) => {
                    // A controller that starts anew has forgotten every line it owed an answer to.
                    self.trust();
                    return Err(Failure::Restarted(text));
                }
                Line::Ok if wanted.is_none() || answer.is_some() => return Ok(answer),
                Line::Error(reason) => return Err(Failure::Refused(reason)),
                Line::Info(Info::Turning(place)) if self.agrees(place) => {
                    until = whole.min(self.now() + patience.silent);
                    (ear.passing)(place.step);
                }
                Line::Info(info) => answer = self.answer_to(wanted, info).or(answer),
                Line::Ok | Line::Other(_) => {}
            }
        }
    }

    fn answer_to(&self, wanted: Option<Question>, info: Info) -> Option<Answer> {
        match (wanted?, info) {
            (Question::Version, Info::Version(version)) => Some(Answer::Version(version)),
            (Question::Settings, Info::Settings(settings)) => Some(Answer::Settings(settings)),
            (Question::Status, Info::Status(status)) if self.agrees(status.place) => {
                Some(Answer::Status(status))
            }
            _ => None,
        }
    }

    /// Sends a line that acts and waits for its end.
    pub fn act(&mut self, words: &str, patience: Patience, ear: &mut Ear<'_>) -> Result<(), Failure> {
        self.drain()?;
        if self.is_suspect() {
            self.sync()?;
        }
        self.suspect_action = true;
        self.send(words)?;
        let result = self.await_answer(None, patience, ear).map(drop);
        if matches!(result, Ok(()) | Err(Failure::Refused(_))) {
            self.suspect_action = false;
        }
        result
    }

    /// Asks one question once.
    fn ask_once(&mut self, question: Question, wait: Duration, ear: &mut Ear<'_>) -> Result<Answer, Failure> {
        self.suspect_questions.push(question);
        self.send(question.word())?;
        let patience = Patience { whole: wait, silent: wait };
        let answer = self.await_answer(Some(question), patience, ear)?;
        // Answers come in order: nothing sent before this question is due any more.
        self.trust();
        answer.ok_or(Failure::Silent)
    }

    /// Asks a question and takes only the very next answer for its own; `None` when that belongs to another.
    ///
    /// For a line on which nothing is known yet about answers still due; see `greeting`.
    pub fn ask_strictly(&mut self, question: Question, wait: Duration) -> Result<Option<Answer>, Failure> {
        self.send(question.word())?;
        let until = self.now() + wait;
        let mut answer = None;
        while let Some(line) = self.next_line(until, &|| false)? {
            match line {
                Line::Ok => return Ok(answer),
                Line::Error(reason) => return Err(Failure::Refused(reason)),
                Line::Info(Info::Boot(text)) => return Err(Failure::Restarted(text)),
                Line::Info(Info::Turning(_) | Info::Stopped(_)) | Line::Other(_) => {}
                Line::Info(info) => {
                    answer = self.answer_to(Some(question), info);
                    if answer.is_none() {
                        return Ok(None);
                    }
                }
            }
        }
        Err(Failure::Silent)
    }

    /// Asks a question, again where the answer is spoilt: asking changes nothing on the table.
    ///
    /// `wait` is for the first answer, which may have to wait for a motion to end.
    pub fn ask(&mut self, question: Question, wait: Duration, ear: &mut Ear<'_>) -> Result<Answer, Failure> {
        const TRIES: u32 = 3;
        self.drain()?;
        let mut last = Failure::Silent;
        for attempt in 0..TRIES {
            if self.is_suspect() {
                self.sync()?;
            }
            let wait = if attempt == 0 { wait } else { QUESTION_WAIT };
            match self.ask_once(question, wait, ear) {
                Err(failure @ (Failure::Silent | Failure::Refused(_))) => last = failure,
                result => return result,
            }
        }
        Err(last)
    }

    /// Asks a question while a line that acts may still be running: without a stop before it.
    pub fn confirm(
        &mut self,
        question: Question,
        wait: Duration,
        ear: &mut Ear<'_>,
    ) -> Result<Answer, Failure> {
        match self.ask_once(question, wait, ear) {
            Err(Failure::Silent | Failure::Refused(_)) => self.ask(question, QUESTION_WAIT, ear),
            result => result,
        }
    }

    fn is_suspect(&self) -> bool {
        self.suspect_action || !self.suspect_questions.is_empty()
    }

    /// Stops whatever runs and makes sure that no answer is due any more.
    ///
    /// # Errors
    /// [`Failure::Gone`] when questions and answers can no longer be matched: only opening the line anew helps.
    pub fn sync(&mut self) -> Result<(), Failure> {
        let deaf = Ear { interrupt: &|| false, passing: &mut |_| {} };
        self.send_can()?;
        // A question sent before the halt would be emptied out with the queue, unanswered.
        let until = self.now() + self.halt_wait;
        while let Some(line) = self.next_line(until, deaf.interrupt)? {
            match line {
                Line::Info(Info::Boot(text)) => {
                    self.trust();
                    return Err(Failure::Restarted(text));
                }
                Line::Info(Info::Stopped(_)) => break,
                _ => {}
            }
        }
        let mut last = None;
        for question in Question::ALL {
            if self.suspect_questions.contains(&question) {
                continue;
            }
            // An `error:` here may belong to a line before: the answer after it is waited for, too.
            match self.ask_past_errors(question) {
                Ok(()) => return Ok(()),
                Err(failure @ (Failure::Silent | Failure::Refused(_))) => last = Some(failure),
                Err(failure) => return Err(failure),
            }
        }
        Err(last.unwrap_or_else(|| {
            Failure::Gone("its answers can no longer be matched to what was asked".to_owned())
        }))
    }

    fn ask_past_errors(&mut self, question: Question) -> Result<(), Failure> {
        let mut deaf = Ear { interrupt: &|| false, passing: &mut |_| {} };
        self.suspect_questions.push(question);
        self.send(question.word())?;
        let until = self.now() + QUESTION_WAIT;
        loop {
            let left = until.saturating_sub(self.now());
            match self.await_answer(Some(question), Patience { whole: left, silent: left }, &mut deaf) {
                Ok(_) => {
                    self.trust();
                    return Ok(());
                }
                Err(Failure::Refused(_)) if self.now() < until => {}
                Err(failure) => return Err(failure),
            }
        }
    }
}
