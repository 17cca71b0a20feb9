//! The window's snapshot of everything it shows; replaced by messages, never by panels.

use std::collections::{BTreeSet, HashSet};
use std::path::PathBuf;

use session_core::engine::{Activity, Fault, Intent, Mode, PauseReason};
use session_core::motion::SpeedProfile;
use session_core::plan::{Plan, PlanField, PlanProblem, Row, Stop};
use session_core::view::{RowView, StopView};

use super::WindowStart;
use super::ask::TypedPath;
use super::board::BoardDraft;
use super::devices::DeviceChoice;
use super::draft::PlanDraft;
use super::facts::{FactsKey, StopFacts};
use super::finishing::FinishingRoom;
use super::history::History;
use crate::settings::Settings;

use super::pace::Pace;
use super::places::{Mark, Place, PlanChange, PlanInForce, follow, lay_out};
use super::products::{ListOffer, ProductList, ProductRow};
use super::recents::RecentSet;
use super::setup::Setup;
use super::stage::{Against, Stage};
use super::tryout::{Trial, TryoutView};
use crate::window::text::t;

/// A day for file names that are only examples.
const EXAMPLE_DATE: &str = "2026-01-31";

/// Where the running session stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Link {
    /// No session runs.
    Closed,
    /// Folder and devices are being opened.
    Opening,
    /// A session runs and listens.
    Open,
    /// The session is being ended.
    Closing,
}

/// How live pictures come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiveFacts {
    /// From asking to having it, seconds.
    pub delay_secs: f64,
    /// Pictures a second, smoothed.
    pub rate: f64,
    /// When the last one came, seconds since the first drawing.
    pub came_secs: f64,
    /// Whether it is a test frame.
    pub test: bool,
}

/// How much a notice matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoticeKind {
    /// Good to know.
    Note,
    /// Asks for something to be done.
    Prompt,
    /// Something failed.
    Trouble,
}

/// A sentence shown above the picture until it is taken away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Tells notices apart.
    pub id: u64,
    /// How much it matters.
    pub kind: NoticeKind,
    /// The sentence.
    pub text: String,
    /// The stop it is about; it goes away once that stop's frame is kept.
    pub stop: Option<u32>,
}

/// What prompts belong to that are about no stop but what is being tried out, until that is over.
pub const OF_TRIAL: Option<u32> = Some(0);

/// Notices held; the newest is shown, older ones can be looked up.
const MOST_NOTICES: usize = 30;

/// Everything the window shows.
#[derive(Debug, Clone)]
pub struct State {
    /// The plan's fields.
    pub draft: PlanDraft,
    /// How they were before.
    pub history: History,
    /// What is wrong with them.
    pub problems: Vec<PlanProblem>,
    /// Whether the plan in the fields is the person's own: typed, opened or asked for. The plan of a set
    /// on disk takes the place of any other.
    pub own_plan: bool,
    /// The last plan in the fields that could be shot; ring and estimate show this one.
    pub planned: Plan,
    planned_stops: Vec<Stop>,
    /// How long the planned set takes, seconds, at the table's usual speeds.
    pub estimate_secs: f64,
    /// The session folder.
    pub folder: PathBuf,
    /// Whether the folder is named by the SKU as it is typed.
    pub folder_follows: bool,
    /// The folder as typed.
    pub folder_text: String,
    /// The set the folder holds, if any.
    pub in_force: Option<PlanInForce>,
    /// What a changed plan would do to that set.
    pub change: Option<PlanChange>,
    /// The stops as places.
    pub places: Vec<Place>,
    /// The rows' closing frames, where the plan asks for them; no stops of the set, and not counted as such.
    pub closings: Vec<Place>,
    /// Whether a session runs.
    pub link: Link,
    /// What to do once the session that is being opened listens; a stop takes it away.
    pub then: Option<Intent>,
    /// What the session is doing.
    pub mode: Mode,
    /// The rows of the running session.
    pub rows: Vec<RowView>,
    /// Where the plate stands, degrees along the plan's direction; `None` while unknown.
    pub plate_deg: Option<f64>,
    /// Stops still to be shot in this run.
    pub left: usize,
    /// Whether all is shot and the last checks are waited for.
    pub checking: bool,
    /// Seconds until this run is done.
    pub secs_left: Option<f64>,
    /// How fast this session keeps frames.
    pub pace: Pace,
    /// The connected table's and camera's names.
    pub connected: Option<(String, String)>,
    /// Table and camera as they stand on trial.
    pub tryout: Option<TryoutView>,
    /// The path to one's own table and camera.
    pub setup: Setup,
    /// What is being tried.
    pub trial: Option<Trial>,
    /// Whether something is being tried right now.
    pub trying: bool,
    /// How live pictures come.
    pub live: Option<LiveFacts>,
    /// Sets worked on before.
    pub recents: Vec<RecentSet>,
    /// Table and camera as chosen.
    pub devices: DeviceChoice,
    /// Stops that are selected.
    pub selected: BTreeSet<u32>,
    /// Whether the selection is one click's, so that it moves on with the cursor.
    pub selection_follows: bool,
    /// Where a run of stops begins that is selected with Shift.
    pub anchor: Option<u32>,
    /// The row that the ring shows alone, from 0.
    pub ring_row: Option<usize>,
    /// The stop under the cursor, shown large.
    pub cursor: Option<u32>,
    /// Whether the newest picture is shown as it comes.
    pub follow: bool,
    /// The stop whose frame was kept last.
    pub newest: Option<u32>,
    /// The answers for a controller board.
    pub board: BoardDraft,
    /// The shoot list in use.
    pub list: Option<ProductList>,
    /// A shoot list that was opened and is not used yet.
    pub offer: Option<ListOffer>,
    /// Whether the card is open that asks before several stops are shot again.
    pub retake_asked: bool,
    /// A path that is being typed, where the system shows no dialog for it.
    pub typed_path: Option<TypedPath>,
    /// Languages there are besides English, by their tags.
    pub languages: Vec<String>,
    /// What is remembered from one start to the next.
    pub settings: Settings,
    /// How the large picture is looked at.
    pub stage: Stage,
    /// The stop that was shown last, and its version in use.
    pub(super) looked_at: Option<(u32, u32)>,
    /// What is known of the stop that is shown.
    pub facts: Option<StopFacts>,
    /// What is being looked up.
    pub facts_asked: Option<FactsKey>,
    /// The finishing room.
    pub finishing: FinishingRoom,
    /// Sentences for the person.
    pub notices: Vec<Notice>,
    last_notice: u64,
    /// The notice that the set is complete, by its number.
    complete_notice: Option<u64>,
}

impl State {
    /// The state at the start.
    pub fn new(start: &WindowStart) -> Self {
        let mut state = Self {
            draft: PlanDraft::new(&start.plan),
            history: History::default(),
            problems: Vec::new(),
            own_plan: start.own_plan,
            planned: start.plan.clone(),
            planned_stops: Vec::new(),
            estimate_secs: 0.0,
            folder: start.folder.clone(),
            folder_follows: false,
            folder_text: start.folder.display().to_string(),
            in_force: None,
            change: None,
            places: Vec::new(),
            closings: Vec::new(),
            link: Link::Closed,
            then: None,
            mode: Mode::Ready,
            rows: Vec::new(),
            plate_deg: None,
            left: 0,
            checking: false,
            secs_left: None,
            pace: Pace::default(),
            connected: None,
            tryout: None,
            setup: Setup::default(),
            trial: None,
            trying: false,
            live: None,
            devices: DeviceChoice::new(&start.table, &start.camera, start.options.dialect.clone()),
            recents: Vec::new(),
            selected: BTreeSet::new(),
            selection_follows: false,
            anchor: None,
            ring_row: None,
            cursor: None,
            follow: true,
            newest: None,
            board: BoardDraft::default(),
            list: None,
            offer: None,
            retake_asked: false,
            typed_path: None,
            languages: Vec::new(),
            settings: start.settings.clone(),
            stage: Stage::default(),
            looked_at: None,
            facts: None,
            facts_asked: None,
            finishing: FinishingRoom::default(),
            notices: Vec::new(),
            last_notice: 0,
            complete_notice: None,
        };
        state.read_draft();
        if let Some(note) = &start.note {
            state.say(NoticeKind::Note, note.clone());
        }
        state
    }

    /// Reads the plan's fields after a change.
    pub fn read_draft(&mut self) {
        let (plan, problems) = self.draft.read();
        self.problems = problems;
        if self.problems.is_empty() {
            self.planned_stops = plan.shots(EXAMPLE_DATE).unwrap_or_default();
            self.estimate_secs = plan.estimate_secs(&SpeedProfile::default());
            self.planned = plan;
        }
        self.lay_out();
    }

    /// Puts a plan into the fields.
    pub fn load_plan(&mut self, plan: &Plan) {
        if self.own_plan {
            self.history.note_whole(&self.draft);
        }
        self.draft = PlanDraft::new(plan);
        self.read_draft();
    }

    /// Puts the plan of another product into the fields: what was done to the last one is not taken back here.
    pub fn begin_plan(&mut self, plan: &Plan) {
        self.history = History::default();
        self.draft = PlanDraft::new(plan);
        self.read_draft();
        if plan.sku.is_empty() {
            // The ring keeps the last plan that can be shot, but what it is called is another product's.
            self.planned.sku.clear();
            self.planned.title.clear();
            self.planned_stops.iter_mut().for_each(|stop| stop.file_stem.clear());
            self.lay_out();
        }
    }

    /// Points at nothing any more, as where the stops are another set's.
    pub fn point_at_nothing(&mut self) {
        self.selected.clear();
        (self.cursor, self.anchor, self.newest) = (None, None, None);
        (self.selection_follows, self.follow) = (false, true);
        self.ring_row = None;
        self.facts = None;
        self.stage.version = None;
        self.stage.against = Against::Nothing;
    }

    /// The product of the list that is worked on, and its number from 1.
    pub fn product(&self) -> Option<(usize, &ProductRow)> {
        let rows = self.list.as_ref()?.rows.iter();
        rows.enumerate().map(|(at, row)| (at + 1, row)).find(|(_, row)| row.sku == self.planned.sku)
    }

    /// Puts fields back as they were.
    pub fn put_back(&mut self, draft: PlanDraft) {
        self.draft = draft;
        self.own_plan = true;
        self.read_draft();
    }

    /// Lays the places out anew after news of the set.
    pub fn lay_out(&mut self) {
        let all = lay_out(&self.planned, &self.planned_stops, self.in_force.as_ref());
        (self.closings, self.places) = all.into_iter().partition(|place| place.closing);
        self.change =
            PlanChange::between(&self.planned, &self.planned_stops, &self.places, self.in_force.as_ref());
        let there: BTreeSet<u32> = self.all_places().map(|place| place.index).collect();
        self.selected.retain(|stop| there.contains(stop));
        self.cursor = self.cursor.filter(|stop| there.contains(stop));
        self.newest = self.newest.filter(|stop| there.contains(stop));
        self.anchor = self.anchor.filter(|stop| there.contains(stop));
        self.ring_row = self.ring_row.filter(|row| *row < self.planned.rows.len());
        self.withdraw_complete();
    }

    /// Takes in how the running session's stops stand.
    pub fn follow_stops(&mut self, stops: &[StopView]) {
        let set = self.in_force.get_or_insert_with(|| PlanInForce {
            plan: self.planned.clone(),
            stops: Vec::new(),
            spare: HashSet::new(),
        });
        if set.stops.len() == stops.len() {
            // News of one stop must not copy all.
            let changed = set.stops.iter_mut().zip(stops).filter(|(old, new)| old != new);
            changed.for_each(|(old, new)| old.clone_from(new));
        } else {
            set.stops = stops.to_vec();
        }
        if set.plan == self.planned
            && follow(&mut self.places, stops, false)
            && follow(&mut self.closings, stops, true)
        {
            self.withdraw_complete();
        } else {
            self.lay_out();
        }
    }

    /// No longer says that the set is complete once it is not.
    fn withdraw_complete(&mut self) {
        if self.to_shoot() > 0
            && let Some(past) = self.complete_notice.take()
        {
            self.notices.retain(|notice| notice.id != past);
        }
    }

    /// Lets a set that was just opened be seen: its last frame is the newest.
    pub fn look_at_last(&mut self) {
        let last = self.places.iter().rev().find(|place| place.chosen > 0);
        self.newest = self.newest.or(last.map(|place| place.index));
    }

    /// Shows a sentence, in place of the same one said before.
    pub fn say(&mut self, kind: NoticeKind, text: String) {
        self.say_of(None, kind, text);
    }

    /// Shows a sentence about a stop, until its frame is kept.
    pub fn say_of(&mut self, stop: Option<u32>, kind: NoticeKind, text: String) {
        self.notices.retain(|notice| notice.text != text);
        self.last_notice += 1;
        self.notices.push(Notice { id: self.last_notice, kind, text, stop });
        if self.notices.len() > MOST_NOTICES {
            self.notices.remove(0);
        }
    }

    /// Says that the set is complete, for as long as it is.
    pub fn say_complete(&mut self, text: String) {
        self.say(NoticeKind::Note, text);
        self.complete_notice = Some(self.last_notice);
    }

    /// The notices to show at once, as many as there are lines: the newest, and the newest that asks for something
    /// to be done. In one line it is the newest, but a note does not hide what is still asked for.
    pub fn notices_shown(&self, lines: usize) -> Vec<&Notice> {
        let in_fault = self.fault().and_then(|fault| fault.stop);
        let in_fault = in_fault.or_else(|| self.paused_for().map(|place| place.index));
        // The card of the fault or the flag says it already.
        let open = || self.notices.iter().rev().filter(|one| one.stop.is_none() || one.stop != in_fault);
        let prompt = open().find(|notice| notice.kind == NoticeKind::Prompt);
        if lines == 1 {
            let newest = open().next();
            let hides_nothing = |newest: &&Notice| newest.kind != NoticeKind::Note;
            return newest.filter(hides_nothing).or(prompt).or(newest).into_iter().collect();
        }
        let newest = open().next().filter(|newest| prompt.is_none_or(|prompt| prompt.id != newest.id));
        prompt.into_iter().chain(newest).collect()
    }

    /// What is wrong with one field of the plan.
    pub fn problem_of(&self, field: PlanField) -> Option<&str> {
        self.problems.iter().find(|problem| problem.field == field).map(|problem| problem.message.as_str())
    }

    /// The name the first stop's file would have, without version and extension.
    pub fn example_name(&self) -> Option<&str> {
        let name = self.planned_stops.first().map(|stop| stop.file_stem.as_str());
        // What the last plan would have called it is not what this one will.
        name.filter(|name| self.problems.is_empty() && !name.is_empty())
    }

    /// Whether the session is at something that the plan and the devices must not change under.
    pub fn is_busy(&self) -> bool {
        match self.link {
            Link::Closed => false,
            Link::Opening | Link::Closing => true,
            Link::Open => !matches!(self.mode, Mode::Ready | Mode::Stopped | Mode::Finished),
        }
    }

    /// Whether the set has several rows, each seen from another height.
    pub fn has_rows(&self) -> bool {
        self.in_force.as_ref().is_some_and(|set| set.plan.rows.len() > 1)
    }

    /// The row of the stop that is looked at in the finishing room.
    pub fn row_in_room(&self) -> Option<&Row> {
        let room = &self.finishing;
        let stop = room.stop().filter(|_| room.folder == self.folder)?.stop;
        self.in_force.as_ref()?.plan.rows.get(self.place(stop)?.row)
    }

    /// Whether table and camera are connected and have nothing to do, so that one frame can be shot.
    pub fn can_shoot_plate(&self) -> bool {
        let connected = self.link == Link::Open || (self.link == Link::Closed && self.tryout.is_some());
        connected && !self.is_busy() && !self.trying && self.row_in_room().is_some()
    }

    /// The fault that needs a person, if there is one.
    pub fn fault(&self) -> Option<&Fault> {
        match &self.mode {
            Mode::Fault(fault) if self.link == Link::Open => Some(fault),
            _ => None,
        }
    }

    /// The row that the camera must be set for before the session goes on.
    pub fn new_row(&self) -> Option<&RowView> {
        match self.mode {
            Mode::Paused(PauseReason::NewRow { row }) if self.link == Link::Open => self.rows.get(row),
            _ => None,
        }
    }

    /// The flagged stop that the session has paused for.
    pub fn paused_for(&self) -> Option<&Place> {
        match self.mode {
            Mode::Paused(PauseReason::Flagged { stop }) if self.link == Link::Open => self.place(stop),
            _ => None,
        }
    }

    /// The places of the set's stops, and behind them those of the closing frames.
    pub fn all_places(&self) -> impl Iterator<Item = &Place> {
        self.places.iter().chain(&self.closings)
    }

    /// The place of a stop or of a closing frame.
    pub fn place(&self, stop: u32) -> Option<&Place> {
        self.all_places().find(|place| place.index == stop)
    }

    /// The closing frame of a row.
    pub fn closing_of(&self, row: usize) -> Option<&Place> {
        self.closings.iter().find(|place| place.row == row)
    }

    /// The place whose picture is shown large.
    pub fn shown(&self) -> Option<&Place> {
        let stop = if self.follow { self.newest.or(self.cursor) } else { self.cursor.or(self.newest) };
        stop.and_then(|stop| self.place(stop))
    }

    /// The facts that are wanted and neither at hand nor being looked up.
    pub fn facts_wanted(&self) -> Option<FactsKey> {
        let shown = self.shown().filter(|place| !place.versions.is_empty())?;
        let key = FactsKey { stop: shown.index, versions: shown.versions.len() };
        let is_there = self.facts.as_ref().is_some_and(|facts| facts.key == key);
        (!is_there && self.facts_asked.is_none() && self.change.is_none()).then_some(key)
    }

    /// Takes in what was looked up, under the key it was asked for: what is shown by now may want more.
    pub fn take_facts(&mut self, key: FactsKey, found: Option<StopFacts>) {
        self.facts_asked = None;
        let (versions, is_a_turn_on) =
            found.map_or((Vec::new(), None), |facts| (facts.versions, facts.is_a_turn_on));
        self.facts = Some(StopFacts { key, versions, is_a_turn_on });
    }

    /// The stops that buttons and keys act on: the selected ones, or the one under the cursor.
    pub fn targets(&self) -> Vec<u32> {
        if self.selected.is_empty() {
            self.shown().map(|place| place.index).into_iter().collect()
        } else {
            self.selected.iter().copied().collect()
        }
    }

    /// The place at which something is being done: the camera's before the disk's.
    pub fn active(&self) -> Option<&Place> {
        use session_core::engine::Activity::{Exposing, Keeping, Receiving, Settling, Turning};
        let with = |wanted: &[_]| self.all_places().find(|place| wanted.contains(&place.activity));
        with(&[Exposing, Settling, Turning]).or_else(|| with(&[Receiving, Keeping]))
    }

    /// How many places look like this.
    pub fn count(&self, mark: Mark) -> usize {
        self.places.iter().filter(|place| place.mark == mark).count()
    }

    /// How many stops have a frame in use.
    pub fn kept(&self) -> usize {
        self.places.iter().filter(|place| place.chosen > 0).count()
    }

    /// Whether no frame is at hand.
    pub fn kept_nothing(&self) -> bool {
        self.places.iter().all(|place| place.versions.is_empty())
    }

    /// How many stops the next run would shoot.
    pub fn to_shoot(&self) -> usize {
        let skipped = self.skipped_left();
        let wanted = |place: &&Place| place.chosen == 0 && place.mark != Mark::LeftOut;
        let missing =
            if skipped.is_empty() { self.places.iter().filter(wanted).count() } else { skipped.len() };
        missing + self.retakes_left()
    }

    /// How many stops have a frame and wait to be shot again, as a session that was stopped has left them.
    pub fn retakes_left(&self) -> usize {
        let waits = |place: &&Place| place.chosen > 0 && place.activity == Activity::Queued;
        if self.is_busy() { 0 } else { self.all_places().filter(waits).count() }
    }

    /// The skipped stops, where nothing else is left to shoot and nothing is under way: skipped for now, they are what
    /// is missing then.
    pub fn skipped_left(&self) -> Vec<u32> {
        let left = || self.places.iter().filter(|place| place.chosen == 0);
        if !self.is_busy() && self.retakes_left() == 0 && left().all(|place| place.mark == Mark::LeftOut) {
            left().map(|place| place.index).collect()
        } else {
            Vec::new()
        }
    }

    /// Puts away what was said of a set that is left, and its pace, which tells nothing of the next one's; what went
    /// wrong with something else stays.
    pub fn leave_set(&mut self) {
        self.in_force = None;
        self.pace = Pace::default();
        self.point_at_nothing();
        let stays = |notice: &Notice| match notice.kind {
            NoticeKind::Note => false,
            NoticeKind::Prompt => notice.stop == OF_TRIAL,
            NoticeKind::Trouble => notice.stop.is_none(),
        };
        self.notices.retain(stays);
    }

    /// The same in short, for a place beside the fields: those name what is wrong with them themselves.
    pub fn hindrance_in_short(&self) -> Option<String> {
        if self.problems.is_empty() {
            return self.hindrance();
        }
        let names = self.problems.iter().map(|problem| super::words::plan_field(problem.field, &self.draft));
        let fields = names.collect::<Vec<_>>().join("; ");
        Some(t!("state-see-to-the-fields", n = self.problems.len(), fields = fields))
    }

    /// Why shooting cannot begin now, in words; `None` when it can.
    pub fn hindrance(&self) -> Option<String> {
        if let Some(problem) = self.problems.first() {
            return Some(t!("state-the-plan-cannot-be-shot", message = problem.message));
        }
        if self.change.is_some() {
            return Some(t!("state-the-plan-differs-from-the"));
        }
        self.devices.hindrance().map(|reason| crate::words::capital(&reason) + ".")
    }
}
