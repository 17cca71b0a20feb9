//! Start, pause, go on, stop.

use egui::{RichText, Sense, Ui, vec2};
use session_core::engine::{Intent, Mode, PauseReason};

use super::widgets::{button_ui, primary_button_ui, soft_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::{theme, words};

/// Draws the buttons that fit what the session is doing.
pub fn controls_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.add_space(6.0);
    let width = ui.available_width();
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let tall = 38.0;
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
            if primary_button_ui(ui, &t!("controls-pause-after-this-frame"), true, vec2(half, tall)).clicked()
            {
                sink.session(Intent::PauseAfterFrame);
            }
            stop_button_ui(ui, sink, &t!("controls-stop-at-once"), half, tall);
        }
        (Link::Open, Mode::Pausing) => {
            if primary_button_ui(ui, &t!("controls-pausing-keep-going"), true, vec2(half, tall))
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
        (Link::Closed, _) | (Link::Open, Mode::Ready | Mode::Stopped | Mode::Finished) => {
            start_ui(ui, state, sink, width, tall);
        }
    });
    ui.scope(|ui| pace_ui(ui, state));
    if let (false, Some(hindrance)) = (state.is_busy(), state.hindrance()) {
        ui.add(egui::Label::new(RichText::new(hindrance).font(theme::small())).wrap());
    }
}

/// What was planned, and what this session takes.
fn pace_ui(ui: &mut Ui, state: &State) {
    let stops = state.places.len();
    if stops == 0 {
        return;
    }
    ui.spacing_mut().item_spacing.y = 3.0;
    let figure = |secs: f64| format!("{secs:.1}");
    let one_secs = state.estimate_secs / stops as f64;
    soft_ui(ui, t!("pace-planned", all = words::span(state.estimate_secs), one = figure(one_secs)));
    if let Some(one_secs) = state.pace.secs_a_stop() {
        let all = words::span(one_secs * stops as f64);
        soft_ui(ui, t!("pace-measured", one = figure(one_secs), all = all));
    } else {
        // The line is kept, so that nothing below moves when it comes.
        let height = ui.fonts_mut(|fonts| fonts.row_height(&theme::small()));
        ui.allocate_exact_size(vec2(0.0, height), Sense::hover());
    }
}

fn start_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, tall: f32) {
    let missing = state.to_shoot();
    let text = match (missing, state.kept()) {
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
    let response = button_ui(ui, text, true, vec2(width, tall));
    if response.on_hover_text(t!("controls-esc-at-any-time-the")).clicked() {
        sink.session(Intent::StopNow);
    }
}

fn waiting_ui(ui: &mut Ui, text: &str, width: f32, tall: f32) {
    button_ui(ui, text, false, vec2(width, tall));
}
