//! One exposure and one white balance over a set.
//!
//! The table, the backdrop and much of the light on the object are the same in every frame. So each frame
//! is compared, place by place, with the middle picture of the whole set: over the places that did not
//! change, and were neither clipped nor black, the ratio is the frame's error. What turned past does not
//! agree with itself and is left out.

use super::linear::{FULL, LinearPicture};

/// Frames the middle picture is made from, at most.
const MOST_FRAMES: usize = 48;
/// A set whose frames differ by less than this is even already, in stops.
const EVEN_EV: f32 = 0.02;
/// Fewest places a ratio is taken from.
const FEWEST_PLACES: usize = 300;

/// The middle picture of a set, place by place, in linear light 0 to 1.
pub(super) struct Middle {
    width: usize,
    height: usize,
    light: Vec<[f32; 3]>,
}

impl Middle {
    /// Takes the median of each place over the frames; all have one size.
    pub(super) fn of(frames: &[&LinearPicture], gains: &[[f32; 3]]) -> Self {
        let (width, height) =
            frames.first().map_or((0, 0), |f| (f.width_px() as usize, f.height_px() as usize));
        let stride = frames.len().div_ceil(MOST_FRAMES).max(1);
        let picked: Vec<(&&LinearPicture, [f32; 3])> =
            frames.iter().zip(gains.iter().copied()).step_by(stride).collect();
        let mut column = vec![0.0_f32; picked.len()];
        let light = (0..width * height)
            .map(|i| {
                [0, 1, 2].map(|c| {
                    for (value, (frame, gain)) in column.iter_mut().zip(&picked) {
                        *value = f32::from(frame.at(i)[c]) / FULL * gain[c];
                    }
                    median(&mut column)
                })
            })
            .collect();
        Self { width, height, light }
    }
}

/// Finds each frame's gains so that all agree; all 1 for a set that is even already.
///
/// Gains are in linear light and scaled so that the set on the whole keeps its exposure. A frame in which
/// too little can be compared keeps 1 and is named in the second list by its place.
pub(super) fn gains(frames: &[&LinearPicture]) -> (Vec<[f32; 3]>, Vec<usize>) {
    let mut found = vec![[1.0_f32; 3]; frames.len()];
    let mut unknown = Vec::new();
    // The second round's middle picture is made from frames that agree already.
    for _ in 0..2 {
        let middle = Middle::of(frames, &found);
        unknown.clear();
        for (i, frame) in frames.iter().enumerate() {
            match ratio(frame, &middle) {
                Some(gain) => found[i] = gain,
                None => {
                    found[i] = [1.0; 3];
                    unknown.push(i);
                }
            }
        }
        for c in 0..3 {
            let mut column: Vec<f32> = found.iter().map(|g| g[c]).collect();
            let usual = median(&mut column);
            for gain in &mut found {
                gain[c] /= usual;
            }
        }
    }
    for &i in &unknown {
        found[i] = [1.0; 3];
    }
    let farthest = found.iter().flatten().map(|g| g.log2().abs()).fold(0.0, f32::max);
    if farthest < EVEN_EV {
        found.fill([1.0; 3]);
    }
    (found, unknown)
}

/// Ratio of the middle picture to a frame in each channel.
fn ratio(frame: &LinearPicture, middle: &Middle) -> Option<[f32; 3]> {
    let mut gain = [1.0_f32; 3];
    for (c, gain) in gain.iter_mut().enumerate() {
        let collect = |low: f32, high: f32| -> Vec<f32> {
            middle
                .light
                .iter()
                .enumerate()
                .filter_map(|(i, m)| {
                    let value = f32::from(frame.at(i)[c]) / FULL;
                    let good = value > low && value < high && m[c] > low && m[c] < high;
                    good.then(|| (m[c] / value).log2())
                })
                .collect()
        };
        // Near the sensor's end a value says 'at least', near black it is noise.
        let mut logs = collect(0.02, 0.92);
        if logs.len() < FEWEST_PLACES {
            logs = collect(0.004, 0.975);
        }
        if logs.len() < FEWEST_PLACES {
            return None;
        }
        let mut centre = median(&mut logs);
        for width in [0.2_f32, 0.08] {
            let near: Vec<f32> = logs.iter().copied().filter(|v| (v - centre).abs() < width).collect();
            if near.len() * 10 > logs.len() {
                centre = near.iter().sum::<f32>() / near.len() as f32;
            }
        }
        *gain = centre.exp2();
    }
    Some(gain)
}

/// Finds the gains that make the background of a set's middle picture neutral: 1 where it is already or is
/// coloured on purpose.
pub(super) fn neutral(middle: &Middle) -> [f32; 3] {
    /// A cast below this is none, above the other it is the backdrop's own colour.
    const LEAST: f32 = 1.012;
    const MOST: f32 = 1.6;
    let (w, h) = (middle.width, middle.height);
    let (mx, my) = ((w / 10).max(1), (h / 10).max(1));
    let margin: Vec<[f32; 3]> = (0..w * h)
        .filter(|i| {
            let (x, y) = (i % w, i / w);
            x < mx || x + mx >= w || y < my
        })
        .map(|i| middle.light[i])
        // A clipped channel hides the cast.
        .filter(|p| p.iter().all(|v| *v < 0.96 && *v > 0.01))
        .collect();
    if margin.len() * 5 < w * h / 100 {
        return [1.0; 3];
    }
    let colour = [0, 1, 2].map(|c| {
        let mut column: Vec<f32> = margin.iter().map(|p| p[c]).collect();
        median(&mut column)
    });
    let (least, most) =
        (colour.iter().copied().fold(f32::MAX, f32::min), colour.iter().copied().fold(0.0, f32::max));
    if most / least < LEAST || most / least > MOST {
        return [1.0; 3];
    }
    // Relative luminance of sRGB primaries (IEC 61966-2-1) stays.
    let luminance = 0.2126 * colour[0] + 0.7152 * colour[1] + 0.0722 * colour[2];
    colour.map(|v| luminance / v)
}

/// The middle value; 1 for none.
pub(super) fn median(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 1.0;
    }
    let at = values.len() / 2;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}
