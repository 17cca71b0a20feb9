//! The window's look and sound.

use egui::Ui;

use super::on_flag::on_flag_ui;
use super::widgets::{slider_ui, soft_wrapped_ui};
use crate::window::intent::{IntentSink, RoomEdit, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;

/// Draws the settings of the window itself.
pub fn settings_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let settings = &state.settings;
    let edit = |edit| sink.send(WindowIntent::Room(edit));
    ui.horizontal(|ui| {
        for (light, text) in [(false, t!("room-dark")), (true, t!("room-light"))] {
            if ui.radio(settings.light == light, text).clicked() {
                edit(RoomEdit::Light(light));
            }
        }
    });
    soft_wrapped_ui(ui, t!("room-both-are-neutral-grey-so"));
    let mut percent = (settings.scale() * 100.0).round();
    let response = slider_ui(ui, &mut percent, 100.0..=200.0, 25.0, |slider| {
        slider.max_decimals(0).suffix(" %").text(t!("room-size-of-everything"))
    });
    // Not while it is drawn: the slider itself would move away under the pointer.
    if response.drag_stopped() || (response.changed() && !response.dragged()) {
        edit(RoomEdit::Scale(percent / 100.0));
    }
    let mut tells = !settings.silent;
    if ui.checkbox(&mut tells, t!("room-sound-and-notification-when-the")).changed() {
        edit(RoomEdit::Silent(!tells));
    }
    language_ui(ui, state, sink);
    on_flag_ui(ui, state, sink);
    ui.add_space(4.0);
    if super::widgets::button_ui(ui, &t!("setup-enter"), !state.is_busy(), egui::vec2(0.0, 0.0)).clicked() {
        sink.send(WindowIntent::Setup(crate::window::setup::SetupStep::Board));
    }
}

/// The choice of a language, where there are others than English.
fn language_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    if state.languages.is_empty() {
        return;
    }
    let chosen = state.settings.language.as_deref();
    let edit = |language: Option<&str>| {
        sink.send(WindowIntent::Room(RoomEdit::Language(language.map(str::to_owned))));
    };
    // No list that drops down: within a card it would close the card.
    ui.horizontal_wrapped(|ui| {
        ui.label(t!("room-language"));
        if ui.radio(chosen.is_none(), t!("room-english")).clicked() {
            edit(None);
        }
        for tag in &state.languages {
            if ui.radio(chosen == Some(tag), tag).clicked() {
                edit(Some(tag));
            }
        }
    });
    soft_wrapped_ui(ui, t!("room-language-from-next-start"));
}
