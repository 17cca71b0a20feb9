//! What checks found, on record with the frame it was found on.

use std::collections::BTreeSet;
use std::time::Duration;

use super::folder::SessionFolder;
use super::ledger::Frame;
use super::log::JournalError;
use super::record::{FrameRecord, Record};
use crate::check::{Finding, FlagPolicy, FrameToCheck};
use crate::engine::ChecksSeed;
use crate::plan::Stop;

impl SessionFolder {
    /// The frames in use of a row, in the order of the plan.
    pub fn row_to_check(&self, row: usize) -> Vec<FrameToCheck> {
        self.frames_of_row(row, |_, frame| frame.in_use())
    }

    /// The frames of a stop's row as they stand about one of its versions, whether that is in use or not.
    pub fn row_about(&self, stop: u32, version: u32) -> Vec<FrameToCheck> {
        let row = self.shots().iter().find(|known| known.index == stop).map(|known| known.row);
        let Some(row) = row else { return Vec::new() };
        self.frames_of_row(row, |at, frame| {
            let this = frame.versions.iter().find(|kept| kept.version == version);
            if at.index == stop { this } else { frame.in_use() }
        })
    }

    fn frames_of_row(
        &self,
        row: usize,
        pick: impl for<'a> Fn(&Stop, &'a Frame) -> Option<&'a FrameRecord>,
    ) -> Vec<FrameToCheck> {
        let frames = self.frames_folder();
        self.with_ledger(|ledger| {
            let in_row = self.shots().iter().filter(|stop| stop.row == row);
            in_row
                .filter_map(|stop| {
                    let key = self.key_of(stop);
                    // From anywhere else than a turn on it would tell of the way there, not of the turn.
                    if stop.closing && !ledger.is_a_turn_on(&key.row, key.angle, self.steps_per_turn()) {
                        return None;
                    }
                    let record = pick(stop, ledger.frame(&key)?)?;
                    Some(FrameToCheck {
                        stop: stop.index,
                        version: record.version,
                        degrees: stop.planned_degrees(),
                        closing: stop.closing,
                        path: frames.join(&record.files.first()?.name),
                    })
                })
                .collect()
        })
    }

    /// Journals what was found on a frame, unless the same is on record already.
    ///
    /// # Errors
    /// When the journal cannot be written.
    pub fn note_finding(&self, finding: &Finding) -> Result<(), JournalError> {
        let Some(stop) = self.shots().iter().find(|stop| stop.index == finding.stop) else { return Ok(()) };
        let key = self.key_of(stop);
        let is_known = self.with_ledger(|ledger| {
            let Some(frame) = ledger.frame(&key) else { return false };
            let seen = frame.seen_angles.get(&finding.version);
            frame.found.get(&finding.version) == Some(&finding.flags)
                && (finding.seen_angle.is_none() || seen == finding.seen_angle.as_ref())
        });
        if is_known {
            return Ok(());
        }
        self.append(Record::Checked {
            row: key.row,
            angle: key.angle,
            closing: key.closing,
            version: finding.version,
            flags: finding.flags.clone(),
            seen_angle: finding.seen_angle.clone(),
        })
    }

    /// Journals that these frames of a row were judged together, unless others are in use by now.
    ///
    /// # Errors
    /// When the journal cannot be written.
    pub fn note_row_checked(&self, row: usize, judged: &[FrameToCheck]) -> Result<(), JournalError> {
        match self.plan().rows.get(row) {
            Some(named) if self.row_to_check(row) == judged => {
                self.append(Record::RowChecked { row: named.name.clone() })
            }
            _ => Ok(()),
        }
    }

    /// What the engine needs to know of earlier checks.
    pub fn checks_seed(&self, policy: FlagPolicy, patience: Duration) -> ChecksSeed {
        let mut seed = ChecksSeed { policy, patience, ..ChecksSeed::default() };
        self.with_ledger(|ledger| {
            for stop in self.shots() {
                let key = self.key_of(stop);
                let Some(frame) = ledger.frame(&key) else { continue };
                for (version, flags) in &frame.found {
                    let kinds: BTreeSet<_> = flags.iter().map(|flag| flag.kind).collect();
                    seed.found.push((stop.index, *version, kinds));
                }
                // Sets that were shot or adopted without checks are left as they are.
                if !frame.found.is_empty() && !ledger.is_row_checked(&key.row) {
                    seed.open_rows.insert(stop.row);
                }
            }
        });
        seed
    }
}
