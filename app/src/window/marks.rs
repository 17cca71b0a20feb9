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

/// Paints a state as a tick from `inner` to `outer`, where places lie too close for shapes.
pub fn paint_tick(painter: &Painter, inner: Pos2, outer: Pos2, mark: Mark) {
    // From where to where along the tick, and how heavy: told apart without any tone.
    let (from, to, stroke) = match mark {
        Mark::Kept => (0.0, 1.0, Stroke::new(2.6, theme::text())),
        Mark::Flagged => (0.0, 1.4, Stroke::new(2.6, theme::strong())),
        Mark::Missing => (0.0, 1.0, Stroke::new(1.0, theme::faint())),
        Mark::InWork => (-0.5, 1.5, Stroke::new(2.6, theme::strong())),
        Mark::Problem => (0.0, 1.8, Stroke::new(3.4, theme::strong())),
        Mark::SetAside => (0.0, 0.4, Stroke::new(2.6, theme::soft())),
        Mark::LeftOut => (0.4, 0.6, Stroke::new(1.2, theme::faint())),
    };
    let along = outer - inner;
    painter.line_segment([inner + along * from, inner + along * to], stroke);
}

/// Shows a state's shape as a small item in a line of text.
pub fn mark_ui(ui: &mut egui::Ui, mark: Mark) {
    let (rect, _) = ui.allocate_exact_size(vec2(13.0, 14.0), egui::Sense::hover());
    paint(ui.painter(), pos2(rect.center().x, rect.center().y + 0.5), 5.0, mark);
}
