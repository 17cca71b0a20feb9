//! One row of the plan: how many stops, over which arc, at which camera height.

use egui::{Frame, Ui, vec2};
use session_core::plan::PlanField;

use super::plan::problem_of;
use super::widgets::{Field, field_ui};
use crate::window::draft::{PlanEdit, RowEdit};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::theme;

/// One field of a row.
struct Cell<'a> {
    caption: &'a str,
    field: Option<PlanField>,
    text: &'a str,
    hint: &'static str,
    width: f32,
    edit: fn(String) -> RowEdit,
}

/// Draws the fields of the row at `at`, counted from 0.
pub fn row_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, width: f32, enabled: bool) {
    let row = &state.draft.rows[at];
    Frame::new().fill(theme::RAISED).corner_radius(6.0).inner_margin(10.0).show(ui, |ui| {
        let inner = width - 20.0;
        let spacing = ui.spacing().item_spacing.x;
        let remove_width = if state.draft.rows.len() > 1 { 78.0 + spacing } else { 0.0 };
        ui.set_width(inner);
        ui.horizontal(|ui| {
            let stops_width = 74.0;
            let name_width = inner - stops_width - spacing - remove_width;
            cells_ui(
                ui,
                state,
                sink,
                at,
                enabled,
                &[
                    Cell {
                        caption: "Row",
                        field: Some(PlanField::RowName(at)),
                        text: &row.name,
                        hint: "",
                        width: name_width,
                        edit: RowEdit::Name,
                    },
                    Cell {
                        caption: "Stops",
                        field: Some(PlanField::RowStops(at)),
                        text: &row.stops,
                        hint: "24",
                        width: stops_width,
                        edit: RowEdit::Stops,
                    },
                ],
            );
            if remove_width > 0.0 {
                ui.vertical(|ui| {
                    ui.add_space(16.0);
                    let button = egui::Button::new("Remove").min_size(vec2(78.0, 0.0));
                    let response = ui.add_enabled(enabled, button);
                    ui.ctx().accesskit_node_builder(response.id, |node| {
                        node.set_label(format!("Remove row {}", at + 1))
                    });
                    if response.clicked() {
                        sink.send(WindowIntent::Edit(PlanEdit::RemoveRow(at)));
                    }
                });
            }
        });
        problem_of(ui, state, &[PlanField::RowName(at), PlanField::RowStops(at)]);
        ui.horizontal(|ui| {
            let narrow = 74.0;
            cells_ui(
                ui,
                state,
                sink,
                at,
                enabled,
                &[
                    Cell {
                        caption: "From, °",
                        field: Some(PlanField::RowStart(at)),
                        text: &row.start,
                        hint: "0",
                        width: narrow,
                        edit: RowEdit::Start,
                    },
                    Cell {
                        caption: "Over, °",
                        field: Some(PlanField::RowArc(at)),
                        text: &row.arc,
                        hint: "360",
                        width: narrow,
                        edit: RowEdit::Arc,
                    },
                    Cell {
                        caption: "Leave out stops",
                        field: Some(PlanField::RowSkip(at)),
                        text: &row.skip,
                        hint: "such as 3, 7-9",
                        width: inner - 2.0 * (narrow + spacing),
                        edit: RowEdit::Skip,
                    },
                ],
            );
        });
        problem_of(ui, state, &[PlanField::RowStart(at), PlanField::RowArc(at), PlanField::RowSkip(at)]);
        cells_ui(
            ui,
            state,
            sink,
            at,
            enabled,
            &[Cell {
                caption: "Camera height and tilt",
                field: None,
                text: &row.tilt_note,
                hint: "a note for yourself, shown before the row",
                width: inner,
                edit: RowEdit::TiltNote,
            }],
        );
    });
}

fn cells_ui(ui: &mut Ui, state: &State, sink: &IntentSink, at: usize, enabled: bool, cells: &[Cell<'_>]) {
    for cell in cells {
        let name = format!("{}, row {}", cell.caption, at + 1);
        let field = Field {
            caption: cell.caption,
            name: &name,
            text: cell.text,
            hint: cell.hint,
            width: cell.width,
            wrong: cell.field.is_some_and(|field| state.problem_of(field).is_some()),
            enabled,
        };
        if let Some(text) = field_ui(ui, &field) {
            sink.send(WindowIntent::Edit(PlanEdit::Row(at, (cell.edit)(text))));
        }
    }
}
