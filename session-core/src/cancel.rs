//! A flag that asks a device to stop what it is doing.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Asks a running turn or exposure to end early; clones share the flag.
#[derive(Debug, Clone, Default)]
pub struct CancelToken(Arc<AtomicBool>);

impl CancelToken {
    /// Raises the flag.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// Lowers the flag for the next piece of work.
    pub fn reset(&self) {
        self.0.store(false, Ordering::SeqCst);
    }

    /// Whether the flag is up.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}
