//! The file a simulated camera hands over: JPEG with an EXIF block.

use super::{SceneError, SceneView};
use crate::picture::Picture;
use exif::experimental::Writer;
use exif::{Field, In, Rational, SRational, Tag, Value};
use mozjpeg::{ColorSpace, Compress, Marker};
use serde::{Deserialize, Serialize};
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Says how a frame was exposed, for its EXIF block and its noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExposureData {
    /// Exposure time in seconds, 1/16000 to 3600.
    pub shutter_s: f64,
    /// F-number, 0.7 to 128.
    pub f_number: f64,
    /// ISO speed, 25 to 65 535; more means more noise.
    pub iso: u32,
    /// Date and time of the exposure in EXIF form, `YYYY:MM:DD HH:MM:SS`, local time.
    pub captured_at: String,
    /// Fraction of the second in thousandths, 0 to 999.
    pub subsec_ms: u16,
}

impl ExposureData {
    /// Checks every number and the form of the date.
    pub(super) fn check(&self) -> Result<(), SceneError> {
        let range = |name, value: f64, low: f64, high: f64, allowed| {
            if value >= low && value <= high {
                Ok(())
            } else {
                Err(SceneError::OutOfRange { name, value, allowed })
            }
        };
        range("the exposure time in seconds", self.shutter_s, 6.2e-5, 3600.0, "1/16000 to 3600")?;
        range("the f-number", self.f_number, 0.7, 128.0, "0.7 to 128")?;
        range("the ISO speed", f64::from(self.iso), 25.0, 65_535.0, "25 to 65535")?;
        range("the milliseconds", f64::from(self.subsec_ms), 0.0, 999.0, "0 to 999")?;
        let pattern = b"0000:00:00 00:00:00";
        let fits = self.captured_at.len() == pattern.len()
            && self.captured_at.bytes().zip(pattern).all(|(given, &wanted)| {
                if wanted == b'0' { given.is_ascii_digit() } else { given == wanted }
            });
        if fits { Ok(()) } else { Err(SceneError::DateTime(self.captured_at.clone())) }
    }
}

/// Invented maker and model of the simulated camera (demo data).
const MAKE: &str = "Larkhollow Works";
const MODEL: &str = "Studio Eye S1 (simulated)";

/// Builds the contents of the APP1 marker after Exif 2.32 (CIPA DC-008).
pub(super) fn exif_block(
    exposure: &ExposureData,
    view: &SceneView,
    focal_mm: f64,
) -> Result<Vec<u8>, SceneError> {
    let text = |s: &str| Value::Ascii(vec![s.as_bytes().to_vec()]);
    let part = |num: f64, denom: u32| {
        Value::Rational(vec![Rational { num: (num * f64::from(denom)).round() as u32, denom }])
    };
    // Camera practice: short times as one over a whole number.
    let inverse = (1.0 / exposure.shutter_s).round();
    let shutter = if exposure.shutter_s < 0.3 {
        Value::Rational(vec![Rational { num: 1, denom: inverse as u32 }])
    } else {
        part(exposure.shutter_s, 10)
    };
    let mode = |n: u16| Value::Short(vec![n]);
    let subsec = format!("{:03}", exposure.subsec_ms);
    let fields = [
        (Tag::Make, text(MAKE)),
        (Tag::Model, text(MODEL)),
        (Tag::Software, text("simulated frame, demo data")),
        (Tag::Orientation, mode(1)),
        (Tag::XResolution, part(300.0, 1)),
        (Tag::YResolution, part(300.0, 1)),
        (Tag::ResolutionUnit, mode(2)),
        (Tag::DateTime, text(&exposure.captured_at)),
        (Tag::YCbCrPositioning, mode(1)),
        (Tag::ExposureTime, shutter),
        (Tag::FNumber, part(exposure.f_number, 10)),
        (Tag::ExposureProgram, mode(1)),
        (Tag::PhotographicSensitivity, mode(exposure.iso as u16)),
        (Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0)),
        (Tag::DateTimeOriginal, text(&exposure.captured_at)),
        (Tag::DateTimeDigitized, text(&exposure.captured_at)),
        (Tag::SubSecTimeOriginal, text(&subsec)),
        (Tag::SubSecTimeDigitized, text(&subsec)),
        (Tag::ComponentsConfiguration, Value::Undefined(vec![1, 2, 3, 0], 0)),
        (Tag::ExposureBiasValue, Value::SRational(vec![SRational { num: 0, denom: 10 }])),
        (Tag::MeteringMode, mode(2)),
        (Tag::Flash, mode(0)),
        (Tag::FocalLength, part(focal_mm, 10)),
        (Tag::FlashpixVersion, Value::Undefined(b"0100".to_vec(), 0)),
        (Tag::ColorSpace, mode(1)),
        (Tag::PixelXDimension, Value::Long(vec![view.width_px])),
        (Tag::PixelYDimension, Value::Long(vec![view.height_px])),
        (Tag::ExposureMode, mode(1)),
        (Tag::WhiteBalance, mode(1)),
        (Tag::FocalLengthIn35mmFilm, mode(focal_mm.round() as u16)),
        (Tag::SceneCaptureType, mode(0)),
    ]
    .map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value });
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, true).map_err(|e| SceneError::Encode(e.to_string()))?;
    let mut marker = b"Exif\0\0".to_vec();
    marker.extend_from_slice(&block.into_inner());
    Ok(marker)
}

/// Encodes a picture as a baseline 4:2:0 JPEG with an EXIF block.
pub(super) fn encode(picture: &Picture, quality: u8, exif: &[u8]) -> Result<Vec<u8>, SceneError> {
    // The codec reports its errors by unwinding.
    let encoded = catch_unwind(AssertUnwindSafe(|| -> std::io::Result<Vec<u8>> {
        let mut codec = Compress::new(ColorSpace::JCS_RGB);
        codec.set_size(picture.width_px() as usize, picture.height_px() as usize);
        // Quick, as a camera's chip is: no trellis, one pass, one set of tables.
        codec.set_fastest_defaults();
        codec.set_quality(f32::from(quality));
        codec.set_chroma_sampling_pixel_sizes((2, 2), (2, 2));
        let mut started = codec.start_compress(Vec::new())?;
        started.write_marker(Marker::APP(1), exif);
        started.write_scanlines(picture.rgb())?;
        started.finish()
    }));
    match encoded {
        Ok(Ok(bytes)) => Ok(bytes),
        Ok(Err(e)) => Err(SceneError::Encode(e.to_string())),
        Err(_) => Err(SceneError::Encode("the JPEG codec gave up".into())),
    }
}
