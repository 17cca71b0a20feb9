//! The card over the picture that mixes it with another: there it moves nothing when it comes and goes.

use egui::{Align, Label, Layout, Rect, RichText, Sense, Ui, UiBuilder, vec2};

use super::view_bar::toggle_ui;
use super::widgets::{slider_ui, soft_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::stage::{Against, Look};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The card's size, points.
const SIZE: egui::Vec2 = vec2(440.0, 42.0);
/// In less room than this the slider's ends are named on hover only, points.
const ROOMY: f32 = 400.0;
/// The room for the word at its left end, points.
const LEFT_END: f32 = 62.0;
/// Its distance from the picture's border, points.
const EDGE: f32 = 12.0;

/// Draws the card in the upper right corner of `area`, while the picture is compared with something.
pub fn compare_ui(ui: &mut Ui, area: Rect, state: &State, sink: &IntentSink) {
    if state.stage.against == Against::Nothing {
        return;
    }
    let size = SIZE.min(area.size() - vec2(2.0 * EDGE, 2.0 * EDGE));
    let card = Rect::from_min_size(area.right_top() + vec2(-size.x - EDGE, EDGE), size);
    // What is pressed here is not meant for the picture below.
    ui.interact(card, ui.scope_id().with("compare"), Sense::click_and_drag());
    ui.painter().rect_filled(card, 6.0, theme::panel());
    let inside =
        UiBuilder::new().max_rect(card.shrink2(vec2(12.0, 4.0))).layout(Layout::right_to_left(Align::Center));
    ui.scope_builder(inside, |ui| match state.why_no_other() {
        Some(reason) => {
            ui.add(Label::new(RichText::new(reason).font(theme::small())).wrap());
        }
        None => mix_ui(ui, state, sink),
    });
}

fn mix_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let stage = &state.stage;
    let is_roomy = ui.available_width() >= ROOMY;
    let tip = t!("view-bar-middle-grey-where-both-are");
    // From the right, so that the slider takes what is left.
    if toggle_ui(ui, &t!("view-bar-difference"), stage.difference, true, &tip) {
        sink.send(WindowIntent::Look(Look::Difference(!stage.difference)));
    }
    let other = stage.against.words();
    let mut mix = stage.mix;
    if is_roomy {
        soft_ui(ui, other.as_str());
    }
    ui.spacing_mut().slider_width = ui.available_width() - if is_roomy { LEFT_END } else { 8.0 };
    let slider = ui
        .add_enabled_ui(!stage.difference, |ui| {
            slider_ui(ui, &mut mix, 0.0..=1.0, 0.0, |slider| slider.show_value(false))
        })
        .inner;
    if is_roomy {
        soft_ui(ui, t!("compare-this-one"));
    }
    ui.ctx().accesskit_node_builder(slider.id, |node| node.set_label(t!("view-bar-how-much-of-the-other")));
    if slider.on_hover_text(t!("compare-slider-tip", other = other)).changed() {
        sink.send(WindowIntent::Look(Look::Mix(mix)));
    }
}
