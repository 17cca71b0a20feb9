//! Keeping a frame: from bytes on their way to a record in the journal.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use sha2::{Digest, Sha256};

use super::durable::{Part, PathError, remove_copy, sync_folder};
use super::exif_facts::exposure_facts;
use super::folder::SessionFolder;
use super::ledger::Frame;
use super::record::{ADOPTED, FileFacts, FrameRecord, Record};
use crate::camera::Arrival;
use crate::camera::settings::{CameraSettings, FrameSettings};
use crate::camera::sniff::{self, PictureKind};
use crate::engine::{KeepFailure, Shot};

/// A frame to keep.
#[derive(Debug, Clone)]
pub struct KeepJob {
    /// The exposure it came from.
    pub shot: Shot,
    /// The camera's name.
    pub source: String,
    /// When the exposure ended.
    pub exposed_at: Timestamp,
    /// Its files.
    pub arrivals: Vec<Arrival>,
    /// What the camera said it was set to.
    pub settings: Option<CameraSettings>,
}

/// A frame that is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptFrame {
    /// The stop's number.
    pub stop: u32,
    /// The frame's version, from 1.
    pub version: u32,
    /// The picture to show: the first file.
    pub path: PathBuf,
    /// What it was shot with.
    pub settings: FrameSettings,
}

/// A file read, known to be whole.
struct Loaded {
    bytes: Arc<Vec<u8>>,
    extension: String,
    kind: PictureKind,
}

impl SessionFolder {
    /// Keeps a frame; see the module [`crate::journal`] for the order of writes.
    ///
    /// The sources stay where they are until the record is synced; after that inbox copies go.
    ///
    /// # Errors
    /// [`KeepFailure::BadFrame`] when a file is not a whole picture, [`KeepFailure::Storage`] when the
    /// disk will not take it; then the job can be tried again.
    pub fn keep(&self, job: &KeepJob) -> Result<KeptFrame, KeepFailure> {
        let stop = self
            .shots()
            .iter()
            .find(|stop| stop.index == job.shot.stop)
            .ok_or_else(|| KeepFailure::BadFrame(format!("the plan has no stop {}", job.shot.stop)))?;
        let row = self.plan().rows[stop.row].name.clone();
        let loaded = load(&job.arrivals)?;
        let frames = self.frames_folder();

        let last = self.with_ledger(|ledger| ledger.frame(&self.key_of(stop)).map_or(0, Frame::last_version));
        let (version, names) = self.free_names(&stop.file_stem, last, &loaded);
        let mut record = FrameRecord {
            shot: job.shot.number,
            stop: stop.index,
            row,
            angle: stop.angle,
            closing: stop.closing,
            version,
            commanded_step: job.shot.commanded_step,
            reported_step: Some(job.shot.reported_step).filter(|_| job.source != ADOPTED),
            source: job.source.clone(),
            exposed_at: job.exposed_at,
            files: Vec::new(),
            exposure: loaded.iter().find_map(|file| exposure_facts(&file.bytes)),
            camera_settings: job.settings.clone(),
            originals: originals(job),
            recovered: false,
        };
        let mut parts = Vec::new();
        for (name, file) in names.iter().zip(&loaded) {
            parts.push(Part::write(&frames, name, &file.bytes).map_err(storage)?);
            record.files.push(FileFacts {
                name: name.clone(),
                sha256: sha256_hex(&file.bytes),
                bytes: file.bytes.len() as u64,
            });
        }
        self.append(Record::Arriving(record.clone())).map_err(storage)?;
        for (part, name) in parts.into_iter().zip(&names) {
            part.settle(&frames.join(name)).map_err(storage)?;
        }
        sync_folder(&frames).map_err(storage)?;
        let path = frames.join(&names[0]);
        let settings = record.settings();
        self.append(Record::Kept(record)).map_err(storage)?;
        for arrival in &job.arrivals {
            if let Arrival::Inbox(path) = arrival {
                remove_copy(path);
            }
        }
        self.drop_inbox(job.shot.number);
        Ok(KeptFrame { stop: job.shot.stop, version, path, settings })
    }

    /// The next version whose names are all free, also of files that no record knows.
    fn free_names(&self, stem: &str, last: u32, files: &[Loaded]) -> (u32, Vec<String>) {
        let frames = self.frames_folder();
        let mut version = last + 1;
        loop {
            let stem = versioned_stem(stem, version);
            let names: Vec<String> = files.iter().map(|file| format!("{stem}.{}", file.extension)).collect();
            if names.iter().all(|name| frames.join(name).symlink_metadata().is_err()) {
                return (version, names);
            }
            version += 1;
        }
    }
}

/// Where an adopted frame's files lay, for the record.
fn originals(job: &KeepJob) -> Vec<String> {
    let places = job.arrivals.iter().filter_map(|arrival| match arrival {
        Arrival::Foreign(path) if job.source == ADOPTED => Some(path.display().to_string()),
        _ => None,
    });
    places.collect()
}

/// The stem of a version: the first is the plan's own, later ones carry `_v2`, `_v3`.
fn versioned_stem(stem: &str, version: u32) -> String {
    if version == 1 { stem.to_owned() } else { format!("{stem}_v{version}") }
}

/// Reads every file and checks that it is a whole picture; pictures to show come first.
fn load(arrivals: &[Arrival]) -> Result<Vec<Loaded>, KeepFailure> {
    let mut loaded: Vec<Loaded> = Vec::new();
    for arrival in arrivals {
        let (bytes, name) = match arrival {
            Arrival::Bytes { name, bytes } => (Arc::clone(bytes), PathBuf::from(name)),
            Arrival::Inbox(path) | Arrival::Foreign(path) => {
                let bytes = fs::read(path).map_err(|error| {
                    KeepFailure::BadFrame(PathError::at("cannot read the frame", path)(error).to_string())
                })?;
                (Arc::new(bytes), path.clone())
            }
        };
        let shown = crate::file_name::of_path(&name);
        let kind = sniff::inspect(&bytes, &name).map_err(|reason| {
            KeepFailure::BadFrame(format!("the file '{shown}' from the camera cannot be used: {reason}"))
        })?;
        let extension = sniff::extension_for(kind, &name);
        if loaded.iter().any(|other| other.extension == extension) {
            return Err(KeepFailure::BadFrame(format!(
                "two {extension} files came for one stop, the second is '{shown}'; no one can say which belongs to it"
            )));
        }
        loaded.push(Loaded { bytes, extension, kind });
    }
    if loaded.is_empty() {
        return Err(KeepFailure::BadFrame("the camera gave no file".to_owned()));
    }
    loaded.sort_by_key(|file| !file.kind.is_finished_picture());
    Ok(loaded)
}

fn storage(error: impl std::fmt::Display) -> KeepFailure {
    KeepFailure::Storage(error.to_string())
}

/// SHA-256 (FIPS 180-4) as lower-case hex.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}
