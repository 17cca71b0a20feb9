//! The window as a whole, drawn: at the usual size and at the smallest.

use std::collections::BTreeSet;

use egui_kittest::{Harness, OsThreshold, SnapshotOptions};
use roundstop::window::intent::IntentSink;
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::places::PlanInForce;
use roundstop::window::state::{Link, State};
use roundstop::window::theme;
use session_core::clock::SimSpeed;
use session_core::engine::{Activity, Fault, FaultKind, Mode, StopState};
use session_core::plan::{Plan, Row};
use session_core::view::{StopView, VersionView};

use super::start;

fn state() -> State {
    let mut plan = Plan::single_row("LP-0142", 24);
    "Ash-glaze jug".clone_into(&mut plan.title);
    plan.rows.push(Row { tilt_note: "60 cm up, 35° down".to_owned(), ..Row::full_turn("high", 12) });
    let mut state = State::new(&start(plan, std::path::Path::new("sets"), SimSpeed::Max));
    // The path as it is on every system.
    state.folder = "sets/LP-0142".into();
    state
}

/// A session with one stop in each state.
fn mixed() -> State {
    let mut state = state();
    let plan = state.planned.clone();
    let stops = plan.stops("2026-01-31").unwrap();
    let stops = stops
        .iter()
        .map(|stop| {
            let mut view = StopView {
                index: stop.index,
                row: stop.row,
                degrees: stop.angle.wrapped().degrees(),
                degrees_text: stop.angle.wrapped().short_degrees(),
                state: StopState::Missing,
                activity: Activity::None,
                skipped: false,
                versions: Vec::new(),
                chosen: 0,
                problem: None,
            };
            if stop.index <= 15 {
                view.state = StopState::Kept;
                view.chosen = 1;
                view.versions = vec![VersionView { version: 1, path: "no-such-file.jpg".into() }];
            }
            match stop.index {
                4 => (view.state, view.chosen) = (StopState::SetAside, 0),
                9 => view.skipped = true,
                16 => view.problem = Some("no complete frame came".to_owned()),
                17 => view.activity = Activity::Turning,
                _ => {}
            }
            if view.skipped {
                (view.state, view.chosen) = (StopState::Missing, 0);
                view.versions.clear();
            }
            view
        })
        .collect();
    state.in_force = Some(PlanInForce { plan, stops, spare: std::collections::HashSet::new() });
    state.link = Link::Open;
    state.plate_deg = Some(232.0);
    state.left = 19;
    state.secs_left = Some(48.0);
    state.newest = Some(15);
    state.selected = BTreeSet::from([6, 7]);
    state.mode = Mode::Fault(Fault {
        kind: FaultKind::Camera,
        stop: Some(16),
        message: "no complete frame came from the folder within 30 s (tried 3 times)".to_owned(),
        advice: "Mend the cause and try again, or leave this stop out.",
    });
    state.lay_out();
    state
}

fn snapshot(name: &str, size: [f32; 2], state: &State) {
    let (sink, _wishes) = IntentSink::new();
    let pictures = Pictures::default();
    let mut harness = Harness::builder()
        .with_size(size)
        .with_context_setup(|ctx: &egui::Context| theme::apply(ctx, false))
        .build_ui(|ui| {
            // The harness leaves a margin; the window fills everything.
            let all = ui.ctx().content_rect();
            ui.scope_builder(egui::UiBuilder::new().max_rect(all), |ui| {
                window_ui(ui, state, &pictures, &sink);
            });
        });
    harness.run();
    // Edges of letters and circles may differ a little from one software renderer to the next.
    let options = SnapshotOptions::new()
        .threshold(OsThreshold::new(2.0))
        .max_failed_pixels(400)
        .output_path("../tests/window/snapshots");
    harness.snapshot_options(name, &options);
}

#[test]
fn the_window_at_the_start() {
    snapshot("start-1280x800", [1280.0, 800.0], &state());
}

#[test]
fn every_state_has_its_shape_and_a_fault_its_card() {
    snapshot("fault-1280x800", [1280.0, 800.0], &mixed());
}
