//! Work on many pictures at once: as many as cores and memory allow, stopped at once when asked.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use session_core::cancel::CancelToken;

/// What is being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Light, axis and flags of each frame.
    Measuring,
    /// Outlines.
    Outlining,
    /// Pictures.
    Making,
}

impl Stage {
    /// Returns a word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Measuring => "measuring",
            Self::Outlining => "finding outlines",
            Self::Making => "finishing",
        }
    }
}

/// How far the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub stage: Stage,
    /// Pieces done.
    pub done: usize,
    /// Pieces in all.
    pub of: usize,
}

/// Tells of progress, and takes the wish to stop.
pub struct Meter<'a> {
    /// Raised when the work is to stop.
    pub cancel: &'a CancelToken,
    /// Called after each piece, from any thread.
    pub tell: &'a (dyn Fn(Progress) + Sync),
    /// Most pictures worked on at once; `None` for as many as the machine allows.
    pub most_at_once: Option<usize>,
}

/// Share of free memory that pictures in flight may take.
const MEMORY_SHARE: f64 = 0.6;
/// Assumed where the system does not tell, bytes.
const MEMORY_UNKNOWN: u64 = 2 * 1024 * 1024 * 1024;

impl Meter<'_> {
    /// How many pieces that need `bytes_each` may run at once; at least one.
    fn workers(&self, bytes_each: u64) -> usize {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        let fit = (free_memory() as f64 * MEMORY_SHARE / bytes_each.max(1) as f64) as usize;
        cores.min(fit).min(self.most_at_once.unwrap_or(usize::MAX)).max(1)
    }

    /// Works on every piece; results in the order of the pieces.
    ///
    /// # Errors
    /// The first piece's error in that order, or that the work was stopped; what others finished meanwhile
    /// stays on disk.
    pub(super) fn each<T: Sync, R: Send>(
        &self,
        stage: Stage,
        pieces: &[T],
        bytes_each: u64,
        work: impl Fn(&T) -> anyhow::Result<R> + Sync,
    ) -> anyhow::Result<Vec<R>> {
        let next = AtomicUsize::new(0);
        let done = AtomicUsize::new(0);
        let failed = CancelToken::default();
        let results: Mutex<Vec<(usize, anyhow::Result<R>)>> = Mutex::new(Vec::with_capacity(pieces.len()));
        (self.tell)(Progress { stage, done: 0, of: pieces.len() });
        std::thread::scope(|scope| {
            for _ in 0..self.workers(bytes_each).min(pieces.len()) {
                scope.spawn(|| {
                    while !self.cancel.is_cancelled() && !failed.is_cancelled() {
                        let number = next.fetch_add(1, Ordering::SeqCst);
                        let Some(piece) = pieces.get(number) else { return };
                        let result = work(piece);
                        if result.is_err() {
                            failed.cancel();
                        }
                        if let Ok(mut results) = results.lock() {
                            results.push((number, result));
                        }
                        let done = done.fetch_add(1, Ordering::SeqCst) + 1;
                        (self.tell)(Progress { stage, done, of: pieces.len() });
                    }
                });
            }
        });
        let mut results = results.into_inner().unwrap_or_default();
        results.sort_by_key(|(number, _)| *number);
        let results = results.into_iter().map(|(_, r)| r).collect::<anyhow::Result<Vec<R>>>()?;
        anyhow::ensure!(
            !self.cancel.is_cancelled() && results.len() == pieces.len(),
            "stopped; run it again to go on where it was"
        );
        Ok(results)
    }
}

/// Memory that can be had without swapping, bytes.
fn free_memory() -> u64 {
    // Linux: proc(5), MemAvailable in KiB.
    let told = std::fs::read_to_string("/proc/meminfo").ok().and_then(|text| {
        let line = text.lines().find(|line| line.starts_with("MemAvailable:"))?;
        line.split_whitespace().nth(1)?.parse::<u64>().ok()
    });
    told.map_or(MEMORY_UNKNOWN, |kib| kib * 1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_and_the_first_error_wins() {
        let cancel = CancelToken::default();
        let told = AtomicUsize::new(0);
        let tell = |_: Progress| {
            told.fetch_add(1, Ordering::SeqCst);
        };
        let meter = Meter { cancel: &cancel, tell: &tell, most_at_once: Some(2) };
        let pieces: Vec<u32> = (0..20).collect();
        let doubled = meter.each(Stage::Making, &pieces, 1, |n| Ok(n * 2)).unwrap();
        assert_eq!(doubled, pieces.iter().map(|n| n * 2).collect::<Vec<_>>());
        assert_eq!(told.load(Ordering::SeqCst), 21);
        let error = meter.each(Stage::Making, &pieces, 1, |n| {
            anyhow::ensure!(*n < 3, "piece {n}");
            Ok(())
        });
        assert_eq!(error.unwrap_err().to_string(), "piece 3");
        cancel.cancel();
        let stopped = meter.each(Stage::Making, &pieces, 1, |_| Ok(()));
        assert!(stopped.unwrap_err().to_string().contains("run it again"));
    }

    #[test]
    fn little_memory_means_one_at_a_time() {
        let cancel = CancelToken::default();
        let meter = Meter { cancel: &cancel, tell: &|_| {}, most_at_once: None };
        assert_eq!(meter.workers(u64::MAX), 1);
    }
}
