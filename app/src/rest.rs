//! Whether the load rests, seen in live pictures: joins `imaging`'s measuring and the session.

use imaging::decode::{self, Decoded};
use imaging::measure::register::displacement;
use imaging::measure::settle::RestJudge;
use imaging::measure::{Plane, measure};
use session_core::rest::{Rest, RestWatcher};

/// The middle of the object is looked at, this share of its width and height: its outline hardly moves.
const LOOKED_AT: f64 = 0.6;
/// The longest side of what is compared, pixels.
const MOST_SIDE_PX: usize = 512;
/// The share of the surface's motion that is seen: light and shading stay where they are and pull it down. On the
/// demo's mug it was 0.43 of what the simulated table made; taken for half.
pub const SEEN_SHARE: f64 = 0.5;
/// The swing to each side that is called rest, pixels of the live picture, when nobody has chosen: half a pixel
/// or so of a frame that is five times as wide.
pub const RESIDUAL_PX: f64 = 0.1;
/// A live picture that stays the same to the byte this long hangs: a sensor's noise never repeats.
const HANGS_SECS: f64 = 1.0;
/// So many pictures in which nothing can be followed are enough.
const MOST_MISSES: u32 = 3;

/// The part of a live picture that is looked at.
#[derive(Debug, Clone, Copy)]
pub struct Spot {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
}

impl Spot {
    /// The middle of the object in a picture, or of the picture where none stands out; `bytes` is the file that
    /// was decoded.
    pub fn of(bytes: &[u8], decoded: &Decoded) -> Self {
        let (width, height) = (f64::from(decoded.picture.width_px()), f64::from(decoded.picture.height_px()));
        let object = measure(bytes).ok().and_then(|measured| measured.facts.object);
        let [left, top, right, bottom] = object.map_or([0.0, 0.0, width, height], |object| object.box_px);
        let side = |from: f64, to: f64| (((to - from) * LOOKED_AT) as usize).clamp(8, MOST_SIDE_PX);
        let (wide, high) = (side(left, right), side(top, bottom));
        let start =
            |from: f64, to: f64, side: usize| (f64::midpoint(from, to) - side as f64 / 2.0).max(0.0) as usize;
        Self { left: start(left, right, wide), top: start(top, bottom, high), width: wide, height: high }
    }

    /// Cuts it out of a picture.
    pub fn cut(self, decoded: &Decoded) -> Plane {
        let (all_wide, all_high) =
            (decoded.picture.width_px() as usize, decoded.picture.height_px() as usize);
        Plane::luma(decoded.picture.rgb(), all_wide, all_high).crop(
            self.left.min(all_wide),
            self.top.min(all_high),
            self.width.min(all_wide.saturating_sub(self.left)),
            self.height.min(all_high.saturating_sub(self.top)),
        )
    }
}

/// Watches live pictures for the session.
#[derive(Debug)]
pub struct Watcher {
    judge: RestJudge,
    /// What all later pictures are compared with.
    first: Option<(Spot, Plane)>,
    /// The last picture that was not the one before once more, and its time.
    last: Option<(f64, Vec<u8>)>,
    misses: u32,
}

impl Default for Watcher {
    fn default() -> Self {
        Self { judge: RestJudge::new(RESIDUAL_PX * SEEN_SHARE), first: None, last: None, misses: 0 }
    }
}

impl RestWatcher for Watcher {
    fn begin(&mut self) {
        *self = Self::default();
    }

    fn look(&mut self, secs: f64, picture: &[u8]) -> Rest {
        if let Some((since, last)) = &self.last
            && last == picture
        {
            return if secs - since > HANGS_SECS {
                cannot_tell("it does not change, as if it hung")
            } else {
                self.moving()
            };
        }
        self.last = Some((secs, picture.to_vec()));
        let decoded = match decode::full(picture) {
            Ok(decoded) => decoded,
            Err(error) => return cannot_tell(&error.to_string()),
        };
        let Some((spot, first)) = &self.first else {
            let spot = Spot::of(picture, &decoded);
            self.first = Some((spot, spot.cut(&decoded)));
            self.judge.add(secs, 0.0);
            return self.moving();
        };
        let Some((right, _)) = displacement(first, &spot.cut(&decoded)) else {
            self.misses += 1;
            return if self.misses < MOST_MISSES {
                self.moving()
            } else {
                cannot_tell("nothing in it can be followed")
            };
        };
        self.judge.add(secs, right);
        if self.judge.rests() { Rest::Still } else { self.moving() }
    }
}

impl Watcher {
    fn moving(&self) -> Rest {
        Rest::Moving { swing_px: self.judge.swing_px().map(|px| px / SEEN_SHARE) }
    }
}

fn cannot_tell(reason: &str) -> Rest {
    Rest::CannotTell { reason: reason.to_owned() }
}
