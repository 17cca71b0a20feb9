//! The window's look: neutral greys only, so that nothing on screen tints the eye beside a picture.

use egui::style::{Selection, WidgetVisuals, Widgets};
use egui::{Color32, CornerRadius, FontFamily, FontId, Margin, Shadow, Stroke, TextStyle, Vec2};

/// Behind panels.
pub const PANEL: Color32 = Color32::from_gray(36);
/// Behind cards and fields' groups.
pub const RAISED: Color32 = Color32::from_gray(46);
/// Behind text fields.
pub const FIELD: Color32 = Color32::from_gray(24);
/// Around the picture: a middle grey, so that white and dark backgrounds both show their edge.
pub const MAT: Color32 = Color32::from_gray(84);
/// Hairlines.
pub const LINE: Color32 = Color32::from_gray(66);
/// Text; contrast to [`PANEL`] above 12 : 1 (WCAG 2.1 asks for 4.5).
pub const TEXT: Color32 = Color32::from_gray(232);
/// Second-rank text; contrast to [`PANEL`] above 7 : 1.
pub const SOFT: Color32 = Color32::from_gray(176);
/// Outlines of what is not there yet; contrast to [`PANEL`] above 3 : 1.
pub const FAINT: Color32 = Color32::from_gray(128);
/// What an empty field could hold; contrast to [`FIELD`] above 4.5 : 1.
pub const HINT: Color32 = Color32::from_gray(136);
/// The one button that leads on.
pub const PRIMARY: Color32 = Color32::from_gray(226);
/// Text on it.
pub const ON_PRIMARY: Color32 = Color32::from_gray(20);

/// Large figures.
pub fn figure() -> FontId {
    FontId::proportional(30.0)
}

/// Small text.
pub fn small() -> FontId {
    FontId::proportional(12.5)
}

/// Gives a context the window's look.
pub fn apply(ctx: &egui::Context) {
    ctx.set_theme(egui::Theme::Dark);
    ctx.all_styles_mut(|style| {
        style.text_styles = [
            (TextStyle::Heading, FontId::new(18.0, FontFamily::Proportional)),
            (TextStyle::Body, FontId::new(14.5, FontFamily::Proportional)),
            (TextStyle::Button, FontId::new(14.5, FontFamily::Proportional)),
            (TextStyle::Small, small()),
            (TextStyle::Monospace, FontId::new(13.0, FontFamily::Monospace)),
        ]
        .into();
        let spacing = &mut style.spacing;
        spacing.item_spacing = Vec2::new(8.0, 6.0);
        spacing.button_padding = Vec2::new(12.0, 5.0);
        spacing.interact_size = Vec2::new(40.0, 28.0);
        spacing.menu_margin = Margin::same(12);
        spacing.tooltip_width = 320.0;
        spacing.scroll.floating = false;
        spacing.scroll.bar_width = 8.0;
        spacing.scroll.bar_inner_margin = 4.0;
        spacing.scroll.bar_outer_margin = 2.0;
        spacing.scroll.foreground_color = false;
        // Nothing glides: a still picture is judged beside it.
        style.animation_time = 0.0;
        style.interaction.selectable_labels = false;
        // The wheel moves the strip, which only goes sideways.
        style.always_scroll_the_only_direction = true;
        let visuals = &mut style.visuals;
        visuals.dark_mode = true;
        visuals.widgets = widgets();
        visuals.selection =
            Selection { bg_fill: Color32::from_gray(96), stroke: Stroke::new(1.0, Color32::WHITE) };
        visuals.panel_fill = PANEL;
        visuals.window_fill = RAISED;
        visuals.window_stroke = Stroke::new(1.0, Color32::from_gray(92));
        visuals.window_corner_radius = CornerRadius::same(8);
        visuals.menu_corner_radius = CornerRadius::same(8);
        visuals.extreme_bg_color = FIELD;
        visuals.faint_bg_color = RAISED;
        visuals.hyperlink_color = TEXT;
        visuals.warn_fg_color = Color32::WHITE;
        visuals.error_fg_color = Color32::WHITE;
        visuals.weak_text_color = Some(HINT);
        visuals.popup_shadow =
            Shadow { offset: [0, 4], blur: 14, spread: 0, color: Color32::from_black_alpha(110) };
    });
}

fn widgets() -> Widgets {
    let look = |fill: u8, edge: u8, text: Color32, weight: f32| WidgetVisuals {
        bg_fill: Color32::from_gray(fill),
        weak_bg_fill: Color32::from_gray(fill),
        bg_stroke: Stroke::new(1.0, Color32::from_gray(edge)),
        corner_radius: CornerRadius::same(5),
        fg_stroke: Stroke::new(weight, text),
        expansion: 0.0,
    };
    Widgets {
        noninteractive: look(36, 66, TEXT, 1.0),
        inactive: look(58, 84, TEXT, 1.0),
        hovered: look(74, 132, Color32::WHITE, 1.2),
        active: look(92, 200, Color32::WHITE, 1.4),
        open: look(66, 110, TEXT, 1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contrast after WCAG 2.1, "relative luminance" and "contrast ratio"; formulas from memory.
    fn contrast(one: Color32, other: Color32) -> f64 {
        let luminance = |grey: Color32| {
            let coded = f64::from(grey.r()) / 255.0;
            if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
        };
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn text_and_outlines_can_be_read() {
        // The formula itself: black on white is 21 : 1 by definition.
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
        for back in [PANEL, RAISED, FIELD] {
            assert!(contrast(TEXT, back) >= 7.0 && contrast(SOFT, back) >= 4.5);
        }
        assert!(contrast(FAINT, PANEL) >= 3.0);
        assert!(contrast(HINT, FIELD) >= 4.5);
        assert!(contrast(ON_PRIMARY, PRIMARY) >= 7.0);
    }

    #[test]
    fn every_tone_is_neutral() {
        for tone in [PANEL, RAISED, FIELD, MAT, LINE, TEXT, SOFT, FAINT, PRIMARY, ON_PRIMARY] {
            assert!(tone.r() == tone.g() && tone.g() == tone.b());
        }
    }
}
