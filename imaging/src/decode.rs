//! Turns a camera's file into pixels: quickly at reduced size, or whole.
//!
//! A card reader pulled too early, a full disk, a renamed file: whatever the bytes are, the
//! answer is a value. A damaged JPEG still gives the part that can be read, with a note, so
//! that the photographer sees what is left and retakes the stop.

mod general;
mod inks;
mod jpeg;
mod orientation;
mod raw_preview;

use crate::picture::{Picture, PictureError, fit_within};
use thiserror::Error;

/// Most pixels a file may hold: more than any camera makes, less than what would exhaust
/// memory.
pub const MAX_PIXELS: u64 = 200_000_000;

/// Says why a file gave no picture at all.
#[derive(Debug, Error)]
pub enum DecodeError {
    /// The file has no bytes.
    #[error("the file is empty; fetch the frame from the camera again or retake the stop")]
    Empty,
    /// The bytes are of no known picture format.
    #[error(
        "the file is no picture this program can read (JPEG, PNG, TIFF, WebP, BMP, or a RAW file with a JPEG preview); set the camera to JPEG or RAW+JPEG"
    )]
    UnknownFormat,
    /// A RAW file holds no JPEG preview.
    #[error(
        "the RAW file holds no JPEG preview that can be shown; set the camera to RAW+JPEG to see its frames"
    )]
    NoPreview,
    /// The file claims a size that no camera makes.
    #[error(
        "the file claims {width_px} × {height_px} pixels, more than the {} megapixels allowed; it is damaged or no camera frame", MAX_PIXELS / 1_000_000
    )]
    TooLarge {
        /// Width claimed, in pixels.
        width_px: u32,
        /// Height claimed, in pixels.
        height_px: u32,
    },
    /// The file is of a known format but nothing of it can be read.
    #[error(
        "the {format} file cannot be read: {reason}; fetch the frame from the camera again or retake the stop"
    )]
    Unreadable {
        /// Name of the format.
        format: &'static str,
        /// What the codec found.
        reason: String,
    },
    /// The decoded picture could not be resized.
    #[error(transparent)]
    Picture(#[from] PictureError),
}

/// A decoded file, upright.
#[derive(Debug, Clone)]
pub struct Decoded {
    /// The pixels, turned upright as the file's EXIF orientation says.
    pub picture: Picture,
    /// Width and height of the whole frame in pixels, upright, before any reduction.
    pub full_size_px: (u32, u32),
    /// What was wrong with the file, if part of it could not be read; the rest of the picture
    /// is usually grey.
    pub damaged: Option<String>,
    /// The embedded ICC profile, if the file carries one that its pixels still need.
    pub icc_profile: Option<Vec<u8>>,
    /// Why the colours of a file of printing inks (CMYK) are only guessed, if they are.
    pub inks_guessed: Option<String>,
}

/// Decodes a small picture of at most `max_edge_px` on its longer side, as fast as the format
/// allows: a JPEG is decoded at an eighth, a quarter or half of its size.
///
/// A frame smaller than that keeps its size.
pub fn thumbnail(bytes: &[u8], max_edge_px: u32) -> Result<Decoded, DecodeError> {
    decode(bytes, Want::AtMost { edge_px: max_edge_px, quick: true })
}

/// Decodes a picture of at most `max_edge_px` on its longer side for close viewing: chroma is
/// interpolated and every step uses the accurate method.
pub fn preview(bytes: &[u8], max_edge_px: u32) -> Result<Decoded, DecodeError> {
    decode(bytes, Want::AtMost { edge_px: max_edge_px, quick: false })
}

/// Decodes for measuring: at the largest eighth-fraction of a JPEG that the codec can make fast and that
/// is no larger than `max_edge_px`, and never resized, so that a column of the whole frame is
/// exactly the column found × full width / reduced width of the grid.
///
/// Other formats are shrunk to `max_edge_px`.
pub fn measuring(bytes: &[u8], max_edge_px: u32) -> Result<Decoded, DecodeError> {
    decode(bytes, Want::NoLarger { edge_px: max_edge_px })
}

/// Decodes at the smallest of an eighth, a quarter, half and all of a JPEG's size that has at least `edge_px`
/// on its longer side, and never resizes, so that the rest of the way can be gone in linear light.
///
/// Other formats, and frames smaller than that, keep their size.
pub fn at_least(bytes: &[u8], edge_px: u32) -> Result<Decoded, DecodeError> {
    decode(bytes, Want::AtLeast { edge_px })
}

/// Decodes every pixel.
pub fn full(bytes: &[u8]) -> Result<Decoded, DecodeError> {
    decode(bytes, Want::Everything)
}

/// Reads the frame's upright width and height in pixels without decoding it.
///
/// For a RAW file these are the size of the preview that would be decoded.
pub fn dimensions(bytes: &[u8]) -> Result<(u32, u32), DecodeError> {
    match Format::of(bytes)? {
        Format::Jpeg => jpeg::dimensions(bytes),
        Format::Tiff => match raw_preview::largest(bytes) {
            raw_preview::Found::Jpeg { jpeg, orientation } => {
                let (width_px, height_px) = jpeg::stored_size(jpeg)?;
                Ok(orientation::upright_size(width_px, height_px, orientation))
            }
            raw_preview::Found::PlainTiff => general::dimensions(bytes, general::Kind::Tiff),
            raw_preview::Found::CutShort => Err(cut_short()),
            raw_preview::Found::Nothing => Err(DecodeError::NoPreview),
        },
        Format::General(kind) => general::dimensions(bytes, kind),
    }
}

/// How much of a picture is wanted.
#[derive(Debug, Clone, Copy)]
enum Want {
    Everything,
    AtMost { edge_px: u32, quick: bool },
    AtLeast { edge_px: u32 },
    NoLarger { edge_px: u32 },
}

/// A format told by the file's first bytes; its name may lie.
enum Format {
    Jpeg,
    Tiff,
    General(general::Kind),
}

impl Format {
    fn of(bytes: &[u8]) -> Result<Self, DecodeError> {
        if bytes.is_empty() {
            return Err(DecodeError::Empty);
        }
        if bytes.starts_with(&[0xFF, 0xD8]) {
            return Ok(Self::Jpeg);
        }
        if raw_preview::is_tiff_like(bytes) {
            return Ok(Self::Tiff);
        }
        general::Kind::of(bytes).map(Self::General).ok_or(DecodeError::UnknownFormat)
    }
}

fn decode(bytes: &[u8], want: Want) -> Result<Decoded, DecodeError> {
    match Format::of(bytes)? {
        Format::Jpeg => jpeg::decode(bytes, want, None),
        Format::Tiff => match raw_preview::largest(bytes) {
            raw_preview::Found::Jpeg { jpeg, orientation } => jpeg::decode(jpeg, want, Some(orientation)),
            raw_preview::Found::PlainTiff => general::decode(bytes, general::Kind::Tiff, want),
            raw_preview::Found::CutShort => Err(cut_short()),
            raw_preview::Found::Nothing => Err(DecodeError::NoPreview),
        },
        Format::General(kind) => general::decode(bytes, kind, want),
    }
}

/// What a file like TIFF is that ends before its directory.
fn cut_short() -> DecodeError {
    DecodeError::Unreadable {
        format: "TIFF or RAW",
        reason: "it is cut short, its directory is missing".to_owned(),
    }
}

/// Refuses sizes that no camera makes.
fn check_size(width_px: u32, height_px: u32) -> Result<(), DecodeError> {
    if u64::from(width_px) * u64::from(height_px) > MAX_PIXELS {
        return Err(DecodeError::TooLarge { width_px, height_px });
    }
    Ok(())
}

/// Shrinks to what was wanted and turns upright.
fn finish(
    picture: Picture,
    stored_size_px: (u32, u32),
    orientation: u16,
    want: Want,
    damaged: Option<String>,
    icc_profile: Option<Vec<u8>>,
) -> Result<Decoded, DecodeError> {
    let picture = match want {
        Want::Everything | Want::AtLeast { .. } => picture,
        // A JPEG has been reduced by the codec itself.
        Want::NoLarger { edge_px } if picture.width_px().max(picture.height_px()) <= edge_px => picture,
        Want::AtMost { edge_px, .. } | Want::NoLarger { edge_px } => {
            // From the stored size, so that the reduced decoding's rounding does not show.
            let (width_px, height_px) = fit_within(stored_size_px.0, stored_size_px.1, edge_px.max(1));
            picture.resized(width_px, height_px)?
        }
    };
    Ok(Decoded {
        picture: picture.upright(orientation),
        full_size_px: orientation::upright_size(stored_size_px.0, stored_size_px.1, orientation),
        damaged,
        icc_profile,
        inks_guessed: None,
    })
}
