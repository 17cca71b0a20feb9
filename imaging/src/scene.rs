//! The demo's virtual studio: a pot on a turntable, as a camera would photograph it.
//!
//! The demo, the rehearsal of a plan and many tests need frames that behave like a real set:
//! the object turns, the light and its highlights stay where they are, a moving plate smears
//! the picture, and faults can be asked for one by one. Everything is computed in linear
//! light and coded as sRGB at the end. The pots are those of an invented studio, Larkhollow
//! Pottery (demo data).
//!
//! # Frames of reference
//! Lengths are millimetres. The plate's axis is `z`, upwards, and the plate's surface is
//! `z = 0`; `x` points to the right of the picture and `y` away from the camera, both at the
//! table angle 0°. Seen from above, a growing table angle turns the object counter-clockwise,
//! so its near side moves to the right of the picture. At 0° the handle points right.
//!
//! Picture positions are in pixels of the finished frame, from its top left corner; the
//! centre of the first pixel is (0.5, 0.5).

mod camera;
mod develop;
mod ground;
mod light;
mod mesh;
mod openness;
mod paint;
mod photo;
mod random;
mod raster;
mod shapes;
mod studio;
mod surface;
mod texture;

pub use photo::ExposureData;
pub use studio::Studio;

use crate::picture::{Picture, PictureError};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Names a pot of the demo's shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SceneObject {
    /// A glazed mug with a handle and a painted hedgerow that never repeats round the turn.
    #[default]
    Mug,
    /// A small teapot with spout, handle and lid.
    Teapot,
    /// A pouring bowl with a lip, glaze dipped aslant, freely brushed.
    Bowl,
    /// A plain round vase: from its pictures nobody can tell its angle.
    Vase,
}

impl SceneObject {
    /// Lists every pot, in the order of the demo's shoot list.
    pub const ALL: [Self; 4] = [Self::Mug, Self::Teapot, Self::Bowl, Self::Vase];

    /// Returns the pot's name in the demo's shop.
    pub fn shop_name(self) -> &'static str {
        match self {
            Self::Mug => "Hedgerow mug",
            Self::Teapot => "Celadon teapot",
            Self::Bowl => "Slip-dipped pouring bowl",
            Self::Vase => "Plain bud vase",
        }
    }
}

/// Describes what the simulated camera looks at and the frame it makes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SceneView {
    /// The pot on the plate.
    pub object: SceneObject,
    /// Frame width in pixels, 16 to 12 000.
    pub width_px: u32,
    /// Frame height in pixels, 16 to 12 000.
    pub height_px: u32,
    /// Height of the camera above the plate, as an angle in degrees, 2 to 75.
    pub tilt_deg: f32,
}

impl Default for SceneView {
    fn default() -> Self {
        Self { object: SceneObject::Mug, width_px: 1200, height_px: 900, tilt_deg: 14.0 }
    }
}

/// Says where the plate was during one exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// The plate's true angle in degrees, sampled evenly over the exposure time,
    /// counter-clockwise seen from above. One sample is a plate at rest; several give motion
    /// blur, and the time to render grows with their number (at most 64).
    pub table_deg: Vec<f64>,
    /// Number of the exposure: changes the sensor noise and nothing else.
    pub shot: u64,
}

impl Pose {
    /// Returns a plate at rest at `table_deg`.
    pub fn at_rest(table_deg: f64, shot: u64) -> Self {
        Self { table_deg: vec![table_deg], shot }
    }

    /// Returns a plate that turns evenly from `from_deg` to `to_deg` while the shutter is
    /// open, as `samples` angles (1 to 64).
    pub fn turning(from_deg: f64, to_deg: f64, samples: usize, shot: u64) -> Self {
        let samples = samples.clamp(1, MAX_POSE_SAMPLES);
        let table_deg = (0..samples)
            .map(|i| from_deg + (to_deg - from_deg) * (i as f64 + 0.5) / samples as f64)
            .collect();
        Self { table_deg, shot }
    }
}

/// Longest side of a frame in pixels.
pub const MAX_SIDE_PX: u32 = 12_000;

/// Most angle samples in one exposure.
pub const MAX_POSE_SAMPLES: usize = 64;

/// Faults on request, to see whether the checks find them. The default has none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SceneFaults {
    /// Radius of the defocus disc in pixels of the frame, 0 to 100; a Gaussian of the same
    /// variance (standard deviation = radius / 2) is applied.
    pub defocus_px: f32,
    /// Exposure error in stops, positive brighter.
    pub exposure_ev: f32,
    /// Gain of the red, green and blue channel in linear light; a wrong white balance.
    pub channel_gain: [f32; 3],
    /// How far the turntable's axis stands right of the frame's middle, in pixels.
    pub axis_offset_px: f32,
    /// Roll of the camera in degrees; positive shows the scene turned clockwise about the
    /// frame's middle.
    pub camera_roll_deg: f32,
    /// How far the object stands off the plate's axis, in millimetres along `x` and `y` at
    /// table angle 0°.
    pub off_centre_mm: [f32; 2],
}

impl Default for SceneFaults {
    fn default() -> Self {
        Self {
            defocus_px: 0.0,
            exposure_ev: 0.0,
            channel_gain: [1.0; 3],
            axis_offset_px: 0.0,
            camera_roll_deg: 0.0,
            off_centre_mm: [0.0; 2],
        }
    }
}

/// Says why a frame could not be rendered.
#[derive(Debug, Error)]
pub enum SceneError {
    /// The frame size is outside the studio's range.
    #[error(
        "the simulated camera makes frames of 16 to 12000 pixels a side, not {width_px} × {height_px}; choose another size"
    )]
    FrameSize {
        /// Width asked for, in pixels.
        width_px: u32,
        /// Height asked for, in pixels.
        height_px: u32,
    },
    /// A number of the view, pose or faults is outside its range or not a number.
    #[error("the simulated camera cannot use {value} for {name}; allowed is {allowed}")]
    OutOfRange {
        /// Name of the field.
        name: &'static str,
        /// The value given.
        value: f64,
        /// The range allowed, in words.
        allowed: &'static str,
    },
    /// The date and time of the exposure is not in EXIF form.
    #[error("'{0}' is no EXIF date and time; write it as YYYY:MM:DD HH:MM:SS")]
    DateTime(String),
    /// The buffer and the frame size disagree.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The JPEG or EXIF encoder refused.
    #[error("the simulated camera could not write its JPEG: {0}; try a smaller frame")]
    Encode(String),
}

impl SceneView {
    /// Projects a point fixed to the object (millimetres, at table angle 0°) into the frame
    /// when the table stands at `table_deg`, without faults.
    ///
    /// Returns (column, row) in pixels from the top left corner; the point may lie outside
    /// the frame or be hidden. Pinhole projection.
    pub fn project(&self, point_mm: [f64; 3], table_deg: f64) -> (f64, f64) {
        self.project_with(point_mm, table_deg, &SceneFaults::default())
    }

    /// Projects like [`SceneView::project`], with the axis offset, roll and off-centre
    /// faults.
    pub fn project_with(&self, point_mm: [f64; 3], table_deg: f64, faults: &SceneFaults) -> (f64, f64) {
        let [x, y, z] = point_mm;
        let x = x + f64::from(faults.off_centre_mm[0]);
        let y = y + f64::from(faults.off_centre_mm[1]);
        let (sin, cos) = table_deg.to_radians().sin_cos();
        camera::Camera::new(self, faults, 1.0).project([x * cos - y * sin, x * sin + y * cos, z])
    }

    /// Returns the column of the turntable's axis in pixels, without faults: the middle of
    /// the frame.
    pub fn axis_column_px(&self) -> f64 {
        f64::from(self.width_px) / 2.0
    }

    /// Returns the scale at the turntable's axis, in pixels per millimetre across the frame.
    pub fn px_per_mm(&self) -> f64 {
        camera::Camera::new(self, &SceneFaults::default(), 1.0).px_per_mm_at_axis()
    }
}

/// Renders one frame as a picture, at ISO 100. Keep a [`Studio`] to render many.
pub fn render_rgb(view: &SceneView, pose: &Pose, faults: &SceneFaults) -> Result<Picture, SceneError> {
    Studio::new(*view)?.render_rgb(pose, faults)
}

/// Renders one frame as the JPEG file a camera would hand over. Keep a [`Studio`] to render
/// many.
pub fn render_jpeg(
    view: &SceneView,
    pose: &Pose,
    faults: &SceneFaults,
    exposure: &ExposureData,
    quality: u8,
) -> Result<Vec<u8>, SceneError> {
    Studio::new(*view)?.render_jpeg(pose, faults, exposure, quality)
}
