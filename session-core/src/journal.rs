//! The session folder: originals, an append-only journal, and what a crash may still lose.
//!
//! Order of every frame: intent journalled and synced, bytes to a `.part` file in the same folder,
//! synced, renamed without replacing anything, folder synced, record appended and synced. Only after
//! that does a frame count as kept. So a kill at any instant loses at most a frame that was never
//! reported as kept, and opening the folder again shows exactly what is on disk.

/// A session folder's plan and state: [`SessionFile`] as JSON.
pub const SESSION_FILE: &str = "session.json";
/// A session folder's journal, one record a line.
pub const JOURNAL_FILE: &str = "journal.jsonl";

mod checks;
pub mod durable;
mod exif_facts;
mod folder;
mod keep;
mod ledger;
mod log;
mod record;
mod recover;
mod status;

pub use exif_facts::{ExposureFacts, exposure_facts};
pub use folder::{ChoiceError, FolderError, SessionFile, SessionFolder};
pub(crate) use keep::sha256_hex;
pub use keep::{KeepJob, KeptFrame};
pub use ledger::{Frame, Ledger, StopKey};
pub use log::{Journal, JournalError};
pub use record::{ADOPTED, Entry, FileFacts, FrameRecord, Record};
pub use recover::Recovery;
pub use status::{ClosingReport, SetStatus, StopReport, VersionReport};
