//! Keys and cautions.

use egui::{Grid, RichText, Ui};

/// The keys and what they do.
pub const KEYS: [(&str, &str); 12] = [
    ("Esc", "stop at once, whatever has the focus"),
    ("Arrows", "look at the next or previous stop; up and down change the row"),
    ("Home, End", "first and last stop"),
    ("Space", "select the stop, or no longer; its place must have the focus"),
    ("R", "retake the selected stops, or the one looked at"),
    ("Z, F, M", "picture at 1:1, whole, magnifier"),
    ("Drag", "across the picture turns the object; at 1:1 it moves the picture"),
    ("Click", "select one; with Ctrl one more, with Shift a run"),
    ("Ctrl Z", "undo the last change of the plan; with Shift, redo it"),
    ("Ctrl Enter", "start: shoot the missing stops"),
    ("N", "the next product of the shoot list"),
    ("Tab", "go on to the next field or button"),
];

/// Draws the list of keys.
pub fn keys_help_ui(ui: &mut Ui) {
    Grid::new("keys").num_columns(2).spacing([14.0, 7.0]).show(ui, |ui| {
        for (key, what) in KEYS {
            ui.label(RichText::new(key).strong());
            ui.add(egui::Label::new(what).wrap());
            ui.end_row();
        }
    });
}

/// The usual cautions.
pub const CAUTIONS: [(&str, &str); 5] = [
    (
        "Turning parts",
        "The plate may start at any time. Keep fingers, hair, sleeves, straps and cables clear of it, and know where its plug is: Esc asks the controller to stop, the plug makes sure.",
    ),
    (
        "Load",
        "Do not exceed what the table's maker says it holds, and centre the load. Glass and tall pieces can tip or slide: turn slowly, secure them, wear eye protection where they could break.",
    ),
    (
        "Lights and flash",
        "Studio lamps get hot enough to burn and to set fire to paper and cloth: leave room, never leave them alone. Flash can trouble people with photosensitive epilepsy: warn everyone in the room.",
    ),
    (
        "Electricity",
        "Use supplies with the rating the parts call for. Batteries: the charger made for them, never unattended. Work on mains wiring is for a licensed electrician.",
    ),
    ("Rules", "The rules of the place you work in, and the makers' manuals, go before this note."),
];

/// Draws the cautions.
pub fn safety_ui(ui: &mut Ui) {
    for (what, caution) in CAUTIONS {
        ui.label(RichText::new(what).strong());
        ui.add(egui::Label::new(RichText::new(caution).font(crate::window::theme::small())).wrap());
    }
}
