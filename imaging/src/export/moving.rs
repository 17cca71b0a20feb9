//! A short moving preview that turns once and again: an animated WebP, or a GIF (`GIF89a`) where nothing else is
//! taken.

use image::codecs::gif::{GifEncoder, Repeat};
use image::{Delay, Frame, RgbaImage};
use serde::{Deserialize, Serialize};

use super::{ExportError, webp_file};
use crate::picture::Picture;

/// Longest side of a moving preview in pixels; larger ones are no preview any more.
pub const MAX_MOVING_EDGE_PX: u32 = 640;

/// Shortest time a frame can be shown: many viewers slow down anything under 20 ms (common practice, no
/// source).
const LEAST_FRAME_MS: f64 = 20.0;
/// Quality of a moving WebP: fine on a screen at that size (common practice, no source).
const WEBP_QUALITY: u8 = 75;

/// What a moving preview is coded as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MovingKind {
    /// RFC 9649: true colours, a fraction of a GIF's size; every browser of the day shows it.
    #[default]
    WebP,
    /// 256 colours a frame, but shown everywhere.
    Gif,
}

impl MovingKind {
    /// Returns the usual ending of file names.
    pub fn extension(self) -> &'static str {
        match self {
            Self::WebP => "webp",
            Self::Gif => "gif",
        }
    }
}

/// Codes pictures of one size as one turn of `turn_secs` seconds, again and again.
///
/// # Errors
/// [`ExportError::Nothing`] without pictures; what the encoder says.
pub fn moving_preview(
    kind: MovingKind,
    pictures: Vec<Picture>,
    turn_secs: f64,
) -> Result<Vec<u8>, ExportError> {
    if pictures.is_empty() {
        return Err(ExportError::Nothing("moving preview"));
    }
    let frame_ms = (turn_secs * 1000.0 / pictures.len() as f64).max(LEAST_FRAME_MS);
    let pictures: Vec<Picture> =
        pictures.into_iter().map(|p| p.shrunk_to(MAX_MOVING_EDGE_PX)).collect::<Result<_, _>>()?;
    match kind {
        MovingKind::WebP => webp_file::moving_webp(&pictures, WEBP_QUALITY, frame_ms.round() as u32),
        // GIF counts in hundredths of a second.
        MovingKind::Gif => moving_gif(pictures, (frame_ms / 10.0).round() as u32 * 10),
    }
}

fn moving_gif(pictures: Vec<Picture>, frame_ms: u32) -> Result<Vec<u8>, ExportError> {
    let fail = |e: image::ImageError| ExportError::encoder("GIF", e);
    let mut out = Vec::new();
    {
        // 10 of 30: a palette a frame, chosen with care but not for minutes.
        let mut encoder = GifEncoder::new_with_speed(&mut out, 10);
        encoder.set_repeat(Repeat::Infinite).map_err(fail)?;
        for picture in pictures {
            let rgba: Vec<u8> = picture.rgb().chunks_exact(3).flat_map(|p| [p[0], p[1], p[2], 255]).collect();
            let image = RgbaImage::from_raw(picture.width_px(), picture.height_px(), rgba)
                .ok_or_else(|| ExportError::encoder("GIF", "a picture has the wrong size"))?;
            let delay = Delay::from_numer_denom_ms(frame_ms, 1);
            encoder.encode_frame(Frame::from_parts(image, 0, 0, delay)).map_err(fail)?;
        }
    }
    Ok(out)
}
