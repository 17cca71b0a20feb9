//! One ZIP of a listing, the same byte for byte whenever it is made.

use std::io::{Seek, Write};

use thiserror::Error;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Says why a package cannot be written.
#[derive(Debug, Error)]
pub enum PackageError {
    /// The disk will not.
    #[error(transparent)]
    Disk(#[from] std::io::Error),
    /// The form of a ZIP file does not allow it.
    #[error("the package cannot be written: {0}")]
    Form(String),
}

impl From<zip::result::ZipError> for PackageError {
    fn from(error: zip::result::ZipError) -> Self {
        match error {
            zip::result::ZipError::Io(error) => Self::Disk(error),
            other => Self::Form(other.to_string()),
        }
    }
}

/// Writes files into a ZIP (APPNOTE 6.3): sorted by name, stored as they are, all dated 1 January 1980.
///
/// Pictures are coded already; packing them again would gain nothing. `read` gives a file's bytes by its name.
///
/// # Errors
/// [`PackageError`] of `to`, or what `read` says.
pub fn write_package<W: Write + Seek>(
    to: W,
    names: &[String],
    mut read: impl FnMut(&str) -> std::io::Result<Vec<u8>>,
) -> Result<W, PackageError> {
    let mut sorted: Vec<&String> = names.iter().collect();
    sorted.sort();
    sorted.dedup();
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    let mut package = ZipWriter::new(to);
    for name in sorted {
        package.start_file(name.as_str(), options)?;
        package.write_all(&read(name)?)?;
    }
    Ok(package.finish()?)
}
