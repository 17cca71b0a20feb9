//! The table behind a controller of another dialect.

use std::hash::{BuildHasher, Hasher, RandomState};
use std::time::Duration;

use super::line::{DialectLine, Fault, Report};
use super::opening::{ANSWER_WAIT, QUIET, opening_words, wait};
use super::{Dialect, MoveEnd, ShutterWords};
use crate::angle::StepsPerTurn;
use crate::cancel::CancelToken;
use crate::turntable::serial::ports::{Ports, SystemPorts};
use crate::turntable::{TableError, TableFacts, TablePosition, Turntable};

/// How long a board that resets on opening may take to answer.
const OPEN_WAIT: Duration = Duration::from_secs(6);
/// How long a table may take beyond what its work takes.
const SILENCE: Duration = Duration::from_secs(10);
/// How long the table may stand idle elsewhere than at its target: the move may not have begun yet.
const LATE_START: Duration = Duration::from_secs(2);
/// The longest single action, seconds.
const LONGEST_SECS: u64 = 86_400;

/// A turntable on a controller that speaks the words of RS-274/NGC in a dialect of its own.
///
/// A turn counts as ended only by what the [`Dialect`] names; where the controller can be asked, the position is
/// asked for before and after each turn. Such a controller keeps no name of its zero: the zero set in
/// this session holds until the line closes, a banner or an alarm comes, or the position is not the expected one.
pub struct DialectTable {
    ports: Box<dyn Ports>,
    port: String,
    baud: u32,
    dialect: Dialect,
    facts: TableFacts,
    /// `None` while the line is lost.
    line: Option<DialectLine>,
    /// Where the plate stands, in steps from where the axis was last declared zero.
    step: i64,
    /// What the controller reports at step 0; not 0 where it reports machine positions.
    base_units: f64,
    zero: Option<String>,
    zeros: u64,
    holding: bool,
    /// Why the position is in doubt, until the caller has asked for it.
    doubt: Option<TableError>,
}

impl std::fmt::Debug for DialectTable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("DialectTable")
            .field("port", &self.port)
            .field("facts", &self.facts)
            .finish_non_exhaustive()
    }
}

impl DialectTable {
    /// Opens a port of the operating system and makes sure that a controller of this dialect answers.
    ///
    /// The axis is declared to stand at 0 there and then, so that no turn starts from an old figure; the
    /// *plate's* zero stays unknown until [`Turntable::set_zero`].
    ///
    /// # Errors
    /// [`TableError::CannotOpen`] when the system does not give the port, [`TableError::NotATable`] when the settings
    /// cannot be used or nothing of this dialect answers, [`TableError::Lost`] when it goes away meanwhile.
    pub fn open(port: &str, baud: u32, dialect: Dialect) -> Result<Self, TableError> {
        Self::open_on(Box::new(SystemPorts), port, baud, dialect)
    }

    /// Does what [`Self::open`] does on other ports than the system's, such as scripted ones.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub fn open_on(
        ports: Box<dyn Ports>,
        port: &str,
        baud: u32,
        dialect: Dialect,
    ) -> Result<Self, TableError> {
        let steps_per_turn = dialect.check().map_err(|fault| {
            TableError::NotATable(format!("the dialect's settings cannot be used: {fault}"))
        })?;
        let short = port.strip_prefix("/dev/").unwrap_or(port);
        let facts = TableFacts {
            name: format!("serial {short}, G words on axis {}", dialect.axis),
            steps_per_turn,
            speeds: dialect.speeds,
            has_shutter: dialect.shutter.is_some(),
        };
        let mut table = Self {
            ports,
            port: port.to_owned(),
            baud,
            dialect,
            facts,
            line: None,
            step: 0,
            base_units: 0.0,
            zero: None,
            zeros: 0,
            holding: false,
            doubt: None,
        };
        table.begin().map(|()| table)
    }

    fn steps(&self) -> StepsPerTurn {
        self.facts.steps_per_turn
    }

    fn units_of(&self, step: i64) -> f64 {
        self.dialect.degrees_to_units(self.steps().angle_of(step).degrees())
    }

    fn step_at(&self, report: &Report) -> i64 {
        ((report.units - self.base_units) / self.units_of(1)).round() as i64
    }

    /// Whether the axis stands at a step, as nearly as the figure that came can tell.
    fn stands_at(&self, report: &Report, step: i64) -> bool {
        let last_decimal = 0.1_f64.powi(i32::try_from(report.decimals).unwrap_or(9));
        let off = (report.units - self.base_units - self.units_of(step)).abs();
        off <= f64::midpoint(self.units_of(1).abs(), last_decimal)
    }

    /// Opens the line and finds out whether it is understood there.
    fn begin(&mut self) -> Result<(), TableError> {
        self.line = None;
        let wire = self
            .ports
            .open(&self.port, self.baud)
            .map_err(|reason| TableError::CannotOpen { port: self.port.clone(), reason })?;
        self.line = Some(DialectLine::new(wire));
        self.establish().inspect_err(|_| self.line = None)
    }

    /// Waits for an answer, sends the opening words, and declares the axis to stand at 0.
    fn establish(&mut self) -> Result<(), TableError> {
        self.zero = None;
        self.holding = false;
        let Some(line) = &mut self.line else { return Err(self.lost()) };
        let deadline = line.now() + OPEN_WAIT;
        let result = loop {
            match opening_words(line, &self.dialect, deadline) {
                // It reset in the middle of this: begin again while there is time.
                Err(Fault::Restarted(_)) if line.now() < deadline => line.forget_owed(),
                result => break result,
            }
        };
        match result {
            Ok(base_units) => {
                self.base_units = base_units;
                self.step = 0;
                self.doubt = None;
                Ok(())
            }
            Err(Fault::Gone(reason)) => Err(TableError::Lost(reason)),
            Err(Fault::Refused(reason)) => Err(TableError::NotATable(format!(
                "the controller at {} refused an opening line ({reason}); check the dialect's start_words and zero_words",
                self.port
            ))),
            Err(Fault::Alarm(text)) => Err(TableError::NotATable(format!(
                "the controller at {} is in alarm ('{text}'); find out why, clear the alarm there, then try again",
                self.port
            ))),
            Err(Fault::Interrupted) => Err(TableError::NotATable(format!(
                "the controller at {} is still moving; wait until it rests, then try again",
                self.port
            ))),
            Err(Fault::Silent | Fault::Restarted(_)) => {
                let heard = line.overheard();
                Err(TableError::NotATable(if heard.is_empty() {
                    format!(
                        "nothing answers at {} in this dialect; check power, cable, port and speed, and that the dialect \
                         suits the controller, then try again",
                        self.port
                    )
                } else {
                    format!(
                        "what answers at {} does not follow this dialect (it says '{}'); choose the dialect that suits it",
                        self.port,
                        heard.join("', '")
                    )
                }))
            }
        }
    }

    fn lost(&self) -> TableError {
        TableError::Lost(format!("the line at {} is closed", self.port))
    }

    fn doubtful(&mut self, why: TableError) -> TableError {
        self.zero = None;
        self.holding = false;
        self.doubt = Some(why.clone());
        why
    }

    /// Turns a fault into what the caller hears, and notes what it means for the next call.
    fn failed(&mut self, word: &str, waited: Duration, fault: Fault) -> TableError {
        match fault {
            Fault::Gone(reason) => {
                self.line = None;
                self.zero = None;
                TableError::Lost(reason)
            }
            Fault::Restarted(text) => self.doubtful(TableError::Restarted(text)),
            Fault::Alarm(text) => {
                self.doubtful(TableError::PositionLost(format!("its controller is in alarm: '{text}'")))
            }
            Fault::Refused(reason) => TableError::Refused { word: word.to_owned(), reason },
            Fault::Silent | Fault::Interrupted => {
                // Its answer may still come and cannot be told from another's: only a new opening helps.
                self.line = None;
                self.zero = None;
                TableError::TimedOut { word: word.to_owned(), secs: waited.as_secs_f64() }
            }
        }
    }

    /// Sends a line that moves nothing.
    fn send(&mut self, words: &str) -> Result<(), TableError> {
        let Some(line) = &mut self.line else { return Err(self.lost()) };
        let sent = line.ask(&self.dialect, words, ANSWER_WAIT, &|| false, &mut |_| {});
        sent.map_err(|fault| self.failed(words, ANSWER_WAIT, fault))
    }

    fn report(&mut self) -> Result<Option<Report>, TableError> {
        let Some(line) = &mut self.line else { return Err(self.lost()) };
        let report = line.report(&self.dialect, ANSWER_WAIT, &|| false);
        report.map_err(|fault| self.failed("status", ANSWER_WAIT, fault))
    }

    /// Makes sure that the table stands where it was left, as far as it can be asked.
    fn check_place(&mut self) -> Result<(), TableError> {
        if let Some(doubt) = &self.doubt {
            return Err(doubt.clone());
        }
        let Some(report) = self.report()? else { return Ok(()) };
        if self.stands_at(&report, self.step) {
            return Ok(());
        }
        let (found, left) = (self.step_at(&report), self.step);
        Err(self.doubtful(TableError::PositionLost(format!(
            "its controller says step {found}, but it was left at step {left}: it was moved or has started anew"
        ))))
    }

    /// Waits for the end of a move that was taken; gives the last report where there is one.
    fn await_end(
        &mut self,
        step: i64,
        whole: Duration,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<Option<Report>, Fault> {
        let every = self.dialect.poll_every();
        let polls = matches!(self.dialect.move_end, MoveEnd::StatusPoll { .. });
        let interrupt = || cancel.is_cancelled();
        let gone = || Fault::Gone("the line is closed".to_owned());
        if !polls {
            let line = self.line.as_mut().ok_or_else(gone)?;
            if let Some(words) = self.dialect.sync_line() {
                line.ask(&self.dialect, words, whole, &interrupt, &mut |_| {})?;
            }
            return line.report(&self.dialect, ANSWER_WAIT, &|| false);
        }
        let ends = self.line.as_ref().ok_or_else(gone)?.now() + whole;
        let mut last: Option<Report> = None;
        let mut elsewhere_since = None;
        loop {
            let line = self.line.as_mut().ok_or_else(gone)?;
            let now = line.now();
            if now >= ends {
                return Err(Fault::Silent);
            }
            let report = line.report(&self.dialect, ANSWER_WAIT, &interrupt)?.ok_or(Fault::Silent)?;
            let rests = last.is_some_and(|last| last.rests_with(&report));
            progress(self.step_at(&report));
            if rests && self.stands_at(&report, step) {
                return Ok(Some(report));
            }
            if !rests {
                elsewhere_since = None;
            } else if now.saturating_sub(*elsewhere_since.get_or_insert(now)) >= LATE_START {
                return Ok(Some(report));
            }
            last = Some(report);
            let line = self.line.as_mut().ok_or_else(gone)?;
            wait(line, &self.dialect, now + every, &interrupt)?;
        }
    }

    /// Stops the table in mid-turn.
    fn halt(&mut self) -> TableError {
        let left_at = self.step;
        let Some(stop) = self.dialect.stop.clone() else { return self.lost() };
        match self.halt_and_look(&stop.bytes()) {
            Ok(Some(report)) => {
                self.step = self.step_at(&report);
                if !stop.keeps_position || !self.stands_at(&report, self.step) {
                    self.stop_costs_zero();
                }
                TableError::Stopped { step: self.step }
            }
            Ok(None) | Err(Fault::Restarted(_) | Fault::Alarm(_) | Fault::Refused(_)) => {
                self.stop_costs_zero();
                TableError::Stopped { step: left_at }
            }
            Err(fault) => self.failed("stop", ANSWER_WAIT, fault),
        }
    }

    fn stop_costs_zero(&mut self) {
        self.doubtful(TableError::PositionLost("it was stopped in mid-turn".to_owned()));
    }

    fn halt_and_look(&mut self, stop: &[u8]) -> Result<Option<Report>, Fault> {
        let gone = || Fault::Gone("the line is closed".to_owned());
        let line = self.line.as_mut().ok_or_else(gone)?;
        line.write(stop)?;
        let until = line.now() + ANSWER_WAIT;
        match line.await_owed(&self.dialect, until, &|| false, &mut |_| {}) {
            Ok(()) | Err(Fault::Refused(_)) => {}
            Err(fault) => {
                // What a restart says besides its banner is no answer to anything.
                line.settle(&self.dialect, QUIET, ANSWER_WAIT)?;
                return Err(fault);
            }
        }
        if let Some(words) = self.dialect.sync_line() {
            line.ask(&self.dialect, words, SILENCE, &|| false, &mut |_| {})?;
        }
        let mut last: Option<Report> = None;
        let until = line.now() + SILENCE;
        while line.now() < until {
            let Some(report) = line.report(&self.dialect, ANSWER_WAIT, &|| false)? else { return Ok(None) };
            if last.is_some_and(|last| last.rests_with(&report)) {
                return Ok(Some(report));
            }
            last = Some(report);
            let at = line.now() + self.dialect.poll_every();
            wait(line, &self.dialect, at, &|| false)?;
        }
        Err(Fault::Silent)
    }

    fn told(&mut self) -> TablePosition {
        self.doubt = None;
        TablePosition { step: self.step, zero: self.zero.clone() }
    }
}

impl Turntable for DialectTable {
    fn facts(&self) -> &TableFacts {
        &self.facts
    }

    fn position(&mut self) -> Result<TablePosition, TableError> {
        match self.doubt {
            // What it forgot is told to it anew before anything turns.
            Some(_) => self.establish().inspect_err(|_| self.line = None)?,
            None => self.check_place()?,
        }
        Ok(self.told())
    }

    fn turn_to(
        &mut self,
        step: i64,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<TablePosition, TableError> {
        self.check_place()?;
        if cancel.is_cancelled() {
            return Err(TableError::Stopped { step: self.step });
        }
        if let Some(words) = self.dialect.hold_words.clone().filter(|_| !self.holding) {
            self.send(&words)?;
            self.holding = true;
        }
        let target = self.steps().angle_of(step).degrees();
        let words = self.dialect.move_line(target);
        let degrees = target - self.steps().angle_of(self.step).degrees();
        let secs = self.dialect.speeds.turn_secs(degrees).clamp(0.0, LONGEST_SECS as f64);
        let whole = Duration::from_secs_f64(2.0 * secs) + SILENCE;

        // Without a way to stop it, a cancelled turn runs to its end and is told as stopped there.
        let deaf = CancelToken::default();
        let heeded = if self.dialect.stop.is_some() { cancel } else { &deaf };
        let Some(line) = &mut self.line else { return Err(self.lost()) };
        let sent = line.ask(&self.dialect, &words, whole, &|| heeded.is_cancelled(), &mut |_| {});
        let ended = match sent {
            Ok(()) => self.await_end(step, whole, heeded, progress).map_err(|fault| match fault {
                // The move runs, but its end cannot be learned this way.
                Fault::Refused(reason) => Fault::Alarm(format!(
                    "the end of the turn cannot be learned: {reason}. Choose another move_end in the dialect"
                )),
                fault => fault,
            }),
            Err(fault) => Err(fault),
        };
        match ended {
            Ok(Some(report)) if !self.stands_at(&report, step) => {
                let found = self.step_at(&report);
                Err(self.doubtful(TableError::PositionLost(format!(
                    "the turn has ended at step {found} instead of step {step}: something held the plate, the turn was \
                     broken off, or the dialect's axis, degrees_per_unit or steps_per_turn is wrong"
                ))))
            }
            Ok(_) => {
                self.step = step;
                progress(step);
                if cancel.is_cancelled() && self.dialect.stop.is_none() {
                    return Err(TableError::Stopped { step });
                }
                Ok(self.told())
            }
            Err(Fault::Interrupted) => Err(self.halt()),
            Err(Fault::Silent) => {
                // The plate must not go on turning unwatched.
                if let (Some(stop), Some(line)) = (&self.dialect.stop, &mut self.line) {
                    let _ = line.write(&stop.bytes());
                }
                Err(self.failed(&words, whole, Fault::Silent))
            }
            Err(fault) => Err(self.failed(&words, whole, fault)),
        }
    }

    fn set_zero(&mut self) -> Result<TablePosition, TableError> {
        if self.line.is_none() {
            return Err(self.lost());
        }
        self.establish().inspect_err(|_| self.line = None)?;
        self.zeros += 1;
        // Drawn anew, so that no zero of another session is taken for this one.
        let drawn = RandomState::new().build_hasher().finish();
        self.zero = Some(format!("{drawn:016x}-{}", self.zeros));
        Ok(self.told())
    }

    fn fire_shutter(&mut self, press: Duration) -> Result<(), TableError> {
        if let Some(doubt) = &self.doubt {
            return Err(doubt.clone());
        }
        let refused =
            |reason: &str| TableError::Refused { word: "shutter".to_owned(), reason: reason.to_owned() };
        let Some(shutter) = self.dialect.shutter.clone() else {
            return Err(refused(
                "this dialect names no shutter words; add them, or fire the camera another way",
            ));
        };
        if press > Duration::from_secs(LONGEST_SECS) {
            return Err(refused("a press lasts a day at most; choose a shorter exposure"));
        }
        let millis = press.as_nanos().div_ceil(1_000_000);
        let (words, off) = match shutter {
            ShutterWords::Timed(words) => {
                let secs = format!("{}.{:03}", millis / 1000, millis % 1000);
                (words.replace("{secs}", &secs).replace("{millis}", &millis.to_string()), None)
            }
            ShutterWords::OnOff { on, off } => (on, Some(off)),
        };
        let Some(line) = &mut self.line else { return Err(self.lost()) };
        let whole = press + ANSWER_WAIT;
        let begun = line.now();
        let pressed = line.ask(&self.dialect, &words, whole, &|| false, &mut |_| {}).and_then(|()| {
            // The contact closed at the latest when the answer came; an answer that took as long as a
            // timed press came after it.
            let answered = line.now();
            let is_over = off.is_none() && answered.saturating_sub(begun) >= press;
            wait(line, &self.dialect, if is_over { answered } else { answered + press }, &|| false)
        });
        // However it ended, the contact is opened again.
        let opened =
            off.map_or(Ok(()), |off| line.ask(&self.dialect, &off, ANSWER_WAIT, &|| false, &mut |_| {}));
        let sync = self.dialect.sync_line().unwrap_or_default();
        let synced = match (&opened, sync) {
            (Ok(()), words) if !words.is_empty() => {
                line.ask(&self.dialect, words, whole, &|| false, &mut |_| {})
            }
            _ => Ok(()),
        };
        pressed.and(opened).and(synced).map_err(|fault| self.failed(&words, whole, fault))
    }

    fn release(&mut self) -> Result<(), TableError> {
        if let Some(doubt) = &self.doubt {
            return Err(doubt.clone());
        }
        self.holding = false;
        match self.dialect.release_words.clone() {
            Some(words) => self.send(&words),
            None => Ok(()),
        }
    }

    fn reconnect(&mut self) -> Result<TablePosition, TableError> {
        // Opening a port resets many boards, so a line that still answers is kept, and its zero with it. Where the
        // dialect has no question to ask, nobody knows whether the plug was out meanwhile.
        let still_answers =
            self.line.is_some() && self.dialect.status.is_some() && self.check_place().is_ok();
        if !still_answers {
            self.begin()?;
        }
        Ok(self.told())
    }
}
