//! The progress ring: the plate from above, every stop a place to point at.

use egui::{Align, Align2, Layout, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, Vec2, WidgetInfo, vec2};

use super::keys::{Surface, hold_focus, place_id, tab_stop, wanted_stop};
use super::ring_arc::arc_ui;
use super::widgets::{soft_ui, soft_wrapped_ui};
use session_core::engine::Activity;

use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::marks;
use crate::window::places::{Mark, Place};
use crate::window::ring_layout::{MOST_RINGS, RingLayout};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{theme, words};

/// The usual length of a tick, points.
const TICK: f32 = 10.0;
/// The side of the area in which a mark is pointed at, points.
const MARK: f32 = 14.0;
/// How far from the pointer places already take part, so that one is there before the pointer is, points.
const AROUND_POINTER: f32 = 32.0;

/// Draws the ring with its legend.
pub fn ring_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    // Where the column is narrower than what it should have at least, the column decides.
    let least = if theme::is_low(ui.ctx()) { 222.0 } else { 250.0 };
    let side = (ui.available_height() * 0.44).max(least).min(ui.available_width() - 14.0);
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), side), Sense::hover());
    let focus_row = state.active().or(state.shown()).map_or(0, |place| place.row);
    let square = Rect::from_center_size(rect.center(), Vec2::splat(side));
    let (focus_row, most_rows) = state.ring_row.map_or((focus_row, MOST_RINGS), |row| (row, 1));
    let ring = RingLayout::new(square, &state.places, state.planned.direction, focus_row, most_rows);
    let in_arc = arc_ui(ui, rect, &ring, state, sink);
    ground(ui, rect, &ring, state);
    plate(ui, &ring, state);
    centre(ui, &ring, state);
    row_choice_ui(ui, rect, state, sink);
    ring_ticks(ui, &ring, &state.places);
    let shown = state.shown().map(|place| place.index);
    let within_reach = WithinReach::now(ui, state);
    for place in state.places.iter().filter(|place| ring.shows(place.row)) {
        place_ui(ui, &ring, place, in_arc.contains(&place.index), &within_reach, state, sink);
        if shown == Some(place.index) {
            caret(ui, &ring, place);
        }
    }
    ui.scope(|ui| legend_ui(ui, state, sink));
}

/// What lies under the places: tracks, figures, the camera.
fn ground(ui: &Ui, rect: Rect, ring: &RingLayout, state: &State) {
    let painter = ui.painter();
    for row in ring.first_row..ring.first_row + ring.rows {
        painter.circle_stroke(ring.centre, ring.radius(row), Stroke::new(1.0, theme::line()));
    }
    let shown = state.shown().filter(|place| place.row == ring.first_row).map(|place| place.degrees);
    for degrees in [90.0, 180.0, 270.0] {
        // The pointer at the stop shown takes the figure's place.
        if shown.is_some_and(|shown| (shown - degrees).abs() < 9.0) {
            continue;
        }
        let way = ring.towards(degrees);
        let align = if way.x > 0.5 {
            Align2::LEFT_CENTER
        } else if way.x < -0.5 {
            Align2::RIGHT_CENTER
        } else {
            Align2::CENTER_CENTER
        };
        let away = if way.x.abs() > 0.5 { 15.0 } else { 21.0 };
        painter.text(
            ring.centre + way * (ring.outer + away),
            align,
            format!("{degrees:.0}°"),
            theme::small(),
            theme::soft(),
        );
    }
    // The camera below, with its lens towards the plate.
    let foot = ring.centre + vec2(0.0, ring.outer + 26.0);
    camera_shape(painter, foot);
    painter.text(foot + vec2(-15.0, 0.0), Align2::RIGHT_CENTER, "0°", theme::small(), theme::soft());
    painter.text(
        foot + vec2(15.0, 0.0),
        Align2::LEFT_CENTER,
        t!("ring-camera"),
        theme::small(),
        theme::soft(),
    );
    let corner = |at: Pos2, align, text: &str| {
        painter.text(at, align, text, theme::small(), theme::soft());
    };
    corner(rect.left_top(), Align2::LEFT_TOP, &t!("ring-seen-from-above"));
    let turns = t!("ring-turns", word = words::direction(state.planned.direction));
    corner(rect.right_top(), Align2::RIGHT_TOP, &turns);
    row_names(painter, rect, ring, state);
}

/// The rows' names in the lower left corner, the outside one first.
fn row_names(painter: &egui::Painter, rect: Rect, ring: &RingLayout, state: &State) {
    let all_rows = state.planned.rows.len();
    if all_rows < 2 {
        return;
    }
    let rows = ring.first_row..ring.first_row + ring.rows;
    let mut lines: Vec<String> =
        rows.filter_map(|row| Some(words::middle_cut(&state.planned.rows.get(row)?.name, 10))).collect();
    if let Some(first) = lines.first_mut() {
        *first = t!("ring-outside", row = &*first);
    }
    if let (Some(last), true) = (lines.last_mut(), ring.rows > 1) {
        *last = t!("ring-inside", row = &*last);
    }
    if all_rows > ring.rows {
        lines.push(t!("ring-of-rows", all_rows = all_rows));
    }
    for (line, text) in lines.iter().rev().enumerate() {
        let at = rect.left_bottom() - vec2(0.0, line as f32 * 15.0);
        painter.text(at, Align2::LEFT_BOTTOM, text, theme::small(), theme::soft());
    }
}

/// Which rows are drawn: as rings within each other, or one alone and larger.
fn row_choice_ui(ui: &mut Ui, rect: Rect, state: &State, sink: &IntentSink) {
    let rows = &state.planned.rows;
    if rows.len() < 2 {
        return;
    }
    let name = |row: Option<usize>| match row.and_then(|row| rows.get(row)) {
        Some(row) => t!("ring-only-row", row = words::middle_cut(&row.name, 10)),
        None => t!("ring-all-rows"),
    };
    let size = vec2(92.0, 28.0);
    let corner = Rect::from_min_size(rect.right_bottom() - size, size);
    let button = egui::Button::new(egui::RichText::new(name(state.ring_row)).font(theme::small()));
    let response = ui.put(corner, button).on_hover_text(t!("ring-rows-tip"));
    egui::Popup::menu(&response).show(|ui| {
        for row in std::iter::once(None).chain((0..rows.len()).map(Some)) {
            if ui.radio(state.ring_row == row, name(row)).clicked() {
                sink.send(WindowIntent::ShowRow(row));
            }
        }
    });
}

fn camera_shape(painter: &egui::Painter, at: Pos2) {
    let body = Rect::from_center_size(at + vec2(0.0, 1.5), vec2(15.0, 8.0));
    painter.rect_filled(body, 1.5, theme::soft());
    let lens = Rect::from_center_size(at + vec2(0.0, -4.0), vec2(6.0, 5.0));
    painter.rect_filled(lens, 1.0, theme::soft());
}

/// The plate with the mark that moves with it.
fn plate(ui: &Ui, ring: &RingLayout, state: &State) {
    let painter = ui.painter();
    let radius = ring.plate_radius();
    painter.circle(ring.centre, radius, theme::raised(), Stroke::new(1.0, theme::line()));
    let Some(degrees) = state.plate_deg else { return };
    let way = ring.towards(degrees);
    let side = way.rot90();
    let tip = ring.centre + way * (radius + 9.0);
    let foot = ring.centre + way * (radius - 7.0);
    let arrow = vec![tip, foot + side * 7.5, foot - side * 7.5];
    painter.add(Shape::convex_polygon(arrow, theme::strong(), Stroke::new(1.0, theme::panel())));
    mark_tip_ui(ui, ring.centre + way * radius, "plate's mark", &t!("ring-plate-tip"));
    // The way it turns, as an arc ahead of the mark.
    let ahead = |more: f64| ring.centre + ring.towards(degrees + more) * (radius - 2.0);
    let arc: Vec<Pos2> = (0..=10).map(|part| ahead(8.0 + f64::from(part) * 2.2)).collect();
    painter.add(Shape::line(arc, Stroke::new(1.5, theme::soft())));
    let end = ahead(30.0);
    let along = ring.towards(degrees + 120.0) * 5.0;
    let out = ring.towards(degrees + 30.0) * 3.0;
    let head = vec![end + along, end + out, end - out];
    painter.add(Shape::convex_polygon(head, theme::soft(), Stroke::NONE));
}

/// Says what a mark is while the pointer is on it.
fn mark_tip_ui(ui: &Ui, at: Pos2, name: &str, tip: &str) {
    let area = Rect::from_center_size(at, Vec2::splat(MARK));
    ui.interact(area, ui.scope_id().with(name), Sense::hover()).on_hover_text(tip);
}

/// The figures in the middle.
fn centre(ui: &Ui, ring: &RingLayout, state: &State) {
    let painter = ui.painter();
    let put = |dy: f32, text: &str, font: egui::FontId, colour| {
        painter.text(ring.centre + vec2(0.0, dy), Align2::CENTER_CENTER, text, font, colour);
    };
    let all = state.places.len();
    put(-20.0, &format!("{} / {all}", state.kept()), theme::figure(), theme::text());
    put(5.0, &t!("ring-kept"), theme::small(), theme::soft());
    let checking = state.checking.then(|| t!("ring-checking"));
    let doing = state.active().map(doing).or(checking);
    let stands = match () {
        () if state.all_places().any(|place| place.activity != Activity::None) => None,
        () if all > 0 && state.kept() == all => Some(t!("ring-complete")),
        () if state.to_shoot() == 0 => Some(t!("count-stops-skipped", n = state.count(Mark::LeftOut))),
        () => None,
    };
    let lines = [stands.map(|text| (text, theme::text())), doing.map(|text| (text, theme::soft()))];
    for (line, (text, colour)) in lines.into_iter().flatten().enumerate() {
        put(27.0 + 20.0 * line as f32, &text, theme::small(), colour);
    }
}

fn doing(place: &Place) -> String {
    use session_core::engine::Activity::{Exposing, Keeping, Receiving, Settling, Turning};
    match place.activity {
        _ if place.closing => t!("ring-closing-doing", state = place.words()),
        Turning => t!("ring-turning-to-stop", stop = place.index),
        Settling => t!("ring-settling-at-stop", stop = place.index),
        Exposing => t!("ring-exposing-stop", stop = place.index),
        Receiving => t!("ring-receiving-stop", stop = place.index),
        Keeping => t!("ring-keeping-stop", stop = place.index),
        _ => t!("ring-stop", stop = place.index),
    }
}

/// The ticks of rows whose places lie too close for shapes.
fn ring_ticks(ui: &Ui, ring: &RingLayout, places: &[Place]) {
    let rows = ring.first_row..ring.first_row + ring.rows;
    for row in rows.filter(|row| ring.mark(*row) < marks::SMALLEST_SHAPE) {
        let radius = ring.radius(row);
        let of_row = places.iter().filter(|place| place.row == row);
        let along = of_row.map(|place| (place.degrees.to_radians() as f32 * radius, place.mark));
        for run in marks::runs(along) {
            band(ui.painter(), ring, radius, &run);
        }
    }
}

/// The ticks of neighbours in one state, across the ring.
fn band(painter: &egui::Painter, ring: &RingLayout, radius: f32, run: &marks::Run) {
    let tick = marks::Tick::of(run.mark);
    let at = |along: f32, share: f32| {
        let away = radius + TICK * (share - 0.5);
        ring.centre + ring.towards(f64::from(along / radius).to_degrees()) * away
    };
    if run.first >= run.last {
        painter.line_segment([at(run.first, tick.from), at(run.first, tick.to)], tick.stroke);
        return;
    }
    let half = tick.stroke.width / 2.0;
    let (first, length) = (run.first - half, run.last - run.first + tick.stroke.width);
    // Chords of this many radians leave the circle by less than a tenth of a point.
    let parts = (length / radius / 0.06).ceil().max(1.0);
    let middle = f32::midpoint(tick.from, tick.to);
    let points = (0..=parts as usize).map(|part| at(first + length * part as f32 / parts, middle)).collect();
    painter.add(Shape::line(points, Stroke::new(TICK * (tick.to - tick.from), tick.stroke.color)));
}

/// Which places take part as things to point at, tab to and read out.
struct WithinReach {
    all: bool,
    pointer: Option<Pos2>,
    with_keyboard: [Option<u32>; 2],
}

impl WithinReach {
    /// All of them where a screen reader listens; else those about the pointer and those that the keyboard can
    /// reach, for 720 would cost every drawing more than the rest of the window.
    fn now(ui: &Ui, state: &State) -> Self {
        let ctx = ui.ctx();
        Self {
            all: ctx.has_accesskit_node(egui::accesskit_root_id()),
            pointer: ctx.input(|input| input.pointer.latest_pos()),
            with_keyboard: [tab_stop(state), wanted_stop(ui, Surface::Ring)],
        }
    }

    fn has(&self, place: &Place, area: Rect) -> bool {
        let near = |pointer| area.expand(AROUND_POINTER).contains(pointer);
        self.all || self.with_keyboard.contains(&Some(place.index)) || self.pointer.is_some_and(near)
    }
}

fn place_ui(
    ui: &Ui,
    ring: &RingLayout,
    place: &Place,
    in_arc: bool,
    within_reach: &WithinReach,
    state: &State,
    sink: &IntentSink,
) {
    let at = ring.at(place);
    let area = Rect::from_center_size(at, Vec2::splat(ring.reach(place.row) * 2.0));
    let selected = state.selected.contains(&place.index);
    let radius = ring.mark(place.row);
    let response = within_reach.has(place, area).then(|| respond(ui, area, place, selected, state, sink));
    if radius >= marks::SMALLEST_SHAPE {
        let swell = if response.as_ref().is_some_and(egui::Response::hovered) { 1.2 } else { 1.0 };
        marks::paint(ui.painter(), at, radius * swell, place.mark);
    }
    let around = radius.max(4.0) + 3.5;
    if selected || in_arc {
        ui.painter().circle_stroke(at, around, Stroke::new(2.0, theme::strong()));
    }
    let Some(response) = response else { return };
    if response.has_focus() {
        let box_around = Rect::from_center_size(at, Vec2::splat(2.0 * around + 4.0));
        let stroke = Stroke::new(1.0, theme::strong());
        ui.painter().rect_stroke(box_around, 3.0, stroke, egui::StrokeKind::Outside);
    }
    response.on_hover_ui(|ui| tip_ui(ui, place));
}

/// Takes part as a thing to point at.
fn respond(
    ui: &Ui,
    area: Rect,
    place: &Place,
    selected: bool,
    state: &State,
    sink: &IntentSink,
) -> egui::Response {
    // One place takes part in tabbing, arrows lead on from there.
    let sense = if tab_stop(state) == Some(place.index) { Sense::click() } else { Sense::CLICK };
    let response = ui.interact(area, place_id(Surface::Ring, place.index), sense);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, selected, place.label()));
    hold_focus(ui, &response, Surface::Ring, place.index);
    if response.clicked() {
        sink.send(WindowIntent::Pick(pick_of_click(ui, place.index)));
    }
    response
}

/// The tooltip of a place.
pub fn tip_ui(ui: &mut Ui, place: &Place) {
    ui.set_max_width(320.0);
    ui.label(place.title());
    ui.horizontal(|ui| {
        marks::mark_ui(ui, place.mark);
        let versions = match place.versions.len() {
            0 => String::new(),
            _ if place.chosen == 0 => {
                format!(", {}", t!("count-versions", n = place.versions.len()))
            }
            several => t!("ring-version-of", chosen = place.chosen, several = several),
        };
        ui.label(format!("{}{versions}", place.words()));
    });
    for flag in place.flags() {
        ui.label(words::flag(flag));
    }
    soft_ui(ui, place.file_name());
    if place.closing {
        soft_wrapped_ui(ui, t!("facts-closing-what"));
    }
    if let Some(problem) = &place.problem {
        ui.label(problem);
    }
    soft_ui(ui, t!("ring-click-selects-ctrl-or-shift"));
}

/// What a click on a place means, from the keys held with it.
pub fn pick_of_click(ui: &Ui, stop: u32) -> Pick {
    ui.input(|input| {
        if input.modifiers.shift {
            Pick::Through(stop)
        } else if input.modifiers.command || input.key_pressed(egui::Key::Space) {
            Pick::Toggle(stop)
        } else {
            Pick::Only(stop)
        }
    })
}

/// The pointer at the stop whose picture is shown.
fn caret(ui: &Ui, ring: &RingLayout, place: &Place) {
    let way = ring.towards(place.degrees);
    let side = way.rot90();
    let tip = ring.at(place) + way * (ring.mark(place.row).max(4.0) + 6.0);
    let corners = vec![tip, tip + way * 7.0 + side * 4.5, tip + way * 7.0 - side * 4.5];
    ui.painter().add(Shape::convex_polygon(corners, theme::strong(), Stroke::NONE));
    mark_tip_ui(ui, tip + way * 4.0, "caret", &t!("ring-caret-tip"));
}

/// Each state's shape with its word and count; always all of them, so that nothing moves.
fn legend_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.add_space(4.0);
    let columns = if ui.available_width() < 330.0 { 3 } else { 4 };
    let cell = vec2(ui.available_width() / columns as f32, 17.0);
    ui.spacing_mut().interact_size.y = cell.y;
    for marks_in_line in Mark::ALL.chunks(columns) {
        let has_room = marks_in_line.len() < columns;
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing = vec2(0.0, 0.0);
            for mark in marks_in_line {
                ui.allocate_ui_with_layout(cell, Layout::left_to_right(Align::Center), |ui| {
                    ui.set_width(cell.x);
                    ui.spacing_mut().item_spacing.x = 6.0;
                    marks::mark_ui(ui, *mark);
                    soft_ui(ui, format!("{} {}", state.count(*mark), mark.word()))
                        .on_hover_ui(|ui| drop(ui.label(mark.tip())));
                });
            }
            // The last line has room for what is kept apart from the set.
            let row = state.shown().or(state.active()).map_or(0, |place| place.row);
            if let Some(place) = state.closing_of(row).filter(|_| has_room) {
                closing_ui(ui, cell, place, state, sink);
            }
        });
    }
}

/// The closing frame's place: no stop of the ring, so it stands beside the counts and in none of them.
fn closing_ui(ui: &mut Ui, cell: Vec2, place: &Place, state: &State, sink: &IntentSink) {
    let (area, _) = ui.allocate_exact_size(cell, Sense::hover());
    let selected = state.selected.contains(&place.index);
    let response = respond(ui, area, place, selected, state, sink);
    marks::paint(ui.painter(), area.left_center() + vec2(7.0, 0.0), 5.0, place.mark);
    let shown = state.shown().is_some_and(|shown| shown.index == place.index);
    let colour = if shown || selected || response.hovered() { theme::text() } else { theme::soft() };
    let at = area.left_center() + vec2(20.0, 0.0);
    ui.painter().text(at, Align2::LEFT_CENTER, t!("ring-closing"), theme::small(), colour);
    if selected || response.has_focus() {
        let stroke = Stroke::new(if selected { 2.0 } else { 1.0 }, theme::strong());
        ui.painter().rect_stroke(area, 3.0, stroke, egui::StrokeKind::Outside);
    }
    response.on_hover_ui(|ui| tip_ui(ui, place));
}
