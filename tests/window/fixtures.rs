//! Beginnings that several tests share; demo data.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Duration;

use egui_kittest::Harness;
use egui_kittest::kittest::{By, NodeT, Queryable};
use roundstop::settings::Settings;
use roundstop::studio::{CameraSpec, StudioOptions, TableSpec};
use roundstop::window::intent::IntentSink;
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::places::PlanInForce;
use roundstop::window::state::{Link, State};
use roundstop::window::theme;
use roundstop::window::{WindowApp, WindowStart};
use session_core::check::{Flag, FlagKind};
use session_core::clock::SimSpeed;
use session_core::engine::{Activity, Fault, FaultKind, Mode, StopState};
use session_core::plan::{Plan, Row};
use session_core::view::{StopView, VersionView};

/// A start on simulated devices with small frames; demo data.
pub fn start(plan: Plan, folder: &Path, sim_speed: SimSpeed) -> WindowStart {
    WindowStart {
        plan,
        own_plan: true,
        folder: folder.join("LP-0142"),
        table: TableSpec::Sim,
        camera: CameraSpec::Sim,
        options: StudioOptions { sim_speed, sim_frame_px: (150, 100), ..StudioOptions::default() },
        note: None,
        settings: Settings::default(),
        remember: None,
    }
}

/// The window at its usual size.
pub fn window(start: WindowStart) -> Harness<'static, WindowApp> {
    Harness::builder()
        .with_size([1280.0, 800.0])
        .build_eframe(move |context| WindowApp::new(&context.egui_ctx, &start).unwrap())
}

/// Draws the frames that a click or key needs to take effect.
///
/// Not `Harness::run`: while thumbnails come in from their workers the window rightly asks to be drawn,
/// and that is not what these places check.
pub fn draw(harness: &mut Harness<'_, WindowApp>) {
    harness.run_steps(4);
}

/// Draws frame after frame until the window shows what is waited for.
///
/// The bound is a count of frames, far beyond what the work takes; how long each waits only gives
/// the workers room.
pub fn until(harness: &mut Harness<'_, WindowApp>, what: &str, done: impl Fn(&State) -> bool) {
    for _ in 0..6_000 {
        harness.step();
        if done(harness.state().state()) {
            // Once more, so that what has changed is drawn.
            harness.step();
            return;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let state = harness.state().state();
    panic!("never came: {what}; mode {:?}, link {:?}, notices {:?}", state.mode, state.link, state.notices);
}

/// A state that has this plan in its fields, nothing shot.
pub fn state_of(mut plan: Plan) -> State {
    "Ash-glaze jug".clone_into(&mut plan.title);
    let mut state = State::new(&start(plan, Path::new("sets"), SimSpeed::Max));
    // The path as it is on every system.
    state.folder = "sets/LP-0142".into();
    state
}

/// A plan of two rows, nothing shot.
pub fn planned() -> State {
    let mut plan = Plan::single_row("LP-0142", 24);
    plan.rows.push(Row { tilt_note: "60 cm up, 35° down".to_owned(), ..Row::full_turn("high", 12) });
    state_of(plan)
}

/// The plan's stops as a session shows them before the first frame.
pub fn views_of(plan: &Plan) -> Vec<StopView> {
    let stops = plan.shots("2026-01-31").unwrap();
    let views = stops.iter().map(|stop| StopView {
        index: stop.index,
        row: stop.row,
        closing: stop.closing,
        degrees: stop.angle.wrapped().degrees(),
        degrees_text: stop.angle.wrapped().short_degrees(),
        state: StopState::Missing,
        activity: Activity::None,
        skipped: false,
        versions: Vec::new(),
        chosen: 0,
        problem: None,
    });
    views.collect()
}

/// What a check finds on a frame; demo data.
pub fn blurred() -> Flag {
    Flag {
        kind: FlagKind::MotionBlur,
        reason: "edges are smeared across by 3.2 px, but not upright: the table still moved".to_owned(),
        amount: 3.2,
        unit: "px".to_owned(),
    }
}

/// A session with one stop in each state.
pub fn mixed() -> State {
    let mut state = planned();
    let plan = state.planned.clone();
    let mut stops = views_of(&plan);
    for view in &mut stops {
        if view.index <= 15 {
            view.state = StopState::Kept;
            view.chosen = 1;
            view.versions = vec![VersionView {
                version: 1,
                path: "no-such-file.jpg".into(),
                flags: Vec::new(),
                seen_angle: None,
            }];
        }
        match view.index {
            4 => (view.state, view.chosen) = (StopState::SetAside, 0),
            9 => view.skipped = true,
            12 => view.versions[0].flags.push(blurred()),
            16 => view.problem = Some("no complete frame came".to_owned()),
            17 => view.activity = Activity::Turning,
            _ => {}
        }
        if view.skipped {
            (view.state, view.chosen) = (StopState::Missing, 0);
            view.versions.clear();
        }
    }
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
        advice: "Mend the cause and try again, or skip this stop for now.",
    });
    state.lay_out();
    state
}

/// Draws a state's panels without a window behind them, and has a look at them.
pub fn drawn(state: &State, look: impl FnOnce(&Harness<'_>)) {
    let (sink, _wishes) = IntentSink::new();
    let pictures = Pictures::default();
    let mut harness = Harness::builder()
        .with_size([1280.0, 1000.0])
        .with_context_setup(|ctx: &egui::Context| theme::apply(ctx, false))
        .build_ui(|ui| window_ui(ui, state, &pictures, &sink));
    harness.run();
    look(&harness);
}

/// Where everything lies that can be pressed, ticked, drawn or typed in, by role and name.
pub fn places_of_all<State>(harness: &Harness<'_, State>) -> BTreeMap<String, egui::Rect> {
    use egui::Role::{Button, CheckBox, ComboBox, RadioButton, Slider, TextInput};
    let roles = [Button, CheckBox, ComboBox, RadioButton, Slider, TextInput];
    harness
        .query_all(By::new().predicate(move |node| roles.contains(&node.role())))
        .map(|node| {
            let name = node.accesskit_node().label().unwrap_or_default();
            (format!("{:?} {name}", node.accesskit_node().role()), node.rect())
        })
        .collect()
}
