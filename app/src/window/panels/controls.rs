//! Start, pause, go on, stop.

use egui::{RichText, Ui, vec2};
use session_core::engine::{Intent, Mode, PauseReason};

use super::widgets::{button_ui, primary_button_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::{theme, words};

/// Draws the buttons that fit what the session is doing.
pub fn controls_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.add_space(6.0);
    let width = ui.available_width();
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let tall = 38.0;
    ui.horizontal(|ui| match (state.link, &state.mode) {
        (Link::Opening, _) => {
            waiting_ui(ui, "Connecting…", half, tall);
            stop_button_ui(ui, sink, "Call off", half, tall);
        }
        (Link::Closing, _) => waiting_ui(ui, "Ending the session…", width, tall),
        (Link::Open, Mode::Running) => {
            if primary_button_ui(ui, "Pause after this frame", true, vec2(half, tall)).clicked() {
                sink.session(Intent::PauseAfterFrame);
            }
            stop_button_ui(ui, sink, "Stop at once", half, tall);
        }
        (Link::Open, Mode::Pausing) => {
            if primary_button_ui(ui, "Pausing… keep going", true, vec2(half, tall))
                .on_hover_text("The present stop is finished first. Click to go on without a pause.")
                .clicked()
            {
                sink.session(Intent::Resume);
            }
            stop_button_ui(ui, sink, "Stop at once", half, tall);
        }
        (Link::Open, Mode::Paused(reason)) => {
            let text = if *reason == PauseReason::Asked { "Go on" } else { "Camera is set, go on" };
            if primary_button_ui(ui, text, true, vec2(half, tall)).clicked() {
                sink.session(Intent::Resume);
            }
            stop_button_ui(ui, sink, "Stop", half, tall);
        }
        (Link::Open, Mode::Stopping) => {
            if button_ui(ui, "Stopping… do not wait for the frame", true, vec2(width, tall))
                .on_hover_text("A frame already exposed is still let in. Click to end that wait too.")
                .clicked()
            {
                sink.session(Intent::StopNow);
            }
        }
        (Link::Open, Mode::Fault(_)) => waiting_ui(ui, "Waiting for you: see the message", width, tall),
        (Link::Closed, _) | (Link::Open, Mode::Ready | Mode::Stopped | Mode::Finished) => {
            start_ui(ui, state, sink, width, tall);
        }
    });
    if let (false, Some(hindrance)) = (state.is_busy(), state.hindrance()) {
        ui.add(egui::Label::new(RichText::new(hindrance).font(theme::small())).wrap());
    }
}

fn start_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, tall: f32) {
    let missing = state.to_shoot();
    let text = match (missing, state.kept()) {
        (0, _) => "Nothing left to shoot".to_owned(),
        (_, 0) => format!("Start: shoot {}", words::count(missing, "stop", "stops")),
        (1, _) => "Shoot the missing stop".to_owned(),
        _ => format!("Shoot the {missing} missing stops"),
    };
    let hindrance = state.hindrance();
    let mut response = primary_button_ui(ui, &text, missing > 0 && hindrance.is_none(), vec2(width, tall));
    if let Some(hindrance) = hindrance {
        response = response.on_disabled_hover_text(hindrance);
    } else if missing == 0 {
        response = response.on_disabled_hover_text("Every stop has its frame. Select stops to retake them.");
    }
    if response.clicked() {
        sink.send(WindowIntent::Shoot);
    }
}

fn stop_button_ui(ui: &mut Ui, sink: &IntentSink, text: &str, width: f32, tall: f32) {
    let response = button_ui(ui, text, true, vec2(width, tall));
    if response.on_hover_text("Esc, at any time. The table halts; a frame already exposed is kept.").clicked()
    {
        sink.session(Intent::StopNow);
    }
}

fn waiting_ui(ui: &mut Ui, text: &str, width: f32, tall: f32) {
    button_ui(ui, text, false, vec2(width, tall));
}
