//! The bar above the picture: scale, aids, and what it is compared with.

use egui::{Button, Key, Slider, Ui, vec2};

use super::widgets::soft_ui;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::stage::{Against, Look, Scale};
use crate::window::state::State;
use crate::window::text::t;

/// Draws the bar.
pub fn view_bar_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    let look = |look| sink.send(WindowIntent::Look(look));
    let whole = stage.scale == Scale::Fit;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        for (scale, text, tip) in [
            (Scale::Fit, t!("view-bar-fit"), t!("view-bar-the-whole-frame-f")),
            (Scale::Pixels(1), "1:1".to_owned(), t!("view-bar-one-picture-pixel-on-one")),
            (Scale::Pixels(2), "2:1".to_owned(), t!("view-bar-one-picture-pixel-on-two")),
        ] {
            if toggle_ui(ui, &text, stage.scale == scale, true, &tip) {
                look(Look::Scale(scale, stage.centre));
            }
        }
        ui.add_space(8.0);
        if toggle_ui(
            ui,
            &t!("view-bar-magnifier"),
            stage.magnifier,
            whole,
            &t!("view-bar-one-to-one-around-the"),
        ) {
            look(Look::Magnifier(!stage.magnifier));
        }
        let close = stage.magnifier || !whole;
        let tip = t!("view-bar-checks-black-and-white-where");
        if toggle_ui(ui, &t!("view-bar-sharp-edges"), stage.edges, close, &tip) {
            look(Look::Edges(!stage.edges));
        }
        if toggle_ui(ui, &t!("view-bar-tones"), stage.tones, true, &t!("view-bar-how-many-pixels-have-each"))
        {
            look(Look::Tones(!stage.tones));
        }
        if toggle_ui(
            ui,
            &t!("view-bar-guides"),
            stage.guides,
            true,
            &t!("view-bar-middle-lines-and-the-largest"),
        ) {
            look(Look::Guides(!stage.guides));
        }
        if toggle_ui(ui, &t!("view-bar-facts"), stage.facts, true, &t!("view-bar-facts-tip")) {
            look(Look::Facts(!stage.facts));
        }
        ui.add_space(8.0);
        against_ui(ui, state, sink);
    });
    // Close up only the frame itself is shown.
    if whole && stage.against != Against::Nothing {
        ui.horizontal(|ui| compare_ui(ui, state, sink));
    }
    keys_ui(ui, state, sink);
}

fn against_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    let button = Button::new(t!("view-bar-compare-with", against = stage.against.words()));
    let response = ui
        .add_enabled(stage.scale == Scale::Fit, button)
        .on_disabled_hover_text(t!("view-bar-compares-whole-frames"));
    egui::Popup::menu(&response).show(|ui| {
        for against in Against::ALL {
            if ui.radio(stage.against == against, super::widgets::capital(&against.words())).clicked() {
                sink.send(WindowIntent::Look(Look::Against(against)));
            }
        }
    });
}

fn compare_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    if state.other_picture().is_none() {
        soft_ui(ui, t!("view-bar-there-is-none-for-this"));
        return;
    }
    let mut mix = stage.mix;
    ui.spacing_mut().slider_width = 90.0;
    let slider = ui.add_enabled(!stage.difference, Slider::new(&mut mix, 0.0..=1.0).show_value(false));
    ui.ctx().accesskit_node_builder(slider.id, |node| node.set_label(t!("view-bar-how-much-of-the-other")));
    if slider.on_hover_text(t!("view-bar-how-much-of-the-other")).changed() {
        sink.send(WindowIntent::Look(Look::Mix(mix)));
    }
    if toggle_ui(
        ui,
        &t!("view-bar-difference"),
        stage.difference,
        true,
        &t!("view-bar-middle-grey-where-both-are"),
    ) {
        sink.send(WindowIntent::Look(Look::Difference(!stage.difference)));
    }
}

/// A button that stays down; tells whether it was pressed.
pub(super) fn toggle_ui(ui: &mut Ui, text: &str, on: bool, enabled: bool, tip: &str) -> bool {
    let button = Button::selectable(on, text).frame_when_inactive(true).min_size(vec2(0.0, 26.0));
    ui.add_enabled(enabled, button).on_hover_text(tip).on_disabled_hover_text(tip).clicked()
}

fn keys_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    if ui.ctx().text_edit_focused() || egui::Popup::is_any_open(ui.ctx()) {
        return;
    }
    let plain = |key| ui.input(|input| input.modifiers.is_none() && input.key_pressed(key));
    let stage = &state.stage;
    let look = |look| sink.send(WindowIntent::Look(look));
    if plain(Key::F) {
        look(Look::Scale(Scale::Fit, stage.centre));
    }
    if plain(Key::Z) {
        let scale = if stage.scale == Scale::Fit { Scale::Pixels(1) } else { Scale::Fit };
        look(Look::Scale(scale, stage.centre));
    }
    if plain(Key::M) {
        look(Look::Magnifier(!stage.magnifier));
    }
    if plain(Key::I) {
        look(Look::Facts(!stage.facts));
    }
}
