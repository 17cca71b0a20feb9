//! A small stage whose truth is known: a glazed jug on a sweep, drawn by sampling each pixel nine times.
//!
//! Demo data; nothing here shares code with what is tested.

use std::io::Cursor;

/// Frame size in pixels.
pub const SIZE: (u32, u32) = (1200, 900);

/// What is wrong with a frame.
#[derive(Clone, Copy)]
pub struct Fault {
    /// How far the axis stands right of the middle at mid height, px.
    pub axis_off_px: f64,
    /// Lean of the axis, top to the right, degrees.
    pub lean_deg: f64,
    /// Stops.
    pub exposure_ev: f64,
    /// Gains of red, green and blue.
    pub cast: [f64; 3],
}

impl Default for Fault {
    fn default() -> Self {
        Self { axis_off_px: 0.0, lean_deg: 0.0, exposure_ev: 0.0, cast: [1.0; 3] }
    }
}

/// A drawn frame: a PNG and the object's true share of each pixel.
pub struct Drawn {
    pub png: Vec<u8>,
    pub truth: Vec<f32>,
}

/// What stands on the stage.
#[derive(Clone, Copy, PartialEq)]
pub enum Thing {
    /// A jug in cream and blue with a handle.
    Jug,
    /// A jug as white as the background.
    White,
    /// A jug of grey stoneware: no colour of its own.
    Grey,
    /// Nothing.
    Empty,
}

/// Half the jug's width at a height above its foot, px; `None` beside it.
fn half_width(height: f64) -> Option<f64> {
    (0.0..=430.0).contains(&height).then(|| {
        let t = height / 430.0;
        105.0 + 60.0 * (std::f64::consts::PI * (t * 0.95 + 0.08)).sin() - 25.0 * t
    })
}

/// Where a place lies: straight coordinates from the foot's middle, right and up.
pub fn on_stage(x: f64, y: f64, fault: &Fault) -> (f64, f64) {
    let (sin, cos) = fault.lean_deg.to_radians().sin_cos();
    let (dx, dy) = (x - (f64::from(SIZE.0) / 2.0 + fault.axis_off_px), y - f64::from(SIZE.1) / 2.0);
    (cos * dx + sin * dy, 230.0 - (cos * dy - sin * dx))
}

/// Colour of the thing at a place, or `None` beside it.
fn thing_at(right: f64, up: f64, turn_deg: f64, thing: Thing) -> Option<[f64; 3]> {
    if thing == Thing::Empty {
        return None;
    }
    let turn = turn_deg.to_radians();
    let body = half_width(up).is_some_and(|half| right.abs() < half);
    // The handle: a ring that swings round with the turn and passes in front and behind.
    let (middle, squeeze) = (140.0 * turn.cos(), turn.cos().abs().max(0.15));
    let d = (((right - middle) / squeeze).powi(2) + ((up - 230.0) / 1.25).powi(2)).sqrt();
    let handle = (62.0..95.0).contains(&d) && (turn.sin() < 0.0 || !body);
    if !body && !handle {
        return None;
    }
    if thing == Thing::White {
        return Some([0.655, 0.655, 0.655]);
    }
    if thing == Thing::Grey {
        let side = if body { right / half_width(up).unwrap_or(1.0) } else { 0.3 };
        return Some([0.20 + 0.04 * side; 3]);
    }
    if handle {
        return Some([0.42, 0.33, 0.20]);
    }
    let side = right / half_width(up).unwrap_or(1.0);
    let shade = 0.55 + 0.45 * (1.0 - side * side).max(0.0).sqrt();
    // A thin painted line as light as the background is still part of the jug.
    if (262.0..268.0).contains(&up) && side.abs() < 0.8 {
        return Some([0.66; 3]);
    }
    let paint = if up < 60.0 {
        [0.05, 0.09, 0.30]
    } else if (300.0..312.0).contains(&up) {
        [0.08, 0.14, 0.40]
    } else {
        [0.58, 0.50, 0.36]
    };
    // A still highlight on the glaze, as bright as the background, close to the edge.
    let gloss =
        0.5 * (-((side - 0.72) / 0.05).powi(2)).exp() * f64::from(u8::from((80.0..380.0).contains(&up)));
    Some(paint.map(|v| v * shade * (1.0 - gloss) + 0.66 * gloss))
}

/// Light of the sweep behind and below, with the thing's soft shadow.
fn ground_at(x: f64, y: f64, right: f64, up: f64, thing: Thing) -> [f64; 3] {
    let (u, v) = (x / f64::from(SIZE.0) - 0.5, y / f64::from(SIZE.1) - 0.5);
    let even = 0.68 * (1.0 - 0.35 * u * u - 0.25 * v * v + 0.08 * v);
    let shadow = if thing == Thing::Empty { 0.0 } else { shadow_at(right, up) };
    [even * (1.0 - shadow); 3]
}

/// How much of the light the shadow takes, 0 to 1.
pub fn shadow_at(right: f64, up: f64) -> f64 {
    let d = ((right - 35.0) / 170.0).powi(2) + ((up + 4.0) / 38.0).powi(2);
    0.62 * (-d).exp()
}

/// Share of the frame's pixels where the shadow takes more than `least`, as a map.
pub fn shadow_map(fault: &Fault, least: f64) -> Vec<bool> {
    (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let (right, up) = on_stage(f64::from(i % SIZE.0) + 0.5, f64::from(i / SIZE.0) + 0.5, fault);
            shadow_at(right, up) > least
        })
        .collect()
}

/// IEC 61966-2-1, written out again so that the tests do not lean on the code they test.
fn coded(linear: f64) -> f64 {
    let v = linear.clamp(0.0, 1.0);
    if v <= 0.003_130_8 { v * 12.92 } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 }
}

/// Draws one frame as 8-bit RGB with the grain of a quiet sensor, and its truth.
pub fn draw_rgb(turn_deg: f64, thing: Thing, fault: &Fault) -> (Vec<u8>, Vec<f32>) {
    let gains = fault.cast.map(|c| c * fault.exposure_ev.exp2());
    let mut rgb = Vec::new();
    let mut truth = Vec::new();
    let mut state = 0x9E37_79B9_7F4A_7C15_u64 ^ turn_deg.to_bits();
    let mut grain = || {
        // The sum of four bytes of xorshift: about normal, σ = 0.9 code.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let sum: u32 = state.to_le_bytes().iter().take(4).map(|b| u32::from(*b)).sum();
        (f64::from(sum) - 510.0) / 148.0 * 0.9
    };
    for row in 0..SIZE.1 {
        for column in 0..SIZE.0 {
            let mut light = [0.0; 3];
            let mut share = 0.0;
            for j in 0..3 {
                for i in 0..3 {
                    let x = f64::from(column) + (f64::from(i) + 0.5) / 3.0;
                    let y = f64::from(row) + (f64::from(j) + 0.5) / 3.0;
                    let (right, up) = on_stage(x, y, fault);
                    let colour = match thing_at(right, up, turn_deg, thing) {
                        Some(colour) => {
                            share += 1.0 / 9.0;
                            colour
                        }
                        None => ground_at(x, y, right, up, thing),
                    };
                    for c in 0..3 {
                        light[c] += colour[c] / 9.0;
                    }
                }
            }
            truth.push(share as f32);
            for c in 0..3 {
                rgb.push((coded(light[c] * gains[c]) * 255.0 + grain()).round().clamp(0.0, 255.0) as u8);
            }
        }
    }
    (rgb, truth)
}

/// Draws one frame as a PNG.
pub fn draw(turn_deg: f64, thing: Thing, fault: &Fault) -> Drawn {
    let (rgb, truth) = draw_rgb(turn_deg, thing, fault);
    Drawn { png: png(&rgb, SIZE), truth }
}

/// Codes RGB bytes as PNG.
pub fn png(rgb: &[u8], size: (u32, u32)) -> Vec<u8> {
    let picture = image::RgbImage::from_raw(size.0, size.1, rgb.to_vec()).unwrap();
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, image::ImageFormat::Png).unwrap();
    out.into_inner()
}
