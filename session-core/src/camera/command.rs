//! A camera that is a program: one run, one frame.
//!
//! The program is started without a shell, with the place for its file and the stop's angle filled
//! in. Its end is the end of the exposure.

use std::fs;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use super::sniff;
use super::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use crate::cancel::CancelToken;
use crate::file_name::of_path as shown;

const FIELDS: [&str; 7] = ["file", "stem", "degrees", "stop", "row", "sku", "shot"];
/// How often a running program is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(5);
/// How much of a program's complaint is shown, bytes.
const COMPLAINT_BYTES: u64 = 2000;
/// How much of the command is shown, characters.
const COMMAND_CHARS: usize = 120;

/// Takes frames by running a program.
#[derive(Debug)]
pub struct CommandCamera {
    words: Vec<String>,
    timeout: Duration,
    held: Vec<Arrival>,
}

impl CommandCamera {
    /// Builds a camera from a command line such as `my-camera --out {file} --at {degrees}`.
    ///
    /// Fields: `{file}` or, for a program that adds extensions itself, `{stem}` (one is required), `{degrees}`, `{stop}`, `{row}`, `{sku}`, `{shot}`. Quotes group words as in
    /// a POSIX shell; nothing else of a shell is there.
    ///
    /// # Errors
    /// [`CameraError::BadSetup`] when quotes do not close, no program is named, no field tells the place
    /// or a field is unknown.
    pub fn new(command: &str, timeout: Duration) -> Result<Self, CameraError> {
        let bad =
            |reason: &str| Err(CameraError::BadSetup(format!("the camera command '{command}' {reason}")));
        let Some(words) = shlex::split(command) else {
            return bad("has a quote that does not close");
        };
        if words.is_empty() {
            return bad("names no program");
        }
        for word in &words {
            if let Some(unknown) = fields_in(word).find(|field| !FIELDS.contains(field)) {
                return bad(&format!(
                    "has an unknown field {{{unknown}}}; known are {}",
                    FIELDS.map(|field| format!("{{{field}}}")).join(" ")
                ));
            }
        }
        if !words.iter().skip(1).any(|word| fields_in(word).any(|field| matches!(field, "file" | "stem"))) {
            return bad("has no {file} and no {stem}; the program must be told where to put its frame");
        }
        Ok(Self { words, timeout, held: Vec::new() })
    }

    fn program(&self) -> &str {
        &self.words[0]
    }

    /// The command as it was given, for messages.
    fn command(&self) -> String {
        let command = self.words.join(" ");
        if command.chars().count() <= COMMAND_CHARS {
            return command;
        }
        command.chars().take(COMMAND_CHARS).chain(std::iter::once('…')).collect()
    }

    fn start(&self, request: &ExposureRequest, output: &Output) -> Result<Child, CameraError> {
        let file = frame_path(request)?;
        let fill = |word: &String| {
            word.replace("{degrees}", &request.degrees_text)
                .replace("{stop}", &request.stop.to_string())
                .replace("{shot}", &request.shot.to_string())
                .replace("{row}", &request.row)
                .replace("{sku}", &request.sku)
                .replace("{stem}", &file.with_extension("").to_string_lossy())
                .replace("{file}", &file.to_string_lossy())
        };
        let failed = |error: std::io::Error| {
            CameraError::Failed(format!(
                "the camera command '{}' cannot be started: {error}; see that the program is there and may be run, or name another",
                self.command()
            ))
        };
        let mut command = Command::new(self.program());
        command
            .args(self.words[1..].iter().map(fill))
            .stdin(Stdio::null())
            .stdout(output.said.try_clone().map_err(failed)?)
            .stderr(output.complained.try_clone().map_err(failed)?);
        #[cfg(unix)]
        {
            use std::os::unix::process::CommandExt;
            // A group of its own, so that a hanging program goes with its children.
            command.process_group(0);
        }
        command.spawn().map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => CameraError::BadSetup(format!(
                "the camera program '{}' is not there; check its name and path",
                self.program()
            )),
            _ => failed(error),
        })
    }

    fn wait(&self, child: &mut Child, cancel: &CancelToken) -> Result<ExitStatus, CameraError> {
        let deadline = Instant::now() + self.timeout;
        loop {
            match child.try_wait() {
                Ok(Some(status)) => return Ok(status),
                Ok(None) => {}
                Err(error) => {
                    return Err(CameraError::Failed(format!(
                        "'{}' cannot be watched: {error}",
                        self.program()
                    )));
                }
            }
            if cancel.is_cancelled() {
                end(child);
                return Err(CameraError::Cancelled);
            }
            if Instant::now() >= deadline {
                end(child);
                return Err(CameraError::Failed(format!(
                    "'{}' did not end within {:.0} s and was stopped; check the camera, or allow more time",
                    self.program(),
                    self.timeout.as_secs_f64()
                )));
            }
            thread::sleep(LOOK_EVERY);
        }
    }

    /// Keeps whatever a failed run left for quarantine.
    fn hold_all(&mut self, inbox: &Path) {
        self.held.extend(files_in(inbox).into_iter().map(Arrival::Inbox));
    }
}

impl Camera for CommandCamera {
    fn name(&self) -> String {
        format!("command {}", self.program())
    }

    fn probe(&mut self) -> Result<(), CameraError> {
        Ok(())
    }

    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        let mut output = Output::new()?;
        let mut child = self.start(request, &output)?;
        let result = self.wait(&mut child, context.cancel).and_then(|status| {
            if status.success() {
                return Ok(());
            }
            let last_words = match output.last_words() {
                Some(line) => format!("and said: {line}"),
                None => "without a word".to_owned(),
            };
            Err(CameraError::Failed(format!(
                "the camera command '{}' {} {last_words}; run it in a terminal to see more, or give another command",
                self.command(),
                ending(status)
            )))
        });
        if result.is_err() {
            self.hold_all(&request.inbox);
        }
        result
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        _: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let wanted = frame_path(request)?;
        let files = files_in(&request.inbox);
        let stem = wanted.file_stem();
        let result = if files.iter().any(|file| file.file_stem() != stem) {
            let names: Vec<String> = files.iter().map(|file| shown(file)).collect();
            Err(CameraError::TooMany { count: files.len(), names: names.join(", ") })
        } else if files.is_empty() {
            Err(CameraError::Failed(format!(
                "'{}' ended without an error but wrote no file to {{file}}; check that it writes where it is told",
                self.program()
            )))
        } else {
            files.iter().try_for_each(|file| is_whole(file))
        };
        match result {
            Ok(()) => Ok(files.into_iter().map(Arrival::Inbox).collect()),
            Err(error) => {
                self.hold_all(&request.inbox);
                Err(error)
            }
        }
    }

    fn patience(&self) -> Duration {
        self.timeout
    }

    fn take_held(&mut self) -> Vec<Arrival> {
        std::mem::take(&mut self.held)
    }
}

/// The place the program writes to: absolute, since it may change its folder.
fn frame_path(request: &ExposureRequest) -> Result<PathBuf, CameraError> {
    let inbox = std::path::absolute(&request.inbox)
        .map_err(|error| CameraError::Failed(format!("{}: {error}", request.inbox.display())))?;
    Ok(inbox.join(format!("frame-{:06}.jpg", request.shot)))
}

fn is_whole(file: &Path) -> Result<(), CameraError> {
    let bad = |reason: String| CameraError::BadFile { file: shown(file), reason };
    let bytes = fs::read(file).map_err(|error| bad(error.to_string()))?;
    sniff::inspect(&bytes, file).map(drop).map_err(|reason| bad(reason.to_string()))
}

fn files_in(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| path.is_file())
        .collect();
    files.sort();
    files
}

/// Names of `{fields}` in a word: lower-case letters in braces.
fn fields_in(word: &str) -> impl Iterator<Item = &str> {
    word.split('{')
        .skip(1)
        .filter_map(|rest| rest.split_once('}'))
        .map(|(field, _)| field)
        .filter(|field| !field.is_empty() && field.bytes().all(|byte| byte.is_ascii_lowercase()))
}

/// Where a program's output goes.
struct Output {
    said: fs::File,
    complained: fs::File,
}

impl Output {
    fn new() -> Result<Self, CameraError> {
        let file = || {
            tempfile::tempfile().map_err(|error| {
                CameraError::Failed(format!(
                    "no temporary file for the camera command's output: {error}; make room in the system's temporary folder"
                ))
            })
        };
        Ok(Self { said: file()?, complained: file()? })
    }

    /// The last line of what the program complained of, else of what it said.
    fn last_words(&mut self) -> Option<String> {
        last_line(&mut self.complained).or_else(|| last_line(&mut self.said))
    }
}

fn last_line(output: &mut fs::File) -> Option<String> {
    let length = output.seek(SeekFrom::End(0)).ok()?;
    let mut said = Vec::new();
    output.seek(SeekFrom::Start(length.saturating_sub(COMPLAINT_BYTES))).ok()?;
    output.read_to_end(&mut said).ok()?;
    let said = String::from_utf8_lossy(&said);
    let line = said.lines().rev().map(str::trim).find(|line| !line.is_empty())?;
    Some(line.trim_end_matches('.').to_owned())
}

/// How a program ended, in words.
fn ending(status: ExitStatus) -> String {
    #[cfg(unix)]
    {
        use std::os::unix::process::ExitStatusExt;
        if let Some(signal) = status.signal() {
            return format!("was ended by signal {signal}");
        }
    }
    status.code().map_or_else(|| "failed".to_owned(), |code| format!("failed with exit code {code}"))
}

/// Ends a program with its children and takes it off the process table.
fn end(child: &mut Child) {
    #[cfg(unix)]
    if let Some(group) = i32::try_from(child.id()).ok().and_then(rustix::process::Pid::from_raw) {
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
    }
    let _ = child.kill();
    let _ = child.wait();
}
