//! Exposure data a frame carries (EXIF, CIPA DC-008).

use std::collections::BTreeMap;
use std::io::Cursor;

use exif::{In, Tag, Value};
use serde::{Deserialize, Serialize};

use crate::camera::settings::Setting;

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
    /// White balance mode, `automatic` or `set by hand`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white_balance: Option<String>,
    /// Exposure program, such as `manual` or `aperture priority`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure_program: Option<String>,
    /// Focal length, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focal_length_mm: Option<f64>,
    /// When the frame was taken by the camera's own clock, as it wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<String>,
}

impl ExposureFacts {
    /// The settings that must stay the same through a set, in words as photographers write them.
    pub fn to_map(&self) -> BTreeMap<Setting, String> {
        [
            (Setting::ExposureMode, self.exposure_program.clone()),
            (Setting::Shutter, self.exposure_secs.map(shutter_words)),
            (Setting::Aperture, self.f_number.map(|n| format!("f/{}", round_to(n, 1)))),
            (Setting::Iso, self.iso.map(|iso| iso.to_string())),
            (Setting::WhiteBalance, self.white_balance.clone()),
            (Setting::FocalLength, self.focal_length_mm.map(|mm| format!("{} mm", round_to(mm, 1)))),
        ]
        .into_iter()
        .filter_map(|(setting, value)| Some((setting, value?)))
        .collect()
    }
}

/// A shutter time as it stands on the dial: `1/60 s`, `0.5 s`, `2 s`.
fn shutter_words(secs: f64) -> String {
    if secs > 0.0 && secs < 0.3 {
        format!("1/{} s", (1.0 / secs).round())
    } else {
        format!("{} s", round_to(secs, 1))
    }
}

fn round_to(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale
}

/// Reads exposure data from a JPEG, PNG, WebP, HEIF or TIFF-based file; `None` when there is none.
pub fn exposure_facts(bytes: &[u8]) -> Option<ExposureFacts> {
    let data = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).ok()?;
    let rational = |tag| match &data.get_field(tag, In::PRIMARY)?.value {
        // Zero stands for unknown in all three (a lens without contacts, for one).
        Value::Rational(values) => {
            values.first().map(exif::Rational::to_f64).filter(|value| value.is_finite() && *value > 0.0)
        }
        _ => None,
    };
    let number = |tag| data.get_field(tag, In::PRIMARY).and_then(|field| field.value.get_uint(0));
    let text = |tag| match &data.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(values) => values.first().and_then(|value| String::from_utf8(value.clone()).ok()),
        _ => None,
    };
    let taken_at = text(Tag::DateTimeOriginal).map(|taken| match text(Tag::SubSecTimeOriginal) {
        Some(fraction) if !fraction.trim().is_empty() => format!("{taken}.{}", fraction.trim()),
        _ => taken,
    });
    let facts = ExposureFacts {
        exposure_secs: rational(Tag::ExposureTime),
        f_number: rational(Tag::FNumber),
        iso: number(Tag::PhotographicSensitivity),
        white_balance: number(Tag::WhiteBalance).and_then(white_balance_words),
        exposure_program: number(Tag::ExposureProgram).and_then(program_words),
        focal_length_mm: rational(Tag::FocalLength),
        taken_at,
    };
    (facts != ExposureFacts::default()).then_some(facts)
}

/// EXIF 2.32, tag 41987.
fn white_balance_words(code: u32) -> Option<String> {
    match code {
        0 => Some("automatic".to_owned()),
        1 => Some("set by hand".to_owned()),
        _ => None,
    }
}

/// EXIF 2.32, tag 34850; 0 means that the camera does not tell.
fn program_words(code: u32) -> Option<String> {
    const WORDS: [&str; 8] = [
        "manual",
        "normal program",
        "aperture priority",
        "shutter priority",
        "creative program",
        "action program",
        "portrait mode",
        "landscape mode",
    ];
    let at = usize::try_from(code.checked_sub(1)?).ok()?;
    WORDS.get(at).map(|word| (*word).to_owned())
}
