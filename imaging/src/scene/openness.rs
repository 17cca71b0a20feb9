//! How much of the surrounding light reaches a place on the pot.

use super::light::{Vec3, dot, normalise, smooth_step};
use super::mesh::Part;

/// Estimates the share of the surrounding light that reaches a place (0 to 1). Rules of thumb
/// for soft light, not a simulation: occlusion by balls is the solid angle of each, weighted
/// by its cosine.
pub(super) fn open_share(
    place: Vec3,
    normal: Vec3,
    part: Part,
    lip: [f32; 2],
    slices: &[[f32; 2]],
    balls: &[(Vec3, f32)],
) -> f32 {
    let mut open = 1.0;
    match part {
        Part::Inside => {
            let depth = (lip[1] - place[2]).max(0.0) / lip[0];
            open *= 0.26 + 0.74 / (1.0 + (1.35 * depth).powf(1.6));
        }
        Part::Painted => {
            // Near the plate the pot sees its own shadow.
            let down = (0.62 - 0.38 * normal[2]).clamp(0.0, 1.0);
            open *= 1.0 - 0.78 * down * (-place[2].max(0.0) / 8.0).exp();
            let mut hidden = 0.0;
            for &(centre, radius) in balls {
                let to = [centre[0] - place[0], centre[1] - place[1], centre[2] - place[2]];
                let distance = dot(to, to).sqrt().max(radius);
                hidden += 0.30 * (radius / distance).powi(2) * dot(normal, normalise(to)).max(0.0);
            }
            open *= 1.0 - hidden.min(0.5);
        }
        Part::Pulled => {
            let distance = place[0].hypot(place[1]).max(1.0);
            let body = radius_at(slices, place[2]);
            let inwards = -(normal[0] * place[0] + normal[1] * place[1]) / distance;
            let near = (body / distance).min(1.0).powi(2);
            open *= 1.0 - 0.55 * near * (0.35 + 0.65 * inwards).clamp(0.0, 1.0);
            open *= 1.0 - 0.4 * smooth_step(1.25, 0.98, distance / body.max(1.0));
        }
    }
    open
}

/// Returns the body's radius at a height, between slices that rise from foot to lip.
fn radius_at(slices: &[[f32; 2]], height: f32) -> f32 {
    slices.windows(2).find(|pair| (pair[0][0]..=pair[1][0]).contains(&height)).map_or(0.0, |pair| {
        let share = (height - pair[0][0]) / (pair[1][0] - pair[0][0]).max(1e-6);
        pair[0][1] + (pair[1][1] - pair[0][1]) * share
    })
}
