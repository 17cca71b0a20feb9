//! Trying devices out, the controller's files, the window's own settings.

use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::window::WindowApp;
use roundstop::window::state::Link;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use super::{draw, start, until, window};

#[test]
fn table_and_camera_are_tried_out_and_handed_to_the_session() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label_contains("Table: ").click();
    draw(&mut harness);
    harness.get_by_label("Connect and try out").click();
    until(&mut harness, "the table's answer", |state| state.tryout.is_some() && !state.trying);
    harness.get_by_label("Turn the plate by 15°").click();
    until(&mut harness, "the turn", |state| {
        let at = state.tryout.as_ref().and_then(|tryout| tryout.plate_deg);
        !state.trying && at.is_some_and(|at| (at - 15.0).abs() < 0.1)
    });
    harness.get_by_label("Set 0° here").click();
    until(&mut harness, "the zero", |state| {
        state.tryout.as_ref().is_some_and(|tryout| tryout.knows_zero && tryout.plate_deg == Some(0.0))
    });
    // Nothing is kept of a test frame.
    harness.get_by_label_contains("Camera: ").click();
    draw(&mut harness);
    harness.get_by_label("Test frame").click();
    until(&mut harness, "the test frame", |state| state.live.is_some_and(|live| live.test));
    harness.get_by_label("Live picture").click();
    until(&mut harness, "live pictures", |state| state.live.is_some_and(|live| live.rate > 0.0));
    harness.get_by_label("End the live picture").click();
    until(&mut harness, "the end of the live picture", |state| {
        state.tryout.as_ref().is_some_and(|tryout| !tryout.live)
    });
    assert!(!folder.path().join("LP-0142").exists());
    harness.key_press(egui::Key::Escape);
    draw(&mut harness);
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the end of the set", |state| {
        state.link == Link::Open && state.mode == Mode::Finished
    });
    assert!(harness.state().state().live.is_none());
}

#[test]
fn a_controller_board_is_set_up() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label_contains("Table: ").click();
    draw(&mut harness);
    harness.get_by_label("Controller on a serial port").click();
    draw(&mut harness);
    harness.get_by_label("Set up a controller board…").click();
    draw(&mut harness);
    harness.get_by_label("Wiring");
    let save = "Save to the board's drive or a folder…";
    assert!(!harness.get_by_label(save).accesskit_node().is_disabled());
    let pins = "Pins for IN1, IN2, IN3, IN4";
    let field = harness.get_by_role_and_label(egui::Role::TextInput, pins);
    field.focus();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::TextInput, pins).type_text(", 99");
    draw(&mut harness);
    harness.get_by_label_contains("Write four pin numbers");
    assert!(harness.get_by_label(save).accesskit_node().is_disabled());
    harness.get_by_label("Close").click();
    draw(&mut harness);
    assert!(harness.query_by_label("Wiring").is_none());
}

#[test]
fn settings_are_remembered() {
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    let place = folder.path().join("settings.json");
    begin.remember = Some(place.clone());
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Settings").click();
    draw(&mut harness);
    harness.get_by_label("Light").click();
    draw(&mut harness);
    harness.get_by_label_contains("Sound and notification").click();
    draw(&mut harness);
    drop(harness);
    let settings = roundstop::settings::read(&place);
    assert!(settings.light && settings.silent);
}

#[test]
fn a_dropped_folder_is_opened() {
    let (folder, harness) = super::session::shot_set(4);
    drop(harness);
    let elsewhere = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0200", 8), elsewhere.path(), SimSpeed::Max);
    begin.own_plan = false;
    let mut harness: egui_kittest::Harness<'_, WindowApp> = window(begin);
    harness.run();
    let dropped = folder.path().join("LP-0142");
    harness.state().sink().send(roundstop::window::intent::WindowIntent::Dropped(dropped));
    // The set brings its own plan.
    until(&mut harness, "the set", |state| state.planned.sku == "LP-0142" && state.kept() == 4);
    harness.get_by_label("Nothing left to shoot");
}
