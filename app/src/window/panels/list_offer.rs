//! A shoot list that was opened, to be looked at before it is used; or what is wrong with it, line by line.

use egui::{Label, Modal, Popup, RichText, ScrollArea, Ui, vec2};

use super::list::product_line_ui;
use super::widgets::{button_ui, is_confirmed, primary_button_ui, problem_ui, soft_ui, soft_wrapped_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::products::{ListOffer, ListRefusal, ProductList};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The card's width, points.
const WIDTH: f32 = 560.0;
/// The height of a product's line, points.
const LINE: f32 = 40.0;

/// Draws the card while a list is offered.
pub fn list_offer_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    let Some(offer) = &state.offer else { return };
    // A card below it would be closed by the first Esc, and this one only by the second.
    Popup::close_all(ui.ctx());
    let put_away = || sink.send(WindowIntent::DeclineList);
    let shown = Modal::new(egui::Id::unique("shoot list offer")).show(ui.ctx(), |ui| {
        ui.set_width(WIDTH);
        let name = session_core::file_name::of_path(&offer.path);
        let unread = matches!(offer.found, Err(ListRefusal::Whole(_)));
        ui.heading(if unread { t!("ask-open-a-shoot-list") } else { t!("list-offer-title", name = name) });
        match &offer.found {
            Ok(list) => products_ui(ui, list),
            Err(ListRefusal::Lines(problems)) => problems_ui(ui, problems),
            Err(ListRefusal::Whole(reason)) => problem_ui(ui, reason),
        }
        ui.add_space(6.0);
        ui.horizontal(|ui| actions_ui(ui, state, offer, sink));
    });
    // A press beside it is too easily made for a list to be lost by it.
    if !shown.backdrop_response.clicked() && shown.should_close() {
        put_away();
    }
}

fn actions_ui(ui: &mut Ui, state: &State, offer: &ListOffer, sink: &IntentSink) {
    let size = vec2(0.0, 32.0);
    if offer.found.is_ok() {
        let free = !state.is_busy();
        let use_it = primary_button_ui(ui, &t!("list-offer-use"), free, size);
        let confirmed = free && is_confirmed(ui);
        if use_it.on_disabled_hover_text(t!("list-offer-busy")).clicked() || confirmed {
            sink.send(WindowIntent::UseList);
        }
    } else if primary_button_ui(ui, &t!("list-offer-again"), true, size).clicked() {
        sink.send(WindowIntent::Dropped(offer.path.clone()));
    }
    if offer.found.is_err() && button_ui(ui, &t!("list-offer-another"), true, size).clicked() {
        sink.send(WindowIntent::DeclineList);
        sink.send(WindowIntent::OpenList);
    }
    if button_ui(ui, &t!("list-offer-close"), true, size).clicked() {
        sink.send(WindowIntent::DeclineList);
    }
}

/// All its products: what would be shot.
fn products_ui(ui: &mut Ui, list: &ProductList) {
    let done = list.rows.iter().filter(|row| row.done).count();
    let stops: usize = list.rows.iter().filter(|row| !row.done).filter_map(|row| row.planned).sum();
    soft_ui(
        ui,
        t!(
            "list-offer-sum",
            products = t!("count-products", n = list.rows.len()),
            done = done,
            stops = t!("count-stops", n = stops)
        ),
    );
    soft_wrapped_ui(ui, t!("list-offer-where"));
    let height = (ui.ctx().content_rect().height() - 240.0).clamp(120.0, 420.0);
    ScrollArea::vertical().max_height(height).show_rows(ui, LINE, list.rows.len(), |ui, seen| {
        ui.set_width(WIDTH - 16.0);
        for row in &list.rows[seen] {
            let (area, response) =
                ui.allocate_exact_size(vec2(ui.available_width(), LINE), egui::Sense::hover());
            let name = t!("list-product", sku = row.sku, name = row.name, row = row.words());
            response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Label, true, &name));
            product_line_ui(ui, area.shrink2(vec2(4.0, 2.0)), row);
        }
    });
}

fn problems_ui(ui: &mut Ui, problems: &[String]) {
    let lines = t!("count-lines-are-wrong", n = problems.len());
    ui.add(Label::new(RichText::new(t!("list-offer-wrong", lines = lines)).font(theme::small())).wrap());
    let height = (ui.ctx().content_rect().height() - 220.0).clamp(120.0, 420.0);
    ScrollArea::vertical().max_height(height).show(ui, |ui| {
        ui.set_width(WIDTH - 16.0);
        for problem in problems {
            problem_ui(ui, problem);
        }
    });
}
