//! How a controller is spoken to, and what it says when it is asked.

use egui::{Label, RichText, ScrollArea, Ui, vec2};
use session_core::turntable::serial::PRESETS;

use super::widgets::{Field, button_ui, field_ui, problem_ui, soft_ui};
use crate::window::devices::{Heard, TableEdit};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::speech::{SpeechEdit, Way};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::theme;

/// The room for what is wrong with the fields, points.
const REASON: f32 = 34.0;

/// Draws the choice of a language and its fields.
pub fn speech_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let speech = &state.devices.speech;
    let edit = |edit| sink.send(WindowIntent::Table(TableEdit::Speech(edit)));
    let presets = (0..PRESETS.len()).map(Way::Preset);
    let ways = std::iter::once(Way::Own).chain(speech.given.iter().map(|_| Way::Given)).chain(presets);
    let response = ui.add_enabled(
        enabled,
        egui::Button::new(t!("speech-spoken-to", way = way_name(speech.way)))
            .truncate()
            .min_size(vec2(width, 0.0)),
    );
    egui::Popup::menu(&response).show(|ui| {
        ui.set_max_width(420.0);
        for way in ways {
            if ui.radio(speech.way == way, way_name(way)).clicked() {
                edit(SpeechEdit::Way(way));
            }
            if let Way::Preset(at) = way
                && let Some((_, what)) = PRESETS.get(at)
            {
                soft_ui(ui, *what);
            }
        }
    });
    if !matches!(speech.way, Way::Preset(_)) {
        return;
    }
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let cell = |ui: &mut Ui, caption: &str, text: &str, hint: &str| {
        field_ui(
            ui,
            &Field { caption, name: caption, text, hint, width: half, problem: None, tip: None, enabled },
        )
    };
    ui.horizontal(|ui| {
        if let Some(text) = cell(ui, &t!("speech-steps"), &speech.steps_per_turn, "3200") {
            edit(SpeechEdit::StepsPerTurn(text));
        }
        if let Some(text) = cell(ui, &t!("speech-baud"), &speech.baud, "115200") {
            edit(SpeechEdit::Baud(text));
        }
    });
    ui.horizontal(|ui| {
        if let Some(text) = cell(ui, &t!("speech-axis"), &speech.axis, "A") {
            edit(SpeechEdit::Axis(text));
        }
        if let Some(text) = cell(ui, &t!("speech-unit"), &speech.degrees_per_unit, "1") {
            edit(SpeechEdit::DegreesPerUnit(text));
        }
    });
    // Its place is kept, so that nothing below moves while the fields are typed in.
    ui.scope(|ui| {
        ui.set_min_height(REASON);
        if let Err(reason) = speech.dialect().and(speech.baud().map(|_| ())) {
            problem_ui(ui, &reason);
        }
    });
}

fn way_name(way: Way) -> String {
    match way {
        Way::Own => t!("speech-own"),
        Way::Given => t!("speech-given"),
        Way::Preset(at) => PRESETS.get(at).map(|(name, _)| (*name).to_owned()).unwrap_or_default(),
    }
}

/// Draws the button that asks what is on the port, and what was heard.
pub fn probe_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    let heard = &state.devices.heard;
    let can_ask = enabled
        && state.link == Link::Closed
        && !state.trying
        && *heard != Heard::Asking
        && !state.devices.port.trim().is_empty();
    if button_ui(ui, &t!("probe-ask"), can_ask, vec2(0.0, 0.0)).on_hover_text(t!("probe-tip")).clicked() {
        sink.send(WindowIntent::Probe);
    }
    match heard {
        Heard::Nothing => {}
        Heard::Asking => {
            soft_ui(ui, t!("probe-asking"));
        }
        Heard::Lines(lines, dialect) => {
            ScrollArea::vertical().id_salt("heard").max_height(150.0).show(ui, |ui| {
                for line in lines {
                    ui.add(Label::new(RichText::new(line).font(theme::small())).wrap());
                }
            });
            let known = dialect.as_ref().and_then(|name| PRESETS.iter().position(|preset| preset.0 == name));
            if let Some(at) = known.filter(|at| state.devices.speech.way != Way::Preset(*at))
                && button_ui(ui, &t!("probe-speak", way = PRESETS[at].0), enabled, vec2(0.0, 0.0)).clicked()
            {
                sink.send(WindowIntent::Table(TableEdit::Speech(SpeechEdit::Way(Way::Preset(at)))));
            }
        }
    }
}
