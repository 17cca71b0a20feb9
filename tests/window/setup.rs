//! The path from the demo to one's own table and camera.

use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::window::devices::TableKind;
use roundstop::window::setup::SetupStep;
use session_core::clock::SimSpeed;
use session_core::plan::Plan;

use super::{draw, start, until, window};

#[test]
fn the_set_up_path_leads_from_the_demo_to_a_set_of_one_s_own() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Set up your own table and camera…").click();
    draw(&mut harness);
    // Each step may be left out, and says so.
    harness.get_by_label("1. Controller board, open");
    harness.get_by_label("Electricity");
    harness.get_by_label("Next").click();
    draw(&mut harness);
    harness.get_by_label("1. Controller board, passed by");
    harness.get_by_label("Controller on a serial port");
    harness.get_by_label("3. Camera and test frame").click();
    draw(&mut harness);
    harness.get_by_label("Lights and flash");
    harness.get_by_label("Connect and try out").click();
    until(&mut harness, "the devices", |state| state.tryout.is_some() && !state.trying);
    harness.get_by_label("Test frame").click();
    until(&mut harness, "the test frame", |state| state.live.is_some_and(|live| live.test) && !state.trying);
    draw(&mut harness);
    harness.get_by_label("3. Camera and test frame, done");
    harness.get_by_label("Next").click();
    draw(&mut harness);
    // The cautions of turning parts come before the first turn, and the rules of the place with them.
    harness.get_by_label("Turning parts");
    harness.get_by_label("Rules");
    harness.get_by_label("Set 0° here").click();
    until(&mut harness, "the zero", |state| state.setup.done.contains(&SetupStep::Zero));
    draw(&mut harness);
    harness.get_by_label("Next").click();
    draw(&mut harness);
    harness.get_by_label("Turn the plate by 15°").click();
    until(&mut harness, "the turn", |state| {
        let at = state.tryout.as_ref().and_then(|tryout| tryout.plate_deg);
        !state.trying && at.is_some_and(|at| (at - 15.0).abs() < 0.1)
    });
    draw(&mut harness);
    harness.get_by_label("Next").click();
    draw(&mut harness);
    harness.get_by_label("simulated table, ready");
    harness.get_by_label("Begin a new set with them").click();
    draw(&mut harness);
    let state = harness.state().state();
    assert!(state.setup.step.is_none() && state.draft.sku.is_empty());
    // What was tried out stays connected, with its zero.
    assert!(state.tryout.as_ref().is_some_and(|tryout| tryout.knows_zero));
    harness.get_by_label("Settings").click();
    draw(&mut harness);
    assert_eq!(harness.query_all_by_label("Set up your own table and camera…").count(), 2);
}

#[test]
fn what_is_chosen_on_the_path_is_used_only_when_the_person_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Set up your own table and camera…").click();
    draw(&mut harness);
    harness.get_by_label("2. Table and port").click();
    draw(&mut harness);
    harness.get_by_label("Controller on a serial port").click();
    draw(&mut harness);
    // Further on it cannot be connected, and why stands there to be read.
    harness.get_by_label("5. Which way it turns").click();
    draw(&mut harness);
    assert!(harness.get_by_label("Connect and try out").accesskit_node().is_disabled());
    harness.get_by_label_contains("No serial port is chosen for the table");
    harness.get_by_label("6. Your first set").click();
    draw(&mut harness);
    assert!(harness.get_by_label("Begin a new set with them").accesskit_node().is_disabled());
    // Nothing is shot from here by key.
    harness.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::Enter);
    draw(&mut harness);
    assert_eq!(harness.state().state().setup.step, Some(SetupStep::Done));
    harness.get_by_label("Close").click();
    draw(&mut harness);
    let state = harness.state().state();
    assert_eq!((state.setup.step, state.devices.table), (None, TableKind::Simulated));
    harness.get_by_label_contains("Left as it was: simulated table, simulated camera.");
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the end of the set", super::session::finished);
}

#[test]
fn the_devices_of_the_path_can_be_used_for_the_set_at_hand() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Set up your own table and camera…").click();
    draw(&mut harness);
    harness.get_by_label("3. Camera and test frame").click();
    draw(&mut harness);
    harness.get_by_label("Frames arrive in a folder").click();
    draw(&mut harness);
    let field = |harness: &egui_kittest::Harness<'_, roundstop::window::WindowApp>| {
        harness.get_by_role_and_label(egui::Role::TextInput, "Camera detail").focus();
    };
    field(&harness);
    draw(&mut harness);
    let place = folder.path().display().to_string();
    harness.get_by_role_and_label(egui::Role::TextInput, "Camera detail").type_text(&place);
    draw(&mut harness);
    harness.get_by_label("6. Your first set").click();
    draw(&mut harness);
    harness.get_by_label("Use them for the set at hand").click();
    draw(&mut harness);
    let state = harness.state().state();
    assert_eq!(state.planned.sku, "LP-0142");
    assert_eq!(state.devices.camera_spec(), Ok(roundstop::studio::CameraSpec::Folder(folder.path().into())));
}
