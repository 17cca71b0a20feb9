//! What is measured once for a set: light, axis, flags and outlines of every row, on one decoding of each frame.
//!
//! Kept under a name made from all it depends on, in the session's cache, which may be deleted at any time.

use anyhow::Context;
use imaging::check::{Flag, FrameInput, check_measured};
use imaging::finish::{
    Axis, Background, FinishSettings, RowLight, SetPlan, Sight, SmallPlate, look, plan_place,
};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use session_core::journal::durable::{create_folder, replace_state};

use super::batch::{Meter, Stage};
use super::set::{KeptSet, SetRow, read_original};
use super::settings::FinishingFile;
use super::{RECIPE, digest, file_digest};

/// What was measured of one row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct MeasuredRow {
    frame_px: (u32, u32),
    stops: Vec<u32>,
    light: RowLight,
    /// The turning axis, as measured or as set.
    pub axis: Option<Axis>,
    /// Why there is no axis.
    no_axis: Option<String>,
    /// Background and outline of each frame.
    pub sights: Vec<Sight>,
    /// What was found on each frame, in words.
    pub flags: Vec<Vec<String>>,
}

/// A row's frame of the empty table.
#[derive(Debug, Clone)]
pub(super) struct Plate {
    pub bytes: Vec<u8>,
    pub sha256: String,
}

/// A whole set, measured.
pub(super) struct Measured {
    pub rows: Vec<MeasuredRow>,
    pub plates: Vec<Option<Plate>>,
}

/// Measures a set, or takes what was measured before.
///
/// # Errors
/// When a frame cannot be read, or frames differ in size.
pub(super) fn measured(set: &KeptSet, file: &FinishingFile, meter: &Meter<'_>) -> anyhow::Result<Measured> {
    let mut all = Measured { rows: Vec::new(), plates: Vec::new() };
    for row in &set.rows {
        let at = || if set.rows.len() > 1 { format!("row {}", row.name) } else { set.sku.clone() };
        let plate = plate_of(set, file, row)?;
        let key = row_key(set, file, row, plate.as_ref())?;
        let found = cached(set, "finishing", &key, || measure_row(set, file, row, plate.as_ref(), meter))
            .with_context(at)?;
        all.rows.push(found);
        all.plates.push(plate);
    }
    Ok(all)
}

impl Measured {
    /// Makes sure, before anything is made, that every object can be told where that is needed.
    ///
    /// # Errors
    /// The first stop at which it cannot.
    pub fn check_told(&self, settings: &FinishSettings) -> anyhow::Result<()> {
        if settings.background == Background::AsShot {
            return Ok(());
        }
        for row in &self.rows {
            for (stop, sight) in row.stops.iter().zip(&row.sights) {
                if let Some(error) = sight.untold() {
                    return Err(anyhow::Error::new(error).context(format!("stop {stop}")));
                }
            }
        }
        Ok(())
    }

    /// Plans how each row is turned and cut; rows of one set get one scale.
    ///
    /// # Errors
    /// When an axis lies outside the frame.
    pub fn plans(&self, settings: &FinishSettings) -> anyhow::Result<Vec<SetPlan>> {
        let mut plans = self
            .rows
            .iter()
            .map(|row| {
                let light = row.light.with(settings);
                let mut plan = plan_place(row.frame_px, &row.stops, &row.sights, row.axis, light, settings)?;
                if let (true, Some(reason)) = (settings.straighten, &row.no_axis) {
                    plan.notes.push(format!("the axis cannot be told: {reason}"));
                }
                Ok(plan)
            })
            .collect::<anyhow::Result<Vec<SetPlan>>>()?;
        let white = settings.background == Background::White;
        let same = self.rows.windows(2).all(|w| w[0].frame_px == w[1].frame_px);
        if settings.crop.is_some() && white && same {
            let height = plans.iter().map(|p| p.placement.crop.height_px).fold(0.0, f64::max);
            for plan in &mut plans {
                plan.placement = plan.placement.with_height(height);
            }
        }
        Ok(plans)
    }
}

fn plate_of(set: &KeptSet, file: &FinishingFile, row: &SetRow) -> anyhow::Result<Option<Plate>> {
    let Some(plate) = file.plate_of(&row.name) else { return Ok(None) };
    let path = set.dir.join(plate);
    let bytes = std::fs::read(&path).with_context(|| {
        format!("the frame of the empty table cannot be read ({}); name another with --plate, or none with --no-plate", path.display())
    })?;
    let sha256 = file_digest(&bytes);
    Ok(Some(Plate { bytes, sha256 }))
}

/// Stands for all that a row's measurements depend on.
fn row_key(
    set: &KeptSet,
    file: &FinishingFile,
    row: &SetRow,
    plate: Option<&Plate>,
) -> anyhow::Result<String> {
    let frames: Vec<String> =
        row.frames.iter().map(|f| format!("{} {} {}", f.stop, f.degrees, f.sha256)).collect();
    let depends = serde_json::to_vec(&serde_json::json!({
        "recipe": RECIPE,
        "frames": frames,
        "clockwise": set.clockwise,
        "plate": plate.map(|p| &p.sha256),
        "axis": file.axes.get(&row.name),
    }))?;
    Ok(digest(&[&depends]))
}

/// What lies in the set's cache under this name and key, or is made now and put there.
fn cached<T: Serialize + DeserializeOwned>(
    set: &KeptSet,
    name: &str,
    key: &str,
    make: impl FnOnce() -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    let folder = set.dir.join("cache");
    let path = folder.join(format!("{name}-{}.json", &key[..16]));
    let there = std::fs::read(&path).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok());
    if let Some(there) = there {
        return Ok(there);
    }
    let made = make()?;
    create_folder(&folder)?;
    replace_state(&path, serde_json::to_string(&made)?.as_bytes())?;
    Ok(made)
}

/// What a look at one frame may take: the file, its reduced decoding of up to 4 megapixels as codes and in
/// linear light, and the maps an outline is found with.
const LOOK_BYTES: u64 = 160 * 1024 * 1024;

fn measure_row(
    set: &KeptSet,
    file: &FinishingFile,
    row: &SetRow,
    plate: Option<&Plate>,
    meter: &Meter<'_>,
) -> anyhow::Result<MeasuredRow> {
    let stops: Vec<u32> = row.frames.iter().map(|f| f.stop).collect();
    let small =
        plate.map(|p| SmallPlate::read(&p.bytes)).transpose().context("the frame of the empty table")?;
    let looks = meter.each(Stage::Measuring, &row.frames, LOOK_BYTES, |frame| {
        look(&read_original(frame)?, small.as_ref()).with_context(|| format!("stop {}", frame.stop))
    })?;
    let (mut glances, mut sights, mut measured) = (Vec::new(), Vec::new(), Vec::new());
    for look in looks {
        glances.push(look.glance);
        sights.push(look.sight);
        measured.push(Ok(look.measured));
    }
    let light = RowLight::measure(&stops, &glances)?;
    let frame_px = glances.first().map_or((0, 0), |g| g.full_size_px);
    let inputs: Vec<FrameInput> = row
        .frames
        .iter()
        .map(|f| FrameInput { index: f.stop, degrees: f.degrees, closing: false, path: f.path.clone() })
        .collect();
    let report = check_measured(&inputs, &measured, set.clockwise);
    let flags = report.frames.iter().map(|f| f.flags.iter().map(flag_words).collect()).collect();
    let (axis, no_axis) = match (file.axes.get(&row.name), report.axis) {
        (Some(axis), _) => (Some(*axis), None),
        (None, Ok(found)) => {
            let lean_deg = found.lean_deg.map_or(0.0, |(lean, _)| lean);
            (Some(Axis { column_px: found.column_px, lean_deg }), None)
        }
        (None, Err(reason)) => (None, Some(reason)),
    };
    Ok(MeasuredRow { frame_px, stops, light, axis, no_axis, sights, flags })
}

/// A flag in a few words: its own name, and how much.
fn flag_words(flag: &Flag) -> String {
    let name =
        serde_json::to_value(flag.kind).ok().and_then(|v| v.as_str().map(|s| s.replace(['-', '_'], " ")));
    format!("{} {:+.2} {}", name.unwrap_or_default(), flag.amount, flag.unit)
}
