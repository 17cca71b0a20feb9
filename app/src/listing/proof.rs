//! What finishing does to one frame, small and at once: the same chain on a reduced picture.

use anyhow::Context;
use imaging::Picture;
use imaging::finish::{Background, FinishSettings, Placement, Target, place_plate, proof_frame};

use super::batch::Meter;
use super::finish::needs_outline;
use super::measured::{Measured, measured};
use super::set::{KeptSet, read_original};
use super::settings::FinishingFile;

/// A set ready to be looked at before and after finishing.
pub struct ProofSet {
    set: KeptSet,
    file: FinishingFile,
    found: Measured,
    outlined: bool,
}

/// One stop before and after.
pub struct StopProof {
    /// As shot, cut as the finished picture is.
    pub before: Picture,
    /// Finished, or why it cannot be.
    pub after: Result<Picture, String>,
    /// How its row is turned and cut.
    pub placement: Placement,
    /// What a person should know.
    pub notes: Vec<String>,
}

impl ProofSet {
    /// Measures a set, or takes what was measured before.
    ///
    /// # Errors
    /// As finishing itself, or that the work was stopped.
    pub fn measure(set: KeptSet, file: &FinishingFile, meter: &Meter<'_>) -> anyhow::Result<Self> {
        let outlined = needs_outline(&file.settings);
        let found = measured(&set, file, outlined, meter)?;
        Ok(Self { set, file: file.clone(), found, outlined })
    }

    /// Whether other settings can be looked at without measuring anew.
    pub fn serves(&self, file: &FinishingFile) -> bool {
        self.file.plate == file.plate
            && self.file.axes == file.axes
            && (self.outlined || !needs_outline(&file.settings))
    }

    /// Gives the set back.
    pub fn into_set(self) -> KeptSet {
        self.set
    }

    /// Shows one stop, at most `edge_px` on its longer side.
    ///
    /// # Errors
    /// When there is no such stop, or its file gives no whole picture.
    pub fn proof(&self, stop: u32, settings: &FinishSettings, edge_px: u32) -> anyhow::Result<StopProof> {
        let place = |row: usize| self.set.rows[row].frames.iter().position(|frame| frame.stop == stop);
        let (row, number) = (0..self.set.rows.len())
            .find_map(|row| Some((row, place(row)?)))
            .with_context(|| format!("stop {stop} has no frame"))?;
        let at = || format!("stop {stop}");
        let plan = &self.found.plans(settings)?[row];
        let target = small(Target::native(&plan.placement), edge_px);
        let plate = match &self.found.plates[row] {
            Some(plate) if settings.background == Background::White => {
                Some(place_plate(&plate.bytes, plan, target).context("the frame of the empty table")?)
            }
            _ => None,
        };
        let bytes = read_original(&self.set.rows[row].frames[number])?;
        let proof = proof_frame(&bytes, plan, number, plate.as_ref(), settings, target).with_context(at)?;
        let after = proof.after.map(|finished| finished.picture).map_err(|error| error.to_string());
        Ok(StopProof { before: proof.before, after, placement: plan.placement, notes: plan.notes.clone() })
    }
}

fn small(target: Target, edge_px: u32) -> Target {
    let longer = f64::from(target.width_px.max(target.height_px));
    let scale = (f64::from(edge_px) / longer).min(1.0);
    let side = |px: u32| ((f64::from(px) * scale).round() as u32).max(1);
    Target { width_px: side(target.width_px), height_px: side(target.height_px) }
}
