//! A short moving preview: an animated GIF (`GIF89a`) that turns once and again.

use image::codecs::gif::{GifEncoder, Repeat};
use image::{Delay, Frame, RgbaImage};

use super::ExportError;
use crate::picture::Picture;

/// Longest side of a moving preview in pixels; larger ones are no preview any more.
pub const MAX_MOVING_EDGE_PX: u32 = 640;

/// Shortest time a frame can be shown: many viewers slow down anything under 20 ms (common practice, no
/// source), and GIF counts in hundredths of a second.
const LEAST_FRAME_MS: u32 = 20;

/// Codes pictures as one turn of `turn_secs` seconds, again and again.
///
/// # Errors
/// [`ExportError::Nothing`] without pictures; what the encoder says.
pub fn moving_gif(
    pictures: impl IntoIterator<Item = Picture>,
    count: usize,
    turn_secs: f64,
) -> Result<Vec<u8>, ExportError> {
    let fail = |e: image::ImageError| ExportError::encoder("GIF", e);
    let each_ms = ((turn_secs * 1000.0 / count.max(1) as f64 / 10.0).round() as u32 * 10).max(LEAST_FRAME_MS);
    let mut out = Vec::new();
    let mut any = false;
    {
        // 10 of 30: a palette a frame, chosen with care but not for minutes.
        let mut encoder = GifEncoder::new_with_speed(&mut out, 10);
        encoder.set_repeat(Repeat::Infinite).map_err(fail)?;
        for picture in pictures {
            let picture = picture.shrunk_to(MAX_MOVING_EDGE_PX)?;
            let rgba: Vec<u8> = picture.rgb().chunks_exact(3).flat_map(|p| [p[0], p[1], p[2], 255]).collect();
            let image = RgbaImage::from_raw(picture.width_px(), picture.height_px(), rgba)
                .ok_or_else(|| ExportError::encoder("GIF", "a picture has the wrong size"))?;
            let delay = Delay::from_numer_denom_ms(each_ms, 1);
            encoder.encode_frame(Frame::from_parts(image, 0, 0, delay)).map_err(fail)?;
            any = true;
        }
    }
    if any { Ok(out) } else { Err(ExportError::Nothing("moving preview")) }
}
