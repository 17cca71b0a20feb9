//! The first words to a controller of another dialect.

use std::time::Duration;

use super::Dialect;
use super::line::{DialectLine, Fault, Heard};

/// How long a line may take that moves nothing.
pub(super) const ANSWER_WAIT: Duration = Duration::from_secs(3);
/// How often a board that is still starting is asked.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// How long a line must be quiet for no late answer to come.
pub(super) const QUIET: Duration = Duration::from_millis(300);
/// How long a move that was under way may still take when a session begins.
const REST_WAIT: Duration = Duration::from_secs(30);

/// Passes the time; news of a restart or an alarm ends it.
pub(super) fn wait(
    line: &mut DialectLine,
    dialect: &Dialect,
    until: Duration,
    interrupt: &dyn Fn() -> bool,
) -> Result<(), Fault> {
    while let Some(heard) = line.next(dialect, until, interrupt)? {
        match heard {
            Heard::Banner(text) => return Err(Fault::Restarted(text)),
            Heard::Alarm(text) => return Err(Fault::Alarm(text)),
            _ => {}
        }
    }
    Ok(())
}

/// Waits until the controller answers and rests, sends the opening words, and gives what it reports at zero.
///
/// [`Fault::Interrupted`] stands for a controller that is still moving.
pub(super) fn opening_words(
    line: &mut DialectLine,
    dialect: &Dialect,
    deadline: Duration,
) -> Result<f64, Fault> {
    let in_alarm = match first_answer(line, dialect, deadline) {
        Err(Fault::Alarm(text)) => Some(text),
        answer => answer.map(|()| None)?,
    };
    // Questions asked while it was starting may have been kept: their answers are not those of later lines.
    line.settle(dialect, QUIET, ANSWER_WAIT)?;
    line.forget_owed();
    let mut send = |words: &str| line.ask(dialect, words, ANSWER_WAIT, &|| false, &mut |_| {});
    if let Some(text) = in_alarm {
        match &dialect.clear_alarm {
            Some(words) => send(words)?,
            None => return Err(Fault::Alarm(text)),
        }
    }
    for words in &dialect.start_words {
        send(words)?;
    }
    if let Some(words) = dialect.sync_line() {
        line.ask(dialect, words, REST_WAIT, &|| false, &mut |_| {}).map_err(|fault| match fault {
            Fault::Silent => Fault::Interrupted,
            fault => fault,
        })?;
    }
    let until = line.now() + REST_WAIT;
    while line.report(dialect, ANSWER_WAIT, &|| false)?.is_some_and(|report| !report.idle) {
        if line.now() >= until {
            return Err(Fault::Interrupted);
        }
        let next = line.now() + dialect.poll_every();
        wait(line, dialect, next, &|| false)?;
    }
    line.ask(dialect, &dialect.zero_line(), ANSWER_WAIT, &|| false, &mut |_| {})?;
    if let Some(words) = dialect.sync_line() {
        line.ask(dialect, words, ANSWER_WAIT, &|| false, &mut |_| {})?;
    }
    Ok(line.report(dialect, ANSWER_WAIT, &|| false)?.map_or(0.0, |report| report.units))
}

/// Asks what moves nothing until anything of this dialect answers.
fn first_answer(line: &mut DialectLine, dialect: &Dialect, deadline: Duration) -> Result<(), Fault> {
    line.settle(dialect, QUIET, ASK_EVERY)?;
    while line.now() < deadline {
        line.forget_owed();
        let wait = ASK_EVERY.min(deadline.saturating_sub(line.now()));
        let answer = if dialect.status.is_some() {
            line.report(dialect, wait, &|| false).map(drop)
        } else {
            // Absolute angles: they stand in every move as well.
            line.ask(dialect, "G90", wait, &|| false, &mut |_| {})
        };
        match answer {
            Err(Fault::Silent) => {}
            // It is ready now; what was sent before is lost.
            Err(Fault::Restarted(_)) => line.settle(dialect, QUIET, ANSWER_WAIT)?,
            answer => return answer,
        }
    }
    Err(Fault::Silent)
}
