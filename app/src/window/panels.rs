//! The window's panels. Each takes the state as it is and sends wishes; none owns any logic.

use egui::{CentralPanel, Frame, Panel, ScrollArea, Stroke, Ui};

use super::intent::IntentSink;
use super::pictures::Pictures;
use super::state::State;
use super::theme;

pub mod board;
pub mod caption;
pub mod compact;
pub mod compare;
pub mod controls;
pub mod device_menus;
pub mod facts;
pub mod finishing;
pub mod finishing_make;
pub mod finishing_picture;
pub mod finishing_steps;
pub mod help;
pub mod keys;
pub mod list;
pub mod list_offer;
pub mod message;
pub mod on_flag;
pub mod path_card;
pub mod picture;
pub mod picture_aids;
pub mod plan;
pub mod plan_row;
pub mod product_bar;
pub mod recent;
pub mod ring;
pub mod ring_arc;
pub mod room;
pub mod setup;
pub mod speech_ui;
pub mod strip;
pub mod top_bar;
pub mod tryout_ui;
pub mod turn_bar;
pub mod view_bar;
pub mod widgets;

/// The width of the column with ring and plan, points.
const COLUMN: f32 = 392.0;
/// The width of the frame's facts, points.
const FACTS: f32 = 264.0;
/// The height of the strip, points.
const STRIP: f32 = 148.0;

/// Its width in a small window, points.
const NARROWEST_COLUMN: f32 = 320.0;
/// What is left for the picture beside the facts, at least, points; else the facts come in a card.
const LEAST_PICTURE: f32 = 300.0;
/// Below this height of the window, points, ring and plan scroll together.
const SHORT: f32 = 680.0;

/// Draws the whole window.
pub fn window_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    // One ground under all panels: each with its own would be a drawing more for every panel.
    ui.painter().rect_filled(ui.ctx().content_rect(), 0.0, theme::panel());
    if state.finishing.open {
        path_card::path_card_ui(ui, state, sink);
        finishing::room_ui(ui, state, pictures, sink);
        return;
    }
    keys::keys_ui(ui, state, sink);
    board::board_card_ui(ui, state, sink);
    list_offer::list_offer_ui(ui, state, sink);
    caption::retake_card_ui(ui, state, sink);
    path_card::path_card_ui(ui, state, sink);
    let room = ui.ctx().content_rect().size();
    if compact::is_compact(room) {
        compact::compact_ui(ui, state, pictures, sink);
        return;
    }
    Panel::top("top bar")
        .exact_size(52.0)
        .frame(theme::panel_frame(16, 0))
        .show(ui, |ui| top_bar::top_bar_ui(ui, state, sink));
    let column = (room.x * 0.36).clamp(NARROWEST_COLUMN, COLUMN);
    Panel::left("set").exact_size(column).resizable(false).frame(theme::panel_frame(16, 10)).show(ui, |ui| {
        if let Some(step) = state.setup.step {
            setup::setup_ui(ui, state, step, sink);
            return;
        }
        if room.y >= SHORT {
            ring::ring_ui(ui, state, sink);
            controls::controls_ui(ui, state, sink);
            after_ui(ui, state, sink);
            ScrollArea::vertical()
                .id_salt("plan")
                .auto_shrink(false)
                .show(ui, |ui| plan::plan_ui(ui, state, sink));
        } else {
            // Little would be left of the plan: ring and plan scroll together, what starts and stops stays.
            controls::controls_ui(ui, state, sink);
            ui.add_space(6.0);
            ScrollArea::vertical().id_salt("set and plan").auto_shrink(false).show(ui, |ui| {
                ring::ring_ui(ui, state, sink);
                after_ui(ui, state, sink);
                plan::plan_ui(ui, state, sink);
            });
        }
    });
    Panel::bottom("strip")
        .exact_size(STRIP)
        .frame(theme::panel_frame(0, 0))
        .show(ui, |ui| strip::strip_ui(ui, state, pictures, sink));
    Panel::bottom("caption")
        .exact_size(90.0)
        .frame(theme::panel_frame(16, 10))
        .show(ui, |ui| caption::caption_ui(ui, state, sink));
    product_bar::product_panel_ui(ui, state, 16, sink);
    if room.y >= SHORT {
        message::notice_panel_ui(ui, state, sink);
    } else {
        message::notice_line_panel_ui(ui, state, 16, sink);
    }
    let has_frames = !state.kept_nothing();
    let facts_beside = room.x - column - FACTS >= LEAST_PICTURE;
    if state.live.is_some() || has_frames {
        Panel::top("view bar")
            .frame(theme::panel_frame(16, 6))
            .show(ui, |ui| view_bar::view_bar_ui(ui, state, pictures, facts_beside, sink));
    }
    if has_frames && state.live.is_none() && state.stage.facts && facts_beside {
        Panel::right("facts")
            .exact_size(FACTS)
            .resizable(false)
            .frame(theme::panel_frame(14, 10))
            .show(ui, |ui| facts::facts_ui(ui, state, pictures, sink));
    }
    if has_frames {
        Panel::bottom("turn bar")
            .exact_size(turn_bar::HEIGHT + 4.0)
            .frame(theme::panel_frame(0, 2))
            .show(ui, |ui| turn_bar::turn_bar_ui(ui, state, pictures, sink));
    }
    message::card_panel_ui(ui, state, sink);
    CentralPanel::default()
        .frame(Frame::new().fill(theme::mat()))
        .show(ui, |ui| picture::picture_ui(ui, state, pictures, sink));
}

/// What comes after shooting, and the plan's heading.
fn after_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    finishing::enter_ui(ui, state, sink);
    setup::enter_ui(ui, state, sink);
    ui.add_space(8.0);
    let line = ui.max_rect().x_range();
    ui.painter().hline(line, ui.cursor().top(), Stroke::new(1.0, theme::line()));
    ui.add_space(8.0);
    plan::plan_head_ui(ui, state, sink);
}
