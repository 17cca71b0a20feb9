//! The shoot list: many products, one after another.

use egui::{Button, ScrollArea, Ui, vec2};

use super::widgets::{button_ui, primary_button_ui, soft_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::marks;
use crate::window::places::Mark;
use crate::window::products::{ProductList, ProductRow};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The height of a product's line, points.
const LINE: f32 = 44.0;

/// Draws the list.
pub fn list_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    match &state.list {
        None => {
            let what = t!("list-many-products-in-one-go");
            ui.add(egui::Label::new(what).wrap());
        }
        Some(list) => products_ui(ui, state, list, sink),
    }
    ui.horizontal(|ui| {
        if button_ui(ui, &t!("list-open-a-list"), true, vec2(0.0, 0.0))
            .on_hover_text(t!("list-or-drop-it-on-the"))
            .clicked()
        {
            sink.send(WindowIntent::OpenList);
        }
        if state.list.is_some()
            && button_ui(ui, &t!("list-close-it"), true, vec2(0.0, 0.0))
                .on_hover_text(t!("list-close-it-tip"))
                .clicked()
        {
            sink.send(WindowIntent::CloseList);
            ui.close();
        }
    });
}

fn products_ui(ui: &mut Ui, state: &State, list: &ProductList, sink: &IntentSink) {
    let done = list.rows.iter().filter(|row| row.done).count();
    let name = session_core::file_name::of_path(&list.path);
    soft_ui(
        ui,
        t!("list-of-done", name = name, done = done, rows = t!("count-products", n = list.rows.len())),
    );
    let free = !state.is_busy();
    let next = list.next_open(&state.planned.sku);
    let text =
        next.map_or_else(|| t!("list-no-other-product-is-left"), |sku| t!("list-next-product", sku = sku));
    if primary_button_ui(ui, &text, free && next.is_some(), vec2(0.0, 32.0)).on_hover_text("N").clicked() {
        sink.send(WindowIntent::NextProduct);
        ui.close();
    }
    ScrollArea::vertical().max_height(360.0).show_rows(ui, LINE, list.rows.len(), |ui, seen| {
        for row in &list.rows[seen] {
            product_ui(ui, row, row.sku == state.planned.sku, free, sink);
        }
    });
}

fn product_ui(ui: &mut Ui, row: &ProductRow, now: bool, free: bool, sink: &IntentSink) {
    let button = Button::selectable(now, "")
        .frame_when_inactive(true)
        .min_size(vec2(ui.available_width(), LINE - 4.0));
    let response = ui.add_enabled(free, button);
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_label(t!("list-product", sku = row.sku, name = row.name, row = row.words()));
    });
    product_line_ui(ui, response.rect.shrink2(vec2(10.0, 4.0)), row);
    if response.clicked() && !now {
        sink.send(WindowIntent::UseProduct(row.sku.clone()));
        ui.close();
    }
}

/// Paints a product with its state, in two lines.
pub(super) fn product_line_ui(ui: &Ui, rect: egui::Rect, row: &ProductRow) {
    let mark = match (row.done, row.kept) {
        (true, _) => Mark::Kept,
        (false, 0) => Mark::Missing,
        (false, _) => Mark::InWork,
    };
    let painter = ui.painter().with_clip_rect(rect);
    marks::paint(&painter, rect.left_center() + vec2(6.0, 0.0), 6.0, mark);
    let left = rect.left_top() + vec2(24.0, 1.0);
    painter.text(
        left,
        egui::Align2::LEFT_TOP,
        format!("{}  {}", row.sku, row.name),
        theme::small(),
        theme::text(),
    );
    painter.text(
        left + vec2(0.0, 17.0),
        egui::Align2::LEFT_TOP,
        match row.notes.as_str() {
            "" => row.words(),
            note => t!("list-with-note", words = row.words(), note = note),
        },
        theme::small(),
        theme::soft(),
    );
}
