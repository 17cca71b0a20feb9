//! The bar of the shoot list: which of its products is worked on, what is noted for it, and which comes next.

use egui::{Align, Label, Layout, Panel, RichText, Ui, vec2};

use super::widgets::{button_ui, primary_button_ui, soft_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::products::ProductList;
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The bar's height, points.
const HEIGHT: f32 = 40.0;

/// With less room than this for the product at hand only its note is shown, points.
const ROOMY: f32 = 460.0;

/// Draws the bar in a panel of its own, for as long as a list is in use; `margin` is left at its sides, points.
pub fn product_panel_ui(ui: &mut Ui, state: &State, margin: i8, sink: &IntentSink) {
    let Some(list) = &state.list else { return };
    let frame = theme::panel_frame(margin, 4);
    Panel::top("product").exact_size(HEIGHT).frame(frame).show(ui, |ui| {
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            next_ui(ui, state, list, sink);
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| now_ui(ui, state, list));
        });
    });
}

/// The product that is worked on, with its note.
fn now_ui(ui: &mut Ui, state: &State, list: &ProductList) {
    let all = list.rows.len();
    let Some((at, row)) = state.product() else {
        let name = session_core::file_name::of_path(&list.path);
        let done = list.rows.iter().filter(|row| row.done).count();
        soft_ui(ui, t!("list-of-done", name = name, done = done, rows = t!("count-products", n = all)));
        return;
    };
    // In a narrow window the note goes before what the list tells too.
    if row.notes.is_empty() || ui.available_width() > ROOMY {
        let which = t!("product-bar-which", sku = row.sku, at = at, all = all);
        ui.add(Label::new(RichText::new(which).font(theme::small()).color(theme::soft())));
    }
    if !row.notes.is_empty() {
        // The pointer on one that is cut shows all of it.
        ui.add(Label::new(RichText::new(t!("product-bar-note", note = row.notes)).strong()).truncate());
    }
}

/// The way to the next product: the first thing to do where the one at hand is done, or is none of the list and complete.
fn next_ui(ui: &mut Ui, state: &State, list: &ProductList, sink: &IntentSink) {
    let Some(next) = list.next_open(&state.planned.sku) else {
        soft_ui(ui, t!("list-no-other-product-is-left"));
        return;
    };
    let text = t!("product-bar-next", sku = next);
    let free = !state.is_busy();
    // One button leads on: shooting, as long as there is something to shoot.
    let first_to_do = state.product().map_or(state.to_shoot() == 0, |(_, row)| row.done);
    let draw = if first_to_do { primary_button_ui } else { button_ui };
    let response = draw(ui, &text, free, vec2(0.0, 30.0));
    if response.on_disabled_hover_text(t!("list-offer-busy")).clicked() {
        sink.send(WindowIntent::NextProduct);
    }
}
