//! Which set is worked on: its folder, its product, a new one.

use std::path::{Path, PathBuf};

use session_core::plan::Plan;

use super::Tools;
use crate::window::desk::Order;
use crate::window::state::{Link, NoticeKind, State};
use crate::window::text::t;

impl Tools {
    /// Clears the product's fields for another one; rows and times stay, as most products are shot alike.
    pub(super) fn new_set(&self, state: &mut State) {
        if state.is_busy() || !self.end_session(state) {
            return;
        }
        let (sku, title) = (String::new(), String::new());
        state.begin_plan(&Plan { sku, title, ..state.planned.clone() });
        state.own_plan = true;
        state.leave_set();
        state.folder_follows = true;
        // Until it has a name the folder that was used before must not show through.
        state.folder = sets_folder();
        state.folder_text = state.folder.display().to_string();
        state.lay_out();
        // The one that was worked on until now is among them, as far as it has come.
        self.look_at_recents(state);
        let text = t!("handle-a-new-set-type-its");
        state.say(NoticeKind::Note, text);
    }

    /// Gives a new set the folder that its SKU names.
    pub(super) fn follow_sku(&self, state: &mut State) {
        if !state.folder_follows || !state.problems.is_empty() || !state.kept_nothing() {
            return;
        }
        let folder = sets_folder().join(&state.planned.sku);
        if folder != state.folder {
            state.folder_text = folder.display().to_string();
            state.folder = folder;
            self.look(state);
        }
    }

    /// Remembers that the set in the folder is worked on.
    pub(super) fn note_set(&self, state: &mut State) {
        if state.settings.note_set(&state.folder) {
            self.remember(state);
        }
        self.look_at_recents(state);
    }

    /// Has it seen how the sets worked on before stand.
    pub(in crate::window) fn look_at_recents(&self, state: &State) {
        // One that finds no room is made good by the next.
        self.desk.order(Order::LookAtRecents(state.settings.recent.clone()));
    }

    /// Takes the list that is offered into use, and opens its first product that is not done, unless one of its
    /// products is being worked on.
    pub(super) fn use_list(&self, state: &mut State) {
        let Some(offer) = state.offer.take() else { return };
        if self.order(state, Order::UseList)
            && let Ok(list) = &offer.found
            && let Some(sku) = list.first_open()
            && !list.is_open_in(&state.folder)
        {
            self.use_product(state, sku.to_owned());
        }
    }

    pub(super) fn use_product(&self, state: &mut State, sku: String) {
        if !state.is_busy() {
            self.order(state, Order::Product(sku));
        }
    }

    /// Ends an idle session; the devices stay, for another folder changes nothing for them: a board that is opened
    /// anew may have forgotten where it stands.
    /// Tells whether none runs any more; otherwise nothing may change under it.
    pub(super) fn end_session(&self, state: &mut State) -> bool {
        if state.link == Link::Open && self.order(state, Order::EndSession) {
            state.link = Link::Closing;
        }
        state.link != Link::Open
    }

    pub(super) fn use_folder(&self, state: &mut State, folder: &Path) {
        if state.is_busy() || folder.as_os_str().is_empty() || !self.end_session(state) {
            return;
        }
        folder.clone_into(&mut state.folder);
        state.own_plan = false;
        state.folder_follows = false;
        state.folder_text = folder.display().to_string();
        state.leave_set();
        state.lay_out();
        self.look(state);
        // The one that was worked on until now is among them, as far as it has come.
        self.look_at_recents(state);
    }
}

/// Where new sets go: with the person's pictures.
fn sets_folder() -> PathBuf {
    let people = directories::UserDirs::new();
    let pictures = people.as_ref().map(|dirs| dirs.picture_dir().unwrap_or(dirs.home_dir()).to_owned());
    pictures.unwrap_or_default().join("Roundstop")
}
