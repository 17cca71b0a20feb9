//! Aids over the picture: guides, and how its tones lie.

use egui::{Align2, Color32, Painter, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};
use imaging::look::Tones;

use crate::window::text::t;
use crate::window::theme;

/// A dark and a light line side by side show on every picture.
fn line(painter: &Painter, from: Pos2, to: Pos2) {
    painter.line_segment([from, to], Stroke::new(3.0, Color32::from_black_alpha(110)));
    painter.extend(Shape::dashed_line(
        &[from, to],
        Stroke::new(1.0, Color32::from_white_alpha(220)),
        7.0,
        5.0,
    ));
}

/// Draws the middle lines and the largest square that fits, the shape most shops crop to (common practice, no source).
pub fn guides(painter: &Painter, frame: Rect) {
    line(painter, frame.center_top(), frame.center_bottom());
    line(painter, frame.left_center(), frame.right_center());
    let side = frame.width().min(frame.height());
    let square = Rect::from_center_size(frame.center(), vec2(side, side));
    for [from, to] in [
        [square.left_top(), square.left_bottom()],
        [square.right_top(), square.right_bottom()],
        [square.left_top(), square.right_top()],
        [square.left_bottom(), square.right_bottom()],
    ] {
        line(painter, from, to);
    }
}

/// Draws how many pixels have each tone, dark to the left, with what is clipped in figures.
pub fn tones_ui(ui: &Ui, area: Rect, tones: &Tones) {
    let card = Rect::from_min_size(area.left_bottom() + vec2(12.0, -118.0), vec2(280.0, 106.0));
    let painter = ui.painter();
    painter.rect_filled(card, 4.0, theme::panel());
    let plot = Rect::from_min_max(card.min + vec2(12.0, 10.0), card.max - vec2(12.0, 30.0));
    // Single tones of flat backgrounds tower over the rest, so the height is the square root.
    let most = tones.luma.iter().copied().max().unwrap_or(1).max(1);
    let step = plot.width() / 256.0;
    for (value, count) in tones.luma.iter().enumerate() {
        let height = (f64::from(*count) / f64::from(most)).sqrt() as f32 * plot.height();
        let x = plot.left() + value as f32 * step;
        let bar = Rect::from_min_max(pos2(x, plot.bottom() - height), pos2(x + step, plot.bottom()));
        painter.rect_filled(bar, 0.0, theme::soft());
    }
    painter.hline(plot.x_range(), plot.bottom(), Stroke::new(1.0, theme::line()));
    let text = clipped_words(tones);
    painter.text(
        card.left_bottom() + vec2(12.0, -15.0),
        Align2::LEFT_CENTER,
        text,
        theme::small(),
        theme::text(),
    );
}

/// The clipped shares in words.
pub fn clipped_words(tones: &Tones) -> String {
    t!(
        "picture-aids-clipped-light-dark",
        clipped_high_percent = format!("{:.1}", tones.clipped_high_percent),
        clipped_low_percent = format!("{:.1}", tones.clipped_low_percent)
    )
}
