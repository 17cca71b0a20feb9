//! Lossy WebP, still or moving: libwebp codes the pictures, the container round them is laid here.
//!
//! RFC 9649, 2.7: an extended file is `RIFF size WEBP`, then VP8X with flags and size, ICCP, the picture's
//! own chunk or ANIM and one ANMF a frame, EXIF and XMP, each padded to an even length.

use super::ExportError;
use super::srgb_profile::srgb_profile;
use crate::picture::Picture;

const HAS_PROFILE: u8 = 0x20;
const HAS_EXIF: u8 = 0x08;
const HAS_XMP: u8 = 0x04;
const MOVES: u8 = 0x02;
/// Of a frame of a moving picture: it takes the place of what was shown.
const NO_BLENDING: u8 = 0x02;
/// The longest side of a WebP picture.
const MAX_SIDE_PX: u32 = 16_383;
/// The longest time a frame can be shown, milliseconds: 24 bits.
const MAX_FRAME_MS: u32 = 0xFF_FFFF;

/// Codes a WebP file.
pub(super) fn webp(
    picture: &Picture,
    quality: u8,
    exif: Option<&[u8]>,
    xmp: &str,
) -> Result<Vec<u8>, ExportError> {
    let mut flags = HAS_PROFILE | HAS_XMP;
    if exif.is_some() {
        flags |= HAS_EXIF;
    }
    let picture_chunk = coded(picture, quality)?;
    let mut body = header(flags, (picture.width_px(), picture.height_px()));
    body.extend_from_slice(&picture_chunk);
    if let Some(block) = exif {
        push_chunk(&mut body, *b"EXIF", block);
    }
    push_chunk(&mut body, *b"XMP ", xmp.as_bytes());
    Ok(file(&body))
}

/// Codes pictures of one size as a moving WebP, each shown for `frame_ms`, again and again.
pub(super) fn moving_webp(pictures: &[Picture], quality: u8, frame_ms: u32) -> Result<Vec<u8>, ExportError> {
    let first = pictures.first().ok_or(ExportError::Nothing("moving preview"))?;
    let size = (first.width_px(), first.height_px());
    let mut body = header(HAS_PROFILE | MOVES, size);
    // A white background, blue first; shown without end.
    push_chunk(&mut body, *b"ANIM", &[255, 255, 255, 255, 0, 0]);
    for picture in pictures {
        if (picture.width_px(), picture.height_px()) != size {
            return Err(ExportError::encoder("WebP", "the pictures differ in size"));
        }
        // At the upper left corner; no blending, as each frame fills the whole.
        let mut frame = vec![0; 6];
        frame.extend(sides(size));
        frame.extend_from_slice(&frame_ms.min(MAX_FRAME_MS).to_le_bytes()[..3]);
        frame.push(NO_BLENDING);
        frame.extend(coded(picture, quality)?);
        push_chunk(&mut body, *b"ANMF", &frame);
    }
    Ok(file(&body))
}

/// Codes one picture as a chunk of its own.
fn coded(picture: &Picture, quality: u8) -> Result<Vec<u8>, ExportError> {
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
    let chunk = coded
        .get(12..)
        .filter(|chunk| chunk.starts_with(b"VP8 "))
        .ok_or_else(|| ExportError::encoder("WebP", "it gave an unknown kind of file"))?;
    Ok(chunk.to_vec())
}

/// Width and height less one, 24 bits each.
fn sides((width_px, height_px): (u32, u32)) -> [u8; 6] {
    let ([a, b, c, _], [d, e, f, _]) = ((width_px - 1).to_le_bytes(), (height_px - 1).to_le_bytes());
    [a, b, c, d, e, f]
}

/// What stands before the pictures.
fn header(flags: u8, size: (u32, u32)) -> Vec<u8> {
    let mut body = b"WEBP".to_vec();
    push_chunk(&mut body, *b"VP8X", &[[flags, 0, 0, 0].as_slice(), &sides(size)].concat());
    push_chunk(&mut body, *b"ICCP", srgb_profile());
    body
}

fn file(body: &[u8]) -> Vec<u8> {
    [b"RIFF".as_slice(), &(body.len() as u32).to_le_bytes(), body].concat()
}

fn push_chunk(to: &mut Vec<u8>, name: [u8; 4], data: &[u8]) {
    to.extend_from_slice(&name);
    to.extend_from_slice(&(data.len() as u32).to_le_bytes());
    to.extend_from_slice(data);
    if data.len() % 2 == 1 {
        to.push(0);
    }
}
