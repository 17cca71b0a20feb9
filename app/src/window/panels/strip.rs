//! The strip of thumbnails in stop order; only those in sight are drawn.

use egui::scroll_area::{DragScroll, ScrollSource};
use egui::{
    Align2, Color32, CornerRadius, Rect, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2,
    vec2,
};

use session_core::engine::Activity;

use super::keys::{Surface, hold_focus, place_id, tab_stop};
use super::picture::fit;
use super::ring::{pick_of_click, tip_ui};
use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::marks;
use crate::window::pictures::{Pictures, Seen, Size, Uploaded, Wish};
use crate::window::places::{Mark, Place};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{theme, words};

/// One thumbnail with its text, points.
const CELL: egui::Vec2 = vec2(124.0, 126.0);
const GAP: f32 = 8.0;
const EDGE: f32 = 16.0;
/// How far the closing frames stand from the set, points.
const APART: f32 = 20.0;
/// How near to an end of the strip a pointer makes it move on, points.
const PULL: f32 = 48.0;
/// How fast it moves on at most, points a second.
const PACE: f32 = 900.0;

/// Draws the strip.
pub fn strip_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let pitch = CELL.x + GAP;
    let cells: Vec<&Place> = state.all_places().collect();
    let apart = if state.closings.is_empty() { 0.0 } else { APART };
    let width = cells.len() as f32 * pitch + apart - GAP + 2.0 * EDGE;
    ui.painter().hline(ui.max_rect().x_range(), ui.max_rect().top(), Stroke::new(1.0, theme::line()));
    // Drawing across the thumbnails looks through them; the wheel and the bar scroll.
    let source = ScrollSource { drag: DragScroll::Never, ..ScrollSource::default() };
    let area = ScrollArea::horizontal().id_salt("strip").auto_shrink(false).scroll_source(source);
    area.show_viewport(ui, |ui, seen| {
        let origin = ui.max_rect().left_top();
        ui.set_width(width);
        ui.set_height(CELL.y + 6.0);
        let is_drawn = scrub(ui, state, sink, origin.x + EDGE, pitch);
        for (at, place) in cells.iter().enumerate() {
            let left = left_of(state, at, pitch);
            if left > seen.right() || left + CELL.x < seen.left() {
                continue;
            }
            let cell = Rect::from_min_size(pos2(origin.x + left, origin.y + 6.0), CELL);
            cell_ui(ui, cell, place, state, pictures, sink);
        }
        if apart > 0.0 {
            let x = origin.x + EDGE + state.places.len() as f32 * pitch + (apart - GAP) / 2.0;
            ui.painter().vline(x, origin.y + 6.0..=origin.y + CELL.y, Stroke::new(1.0, theme::line()));
        }
        keep_in_sight(ui, state, origin.x, pitch, !is_drawn);
    });
}

/// Where a cell begins, points from the strip's beginning; closing frames stand apart from the set.
fn left_of(state: &State, at: usize, pitch: f32) -> f32 {
    let apart = if at < state.places.len() { 0.0 } else { APART };
    EDGE + at as f32 * pitch + apart
}

/// Looks at the stop under a pointer that is drawn along the strip; with Shift, selects those passed. Tells
/// whether one is drawn.
fn scrub(ui: &Ui, state: &State, sink: &IntentSink, left: f32, pitch: f32) -> bool {
    let ground = ui.interact(ui.clip_rect(), ui.scope_id().with("strip ground"), Sense::DRAG);
    let Some(pointer) = ground.interact_pointer_pos().filter(|_| ground.dragged()) else { return false };
    let Some(last) = state.places.len().checked_sub(1) else { return true };
    let at_x = |x: f32| ((x - left) / pitch).floor().clamp(0.0, last as f32) as usize;
    let through = ui.input(|input| input.modifiers.shift);
    if ground.drag_started()
        && let Some(began) = ui.input(|input| input.pointer.press_origin())
        && through
    {
        sink.send(WindowIntent::Pick(Pick::Only(state.places[at_x(began.x)].index)));
    }
    let to = state.places[at_x(pointer.x)].index;
    if state.cursor != Some(to) || state.follow {
        sink.send(WindowIntent::Pick(if through { Pick::Through(to) } else { Pick::Cursor(to) }));
    }
    // Near an end the strip moves on under the pointer.
    let seen = ui.clip_rect();
    let beyond = (pointer.x - seen.right() + PULL).max(0.0) - (seen.left() + PULL - pointer.x).max(0.0);
    if beyond != 0.0 {
        let secs = ui.input(|input| input.stable_dt.min(0.1));
        let delta = -beyond.clamp(-PULL, PULL) / PULL * PACE * secs;
        ui.scroll_with_delta_animation(vec2(delta, 0.0), egui::style::ScrollAnimation::none());
        ui.ctx().request_repaint();
    }
    true
}

/// Brings the stop that is shown into sight when it changes, or only notes that it has.
fn keep_in_sight(ui: &Ui, state: &State, left: f32, pitch: f32, bring: bool) {
    let memory = egui::Id::unique("strip shows stop");
    let shown = state.shown().map_or(0, |place| place.index);
    if ui.data(|data| data.get_temp::<u32>(memory)) == Some(shown) {
        return;
    }
    ui.data_mut(|data| data.insert_temp(memory, shown));
    if bring && let Some(at) = state.all_places().position(|place| place.index == shown) {
        let x = left + left_of(state, at, pitch);
        let cell = Rect::from_min_size(pos2(x - pitch, ui.max_rect().top()), vec2(CELL.x + 2.0 * pitch, 1.0));
        ui.scroll_to_rect_animation(cell, None, egui::style::ScrollAnimation::none());
    }
}

fn cell_ui(ui: &Ui, cell: Rect, place: &Place, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let sense = if tab_stop(state) == Some(place.index) { Sense::click() } else { Sense::CLICK };
    let response = ui.interact(cell, place_id(Surface::Strip, place.index), sense);
    let selected = state.selected.contains(&place.index);
    let version = place.picture();
    let name = match version {
        Some(version) if place.closing => {
            t!("strip-picture-of-closing", version = version.version, place = place.label())
        }
        None if place.closing => t!("strip-no-picture-of-closing", place = place.label()),
        Some(version) => t!(
            "strip-picture-of-stop-version",
            index = place.index,
            degrees_text = place.degrees_text,
            version = version.version,
            place = place.words()
        ),
        None => t!(
            "strip-no-picture-of-stop",
            index = place.index,
            degrees_text = place.degrees_text,
            place = place.words()
        ),
    };
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, selected, &name));
    hold_focus(ui, &response, Surface::Strip, place.index);
    if response.clicked() {
        sink.send(WindowIntent::Pick(pick_of_click(ui, place.index)));
    }
    let painter = ui.painter();
    let frame = Rect::from_min_size(cell.min, vec2(cell.width(), 83.0));
    painter.rect_filled(frame, 3.0, theme::raised());
    if let Some(version) = version {
        match pictures.thumb(&version.path) {
            Seen::Picture(Uploaded { texture, .. }) => {
                let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
                let dimmed = if place.chosen == 0 { Color32::from_gray(110) } else { Color32::WHITE };
                painter.image(texture.id(), fit(frame, texture.size_vec2()), whole, dimmed);
            }
            Seen::Broken(_) => {
                text(painter, frame.center(), Align2::CENTER_CENTER, &t!("strip-unreadable"), theme::text());
            }
            Seen::OnItsWay => {
                sink.send(WindowIntent::Want(Wish::plain(&version.path, Size::Thumb)));
            }
        }
        // The usual single version needs no word.
        if place.versions.len() > 1 {
            badge(painter, frame, &t!("strip-version", version = version.version));
        }
    } else {
        text(painter, frame.center(), Align2::CENTER_CENTER, &t!("strip-no-frame"), theme::soft());
    }
    let shown = state.shown().is_some_and(|shown| shown.index == place.index);
    let edge = match (selected, shown, response.hovered()) {
        (true, ..) => Stroke::new(3.0, theme::strong()),
        (_, true, _) => Stroke::new(1.5, theme::text()),
        (_, _, true) => Stroke::new(1.0, theme::soft()),
        _ => Stroke::new(1.0, theme::line()),
    };
    painter.rect_stroke(frame, 3.0, edge, StrokeKind::Inside);
    if response.has_focus() {
        painter.rect_stroke(cell.expand(2.0), 3.0, Stroke::new(1.0, theme::strong()), StrokeKind::Outside);
    }
    let line = frame.bottom() + 12.0;
    text(
        painter,
        pos2(cell.left() + 2.0, line),
        Align2::LEFT_CENTER,
        &if place.closing { t!("strip-closing") } else { t!("strip-stop", index = place.index) },
        theme::text(),
    );
    let right = match &place.row_name {
        Some(row) => format!("{row}  {}°", place.degrees_text),
        None => format!("{}°", place.degrees_text),
    };
    text(painter, pos2(cell.right() - 2.0, line), Align2::RIGHT_CENTER, &right, theme::soft());
    let line = line + 18.0;
    marks::paint(painter, pos2(cell.left() + 8.0, line + 0.5), 5.0, place.mark);
    text(painter, pos2(cell.left() + 19.0, line), Align2::LEFT_CENTER, &below(place), theme::soft());
    response.on_hover_ui(|ui| tip_ui(ui, place));
}

/// The state in words; of a flagged frame what was found, as far as there is room.
fn below(place: &Place) -> String {
    match (place.mark, place.activity, place.flags()) {
        (Mark::Flagged, Activity::None, [one]) => words::flag_kind(one.kind),
        (Mark::Flagged, Activity::None, [first, more @ ..]) => {
            format!("{} +{}", words::flag_kind(first.kind), more.len())
        }
        _ => place.words(),
    }
}

fn text(painter: &egui::Painter, at: egui::Pos2, align: Align2, words: &str, colour: Color32) {
    painter.text(at, align, words, theme::small(), colour);
}

fn badge(painter: &egui::Painter, frame: Rect, words: &str) {
    let galley = painter.layout_no_wrap(words.to_owned(), theme::small(), theme::text());
    let size = galley.size() + vec2(10.0, 3.0);
    let back = Rect::from_min_size(frame.right_top() + vec2(-size.x - 3.0, 3.0), size);
    painter.rect_filled(back, CornerRadius::same(3), theme::panel());
    painter.galley(back.min + vec2(5.0, 1.5), galley, theme::text());
}
