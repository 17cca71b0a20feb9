//! What helps the eye to judge a picture: how its tones lie, where it is sharp, how two frames differ.

use crate::picture::{Picture, PictureError};

/// How many pixels hold each coded value, and how many are at the ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Tones {
    /// Pixels at each luma value (ITU-R BT.601 weights on coded values), 0 to 255.
    pub luma: [u32; 256],
    /// Share of pixels with a channel at 254 or above, per cent: nothing more to be told apart there.
    pub clipped_high_percent: f64,
    /// Share of pixels with all channels at 1 or below, per cent.
    pub clipped_low_percent: f64,
}

impl Tones {
    /// Counts a picture's tones.
    pub fn of(picture: &Picture) -> Self {
        let mut luma = [0u32; 256];
        let (mut high, mut low) = (0u64, 0u64);
        for pixel in picture.rgb().as_chunks::<3>().0 {
            luma[usize::from(luma_of(*pixel))] += 1;
            high += u64::from(pixel.iter().any(|value| *value >= 254));
            low += u64::from(pixel.iter().all(|value| *value <= 1));
        }
        let all = u64::from(picture.width_px()) * u64::from(picture.height_px());
        let percent = |count: u64| 100.0 * count as f64 / all as f64;
        Self { luma, clipped_high_percent: percent(high), clipped_low_percent: percent(low) }
    }
}

/// Luma of coded values, ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B, in 1/256 parts.
fn luma_of([red, green, blue]: [u8; 3]) -> u8 {
    ((77 * u32::from(red) + 150 * u32::from(green) + 29 * u32::from(blue) + 128) >> 8) as u8
}

/// The least local contrast that counts as an edge, coded values.
const EDGE_LEAST: i32 = 24;
/// The least share of an edge's rise over four pixels that must fall between the middle two to count as sharp.
const RISE_SHARE_PERCENT: i32 = 45;

/// Paints sharp edges over a picture seen at one pixel a pixel, in a black and white check that shows on
/// every colour.
///
/// An edge is sharp where enough of the rise over four pixels falls between the middle two; so a strong soft edge is
/// not painted, and a weak sharp one is. (Our own measure: of a step blurred by a Gaussian the share is
/// erf(1/(2√2 σ)) / erf(3/(2√2 σ)), 68 % for σ = 0.5 px, 52 % for 0.75, 44 % for 1 and 38 % for 1.5. A camera's own sharp
/// edges have some 0.5 to 0.8 px; common practice, no source.)
#[must_use]
pub fn with_sharp_edges(picture: &Picture) -> Picture {
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    let luma: Vec<i32> =
        picture.rgb().as_chunks::<3>().0.iter().map(|pixel| i32::from(luma_of(*pixel))).collect();
    let mut rgb = picture.rgb().to_vec();
    let sharp_along = |at: usize, step: usize| {
        let [a, b, c, d] = [luma[at - step], luma[at], luma[at + step], luma[at + 2 * step]];
        let whole = (d - a).abs();
        whole >= EDGE_LEAST && (c - b).abs() * 100 >= whole * RISE_SHARE_PERCENT
    };
    for y in 0..height {
        for x in 0..width {
            let at = y * width + x;
            let across = (1..width.saturating_sub(2)).contains(&x) && sharp_along(at, 1);
            let down = (1..height.saturating_sub(2)).contains(&y) && sharp_along(at, width);
            // Both pixels of the pair, or fine edges are hardly seen.
            for (is_sharp, to) in [(across, [x + 1, y]), (down, [x, y + 1])] {
                for [x, y] in [[x, y], to].into_iter().filter(|_| is_sharp) {
                    let at = 3 * (y * width + x);
                    rgb[at..at + 3].fill(if (x / 2 + y / 2) % 2 == 0 { 255 } else { 0 });
                }
            }
        }
    }
    Picture::from_rgb(picture.width_px(), picture.height_px(), rgb).unwrap_or_else(|_| picture.clone())
}

/// Shows how two pictures differ: middle grey where they are alike, lighter or darker by twice the
/// difference of each channel; the second is brought to the size of the first.
///
/// # Errors
/// When the second cannot be resized.
pub fn difference(first: &Picture, second: Picture) -> Result<Picture, PictureError> {
    let second = second.resized(first.width_px(), first.height_px())?;
    let apart =
        |(one, other): (&u8, &u8)| (128 + 2 * (i32::from(*one) - i32::from(*other))).clamp(0, 255) as u8;
    let rgb = first.rgb().iter().zip(second.rgb()).map(apart).collect();
    Picture::from_rgb(first.width_px(), first.height_px(), rgb)
}

/// Cuts out at most `width_px` × `height_px` around a centre given as shares of the picture's sides, 0 to
/// 1; near an edge the part is moved inwards rather than made smaller. Also gives the part's upper left corner.
pub fn part(picture: &Picture, centre: [f32; 2], width_px: u32, height_px: u32) -> (Picture, [u32; 2]) {
    let side = |whole: u32, wanted: u32, share: f32| {
        let length = wanted.clamp(1, whole);
        let middle = (share.clamp(0.0, 1.0) * whole as f32) as i64;
        let start = (middle - i64::from(length) / 2).clamp(0, i64::from(whole - length)) as u32;
        (start, length)
    };
    let (left, width) = side(picture.width_px(), width_px, centre[0]);
    let (top, height) = side(picture.height_px(), height_px, centre[1]);
    let stride = picture.width_px() as usize * 3;
    let rows = picture.rgb().chunks_exact(stride).skip(top as usize).take(height as usize);
    let rgb = rows.flat_map(|row| &row[left as usize * 3..(left + width) as usize * 3]).copied().collect();
    let part = Picture::from_rgb(width, height, rgb).unwrap_or_else(|_| picture.clone());
    (part, [left, top])
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn grey(width_px: u32, height_px: u32, value: impl Fn(u32, u32) -> u8) -> Picture {
        let rgb = (0..height_px)
            .flat_map(|y| (0..width_px).map(move |x| (x, y)))
            .flat_map(|(x, y)| [value(x, y); 3]);
        Picture::from_rgb(width_px, height_px, rgb.collect()).unwrap()
    }

    #[test]
    fn tones_are_counted() {
        let picture = grey(10, 10, |x, _| match x {
            0..3 => 255,
            3 => 0,
            _ => 128,
        });
        let tones = Tones::of(&picture);
        assert_eq!((tones.luma[255], tones.luma[0], tones.luma[128]), (30, 10, 60));
        assert!(
            (tones.clipped_high_percent - 30.0).abs() < 1e-9
                && (tones.clipped_low_percent - 10.0).abs() < 1e-9
        );
        // ITU-R BT.601: the luma of pure red, green, blue is 0.299, 0.587, 0.114 of white.
        for (pixel, share) in [([255, 0, 0], 0.299), ([0, 255, 0], 0.587), ([0, 0, 255], 0.114)] {
            assert!((f64::from(luma_of(pixel)) - 255.0 * share).abs() <= 1.0);
        }
    }

    /// A step from 60 to 190 at column 20, blurred by a Gaussian of `sigma_px` (error function by its
    /// definition as an integral).
    fn edge(sigma_px: f64) -> Picture {
        let share = |x: f64| {
            let parts = 4000;
            let width = 12.0 * sigma_px / f64::from(parts);
            let density =
                |t: f64| (-0.5 * (t / sigma_px).powi(2)).exp() / (sigma_px * (std::f64::consts::TAU).sqrt());
            (0..parts)
                .map(|part| -6.0 * sigma_px + (f64::from(part) + 0.5) * width)
                .take_while(|t| *t < x)
                .map(|t| density(t) * width)
                .sum::<f64>()
        };
        let columns: Vec<u8> = (0..40).map(|x| (60.0 + 130.0 * share(f64::from(x) - 19.5)) as u8).collect();
        grey(40, 20, |x, _| columns[x as usize])
    }

    #[test]
    fn sharp_edges_are_painted_and_soft_ones_are_not() {
        let painted = |picture: &Picture| {
            let shown = with_sharp_edges(picture);
            picture.rgb().iter().zip(shown.rgb()).filter(|(one, other)| one != other).count()
        };
        // A Gaussian of σ = 0.98 px has the share that is asked for.
        for (sigma_px, is_sharp) in [(0.4, true), (0.75, true), (0.9, true), (1.1, false), (1.5, false)] {
            assert_eq!(painted(&edge(sigma_px)) > 0, is_sharp, "{sigma_px}");
        }
        assert_eq!(painted(&grey(40, 20, |x, y| 100 + ((x * 7 + y * 3) % 9) as u8)), 0, "weak texture");
        for (width, height) in [(1, 1), (2, 40), (40, 2), (3, 3)] {
            assert_eq!(painted(&grey(width, height, |_, _| 90)), 0);
        }
    }

    #[test]
    fn a_difference_is_grey_where_frames_are_alike() {
        let one = grey(8, 4, |x, _| x as u8 * 20);
        assert!(difference(&one, one.clone()).unwrap().rgb().iter().all(|value| *value == 128));
        let other = grey(8, 4, |x, _| x as u8 * 20 + 10);
        assert!(difference(&one, other).unwrap().rgb().iter().all(|value| *value == 108));
        assert_eq!(difference(&one, grey(16, 8, |_, _| 0)).unwrap().width_px(), 8);
    }

    #[test]
    fn a_part_stays_inside() {
        let picture = grey(100, 60, |x, y| (x + y) as u8);
        let (middle, corner) = part(&picture, [0.5, 0.5], 20, 10);
        assert_eq!((middle.width_px(), middle.height_px(), corner), (20, 10, [40, 25]));
        assert_eq!(middle.pixel(0, 0), picture.pixel(40, 25));
        let (edge, corner) = part(&picture, [1.0, 0.0], 20, 10);
        assert_eq!((corner, edge.pixel(19, 0)), ([80, 0], picture.pixel(99, 0)));
        assert_eq!(part(&picture, [0.2, 0.9], 500, 500).0, picture);
        assert_eq!(part(&picture, [f32::NAN, 0.5], 5, 5).1, [0, 28]);
    }
}
