//! One row of the plan: how many stops, over which arc, at which camera height.

use egui::{Button, Frame, Ui, vec2};
use session_core::plan::PlanField;

use super::widgets::{Field, field_ui};
use crate::window::draft::{PlanEdit, RowEdit};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The width of a field for a number, points.
const NARROW: f32 = 74.0;
/// The width of the button that removes a row, points.
const REMOVE: f32 = 78.0;

/// One field of a row.
struct Cell<'a> {
    caption: &'a str,
    field: Option<PlanField>,
    text: &'a str,
    hint: &'a str,
    tip: Option<fn() -> String>,
    width: f32,
    edit: fn(String) -> RowEdit,
}

/// Draws the fields of the row at `at`, counted from 0.
pub fn row_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, width: f32, enabled: bool) {
    Frame::new().fill(theme::raised()).corner_radius(6.0).inner_margin(10.0).show(ui, |ui| {
        let inner = width - 20.0;
        ui.set_width(inner);
        ui.horizontal(|ui| name_and_stops_ui(ui, state, sink, at, inner, enabled));
        ui.horizontal(|ui| reach_ui(ui, state, sink, at, inner, enabled));
        let note = Cell {
            caption: &t!("plan-row-camera-height-and-tilt"),
            field: None,
            text: &state.draft.rows[at].tilt_note,
            hint: &t!("plan-row-a-note-for-yourself-shown"),
            tip: Some(|| t!("plan-row-note-tip")),
            width: inner,
            edit: RowEdit::TiltNote,
        };
        cells_ui(ui, state, sink, at, enabled, &[note]);
    });
}

fn name_and_stops_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, inner: f32, enabled: bool) {
    let row = &state.draft.rows[at];
    let spacing = ui.spacing().item_spacing.x;
    let removable = state.draft.rows.len() > 1;
    let remove_width = if removable { REMOVE + spacing } else { 0.0 };
    let name = Cell {
        caption: &t!("plan-row-row"),
        field: Some(PlanField::RowName(at)),
        text: &row.name,
        hint: "",
        tip: Some(|| t!("plan-row-row-tip")),
        width: inner - NARROW - spacing - remove_width,
        edit: RowEdit::Name,
    };
    let stops = Cell {
        caption: &t!("plan-row-stops"),
        field: Some(PlanField::RowStops(at)),
        text: &row.stops,
        hint: "24",
        tip: Some(|| t!("plan-row-stops-tip")),
        width: NARROW,
        edit: RowEdit::Stops,
    };
    cells_ui(ui, state, sink, at, enabled, &[name, stops]);
    if removable {
        ui.vertical(|ui| {
            // Down to the fields, past the line of captions.
            ui.add_space(16.0);
            let response =
                ui.add_enabled(enabled, Button::new(t!("plan-row-remove")).min_size(vec2(REMOVE, 0.0)));
            ui.ctx().accesskit_node_builder(response.id, |node| {
                node.set_label(t!("plan-row-remove-row", at = at + 1));
            });
            if response.clicked() {
                sink.send(WindowIntent::Edit(PlanEdit::RemoveRow(at)));
            }
        });
    }
}

fn reach_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, inner: f32, enabled: bool) {
    let row = &state.draft.rows[at];
    let start = Cell {
        caption: &t!("plan-row-from"),
        field: Some(PlanField::RowStart(at)),
        text: &row.start,
        hint: "0",
        tip: Some(|| t!("plan-row-from-tip")),
        width: NARROW,
        edit: RowEdit::Start,
    };
    let arc = Cell {
        caption: &t!("plan-row-over"),
        field: Some(PlanField::RowArc(at)),
        text: &row.arc,
        hint: "360",
        tip: Some(|| t!("plan-row-over-tip")),
        width: NARROW,
        edit: RowEdit::Arc,
    };
    let skip = Cell {
        caption: &t!("plan-row-leave-out-stops"),
        field: Some(PlanField::RowSkip(at)),
        text: &row.skip,
        hint: &t!("plan-row-such-as-3-7-9"),
        tip: Some(|| t!("plan-row-leave-out-tip")),
        width: inner - 2.0 * (NARROW + ui.spacing().item_spacing.x),
        edit: RowEdit::Skip,
    };
    cells_ui(ui, state, sink, at, enabled, &[start, arc, skip]);
}

fn cells_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, enabled: bool, cells: &[Cell<'_>]) {
    for cell in cells {
        let name = t!("plan-row-row-2", caption = cell.caption, at = at + 1);
        let field = Field {
            caption: cell.caption,
            name: &name,
            text: cell.text,
            hint: cell.hint,
            width: cell.width,
            problem: cell.field.and_then(|field| state.problem_of(field)),
            tip: cell.tip,
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Row(at, (cell.edit)(text))));
        }
    }
}
