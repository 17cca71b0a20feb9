//! Which way up the camera was held, from the EXIF block.

use exif::{In, Reader, Tag};

/// Reads the Orientation value (1 to 8) from a TIFF-structured EXIF block; anything that
/// cannot be read counts as upright, 1.
pub(super) fn of_exif(block: &[u8]) -> u16 {
    let read = Reader::new().continue_on_error(true).read_raw(block.to_vec());
    let parsed = read.or_else(|error| error.distill_partial_result(|_| ()));
    parsed
        .ok()
        .and_then(|exif| exif.get_field(Tag::Orientation, In::PRIMARY)?.value.get_uint(0))
        .and_then(|value| u16::try_from(value).ok())
        .filter(|value| (1..=8).contains(value))
        .unwrap_or(1)
}

/// Returns the size of an upright picture from its stored size.
pub(super) fn upright_size(width_px: u32, height_px: u32, orientation: u16) -> (u32, u32) {
    if (5..=8).contains(&orientation) { (height_px, width_px) } else { (width_px, height_px) }
}
