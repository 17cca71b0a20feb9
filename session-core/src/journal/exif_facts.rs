//! Exposure data a frame carries (EXIF, CIPA DC-008).

use std::io::Cursor;

use exif::{In, Tag, Value};
use serde::{Deserialize, Serialize};

/// Exposure data as the camera wrote it; what it did not write is `None`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ExposureFacts {
    /// Exposure time, seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure_secs: Option<f64>,
    /// f-number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub f_number: Option<f64>,
    /// ISO speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub iso: Option<u32>,
    /// Focal length, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focal_length_mm: Option<f64>,
    /// When the frame was taken by the camera's own clock, as it wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<String>,
}

/// Reads exposure data from a JPEG, PNG, WebP, HEIF or TIFF-based file; `None` when there is none.
pub fn exposure_facts(bytes: &[u8]) -> Option<ExposureFacts> {
    let data = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).ok()?;
    let rational = |tag| match &data.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(values) => {
            values.first().map(exif::Rational::to_f64).filter(|value| value.is_finite())
        }
        _ => None,
    };
    let text = |tag| match &data.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(values) => values.first().and_then(|value| String::from_utf8(value.clone()).ok()),
        _ => None,
    };
    let taken_at = text(Tag::DateTimeOriginal).map(|taken| match text(Tag::SubSecTimeOriginal) {
        Some(fraction) => format!("{taken}.{}", fraction.trim()),
        None => taken,
    });
    let facts = ExposureFacts {
        exposure_secs: rational(Tag::ExposureTime),
        f_number: rational(Tag::FNumber),
        iso: data
            .get_field(Tag::PhotographicSensitivity, In::PRIMARY)
            .and_then(|field| field.value.get_uint(0)),
        focal_length_mm: rational(Tag::FocalLength),
        taken_at,
    };
    (facts != ExposureFacts::default()).then_some(facts)
}
