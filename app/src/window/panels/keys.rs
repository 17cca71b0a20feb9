//! The keys that work anywhere in the window: stop, look, select, retake.

use egui::{Id, Key, Modifiers, Ui};
use session_core::engine::Intent;

use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::places::Place;
use crate::window::state::{Link, State};

/// The two places where a stop can hold the keyboard focus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Surface {
    /// On the ring.
    Ring,
    /// On the strip.
    Strip,
}

/// The identity of a stop's place on a surface.
pub fn place_id(surface: Surface, stop: u32) -> Id {
    Id::unique(("place", surface, stop))
}

/// The one place of each surface that takes part in tabbing; arrows lead on from there.
pub fn tab_stop(state: &State) -> Option<u32> {
    state.cursor.or_else(|| state.places.first().map(|place| place.index))
}

/// The place that should take the keyboard focus when it is drawn next.
fn wanted_focus() -> Id {
    Id::unique("place that wants the focus")
}

/// The stop on this surface that should take the keyboard focus when it is drawn next.
pub fn wanted_stop(ui: &Ui, surface: Surface) -> Option<u32> {
    let wanted: Option<(Surface, u32)> = ui.data(|data| data.get_temp(wanted_focus()));
    wanted.filter(|(on, _)| *on == surface).map(|(_, stop)| stop)
}

/// Lets a place that was reached by arrow take the focus, and keeps arrows from leading away.
pub fn hold_focus(ui: &Ui, response: &egui::Response, surface: Surface, stop: u32) {
    if wanted_stop(ui, surface) == Some(stop) {
        ui.data_mut(|data| data.remove::<(Surface, u32)>(wanted_focus()));
        response.request_focus();
    }
    if response.has_focus() {
        let filter = egui::EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..egui::EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    }
}

/// Whether keys are meant for a field that is typed in, or for a card that covers the window.
pub fn keys_are_taken(ui: &Ui, state: &State) -> bool {
    let covered =
        egui::Popup::is_any_open(ui.ctx()) || state.board.open || state.offer.is_some() || state.retake_asked;
    let covered =
        covered || state.typed_path.is_some() || (state.finishing.open && state.finishing.plate_asked);
    covered || ui.ctx().text_edit_focused()
}

/// Handles the keys.
pub fn keys_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    let pressed = |key| ui.input(|input| input.key_pressed(key));
    // Before anything else, and whatever has the focus.
    if pressed(Key::Escape) && (matches!(state.link, Link::Open | Link::Opening) || state.trying) {
        sink.session(Intent::StopNow);
    }
    ui.input(|input| {
        for file in &input.raw.dropped_files {
            sink.send(WindowIntent::Dropped(file.path().to_owned()));
        }
    });
    if keys_are_taken(ui, state) {
        return;
    }
    // A text field has an undo of its own.
    let undo = egui::KeyboardShortcut::new(Modifiers::COMMAND, Key::Z);
    let redo = egui::KeyboardShortcut::new(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    if ui.input_mut(|input| input.consume_shortcut(&redo)) {
        sink.send(WindowIntent::Redo);
    } else if ui.input_mut(|input| input.consume_shortcut(&undo)) {
        sink.send(WindowIntent::Undo);
    }
    let plain = ui.input(|input| input.modifiers == Modifiers::NONE);
    if plain && pressed(Key::N) && state.list.is_some() {
        sink.send(WindowIntent::NextProduct);
    }
    let start = egui::KeyboardShortcut::new(Modifiers::COMMAND, Key::Enter);
    if ui.input_mut(|input| input.consume_shortcut(&start))
        && !state.is_busy()
        && state.setup.step.is_none()
        && state.hindrance().is_none()
    {
        sink.send(WindowIntent::Shoot);
    }
    if plain && pressed(Key::R) {
        // A key is pressed sooner by mistake than a button that says how many.
        let several = state.targets().len() > 1;
        sink.send(if several { WindowIntent::AskToRetake(true) } else { WindowIntent::Retake });
    }
    let all = egui::KeyboardShortcut::new(Modifiers::COMMAND, Key::A);
    if ui.input_mut(|input| input.consume_shortcut(&all)) {
        sink.send(WindowIntent::Pick(Pick::All));
    }
    let focus = ui.memory(egui::Memory::focused);
    let surface = tab_stop(state).and_then(|stop| {
        [Surface::Ring, Surface::Strip].into_iter().find(|surface| focus == Some(place_id(*surface, stop)))
    });
    if focus.is_some() && surface.is_none() {
        return;
    }
    let step = [
        (Key::ArrowRight, Step::Next),
        (Key::ArrowLeft, Step::Previous),
        (Key::ArrowDown, Step::RowDown),
        (Key::ArrowUp, Step::RowUp),
        (Key::Home, Step::First),
        (Key::End, Step::Last),
    ];
    let Some((key, step)) = step.into_iter().find(|(key, _)| pressed(*key)) else { return };
    // On a slow machine several presses may come in with one drawing: none is lost.
    let times = ui.input(|input| input.num_presses(key));
    let here = state.cursor.or_else(|| state.shown().map(|place| place.index));
    let to = (0..times).fold(here, |here, _| step.from(state, here).or(here));
    let Some(to) = to else { return };
    let through = ui.input(|input| input.modifiers.shift);
    sink.send(WindowIntent::Pick(if through { Pick::Through(to) } else { Pick::Cursor(to) }));
    if let Some(surface) = surface {
        ui.data_mut(|data| data.insert_temp(wanted_focus(), (surface, to)));
    }
}

/// Ways to go from one stop to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Next,
    Previous,
    RowDown,
    RowUp,
    First,
    Last,
}

impl Step {
    /// The stop this step leads to from a stop, or from none.
    fn from(self, state: &State, here: Option<u32>) -> Option<u32> {
        let places: Vec<&Place> = state.all_places().collect();
        let Some(at) = here.and_then(|stop| places.iter().position(|place| place.index == stop)) else {
            return places.first().map(|place| place.index);
        };
        let in_row = |up: bool| {
            let row = if up { places[at].row.checked_sub(1)? } else { places[at].row + 1 };
            nearest(state.places.iter().filter(|place| place.row == row), places[at].degrees)
        };
        let only_row = places.iter().all(|place| place.row == places[at].row);
        let to = match self {
            Self::Next => Some((at + 1) % places.len()),
            Self::Previous => Some((at + places.len() - 1) % places.len()),
            Self::RowDown if only_row => Some((at + 1) % places.len()),
            Self::RowUp if only_row => Some((at + places.len() - 1) % places.len()),
            Self::RowDown => return in_row(false),
            Self::RowUp => return in_row(true),
            Self::First => Some(0),
            Self::Last => Some(places.len() - 1),
        };
        to.map(|at| places[at].index)
    }
}

/// The place whose angle is nearest, the short way round.
fn nearest<'a>(places: impl Iterator<Item = &'a Place>, degrees: f64) -> Option<u32> {
    let apart = |place: &Place| {
        let ahead = (place.degrees - degrees).rem_euclid(360.0);
        ahead.min(360.0 - ahead)
    };
    places.min_by(|one, other| apart(one).total_cmp(&apart(other))).map(|place| place.index)
}
