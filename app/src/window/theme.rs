//! The window's look: neutral greys only, so that nothing on screen tints the eye beside a picture.

use std::cell::Cell;

use egui::style::{Selection, WidgetVisuals, Widgets};
use egui::{Color32, CornerRadius, FontFamily, FontId, Frame, Margin, Shadow, Stroke, TextStyle, Vec2};

/// The greys of one theme, dark or light.
struct Greys {
    panel: u8,
    raised: u8,
    field: u8,
    mat: u8,
    line: u8,
    text: u8,
    soft: u8,
    faint: u8,
    hint: u8,
    strong: u8,
    primary: u8,
    on_primary: u8,
}

const DARK: Greys = Greys {
    panel: 36,
    raised: 46,
    field: 24,
    mat: 84,
    line: 66,
    text: 232,
    soft: 176,
    faint: 128,
    hint: 136,
    strong: 255,
    primary: 226,
    on_primary: 20,
};

const LIGHT: Greys = Greys {
    panel: 214,
    raised: 226,
    field: 240,
    mat: 128,
    line: 172,
    text: 24,
    soft: 58,
    faint: 112,
    hint: 96,
    strong: 0,
    primary: 40,
    on_primary: 240,
};

thread_local! {
    /// A window is drawn by one thread; several in one process, as in tests, each have their own.
    static LIGHT_NOW: Cell<bool> = const { Cell::new(false) };
}

fn grey(pick: impl Fn(&Greys) -> u8) -> Color32 {
    Color32::from_gray(pick(if LIGHT_NOW.get() { &LIGHT } else { &DARK }))
}

/// Behind panels.
pub fn panel() -> Color32 {
    grey(|greys| greys.panel)
}

/// A panel's ground with so much room about what stands on it, points.
pub fn panel_frame(horizontal: i8, vertical: i8) -> Frame {
    Frame::new().inner_margin(Margin::symmetric(horizontal, vertical))
}

/// Whether the window is so low that each line counts, as where everything is drawn twice as large.
pub fn is_low(ctx: &egui::Context) -> bool {
    ctx.content_rect().height() < 480.0
}

/// Behind cards and fields' groups.
pub fn raised() -> Color32 {
    grey(|greys| greys.raised)
}

/// Behind text fields.
pub fn field() -> Color32 {
    grey(|greys| greys.field)
}

/// Around the picture: a middle grey, so that white and dark backgrounds both show their edge.
pub fn mat() -> Color32 {
    grey(|greys| greys.mat)
}

/// Hairlines.
pub fn line() -> Color32 {
    grey(|greys| greys.line)
}

/// Text; contrast to [`panel`] above 10 : 1 (WCAG 2.1 asks for 4.5).
pub fn text() -> Color32 {
    grey(|greys| greys.text)
}

/// Second-rank text; contrast to [`panel`] above 6 : 1.
pub fn soft() -> Color32 {
    grey(|greys| greys.soft)
}

/// Outlines of what is not there yet; contrast to [`panel`] above 3 : 1.
pub fn faint() -> Color32 {
    grey(|greys| greys.faint)
}

/// What an empty field could hold; contrast to [`field`] above 4.5 : 1.
pub fn hint() -> Color32 {
    grey(|greys| greys.hint)
}

/// What must be seen first: selection, work, problems.
pub fn strong() -> Color32 {
    grey(|greys| greys.strong)
}

/// The one button that leads on.
pub fn primary() -> Color32 {
    grey(|greys| greys.primary)
}

/// Text on it.
pub fn on_primary() -> Color32 {
    grey(|greys| greys.on_primary)
}

/// Large figures.
pub fn figure() -> FontId {
    FontId::proportional(30.0)
}

/// Small text.
pub fn small() -> FontId {
    FontId::proportional(12.5)
}

/// Gives a context the window's look, dark or light.
pub fn apply(ctx: &egui::Context, light: bool) {
    LIGHT_NOW.set(light);
    ctx.set_theme(if light { egui::Theme::Light } else { egui::Theme::Dark });
    let tone = |dark: u8| Color32::from_gray(if light { 255 - dark } else { dark });
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
        visuals.dark_mode = !light;
        visuals.widgets = widgets(light);
        visuals.selection = Selection { bg_fill: tone(96), stroke: Stroke::new(1.0, strong()) };
        visuals.panel_fill = panel();
        visuals.window_fill = raised();
        visuals.window_stroke = Stroke::new(1.0, tone(92));
        visuals.window_corner_radius = CornerRadius::same(8);
        visuals.menu_corner_radius = CornerRadius::same(8);
        visuals.extreme_bg_color = field();
        visuals.faint_bg_color = raised();
        visuals.hyperlink_color = text();
        visuals.warn_fg_color = strong();
        visuals.error_fg_color = strong();
        visuals.weak_text_color = Some(hint());
        visuals.popup_shadow =
            Shadow { offset: [0, 4], blur: 14, spread: 0, color: Color32::from_black_alpha(110) };
    });
}

fn widgets(light: bool) -> Widgets {
    let tone = |dark: u8| if light { 255 - dark } else { dark };
    let look = |fill: u8, edge: u8, text: Color32, weight: f32| WidgetVisuals {
        bg_fill: Color32::from_gray(tone(fill)),
        weak_bg_fill: Color32::from_gray(tone(fill)),
        bg_stroke: Stroke::new(1.0, Color32::from_gray(tone(edge))),
        corner_radius: CornerRadius::same(5),
        fg_stroke: Stroke::new(weight, text),
        expansion: 0.0,
    };
    Widgets {
        noninteractive: look(36, 66, text(), 1.0),
        inactive: look(58, 84, text(), 1.0),
        hovered: look(74, 132, strong(), 1.2),
        active: look(92, 200, strong(), 1.4),
        open: look(66, 110, text(), 1.0),
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
        for light in [false, true] {
            LIGHT_NOW.set(light);
            for back in [panel(), raised(), field()] {
                assert!(contrast(text(), back) >= 7.0 && contrast(soft(), back) >= 4.5, "light: {light}");
            }
            assert!(contrast(faint(), panel()) >= 3.0, "light: {light}");
            assert!(contrast(hint(), field()) >= 4.5, "light: {light}");
            assert!(contrast(on_primary(), primary()) >= 7.0, "light: {light}");
        }
        LIGHT_NOW.set(false);
    }
}
