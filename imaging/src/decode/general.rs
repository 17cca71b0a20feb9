//! PNG, TIFF, WebP and BMP by way of the `image` crate, within limits.

use super::{DecodeError, Decoded, MAX_PIXELS, Want, check_size, finish, orientation};
use crate::picture::Picture;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use std::io::Cursor;

/// A format that the `image` crate decodes for us.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Png,
    Tiff,
    WebP,
    Bmp,
}

impl Kind {
    /// Tells the format by the first bytes.
    pub fn of(bytes: &[u8]) -> Option<Self> {
        if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Some(Self::Png)
        } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
            Some(Self::WebP)
        } else if bytes.starts_with(b"BM") && bytes.len() > 26 {
            Some(Self::Bmp)
        } else {
            None
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::WebP => "WebP",
            Self::Bmp => "BMP",
        }
    }

    fn format(self) -> ImageFormat {
        match self {
            Self::Png => ImageFormat::Png,
            Self::Tiff => ImageFormat::Tiff,
            Self::WebP => ImageFormat::WebP,
            Self::Bmp => ImageFormat::Bmp,
        }
    }

    fn unreadable(self, reason: &image::ImageError) -> DecodeError {
        DecodeError::Unreadable { format: self.name(), reason: reason.to_string() }
    }
}

/// Returns the upright width and height in pixels.
pub(super) fn dimensions(bytes: &[u8], kind: Kind) -> Result<(u32, u32), DecodeError> {
    let mut decoder = open(bytes, kind)?;
    let (width_px, height_px) = decoder.dimensions();
    let turned = decoder.orientation().map_or(1, exif_value);
    Ok(orientation::upright_size(width_px, height_px, turned))
}

/// Decodes a file, flattened to 8-bit RGB over white.
pub(super) fn decode(bytes: &[u8], kind: Kind, want: Want) -> Result<Decoded, DecodeError> {
    let mut decoder = open(bytes, kind)?;
    let stored = decoder.dimensions();
    check_size(stored.0, stored.1)?;
    let turned = decoder.orientation().map_or(1, exif_value);
    let icc_profile = decoder.icc_profile().ok().flatten();
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| kind.unreadable(&e))?;
    let picture = Picture::from_rgb(stored.0, stored.1, over_white(picture))?;
    finish(picture, stored, turned, want, None, icc_profile)
}

fn open(bytes: &[u8], kind: Kind) -> Result<impl ImageDecoder + '_, DecodeError> {
    let mut limits = Limits::default();
    // Room for 16-bit RGBA of the largest frame allowed.
    limits.max_alloc = Some(MAX_PIXELS * 8);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), kind.format());
    reader.limits(limits);
    reader.into_decoder().map_err(|e| kind.unreadable(&e))
}

fn exif_value(orientation: Orientation) -> u16 {
    u16::from(orientation.to_exif())
}

fn over_white(picture: DynamicImage) -> Vec<u8> {
    if !picture.color().has_alpha() {
        return picture.into_rgb8().into_raw();
    }
    picture
        .into_rgba8()
        .pixels()
        .flat_map(|pixel| {
            let [.., alpha] = pixel.0;
            [0, 1, 2].map(|c| {
                let (over, share) = (u16::from(pixel.0[c]), u16::from(alpha));
                ((over * share + 255 * (255 - share) + 127) / 255) as u8
            })
        })
        .collect()
}
