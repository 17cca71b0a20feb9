//! A numbered row of stills for a video tool, with a note of how fast to play them.
//!
//! A plain form of our own: `frame-0001.jpg` and so on without a gap, all of one size with even sides, as the usual
//! video codings want them (4:2:0, ITU-T H.264, 6.2), and `sequence.txt` beside them with one `name = value` a line.

use super::{ExportError, Labels};
use crate::picture::Picture;

/// Name of the note beside the stills.
pub const SEQUENCE_NOTE: &str = "sequence.txt";

/// Returns the name of a still; `number` counts from 1.
pub fn sequence_name(number: usize) -> String {
    format!("frame-{number:04}.jpg")
}

/// Leaves out the last column or row of a picture whose width or height is odd.
///
/// # Errors
/// When a side is a single pixel.
pub fn even_sided(picture: Picture) -> Result<Picture, ExportError> {
    let (width, height) = (picture.width_px() & !1, picture.height_px() & !1);
    if (width, height) == (picture.width_px(), picture.height_px()) {
        return Ok(picture);
    }
    let line = picture.width_px() as usize * 3;
    let rows = picture.rgb().chunks_exact(line).take(height as usize);
    let rgb = rows.flat_map(|row| &row[..width as usize * 3]).copied().collect();
    Ok(Picture::from_rgb(width, height, rgb)?)
}

/// What the note tells.
#[derive(Debug, Clone, Copy)]
pub struct SequenceFacts<'a> {
    /// Whose product, and which.
    pub labels: &'a Labels,
    /// The row's name, empty where there is one.
    pub row: &'a str,
    /// How many stills there are.
    pub frames: usize,
    /// Width and height of each in pixels.
    pub size_px: (u32, u32),
    /// How many are shown a second.
    pub frames_per_second: f64,
    /// Whether the plate turns clockwise seen from above.
    pub clockwise: bool,
}

/// Writes the note.
pub fn sequence_note(facts: &SequenceFacts<'_>) -> String {
    let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let number = |value: f64| ((value * 1000.0).round() / 1000.0).to_string();
    let mut lines = vec![
        format!("sku = {}", one_line(&facts.labels.sku)),
        format!("title = {}", one_line(&facts.labels.title)),
    ];
    if !facts.row.is_empty() {
        lines.push(format!("row = {}", one_line(facts.row)));
    }
    lines.extend([
        format!("first = {}", sequence_name(1)),
        format!("last = {}", sequence_name(facts.frames)),
        format!("frames = {}", facts.frames),
        format!("width_px = {}", facts.size_px.0),
        format!("height_px = {}", facts.size_px.1),
        format!("frames_per_second = {}", number(facts.frames_per_second)),
        format!("seconds = {}", number(facts.frames as f64 / facts.frames_per_second)),
        format!(
            "turns = {}",
            if facts.clockwise { "clockwise seen from above" } else { "anticlockwise seen from above" }
        ),
        "colours = sRGB".to_owned(),
    ]);
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_become_even_and_the_rest_stays() {
        let rgb: Vec<u8> = (0..5 * 3 * 3).collect();
        let picture = even_sided(Picture::from_rgb(5, 3, rgb).unwrap()).unwrap();
        assert_eq!((picture.width_px(), picture.height_px()), (4, 2));
        assert_eq!(picture.pixel(3, 1), Some([24, 25, 26]));
        assert_eq!(even_sided(picture.clone()).unwrap(), picture);
        assert!(even_sided(Picture::from_rgb(1, 4, vec![0; 12]).unwrap()).is_err());
    }

    #[test]
    fn the_note_says_how_fast_and_keeps_to_one_line_each() {
        let labels =
            Labels { title: "Mug\nframes = 9".to_owned(), sku: "LH-1".to_owned(), ..Labels::default() };
        let facts = SequenceFacts {
            labels: &labels,
            row: "",
            frames: 36,
            size_px: (2000, 2000),
            frames_per_second: 12.0,
            clockwise: false,
        };
        let note = sequence_note(&facts);
        assert!(
            note.contains("\nframes_per_second = 12\nseconds = 3\n")
                && note.contains("last = frame-0036.jpg")
        );
        assert!(note.contains("title = Mug frames = 9\n"), "{note}");
    }
}
