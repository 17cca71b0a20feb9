//! A set's plan of finishing, and one frame through the whole chain.
//!
//! First every frame is looked at small ([`glance`]): its light. Then with even light: its outline
//! ([`sweep`]). From both comes the plan; with it each frame is finished on its own, in any order.

use serde::{Deserialize, Serialize};

use super::FinishError;
use super::cutout::{Coarse, Cutout};
use super::even;
use super::linear::LinearPicture;
use super::load::{load_frame, load_reduced};
use super::place::{Axis, Placement};
use super::resample::Frame;
use super::settings::{Background, FinishSettings, WhiteBalance};
use super::shadow::onto_white;
use super::sharpen::sharpened;
use crate::picture::{Picture, fit_within};

/// Longest side of a glance in pixels.
const GLANCE_EDGE_PX: u32 = 256;
/// Longest side of the picture an outline is found in, in pixels.
const SWEEP_EDGE_PX: u32 = 900;

/// A frame seen small, to judge its light.
#[derive(Clone)]
pub struct Glance {
    /// Width and height of the whole frame, upright.
    pub full_size_px: (u32, u32),
    small: LinearPicture,
}

/// Looks at a frame.
///
/// # Errors
/// When the file gives no whole picture.
pub fn glance(bytes: &[u8]) -> Result<Glance, FinishError> {
    let loaded = load_reduced(bytes, GLANCE_EDGE_PX)?;
    Ok(Glance { full_size_px: loaded.full_size_px, small: loaded.picture })
}

/// The gains that make a set's light even, in linear light: red, green, blue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameLight {
    /// For each frame, in the order given.
    pub gains: Vec<[f32; 3]>,
    /// For the frame of the empty table.
    pub plate_gain: [f32; 3],
    /// What a person should know.
    pub notes: Vec<String>,
}

/// A row's light as measured: what any choice of settings needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowLight {
    as_shot: Balance,
    even: Balance,
    /// What a person should know of the even light.
    notes: Vec<String>,
}

/// Gains of a row's frames, and what makes the background neutral on top of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Balance {
    gains: Vec<[f32; 3]>,
    plate_gain: [f32; 3],
    neutral: [f32; 3],
}

impl Balance {
    fn of(frames: &[&LinearPicture], gains: Vec<[f32; 3]>, plate: Option<&LinearPicture>) -> Self {
        let middle = even::Middle::of(frames, &gains);
        let plate_gain = plate.and_then(|p| even::gain_against(p, &middle)).unwrap_or([1.0; 3]);
        Self { gains, plate_gain, neutral: even::neutral(&middle) }
    }
}

impl RowLight {
    /// Measures the light of one row; `stops` names the frames for messages.
    ///
    /// # Errors
    /// When there are no frames or they differ in size.
    pub fn measure(stops: &[u32], glances: &[Glance], plate: Option<&Glance>) -> Result<Self, FinishError> {
        let (width_px, height_px) = glances.first().ok_or(FinishError::NoFrames)?.full_size_px;
        for (i, other) in glances.iter().enumerate() {
            let (found_width_px, found_height_px) = other.full_size_px;
            if (found_width_px, found_height_px) != (width_px, height_px) {
                let stop = stops.get(i).copied().unwrap_or_default();
                return Err(FinishError::SizeDiffers {
                    stop,
                    found_width_px,
                    found_height_px,
                    width_px,
                    height_px,
                });
            }
        }
        if let Some((found_width_px, found_height_px)) =
            plate.map(|p| p.full_size_px).filter(|size| *size != (width_px, height_px))
        {
            return Err(FinishError::PlateDiffers { found_width_px, found_height_px, width_px, height_px });
        }
        let frames: Vec<&LinearPicture> = glances.iter().map(|g| &g.small).collect();
        let plate = plate.map(|p| &p.small);
        let (gains, unknown) = even::gains(&frames);
        let notes = unknown.into_iter().map(|i| {
            let stop = stops.get(i).copied().unwrap_or_default();
            format!("stop {stop} is too bright or too dark to be made even; look at it, or retake it")
        });
        Ok(Self {
            notes: notes.collect(),
            as_shot: Balance::of(&frames, vec![[1.0; 3]; frames.len()], plate),
            even: Balance::of(&frames, gains, plate),
        })
    }

    /// The gains that these settings ask for.
    pub fn with(&self, settings: &FinishSettings) -> FrameLight {
        let balance = if settings.even { &self.even } else { &self.as_shot };
        let neutral = match settings.white_balance {
            WhiteBalance::Background => balance.neutral,
            WhiteBalance::AsShot => [1.0; 3],
        };
        let balanced = |gain: &[f32; 3]| [0, 1, 2].map(|c| gain[c] * neutral[c]);
        FrameLight {
            gains: balance.gains.iter().map(balanced).collect(),
            plate_gain: balanced(&balance.plate_gain),
            notes: if settings.even { self.notes.clone() } else { Vec::new() },
        }
    }
}

/// Plans the light of one row; `stops` names the frames for messages.
///
/// # Errors
/// As [`RowLight::measure`].
pub fn plan_light(
    stops: &[u32],
    glances: &[Glance],
    plate: Option<&Glance>,
    settings: &FinishSettings,
) -> Result<FrameLight, FinishError> {
    Ok(RowLight::measure(stops, glances, plate)?.with(settings))
}

/// The object's outline in one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sweep {
    /// Width and height of the frame.
    pub frame_px: (u32, u32),
    /// Corners of the convex hull of the outline, whole-frame pixels: all that a crop needs to know.
    hull: Vec<[f64; 2]>,
    /// Share of the outline that is hardly told from what lies beside it, 0 to 1.
    unsure: f32,
}

/// Finds the outline of one frame whose light has been made even; `plate` is the empty table's file and
/// its gain.
///
/// # Errors
/// [`FinishError::CannotTell`] when the object does not stand out.
pub fn sweep(bytes: &[u8], gain: [f32; 3], plate: Option<&LinearPicture>) -> Result<Sweep, FinishError> {
    let mut loaded = load_reduced(bytes, SWEEP_EDGE_PX)?;
    loaded.picture.gain(gain);
    let outline = Coarse::find(&loaded.picture, plate).map_err(FinishError::CannotTell)?;
    let scale = f64::from(loaded.full_size_px.0) / f64::from(loaded.picture.width_px());
    let edges = outline.rows().into_iter().flat_map(|(y, l, r)| [[l, y], [r, y]]);
    let hull = hull(edges.map(|place| place.map(|v| v * scale)).collect());
    Ok(Sweep { frame_px: loaded.full_size_px, hull, unsure: outline.unsure })
}

/// Convex hull by Andrew's monotone chain (Inf. Proc. Letters 9:216, 1979).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..] {
                if (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(p);
        }
        chain
    };
    let mut all = half(&mut points.iter().copied());
    all.extend(half(&mut points.iter().rev().copied()));
    all
}

/// Reads the empty table's frame at the size outlines are found in.
///
/// # Errors
/// When the file gives no whole picture.
pub fn plate_for_sweep(bytes: &[u8], gain: [f32; 3]) -> Result<LinearPicture, FinishError> {
    let mut loaded = load_reduced(bytes, SWEEP_EDGE_PX)?;
    loaded.picture.gain(gain);
    Ok(loaded.picture)
}

/// How one row is finished; what it was made from is the app's to remember.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetPlan {
    /// Turning and cutting.
    pub placement: Placement,
    /// Left, top, right and bottom of all that the object swept, straightened, whole-frame pixels.
    pub swept_px: Option<[f64; 4]>,
    /// The light.
    pub light: FrameLight,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// Share of an outline from which on a person is told that it is not sure.
const UNSURE: f32 = 0.05;

/// Says at which stops the outline is not sure.
fn unsure_note(stops: &[u32], sweeps: &[Sweep]) -> Option<String> {
    let found: Vec<String> = sweeps
        .iter()
        .zip(stops)
        .filter(|(sweep, _)| sweep.unsure >= UNSURE)
        .map(|(sweep, stop)| format!("{stop} ({:.0} % of it)", 100.0 * sweep.unsure))
        .collect();
    (!found.is_empty()).then(|| {
        format!(
            "the outline is not sure, being hardly lighter or darker than the background, at stop {}; look at these pictures' edges, or shoot with more contrast to the background",
            found.join(", ")
        )
    })
}

/// Plans how a row is turned and cut; `stops` names the sweeps for messages. Without outlines the whole frame
/// stays.
///
/// # Errors
/// When the axis lies outside the frame.
pub fn plan_place(
    frame_px: (u32, u32),
    stops: &[u32],
    sweeps: &[Sweep],
    axis: Option<Axis>,
    light: FrameLight,
    settings: &FinishSettings,
) -> Result<SetPlan, FinishError> {
    let mut placement = Placement::whole(frame_px);
    let mut notes = light.notes.clone();
    let axis = axis.filter(|_| settings.straighten);
    if let Some(axis) = axis {
        if !(0.0..=f64::from(frame_px.0)).contains(&axis.column_px) {
            return Err(FinishError::AxisOutside(axis.column_px));
        }
        placement.pivot_px[0] = axis.column_px;
        placement.turn_deg = axis.lean_deg;
    } else if settings.straighten {
        notes.push(
            "the turning axis is not known: frames are not straightened, the object's own middle is used"
                .to_owned(),
        );
    }
    if settings.background == Background::White {
        notes.extend(unsure_note(stops, sweeps));
    }
    let mut swept: Option<[f64; 4]> = None;
    for place in sweeps.iter().flat_map(|s| &s.hull) {
        let [x, y] = placement.straightened(*place);
        let b = swept.unwrap_or([x, y, x, y]);
        swept = Some([b[0].min(x), b[1].min(y), b[2].max(x), b[3].max(y)]);
    }
    if let (Some(swept), Some(crop)) = (swept, settings.crop) {
        placement = placement.cropped(swept, crop, axis.is_some());
        if settings.background == Background::AsShot {
            let wanted = placement.crop.height_px;
            match placement.within_frame(swept) {
                Some(fitting) => {
                    placement = fitting;
                    if fitting.crop.height_px < wanted * 0.99 {
                        notes.push("the frame has no room for the whole margin; it was made smaller".to_owned());
                    }
                }
                None => notes.push("the crop reaches beyond the frame; its border is carried on there. Use a smaller margin, or white background".to_owned()),
            }
        }
    }
    Ok(SetPlan { placement, swept_px: swept, light, notes })
}

/// The size a frame is finished to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Target {
    /// Width in pixels.
    pub width_px: u32,
    /// Height in pixels.
    pub height_px: u32,
}

impl Target {
    /// The size of a crop in the camera's own pixels.
    pub fn native(placement: &Placement) -> Self {
        let side = |v: f64| (v.round() as u32).max(1);
        Self { width_px: side(placement.crop.width_px), height_px: side(placement.crop.height_px) }
    }
}

/// A finished frame.
pub struct Finished {
    /// The picture, sRGB.
    pub picture: Picture,
    /// The object's mask, when the background was made white.
    pub cutout: Option<Cutout>,
}

/// How many pixels a frame must be read with on its longer side, so that the target is never made from less
/// than the camera gave, nor the outline found on less than in any other size.
fn enough_px(placement: &Placement, target: Target) -> u32 {
    let crop = placement.crop;
    let scale =
        (f64::from(target.width_px) / crop.width_px).max(f64::from(target.height_px) / crop.height_px);
    let (width, height) = placement.frame_px;
    (f64::from(width.max(height)) * scale.min(1.0)).ceil().max(f64::from(SWEEP_EDGE_PX)) as u32
}

/// The whole frame at the size outlines are found in.
fn whole(frame: &Frame, frame_px: (u32, u32), gain: [f32; 3]) -> Result<LinearPicture, FinishError> {
    let (width_px, height_px) = fit_within(frame_px.0, frame_px.1, SWEEP_EDGE_PX);
    Ok(Placement::whole(frame_px).apply(frame, gain, width_px, height_px)?)
}

/// The empty table, for frames of one row and one size.
pub struct PlacedPlate {
    /// The whole frame, to find outlines against.
    whole: LinearPicture,
    /// Turned and cut as the pictures are.
    placed: LinearPicture,
}

/// Reads the empty table's frame and places it as frames of the row are.
///
/// # Errors
/// When the file gives no whole picture.
pub fn place_plate(bytes: &[u8], plan: &SetPlan, target: Target) -> Result<PlacedPlate, FinishError> {
    let plate = load_frame(bytes, enough_px(&plan.placement, target))?;
    let gain = plan.light.plate_gain;
    let whole = whole(&plate, plan.placement.frame_px, gain)?;
    Ok(PlacedPlate { whole, placed: plan.placement.apply(&plate, gain, target.width_px, target.height_px)? })
}

/// Finishes one frame: the steps of [`super::Step::ORDER`].
///
/// `number` is the frame's place in the plan; `plate` comes from [`place_plate`] with the same target.
///
/// # Errors
/// When the file gives no whole picture, or the object cannot be told from the background.
pub fn finish_frame(
    bytes: &[u8],
    plan: &SetPlan,
    number: usize,
    plate: Option<&PlacedPlate>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Finished, FinishError> {
    let frame = load_frame(bytes, enough_px(&plan.placement, target))?;
    finish_loaded(frame, plan, number, plate, settings, target)
}

/// One frame before and after finishing, cut alike.
pub struct Proof {
    /// As shot: neither made even nor turned, on its own background.
    pub before: Picture,
    /// Finished, or why it cannot be.
    pub after: Result<Finished, FinishError>,
}

/// Shows what finishing does to one frame; arguments as of [`finish_frame`].
///
/// # Errors
/// When the file gives no whole picture.
pub fn proof_frame(
    bytes: &[u8],
    plan: &SetPlan,
    number: usize,
    plate: Option<&PlacedPlate>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Proof, FinishError> {
    let frame = load_frame(bytes, enough_px(&plan.placement, target))?;
    let unturned = Placement { turn_deg: 0.0, ..plan.placement };
    let before = unturned.apply(&frame, [1.0; 3], target.width_px, target.height_px)?.coded()?;
    let after = finish_loaded(frame, plan, number, plate, settings, target);
    Ok(Proof { before, after })
}

fn finish_loaded(
    frame: Frame,
    plan: &SetPlan,
    number: usize,
    plate: Option<&PlacedPlate>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Finished, FinishError> {
    let gain = plan.light.gains.get(number).copied().unwrap_or([1.0; 3]);
    let mut picture = plan.placement.apply(&frame, gain, target.width_px, target.height_px)?;
    let white = settings.background == Background::White;
    let seen = if white { Some(whole(&frame, plan.placement.frame_px, gain)?) } else { None };
    drop(frame);
    let mut cutout = None;
    if let Some(seen) = seen {
        let outline = Coarse::find(&seen, plate.map(|p| &p.whole)).map_err(FinishError::CannotTell)?;
        let on_whole = plan.placement.way_to_frame((target.width_px, target.height_px), &seen);
        let found = Cutout::along(&picture, &outline, on_whole);
        let on_frame = plan.placement.frame_test((target.width_px, target.height_px));
        onto_white(&mut picture, &found, plate.map(|p| &p.placed), settings.shadow, on_frame);
        cutout = Some(found);
    }
    let picture = sharpened(picture.coded()?, settings.sharpen_percent)?;
    Ok(Finished { picture, cutout })
}

/// Estimates the most memory one frame needs while it is finished, in bytes: decoded, in linear light, cut
/// out and coded.
pub fn memory_per_frame(frame_px: (u32, u32), target: Target) -> u64 {
    let frame = u64::from(frame_px.0) * u64::from(frame_px.1);
    let out = u64::from(target.width_px) * u64::from(target.height_px);
    // Full frame: as a progressive file is decoded, or as it is read from 16 bits, 9 bytes; finished: linear,
    // plate's share, mask, coded, two planes for sharpening; 64 MB for the coarse maps and the codecs.
    frame * 9 + out * 26 + 64 * 1024 * 1024
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unsure_outlines_are_named_with_their_stops() {
        let sweep = |unsure| Sweep { frame_px: (1200, 900), hull: Vec::new(), unsure };
        assert_eq!(unsure_note(&[7, 8], &[sweep(0.02), sweep(0.0)]), None);
        let note = unsure_note(&[7, 8, 9], &[sweep(0.02), sweep(0.123), sweep(0.05)]).unwrap();
        assert!(note.contains("at stop 8 (12 % of it), 9 (5 % of it); look at"), "{note}");
    }
}
