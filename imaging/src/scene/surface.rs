//! The colour of a place on the pot: painted clay under a clear glaze.

use super::light::{Light, Vec3, dot, normalise};
use super::mesh::{Part, Vertex};
use super::raster::Spot;
use super::shapes::Pot;

/// Shades places of one pot at one table angle.
pub(super) struct Shader<'a> {
    /// The pot.
    pub pot: &'a Pot,
    /// The studio's light.
    pub light: &'a Light,
    /// Sine and cosine of the table angle.
    pub turn: (f32, f32),
    /// Texture level that matches the frame straight on.
    pub level: f32,
}

impl Shader<'_> {
    /// Returns the light sent towards the lens; `ray` points from the lens to the place.
    #[inline]
    pub fn shade(&self, spot: Spot, ray: Vec3) -> Vec3 {
        let (corners, part) = self.pot.mesh.triangles[spot.triangle as usize];
        let [a, b, c] = corners.map(|i| &self.pot.skin[i as usize]);
        let w = spot.weights;
        let [nx, ny, nz, open] = blend(&a.normal_open, &b.normal_open, &c.normal_open, w);
        let (sin, cos) = self.turn;
        let normal = normalise([nx * cos - ny * sin, nx * sin + ny * cos, nz]);
        let view = normalise([-ray[0], -ray[1], -ray[2]]);
        let double = 2.0 * dot(normal, view);
        let facing = (0.5 * double).clamp(0.02, 1.0);
        let [red, green, blue, share] = blend(&a.tint_turn, &b.tint_turn, &c.tint_turn, w);
        let clay = match part {
            Part::Painted => self.pot.texture.look_up(
                share,
                a.height_mm * w[0] + b.height_mm * w[1] + c.height_mm * w[2],
                // Towards the edge the wall foreshortens and needs a coarser copy.
                self.level + 0.8 * (1.0 - facing),
            ),
            Part::Inside | Part::Pulled => [red, green, blue],
        };
        let matt = self.light.received(normal);
        let mirror = self.light.seen([
            double * normal[0] - view[0],
            double * normal[1] - view[1],
            double * normal[2] - view[2],
        ]);
        // Fresnel's reflectance after Schlick (Computer Graphics Forum 13:233, 1994), held back
        // at the edge as a slightly uneven glaze does.
        let graze = (1.0 - facing) * (1.0 - facing);
        let gloss = self.pot.gloss + (1.0 - self.pot.gloss) * graze * graze * (1.0 - facing) * 0.6;
        let (shine, body) = (gloss * (0.35 + 0.65 * open), open * (1.0 - gloss));
        [
            clay[0] * matt[0] * body + mirror[0] * shine,
            clay[1] * matt[1] * body + mirror[1] * shine,
            clay[2] * matt[2] * body + mirror[2] * shine,
        ]
    }
}

/// What shading needs to know of a corner, in fours for the compiler's sake.
pub(super) struct Skin {
    /// Unit normal, and the share of surrounding light that arrives.
    normal_open: [f32; 4],
    /// Colour of unpainted glaze, and the share of the turn on the painted wall.
    tint_turn: [f32; 4],
    /// Height on the painted wall.
    height_mm: f32,
}

impl Skin {
    /// Takes what is needed from a corner.
    pub fn of(vertex: &Vertex) -> Self {
        let ([nx, ny, nz], [red, green, blue]) = (vertex.normal, vertex.tint);
        Self {
            normal_open: [nx, ny, nz, vertex.open],
            tint_turn: [red, green, blue, vertex.paint[0]],
            height_mm: vertex.paint[1],
        }
    }
}

#[inline]
fn blend(a: &[f32; 4], b: &[f32; 4], c: &[f32; 4], w: [f32; 3]) -> [f32; 4] {
    let mut out = [0.0; 4];
    for i in 0..4 {
        out[i] = a[i] * w[0] + b[i] * w[1] + c[i] * w[2];
    }
    out
}
