//! The bar above the picture: scale, aids, and what it is compared with.

use egui::{Button, Id, Key, Popup, PopupCloseBehavior, Ui, Vec2, vec2};

use super::facts::facts_ui;
use super::keys::keys_are_taken;

use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::Pictures;
use crate::window::stage::{Against, Look, Page, Scale};
use crate::window::state::State;
use crate::window::text::t;

/// The width of the button that names what the picture is compared with, points.
const COMPARE_WIDTH: f32 = 226.0;
/// Its width in a window narrower than [`NARROW`], points.
const NARROW_COMPARE_WIDTH: f32 = 150.0;
const NARROW: f32 = 1000.0;

/// The size of the card with the facts, points.
const CARD: Vec2 = vec2(264.0, 330.0);

/// Draws the bar; `facts_beside` tells whether the window is wide enough for the facts beside the picture.
pub fn view_bar_ui(ui: &mut Ui, state: &State, pictures: &Pictures, facts_beside: bool, sink: &IntentSink) {
    let stage = &state.stage;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        scales_ui(ui, state, sink);
        ui.add_space(8.0);
        aids_ui(ui, state, sink);
        if facts_beside {
            if toggle_ui(ui, &t!("view-bar-facts"), stage.facts, true, &t!("view-bar-facts-tip")) {
                sink.send(WindowIntent::Look(Look::Facts(!stage.facts)));
            }
        } else {
            facts_card_ui(ui, state, pictures, sink);
        }
        ui.add_space(8.0);
        against_ui(ui, state, sink);
    });
    keys_ui(ui, state, facts_beside.then_some(Look::Facts(!state.stage.facts)), sink);
}

/// Draws the same in a card of its own, where the window has no room for a bar; the facts have a page there.
pub fn view_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let response = ui.add(Button::new(t!("view-bar-view")).min_size(vec2(0.0, 26.0)));
    Popup::from_toggle_button_response(&response)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .accessible_name(t!("view-bar-view"))
        .show(|ui| {
            ui.set_width(CARD.x);
            ui.horizontal_wrapped(|ui| scales_ui(ui, state, sink));
            ui.horizontal_wrapped(|ui| aids_ui(ui, state, sink));
        });
    against_ui(ui, state, sink);
    keys_ui(ui, state, Some(Look::Page(Page::Facts)), sink);
}

fn scales_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    for (scale, text, tip) in [
        (Scale::Fit, t!("view-bar-fit"), t!("view-bar-the-whole-frame-f")),
        (Scale::Pixels(1), "1:1".to_owned(), t!("view-bar-one-picture-pixel-on-one")),
        (Scale::Pixels(2), "2:1".to_owned(), t!("view-bar-one-picture-pixel-on-two")),
    ] {
        if toggle_ui(ui, &text, stage.scale == scale, true, &tip) {
            sink.send(WindowIntent::Look(Look::Scale(scale, stage.centre)));
        }
    }
}

/// Aids for the eye.
fn aids_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    let whole = stage.scale == Scale::Fit;
    let close = stage.magnifier || !whole;
    let edges = stage.edges && close;
    let edges_tip =
        if close { t!("view-bar-checks-black-and-white-where") } else { t!("view-bar-sharp-edges-opens") };
    for (text, on, enabled, tip, look) in [
        (
            t!("view-bar-magnifier"),
            stage.magnifier,
            whole,
            t!("view-bar-one-to-one-around-the"),
            Look::Magnifier(!stage.magnifier),
        ),
        (t!("view-bar-sharp-edges"), edges, true, edges_tip, Look::Edges(!edges)),
        (
            t!("view-bar-tones"),
            stage.tones,
            true,
            t!("view-bar-how-many-pixels-have-each"),
            Look::Tones(!stage.tones),
        ),
        (
            t!("view-bar-guides"),
            stage.guides,
            true,
            t!("view-bar-middle-lines-and-the-largest"),
            Look::Guides(!stage.guides),
        ),
    ] {
        if toggle_ui(ui, &text, on, enabled, &tip) {
            sink.send(WindowIntent::Look(look));
        }
    }
}

/// The facts in a card, in a window that has no room for them beside the picture.
fn facts_card_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let button = Button::new(t!("view-bar-facts-card")).min_size(vec2(0.0, 26.0));
    let response = ui.add(button).on_hover_text(t!("view-bar-facts-tip"));
    if ui.ctx().data_mut(|data| data.remove_temp::<()>(facts_key())).is_some() {
        Popup::toggle_id(ui.ctx(), Popup::default_response_id(&response));
    }
    Popup::from_toggle_button_response(&response)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .accessible_name(t!("view-bar-facts"))
        .show(|ui| {
            ui.set_width(CARD.x);
            ui.set_height(CARD.y.min(ui.ctx().content_rect().height() - 120.0));
            facts_ui(ui, state, pictures, sink);
        });
}

/// Where it is noted that the key for the facts was pressed.
fn facts_key() -> Id {
    Id::unique("the facts' key was pressed")
}

fn against_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    // Of one width whatever is chosen, so that nothing moves.
    let text = match stage.against {
        Against::Nothing => t!("view-bar-compare"),
        against => t!("view-bar-compare-with", against = against.words()),
    };
    let width = if ui.ctx().content_rect().width() < NARROW { NARROW_COMPARE_WIDTH } else { COMPARE_WIDTH };
    let button = Button::new(text).truncate().min_size(vec2(width, 26.0));
    let response = ui.add(button);
    Popup::menu(&response).show(|ui| {
        // One that was chosen beside the facts is a choice like the others.
        let chosen = (!Against::ALL.contains(&stage.against)).then_some(stage.against);
        for against in Against::ALL.into_iter().chain(chosen) {
            if ui.radio(stage.against == against, crate::words::capital(&against.words())).clicked() {
                sink.send(WindowIntent::Look(Look::Against(against)));
            }
        }
    });
}

/// A button that stays down; tells whether it was pressed.
pub(super) fn toggle_ui(ui: &mut Ui, text: &str, on: bool, enabled: bool, tip: &str) -> bool {
    let button = Button::selectable(on, text).frame_when_inactive(true).min_size(vec2(0.0, 26.0));
    ui.add_enabled(enabled, button).on_hover_text(tip).on_disabled_hover_text(tip).clicked()
}

/// `facts` is how the facts come into sight; `None` where they open below their button.
fn keys_ui(ui: &Ui, state: &State, facts: Option<Look>, sink: &IntentSink) {
    if keys_are_taken(ui, state) {
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
        if let Some(facts) = facts {
            look(facts);
        } else {
            ui.data_mut(|data| data.insert_temp(facts_key(), ()));
            ui.ctx().request_repaint();
        }
    }
}
