//! Keys and cautions.

use crate::window::text::t;
use egui::{RichText, Ui};

use super::widgets::pair_ui;

/// The keys and what they do.
pub fn keys() -> [(String, String); 16] {
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
        (t!("help-ctrl-q"), t!("help-close-the-window")),
        (t!("help-tab"), t!("help-go-on-to-the-next")),
    ]
}

/// Draws the list of keys.
pub fn keys_help_ui(ui: &mut Ui) {
    for (key, what) in keys() {
        pair_ui(ui, 84.0, |ui| drop(ui.label(RichText::new(key).strong())), RichText::new(what));
    }
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
