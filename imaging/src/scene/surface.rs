//! The colour of a place on the pot: painted clay under a clear glaze.

use super::light::{Light, Vec3, dot, normalise};
use super::mesh::Part;
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
        let [a, b, c] = corners.map(|i| &self.pot.mesh.vertices[i as usize]);
        let w = spot.weights;
        let blend = |x: f32, y: f32, z: f32| x * w[0] + y * w[1] + z * w[2];
        let own: Vec3 = [0, 1, 2].map(|i| blend(a.normal[i], b.normal[i], c.normal[i]));
        let open = blend(a.open, b.open, c.open);
        let (sin, cos) = self.turn;
        let normal = normalise([own[0] * cos - own[1] * sin, own[0] * sin + own[1] * cos, own[2]]);
        let view = normalise([-ray[0], -ray[1], -ray[2]]);
        let facing = dot(normal, view).clamp(0.02, 1.0);
        let clay = match part {
            Part::Painted => self.pot.texture.look_up(
                blend(a.paint[0], b.paint[0], c.paint[0]),
                blend(a.paint[1], b.paint[1], c.paint[1]),
                // Towards the edge the wall foreshortens and needs a coarser copy.
                self.level + 0.8 * (1.0 - facing),
            ),
            Part::Inside | Part::Pulled => [0, 1, 2].map(|i| blend(a.tint[i], b.tint[i], c.tint[i])),
        };
        let matt = self.light.received(normal);
        let double = 2.0 * dot(normal, view);
        let bounce = [0, 1, 2].map(|i| double * normal[i] - view[i]);
        let mirror = self.light.seen(bounce);
        // Fresnel's reflectance after Schlick (Computer Graphics Forum 13:233, 1994).
        let graze = (1.0 - facing) * (1.0 - facing);
        let gloss = self.pot.gloss + (1.0 - self.pot.gloss) * graze * graze * (1.0 - facing) * 0.6;
        let shine = gloss * (0.35 + 0.65 * open);
        [0, 1, 2].map(|i| clay[i] * matt[i] * open * (1.0 - gloss) + mirror[i] * shine)
    }
}
