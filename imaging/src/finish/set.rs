//! A set's plan of finishing, and one frame through the whole chain.
//!
//! First every frame is looked at small ([`look`]): its light, its background and the object's outline. From them
//! comes the plan; with it each frame is finished on its own, in any order.

use serde::{Deserialize, Serialize};

use super::FinishError;
use super::cutout::{Behind, Cutout};
use super::even;
use super::linear::LinearPicture;
use super::load::{frame_of, load_frame};
use super::outline::{self, Backdrop, OUTLINE_EDGE_PX, Outline};
use super::place::{Axis, Placement};
use super::resample::Frame;
use super::settings::{Background, FinishSettings, WhiteBalance};
use super::shadow::{ShadowToKeep, onto_white};
use super::sharpen::sharpened;
use crate::decode;
use crate::measure::{MEASURING_EDGE_PX, Measured, measure_decoded};
use crate::picture::{Picture, fit_within};

/// Longest side of a glance in pixels.
const GLANCE_EDGE_PX: u32 = 256;

/// A frame seen small, to judge its light.
#[derive(Clone)]
pub struct Glance {
    /// Width and height of the whole frame, upright.
    pub full_size_px: (u32, u32),
    small: LinearPicture,
}

/// What finishing must know of a frame beforehand: its background, and where the object is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sight {
    /// Width and height of the whole frame, upright.
    frame_px: (u32, u32),
    backdrop: Backdrop,
    /// Or why the object cannot be told from the background.
    outline: Result<Outline, String>,
}

impl Sight {
    /// Says why the object cannot be told from the background, if it cannot.
    pub fn untold(&self) -> Option<FinishError> {
        self.outline.as_ref().err().map(|reason| FinishError::CannotTell(reason.clone()))
    }
}

/// The empty table, small, to find outlines against.
pub struct SmallPlate {
    frame_px: (u32, u32),
    small: LinearPicture,
}

impl SmallPlate {
    /// Reads the empty table's frame.
    ///
    /// # Errors
    /// When the file gives no whole picture.
    pub fn read(bytes: &[u8]) -> Result<Self, FinishError> {
        let (frame, frame_px) = frame_of(bytes, decode::measuring(bytes, MEASURING_EDGE_PX)?)?;
        Ok(Self { frame_px, small: small(&frame, frame_px)? })
    }
}

/// Everything that is seen of a frame before finishing, on one reduced decoding.
pub struct Look {
    /// Its light.
    pub glance: Glance,
    /// Background and outline.
    pub sight: Sight,
    /// What the checks measure.
    pub measured: Measured,
}

/// Looks at a frame; `plate` is the empty table.
///
/// # Errors
/// When the file gives no whole picture, or `plate` has another size.
pub fn look(bytes: &[u8], plate: Option<&SmallPlate>) -> Result<Look, FinishError> {
    let decoded = decode::measuring(bytes, MEASURING_EDGE_PX)?;
    let measured = measure_decoded(bytes, &decoded);
    let (frame, frame_px) = frame_of(bytes, decoded)?;
    if let Some(plate) = plate.filter(|plate| plate.frame_px != frame_px) {
        return Err(FinishError::PlateDiffers {
            found_width_px: plate.frame_px.0,
            found_height_px: plate.frame_px.1,
            width_px: frame_px.0,
            height_px: frame_px.1,
        });
    }
    let small = small(&frame, frame_px)?;
    let (backdrop, outline) = outline::find(&small, plate.map(|plate| &plate.small), frame_px);
    Ok(Look {
        glance: Glance { full_size_px: frame_px, small: small.averaged_to(GLANCE_EDGE_PX) },
        sight: Sight { frame_px, backdrop, outline },
        measured,
    })
}

/// The whole frame at the size outlines are found in.
fn small(frame: &Frame, frame_px: (u32, u32)) -> Result<LinearPicture, FinishError> {
    let (width_px, height_px) = fit_within(frame_px.0, frame_px.1, OUTLINE_EDGE_PX);
    Ok(Placement::whole(frame_px).apply(frame, [1.0; 3], width_px, height_px)?)
}

/// The gains that make a set's light even, in linear light: red, green, blue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameLight {
    /// For each frame, in the order given.
    pub gains: Vec<[f32; 3]>,
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
    neutral: [f32; 3],
}

impl Balance {
    fn of(frames: &[&LinearPicture], gains: Vec<[f32; 3]>) -> Self {
        let neutral = even::neutral(&even::Middle::of(frames, &gains));
        Self { gains, neutral }
    }
}

impl RowLight {
    /// Measures the light of one row; `stops` names the frames for messages.
    ///
    /// # Errors
    /// When there are no frames or they differ in size.
    pub fn measure(stops: &[u32], glances: &[Glance]) -> Result<Self, FinishError> {
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
        let frames: Vec<&LinearPicture> = glances.iter().map(|g| &g.small).collect();
        let (gains, unknown) = even::gains(&frames);
        let notes = unknown.into_iter().map(|i| {
            let stop = stops.get(i).copied().unwrap_or_default();
            format!("stop {stop} is too bright or too dark to be made even; look at it, or retake it")
        });
        Ok(Self {
            notes: notes.collect(),
            as_shot: Balance::of(&frames, vec![[1.0; 3]; frames.len()]),
            even: Balance::of(&frames, gains),
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
            notes: if settings.even { self.notes.clone() } else { Vec::new() },
        }
    }
}

/// How one row is finished; what it was made from is the app's to remember.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetPlan {
    /// Turning and cutting.
    pub placement: Placement,
    /// Left, top, right and bottom of all that the object swept, straightened, whole-frame pixels.
    pub swept_px: Option<[f64; 4]>,
    /// How wide the object is at most angles, whole-frame pixels: half of the row's outlines are no wider; 0 without
    /// any. Rounded, so that a stop shot again hardly ever changes all others' pictures.
    pub usual_width_px: f64,
    /// The light.
    pub light: FrameLight,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// Share of an outline from which on a person is told that it is not sure.
///
/// Measured on the demo's pots: every mask that shares 99 % with the true one has less (`imaging/tests/finish/pots`); masks of
/// a bowl into which its shadow ran, sharing 83 to 95 %, had 6 to 13 %. A part exactly as light as the background is
/// not seen at all and counts for nothing here.
const UNSURE: f32 = 0.05;

/// What the object's usual width is rounded to, as a share of the frame's.
const USUAL_WIDTH_STEP: f64 = 0.02;

/// Says at which stops the outline is not sure.
fn unsure_note(stops: &[u32], sights: &[Sight]) -> Option<String> {
    let found: Vec<String> = sights
        .iter()
        .zip(stops)
        .filter_map(|(sight, stop)| Some((sight.outline.as_ref().ok()?.unsure, stop)))
        .filter(|(unsure, _)| *unsure >= UNSURE)
        .map(|(unsure, stop)| format!("{stop} ({:.0} % of it)", 100.0 * unsure))
        .collect();
    (!found.is_empty()).then(|| {
        format!(
            "the outline is not sure, being hardly lighter or darker than the background, at stop {}; look at these pictures' edges, or shoot with more contrast to the background",
            found.join(", ")
        )
    })
}

/// Names the stops at which a part of what was found hangs in the air.
fn hanging_note(stops: &[u32], sights: &[Sight]) -> Option<String> {
    let found: Vec<String> = sights
        .iter()
        .zip(stops)
        .filter(|(sight, _)| sight.outline.as_ref().is_ok_and(|outline| outline.hangs))
        .map(|(_, stop)| stop.to_string())
        .collect();
    (!found.is_empty()).then(|| {
        format!(
            "what was found lies in parts above each other at stop {}, so something between them may be missing; look at these pictures, or shoot with more contrast to the background",
            found.join(", ")
        )
    })
}

/// Names the stops whose object cannot be told, where the crop must do without them.
fn untold_note(stops: &[u32], sights: &[Sight]) -> Option<String> {
    let found: Vec<String> = sights
        .iter()
        .zip(stops)
        .filter_map(|(sight, stop)| Some(format!("{stop} ({})", sight.outline.as_ref().err()?)))
        .collect();
    (!found.is_empty()).then(|| {
        format!(
            "the object cannot be told from the background at stop {}; the crop goes by the other stops: look whether it cuts into these",
            found.join(", ")
        )
    })
}

/// Plans how a row is turned and cut; `stops` names the sights for messages. Where no outline is told the whole
/// frame stays.
///
/// # Errors
/// When the axis lies outside the frame.
pub fn plan_place(
    frame_px: (u32, u32),
    stops: &[u32],
    sights: &[Sight],
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
        notes.extend(unsure_note(stops, sights));
        notes.extend(hanging_note(stops, sights));
    } else if settings.crop.is_some() {
        notes.extend(untold_note(stops, sights));
    }
    let bounds: Vec<[f64; 4]> = sights
        .iter()
        .flat_map(|s| &s.outline)
        .filter_map(|o| {
            let places = o.hull.iter().map(|place| placement.straightened(*place)).map(|[x, y]| [x, y, x, y]);
            places.reduce(around)
        })
        .collect();
    let swept = bounds.iter().copied().reduce(around);
    let mut widths: Vec<f64> = bounds.iter().map(|b| b[2] - b[0]).collect();
    widths.sort_by(f64::total_cmp);
    let step_px = f64::from(frame_px.0) * USUAL_WIDTH_STEP;
    let middle = widths.get(widths.len().saturating_sub(1) / 2).copied().unwrap_or(0.0);
    let usual_width_px = (middle / step_px).round() * step_px;
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
                None => notes.push("the crop reaches beyond the frame; the backdrop's colour is carried on there. Use a smaller margin, or a white background".to_owned()),
            }
        }
    }
    Ok(SetPlan { placement, swept_px: swept, usual_width_px, light, notes })
}

/// Left, top, right and bottom of two such areas together.
fn around(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
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

    /// Makes it smaller where its longer side is more than `edge_px`.
    #[must_use]
    pub fn within(self, edge_px: u32) -> Self {
        let (width_px, height_px) = fit_within(self.width_px, self.height_px, edge_px);
        Self { width_px, height_px }
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
/// than the camera gave.
fn enough_px(placement: &Placement, target: Target) -> u32 {
    let crop = placement.crop;
    let scale =
        (f64::from(target.width_px) / crop.width_px).max(f64::from(target.height_px) / crop.height_px);
    let (width, height) = placement.frame_px;
    (f64::from(width.max(height)) * scale.min(1.0)).ceil().max(1.0) as u32
}

/// The empty table, turned and cut as pictures of one row and one size are.
pub struct PlacedPlate(LinearPicture);

/// Reads the empty table's frame and places it as frames of the row are.
///
/// # Errors
/// When the file gives no whole picture.
pub fn place_plate(bytes: &[u8], plan: &SetPlan, target: Target) -> Result<PlacedPlate, FinishError> {
    let plate = load_frame(bytes, enough_px(&plan.placement, target))?;
    Ok(PlacedPlate(plan.placement.apply(&plate, [1.0; 3], target.width_px, target.height_px)?))
}

/// Which frame is finished, and what is known of it.
#[derive(Clone, Copy)]
pub struct FrameToFinish<'a> {
    /// Its place in the plan.
    pub number: usize,
    /// What was seen of it.
    pub sight: &'a Sight,
    /// The empty table, placed for the same target.
    pub plate: Option<&'a PlacedPlate>,
}

/// Finishes one frame: the steps of [`super::Step::ORDER`].
///
/// # Errors
/// When the file gives no whole picture, or the object cannot be told from the background.
pub fn finish_frame(
    bytes: &[u8],
    plan: &SetPlan,
    which: FrameToFinish<'_>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Finished, FinishError> {
    let frame = load_frame(bytes, enough_px(&plan.placement, target))?;
    finish_loaded(frame, plan, which, settings, target)
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
    which: FrameToFinish<'_>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Proof, FinishError> {
    let frame = load_frame(bytes, enough_px(&plan.placement, target))?;
    let unturned = Placement { turn_deg: 0.0, ..plan.placement };
    let mut before = unturned.apply(&frame, [1.0; 3], target.width_px, target.height_px)?;
    unturned.paint_beyond(&mut before, &which.sight.backdrop, [1.0; 3]);
    let before = before.coded()?;
    let after = finish_loaded(frame, plan, which, settings, target);
    Ok(Proof { before, after })
}

fn finish_loaded(
    frame: Frame,
    plan: &SetPlan,
    which: FrameToFinish<'_>,
    settings: &FinishSettings,
    target: Target,
) -> Result<Finished, FinishError> {
    let sight = which.sight;
    let gains = plan.light.gains.get(which.number).copied().unwrap_or([1.0; 3]);
    let mut picture = plan.placement.apply(&frame, gains, target.width_px, target.height_px)?;
    drop(frame);
    plan.placement.paint_beyond(&mut picture, &sight.backdrop, gains);
    let mut cutout = None;
    if settings.background == Background::White {
        let outline = sight.outline.as_ref().map_err(|reason| FinishError::CannotTell(reason.clone()))?;
        let behind = Behind { smooth: &sight.backdrop, plate: which.plate.map(|plate| &plate.0), gains };
        let found = Cutout::along(&picture, &plan.placement, outline, &behind);
        let object_share = plan.usual_width_px / plan.placement.crop.width_px;
        let keep = ShadowToKeep {
            shadow: settings.shadow,
            object_width_px: object_share as f32 * picture.width_px() as f32,
        };
        onto_white(&mut picture, &found, outline, &behind, keep);
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
        let seen = |unsure| {
            let outline = Outline {
                width: 1,
                height: 1,
                runs: vec![1],
                plate_level: [1.0; 3],
                noise: 0.01,
                hull: Vec::new(),
                unsure,
                hangs: false,
            };
            Sight { frame_px: (1200, 900), backdrop: Backdrop::default(), outline: Ok(outline) }
        };
        assert_eq!(unsure_note(&[7, 8], &[seen(0.02), seen(0.0)]), None);
        let note = unsure_note(&[7, 8, 9], &[seen(0.02), seen(0.123), seen(0.05)]).unwrap();
        assert!(note.contains("at stop 8 (12 % of it), 9 (5 % of it); look at"), "{note}");
    }
}
