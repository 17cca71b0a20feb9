//! The places of the ring and the strip: the plan's stops with what is known of each.

use std::collections::{HashMap, HashSet};

use crate::window::text::t;
use session_core::check::Flag;
use session_core::engine::{Activity, StopState};
use session_core::journal::StopKey;
use session_core::plan::{Plan, Stop};
use session_core::view::{StopView, VersionView};

/// What a place looks like; one shape and one word for each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mark {
    /// A frame is kept and in use.
    Kept,
    /// A frame is kept and in use, and a check has found something on it.
    Flagged,
    /// No frame yet.
    Missing,
    /// The table, the camera or the disk is at it.
    InWork,
    /// A try failed and it has not gone right since.
    Problem,
    /// Frames are there, none is in use.
    SetAside,
    /// Skipped in this run.
    LeftOut,
}

impl Mark {
    /// All marks, in the order of the legend.
    pub const ALL: [Self; 7] = [
        Self::Kept,
        Self::Flagged,
        Self::Missing,
        Self::InWork,
        Self::Problem,
        Self::SetAside,
        Self::LeftOut,
    ];

    /// The plain word for it.
    pub fn word(self) -> String {
        match self {
            Self::Kept => t!("places-kept"),
            Self::Flagged => t!("places-flagged"),
            Self::Missing => t!("places-missing"),
            Self::InWork => t!("places-in-work"),
            Self::Problem => t!("places-problem"),
            Self::SetAside => t!("places-set-aside"),
            Self::LeftOut => t!("places-skipped"),
        }
    }

    /// What the word stands for.
    pub fn tip(self) -> String {
        match self {
            Self::Kept => t!("places-kept-tip"),
            Self::Flagged => t!("places-flagged-tip"),
            Self::Missing => t!("places-missing-tip"),
            Self::InWork => t!("places-in-work-tip"),
            Self::Problem => t!("places-problem-tip"),
            Self::SetAside => t!("caption-the-frame-stays-on-disk"),
            Self::LeftOut => t!("caption-not-shot-in-this-run"),
        }
    }
}

/// One stop as a place that can be pointed at.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The stop's number in the set, from 1.
    pub index: u32,
    /// Its row, from 0.
    pub row: usize,
    /// Whether it is its row's closing frame, no stop of the set.
    pub closing: bool,
    /// Its row's name, when the plan has more than one row.
    pub row_name: Option<String>,
    /// Its angle along the plan's direction within one turn, degrees.
    pub degrees: f64,
    /// The same as text; a closing frame's is one turn more.
    pub degrees_text: String,
    /// Its file name without version and extension.
    pub file_stem: String,
    /// What it looks like.
    pub mark: Mark,
    /// What is being done for it.
    pub activity: Activity,
    /// All kept versions, oldest first.
    pub versions: Vec<VersionView>,
    /// The version in use, 0 for none.
    pub chosen: u32,
    /// What went wrong last.
    pub problem: Option<String>,
}

impl Place {
    /// The state in words, what is being done included.
    pub fn words(&self) -> String {
        match (self.activity, self.mark) {
            (Activity::Queued, Mark::Kept | Mark::Flagged) => t!("places-kept-to-be-retaken"),
            (Activity::None | Activity::Queued, mark) => mark.word(),
            (activity, _) => super::words::activity(activity),
        }
    }

    /// Takes over what is known of its stop by now.
    fn know(&mut self, view: &StopView) {
        self.mark = mark_of(view);
        self.activity = view.activity;
        self.chosen = view.chosen;
        // Most stops are as they were; news of one must not copy all.
        if self.versions != view.versions {
            self.versions.clone_from(&view.versions);
        }
        if self.problem != view.problem {
            self.problem.clone_from(&view.problem);
        }
    }

    /// What it is, such as `Stop 3, row high, 30°`.
    pub fn title(&self) -> String {
        let row = self.row_name.as_ref().map(|row| t!("caption-row", row = row)).unwrap_or_default();
        if self.closing {
            t!("places-closing-title", row = row, degrees_text = self.degrees_text)
        } else {
            t!("caption-stop", index = self.index, row = row, degrees_text = self.degrees_text)
        }
    }

    /// A name for pointing and for screen readers, such as `Stop 3, 30°, missing`.
    pub fn label(&self) -> String {
        match &self.row_name {
            _ if self.closing => t!("places-closing", title = self.title(), state = self.words()),
            Some(row) => t!(
                "places-stop-row",
                index = self.index,
                row = row,
                degrees_text = self.degrees_text,
                state = self.words()
            ),
            None => {
                t!("places-stop", index = self.index, degrees_text = self.degrees_text, state = self.words())
            }
        }
    }

    /// The picture in use; of a stop set aside, the last one.
    pub fn picture(&self) -> Option<&VersionView> {
        self.versions.iter().find(|version| version.version == self.chosen).or(self.versions.last())
    }

    /// What checks found on the frame in use.
    pub fn flags(&self) -> &[Flag] {
        let in_use = self.versions.iter().find(|version| version.version == self.chosen);
        in_use.map(|version| version.flags.as_slice()).unwrap_or_default()
    }

    /// The file name of the picture, or what it will be.
    pub fn file_name(&self) -> String {
        let kept = self.picture().and_then(|version| version.path.file_name());
        kept.map_or_else(|| self.file_stem.clone(), |name| name.to_string_lossy().into_owned())
    }
}

/// The plan that frames on disk belong to, and its stops.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanInForce {
    /// The plan.
    pub plan: Plan,
    /// Its stops as far as the folder or the session knows them.
    pub stops: Vec<StopView>,
    /// Stops of earlier plans that have a frame in use: they count again when a plan has them again.
    pub spare: HashSet<StopKey>,
}

impl PlanInForce {
    /// Finds what is known of each stop of `plan`; by number while the plan is the same.
    fn known<'a>(&'a self, plan: &Plan, stops: &[Stop]) -> HashMap<u32, &'a StopView> {
        let by_index: HashMap<u32, &StopView> = self.stops.iter().map(|stop| (stop.index, stop)).collect();
        if *plan == self.plan {
            return by_index;
        }
        // The date plays no part in a key.
        let own = self.plan.shots(ANY_DATE).unwrap_or_default();
        let by_key: HashMap<StopKey, &StopView> = own
            .iter()
            .filter_map(|stop| Some((key(&self.plan, stop), *by_index.get(&stop.index)?)))
            .collect();
        stops.iter().filter_map(|stop| Some((stop.index, *by_key.get(&key(plan, stop))?))).collect()
    }
}

/// A day for names that are only looked at; all days have one length.
const ANY_DATE: &str = "2026-01-31";

fn key(plan: &Plan, stop: &Stop) -> StopKey {
    StopKey { closing: stop.closing, ..StopKey::new(&plan.rows[stop.row].name, stop.angle) }
}

/// Lays out a plan's stops and gives each what is known of it; stops are the same when row name and
/// angle are, whatever their numbers.
pub fn lay_out(plan: &Plan, stops: &[Stop], in_force: Option<&PlanInForce>) -> Vec<Place> {
    let known = in_force.map(|set| set.known(plan, stops)).unwrap_or_default();
    stops
        .iter()
        .map(|stop| {
            let mut place = Place {
                index: stop.index,
                row: stop.row,
                closing: stop.closing,
                row_name: (plan.rows.len() > 1).then(|| plan.rows[stop.row].name.clone()),
                degrees: stop.angle.wrapped().degrees(),
                degrees_text: stop.angle.wrapped().plus_turns(i64::from(stop.closing)).short_degrees(),
                file_stem: stop.file_stem.clone(),
                mark: Mark::Missing,
                activity: Activity::None,
                versions: Vec::new(),
                chosen: 0,
                problem: None,
            };
            if let Some(view) = known.get(&stop.index) {
                place.know(view);
            }
            place
        })
        .collect()
}

/// Brings laid out places in line with news of the same plan's stops, as a session sends them several times a
/// stop; laying all out anew would be felt in a set of hundreds. `closing` tells whether the places are those of
/// the closing frames or of the set. Tells whether the places were those of the stops.
pub fn follow(places: &mut [Place], stops: &[StopView], closing: bool) -> bool {
    let theirs = || stops.iter().filter(|stop| stop.closing == closing);
    let same = theirs().map(|stop| stop.index).eq(places.iter().map(|place| place.index));
    if same {
        places.iter_mut().zip(theirs()).for_each(|(place, view)| place.know(view));
    }
    same
}

fn mark_of(view: &StopView) -> Mark {
    let busy = !matches!(view.activity, Activity::None | Activity::Queued);
    match view.state {
        _ if busy => Mark::InWork,
        // Decided by a person, after whatever went wrong with it.
        StopState::SetAside | StopState::Missing if view.skipped => Mark::LeftOut,
        _ if view.problem.is_some() => Mark::Problem,
        StopState::Kept if !view.flags().is_empty() => Mark::Flagged,
        StopState::Kept => Mark::Kept,
        StopState::SetAside => Mark::SetAside,
        StopState::Missing => Mark::Missing,
    }
}

/// What a changed plan does to a set that has frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanChange {
    /// Frames whose stop is still in the plan.
    pub stay: usize,
    /// Frames of earlier plans whose stop comes back.
    pub back: usize,
    /// Stops that will be without a frame.
    pub missing: usize,
    /// Frames whose stop is no longer in the plan; their files stay on disk.
    pub orphaned: usize,
    /// Whether the plate would turn the other way than for the frames at hand.
    pub turned_round: bool,
}

impl PlanChange {
    /// Compares the plan in the fields with the one in force; `None` when they are the same.
    pub fn between(
        plan: &Plan,
        stops: &[Stop],
        places: &[Place],
        in_force: Option<&PlanInForce>,
    ) -> Option<Self> {
        let in_force = in_force.filter(|set| set.plan != *plan)?;
        let has_frame = |state: StopState| state != StopState::Missing;
        let shot = in_force.stops.iter().filter(|stop| !stop.closing && has_frame(stop.state)).count();
        let stay = places.iter().filter(|place| !place.versions.is_empty()).count();
        let back: HashSet<u32> = stops
            .iter()
            .filter(|stop| !stop.closing && in_force.spare.contains(&key(plan, stop)))
            .map(|stop| stop.index)
            .collect();
        Some(Self {
            stay,
            back: back.len(),
            missing: places.iter().filter(|place| place.chosen == 0 && !back.contains(&place.index)).count(),
            orphaned: shot.saturating_sub(stay),
            turned_round: shot > 0 && plan.direction != in_force.plan.direction,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use session_core::angle::Angle;

    fn shot(index: u32) -> StopView {
        StopView {
            index,
            row: 0,
            closing: false,
            degrees: 0.0,
            degrees_text: String::new(),
            state: StopState::Kept,
            activity: Activity::None,
            skipped: false,
            versions: vec![VersionView {
                version: 1,
                path: format!("{index}.jpg").into(),
                flags: Vec::new(),
                seen_angle: None,
            }],
            chosen: 1,
            problem: None,
        }
    }

    #[test]
    fn frames_follow_their_angle_into_a_changed_plan() {
        let spare = HashSet::from([
            StopKey::new("level", Angle::from_turns(1, 8)),
            StopKey::new("level", Angle::from_turns(1, 3)),
        ]);
        let in_force =
            PlanInForce { plan: Plan::single_row("LP", 4), stops: (1..=4).map(shot).collect(), spare };
        let finer = Plan::single_row("LP", 8);
        let stops = finer.stops(ANY_DATE).unwrap();
        let places = lay_out(&finer, &stops, Some(&in_force));
        let kept: Vec<u32> =
            places.iter().filter(|place| place.mark == Mark::Kept).map(|place| place.index).collect();
        assert_eq!(kept, [1, 3, 5, 7]);
        assert_eq!(places[2].file_name(), "2.jpg");
        let change = PlanChange::between(&finer, &stops, &places, Some(&in_force)).unwrap();
        // Of the eighth of a turn there is a frame from an earlier plan.
        assert_eq!(change, PlanChange { stay: 4, back: 1, missing: 3, orphaned: 0, turned_round: false });
    }

    #[test]
    fn frames_without_a_stop_are_counted() {
        let in_force = PlanInForce {
            plan: Plan::single_row("LP", 4),
            stops: (1..=4).map(shot).collect(),
            spare: HashSet::new(),
        };
        let coarser = Plan::single_row("LP", 3);
        let stops = coarser.stops(ANY_DATE).unwrap();
        let places = lay_out(&coarser, &stops, Some(&in_force));
        let change = PlanChange::between(&coarser, &stops, &places, Some(&in_force)).unwrap();
        assert_eq!(change, PlanChange { stay: 1, back: 0, missing: 2, orphaned: 3, turned_round: false });
        assert_eq!(PlanChange::between(&in_force.plan, &[], &[], Some(&in_force)), None);
    }

    #[test]
    fn following_news_gives_what_laying_out_anew_gives() {
        let plan = Plan::single_row("LP", 3);
        let stops = plan.stops(ANY_DATE).unwrap();
        let mut news: Vec<StopView> = (1..=3).map(shot).collect();
        news[1].activity = Activity::Exposing;
        news[2].problem = Some("no frame came".to_owned());
        news.push(StopView { closing: true, ..shot(4) });
        let mut places = lay_out(&plan, &stops, None);
        assert!(follow(&mut places, &news, false));
        let in_force = PlanInForce { plan: plan.clone(), stops: news, spare: HashSet::new() };
        assert_eq!(places, lay_out(&plan, &stops, Some(&in_force)));
        let mut closings = vec![Place { index: 4, closing: true, ..places[0].clone() }];
        assert!(follow(&mut closings, &in_force.stops, true));
        assert_eq!(closings[0].picture().map(|version| version.path.clone()), Some("4.jpg".into()));
        // The news of another plan's stops is refused.
        assert!(!follow(&mut places, &in_force.stops[..2], false));
    }
}
