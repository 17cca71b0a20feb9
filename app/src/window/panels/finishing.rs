//! The finishing room: steps on the left, the picture before and after, the turn below it.

use crate::window::text::t;
use egui::{Align, CentralPanel, Frame, Id, Key, Layout, Panel, RichText, ScrollArea, Ui, vec2};
use session_core::engine::Intent;

use super::finishing_make::{make_ui, result_ui};
use super::finishing_picture::picture_ui;
use super::finishing_steps::{plate_card_ui, steps_ui};
use super::keys::keys_are_taken;
use super::view_bar::toggle_ui;
use super::widgets::{button_ui, slider_ui, soft_ui};
use super::{message, plan};
use crate::window::finishing::{FinishingWish, Side};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::Pictures;
use crate::window::state::State;
use crate::window::{theme, words};

/// The width of the column with the steps, points.
const COLUMN: f32 = 348.0;
/// The share of a narrow window that the column takes at most.
const MOST_OF_WIDTH: f32 = 0.5;
/// Below this height of the window, points, steps and what is made of them scroll together.
const SHORT: f32 = 640.0;
/// The width of a stop's name before its slider, points.
const STOP_NAME: f32 = 210.0;
/// The height of the place for how far the work is and what came of it, points.
const RESULT: f32 = 64.0;

/// What comes after shooting: the button that leads into the room, and the next set. Always there, so that nothing
/// below moves when shooting begins or ends.
pub fn enter_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let free = !state.is_busy();
    let new_set = 104.0;
    let size = vec2(ui.available_width() - new_set - ui.spacing().item_spacing.x, 32.0);
    ui.horizontal(|ui| {
        let response = button_ui(ui, &t!("finishing-enter"), free && state.kept() > 0, size);
        let response = response.on_disabled_hover_text(t!("finishing-enter-not-yet"));
        if response.on_hover_text(t!("finishing-enter-tip")).clicked() {
            sink.send(WindowIntent::Finishing(FinishingWish::Enter));
        }
        let response = button_ui(ui, &t!("device-menus-new-set"), free, vec2(new_set, 32.0));
        if response.on_hover_text(t!("device-menus-another-product-in-a-folder")).clicked() {
            sink.send(WindowIntent::NewSet);
            // What comes first is its SKU.
            plan::ask_for_sku(ui);
        }
    });
}

/// Draws the room.
pub fn room_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    keys_ui(ui, state, sink);
    plate_card_ui(ui, state, sink);
    Panel::top("finishing bar")
        .exact_size(52.0)
        .frame(theme::panel_frame(16, 0))
        .show(ui, |ui| bar_ui(ui, state, sink));
    let window = ui.ctx().content_rect().size();
    Panel::left("finishing column")
        .exact_size(COLUMN.min(window.x * MOST_OF_WIDTH))
        .resizable(false)
        .frame(theme::panel_frame(16, 10))
        .show(ui, |ui| {
            let short = window.y < SHORT;
            if !short {
                Panel::bottom("make").frame(theme::panel_frame(0, 6)).show(ui, |ui| make_ui(ui, state, sink));
            }
            ScrollArea::vertical().id_salt("steps").auto_shrink(false).show(ui, |ui| {
                steps_ui(ui, state, pictures, sink);
                if short {
                    ui.add_space(6.0);
                    make_ui(ui, state, sink);
                }
            });
        });
    message::notice_panel_ui(ui, state, sink);
    Panel::bottom("turn")
        .exact_size(58.0)
        .frame(theme::panel_frame(16, 8))
        .show(ui, |ui| turn_ui(ui, state, sink));
    // What comes of the work has a place of its own, so that nothing moves when it comes or goes.
    Panel::bottom("result")
        .exact_size(RESULT)
        .frame(theme::panel_frame(16, 4))
        .show(ui, |ui| result_ui(ui, &state.finishing, sink));
    message::card_panel_ui(ui, state, sink);
    CentralPanel::default()
        .frame(Frame::new().fill(theme::mat()))
        .show(ui, |ui| picture_ui(ui, state, pictures, sink));
}

fn bar_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let room = &state.finishing;
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        if button_ui(ui, &t!("finishing-back"), true, vec2(0.0, 32.0)).clicked() {
            sink.send(WindowIntent::Finishing(FinishingWish::Leave));
        }
        ui.add_space(8.0);
        ui.label(RichText::new(t!("finishing-title", sku = state.planned.sku)).heading().strong());
        if !room.missing.is_empty() {
            soft_ui(ui, words::without_frame(&room.missing));
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            for side in Side::ALL.into_iter().rev() {
                let tip = match side {
                    Side::Both => t!("finishing-divided-tip"),
                    Side::Finished | Side::AsShot => t!("finishing-one-side-tip"),
                };
                if toggle_ui(ui, &side.name(), room.side == side, true, &tip) {
                    sink.send(WindowIntent::Finishing(FinishingWish::Show(side)));
                }
            }
        });
    });
}

/// The slider that turns the object, with the stop's name.
fn turn_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let room = &state.finishing;
    let Some(here) = room.stop() else { return };
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        let place = state.place(here.stop);
        let row = place.and_then(|p| p.row_name.as_ref()).cloned();
        let degrees = place.map(|p| p.degrees_text.clone()).unwrap_or_default();
        let title = match row {
            Some(row) => t!("finishing-stop-in-row", stop = here.stop, row = row, degrees = degrees),
            None => t!("finishing-stop", stop = here.stop, degrees = degrees),
        };
        let title = RichText::new(title).strong().size(16.0);
        let name_size = vec2(STOP_NAME.min(ui.available_width() * 0.4), 30.0);
        ui.allocate_ui_with_layout(name_size, Layout::left_to_right(Align::Center), |ui| {
            ui.set_min_width(name_size.x);
            ui.add(egui::Label::new(title).truncate());
        });
        if room.stops.len() < 2 {
            return;
        }
        let mut at = room.at;
        ui.spacing_mut().slider_width = (ui.available_width() - 8.0).max(60.0);
        let slider = slider_ui(ui, &mut at, 0..=room.stops.len() - 1, 1.0, |slider| slider.show_value(false));
        let response = slider.on_hover_text(t!("finishing-turn-tip"));
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(t!("finishing-turn")));
        if response.changed() {
            sink.send(WindowIntent::Finishing(FinishingWish::Turn(at)));
        }
    });
}

/// The divider's identity: while it has the focus, arrows move it.
pub(super) fn divider_id() -> Id {
    Id::unique("divider between as shot and finished")
}

fn keys_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    let room = &state.finishing;
    let send = |wish| sink.send(WindowIntent::Finishing(wish));
    let pressed = |key| ui.input(|input| input.modifiers.is_none() && input.key_pressed(key));
    if pressed(Key::Escape) {
        // What turns comes first, here too.
        if state.is_busy() || state.trying {
            sink.session(Intent::StopNow);
        } else if room.job.is_some() && state.typed_path.is_none() && !room.plate_asked {
            send(FinishingWish::Cancel);
        }
    }
    if keys_are_taken(ui, state) {
        return;
    }
    if pressed(Key::D) {
        send(FinishingWish::Show(Side::Both));
    }
    if pressed(Key::B) {
        send(FinishingWish::Show(if room.side == Side::AsShot { Side::Finished } else { Side::AsShot }));
    }
    let focus = ui.memory(egui::Memory::focused);
    if focus == Some(divider_id()) {
        let step = if pressed(Key::ArrowRight) {
            0.02
        } else if pressed(Key::ArrowLeft) {
            -0.02
        } else {
            return;
        };
        send(FinishingWish::Divide(room.divider + step));
        return;
    }
    if focus.is_some() || room.stops.is_empty() {
        return;
    }
    let last = room.stops.len() - 1;
    let to = [
        (Key::ArrowRight, room.turned(1)),
        (Key::ArrowLeft, room.turned(-1)),
        (Key::ArrowDown, room.other_row(1)),
        (Key::ArrowUp, room.other_row(-1)),
        (Key::Home, 0),
        (Key::End, last),
    ];
    if let Some((_, to)) = to.into_iter().find(|(key, _)| pressed(*key)) {
        send(FinishingWish::Turn(to));
    }
}
