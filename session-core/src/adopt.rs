//! Takes up files that were shot before the set was, such as a card copied after the shoot.
//!
//! Which file belongs to which stop is told by their order alone; no table confirmed an angle, and
//! the journal says so. Files are copied, never moved or changed.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::camera::Arrival;
use crate::engine::{KeepFailure, Shot, StopState};
use crate::journal::durable::PathError;
use crate::journal::{ADOPTED, JournalError, KeepJob, Record, SessionFolder};
use crate::plan::Stop;

mod candidates;
mod notes;
mod order;

pub use candidates::Candidate;

/// What tells the order of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Order {
    /// Their names, numbers by value, a counter's roll-over seen.
    Name,
    /// The camera's clock, or the files' own times where a file has no clock time.
    Time,
}

/// Which clock told the times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// The camera's, from EXIF.
    Camera,
    /// The files' times of last change.
    FileTime,
}

/// Says why files cannot become a set's frames.
#[derive(Debug, thiserror::Error)]
pub enum AdoptError {
    /// The disk will not.
    #[error(transparent)]
    Disk(#[from] PathError),
    /// There is nothing to adopt.
    #[error("{} holds no picture files; name the folder the card was copied to", .0.display())]
    NoPictures(PathBuf),
    /// Some files are not whole pictures.
    #[error("these files are no whole pictures; copy them from the card again, or move them away: {}", .0.join("; "))]
    NotWhole(Vec<String>),
    /// Two files hold the same picture.
    #[error("{first} and {second} hold the same picture; move one of them away")]
    Alike {
        /// One.
        first: String,
        /// The other.
        second: String,
    },
    /// Every stop has its frame.
    #[error("every stop of the set has its frame already; set stops aside first, or choose another folder")]
    NothingOpen,
    /// Files and stops do not match in number.
    #[error("{found} frames do not fit {open} open stops, so no one can say which belongs where; {hint}")]
    WrongCount {
        /// Frames found.
        found: usize,
        /// Stops without a frame.
        open: usize,
        /// What may be the cause.
        hint: String,
    },
    /// Names and clock tell different orders.
    #[error("names and clock tell different orders: {}; choose with --order name or --order time", .0.join("; "))]
    Disagree(Vec<String>),
    /// A frame could not be kept.
    #[error(
        "{name} could not be kept: {reason}; what was copied before it is safe, run the same command again to go on"
    )]
    NotKept {
        /// The file.
        name: String,
        /// Why.
        reason: String,
    },
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// One file, or RAW with JPEG, and the stop it becomes.
#[derive(Debug, Clone, PartialEq)]
pub struct Match {
    /// The stop.
    pub stop: Stop,
    /// The files.
    pub candidate: Candidate,
    /// When it was taken, by the clock in use.
    pub at: DateTime,
}

/// Which file becomes which stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Adoption {
    /// What told the order.
    pub order: Order,
    /// Which clock was looked at.
    pub clock: TimeSource,
    /// The matches in shooting order.
    pub matches: Vec<Match>,
    /// What a person should know before saying yes.
    pub notes: Vec<String>,
}

/// The stops of a set that have no frame in use, and every digest it holds.
pub fn open_stops(folder: &SessionFolder) -> (Vec<Stop>, HashMap<String, u32>) {
    let status = folder.status();
    let open = |stop: &&Stop| {
        status.stops.iter().any(|report| report.index == stop.index && report.state != StopState::Kept)
    };
    let digests = status.stops.iter().flat_map(|stop| {
        let versions = stop.versions.iter().flat_map(|version| version.sha256.iter().cloned());
        versions.map(|sha256| (sha256, stop.index))
    });
    (folder.shots().iter().filter(open).cloned().collect(), digests.collect())
}

impl Adoption {
    /// Matches the picture files below `dir` to open stops, changing nothing.
    ///
    /// Files whose content `known` holds are in the set already and are passed over, so that an
    /// interrupted adoption can be run again.
    ///
    /// # Errors
    /// [`AdoptError`] when files and stops do not fit without a guess.
    pub fn new(
        dir: &Path,
        open: &[Stop],
        known: &HashMap<String, u32>,
        order: Option<Order>,
    ) -> Result<Self, AdoptError> {
        if open.is_empty() {
            return Err(AdoptError::NothingOpen);
        }
        let mut files = candidates::look(dir)?;
        refuse_alike(&files)?;
        let mut notes = Vec::new();
        let before = files.len();
        files.retain(|file| !file.sha256.iter().all(|sha256| known.contains_key(sha256)));
        if files.len() < before {
            notes.push(format!("{} files are in the set already and are passed over.", before - files.len()));
        }
        let rolled = by_name(&mut files);
        let clock = if files.iter().all(|file| file.taken.is_some()) {
            TimeSource::Camera
        } else {
            TimeSource::FileTime
        };
        let mut by_time = files.clone();
        // A stable sort: frames of the same moment stay in the order of their names.
        by_time.sort_by_key(|file| at(file, clock));
        if files.len() != open.len() {
            let hint = notes::wrong_count(&files, &by_time, clock);
            return Err(AdoptError::WrongCount { found: files.len(), open: open.len(), hint });
        }
        let differences = notes::differences(&files, &by_time, open);
        if order.is_none() && !differences.is_empty() {
            return Err(AdoptError::Disagree(differences));
        }
        notes.extend(rolled);
        notes.extend(
            differences.into_iter().map(|difference| format!("Names and clock differ: {difference}.")),
        );
        let order = order.unwrap_or(Order::Name);
        let files = if order == Order::Time { by_time } else { files };
        notes.extend(notes::about(&files, clock, order));
        let matches = open
            .iter()
            .zip(files)
            .map(|(stop, candidate)| Match { stop: stop.clone(), at: at(&candidate, clock), candidate })
            .collect();
        Ok(Self { order, clock, matches, notes })
    }

    /// Copies every file into the set and journals it, one frame after another; `kept` hears of each.
    ///
    /// # Errors
    /// The first frame that cannot be kept; those before it are.
    pub fn carry_out(&self, folder: &SessionFolder, mut kept: impl FnMut(&Match)) -> Result<(), AdoptError> {
        for item in &self.matches {
            let job = KeepJob {
                shot: Shot {
                    number: folder.with_ledger(crate::journal::Ledger::last_shot) + 1,
                    stop: item.stop.index,
                    commanded_step: folder.nominal_step(&item.stop),
                    reported_step: folder.nominal_step(&item.stop),
                },
                source: ADOPTED.to_owned(),
                exposed_at: TimeZone::system()
                    .to_zoned_datetime(item.at)
                    .map_or_else(|_| Timestamp::now(), |zoned| zoned.timestamp()),
                arrivals: item.candidate.files.iter().cloned().map(Arrival::Foreign).collect(),
                settings: None,
            };
            folder.keep(&job).map_err(|failure| AdoptError::NotKept {
                name: item.candidate.name.display().to_string(),
                reason: match failure {
                    KeepFailure::BadFrame(reason) | KeepFailure::Storage(reason) => reason,
                },
            })?;
            kept(item);
        }
        accept_settings(folder)?;
        Ok(())
    }
}

/// Notes that the person has seen how the settings differ, so that later runs do not ask again.
fn accept_settings(folder: &SessionFolder) -> Result<(), JournalError> {
    let seed = folder.settings_seed();
    for (_, _, settings) in &seed.drifted {
        folder.append(Record::SettingsAccepted { settings: settings.clone() })?;
    }
    // The set's first frame stays the measure for new ones.
    match seed.reference {
        Some(settings) if !seed.drifted.is_empty() => folder.append(Record::SettingsAccepted { settings }),
        _ => Ok(()),
    }
}

/// Sorts by name; where a camera's counter rolled over, the frames before that come first.
fn by_name(files: &mut [Candidate]) -> Option<String> {
    let (folders, numbers): (Vec<_>, Vec<_>) = files
        .iter()
        .map(|file| {
            let stem = file.name.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            let (before, number) = order::running_number(&stem)?;
            Some(((file.name.parent().map(Path::to_owned), before.to_owned()), number))
        })
        .collect::<Option<Vec<_>>>()?
        .into_iter()
        .unzip();
    if folders.windows(2).any(|pair| pair[0] != pair[1]) {
        return None;
    }
    let start = order::roll_over(&numbers)?;
    files.rotate_left(start);
    let name = |at: usize| files.get(at).map(|file| file.name.display().to_string()).unwrap_or_default();
    let last = files.len() - start - 1;
    Some(format!("The camera's counter rolled over: {} is followed by {}.", name(last), name(last + 1)))
}

fn at(file: &Candidate, clock: TimeSource) -> DateTime {
    file.taken.filter(|_| clock == TimeSource::Camera).unwrap_or(file.changed)
}

fn refuse_alike(files: &[Candidate]) -> Result<(), AdoptError> {
    let mut seen: HashMap<&str, &Candidate> = HashMap::new();
    for file in files {
        for sha256 in &file.sha256 {
            if let Some(other) = seen.insert(sha256, file) {
                return Err(AdoptError::Alike {
                    first: other.name.display().to_string(),
                    second: file.name.display().to_string(),
                });
            }
        }
    }
    Ok(())
}
