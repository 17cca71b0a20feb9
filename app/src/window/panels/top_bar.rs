//! The bar at the top: what is being shot, where to, with what.

use egui::text::LayoutJob;
use egui::{Align, Button, Layout, Popup, PopupCloseBehavior, RichText, ScrollArea, Ui};

use super::device_menus::{camera_menu_ui, folder_menu_ui, table_menu_ui};
use super::help::{keys_help_ui, safety_ui};
use super::list::list_ui;
use super::room::settings_ui;
use super::widgets::captioned;
use crate::window::intent::IntentSink;
use crate::window::readiness::{self, Readiness};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{theme, words};

/// Below this width, points, the bar says less.
const NARROW: f32 = 1240.0;
/// What a device needs, with its name and how it stands in the longest words, points.
const DEVICE: f32 = 280.0;
/// Below this one its buttons move together, points.
const TIGHT: f32 = 800.0;
/// What the bar, a card's heading and its borders take of the height, points.
const ABOVE_CARD: f32 = 120.0;

/// Draws the bar.
pub fn top_bar_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        let tight = ui.ctx().content_rect().width() < TIGHT;
        if tight {
            ui.spacing_mut().button_padding.x = 7.0;
            ui.spacing_mut().item_spacing.x = 5.0;
        }
        menu_ui(ui, &t!("top-bar-safety"), Button::new(t!("top-bar-safety")), safety_ui);
        menu_ui(ui, &t!("top-bar-settings"), Button::new(t!("top-bar-settings")), |ui| {
            settings_ui(ui, state, sink);
        });
        menu_ui(ui, &t!("top-bar-keys"), Button::new(t!("top-bar-keys")), keys_help_ui);
        let (table, camera) = state
            .connected
            .clone()
            .unwrap_or_else(|| (state.devices.table_name(), state.devices.camera_name()));
        // Of one width whatever they do, so that nothing in the bar moves while a set is shot.
        let width = ui.ctx().content_rect().width();
        let narrow = width < NARROW;
        let device = egui::vec2(
            if tight {
                (width * 0.23).clamp(120.0, 176.0)
            } else if narrow {
                width * 0.185
            } else {
                DEVICE
            },
            0.0,
        );
        // Where there is little room a long name is cut, not pushed over the bar's end.
        let device_ui = |ui: &mut Ui, name: &str, job: LayoutJob, content: &mut dyn FnMut(&mut Ui)| {
            ui.scope(|ui| {
                if narrow {
                    ui.set_max_width(device.x);
                }
                menu_ui(ui, name, Button::new(job).truncate().min_size(device), |ui| content(ui));
            });
        };
        // How it stands goes before its name, which is in the card.
        let device_job = |caption: &str, name: &str, stands: Readiness| {
            if narrow { captioned(caption, &stands.word()) } else { device_job(caption, name, stands) }
        };
        let camera = device_job(&t!("top-bar-camera"), &camera, readiness::camera(state));
        device_ui(ui, &t!("top-bar-camera"), camera, &mut |ui| camera_menu_ui(ui, state, sink));
        let table = device_job(&t!("top-bar-table"), &table, readiness::table(state));
        device_ui(ui, &t!("top-bar-table"), table, &mut |ui| table_menu_ui(ui, state, sink));
        let list = match &state.list {
            _ if narrow => LayoutJob::simple_singleline(
                t!("top-bar-list"),
                egui::FontId::proportional(14.5),
                theme::text(),
            ),
            Some(list) => {
                let open = list.rows.iter().filter(|row| !row.done).count();
                captioned(&t!("top-bar-list"), &t!("count-products-left", n = open))
            }
            None => captioned(&t!("top-bar-list"), &t!("top-bar-none")),
        };
        menu_ui(ui, &t!("top-bar-shoot-list"), Button::new(list), |ui| list_ui(ui, state, sink));
        let path = state.folder.display().to_string();
        let folder = if narrow {
            Button::new(t!("top-bar-folder"))
        } else {
            Button::new(captioned(&t!("top-bar-folder"), &words::middle_cut(&path, 20)))
        };
        menu_ui(ui, &t!("top-bar-session-folder"), folder, |ui| folder_menu_ui(ui, state, sink));
        if !names_the_product(ui) {
            return;
        }
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            sku_ui(ui, state);
            ui.add(egui::Label::new(RichText::new(&state.draft.title).color(theme::soft())).truncate());
        });
    });
}

/// Whether the bar has room for what is worked on; else it stands with the choice of the part.
pub fn names_the_product(ui: &Ui) -> bool {
    ui.ctx().content_rect().width() >= TIGHT
}

/// The SKU of what is worked on.
pub fn sku_ui(ui: &mut Ui, state: &State) {
    let sku = if state.draft.sku.is_empty() { t!("top-bar-no-sku-yet") } else { state.draft.sku.clone() };
    ui.add(egui::Label::new(RichText::new(sku).heading().strong()).truncate());
}

/// A device's name, with how it stands.
fn device_job(caption: &str, name: &str, stands: Readiness) -> LayoutJob {
    captioned(caption, &t!("top-bar-device", name = words::middle_cut(name, 18), word = stands.word()))
}

/// A button that opens a card below it.
fn menu_ui(ui: &mut Ui, name: &str, button: Button<'_>, content: impl FnOnce(&mut Ui)) {
    let response = ui.add(button);
    Popup::from_toggle_button_response(&response)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .accessible_name(name)
        .gap(6.0)
        .show(|ui| {
            ui.set_width(340.0);
            ui.spacing_mut().item_spacing.y = 7.0;
            ui.heading(name);
            let most = ui.ctx().content_rect().height() - ABOVE_CARD;
            // Scrolled only from this height on: a card that grows must not keep the height it had.
            ScrollArea::vertical().max_height(most).min_scrolled_height(most).show(ui, content);
        });
}
