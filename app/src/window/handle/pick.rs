//! Pointing at stops.

use crate::window::intent::Pick;
use crate::window::state::State;

/// Points at stops.
pub(super) fn pick(state: &mut State, pick: Pick) {
    match pick {
        Pick::Only(stop) => {
            state.selected = [stop].into();
            (state.cursor, state.anchor) = (Some(stop), Some(stop));
            state.selection_follows = true;
        }
        Pick::Toggle(stop) => {
            if !state.selected.remove(&stop) {
                state.selected.insert(stop);
            }
            state.selection_follows = false;
            (state.cursor, state.anchor) = (Some(stop), Some(stop));
        }
        Pick::Through(stop) => {
            let from = state.anchor.or(state.shown().map(|place| place.index)).unwrap_or(stop);
            (state.cursor, state.anchor) = (Some(stop), Some(from));
            state.selection_follows = false;
            let run = from.min(stop)..=from.max(stop);
            state.selected =
                state.all_places().map(|place| place.index).filter(|index| run.contains(index)).collect();
        }
        Pick::Cursor(stop) => {
            (state.cursor, state.anchor) = (Some(stop), Some(stop));
            if state.selection_follows && !state.selected.is_empty() {
                state.selected = [stop].into();
            }
        }
        Pick::All => {
            state.selected = state.places.iter().map(|place| place.index).collect();
            state.selection_follows = false;
        }
        Pick::Nothing => state.selected.clear(),
    }
    if !matches!(pick, Pick::All | Pick::Nothing) {
        state.follow = false;
    }
}
