//! Catches what libgphoto2 says beside its error codes: 'PTP Store Full' rather than 'Unspecified error'.

use std::sync::{Mutex, PoisonError};

static SAID: Mutex<Option<String>> = Mutex::new(None);

struct Catcher;

impl log::Log for Catcher {
    fn enabled(&self, metadata: &log::Metadata<'_>) -> bool {
        metadata.level() == log::Level::Error
    }

    fn log(&self, record: &log::Record<'_>) {
        if self.enabled(record.metadata()) {
            let text = record.args().to_string();
            *SAID.lock().unwrap_or_else(PoisonError::into_inner) = Some(text.trim().to_owned());
        }
    }

    fn flush(&self) {}
}

/// Begins to catch; before the library's context is made, which looks once whether anybody listens.
pub fn catch() {
    // Fails only when somebody listens already.
    if log::set_logger(&Catcher).is_ok() {
        log::set_max_level(log::LevelFilter::Error);
    }
}

/// The last thing said since the last call.
pub fn take() -> Option<String> {
    SAID.lock().unwrap_or_else(PoisonError::into_inner).take().filter(|text| !text.is_empty())
}
