//! A listing: pictures, contact sheet, moving preview, web page, manifest and one ZIP of it all.

use std::collections::BTreeSet;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use anyhow::Context;
use imaging::Picture;
use imaging::decode;
use imaging::export::{
    ExifChoice, Listed, ListingProfile, Manifest, MovingKind, PageFrame, SheetCell, encode_picture,
    kept_exif, moving_preview, page, sheet_jpeg, sheet_pdf, thinned, write_package,
};
use serde::Serialize;

use super::batch::{Meter, Stage};
use super::finish::{Kitchen, Piece};
use super::folder::{Draft, MANIFEST, WRITTEN_BY};
use super::measured::measured;
use super::sequence::{self, Sequences};
use super::set::KeptSet;
use super::settings::read_finishing;
use super::size::ListingSize;
use super::small::Smalls;

/// Names and texts of the profiles that come with the program.
pub const OWN_PROFILES: [(&str, &str); 3] = [
    ("square", include_str!("../../../demo-data/profiles/square.toml")),
    ("wide", include_str!("../../../demo-data/profiles/wide.toml")),
    ("light", include_str!("../../../demo-data/profiles/light.toml")),
];

/// Longest side of a picture on the contact sheet, px.
pub(super) const SHEET_EDGE_PX: u32 = 320;
/// Most pictures of a moving preview, and how long it takes to turn once, seconds.
const MOVING_FRAMES: usize = 36;
const MOVING_TURN_SECS: f64 = 4.0;
/// Longest side of its pictures, px.
pub(super) const MOVING_EDGE_PX: u32 = 480;

/// Reads a profile: one of the program's own by name, or a TOML file.
///
/// # Errors
/// When there is none or it cannot be used.
pub fn read_profile(name: &str) -> anyhow::Result<ListingProfile> {
    if let Some((_, text)) = OWN_PROFILES.iter().find(|(own, _)| *own == name) {
        return Ok(ListingProfile::from_toml(text)?);
    }
    let names = OWN_PROFILES.map(|(own, _)| own).join(", ");
    let text = std::fs::read_to_string(name).with_context(|| {
        format!("there is no listing profile {name}; name a TOML file, or one of {names}")
    })?;
    ListingProfile::from_toml(&text).with_context(|| format!("the listing profile {name} cannot be used"))
}

/// What is to be exported, and where to.
pub struct ExportOrder<'a> {
    /// The session folder.
    pub dir: &'a Path,
    /// The listing profile.
    pub profile: &'a ListingProfile,
    /// The listing's folder.
    pub to: PathBuf,
    /// The product's name, where the plan has none.
    pub title: Option<&'a str>,
}

/// What an export did.
#[derive(Debug, Clone, Serialize)]
pub struct ExportReport {
    /// The product's SKU.
    pub sku: String,
    /// Where the listing lies.
    pub folder: String,
    /// The listing profile's name.
    pub profile: String,
    /// Pictures in it.
    pub pictures: usize,
    /// Pictures made anew.
    pub made: usize,
    /// Bytes of the largest picture.
    pub largest_bytes: u64,
    /// Room round the object, per cent.
    pub margin_percent: f64,
    /// How wide the pictures are, and what was cut out of the frames for them.
    pub size: ListingSize,
    /// How many times what was cut out is enlarged; `null` where it has the pixels.
    pub enlarged: Option<f64>,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// Why a set with stops missing is not exported, and what to do.
fn without_frame(missing: &[u32]) -> String {
    match missing {
        [one] => format!("stop {one} has no frame; shoot it, or leave it out of the plan"),
        several => format!(
            "stops {} have no frame; shoot them, or leave them out of the plan",
            several.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")
        ),
    }
}

/// Exports one set; the listing's folder appears, or changes, only when all of it is made.
///
/// # Errors
/// When stops are missing, a picture cannot be made as asked, the disk will not, or the work was stopped.
pub fn export(order: &ExportOrder<'_>, meter: &Meter<'_>) -> anyhow::Result<ExportReport> {
    let mut set = KeptSet::read(order.dir)?;
    if set.title.is_empty() {
        order.title.unwrap_or_default().clone_into(&mut set.title);
    }
    let set = set;
    anyhow::ensure!(set.missing.is_empty(), "{}: {}", set.sku, without_frame(&set.missing));
    let profile = order.profile;
    let file = read_finishing(order.dir)?;
    let chosen = file.chosen_margin();
    let settings = profile.finishing(&file.settings, chosen);
    let pieces = pieces_of(&set, profile)?;
    let draft = Draft::open(&order.to)?;
    let found = measured(&set, &file, meter)?;
    let kitchen = Kitchen::new(&set, &file, settings, found, Some(profile.target()))?;
    let size = ListingSize::of(&kitchen.plans, profile).context("the set has no row")?;
    let smalls = (!profile.file_type.is_read()).then(|| Smalls::of(&set));
    let bench = Bench { draft: &draft, kitchen: &kitchen, profile, coding: coding(profile), smalls };
    let sequences = sequence::plan(&set, &pieces, profile);
    let work: Vec<(&Piece<'_>, Option<&str>)> =
        pieces.iter().enumerate().map(|(i, piece)| (piece, sequences.still(i))).collect();
    let bytes_each = kitchen.memory().max(profile.memory_to_code());
    let listed = meter.each(Stage::Making, &work, bytes_each, |(piece, still)| bench.make(piece, *still))?;
    let made = listed.iter().filter(|(new, _)| *new).count();
    let pictures: Vec<Listed> = listed.into_iter().map(|(_, l)| l).collect();
    let largest_bytes = pictures.iter().map(|p| p.bytes).max().unwrap_or(0);
    let count = pictures.len();
    let files = write_rest(&bench, &pieces, pictures, &sequences)?;
    anyhow::ensure!(!meter.cancel.is_cancelled(), "stopped; run it again to go on where it was");
    draft.settle(&files)?;
    Ok(ExportReport {
        sku: set.sku.clone(),
        folder: order.to.display().to_string(),
        profile: profile.name.clone(),
        pictures: count,
        made,
        largest_bytes,
        margin_percent: profile.margin_for(chosen),
        size,
        enlarged: size.enlarged(),
        notes: size.note().into_iter().chain(profile.margin_note(chosen)).chain(kitchen.notes()).collect(),
    })
}

/// The pictures of a listing.
///
/// # Errors
/// When the profile's name pattern cannot be used, or it asks for a number of frames that the rows do not give.
pub(super) fn pieces_of<'a>(set: &'a KeptSet, profile: &ListingProfile) -> anyhow::Result<Vec<Piece<'a>>> {
    let stems = set.stems(&profile.file_name).context("the profile's file_name")?;
    let mut pieces = Vec::new();
    for (row, frames) in set.rows.iter().enumerate() {
        for number in thinned(frames.frames.len(), profile.frames)? {
            let frame = &frames.frames[number];
            let stem = stems.get(&frame.stop).with_context(|| format!("stop {} has no name", frame.stop))?;
            let file = format!("pictures/{stem}.{}", profile.file_type.extension());
            pieces.push(Piece { row, number, frame, file });
        }
    }
    Ok(pieces)
}

/// What of a profile changes a picture's file; the name pattern and what is made beside the pictures do not.
fn coding(profile: &ListingProfile) -> ListingProfile {
    ListingProfile {
        name: String::new(),
        file_name: String::new(),
        frames: None,
        moving: MovingKind::default(),
        sequence_fps: None,
        // The margin itself is part of the settings.
        margin_percent: 0.0,
        margin_is_fixed: false,
        ..profile.clone()
    }
}

/// What every picture of one export is made with.
struct Bench<'a> {
    draft: &'a Draft,
    kitchen: &'a Kitchen<'a>,
    profile: &'a ListingProfile,
    coding: ListingProfile,
    /// Small pictures of those that cannot be read back.
    smalls: Option<Smalls>,
}

impl Bench<'_> {
    /// Makes one picture, and its still of the sequence where there is one, unless they are there already.
    fn make(&self, piece: &Piece<'_>, still: Option<&str>) -> anyhow::Result<(bool, Listed)> {
        let (kitchen, profile, draft) = (self.kitchen, self.profile, self.draft);
        let key = kitchen.key(piece, &self.coding)?;
        let still = match still {
            Some(file) => Some((file, kitchen.key(piece, &sequence::CODING)?)),
            None => None,
        };
        let there = draft.reuse(&piece.file, &key)?;
        let still_is_there = match &still {
            Some((file, key)) => draft.reuse(file, key)?.is_some(),
            None => true,
        };
        let small = self.smalls.as_ref().map(|smalls| smalls.place(kitchen, piece)).transpose()?;
        let small = small.filter(|small| !small.is_there());
        if let (Some(bytes), true, None) = (&there, still_is_there, &small) {
            return Ok((false, kitchen.listed(piece, piece.file.clone(), bytes, key)));
        }
        let (done, original) = kitchen.make(piece)?;
        if let Some(small) = small {
            small.write(&done.picture, kitchen, piece)?;
        }
        if let Some((file, key)) = still.filter(|_| !still_is_there) {
            draft.write(file, &sequence::still(&done.picture, &kitchen.xmp(piece, &key))?)?;
        }
        if let Some(bytes) = there {
            return Ok((false, kitchen.listed(piece, piece.file.clone(), &bytes, key)));
        }
        let choice =
            ExifChoice { exposure: profile.keep_exif, place_and_serials: profile.keep_place_and_serials };
        let exif = kept_exif(&original, choice, profile.width_px, profile.height_px);
        let xmp = kitchen.xmp(piece, &key);
        let coded = encode_picture(&done.picture, profile, exif.as_deref(), &xmp)
            .with_context(|| format!("stop {}", piece.frame.stop))?;
        draft.write(&piece.file, &coded.bytes)?;
        Ok((true, kitchen.listed(piece, piece.file.clone(), &coded.bytes, key)))
    }

    /// Reads a picture back, small.
    fn small(&self, piece: &Piece<'_>, edge_px: u32) -> anyhow::Result<Picture> {
        let bytes = match &self.smalls {
            Some(smalls) => smalls.place(self.kitchen, piece)?.read(),
            None => self.draft.read(&piece.file),
        };
        let bytes = bytes.with_context(|| format!("{} cannot be read back", piece.file))?;
        Ok(decode::preview(&bytes, edge_px)?.picture)
    }
}

/// Writes everything that is made from the pictures themselves; gives the names of all files of the listing.
fn write_rest(
    bench: &Bench<'_>,
    pieces: &[Piece<'_>],
    pictures: Vec<Listed>,
    sequences: &Sequences,
) -> anyhow::Result<BTreeSet<String>> {
    let Bench { draft, kitchen, profile, .. } = bench;
    let labels = kitchen.labels();
    let cells = pieces
        .iter()
        .map(|piece| {
            let label = format!("stop {}  {:.1}°", piece.frame.stop, piece.frame.degrees);
            let flags = kitchen.flags(piece).to_vec();
            Ok(SheetCell { picture: bench.small(piece, SHEET_EDGE_PX)?, label, flags })
        })
        .collect::<anyhow::Result<Vec<_>>>()?;
    draft.write("contact-sheet.jpg", &sheet_jpeg(&labels, &cells)?)?;
    draft.write("contact-sheet.pdf", &sheet_pdf(&labels, &cells)?)?;
    drop(cells);
    let first_row: Vec<&Piece<'_>> = pieces.iter().filter(|p| p.row == pieces[0].row).collect();
    let step = first_row.len().div_ceil(MOVING_FRAMES);
    // Turning to the right under the hand is turning on: forwards for an anticlockwise plate.
    let moving = first_row
        .iter()
        .step_by(step)
        .map(|p| bench.small(p, MOVING_EDGE_PX))
        .collect::<anyhow::Result<Vec<_>>>()?;
    let preview = format!("preview.{}", profile.moving.extension());
    draft.write(&preview, &moving_preview(profile.moving, moving, MOVING_TURN_SECS)?)?;
    let frames: Vec<PageFrame> = pieces
        .iter()
        .map(|p| PageFrame { file: p.file.clone(), row: p.row, degrees: p.frame.degrees })
        .collect();
    let size = (profile.width_px, profile.height_px);
    draft.write("index.html", page(&labels, &frames, size, kitchen.set.clockwise)?.as_bytes())?;
    for (file, text) in sequences.notes(&labels, kitchen.set.clockwise) {
        draft.write(&file, text.as_bytes())?;
    }
    let package = format!("{}.zip", kitchen.set.sku);
    let uploaded: Vec<String> =
        ["contact-sheet.jpg", "contact-sheet.pdf", "index.html", "manifest.csv", MANIFEST]
            .map(str::to_owned)
            .into_iter()
            .chain([preview])
            .collect();
    // The sequence is for a video tool, not for the shop: it stays out of the package.
    let other_files: Vec<String> =
        uploaded.iter().cloned().chain(sequences.files()).chain([package.clone()]).collect();
    let files = pieces.iter().map(|p| p.file.clone()).chain(other_files.iter().cloned()).collect();
    let manifest = Manifest {
        written_by: WRITTEN_BY.to_owned(),
        sku: kitchen.set.sku.clone(),
        title: kitchen.set.title.clone(),
        profile: profile.name.clone(),
        pictures,
        other_files,
    };
    draft.write(MANIFEST, manifest.to_json()?.as_bytes())?;
    draft.write("manifest.csv", manifest.to_csv()?.as_bytes())?;
    let packed: Vec<String> = pieces.iter().map(|p| p.file.clone()).chain(uploaded).collect();
    let bytes = write_package(Cursor::new(Vec::new()), &packed, |file| draft.read(file))?.into_inner();
    draft.write(&package, &bytes)?;
    Ok(files)
}
