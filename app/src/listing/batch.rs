//! Work on many pictures at once: as many as cores and memory allow, stopped at once when asked.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use session_core::cancel::CancelToken;

/// What is being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Light, axis, outline and flags of each frame.
    Measuring,
    /// Pictures.
    Making,
}

impl Stage {
    /// Returns a word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Measuring => "measuring",
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
        at_once(cores, free_memory(), bytes_each).min(self.most_at_once.unwrap_or(usize::MAX))
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

/// How many pieces may run at once on so many cores and in so much memory; at least one.
fn at_once(cores: usize, free_bytes: u64, bytes_each: u64) -> usize {
    let fit = (free_bytes as f64 * MEMORY_SHARE / bytes_each.max(1) as f64) as usize;
    cores.min(fit).max(1)
}

/// Memory that can be had without swapping and within the limit of the control group, bytes.
fn free_memory() -> u64 {
    let read = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
    let machine = available(&read("/proc/meminfo")).unwrap_or(MEMORY_UNKNOWN);
    let group = group_room(&read("/sys/fs/cgroup/memory.max"), &read("/sys/fs/cgroup/memory.current"));
    machine.min(group.unwrap_or(u64::MAX))
}

/// Linux, proc(5): `MemAvailable` in KiB.
fn available(meminfo: &str) -> Option<u64> {
    let line = meminfo.lines().find(|line| line.starts_with("MemAvailable:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}

/// Linux, cgroup v2: both in bytes; `max` stands for no limit.
fn group_room(limit: &str, used: &str) -> Option<u64> {
    Some(limit.trim().parse::<u64>().ok()?.saturating_sub(used.trim().parse().ok()?))
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
    fn no_more_at_once_than_cores_and_memory_allow() {
        const MIB: u64 = 1024 * 1024;
        // 390 MiB is about what a 24-megapixel frame is counted with.
        assert_eq!(at_once(16, 64_000 * MIB, 390 * MIB), 16);
        assert_eq!(at_once(16, 2_000 * MIB, 390 * MIB), 3);
        assert_eq!(at_once(16, 100 * MIB, 390 * MIB), 1);
        let cancel = CancelToken::default();
        let meter = |most_at_once| Meter { cancel: &cancel, tell: &|_| {}, most_at_once };
        assert_eq!(meter(None).workers(u64::MAX), 1);
        assert_eq!(meter(Some(1)).workers(1), 1);
        assert_eq!(available("MemFree: 5 kB\nMemAvailable:    2048 kB\n"), Some(2 * MIB));
        assert_eq!(group_room("max\n", "5\n"), None);
        assert_eq!(group_room("1000\n", "400\n"), Some(600));
        assert_eq!(group_room("1000\n", "4000\n"), Some(0));
    }

    /// However many pieces and products there are, no more are ever in work than were allowed.
    #[test]
    fn pieces_in_work_never_exceed_what_was_allowed() {
        let cancel = CancelToken::default();
        let meter = Meter { cancel: &cancel, tell: &|_| {}, most_at_once: Some(3) };
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        for _product in 0..5 {
            let pieces: Vec<u32> = (0..40).collect();
            let work = |_: &u32| {
                most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                std::thread::yield_now();
                now.fetch_sub(1, Ordering::SeqCst);
                Ok(())
            };
            meter.each(Stage::Making, &pieces, 1, work).unwrap();
        }
        assert!((1..=3).contains(&most.load(Ordering::SeqCst)), "{most:?}");
    }
}
