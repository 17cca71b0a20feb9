//! Turns finished pictures into what a shop takes: files, sheets, previews, a web page, a package.
//!
//! Invariant: everything here gives bytes; nothing writes to disk. The same pictures and the same words give
//! the same bytes, on any day.

#[cfg(feature = "avif")]
mod avif_file;
mod encode;
mod exif_block;
mod manifest;
mod metadata;
mod moving;
mod package;
mod page;
mod profile;
mod sequence;
mod sheet;
mod srgb_profile;
mod webp_file;

use thiserror::Error;

pub use encode::{Chroma, Encoded, FileType, encode_picture, jpeg};
pub use exif_block::{ExifChoice, kept_exif};
pub use manifest::{Listed, Manifest};
pub use metadata::{Labels, StopLabel, xmp_packet};
pub use moving::{MAX_MOVING_EDGE_PX, MovingKind, moving_preview};
pub use package::{PackageError, write_package};
pub use page::{PageFrame, page};
pub use profile::{ColourSpace, ListingProfile, ProfileError, thinned};
pub use sequence::{SEQUENCE_NOTE, SequenceFacts, even_sided, sequence_name, sequence_note};
pub use sheet::{SheetCell, sheet_jpeg, sheet_pdf};

use crate::picture::PictureError;

/// Says why a picture cannot be written as asked.
#[derive(Debug, Error)]
pub enum ExportError {
    /// The byte limit cannot be kept.
    #[error(
        "at {width_px} × {height_px} pixels the file takes {least_bytes} bytes even at quality {quality}, the profile allows {max_bytes}; raise max_bytes, lower min_quality or make the picture smaller"
    )]
    ByteLimit {
        /// Width in pixels.
        width_px: u32,
        /// Height in pixels.
        height_px: u32,
        /// The smallest the file gets.
        least_bytes: u64,
        /// At which quality.
        quality: u8,
        /// The limit.
        max_bytes: u64,
    },
    /// The encoder refused.
    #[error("the {format} encoder gave up: {reason}; try another file type or a smaller picture")]
    Encoder {
        /// Name of the format.
        format: &'static str,
        /// What it said.
        reason: String,
    },
    /// There are no pictures.
    #[error("there are no finished pictures to put into the {0}; finish the set first")]
    Nothing(&'static str),
    /// The profile asks for what cannot be done.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// A picture could not be resized.
    #[error(transparent)]
    Picture(#[from] PictureError),
}

impl ExportError {
    #[allow(clippy::needless_pass_by_value, reason = "an error's last use")]
    fn encoder(format: &'static str, reason: impl ToString) -> Self {
        Self::Encoder { format, reason: reason.to_string() }
    }
}
