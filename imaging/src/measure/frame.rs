//! What one frame shows, measured on one reduced decoding of its file.

use super::backdrop::{Backdrop, middle};
use super::lookalike::Signature;
use super::outline::{self, Outline, Small};
use super::sharpness::{EdgeSoftness, edge_softness};
use super::{MEASURING_EDGE_PX, Plane};
use crate::decode::{self, DecodeError, Decoded};
use crate::srgb;

/// Width the small picture aims at, in pixels.
const SMALL_WIDTH: usize = 375;
/// Share of the frame's width or height that must hold an object.
const MIN_OBJECT_SIDE: f32 = 0.02;

/// What one frame shows. Small enough to keep for every frame of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameFacts {
    /// Width and height of the whole frame in pixels, upright.
    pub full_size_px: (u32, u32),
    /// Whole-frame pixels to one measured pixel.
    pub full_per_measured: f64,
    /// What was wrong with the file, if not all of it could be read.
    pub damaged: Option<String>,
    /// Whether the file carries an ICC profile.
    pub has_profile: bool,
    /// Tells files of the same bytes.
    pub digest: u64,
    /// The background.
    pub backdrop: Backdrop,
    /// The object, when one stands out from the background.
    pub object: Option<ObjectFacts>,
    /// Share of the frame with a channel at its upper end, in per cent.
    pub clipped_high_percent: f32,
    /// Share of the frame where all channels are at their lower end, in per cent.
    pub clipped_low_percent: f32,
    /// Spread of brightness over the whole frame in 8-bit codes; near 0 for a covered lens.
    pub spread_codes: f32,
    /// Mean luminance of the whole frame in linear light, 0 to 1.
    pub mean_light: f32,
    /// To compare with other frames.
    pub signature: Signature,
}

/// What is seen of the object in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct ObjectFacts {
    /// Left, top, right and bottom of its outline in whole-frame pixels.
    pub box_px: [f64; 4],
    /// Width of edges on it, as Gaussian variances in whole-frame px²; `None` where it has none.
    pub softness: Option<EdgeSoftness>,
    /// Mean red, green and blue inside the outline, linear light.
    pub mean: [f32; 3],
    /// Share of the object with a channel at its upper end, in per cent.
    pub clipped_high_percent: f32,
    /// Share of the object where all channels are at their lower end, in per cent.
    pub clipped_low_percent: f32,
}

/// A measured frame: its facts and what the measurements over a whole set need of its pixels.
#[derive(Debug, Clone)]
pub struct Measured {
    /// What the frame shows.
    pub facts: FrameFacts,
    pub(crate) view: View,
}

/// The object's surroundings in luma, and its outline, in measured pixels.
#[derive(Debug, Clone, Default)]
pub(crate) struct View {
    pub(super) outline: Outline,
    /// Luma cut to the object's box and some room about it.
    pub(super) luma: Option<Plane>,
    /// The cut's colour differences (Cb and Cr as JPEG codes them) at half its size.
    pub(super) chroma: Option<[Plane; 2]>,
    /// Where that cut stands in the measured picture.
    pub(super) origin: (usize, usize),
    /// Size of the measured picture.
    pub(super) size: (usize, usize),
    /// Variance of the grain in luma.
    pub(super) noise: f32,
}

/// Decodes a file reduced and measures what it shows.
pub fn measure(bytes: &[u8]) -> Result<Measured, DecodeError> {
    Ok(measure_decoded(bytes, &decode::measuring(bytes, MEASURING_EDGE_PX)?))
}

/// Measures what a frame shows that is decoded already, by [`decode::measuring`] at [`MEASURING_EDGE_PX`].
pub fn measure_decoded(bytes: &[u8], decoded: &Decoded) -> Measured {
    let (width, height) = (decoded.picture.width_px() as usize, decoded.picture.height_px() as usize);
    let rgb = decoded.picture.rgb();
    let luma = Plane::luma(rgb, width, height);
    let small = shrink(rgb, width, height);
    let backdrop = Backdrop::fit(&small.coded, &small.linear, small.width, small.height);
    let outline = outline::find(rgb, width, height, &small, &backdrop);
    let scale = f64::from(decoded.full_size_px.0) / width as f64;
    let bounds = outline.bounds().filter(|b| {
        (b.2 - b.0) as f32 > MIN_OBJECT_SIDE * width as f32
            && (b.3 - b.1) as f32 > MIN_OBJECT_SIDE * height as f32
    });
    let noise = noise_variance(&luma);
    let object = bounds.map(|b| object_facts(&luma, &small, &outline, b, noise, scale));
    let small_luma = small_plane(&small);
    let s = small.block;
    let small_bounds =
        bounds.map(|b| (b.0 / s, b.1 / s, (b.2 / s + 1).min(small.width), (b.3 / s + 1).min(small.height)));
    let (high, low) = clipped(&small, 0..small.coded.len());
    let spread = spread_codes(&small_luma);
    let mean_light = small.linear.iter().map(|p| 0.2126 * p[0] + 0.7152 * p[1] + 0.0722 * p[2]).sum::<f32>()
        / small.linear.len().max(1) as f32;
    let view = cut_view(rgb, &luma, outline, bounds, noise);
    let facts = FrameFacts {
        full_size_px: decoded.full_size_px,
        full_per_measured: scale,
        damaged: decoded.damaged.clone(),
        has_profile: decoded.icc_profile.is_some(),
        digest: digest(bytes),
        backdrop,
        object,
        clipped_high_percent: high,
        clipped_low_percent: low,
        spread_codes: spread,
        mean_light,
        signature: Signature::of(&luma, small_luma, small_bounds, noise, small.block),
    };
    Measured { facts, view }
}

fn cut_view(
    rgb: &[u8],
    luma: &Plane,
    outline: Outline,
    bounds: Option<(usize, usize, usize, usize)>,
    noise: f32,
) -> View {
    const ROOM: usize = 24;
    let size = (luma.width, luma.height);
    let Some((l, t, r, b)) = bounds else { return View { size, noise, ..View::default() } };
    let (x, y) = (l.saturating_sub(ROOM), t.saturating_sub(ROOM));
    let cut = luma.crop(x, y, r + ROOM - x, b + ROOM - y);
    let chroma = Some(chroma_of(rgb, luma.width, x, y, &cut));
    View { outline, luma: Some(cut), chroma, origin: (x, y), size, noise }
}

/// Takes Cb and Cr of a cut at half its size.
fn chroma_of(rgb: &[u8], width: usize, x: usize, y: usize, cut: &Plane) -> [Plane; 2] {
    let (w, h) = (cut.width / 2, cut.height / 2);
    let mut planes = [Vec::with_capacity(w * h), Vec::with_capacity(w * h)];
    for j in 0..h {
        for i in 0..w {
            let mut sum = [0_i32; 3];
            for row in 0..2 {
                let at = ((y + 2 * j + row) * width + x + 2 * i) * 3;
                for p in rgb[at..at + 6].chunks_exact(3) {
                    for c in 0..3 {
                        sum[c] += i32::from(p[c]);
                    }
                }
            }
            let [r, g, b] = sum;
            // ITU-R BT.601, as in JPEG; sums of four pixels.
            let cb = (-43 * r - 85 * g + 128 * b) / 1024 + 128;
            let cr = (128 * r - 107 * g - 21 * b) / 1024 + 128;
            planes[0].push(cb.clamp(0, 255) as u8);
            planes[1].push(cr.clamp(0, 255) as u8);
        }
    }
    planes.map(|data| Plane { width: w, height: h, data })
}

/// A quick digest of bytes: tells copies of one file from others, and is no safeguard against forgery.
fn digest(bytes: &[u8]) -> u64 {
    const ODD: u64 = 0x9E37_79B9_7F4A_7C15;
    let mix = |state: u64, word: u64| (state ^ word).wrapping_mul(ODD).rotate_left(29);
    let word = |bytes: &[u8]| bytes.try_into().map_or(0, u64::from_le_bytes);
    // Four at a time: each has to wait for itself alone.
    let mut states = [1, 2, 3, 4].map(|i| ODD.wrapping_mul(i));
    let blocks = bytes.chunks_exact(32);
    let tail = blocks.remainder();
    for block in blocks {
        for (state, bytes) in states.iter_mut().zip(block.chunks_exact(8)) {
            *state = mix(*state, word(bytes));
        }
    }
    let whole = states.into_iter().fold(bytes.len() as u64 ^ ODD, mix);
    tail.iter().fold(whole, |state, &byte| mix(state, u64::from(byte)))
}

/// Averages blocks, in codes and in linear light.
fn shrink(rgb: &[u8], width: usize, height: usize) -> Small {
    let block = ((width as f32 / SMALL_WIDTH as f32).round() as usize).max(1).min(width.min(height));
    let (w, h) = ((width / block).max(1), (height / block).max(1));
    let n = (block * block) as f32;
    let mut coded = Vec::with_capacity(w * h);
    let mut sums = vec![[0_u32; 3]; w];
    for y in 0..h {
        sums.fill([0; 3]);
        for row in y * block..(y + 1) * block {
            let line = &rgb[row * width * 3..(row + 1) * width * 3];
            for (sum, cell) in sums.iter_mut().zip(line.chunks_exact(block * 3)) {
                for p in cell.chunks_exact(3) {
                    for c in 0..3 {
                        sum[c] += u32::from(p[c]);
                    }
                }
            }
        }
        coded.extend(sums.iter().map(|s| s.map(|v| v as f32 / n)));
    }
    // Light of the mean code: within a block of an even background the same as the mean light, and
    // sixteen times fewer look-ups.
    let table = srgb::linear_of_code();
    let light = |code: f32| {
        let low = (code as usize).min(254);
        table[low] + (table[low + 1] - table[low]) * (code - low as f32)
    };
    let linear = coded.iter().map(|p| p.map(light)).collect();
    Small { width: w, height: h, block, coded, linear }
}

fn small_plane(small: &Small) -> Plane {
    let data =
        small.coded.iter().map(|p| (0.299 * p[0] + 0.587 * p[1] + 0.114 * p[2]).round() as u8).collect();
    Plane { width: small.width, height: small.height, data }
}

/// Returns the codes between the darkest and the brightest fiftieth of a picture.
fn spread_codes(plane: &Plane) -> f32 {
    let mut counts = [0_usize; 256];
    for &v in &plane.data {
        counts[usize::from(v)] += 1;
    }
    let at = |share: usize| {
        let goal = plane.data.len() * share / 100;
        let mut sum = 0;
        counts
            .iter()
            .position(|&n| {
                sum += n;
                sum > goal
            })
            .unwrap_or(255)
    };
    at(98) as f32 - at(2) as f32
}

/// Returns shares in per cent: a channel at 252 or above, all channels at 3 or below.
fn clipped(small: &Small, places: impl Iterator<Item = usize>) -> (f32, f32) {
    let (mut high, mut low, mut all) = (0_u32, 0_u32, 0_u32);
    for i in places {
        let p = small.coded[i];
        all += 1;
        high += u32::from(p.iter().any(|&v| v >= 252.0));
        low += u32::from(p.iter().all(|&v| v <= 3.0));
    }
    let share = |n: u32| 100.0 * n as f32 / all.max(1) as f32;
    (share(high), share(low))
}

fn object_facts(
    luma: &Plane,
    small: &Small,
    outline: &Outline,
    bounds: (usize, usize, usize, usize),
    noise: f32,
    scale: f64,
) -> ObjectFacts {
    let (l, t, r, b) = bounds;
    let around = (l.saturating_sub(8), t.saturating_sub(8), r + 8, b + 8);
    let square = (scale * scale) as f32;
    let softness = edge_softness(luma, around, noise).map(|s| EdgeSoftness {
        across_px2: s.across_px2 * square,
        upright_px2: s.upright_px2 * square,
        ..s
    });
    let block = small.block as f32;
    let inside: Vec<usize> = outline
        .edges()
        .filter(|(y, ..)| ((*y as usize) % small.block) == small.block / 2)
        .flat_map(|(y, left, right)| {
            let row = ((y / block) as usize).min(small.height - 1);
            let (a, z) = ((left / block) as usize + 1, (right / block) as usize);
            (a..z.min(small.width)).map(move |x| row * small.width + x)
        })
        .collect();
    let mut mean = [0.0; 3];
    for &i in &inside {
        for (sum, v) in mean.iter_mut().zip(small.linear[i]) {
            *sum += v / inside.len() as f32;
        }
    }
    let (high, low) = clipped(small, inside.iter().copied());
    ObjectFacts {
        box_px: [l as f64 * scale, t as f64 * scale, r as f64 * scale, b as f64 * scale],
        softness,
        mean,
        clipped_high_percent: high,
        clipped_low_percent: low,
    }
}

/// Variance of the grain in luma, from the quieter half of small patches over the frame.
fn noise_variance(luma: &Plane) -> f32 {
    let mut found = Vec::new();
    for j in 0..12 {
        for i in 0..16 {
            let (x, y) = (luma.width * i / 16, luma.height * j / 12);
            if x + 10 > luma.width || y + 10 > luma.height {
                continue;
            }
            // Differences of pixels two apart, in both directions: slopes cancel in the mean.
            let mut sum = 0.0;
            for dy in 0..8 {
                let row = luma.row(y + dy);
                for dx in 0..8 {
                    let d = f32::from(row[x + dx + 2]) - 2.0 * f32::from(row[x + dx + 1])
                        + f32::from(row[x + dx]);
                    sum += d * d;
                }
            }
            found.push(sum / 64.0 / 6.0);
        }
    }
    middle(&mut found)
}
