//! The shapes of the states: each can be told from the others without any colour.

use egui::{Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use super::places::Mark;
use super::theme;

/// The smallest radius at which the shapes can be told apart, points.
pub const SMALLEST_SHAPE: f32 = 3.4;

/// Paints a state's shape.
pub fn paint(painter: &Painter, at: Pos2, radius: f32, mark: Mark) {
    let line = (radius * 0.26).clamp(1.2, 2.0);
    match mark {
        Mark::Kept => {
            painter.circle_filled(at, radius, theme::text());
        }
        Mark::Flagged => {
            // A pennant on its staff.
            let (left, top) = (at.x - radius * 0.6, at.y - radius);
            let staff = Stroke::new(line, theme::strong());
            painter.line_segment([pos2(left, top), pos2(left, at.y + radius)], staff);
            let cloth = vec![
                pos2(left, top),
                pos2(at.x + radius, top + radius * 0.6),
                pos2(left, top + radius * 1.2),
            ];
            painter.add(Shape::convex_polygon(cloth, theme::strong(), Stroke::NONE));
        }
        Mark::Missing => {
            // Filled with the ground, so that the track does not run through it.
            painter.circle(at, radius - line / 2.0, theme::panel(), Stroke::new(line, theme::faint()));
        }
        Mark::InWork => {
            painter.circle(at, radius, theme::panel(), Stroke::new(line, theme::strong()));
            painter.circle_filled(at, radius * 0.5, theme::strong());
        }
        Mark::Problem => {
            let (w, h) = (radius * 1.2, radius * 1.15);
            let corners = vec![at + vec2(0.0, -h), at + vec2(w, h * 0.85), at + vec2(-w, h * 0.85)];
            painter.add(Shape::convex_polygon(corners, theme::strong(), Stroke::NONE));
            let ink = Stroke::new((radius * 0.32).max(1.2), theme::panel());
            painter.line_segment([at + vec2(0.0, -h * 0.4), at + vec2(0.0, h * 0.28)], ink);
            painter.circle_filled(at + vec2(0.0, h * 0.6), ink.width * 0.6, theme::panel());
        }
        Mark::SetAside => {
            let side = Rect::from_center_size(at, Vec2::splat(radius * 1.7));
            painter.rect(
                side,
                0.0,
                theme::panel(),
                Stroke::new(line, theme::soft()),
                egui::StrokeKind::Inside,
            );
        }
        Mark::LeftOut => {
            let arm = radius * 0.72;
            let stroke = Stroke::new(line, theme::faint());
            painter.line_segment([at - Vec2::splat(arm), at + Vec2::splat(arm)], stroke);
            painter.line_segment([at + vec2(-arm, arm), at + vec2(arm, -arm)], stroke);
        }
    }
}

/// A state as a tick, where places lie too close for shapes: told apart without any tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tick {
    /// Where it begins, as a share of the usual tick's length.
    pub from: f32,
    /// Where it ends, as such a share.
    pub to: f32,
    /// How heavy it is.
    pub stroke: Stroke,
}

impl Tick {
    /// A state's tick.
    pub fn of(mark: Mark) -> Self {
        let (from, to, stroke) = match mark {
            Mark::Kept => (0.0, 1.0, Stroke::new(2.6, theme::text())),
            Mark::Flagged => (0.0, 1.4, Stroke::new(2.6, theme::strong())),
            Mark::Missing => (0.0, 1.0, Stroke::new(1.0, theme::faint())),
            Mark::InWork => (-0.5, 1.5, Stroke::new(2.6, theme::strong())),
            Mark::Problem => (0.0, 1.8, Stroke::new(3.4, theme::strong())),
            Mark::SetAside => (0.0, 0.4, Stroke::new(2.6, theme::soft())),
            Mark::LeftOut => (0.4, 0.6, Stroke::new(1.2, theme::faint())),
        };
        Self { from, to, stroke }
    }
}

/// Neighbours in one state whose ticks leave no gap that could be seen: drawn as one band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Their state.
    pub mark: Mark,
    /// Where the first one lies along the track, points.
    pub first: f32,
    /// Where the last one lies, points.
    pub last: f32,
}

/// The smallest gap between ticks that can be seen, points.
const LEAST_GAP: f32 = 0.5;

/// Draws ticks along a track together, each given by its place, points, and its state. What 720 stops would
/// make of 720 shapes becomes a few.
pub fn runs(ticks: impl Iterator<Item = (f32, Mark)>) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (at, mark) in ticks {
        match runs.last_mut() {
            Some(run)
                if run.mark == mark
                    && (0.0..=Tick::of(mark).stroke.width + LEAST_GAP).contains(&(at - run.last)) =>
            {
                run.last = at;
            }
            _ => runs.push(Run { mark, first: at, last: at }),
        }
    }
    runs
}

/// Shows a state's shape as a small item in a line of text.
pub fn mark_ui(ui: &mut egui::Ui, mark: Mark) {
    let (rect, _) = ui.allocate_exact_size(vec2(13.0, 14.0), egui::Sense::hover());
    paint(ui.painter(), pos2(rect.center().x, rect.center().y + 0.5), 5.0, mark);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_joined_only_where_no_gap_would_be_seen() {
        let at = |places: &[f32], mark| places.iter().map(|at| (*at, mark)).collect::<Vec<_>>();
        let bands = |ticks: Vec<(f32, Mark)>| runs(ticks.into_iter()).len();
        assert_eq!(bands(at(&[0.0, 1.0, 2.0, 3.0], Mark::Kept)), 1);
        assert_eq!(bands(at(&[0.0, 4.0, 8.0], Mark::Kept)), 3);
        // Lighter ticks show their gaps sooner.
        assert_eq!(bands(at(&[0.0, 2.5, 5.0], Mark::Kept)), 1);
        assert_eq!(bands(at(&[0.0, 2.5, 5.0], Mark::Missing)), 3);
        // One that differs is seen between the others, and a track that begins anew is not crossed.
        let mut mixed = at(&[0.0, 1.0, 2.0, 3.0], Mark::Kept);
        mixed[1].1 = Mark::Problem;
        assert_eq!(bands(mixed), 3);
        assert_eq!(bands(at(&[8.0, 9.0, 0.0, 1.0], Mark::Kept)), 2);
    }
}
