//! A prepared view: what stays the same from frame to frame is worked out once.

use super::camera::Camera;
use super::develop;
use super::ground::{Ground, Standing};
use super::light::{Light, Vec3};
use super::photo::{self, ExposureData};
use super::raster::{Corner, Cover};
use super::shapes::Pot;
use super::surface::Shader;
use super::{MAX_POSE_SAMPLES, MAX_SIDE_PX, Pose, SceneError, SceneFaults, SceneView};
use crate::picture::Picture;

/// Largest number of pixels rendered place by place; a larger frame is rendered at reduced
/// size, enlarged, and given its sensor noise at full size.
const MAX_RENDERED_PX: f64 = 6.2e6;

/// Renders frames of one view; keep it for a whole set.
///
/// Frames above 6.2 megapixels are rendered smaller and enlarged, so that a 24-megapixel
/// frame takes a second or two; its finest detail is that of a good but not perfect lens.
pub struct Studio {
    view: SceneView,
    pot: &'static Pot,
    light: Light,
    scale: f64,
    width: usize,
    height: usize,
    ground: Ground,
    is_bare: bool,
}

impl Studio {
    /// Prepares a view. Fails when the frame size or the tilt is outside its range.
    pub fn new(view: SceneView) -> Result<Self, SceneError> {
        let (width_px, height_px) = (view.width_px, view.height_px);
        let sides = 16..=MAX_SIDE_PX;
        if !sides.contains(&width_px) || !sides.contains(&height_px) {
            return Err(SceneError::FrameSize { width_px, height_px });
        }
        check("the tilt in degrees", f64::from(view.tilt_deg), 2.0, 75.0, "2 to 75")?;
        let pixels = f64::from(width_px) * f64::from(height_px);
        let scale = (MAX_RENDERED_PX / pixels).sqrt().min(1.0);
        let side = |px: u32| ((f64::from(px) * scale).round() as usize).max(1);
        let (width, height) = (side(width_px), side(height_px));
        let light = Light::studio();
        let camera = Camera::new(&view, &SceneFaults::default(), scale);
        let ground = Ground::new(&camera, &light, view.tilt_deg, width, height);
        Ok(Self { view, pot: Pot::of(view.object), light, scale, width, height, ground, is_bare: false })
    }

    /// Takes the pot off the table: light, plate and camera stay as they are.
    #[must_use]
    pub fn without_pot(self) -> Self {
        Self { is_bare: true, ..self }
    }

    /// Returns the view this studio was prepared for.
    pub fn view(&self) -> &SceneView {
        &self.view
    }

    /// Renders one frame as a picture, with the noise of ISO 100.
    pub fn render_rgb(&self, pose: &Pose, faults: &SceneFaults) -> Result<Picture, SceneError> {
        self.render_at_iso(pose, faults, 100)
    }

    /// Renders one frame as the JPEG file a camera would hand over: sRGB, 4:2:0, with an EXIF
    /// block. `quality` runs from 1 to 100.
    pub fn render_jpeg(
        &self,
        pose: &Pose,
        faults: &SceneFaults,
        exposure: &ExposureData,
        quality: u8,
    ) -> Result<Vec<u8>, SceneError> {
        check("the JPEG quality", f64::from(quality), 1.0, 100.0, "1 to 100")?;
        exposure.check()?;
        let focal_mm =
            Camera::new(&self.view, &SceneFaults::default(), 1.0).focal_mm(f64::from(self.view.width_px));
        let exif = photo::exif_block(exposure, &self.view, focal_mm)?;
        let picture = self.render_at_iso(pose, faults, exposure.iso)?;
        photo::encode(&picture, quality, &exif)
    }

    fn render_at_iso(&self, pose: &Pose, faults: &SceneFaults, iso: u32) -> Result<Picture, SceneError> {
        check_pose(pose)?;
        check_faults(faults)?;
        let camera = Camera::new(&self.view, faults, self.scale);
        let moved = faults.axis_offset_px != 0.0 || faults.camera_roll_deg != 0.0;
        let moved_ground =
            moved.then(|| Ground::new(&camera, &self.light, self.view.tilt_deg, self.width, self.height));
        let ground = moved_ground.as_ref().unwrap_or(&self.ground);
        let mut frame = vec![[0.0; 3]; self.width * self.height];
        if let [table_deg] = pose.table_deg[..] {
            self.expose(&camera, ground, table_deg, faults, &mut frame);
        } else {
            let share = 1.0 / pose.table_deg.len() as f32;
            let mut instant = frame.clone();
            for &table_deg in &pose.table_deg {
                self.expose(&camera, ground, table_deg, faults, &mut instant);
                for (sum, part) in frame.iter_mut().zip(&instant) {
                    for c in 0..3 {
                        sum[c] += part[c] * share;
                    }
                }
            }
        }
        let exposed = develop::Exposed { width: self.width, height: self.height, light: frame };
        // A smaller frame gathers more light in each of its pixels.
        let pixels = self.view.width_px as f32 * self.view.height_px as f32;
        let gathering = (pixels / 24e6).sqrt().clamp(0.3, 1.5);
        let gain = (iso as f32 / 100.0).sqrt() * gathering;
        let noise = develop::Noise { seed: noise_seed(pose), gain };
        let (width_px, height_px) = (self.view.width_px, self.view.height_px);
        develop::develop(exposed, faults, self.scale as f32, &noise, width_px, height_px)
    }

    /// Renders one instant in linear light.
    fn expose(
        &self,
        camera: &Camera,
        ground: &Ground,
        table_deg: f64,
        faults: &SceneFaults,
        frame: &mut [Vec3],
    ) {
        if self.is_bare {
            ground.draw_bare(frame);
            return;
        }
        let (sin, cos) = table_deg.to_radians().sin_cos();
        let middle = middle_mm(faults, (sin, cos));
        let turn = (sin as f32, cos as f32);
        let standing = Standing { pot: self.pot, middle_mm: middle.map(|v| v as f32), turn };
        ground.draw(&standing, &self.light, frame);
        let (corners, cover) = self.covered(camera, middle, (sin, cos));
        let dots_per_px = self.pot.texture.dots_per_mm / camera.px_per_mm_at_axis() as f32;
        let shader = Shader { pot: self.pot, light: &self.light, turn, level: dots_per_px.log2() };
        let rays = camera.rays();
        cover.resolve(
            &self.pot.mesh,
            &corners,
            |spot| shader.shade(spot, rays.through(spot.at)),
            |column, row, colour, share| {
                let pixel = &mut frame[row * self.width + column];
                for c in 0..3 {
                    pixel[c] += (colour[c] - pixel[c]) * share;
                }
            },
        );
    }

    /// Lays the pot over the frame: its corners there, and what is seen where.
    fn covered(&self, camera: &Camera, middle: [f64; 2], (sin, cos): (f64, f64)) -> (Vec<Corner>, Cover) {
        let corners: Vec<Corner> = self
            .pot
            .mesh
            .vertices
            .iter()
            .map(|vertex| {
                let [x, y, z] = vertex.position.map(f64::from);
                let place = [middle[0] + x * cos - y * sin, middle[1] + x * sin + y * cos, z];
                let (x, y, inverse_depth) = camera.project_with_depth(place);
                Corner { x: x as f32, y: y as f32, inverse_depth: inverse_depth as f32 }
            })
            .collect();
        let cover = Cover::draw(&self.pot.mesh, &corners, self.width, self.height);
        (corners, cover)
    }

    /// Gives the true outline of the pot: its share of each pixel, 0 to 1, rows from the top. Of the faults only
    /// those that move it count.
    ///
    /// `None` for frames above 6.2 megapixels, which are rendered smaller.
    pub fn outline(&self, table_deg: f64, faults: &SceneFaults) -> Option<Vec<f32>> {
        if self.scale < 1.0 {
            return None;
        }
        let camera = Camera::new(&self.view, faults, 1.0);
        let turn = table_deg.to_radians().sin_cos();
        let (corners, cover) = self.covered(&camera, middle_mm(faults, turn), turn);
        let mut shares = vec![0.0; self.width * self.height];
        cover.resolve(
            &self.pot.mesh,
            &corners,
            |_| [0.0; 3],
            |column, row, _, share| shares[row * self.width + column] = share,
        );
        Some(shares)
    }

    /// Gives the share of its light that the pot's shadow leaves each pixel of plate and sweep, 0 to 1, also where
    /// the pot hides them; otherwise as [`Studio::outline`].
    pub fn light_left(&self, table_deg: f64, faults: &SceneFaults) -> Option<Vec<f32>> {
        if self.scale < 1.0 {
            return None;
        }
        let camera = Camera::new(&self.view, faults, 1.0);
        let ground = Ground::new(&camera, &self.light, self.view.tilt_deg, self.width, self.height);
        let (sin, cos) = table_deg.to_radians().sin_cos();
        let middle_mm = middle_mm(faults, (sin, cos)).map(|v| v as f32);
        let standing = Standing { pot: self.pot, middle_mm, turn: (sin as f32, cos as f32) };
        let mut frame = vec![[0.0; 3]; self.width * self.height];
        ground.draw(&standing, &self.light, &mut frame);
        Some(ground.share_left(&frame))
    }
}

/// Where the pot's middle is on the plate, when that is turned.
fn middle_mm(faults: &SceneFaults, (sin, cos): (f64, f64)) -> [f64; 2] {
    let off = faults.off_centre_mm.map(f64::from);
    [off[0] * cos - off[1] * sin, off[0] * sin + off[1] * cos]
}

/// Two exposures never have the same noise, even of a plain pot.
fn noise_seed(pose: &Pose) -> u64 {
    pose.table_deg
        .iter()
        .fold(super::random::scramble(pose.shot), |seed, deg| super::random::scramble(seed ^ deg.to_bits()))
}

fn check(
    name: &'static str,
    value: f64,
    low: f64,
    high: f64,
    allowed: &'static str,
) -> Result<(), SceneError> {
    if value >= low && value <= high { Ok(()) } else { Err(SceneError::OutOfRange { name, value, allowed }) }
}

fn check_pose(pose: &Pose) -> Result<(), SceneError> {
    let samples = pose.table_deg.len();
    check("the number of table angles", samples as f64, 1.0, MAX_POSE_SAMPLES as f64, "1 to 64")?;
    pose.table_deg.iter().try_for_each(|&deg| check("a table angle in degrees", deg, -1e9, 1e9, "±1e9"))
}

fn check_faults(faults: &SceneFaults) -> Result<(), SceneError> {
    check("the defocus in pixels", f64::from(faults.defocus_px), 0.0, 100.0, "0 to 100")?;
    check("the exposure error in stops", f64::from(faults.exposure_ev), -12.0, 12.0, "±12")?;
    for gain in faults.channel_gain {
        check("a channel gain", f64::from(gain), 0.0, 16.0, "0 to 16")?;
    }
    check("the axis offset in pixels", f64::from(faults.axis_offset_px), -6e3, 6e3, "±6000")?;
    check("the camera roll in degrees", f64::from(faults.camera_roll_deg), -45.0, 45.0, "±45")?;
    for off in faults.off_centre_mm {
        check("the object's place off the axis in mm", f64::from(off), -60.0, 60.0, "±60")?;
    }
    Ok(())
}
