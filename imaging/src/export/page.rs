//! A web page that turns the object under the visitor's hand: one file beside the pictures.
//!
//! Invariant: the page asks nothing of any other place. Its Content-Security-Policy (W3C, CSP 3) names the very
//! script and style by their SHA-256, and allows pictures from its own folder only.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::metadata::{escaped, rounded};
use super::{ExportError, Labels};

const HTML: &str = include_str!("page/page.html");
const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = include_str!("page/page.js");

/// One picture of the page.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PageFrame {
    /// The file, as seen from the page, with `/`.
    pub file: String,
    /// The row, from 0.
    pub row: usize,
    /// Its angle, degrees.
    pub degrees: f64,
}

/// Writes the page. `clockwise` is the way the plate turned, seen from above.
///
/// # Errors
/// [`ExportError::Nothing`] without pictures.
pub fn page(
    labels: &Labels,
    frames: &[PageFrame],
    size_px: (u32, u32),
    clockwise: bool,
) -> Result<String, ExportError> {
    let first = frames.first().ok_or(ExportError::Nothing("web page"))?;
    let data = serde_json::json!({
        "clockwise": clockwise,
        "frames": frames.iter().map(|f| {
            (address(&f.file), f.row, rounded(f.degrees))
        }).collect::<Vec<_>>(),
    });
    // Inside a script element only `<` could end it.
    let data = data.to_string().replace('<', "\\u003c");
    let title = if labels.title.trim().is_empty() { &labels.sku } else { &labels.title };
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
    let fields = [
        ("STYLE_HASH", hash(STYLE)),
        ("SCRIPT_HASH", hash(SCRIPT)),
        ("TITLE", escaped(title)),
        ("FIRST", escaped(&address(&first.file))),
        ("WIDTH", size_px.0.to_string()),
        ("HEIGHT", size_px.1.to_string()),
        ("COUNT", frames.len().to_string()),
        ("DATA", data),
        ("STYLE", STYLE.to_owned()),
        ("SCRIPT", SCRIPT.to_owned()),
    ];
    Ok(filled(HTML, &fields))
}

/// Fills `[[FIELD]]` marks in one pass, so that what is filled in is never read as a mark.
fn filled(form: &str, fields: &[(&str, String)]) -> String {
    let mut out = String::with_capacity(form.len() + 16_384);
    let mut rest = form;
    while let Some(open) = rest.find("[[") {
        let Some(length) = rest[open..].find("]]") else { break };
        out.push_str(&rest[..open]);
        let name = &rest[open + 2..open + length];
        if let Some((_, value)) = fields.iter().find(|(field, _)| *field == name) {
            out.push_str(value);
        }
        rest = &rest[open + length + 2..];
    }
    out.push_str(rest);
    out
}

/// A file name as part of a relative address (RFC 3986, 3.3): all but unreserved characters and `/` as
/// per-cent codes.
fn address(file: &str) -> String {
    file.bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                (b as char).to_string()
            }
            other => format!("%{other:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(title: &str, file: &str) -> String {
        let labels = Labels { title: title.to_owned(), sku: "LH-1".to_owned(), ..Labels::default() };
        let frames = [PageFrame { file: file.to_owned(), row: 0, degrees: 0.0 }];
        page(&labels, &frames, (800, 600), false).unwrap()
    }

    #[test]
    fn words_from_outside_stay_words() {
        let html = made("</title><script>alert(1)</script>[[SCRIPT]]", "a b<c>.jpg");
        assert!(!html.contains("<script>alert"), "{html}");
        assert!(html.contains("[[SCRIPT]]"), "a mark in a title is a word");
        assert!(html.contains("a%20b%3Cc%3E.jpg"));
    }

    #[test]
    fn the_policy_names_what_is_on_the_page() {
        let html = made("Mug", "pictures/a.jpg");
        for (open, close) in [("<style>", "</style>"), ("<script>", "</script>")] {
            let from = html.find(open).unwrap() + open.len();
            let text = &html[from..from + html[from..].find(close).unwrap()];
            let hash = STANDARD.encode(Sha256::digest(text.as_bytes()));
            assert!(html.contains(&format!("'sha256-{hash}'")), "{open}");
        }
        assert!(html.contains("default-src 'none'"));
        assert!(!html.contains("http://") && !html.contains("https://"), "no other place is named");
        assert!(page(&Labels::default(), &[], (1, 1), false).is_err());
    }
}
