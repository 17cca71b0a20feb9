//! Sets that were worked on before, to be opened with one click.

use egui::{Align, Button, Layout, Ui, vec2};

use super::widgets::soft_ui;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::Mark;
use crate::window::recents::RecentSet;
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{marks, theme, words};

/// The height of a set's line, points.
const LINE: f32 = 46.0;
/// The width of the sets shown where the picture will be, and how many of them, points.
const WIDTH: f32 = 360.0;
const MOST_IN_PICTURE: usize = 6;
/// The characters of a path that have room.
const PATH: usize = 46;

/// The sets that can be gone to: not the one at hand.
pub fn others(state: &State) -> impl Iterator<Item = &RecentSet> {
    state.recents.iter().filter(|set| set.folder != state.folder)
}

/// Draws up to `most` of them, unfinished and newest first; tells whether one was chosen.
pub fn recent_ui(ui: &mut Ui, state: &State, most: usize, sink: &IntentSink) -> bool {
    if others(state).next().is_none() {
        return false;
    }
    soft_ui(ui, t!("recent-sets"));
    let mut is_chosen = false;
    for set in others(state).take(most) {
        is_chosen |= set_ui(ui, set, !state.is_busy(), sink);
    }
    is_chosen
}

fn set_ui(ui: &mut Ui, set: &RecentSet, enabled: bool, sink: &IntentSink) -> bool {
    let size = vec2(ui.available_width(), LINE - 4.0);
    let path = set.folder.display().to_string();
    let response = ui.add_enabled(enabled, Button::new("").min_size(size));
    let name = t!("recent-open", sku = set.sku, how_far = set.words());
    ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(name));
    let rect = response.rect.shrink2(vec2(10.0, 4.0));
    let painter = ui.painter().with_clip_rect(rect);
    let mark = if set.is_complete() { Mark::Kept } else { Mark::InWork };
    marks::paint(&painter, rect.left_center() + vec2(6.0, 0.0), 6.0, mark);
    let line = |dy: f32, text: String, colour| {
        painter.text(rect.left_top() + vec2(24.0, dy), egui::Align2::LEFT_TOP, text, theme::small(), colour);
    };
    line(1.0, format!("{}   {}", set.sku, set.words()), theme::text());
    line(18.0, words::middle_cut(&path, PATH), theme::soft());
    if response.on_hover_text(path).clicked() {
        sink.send(WindowIntent::OpenSet(set.folder.clone()));
        return true;
    }
    false
}

/// Draws them in the middle of the room where the first frame will appear.
pub fn instead_of_picture_ui(ui: &mut Ui, area: egui::Rect, state: &State, sink: &IntentSink) {
    // As many as there is room for below the middle, where it says what appears here.
    let (top, heading, edge) = (30.0, 24.0, 10.0);
    let line = LINE - 4.0 + ui.spacing().item_spacing.y;
    let fit = (area.height() / 2.0 - top - heading - 2.0 * edge) / line;
    let count = others(state).count().min(MOST_IN_PICTURE).min(fit.max(0.0) as usize);
    if count == 0 || area.width() < WIDTH + 2.0 * edge {
        return;
    }
    let size = vec2(WIDTH, heading + count as f32 * line);
    let room = egui::Rect::from_min_size(area.center() + vec2(-size.x / 2.0, top + edge), size);
    ui.painter().rect_filled(room.expand(edge), 6.0, theme::panel());
    let inside = egui::UiBuilder::new().max_rect(room).layout(Layout::top_down(Align::Min));
    ui.scope_builder(inside, |ui| recent_ui(ui, state, count, sink));
}
