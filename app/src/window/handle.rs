//! The one place where the person's wishes and the workers' news change the window's state.

use std::path::PathBuf;
use std::time::Instant;

use session_core::cancel::CancelToken;
use session_core::engine::Intent;
use session_core::runner::IntentSender;

use super::ask::{Dialogs, Purpose};
use super::desk::{Desk, FrameNote, Order};
use super::devices::Ports;
use super::finishing_worker::FinishingWorker;
use super::intent::{RoomEdit, WindowIntent};
use super::mailbox::Post;
use super::pictures::{PictureWorker, Pictures, Wish};
use super::setup::Setup;
use super::stage::Page;
use super::state::{Link, NoticeKind, State};
use super::tryout::Trial;
use crate::studio::StudioOptions;
use crate::window::text::t;

mod devices;
mod finishing;
mod news;
mod pick;
mod session;
mod sets;

/// What the handler works with, beside the state.
pub struct Tools {
    /// Does what takes time.
    pub desk: Desk,
    /// Decodes pictures.
    pub worker: PictureWorker,
    /// Makes what the finishing room shows.
    pub finishing: FinishingWorker,
    /// Stops finishing or exporting.
    pub job_cancel: CancelToken,
    /// Asks for files and folders.
    pub dialogs: Dialogs,
    /// Talks to the running session.
    pub session: Option<IntentSender>,
    /// Settings of the devices.
    pub options: StudioOptions,
    /// Stops what is being tried out.
    pub trial_cancel: CancelToken,
    /// When the window was opened.
    pub began: Instant,
    /// Where the window's settings are remembered.
    pub remember: Option<PathBuf>,
}

impl Tools {
    /// Passes a wish for a picture on; one there is no room for is asked for again when drawn again.
    pub fn wish(&self, pictures: &mut Pictures, wish: &Wish) {
        if pictures.note_wish(wish) && !self.worker.wish(wish.clone()) {
            pictures.drop_wish(wish);
        }
    }

    /// Handles one wish of the person.
    pub fn handle(&mut self, state: &mut State, intent: WindowIntent) {
        match intent {
            // Taken out before, see `wish`.
            WindowIntent::Want(_) => {}
            // Not yet sent anywhere: calling it off is enough.
            WindowIntent::Session(Intent::StopNow) if state.link == Link::Opening => {
                if state.then.take().is_some() {
                    let text = t!("handle-called-off-nothing-turns-the");
                    state.say(NoticeKind::Note, text);
                }
            }
            WindowIntent::Session(Intent::StopNow) if state.trying => self.trial_cancel.cancel(),
            WindowIntent::Session(intent) => self.send(intent),
            WindowIntent::Shoot => {
                state.follow = true;
                // A new run: what was pointed at before it is done with.
                state.selected.clear();
                state.notices.clear();
                let skipped = state.skipped_left();
                let start =
                    if skipped.is_empty() { Intent::Start } else { Intent::Retake { stops: skipped } };
                self.send_or_open(state, start);
            }
            WindowIntent::Retake => self.retake(state),
            WindowIntent::SetAside(stops) => {
                let intents = stops.iter().map(|stop| Intent::SetAside { stop: *stop }).collect();
                self.note(state, FrameNote::SetAside(stops), intents);
            }
            WindowIntent::UseVersion { stop, version } => {
                let intent = Intent::KeepVersion { stop, version };
                self.note(state, FrameNote::Use { stop, version }, vec![intent]);
            }
            WindowIntent::LeaveOut(stops) => {
                for stop in stops {
                    self.send(Intent::Skip { stop });
                }
            }
            WindowIntent::Edit(edit) => {
                state.history.note(&state.draft, &edit);
                state.draft.apply(edit);
                state.own_plan = true;
                state.read_draft();
                self.follow_sku(state);
            }
            WindowIntent::Undo | WindowIntent::Redo if state.is_busy() => {}
            WindowIntent::Undo => {
                if let Some(draft) = state.history.undo(&state.draft) {
                    state.put_back(draft);
                }
            }
            WindowIntent::Redo => {
                if let Some(draft) = state.history.redo(&state.draft) {
                    state.put_back(draft);
                }
            }
            WindowIntent::UsePlan => {
                if state.problems.is_empty() && !state.is_busy() {
                    let order = Order::Replan(state.folder.clone(), state.planned.clone());
                    if self.order(state, order) {
                        state.link = Link::Closing;
                        // Its number may belong to another stop in the changed plan.
                        state.newest = None;
                    }
                }
            }
            WindowIntent::UndoPlan => {
                if let Some(plan) = state.in_force.as_ref().map(|set| set.plan.clone()) {
                    state.load_plan(&plan);
                    state.own_plan = false;
                }
            }
            WindowIntent::TypeFolder(text) => state.folder_text = text,
            WindowIntent::UseFolder => {
                let folder = PathBuf::from(state.folder_text.trim());
                self.use_folder(state, &folder);
            }
            WindowIntent::Pick(pick) => pick::pick(state, pick),
            WindowIntent::Select { stops, add } => {
                if !add {
                    state.selected.clear();
                }
                state.anchor = stops.first().copied().or(state.anchor);
                state.selected.extend(stops);
                state.selection_follows = false;
            }
            WindowIntent::ShowRow(row) => state.ring_row = row,
            WindowIntent::ShowNewest => {
                state.follow = true;
                state.selected.clear();
            }
            WindowIntent::AskToRetake(ask) => state.retake_asked = ask,
            other => self.handle_room(state, other),
        }
    }

    /// Handles a wish that is about devices, lists and the window itself.
    fn handle_room(&mut self, state: &mut State, intent: WindowIntent) {
        match intent {
            // A session that is shooting is not to be covered by it, and devices could not be tried out while one
            // holds them.
            WindowIntent::Setup(step) if !state.is_busy() && self.end_session(state) => {
                Setup::open(state, step);
                state.stage.page = Page::Set;
            }
            WindowIntent::LeaveSetup { use_chosen } => self.leave_setup(state, use_chosen),
            WindowIntent::Table(edit) => {
                state.devices.edit_table(edit);
                Setup::note_choice(state);
                self.let_go(state);
            }
            WindowIntent::Camera(edit) => {
                state.devices.edit_camera(edit);
                self.let_go(state);
            }
            WindowIntent::Disconnect => self.let_go(state),
            WindowIntent::Try(trial) => self.try_out(state, trial),
            WindowIntent::HideLive => {
                state.live = None;
                if state.tryout.as_ref().is_some_and(|tryout| tryout.live) {
                    self.try_out(state, Trial::Live(false));
                }
            }
            WindowIntent::Probe => self.probe(state),
            WindowIntent::LookForPorts => {
                state.devices.ports = Ports::Looking;
                self.order(state, Order::ListPorts);
            }
            WindowIntent::OpenPlan => self.ask(state, Purpose::OpenPlan),
            WindowIntent::SavePlan => self.ask(state, Purpose::SavePlan),
            WindowIntent::Board(edit) => state.board.apply(edit),
            WindowIntent::SaveBoard => self.ask(state, Purpose::BoardFolder),
            WindowIntent::OpenList => self.ask(state, Purpose::OpenList),
            WindowIntent::UseList => self.use_list(state),
            WindowIntent::DeclineList => state.offer = None,
            WindowIntent::CloseList => {
                (state.list, state.settings.list) = (None, None);
                self.remember(state);
            }
            WindowIntent::UseProduct(sku) => self.use_product(state, sku),
            WindowIntent::NextProduct => {
                let next = state.list.as_ref().and_then(|list| list.next_open(&state.planned.sku));
                if let Some(sku) = next.map(str::to_owned) {
                    self.use_product(state, sku);
                }
            }
            WindowIntent::NewSet => self.new_set(state),
            WindowIntent::OpenSet(folder) => self.use_folder(state, &folder),
            WindowIntent::ChooseFolder => self.ask(state, Purpose::SessionFolder),
            WindowIntent::ChooseCameraFolder => self.ask(state, Purpose::CameraFolder),
            WindowIntent::Room(edit) => {
                match edit {
                    RoomEdit::Light(light) => state.settings.light = light,
                    RoomEdit::Scale(scale) => state.settings.scale = Some(scale),
                    RoomEdit::Silent(silent) => state.settings.silent = silent,
                    RoomEdit::Language(language) => state.settings.language = language,
                    RoomEdit::OnFlag(kind, response) => state.settings.on_flag.choose(kind, response),
                }
                self.remember(state);
            }
            WindowIntent::Look(look) => state.stage.apply(look),
            WindowIntent::Finishing(wish) => self.handle_finishing(state, wish),
            WindowIntent::TypedPath(edit) => self.handle_typed_path(state, edit),
            WindowIntent::ShowFolder => {
                self.order(state, Order::ShowFolder(state.folder.clone()));
            }
            WindowIntent::Dropped(path) => {
                self.order(state, Order::Dropped(path));
            }
            WindowIntent::Dismiss(id) => state.notices.retain(|notice| notice.id != id),
            WindowIntent::DismissAll => state.notices.clear(),
            // The rest was handled before.
            _ => {}
        }
    }

    /// Has the settings written down.
    pub fn remember(&self, state: &State) {
        if let Some(place) = &self.remember {
            // One that finds no room is made good by the next.
            self.desk.order(Order::Remember(place.clone(), Box::new(state.settings.clone())));
        }
    }

    /// Asks to see what the session folder holds.
    pub fn look(&self, state: &mut State) {
        self.order(state, Order::Look(state.folder.clone()));
    }

    /// Has the facts of the stop that is shown looked up, one at a time.
    pub fn look_facts_up(&self, state: &mut State) {
        if let Some(key) = state.facts_wanted()
            && self.desk.order(Order::Facts(state.folder.clone(), key))
        {
            state.facts_asked = Some(key);
        }
    }

    fn send(&self, intent: Intent) {
        if let Some(session) = &self.session {
            session.send(intent);
        }
    }

    /// Gives the desk an order; tells whether it was taken.
    fn order(&self, state: &mut State, order: Order) -> bool {
        let taken = self.desk.order(order);
        if !taken {
            state.say(NoticeKind::Trouble, t!("handle-the-windows-worker-is-still"));
        }
        taken
    }

    /// Takes the workers' news in.
    pub fn take_in(&mut self, state: &mut State, pictures: &mut Pictures, post: Post) {
        self.take_in_answers(state);
        self.take_in_finishing(state, pictures, post.finishing);
        // Before the desk's news: the end of one session comes before the beginning of the next.
        for event in post.events {
            self.take_in_event(state, event);
        }
        for news in post.desk {
            self.take_in_desk(state, news);
        }
        if let Some(view) = post.view
            // Of a session that is ended the desk tells what the folder holds; another may be looked at by then.
            && matches!(state.link, Link::Opening | Link::Open)
        {
            self.take_in_view(state, &view);
        }
        if let Some(degrees) = post.plate_deg
            && state.plate_deg.is_some()
        {
            state.plate_deg = Some(degrees);
        }
        if let Some(live) = post.live {
            self.take_in_live(state, pictures, live);
        }
        for shown in post.pictures {
            pictures.take_in(shown);
        }
    }
}
