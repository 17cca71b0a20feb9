//! Where the finished picture lies on the frame: turned to the axis, one rectangle for all frames.

use serde::{Deserialize, Serialize};

use super::linear::{FULL, LinearPicture, gained};
use super::outline::Backdrop;
use super::resample::{Frame, Grid, resampled};
use super::settings::CropSettings;
use crate::picture::PictureError;

/// The turning axis in whole-frame pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Axis {
    /// Column at mid height, from the frame's left border.
    pub column_px: f64,
    /// Lean in degrees, top to the right positive.
    pub lean_deg: f64,
}

/// A rectangle in whole-frame pixels, after straightening; it may reach beyond the frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Crop {
    /// Left border.
    pub left_px: f64,
    /// Upper border.
    pub top_px: f64,
    /// Width.
    pub width_px: f64,
    /// Height.
    pub height_px: f64,
}

/// How frames of a row are turned and cut.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// Width and height of the frames.
    pub frame_px: (u32, u32),
    /// The point the frame is turned about: where the axis crosses mid height.
    pub pivot_px: [f64; 2],
    /// How far the frame is turned anticlockwise, degrees: the axis' lean.
    pub turn_deg: f64,
    /// What is cut out.
    pub crop: Crop,
}

impl Placement {
    /// Keeps the whole frame as it is.
    pub fn whole(frame_px: (u32, u32)) -> Self {
        let (width, height) = (f64::from(frame_px.0), f64::from(frame_px.1));
        Self {
            frame_px,
            pivot_px: [width / 2.0, height / 2.0],
            turn_deg: 0.0,
            crop: Crop { left_px: 0.0, top_px: 0.0, width_px: width, height_px: height },
        }
    }

    /// Carries a place on the frame over to the straightened frame.
    pub fn straightened(&self, place: [f64; 2]) -> [f64; 2] {
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (x, y) = (place[0] - self.pivot_px[0], place[1] - self.pivot_px[1]);
        [self.pivot_px[0] + cos * x + sin * y, self.pivot_px[1] - sin * x + cos * y]
    }

    /// Carries a place on the straightened frame back to the frame.
    pub fn on_frame(&self, place: [f64; 2]) -> [f64; 2] {
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (x, y) = (place[0] - self.pivot_px[0], place[1] - self.pivot_px[1]);
        [self.pivot_px[0] + cos * x - sin * y, self.pivot_px[1] + sin * x + cos * y]
    }

    /// Sets the crop from the box swept by the object (left, top, right, bottom, straightened).
    ///
    /// The pivot's column becomes the middle when `centred`; otherwise the box's own middle.
    #[must_use]
    pub fn cropped(mut self, swept: [f64; 4], settings: CropSettings, centred: bool) -> Self {
        let middle = if centred { self.pivot_px[0] } else { f64::midpoint(swept[0], swept[2]) };
        let half = (swept[2] - middle).max(middle - swept[0]).max(0.5);
        let (width, height) = (2.0 * half, (swept[3] - swept[1]).max(1.0));
        let inner = 1.0 - settings.margin_percent / 50.0;
        let crop_height = height.max(width / settings.ratio) / inner;
        self.set_crop_about(middle, f64::midpoint(swept[1], swept[3]), crop_height, settings.ratio);
        self
    }

    /// Sets a crop of the height given about a middle.
    fn set_crop_about(&mut self, x: f64, y: f64, height_px: f64, ratio: f64) {
        let width_px = height_px * ratio;
        self.crop = Crop { left_px: x - width_px / 2.0, top_px: y - height_px / 2.0, width_px, height_px };
    }

    /// Makes the crop this high about the same middle, so that rows of one set have one scale.
    #[must_use]
    pub fn with_height(mut self, height_px: f64) -> Self {
        let c = self.crop;
        let ratio = c.width_px / c.height_px;
        self.set_crop_about(c.left_px + c.width_px / 2.0, c.top_px + c.height_px / 2.0, height_px, ratio);
        self
    }

    /// Shrinks and moves the crop until it lies on the frame, about the same column, without cutting into
    /// `swept`; gives back `None` when that cannot be.
    pub fn within_frame(mut self, swept: [f64; 4]) -> Option<Self> {
        let c = self.crop;
        let ratio = c.width_px / c.height_px;
        let x = c.left_px + c.width_px / 2.0;
        let mut height = c.height_px;
        // The straightened frame is a slightly turned rectangle: try ever smaller crops.
        for _ in 0..400 {
            let (low, high) = (swept[3] - height / 2.0, swept[1] + height / 2.0);
            let wanted = c.top_px + c.height_px / 2.0;
            let reach = f64::from(self.frame_px.1);
            let candidates = [wanted, wanted - (reach - height).max(0.0) / 2.0, low, high, reach / 2.0];
            let holds =
                2.0 * (swept[2] - x).max(x - swept[0]) <= height * ratio && swept[3] - swept[1] <= height;
            if !holds {
                return None;
            }
            for y in candidates.into_iter().map(|y| y.clamp(low.min(high), high.max(low))) {
                self.set_crop_about(x, y, height, ratio);
                if self.lies_on_frame() {
                    return Some(self);
                }
            }
            height *= 0.995;
        }
        None
    }

    /// Whether all of the crop was seen by the camera.
    pub fn lies_on_frame(&self) -> bool {
        let c = self.crop;
        let (width, height) = (f64::from(self.frame_px.0), f64::from(self.frame_px.1));
        let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
        corners.iter().all(|(i, j)| {
            let [x, y] = self.on_frame([c.left_px + i * c.width_px, c.top_px + j * c.height_px]);
            x >= -0.01 && y >= -0.01 && x <= width + 0.01 && y <= height + 0.01
        })
    }

    /// Turns, cuts and resizes a frame read with these gains; beyond the frame its border goes on.
    ///
    /// `frame` may be reduced.
    ///
    /// # Errors
    /// When a side is zero.
    pub(super) fn apply(
        &self,
        frame: &Frame,
        gains: [f32; 3],
        width_px: u32,
        height_px: u32,
    ) -> Result<LinearPicture, PictureError> {
        let empty = PictureError::Empty { width_px, height_px };
        if width_px == 0 || height_px == 0 {
            return Err(empty);
        }
        // A reduced frame's sides are rounded, each on its own.
        let (frame_width, frame_height) = frame.size_px();
        let scale = [
            f64::from(frame_width) / f64::from(self.frame_px.0),
            f64::from(frame_height) / f64::from(self.frame_px.1),
        ];
        let c = self.crop;
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (step_x, step_y) = (c.width_px / f64::from(width_px), c.height_px / f64::from(height_px));
        let first = self.on_frame([c.left_px + 0.5 * step_x, c.top_px + 0.5 * step_y]);
        let grid = Grid {
            origin: [first[0] * scale[0], first[1] * scale[1]],
            across: [cos * step_x * scale[0], sin * step_x * scale[1]],
            down: [-sin * step_y * scale[0], cos * step_y * scale[1]],
            width_px,
            height_px,
        };
        LinearPicture::from_pixels(width_px, height_px, resampled(frame, gains, &grid)).ok_or(empty)
    }

    /// Gives the way from a place in a finished picture of `size`, in pixels, to shares of the frame's sides, 0 to 1.
    pub(super) fn way_to_frame(&self, size: (u32, u32)) -> impl Fn([f64; 2]) -> [f64; 2] + use<> {
        let placement = *self;
        let c = self.crop;
        let step = [c.width_px / f64::from(size.0), c.height_px / f64::from(size.1)];
        move |[x, y]| {
            let [x, y] = placement.on_frame([c.left_px + x * step[0], c.top_px + y * step[1]]);
            [x / f64::from(placement.frame_px.0), y / f64::from(placement.frame_px.1)]
        }
    }

    /// Paints what the camera did not see in the backdrop's own light, gains applied.
    pub(super) fn paint_beyond(&self, picture: &mut LinearPicture, backdrop: &Backdrop, gains: [f32; 3]) {
        if self.lies_on_frame() {
            return;
        }
        let size = (picture.width_px(), picture.height_px());
        let is_on_frame = self.frame_test(size);
        let way = self.way_to_frame(size);
        for row in 0..size.1 {
            for column in 0..size.0 {
                if is_on_frame(column, row) {
                    continue;
                }
                let [u, v] = way([f64::from(column) + 0.5, f64::from(row) + 0.5]);
                let light = backdrop.at(u as f32 - 0.5, v as f32 - 0.5).map(|v| v * FULL);
                let light = gained(light, gains).map(|v| (v + 0.5) as u16);
                picture.set(row as usize * size.0 as usize + column as usize, light);
            }
        }
    }

    /// Gives a test for which pixels (column, row) of a finished picture of `size` lie on the frame.
    pub fn frame_test(&self, size: (u32, u32)) -> impl Fn(u32, u32) -> bool + use<> {
        let c = self.crop;
        let place = |column: f64, row: f64| {
            let x = c.left_px + (column + 0.5) * c.width_px / f64::from(size.0);
            let y = c.top_px + (row + 0.5) * c.height_px / f64::from(size.1);
            self.on_frame([x, y])
        };
        let ([x, y], right, below) = (place(0.0, 0.0), place(1.0, 0.0), place(0.0, 1.0));
        let (across, down) = ([right[0] - x, right[1] - y], [below[0] - x, below[1] - y]);
        let (width, height) = (f64::from(self.frame_px.0), f64::from(self.frame_px.1));
        move |column, row| {
            let (u, v) = (f64::from(column), f64::from(row));
            let (x, y) = (x + across[0] * u + down[0] * v, y + across[1] * u + down[1] * v);
            x >= 0.0 && y >= 0.0 && x <= width && y <= height
        }
    }
}
