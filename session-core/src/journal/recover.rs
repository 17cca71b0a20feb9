//! Opening a folder after a crash: what is on disk decides.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::JOURNAL_FILE;
use super::durable::{Part, PathError, create_folder, move_without_replacing, remove_copy, sync_folder};
use super::folder::{FolderError, free_name};
use super::keep::sha256_hex;
use super::ledger::Ledger;
use super::log::{Journal, ReadBack, read};
use super::record::{FrameRecord, Record};
use crate::file_name::of_path as file_name;

/// What opening a folder found and mended.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recovery {
    /// The journal's last line was torn and set aside.
    pub torn_journal: bool,
    /// Lines in the middle of the journal that fail their checksum and were passed over.
    pub damaged_lines: usize,
    /// Frames found complete that the crash kept from being recorded; recorded now.
    pub taken_up: Vec<String>,
    /// Unfinished files moved to `quarantine/`.
    pub quarantined: Vec<String>,
    /// Files on record that are gone from disk; their stops are shot again.
    pub gone: Vec<String>,
    /// Files in `frames/` that no record knows; left alone.
    pub unclaimed: Vec<String>,
    /// Files on record whose size has changed since.
    pub changed: Vec<String>,
}

impl Recovery {
    /// The findings as sentences, empty when all was in order.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = Vec::new();
        if self.torn_journal {
            said.push("The journal's last line was torn by a crash; opening the set puts it into quarantine/. No kept frame is affected.".to_owned());
        }
        if self.damaged_lines > 0 {
            said.push(format!(
                "{} lines of journal.jsonl fail their checksum and were passed over; check the disk.",
                self.damaged_lines
            ));
        }
        let mut list = |names: &[String], words: &str| {
            if !names.is_empty() {
                said.push(format!("{words}: {}.", names.join(", ")));
            }
        };
        list(&self.taken_up, "Complete frames that a crash kept from being recorded were taken up");
        list(&self.quarantined, "Unfinished files were moved to quarantine/");
        list(&self.gone, "Recorded files are gone from frames/, their stops count as missing");
        list(
            &self.changed,
            "Recorded files have another size than when they were kept; something changed them",
        );
        list(&self.unclaimed, "Files in frames/ that no record knows were left alone");
        said
    }
}

/// Reads the journal and compares it with the disk, changing nothing.
pub(super) fn look(root: &Path) -> Result<(Ledger, Recovery), FolderError> {
    let back = read(&root.join(JOURNAL_FILE))?;
    let mut ledger = fold(&back);
    let mut recovery = Recovery {
        damaged_lines: back.damaged_lines,
        torn_journal: back.torn_at.is_some(),
        ..Recovery::default()
    };
    compare(root, &mut ledger, &mut recovery)?;
    Ok((ledger, recovery))
}

/// Opens the journal for a run: sets a torn end aside, finishes interrupted keeping, tidies up.
pub(super) fn open_journal(root: &Path) -> Result<(Journal, Recovery), FolderError> {
    let path = root.join(JOURNAL_FILE);
    let back = read(&path)?;
    let mut recovery = Recovery { damaged_lines: back.damaged_lines, ..Recovery::default() };
    if let Some(torn_at) = back.torn_at {
        set_tail_aside(root, &path, torn_at)?;
        recovery.torn_journal = true;
    }
    let mut ledger = fold(&back);
    let next_seq = back.entries.last().map_or(1, |entry| entry.seq + 1);
    let open: Vec<FrameRecord> = ledger.open_arrivals().to_vec();
    let finished: Vec<FrameRecord> = open.into_iter().filter(|frame| finish(root, frame)).collect();
    if !finished.is_empty() {
        sync_folder(&root.join("frames"))?;
    }
    compare(root, &mut ledger, &mut recovery)?;
    let mut journal = Journal::open(&path, next_seq, ledger)?;
    for frame in finished {
        let names: Vec<String> = frame.files.iter().map(|file| file.name.clone()).collect();
        recovery.unclaimed.retain(|name| !names.contains(name));
        recovery.taken_up.extend(names);
        journal.append(Record::Kept(FrameRecord { recovered: true, ..frame }))?;
    }
    quarantine_leftovers(root, &mut recovery)?;
    Ok((journal, recovery))
}

fn fold(back: &ReadBack) -> Ledger {
    let mut ledger = Ledger::default();
    for entry in &back.entries {
        ledger.apply(&entry.record);
    }
    ledger
}

/// Copies the torn end to quarantine, then cuts it off, so that the next record starts a line.
fn set_tail_aside(root: &Path, path: &Path, torn_at: u64) -> Result<(), FolderError> {
    let bytes = fs::read(path).map_err(PathError::at("cannot read", path))?;
    let tail = bytes.get(torn_at as usize..).unwrap_or_default();
    let folder = root.join("quarantine");
    create_folder(&folder)?;
    let name = free_name(&folder, "journal-tail.txt");
    Part::write(&folder, &name, tail)?.settle(&folder.join(&name))?;
    sync_folder(&folder)?;
    let file = File::options().write(true).open(path).map_err(PathError::at("cannot open", path))?;
    file.set_len(torn_at).map_err(PathError::at("cannot cut", path))?;
    file.sync_all().map_err(PathError::at("cannot sync", path))?;
    Ok(())
}

/// Brings an interrupted keeping to its end if every byte is there; tells whether it could.
fn finish(root: &Path, frame: &FrameRecord) -> bool {
    let frames = root.join("frames");
    let holds = |path: &Path, sha256: &str| fs::read(path).is_ok_and(|bytes| sha256_hex(&bytes) == sha256);
    let part_of = |name: &str| frames.join(format!("{name}.part"));
    let complete = frame.files.iter().all(|file| {
        holds(&frames.join(&file.name), &file.sha256) || holds(&part_of(&file.name), &file.sha256)
    });
    complete
        && frame.files.iter().all(|file| {
            let place = frames.join(&file.name);
            holds(&place, &file.sha256) || Part::found(part_of(&file.name)).settle(&place).is_ok()
        })
}

/// Finds recorded files that are gone or changed, and files that no record knows.
fn compare(root: &Path, ledger: &mut Ledger, recovery: &mut Recovery) -> Result<(), FolderError> {
    let frames = root.join("frames");
    let mut known = HashSet::new();
    let mut gone = Vec::new();
    for frame in ledger.all_frames() {
        for file in &frame.files {
            known.insert(file.name.clone());
            match fs::metadata(frames.join(&file.name)) {
                Ok(meta) if meta.len() == file.bytes => {}
                Ok(_) => recovery.changed.push(file.name.clone()),
                Err(error) if error.kind() == io::ErrorKind::NotFound => {
                    recovery.gone.push(file.name.clone());
                    gone.push((frame.key(), frame.version));
                }
                Err(error) => {
                    return Err(PathError::at("cannot look at", &frames.join(&file.name))(error).into());
                }
            }
        }
    }
    for (key, version) in gone {
        ledger.forget_missing(&key, version);
    }
    for path in list(&frames)? {
        let name = file_name(&path);
        if !known.contains(&name)
            && !name.starts_with('.')
            && path.extension().is_none_or(|extension| extension != "part")
        {
            recovery.unclaimed.push(name);
        }
    }
    recovery.unclaimed.sort();
    Ok(())
}

/// Moves `.part` files and full inboxes of an earlier run out of the way, deleting nothing.
fn quarantine_leftovers(root: &Path, recovery: &mut Recovery) -> Result<(), FolderError> {
    let parts = list(&root.join("frames"))?
        .into_iter()
        .filter(|path| path.extension().is_some_and(|extension| extension == "part"));
    let mut leftovers: Vec<(PathBuf, String)> = parts.map(|path| (path.clone(), file_name(&path))).collect();
    for inbox in list(&root.join("incoming"))? {
        for path in list(&inbox)? {
            leftovers.push((path.clone(), format!("{}-{}", file_name(&inbox), file_name(&path))));
        }
    }
    let folder = root.join("quarantine");
    if !leftovers.is_empty() {
        create_folder(&folder)?;
    }
    for (path, name) in leftovers {
        let name = free_name(&folder, &name);
        move_without_replacing(&path, &folder.join(&name))?;
        recovery.quarantined.push(name);
    }
    for inbox in list(&root.join("incoming"))? {
        let _ = fs::remove_dir(inbox);
    }
    // Half-written state of a killed run; the state itself was never replaced.
    for path in
        list(root)?.into_iter().filter(|path| file_name(path).starts_with(super::durable::STATE_PREFIX))
    {
        remove_copy(&path);
    }
    Ok(())
}

/// A folder's entries; none when it does not exist.
fn list(folder: &Path) -> Result<Vec<PathBuf>, PathError> {
    match fs::read_dir(folder) {
        Ok(entries) => Ok(entries.filter_map(Result::ok).map(|entry| entry.path()).collect()),
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            Ok(Vec::new())
        }
        Err(error) => Err(PathError::at("cannot list", folder)(error)),
    }
}
