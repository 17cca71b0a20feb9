//! Turns kept frames into finished pictures: even, upright, cut to one size, on clean white.
//!
//! The order never changes ([`Step::ORDER`]); each step but the first can be left out:
//!
//! 1. colour: turned upright, embedded profile to sRGB, into linear light;
//! 2. even: one exposure and one white balance over the set;
//! 3. straighten: the measured turning axis becomes vertical and stands in the middle;
//! 4. crop: one rectangle for all frames, from the outline swept over the turn;
//! 5. resize: in linear light;
//! 6. background: pure white, the contact shadow kept;
//! 7. sharpen: gently, for the output size.
//!
//! Invariant: originals are only read. The same bytes, plan and settings give the same picture.

mod coarse;
mod cutout;
mod edge;
mod even;
mod linear;
mod load;
mod outline;
#[cfg(test)]
mod outside;
mod place;
mod resample;
mod set;
mod settings;
mod shadow;
mod sharpen;

use thiserror::Error;

pub use cutout::Cutout;
pub use place::{Axis, Crop, Placement};
pub use set::{
    Finished, FrameLight, FrameToFinish, Glance, Look, PlacedPlate, Proof, RowLight, SetPlan, Sight,
    SmallPlate, Target, finish_frame, look, memory_per_frame, place_plate, plan_place, proof_frame,
};
pub use settings::{Background, CropSettings, FinishSettings, SettingsError, Shadow, WhiteBalance};

use crate::decode::DecodeError;
use crate::picture::PictureError;

/// One step of finishing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Upright, embedded profile to sRGB.
    Colour,
    /// Even exposure and white balance.
    Even,
    /// Axis vertical and in the middle.
    Straighten,
    /// One common crop.
    Crop,
    /// Resized in linear light.
    Resize,
    /// Background to white.
    Background,
    /// Output sharpening.
    Sharpen,
}

impl Step {
    /// Lists the steps in the order they are done.
    pub const ORDER: [Self; 7] = [
        Self::Colour,
        Self::Even,
        Self::Straighten,
        Self::Crop,
        Self::Resize,
        Self::Background,
        Self::Sharpen,
    ];

    /// Returns the step's name for people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Colour => "colour",
            Self::Even => "even",
            Self::Straighten => "straighten",
            Self::Crop => "crop",
            Self::Resize => "resize",
            Self::Background => "background",
            Self::Sharpen => "sharpen",
        }
    }
}

/// Says why a frame or a set cannot be finished.
#[derive(Debug, Error)]
pub enum FinishError {
    /// The file gives no picture.
    #[error(transparent)]
    Decode(#[from] DecodeError),
    /// Only part of the picture could be read; a listing must not show it.
    #[error("only part of the picture can be read: {0}")]
    Damaged(String),
    /// The file holds printing inks, not light.
    #[error(
        "the picture is CMYK, made for printing, and {0}; export it from its program as sRGB, or set the camera to JPEG"
    )]
    Inks(String),
    /// The embedded colour profile cannot be used.
    #[error("its colour profile cannot be used: {0}; save it again as sRGB")]
    Profile(String),
    /// There is nothing to finish.
    #[error("there are no frames to finish; shoot the set first")]
    NoFrames,
    /// Frames of one row differ in size.
    #[error(
        "stop {stop} is {found_width_px} × {found_height_px} pixels, the row's first frame {width_px} × {height_px}; retake the stop with the camera set as before"
    )]
    SizeDiffers {
        /// The stop's number.
        stop: u32,
        /// Its width.
        found_width_px: u32,
        /// Its height.
        found_height_px: u32,
        /// The first frame's width.
        width_px: u32,
        /// The first frame's height.
        height_px: u32,
    },
    /// The frame of the empty table has another size.
    #[error(
        "the frame of the empty table is {found_width_px} × {found_height_px} pixels, the set {width_px} × {height_px}; shoot it with the camera as for the set"
    )]
    PlateDiffers {
        /// Its width.
        found_width_px: u32,
        /// Its height.
        found_height_px: u32,
        /// The set's width.
        width_px: u32,
        /// The set's height.
        height_px: u32,
    },
    /// The object cannot be told from the background.
    #[error(
        "the object cannot be told from the background: {0}; shoot one frame of the empty table and name it as the plate, use a backdrop that differs from the object, or leave the background as shot"
    )]
    CannotTell(String),
    /// The measured axis lies outside the frame.
    #[error(
        "the turning axis at column {0:.0} lies outside the frame; measure it again or leave straightening out"
    )]
    AxisOutside(f64),
    /// The picture could not be resized.
    #[error(transparent)]
    Picture(#[from] PictureError),
}
