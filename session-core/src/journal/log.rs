//! The journal file: append, sync, read back, set a torn end aside.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use super::durable::PathError;
use super::ledger::Ledger;
use super::record::{Entry, Record};

/// Says why the journal cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The disk will not.
    #[error(transparent)]
    Disk(#[from] PathError),
    /// A record cannot be written as text.
    #[error("a journal record cannot be written: {0}")]
    Form(#[from] serde_json::Error),
}

/// A line on disk: a record and the CRC-32 (ISO 3309, as in PNG and ZIP) of its text.
#[derive(Serialize, Deserialize)]
struct Line<'a> {
    crc32: String,
    #[serde(borrow)]
    entry: &'a RawValue,
}

/// What reading a journal found.
#[derive(Debug, Default)]
pub(super) struct ReadBack {
    pub entries: Vec<Entry>,
    /// The byte at which a torn end begins, if there is one.
    pub torn_at: Option<u64>,
    /// Whole lines in the middle that fail their checksum.
    pub damaged_lines: usize,
}

/// Reads a journal; a missing file is an empty journal.
pub(super) fn read(path: &Path) -> Result<ReadBack, PathError> {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(ReadBack::default()),
        Err(error) => return Err(PathError::at("cannot read", path)(error)),
    };
    let mut found = ReadBack::default();
    let mut at = 0;
    let mut bad_since = None;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        // The append after a failed one begins on a line of its own.
        if line == b"\n" {
            at += line.len();
            continue;
        }
        let whole = line.ends_with(b"\n");
        match parse(line).filter(|_| whole) {
            Some(entry) => {
                // Bad lines followed by a good one are damage in the middle, not a torn end.
                if bad_since.take().is_some() {
                    found.damaged_lines += 1;
                }
                // Its append had failed after all its bytes were written; this one took its place.
                if found.entries.last().is_some_and(|last| last.seq == entry.seq) {
                    found.entries.pop();
                }
                found.entries.push(entry);
            }
            None => {
                if bad_since.is_some() {
                    found.damaged_lines += 1;
                } else {
                    bad_since = Some(at as u64);
                }
            }
        }
        at += line.len();
    }
    found.torn_at = bad_since;
    Ok(found)
}

fn parse(line: &[u8]) -> Option<Entry> {
    let line: Line<'_> = serde_json::from_slice(line).ok()?;
    let text = line.entry.get();
    let stated = u32::from_str_radix(&line.crc32, 16).ok()?;
    (crc32fast::hash(text.as_bytes()) == stated).then_some(())?;
    serde_json::from_str(text).ok()
}

/// An open journal with the state its records add up to.
#[derive(Debug)]
pub struct Journal {
    file: File,
    path: PathBuf,
    next_seq: u64,
    ledger: Ledger,
    /// Set when an append failed half-way: the next one begins on a line of its own.
    torn: bool,
}

impl Journal {
    /// Opens a journal for appending after its good records, `ledger` being what they add up to.
    pub(super) fn open(path: &Path, next_seq: u64, ledger: Ledger) -> Result<Self, PathError> {
        let file = File::options()
            .create(true)
            .append(true)
            .open(path)
            .map_err(PathError::at("cannot open", path))?;
        Ok(Self { file, path: path.to_owned(), next_seq, ledger, torn: false })
    }

    /// Appends one record and syncs it; when this returns, a power cut does not lose the record.
    ///
    /// # Errors
    /// When the disk will not; the record then does not count. Only if no other follows it and its bytes
    /// did reach the disk will the next opening find and count it.
    pub fn append(&mut self, record: Record) -> Result<(), JournalError> {
        let entry = Entry { seq: self.next_seq, at: Timestamp::now(), record };
        let text = serde_json::to_string(&entry)?;
        let crc32 = format!("{:08x}", crc32fast::hash(text.as_bytes()));
        let raw = RawValue::from_string(text)?;
        let mut line = serde_json::to_vec(&Line { crc32, entry: &raw })?;
        line.push(b'\n');
        if self.torn {
            line.insert(0, b'\n');
        }
        self.torn = true;
        self.file.write_all(&line).map_err(PathError::at("cannot write", &self.path))?;
        self.file.sync_data().map_err(PathError::at("cannot sync", &self.path))?;
        self.torn = false;
        self.next_seq += 1;
        self.ledger.apply(&entry.record);
        Ok(())
    }

    /// What the records add up to.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }
}
