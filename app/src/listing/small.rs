//! Small pictures of a listing whose file type this program writes but does not read, for its sheet and preview.
//!
//! They lie in the set's cache, which may be deleted at any time: then its frames are finished once more.

use std::path::PathBuf;

use imaging::Picture;
use imaging::export::{Chroma, jpeg};
use session_core::journal::durable::{create_folder, replace_state};

use super::export::{MOVING_EDGE_PX, SHEET_EDGE_PX};
use super::finish::{Kitchen, Piece};
use super::folder::has_key;
use super::set::KeptSet;

/// Longest side, px: the larger of what sheet and preview take.
const EDGE_PX: u32 = if MOVING_EDGE_PX > SHEET_EDGE_PX { MOVING_EDGE_PX } else { SHEET_EDGE_PX };
const QUALITY: u8 = 95;

/// The small pictures of one set.
pub(super) struct Smalls {
    folder: PathBuf,
}

/// Where one of them lies, or is to lie.
pub(super) struct Small {
    path: PathBuf,
    key: String,
}

impl Smalls {
    /// Those of this set.
    pub fn of(set: &KeptSet) -> Self {
        Self { folder: set.dir.join("cache") }
    }

    /// The place of a picture's small one: one for each stop, made anew when what it is made with changes.
    pub fn place(&self, kitchen: &Kitchen<'_>, piece: &Piece<'_>) -> anyhow::Result<Small> {
        let key = kitchen.key(piece, &("small", EDGE_PX, QUALITY))?;
        Ok(Small { path: self.folder.join(format!("small-{:04}.jpg", piece.frame.stop)), key })
    }
}

impl Small {
    pub fn is_there(&self) -> bool {
        has_key(&self.path, &self.key).is_some()
    }

    pub fn read(&self) -> std::io::Result<Vec<u8>> {
        std::fs::read(&self.path)
    }

    /// Makes it from the finished picture.
    ///
    /// # Errors
    /// When the disk will not.
    pub fn write(&self, picture: &Picture, kitchen: &Kitchen<'_>, piece: &Piece<'_>) -> anyhow::Result<()> {
        let small = picture.clone().shrunk_to(EDGE_PX)?;
        let bytes = jpeg(&small, QUALITY, Chroma::Full, None, Some(&kitchen.xmp(piece, &self.key)))?;
        if let Some(folder) = self.path.parent() {
            create_folder(folder)?;
        }
        Ok(replace_state(&self.path, &bytes)?)
    }
}
