//! A session folder: one set's plan, journal and frames, open to one program at a time.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use super::durable::{self, PathError, create_folder, move_without_replacing, replace_state};
use super::ledger::{Frame, Ledger, StopKey};
use super::log::{Journal, JournalError};
use super::record::Record;
use super::recover::{self, Recovery};
use super::status::SetStatus;
use super::{JOURNAL_FILE, SESSION_FILE};
use crate::angle::StepsPerTurn;
use crate::camera::Arrival;
use crate::camera::settings::FrameSettings;
use crate::engine::{SettingsSeed, StopSeed, StopState};
use crate::file_name;
use crate::plan::{Plan, PlanError, Stop};
use crate::view::VersionView;

/// The newest form of `session.json` this program writes and reads.
const SESSION_SCHEMA: u32 = 1;

/// Says why a session folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The disk will not.
    #[error(transparent)]
    Disk(#[from] PathError),
    /// Another program has the folder open.
    #[error("{} is in use by another Roundstop; close that one, or choose another folder", .0.display())]
    InUse(PathBuf),
    /// There is no session in the folder.
    #[error("{} holds no session (no session.json); start one with 'roundstop shoot --plan FILE --into DIR'", .0.display())]
    NoSession(PathBuf),
    /// The folder holds a journal but no plan for it.
    #[error("{} holds a journal.jsonl but no session.json; put session.json back from a copy, or choose another folder", .0.display())]
    PlanLost(PathBuf),
    /// `session.json` is not readable.
    #[error("{} is not readable: {source}; put it back from a copy, the frames themselves are untouched", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the reader said.
        source: serde_json::Error,
    },
    /// The folder was written by a newer program.
    #[error("{} has form {found}, this program reads up to form {SESSION_SCHEMA}; use a newer Roundstop", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// The form it names.
        found: u64,
    },
    /// The folder's plan cannot be shot.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The folder holds a set for another plan.
    #[error("{} already holds a set for '{sku}' shot to another plan; choose another folder, or use --replan to carry its frames over", path.display())]
    OtherPlan {
        /// The folder.
        path: PathBuf,
        /// The SKU in it.
        sku: String,
    },
    /// The plan turns the other way than the frames in the folder were shot.
    #[error("{} holds frames shot the other way round, whose angles would be mirrored; keep the plan's direction, or choose another folder", .0.display())]
    TurnedRound(PathBuf),
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// Says why it cannot be noted which frames of a stop are used.
#[derive(Debug, thiserror::Error)]
pub enum ChoiceError {
    /// The plan has no such stop.
    #[error("the set has no stop {0}; 'roundstop status' lists its stops")]
    NoStop(u32),
    /// The stop has no frame in use.
    #[error("stop {0} has no frame to set aside")]
    NoFrame(u32),
    /// The stop has no such version.
    #[error("stop {stop} has no version {version}; it has {kept:?}")]
    NoVersion {
        /// The stop's number.
        stop: u32,
        /// The version asked for.
        version: u32,
        /// The versions it has.
        kept: Vec<u32>,
    },
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// What `session.json` holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionFile {
    /// The form of this file.
    pub schema: u32,
    /// The day the session began, `YYYY-MM-DD`; goes into names that ask for it.
    pub started: String,
    /// Steps in a turn of the table last used.
    pub steps_per_turn: StepsPerTurn,
    /// The plan.
    pub plan: Plan,
}

impl SessionFile {
    /// Reads a session folder's file.
    ///
    /// # Errors
    /// When it is not there, is not readable, or a newer program wrote it.
    pub fn read(root: &Path) -> Result<Self, FolderError> {
        let path = root.join(SESSION_FILE);
        let text = fs::read_to_string(&path).map_err(PathError::at("cannot read", &path))?;
        let unreadable = |source| FolderError::Unreadable { path: path.clone(), source };
        let value: serde_json::Value = serde_json::from_str(&text).map_err(unreadable)?;
        if let Some(found) = value.get("schema").and_then(serde_json::Value::as_u64)
            && found > u64::from(SESSION_SCHEMA)
        {
            return Err(FolderError::Newer { path, found });
        }
        serde_json::from_str(&text).map_err(unreadable)
    }
}

/// An open session folder, locked for this program.
#[derive(Debug)]
pub struct SessionFolder {
    root: PathBuf,
    /// Held open: the lock ends with it, also when the program is killed.
    _lock: File,
    file: SessionFile,
    /// Stops of the set and closing frames.
    shots: Vec<Stop>,
    journal: Mutex<Journal>,
    recovery: Recovery,
}

impl SessionFolder {
    /// Opens the folder's session, or begins one with `plan` when there is none.
    ///
    /// # Errors
    /// [`FolderError::OtherPlan`] when a session with another plan is there; else what keeps the
    /// folder from being used.
    pub fn open_or_create(root: &Path, plan: &Plan) -> Result<Self, FolderError> {
        if root.join(SESSION_FILE).exists() {
            let open = Self::open(root)?;
            if open.file.plan != *plan {
                return Err(FolderError::OtherPlan { path: root.to_owned(), sku: open.file.plan.sku });
            }
            return Ok(open);
        }
        if root.join(JOURNAL_FILE).exists() {
            return Err(FolderError::PlanLost(root.to_owned()));
        }
        let started = jiff::ZonedDateTime::now().date().to_string();
        plan.stops(&started)?;
        create_folder(root)?;
        let lock = lock(root)?;
        let file = SessionFile {
            schema: SESSION_SCHEMA,
            started,
            steps_per_turn: StepsPerTurn::HOBBY_HALF_STEPS,
            plan: plan.clone(),
        };
        save(root, &file)?;
        Self::open_locked(root, lock)
    }

    /// Opens an existing session, mending what a crash left.
    pub fn open(root: &Path) -> Result<Self, FolderError> {
        if !root.join(SESSION_FILE).exists() {
            return Err(FolderError::NoSession(root.to_owned()));
        }
        Self::open_locked(root, lock(root)?)
    }

    fn open_locked(root: &Path, lock: File) -> Result<Self, FolderError> {
        let file = SessionFile::read(root)?;
        let shots = file.plan.shots(&file.started)?;
        create_folder(&root.join("frames"))?;
        create_folder(&root.join("cache"))?;
        let (journal, recovery) = recover::open_journal(root)?;
        Ok(Self { root: root.to_owned(), _lock: lock, file, shots, journal: Mutex::new(journal), recovery })
    }

    /// Reads a session's status without locking or changing anything; works on a read-only folder.
    pub fn read_status(root: &Path) -> Result<SetStatus, FolderError> {
        Self::read(root).map(|(_, status)| status)
    }

    /// Reads a session's plan and status as [`Self::read_status`] does.
    ///
    /// # Errors
    /// When there is no session, or one that is not readable.
    pub fn read(root: &Path) -> Result<(SessionFile, SetStatus), FolderError> {
        if !root.join(SESSION_FILE).exists() {
            return Err(FolderError::NoSession(root.to_owned()));
        }
        let file = SessionFile::read(root)?;
        let shots = file.plan.shots(&file.started)?;
        let (ledger, recovery) = recover::look(root)?;
        let status = SetStatus::new(&file, &shots, &ledger, &recovery);
        Ok((file, status))
    }

    /// The folder's status now.
    pub fn status(&self) -> SetStatus {
        self.with_ledger(|ledger| SetStatus::new(&self.file, &self.shots, ledger, &self.recovery))
    }

    /// The folder's path.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.file.plan
    }

    /// All that is to be shot: the stops of the set and the rows' closing frames.
    pub fn shots(&self) -> &[Stop] {
        &self.shots
    }

    /// What opening the folder found and mended.
    pub fn recovery(&self) -> &Recovery {
        &self.recovery
    }

    /// Where originals lie.
    pub fn frames_folder(&self) -> PathBuf {
        self.root.join("frames")
    }

    /// Where things lie that can be made anew.
    pub fn cache_folder(&self) -> PathBuf {
        self.root.join("cache")
    }

    /// Changes the plan; frames stay with every stop that still exists (same row name, same angle).
    ///
    /// # Errors
    /// [`FolderError::TurnedRound`] when there are frames and the direction differs: angles count along it.
    pub fn set_plan(&mut self, plan: Plan) -> Result<(), FolderError> {
        let has_frames = self.with_ledger(|ledger| ledger.all_frames().next().is_some());
        if has_frames && plan.direction != self.file.plan.direction {
            return Err(FolderError::TurnedRound(self.root.clone()));
        }
        let shots = plan.shots(&self.file.started)?;
        let file = SessionFile { plan, ..self.file.clone() };
        save(&self.root, &file)?;
        self.file = file;
        self.shots = shots;
        Ok(())
    }

    /// Steps in a turn of the table last used.
    pub fn steps_per_turn(&self) -> StepsPerTurn {
        self.file.steps_per_turn
    }

    /// Notes the steps per turn of the table in use.
    pub fn set_steps_per_turn(&mut self, steps_per_turn: StepsPerTurn) -> Result<(), FolderError> {
        if self.file.steps_per_turn != steps_per_turn {
            let file = SessionFile { steps_per_turn, ..self.file.clone() };
            save(&self.root, &file)?;
            self.file = file;
        }
        Ok(())
    }

    /// Appends a record and syncs it.
    pub fn append(&self, record: Record) -> Result<(), JournalError> {
        self.journal.lock().unwrap_or_else(PoisonError::into_inner).append(record)
    }

    /// Journals that none of these stops' frames is used; all of them, or none when one has no frame in use.
    pub fn set_aside(&self, stops: &[u32]) -> Result<(), ChoiceError> {
        self.note_choices(stops, |stop, key, ledger| {
            if ledger.state_of(&key) != StopState::Kept {
                return Err(ChoiceError::NoFrame(stop));
            }
            Ok(Record::SetAside { row: key.row, angle: key.angle, closing: key.closing })
        })
    }

    /// Journals that this version of these stops' frames is used; all of them, or none when one has none such.
    pub fn choose_version(&self, stops: &[u32], version: u32) -> Result<(), ChoiceError> {
        self.note_choices(stops, |stop, key, ledger| {
            let frames = ledger.frame(&key).map(|frame| frame.versions.as_slice()).unwrap_or_default();
            let kept: Vec<u32> = frames.iter().map(|frame| frame.version).collect();
            if !kept.contains(&version) {
                return Err(ChoiceError::NoVersion { stop, version, kept });
            }
            Ok(Record::VersionChosen { row: key.row, angle: key.angle, closing: key.closing, version })
        })
    }

    fn note_choices(
        &self,
        stops: &[u32],
        record: impl Fn(u32, StopKey, &Ledger) -> Result<Record, ChoiceError>,
    ) -> Result<(), ChoiceError> {
        let records = self.with_ledger(|ledger| {
            let record_of = |number: &u32| {
                let stop = self.shots.iter().find(|stop| stop.index == *number);
                record(*number, self.key_of(stop.ok_or(ChoiceError::NoStop(*number))?), ledger)
            };
            stops.iter().map(record_of).collect::<Result<Vec<Record>, ChoiceError>>()
        })?;
        for record in records {
            self.append(record)?;
        }
        Ok(())
    }

    /// Looks at what the journal adds up to.
    pub fn with_ledger<T>(&self, look: impl FnOnce(&Ledger) -> T) -> T {
        look(self.journal.lock().unwrap_or_else(PoisonError::into_inner).ledger())
    }

    /// What the engine needs to know of each stop.
    pub fn seeds(&self) -> Vec<StopSeed> {
        self.with_ledger(|ledger| {
            self.shots
                .iter()
                .map(|stop| {
                    let key = self.key_of(stop);
                    let frame = ledger.frame(&key);
                    StopSeed {
                        stop: stop.clone(),
                        state: ledger.state_of(&key),
                        versions: frame.map_or(0, Frame::last_version),
                        chosen: frame.and_then(|frame| frame.chosen).unwrap_or(0),
                        step: ledger.step_of(&key),
                    }
                })
                .collect()
        })
    }

    /// What the frames in use were shot with: the measure for new ones, and those that differ from it.
    pub fn settings_seed(&self) -> SettingsSeed {
        self.with_ledger(|ledger| {
            let mut in_use: Vec<(u32, u64, FrameSettings)> = self
                .shots
                .iter()
                .filter_map(|stop| {
                    let frame = ledger.frame(&self.key_of(stop))?.in_use()?;
                    Some((stop.index, frame.shot, frame.settings()))
                })
                .filter(|(_, _, settings)| !settings.is_empty())
                .collect();
            in_use.sort_by_key(|(_, shot, _)| *shot);
            let first = in_use.first().map(|(_, _, settings)| settings.clone());
            let good: Vec<FrameSettings> =
                first.into_iter().chain(ledger.accepted_settings().iter().cloned()).collect();
            in_use.retain(|(_, _, settings)| good.iter().all(|good| !settings.changes_from(good).is_empty()));
            SettingsSeed { reference: good.last().cloned(), drifted: in_use }
        })
    }

    /// The step nearest to a stop within the first turn of the table last used.
    pub fn nominal_step(&self, stop: &Stop) -> i64 {
        let along = self.file.plan.direction.table_angle(stop.angle.wrapped());
        self.file.steps_per_turn.nearest_step(along)
    }

    /// The key under which the journal knows a stop.
    pub fn key_of(&self, stop: &Stop) -> StopKey {
        let row = &self.file.plan.rows[stop.row].name;
        StopKey { closing: stop.closing, ..StopKey::new(row, stop.angle) }
    }

    /// Every kept version of a stop with the picture to show, oldest first.
    pub fn pictures_of(&self, stop: &Stop) -> Vec<VersionView> {
        let frames = self.frames_folder();
        self.with_ledger(|ledger| {
            let Some(Frame { versions, found, seen_angles, .. }) = ledger.frame(&self.key_of(stop)) else {
                return Vec::new();
            };
            versions
                .iter()
                .filter_map(|version| {
                    let path = frames.join(&version.files.first()?.name);
                    let flags = found.get(&version.version).cloned().unwrap_or_default();
                    let seen_angle = seen_angles.get(&version.version).cloned();
                    Some(VersionView { version: version.version, path, flags, seen_angle })
                })
                .collect()
        })
    }

    /// Makes the empty folder for an exposure's files on their way.
    pub fn make_inbox(&self, shot: u64) -> Result<PathBuf, PathError> {
        let inbox = self.inbox(shot);
        create_folder(&inbox)?;
        Ok(inbox)
    }

    fn inbox(&self, shot: u64) -> PathBuf {
        self.root.join("incoming").join(format!("shot-{shot:06}"))
    }

    /// Takes an exposure's inbox away if nothing is left in it.
    pub(super) fn drop_inbox(&self, shot: u64) {
        // Fails on a folder that holds anything, which is the point.
        let _ = fs::remove_dir(self.inbox(shot));
    }

    /// Puts files that belong to no stop for certain into quarantine and journals it; gives their names there.
    pub fn hold(&self, shot: u64, arrivals: &[Arrival], reason: &str) -> Result<Vec<String>, JournalError> {
        let folder = self.root.join("quarantine");
        create_folder(&folder)?;
        let mut names = Vec::new();
        for arrival in arrivals {
            let name = match arrival {
                Arrival::Bytes { name, .. } => name.clone(),
                Arrival::Inbox(path) | Arrival::Foreign(path) => file_name::of_path(path),
            };
            let name = free_name(&folder, &format!("shot-{shot:06}-{name}"));
            let place = folder.join(&name);
            match arrival {
                Arrival::Inbox(path) => move_without_replacing(path, &place)?,
                Arrival::Bytes { bytes, .. } => {
                    durable::Part::write(&folder, &name, bytes)?.settle(&place)?;
                }
                Arrival::Foreign(path) => {
                    let bytes = fs::read(path).map_err(PathError::at("cannot read", path))?;
                    durable::Part::write(&folder, &name, &bytes)?.settle(&place)?;
                }
            }
            names.push(name);
        }
        if !names.is_empty() {
            durable::sync_folder(&folder)?;
            self.append(Record::Held { names: names.clone(), reason: reason.to_owned() })?;
        }
        self.drop_inbox(shot);
        Ok(names)
    }
}

/// The first free name in a folder: `name`, else `name-2`, `name-3`.
pub(super) fn free_name(folder: &Path, name: &str) -> String {
    if folder.join(name).symlink_metadata().is_err() {
        return name.to_owned();
    }
    let (stem, extension) =
        name.rsplit_once('.').map_or((name, String::new()), |(stem, ext)| (stem, format!(".{ext}")));
    (2..u32::MAX)
        .map(|n| format!("{stem}-{n}{extension}"))
        .find(|name| folder.join(name).symlink_metadata().is_err())
        .unwrap_or_default()
}

fn lock(root: &Path) -> Result<File, FolderError> {
    let path = root.join("session.lock");
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(PathError::at("cannot open", &path))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(FolderError::InUse(root.to_owned())),
        // Some network shares know no locks; then the person must see to it.
        Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => Ok(file),
        Err(TryLockError::Error(error)) => Err(PathError::at("cannot lock", &path)(error).into()),
    }
}

fn save(root: &Path, file: &SessionFile) -> Result<(), FolderError> {
    let path = root.join(SESSION_FILE);
    let text = serde_json::to_string_pretty(file)
        .map_err(|source| FolderError::Unreadable { path: path.clone(), source })?;
    replace_state(&path, (text + "\n").as_bytes())?;
    Ok(())
}
