//! The studio's light: two soft boxes, a pale ceiling and backdrop, a dark camera side.
//!
//! The light stands still while the object turns. It is kept as two tables over directions:
//! what a mirror would show, and what a matt surface would receive.

// Geometry reads best in the letters it is usually written in.
#![allow(clippy::many_single_char_names)]

use std::f32::consts::PI;

pub(super) type Vec3 = [f32; 3];

/// Radiance of the plate under open light, linear, 1 being clipped white. Leaves a third of
/// a stop before the plate clips.
const PLATE_LEVEL: f32 = 0.77;
/// Share of light a matt white plate sends back.
pub(super) const PLATE_ALBEDO: f32 = 0.84;
const MIRROR_SIDE: usize = 193;
const MATT_SIDE: usize = 33;

/// A rectangular soft box, seen from the pot.
struct SoftBox {
    towards: Vec3,
    across: Vec3,
    upwards: Vec3,
    /// Half sizes as tangents of the half angles.
    half: [f32; 2],
    /// Softness of the edge, same unit.
    edge: f32,
    radiance: Vec3,
}

impl SoftBox {
    fn new(towards: Vec3, half: [f32; 2], edge: f32, radiance: Vec3) -> Self {
        let towards = normalise(towards);
        let across = normalise(cross(towards, [0.0, 0.0, 1.0]));
        Self { towards, across, upwards: cross(across, towards), half, edge, radiance }
    }

    fn strength(&self, direction: Vec3) -> f32 {
        let ahead = dot(direction, self.towards);
        if ahead <= 0.05 {
            return 0.0;
        }
        let side =
            |offset: f32, half: f32| smooth_step(half + self.edge, half - self.edge, (offset / ahead).abs());
        side(dot(direction, self.across), self.half[0]) * side(dot(direction, self.upwards), self.half[1])
    }
}

/// A soft light reduced to what its shadow needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct ShadowLight {
    /// Unit direction towards the light.
    pub towards: Vec3,
    /// Tangent of its angular radius: how fast a shadow's edge softens with height.
    pub spread: f32,
    /// Its share of the light that reaches the open plate, 0 to 1.
    pub share: f32,
}

/// The studio's light as tables over directions.
pub(super) struct Light {
    mirror: Table,
    matt: Table,
    /// The soft boxes as casters of shadows.
    pub shadow_lights: [ShadowLight; 2],
}

impl Light {
    /// Sets up the demo studio's light.
    pub fn studio() -> Self {
        let boxes = [
            SoftBox::new([-0.82, -0.52, 0.42], [0.30, 0.86], 0.045, [9.4, 9.2, 8.8]),
            SoftBox::new([0.96, -0.26, 0.30], [0.13, 0.80], 0.045, [5.2, 5.3, 5.5]),
        ];
        let mut mirror = Table::fill(MIRROR_SIDE, |d| surroundings(&boxes, d));
        // Integrate over a coarser set of directions; each stands for its share of the sphere.
        let rings = 48;
        let mut directions = Vec::new();
        for ring in 0..rings {
            let z = 1.0 - (ring as f32 + 0.5) * 2.0 / rings as f32;
            let radius = (1.0 - z * z).sqrt();
            for spoke in 0..2 * rings {
                let turn = (spoke as f32 + 0.5) * PI / rings as f32;
                let d = [radius * turn.cos(), radius * turn.sin(), z];
                directions.push((d, surroundings(&boxes, d)));
            }
        }
        let solid_angle = 4.0 * PI / directions.len() as f32;
        let gather = |n: Vec3, of: &dyn Fn(Vec3, Vec3) -> Vec3| {
            let mut sum = [0.0; 3];
            for &(d, radiance) in &directions {
                let cosine = dot(n, d);
                if cosine > 0.0 {
                    let part = of(d, radiance);
                    for c in 0..3 {
                        sum[c] += part[c] * cosine * solid_angle / PI;
                    }
                }
            }
            sum
        };
        let mut matt = Table::fill(MATT_SIDE, |n| gather(n, &|_, radiance| radiance));
        let up = [0.0, 0.0, 1.0];
        let open = gather(up, &|_, radiance| radiance);
        let mut shadow_lights = [ShadowLight { towards: up, spread: 0.3, share: 0.0 }; 2];
        for (shadow, soft_box) in shadow_lights.iter_mut().zip(&boxes) {
            let part = gather(up, &|d, _| {
                let s = soft_box.strength(d);
                [s * soft_box.radiance[0], s * soft_box.radiance[1], s * soft_box.radiance[2]]
            });
            // Where its light comes from on the whole, as the plate receives it.
            let from = gather(up, &|d, _| d.map(|v| v * soft_box.strength(d)));
            *shadow = ShadowLight {
                towards: normalise(from),
                spread: (soft_box.half[0] * soft_box.half[1]).sqrt() * 0.9,
                share: part[1] / open[1],
            };
        }
        // White-balanced and exposed on the plate, as a photographer would.
        let gain = [0, 1, 2].map(|c| PLATE_LEVEL / (PLATE_ALBEDO * open[c]));
        mirror.scale(gain);
        matt.scale(gain);
        Self { mirror, matt, shadow_lights }
    }

    /// Returns what a mirror shows in a unit direction, as linear radiance.
    pub fn seen(&self, direction: Vec3) -> Vec3 {
        self.mirror.look_up(direction)
    }

    /// Returns what a matt white surface with a unit normal sends back, as linear radiance.
    pub fn received(&self, normal: Vec3) -> Vec3 {
        self.matt.look_up(normal)
    }
}

/// Radiance of the room by direction, before it is exposed.
fn surroundings(boxes: &[SoftBox], d: Vec3) -> Vec3 {
    let away = d[1];
    // White sweep behind, dark room on the camera's side, pale ceiling.
    let level = 0.16 + 0.52 * smooth_step(-0.45, 0.75, away);
    let ceiling = 0.50 * smooth_step(0.35, 0.95, d[2]);
    let room = level + ceiling;
    let white_table = 0.74 + 0.16 * away;
    let table = smooth_step(0.06, -0.10, d[2]);
    let base = room + (white_table - room) * table;
    let mut sum = [base * 0.985, base * 0.995, base * 1.02];
    for soft_box in boxes {
        let s = soft_box.strength(d);
        for (total, part) in sum.iter_mut().zip(soft_box.radiance) {
            *total += s * part;
        }
    }
    sum
}

/// Values over all directions, on a square folded into an octahedron. Grid points lie on the
/// folds themselves, so that looking up across a fold is continuous.
struct Table {
    side: usize,
    values: Vec<[f32; 4]>,
}

impl Table {
    fn fill(side: usize, of: impl Fn(Vec3) -> Vec3) -> Self {
        let mut values = Vec::with_capacity(side * side);
        for row in 0..side {
            for column in 0..side {
                let place = |i: usize| i as f32 * 2.0 / (side - 1) as f32 - 1.0;
                let [r, g, b] = of(unfold(place(column), place(row)));
                values.push([r, g, b, 0.0]);
            }
        }
        Self { side, values }
    }

    fn scale(&mut self, gain: Vec3) {
        for value in &mut self.values {
            for c in 0..3 {
                value[c] *= gain[c];
            }
        }
    }

    #[inline]
    fn look_up(&self, d: Vec3) -> Vec3 {
        let norm = 1.0 / (d[0].abs() + d[1].abs() + d[2].abs()).max(1e-9);
        let (mut u, mut v) = (d[0] * norm, d[1] * norm);
        if d[2] < 0.0 {
            (u, v) = ((1.0 - v.abs()).copysign(u), (1.0 - u.abs()).copysign(v));
        }
        let top = (self.side - 2) as f32;
        let scale = (self.side - 1) as f32 * 0.5;
        let (x, y) = ((u + 1.0) * scale, (v + 1.0) * scale);
        let (column, row) = (x.min(top).max(0.0) as u32, y.min(top).max(0.0) as u32);
        let (fx, fy) = (x - column as f32, y - row as f32);
        let at = row as usize * self.side + column as usize;
        let near = between(&self.values[at], &self.values[at + 1], fx);
        let far = between(&self.values[at + self.side], &self.values[at + self.side + 1], fx);
        let [red, green, blue, _] = between(&near, &far, fy);
        [red, green, blue]
    }
}

/// Blends two colours; four lanes, so that the compiler keeps them in one register.
#[inline]
pub(super) fn between(a: &[f32; 4], b: &[f32; 4], share: f32) -> [f32; 4] {
    let mut out = [0.0; 4];
    for i in 0..4 {
        out[i] = a[i] + (b[i] - a[i]) * share;
    }
    out
}

fn unfold(u: f32, v: f32) -> Vec3 {
    let z = 1.0 - u.abs() - v.abs();
    if z >= 0.0 {
        normalise([u, v, z])
    } else {
        normalise([(1.0 - v.abs()).copysign(u), (1.0 - u.abs()).copysign(v), z])
    }
}

/// Rises smoothly from 0 at `from` to 1 at `to`; `from` may be the larger.
#[inline]
pub(super) fn smooth_step(from: f32, to: f32, x: f32) -> f32 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[inline]
pub(super) fn dot(a: Vec3, b: Vec3) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline]
pub(super) fn cross(a: Vec3, b: Vec3) -> Vec3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[inline]
pub(super) fn normalise(a: Vec3) -> Vec3 {
    let scale = 1.0 / dot(a, a).sqrt().max(1e-12);
    [a[0] * scale, a[1] * scale, a[2] * scale]
}
