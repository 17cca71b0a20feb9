//! Keys and cautions.

use crate::window::text::t;
use egui::{Grid, RichText, Ui};

/// The keys and what they do.
pub fn keys() -> [(String, String); 15] {
    [
        (t!("help-esc"), t!("help-stop-at-once-whatever-has")),
        (t!("help-arrows"), t!("help-look-at-the-next-or")),
        (t!("help-home-end"), t!("help-first-and-last-stop")),
        (t!("help-space"), t!("help-select-the-stop-or-no")),
        ("R".to_owned(), t!("help-retake-the-selected-stops-or")),
        ("Z, F, M, I".to_owned(), t!("help-picture-at-1-1-whole")),
        (t!("help-drag"), t!("help-across-the-picture-turns-the")),
        (t!("help-click"), t!("help-select-one-with-ctrl-one")),
        (t!("help-shift-arrows"), t!("help-select-a-run")),
        (t!("help-draw"), t!("help-along-the-ring")),
        (t!("help-ctrl-a"), t!("help-select-every-stop")),
        (t!("help-ctrl-z"), t!("help-undo-the-last-change-of")),
        (t!("help-ctrl-enter"), t!("help-start-shoot-the-missing-stops")),
        ("N".to_owned(), t!("help-the-next-product-of-the")),
        (t!("help-tab"), t!("help-go-on-to-the-next")),
    ]
}

/// Draws the list of keys.
pub fn keys_help_ui(ui: &mut Ui) {
    Grid::new("keys").num_columns(2).spacing([14.0, 7.0]).show(ui, |ui| {
        for (key, what) in keys() {
            ui.label(RichText::new(key).strong());
            ui.add(egui::Label::new(what).wrap());
            ui.end_row();
        }
    });
}

/// The usual cautions.
pub fn cautions() -> [(String, String); 5] {
    [
        (t!("help-turning-parts"), t!("help-the-plate-may-start-at")),
        (t!("help-load"), t!("help-do-not-exceed-what-the")),
        (t!("help-lights-and-flash"), t!("help-studio-lamps-get-hot-enough")),
        (t!("help-electricity"), t!("help-use-supplies-with-the-rating")),
        (t!("help-rules"), t!("help-the-rules-of-the-place")),
    ]
}

/// Draws the cautions.
pub fn safety_ui(ui: &mut Ui) {
    for (what, caution) in cautions() {
        ui.label(RichText::new(what).strong());
        ui.add(egui::Label::new(RichText::new(caution).font(crate::window::theme::small())).wrap());
    }
}
