//! The one place where the person's wishes and the workers' news change the window's state.

use std::path::Path;

use session_core::engine::Intent;
use session_core::runner::IntentSender;
use session_core::view::Update;

use super::ask::{Answer, Dialogs};
use super::desk::{Desk, DeskNews, FrameNote, Opening, Order};
use super::devices::Ports;
use super::intent::{Pick, WindowIntent};
use super::mailbox::Post;
use super::pictures::{PictureWorker, Pictures, Wish};
use super::places::PlanInForce;
use super::state::{Link, NoticeKind, State};
use super::words;
use crate::studio::StudioOptions;

/// What the handler works with, beside the state.
pub struct Tools {
    /// Does what takes time.
    pub desk: Desk,
    /// Decodes pictures.
    pub worker: PictureWorker,
    /// Asks for files and folders.
    pub dialogs: Dialogs,
    /// Talks to the running session.
    pub session: Option<IntentSender>,
    /// Settings of the devices.
    pub options: StudioOptions,
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
            WindowIntent::Session(intent) => self.send(intent),
            WindowIntent::Shoot => {
                state.follow = true;
                self.send_or_open(state, Intent::Start);
            }
            WindowIntent::Retake => self.retake(state),
            WindowIntent::SetAside(stops) => {
                let notes = stops.iter().map(|stop| FrameNote::SetAside(*stop)).collect();
                self.note(state, notes, stops.into_iter().map(|stop| Intent::SetAside { stop }));
            }
            WindowIntent::UseVersion { stop, version } => {
                let intent = Intent::KeepVersion { stop, version };
                self.note(state, vec![FrameNote::Use { stop, version }], std::iter::once(intent));
            }
            WindowIntent::LeaveOut(stops) => {
                for stop in stops {
                    self.send(Intent::Skip { stop });
                }
            }
            WindowIntent::Edit(edit) => {
                state.draft.apply(edit);
                state.read_draft();
            }
            WindowIntent::UsePlan => {
                if state.problems.is_empty() && !state.is_busy() {
                    state.link = Link::Closing;
                    // Its number may belong to another stop in the changed plan.
                    state.newest = None;
                    self.order(state, Order::Replan(state.folder.clone(), state.planned.clone()));
                }
            }
            WindowIntent::UndoPlan => {
                if let Some(plan) = state.in_force.as_ref().map(|set| set.plan.clone()) {
                    state.load_plan(&plan);
                }
            }
            WindowIntent::TypeFolder(text) => state.folder_text = text,
            WindowIntent::UseFolder(folder) => self.use_folder(state, &folder),
            WindowIntent::Pick(pick) => self::pick(state, pick),
            WindowIntent::ShowNewest => {
                state.follow = true;
                state.selected.clear();
            }
            WindowIntent::Table(edit) => {
                state.devices.edit_table(edit);
                self.let_go(state);
            }
            WindowIntent::Camera(edit) => {
                state.devices.edit_camera(edit);
                self.let_go(state);
            }
            WindowIntent::Disconnect => self.let_go(state),
            WindowIntent::LookForPorts => {
                state.devices.ports = Ports::Looking;
                self.order(state, Order::ListPorts);
            }
            WindowIntent::OpenPlan => self.dialogs.open_plan(),
            WindowIntent::SavePlan => self.dialogs.save_plan(&state.planned.sku),
            WindowIntent::ChooseFolder => self.dialogs.session_folder(&state.folder),
            WindowIntent::ChooseCameraFolder => self.dialogs.camera_folder(),
            WindowIntent::Dismiss(id) => state.notices.retain(|notice| notice.id != id),
        }
    }

    /// Asks to see what the session folder holds.
    pub fn look(&self, state: &mut State) {
        self.order(state, Order::Look(state.folder.clone()));
    }

    fn send(&self, intent: Intent) {
        if let Some(session) = &self.session {
            session.send(intent);
        }
    }

    fn order(&self, state: &mut State, order: Order) {
        if !self.desk.order(order) {
            state.say(
                NoticeKind::Trouble,
                "The window's worker is still busy; wait a moment and try again.".to_owned(),
            );
        }
    }

    /// Sends an intent to the session, which is opened first if none runs.
    fn send_or_open(&self, state: &mut State, intent: Intent) {
        match state.link {
            Link::Open => self.send(intent),
            Link::Opening | Link::Closing => {}
            Link::Closed => {
                let specs =
                    state.devices.table_spec().and_then(|table| Ok((table, state.devices.camera_spec()?)));
                if let Some(hindrance) = state.hindrance() {
                    state.say(NoticeKind::Trouble, hindrance);
                } else if let Ok((table, camera)) = specs {
                    let opening = Opening {
                        folder: state.folder.clone(),
                        plan: state.planned.clone(),
                        table,
                        camera,
                        options: self.options.clone(),
                        then: Some(intent),
                    };
                    state.link = Link::Opening;
                    self.order(state, Order::Open(Box::new(opening)));
                }
            }
        }
    }

    fn retake(&self, state: &mut State) {
        let stops = state.targets();
        if stops.is_empty() {
            return;
        }
        if state.change.is_some() {
            if let Some(hindrance) = state.hindrance() {
                state.say(NoticeKind::Trouble, hindrance);
            }
            return;
        }
        self.send_or_open(state, Intent::Retake { stops });
    }

    /// Notes something on frames: through the session that runs, else on the folder itself.
    fn note(&self, state: &mut State, notes: Vec<FrameNote>, intents: impl Iterator<Item = Intent>) {
        match state.link {
            Link::Open => intents.for_each(|intent| self.send(intent)),
            Link::Closed if state.change.is_none() => {
                self.order(state, Order::Note(state.folder.clone(), notes));
            }
            _ => {}
        }
    }

    /// Ends an idle session, so that other devices or another folder can be used.
    fn let_go(&self, state: &mut State) {
        if state.link == Link::Open && !state.is_busy() {
            state.link = Link::Closing;
            self.order(state, Order::Close);
        }
    }

    fn use_folder(&self, state: &mut State, folder: &Path) {
        if state.is_busy() || folder.as_os_str().is_empty() {
            return;
        }
        self.let_go(state);
        folder.clone_into(&mut state.folder);
        state.folder_text = folder.display().to_string();
        state.in_force = None;
        state.newest = None;
        state.lay_out();
        self.look(state);
    }

    /// Takes the workers' news in.
    pub fn take_in(&mut self, state: &mut State, pictures: &mut Pictures, post: Post) {
        for answer in self.dialogs.answers() {
            match answer {
                Answer::OpenPlan(path) => self.order(state, Order::LoadPlan(path)),
                Answer::SavePlan(path) => self.order(state, Order::SavePlan(path, state.planned.clone())),
                Answer::SessionFolder(path) => self.use_folder(state, &path),
                Answer::CameraFolder(path) => {
                    state.devices.camera_folder = path.display().to_string();
                    self.let_go(state);
                }
                Answer::Unavailable(reason) => state.say(NoticeKind::Trouble, reason),
            }
        }
        // Before the desk's news: the end of one session comes before the beginning of the next.
        for event in post.events {
            self.take_in_event(state, event);
        }
        for news in post.desk {
            self.take_in_desk(state, news);
        }
        if let Some(view) = post.view
            && state.link != Link::Closed
        {
            state.mode = view.mode.clone();
            state.rows.clone_from(&view.rows);
            state.plate_deg = view.plate_deg;
            state.left = view.left;
            state.secs_left = view.secs_left;
            state.connected = Some((view.table.clone(), view.camera.clone()));
            if let Some(in_force) = &mut state.in_force {
                in_force.stops.clone_from(&view.stops);
            } else {
                state.in_force = Some(PlanInForce { plan: state.planned.clone(), stops: view.stops.clone() });
            }
            state.lay_out();
        }
        if let Some(degrees) = post.plate_deg
            && state.plate_deg.is_some()
        {
            state.plate_deg = Some(degrees);
        }
        for shown in post.pictures {
            pictures.take_in(shown);
        }
    }

    fn take_in_event(&mut self, state: &mut State, event: Update) {
        match event {
            Update::Kept { stop, .. } => {
                state.newest = Some(stop);
                state.notices.retain(|notice| notice.stop != Some(stop));
            }
            Update::Failed { stop, reason } => {
                state.say_of(Some(stop), NoticeKind::Trouble, format!("Stop {stop}: {reason}"));
            }
            // A prompt that names a stop, such as to fire the shutter, is done with once its frame is kept.
            Update::Prompt(text) => state.say_of(words::stop_named(&text), NoticeKind::Prompt, text),
            // Asked for, its end is told by the desk.
            Update::Ended if state.link == Link::Open => self.session_ended(state),
            Update::Ended | Update::View(_) | Update::Plate(_) => {}
        }
    }

    fn take_in_desk(&mut self, state: &mut State, news: DeskNews) {
        match news {
            DeskNews::Looked { folder, found } if folder == state.folder => match found {
                Ok(Some(set)) => {
                    // A set that is just being begun keeps the plan in the fields.
                    let pristine =
                        state.in_force.is_none() && set.stops.iter().all(|stop| stop.versions.is_empty());
                    let plan = set.plan.clone();
                    state.in_force = Some(set);
                    if pristine { state.load_plan(&plan) } else { state.lay_out() }
                }
                Ok(None) => {
                    state.in_force = None;
                    state.lay_out();
                }
                Err(reason) => state.say(NoticeKind::Trouble, reason),
            },
            DeskNews::Looked { .. } => {}
            DeskNews::Opened { sender, plan } => {
                self.session = Some(sender);
                state.link = Link::Open;
                let stops = state.in_force.take().map(|set| set.stops).unwrap_or_default();
                state.in_force = Some(PlanInForce { plan, stops });
                state.lay_out();
            }
            DeskNews::NotOpened(reason) => {
                state.link = Link::Closed;
                state.say(NoticeKind::Trouble, reason);
                self.look(state);
            }
            DeskNews::Closed => self.session_ended(state),
            DeskNews::PlanLoaded(Ok(plan)) => {
                if state.is_busy() {
                    let text = "A plan can be opened once the session is stopped.".to_owned();
                    state.say(NoticeKind::Trouble, text);
                } else {
                    state.load_plan(&plan);
                }
            }
            DeskNews::PlanSaved(Ok(path)) => {
                state.say(NoticeKind::Note, format!("The plan is saved as {}.", path.display()));
            }
            DeskNews::PlanLoaded(Err(reason))
            | DeskNews::PlanSaved(Err(reason))
            | DeskNews::Trouble(reason) => {
                state.say(NoticeKind::Trouble, reason);
            }
            DeskNews::Ports(ports) => state.devices.ports = ports,
        }
    }

    fn session_ended(&mut self, state: &mut State) {
        self.session = None;
        state.link = Link::Closed;
        state.mode = session_core::engine::Mode::Ready;
        state.plate_deg = None;
        state.secs_left = None;
        state.left = 0;
        state.connected = None;
    }
}

/// Points at stops.
fn pick(state: &mut State, pick: Pick) {
    match pick {
        Pick::Only(stop) => {
            state.selected = [stop].into();
            state.cursor = Some(stop);
            state.selection_follows = true;
        }
        Pick::Toggle(stop) => {
            if !state.selected.remove(&stop) {
                state.selected.insert(stop);
            }
            state.selection_follows = false;
            state.cursor = Some(stop);
        }
        Pick::Through(stop) => {
            let from = state.cursor.unwrap_or(stop);
            state.selection_follows = false;
            let run = from.min(stop)..=from.max(stop);
            state.selected =
                state.places.iter().map(|place| place.index).filter(|index| run.contains(index)).collect();
        }
        Pick::Cursor(stop) => {
            state.cursor = Some(stop);
            if state.selection_follows && !state.selected.is_empty() {
                state.selected = [stop].into();
            }
        }
        Pick::Nothing => state.selected.clear(),
    }
    if pick != Pick::Nothing {
        state.follow = false;
    }
}
