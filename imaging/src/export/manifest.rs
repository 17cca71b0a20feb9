//! The list of what is in a listing, for programs (JSON) and spreadsheets (CSV, RFC 4180).

use serde::{Deserialize, Serialize};

use super::ExportError;

/// One picture of a listing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Listed {
    /// The stop's number in the set.
    pub stop: u32,
    /// The row's name.
    pub row: String,
    /// Its angle along the plan's direction, degrees.
    pub degrees: f64,
    /// The file, as seen from the listing's folder, with `/`.
    pub file: String,
    /// Width in pixels.
    pub width_px: u32,
    /// Height in pixels.
    pub height_px: u32,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
    /// SHA-256 of the original and of all settings it was made with: the same key, the same picture.
    pub made_from: String,
}

/// A listing's pictures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Manifest {
    /// What wrote it.
    pub written_by: String,
    /// The product's SKU.
    pub sku: String,
    /// The product's name.
    pub title: String,
    /// The listing profile's name.
    pub profile: String,
    /// The pictures in the order of the stops.
    pub pictures: Vec<Listed>,
    /// Other files of the listing, as seen from its folder.
    pub other_files: Vec<String>,
}

impl Manifest {
    /// Writes the JSON form.
    ///
    /// # Errors
    /// Never for numbers that are numbers.
    pub fn to_json(&self) -> Result<String, ExportError> {
        let text = serde_json::to_string_pretty(self).map_err(|e| ExportError::encoder("manifest", e))?;
        Ok(text + "\n")
    }

    /// Writes the CSV form: one line a picture.
    ///
    /// # Errors
    /// Never for numbers that are numbers.
    pub fn to_csv(&self) -> Result<String, ExportError> {
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        let fail = |e: &dyn std::fmt::Display| ExportError::encoder("manifest", e);
        for picture in &self.pictures {
            writer.serialize(picture).map_err(|e| fail(&e))?;
        }
        let bytes = writer.into_inner().map_err(|e| fail(&e))?;
        String::from_utf8(bytes).map_err(|e| fail(&e))
    }
}
