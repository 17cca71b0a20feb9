//! A path that is typed, where the system shows no dialog for files.

use egui::{Modal, Popup, Ui, vec2};

use super::widgets::{Field, button_ui, field_id, field_ui, primary_button_ui, soft_wrapped_ui};
use crate::window::ask::{PathEdit, TypedPath};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;

/// The card's width where the window has room for it, points.
const WIDTH: f32 = 520.0;

/// Draws the card while a path is asked for.
pub fn path_card_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    let Some(typed) = &state.typed_path else { return };
    // A card below it would be closed by the first Esc, and this one only by the second.
    Popup::close_all(ui.ctx());
    let shown = Modal::new(egui::Id::unique("typed path")).show(ui.ctx(), |ui| {
        ui.set_width(WIDTH.min(ui.ctx().content_rect().width() - 60.0));
        ui.heading(typed.purpose.title());
        soft_wrapped_ui(ui, &typed.reason);
        ui.add_space(4.0);
        content_ui(ui, typed, sink);
    });
    if shown.should_close() {
        sink.send(WindowIntent::TypedPath(PathEdit::Close));
    }
}

fn content_ui(ui: &mut Ui, typed: &TypedPath, sink: &IntentSink) {
    let send = |edit| sink.send(WindowIntent::TypedPath(edit));
    let name = t!("ask-path");
    let field = Field {
        caption: &name,
        name: &name,
        text: &typed.text,
        hint: "",
        width: ui.available_width(),
        problem: None,
        tip: None,
        enabled: true,
    };
    // There is nothing else to do here: typing begins at once, and Enter ends it. A field lets its focus go at
    // Enter, so it is asked before.
    let id = field_id(&name);
    let focus = ui.memory(egui::Memory::focused);
    let enter = ui.input(|input| input.key_pressed(egui::Key::Enter)) && focus == Some(id);
    if let Some(text) = field_ui(ui, &field) {
        send(PathEdit::Type(text));
    }
    if focus.is_none() {
        ui.memory_mut(|memory| memory.request_focus(id));
    }
    let there = typed.is_whole();
    ui.horizontal(|ui| {
        let size = vec2(0.0, 32.0);
        let used = primary_button_ui(ui, &typed.purpose.action(), there, size).clicked();
        if used || (enter && there) {
            send(PathEdit::Use);
        }
        if button_ui(ui, &t!("ask-cancel"), true, size).clicked() {
            send(PathEdit::Close);
        }
    });
}
