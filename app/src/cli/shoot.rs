//! `roundstop shoot` and `roundstop retake`: a session on the command line.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use anyhow::Context;
use indicatif::{ProgressBar, ProgressStyle};
use session_core::engine::{Fault, FaultKind, Intent, Mode, PauseReason};
use session_core::journal::{SESSION_FILE, SessionFolder};
use session_core::runner::{self, RunOptions, SessionHandle};
use session_core::view::{SessionView, Update};

use super::{
    DeviceArgs, EXIT_FAULT, RetakeArgs, RunArgs, ShootArgs, fault, pick, status, tell_recovery, usage,
};
use crate::studio;

/// Runs `roundstop shoot`.
pub fn shoot(args: &ShootArgs) -> u8 {
    let folder = match open_for_shooting(args) {
        Ok(folder) => folder,
        Err(error) => return fault(&error),
    };
    run(folder, &args.devices, &args.run, Intent::Start)
}

fn open_for_shooting(args: &ShootArgs) -> anyhow::Result<SessionFolder> {
    let plan = super::read_plan(&args.plan)?;
    if args.replan && args.into.join(SESSION_FILE).exists() {
        let mut folder = SessionFolder::open(&args.into)?;
        folder.set_plan(plan)?;
        return Ok(folder);
    }
    Ok(SessionFolder::open_or_create(&args.into, &plan)?)
}

/// Runs `roundstop retake`.
pub fn retake(args: &RetakeArgs) -> u8 {
    let folder = match SessionFolder::open(&args.dir) {
        Ok(folder) => folder,
        Err(error) => return fault(&error.into()),
    };
    match pick::stops(&args.stops, folder.shots()) {
        Ok(stops) => run(folder, &args.devices, &args.run, Intent::Retake { stops }),
        Err(reason) => usage(&reason),
    }
}

/// The arguments of a run that no one has typed, with what they are when not typed.
#[derive(clap::Parser)]
struct Untyped {
    #[command(flatten)]
    devices: DeviceArgs,
    #[command(flatten)]
    run: RunArgs,
}

/// Shoots on simulated devices without waiting.
pub fn rehearse(folder: SessionFolder) -> u8 {
    let typed = ["rehearse", "--table", "sim", "--camera", "sim", "--sim-speed", "max"];
    match <Untyped as clap::Parser>::try_parse_from(typed) {
        Ok(args) => run(folder, &args.devices, &args.run, Intent::Start),
        Err(error) => fault(&error.into()),
    }
}

/// What the command line's own thread hears.
enum News {
    Update(Update),
    /// What the person typed after a question.
    Typed(String),
}

/// Shoots on a folder and gives the exit code.
pub fn run(folder: SessionFolder, devices: &DeviceArgs, run: &RunArgs, intent: Intent) -> u8 {
    match run_session(folder, devices, run, intent) {
        Ok(code) => code,
        Err(error) => fault(&error),
    }
}

fn run_session(
    folder: SessionFolder,
    devices: &DeviceArgs,
    run: &RunArgs,
    intent: Intent,
) -> anyhow::Result<u8> {
    tell_recovery(&folder);
    let root = folder.root().to_owned();
    // Asking makes sense only where someone can answer.
    let asks = !run.json && io::stdin().is_terminal() && io::stderr().is_terminal();
    let studio = studio::open(&devices.table, &devices.camera, &devices.options.studio())
        .map_err(anyhow::Error::msg)?;
    for note in studio.notes.iter().chain(&studio.settle_note(folder.plan())) {
        eprintln!("{note}");
    }
    let has_rows = folder.plan().rows.len() > 1;
    if has_rows && !asks {
        eprintln!(
            "The rows are shot one after another without a pause to set the camera, as no one can be asked here; run it on a terminal to be asked."
        );
    }
    let options = RunOptions {
        retries: run.retries,
        run_up: run.run_up.unwrap_or(studio.run_up()),
        pause_between_rows: asks && has_rows,
        settings_may_change: run.settings_may_change,
        on_flag: if asks { run.flag_policy() } else { run.flag_policy().unattended() },
        program: format!("roundstop {}", env!("CARGO_PKG_VERSION")),
    };
    let (sender, news) = channel();
    let own = sender.clone();
    let eyes = crate::checks::eyes();
    let tell = move |update| {
        let _ = own.send(News::Update(update));
    };
    let handle = runner::start(folder, studio.table, studio.camera, eyes, studio.clock, options, tell)
        .context("the session cannot begin")?;
    stop_on_signals(&handle);
    if run.zero_here {
        handle.send(Intent::ZeroIsHere);
    }
    handle.send(intent);

    let bar = bar(asks || io::stderr().is_terminal());
    let mut desk = Desk { bar, asks, sender, said: None, listens: false };
    let verdict = desk.follow(&news, &handle);
    let folder = handle.finish();
    desk.bar.finish_and_clear();
    // What became of frames that were still on their way.
    for message in news.try_iter() {
        if let News::Update(update) = message {
            desk.tell(&update);
        }
    }
    let status = match folder {
        Some(folder) => folder.status(),
        None => SessionFolder::read_status(&root)?,
    };
    if run.json {
        status::print_json(&status);
    } else {
        for sentence in status::flagged(&status) {
            println!("{sentence}");
        }
        println!("{} Frames are in {}", status::summary(&status), frames_of(&root));
    }
    Ok(match verdict {
        Verdict::Fault => EXIT_FAULT,
        Verdict::Ended => status::exit_code(&status),
    })
}

fn frames_of(root: &Path) -> String {
    root.join("frames").display().to_string()
}

/// The first Ctrl-C stops the table, a second one ends the wait for a frame, a third the program.
fn stop_on_signals(handle: &SessionHandle) {
    let intents = handle.sender();
    let asked = AtomicU8::new(0);
    // Fails only when a handler is set already, as in tests; then signals end the program as usual.
    let _ = ctrlc::set_handler(move || {
        if asked.fetch_add(1, Ordering::SeqCst) >= 2 {
            std::process::exit(i32::from(EXIT_FAULT));
        }
        intents.send(Intent::StopNow);
    });
}

fn bar(shown: bool) -> ProgressBar {
    let bar = if shown { ProgressBar::new(0) } else { ProgressBar::hidden() };
    if let Ok(style) = ProgressStyle::with_template("{pos}/{len} [{bar:30}] {msg}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}

enum Verdict {
    Ended,
    Fault,
}

/// A question that waits for the person's answer.
struct Question {
    about: About,
    words: String,
}

enum About {
    /// The camera is to be set for a row.
    Row,
    /// A stop's frame is flagged.
    Flag(u32),
    Fault(Fault),
}

impl About {
    /// What an answer asks for; `None` for one that is no answer.
    fn intents(&self, answer: &str) -> Option<Vec<Intent>> {
        let fault = match self {
            Self::Row => return answer.is_empty().then_some(vec![Intent::Resume]),
            Self::Flag(stop) => {
                return match answer {
                    "" => Some(vec![Intent::Resume]),
                    "r" => Some(vec![Intent::Retake { stops: vec![*stop] }, Intent::Resume]),
                    _ => None,
                };
            }
            Self::Fault(fault) => fault,
        };
        let one = match answer {
            "s" if !fault.kind.needs_the_table() => fault.stop.map(|stop| Intent::Skip { stop }),
            "z" if fault.kind == FaultKind::PositionUnknown => Some(Intent::ZeroIsHere),
            "n" if fault.kind == FaultKind::Settings => Some(Intent::GoOnWithSettings),
            "r" if fault.kind != FaultKind::PositionUnknown => Some(Intent::TryAgain),
            _ => None,
        };
        one.map(|intent| vec![intent])
    }
}

/// The person's side of a session on the command line.
struct Desk {
    bar: ProgressBar,
    asks: bool,
    sender: Sender<News>,
    /// The mode last spoken of, so that nothing is said twice.
    said: Option<Mode>,
    /// Whether a line is being waited for already.
    listens: bool,
}

impl Desk {
    /// Follows the session to its end, or to a fault that nobody is there to mend.
    fn follow(&mut self, news: &Receiver<News>, handle: &SessionHandle) -> Verdict {
        let mut open: Option<Question> = None;
        while let Ok(message) = news.recv() {
            match message {
                News::Update(Update::View(view)) => {
                    self.show(&view);
                    if self.said.as_ref() == Some(&view.mode) {
                        continue;
                    }
                    self.said = Some(view.mode.clone());
                    open = None;
                    match &view.mode {
                        Mode::Finished | Mode::Stopped => return Verdict::Ended,
                        Mode::Paused(PauseReason::NewRow { row }) => {
                            open =
                                Some(self.ask(Question { about: About::Row, words: row_words(&view, *row) }));
                        }
                        Mode::Paused(PauseReason::Flagged { stop }) => {
                            if !self.asks {
                                self.say(&format!(
                                    "Paused: the frame of stop {stop} is doubtful. {FLAG_HINT}"
                                ));
                                return Verdict::Fault;
                            }
                            let words = format!(
                                "Paused: the frame of stop {stop} is doubtful. See to it, then r = shoot it again, Enter = go on, q = quit:"
                            );
                            open = Some(self.ask(Question { about: About::Flag(*stop), words }));
                        }
                        Mode::Fault(found) => {
                            self.say(&format!("{}{}\n{}", at_stop(found), found.message, found.advice));
                            if !self.asks {
                                self.say(unattended_hint(found.kind));
                                return Verdict::Fault;
                            }
                            let words = fault_words(found.kind).to_owned();
                            open = Some(self.ask(Question { about: About::Fault(found.clone()), words }));
                        }
                        _ => {}
                    }
                }
                News::Update(Update::Ended) => return Verdict::Ended,
                News::Update(update) => self.tell(&update),
                News::Typed(answer) => {
                    self.listens = false;
                    let Some(question) = open.take() else { continue };
                    match (&question.about, question.about.intents(answer.trim())) {
                        (_, Some(intents)) => {
                            // Asked anew if it does not help, as when the camera is still busy.
                            self.said = None;
                            for intent in intents {
                                handle.send(intent);
                            }
                        }
                        (About::Row | About::Flag(_), None) if answer.trim() == "q" => return Verdict::Ended,
                        (About::Fault(_), None) if answer.trim() == "q" => return Verdict::Fault,
                        _ => open = Some(self.ask(question)),
                    }
                }
            }
        }
        Verdict::Ended
    }

    /// Tells what is news for the person.
    fn tell(&self, update: &Update) {
        match update {
            Update::Kept { stop, path, .. } => {
                if self.bar.is_hidden() {
                    eprintln!("stop {stop} kept: {}", session_core::file_name::of_path(path));
                }
            }
            Update::Flagged { stop, flags, again, .. } => {
                let then = if *again { "; it is shot again" } else { "" };
                for flag in flags {
                    self.say(&format!("stop {stop} doubtful: {flag}: {}{then}", flag.reason));
                }
            }
            Update::Failed { stop, reason } => self.say(&format!("stop {stop}: {reason}")),
            Update::Prompt { text, .. } => self.say(text),
            Update::View(_) | Update::Plate(_) | Update::Ended => {}
        }
    }

    fn show(&self, view: &SessionView) {
        self.bar.set_length(view.of_set().count() as u64);
        self.bar.set_position(view.kept() as u64);
        let doing = view.active_stop().map(|stop| {
            format!("stop {} at {}° {}", stop.index, stop.degrees_text, crate::words::activity(stop.activity))
        });
        let doing = doing.or(view.checking.then(|| "checking the frames".to_owned()));
        let left = view.secs_left.map(|secs| format!(", {} left", crate::words::duration(secs)));
        self.bar.set_message(format!("{}{}", doing.unwrap_or_default(), left.unwrap_or_default()));
    }

    fn say(&self, text: &str) {
        self.bar.suspend(|| eprintln!("{text}"));
    }

    /// Puts a question; the answer comes as news, so that the session is heard meanwhile.
    fn ask(&mut self, question: Question) -> Question {
        self.bar.suspend(|| {
            eprint!("{} ", question.words);
            let _ = io::stderr().flush();
        });
        if !std::mem::replace(&mut self.listens, true) {
            let sender = self.sender.clone();
            thread::spawn(move || {
                let mut line = String::new();
                let typed = match io::stdin().lock().read_line(&mut line) {
                    Ok(0) | Err(_) => "q".to_owned(),
                    Ok(_) => line,
                };
                let _ = sender.send(News::Typed(typed));
            });
        }
        question
    }
}

const FLAG_HINT: &str = "Every kept frame is safe. See to it, shoot the stop again with 'roundstop retake', or run the same command again to go on with the missing stops.";

fn row_words(view: &SessionView, row: usize) -> String {
    let Some(row) = view.rows.get(row) else { return "Press Enter to go on, q = quit:".to_owned() };
    let note = if row.tilt_note.is_empty() { String::new() } else { format!(" ({})", row.tilt_note) };
    format!("Row '{}' is next: set the camera for it{note}, then press Enter; q = quit:", row.name)
}

fn at_stop(fault: &Fault) -> String {
    fault.stop.map(|stop| format!("Stop {stop}: ")).unwrap_or_default()
}

fn fault_words(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::PositionUnknown => "z = the plate stands at 0° now, q = quit:",
        FaultKind::Camera => "r = try again, s = skip this stop for now, q = quit:",
        FaultKind::Table | FaultKind::Storage => "r = try again, q = quit:",
        FaultKind::Settings => {
            "r = it is put back, shoot again; n = go on with the new setting for the rest, q = quit:"
        }
    }
}

fn unattended_hint(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::PositionUnknown => {
            "Every kept frame is safe. Bring the product back to 0°, then run the same command with --zero-here."
        }
        FaultKind::Settings => {
            "Every kept frame is safe. Put the setting back and shoot the stop again with 'roundstop retake', or run the same command with --settings-may-change."
        }
        _ => "Every kept frame is safe. Run the same command again to go on with the missing stops.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_an_empty_line_goes_on_at_a_new_row() {
        assert_eq!(About::Row.intents(""), Some(vec![Intent::Resume]));
        for answer in ["q", "r", "no"] {
            assert_eq!(About::Row.intents(answer), None, "{answer}");
        }
    }
}
