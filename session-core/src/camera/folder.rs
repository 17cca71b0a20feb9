//! A camera whose frames arrive in a folder, written by another program.
//!
//! A file is taken only once it is complete: it has stood still over two looks and its form shows its
//! end, or, for forms that do not, its writer has closed it. Files of one exposure (RAW and JPEG)
//! share a name stem. A file that may belong to an earlier stop is held, never moved to the next angle.

use std::collections::{BTreeSet, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use notify::event::{AccessKind, AccessMode, ModifyKind, RenameMode};
use notify::{EventKind, RecommendedWatcher, RecursiveMode, Watcher};

use super::sniff::{self, PictureKind};
use super::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
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
    watcher: Option<(RecommendedWatcher, Receiver<PathBuf>)>,
    /// Files that are not of the exposure under way, as they last looked.
    known: HashMap<PathBuf, Look>,
    /// Files that came before the shutter fired and may still be growing.
    strays: BTreeSet<PathBuf>,
    /// Files whose writer has closed them.
    closed: BTreeSet<PathBuf>,
    /// The extensions one exposure makes, once the first frame has shown them.
    pattern: Option<BTreeSet<String>>,
    /// A stop whose frame never came; it may still come late.
    unanswered: Option<u32>,
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
            closed: BTreeSet::new(),
            pattern: None,
            unanswered: None,
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
            if let Some(path) = done {
                let _ = sender.send(path);
            }
        });
        if let Ok(mut watcher) = watcher
            && watcher.watch(&self.folder, RecursiveMode::NonRecursive).is_ok()
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
            Ok(path) => {
                self.closed.insert(path);
                self.closed.extend(receiver.try_iter());
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => thread::sleep(LOOK_EVERY),
        }
    }

    /// Every picture file in the folder as it looks now.
    fn list(&self) -> Result<HashMap<PathBuf, Look>, CameraError> {
        let lost =
            |error: std::io::Error| CameraError::Lost(format!("folder {}: {error}", self.folder.display()));
        let mut files = HashMap::new();
        for entry in fs::read_dir(&self.folder).map_err(lost)? {
            let Ok(entry) = entry else { continue };
            let path = entry.path();
            let hidden = entry.file_name().to_string_lossy().starts_with('.');
            if hidden || !sniff::has_picture_extension(&path) {
                continue;
            }
            // A file may be renamed away between the two calls; then it is not there.
            if let Ok(meta) = fs::metadata(&path)
                && meta.is_file()
            {
                files.insert(path, Look { bytes: meta.len(), modified: meta.modified().ok() });
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
            let closed = self.closed.contains(&path);
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

    /// Decides on what has come so far: `Some` ends the wait.
    fn decide(
        &mut self,
        stop: u32,
        candidates: &HashMap<PathBuf, Candidate>,
        quiet: Duration,
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
        let stems: BTreeSet<String> = candidates.keys().map(|path| stem_of(path)).collect();
        let late_possible = self.unanswered.is_some_and(|missed| missed != stop);
        if late_possible {
            // Two exposures are out and their frames may come in either window: wait for both.
            if quiet < self.options.pair_wait {
                return None;
            }
            let missed = self.unanswered.replace(stop).unwrap_or_default();
            return Some(Err(CameraError::Failed(format!(
                "{} came, but stop {missed} before this one never got its frame, so it may be that one's; it is held in quarantine",
                names_of(candidates.keys())
            ))));
        }
        if stems.len() > 1 {
            if self.unanswered != Some(stop) {
                return (quiet >= LOOK_EVERY * 4).then(|| {
                    Err(CameraError::TooMany { count: stems.len(), names: names_of(candidates.keys()) })
                });
            }
            // A late frame of this same stop beside its retry: same angle, the newest is taken.
            let newest = candidates
                .iter()
                .max_by_key(|(_, candidate)| candidate.look.modified)
                .map(|(path, _)| stem_of(path))?;
            let (taken, rest): (Vec<PathBuf>, Vec<PathBuf>) =
                candidates.keys().cloned().partition(|path| stem_of(path) == newest);
            self.held.extend(rest.into_iter().map(Arrival::Foreign));
            return Some(Ok(taken));
        }
        let kinds: BTreeSet<String> =
            candidates.keys().filter_map(|path| sniff::extension_of(path)).collect();
        let complete = match &self.pattern {
            Some(pattern) if kinds.is_superset(pattern) => true,
            Some(_) => false,
            None => quiet >= self.options.pair_wait,
        };
        complete.then(|| Ok(candidates.keys().cloned().collect()))
    }

    fn give_up(
        &mut self,
        stop: u32,
        candidates: &HashMap<PathBuf, Candidate>,
        waited: Duration,
    ) -> CameraError {
        self.unanswered = Some(stop);
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
                return Err(self.give_up(request.stop, &candidates, started.elapsed()));
            }
            self.rest();
        }
    }
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
        match context.shutter.filter(|_| self.options.trigger == Trigger::TableElseHand) {
            None => self.wait_for_hand(request, context),
            Some(shutter) => {
                let opens = Instant::now();
                shutter.fire(self.options.press).map_err(CameraError::Failed)?;
                while opens.elapsed() < request.exposure {
                    if context.cancel.is_cancelled() {
                        self.unanswered = Some(request.stop);
                        return Err(CameraError::Cancelled);
                    }
                    thread::sleep((request.exposure.saturating_sub(opens.elapsed())).min(LOOK_EVERY));
                }
                Ok(())
            }
        }
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let started = Instant::now();
        let mut last_news = started;
        let mut candidates: HashMap<PathBuf, Candidate> = HashMap::new();
        let result = loop {
            if context.cancel.is_cancelled() {
                self.unanswered = Some(request.stop);
                break Err(CameraError::Cancelled);
            }
            let before = candidates.len();
            self.look(&mut candidates)?;
            if candidates.len() != before
                || candidates.values().any(|candidate| candidate.verdict != Verdict::Whole)
            {
                last_news = Instant::now();
            }
            if let Some(decision) = self.decide(request.stop, &candidates, last_news.elapsed()) {
                break decision;
            }
            if started.elapsed() >= self.options.frame_timeout {
                break Err(self.give_up(request.stop, &candidates, started.elapsed()));
            }
            self.rest();
        };
        for (path, candidate) in &candidates {
            self.known.insert(path.clone(), candidate.look.clone());
        }
        match result {
            Ok(paths) => {
                self.unanswered = None;
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
