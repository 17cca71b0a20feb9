//! The decoration of Larkhollow Pottery (demo data): brushwork that never repeats round the
//! turn.

use super::light::{Vec3, smooth_step};
use super::mesh::smooth_curve;
use super::random::{Stream, scramble};
use super::texture::{Canvas, Texture};
use std::f32::consts::TAU;

// Glazes and pigments, linear reflectance.
pub(super) const CREAM: Vec3 = [0.74, 0.665, 0.54];
pub(super) const COBALT: Vec3 = [0.022, 0.060, 0.215];
pub(super) const RIM_BROWN: Vec3 = [0.23, 0.115, 0.055];
pub(super) const CELADON: Vec3 = [0.40, 0.53, 0.43];
pub(super) const CELADON_DEEP: Vec3 = [0.13, 0.25, 0.20];
pub(super) const OATMEAL: Vec3 = [0.60, 0.51, 0.385];
pub(super) const MIST: Vec3 = [0.17, 0.27, 0.33];
const PALE_BLUE: Vec3 = [0.12, 0.245, 0.47];
const LEAF_GREEN: Vec3 = [0.085, 0.185, 0.085];
const SAGE: Vec3 = [0.23, 0.34, 0.20];
const OCHRE: Vec3 = [0.56, 0.285, 0.055];
const RUST: Vec3 = [0.40, 0.080, 0.035];
const IRON: Vec3 = [0.11, 0.062, 0.038];
const COPPER_RED: Vec3 = [0.30, 0.045, 0.040];
const NIGHT: Vec3 = [0.035, 0.062, 0.105];

/// Smooth noise from −1 to 1 that closes round the turn; `cells` cells go round.
fn mottle(seed: u64, canvas_round_mm: f32, cells: u32, u: f32, v: f32) -> f32 {
    let size = canvas_round_mm / cells as f32;
    let (x, y) = (u / size, v / size + 64.0);
    let (column, row) = (x.floor(), y.floor());
    let (fx, fy) = (smooth_step(0.0, 1.0, x - column), smooth_step(0.0, 1.0, y - row));
    let corner = |dx: u32, dy: u32| {
        let cx = (column as i64 + i64::from(dx)).rem_euclid(i64::from(cells)) as u64;
        let cy = row as u64 + u64::from(dy);
        let bits = scramble(seed ^ (cx << 32) ^ cy);
        (bits >> 40) as f32 / (1_u64 << 23) as f32 - 1.0
    };
    let near = corner(0, 0) + (corner(1, 0) - corner(0, 0)) * fx;
    let far = corner(0, 1) + (corner(1, 1) - corner(0, 1)) * fx;
    near + (far - near) * fy
}

/// Lets the glaze vary a little, and sprinkles iron specks through it.
fn fire_ground(canvas: &mut Canvas, seed: u64, tone: Vec3, specks: usize) {
    let round = canvas.round_mm();
    canvas.wash(tone, 0.0..f32::MAX, |u, v| {
        let broad = mottle(seed, round, 9, u, v);
        let fine = mottle(seed + 1, round, 61, u, v);
        (0.13 + 0.09 * broad + 0.06 * fine).clamp(0.0, 1.0)
    });
    let mut draw = Stream::new(seed);
    let high = canvas.height as f32 / canvas.dots_per_mm;
    for _ in 0..specks {
        let (u, v) = (draw.between(0.0, round), draw.between(0.0, high));
        let size = 0.10 + 0.42 * draw.unit().powi(4);
        let load = draw.between(0.25, 0.8);
        let tilt = draw.between(-0.12, 0.12);
        canvas.stroke(&[[u, v, size], [u + 0.1, v + tilt, size * 0.8]], IRON, load);
    }
}

/// Paints one leaf: a stroke that swells and ends in a point, with its midrib scratched in.
fn leaf(canvas: &mut Canvas, at: [f32; 2], angle: f32, length: f32, wide: f32, colour: Vec3) {
    let (sin, cos) = angle.sin_cos();
    let bend = 0.18 * length;
    let place = |t: f32, half: f32| {
        let side = bend * t * t;
        [at[0] + cos * length * t - sin * side, at[1] + sin * length * t + cos * side, half]
    };
    let path: Vec<_> = (0..=8)
        .map(|i| {
            let t = i as f32 / 8.0;
            place(t, (wide * (t * 3.0).min(1.0) * (1.0 - t).powf(0.65) * 1.25).max(0.12))
        })
        .collect();
    canvas.stroke(&path, colour, 0.94);
    canvas.stroke(&[place(0.12, 0.13), place(0.5, 0.16), place(0.82, 0.1)], CREAM, 0.5);
}

fn berries(canvas: &mut Canvas, draw: &mut Stream, at: [f32; 2], count: usize, colour: Vec3) {
    for _ in 0..count {
        let (u, v) = (at[0] + draw.between(-4.2, 4.2), at[1] + draw.between(-3.4, 3.4));
        let size = draw.between(0.9, 1.55);
        canvas.stroke(&[[u, v, size], [u + 0.15, v, size]], colour, 0.95);
        canvas.stroke(&[[u - 0.35, v + 0.4, 0.2], [u - 0.2, v + 0.45, 0.16]], CREAM, 0.75);
    }
}

/// Paints a lark with brush strokes; `size` 1 is about 26 mm long and `facing` −1 looks left.
fn lark(canvas: &mut Canvas, at: [f32; 2], size: f32, facing: f32, lift: f32, colour: Vec3) {
    let map = |p: &[f32; 3]| [at[0] + facing * size * p[0], at[1] + size * (p[1] + lift * p[0]), size * p[2]];
    let mut brush = |path: &[[f32; 3]], colour: Vec3, load: f32| {
        let curve: Vec<_> = smooth_curve(path, 5).iter().map(|p| map(&[p[0], p[1], p[2].max(0.1)])).collect();
        canvas.stroke(&curve, colour, load);
    };
    // Tail, body and head in one loaded stroke; then the breast, wings, beak and eye.
    brush(
        &[
            [-16.0, -2.2, 0.5],
            [-10.0, -0.6, 1.6],
            [-4.0, 0.4, 3.9],
            [1.5, 1.2, 4.5],
            [6.0, 3.4, 3.4],
            [8.8, 5.4, 2.5],
        ],
        colour,
        0.95,
    );
    brush(&[[-1.0, -2.2, 0.8], [3.0, -1.2, 1.5], [6.0, 1.2, 1.1]], OCHRE, 0.9);
    for (step, reach) in [(0.0, 15.0), (1.8, 12.5), (3.6, 9.5)] {
        brush(
            &[
                [0.5 - step, 2.5, 1.7],
                [-3.5 - step, 8.0 + reach * 0.22, 1.5],
                [-9.0 - step * 1.5, 8.0 + reach * 0.62, 0.3],
            ],
            if step > 1.0 { PALE_BLUE } else { colour },
            0.9,
        );
    }
    brush(&[[10.4, 5.8, 0.75], [13.4, 5.9, 0.15]], OCHRE, 0.95);
    brush(&[[9.2, 6.3, 0.55], [9.4, 6.3, 0.5]], CREAM, 1.0);
    brush(&[[9.3, 6.3, 0.26], [9.4, 6.3, 0.24]], IRON, 1.0);
}

/// The mug's hedgerow: a stem that wanders round the wall, leaves, berries, two larks, a sun.
pub(super) fn mug() -> Texture {
    let round = TAU * 41.3;
    let mut canvas = Canvas::new(2304, round, 97.0, CREAM);
    fire_ground(&mut canvas, 11, [0.60, 0.49, 0.35], 620);
    let mut draw = Stream::new(0x1a_2b);
    let at = |deg: f32| deg.rem_euclid(360.0) / 360.0 * round;

    // Dipped foot with a wavering edge, and bands under the rim.
    let edge = |u: f32, cells: u32, reach: f32| {
        reach * mottle(40, round, cells, u, 7.0) + 0.35 * mottle(41, round, 70, u, 3.0)
    };
    canvas.wash(COBALT, 0.0..13.5, |u, v| 0.985 * smooth_step(0.35, -0.35, v - 10.5 - edge(u, 5, 1.3)));
    canvas.wash(PALE_BLUE, 11.0..18.0, |u, v| {
        let off = (v - 14.4 - edge(u, 5, 1.1)).abs();
        0.8 * smooth_step(0.85, 0.4, off)
    });
    canvas.wash(COBALT, 82.0..89.0, |u, v| {
        let wave = 0.55 * mottle(42, round, 23, u, 1.0);
        0.92 * smooth_step(1.5, 1.1, (v - 85.4 - wave).abs() + 0.3 * mottle(43, round, 90, u, v))
    });
    canvas.wash(OCHRE, 79.0..84.5, |u, v| {
        0.8 * smooth_step(0.75, 0.4, (v - 81.6 - 0.4 * mottle(44, round, 31, u, 1.0)).abs())
    });
    canvas.wash(RIM_BROWN, 90.0..f32::MAX, |u, v| {
        0.9 * smooth_step(92.6, 95.4, v + 1.2 * mottle(45, round, 40, u, 2.0))
    });

    sun(&mut canvas, &mut draw, [at(-128.0), 63.5]);
    hedge(&mut canvas, &mut draw);
    lark(&mut canvas, [at(-74.0), 60.0], 0.98, 1.0, 0.10, COBALT);
    lark(&mut canvas, [at(118.0), 58.0], 0.84, -1.0, 0.34, COBALT);
    canvas.fire()
}

/// Paints a sun with a coiled middle.
fn sun(canvas: &mut Canvas, draw: &mut Stream, middle: [f32; 2]) {
    for ray in 0..15 {
        let angle = ray as f32 / 15.0 * TAU + draw.between(-0.07, 0.07);
        let (sin, cos) = angle.sin_cos();
        let far = draw.between(10.4, 13.2);
        canvas.stroke(
            &[
                [middle[0] + cos * 8.8, middle[1] + sin * 8.8, 0.7],
                [middle[0] + cos * far, middle[1] + sin * far, 0.25],
            ],
            OCHRE,
            0.92,
        );
    }
    let swirl: Vec<_> = (0..=46)
        .map(|i| {
            let t = i as f32 / 46.0;
            let (sin, cos) = (t * TAU * 2.35).sin_cos();
            [middle[0] + cos * 6.6 * t, middle[1] + sin * 6.6 * t, 0.85 - 0.2 * t]
        })
        .collect();
    canvas.stroke(&swirl, OCHRE, 0.95);
}

/// Paints the stem that wanders round the wall, with its leaves and berries.
fn hedge(canvas: &mut Canvas, draw: &mut Stream) {
    let round = canvas.round_mm();
    let at = |deg: f32| deg.rem_euclid(360.0) / 360.0 * round;
    // The stem climbs and dips without a period; leaves sit where it leaves room.
    let stem_height = |deg: f32| {
        let t = deg.to_radians();
        33.0 + 8.5 * (t + 0.6).sin() + 5.0 * (2.0 * t + 2.0).sin() + 2.6 * (5.0 * t).sin()
    };
    let stem: Vec<_> = (0..=240)
        .map(|i| {
            let deg = 16.0 + 328.0 * i as f32 / 240.0;
            [at(deg), stem_height(deg), 0.62 + 0.22 * (i as f32 * 0.35).sin()]
        })
        .collect();
    canvas.stroke(&stem, LEAF_GREEN, 0.95);
    let mut deg = 20.0;
    let mut above = true;
    while deg < 342.0 {
        let root = [at(deg), stem_height(deg)];
        let swing = draw.between(0.55, 1.2);
        let angle = if above { swing } else { -swing };
        let colour = match draw.bits() % 6 {
            0 | 1 => COBALT,
            2 => PALE_BLUE,
            3 | 4 => LEAF_GREEN,
            _ => SAGE,
        };
        let length = draw.between(7.5, 14.5);
        leaf(canvas, root, angle, length, draw.between(1.6, 3.1), colour);
        if draw.unit() < 0.32 {
            let far = if above { 1.0 } else { -1.0 };
            let spot = [root[0] + draw.between(3.0, 7.0), root[1] + far * draw.between(12.0, 17.0)];
            let twig = [(root[0] + spot[0]) * 0.5 + 1.0, (root[1] + spot[1]) * 0.5, 0.3];
            canvas.stroke(&[[root[0], root[1], 0.45], twig, [spot[0], spot[1], 0.25]], LEAF_GREEN, 0.9);
            let count = 3 + (draw.bits() % 4) as usize;
            berries(canvas, draw, spot, count, RUST);
        }
        deg += draw.between(6.5, 11.5);
        above = !above;
    }
}

/// The teapot's copper-red boughs on celadon.
pub(super) fn teapot() -> Texture {
    let round = TAU * 50.0;
    let mut canvas = Canvas::new(2048, round, 97.0, CELADON);
    fire_ground(&mut canvas, 23, CELADON_DEEP, 180);
    let mut draw = Stream::new(77);
    let at = |deg: f32| deg.rem_euclid(360.0) / 360.0 * round;
    // Glaze breaks pale over the edges of gallery and lid, and pools beneath.
    canvas.wash(CELADON_DEEP, 0.0..76.0, |u, v| {
        0.6 * smooth_step(3.2, 0.4, (v - 69.6).abs() + 0.4 * mottle(5, round, 30, u, v))
            + 0.5 * smooth_step(9.0, 1.0, v)
    });
    for (from, climb, lean) in
        [(-150.0, 26.0, 1.0), (-62.0, 18.0, -1.0), (40.0, 30.0, 1.0), (118.0, 15.0, -1.0)]
    {
        let (u0, mut root) = (at(from), [at(from), 14.0 + draw.between(0.0, 7.0)]);
        let steps = 8 + (draw.bits() % 4) as usize;
        for step in 0..steps {
            let t = step as f32 / steps as f32;
            let next = [
                u0 + lean * (34.0 * t + 4.0 * (t * 9.0).sin()) + lean * 4.0,
                root[1] + climb / steps as f32 + draw.between(-0.6, 1.4),
            ];
            canvas.stroke(&[[root[0], root[1], 0.9 - 0.5 * t], [next[0], next[1], 0.8 - 0.5 * t]], IRON, 0.9);
            for _ in 0..=(draw.bits() % 2) {
                let (u, v) = (next[0] + draw.between(-4.0, 4.0), next[1] + draw.between(-4.0, 4.5));
                let petals = 4 + draw.bits() % 2;
                let size = draw.between(1.2, 2.1);
                let turn = draw.between(0.0, TAU);
                for petal in 0..petals {
                    let (sin, cos) = (turn + petal as f32 / petals as f32 * TAU).sin_cos();
                    canvas.stroke(
                        &[
                            [u + cos * size * 0.5, v + sin * size * 0.5, size * 0.45],
                            [u + cos * size * 1.2, v + sin * size * 1.2, size * 0.7],
                        ],
                        COPPER_RED,
                        0.88,
                    );
                }
                canvas.stroke(&[[u, v, 0.5], [u + 0.1, v, 0.5]], OCHRE, 0.95);
            }
            root = next;
        }
    }
    canvas.fire()
}

/// The bowl's slanting dip of night-blue slip with free brushwork above it.
pub(super) fn bowl() -> Texture {
    let round = TAU * 55.0;
    let mut canvas = Canvas::new(2048, round, 63.0, OATMEAL);
    fire_ground(&mut canvas, 31, [0.42, 0.32, 0.21], 900);
    let mut draw = Stream::new(5);
    canvas.wash(NIGHT, 0.0..40.0, |u, v| {
        let turn = u / round * TAU;
        let edge = 25.0
            + 11.0 * (turn - 0.8).sin()
            + 1.4 * mottle(3, round, 14, u, 2.0)
            + 0.5 * mottle(4, round, 70, u, 2.0);
        0.94 * smooth_step(0.5, -0.5, v - edge)
    });
    let mut u = 4.0;
    while u < round - 10.0 {
        let high = draw.between(40.0, 49.0);
        let tall = draw.between(5.0, 12.0);
        let lean = draw.between(1.0, 7.0);
        let wide = draw.between(0.5, 1.5);
        let colour = if draw.unit() < 0.3 { RUST } else { NIGHT };
        canvas.stroke(
            &[[u, high, wide], [u + lean * 0.3, high + tall * 0.5, wide * 0.8], [u + lean, high + tall, 0.2]],
            colour,
            0.9,
        );
        u += draw.between(4.5, 13.0);
    }
    canvas.wash(RIM_BROWN, 56.0..f32::MAX, |u, v| {
        0.7 * smooth_step(58.5, 61.5, v + mottle(9, round, 40, u, 2.0))
    });
    canvas.fire()
}

/// The vase's even glaze: nothing on it tells one side from another.
pub(super) fn vase() -> Texture {
    Canvas::new(64, TAU * 42.0, 134.0, MIST).fire()
}
