//! The one place where the person's wishes and the workers' news change the window's state.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::time::Instant;

use session_core::cancel::CancelToken;
use session_core::engine::{Intent, Mode, PauseReason};
use session_core::plan::Plan;
use session_core::runner::IntentSender;
use session_core::view::Update;

use super::ask::{Answer, Dialogs};
use super::desk::{Desk, DeskNews, FrameNote, Opening, Order};
use super::devices::{CameraEdit, CameraKind, Heard, Ports};
use super::finishing::FinishingWish;
use super::finishing_worker::FinishingWorker;
use super::intent::{Pick, RoomEdit, WindowIntent};
use super::mailbox::Post;
use super::pace::Pace;
use super::pictures::{PictureWorker, Pictures, Wish};
use super::places::PlanInForce;
use super::setup::{Setup, SetupStep};
use super::state::{Link, LiveFacts, NoticeKind, State};
use super::tryout::Trial;
use super::words;
use crate::studio::{CameraSpec, StudioOptions, TableSpec};
use crate::window::text::t;

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
                state.setup.step = None;
                // A new run: what was pointed at before it is done with.
                state.selected.clear();
                state.notices.clear();
                self.send_or_open(state, Intent::Start);
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
            WindowIntent::Pick(pick) => self::pick(state, pick),
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
            other => self.handle_room(state, other),
        }
    }

    /// Handles a wish that is about devices, lists and the window itself.
    fn handle_room(&mut self, state: &mut State, intent: WindowIntent) {
        match intent {
            // A session that is shooting is not to be covered by it.
            WindowIntent::Setup(step) => state.setup.step = step.filter(|_| !state.is_busy()),
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
            WindowIntent::OpenPlan => self.dialogs.open_plan(),
            WindowIntent::SavePlan => self.dialogs.save_plan(&state.planned.sku),
            WindowIntent::Board(edit) => state.board.apply(edit),
            WindowIntent::SaveBoard => self.dialogs.board_folder(),
            WindowIntent::OpenList => self.dialogs.open_list(),
            WindowIntent::UseProduct(sku) => self.use_product(state, sku),
            WindowIntent::NextProduct => {
                let next = state.list.as_ref().and_then(|list| list.next_open(&state.planned.sku));
                if let Some(sku) = next.map(str::to_owned) {
                    self.use_product(state, sku);
                }
            }
            WindowIntent::NewSet => self.new_set(state),
            WindowIntent::ChooseFolder => self.dialogs.session_folder(&state.folder),
            WindowIntent::ChooseCameraFolder => self.dialogs.camera_folder(),
            WindowIntent::Room(edit) => {
                match edit {
                    RoomEdit::Light(light) => state.settings.light = light,
                    RoomEdit::Scale(scale) => state.settings.scale = Some(scale),
                    RoomEdit::Silent(silent) => state.settings.silent = silent,
                    RoomEdit::OnFlag(kind, response) => state.settings.on_flag.choose(kind, response),
                }
                self.remember(state);
            }
            WindowIntent::Look(look) => state.stage.apply(look),
            WindowIntent::Finishing(wish) => self.handle_finishing(state, wish),
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
                    // The demo is always there; what is one's own is gone back to.
                    let own = (&table, &camera) != (&TableSpec::Sim, &CameraSpec::Sim);
                    state.settings.table = own.then(|| table.to_string());
                    state.settings.dialect = self.options_now(state).dialect.filter(|_| own);
                    state.settings.camera = own.then(|| camera.to_string());
                    state.settings.folder = own.then(|| state.folder.clone());
                    self.remember(state);
                    let opening = Opening {
                        folder: state.folder.clone(),
                        plan: state.planned.clone(),
                        table,
                        camera,
                        options: self.options_now(state),
                        on_flag: state.settings.on_flag.clone(),
                    };
                    if self.order(state, Order::Open(Box::new(opening))) {
                        state.link = Link::Opening;
                        state.then = Some(intent);
                    }
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
    fn note(&self, state: &mut State, note: FrameNote, intents: Vec<Intent>) {
        match state.link {
            Link::Open => intents.into_iter().for_each(|intent| self.send(intent)),
            Link::Closed if state.change.is_none() => {
                self.order(state, Order::Note(state.folder.clone(), note));
            }
            _ => {}
        }
    }

    fn try_out(&mut self, state: &mut State, trial: Trial) {
        if state.link != Link::Closed || state.trying {
            return;
        }
        match state.devices.table_spec().and_then(|table| Ok((table, state.devices.camera_spec()?))) {
            Ok((table, camera)) => {
                self.trial_cancel = CancelToken::default();
                let order = Order::Try {
                    table,
                    camera,
                    options: self.options_now(state),
                    trial,
                    cancel: self.trial_cancel.clone(),
                };
                state.trying = self.order(state, order);
                state.trial = Some(trial);
            }
            Err(reason) => state.say(NoticeKind::Trouble, reason),
        }
    }

    fn probe(&self, state: &mut State) {
        match state.devices.speech.baud() {
            Ok(baud) if state.link == Link::Closed && !state.trying => {
                let port = state.devices.port.trim().to_owned();
                if self.order(state, Order::Probe(port, baud)) {
                    state.devices.heard = Heard::Asking;
                }
            }
            Ok(_) => {}
            Err(reason) => state.say(NoticeKind::Trouble, reason),
        }
    }

    /// The devices' settings, with the language that the fields name.
    fn options_now(&self, state: &State) -> StudioOptions {
        // What is wrong with the fields has kept them from being used before.
        let dialect = state.devices.speech.dialect().unwrap_or_default();
        StudioOptions { dialect, ..self.options.clone() }
    }

    /// Empties the plan's fields for another product.
    fn new_set(&self, state: &mut State) {
        if state.is_busy() {
            return;
        }
        self.end_session(state);
        state.load_plan(&Plan { direction: state.planned.direction, ..Plan::single_row("", 24) });
        state.own_plan = true;
        state.in_force = None;
        state.newest = None;
        state.facts = None;
        state.folder_follows = true;
        state.lay_out();
        let text = t!("handle-a-new-set-type-its");
        state.say(NoticeKind::Note, text);
    }

    /// Gives a new set the folder that its SKU names.
    fn follow_sku(&self, state: &mut State) {
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

    fn use_product(&self, state: &mut State, sku: String) {
        if !state.is_busy() {
            self.order(state, Order::Product(sku));
        }
    }

    /// Ends an idle session; devices on trial stay, for another folder changes nothing for them.
    fn end_session(&self, state: &mut State) {
        if state.link == Link::Open {
            self.let_go(state);
        }
    }

    /// Ends an idle session, so that other devices or another folder can be used.
    fn let_go(&self, state: &mut State) {
        let idle = state.link == Link::Open && !state.is_busy();
        if (idle || state.tryout.is_some()) && self.order(state, Order::Close) {
            state.link = Link::Closing;
        }
    }

    fn use_folder(&self, state: &mut State, folder: &Path) {
        if state.is_busy() || folder.as_os_str().is_empty() {
            return;
        }
        self.end_session(state);
        folder.clone_into(&mut state.folder);
        state.own_plan = false;
        state.folder_follows = false;
        state.folder_text = folder.display().to_string();
        state.in_force = None;
        state.newest = None;
        state.facts = None;
        state.lay_out();
        self.look(state);
    }

    /// Keeps the computer awake while it shoots, and calls the person when a session ends or is stuck.
    fn attend(&self, state: &State, now: &Mode) {
        let shoots = |mode: &Mode| matches!(mode, Mode::Running | Mode::Pausing | Mode::Stopping);
        if shoots(now) != shoots(&state.mode) {
            self.desk.order(Order::StayAwake(shoots(now)));
        }
        if state.settings.silent || !shoots(&state.mode) {
            return;
        }
        let call = match now {
            Mode::Finished => Some((t!("handle-the-set-is-shot", sku = state.planned.sku), true)),
            Mode::Fault(fault) => Some((format!("{}: {}", state.planned.sku, fault.message), false)),
            Mode::Paused(PauseReason::NewRow { .. }) => {
                Some((t!("handle-set-the-camera-for-the", sku = state.planned.sku), false))
            }
            Mode::Paused(PauseReason::Flagged { stop }) => {
                let text = t!("handle-see-to-the-flagged-stop", sku = state.planned.sku, stop = stop);
                Some((text, false))
            }
            _ => None,
        };
        if let Some((text, done)) = call {
            self.desk.order(Order::Call(text, done));
        }
    }

    /// Takes in what was chosen in dialogs.
    fn take_in_answers(&mut self, state: &mut State) {
        for answer in self.dialogs.answers() {
            match answer {
                Answer::OpenPlan(path) => {
                    self.order(state, Order::LoadPlan(path));
                }
                Answer::BoardFolder(path) => match state.board.files() {
                    Ok(files) => {
                        self.order(state, Order::SaveBoard(Box::new(files), path));
                    }
                    Err(reason) => state.say(NoticeKind::Trouble, reason),
                },
                Answer::OpenList(path) => {
                    self.order(state, Order::ReadList(path));
                }
                Answer::SavePlan(path) => {
                    self.order(state, Order::SavePlan(path, state.planned.clone()));
                }
                Answer::SessionFolder(path) => self.use_folder(state, &path),
                Answer::CameraFolder(path) => {
                    state.devices.edit_camera(CameraEdit::Kind(CameraKind::Folder));
                    state.devices.edit_camera(CameraEdit::Detail(path.display().to_string()));
                    self.let_go(state);
                }
                Answer::Plate(path) => self.use_plate(state, &path),
                Answer::ListingProfile(path) => {
                    state.finishing.use_profile(path.display().to_string());
                }
                Answer::ListingFolder(path) => {
                    let to = path.join(state.finishing.listing_name());
                    let wish = FinishingWish::ListingFolder(to.display().to_string());
                    self.handle_finishing(state, wish);
                }
                Answer::Unavailable(reason) => state.say(NoticeKind::Trouble, reason),
            }
        }
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
            && state.link != Link::Closed
        {
            self.attend(state, &view.mode);
            let finishes = view.mode == Mode::Finished && state.mode != Mode::Finished;
            let stops = view.mode == Mode::Stopped && state.mode != Mode::Stopped;
            if !matches!(view.mode, Mode::Running | Mode::Pausing) {
                state.pace.wait();
            }
            if view.mode == Mode::Running && !matches!(state.mode, Mode::Running | Mode::Pausing) {
                // What was said of the set as it stood is no longer so.
                state.notices.retain(|notice| notice.kind != NoticeKind::Note);
            }
            state.mode = view.mode.clone();
            state.rows.clone_from(&view.rows);
            state.plate_deg = view.plate_deg;
            state.left = view.left;
            state.secs_left = view.secs_left;
            state.connected = Some((view.table.clone(), view.camera.clone()));
            if let Some(in_force) = &mut state.in_force {
                in_force.stops.clone_from(&view.stops);
            } else {
                state.in_force = Some(PlanInForce {
                    plan: state.planned.clone(),
                    stops: view.stops.clone(),
                    spare: HashSet::new(),
                });
            }
            state.lay_out();
            if stops && state.to_shoot() > 0 {
                let missing = t!("count-stops-are", n = state.to_shoot());
                let at = state.plate_deg.map_or_else(String::new, |deg| {
                    t!("handle-the-plate-stands-at", deg = format!("{:.1}", deg.rem_euclid(360.0)))
                });
                let text = t!("handle-stopped-every-frame-shot-so", at = at, missing = missing);
                state.say(NoticeKind::Note, text);
            }
            if finishes && state.to_shoot() == 0 {
                let frames = state.folder.join("frames");
                let frames = frames.display().to_string();
                state.say(NoticeKind::Note, t!("handle-the-set-is-complete-its", frames = frames));
                let sku = &state.planned.sku;
                let listed =
                    state.list.as_ref().is_some_and(|list| list.rows.iter().any(|row| row.sku == *sku));
                if listed {
                    self.order(state, Order::ProductDone(state.planned.sku.clone()));
                }
            }
        }
        if let Some(degrees) = post.plate_deg
            && state.plate_deg.is_some()
        {
            state.plate_deg = Some(degrees);
        }
        if let Some(live) = post.live {
            let came_secs = self.began.elapsed().as_secs_f64();
            let rate = match state.live {
                Some(before) if !before.test && came_secs > before.came_secs => {
                    let now = 1.0 / (came_secs - before.came_secs);
                    if before.rate > 0.0 { before.rate * 0.8 + now * 0.2 } else { now }
                }
                _ => 0.0,
            };
            state.live = Some(LiveFacts { delay_secs: live.delay_secs, rate, came_secs, test: live.test });
            pictures.take_in_live(Some(live.image));
        }
        for shown in post.pictures {
            pictures.take_in(shown);
        }
    }

    fn take_in_event(&mut self, state: &mut State, event: Update) {
        match event {
            Update::Kept { stop, .. } => {
                // A closing frame has no place among the set's stops.
                if state.place(stop).is_some() {
                    state.newest = Some(stop);
                }
                state.pace.frame(self.began.elapsed().as_secs_f64());
                state.notices.retain(|notice| notice.stop != Some(stop));
            }
            Update::Flagged { stop, flags, again, .. } => {
                for flag in flags {
                    let what = format!("{}: {}", words::flag(&flag), flag.reason);
                    let (kind, text) = if again {
                        (NoticeKind::Note, t!("handle-stop-is-shot-again", stop = stop, what = what))
                    } else {
                        (NoticeKind::Prompt, t!("handle-stop", stop = stop, reason = what))
                    };
                    state.say_of(Some(stop), kind, text);
                }
            }
            Update::Failed { stop, reason } => {
                state.say_of(
                    Some(stop),
                    NoticeKind::Trouble,
                    t!("handle-stop", stop = stop, reason = reason),
                );
            }
            // A prompt about a stop, such as to fire the shutter, is done with once its frame is kept.
            Update::Prompt { stop, text } => state.say_of(stop, NoticeKind::Prompt, text),
            // Asked for, its end is told by the desk.
            Update::Ended if state.link == Link::Open => self.session_ended(state),
            Update::Ended | Update::View(_) | Update::Plate(_) => {}
        }
    }

    fn take_in_desk(&mut self, state: &mut State, news: DeskNews) {
        match news {
            DeskNews::Looked { folder, found } if folder == state.folder => match found {
                Ok(Some(set)) => {
                    let plan = set.plan.clone();
                    state.in_force = Some(set);
                    if state.own_plan {
                        state.lay_out();
                    } else {
                        state.load_plan(&plan);
                    }
                    state.look_at_last();
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
                state.pace = Pace::default();
                let (stops, spare) =
                    state.in_force.take().map(|set| (set.stops, set.spare)).unwrap_or_default();
                state.in_force = Some(PlanInForce { plan, stops, spare });
                state.lay_out();
                if let Some(intent) = state.then.take() {
                    self.send(intent);
                }
            }
            DeskNews::NotOpened(reason) => {
                state.link = Link::Closed;
                state.then = None;
                state.say(NoticeKind::Trouble, reason);
                self.look(state);
            }
            DeskNews::Closed => self.session_ended(state),
            DeskNews::PlanLoaded(Ok(plan)) => {
                if state.is_busy() {
                    let text = t!("handle-a-plan-can-be-opened");
                    state.say(NoticeKind::Trouble, text);
                } else {
                    state.load_plan(&plan);
                    state.own_plan = true;
                }
            }
            DeskNews::Tried(view) => {
                state.trying = false;
                if let (Some(trial), true) = (state.trial.take(), view.is_some()) {
                    state.setup.note_trial(trial);
                }
                state.tryout = view.map(|view| *view);
                if state.tryout.is_none() {
                    state.live = None;
                }
            }
            DeskNews::NotTried(reason) => {
                (state.trying, state.trial) = (false, None);
                if let Some(tryout) = &mut state.tryout {
                    tryout.live = false;
                }
                state.say(NoticeKind::Trouble, reason);
            }
            DeskNews::BoardSaved(text) => {
                state.board.open = false;
                state.setup.done.insert(SetupStep::Board);
                state.say(NoticeKind::Note, text);
            }
            DeskNews::List(Ok(list)) => {
                state.settings.list = Some(list.path.clone());
                state.list_problems.clear();
                state.list = Some(list);
                self.remember(state);
            }
            DeskNews::List(Err(problems)) => state.refuse_list(problems),
            DeskNews::Product(plan, folder) => {
                if !state.is_busy() {
                    state.load_plan(&plan);
                    self.use_folder(state, &folder);
                }
            }
            DeskNews::FolderDropped(folder) => self.use_folder(state, &folder),
            DeskNews::PlanSaved(Ok(path)) => {
                state.say(
                    NoticeKind::Note,
                    t!("handle-the-plan-is-saved-as", path = path.display().to_string()),
                );
            }
            DeskNews::PlanLoaded(Err(reason))
            | DeskNews::PlanSaved(Err(reason))
            | DeskNews::Trouble(reason) => {
                state.say(NoticeKind::Trouble, reason);
            }
            DeskNews::Note(text) => state.say(NoticeKind::Note, text),
            DeskNews::Ports(ports) => state.devices.ports = ports,
            DeskNews::Probed(lines, dialect) => state.devices.heard = Heard::Lines(lines, dialect),
            DeskNews::Facts(key, found) => state.take_facts(key, found),
        }
    }

    fn session_ended(&mut self, state: &mut State) {
        self.session = None;
        state.link = Link::Closed;
        state.mode = Mode::Ready;
        state.plate_deg = None;
        state.secs_left = None;
        state.left = 0;
        state.connected = None;
    }
}

/// Where new sets go: with the person's pictures.
fn sets_folder() -> PathBuf {
    let people = directories::UserDirs::new();
    let pictures = people.as_ref().map(|dirs| dirs.picture_dir().unwrap_or(dirs.home_dir()).to_owned());
    pictures.unwrap_or_default().join("Roundstop")
}

/// Points at stops.
fn pick(state: &mut State, pick: Pick) {
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
                state.places.iter().map(|place| place.index).filter(|index| run.contains(index)).collect();
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
