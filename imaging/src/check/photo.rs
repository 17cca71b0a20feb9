//! Focus, motion, exposure, colour and clipping of a frame against its neighbours.

use super::{Flag, FlagKind};
use crate::measure::FrameFacts;
use crate::srgb;

/// Exposure off by this much is named, in stops.
const EXPOSURE_EV: f32 = 0.09;
/// A channel off by this much against the others is named, in stops; 3 % is 0.043.
const CHANNEL_EV: f32 = 0.024;
/// The same for the distance between the outer two channels: where a codec's steps are fine, and at most.
const CHANNELS_APART_EV: f32 = 0.024;
const CHANNELS_APART_MOST_EV: f32 = 0.034;
/// Colours are off by up to so many 8-bit codes from a codec's rounding alone.
const ROUNDING_CODES: f32 = 1.6;
/// Extra blur below this is not named, as a Gaussian variance in px² of a frame 1500 px wide; a
/// defocus of 2 px radius is 1.
const LEAST_BLUR_PX2: f32 = 0.5;
/// Brighter over darker parts of the background, in stops, that is named.
const UNEVEN_EV: f32 = 1.2;
/// Share of the object without detail that is named when its neighbours have it not, in points of
/// per cent, and in any case.
const CLIPPED_MORE: f32 = 1.5;
const CLIPPED_ANYWAY: f32 = 12.0;

/// Judges a frame against frames taken near it, nearest first and by turns from both sides; the more
/// neighbours (3 to 8), the surer. Without any it says only what a frame tells by itself.
pub fn check_frame_quick(facts: &FrameFacts, neighbours: &[&FrameFacts]) -> Vec<Flag> {
    let mut flags = Vec::new();
    if let Some(note) = &facts.damaged {
        flags.push(Flag::new(FlagKind::Damaged, 100.0, "%", note.clone()));
    }
    size(facts, neighbours, &mut flags);
    let alike: Vec<&FrameFacts> = neighbours
        .iter()
        .copied()
        .filter(|n| n.full_size_px == facts.full_size_px && n.damaged.is_none())
        .collect();
    if facts.damaged.is_none() {
        let covered = covered(facts, &alike, &mut flags);
        if !covered {
            light(facts, &alike, &mut flags);
            focus(facts, &alike, &mut flags);
            clipping(facts, &alike, &mut flags);
            evenness(facts, &alike, &mut flags);
        }
    }
    flags
}

fn median(mut values: Vec<f32>) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f32::total_cmp);
    let n = values.len();
    Some(if n % 2 == 1 { values[n / 2] } else { f32::midpoint(values[n / 2 - 1], values[n / 2]) })
}

/// Median and robust standard deviation.
fn usual(values: &[f32]) -> Option<(f32, f32)> {
    let middle = median(values.to_vec())?;
    let spread = median(values.iter().map(|v| (v - middle).abs()).collect())?;
    Some((middle, 1.48 * spread))
}

/// What to expect of a frame between neighbours that are given nearest first, by turns from both sides, and how
/// far frames swing about it. What changes steadily while the object turns is no swing.
fn between(values: &[f32]) -> Option<(f32, f32)> {
    let (_, spread) = usual(values)?;
    let pairs: Vec<f32> = values.chunks(2).map(|pair| pair.iter().sum::<f32>() / pair.len() as f32).collect();
    let (middle, apart) = usual(&pairs)?;
    Some((middle, (4.0 * apart).clamp(2.0 * spread, 4.0 * spread)))
}

fn size(facts: &FrameFacts, neighbours: &[&FrameFacts], flags: &mut Vec<Flag>) {
    let same = neighbours.iter().filter(|n| n.full_size_px == facts.full_size_px).count();
    let Some(other) = neighbours.iter().map(|n| n.full_size_px).find(|s| *s != facts.full_size_px) else {
        return;
    };
    let others = neighbours.iter().filter(|n| n.full_size_px == other).count();
    if others <= same {
        return;
    }
    let (w, h) = facts.full_size_px;
    let turned = (h, w) == other;
    let how = if turned { "it stands the other way up than" } else { "it has another size than" };
    let amount = 100.0 * f64::from(w) * f64::from(h) / (f64::from(other.0) * f64::from(other.1)) - 100.0;
    flags.push(Flag::new(
        FlagKind::SizeDiffers,
        amount,
        "%",
        format!(
            "{how} its neighbours: {w} × {h} px, not {} × {}; set the camera as before and retake the stop",
            other.0, other.1
        ),
    ));
}

/// A frame that is black, or shows no object where its neighbours do.
fn covered(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) -> bool {
    let usual_light = median(alike.iter().map(|n| n.mean_light).collect());
    let with_object = alike.iter().filter(|n| n.object.is_some()).count();
    let missing = facts.object.is_none() && with_object >= 2 && with_object * 3 > alike.len() * 2;
    let ev = usual_light.map(|usual| f64::from((facts.mean_light.max(1e-4) / usual.max(1e-4)).log2()));
    let flat = facts.spread_codes < 12.0;
    let black = flat && facts.mean_light < 0.004 && usual_light.is_none_or(|l| l > 0.012);
    if black || (flat && missing && ev.is_some_and(|ev| ev.abs() > 1.0)) {
        let ev = ev.unwrap_or(-8.0);
        let reason = if ev < 0.0 {
            "the frame is dark all over: the lens was covered or no light came on; retake the stop"
        } else {
            "the frame is bright all over and shows nothing: light fell into the lens or the exposure was far too long; retake the stop"
        };
        flags.push(Flag::new(FlagKind::ExposureOff, ev, "EV", reason.into()));
        return true;
    }
    if missing {
        flags.push(Flag::new(
            FlagKind::Damaged,
            100.0,
            "%",
            "no object is seen, though its neighbours show one; see what stands on the plate and retake the stop".into(),
        ));
        return true;
    }
    false
}

fn light(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) {
    if alike.len() < 2 {
        return;
    }
    let stops = |f: &FrameFacts, c: usize| f.backdrop.median[c].max(1e-4).log2();
    let mut off = [0.0_f32; 3];
    let mut noise = 0.0_f32;
    for (c, off) in off.iter_mut().enumerate() {
        let Some((middle, spread)) = usual(&alike.iter().map(|n| stops(n, c)).collect::<Vec<_>>()) else {
            return;
        };
        *off = stops(facts, c) - middle;
        noise = noise.max(spread);
    }
    // A background that is white all over says nothing; the object itself must.
    let blown = |f: &FrameFacts| f.backdrop.clipped_share.iter().all(|s| *s > 0.5);
    if blown(facts) && alike.iter().filter(|n| blown(n)).count() * 2 > alike.len() {
        object_light(facts, alike, flags);
        return;
    }
    let is_clipped = facts.backdrop.clipped_share.map(|s| s > 0.2);
    let clipped = is_clipped.contains(&true);
    let exposure = exposure_of(off, is_clipped);
    if exposure.abs() > EXPOSURE_EV.max(5.0 * noise) {
        let at_least = if clipped { "at least " } else { "" };
        let (more, hint) = if exposure > 0.0 { ("brighter", "darker") } else { ("darker", "brighter") };
        flags.push(Flag::new(
            FlagKind::ExposureOff,
            f64::from(exposure),
            "EV",
            format!("the background is {at_least}{:.2} EV {more} than in the neighbours; look after flash and exposure, retake the stop or make it {hint} when finishing", exposure.abs()),
        ));
    }
    // Where light was lost at the upper end, colours cannot be told from exposure.
    let clipped_channels = is_clipped.iter().filter(|c| **c).count();
    if clipped_channels > 1 && exposure > EXPOSURE_EV {
        return;
    }
    let moved = exposure.abs() > EXPOSURE_EV;
    // The same holds for a clipped channel that moved less than the others.
    let tints: Vec<(usize, f32)> =
        (0..3).map(|c| (c, off[c] - exposure)).filter(|(c, tint)| !is_clipped[*c] || *tint > 0.0).collect();
    let Some(&(channel, tint)) = tints.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) else {
        return;
    };
    let darkest = facts.backdrop.median.iter().copied().fold(1.0, f32::min);
    let rounding = ROUNDING_CODES * code_ev(darkest);
    // A codec's coarse colour steps share one channel's change out among all: where the exposure stayed, how far
    // the channels lie apart tells it still. Where it moved, they alone make a tint.
    let (low, high) = tints.iter().fold((0.0_f32, 0.0_f32), |(l, h), t| (l.min(t.1), h.max(t.1)));
    let apart_limit = rounding.clamp(CHANNELS_APART_EV, CHANNELS_APART_MOST_EV);
    let shared = !moved && high - low > apart_limit.max(8.0 * noise);
    let tint_limit = CHANNEL_EV.max(5.0 * noise).max(if moved { rounding } else { 0.0 });
    if shared || tint.abs() > tint_limit {
        let percent = (f64::from(tint).exp2() - 1.0) * 100.0;
        let name = ["red", "green", "blue"][channel];
        let more = if percent > 0.0 { "more" } else { "less" };
        flags.push(Flag::new(
            FlagKind::WhiteBalanceOff,
            percent,
            "%",
            format!("the background has {:.1} % {more} {name} than in the neighbours; fix the white balance by hand and retake the stop", percent.abs()),
        ));
    }
}

/// How far the exposure moved, in stops, where each channel moved by `off`. A clipped channel moves less than it
/// should: the others tell, and without them the one that moved most is nearest the truth.
fn exposure_of(off: [f32; 3], is_clipped: [bool; 3]) -> f32 {
    let mut sorted = off;
    sorted.sort_by(f32::total_cmp);
    let open: Vec<f32> = (0..3).filter(|c| !is_clipped[*c]).map(|c| off[c]).collect();
    match open[..] {
        [_, _, _] => sorted[1],
        [a, b] => f32::midpoint(a, b),
        [a] => a,
        _ if -sorted[0] > sorted[2] => sorted[0],
        _ => sorted[2],
    }
}

/// What one 8-bit code more means for light of a linear value from 0 to 1, in stops.
fn code_ev(linear: f32) -> f32 {
    let code = (srgb::from_linear(f64::from(linear)) * 255.0).clamp(1.0, 254.0);
    let light = |code: f64| srgb::to_linear(code / 255.0);
    (light(code + 0.5) / light(code - 0.5)).log2() as f32
}

fn object_light(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) {
    let stops =
        |f: &FrameFacts| f.object.as_ref().map(|o| (o.mean.iter().sum::<f32>() / 3.0).max(1e-4).log2());
    let (Some(own), Some((middle, spread))) =
        (stops(facts), usual(&alike.iter().filter_map(|n| stops(n)).collect::<Vec<_>>()))
    else {
        return;
    };
    let off = own - middle;
    if off.abs() > (6.0 * spread).max(0.25) {
        flags.push(Flag::new(
            FlagKind::ExposureOff,
            f64::from(off),
            "EV",
            format!("the object is {:.2} EV {} than in the neighbours; look after flash and exposure and retake the stop", off.abs(), if off > 0.0 { "brighter" } else { "darker" }),
        ));
    }
}

fn focus(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) {
    let soft = |f: &FrameFacts| f.object.as_ref().and_then(|o| o.softness);
    let Some(own) = soft(facts) else { return };
    let others: Vec<_> = alike.iter().filter_map(|n| soft(n)).collect();
    if others.len() < 3 {
        return;
    }
    let (Some((across, across_swing)), Some((upright, upright_swing))) = (
        between(&others.iter().map(|s| s.across_px2).collect::<Vec<_>>()),
        between(&others.iter().map(|s| s.upright_px2).collect::<Vec<_>>()),
    ) else {
        return;
    };
    let scale = (facts.full_size_px.0.max(facts.full_size_px.1) as f32 / 1500.0).max(1.0);
    let least = LEAST_BLUR_PX2 * scale * scale;
    let (wide, high) = (own.across_px2 - across, own.upright_px2 - upright);
    // What the turning object does by itself is no blur.
    let across_limit = least.max(across_swing);
    let upright_limit = least.max(upright_swing);
    let wide_seen = wide > across_limit;
    // An edge that is soft across already needs less to be soft upright as well.
    let high_seen = high > if wide_seen { (0.7 * least).max(upright_swing) } else { upright_limit };
    // A turning table smears across only, but slanting edges look softer upright too; between the two both
    // are named.
    let defocus = high_seen && wide > 0.4 * high.min(across_limit * 2.5) && high > 0.42 * wide;
    let motion = wide_seen && high < 0.6 * wide;
    if defocus {
        let radius = 2.0 * f64::from(high.min(wide.max(0.3 * high))).sqrt();
        flags.push(Flag::new(
            FlagKind::OutOfFocus,
            radius,
            "px",
            format!("edges on the object are as soft as from a defocus of {radius:.1} px radius more than in the neighbours; focus by hand and retake the stop"),
        ));
    }
    if motion {
        let length = (12.0 * f64::from(wide - high.max(0.0))).sqrt();
        flags.push(Flag::new(
            FlagKind::MotionBlur,
            length,
            "px",
            format!("edges are smeared across by {length:.1} px, but not upright: the table still moved; let it settle longer and retake the stop"),
        ));
    }
}

fn clipping(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) {
    let Some(object) = &facts.object else { return };
    let kinds: [(&str, f32, fn(&FrameFacts) -> Option<f32>); 2] = [
        ("highlights", object.clipped_high_percent, |f| f.object.as_ref().map(|o| o.clipped_high_percent)),
        ("shadows", object.clipped_low_percent, |f| f.object.as_ref().map(|o| o.clipped_low_percent)),
    ];
    for (name, own, of) in kinds {
        let near = usual(&alike.iter().filter_map(|n| of(n)).collect::<Vec<_>>());
        let more = near.is_some_and(|(middle, spread)| own - middle > CLIPPED_MORE.max(6.0 * spread));
        if more || own > CLIPPED_ANYWAY {
            flags.push(Flag::new(
                FlagKind::Clipped,
                f64::from(own),
                "%",
                format!("{own:.1} % of the object are {name} without detail; change light or exposure and retake the stop"),
            ));
        }
    }
}

fn evenness(facts: &FrameFacts, alike: &[&FrameFacts], flags: &mut Vec<Flag>) {
    let own = facts.backdrop.unevenness_ev;
    let near = usual(&alike.iter().map(|n| n.backdrop.unevenness_ev).collect::<Vec<_>>());
    let more =
        near.is_some_and(|(middle, spread)| alike.len() >= 3 && own - middle > 0.2_f32.max(8.0 * spread));
    if more || own > UNEVEN_EV {
        flags.push(Flag::new(
            FlagKind::BackgroundUneven,
            f64::from(own),
            "EV",
            format!("the background differs by {own:.2} EV from its darkest to its brightest part; even out the light"),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_clipped_channel_does_not_read_as_exposure() {
        for (off, is_clipped, exposure) in [
            ([0.0, 0.002, 0.14], [false, false, true], 0.001),
            ([0.5, 0.2, 0.5], [false, true, false], 0.5),
            ([0.1, 0.2, 0.3], [true, true, false], 0.3),
            ([-0.02, -0.01, -0.3], [true, true, false], -0.3),
            ([-0.02, -0.2, -0.1], [true; 3], -0.2),
            ([0.1, 0.2, 0.3], [true; 3], 0.3),
            ([-0.2, 0.0, 0.01], [false; 3], 0.0),
        ] {
            assert!((exposure_of(off, is_clipped) - exposure).abs() < 1e-6, "{off:?}");
        }
    }

    #[test]
    fn what_changes_steadily_while_the_object_turns_is_no_swing() {
        // By turns from before and after a frame at 1.
        let (middle, swing) = between(&[0.7, 1.3, 0.4, 1.6, 0.1, 1.9, -0.2, 2.2]).unwrap();
        let (_, spread) = usual(&[0.7, 1.3, 0.4, 1.6, 0.1, 1.9, -0.2, 2.2]).unwrap();
        assert!((middle - 1.0).abs() < 1e-6 && (swing - 2.0 * spread).abs() < 1e-6, "{middle} {swing}");
        let (_, wild) = between(&[0.0, 0.1, 3.0, 3.2, 0.2, 0.1, 2.8, 3.1]).unwrap();
        assert!(wild > 2.0);
    }

    #[test]
    fn a_code_means_more_in_the_dark() {
        // sRGB code 188 is half the light (IEC 61966-2-1): a code is 1.2 % of it.
        assert!((code_ev(0.5) - 0.0172).abs() < 0.001, "{}", code_ev(0.5));
        assert!(code_ev(0.05) > 0.04);
    }
}
