//! Start, pause, go on, stop.

use egui::{Align, Area, Id, Layout, Order, TextStyle, Ui, Vec2, vec2};
use session_core::engine::{Intent, Mode, PauseReason};

use super::widgets::{button_ui, cut_label, primary_button_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::{theme, words};

/// Lines under the buttons.
const UNDER_LINES: usize = 3;

/// Draws the buttons that fit what the session is doing.
pub fn controls_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let low = theme::is_low(ui.ctx());
    ui.add_space(if low { 0.0 } else { 6.0 });
    let width = ui.available_width();
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let tall = if low { 30.0 } else { 38.0 };
    ui.horizontal(|ui| match (state.link, &state.mode) {
        (Link::Opening, _) => {
            waiting_ui(ui, &t!("controls-connecting"), half, tall);
            stop_button_ui(ui, sink, &t!("controls-call-off"), half, tall);
        }
        (Link::Closing, _) => waiting_ui(ui, &t!("controls-ending-the-session"), width, tall),
        (Link::Open, Mode::Running | Mode::Pausing) if state.checking => {
            waiting_ui(ui, &t!("controls-checking"), half, tall);
            stop_button_ui(ui, sink, &t!("controls-stop"), half, tall);
        }
        (Link::Open, Mode::Running) => {
            let pause = t!("controls-pause-after-this-frame");
            let pause = words_that_fit(ui, pause, t!("controls-pause-in-short"), half);
            if primary_button_ui(ui, &pause, true, vec2(half, tall)).clicked() {
                sink.session(Intent::PauseAfterFrame);
            }
            stop_button_ui(ui, sink, &t!("controls-stop-at-once"), half, tall);
        }
        (Link::Open, Mode::Pausing) => {
            let go_on = t!("controls-pausing-keep-going");
            let go_on = words_that_fit(ui, go_on, t!("controls-go-on"), half);
            if primary_button_ui(ui, &go_on, true, vec2(half, tall))
                .on_hover_text(t!("controls-the-present-stop-is-finished"))
                .clicked()
            {
                sink.session(Intent::Resume);
            }
            stop_button_ui(ui, sink, &t!("controls-stop-at-once"), half, tall);
        }
        (Link::Open, Mode::Paused(reason)) => {
            let text = match reason {
                PauseReason::NewRow { .. } => t!("controls-camera-is-set-go-on"),
                PauseReason::Asked | PauseReason::Flagged { .. } => t!("controls-go-on"),
            };
            if primary_button_ui(ui, &text, true, vec2(half, tall)).clicked() {
                sink.session(Intent::Resume);
            }
            stop_button_ui(ui, sink, &t!("controls-stop"), half, tall);
        }
        (Link::Open, Mode::Stopping) => {
            if button_ui(ui, &t!("controls-stopping-do-not-wait-for"), true, vec2(width, tall))
                .on_hover_text(t!("controls-a-frame-already-exposed-is"))
                .clicked()
            {
                sink.session(Intent::StopNow);
            }
        }
        (Link::Open, Mode::Fault(_)) => waiting_ui(ui, &t!("controls-waiting-for-you-see-the"), width, tall),
        (Link::Closed, _) | (Link::Open, Mode::Ready | Mode::Stopped | Mode::Finished)
            if state.change.is_some() =>
        {
            change_ui(ui, state, sink, half, tall);
        }
        (Link::Open, Mode::Ready | Mode::Stopped | Mode::Finished) if state.retakes_left() > 0 => {
            retakes_ui(ui, state, sink, half, tall);
        }
        (Link::Closed, _) | (Link::Open, Mode::Ready | Mode::Stopped | Mode::Finished) => {
            start_ui(ui, state, sink, width, tall);
        }
    });
    under_buttons_ui(ui, state, width, if low { UNDER_LINES - 1 } else { UNDER_LINES });
}

/// Draws the one place under the buttons: what a changed plan would do, what holds the start back, or how long it
/// takes. Of one height whatever it says, so that nothing below it moves.
fn under_buttons_ui(ui: &mut Ui, state: &State, width: f32, lines: usize) {
    let line = ui.fonts_mut(|fonts| fonts.row_height(&theme::small()));
    let size = vec2(width, line * lines as f32 + 2.0);
    ui.allocate_ui_with_layout(size, Layout::top_down(Align::Min), |ui| {
        ui.set_min_size(size);
        let (text, colour) = match under_buttons(state) {
            Under::Asks(text) => (text, theme::text()),
            Under::Tells(text) => (text, theme::soft()),
        };
        ui.add(cut_label(&text, theme::small(), colour, lines));
    });
}

/// What stands under the buttons.
enum Under {
    /// Something that the person has to see to.
    Asks(String),
    /// Something good to know.
    Tells(String),
}

fn under_buttons(state: &State) -> Under {
    if let Some(words) = change_words(state) {
        return Under::Asks(words);
    }
    if let (false, Some(words)) = (state.is_busy(), state.hindrance_in_short()) {
        return Under::Asks(words);
    }
    Under::Tells(time_words(state))
}

/// How long it takes, in one wording: planned until this session has a pace of its own.
fn time_words(state: &State) -> String {
    match state.time_left() {
        Some(left) if left.measured => t!("time-left-measured", span = words::span(left.secs)),
        Some(left) if state.is_busy() => t!("time-left-planned", span = words::span(left.secs)),
        Some(left) => t!("time-planned", span = words::span(left.secs)),
        None => String::new(),
    }
}

/// What a changed plan does to the frames at hand.
fn change_words(state: &State) -> Option<String> {
    let change = state.change.filter(|_| !state.is_busy())?;
    if change.turned_round {
        return Some(t!("plan-the-frames-at-hand-were"));
    }
    // Another product's set is the likelier slip than a changed plan.
    let other = state.in_force.as_ref().map(|set| &set.plan.sku).filter(|sku| **sku != state.planned.sku);
    let headline = match other {
        Some(sku) => t!("plan-this-folder-holds-a-set", sku = sku),
        None => t!("plan-changed-from-the-set-in"),
    };
    let stay = match change.stay {
        0 => t!("plan-no-frame-stays"),
        1 => t!("plan-1-frame-stays-with-its"),
        several => t!("plan-frames-stay-with-their-stops", several = several),
    };
    let back = match change.back {
        0 => String::new(),
        several => t!("plan-of-an-earlier-plan-count", several = several),
    };
    let missing = t!("count-stops-will-be", n = change.missing);
    let mut says = vec![headline, t!("plan-without", stay = stay, back = back, missing = missing)];
    if change.orphaned > 0 {
        let orphaned = t!("count-frames-are", n = change.orphaned);
        says.push(t!("plan-no-longer-in-the-plan", orphaned = orphaned));
    }
    Some(says.join(" "))
}

/// Asks whether the set at hand is to follow the changed plan, where the start stands otherwise.
fn change_ui(ui: &mut Ui, state: &State, sink: &IntentSink, half: f32, tall: f32) {
    let turned_round = state.change.is_some_and(|change| change.turned_round);
    let good = state.problems.is_empty() && !turned_round;
    if primary_button_ui(ui, &t!("plan-use-changed-plan"), good, vec2(half, tall)).clicked() {
        sink.send(WindowIntent::UsePlan);
    }
    if button_ui(ui, &t!("plan-undo-changes"), true, vec2(half, tall)).clicked() {
        sink.send(WindowIntent::UndoPlan);
    }
}

/// Goes on with retakes that a stop has left, or leaves the frames as they are.
fn retakes_ui(ui: &mut Ui, state: &State, sink: &IntentSink, half: f32, tall: f32) {
    let text = t!("controls-retakes-left", stops = t!("count-stops", n = state.to_shoot()));
    if primary_button_ui(ui, &text, state.hindrance().is_none(), vec2(half, tall)).clicked() {
        sink.send(WindowIntent::Shoot);
    }
    let call_off = button_ui(ui, &t!("controls-call-off-retakes"), true, vec2(half, tall));
    if call_off.on_hover_text(t!("controls-call-off-retakes-tip")).clicked() {
        sink.session(Intent::CallOffRetakes);
    }
}

fn start_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, tall: f32) {
    let missing = state.to_shoot();
    let text = match (missing, state.kept()) {
        _ if !state.skipped_left().is_empty() => t!("controls-shoot-skipped", n = missing),
        (0, _) => t!("controls-nothing-left-to-shoot"),
        (_, 0) => t!("controls-start-shoot", missing = t!("count-stops", n = missing)),
        (1, _) => t!("controls-shoot-the-missing-stop"),
        _ => t!("controls-shoot-the-missing-stops", missing = missing),
    };
    let hindrance = state.hindrance();
    let mut response = primary_button_ui(ui, &text, missing > 0 && hindrance.is_none(), vec2(width, tall));
    if let Some(hindrance) = hindrance {
        response = response.on_disabled_hover_text(hindrance);
    } else if missing == 0 {
        response = response.on_disabled_hover_text(t!("controls-every-stop-has-its-frame"));
    }
    if response.clicked() {
        sink.send(WindowIntent::Shoot);
    }
}

pub(super) fn stop_button_ui(ui: &mut Ui, sink: &IntentSink, text: &str, width: f32, tall: f32) {
    let button = |ui: &mut Ui, size: Vec2| {
        let text = words_that_fit(ui, text.to_owned(), t!("controls-stop-in-short"), size.x);
        let response = button_ui(ui, &text, true, size);
        if response.clone().on_hover_text(t!("controls-esc-at-any-time-the")).clicked() {
            sink.session(Intent::StopNow);
        }
        response.rect
    };
    let place = button(ui, vec2(width, tall));
    // A dialog takes the first press for itself, and the table would turn on: the button lies above it, in its place.
    if ui.memory(|memory| memory.top_modal_layer().is_some()) {
        Area::new(Id::unique("stop above dialogs"))
            .order(Order::Tooltip)
            .fixed_pos(place.min)
            .constrain(false)
            .show(ui.ctx(), |ui| button(ui, place.size()));
    }
}

/// A button's words, or fewer where they would be cut or push what stands beside it away.
fn words_that_fit(ui: &Ui, text: String, short: String, width: f32) -> String {
    let font = TextStyle::Button.resolve(ui.style());
    let room = width - 2.0 * ui.spacing().button_padding.x;
    let needed = ui.fonts_mut(|fonts| fonts.layout_no_wrap(text.clone(), font, theme::text()).size().x);
    if width > 0.0 && needed > room { short } else { text }
}

fn waiting_ui(ui: &mut Ui, text: &str, width: f32, tall: f32) {
    button_ui(ui, text, false, vec2(width, tall));
}
