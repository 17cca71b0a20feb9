//! The window where there is little room, as when everything is drawn larger: one part at a time.

use egui::{Align, CentralPanel, Frame, Layout, Panel, ScrollArea, Ui, Vec2, vec2};

use super::view_bar::{self, toggle_ui};
use super::{caption, controls, facts, message, picture, plan, product_bar, ring, setup, top_bar, turn_bar};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::Pictures;
use crate::window::stage::{Look, Page};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// A window narrower or lower than this shows one part at a time, points.
const LEAST_ROOM: Vec2 = vec2(800.0, 560.0);
/// With less room than this the SKU is left to the picture's file name, points.
const LEAST_SKU: f32 = 60.0;
/// The share of the width that the ring takes beside the plan.
const RING: f32 = 0.46;

/// Whether the window has too little room for all of its parts.
pub fn is_compact(room: Vec2) -> bool {
    room.x < LEAST_ROOM.x || room.y < LEAST_ROOM.y
}

/// Draws the window, one part at a time.
pub fn compact_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    Panel::top("top bar")
        .exact_size(44.0)
        .frame(theme::panel_frame(12, 0))
        .show(ui, |ui| top_bar::top_bar_ui(ui, state, sink));
    Panel::top("pages").frame(theme::panel_frame(12, 4)).show(ui, |ui| pages_ui(ui, state, sink));
    message::notice_line_panel_ui(ui, state, 12, sink);
    if state.stage.page == Page::Set {
        product_bar::product_panel_ui(ui, state, 12, sink);
    }
    message::card_panel_ui(ui, state, sink);
    match state.stage.page {
        Page::Set => set_ui(ui, state, sink, theme::panel_frame(12, 6)),
        Page::Picture => {
            Panel::bottom("caption")
                .frame(theme::panel_frame(12, 6))
                .show(ui, |ui| caption::compact_caption_ui(ui, state, sink));
            if !state.kept_nothing() {
                Panel::bottom("turn bar")
                    .exact_size(turn_bar::HEIGHT + 4.0)
                    .frame(theme::panel_frame(0, 2))
                    .show(ui, |ui| turn_bar::turn_bar_ui(ui, state, pictures, sink));
            }
            CentralPanel::default()
                .frame(Frame::new().fill(theme::mat()))
                .show(ui, |ui| picture::picture_ui(ui, state, pictures, sink));
        }
        Page::Facts => {
            CentralPanel::default()
                .frame(theme::panel_frame(12, 8))
                .show(ui, |ui| facts::facts_ui(ui, state, pictures, sink));
        }
    }
}

/// The choice of the part, and of the picture what the bar above it holds elsewhere.
fn pages_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        for page in Page::ALL {
            if toggle_ui(ui, &page.words(), state.stage.page == page, true, &page.tip()) {
                sink.send(WindowIntent::Look(Look::Page(page)));
            }
        }
        if state.stage.page == Page::Picture && (state.live.is_some() || !state.kept_nothing()) {
            ui.add_space(8.0);
            view_bar::view_menu_ui(ui, state, sink);
        }
        // Beside the ring stand all of the session's buttons.
        if state.is_busy() && state.stage.page != Page::Set {
            ui.add_space(8.0);
            controls::stop_button_ui(ui, sink, &t!("controls-stop-in-short"), 0.0, 26.0);
        }
        sku_ui(ui, state);
    });
}

/// What is worked on, where the bar at the top has no room for it.
fn sku_ui(ui: &mut Ui, state: &State) {
    let room = ui.available_size_before_wrap().x;
    if room >= LEAST_SKU && !top_bar::names_the_product(ui) {
        let layout = Layout::right_to_left(Align::Center);
        ui.allocate_ui_with_layout(vec2(room, 26.0), layout, |ui| top_bar::sku_ui(ui, state));
    }
}

/// Ring and plan beside each other, or the path to one's own devices.
fn set_ui(ui: &mut Ui, state: &State, sink: &IntentSink, frame: Frame) {
    if let Some(step) = state.setup.step {
        CentralPanel::default().frame(frame).show(ui, |ui| setup::setup_ui(ui, state, step, sink));
        return;
    }
    let ring = ui.ctx().content_rect().width() * RING;
    Panel::left("ring").exact_size(ring).resizable(false).frame(frame).show(ui, |ui| {
        controls::controls_ui(ui, state, sink);
        ScrollArea::vertical().id_salt("ring").auto_shrink(false).show(ui, |ui| {
            ring::ring_ui(ui, state, sink);
        });
    });
    CentralPanel::default().frame(frame).show(ui, |ui| {
        ScrollArea::vertical().id_salt("plan").auto_shrink(false).show(ui, |ui| {
            super::after_ui(ui, state, sink);
            plan::plan_ui(ui, state, sink);
        });
    });
}
