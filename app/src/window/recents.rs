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
    /// Whether every stop has a frame in use.
    pub fn is_complete(&self) -> bool {
        self.kept == self.stops
    }

    /// How far it is, in words.
    pub fn words(&self) -> String {
        if self.is_complete() {
            t!("recent-complete", stops = t!("count-stops", n = self.stops))
        } else {
            t!("recent-of", kept = self.kept, stops = t!("count-stops", n = self.stops))
        }
    }
}

/// Sees how each set stands; those that are gone are left out. Those that wait to be gone on with come first,
/// otherwise they stay in their order.
pub fn look(folders: Vec<PathBuf>) -> Vec<RecentSet> {
    let look = |folder: PathBuf| {
        let status: SetStatus = SessionFolder::read_status(&folder).ok()?;
        let (kept, stops) = (status.kept(), status.stops.len());
        Some(RecentSet { folder, sku: status.sku, kept, stops })
    };
    unfinished_first(folders.into_iter().filter_map(look).collect())
}

fn unfinished_first(mut sets: Vec<RecentSet>) -> Vec<RecentSet> {
    sets.sort_by_key(RecentSet::is_complete);
    sets
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_waits_to_be_gone_on_with_comes_first_and_the_newest_before_older_ones() {
        let set = |sku: &str, kept| RecentSet { folder: sku.into(), sku: sku.to_owned(), kept, stops: 8 };
        let found = unfinished_first(vec![set("LP-4", 8), set("LP-3", 2), set("LP-2", 8), set("LP-1", 0)]);
        let skus: Vec<&str> = found.iter().map(|set| set.sku.as_str()).collect();
        assert_eq!(skus, ["LP-3", "LP-1", "LP-4", "LP-2"]);
    }
}
