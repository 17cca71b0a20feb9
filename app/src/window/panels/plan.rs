//! The plan's fields. A field with a bad value is marked, and says why while it is typed in or pointed at.

use egui::{Align, Id, Layout, Response, Ui, vec2};
use session_core::motion::Direction;
use session_core::plan::{MAX_ROWS, PlanField};

use super::plan_row::row_ui;
use super::widgets::{Field, button_ui, field_id, field_ui, problem_over_ui, soft_ui};
use crate::window::draft::PlanEdit;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::Mark;
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{marks, words};

/// Draws what stays in sight above the fields: the heading, and what is done with the whole plan.
pub fn plan_head_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    heading_ui(ui, state, !state.is_busy(), sink);
}

/// In a narrower column the heading's buttons move together, points.
const ROOMY: f32 = 320.0;

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
    let add = ui
        .horizontal(|ui| {
            let add = button_ui(ui, &t!("plan-add-a-row"), enabled && room, vec2(0.0, 0.0));
            mark_problem_ui(ui, state, PlanField::Whole, &add);
            add
        })
        .inner;
    if add.on_hover_text(t!("plan-one-more-turn-shot-after")).clicked() {
        sink.send(WindowIntent::Edit(PlanEdit::AddRow));
    }
    ui.horizontal(|ui| closing_ui(ui, state, sink, enabled));
    ui.add_space(4.0);
    times_ui(ui, state, sink, width, enabled);
    file_name_ui(ui, state, sink, width, enabled);
    ui.add_space(6.0);
}

/// Marks what is no field of text as wrong, and says why while it is pointed at.
fn mark_problem_ui(ui: &mut Ui, state: &State, field: PlanField, at: &Response) {
    if let Some(problem) = state.problem_of(field) {
        marks::mark_ui(ui, Mark::Problem);
        problem_over_ui(ui, at, problem);
    }
}

fn heading_ui(ui: &mut Ui, state: &State, enabled: bool, sink: &IntentSink) {
    ui.horizontal(|ui| {
        if ui.available_width() < ROOMY {
            ui.spacing_mut().button_padding.x = 7.0;
        }
        ui.heading(t!("plan-plan"));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if button_ui(ui, &t!("plan-save"), state.problems.is_empty(), vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::SavePlan);
            }
            // A line of its own would push the fields down when shooting begins.
            if !enabled {
                ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                    soft_ui(ui, t!("plan-it-can-be-changed-when"));
                });
                return;
            }
            if button_ui(ui, &t!("plan-open"), true, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::OpenPlan);
            }
            let small = vec2(0.0, 0.0);
            if button_ui(ui, &t!("plan-redo"), state.history.can_redo(), small).clicked() {
                sink.send(WindowIntent::Redo);
            }
            if button_ui(ui, &t!("plan-undo"), state.history.can_undo(), small).clicked() {
                sink.send(WindowIntent::Undo);
            }
        });
    });
}

/// Gives the SKU's field the keyboard as soon as it can be typed in.
pub fn ask_for_sku(ui: &Ui) {
    ui.data_mut(|data| data.insert_temp(sku_wanted(), ()));
}

fn sku_wanted() -> Id {
    Id::unique("the SKU is to be typed")
}

fn name_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let spacing = ui.spacing().item_spacing.x;
    let sku_width = 124.0;
    ui.horizontal(|ui| {
        let field = Field {
            caption: &t!("plan-sku"),
            name: &t!("plan-sku"),
            text: &state.draft.sku,
            hint: "",
            width: sku_width,
            problem: state.problem_of(PlanField::Sku),
            tip: Some(|| t!("plan-sku-tip")),
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Sku(text)));
        }
        // While the last session ends the fields cannot be typed in, and hold the last product's SKU until then.
        let is_ready = enabled && state.draft.sku.is_empty();
        if is_ready && ui.data_mut(|data| data.remove_temp::<()>(sku_wanted())).is_some() {
            ui.memory_mut(|memory| memory.request_focus(field_id(field.name)));
        }
        let field = Field {
            caption: &t!("plan-title"),
            name: &t!("plan-title"),
            text: &state.draft.title,
            hint: &t!("plan-for-people-may-be-empty"),
            width: width - sku_width - spacing,
            problem: None,
            tip: Some(|| t!("plan-title-tip")),
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Title(text)));
        }
    });
}

fn direction_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    ui.horizontal(|ui| {
        soft_ui(ui, t!("plan-the-plate-turns"));
        for direction in [Direction::Anticlockwise, Direction::Clockwise] {
            let chosen = state.draft.direction == direction;
            let button = egui::Button::selectable(chosen, words::direction(direction))
                .frame(true)
                .frame_when_inactive(true);
            if ui.add_enabled(enabled, button).on_hover_text(t!("plan-seen-from-above")).clicked() && !chosen
            {
                sink.send(WindowIntent::Edit(PlanEdit::Direction(direction)));
            }
        }
    });
}

/// Whether whole turns end with one frame more.
fn closing_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    let mut wanted = state.draft.closing_frame;
    let checkbox = ui.add_enabled(enabled, egui::Checkbox::new(&mut wanted, t!("plan-closing-frame")));
    mark_problem_ui(ui, state, PlanField::ClosingFrame, &checkbox);
    if checkbox.on_hover_text(t!("plan-closing-frame-tip")).changed() {
        sink.send(WindowIntent::Edit(PlanEdit::ClosingFrame(wanted)));
    }
}

fn times_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let cell_ui = |ui: &mut Ui, caption: &str, tip: fn() -> String, hint: &str, field, text: &str| {
        let (problem, tip) = (state.problem_of(field), Some(tip));
        field_ui(ui, &Field { caption, name: caption, text, hint, width: half, problem, tip, enabled })
    };
    ui.horizontal(|ui| {
        let settle = t!("plan-settle-after-a-turn-s");
        let tip = || t!("plan-settle-tip");
        if let Some(text) = cell_ui(ui, &settle, tip, "", PlanField::Settle, &state.draft.settle_secs) {
            sink.send(WindowIntent::Edit(PlanEdit::SettleSecs(text)));
        }
        let exposure = t!("plan-exposure-s");
        let tip = || t!("plan-exposure-tip");
        if let Some(text) = cell_ui(ui, &exposure, tip, "", PlanField::Exposure, &state.draft.exposure_secs) {
            sink.send(WindowIntent::Edit(PlanEdit::ExposureSecs(text)));
        }
    });
    let watched = cell_ui(
        ui,
        &t!("plan-rest-within-s"),
        || t!("plan-rest-within-tip"),
        &t!("plan-rest-within-hint"),
        PlanField::RestWithin,
        &state.draft.rest_within_secs,
    );
    if let Some(text) = watched {
        sink.send(WindowIntent::Edit(PlanEdit::RestWithinSecs(text)));
    }
    if state.problems.is_empty() {
        soft_ui(ui, t!("plan-the-whole-set", stops = t!("count-stops", n = state.places.len())));
    } else {
        soft_ui(ui, t!("plan-the-ring-shows-the-last"));
    }
}

fn file_name_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let field = Field {
        caption: &t!("plan-file-names"),
        name: &t!("plan-file-name-pattern"),
        text: &state.draft.file_name,
        hint: "{sku}_{row}_{stop}_{degrees}",
        width,
        problem: state.problem_of(PlanField::FileName),
        tip: Some(|| t!("plan-fields-sku-row-stop-degrees")),
        enabled,
    };
    if let Some(text) = field_ui(ui, &field) {
        sink.send(WindowIntent::Edit(PlanEdit::FileName(text)));
    }
    let example = match state.example_name() {
        Some(name) => t!("plan-first-file-jpg", name = name),
        None => t!("plan-first-file-to-come"),
    };
    soft_ui(ui, example).on_hover_text(t!("plan-fields-sku-row-stop-degrees"));
}
