//! The window as a whole, drawn in its main states: at the usual size and on a large screen.

use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use egui_kittest::kittest::Queryable;
use egui_kittest::{Harness, OsThreshold, SnapshotError, SnapshotOptions, SnapshotResult, SnapshotResults};
use imaging::decode;
use roundstop::listing::{self, FinishingFile, ListingSize};
use roundstop::studio::{StudioOptions, simulated_sensor};
use roundstop::window::draft::{PlanEdit, RowEdit};
use roundstop::window::facts::{FactsKey, StopFacts, VersionFacts};
use roundstop::window::finishing::{ListingTold, Measuring, Outcome, RoomStop};
use roundstop::window::intent::IntentSink;
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::{Drawn, Pictures, Shown, Size, THUMB_EDGE_PX, Wish};
use roundstop::window::places::PlanInForce;
use roundstop::window::products::{ListOffer, ProductList, ProductRow};
use roundstop::window::recents::RecentSet;
use roundstop::window::setup::SetupStep;
use roundstop::window::stage::Page;
use roundstop::window::state::{Link, NoticeKind, State};
use roundstop::window::theme;
use roundstop::window::tryout::TryoutView;
use session_core::camera::simulated::SimExposure;
use session_core::check::SeenAngle;
use session_core::engine::{Activity, Mode, StopState};
use session_core::plan::Plan;
use session_core::view::VersionView;

use super::fixtures::{mixed, planned, state_of, views_of};

const SIZES: [[f32; 2]; 2] = [[1280.0, 800.0], [2560.0, 1440.0]];

/// How often a picture is drawn again when the renderer did not end in time.
const TRIES_WHEN_BUSY: usize = 5;

/// Draws the window; `act` brings it to where it is to be seen.
fn snapshots(name: &str, state: &State, act: impl Fn(&mut Harness<'_>)) {
    let mut results = SnapshotResults::new();
    for [width, height] in SIZES {
        let name = format!("{name}-{width}x{height}");
        results.add(snapshot(&name, state, [width, height], 1.0, &act));
    }
}

/// Draws a window of 1280 by 800 pixels in which everything is drawn larger.
fn enlarged(name: &str, state: &State, scale: f32) -> SnapshotResult {
    let points = [1280.0 / scale, 800.0 / scale];
    snapshot(&format!("{name}-at-{:.0}", scale * 100.0), state, points, scale, nothing)
}

/// Draws the window in a size of these points, each this many pixels wide.
fn snapshot(
    name: &str,
    state: &State,
    size: [f32; 2],
    scale: f32,
    act: impl Fn(&mut Harness<'_>),
) -> SnapshotResult {
    // One at a time: software renderers are slow enough to time out when they share the processor.
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _held = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    // A busy machine may keep the software renderer waiting beyond the harness' own limit: what it says
    // of the picture counts, not when. The harness has lost its renderer by then, so it is made anew.
    let timed_out = |result: &SnapshotResult| matches!(result, Err(SnapshotError::RenderError { err }) if err.contains("timed out"));
    let mut result = drawn_once(name, state, size, scale, &act);
    for _ in 0..TRIES_WHEN_BUSY {
        if timed_out(&result) {
            result = drawn_once(name, state, size, scale, &act);
        }
    }
    result
}

fn drawn_once(
    name: &str,
    state: &State,
    size: [f32; 2],
    scale: f32,
    act: &impl Fn(&mut Harness<'_>),
) -> SnapshotResult {
    let (sink, _wishes) = IntentSink::new();
    let mut pictures = pictures_of(state);
    let light = state.settings.light;
    let mut harness = Harness::builder()
        .with_size(size)
        .with_pixels_per_point(scale)
        .with_context_setup(move |ctx: &egui::Context| theme::apply(ctx, light))
        .build_ui(|ui| {
            pictures.upload(ui.ctx());
            // The harness leaves a margin; the window fills everything.
            let all = ui.ctx().content_rect();
            ui.scope_builder(egui::UiBuilder::new().max_rect(all), |ui| {
                window_ui(ui, state, &pictures, &sink);
            });
        });
    harness.run();
    act(&mut harness);
    // Edges of letters and circles may differ a little from one software renderer to the next.
    let options = SnapshotOptions::new()
        .threshold(OsThreshold::new(2.0))
        .max_failed_pixels(400)
        .output_path("../tests/window/snapshots");
    harness.try_snapshot_options(name, &options)
}

/// The pictures of the frames that the state names, drawn by the demo's studio.
fn pictures_of(state: &State) -> Pictures {
    let mut pictures = Pictures::default();
    let sensor = simulated_sensor(&StudioOptions { sim_frame_px: (600, 400), ..StudioOptions::default() });
    for place in state.places.iter().take(40).chain(&state.closings) {
        for version in &place.versions {
            let exposure = SimExposure {
                table_deg: vec![place.degrees],
                shot: u64::from(place.index),
                stop: 0,
                row: String::new(),
                empty_table: false,
                exposure_secs: 0.25,
            };
            let bytes = sensor(&exposure).unwrap();
            for (size, edge_px) in [(Size::Thumb, THUMB_EDGE_PX), (Size::Preview(4096), 600)] {
                if size != Size::Thumb && state.shown().is_none_or(|shown| shown.index != place.index) {
                    continue;
                }
                let picture = decode::preview(&bytes, edge_px).unwrap().picture;
                // In few tones, so that the snapshots stay small.
                let tones: Vec<u8> = picture.rgb().iter().map(|value| value & 0xe0 | 0x10).collect();
                let image = egui::ColorImage::from_rgb(
                    [picture.width_px() as usize, picture.height_px() as usize],
                    &tones,
                );
                let drawn =
                    Drawn { image, damaged: None, full_px: (6000, 4000), corner_px: [0, 0], tones: None };
                pictures.take_in(Shown { wish: Wish::plain(&version.path, size), result: Ok(drawn) });
            }
        }
    }
    pictures
}

fn nothing(_: &mut Harness<'_>) {}

fn kept(state: &mut State, stops: std::ops::RangeInclusive<u32>) {
    let plan = state.planned.clone();
    let mut views = views_of(&plan);
    for view in views.iter_mut().filter(|view| stops.contains(&view.index)) {
        let path = PathBuf::from(format!("frames/LP-0142_level_{:02}.jpg", view.index));
        (view.state, view.chosen) = (StopState::Kept, 1);
        view.versions = vec![VersionView { version: 1, path, flags: Vec::new(), seen_angle: None }];
    }
    state.in_force = Some(PlanInForce { plan, stops: views, spare: std::collections::HashSet::new() });
    state.lay_out();
}

fn facts(stop: u32, versions: u32) -> StopFacts {
    let versions = (1..=versions).map(|version| VersionFacts {
        version,
        reported_deg: Some(f64::from(stop - 1) * 15.0 + 0.01),
        off_deg: Some(0.01),
        exposure_secs: Some(0.25),
        aperture: Some("f/11".to_owned()),
        iso: Some("100".to_owned()),
        exposed_at: "2026-01-31 14:05:22".to_owned(),
        file_bytes: vec![5_012_345],
    });
    let versions: Vec<VersionFacts> = versions.collect();
    StopFacts { key: FactsKey { stop, versions: versions.len() }, versions, is_a_turn_on: None }
}

/// A set of one row with its last stop but three retaken.
pub fn complete() -> State {
    let mut state = state_of(Plan::single_row("LP-0142", 24));
    kept(&mut state, 1..=24);
    let set = state.in_force.as_mut().unwrap();
    let path = PathBuf::from("frames/LP-0142_level_21_v2.jpg");
    set.stops[20].versions.push(VersionView { version: 2, path, flags: Vec::new(), seen_angle: None });
    set.stops[20].chosen = 2;
    for stop in &mut set.stops {
        let seen = SeenAngle::Told { degrees: stop.degrees + 0.02, uncertainty_deg: 0.03 };
        stop.versions.iter_mut().for_each(|version| version.seen_angle = Some(seen.clone()));
    }
    state.link = Link::Open;
    state.mode = Mode::Finished;
    state.plate_deg = Some(300.0);
    state.selected = [21].into();
    state.cursor = Some(21);
    state.follow = false;
    state.facts = Some(facts(21, 2));
    state.lay_out();
    state.say(NoticeKind::Note, "The set is complete. Its frames lie in sets/LP-0142/frames.".to_owned());
    state
}

/// A set that ends with a closing frame, which is looked at.
#[test]
fn a_closing_frame() {
    let mut plan = Plan::single_row("LP-0142", 24);
    plan.closing_frame = true;
    let mut state = state_of(plan);
    kept(&mut state, 1..=25);
    state.link = Link::Open;
    state.mode = Mode::Finished;
    state.plate_deg = Some(0.0);
    (state.cursor, state.follow) = (Some(25), false);
    state.facts = Some(StopFacts { is_a_turn_on: Some(true), ..facts(25, 1) });
    state.lay_out();
    snapshots("closing", &state, nothing);
}

/// The finishing room with a set that was finished, and a listing that its crop is small for; demo data.
fn finishing() -> State {
    let mut state = complete();
    state.finishing.enter(&state.folder.clone(), Some(21));
    let stops = (1..=24).map(|stop| RoomStop { stop, row: 0, frame: 0 }).collect();
    state.finishing.take_in(FinishingFile::default(), stops, Vec::new());
    state.finishing.measuring = Measuring::Done;
    let profile = listing::read_profile("square").unwrap();
    let size = ListingSize { asked_px: 2000, crop_px: 1180 };
    state.finishing.listing = Some(Ok(ListingTold { profile, size }));
    state.finishing.outcome = Some(Outcome {
        text: "24 pictures finished in sets/LP-0142/finished (24 made, 0 unchanged).".to_owned(),
        good: true,
        made_with: None,
        to: "sets/LP-0142/finished".into(),
    });
    state
}

#[test]
fn the_finishing_room() {
    snapshots("finishing", &finishing(), nothing);
}

#[test]
fn the_start() {
    let mut state = planned();
    let note = "This is the demo studio: a simulated table and camera. Press Start to shoot the set.";
    state.say(NoticeKind::Note, note.to_owned());
    let recent = |sku: &str, kept, stops| RecentSet {
        folder: format!("sets/{sku}").into(),
        sku: sku.to_owned(),
        kept,
        stops,
    };
    state.recents = vec![recent("LH-0117", 7, 36), recent("LH-0101", 24, 24)];
    snapshots("start", &state, nothing);
}

#[test]
fn shooting() {
    let mut state = state_of(Plan::single_row("LP-0142", 24));
    kept(&mut state, 1..=8);
    let set = state.in_force.as_mut().unwrap();
    set.stops[8].activity = Activity::Exposing;
    set.stops[7].activity = Activity::Keeping;
    state.link = Link::Open;
    state.mode = Mode::Running;
    state.plate_deg = Some(120.0);
    state.newest = Some(7);
    (state.left, state.secs_left) = (16, Some(36.0));
    (0..8).for_each(|frame| state.pace.frame(f64::from(frame) * 2.2));
    state.facts = Some(facts(7, 1));
    state.lay_out();
    snapshots("shooting", &state, nothing);
}

#[test]
fn a_fault_and_every_mark() {
    snapshots("fault", &mixed(), nothing);
}

#[test]
fn a_complete_set_with_a_retake() {
    snapshots("complete", &complete(), nothing);
}

#[test]
fn a_bad_value_in_the_plan() {
    let mut state = planned();
    state.draft.apply(PlanEdit::Sku("LP/0142".to_owned()));
    state.draft.apply(PlanEdit::Row(0, RowEdit::Stops("many".to_owned())));
    state.read_draft();
    // What is wrong with a field lies over what is below it.
    snapshots("bad-value", &state, |harness| {
        harness.get_by_role_and_label(egui::Role::TextInput, "SKU").hover();
        harness.run();
    });
}

/// A product of a list with its note, its plan changed after frames were shot.
#[test]
fn a_changed_plan_of_a_product_with_a_note() {
    let mut state = state_of(Plan::single_row("LP-0142", 24));
    kept(&mut state, 1..=24);
    let row = |sku: &str, name: &str, notes: &str, kept| ProductRow {
        sku: sku.to_owned(),
        name: name.to_owned(),
        notes: notes.to_owned(),
        done: false,
        kept,
        stops: Some(24),
        planned: Some(24),
    };
    let rows = vec![
        row("LP-0142", "Ash-glaze jug", "handle to the right at 0°, lid off", 24),
        row("LH-0117", "Tide bowl", "", 0),
    ];
    state.list = Some(ProductList { path: "spring.csv".into(), rows });
    state.draft.apply(PlanEdit::Row(0, RowEdit::Stops("36".to_owned())));
    state.read_draft();
    (state.cursor, state.follow) = (Some(1), false);
    snapshots("changed-plan", &state, nothing);
}

#[test]
fn many_stops() {
    let mut state = state_of(Plan::single_row("LP-0142", 360));
    kept(&mut state, 1..=200);
    let set = state.in_force.as_mut().unwrap();
    (set.stops[40].state, set.stops[40].chosen) = (StopState::SetAside, 0);
    set.stops[120].problem = Some("no complete frame came".to_owned());
    set.stops[201].activity = Activity::Turning;
    state.newest = Some(30);
    state.plate_deg = Some(201.0);
    state.lay_out();
    snapshots("many-stops", &state, nothing);
}

#[test]
fn the_light_theme() {
    let mut state = complete();
    state.settings.light = true;
    snapshots("light", &state, nothing);
}

#[test]
fn the_shoot_list() {
    let mut state = planned();
    let row = |sku: &str, name: &str, notes: &str, done, kept, stops| ProductRow {
        sku: sku.to_owned(),
        name: name.to_owned(),
        notes: notes.to_owned(),
        done,
        kept,
        stops,
        planned: Some(24),
    };
    state.list = Some(ProductList {
        path: "spring.csv".into(),
        rows: vec![
            row("LH-0101", "Hedgerow mug", "handle to the right at 0°", true, 24, Some(24)),
            row("LP-0142", "Ash-glaze jug", "", false, 7, Some(36)),
            row("LH-0117", "Tide bowl", "mind the gloss: polariser", false, 0, None),
        ],
    });
    snapshots("list", &state, |harness| {
        harness.get_by_label_contains("List: ").click();
        harness.run();
    });
}

#[test]
fn a_shoot_list_to_look_at() {
    let mut state = planned();
    let row = |sku: &str, name: &str, notes: &str, done| ProductRow {
        sku: sku.to_owned(),
        name: name.to_owned(),
        notes: notes.to_owned(),
        done,
        kept: 0,
        stops: None,
        planned: Some(24),
    };
    let rows = vec![
        row("LH-0101", "Hedgerow mug", "handle to the right at 0°", true),
        row("LP-0142", "Ash-glaze jug", "", false),
        row("LH-0117", "Tide bowl", "mind the gloss: polariser", false),
    ];
    let path = PathBuf::from("spring.csv");
    state.offer = Some(ListOffer { path: path.clone(), found: Ok(ProductList { path, rows }) });
    snapshots("list-offer", &state, nothing);
}

#[test]
fn the_set_up_path() {
    let mut state = state_of(Plan::single_row("LP-0142", 24));
    state.setup.step = Some(SetupStep::Zero);
    state.setup.done = [SetupStep::Table, SetupStep::Camera].into();
    state.tryout = Some(TryoutView {
        table: "simulated table".to_owned(),
        camera: "simulated camera".to_owned(),
        plate_deg: Some(12.0),
        knows_zero: false,
        has_shutter: true,
        camera_settings: None,
        live: false,
    });
    snapshots("set-up", &state, nothing);
}

#[test]
fn everything_drawn_larger() {
    let mut results = SnapshotResults::new();
    let mut state = complete();
    results.add(enlarged("complete-set", &state, 1.5));
    results.add(enlarged("complete-set", &state, 2.0));
    state.stage.page = Page::Picture;
    results.add(enlarged("complete-picture", &state, 1.5));
    results.add(enlarged("complete-picture", &state, 2.0));
    results.add(enlarged("complete-picture", &state, 1.25));
    let mut state = mixed();
    state.stage.page = Page::Picture;
    results.add(enlarged("fault-picture", &state, 1.75));
    results.add(enlarged("finishing", &finishing(), 2.0));
}
