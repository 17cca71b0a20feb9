//! A camera whose frames arrive in a folder, written by another program.
//!
//! A file is taken only once it is complete: it has stood still over two looks and its form shows its
//! end, or, for forms that do not, its writer has closed it. Files of one exposure (RAW and JPEG)
//! share a name stem. Sub-folders count too: cameras open a new one now and then. A file
//! that may belong to an earlier stop is held, never moved to the next angle: while an exposure has no
//! frame, the next one waits until as many frames have come as were fired. A frame that is later than
//! that whole wait, beside its own, counts as lost.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use notify::event::{AccessKind, AccessMode, ModifyKind, RenameMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher};

use super::picture_files;
use super::sniff::{self, PictureKind};
use super::{Arrival, Camera, CameraContext, CameraError, ExposureRequest, ShutterLine};
use crate::cancel::CancelToken;
use crate::file_name::of_path as shown;

/// Who fires the shutter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Trigger {
    /// The table's shutter word where the table has one, else a person.
    #[default]
    TableElseHand,
    /// Always a person, asked by a prompt.
    Hand,
}

/// Waits of the folder camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FolderOptions {
    /// Who fires the shutter.
    pub trigger: Trigger,
    /// How long a frame may take from the end of the exposure to complete.
    pub frame_timeout: Duration,
    /// How long a person may take to fire.
    pub hand_timeout: Duration,
    /// How long to wait for a second file after the first frame's first file; later frames are taken
    /// as soon as the same kinds of files have come.
    pub pair_wait: Duration,
    /// How long a file must stand still when neither its form nor the system tells that it is whole.
    pub still_time: Duration,
    /// How long the table's shutter contact is pressed.
    pub press: Duration,
}

impl Default for FolderOptions {
    fn default() -> Self {
        Self {
            trigger: Trigger::default(),
            frame_timeout: Duration::from_secs(30),
            hand_timeout: Duration::from_secs(600),
            pair_wait: Duration::from_millis(2500),
            still_time: Duration::from_secs(2),
            press: Duration::from_millis(200),
        }
    }
}

/// The pause between two looks at the folder; a file must stand still over two.
const LOOK_EVERY: Duration = Duration::from_millis(60);
/// A closed file that is still no picture after this long will not become one.
const HOPELESS: Duration = Duration::from_secs(2);

/// What a file looked like at one look.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Look {
    bytes: u64,
    modified: Option<SystemTime>,
}

impl Look {
    /// Looks at a file; `None` when it is none, or is gone.
    fn at(path: &Path) -> Option<Self> {
        let meta = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
        Some(Self { bytes: meta.len(), modified: meta.modified().ok() })
    }
}

/// A new file under watch.
#[derive(Debug)]
struct Candidate {
    look: Look,
    /// When it last changed.
    since: Instant,
    closed: bool,
    verdict: Verdict,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Verdict {
    Unknown,
    Whole,
    NotYet(String),
}

/// Takes frames from a watched folder.
#[derive(Debug)]
pub struct FolderCamera {
    folder: PathBuf,
    options: FolderOptions,
    /// Wakes the wait; without it (network shares) looking alone does.
    watcher: Option<(RecommendedWatcher, Receiver<(PathBuf, Look)>)>,
    /// Files that are not of the exposure under way, as they last looked.
    known: HashMap<PathBuf, Look>,
    /// Files that came before the shutter fired and may still be growing.
    strays: BTreeSet<PathBuf>,
    /// Files as they looked when their writer closed them; opened and written again, they look different.
    closed: HashMap<PathBuf, Look>,
    /// The extensions one exposure makes, once the first frame has shown them.
    pattern: Option<BTreeSet<String>>,
    /// Stops of exposures, one each, whose frame has not come; it may still come late.
    unanswered: Vec<u32>,
    held: Vec<Arrival>,
}

impl FolderCamera {
    /// Builds a camera on a folder; files that are there before [`Camera::probe`] are not frames.
    pub fn new(folder: PathBuf, options: FolderOptions) -> Self {
        Self {
            folder,
            options,
            watcher: None,
            known: HashMap::new(),
            strays: BTreeSet::new(),
            closed: HashMap::new(),
            pattern: None,
            unanswered: Vec::new(),
            held: Vec::new(),
        }
    }

    fn watch(&mut self) {
        let (sender, receiver) = channel();
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            let Ok(event) = event else { return };
            // Closed after writing, or renamed to its final name.
            let done = match event.kind {
                EventKind::Access(AccessKind::Close(AccessMode::Write))
                | EventKind::Modify(ModifyKind::Name(RenameMode::To)) => event.paths.last().cloned(),
                EventKind::Modify(ModifyKind::Name(RenameMode::Both)) => event.paths.get(1).cloned(),
                _ => None,
            };
            if let Some(path) = done
                && let Some(look) = Look::at(&path)
            {
                let _ = sender.send((path, look));
            }
        });
        if let Ok(mut watcher) = watcher
            && watcher.watch(&self.folder, RecursiveMode::Recursive).is_ok()
        {
            self.watcher = Some((watcher, receiver));
        }
    }

    /// Waits one look's time, or less when the system says that a file is done.
    fn rest(&mut self) {
        let Some((_, receiver)) = &self.watcher else {
            thread::sleep(LOOK_EVERY);
            return;
        };
        match receiver.recv_timeout(LOOK_EVERY) {
            Ok((path, look)) => {
                self.closed.insert(path, look);
                self.closed.extend(receiver.try_iter());
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => thread::sleep(LOOK_EVERY),
        }
    }

    /// Every picture file below the folder as it looks now.
    fn list(&self) -> Result<HashMap<PathBuf, Look>, CameraError> {
        let lost =
            |error: std::io::Error| CameraError::Lost(format!("folder {}: {error}", self.folder.display()));
        let mut files = HashMap::new();
        for path in picture_files::below(&self.folder).map_err(lost)? {
            // A file may be renamed away between the two calls; then it is not there.
            if let Some(look) = Look::at(&path) {
                files.insert(path, look);
            }
        }
        Ok(files)
    }

    /// Files that are there before the shutter fires are not of this exposure: they came late.
    fn set_strays_aside(&mut self) -> Result<(), CameraError> {
        let files = self.list()?;
        self.strays.retain(|path| files.contains_key(path));
        for path in files.keys().filter(|path| !self.known.contains_key(*path)) {
            self.held.push(Arrival::Foreign(path.clone()));
            self.strays.insert(path.clone());
        }
        self.known = files;
        Ok(())
    }

    /// Looks once and brings the candidates up to date.
    fn look(&mut self, candidates: &mut HashMap<PathBuf, Candidate>) -> Result<(), CameraError> {
        let now = Instant::now();
        let files = self.list()?;
        candidates.retain(|path, _| files.contains_key(path));
        for (path, look) in files {
            if self.known.get(&path) == Some(&look) || self.strays.contains(&path) {
                continue;
            }
            let closed = self.closed.get(&path) == Some(&look);
            let candidate = candidates.entry(path.clone()).or_insert_with(|| Candidate {
                look: look.clone(),
                since: now,
                closed,
                verdict: Verdict::Unknown,
            });
            candidate.closed = closed;
            if candidate.look != look {
                candidate.look = look;
                candidate.since = now;
                candidate.verdict = Verdict::Unknown;
            }
            let still = now.duration_since(candidate.since);
            if candidate.verdict != Verdict::Whole && still >= LOOK_EVERY {
                candidate.verdict = self.judge(&path, candidate.closed, still);
            }
        }
        Ok(())
    }

    fn judge(&self, path: &Path, closed: bool, still: Duration) -> Verdict {
        let Ok(bytes) = fs::read(path) else { return Verdict::Unknown };
        match sniff::inspect(&bytes, path) {
            Ok(kind) if kind.shows_its_end() || closed || still >= self.options.still_time => Verdict::Whole,
            Ok(PictureKind::IsoMedia) if still >= self.options.still_time / 2 => Verdict::Whole,
            Ok(_) => Verdict::Unknown,
            Err(reason) => Verdict::NotYet(reason.to_string()),
        }
    }

    /// Decides on what has come so far: `Some` ends the wait, and no exposure is unanswered any more.
    ///
    /// `quiet` is how long nothing has changed; `last` tells that the wait ends with this look.
    fn decide(
        &mut self,
        stop: u32,
        candidates: &HashMap<PathBuf, Candidate>,
        quiet: Duration,
        last: bool,
    ) -> Option<Result<Vec<PathBuf>, CameraError>> {
        if let Some((path, reason)) =
            candidates.iter().find_map(|(path, candidate)| match &candidate.verdict {
                Verdict::NotYet(reason) if candidate.closed && candidate.since.elapsed() >= HOPELESS => {
                    Some((path, reason))
                }
                _ => None,
            })
        {
            return Some(Err(CameraError::BadFile { file: shown(path), reason: reason.clone() }));
        }
        if candidates.is_empty() || candidates.values().any(|candidate| candidate.verdict != Verdict::Whole) {
            return None;
        }
        let mut frames: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
        for path in candidates.keys() {
            frames.entry(stem_of(path)).or_default().push(path.clone());
        }
        let complete = frames.values().all(|files| match &self.pattern {
            Some(pattern) => files
                .iter()
                .filter_map(|path| sniff::extension_of(path))
                .collect::<BTreeSet<_>>()
                .is_superset(pattern),
            None => quiet >= self.options.pair_wait,
        });
        let fired = self.unanswered.len() + 1;
        let enough = frames.len() > fired || (frames.len() == fired && complete);
        let waited_out = last && fired > 1;
        if !(enough || waited_out) {
            return None;
        }
        let others: BTreeSet<u32> =
            self.unanswered.iter().copied().filter(|missed| *missed != stop).collect();
        if !others.is_empty() {
            let others: Vec<String> = others.iter().map(u32::to_string).collect();
            return Some(Err(CameraError::Failed(format!(
                "{} came, but an exposure at stop {} before this one had no frame yet, so no one can say which stop this is of; it is held in quarantine",
                names_of(candidates.keys()),
                others.join(" and ")
            ))));
        }
        if frames.len() > fired {
            return (last || quiet >= LOOK_EVERY * 4).then(|| {
                Err(CameraError::TooMany { count: frames.len(), names: names_of(candidates.keys()) })
            });
        }
        if !complete {
            return None;
        }
        // Late frames of this same stop beside its retry have the same angle: the newest is taken.
        let newest = frames.iter().max_by_key(|(_, files)| {
            files.iter().filter_map(|path| candidates.get(path)?.look.modified).max()
        });
        let stem = newest.map(|(stem, _)| stem.clone())?;
        let taken = frames.remove(&stem)?;
        self.held.extend(frames.into_values().flatten().map(Arrival::Foreign));
        Some(Ok(taken))
    }

    fn give_up(&self, candidates: &HashMap<PathBuf, Candidate>, waited: Duration) -> CameraError {
        let detail = match candidates.iter().next() {
            None => "; check that the camera saves into this folder and that its shutter fires".to_owned(),
            Some((path, Candidate { verdict: Verdict::NotYet(reason), .. })) => {
                format!(": {} is there, but {reason}", shown(path))
            }
            Some((path, Candidate { verdict: Verdict::Unknown, .. })) => {
                format!(": {} is still being written", shown(path))
            }
            Some(_) => format!(
                ": {} came, but earlier frames had {} each; one file of the pair is missing",
                names_of(candidates.keys()),
                self.pattern.iter().flatten().cloned().collect::<Vec<_>>().join(" and ")
            ),
        };
        CameraError::NoFrame {
            from: format!("folder {}", self.folder.display()),
            secs: waited.as_secs_f64(),
            detail,
        }
    }

    fn wait_for_hand(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<(), CameraError> {
        (context.prompt)(format!(
            "Fire the shutter now for stop {} at {}°.",
            request.stop, request.degrees_text
        ));
        let started = Instant::now();
        loop {
            if context.cancel.is_cancelled() {
                return Err(CameraError::Cancelled);
            }
            let mut candidates = HashMap::new();
            self.look(&mut candidates)?;
            if !candidates.is_empty() {
                return Ok(());
            }
            if started.elapsed() >= self.options.hand_timeout {
                return Err(self.give_up(&candidates, started.elapsed()));
            }
            self.rest();
        }
    }

    /// Waits for the exposure's frame: the decision on what came, or why there is none.
    fn wait_for_frame(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
        candidates: &mut HashMap<PathBuf, Candidate>,
    ) -> Result<Result<Vec<PathBuf>, CameraError>, CameraError> {
        let started = Instant::now();
        let mut last_news = started;
        loop {
            if context.cancel.is_cancelled() {
                return Err(CameraError::Cancelled);
            }
            let before = candidates.len();
            self.look(candidates)?;
            if candidates.len() != before
                || candidates.values().any(|candidate| candidate.verdict != Verdict::Whole)
            {
                last_news = Instant::now();
            }
            let last = started.elapsed() >= self.options.frame_timeout;
            if let Some(decision) = self.decide(request.stop, candidates, last_news.elapsed(), last) {
                return Ok(decision);
            }
            if last {
                return Err(self.give_up(candidates, started.elapsed()));
            }
            self.rest();
        }
    }
}

/// Fires over the table's line and waits out the exposure.
fn fire(
    shutter: &dyn ShutterLine,
    press: Duration,
    exposure: Duration,
    cancel: &CancelToken,
) -> Result<(), CameraError> {
    let opens = Instant::now();
    shutter.fire(press).map_err(CameraError::Failed)?;
    while opens.elapsed() < exposure {
        if cancel.is_cancelled() {
            return Err(CameraError::Cancelled);
        }
        thread::sleep((exposure.saturating_sub(opens.elapsed())).min(LOOK_EVERY));
    }
    Ok(())
}

impl Camera for FolderCamera {
    fn name(&self) -> String {
        format!("folder {}", self.folder.display())
    }

    fn probe(&mut self) -> Result<(), CameraError> {
        if !self.folder.is_dir() {
            return Err(CameraError::BadSetup(format!(
                "the folder {} that frames should arrive in is not there; make it, or name another",
                self.folder.display()
            )));
        }
        if self.watcher.is_none() {
            self.watch();
        }
        self.known = self.list()?;
        Ok(())
    }

    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        self.set_strays_aside()?;
        let fired = match context.shutter.filter(|_| self.options.trigger == Trigger::TableElseHand) {
            None => self.wait_for_hand(request, context),
            Some(shutter) => fire(shutter, self.options.press, request.exposure, context.cancel),
        };
        if fired.is_err() {
            // It may have fired all the same: a table that does not answer, a hand that was quicker.
            self.unanswered.push(request.stop);
        }
        fired
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let mut candidates = HashMap::new();
        let answer = self.wait_for_frame(request, context, &mut candidates);
        for (path, candidate) in &candidates {
            self.known.insert(path.clone(), candidate.look.clone());
        }
        match &answer {
            // A spoilt file answers one exposure, and with several out no one can say which.
            Ok(Err(CameraError::BadFile { .. })) if !self.unanswered.is_empty() => {
                self.unanswered.push(request.stop);
            }
            Ok(_) => self.unanswered.clear(),
            Err(_) => self.unanswered.push(request.stop),
        }
        match answer.flatten() {
            Ok(paths) => {
                self.pattern = Some(paths.iter().filter_map(|path| sniff::extension_of(path)).collect());
                Ok(paths.into_iter().map(Arrival::Foreign).collect())
            }
            Err(error) => {
                self.held.extend(candidates.into_keys().map(Arrival::Foreign));
                Err(error)
            }
        }
    }

    fn patience(&self) -> Duration {
        self.options.hand_timeout + self.options.frame_timeout
    }

    fn take_held(&mut self) -> Vec<Arrival> {
        std::mem::take(&mut self.held)
    }
}

fn stem_of(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().to_lowercase()
}

fn names_of<'a>(paths: impl Iterator<Item = &'a PathBuf>) -> String {
    let mut names: Vec<String> = paths.map(|path| shown(path)).collect();
    names.sort();
    names.join(", ")
}
