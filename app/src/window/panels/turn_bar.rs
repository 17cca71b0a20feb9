//! The bar under the picture: drawing along it turns the object through the frames at hand.

use egui::{Rect, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2};

use session_core::angle::Angle;

use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::marks;
use crate::window::pictures::{Pictures, Seen, Size, Wish};
use crate::window::places::Place;
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

/// The bar's height, points.
pub const HEIGHT: f32 = 24.0;
/// The usual length of a tick, points.
const TICK: f32 = 6.0;
/// The room at both ends, points.
const EDGE: f32 = 20.0;
/// Stops to each side whose thumbnails are fetched ahead; all of them and the strip's fit into the cache.
const AHEAD: usize = 90;

/// Draws the bar.
pub fn turn_bar_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let (area, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), HEIGHT), Sense::click_and_drag());
    let row = state.shown().map_or(0, |place| place.row);
    let places: Vec<&Place> = state.places.iter().filter(|place| place.row == row).collect();
    let shown = state.shown().and_then(|shown| places.iter().position(|place| place.index == shown.index));
    let name = match shown {
        Some(at) => t!("turn-bar-at", at = at + 1, of = places.len()),
        None => t!("turn-bar-name"),
    };
    response.widget_info(|| WidgetInfo::slider(true, shown.map_or(0.0, |at| at as f64 + 1.0), &name));
    if places.is_empty() {
        return;
    }
    let track = area.shrink2(vec2(EDGE, 0.0));
    let one = track.width() / places.len().saturating_sub(1).max(1) as f32;
    let x_of = |at: usize| track.left() + one * at as f32;
    // Past an end it goes on from the other where the row is a whole turn: the last stop's neighbour is the first.
    let round = state.planned.rows.get(row).is_some_and(|row| row.arc == Angle::TURN);
    let round = round.then_some(places.len() as f32);
    if (response.dragged() || response.clicked() || response.drag_started())
        && let Some(pointer) = response.interact_pointer_pos()
        && let Some(to) = nearest_frame(&places, (pointer.x - track.left()) / one, round)
        && shown != Some(to)
    {
        sink.send(WindowIntent::Pick(Pick::Cursor(places[to].index)));
    }
    fetch_ahead(&places, shown.unwrap_or(0), pictures, sink);
    let painter = ui.painter();
    painter.hline(track.x_range(), track.center().y, Stroke::new(1.0, theme::line()));
    let apart = track.width() / places.len().max(1) as f32;
    let marks_at = places.iter().enumerate().map(|(at, place)| (x_of(at), place.mark));
    if apart > 9.0 {
        marks_at.for_each(|(x, mark)| marks::paint(painter, pos2(x, track.center().y), 3.4, mark));
    } else {
        for run in marks::runs(marks_at) {
            band(painter, track.center().y, &run);
        }
    }
    if let Some(at) = shown {
        let handle = Rect::from_center_size(pos2(x_of(at), track.center().y), vec2(11.0, 20.0));
        let stroke = if response.hovered() || response.dragged() { 2.5 } else { 1.5 };
        painter.rect_stroke(handle, 4.0, Stroke::new(stroke, theme::strong()), StrokeKind::Inside);
    }
    if response.has_focus() {
        painter.rect_stroke(
            area.shrink2(Vec2::new(4.0, 1.0)),
            3.0,
            Stroke::new(1.0, theme::strong()),
            StrokeKind::Inside,
        );
    }
    response.on_hover_text(t!("turn-bar-tip"));
}

/// The ticks of neighbours in one state.
fn band(painter: &egui::Painter, middle: f32, run: &marks::Run) {
    let tick = marks::Tick::of(run.mark);
    let y = |share: f32| middle + TICK * (0.5 - share);
    let half = tick.stroke.width / 2.0;
    let area = Rect::from_x_y_ranges(run.first - half..=run.last + half, y(tick.to)..=y(tick.from));
    let upright = [area.center_bottom(), area.center_top()];
    painter.line_segment(upright, Stroke::new(area.width(), tick.stroke.color));
}

/// The place with a picture that lies nearest to a point of the bar, counted in places from the first;
/// `round` is after how many it begins again, where it does.
fn nearest_frame(places: &[&Place], point: f32, round: Option<f32>) -> Option<usize> {
    let away = |at: usize| {
        let apart = (at as f32 - point).abs();
        round.map_or(apart, |all| {
            let apart = apart.rem_euclid(all);
            apart.min(all - apart)
        })
    };
    let with_picture = (0..places.len()).filter(|at| places[*at].picture().is_some());
    with_picture.min_by(|one, other| away(*one).total_cmp(&away(*other)))
}

/// Wishes for the nearest thumbnail that is not at hand, one for each drawing, so that turning never waits.
fn fetch_ahead(places: &[&Place], from: usize, pictures: &Pictures, sink: &IntentSink) {
    let count = places.len();
    for away in 0..=AHEAD.min(count / 2) {
        for at in [(from + away) % count, (from + count - away) % count] {
            if let Some(version) = places[at].picture()
                && matches!(pictures.thumb(&version.path), Seen::OnItsWay)
            {
                sink.send(WindowIntent::Want(Wish::plain(&version.path, Size::Thumb)));
                return;
            }
        }
    }
}
