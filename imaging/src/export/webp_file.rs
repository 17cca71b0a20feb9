//! Lossy WebP with metadata: libwebp codes the picture, the container round it is laid here.
//!
//! RFC 9649, 2.7: an extended file is `RIFF size WEBP`, then VP8X with flags and size, ICCP, the picture's
//! own chunk, EXIF and XMP, each padded to an even length.

use super::ExportError;
use super::srgb_profile::srgb_profile;
use crate::picture::Picture;

const HAS_PROFILE: u8 = 0x20;
const HAS_EXIF: u8 = 0x08;
const HAS_XMP: u8 = 0x04;
/// The longest side of a WebP picture.
const MAX_SIDE_PX: u32 = 16_383;

/// Codes a WebP file.
pub(super) fn webp(
    picture: &Picture,
    quality: u8,
    exif: Option<&[u8]>,
    xmp: &str,
) -> Result<Vec<u8>, ExportError> {
    let (width_px, height_px) = (picture.width_px(), picture.height_px());
    if width_px > MAX_SIDE_PX || height_px > MAX_SIDE_PX {
        return Err(ExportError::encoder(
            "WebP",
            format!("{width_px} × {height_px} pixels are more than it can hold"),
        ));
    }
    let coded = webp::Encoder::from_rgb(picture.rgb(), width_px, height_px)
        .encode_simple(false, f32::from(quality))
        .map_err(|e| ExportError::encoder("WebP", format!("{e:?}")))?;
    // What libwebp gives is a simple file: 12 bytes of RIFF header, then the picture's chunk.
    let picture_chunk = coded
        .get(12..)
        .filter(|chunk| chunk.starts_with(b"VP8 "))
        .ok_or_else(|| ExportError::encoder("WebP", "it gave an unknown kind of file"))?;
    let mut flags = HAS_PROFILE | HAS_XMP;
    if exif.is_some() {
        flags |= HAS_EXIF;
    }
    let mut extended = vec![flags, 0, 0, 0];
    extended.extend_from_slice(&(width_px - 1).to_le_bytes()[..3]);
    extended.extend_from_slice(&(height_px - 1).to_le_bytes()[..3]);
    let mut body = b"WEBP".to_vec();
    push_chunk(&mut body, *b"VP8X", &extended);
    push_chunk(&mut body, *b"ICCP", srgb_profile());
    body.extend_from_slice(picture_chunk);
    if let Some(block) = exif {
        push_chunk(&mut body, *b"EXIF", block);
    }
    push_chunk(&mut body, *b"XMP ", xmp.as_bytes());
    let mut file = b"RIFF".to_vec();
    file.extend_from_slice(&(body.len() as u32).to_le_bytes());
    file.extend_from_slice(&body);
    Ok(file)
}

fn push_chunk(to: &mut Vec<u8>, name: [u8; 4], data: &[u8]) {
    to.extend_from_slice(&name);
    to.extend_from_slice(&(data.len() as u32).to_le_bytes());
    to.extend_from_slice(data);
    if data.len() % 2 == 1 {
        to.push(0);
    }
}
