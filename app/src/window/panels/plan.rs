//! The plan's fields; a bad value says why beside its field.

use egui::{Align, Layout, RichText, Ui, vec2};
use session_core::motion::Direction;
use session_core::plan::{MAX_ROWS, PlanField};

use super::plan_row::row_ui;
use super::widgets::{Field, button_ui, field_ui, primary_button_ui, problem_ui, soft_ui};
use crate::window::draft::PlanEdit;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{theme, words};

/// Draws what stays in sight above the fields: the heading, and what a changed plan would do.
pub fn plan_head_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    heading_ui(ui, state, enabled, sink);
    change_ui(ui, state, sink, enabled);
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
    if button_ui(ui, &t!("plan-add-a-row"), enabled && room, vec2(0.0, 0.0))
        .on_hover_text(t!("plan-one-more-turn-shot-after"))
        .clicked()
    {
        sink.send(WindowIntent::Edit(PlanEdit::AddRow));
    }
    problem_of(ui, state, &[PlanField::Whole]);
    closing_ui(ui, state, sink, enabled);
    problem_of(ui, state, &[PlanField::ClosingFrame]);
    ui.add_space(4.0);
    times_ui(ui, state, sink, width, enabled);
    file_name_ui(ui, state, sink, width, enabled);
    ui.add_space(6.0);
}

fn heading_ui(ui: &mut Ui, state: &State, enabled: bool, sink: &IntentSink) {
    ui.horizontal(|ui| {
        if ui.available_width() < ROOMY {
            ui.spacing_mut().button_padding.x = 7.0;
        }
        ui.heading(t!("plan-plan"));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if button_ui(ui, &t!("plan-save"), true, vec2(0.0, 0.0)).clicked() {
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

/// Says what a changed plan does to the frames at hand, and asks.
fn change_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    let (Some(change), true) = (state.change, enabled) else { return };
    egui::Frame::new().fill(theme::raised()).corner_radius(6.0).inner_margin(10.0).show(ui, |ui| {
        ui.set_width(ui.available_width());
        // Another product's set is the likelier slip than a changed plan.
        let other = state.in_force.as_ref().map(|set| &set.plan.sku).filter(|sku| **sku != state.planned.sku);
        let headline = match other {
            Some(sku) => t!("plan-this-folder-holds-a-set", sku = sku),
            None => t!("plan-changed-from-the-set-in"),
        };
        ui.add(egui::Label::new(RichText::new(headline).strong()).wrap());
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
        let mut says = vec![t!("plan-without", stay = stay, back = back, missing = missing)];
        if change.orphaned > 0 {
            says.push(t!(
                "plan-no-longer-in-the-plan",
                orphaned = t!("count-frames-are", n = change.orphaned)
            ));
        }
        if change.turned_round {
            says.push(t!("plan-the-frames-at-hand-were"));
        }
        ui.label(RichText::new(says.join(" ")).font(theme::small()));
        ui.horizontal(|ui| {
            let good = state.problems.is_empty() && !change.turned_round;
            if primary_button_ui(ui, &t!("plan-use-changed-plan"), good, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::UsePlan);
            }
            if button_ui(ui, &t!("plan-undo-changes"), true, vec2(0.0, 0.0)).clicked() {
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
            caption: &t!("plan-sku"),
            name: &t!("plan-sku"),
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
            caption: &t!("plan-title"),
            name: &t!("plan-title"),
            text: &state.draft.title,
            hint: &t!("plan-for-people-may-be-empty"),
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
    if checkbox.on_hover_text(t!("plan-closing-frame-tip")).changed() {
        sink.send(WindowIntent::Edit(PlanEdit::ClosingFrame(wanted)));
    }
}

fn times_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let half = (width - ui.spacing().item_spacing.x) / 2.0;
    let cell_ui = |ui: &mut Ui, caption: &str, hint: &str, field, text: &str| {
        let wrong = state.problem_of(field).is_some();
        field_ui(ui, &Field { caption, name: caption, text, hint, width: half, wrong, enabled })
    };
    ui.horizontal(|ui| {
        if let Some(text) =
            cell_ui(ui, &t!("plan-settle-after-a-turn-s"), "", PlanField::Settle, &state.draft.settle_secs)
        {
            sink.send(WindowIntent::Edit(PlanEdit::SettleSecs(text)));
        }
        if let Some(text) =
            cell_ui(ui, &t!("plan-exposure-s"), "", PlanField::Exposure, &state.draft.exposure_secs)
        {
            sink.send(WindowIntent::Edit(PlanEdit::ExposureSecs(text)));
        }
    });
    let watched = cell_ui(
        ui,
        &t!("plan-rest-within-s"),
        &t!("plan-rest-within-hint"),
        PlanField::RestWithin,
        &state.draft.rest_within_secs,
    );
    if let Some(text) = watched {
        sink.send(WindowIntent::Edit(PlanEdit::RestWithinSecs(text)));
    }
    problem_of(ui, state, &[PlanField::Settle, PlanField::Exposure, PlanField::RestWithin]);
    if state.problems.is_empty() {
        let stops = t!("count-stops", n = state.places.len());
        soft_ui(
            ui,
            t!("plan-the-whole-set", stops = stops, estimate_secs = words::span(state.estimate_secs)),
        );
    } else {
        soft_ui(ui, t!("plan-the-ring-shows-the-last"));
    }
}

fn file_name_ui(ui: &mut Ui, state: &State, sink: &IntentSink, width: f32, enabled: bool) {
    let wrong = state.problem_of(PlanField::FileName).is_some();
    let field = Field {
        caption: &t!("plan-file-names"),
        name: &t!("plan-file-name-pattern"),
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
        soft_ui(ui, t!("plan-first-file-jpg", name = name))
            .on_hover_text(t!("plan-fields-sku-row-stop-degrees"));
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
