//! `roundstop shoot` and `roundstop retake`: a session on the command line.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use anyhow::Context;
use indicatif::{ProgressBar, ProgressStyle};
use session_core::engine::{Fault, FaultKind, Intent, Mode, PauseReason};
use session_core::journal::SessionFolder;
use session_core::runner::{self, RunOptions, SessionHandle};
use session_core::view::{SessionView, Update};

use super::{DeviceArgs, EXIT_FAULT, RetakeArgs, RunArgs, ShootArgs, fault, pick, status, usage};
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
    if args.replan && args.into.join("session.json").exists() {
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
    match pick::stops(&args.stops, folder.stops()) {
        Ok(stops) => run(folder, &args.devices, &args.run, Intent::Retake { stops }),
        Err(reason) => usage(&reason),
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
    for sentence in folder.recovery().sentences() {
        eprintln!("{sentence}");
    }
    let root = folder.root().to_owned();
    // Asking makes sense only where someone can answer.
    let asks = !run.json && io::stdin().is_terminal() && io::stderr().is_terminal();
    let studio = studio::open(&devices.table, &devices.camera, &devices.options.studio())
        .map_err(anyhow::Error::msg)?;
    for note in studio.notes.iter().chain(&studio.settle_note(folder.plan().settle_secs)) {
        eprintln!("{note}");
    }
    let options = RunOptions {
        retries: run.retries,
        run_up_deg: run.run_up.unwrap_or(studio.run_up_deg()),
        pause_between_rows: asks && folder.plan().rows.len() > 1,
        settings_may_change: run.settings_may_change,
        program: format!("roundstop {}", env!("CARGO_PKG_VERSION")),
    };
    let (sender, news) = channel();
    let own = sender.clone();
    let handle = runner::start(folder, studio.table, studio.camera, studio.clock, options, move |update| {
        let _ = own.send(News::Update(update));
    })
    .context("the session cannot begin")?;
    stop_on_signals(&handle);
    if run.zero_here {
        handle.send(Intent::ZeroIsHere);
    }
    handle.send(intent);

    let mut desk = Desk { bar: bar(asks || io::stderr().is_terminal()), asks, sender, said: None };
    let verdict = desk.follow(&news, &handle);
    let folder = handle.finish();
    desk.bar.finish_and_clear();
    let status = match folder {
        Some(folder) => folder.status(),
        None => SessionFolder::read_status(&root)?,
    };
    if run.json {
        status::print_json(&status);
    } else {
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
    let asked = Arc::new(AtomicBool::new(false));
    let again = Arc::new(AtomicBool::new(false));
    // Fails only when a handler is set already, as in tests; then signals end the program as usual.
    let _ = ctrlc::set_handler(move || {
        if asked.swap(true, Ordering::SeqCst) && again.swap(true, Ordering::SeqCst) {
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

/// The person's side of a session on the command line.
struct Desk {
    bar: ProgressBar,
    asks: bool,
    sender: Sender<News>,
    /// The mode last spoken of, so that nothing is said twice.
    said: Option<Mode>,
}

impl Desk {
    /// Follows the session to its end, or to a fault that nobody is there to mend.
    fn follow(&mut self, news: &Receiver<News>, handle: &SessionHandle) -> Verdict {
        let mut fault: Option<Fault> = None;
        while let Ok(message) = news.recv() {
            match message {
                News::Update(Update::View(view)) => {
                    self.show(&view);
                    if self.said.as_ref() == Some(&view.mode) {
                        continue;
                    }
                    self.said = Some(view.mode.clone());
                    match &view.mode {
                        Mode::Finished | Mode::Stopped => return Verdict::Ended,
                        Mode::Paused(PauseReason::NewRow { row }) => self.ask_for_row(&view, *row),
                        Mode::Fault(found) => {
                            self.say(&format!("{}{}\n{}", at_stop(found), found.message, found.advice));
                            if !self.asks {
                                self.say(unattended_hint(found.kind));
                                return Verdict::Fault;
                            }
                            fault = Some(found.clone());
                            self.ask(question(found.kind));
                        }
                        _ => {}
                    }
                }
                News::Update(Update::Kept { stop, path, .. }) => {
                    if self.bar.is_hidden() {
                        let name = session_core::file_name::of_path(&path);
                        eprintln!("stop {stop} kept: {name}");
                    }
                }
                News::Update(Update::Failed { stop, reason }) => self.say(&format!("stop {stop}: {reason}")),
                News::Update(Update::Prompt(text)) => self.say(&text),
                News::Update(Update::Plate(_)) => {}
                News::Update(Update::Ended) => return Verdict::Ended,
                News::Typed(answer) => match (fault.take(), answer.trim()) {
                    (None, _) => handle.send(Intent::Resume),
                    (Some(_), "q") => return Verdict::Fault,
                    (Some(found), "s") if !found.kind.needs_the_table() => {
                        if let Some(stop) = found.stop {
                            handle.send(Intent::Skip { stop });
                        }
                    }
                    (Some(found), "z") if found.kind == FaultKind::PositionUnknown => {
                        handle.send(Intent::ZeroIsHere);
                    }
                    (Some(found), "n") if found.kind == FaultKind::Settings => {
                        handle.send(Intent::GoOnWithSettings);
                    }
                    (Some(found), "r") if found.kind != FaultKind::PositionUnknown => {
                        self.said = None;
                        handle.send(Intent::TryAgain);
                    }
                    (Some(found), _) => {
                        self.ask(question(found.kind));
                        fault = Some(found);
                    }
                },
            }
        }
        Verdict::Ended
    }

    fn show(&self, view: &SessionView) {
        self.bar.set_length(view.stops.len() as u64);
        self.bar.set_position(view.kept() as u64);
        let doing = view.active_stop().map(|stop| {
            format!("stop {} at {}° {}", stop.index, stop.degrees_text, crate::words::activity(stop.activity))
        });
        let left = view.secs_left.map(|secs| format!(", {} left", crate::words::duration(secs)));
        self.bar.set_message(format!("{}{}", doing.unwrap_or_default(), left.unwrap_or_default()));
    }

    fn say(&self, text: &str) {
        self.bar.suspend(|| eprintln!("{text}"));
    }

    fn ask_for_row(&self, view: &SessionView, row: usize) {
        let Some(row) = view.rows.get(row) else { return };
        let note = if row.tilt_note.is_empty() { String::new() } else { format!(" ({})", row.tilt_note) };
        self.ask(&format!("Row '{}' is next: set the camera for it{note}, then press Enter.", row.name));
    }

    /// Puts a question; the answer comes as news, so that the session is heard meanwhile.
    fn ask(&self, question: &str) {
        self.bar.suspend(|| {
            eprint!("{question} ");
            let _ = io::stderr().flush();
        });
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
}

fn at_stop(fault: &Fault) -> String {
    fault.stop.map(|stop| format!("Stop {stop}: ")).unwrap_or_default()
}

fn question(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::PositionUnknown => "z = the plate stands at 0° now, q = quit:",
        FaultKind::Camera => "r = try again, s = leave this stop out, q = quit:",
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
