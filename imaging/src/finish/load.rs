//! Reads a file into linear light: upright, its colour profile carried over to sRGB.

use std::io::Cursor;

use image::{DynamicImage, ExtendedColorType, ImageDecoder, ImageFormat, ImageReader, Limits};
use moxcms::{ColorProfile, DataColorSpace, Layout, RenderingIntent, TransformOptions};

use super::FinishError;
use super::linear::{FULL, LinearPicture};
use super::resample::Frame;
use crate::decode::{self, MAX_PIXELS};
use crate::picture::Picture;
use crate::srgb;

/// Reads a frame of at least `edge_px` on its longer side where the file has as much, of a JPEG no more than
/// twice that: reduced by the codec, so that the rest of the way can be gone in linear light.
///
/// # Errors
/// [`FinishError`] when the file is damaged, CMYK, or its profile cannot be used.
pub(super) fn load_frame(bytes: &[u8], edge_px: u32) -> Result<Frame, FinishError> {
    if let Some(deep) = load_deep(bytes)? {
        return Ok(Frame::Linear(deep));
    }
    Ok(frame_of(bytes, decode::at_least(bytes, edge_px)?)?.0)
}

/// What was decoded, its colours carried over to sRGB; and the whole frame's size.
pub(super) fn frame_of(bytes: &[u8], decoded: decode::Decoded) -> Result<(Frame, (u32, u32)), FinishError> {
    if let Some(reason) = decoded.damaged {
        return Err(FinishError::Damaged(reason));
    }
    if let Some(reason) = decoded.inks_guessed {
        return Err(FinishError::Inks(reason));
    }
    let profile = match decoded.icc_profile {
        Some(profile) => Some(parse(&profile)?),
        None => named_adobe_rgb(bytes).then(ColorProfile::new_adobe_rgb),
    };
    let converter = profile.as_ref().map(Converter::new).transpose()?.flatten();
    let frame = match converter {
        Some(converter) => Frame::Linear(converted(&decoded.picture, &converter)?),
        None => Frame::Coded(decoded.picture),
    };
    Ok((frame, decoded.full_size_px))
}

fn parse(profile: &[u8]) -> Result<ColorProfile, FinishError> {
    ColorProfile::new_from_slice(profile).map_err(|e| FinishError::Profile(e.to_string()))
}

/// Cameras set to their wide colour space embed no profile but say `R03` (DCF 2.0, option file).
fn named_adobe_rgb(bytes: &[u8]) -> bool {
    let Ok(read) = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)) else { return false };
    read.get_field(exif::Tag::InteroperabilityIndex, exif::In::PRIMARY)
        .is_some_and(|field| field.display_value().to_string().contains("R03"))
}

/// What turns 16-bit coded values of a profile into 16-bit coded sRGB.
struct Converter {
    transform: std::sync::Arc<moxcms::Transform16BitExecutor>,
    grey: bool,
}

impl Converter {
    /// Prepares; `None` when the profile is sRGB itself.
    fn new(profile: &ColorProfile) -> Result<Option<Self>, FinishError> {
        let grey = match profile.color_space {
            DataColorSpace::Rgb => false,
            DataColorSpace::Gray => true,
            DataColorSpace::Cmyk => {
                return Err(FinishError::Profile("it is made for printing inks".to_owned()));
            }
            other => return Err(FinishError::Profile(format!("it is made for {other:?} values"))),
        };
        let options = TransformOptions {
            rendering_intent: RenderingIntent::RelativeColorimetric,
            ..TransformOptions::default()
        };
        let layout = if grey { Layout::Gray } else { Layout::Rgb };
        let transform = profile
            .create_transform_16bit(layout, &ColorProfile::new_srgb(), Layout::Rgb, options)
            .map_err(|e| FinishError::Profile(e.to_string()))?;
        let converter = Self { transform, grey };
        Ok((!converter.changes_nothing()?).then_some(converter))
    }

    /// Tries a lattice of colours: within half an 8-bit step counts as the same.
    fn changes_nothing(&self) -> Result<bool, FinishError> {
        let steps = [0_u16, 9_000, 21_845, 37_000, 52_000, 65_535];
        let mut probe = Vec::new();
        for r in steps {
            for g in steps {
                for b in steps {
                    probe.extend(if self.grey { [r, r, r] } else { [r, g, b] });
                }
            }
        }
        let mut out = probe.clone();
        self.run(&mut out)?;
        Ok(probe.iter().zip(&out).all(|(a, b)| a.abs_diff(*b) <= 128))
    }

    /// Converts RGB values in place.
    fn run(&self, rgb: &mut [u16]) -> Result<(), FinishError> {
        let source: Vec<u16> =
            if self.grey { rgb.iter().copied().step_by(3).collect() } else { rgb.to_vec() };
        self.transform.transform(&source, rgb).map_err(|e| FinishError::Profile(e.to_string()))
    }
}

fn converted(picture: &Picture, converter: &Converter) -> Result<LinearPicture, FinishError> {
    let rows = picture.rgb().chunks(picture.width_px() as usize * 3);
    linear_rows(
        picture.width_px(),
        picture.height_px(),
        Some(converter),
        rows.map(|row| row.iter().map(|v| u16::from(*v) * 257).collect()),
    )
}

/// Decodes 16-bit coded rows, through a converter where there is one.
fn linear_rows(
    width_px: u32,
    height_px: u32,
    converter: Option<&Converter>,
    rows: impl Iterator<Item = Vec<u16>>,
) -> Result<LinearPicture, FinishError> {
    let table = linear_of_16_bit();
    let mut pixels = Vec::with_capacity(width_px as usize * height_px as usize);
    for mut row in rows {
        if let Some(converter) = converter {
            converter.run(&mut row)?;
        }
        pixels.extend(row.chunks_exact(3).map(|p| [p[0], p[1], p[2]].map(|v| table[usize::from(v)])));
    }
    LinearPicture::from_pixels(width_px, height_px, pixels)
        .ok_or_else(|| FinishError::Damaged("its rows do not fit its size".to_owned()))
}

fn linear_of_16_bit() -> &'static [u16] {
    static TABLE: std::sync::OnceLock<Vec<u16>> = std::sync::OnceLock::new();
    TABLE.get_or_init(|| {
        (0..=65_535_u32)
            .map(|v| (srgb::to_linear(f64::from(v) / 65_535.0) * f64::from(FULL)).round() as u16)
            .collect()
    })
}

/// Reads PNG and plain TIFF of more than 8 bits; `None` for everything else.
fn load_deep(bytes: &[u8]) -> Result<Option<LinearPicture>, FinishError> {
    use ExtendedColorType as Kind;
    let format = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        ImageFormat::Png
    } else if bytes.starts_with(b"II*\0") || bytes.starts_with(b"MM\0*") {
        ImageFormat::Tiff
    } else {
        return Ok(None);
    };
    let mut limits = Limits::default();
    limits.max_alloc = Some(MAX_PIXELS * 8);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    // A RAW file is built like TIFF too; what this reader refuses goes to the general decoder.
    let Ok(mut decoder) = reader.into_decoder() else { return Ok(None) };
    match decoder.original_color_type() {
        Kind::Cmyk8 | Kind::Cmyk16 => {
            return Err(FinishError::Inks("of TIFF files that is not read".to_owned()));
        }
        Kind::L16 | Kind::La16 | Kind::Rgb16 | Kind::Rgba16 | Kind::Rgb32F | Kind::Rgba32F => {}
        _ => return Ok(None),
    }
    let orientation = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let profile = decoder.icc_profile().ok().flatten();
    let unreadable =
        |e: image::ImageError| FinishError::Damaged(format!("{e}; save it again, or retake the stop"));
    let mut whole = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    whole.apply_orientation(orientation);
    if (whole.width(), whole.height()) != decode::dimensions(bytes)? {
        return Ok(None);
    }
    let deep = whole.into_rgba16();
    let converter = match profile {
        Some(profile) => Converter::new(&parse(&profile)?)?,
        None => None,
    };
    let (width, height) = deep.dimensions();
    let rows = deep
        .as_raw()
        .chunks(width as usize * 4)
        .map(|row| row.chunks_exact(4).flat_map(over_white).collect());
    linear_rows(width, height, converter.as_ref(), rows).map(Some)
}

fn over_white(pixel: &[u16]) -> [u16; 3] {
    let alpha = u32::from(pixel[3]);
    [0, 1, 2].map(|c| ((u32::from(pixel[c]) * alpha + 65_535 * (65_535 - alpha)) / 65_535) as u16)
}

#[cfg(test)]
mod tests;
