//! The kept frames of a session folder, row by row.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::Context;
use session_core::file_name::NamePattern;
use session_core::journal::SessionFolder;
use session_core::motion::Direction;
use session_core::plan::Plan;

/// One kept frame.
#[derive(Debug, Clone, PartialEq)]
pub struct SetFrame {
    /// The stop's number in the set.
    pub stop: u32,
    /// Its angle along the plan's direction, degrees.
    pub degrees: f64,
    /// The original.
    pub path: PathBuf,
    /// Its SHA-256 when it was kept.
    pub sha256: String,
}

/// The kept frames of one row.
#[derive(Debug, Clone, PartialEq)]
pub struct SetRow {
    /// The row's name.
    pub name: String,
    /// Its frames in the order of the plan.
    pub frames: Vec<SetFrame>,
}

/// A kept set.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptSet {
    /// The session folder.
    pub dir: PathBuf,
    /// The product's SKU.
    pub sku: String,
    /// The product's name.
    pub title: String,
    /// Whether the plate turns clockwise seen from above.
    pub clockwise: bool,
    /// Rows that have frames.
    pub rows: Vec<SetRow>,
    /// Numbers of stops without a frame.
    pub missing: Vec<u32>,
    /// The plan it was shot to.
    plan: Plan,
    /// The day of the first frame, `YYYY-MM-DD`.
    date: String,
}

impl KeptSet {
    /// Reads a session folder without changing it.
    ///
    /// # Errors
    /// When there is no session, no frame, or a kept frame's file is gone.
    pub fn read(dir: &Path) -> anyhow::Result<Self> {
        let (session, status) = SessionFolder::read(dir)?;
        let mut rows: Vec<SetRow> = Vec::new();
        let mut missing = Vec::new();
        let mut date: Option<String> = None;
        for stop in &status.stops {
            let (Some(file), Some(sha256)) = (&stop.file, &stop.sha256) else {
                missing.push(stop.index);
                continue;
            };
            let path = dir.join(file);
            anyhow::ensure!(
                path.is_file(),
                "the frame of stop {} is not there any more ({}); put it back from a copy, or retake the stop",
                stop.index,
                path.display()
            );
            let day = stop.versions.iter().map(|v| v.exposed_at.chars().take(10).collect::<String>()).min();
            date = date.into_iter().chain(day).min();
            let frame = SetFrame { stop: stop.index, degrees: stop.degrees, path, sha256: sha256.clone() };
            match rows.iter_mut().find(|row| row.name == stop.row) {
                Some(row) => row.frames.push(frame),
                None => rows.push(SetRow { name: stop.row.clone(), frames: vec![frame] }),
            }
        }
        anyhow::ensure!(!rows.is_empty(), "{} holds no kept frames; shoot the set first", dir.display());
        Ok(Self {
            dir: dir.to_owned(),
            sku: session.plan.sku.clone(),
            title: session.plan.title.clone(),
            clockwise: session.plan.direction == Direction::Clockwise,
            rows,
            missing,
            date: date.unwrap_or_default(),
            plan: session.plan,
        })
    }

    /// File names without extension by stop, after a pattern as plans have it.
    ///
    /// # Errors
    /// When the pattern cannot be used or gives one name twice.
    pub fn stems(&self, pattern: &str) -> anyhow::Result<BTreeMap<u32, String>> {
        let plan = Plan { file_name: NamePattern(pattern.to_owned()), ..self.plan.clone() };
        Ok(plan.stops(&self.date)?.into_iter().map(|stop| (stop.index, stop.file_stem)).collect())
    }

    /// The name of the frame of the empty table as it is kept in the set's settings: as it is where it leads to files
    /// from the set's folder, otherwise with the folder that the program runs in.
    ///
    /// # Errors
    /// When there is no such file.
    pub fn plate_as_kept(&self, plate: &str) -> anyhow::Result<String> {
        let missing = |plate: &str| {
            self.rows
                .iter()
                .map(|row| self.dir.join(plate.replace("{row}", &row.name)))
                .find(|p| !p.is_file())
        };
        let Some(not_there) = missing(plate) else { return Ok(plate.to_owned()) };
        let from_here = std::env::current_dir().ok().map(|here| here.join(plate).display().to_string());
        from_here.filter(|plate| missing(plate).is_none()).with_context(|| {
            format!(
                "there is no frame of the empty table {}, nor one of that name in this folder; name another with --plate",
                not_there.display()
            )
        })
    }

    /// How many frames there are.
    pub fn len(&self) -> usize {
        self.rows.iter().map(|row| row.frames.len()).sum()
    }

    /// Never: a set without frames is not read.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
}

/// Reads an original and makes sure that it is still the file that was kept.
///
/// # Errors
/// When it cannot be read or has changed.
pub(super) fn read_original(frame: &SetFrame) -> anyhow::Result<Vec<u8>> {
    let bytes = std::fs::read(&frame.path).with_context(|| {
        format!("the frame of stop {} cannot be read ({})", frame.stop, frame.path.display())
    })?;
    anyhow::ensure!(
        super::file_digest(&bytes) == frame.sha256,
        "the frame of stop {} has changed since it was kept ({}); put it back from a copy, or retake the stop",
        frame.stop,
        frame.path.display()
    );
    Ok(bytes)
}
