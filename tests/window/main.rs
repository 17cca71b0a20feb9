//! The window, driven by its labels as a person or a screen reader would.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "a test that cannot be set up has failed")]

mod devices;
mod fault;
mod list;
mod look;
mod plan;
mod session;
mod stage;

use std::path::Path;
use std::time::Duration;

use egui_kittest::Harness;
use roundstop::settings::Settings;
use roundstop::studio::{CameraSpec, StudioOptions, TableSpec};
use roundstop::window::state::State;
use roundstop::window::{WindowApp, WindowStart};
use session_core::clock::SimSpeed;
use session_core::plan::Plan;

/// A start on simulated devices with small frames; demo data.
fn start(plan: Plan, folder: &Path, sim_speed: SimSpeed) -> WindowStart {
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
fn window(start: WindowStart) -> Harness<'static, WindowApp> {
    Harness::builder()
        .with_size([1280.0, 800.0])
        .build_eframe(move |context| WindowApp::new(&context.egui_ctx, &start).unwrap())
}

/// Draws the frames that a click or key needs to take effect.
///
/// Not `Harness::run`: while thumbnails come in from their workers the window rightly asks to be drawn,
/// and that is not what these places check.
fn draw(harness: &mut Harness<'_, WindowApp>) {
    harness.run_steps(4);
}

/// Draws frame after frame until the window shows what is waited for.
///
/// The bound is a count of frames, far beyond what the work takes; how long each waits only gives
/// the workers room.
fn until(harness: &mut Harness<'_, WindowApp>, what: &str, done: impl Fn(&State) -> bool) {
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
