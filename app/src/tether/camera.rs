//! The tethered camera as the session sees it: when an exposure has ended, which files are its own, whether
//! they are whole.

use std::collections::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use session_core::camera::settings::CameraSettings;
use session_core::camera::{Arrival, Camera, CameraContext, CameraError, ExposureRequest, sniff};
use session_core::cancel::CancelToken;

use super::heard::{Heard, stem};
use super::link::inbox_name;
use super::remote::{LONGEST_TRIGGER, Remote};
use super::wire::{CardFile, Setting, State};
use super::{CameraReport, SETTINGS, ShownSetting, TetherOptions};

/// How long each wait for events is; also how soon a request to stop is seen.
const EVENTS: Duration = Duration::from_millis(100);
/// From the trigger to the shutter's opening, where the camera tells of neither (common practice, no source).
const SHUTTER_LAG: Duration = Duration::from_secs(2);
/// How long to wait for another file of the first exposure; later ones end as soon as as many have come.
const PAIR_WAIT: Duration = Duration::from_millis(2500);
/// How often a file is asked for when it comes cut short or the line drops.
const COPY_TRIES: usize = 3;
/// Battery and room are looked at once in so many exposures.
const STATE_EVERY: u64 = 10;
/// Room for fewer exposures than this is worth a word.
const FEW_EXPOSURES: u64 = 20;
/// A battery at or below this is worth a word, percent.
const LOW_BATTERY: u32 = 20;

/// A camera on a cable or the network.
#[derive(Debug)]
pub struct TetherCamera {
    remote: Remote,
    options: TetherOptions,
    heard: Heard,
    /// How many files one exposure makes, once the first has shown it.
    files_each: Option<usize>,
    /// Digests of what has come, to see a camera that gives an old file under a name that repeats.
    seen: HashSet<u64>,
    /// Copies that the session has yet to take over before their files may leave the card.
    to_remove: Vec<(PathBuf, CardFile)>,
    held: Vec<Arrival>,
    exposures: u64,
    bytes_each: u64,
    warned: HashSet<&'static str>,
}

impl TetherCamera {
    /// Builds a camera; nothing is opened before it is probed.
    pub fn new(port: Option<&str>, options: TetherOptions) -> Self {
        Self {
            remote: Remote::new(port),
            options,
            heard: Heard::default(),
            files_each: None,
            seen: HashSet::new(),
            to_remove: Vec::new(),
            held: Vec::new(),
            exposures: 0,
            bytes_each: 0,
            warned: HashSet::new(),
        }
    }

    /// Reads what the camera tells about itself.
    pub fn report(mut self) -> Result<CameraReport, CameraError> {
        self.remote.open(&CancelToken::default())?;
        let settings = self.remote.settings()?;
        let State { battery, free_bytes } = self.remote.state()?;
        let shown = |Setting { name, value, choices }| ShownSetting { name, value, choices };
        Ok(CameraReport {
            name: self.remote.name(),
            battery,
            free_bytes,
            settings: settings.into_iter().map(shown).collect(),
        })
    }

    /// Takes in what the camera still has to say of earlier exposures, lest it be taken for this one's.
    fn drain(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        self.hear_all(context)?;
        for file in self.heard.take_late() {
            let path = free_place(&request.inbox, &file.name);
            // Best effort: it stays on the card.
            if self.remote.copy(&file, &path, self.options.frame_timeout, context.cancel).is_ok() {
                self.held.push(Arrival::Inbox(path));
            }
        }
        Ok(())
    }

    /// Hears what the camera has to say at once.
    fn hear_all(&mut self, context: &CameraContext<'_>) -> Result<(), CameraError> {
        loop {
            let news = self.remote.events(Duration::ZERO, context.cancel)?;
            if news.is_empty() {
                return Ok(());
            }
            self.heard.hear(news);
        }
    }

    /// Copies one file whole, asking again when it comes cut short or the line drops.
    fn copy(
        &mut self,
        file: &CardFile,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<PathBuf, CameraError> {
        // Only files that are there, so that no later try is given the same place.
        let mut cut: Vec<PathBuf> = Vec::new();
        let mut tries = 1;
        let result = loop {
            let path = free_place(&request.inbox, &file.name);
            let result = self.copy_once(file, &path, context);
            if result.is_err() && path.exists() {
                cut.push(path);
            }
            match result {
                Err(error) if error != CameraError::Cancelled && tries < COPY_TRIES => {
                    (context.prompt)(format!(
                        "{} did not come over ({error}); asking for it again.",
                        file.name
                    ));
                    self.look_anew(context);
                    tries += 1;
                }
                result => break result,
            }
        };
        for path in cut {
            if result.is_ok() {
                remove_cut_copy(&path);
            } else {
                self.held.push(Arrival::Inbox(path));
            }
        }
        result
    }

    /// Lets go of the camera for the next try. The driver finds files by name among those it has seen
    /// before, and may hold on to an earlier one; a new hold looks anew, but hears nothing said before.
    fn look_anew(&mut self, context: &CameraContext<'_>) {
        // Best effort: the line may be gone.
        let _ = self.hear_all(context);
        self.remote.close();
    }

    fn reopen(&mut self, context: &CameraContext<'_>) -> Result<(), CameraError> {
        if self.remote.reopen(context)? {
            self.heard.start_anew();
        }
        Ok(())
    }

    fn copy_once(
        &mut self,
        file: &CardFile,
        path: &Path,
        context: &CameraContext<'_>,
    ) -> Result<PathBuf, CameraError> {
        let bad = |reason: String| CameraError::BadFile { file: file.name.clone(), reason };
        self.reopen(context)?;
        let (bytes, stated) = self.remote.copy(file, path, self.options.frame_timeout, context.cancel)?;
        if let Some(stated) = stated.filter(|stated| *stated != bytes) {
            return Err(bad(format!("{bytes} of {stated} bytes came")));
        }
        let content = std::fs::read(path).map_err(|error| bad(error.to_string()))?;
        sniff::inspect(&content, path).map_err(|reason| bad(reason.to_string()))?;
        let mut digest = DefaultHasher::new();
        content.hash(&mut digest);
        if !self.seen.insert(digest.finish()) {
            return Err(bad("the camera gave the file of an earlier exposure".to_owned()));
        }
        Ok(path.to_owned())
    }

    /// Waits for every file of the exposure and copies each as soon as it is there.
    fn collect(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
        copies: &mut Vec<(CardFile, PathBuf)>,
    ) -> Result<(), CameraError> {
        let started = Instant::now();
        let mut last_news = started;
        loop {
            while let Some(file) = self.heard.files.get(copies.len()).cloned() {
                let path = self.copy(&file, request, context)?;
                copies.push((file, path));
                last_news = Instant::now();
            }
            let enough = match self.files_each {
                Some(files) => copies.len() >= files,
                None => !copies.is_empty() && last_news.elapsed() >= PAIR_WAIT,
            };
            if enough {
                return one_frame(copies);
            }
            if started.elapsed() >= self.options.frame_timeout {
                return Err(self.nothing_more(copies, started.elapsed()));
            }
            let news = self.remote.events(EVENTS, context.cancel)?;
            if !news.is_empty() {
                self.heard.hear(news);
                last_news = Instant::now();
            }
        }
    }

    fn nothing_more(&mut self, copies: &[(CardFile, PathBuf)], waited: Duration) -> CameraError {
        let detail = match (copies, self.files_each) {
            ([], _) => {
                let full = matches!(self.remote.state(), Ok(State { free_bytes: Some(0), .. }));
                let cause = if full {
                    "its card is full"
                } else {
                    "it may have failed to focus, or its card is full"
                };
                format!("; {cause}")
            }
            ([(file, _), ..], files) => format!(
                ": {} came, but earlier exposures made {} files each; if the file format was changed on purpose, begin the session again",
                file.name,
                files.unwrap_or(1)
            ),
        };
        CameraError::NoFrame { from: self.remote.name(), secs: waited.as_secs_f64(), detail }
    }

    /// Removes from the card what the session has taken over: its copy in the inbox is gone then.
    fn tidy_card(&mut self) {
        let (done, waiting) =
            std::mem::take(&mut self.to_remove).into_iter().partition(|(copy, _)| !copy.exists());
        self.to_remove = waiting;
        for (_, file) in done {
            // Best effort: a file that stays on the card does no harm.
            let _ = self.remote.remove(&file);
        }
    }

    /// Says once when battery or room run low.
    fn look_after(&mut self, context: &CameraContext<'_>) {
        let Ok(State { battery, free_bytes }) = self.remote.state() else { return };
        let percent =
            battery.as_deref().and_then(|text| text.trim_end_matches('%').trim().parse::<u32>().ok());
        if percent.is_some_and(|percent| percent <= LOW_BATTERY) && self.warned.insert("battery") {
            (context.prompt)(format!(
                "The camera's battery is at {}; have another one ready.",
                battery.unwrap_or_default()
            ));
        }
        if let Some(free) = free_bytes
            && self.bytes_each > 0
            && free / self.bytes_each < FEW_EXPOSURES
            && self.warned.insert("room")
        {
            (context.prompt)(format!(
                "The camera's card has room for about {} more exposures.",
                free / self.bytes_each
            ));
        }
    }
}

impl Camera for TetherCamera {
    fn name(&self) -> String {
        self.remote.name()
    }

    fn probe(&mut self) -> Result<(), CameraError> {
        self.remote.open(&CancelToken::default())?;
        for (name, value) in &self.options.settings {
            self.remote.set(name, value)?;
        }
        Ok(())
    }

    /// Returns once the camera has told of a file or of the capture's end, or, when it tells neither, after
    /// the stated exposure time and the shutter's lag.
    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        self.reopen(context)?;
        self.drain(request, context)?;
        self.remote.trigger(request.exposure, context.cancel)?;
        self.heard.begin();
        let closed = Instant::now() + request.exposure + SHUTTER_LAG;
        loop {
            let left = closed.saturating_duration_since(Instant::now());
            let news = self.remote.events(EVENTS.min(left), context.cancel)?;
            if self.heard.hear(news) || left.is_zero() {
                return Ok(());
            }
        }
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let mut copies = Vec::new();
        let result = self.collect(request, context, &mut copies);
        self.heard.close(copies.len());
        if let Err(error) = result {
            self.held.extend(copies.into_iter().map(|(_, path)| Arrival::Inbox(path)));
            return Err(error);
        }
        self.files_each = Some(copies.len());
        self.bytes_each =
            copies.iter().filter_map(|(_, path)| path.metadata().ok()).map(|file| file.len()).sum();
        if self.options.remove_from_card {
            self.tidy_card();
            self.to_remove.extend(copies.iter().map(|(file, path)| (path.clone(), file.clone())));
        }
        if self.exposures.is_multiple_of(STATE_EVERY) {
            self.look_after(context);
        }
        self.exposures += 1;
        Ok(copies.into_iter().map(|(_, path)| Arrival::Inbox(path)).collect())
    }

    fn patience(&self) -> Duration {
        LONGEST_TRIGGER + SHUTTER_LAG + self.options.frame_timeout * (1 + 2 * COPY_TRIES as u32)
    }

    fn take_held(&mut self) -> Vec<Arrival> {
        std::mem::take(&mut self.held)
    }

    fn settings(&mut self) -> Result<Option<CameraSettings>, CameraError> {
        let settings = self.remote.settings()?;
        let value = |name: &str| {
            settings.iter().find(|setting| setting.name == name).map(|setting| setting.value.clone())
        };
        let [mode, shutter, aperture, iso, white_balance, focus_mode, image_format, capture_target] =
            SETTINGS.map(value);
        Ok(Some(CameraSettings {
            exposure_mode: mode,
            shutter,
            aperture,
            iso,
            white_balance,
            focus_mode,
            image_format,
            capture_target,
        }))
    }

    fn live_frame(&mut self) -> Result<Option<Vec<u8>>, CameraError> {
        self.remote.open(&CancelToken::default())?;
        let failed =
            |error: std::io::Error| CameraError::Failed(format!("no place for a live frame: {error}"));
        let folder = tempfile::tempdir().map_err(failed)?;
        let file = folder.path().join("live.jpg");
        if !self.remote.live(&file)? {
            return Ok(None);
        }
        std::fs::read(&file).map(Some).map_err(failed)
    }
}

impl Drop for TetherCamera {
    fn drop(&mut self) {
        self.tidy_card();
    }
}

/// Checks that the files are one exposure's: they share a name but for its extension.
fn one_frame(copies: &[(CardFile, PathBuf)]) -> Result<(), CameraError> {
    if copies.iter().all(|(file, _)| stem(file) == stem(&copies[0].0)) {
        return Ok(());
    }
    let names: Vec<&str> = copies.iter().map(|(file, _)| file.name.as_str()).collect();
    Err(CameraError::TooMany { count: copies.len(), names: names.join(", ") })
}

/// A place in the inbox that is free, whatever names repeat.
fn free_place(inbox: &Path, camera_name: &str) -> PathBuf {
    let mut number = 1;
    loop {
        let path = inbox.join(inbox_name(number, camera_name));
        if !path.exists() {
            return path;
        }
        number += 1;
    }
}

#[allow(clippy::disallowed_methods, reason = "a cut copy; the whole file has come after it")]
fn remove_cut_copy(path: &Path) {
    let _ = std::fs::remove_file(path);
}
