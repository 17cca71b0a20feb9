//! What follows when a check finds something on a frame.

use egui::{CollapsingHeader, Grid, Ui};
use session_core::check::{FlagKind, Response};

use super::widgets::soft_wrapped_ui;
use crate::window::intent::{IntentSink, RoomEdit, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::words;
use crate::words::capital;

/// Draws a line for each kind of flag with its choices.
pub fn on_flag_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    CollapsingHeader::new(t!("on-flag-when-a-frame-is-flagged")).show(ui, |ui| {
        soft_wrapped_ui(ui, t!("on-flag-retake-once-by-itself"));
        Grid::new("on flag").num_columns(2).spacing([14.0, 4.0]).show(ui, |ui| {
            for kind in FlagKind::ALL {
                let title = capital(&words::flag_kind(kind));
                ui.label(&title);
                ui.horizontal(|ui| {
                    for response in Response::ALL {
                        let chosen = state.settings.on_flag.response(kind) == response;
                        let word = words::response(response);
                        let radio = ui.radio(chosen, &word);
                        let name = format!("{title}: {word}");
                        ui.ctx().accesskit_node_builder(radio.id, |node| node.set_label(name));
                        if radio.clicked() {
                            sink.send(WindowIntent::Room(RoomEdit::OnFlag(kind, response)));
                        }
                    }
                });
                ui.end_row();
            }
        });
    });
}
