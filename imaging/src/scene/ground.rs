//! The white plate, the seamless sweep behind it, and the soft shadows on both.

use super::camera::Camera;
use super::light::{Light, PLATE_ALBEDO, ShadowLight, Vec3, smooth_step};
use super::shapes::{PLATE_RADIUS_MM, PLATE_THICKNESS_MM, Pot};

/// Places across the frame where the shadow is worked out; it is soft, so it is filled in
/// between.
const SHADOW_PLACES: usize = 90;
/// Beyond this distance the sweep has curved up into its even top, millimetres.
const FAR_MM: f32 = 2400.0;

/// Where a pot stands in the studio at one table angle.
pub(super) struct Standing<'a> {
    /// The pot.
    pub pot: &'a Pot,
    /// Its middle on the plate.
    pub middle_mm: [f32; 2],
    /// Sine and cosine of the table angle.
    pub turn: (f32, f32),
}

/// The plate and sweep as the camera sees them, without any pot.
pub(super) struct Ground {
    width: usize,
    height: usize,
    /// Linear light of each pixel.
    open: Vec<Vec3>,
    /// Places on plate or sweep at the shadow grid, row by row.
    grid: Vec<[f32; 2]>,
    grid_width: usize,
    /// Pixels between places of the grid, along rows and along columns.
    grid_step: [usize; 2],
}

impl Ground {
    /// Looks at plate and sweep through a camera.
    pub fn new(camera: &Camera, light: &Light, tilt_deg: f32, width: usize, height: usize) -> Self {
        let lens = camera.position_mm().map(|v| v as f32);
        let mut open = Vec::with_capacity(width * height);
        let mm_per_px = 1.0 / camera.px_per_mm_at_axis() as f32;
        let squash = 1.0 / tilt_deg.to_radians().sin();
        let plate = light.received([0.0, 0.0, 1.0]).map(|v| v * PLATE_ALBEDO);
        for row in 0..height {
            let (start, change) = camera.ray_row(row as f64 + 0.5);
            for column in 0..width {
                let along = column as f32 + 0.5;
                let ray = [
                    start[0] + change[0] * along,
                    start[1] + change[1] * along,
                    start[2] + change[2] * along,
                ];
                let pass = Pass::new(lens, ray);
                let (top, low) = (pass.top, pass.low);
                let vignette = {
                    let x = along / width as f32 - 0.5;
                    let y = (row as f32 + 0.5) / height as f32 - 0.5;
                    1.0 - 0.16 * (x * x + y * y)
                };
                let inside = |at: [f32; 2]| {
                    let radius = at[0].hypot(at[1]).max(1.0);
                    let soft = mm_per_px * (at[0] / radius).hypot(squash * at[1] / radius);
                    ((PLATE_RADIUS_MM - radius) / soft + 0.5).clamp(0.0, 1.0)
                };
                let on_top = inside(top);
                let mut colour = plate;
                if on_top < 1.0 {
                    colour = sweep(low, plate);
                    let on_side = inside(pass.nearest());
                    if on_side > 0.0 {
                        colour = mix(colour, pass.rim(light), on_side);
                    }
                }
                if on_top > 0.0 {
                    // The plate's edge is rounded over and catches a little more light.
                    let radius = top[0].hypot(top[1]);
                    let edge = 1.0 + 0.045 * smooth_step(1.6, 0.4, (radius - 102.4).abs());
                    let falloff = 1.0 - 0.00022 * top[0] - 0.00012 * top[1];
                    colour = mix(colour, plate.map(|v| v * edge * falloff), on_top);
                }
                open.push(colour.map(|v| v * vignette));
            }
        }
        // The plate is seen aslant: the same millimetres are fewer rows than columns.
        let step = (width / SHADOW_PLACES).clamp(2, 48);
        let grid_step = [step, ((step as f32 / squash).round() as usize).max(1)];
        let (grid_width, grid_height) = (width / grid_step[0] + 2, height / grid_step[1] + 2);
        let mut grid = Vec::with_capacity(grid_width * grid_height);
        for row in 0..grid_height {
            let (start, change) = camera.ray_row((row * grid_step[1]) as f64);
            for column in 0..grid_width {
                let along = (column * grid_step[0]) as f32;
                // The shadow is taken at the plate's height everywhere: the sweep lies only a
                // little lower and shows it only faintly.
                grid.push(fall(lens, [0, 1, 2].map(|i| start[i] + change[i] * along), 0.0));
            }
        }
        Self { width, height, open, grid, grid_width, grid_step }
    }

    /// Draws plate and sweep with a pot's shadow into `frame`.
    pub fn draw(&self, standing: &Standing, light: &Light, frame: &mut [Vec3]) {
        let caster = Caster::new(standing, light);
        let shadow: Vec<f32> = self.grid.iter().map(|&at| caster.light_left(at)).collect();
        let [step, down] = self.grid_step;
        let scale = 1.0 / step as f32;
        let mut across = vec![0.0; self.grid_width];
        let mut left = vec![0.0; self.width + step];
        for row in 0..self.height {
            let line = row / down * self.grid_width;
            let fy = ((row % down) as f32 + 0.5) / down as f32;
            // A row of the grid is filled in between its own rows first, then along.
            for (i, value) in across.iter_mut().enumerate() {
                let (near, far) = (shadow[line + i], shadow[line + self.grid_width + i]);
                *value = near + (far - near) * fy;
            }
            for (cell, ends) in left.chunks_mut(step).zip(across.windows(2)) {
                let slope = (ends[1] - ends[0]) * scale;
                for (i, value) in cell.iter_mut().enumerate() {
                    *value = ends[0] + (i as f32 + 0.5) * slope;
                }
            }
            let range = row * self.width..(row + 1) * self.width;
            let pixels = frame[range.clone()].iter_mut().zip(&self.open[range]);
            for ((pixel, open), &left) in pixels.zip(&left) {
                // Shadows are a touch warmer than the light: the pot sends some back.
                *pixel = [open[0] * (0.988 * left + 0.012), open[1] * left, open[2] * left];
            }
        }
    }
}

impl Ground {
    /// Draws it with nothing standing on the plate.
    pub fn draw_bare(&self, frame: &mut [Vec3]) {
        frame.copy_from_slice(&self.open);
    }

    /// Gives the share of its open light that each pixel of a drawn ground has.
    pub fn share_left(&self, drawn: &[Vec3]) -> Vec<f32> {
        drawn.iter().zip(&self.open).map(|(drawn, open)| drawn[1] / open[1].max(1e-6)).collect()
    }
}

/// Follows a ray down to a height; rays that never come down end far away on the sweep.
fn fall(lens: Vec3, ray: Vec3, height: f32) -> [f32; 2] {
    let reach = if ray[2] < -1e-4 { (height - lens[2]) / ray[2] } else { f32::MAX };
    let reach = reach.min((FAR_MM - lens[1]) / ray[1].max(1e-3));
    [lens[0] + ray[0] * reach, lens[1] + ray[1] * reach]
}

/// Light of the seamless sweep at a place behind, beside or before the plate.
fn sweep(at: [f32; 2], plate: Vec3) -> Vec3 {
    let radius = at[0].hypot(at[1]);
    let behind = smooth_step(-150.0, 150.0, at[1]);
    let rise = smooth_step(160.0, 1300.0, at[1]);
    let level = 0.90 + 0.07 * behind - 0.20 * rise;
    // Little light comes in under the plate's edge.
    let off = (radius - PLATE_RADIUS_MM + 2.0).max(0.0);
    let contact = 1.0 - 0.42 * (-off / 9.0).exp() - 0.12 * (-off / 34.0).exp();
    [
        plate[0] * level * contact * 0.992,
        plate[1] * level * contact * 0.998,
        plate[2] * level * contact * 1.008,
    ]
}

/// A ray's way from the height of the plate's surface down to the sweep.
struct Pass {
    top: [f32; 2],
    low: [f32; 2],
}

impl Pass {
    fn new(lens: Vec3, ray: Vec3) -> Self {
        Self { top: fall(lens, ray, 0.0), low: fall(lens, ray, -PLATE_THICKNESS_MM) }
    }

    fn at(&self, share: f32) -> [f32; 2] {
        [0, 1].map(|i| self.top[i] + (self.low[i] - self.top[i]) * share)
    }

    /// Returns the share of the way where the ray passes the axis nearest.
    fn nearest_share(&self) -> f32 {
        let way = [self.low[0] - self.top[0], self.low[1] - self.top[1]];
        let square = way[0] * way[0] + way[1] * way[1];
        (-(self.top[0] * way[0] + self.top[1] * way[1]) / square.max(1e-6)).clamp(0.0, 1.0)
    }

    fn nearest(&self) -> [f32; 2] {
        self.at(self.nearest_share())
    }

    /// Light of the plate's upright edge, where the ray first meets it.
    fn rim(&self, light: &Light) -> Vec3 {
        let nearest = self.nearest_share();
        let (outer, inner) = (radius(self.top), radius(self.at(nearest)));
        // Between the top and the nearest point the distance falls steadily; two secant steps
        // find where it equals the plate's radius.
        let mut depth = nearest * ((outer - PLATE_RADIUS_MM) / (outer - inner).max(1e-3));
        for _ in 0..2 {
            let here = radius(self.at(depth));
            let slope = (outer - here) / depth.max(1e-4);
            depth = ((outer - PLATE_RADIUS_MM) / slope.max(1e-4)).clamp(0.0, nearest);
        }
        let at = self.at(depth);
        let far = radius(at).max(1.0);
        let normal = [at[0] / far, at[1] / far, 0.0];
        let shade = 0.84 - 0.24 * smooth_step(0.35, 1.0, depth) + 0.12 * smooth_step(0.16, 0.0, depth);
        light.received(normal).map(|v| v * PLATE_ALBEDO * shade)
    }
}

fn radius(at: [f32; 2]) -> f32 {
    at[0].hypot(at[1])
}

/// What keeps light from the plate.
struct Caster<'a> {
    standing: &'a Standing<'a>,
    lights: [ShadowLight; 2],
    height: f32,
    belly: f32,
    slices: Vec<[f32; 2]>,
    balls: Vec<(Vec3, f32)>,
}

impl<'a> Caster<'a> {
    fn new(standing: &'a Standing<'a>, light: &Light) -> Self {
        let pot = standing.pot;
        let (sin, cos) = standing.turn;
        let balls = pot
            .balls
            .iter()
            .map(|&(at, radius)| {
                let place = [
                    standing.middle_mm[0] + at[0] * cos - at[1] * sin,
                    standing.middle_mm[1] + at[0] * sin + at[1] * cos,
                    at[2],
                ];
                (place, radius)
            })
            .collect();
        let skip = (pot.slices.len() / 9).max(1);
        Self {
            standing,
            lights: light.shadow_lights,
            height: pot.slices.iter().map(|s| s[0]).fold(0.0, f32::max),
            belly: pot.slices.iter().map(|s| s[1]).fold(0.0, f32::max),
            slices: pot.slices.iter().copied().step_by(skip).collect(),
            balls,
        }
    }

    /// Returns the share of light left at a place on the plate, 0 to 1.
    fn light_left(&self, at: [f32; 2]) -> f32 {
        let (x, y) = (at[0] - self.standing.middle_mm[0], at[1] - self.standing.middle_mm[1]);
        let distance = (x * x + y * y).sqrt();
        if distance > 420.0 {
            return 1.0;
        }
        // An upright wall hides half of the sky beside it; further off, what its width and
        // height still cover. Under the belly little but the plate itself is seen.
        let gap = (distance - self.belly).max(0.0);
        let wall = 0.5
            * (self.belly / distance.max(self.belly))
            * (1.0 - gap / (gap * gap + self.height * self.height).sqrt());
        let foot = (distance - self.standing.pot.foot_mm).max(0.0);
        let under = 0.50 * smooth_step(self.belly * 1.06, self.standing.pot.foot_mm, distance)
            + 0.40 * (-foot / 3.5).exp();
        let mut around = (wall + under).min(0.96);
        for &(centre, radius) in &self.balls {
            let (dx, dy) = (at[0] - centre[0], at[1] - centre[1]);
            let square = dx * dx + dy * dy + centre[2] * centre[2];
            around += 0.5 * radius * radius * centre[2] / (square * square.sqrt());
        }
        let mut left = 0.0;
        let mut shares = 1.0;
        for light in &self.lights {
            left += light.share * (1.0 - self.hidden(at, light));
            shares -= light.share;
        }
        (left * (1.0 - 0.6 * around.min(0.96)) + shares * (1.0 - around.min(0.96))).clamp(0.02, 1.0)
    }

    /// Returns how much of a soft light the pot hides from a place, 0 to 1.
    fn hidden(&self, at: [f32; 2], light: &ShadowLight) -> f32 {
        let lean = [-light.towards[0] / light.towards[2], -light.towards[1] / light.towards[2]];
        let disc = |centre: [f32; 2], height: f32, radius: f32| {
            let (x, y) = (at[0] - centre[0] - lean[0] * height, at[1] - centre[1] - lean[1] * height);
            let soft = light.spread * height * 1.25 + 1.5;
            let square = x * x + y * y;
            if square > (radius + soft) * (radius + soft) {
                return 0.0;
            }
            let full = (radius / soft).min(1.0);
            full * full * smooth_step(radius + soft, radius - soft, square.sqrt())
        };
        let body = self.slices.iter().map(|s| disc(self.standing.middle_mm, s[0], s[1])).fold(0.0, f32::max);
        let mut open = 1.0 - body;
        for &(centre, radius) in &self.balls {
            open *= 1.0 - 0.55 * disc([centre[0], centre[1]], centre[2], radius);
        }
        1.0 - open
    }
}

fn mix(a: Vec3, b: Vec3, share: f32) -> Vec3 {
    [0, 1, 2].map(|c| a[c] + (b[c] - a[c]) * share)
}
