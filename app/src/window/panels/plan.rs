//! The plan's fields; a bad value says why beside its field.

use egui::{RichText, Ui, vec2};
use session_core::motion::Direction;
use session_core::plan::{MAX_ROWS, PlanField};

use super::plan_row::row_ui;
use super::widgets::{Field, button_ui, field_ui, primary_button_ui, problem_ui, soft_ui};
use crate::window::draft::PlanEdit;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::{theme, words};

/// Draws what stays in sight above the fields: the heading, and what a changed plan would do.
pub fn plan_head_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    heading_ui(ui, state, enabled, sink);
    change_ui(ui, state, sink, enabled);
}

/// Draws the plan's fields.
pub fn plan_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    // Room for the scroll bar, whether it is there or not, so that nothing moves when it comes.
    let width = (ui.available_width().min(360.0) - 4.0).max(240.0);
    ui.set_width(width);
    name_ui(ui, state, sink, width, enabled);
    direction_ui(ui, state, sink, enabled);
    for at in 0..state.draft.rows.len() {
        ui.push_id(state.draft.rows[at].id, |ui| row_ui(ui, state, sink, at, width, enabled));
    }
    let room = state.draft.rows.len() < MAX_ROWS;
    if button_ui(ui, "Add a row", enabled && room, vec2(0.0, 0.0))
        .on_hover_text("One more turn, shot after the others with the camera set anew")
        .clicked()
    {
        sink.send(WindowIntent::Edit(PlanEdit::AddRow));
    }
    problem_of(ui, state, &[PlanField::Whole]);
    ui.add_space(4.0);
    times_ui(ui, state, sink, width, enabled);
    file_name_ui(ui, state, sink, width, enabled);
    ui.add_space(6.0);
}

fn heading_ui(ui: &mut Ui, state: &State, enabled: bool, sink: &IntentSink) {
    ui.horizontal(|ui| {
        ui.heading("Plan");
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if button_ui(ui, "Save…", true, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::SavePlan);
            }
            if button_ui(ui, "Open…", enabled, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::OpenPlan);
            }
            let small = vec2(0.0, 0.0);
            if button_ui(ui, "Redo", enabled && state.history.can_redo(), small).clicked() {
                sink.send(WindowIntent::Redo);
            }
            if button_ui(ui, "Undo", enabled && state.history.can_undo(), small).clicked() {
                sink.send(WindowIntent::Undo);
            }
        });
    });
    if !enabled {
        soft_ui(ui, "It can be changed when the session is stopped.");
    }
}

/// Says what a changed plan does to the frames at hand, and asks.
fn change_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    let (Some(change), true) = (state.change, enabled) else { return };
    egui::Frame::new().fill(theme::raised()).corner_radius(6.0).inner_margin(10.0).show(ui, |ui| {
        ui.set_width(ui.available_width());
        // Another product's set is the likelier slip than a changed plan.
        let other = state.in_force.as_ref().map(|set| &set.plan.sku).filter(|sku| **sku != state.planned.sku);
        let headline = match other {
            Some(sku) => format!("This folder holds a set of {sku}"),
            None => "Changed from the set in this folder".to_owned(),
        };
        ui.add(egui::Label::new(RichText::new(headline).strong()).wrap());
        let stay = match change.stay {
            0 => "No frame stays".to_owned(),
            1 => "1 frame stays with its stop".to_owned(),
            several => format!("{several} frames stay with their stops"),
        };
        let back = match change.back {
            0 => String::new(),
            several => format!(", {several} of an earlier plan count again"),
        };
        let missing = words::count(change.missing, "stop will be", "stops will be");
        let mut says = vec![format!("{stay}{back}, {missing} without.")];
        if change.orphaned > 0 {
            says.push(format!(
                "{} no longer in the plan; the files stay in the folder.",
                words::count(change.orphaned, "frame is", "frames are")
            ));
        }
        if change.turned_round {
            says.push("The frames at hand were shot turning the other way: their angles would be mirrored. Choose another folder for this plan.".to_owned());
        }
        ui.label(RichText::new(says.join(" ")).font(theme::small()));
        ui.horizontal(|ui| {
            let good = state.problems.is_empty() && !change.turned_round;
            if primary_button_ui(ui, "Use changed plan", good, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::UsePlan);
            }
            if button_ui(ui, "Undo changes", true, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::UndoPlan);
            }
        });
    });
}

fn name_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let spacing = ui.spacing().item_spacing.x;
    let sku_width = 124.0;
    ui.horizontal(|ui| {
        let wrong = state.problem_of(PlanField::Sku).is_some();
        let field = Field {
            caption: "SKU",
            name: "SKU",
            text: &state.draft.sku,
            hint: "",
            width: sku_width,
            wrong,
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Sku(text)));
        }
        let field = Field {
            caption: "Title",
            name: "Title",
            text: &state.draft.title,
            hint: "for people, may be empty",
            width: width - sku_width - spacing,
            wrong: false,
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Title(text)));
        }
    });
    problem_of(ui, state, &[PlanField::Sku]);
}

fn direction_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    ui.horizontal(|ui| {
        soft_ui(ui, "The plate turns");
        for direction in [Direction::Anticlockwise, Direction::Clockwise] {
            let chosen = state.draft.direction == direction;
            let button =
                egui::Button::selectable(chosen, direction.word()).frame(true).frame_when_inactive(true);
            if ui.add_enabled(enabled, button).on_hover_text("Seen from above").clicked() && !chosen {
                sink.send(WindowIntent::Edit(PlanEdit::Direction(direction)));
            }
        }
    });
}

fn times_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let cell_ui = |ui: &mut Ui, caption, field, text| {
        let wrong = state.problem_of(field).is_some();
        field_ui(ui, &Field { caption, name: caption, text, hint: "", width: half, wrong, enabled })
    };
    ui.horizontal(|ui| {
        if let Some(text) = cell_ui(ui, "Settle after a turn, s", PlanField::Settle, &state.draft.settle_secs)
        {
            sink.send(WindowIntent::Edit(PlanEdit::SettleSecs(text)));
        }
        if let Some(text) = cell_ui(ui, "Exposure, s", PlanField::Exposure, &state.draft.exposure_secs) {
            sink.send(WindowIntent::Edit(PlanEdit::ExposureSecs(text)));
        }
    });
    problem_of(ui, state, &[PlanField::Settle, PlanField::Exposure]);
    if state.problems.is_empty() {
        let stops = words::count(state.places.len(), "stop", "stops");
        soft_ui(ui, format!("The whole set: {stops}, {}", words::span(state.estimate_secs)));
    } else {
        soft_ui(ui, "The ring shows the last plan that can be shot.");
    }
}

fn file_name_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let wrong = state.problem_of(PlanField::FileName).is_some();
    let field = Field {
        caption: "File names",
        name: "File-name pattern",
        text: &state.draft.file_name,
        hint: "{sku}_{row}_{stop}_{degrees}",
        width,
        wrong,
        enabled,
    };
    if let Some(text) = field_ui(ui, &field) {
        sink.send(WindowIntent::Edit(PlanEdit::FileName(text)));
    }
    problem_of(ui, state, &[PlanField::FileName]);
    if let (Some(name), false) = (state.example_name(), wrong) {
        soft_ui(ui, format!("First file: {name}.jpg"))
            .on_hover_text("Fields: {sku} {row} {stop} {degrees} {date}");
    }
}

/// Says what is wrong with any of these fields.
pub fn problem_of(ui: &mut Ui, state: &State, fields: &[PlanField]) {
    for field in fields {
        if let Some(message) = state.problem_of(*field) {
            problem_ui(ui, message);
        }
    }
}
