//! Calibrations on disk: one JSON file for each table, named by the controller's own id.
//!
//! A file that is damaged or of a newer form is refused and left alone; [`Store::forget`] sets it
//! aside under another name, so nothing measured is ever lost. A crash while writing may lose the new
//! content, never the old.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::angle::StepsPerTurn;
use crate::journal::durable::{self, PathError};

/// The form of the files written here.
pub const CALIBRATION_SCHEMA: u32 = 1;

/// How and when a figure was measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Provenance {
    /// The day, `YYYY-MM-DD`.
    pub date: String,
    /// How, in words.
    pub method: String,
}

/// Measured steps in a turn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredGearing {
    /// The figure sessions use.
    pub steps_per_turn: StepsPerTurn,
    /// Half the range in which the true figure surely lay when measured, steps.
    pub uncertainty_steps: f64,
    /// The figure the controller gave then; another one now makes the calibration void.
    pub controller_steps_per_turn: StepsPerTurn,
    /// The known gear train it is, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub train: Option<String>,
    /// How and when.
    pub measured: Provenance,
}

/// Measured gear play.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredPlay {
    /// The play, degrees.
    pub degrees: f64,
    /// Half the range in which it surely lies, degrees.
    pub uncertainty_degrees: f64,
    /// How and when.
    pub measured: Provenance,
}

impl StoredPlay {
    /// The run-up that takes it up for certain, degrees.
    pub fn run_up_degrees(&self) -> f64 {
        super::run_up_degrees(self.degrees)
    }
}

/// The wait after a turn that a table needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredSettle {
    /// Seconds.
    pub seconds: f64,
    /// How and when.
    pub measured: Provenance,
}

/// All that has been measured of one table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TableCalibration {
    /// The form of the file.
    pub schema: u32,
    /// The controller's own id.
    pub table: String,
    /// Steps in a turn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gearing: Option<StoredGearing>,
    /// Gear play.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub play: Option<StoredPlay>,
    /// Settle time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settle: Option<StoredSettle>,
}

impl TableCalibration {
    /// A table of which nothing is measured yet.
    pub fn new(table: &str) -> Self {
        Self { schema: CALIBRATION_SCHEMA, table: table.to_owned(), gearing: None, play: None, settle: None }
    }

    /// The steps in a turn to use with a controller that gives `controller` as its own figure.
    ///
    /// `None` where nothing was measured, or where the controller's figure has changed since: then the
    /// gears or the settings are others.
    pub fn steps_for(&self, controller: StepsPerTurn) -> Option<StepsPerTurn> {
        let gearing = self.gearing.as_ref()?;
        (gearing.controller_steps_per_turn == controller).then_some(gearing.steps_per_turn)
    }

    /// What is known, in plain sentences.
    pub fn sentences(&self) -> Vec<String> {
        let from = |measured: &Provenance| format!("measured on {}, {}", measured.date, measured.method);
        let mut said = Vec::new();
        match &self.gearing {
            Some(gearing) => said.push(format!(
                "Steps in a turn: {} = {:.3} ± {:.3}{}; the controller's own figure is {:.3}. ({})",
                gearing.steps_per_turn,
                gearing.steps_per_turn.to_f64(),
                gearing.uncertainty_steps,
                gearing.train.as_ref().map(|train| format!(", {train}")).unwrap_or_default(),
                gearing.controller_steps_per_turn.to_f64(),
                from(&gearing.measured)
            )),
            None => {
                said.push("Steps in a turn: not measured; the controller's own figure is used.".to_owned());
            }
        }
        match &self.play {
            Some(play) => said.push(format!(
                "Gear play: {:.2}° ± {:.2}°, so the run-up is {}°. ({})",
                play.degrees,
                play.uncertainty_degrees,
                play.run_up_degrees(),
                from(&play.measured)
            )),
            None => {
                said.push("Gear play: not measured; the usual run-up of 2° is used.".to_owned());
            }
        }
        match &self.settle {
            Some(settle) => {
                said.push(format!("Settle time: {} s. ({})", settle.seconds, from(&settle.measured)));
            }
            None => {
                said.push("Settle time: not measured; each plan names its own.".to_owned());
            }
        }
        said
    }

    fn has_sane_figures(&self) -> bool {
        let within = |value: f64, most: f64| (0.0..=most).contains(&value);
        self.gearing.as_ref().is_none_or(|gearing| within(gearing.uncertainty_steps, 1e9))
            && self.play.as_ref().is_none_or(|play| {
                within(play.degrees, super::PLAY_MAX_DEG) && within(play.uncertainty_degrees, 180.0)
            })
            && self.settle.as_ref().is_none_or(|settle| within(settle.seconds, 60.0))
    }
}

/// Says why a calibration cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The disk refused.
    #[error(transparent)]
    Disk(#[from] PathError),
    /// The file is no calibration.
    #[error(
        "the calibration {} is damaged ({reason}) and is left alone; set it aside with 'roundstop table forget' and \
         measure anew",
        path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// The file was written by a newer program.
    #[error(
        "the calibration {} has form {found}, this program reads up to form {CALIBRATION_SCHEMA}; it is left alone: use a \
         newer Roundstop, or set it aside with 'roundstop table forget' and measure anew",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// The form it names.
        found: u64,
    },
    /// An id that cannot name a file.
    #[error("'{0}' is no table's id; ids are 1 to 64 letters, digits, '-' and '_'")]
    Id(String),
}

/// The folder in which calibrations are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Store {
    folder: PathBuf,
}

impl Store {
    /// Keeps calibrations in a folder, which is made when the first one is saved.
    pub fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    /// The file of a table.
    ///
    /// # Errors
    /// [`StoreError::Id`] when the id cannot name a file.
    pub fn path_of(&self, table: &str) -> Result<PathBuf, StoreError> {
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_';
        if !(1..=64).contains(&table.len()) || !table.bytes().all(plain) {
            return Err(StoreError::Id(table.to_owned()));
        }
        Ok(self.folder.join(format!("{table}.json")))
    }

    /// Reads what is known of a table; `None` when nothing is.
    ///
    /// # Errors
    /// [`StoreError`] when the file is damaged, newer, another table's, or cannot be read.
    pub fn load(&self, table: &str) -> Result<Option<TableCalibration>, StoreError> {
        let path = self.path_of(table)?;
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) if error.kind() == io::ErrorKind::InvalidData => {
                return Err(StoreError::Damaged { path, reason: "it is no text".to_owned() });
            }
            Err(error) => return Err(PathError::at("cannot read", &path)(error).into()),
        };
        parse(&path, &text, table).map(Some)
    }

    /// Lists the tables that something is known of, by id.
    ///
    /// # Errors
    /// [`StoreError::Disk`] when the folder is there but cannot be read.
    pub fn tables(&self) -> Result<Vec<String>, StoreError> {
        let entries = match std::fs::read_dir(&self.folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(PathError::at("cannot read folder", &self.folder)(error).into()),
        };
        let mut found: Vec<String> = entries
            .filter_map(Result::ok)
            .filter_map(|entry| Some(entry.file_name().to_str()?.strip_suffix(".json")?.to_owned()))
            .filter(|table| self.path_of(table).is_ok())
            .collect();
        found.sort();
        Ok(found)
    }

    /// Changes what is known of a table and writes it.
    ///
    /// # Errors
    /// [`StoreError`] when the present file cannot be read, which is then left as it is, or the disk
    /// refuses.
    pub fn change(
        &self,
        table: &str,
        edit: impl FnOnce(&mut TableCalibration),
    ) -> Result<TableCalibration, StoreError> {
        let path = self.path_of(table)?;
        let mut calibration = self.load(table)?.unwrap_or_else(|| TableCalibration::new(table));
        edit(&mut calibration);
        durable::create_folder(&self.folder)?;
        let damaged = |reason: String| StoreError::Damaged { path: path.clone(), reason };
        let text =
            serde_json::to_string_pretty(&calibration).map_err(|error| damaged(error.to_string()))? + "\n";
        // Nothing is written that could not be read again.
        parse(&path, &text, table)?;
        durable::replace_state(&path, text.as_bytes())?;
        Ok(calibration)
    }

    /// Sets a table's file aside, whatever is in it; gives its new name, or `None` when there was none.
    ///
    /// # Errors
    /// [`StoreError::Disk`] when it cannot be renamed.
    pub fn forget(&self, table: &str) -> Result<Option<PathBuf>, StoreError> {
        let path = self.path_of(table)?;
        if !path.exists() {
            return Ok(None);
        }
        let mut number = 1;
        loop {
            let aside = self.folder.join(format!("{table}.forgotten-{number}"));
            match durable::move_without_replacing(&path, &aside) {
                Ok(()) => {
                    durable::sync_folder(&self.folder)?;
                    return Ok(Some(aside));
                }
                Err(error) if error.source.kind() == io::ErrorKind::AlreadyExists && number < 1000 => {
                    number += 1;
                }
                Err(error) => return Err(error.into()),
            }
        }
    }
}

fn parse(path: &Path, text: &str, table: &str) -> Result<TableCalibration, StoreError> {
    let damaged = |reason: String| StoreError::Damaged { path: path.to_owned(), reason };
    // The form is looked at first, so that a newer file is called newer and not damaged.
    let value: serde_json::Value = serde_json::from_str(text).map_err(|error| damaged(error.to_string()))?;
    if let Some(found) = value.get("schema").and_then(serde_json::Value::as_u64)
        && found > u64::from(CALIBRATION_SCHEMA)
    {
        return Err(StoreError::Newer { path: path.to_owned(), found });
    }
    let read: TableCalibration = serde_json::from_str(text).map_err(|error| damaged(error.to_string()))?;
    if read.schema != CALIBRATION_SCHEMA {
        return Err(damaged(format!("form {} is not known", read.schema)));
    }
    if read.table != table {
        return Err(damaged(format!("it belongs to the table '{}'", read.table)));
    }
    if !read.has_sane_figures() {
        return Err(damaged("a figure in it cannot be".to_owned()));
    }
    Ok(read)
}
