//! Codes a finished picture as a file, within a byte limit where there is one.

use std::panic::{AssertUnwindSafe, catch_unwind};

use mozjpeg::{ColorSpace, Compress, Marker};
use serde::{Deserialize, Serialize};

use super::srgb_profile::srgb_profile;
use super::{ExportError, webp_file};
use crate::picture::Picture;

/// A file type that shops take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FileType {
    /// ITU-T T.81.
    #[default]
    Jpeg,
    /// RFC 9649, lossy.
    WebP,
    /// ISO/IEC 15948; has no quality to choose.
    Png,
    /// AV1 Image File Format, lossy; only in builds with the feature `avif`.
    Avif,
}

impl FileType {
    /// Returns the usual ending of file names.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::WebP => "webp",
            Self::Png => "png",
            Self::Avif => "avif",
        }
    }

    /// Whether this build can write such files.
    pub fn is_built_in(self) -> bool {
        self != Self::Avif || cfg!(feature = "avif")
    }

    /// Memory that coding takes for each pixel, bytes, the picture itself included; as measured, rounded up.
    pub fn bytes_per_pixel(self) -> u64 {
        if self == Self::Avif { 44 } else { 16 }
    }

    /// Whether this program can read such files, its own as well as others.
    pub fn is_read(self) -> bool {
        self != Self::Avif
    }
}

/// How much colour detail a JPEG keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Chroma {
    /// Half as fine both ways as brightness: smaller.
    #[default]
    #[serde(rename = "4:2:0")]
    Half,
    /// As fine as brightness: for fine red or blue patterns.
    #[serde(rename = "4:4:4")]
    Full,
}

/// A coded file.
#[derive(Debug, Clone)]
pub struct Encoded {
    /// The file.
    pub bytes: Vec<u8>,
    /// The quality it was coded at; `None` for PNG.
    pub quality: Option<u8>,
}

/// How a file is to be coded.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Wish {
    file_type: FileType,
    chroma: Chroma,
}

/// Codes a picture at `quality`, or at the highest quality down to `min_quality` that keeps `max_bytes`.
///
/// An AVIF picture takes seconds to code: there, a quality that fills most of the room is taken for the highest.
/// `exif` and `xmp` are written as they are.
///
/// # Errors
/// [`ExportError::ByteLimit`] when even the lowest quality takes more; [`ExportError::Profile`] for a file type
/// that this build cannot write; [`ExportError::Encoder`] when the codec gives up.
pub fn encode_picture(
    picture: &Picture,
    profile: &super::ListingProfile,
    exif: Option<&[u8]>,
    xmp: &str,
) -> Result<Encoded, ExportError> {
    let wish = Wish { file_type: profile.file_type, chroma: profile.chroma };
    let coded = |quality: u8, care: Care| match wish.file_type {
        FileType::Jpeg => coded_jpeg(picture, quality, wish.chroma, care, exif, Some(xmp)),
        FileType::WebP => webp_file::webp(picture, quality, exif, xmp),
        FileType::Png => png_file(picture, exif, xmp),
        #[cfg(feature = "avif")]
        FileType::Avif => super::avif_file::avif(picture, quality, exif, xmp),
        #[cfg(not(feature = "avif"))]
        FileType::Avif => Err(super::ProfileError::NotBuiltIn.into()),
    };
    let told = (wish.file_type != FileType::Png).then_some(profile.quality);
    // Where it fits without, time is worth more than bytes.
    let quick = coded(profile.quality, Care::Quick)?;
    if profile.max_bytes.is_none_or(|max| quick.len() as u64 <= max) {
        return Ok(Encoded { bytes: quick, quality: told });
    }
    let code = |quality: u8| coded(quality, Care::Small);
    let bytes = if wish.file_type == FileType::Jpeg { code(profile.quality)? } else { quick };
    let Some(max_bytes) = profile.max_bytes.filter(|max| bytes.len() as u64 > *max) else {
        return Ok(Encoded { bytes, quality: told });
    };
    let refused = |least: usize| ExportError::ByteLimit {
        width_px: picture.width_px(),
        height_px: picture.height_px(),
        least_bytes: least as u64,
        quality: if told.is_some() { profile.min_quality } else { 100 },
        max_bytes,
    };
    if told.is_none() || profile.min_quality >= profile.quality {
        return Err(refused(bytes.len()));
    }
    let least = code(profile.min_quality)?;
    if least.len() as u64 > max_bytes {
        return Err(refused(least.len()));
    }
    let bracket = Bracket {
        fits: least,
        low: profile.min_quality,
        high: profile.quality,
        high_bytes: bytes.len(),
        max_bytes,
    };
    let (quality, bytes) = match wish.file_type {
        FileType::Avif => bracket.narrowed_in_few(code)?,
        _ => bracket.narrowed(code)?,
    };
    Ok(Encoded { bytes, quality: Some(quality) })
}

/// Two qualities, one that keeps a byte limit and one that does not.
struct Bracket {
    /// The file at `low`.
    fits: Vec<u8>,
    low: u8,
    high: u8,
    /// How long the file is at `high`.
    high_bytes: usize,
    max_bytes: u64,
}

impl Bracket {
    /// Share of the room that a file fills which needs no better one.
    const FULL_ENOUGH: f64 = 0.92;
    /// Most files that are coded to come nearer.
    const FEW: u32 = 3;

    /// Finds the highest quality that keeps the limit, by bisection.
    fn narrowed(
        mut self,
        code: impl Fn(u8) -> Result<Vec<u8>, ExportError>,
    ) -> Result<(u8, Vec<u8>), ExportError> {
        while self.high - self.low > 1 {
            let middle = self.low + (self.high - self.low) / 2;
            self.take_in(middle, code(middle)?);
        }
        Ok((self.low, self.fits))
    }

    /// Comes near the limit with few files: their length grows by about the same factor from each quality to the
    /// next.
    fn narrowed_in_few(
        mut self,
        code: impl Fn(u8) -> Result<Vec<u8>, ExportError>,
    ) -> Result<(u8, Vec<u8>), ExportError> {
        for _ in 0..Self::FEW {
            let filled = self.fits.len() as f64 / self.max_bytes as f64;
            if self.high - self.low <= 1 || filled >= Self::FULL_ENOUGH {
                break;
            }
            let length = |bytes: usize| (bytes.max(1) as f64).ln();
            let low = length(self.fits.len());
            let share = (length(self.max_bytes as usize) - low) / (length(self.high_bytes) - low).max(1e-9);
            let guess = f64::from(self.low) + share * f64::from(self.high - self.low);
            let guess = (guess as u8).clamp(self.low + 1, self.high - 1);
            self.take_in(guess, code(guess)?);
        }
        Ok((self.low, self.fits))
    }

    fn take_in(&mut self, quality: u8, bytes: Vec<u8>) {
        if bytes.len() as u64 <= self.max_bytes {
            (self.low, self.fits) = (quality, bytes);
        } else {
            (self.high, self.high_bytes) = (quality, bytes.len());
        }
    }
}

/// What coding a JPEG is to be sparing of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Care {
    /// Time: one pass, tables fitted to the picture.
    Quick,
    /// Bytes: progressive, coefficients chosen for their cost; about a fifth less, many times the time.
    Small,
}

/// Codes a JPEG with an sRGB profile, quickly.
///
/// # Errors
/// [`ExportError::Encoder`] when the codec gives up.
pub fn jpeg(
    picture: &Picture,
    quality: u8,
    chroma: Chroma,
    exif: Option<&[u8]>,
    xmp: Option<&str>,
) -> Result<Vec<u8>, ExportError> {
    coded_jpeg(picture, quality, chroma, Care::Quick, exif, xmp)
}

fn coded_jpeg(
    picture: &Picture,
    quality: u8,
    chroma: Chroma,
    care: Care,
    exif: Option<&[u8]>,
    xmp: Option<&str>,
) -> Result<Vec<u8>, ExportError> {
    let profile = srgb_profile();
    // The codec reports its errors by unwinding.
    let coded = catch_unwind(AssertUnwindSafe(|| -> std::io::Result<Vec<u8>> {
        let mut codec = Compress::new(ColorSpace::JCS_RGB);
        if care == Care::Quick {
            // Before anything else is set: it sets all.
            codec.set_fastest_defaults();
        }
        codec.set_size(picture.width_px() as usize, picture.height_px() as usize);
        codec.set_quality(f32::from(quality));
        if care == Care::Small {
            codec.set_progressive_mode();
        }
        codec.set_optimize_coding(true);
        let step = if chroma == Chroma::Full { (1, 1) } else { (2, 2) };
        codec.set_chroma_sampling_pixel_sizes(step, step);
        let mut started = codec.start_compress(Vec::new())?;
        let markers = [
            // EXIF 2.32, 4.7.2; XMP part 3, 1.1.3; ICC.1, annex B.4.
            exif.map(|block| (1, [b"Exif\0\0".as_slice(), block].concat())),
            xmp.map(|packet| (1, [b"http://ns.adobe.com/xap/1.0/\0".as_slice(), packet.as_bytes()].concat())),
            Some((2, [b"ICC_PROFILE\0\x01\x01".as_slice(), profile].concat())),
        ];
        for (number, data) in markers.into_iter().flatten() {
            // A marker holds at most 65 533 bytes; a block of that size is damaged, not data.
            if data.len() <= 65_533 {
                started.write_marker(Marker::APP(number), &data);
            }
        }
        started.write_scanlines(picture.rgb())?;
        started.finish()
    }));
    match coded {
        Ok(Ok(bytes)) => Ok(bytes),
        Ok(Err(e)) => Err(ExportError::encoder("JPEG", e)),
        Err(_) => Err(ExportError::encoder("JPEG", "it could not code the picture")),
    }
}

/// Codes a PNG, marked as sRGB.
fn png_file(picture: &Picture, exif: Option<&[u8]>, xmp: &str) -> Result<Vec<u8>, ExportError> {
    let fail = |e: png::EncodingError| ExportError::encoder("PNG", e);
    let mut out = Vec::new();
    let mut info = png::Info::with_size(picture.width_px(), picture.height_px());
    info.color_type = png::ColorType::Rgb;
    info.bit_depth = png::BitDepth::Eight;
    info.srgb = Some(png::SrgbRenderingIntent::Perceptual);
    info.exif_metadata = exif.map(|block| block.to_vec().into());
    let mut encoder = png::Encoder::with_info(&mut out, info).map_err(fail)?;
    encoder.add_itxt_chunk("XML:com.adobe.xmp".to_owned(), xmp.to_owned()).map_err(fail)?;
    let mut writer = encoder.write_header().map_err(fail)?;
    writer.write_image_data(picture.rgb()).map_err(fail)?;
    writer.finish().map_err(fail)?;
    Ok(out)
}
