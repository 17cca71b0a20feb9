//! `finished/`: every kept frame, finished at the camera's own scale or at the size asked for.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use anyhow::Context;
use imaging::export::{Chroma, ExifChoice, Labels, Listed, Manifest, StopLabel, jpeg, kept_exif, xmp_packet};
use imaging::finish::{
    Background, FinishSettings, Finished, FrameToFinish, PlacedPlate, SetPlan, Target, finish_frame,
    memory_per_frame, place_plate,
};
use serde::Serialize;
use session_core::journal::durable::{create_folder, replace_state};

use super::batch::{Meter, Stage};
use super::folder::{MANIFEST, WRITTEN_BY, has_key, remove_manifest, remove_stale};
use super::measured::{Measured, measured};
use super::set::{KeptSet, SetFrame, read_original};
use super::settings::{FinishingFile, read_finishing};
use super::{RECIPE, digest, file_digest};

/// Quality of finished pictures; they are looked at and worked on, not uploaded.
const QUALITY: u8 = 95;

/// What finishing did.
#[derive(Debug, Clone, Serialize)]
pub struct FinishReport {
    /// The product's SKU.
    pub sku: String,
    /// Where the pictures lie.
    pub folder: String,
    /// Pictures made anew.
    pub made: usize,
    /// Pictures that were there already, made from the same.
    pub kept: usize,
    /// Stops without a frame.
    pub missing: Vec<u32>,
    /// The axis and crop of each row.
    pub rows: Vec<RowReport>,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// How one row was turned and cut.
#[derive(Debug, Clone, Serialize)]
pub struct RowReport {
    /// The row's name.
    pub row: String,
    /// How it was placed.
    #[serde(flatten)]
    pub placement: imaging::finish::Placement,
}

/// One picture to make.
pub(super) struct Piece<'a> {
    pub row: usize,
    /// The frame's place in its row's plan.
    pub number: usize,
    pub frame: &'a SetFrame,
    /// File name, as seen from its folder.
    pub file: String,
}

/// What all pictures of one run share.
pub(super) struct Kitchen<'a> {
    pub set: &'a KeptSet,
    pub file: &'a FinishingFile,
    pub settings: FinishSettings,
    pub plans: Vec<SetPlan>,
    found: Measured,
    /// The size asked for; `None` is the set's own.
    pub target: Option<Target>,
    placed: Vec<OnceLock<Result<PlacedPlate, String>>>,
}

impl<'a> Kitchen<'a> {
    pub fn new(
        set: &'a KeptSet,
        file: &'a FinishingFile,
        settings: FinishSettings,
        found: Measured,
        target: Option<Target>,
    ) -> anyhow::Result<Self> {
        found.check_told(&settings)?;
        let plans = found.plans(&settings)?;
        let placed = plans.iter().map(|_| OnceLock::new()).collect();
        Ok(Self { set, file, settings, plans, found, target, placed })
    }

    /// What was found wrong with a picture's frame, in words.
    pub fn flags(&self, piece: &Piece<'_>) -> &[String] {
        self.found.rows[piece.row].flags.get(piece.number).map_or(&[], Vec::as_slice)
    }

    pub fn target_of(&self, row: usize) -> Target {
        self.target.unwrap_or_else(|| {
            let native = Target::native(&self.plans[row].placement);
            self.file.size_px.map_or(native, |side| native.within(side))
        })
    }

    pub fn labels(&self) -> Labels {
        Labels {
            title: self.set.title.clone(),
            sku: self.set.sku.clone(),
            creator: self.file.creator.clone(),
            copyright: self.file.copyright.clone(),
        }
    }

    /// The key: the original's digest and all that the picture is made with. `coding` stands for the rest.
    pub fn key(&self, piece: &Piece<'_>, coding: &impl Serialize) -> anyhow::Result<String> {
        let plan = &self.plans[piece.row];
        let target = self.target_of(piece.row);
        let made_with = serde_json::to_vec(&serde_json::json!({
            "recipe": RECIPE,
            "settings": self.settings,
            "placement": plan.placement,
            "usual_width_px": plan.usual_width_px,
            "gain": plan.light.gains.get(piece.number),
            "plate": self.found.plates[piece.row].as_ref().map(|p| &p.sha256),
            "size": (target.width_px, target.height_px),
            "labels": [&self.set.title, &self.set.sku, &self.file.creator, &self.file.copyright],
            "stop": (piece.frame.stop, piece.frame.degrees, &self.set.rows[piece.row].name),
            "coding": coding,
        }))?;
        Ok(digest(&[piece.frame.sha256.as_bytes(), &made_with]))
    }

    /// Finishes one picture; gives the original's bytes with it.
    pub fn make(&self, piece: &Piece<'_>) -> anyhow::Result<(Finished, Vec<u8>)> {
        let at = || format!("stop {}", piece.frame.stop);
        let bytes = read_original(piece.frame)?;
        let target = self.target_of(piece.row);
        let plan = &self.plans[piece.row];
        let plate = match &self.found.plates[piece.row] {
            Some(plate) if self.settings.background == Background::White => {
                let placed = self.placed[piece.row]
                    .get_or_init(|| place_plate(&plate.bytes, plan, target).map_err(|e| e.to_string()));
                Some(placed.as_ref().map_err(|e| anyhow::anyhow!("the frame of the empty table: {e}"))?)
            }
            _ => None,
        };
        let sight = &self.found.rows[piece.row].sights[piece.number];
        let which = FrameToFinish { number: piece.number, sight, plate };
        let done = finish_frame(&bytes, plan, which, &self.settings, target).with_context(at)?;
        Ok((done, bytes))
    }

    pub fn xmp(&self, piece: &Piece<'_>, key: &str) -> String {
        let label = StopLabel {
            stop: piece.frame.stop,
            row: self.set.rows[piece.row].name.clone(),
            degrees: piece.frame.degrees,
        };
        xmp_packet(&self.labels(), Some(&label), key)
    }

    /// A picture's line in the manifest.
    pub fn listed(&self, piece: &Piece<'_>, file: String, bytes: &[u8], key: String) -> Listed {
        let target = self.target_of(piece.row);
        Listed {
            stop: piece.frame.stop,
            row: self.set.rows[piece.row].name.clone(),
            degrees: piece.frame.degrees,
            file,
            width_px: target.width_px,
            height_px: target.height_px,
            bytes: bytes.len() as u64,
            sha256: file_digest(bytes),
            made_from: key,
        }
    }

    /// Memory that one picture needs, bytes.
    pub fn memory(&self) -> u64 {
        (0..self.plans.len())
            .map(|row| memory_per_frame(self.plans[row].placement.frame_px, self.target_of(row)))
            .max()
            .unwrap_or(0)
    }

    pub fn notes(&self) -> Vec<String> {
        let several = self.plans.len() > 1;
        let rows = self.plans.iter().zip(&self.set.rows);
        rows.flat_map(|(plan, row)| {
            plan.notes.iter().map(move |n| if several { format!("row {}: {n}", row.name) } else { n.clone() })
        })
        .collect()
    }
}

/// Where a set's finished pictures lie.
pub fn finished_folder(dir: &Path) -> PathBuf {
    dir.join("finished")
}

/// Finishes a set into `DIR/finished`.
///
/// # Errors
/// When a frame cannot be finished, the disk will not, or the work was stopped; what was finished stays.
pub fn finish(dir: &Path, meter: &Meter<'_>) -> anyhow::Result<FinishReport> {
    let set = KeptSet::read(dir)?;
    let file = read_finishing(dir)?;
    let found = measured(&set, &file, meter)?;
    let kitchen = Kitchen::new(&set, &file, file.settings.clone(), found, None)?;
    let folder = finished_folder(dir);
    create_folder(&folder)?;
    let mut pieces = Vec::new();
    for (row, frames) in set.rows.iter().enumerate() {
        for (number, frame) in frames.frames.iter().enumerate() {
            let stem = frame.path.file_stem().unwrap_or_default().to_string_lossy();
            pieces.push(Piece { row, number, frame, file: format!("{stem}.jpg") });
        }
    }
    // Until all of them are made from the same, what lies there is not listed as finished.
    remove_manifest(&folder)?;
    let listed = meter.each(Stage::Making, &pieces, kitchen.memory(), |piece| {
        let key = kitchen.key(piece, &("finished", QUALITY))?;
        let path = folder.join(&piece.file);
        if let Some(bytes) = has_key(&path, &key) {
            return Ok((false, kitchen.listed(piece, piece.file.clone(), &bytes, key)));
        }
        let (done, original) = kitchen.make(piece)?;
        let target = kitchen.target_of(piece.row);
        let choice = ExifChoice { exposure: true, place_and_serials: false };
        let exif = kept_exif(&original, choice, target.width_px, target.height_px);
        let xmp = kitchen.xmp(piece, &key);
        let bytes = jpeg(&done.picture, QUALITY, Chroma::Full, exif.as_deref(), Some(&xmp))?;
        replace_state(&path, &bytes)?;
        Ok((true, kitchen.listed(piece, piece.file.clone(), &bytes, key)))
    })?;
    let made = listed.iter().filter(|(new, _)| *new).count();
    let manifest = Manifest {
        written_by: WRITTEN_BY.to_owned(),
        sku: set.sku.clone(),
        title: set.title.clone(),
        profile: String::new(),
        pictures: listed.into_iter().map(|(_, listed)| listed).collect(),
        other_files: vec![MANIFEST.to_owned()],
    };
    replace_state(&folder.join(MANIFEST), manifest.to_json()?.as_bytes())?;
    let keep: BTreeSet<String> = pieces.iter().map(|p| p.file.clone()).collect();
    remove_stale(&folder, &keep)?;
    let rows = kitchen.plans.iter().zip(&set.rows);
    Ok(FinishReport {
        sku: set.sku.clone(),
        folder: folder.display().to_string(),
        made,
        kept: pieces.len() - made,
        missing: set.missing.clone(),
        rows: rows.map(|(p, r)| RowReport { row: r.name.clone(), placement: p.placement }).collect(),
        notes: kitchen.notes(),
    })
}
