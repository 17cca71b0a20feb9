//! Triangle meshes of turned and pulled pottery.

use super::light::{Vec3, cross, dot, normalise};
use std::f32::consts::TAU;

/// One corner of the mesh, in the object's own frame (millimetres, table angle 0°).
#[derive(Debug, Clone, Copy)]
pub(super) struct Vertex {
    /// Place in millimetres.
    pub position: Vec3,
    /// Unit normal, outwards.
    pub normal: Vec3,
    /// Place on the painted surface: share of the turn, and height in millimetres.
    pub paint: [f32; 2],
    /// Colour of unpainted glaze, linear.
    pub tint: Vec3,
    /// Share of the surrounding light that arrives, 0 to 1.
    pub open: f32,
}

/// Tells how a triangle's surface gets its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// The outer wall, coloured by the painted texture.
    Painted,
    /// The inside, coloured by its corners.
    Inside,
    /// A handle or spout, coloured by its corners.
    Pulled,
}

/// A closed surface of triangles, wound counter-clockwise seen from outside.
#[derive(Debug, Default)]
pub(super) struct Mesh {
    /// Corners.
    pub vertices: Vec<Vertex>,
    /// Corner numbers and the part each triangle belongs to.
    pub triangles: Vec<([u32; 3], Part)>,
}

/// Segments round a full turn: a 400 px radius strays 0.05 px from a true circle.
const SEGMENTS: usize = 200;

impl Mesh {
    /// Adds a surface turned on the wheel.
    ///
    /// `profile` runs from the foot up the outside and down the inside as (radius, height);
    /// rings from `inside_from` on belong to the inside. `shape` may push a place about, given
    /// as (angle, radius, height).
    pub fn turned(
        &mut self,
        profile: &[[f32; 2]],
        inside_from: usize,
        shape: impl Fn(f32, f32, f32) -> Vec3,
    ) {
        let columns = SEGMENTS + 1;
        let place = |ring: usize, segment: usize| {
            let turn = segment as f32 * TAU / SEGMENTS as f32;
            shape(turn, profile[ring][0], profile[ring][1])
        };
        let base = self.vertices.len();
        for ring in 0..profile.len() {
            for segment in 0..columns {
                let (before, after) = (ring.saturating_sub(1), (ring + 1).min(profile.len() - 1));
                let round = minus(
                    place(ring, (segment + 1) % SEGMENTS),
                    place(ring, (segment + SEGMENTS - 1) % SEGMENTS),
                );
                let along = minus(place(after, segment), place(before, segment));
                self.vertices.push(Vertex {
                    position: place(ring, segment % SEGMENTS),
                    normal: normalise(cross(round, along)),
                    paint: [segment as f32 / SEGMENTS as f32, profile[ring][1]],
                    tint: [0.5; 3],
                    open: 1.0,
                });
            }
        }
        for ring in 0..profile.len() - 1 {
            let part = if ring >= inside_from { Part::Inside } else { Part::Painted };
            for segment in 0..SEGMENTS {
                self.quad(base + ring * columns + segment, 1, columns, part);
            }
        }
    }

    /// Adds a pulled tube (handle, spout) along a path in the plane y = 0.
    ///
    /// `path` holds (x, z, half thickness in the plane, half width across it), millimetres.
    pub fn pulled(&mut self, path: &[[f32; 4]]) {
        const ROUND: usize = 40;
        let columns = ROUND + 1;
        let base = self.vertices.len();
        let mut out = [0.0, 0.0, 0.0];
        for (step, &[x, z, thick, wide]) in path.iter().enumerate() {
            let (before, after) = (path[step.saturating_sub(1)], path[(step + 1).min(path.len() - 1)]);
            let (came, goes) = ([x - before[0], z - before[1]], [after[0] - x, after[1] - z]);
            let turns = came[0] * goes[0] + came[1] * goes[1] < 0.0;
            // Where the path turns round (the lip of a spout), the way in still counts.
            let goes = if turns { [0.0, 0.0] } else { goes };
            let along = normalise([came[0] + goes[0], 0.0, came[1] + goes[1]]);
            // In-plane normal, square to the path. Where the path turns back into the tube,
            // the frame keeps its side and the surface faces inwards: the bore of a spout.
            let square = [-along[2], 0.0, along[0]];
            let turned_back = dot(square, out) < 0.0;
            out = if turned_back { square.map(|v| -v) } else { square };
            let face = if turned_back { -1.0 } else { 1.0 };
            for spoke in 0..columns {
                let (sin, cos) = (spoke as f32 * TAU / ROUND as f32).sin_cos();
                let normal = normalise([out[0] * cos / thick, sin / wide, out[2] * cos / thick]);
                self.vertices.push(Vertex {
                    position: [x + out[0] * cos * thick, sin * wide, z + out[2] * cos * thick],
                    normal: normal.map(|v| v * face),
                    paint: [step as f32 / (path.len() - 1) as f32, spoke as f32 / ROUND as f32],
                    tint: [0.5; 3],
                    open: 1.0,
                });
            }
        }
        for step in 0..path.len() - 1 {
            for spoke in 0..ROUND {
                self.quad(base + step * columns + spoke, columns, 1, Part::Pulled);
            }
        }
    }

    /// Adds two triangles with corners at `at`, `at + a`, `at + a + b` and `at + b`.
    fn quad(&mut self, at: usize, a: usize, b: usize, part: Part) {
        let corner = |offset: usize| (at + offset) as u32;
        self.triangles.push(([corner(0), corner(a), corner(a + b)], part));
        self.triangles.push(([corner(0), corner(a + b), corner(b)], part));
    }
}

/// Runs a curve of even curvature near control points (a uniform cubic B-spline), `steps`
/// places a span, from the first point to the last.
pub(super) fn even_curve(points: &[[f32; 2]], steps: usize) -> Vec<[f32; 2]> {
    let last = points.len() as isize - 1;
    // Mirrored beyond the ends, so that the curve starts and stops at its end points.
    let point = |i: isize| match i {
        _ if i < 0 => [0, 1].map(|c| 2.0 * points[0][c] - points[1][c]),
        _ if i > last => [0, 1].map(|c| 2.0 * points[last as usize][c] - points[last as usize - 1][c]),
        _ => points[i as usize],
    };
    let place = |span: isize, t: f32| {
        let weights = [
            (1.0 - t).powi(3),
            3.0 * t.powi(3) - 6.0 * t * t + 4.0,
            -3.0 * t.powi(3) + 3.0 * t * t + 3.0 * t + 1.0,
            t.powi(3),
        ];
        [0, 1].map(|c| (0..4).map(|k| weights[k] * point(span - 1 + k as isize)[c]).sum::<f32>() / 6.0)
    };
    let mut curve: Vec<_> = (0..last)
        .flat_map(|span| (0..steps).map(move |step| (span, step as f32 / steps as f32)))
        .map(|(span, t)| place(span, t))
        .collect();
    curve.push(points[last as usize]);
    curve
}

/// Runs a smooth curve through control points (Catmull and Rom, 1974), `steps` places a span.
pub(super) fn smooth_curve<const N: usize>(points: &[[f32; N]], steps: usize) -> Vec<[f32; N]> {
    let last = points.len() - 1;
    let mut curve = Vec::with_capacity(last * steps + 1);
    for span in 0..last {
        let p0 = points[span.saturating_sub(1)];
        let (p1, p2) = (points[span], points[span + 1]);
        let p3 = points[(span + 2).min(last)];
        for step in 0..steps {
            let t = step as f32 / steps as f32;
            let mut place = [0.0; N];
            for i in 0..N {
                place[i] = 0.5
                    * (2.0 * p1[i]
                        + (p2[i] - p0[i]) * t
                        + (2.0 * p0[i] - 5.0 * p1[i] + 4.0 * p2[i] - p3[i]) * t * t
                        + (3.0 * p1[i] - p0[i] - 3.0 * p2[i] + p3[i]) * t * t * t);
            }
            curve.push(place);
        }
    }
    curve.push(points[last]);
    curve
}

fn minus(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
