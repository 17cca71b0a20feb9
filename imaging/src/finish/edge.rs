//! The coarse line mended: where the ground ends, seen from outside.
//!
//! The watershed goes for the strongest edge. Where a painted leaf lies a few pixels inside a pale glaze that is
//! the leaf's, and the glaze beside it is lost; under a foot it is where the shadow begins, and a fringe of shadow
//! stays. But ground is smooth and as neutral as its shadow: followed inwards square by square, it ends at the
//! object, however weak that edge is.

use std::collections::VecDeque;

use super::outline::{self, averaged, closed, eroded, grown, neighbours, opened, shares, spread};

/// How far the coarse line may be off, in squares: as far outwards glaze that it left out is looked for.
const REACH_OUT: usize = 4;
/// How deep inside the line ground is looked for, and how deep in a part as thin as a handle.
const REACH_IN: [usize; 2] = [5, 2];
/// Half the width of notches and slits, in squares, that are no part of an outline. A finer dent of the object itself
/// cannot be told from these.
const NOTCH: usize = 3;
/// Half the width of what may stand out from an outline on the word of this alone; the rim of the plate, where it meets
/// the object, is thinner.
const SPUR: usize = 1;

/// How far inside, in squares, the object shows its own tint, and how far it and the ground's are asked for.
const WELL_INSIDE: usize = 3;
const HEREABOUTS: usize = 10;
/// How far apart, in even steps, tints of object and ground lie that are told from each other whatever the light.
const TINT_TELLS: f32 = 0.07;
/// How many times farther than from the ground's a square's light may be from the object's where the tints are more alike.
const LIGHT_TELLS: f32 = 2.5;

/// How far a JPEG's colours spread beyond an edge, pixels of the frame: with 4:2:0 chroma has half the pixels.
const COLOUR_BLEEDS_PX: f64 = 2.0;

/// What the light that an object sends back may tint its shadow by, against the open ground's light.
const SENT_BACK: f32 = 0.015;

/// A square's difference to the ground that is still ground, in even steps.
struct Tolerance {
    /// Of one channel against the others, beside it.
    tint: f32,
    /// The same farther off, besides what the object sends back.
    far_tint: f32,
    /// Brighter than beside it.
    brighter: f32,
    /// Darker than beside it.
    darker: f32,
    /// Darker on top of that, against how dark the shadow is already: towards a foot it darkens ever faster.
    darkens: f32,
}

impl Tolerance {
    /// Whether a square goes on the ground beside it, which has this colour farther off.
    fn allows(&self, step: [f32; 3], beside: [f32; 3], farther: [f32; 3]) -> bool {
        let lighter = light(step) - light(beside);
        // In even steps the same tint is the more, the darker the shadow.
        let left = (1.0 + light(step) / 3.0).max(0.2);
        tint(step, beside) < self.tint
            && tint(step, farther) < self.far_tint + SENT_BACK / (left * left)
            && lighter < self.brighter
            && -lighter < self.darker - self.darkens * light(beside).min(0.0)
    }
}

fn light(step: [f32; 3]) -> f32 {
    step.iter().sum::<f32>() / 3.0
}

/// How far a channel differs from another place's by more than the light does.
fn tint(step: [f32; 3], other: [f32; 3]) -> f32 {
    let off = [0, 1, 2].map(|c| step[c] - other[c]);
    off.iter().map(|v| (v - light(off)).abs()).fold(0.0, f32::max)
}

/// The same of all channels together, which tells two like tints apart the better.
fn tint_apart(step: [f32; 3], other: [f32; 3]) -> f32 {
    let off = [0, 1, 2].map(|c| step[c] - other[c]);
    off.iter().map(|v| (v - light(off)).powi(2)).sum::<f32>().sqrt()
}

/// Mends the line round `object`; `steps` is the light against the ground's, a square `pitch_px` pixels of the frame.
pub(super) fn mended(
    object: &[bool],
    steps: &[[f32; 3]],
    (width, height): (usize, usize),
    noise: f32,
    pitch_px: f64,
) -> Vec<bool> {
    let object = closed(object, width, height, NOTCH);
    let wide = grown(&object, width, height, REACH_OUT);
    let [deep, thin] = REACH_IN.map(|reach| eroded(&object, width, height, reach));
    let thick = grown(&deep, width, height, REACH_IN[0]);
    let deep: Vec<bool> = (0..object.len()).map(|i| deep[i] || (thin[i] && !thick[i])).collect();
    let within = Tolerance {
        tint: 0.03 + 3.0 * noise,
        far_tint: 0.02 + 3.0 * noise,
        brighter: 0.04 + 3.0 * noise,
        darker: 0.06 + 3.0 * noise,
        darkens: 0.15,
    };
    let followed = followed(&wide, &deep, steps, (width, height), &within);
    let [glaze, perhaps] = tinted_as_object(&followed, &object, &wide, steps, (width, height));
    let perhaps = grown(&perhaps, width, height, 1);
    let glaze = opened(&glaze, width, height, SPUR);
    let ground: Vec<bool> = followed.iter().zip(&glaze).map(|(ground, glaze)| *ground && !glaze).collect();
    // Where nothing stops the ground the object is as light as it is, and the coarse line is all that is known.
    let unstopped: Vec<bool> = (0..object.len())
        .map(|i| {
            let mut at_the_end = false;
            neighbours(i, width, height, |j| at_the_end |= deep[j]);
            ground[i] && at_the_end
        })
        .collect();
    // At one square alone, and none with a tint like the object's beside it, it is a fringe of shadow as deep as that.
    let around = averaged(&shares(&unstopped), width, height, 2);
    let unstopped: Vec<bool> =
        (0..object.len()).map(|i| unstopped[i] && (perhaps[i] || around[i] > 1.5 / 25.0)).collect();
    let unstopped = grown(&unstopped, width, height, REACH_OUT);
    let kept: Vec<bool> = (0..object.len()).map(|i| object[i] && (!ground[i] || unstopped[i])).collect();
    // Ground is all that lies beyond `wide`, and none of `deep`.
    let reached: Vec<bool> = (0..object.len()).map(|i| kept[i] || !ground[i]).collect();
    let reached = opened(&reached, width, height, SPUR);
    // No wider than colours spread it is no glaze that was left out.
    let bleeds = (COLOUR_BLEEDS_PX / pitch_px).ceil().max(1.0) as usize;
    let bled_onto = grown(&object, width, height, bleeds);
    // In a gap too narrow to see its ground from a distance the coarse line is all that is known.
    let open: Vec<bool> = wide.iter().map(|wide| !wide).collect();
    let open = grown(&open, width, height, REACH_OUT + 1);
    let far: Vec<bool> = (0..object.len()).map(|i| reached[i] && open[i] && !bled_onto[i]).collect();
    let left_out = grown(&far, width, height, bleeds + 1);
    let mended: Vec<bool> = (0..object.len()).map(|i| kept[i] || (reached[i] && left_out[i])).collect();
    // Glaze that was taken back hangs together with the rest, or is none.
    let together = outline::reached(|i| object[i] && !followed[i], &mended, width, height);
    (0..object.len()).map(|i| together[i] && mended[i]).collect()
}

/// Follows the ground from beyond `wide` inwards until it ends, or `deep` is met.
fn followed(
    wide: &[bool],
    deep: &[bool],
    steps: &[[f32; 3]],
    (width, height): (usize, usize),
    within: &Tolerance,
) -> Vec<bool> {
    let mut ground: Vec<bool> = wide.iter().map(|wide| !wide).collect();
    // Its light changes on the way, its colour does not: it is that of the ground farther off.
    let (farther, _) = spread(steps, &shares(&ground), width, height, 2 * REACH_OUT);
    let mut queue: VecDeque<usize> = (0..ground.len())
        .filter(|i| {
            let mut at_the_line = false;
            neighbours(*i, width, height, |j| at_the_line |= wide[j]);
            ground[*i] && at_the_line
        })
        .collect();
    while let Some(i) = queue.pop_front() {
        neighbours(i, width, height, |j| {
            if !ground[j]
                && !deep[j]
                && within.allows(steps[j], ground_beside(&ground, steps, j, (width, height)), farther[j])
            {
                ground[j] = true;
                queue.push_back(j);
            }
        });
    }
    ground
}

/// Tells which squares were taken for ground on the way inwards though their tint is the object's rather than the
/// ground's: slip of a slate colour in its own shadow differs from it by little else, and not where one square is looked
/// at against the next. First those of which that is sure, then all.
fn tinted_as_object(
    ground: &[bool],
    object: &[bool],
    wide: &[bool],
    steps: &[[f32; 3]],
    (width, height): (usize, usize),
) -> [Vec<bool>; 2] {
    let doubtful: Vec<bool> = (0..ground.len()).map(|i| ground[i] && wide[i]).collect();
    let inside: Vec<bool> = (0..ground.len()).map(|i| object[i] && !ground[i]).collect();
    let inside = eroded(&inside, width, height, WELL_INSIDE);
    let outside: Vec<bool> = wide.iter().map(|wide| !wide).collect();
    let mean = |of: &[bool], reach: usize| spread(steps, &shares(of), width, height, reach);
    let (here, _) = mean(&doubtful, 1);
    let (object_tint, object_is_near) = mean(&inside, HEREABOUTS);
    let (ground_tint, ground_is_near) = mean(&outside, HEREABOUTS);
    let nearer: Vec<bool> = (0..doubtful.len())
        .map(|i| {
            doubtful[i]
                && object_is_near[i] > 0.0
                && ground_is_near[i] > 0.0
                && tint_apart(here[i], object_tint[i]) < tint_apart(here[i], ground_tint[i])
        })
        .collect();
    let surely = (0..doubtful.len())
        .map(|i| {
            let lit_as_object = (light(here[i]) - light(object_tint[i])).abs()
                < LIGHT_TELLS * (light(here[i]) - light(ground_tint[i])).abs();
            nearer[i] && (lit_as_object || tint_apart(object_tint[i], ground_tint[i]) > TINT_TELLS)
        })
        .collect();
    [surely, nearer]
}

/// The mean step of the ground within two squares.
fn ground_beside(ground: &[bool], steps: &[[f32; 3]], i: usize, (width, height): (usize, usize)) -> [f32; 3] {
    let (x, y) = (i % width, i / width);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for row in y.saturating_sub(2)..(y + 3).min(height) {
        for j in row * width + x.saturating_sub(2)..row * width + (x + 3).min(width) {
            if ground[j] {
                sum = [0, 1, 2].map(|c| sum[c] + steps[j][c]);
                count += 1.0;
            }
        }
    }
    sum.map(|v| v / f32::max(count, 1.0))
}
