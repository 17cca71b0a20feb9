//! The table behind a serial line.

use std::time::Duration;

use super::exchange::{Answer, Ear, Exchange, Failure, Patience};
use super::greeting::{Greeting, SerialOptions, greet};
use super::parse::Status;
use super::ports::{PortNote, Ports, SystemPorts, UsbIdentity};
use super::words::{self, Question};
use crate::cancel::CancelToken;
use crate::turntable::{TableError, TableFacts, TablePosition, Turntable};

/// How long a question may take that waits for nothing.
const ANSWER_WAIT: Duration = Duration::from_secs(3);
/// How long a table may be silent beyond what its work takes.
const SILENCE: Duration = Duration::from_secs(10);
/// The longest single action, seconds: the controller's own limit of a day; keeps time sums in range.
const LONGEST_SECS: u64 = 86_400;
/// How many turns finding the index may take, in time.
const INDEX_TURNS: f64 = 6.0;
/// What the controller gives as reason when a CAN, from here or elsewhere, ended the work.
const STOPPED: &str = "stopped";

/// A turntable on a serial port, run by the program in `controller/`.
///
/// Every position it reports is one the controller has just confirmed in a status line with the
/// same boot number; everything else is an error. After [`TableError::Lost`] only
/// [`Turntable::reconnect`] helps; after [`TableError::Restarted`] no turn is made until the caller has
/// asked for the position, set zero, or reconnected.
pub struct SerialTable {
    ports: Box<dyn Ports>,
    port: String,
    baud: u32,
    options: SerialOptions,
    /// `None` while the line is lost.
    exchange: Option<Exchange>,
    facts: TableFacts,
    /// Whether the coils were told to stay on.
    holding: bool,
    half_press: Duration,
    id: String,
    usb: Option<UsbIdentity>,
    /// The boot number that positions must come with; `None` once it has turned out stale.
    boot: Option<String>,
    /// Set by a restart until the caller has learned the new position.
    restarted: Option<String>,
}

impl std::fmt::Debug for SerialTable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SerialTable")
            .field("port", &self.port)
            .field("id", &self.id)
            .field("facts", &self.facts)
            .finish_non_exhaustive()
    }
}

impl SerialTable {
    /// Opens a port of the operating system and makes sure that a table answers there.
    ///
    /// `port` may be any path, a pseudo-terminal too. `baud` is 115200 for a board behind a serial
    /// bridge; on a board's own USB it does not matter.
    ///
    /// # Errors
    /// [`TableError::CannotOpen`] when the system does not give the port, [`TableError::NotATable`] when
    /// nothing or something else answers, [`TableError::Lost`] when it goes away meanwhile.
    pub fn open(port: &str, baud: u32, options: SerialOptions) -> Result<Self, TableError> {
        Self::open_on(Box::new(SystemPorts), port, baud, options)
    }

    /// Does what [`Self::open`] does on other ports than the system's, such as scripted ones.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub fn open_on(
        ports: Box<dyn Ports>,
        port: &str,
        baud: u32,
        options: SerialOptions,
    ) -> Result<Self, TableError> {
        let mut exchange = open_port(&*ports, port, baud)?;
        let greeting = greet(&mut exchange, port, &options, false)?;
        let usb = usb_of(&*ports, port);
        Ok(Self {
            facts: facts(port, &greeting),
            holding: false,
            half_press: Duration::from_secs_f64(greeting.settings.half_press_secs),
            id: greeting.version.id,
            boot: Some(greeting.status.boot),
            restarted: None,
            ports,
            port: port.to_owned(),
            baud,
            options,
            exchange: Some(exchange),
            usb,
        })
    }

    /// The controller's own number, by which a table is known again on another port.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// The port it is on; another one than at first, perhaps, after it was plugged in again.
    pub fn port(&self) -> &str {
        &self.port
    }

    fn line(&mut self) -> Result<&mut Exchange, TableError> {
        self.exchange.as_mut().ok_or_else(|| TableError::Lost(format!("the line at {} is closed", self.port)))
    }

    /// Turns a failure into what the caller hears, and notes what it means for the next call.
    fn failed(&mut self, word: &str, waited: Duration, failure: Failure) -> TableError {
        match failure {
            Failure::Gone(reason) => {
                self.exchange = None;
                TableError::Lost(reason)
            }
            Failure::Restarted(text) => self.note_restart(text),
            Failure::Refused(reason) => TableError::Refused { word: word.to_owned(), reason },
            Failure::Silent | Failure::Interrupted => {
                TableError::TimedOut { word: word.to_owned(), secs: waited.as_secs_f64() }
            }
        }
    }

    fn note_restart(&mut self, how: String) -> TableError {
        self.boot = None;
        self.restarted = Some(how.clone());
        TableError::Restarted(how)
    }

    fn refuse_after_restart(&self) -> Result<(), TableError> {
        self.restarted.as_ref().map_or(Ok(()), |how| Err(TableError::Restarted(how.clone())))
    }

    fn check_boot(&mut self, status: Status) -> Result<Status, TableError> {
        match &self.boot {
            Some(boot) if *boot == status.boot => Ok(status),
            Some(boot) => {
                Err(self.note_restart(format!("its boot number was {boot} and is now {}", status.boot)))
            }
            None => Err(self.note_restart("it has a new boot number".to_owned())),
        }
    }

    /// Asks for the status; a table known to have started anew is greeted anew first.
    fn status(&mut self) -> Result<Status, TableError> {
        if self.boot.is_none() {
            // A greeting that failed leaves the line in an unknown state.
            return self.greet_again().inspect_err(|_| self.exchange = None);
        }
        let mut ear = Ear { interrupt: &|| false, passing: &mut |_| {} };
        let answer = self.line()?.ask(Question::Status, ANSWER_WAIT, &mut ear);
        self.take_status(answer)
    }

    fn take_status(&mut self, answer: Result<Answer, Failure>) -> Result<Status, TableError> {
        match answer {
            Ok(Answer::Status(status)) => self.check_boot(status),
            Ok(_) => Err(self.failed(Question::Status.word(), ANSWER_WAIT, Failure::Silent)),
            Err(failure) => Err(self.failed(Question::Status.word(), ANSWER_WAIT, failure)),
        }
    }

    /// Greets on the present line and takes over what the table says now.
    fn greet_again(&mut self) -> Result<Status, TableError> {
        let (port, options) = (self.port.clone(), self.options.clone());
        let greeting = greet(self.line()?, &port, &options, true)?;
        self.adopt(&port, greeting)
    }

    fn check_id(&self, port: &str, greeting: &Greeting) -> Result<(), TableError> {
        if greeting.version.id == self.id {
            return Ok(());
        }
        Err(TableError::NotATable(format!(
            "another table answers at {port} (id {} instead of {}); connect the one this session began with",
            greeting.version.id, self.id
        )))
    }

    /// Takes over a table that has answered, if it is the one this session began with.
    fn adopt(&mut self, port: &str, greeting: Greeting) -> Result<Status, TableError> {
        self.check_id(port, &greeting)?;
        if greeting.settings.steps_per_turn != self.facts.steps_per_turn {
            return Err(TableError::NotATable(format!(
                "the table at {port} now says {} steps in a turn instead of {}; end the session, check the table's settings, \
                 then open it anew",
                greeting.settings.steps_per_turn, self.facts.steps_per_turn
            )));
        }
        self.facts = facts(port, &greeting);
        self.half_press = Duration::from_secs_f64(greeting.settings.half_press_secs);
        port.clone_into(&mut self.port);
        self.boot = Some(greeting.status.boot.clone());
        Ok(greeting.status)
    }

    /// What the caller is told of a status; it knows where the table stands from here on.
    fn told(&mut self, status: &Status) -> TablePosition {
        self.restarted = None;
        TablePosition {
            step: status.place.step,
            zero: status.known.then(|| format!("{}-{}-{}", self.id, status.boot, status.zero)),
        }
    }

    /// Sends a line that acts, waits for its end, and has the status confirm it.
    fn act(&mut self, words: &str, patience: Patience) -> Result<Status, TableError> {
        let mut ear = Ear { interrupt: &|| false, passing: &mut |_| {} };
        let acted = self.line()?.act(words, patience, &mut ear);
        acted.map_err(|failure| self.failed(words, patience.whole, failure))?;
        let answer = self.line()?.confirm(Question::Status, patience.whole.max(ANSWER_WAIT), &mut ear);
        self.take_status(answer)
    }

    /// Has the coils stay on, so that they never let go between the stops of a set.
    ///
    /// A board that let go meanwhile, after a long silence or a restart, shows it in its status. One that
    /// does not know the word turns all the same.
    fn hold(&mut self, status: &Status) -> Result<(), TableError> {
        if self.holding && status.coils {
            return Ok(());
        }
        match self.act(words::HOLD, Patience { whole: ANSWER_WAIT, silent: ANSWER_WAIT }) {
            Ok(_) | Err(TableError::Refused { .. }) => {
                self.holding = true;
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// Stops the table and asks where it came to rest.
    fn halt(&mut self) -> Result<Status, TableError> {
        let halted = self.line()?.sync();
        halted.map_err(|failure| self.failed("stop", ANSWER_WAIT, failure))?;
        self.status()
    }

    /// Opens the first port again, or the one other port where the same table answers.
    fn open_again(&mut self) -> Result<Status, TableError> {
        let port = self.port.clone();
        let first = match self.try_port(&port) {
            Ok((exchange, greeting)) => {
                self.exchange = Some(exchange);
                return self.adopt(&port, greeting);
            }
            Err(error) => error,
        };
        let mut matching = Vec::new();
        for candidate in self.candidates() {
            if let Ok((exchange, greeting)) = self.try_port(&candidate) {
                matching.push((candidate, exchange, greeting));
            }
        }
        match matching.pop() {
            None => Err(first),
            Some((candidate, exchange, greeting)) if matching.is_empty() => {
                self.exchange = Some(exchange);
                self.adopt(&candidate, greeting)
            }
            Some((candidate, ..)) => Err(TableError::NotATable(format!(
                "more than one table with the id {} answers ({}, {candidate}); leave only the one of this session \
                 connected, then reconnect",
                self.id,
                matching.iter().map(|(port, ..)| port.as_str()).collect::<Vec<_>>().join(", ")
            ))),
        }
    }

    fn try_port(&self, port: &str) -> Result<(Exchange, Greeting), TableError> {
        let mut exchange = open_port(&*self.ports, port, self.baud)?;
        // A silent stranger on another port must not get a CAN.
        let greeting = greet(&mut exchange, port, &self.options, port == self.port)?;
        self.check_id(port, &greeting)?;
        Ok((exchange, greeting))
    }

    /// Other ports with the same USB device on them: opening a stranger's port may reset the stranger.
    fn candidates(&self) -> Vec<String> {
        let Some(usb) = &self.usb else { return Vec::new() };
        let same = |note: &PortNote| note.name != self.port && note.usb.as_ref() == Some(usb);
        self.ports.list().into_iter().filter(same).map(|note| note.name).collect()
    }
}

impl Turntable for SerialTable {
    fn facts(&self) -> &TableFacts {
        &self.facts
    }

    fn position(&mut self) -> Result<TablePosition, TableError> {
        let status = self.status()?;
        Ok(self.told(&status))
    }

    fn turn_to(
        &mut self,
        step: i64,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<TablePosition, TableError> {
        self.refuse_after_restart()?;
        // A board that started anew unnoticed counts from another zero: better to know it before the
        // turn than after.
        let before = self.status()?;
        if cancel.is_cancelled() {
            return Err(TableError::Stopped { step: before.place.step });
        }
        self.hold(&before)?;
        let words = words::turn_to(self.facts.steps_per_turn, step);
        let steps = self.facts.steps_per_turn.to_f64();
        let degrees = (step as f64 - before.place.step as f64) * 360.0 / steps;
        let secs = self.facts.speeds.turn_secs(degrees).clamp(0.0, LONGEST_SECS as f64);
        let patience = Patience { whole: Duration::from_secs_f64(2.0 * secs) + SILENCE, silent: SILENCE };

        let line = self.line()?;
        let ends = line.now() + patience.whole;
        let interrupt = || cancel.is_cancelled();
        let mut ear = Ear { interrupt: &interrupt, passing: progress };
        let acted = line.act(&words, patience, &mut ear);
        let answer = acted.and_then(|()| {
            let left = ends.saturating_sub(line.now()).max(ANSWER_WAIT);
            line.confirm(Question::Status, left, &mut ear)
        });
        match answer {
            Ok(answer) => {
                let status = self.take_status(Ok(answer))?;
                progress(status.place.step);
                Ok(self.told(&status))
            }
            Err(Failure::Interrupted) => Err(TableError::Stopped { step: self.halt()?.place.step }),
            Err(Failure::Refused(reason)) if reason == STOPPED => {
                Err(TableError::Stopped { step: self.status()?.place.step })
            }
            Err(Failure::Silent) => {
                // The plate must not go on turning unwatched. If only the answer was lost, it has arrived.
                match self.halt() {
                    Ok(status) if status.place.step == step => Ok(self.told(&status)),
                    Ok(_) | Err(TableError::TimedOut { .. }) => {
                        Err(self.failed(&words, patience.whole, Failure::Silent))
                    }
                    Err(error) => Err(error),
                }
            }
            Err(failure) => Err(self.failed(&words, patience.whole, failure)),
        }
    }

    fn set_zero(&mut self) -> Result<TablePosition, TableError> {
        // Also greets a board anew that has started anew.
        let before = self.status()?;
        let status = self.act(words::SET_ZERO, Patience { whole: ANSWER_WAIT, silent: ANSWER_WAIT })?;
        if !status.known || status.place.step != 0 || status.zero == before.zero {
            return Err(TableError::Refused {
                word: words::SET_ZERO.to_owned(),
                reason: "it said ok but did not take the new zero; set zero again".to_owned(),
            });
        }
        Ok(self.told(&status))
    }

    fn find_index(&mut self) -> Result<TablePosition, TableError> {
        let before = self.status()?;
        self.hold(&before)?;
        // A turn to find the edge, short ways about it, and some of that slowly.
        let secs =
            INDEX_TURNS * self.facts.speeds.turn_secs(360.0).clamp(0.0, LONGEST_SECS as f64 / INDEX_TURNS);
        let patience = Patience { whole: Duration::from_secs_f64(secs) + SILENCE, silent: SILENCE };
        let status = self.act(words::FIND_INDEX, patience)?;
        if !status.known || status.zero == before.zero {
            return Err(TableError::Refused {
                word: words::FIND_INDEX.to_owned(),
                reason: "it said ok but took no position from the index; try again, or set zero by hand"
                    .to_owned(),
            });
        }
        Ok(self.told(&status))
    }

    fn fire_shutter(&mut self, press: Duration) -> Result<(), TableError> {
        self.refuse_after_restart()?;
        let words = words::press(press);
        if press > Duration::from_secs(LONGEST_SECS) {
            let reason = "a press lasts a day at most; choose a shorter exposure".to_owned();
            return Err(TableError::Refused { word: words, reason });
        }
        if !self.facts.has_shutter {
            let reason =
                "its settings name no shutter line; wire one, or fire the camera another way".to_owned();
            return Err(TableError::Refused { word: words, reason });
        }
        let whole = press + self.half_press + SILENCE;
        self.act(&words, Patience { whole, silent: SILENCE }).map(drop)
    }

    fn release(&mut self) -> Result<(), TableError> {
        // The coils are off anyway after a restart.
        self.refuse_after_restart()?;
        self.holding = false;
        self.act(words::RELEASE, Patience { whole: ANSWER_WAIT, silent: ANSWER_WAIT }).map(drop)
    }

    fn reconnect(&mut self) -> Result<TablePosition, TableError> {
        // Opening a port resets many boards, so a line that still answers is kept.
        let kept = self.exchange.is_some().then(|| self.greet_again());
        let status = if let Some(Ok(status)) = kept {
            status
        } else {
            // Dropped first: an exclusive port cannot be opened twice.
            self.exchange = None;
            self.open_again().inspect_err(|_| self.exchange = None)?
        };
        Ok(self.told(&status))
    }
}

fn open_port(ports: &dyn Ports, port: &str, baud: u32) -> Result<Exchange, TableError> {
    let wire =
        ports.open(port, baud).map_err(|reason| TableError::CannotOpen { port: port.to_owned(), reason })?;
    Ok(Exchange::new(wire))
}

fn usb_of(ports: &dyn Ports, port: &str) -> Option<UsbIdentity> {
    ports.list().into_iter().find(|note| note.name == port)?.usb
}

fn facts(port: &str, greeting: &Greeting) -> TableFacts {
    let steps = greeting.settings.steps_per_turn;
    let short = port.strip_prefix("/dev/").unwrap_or(port);
    TableFacts {
        name: format!("serial {short}, {}", greeting.version.program),
        steps_per_turn: steps,
        speeds: greeting.settings.rates.profile(steps),
        has_shutter: greeting.settings.has_shutter,
    }
}
