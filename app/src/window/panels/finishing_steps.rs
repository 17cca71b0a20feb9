//! The steps of finishing, in their order, each with its settings.

use crate::window::text::t;
use egui::{ComboBox, DragValue, RichText, Ui};
use imaging::finish::{Background, FinishSettings, Placement, Shadow, WhiteBalance};
use session_core::engine::Intent;

use super::widgets::{Field, Said, ask_ui, button_ui, field_ui, slider_ui, soft_ui};
use crate::listing::FinishingFile;
use crate::window::finishing::{FinishingEdit, FinishingWish};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::Pictures;
use crate::window::state::State;
use crate::window::{theme, words};

/// Ratios with a name, width over height.
const RATIOS: [(&str, f64); 6] = [
    ("1 : 1", 1.0),
    ("4 : 3", 4.0 / 3.0),
    ("3 : 2", 1.5),
    ("16 : 9", 16.0 / 9.0),
    ("3 : 4", 0.75),
    ("2 : 3", 2.0 / 3.0),
];

/// Draws the steps.
pub fn steps_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let room = &state.finishing;
    let Some(file) = &room.file else {
        soft_ui(ui, t!("finishing-reading"));
        return;
    };
    let settings = &file.settings;
    let edit = |edit| sink.send(WindowIntent::Finishing(FinishingWish::Edit(edit)));
    let proof = room.stop().and_then(|here| pictures.proofs.look(here.stop, room.revision).0);
    let proof = proof.and_then(|proof| proof.as_ref().ok());

    step_ui(ui, &t!("finishing-even"), settings.even, |on| edit(FinishingEdit::Even(on)));
    let neutral = settings.white_balance == WhiteBalance::Background;
    step_ui(ui, &t!("finishing-neutral"), neutral, |on| edit(FinishingEdit::Neutral(on)));
    step_ui(ui, &t!("finishing-straighten"), settings.straighten, |on| {
        edit(FinishingEdit::Straighten(on));
    });
    // What belongs to a step keeps its place whether it is on or not, so that nothing below it moves.
    indented(ui, settings.straighten, |ui| {
        soft_ui(
            ui,
            match proof {
                _ if !settings.straighten => t!("finishing-axis-not-used"),
                Some(proof) if proof.axis_known => axis_words(proof.placement),
                Some(_) => t!("finishing-axis-unknown"),
                None => t!("finishing-axis-to-come"),
            },
        );
    });
    crop_ui(ui, settings, &edit);
    background_ui(ui, settings, &edit);
    plate_ui(ui, state, file, sink, &edit);
    let sharpen = settings.sharpen_percent > 0.0;
    step_ui(ui, &t!("finishing-sharpen"), sharpen, |on| edit(FinishingEdit::Sharpen(on)));
    indented(ui, sharpen, |ui| {
        let mut percent = settings.sharpen_percent;
        if percent_ui(ui, &t!("finishing-sharpening"), &mut percent, 1.0, 100.0) && sharpen {
            edit(FinishingEdit::SharpenPercent(percent));
        }
    });
    ui.add_space(6.0);
    for (caption, text, make) in [
        (t!("finishing-creator"), &file.creator, FinishingEdit::Creator as fn(String) -> _),
        (t!("finishing-rights"), &file.copyright, FinishingEdit::Copyright as fn(String) -> _),
    ] {
        let width = ui.available_width() - 14.0;
        let field = Field {
            caption: &caption,
            name: &caption,
            text,
            hint: &t!("finishing-none-yet"),
            width,
            problem: None,
            tip: None,
            enabled: true,
        };
        if let Some(text) = field_ui(ui, &field) {
            edit(make(text));
        }
    }
    for note in proof.map(|proof| proof.notes.as_slice()).unwrap_or_default() {
        ui.add(egui::Label::new(RichText::new(crate::words::capital(note)).font(theme::small())).wrap());
    }
}

/// Where the turning axis lies in the frame, in words.
fn axis_words(placement: Placement) -> String {
    // Without a minus before a nought.
    let rounded = |value: f64, parts: f64| (value * parts).round() / parts + 0.0;
    let off = rounded(placement.pivot_px[0] - f64::from(placement.frame_px.0) / 2.0, 10.0);
    let lean = rounded(placement.turn_deg, 100.0);
    t!("finishing-axis", off = format!("{off:+.1}"), lean = format!("{lean:+.2}"))
}

fn crop_ui(ui: &mut Ui, settings: &FinishSettings, edit: &impl Fn(FinishingEdit)) {
    step_ui(ui, &t!("finishing-crop"), settings.crop.is_some(), |on| edit(FinishingEdit::Crop(on)));
    let crop = settings.crop.unwrap_or_default();
    indented(ui, settings.crop.is_some(), |ui| {
        let mut margin = crop.margin_percent as f32;
        if percent_ui(ui, &t!("finishing-margin"), &mut margin, 0.0, 45.0) {
            edit(FinishingEdit::Margin(f64::from(margin)));
        }
        ui.horizontal(|ui| {
            soft_ui(ui, t!("finishing-width-to-height"));
            let named = RATIOS.iter().find(|(_, ratio)| (ratio - crop.ratio).abs() < 1e-3);
            let text = named.map_or_else(|| t!("finishing-own-ratio"), |(name, _)| (*name).to_owned());
            let combo =
                ComboBox::from_id_salt("ratio").selected_text(text.as_str()).width(84.0).show_ui(ui, |ui| {
                    for (name, ratio) in RATIOS {
                        if ui.selectable_label(text == name, name).clicked() {
                            edit(FinishingEdit::Ratio(ratio));
                        }
                    }
                });
            ui.ctx().accesskit_node_builder(combo.response.id, |node| {
                node.set_label(t!("finishing-width-to-height"));
            });
            let mut ratio = crop.ratio;
            let drag = DragValue::new(&mut ratio).range(0.1..=10.0).speed(0.01).max_decimals(3);
            let response = ui.add(drag);
            ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(t!("finishing-ratio")));
            if response.changed() {
                edit(FinishingEdit::Ratio(ratio));
            }
        });
    });
}

fn background_ui(ui: &mut Ui, settings: &FinishSettings, edit: &impl Fn(FinishingEdit)) {
    let white = settings.background == Background::White;
    step_ui(ui, &t!("finishing-white"), white, |on| edit(FinishingEdit::White(on)));
    indented(ui, white, |ui| {
        ui.horizontal(|ui| {
            for (shadow, text) in
                [(Shadow::Keep, t!("finishing-keep-shadow")), (Shadow::Remove, t!("finishing-no-shadow"))]
            {
                if ui.radio(settings.shadow == shadow, text).clicked() {
                    edit(FinishingEdit::KeepShadow(shadow == Shadow::Keep));
                }
            }
        });
    });
}

fn plate_ui(
    ui: &mut Ui,
    state: &State,
    file: &FinishingFile,
    sink: &IntentSink,
    edit: &impl Fn(FinishingEdit),
) {
    let wish = |wish| sink.send(WindowIntent::Finishing(wish));
    let size = egui::Vec2::ZERO;
    indented(ui, true, |ui| {
        let row = state.row_in_room().map_or("", |row| row.name.as_str());
        let plate = file.plate_of(row);
        let name = plate.as_ref().map(|plate| words::middle_cut(plate, 34));
        let short_row = words::middle_cut(row, 10);
        let text = match (name, state.has_rows()) {
            _ if state.trying => t!("finishing-plate-being-shot"),
            (Some(name), false) => t!("finishing-plate", file = name),
            (None, false) => t!("finishing-no-plate"),
            (Some(name), true) => t!("finishing-plate-of-row", row = short_row, file = name),
            (None, true) => t!("finishing-no-plate-of-row", row = short_row),
        };
        soft_ui(ui, text).on_hover_text(t!("finishing-plate-tip"));
        ui.horizontal_wrapped(|ui| {
            if state.trying {
                if button_ui(ui, &t!("controls-call-off"), true, size).clicked() {
                    sink.session(Intent::StopNow);
                }
                return;
            }
            let shoot = button_ui(ui, &t!("finishing-shoot-plate"), state.can_shoot_plate(), size)
                .on_hover_text(t!("finishing-plate-tip"))
                .on_disabled_hover_text(t!("finishing-shoot-plate-not-yet"));
            if shoot.clicked() {
                wish(FinishingWish::AskForPlate(true));
            }
            let choose = button_ui(ui, &t!("finishing-plate-from-file"), true, size)
                .on_hover_text(t!("finishing-choose-plate-tip"));
            ui.ctx().accesskit_node_builder(choose.id, |node| node.set_label(t!("finishing-choose-plate")));
            if choose.clicked() {
                wish(FinishingWish::ChoosePlate);
            }
            if button_ui(ui, &t!("finishing-none"), plate.is_some(), size).clicked() {
                // One row's own goes alone.
                edit(if state.has_rows() && file.plates.contains_key(row) {
                    FinishingEdit::PlateOfRow(row.to_owned(), None)
                } else {
                    FinishingEdit::Plate(None)
                });
            }
        });
    });
}

/// Asks, before the empty table is shot, whether it is empty.
pub fn plate_card_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    if !state.finishing.plate_asked {
        return;
    }
    let ask = match state.row_in_room().filter(|_| state.has_rows()) {
        Some(row) => t!("finishing-plate-ask-of-row", row = &*row.name),
        None => t!("finishing-plate-ask"),
    };
    let go = t!("finishing-plate-go");
    let said = ask_ui(ui, "empty table", &t!("finishing-plate-title"), &ask, (&go, state.can_shoot_plate()));
    if let Some(said) = said {
        let wish = match said {
            Said::Yes => FinishingWish::ShootPlate,
            Said::No => FinishingWish::AskForPlate(false),
        };
        sink.send(WindowIntent::Finishing(wish));
    }
}

/// A step that can be left out.
fn step_ui(ui: &mut Ui, name: &str, on: bool, change: impl FnOnce(bool)) {
    let mut wanted = on;
    ui.add_space(3.0);
    if ui.checkbox(&mut wanted, name).changed() {
        change(wanted);
    }
}

/// What belongs to a step, set in; `on` tells whether it can be changed.
fn indented(ui: &mut Ui, on: bool, content: impl FnOnce(&mut Ui)) {
    ui.horizontal(|ui| {
        ui.add_space(26.0);
        ui.add_enabled_ui(on, |ui| ui.vertical(content));
    });
}

/// A slider in per cent under its name; tells whether it was moved.
fn percent_ui(ui: &mut Ui, name: &str, value: &mut f32, least: f32, most: f32) -> bool {
    ui.horizontal(|ui| {
        ui.allocate_ui(egui::vec2(78.0, 24.0), |ui| {
            ui.set_min_width(78.0);
            soft_ui(ui, name);
        });
        ui.spacing_mut().slider_width = 110.0;
        let response = slider_ui(ui, value, least..=most, 1.0, |slider| {
            slider.min_decimals(0).max_decimals(1).suffix(" %")
        });
        ui.ctx().accesskit_node_builder(response.id, |node| {
            node.set_label(t!("finishing-per-cent", name = name));
        });
        response.changed()
    })
    .inner
}
