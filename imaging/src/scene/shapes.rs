//! The pots of the demo's shop: outlines, handles, and what they keep light from.

use super::SceneObject;
use super::light::{Vec3, smooth_step};
use super::mesh::{Mesh, Part, even_curve, smooth_curve};
use super::openness::open_share;
use super::paint;
use super::surface::Skin;
use super::texture::Texture;
use std::sync::OnceLock;

/// Radius of the plate, millimetres.
pub(super) const PLATE_RADIUS_MM: f32 = 104.0;
/// Thickness of the plate above the sweep, millimetres.
pub(super) const PLATE_THICKNESS_MM: f32 = 13.0;

/// How the camera frames a pot.
#[allow(clippy::struct_field_names)] // each is a length and says so
pub(super) struct Framing {
    /// Height of the point on the axis that the camera aims at.
    pub aim_mm: f64,
    /// Half of what must fit across the frame, at the axis.
    pub half_width_mm: f64,
    /// Half of what must fit upright.
    pub half_height_mm: f64,
}

/// Returns the framing for a pot.
pub(super) fn framing(object: SceneObject) -> Framing {
    let (aim_mm, half_width_mm, half_height_mm) = match object {
        SceneObject::Mug => (38.0, 124.0, 78.0),
        SceneObject::Teapot => (36.0, 130.0, 84.0),
        SceneObject::Bowl => (26.0, 124.0, 80.0),
        SceneObject::Vase => (52.0, 124.0, 104.0),
    };
    Framing { aim_mm, half_width_mm, half_height_mm }
}

/// A pot ready to be rendered, in its own frame at table angle 0°.
pub(super) struct Pot {
    /// The surface.
    pub mesh: Mesh,
    /// Its corners as shading needs them.
    pub skin: Vec<Skin>,
    /// The painted outer wall.
    pub texture: Texture,
    /// Body as (height, radius) of round slices, for its shadow.
    pub slices: Vec<[f32; 2]>,
    /// Handle and spout as balls (centre, radius), for their shadow.
    pub balls: Vec<(Vec3, f32)>,
    /// Radius of the ring the pot stands on.
    pub foot_mm: f32,
    /// Reflectance of the glaze straight on.
    pub gloss: f32,
}

impl Pot {
    /// Returns the shared pot; it is thrown and painted on first use.
    pub fn of(object: SceneObject) -> &'static Self {
        static POTS: [OnceLock<Pot>; 4] =
            [OnceLock::new(), OnceLock::new(), OnceLock::new(), OnceLock::new()];
        match object {
            SceneObject::Mug => POTS[0].get_or_init(mug),
            SceneObject::Teapot => POTS[1].get_or_init(teapot),
            SceneObject::Bowl => POTS[2].get_or_init(bowl),
            SceneObject::Vase => POTS[3].get_or_init(vase),
        }
    }
}

/// The path of a handle or spout, and the bore that follows it without being smoothed.
type Pulled<'a> = (&'a [[f32; 4]], &'a [[f32; 4]]);

/// What a pot is thrown from.
struct Clay<'a> {
    outside: &'a [[f32; 2]],
    inside: &'a [[f32; 2]],
    pulled: &'a [Pulled<'a>],
    shape: &'a dyn Fn(f32, f32, f32) -> Vec3,
    gloss: f32,
}

fn round(turn: f32, radius: f32, height: f32) -> Vec3 {
    let (sin, cos) = turn.sin_cos();
    [radius * cos, radius * sin, height]
}

fn throw(clay: &Clay, texture: Texture, tint: impl Fn(Part, &super::mesh::Vertex) -> Vec3) -> Pot {
    let steps = 4;
    let mut controls = clay.outside.to_vec();
    controls.extend_from_slice(clay.inside);
    let profile = even_curve(&controls, steps);
    let inside_from = (clay.outside.len() - 1) * steps;
    let mut mesh = Mesh::default();
    mesh.turned(&profile, inside_from, clay.shape);
    let mut balls = Vec::new();
    for (path, bore) in clay.pulled {
        let mut curve = smooth_curve(path, 10);
        for place in curve.iter().step_by(5) {
            balls.push(([place[0], 0.0, place[1]], (place[2] * place[3]).sqrt()));
        }
        curve.extend_from_slice(bore);
        mesh.pulled(&curve);
    }
    let slices: Vec<[f32; 2]> =
        profile[..inside_from].iter().step_by(2).map(|&[radius, height]| [height, radius]).collect();
    let mut part_of = vec![Part::Painted; mesh.vertices.len()];
    for (corners, part) in &mesh.triangles {
        for &corner in corners {
            part_of[corner as usize] = *part;
        }
    }
    let lip = profile[inside_from];
    for (vertex, part) in mesh.vertices.iter_mut().zip(part_of) {
        vertex.open = open_share(vertex.position, vertex.normal, part, lip, &slices, &balls);
        vertex.tint = tint(part, vertex);
    }
    let skin = mesh.vertices.iter().map(Skin::of).collect();
    Pot { mesh, skin, texture, slices, balls, foot_mm: clay.outside[1][0], gloss: clay.gloss }
}

fn mix(a: Vec3, b: Vec3, share: f32) -> Vec3 {
    [0, 1, 2].map(|c| a[c] + (b[c] - a[c]) * share)
}

fn mug() -> Pot {
    let handle = [
        [39.2, 79.8, 5.4, 9.6],
        [44.0, 81.4, 4.8, 8.2],
        [52.0, 83.0, 4.3, 7.2],
        [63.0, 79.0, 4.0, 6.8],
        [69.5, 66.0, 3.9, 6.6],
        [68.0, 51.0, 3.9, 6.6],
        [60.0, 38.5, 4.0, 6.7],
        [49.0, 31.0, 4.3, 7.2],
        [44.0, 28.4, 4.6, 7.8],
        [39.9, 26.6, 5.1, 8.8],
    ];
    let clay = Clay {
        outside: &[
            [29.5, 0.4],
            [31.0, 0.0],
            [32.8, 0.5],
            [33.4, 2.4],
            [34.4, 4.6],
            [37.4, 8.0],
            [40.4, 15.0],
            [42.0, 27.0],
            [42.4, 42.0],
            [41.7, 58.0],
            [40.6, 74.0],
            [40.3, 86.0],
            [40.9, 93.0],
            [40.8, 95.3],
            [39.6, 96.4],
        ],
        inside: &[
            [38.2, 95.4],
            [37.2, 91.0],
            [36.6, 78.0],
            [37.6, 58.0],
            [38.2, 36.0],
            [36.6, 18.0],
            [30.0, 9.5],
            [16.0, 7.4],
            [0.02, 7.2],
        ],
        pulled: &[(&handle, &[])],
        shape: &round,
        gloss: 0.05,
    };
    throw(&clay, paint::mug(), |part, vertex| match part {
        Part::Pulled => {
            // Brushed dashes across the back of the handle, closer towards the top.
            let along = vertex.paint[0];
            let back = smooth_step(0.2, 0.75, (vertex.paint[1] * std::f32::consts::TAU).cos());
            let beat = ((along * 1.25 + 0.1).powf(1.3) * 9.0).fract();
            let dash = smooth_step(0.2, 0.36, beat) * smooth_step(0.74, 0.56, beat);
            let ends = smooth_step(0.14, 0.2, along) * smooth_step(0.86, 0.8, along);
            mix(paint::CREAM, paint::COBALT, 0.85 * back * dash * ends)
        }
        _ => mix(paint::CREAM, paint::RIM_BROWN, 0.75 * smooth_step(92.5, 96.0, vertex.position[2])),
    })
}

fn teapot() -> Pot {
    let spout = [
        [30.0, 24.0, 15.0, 15.5],
        [42.0, 27.0, 14.0, 14.5],
        [54.0, 34.5, 11.0, 11.5],
        [65.0, 46.0, 8.2, 8.2],
        [73.0, 60.0, 6.3, 6.3],
        [80.5, 70.6, 5.3, 5.7],
        [86.5, 76.0, 5.4, 5.9],
    ];
    // The lip rounds over and the bore goes back down the spout.
    let bore = [
        [86.9, 76.35, 5.1, 5.6],
        [86.7, 76.2, 4.7, 5.2],
        [86.0, 75.55, 4.5, 4.9],
        [83.5, 73.3, 4.3, 4.7],
        [80.5, 70.6, 4.1, 4.5],
        [75.5, 64.5, 3.4, 3.8],
    ];
    let handle = [
        [-34.0, 51.0, 5.6, 8.8],
        [-43.0, 59.5, 5.0, 8.0],
        [-52.0, 63.5, 4.3, 7.0],
        [-66.0, 65.0, 3.9, 6.4],
        [-78.0, 56.0, 3.8, 6.2],
        [-80.0, 42.0, 3.8, 6.2],
        [-71.0, 28.0, 3.9, 6.4],
        [-58.0, 20.5, 4.2, 7.0],
        [-46.0, 18.4, 4.8, 7.8],
        [-34.0, 19.0, 5.4, 8.6],
    ];
    let clay = Clay {
        outside: &[
            [27.0, 0.4],
            [28.6, 0.0],
            [30.2, 0.6],
            [31.0, 3.0],
            [36.0, 7.0],
            [47.0, 18.0],
            [53.4, 33.0],
            [52.0, 47.0],
            [43.0, 60.0],
            [31.0, 67.2],
            [26.6, 69.2],
            [25.6, 69.0],
            [25.2, 70.6],
            [25.6, 72.0],
            [23.0, 74.6],
            [14.0, 78.8],
            [5.6, 81.4],
            [4.4, 83.6],
            [6.6, 87.0],
            [8.0, 90.6],
            [6.4, 94.0],
            [2.6, 95.6],
            [0.02, 95.9],
        ],
        inside: &[],
        pulled: &[(&spout, &bore), (&handle, &[])],
        shape: &round,
        gloss: 0.05,
    };
    throw(&clay, paint::teapot(), |_, vertex| {
        // Celadon pools in the hollows and thins over edges.
        mix(paint::CELADON, paint::CELADON_DEEP, 0.55 * (1.0 - vertex.open))
    })
}

fn bowl() -> Pot {
    // A lip pulled out of the rim at 0°.
    let lip = |turn: f32, radius: f32, height: f32| {
        let off = (turn + std::f32::consts::PI).rem_euclid(std::f32::consts::TAU) - std::f32::consts::PI;
        let pull =
            (-(off / 0.24).powi(2)).exp() * smooth_step(26.0, 62.0, height) * smooth_step(30.0, 60.0, radius);
        round(turn, radius + 11.0 * pull, height + 1.5 * pull)
    };
    let clay = Clay {
        outside: &[
            [25.0, 0.4],
            [26.8, 0.0],
            [28.6, 0.5],
            [29.2, 3.0],
            [29.8, 6.0],
            [35.0, 9.0],
            [48.0, 17.0],
            [61.0, 30.0],
            [68.5, 45.0],
            [71.8, 57.0],
            [72.6, 60.4],
            [71.6, 62.0],
        ],
        inside: &[
            [70.0, 61.2],
            [68.6, 57.0],
            [65.0, 45.0],
            [57.5, 31.5],
            [44.0, 18.5],
            [26.0, 10.6],
            [10.0, 8.6],
            [0.02, 8.4],
        ],
        pulled: &[],
        shape: &lip,
        gloss: 0.045,
    };
    throw(&clay, paint::bowl(), |_, vertex| {
        mix(paint::OATMEAL, paint::RIM_BROWN, 0.7 * smooth_step(58.5, 62.0, vertex.paint[1]))
    })
}

fn vase() -> Pot {
    let clay = Clay {
        outside: &[
            [19.0, 0.4],
            [20.6, 0.0],
            [22.4, 0.5],
            [24.0, 3.0],
            [31.0, 12.0],
            [39.0, 28.0],
            [42.4, 46.0],
            [39.0, 64.0],
            [28.0, 84.0],
            [18.0, 100.0],
            [13.4, 114.0],
            [14.0, 124.0],
            [17.6, 130.6],
            [18.0, 132.2],
            [17.0, 133.0],
        ],
        inside: &[
            [15.4, 131.6],
            [11.8, 124.0],
            [10.8, 114.0],
            [14.0, 102.0],
            [20.0, 92.0],
            [20.0, 70.0],
            [0.02, 66.0],
        ],
        pulled: &[],
        shape: &round,
        gloss: 0.045,
    };
    throw(&clay, paint::vase(), |_, _| paint::MIST)
}
