//! The session's event log: what the engine was told and when, for replay and for proof of overlap.
//!
//! It lies in `cache/`, is not synced, and nothing depends on it.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::time::Duration;

use serde::Serialize;

use crate::engine::Event;

/// Writes one line an event; falls silent when the disk will not take it.
pub(super) struct EventLog(Option<BufWriter<File>>);

#[derive(Serialize)]
struct Line<'a> {
    ms: u64,
    event: &'a Event,
}

impl EventLog {
    pub fn open(cache: &Path) -> Self {
        let file = File::options().create(true).append(true).open(cache.join("events.jsonl"));
        Self(file.ok().map(BufWriter::new))
    }

    pub fn note(&mut self, now: Duration, event: &Event) {
        let Some(file) = &mut self.0 else { return };
        let line = Line { ms: now.as_millis() as u64, event };
        let written = serde_json::to_string(&line).map_err(std::io::Error::from).and_then(|text| {
            writeln!(file, "{text}")?;
            file.flush()
        });
        if written.is_err() {
            self.0 = None;
        }
    }
}
