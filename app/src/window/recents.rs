//! Sets that were worked on before, as they stand on disk.

use std::path::PathBuf;

use session_core::journal::{SessionFolder, SetStatus};

use super::text::t;

/// One set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecentSet {
    /// Its folder.
    pub folder: PathBuf,
    /// Its SKU.
    pub sku: String,
    /// Stops with a frame in use.
    pub kept: usize,
    /// Its stops.
    pub stops: usize,
}

impl RecentSet {
    /// How far it is, in words.
    pub fn words(&self) -> String {
        if self.kept == self.stops {
            t!("recent-complete", stops = t!("count-stops", n = self.stops))
        } else {
            t!("recent-of", kept = self.kept, stops = t!("count-stops", n = self.stops))
        }
    }
}

/// Sees how each set stands; those that are gone are left out.
pub fn look(folders: Vec<PathBuf>) -> Vec<RecentSet> {
    let look = |folder: PathBuf| {
        let status: SetStatus = SessionFolder::read_status(&folder).ok()?;
        let (kept, stops) = (status.kept(), status.stops.len());
        Some(RecentSet { folder, sku: status.sku, kept, stops })
    };
    folders.into_iter().filter_map(look).collect()
}
