//! Stills in a numbered row for a video tool, where the listing profile asks for them.

use imaging::Picture;
use imaging::export::{
    Chroma, Labels, ListingProfile, SEQUENCE_NOTE, SequenceFacts, even_sided, jpeg, sequence_name,
    sequence_note,
};

use super::finish::Piece;
use super::set::KeptSet;

/// Quality of a still: a video coding follows.
const QUALITY: u8 = 95;
/// Stands for how stills are coded in their keys.
pub(super) const CODING: (&str, u8) = ("sequence", QUALITY);

/// The stills of a listing, one run a row.
#[derive(Default)]
pub(super) struct Sequences {
    /// For each picture of the listing, its still.
    stills: Vec<String>,
    /// Folder, row's name and number of stills of each run.
    runs: Vec<(String, String, usize)>,
    size_px: (u32, u32),
    frames_per_second: f64,
}

/// Names the stills; none when the profile asks for none.
pub(super) fn plan(set: &KeptSet, pieces: &[Piece<'_>], profile: &ListingProfile) -> Sequences {
    let Some(frames_per_second) = profile.sequence_fps else { return Sequences::default() };
    let mut planned = Sequences {
        size_px: (profile.width_px & !1, profile.height_px & !1),
        frames_per_second,
        ..Sequences::default()
    };
    let several = set.rows.len() > 1;
    for piece in pieces {
        let folder = if several { format!("sequence/row-{}", piece.row + 1) } else { "sequence".to_owned() };
        match planned.runs.last_mut().filter(|run| run.0 == folder) {
            Some(run) => run.2 += 1,
            None => planned.runs.push((folder.clone(), set.rows[piece.row].name.clone(), 1)),
        }
        let number = planned.runs.last().map_or(1, |run| run.2);
        planned.stills.push(format!("{folder}/{}", sequence_name(number)));
    }
    planned
}

impl Sequences {
    /// The still of a picture, by the picture's place in the listing.
    pub fn still(&self, picture: usize) -> Option<&str> {
        self.stills.get(picture).map(String::as_str)
    }

    /// The notes: file and text.
    pub fn notes(&self, labels: &Labels, clockwise: bool) -> Vec<(String, String)> {
        let note = |(folder, row, frames): &(String, String, usize)| {
            let facts = SequenceFacts {
                labels,
                row,
                frames: *frames,
                size_px: self.size_px,
                frames_per_second: self.frames_per_second,
                clockwise,
            };
            (format!("{folder}/{SEQUENCE_NOTE}"), sequence_note(&facts))
        };
        self.runs.iter().map(note).collect()
    }

    /// All files of the sequences.
    pub fn files(&self) -> impl Iterator<Item = String> + '_ {
        let notes = self.runs.iter().map(|(folder, ..)| format!("{folder}/{SEQUENCE_NOTE}"));
        self.stills.iter().cloned().chain(notes)
    }
}

/// Codes one still.
pub(super) fn still(picture: &Picture, xmp: &str) -> anyhow::Result<Vec<u8>> {
    Ok(jpeg(&even_sided(picture.clone())?, QUALITY, Chroma::Full, None, Some(xmp))?)
}
