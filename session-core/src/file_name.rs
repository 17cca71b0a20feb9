//! File names of frames: a pattern with fields, refused when any system would choke on a name.

use std::collections::HashSet;
use std::path::Path;

use serde::{Deserialize, Serialize};

/// The longest stem in bytes: 255 on every common file system, less version, extension and `.part`.
pub const MAX_STEM_BYTES: usize = 200;

const FIELDS: [&str; 5] = ["sku", "row", "stop", "degrees", "date"];

/// Names that Windows keeps for devices, whatever the extension
/// (Microsoft, "Naming Files, Paths, and Namespaces"; the list is from memory).
const RESERVED: [&str; 6] = ["CON", "PRN", "AUX", "NUL", "COM", "LPT"];

/// A file-name pattern such as `{sku}_{row}_{stop}_{degrees}`.
///
/// Fields: `{sku}`, `{row}`, `{stop}` (zero-padded number in the set), `{degrees}` (three leading
/// digits, as many decimals as the plan needs, at most three), `{date}` (the day the session began).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct NamePattern(pub String);

impl Default for NamePattern {
    fn default() -> Self {
        Self("{sku}_{row}_{stop}_{degrees}".to_owned())
    }
}

/// The values that go into one name.
#[derive(Debug, Clone)]
pub struct NameFields<'a> {
    /// The product's SKU.
    pub sku: &'a str,
    /// The row's name.
    pub row: &'a str,
    /// The zero-padded stop number.
    pub stop: String,
    /// The padded degrees.
    pub degrees: String,
    /// The day as `YYYY-MM-DD`.
    pub date: &'a str,
}

impl NamePattern {
    /// Checks the pattern itself: known fields, closed braces, no forbidden characters.
    ///
    /// # Errors
    /// The reason in words.
    pub fn check(&self) -> Result<(), String> {
        let mut rest = self.0.as_str();
        if rest.trim().is_empty() {
            return Err("the file-name pattern is empty; write for example {sku}_{row}_{stop}".to_owned());
        }
        while let Some(open) = rest.find(['{', '}']) {
            check_characters("the file-name pattern", &rest[..open])?;
            let tail = &rest[open..];
            let close = tail.find('}').filter(|_| tail.starts_with('{'));
            let Some(close) = close else {
                return Err(format!("the file-name pattern '{}' has a brace without its pair", self.0));
            };
            let field = &tail[1..close];
            if !FIELDS.contains(&field) {
                return Err(format!(
                    "the file-name pattern has an unknown field {{{field}}}; known are {}",
                    FIELDS.map(|name| format!("{{{name}}}")).join(" ")
                ));
            }
            rest = &tail[close + 1..];
        }
        check_characters("the file-name pattern", rest)
    }

    /// Fills the pattern in; call [`Self::check`] first.
    pub fn stem(&self, fields: &NameFields<'_>) -> String {
        // One pass, so that a SKU that looks like a field stays as it is.
        let mut stem = String::with_capacity(self.0.len() + 32);
        let mut rest = self.0.as_str();
        while let Some(open) = rest.find('{') {
            stem.push_str(&rest[..open]);
            let Some(length) = rest[open..].find('}') else { break };
            match &rest[open + 1..open + length] {
                "sku" => stem.push_str(fields.sku),
                "row" => stem.push_str(fields.row),
                "stop" => stem.push_str(&fields.stop),
                "degrees" => stem.push_str(&fields.degrees),
                "date" => stem.push_str(fields.date),
                _ => {}
            }
            rest = &rest[open + length + 1..];
        }
        stem.push_str(rest);
        stem
    }
}

/// The last part of a path as text, for messages and names.
pub fn of_path(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Checks a text that goes into names, such as a SKU.
///
/// # Errors
/// The reason in words.
pub fn check_field(what: &str, text: &str) -> Result<(), String> {
    if text.is_empty() {
        return Err(format!("the {what} is empty; it is part of every file name"));
    }
    if text.contains(['{', '}']) {
        return Err(format!(
            "the {what} '{text}' holds a brace, which the file-name pattern needs for itself"
        ));
    }
    check_characters(&format!("the {what}"), text)
}

/// Checks finished stems: lengths, names that systems reserve, and that no two are alike.
///
/// # Errors
/// The reason in words, naming the stems.
pub fn check_stems<'a>(stems: impl Iterator<Item = &'a str>) -> Result<(), String> {
    let mut seen = HashSet::new();
    for stem in stems {
        if stem.len() > MAX_STEM_BYTES {
            return Err(format!(
                "the file name '{stem}' is {} bytes long; at most {MAX_STEM_BYTES} fit everywhere",
                stem.len()
            ));
        }
        if stem.starts_with(['.', ' ', '-']) || stem.ends_with(['.', ' ']) {
            return Err(format!(
                "the file name '{stem}' starts or ends with a dot, space or dash, which some systems hide or drop"
            ));
        }
        let base = stem.split('.').next().unwrap_or(stem).trim_end().to_ascii_uppercase();
        let reserved = RESERVED.iter().any(|name| match base.strip_prefix(name) {
            Some("") => !matches!(*name, "COM" | "LPT"),
            Some(rest) => {
                matches!(*name, "COM" | "LPT")
                    && rest.chars().count() == 1
                    && rest.chars().all(|c| c.is_ascii_digit() || "¹²³".contains(c))
            }
            None => false,
        });
        if reserved {
            return Err(format!(
                "the file name '{stem}' is one that Windows keeps for a device; change the SKU or the pattern"
            ));
        }
        // Lower case: FAT, exFAT, NTFS and APFS hold 'A' and 'a' for one name.
        if !seen.insert(stem.to_lowercase()) {
            return Err(format!(
                "two stops would both be named '{stem}'; put {{stop}} into the file-name pattern"
            ));
        }
    }
    Ok(())
}

fn check_characters(what: &str, text: &str) -> Result<(), String> {
    if text.contains(['/', '\\']) {
        return Err(format!("{what} '{text}' holds a path separator; frames all lie in one folder"));
    }
    if text.contains("..") {
        return Err(format!("{what} '{text}' holds '..', which means another folder"));
    }
    if let Some(bad) = text.chars().find(|c| c.is_control() || "<>:\"|?*".contains(*c)) {
        return Err(format!(
            "{what} '{}' holds {bad:?}, which some file systems refuse",
            text.escape_default()
        ));
    }
    Ok(())
}
