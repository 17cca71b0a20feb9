//! What finishing does to one frame, small and at once: the same chain on a reduced picture.

use anyhow::Context;
use imaging::Picture;
use imaging::export::ListingProfile;
use imaging::finish::{
    Background, FinishSettings, FrameToFinish, Placement, Target, place_plate, proof_frame,
};

use super::batch::Meter;
use super::export::pieces_of;
use super::measured::{Measured, measured};
use super::set::{KeptSet, read_original};
use super::settings::FinishingFile;
use super::size::ListingSize;

/// A set ready to be looked at before and after finishing.
pub struct ProofSet {
    set: KeptSet,
    file: FinishingFile,
    found: Measured,
}

/// One stop before and after.
pub struct StopProof {
    /// As shot, cut as the finished picture is.
    pub before: Picture,
    /// Finished, or why it cannot be.
    pub after: Result<Picture, String>,
    /// How its row is turned and cut.
    pub placement: Placement,
    /// Whether its row's turning axis is known.
    pub axis_known: bool,
    /// What a person should know.
    pub notes: Vec<String>,
}

impl ProofSet {
    /// Measures a set, or takes what was measured before.
    ///
    /// # Errors
    /// As finishing itself, or that the work was stopped.
    pub fn measure(set: KeptSet, file: &FinishingFile, meter: &Meter<'_>) -> anyhow::Result<Self> {
        let found = measured(&set, file, meter)?;
        Ok(Self { set, file: file.clone(), found })
    }

    /// Whether other settings can be looked at without measuring anew.
    pub fn serves(&self, file: &FinishingFile) -> bool {
        self.file.plate == file.plate && self.file.plates == file.plates && self.file.axes == file.axes
    }

    /// Gives the set back.
    pub fn into_set(self) -> KeptSet {
        self.set
    }

    /// How large a listing's pictures would be, beside what the camera saw of them.
    ///
    /// # Errors
    /// When no listing can be made of the set as the settings and the profile ask.
    pub fn listing_size(
        &self,
        file: &FinishingFile,
        profile: &ListingProfile,
    ) -> anyhow::Result<ListingSize> {
        // A set with stops missing is refused for that, whatever the profile says.
        if self.set.missing.is_empty() {
            pieces_of(&self.set, profile)?;
        }
        let plans = self.found.plans(&profile.finishing(&file.settings, file.chosen_margin()))?;
        ListingSize::of(&plans, profile).context("the set has no row")
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
        let target = Target::native(&plan.placement).within(edge_px);
        let plate = match &self.found.plates[row] {
            Some(plate) if settings.background == Background::White => {
                Some(place_plate(&plate.bytes, plan, target).context("the frame of the empty table")?)
            }
            _ => None,
        };
        let bytes = read_original(&self.set.rows[row].frames[number])?;
        let which =
            FrameToFinish { number, sight: &self.found.rows[row].sights[number], plate: plate.as_ref() };
        let proof = proof_frame(&bytes, plan, which, settings, target).with_context(at)?;
        let after = proof.after.map(|finished| finished.picture).map_err(|error| error.to_string());
        Ok(StopProof {
            before: proof.before,
            after,
            placement: plan.placement,
            axis_known: self.found.rows[row].axis.is_some(),
            notes: plan.notes.clone(),
        })
    }
}
