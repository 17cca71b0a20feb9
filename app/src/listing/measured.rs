//! What is measured once for a set: light, axis, flags and outlines of every row.
//!
//! Kept under a name made from all it depends on, in the session's cache, which may be deleted at any time.

use anyhow::Context;
use imaging::check::{Flag, FrameInput, check_measured};
use imaging::finish::{
    Axis, FinishSettings, FrameLight, LinearPicture, RowLight, SetPlan, Sweep, glance, plan_place,
    plate_for_sweep, sweep,
};
use imaging::measure::measure;
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
    axis: Option<Axis>,
    /// Why there is no axis.
    no_axis: Option<String>,
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
    /// The outlines of each row's frames; none where they were not asked for.
    sweeps: Vec<Vec<Sweep>>,
}

/// Measures a set, or takes what was measured before.
///
/// # Errors
/// When a frame cannot be read, frames differ in size, or the object cannot be told from the background.
pub(super) fn measured(
    set: &KeptSet,
    file: &FinishingFile,
    needs_outline: bool,
    meter: &Meter<'_>,
) -> anyhow::Result<Measured> {
    let mut all = Measured { rows: Vec::new(), plates: Vec::new(), sweeps: Vec::new() };
    for row in &set.rows {
        let at = || if set.rows.len() > 1 { format!("row {}", row.name) } else { set.sku.clone() };
        let plate = plate_of(set, file, row)?;
        let key = row_key(set, file, row, plate.as_ref())?;
        let found = cached(set, "finishing", &key, || measure_row(set, file, row, plate.as_ref(), meter))
            .with_context(at)?;
        let sweeps = if needs_outline {
            // In even light whatever is asked of the pictures: an outline is best told there.
            let light = found.light.with(&FinishSettings::default());
            cached(set, "outlines", &key, || sweeps(row, &light, plate.as_ref(), meter)).with_context(at)?
        } else {
            Vec::new()
        };
        all.rows.push(found);
        all.plates.push(plate);
        all.sweeps.push(sweeps);
    }
    Ok(all)
}

impl Measured {
    /// Plans how each row is turned and cut; rows of one set get one scale.
    ///
    /// # Errors
    /// When an axis lies outside the frame.
    pub fn plans(&self, settings: &FinishSettings) -> anyhow::Result<Vec<SetPlan>> {
        let mut plans = self
            .rows
            .iter()
            .zip(&self.sweeps)
            .map(|(row, sweeps)| {
                let mut plan = plan_place(
                    row.frame_px,
                    &row.stops,
                    sweeps,
                    row.axis,
                    row.light.with(settings),
                    settings,
                )?;
                if let (true, Some(reason)) = (settings.straighten, &row.no_axis) {
                    plan.notes.push(format!("the axis cannot be told: {reason}"));
                }
                Ok(plan)
            })
            .collect::<anyhow::Result<Vec<SetPlan>>>()?;
        let white = settings.background == imaging::finish::Background::White;
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
    let Some(pattern) = &file.plate else { return Ok(None) };
    let path = set.dir.join(pattern.replace("{row}", &row.name));
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

fn measure_row(
    set: &KeptSet,
    file: &FinishingFile,
    row: &SetRow,
    plate: Option<&Plate>,
    meter: &Meter<'_>,
) -> anyhow::Result<MeasuredRow> {
    let stops: Vec<u32> = row.frames.iter().map(|f| f.stop).collect();
    // Reduced decodings: about 4 Mpx of them at once for each frame.
    let small = 96 * 1024 * 1024;
    let looked = meter.each(Stage::Measuring, &row.frames, small, |frame| {
        let bytes = read_original(frame)?;
        let seen = glance(&bytes).with_context(|| format!("stop {}", frame.stop))?;
        Ok((seen, measure(&bytes).map_err(|e| e.to_string())))
    })?;
    let (glances, measured): (Vec<_>, Vec<_>) = looked.into_iter().unzip();
    let plate_glance = plate.map(|p| glance(&p.bytes)).transpose().context("the frame of the empty table")?;
    let light = RowLight::measure(&stops, &glances, plate_glance.as_ref())?;
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
    Ok(MeasuredRow { frame_px, stops, light, axis, no_axis, flags })
}

fn sweeps(
    row: &SetRow,
    light: &FrameLight,
    plate: Option<&Plate>,
    meter: &Meter<'_>,
) -> anyhow::Result<Vec<Sweep>> {
    let small: Option<LinearPicture> =
        plate.map(|p| plate_for_sweep(&p.bytes, light.plate_gain)).transpose()?;
    let frames: Vec<_> = row.frames.iter().zip(&light.gains).collect();
    meter.each(Stage::Outlining, &frames, 128 * 1024 * 1024, |(frame, gain)| {
        sweep(&read_original(frame)?, **gain, small.as_ref()).with_context(|| format!("stop {}", frame.stop))
    })
}

/// A flag in a few words: its own name, and how much.
fn flag_words(flag: &Flag) -> String {
    let name =
        serde_json::to_value(flag.kind).ok().and_then(|v| v.as_str().map(|s| s.replace(['-', '_'], " ")));
    format!("{} {:+.2} {}", name.unwrap_or_default(), flag.amount, flag.unit)
}
