//! How the large picture is looked at: its scale and place, what it is compared with, aids for the eye.

use super::pictures::Part;
use crate::window::text::t;

/// The scale of the large picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// As large as there is room for.
    Fit,
    /// This many screen pixels a picture pixel, 1 or more.
    Pixels(u8),
}

/// What the large picture is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// Nothing.
    Nothing,
    /// The stop before it.
    PreviousStop,
    /// The first stop, usually at 0°.
    FirstStop,
    /// The version before the one in use.
    EarlierVersion,
    /// This version of the same stop.
    Version(u32),
}

impl Against {
    /// Those that every stop has, in the order they are offered.
    pub const ALL: [Self; 4] = [Self::Nothing, Self::PreviousStop, Self::FirstStop, Self::EarlierVersion];

    /// The plain words for it.
    pub fn words(self) -> String {
        match self {
            Self::Nothing => t!("stage-nothing"),
            Self::PreviousStop => t!("stage-the-stop-before"),
            Self::FirstStop => t!("stage-the-first-stop"),
            Self::EarlierVersion => t!("stage-its-earlier-version"),
            Self::Version(version) => t!("stage-version", version = version),
        }
    }
}

/// A part of the window, where there is room for one at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// Ring and plan.
    #[default]
    Set,
    /// The picture.
    Picture,
    /// What is known of the frame.
    Facts,
}

impl Page {
    /// All of them, in the order they are offered.
    pub const ALL: [Self; 3] = [Self::Set, Self::Picture, Self::Facts];

    /// Its name.
    pub fn words(self) -> String {
        match self {
            Self::Set => t!("stage-page-set"),
            Self::Picture => t!("stage-page-picture"),
            Self::Facts => t!("stage-page-facts"),
        }
    }

    /// What is on it.
    pub fn tip(self) -> String {
        match self {
            Self::Set => t!("stage-page-set-tip"),
            Self::Picture => t!("stage-page-picture-tip"),
            Self::Facts => t!("stage-page-facts-tip"),
        }
    }
}

/// One change in how the picture is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Look {
    /// Another scale, around a point given as shares of the picture's sides.
    Scale(Scale, [f32; 2]),
    /// The picture's middle, shares of its sides.
    Centre([f32; 2]),
    /// Compare with something else.
    Against(Against),
    /// How much of the other picture is seen, 0 to 1.
    Mix(f32),
    /// Show the difference instead.
    Difference(bool),
    /// Paint sharp edges, at full scale; with the whole picture in sight the magnifier opens for it.
    Edges(bool),
    /// Show how the tones lie.
    Tones(bool),
    /// Draw guides.
    Guides(bool),
    /// A magnifier follows the pointer.
    Magnifier(bool),
    /// Show the frame's facts beside it.
    Facts(bool),
    /// Show this part, in a window with room for one at a time.
    Page(Page),
    /// Show this version of the stop large; `None` for the one in use.
    Version(Option<u32>),
}

/// How the large picture is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// The scale.
    pub scale: Scale,
    /// The point in the middle, shares of the picture's sides.
    pub centre: [f32; 2],
    /// What it is compared with.
    pub against: Against,
    /// How much of the other picture is seen, 0 to 1.
    pub mix: f32,
    /// Whether the difference is shown.
    pub difference: bool,
    /// Whether sharp edges are painted.
    pub edges: bool,
    /// Whether tones are shown.
    pub tones: bool,
    /// Whether guides are drawn.
    pub guides: bool,
    /// Whether a magnifier follows the pointer.
    pub magnifier: bool,
    /// Whether the frame's facts stand beside it.
    pub facts: bool,
    /// The part that is shown, in a window with room for one at a time.
    pub page: Page,
    /// The version that is shown large instead of the one in use.
    pub version: Option<u32>,
}

impl Default for Stage {
    fn default() -> Self {
        Self {
            scale: Scale::Fit,
            centre: [0.5, 0.5],
            against: Against::Nothing,
            mix: 0.5,
            difference: false,
            edges: false,
            tones: false,
            guides: false,
            magnifier: false,
            facts: true,
            page: Page::default(),
            version: None,
        }
    }
}

impl Stage {
    /// Takes a change in.
    pub fn apply(&mut self, look: Look) {
        match look {
            Look::Scale(scale, centre) => {
                self.scale = scale;
                self.centre = inside(centre);
            }
            Look::Centre(centre) => self.centre = inside(centre),
            Look::Against(against) => {
                self.against = against;
                // A version is compared with the picture in use.
                if matches!(against, Against::Version(_)) {
                    self.version = None;
                }
            }
            Look::Mix(mix) => self.mix = mix.clamp(0.0, 1.0),
            Look::Difference(on) => self.difference = on,
            Look::Edges(on) => {
                self.edges = on;
                // Sharpness to the pixel shows only close up.
                self.magnifier |= on && self.scale == Scale::Fit;
            }
            Look::Tones(on) => self.tones = on,
            Look::Guides(on) => self.guides = on,
            Look::Magnifier(on) => self.magnifier = on,
            Look::Facts(on) => self.facts = on,
            Look::Page(page) => self.page = page,
            Look::Version(version) => {
                self.version = version;
                // Looked at by itself.
                if matches!(self.against, Against::Version(_) | Against::EarlierVersion) {
                    self.against = Against::Nothing;
                }
            }
        }
    }

    /// The part of a picture to decode for a view of this size, picture pixels: somewhat larger than the view and
    /// on a coarse grid, so that moving does not ask for a new part at every pixel.
    pub fn part(&self, centre: [f32; 2], full_px: (u32, u32), view_px: [f32; 2], edges: bool) -> Part {
        let grid = 128.0;
        let side = |share: f32, full: u32, view: f32| {
            let length = (view.max(1.0) / grid).ceil() * grid + 2.0 * grid;
            let middle = (share * full as f32 / grid).round() * grid;
            (middle.max(0.0) as u32, length as u32)
        };
        let (x, width_px) = side(centre[0], full_px.0, view_px[0]);
        let (y, height_px) = side(centre[1], full_px.1, view_px[1]);
        Part { middle_px: [x, y], size_px: [width_px, height_px], edges }
    }
}

fn inside(centre: [f32; 2]) -> [f32; 2] {
    centre.map(|share| if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.5 })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp)]
    use super::*;

    #[test]
    fn small_moves_ask_for_the_same_part() {
        let stage = Stage::default();
        let part = |x: f32| stage.part([x, 0.5], (6000, 4000), [900.0, 500.0], false);
        assert_eq!(part(0.505), part(0.51));
        assert_ne!(part(0.5), part(0.55));
        // It covers the view even when the middle is off by half the grid.
        let part = part(0.505);
        assert!(part.size_px[0] >= 900 + 128 && part.size_px[1] >= 500 + 128);
    }

    #[test]
    fn the_middle_stays_on_the_picture() {
        let mut stage = Stage::default();
        stage.apply(Look::Centre([1.7, f32::NAN]));
        assert_eq!(stage.centre, [1.0, 0.5]);
        stage.apply(Look::Mix(7.0));
        assert!((stage.mix - 1.0).abs() < f32::EPSILON);
    }
}
