//! The window as a whole, drawn: at the usual size and at the smallest.

use egui_kittest::{Harness, OsThreshold, SnapshotOptions};
use roundstop::window::intent::IntentSink;
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::state::State;
use roundstop::window::theme;

use super::fixtures::{mixed, planned};

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
    snapshot("start-1280x800", [1280.0, 800.0], &planned());
}

#[test]
fn every_state_has_its_shape_and_a_fault_its_card() {
    snapshot("fault-1280x800", [1280.0, 800.0], &mixed());
}
