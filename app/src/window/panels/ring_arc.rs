//! Drawing along the ring selects the stops passed; across several rings, those of each.

use egui::{Id, Pos2, Rect, Response, Sense, Shape, Stroke, Ui};

use super::ring::pick_of_click;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::Place;
use crate::window::ring_layout::RingLayout;
use crate::window::state::State;
use crate::window::theme;

/// An arc as it is being drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Arc {
    /// Where it begins, degrees along the plan's direction.
    from_deg: f64,
    /// How far it has come, degrees; negative against the plan's direction.
    swept_deg: f64,
    /// The distances from the centre between which rows are meant, points.
    radii: (f32, f32),
}

/// Takes what is drawn on the ground between the places; gives the stops in the arc so far.
pub fn arc_ui(ui: &Ui, rect: Rect, ring: &RingLayout, state: &State, sink: &IntentSink) -> Vec<u32> {
    let response = ui.interact(rect, ui.scope_id().with("ring ground"), Sense::CLICK | Sense::DRAG);
    // A press that came together with the pointer, before the place under it took part.
    if response.clicked()
        && let Some(stop) = response.interact_pointer_pos().and_then(|at| under(ring, state, at))
    {
        sink.send(WindowIntent::Pick(pick_of_click(ui, stop)));
    }
    let memory = response.id.with("arc");
    let Some(arc) = follow(ui, &response, memory, ring) else { return Vec::new() };
    let stops: Vec<u32> =
        state.places.iter().filter(|place| holds(ring, &arc, place)).map(|place| place.index).collect();
    if response.drag_stopped() {
        ui.data_mut(|data| data.remove::<Arc>(memory));
        let add = ui.input(|input| input.modifiers.shift || input.modifiers.command);
        sink.send(WindowIntent::Select { stops, add });
        return Vec::new();
    }
    paint(ui, ring, &arc);
    stops
}

/// The arc after this drawing's movement of the pointer; `None` when none is drawn, or not on the rings.
fn follow(ui: &Ui, response: &Response, memory: Id, ring: &RingLayout) -> Option<Arc> {
    let pointer = response.interact_pointer_pos()?;
    let here_deg = ring.degrees_at(pointer);
    let away = ring.centre.distance(pointer);
    if response.drag_started() {
        let began = ui.input(|input| input.pointer.press_origin()).unwrap_or(pointer);
        let from = ring.centre.distance(began);
        if from < ring.plate_radius() {
            return None;
        }
        let from_deg = ring.degrees_at(began);
        let arc = Arc { from_deg, swept_deg: short_way(here_deg - from_deg), radii: (from, away) };
        ui.data_mut(|data| data.insert_temp(memory, arc));
        return Some(arc);
    }
    let mut arc = ui.data(|data| data.get_temp::<Arc>(memory))?;
    // Added up, so that an arc of more than half a turn goes on the way it was drawn.
    let step = short_way(here_deg - arc.from_deg - arc.swept_deg);
    arc.swept_deg = (arc.swept_deg + step).clamp(-360.0, 360.0);
    arc.radii.1 = away;
    ui.data_mut(|data| data.insert_temp(memory, arc));
    Some(arc)
}

/// The stop whose place lies under a point.
fn under(ring: &RingLayout, state: &State, point: Pos2) -> Option<u32> {
    let away = |place: &&Place| ring.at(place).distance(point);
    let shown = state.places.iter().filter(|place| ring.shows(place.row));
    let nearest = shown.min_by(|one, other| away(one).total_cmp(&away(other)))?;
    (away(&nearest) <= ring.reach(nearest.row)).then_some(nearest.index)
}

fn short_way(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

fn holds(ring: &RingLayout, arc: &Arc, place: &Place) -> bool {
    let (near, far) = (arc.radii.0.min(arc.radii.1), arc.radii.0.max(arc.radii.1));
    let radius = ring.radius(place.row);
    let half = ring.gap / 2.0;
    if !ring.shows(place.row) || radius < near - half || radius > far + half {
        return false;
    }
    // A place counts as soon as the arc touches its shape.
    let slack = f64::from((ring.mark(place.row) / radius).to_degrees());
    let way = if arc.swept_deg < 0.0 { -1.0 } else { 1.0 };
    let ahead = ((place.degrees - arc.from_deg) * way + slack).rem_euclid(360.0) - slack;
    ahead <= arc.swept_deg.abs() + slack
}

fn paint(ui: &Ui, ring: &RingLayout, arc: &Arc) {
    let parts = 48;
    let away = f32::midpoint(arc.radii.0, arc.radii.1);
    let points: Vec<Pos2> = (0..=parts)
        .map(|part| {
            let degrees = arc.from_deg + arc.swept_deg * f64::from(part) / f64::from(parts);
            ring.centre + ring.towards(degrees) * away
        })
        .collect();
    let width = (arc.radii.0 - arc.radii.1).abs() + 20.0;
    ui.painter().add(Shape::line(points, Stroke::new(width, theme::line())));
}
