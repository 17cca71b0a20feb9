//! The plan's fields: changes show at once, bad values say why.

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::window::devices::Ports;
use roundstop::window::intent::WindowIntent;
use roundstop::window::{WindowApp, words};
use session_core::clock::SimSpeed;
use session_core::motion::SpeedProfile;
use session_core::plan::Plan;

use super::fixtures::places_of_all;
use super::{draw, start, until, window};

fn plan_window(stops: u32) -> (tempfile::TempDir, Harness<'static, WindowApp>) {
    let folder = tempfile::tempdir().unwrap();
    let harness = window(start(Plan::single_row("LP-0142", stops), folder.path(), SimSpeed::Max));
    (folder, harness)
}

/// Puts a text in a field's place, as typing would. Steps are counted, for the desk may wake the window meanwhile.
fn type_into(harness: &mut Harness<'_, WindowApp>, field: &str, text: &str) {
    let role = egui::Role::TextInput;
    harness.get_by_role_and_label(role, field).focus();
    harness.run_steps(6);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.key_press(Key::Backspace);
    harness.get_by_role_and_label(role, field).type_text(text);
    harness.run_steps(6);
}

#[test]
fn more_stops_show_on_the_ring_and_in_the_estimate() {
    let (_folder, mut harness) = plan_window(24);
    harness.run();
    // 360/24 = 15 and 360/36 = 10: plain arithmetic.
    harness.get_by_label("Stop 24, 345°, missing");
    assert!(harness.query_by_label("Stop 36, 350°, missing").is_none());
    let before = harness.state().state().estimate_secs;
    type_into(&mut harness, "Stops, row 1", "36");
    harness.get_by_label("Stop 36, 350°, missing");
    let after = harness.state().state().estimate_secs;
    assert!(after > before);
    let expected = Plan::single_row("LP-0142", 36).estimate_secs(&SpeedProfile::default());
    harness.get_by_label(&format!("As planned it takes {}.", words::span(expected)));
    harness.get_by_label("The whole set: 36 stops");
    harness.get_by_label("Start: shoot 36 stops");
}

#[test]
fn an_arc_puts_a_stop_at_each_end() {
    let (_folder, mut harness) = plan_window(5);
    harness.run();
    type_into(&mut harness, "Over, °, row 1", "90");
    type_into(&mut harness, "From, °, row 1", "-45");
    harness.get_by_label("Stop 1, 315°, missing");
    harness.get_by_label("Stop 3, 0°, missing");
    harness.get_by_label("Stop 5, 45°, missing");
}

#[test]
fn a_bad_value_says_why_and_holds_the_start_back() {
    let (_folder, mut harness) = plan_window(24);
    // High enough for all fields: those out of sight say nothing.
    harness.set_size(egui::vec2(1280.0, 1300.0));
    harness.run_steps(6);
    let quiet = places_of_all(&harness);
    for (field, bad, says) in [
        ("Stops, row 1", "0", "must have 1 to 1440 stops"),
        ("Stops, row 1", "many", "'many' is not a whole number of stops"),
        ("Over, °, row 1", "400", "must reach over more than 0 and at most 360 degrees"),
        ("Leave out stops, row 1", "3, 25", "has no stop 25 to leave out"),
        ("SKU", "LP/0142", "holds a path separator"),
        ("File-name pattern", "{sku}_{angle}", "unknown field {angle}"),
        ("Settle after a turn, s", "soon", "'soon' is not a number of seconds"),
    ] {
        let good = harness.get_by_role_and_label(egui::Role::TextInput, field).value().unwrap();
        type_into(&mut harness, field, bad);
        // Over the field while it is typed in; under the button that it holds back stands which field it is.
        assert_eq!(harness.query_all_by_label_contains(says).count(), 1, "{field} = {bad}");
        let name = field.trim_end_matches(", row 1").replace("File-name pattern", "File names");
        harness.get_by_label_contains(&format!("see to the field {name}, which is marked."));
        // The ring still shows the last plan that can be shot.
        harness.get_by_label("Stop 24, 345°, missing");
        assert!(
            harness.get_by_label("Start: shoot 24 stops").accesskit_node().is_disabled(),
            "{field} = {bad}"
        );
        // Nothing moves by it.
        assert_eq!(places_of_all(&harness), quiet, "{field} = {bad}");
        type_into(&mut harness, field, &good);
        assert!(harness.query_by_label_contains(says).is_none());
        assert!(!harness.get_by_label("Start: shoot 24 stops").accesskit_node().is_disabled());
    }
}

#[test]
fn rows_are_added_and_removed() {
    let (_folder, mut harness) = plan_window(8);
    // High enough for all fields of both rows.
    harness.set_size(egui::vec2(1280.0, 1500.0));
    harness.run();
    harness.get_by_label("Add a row").click();
    harness.run();
    harness.get_by_label("Stop 9, row high, 0°, missing");
    type_into(&mut harness, "Row, row 2", "level");
    assert_eq!(harness.query_all_by_label_contains("Two rows are named 'level'").count(), 1);
    harness.get_by_label("Remove row 2").click();
    harness.run();
    assert_eq!(harness.state().state().places.len(), 8);
    harness.get_by_label("Stop 8, 315°, missing");
}

#[test]
fn a_closing_frame_is_asked_for_and_needs_a_whole_turn() {
    let (_folder, mut harness) = plan_window(8);
    harness.set_size(egui::vec2(1280.0, 1300.0));
    harness.run();
    let box_of = |harness: &Harness<'_, WindowApp>| {
        let name = "Closing frame: the first stop once more";
        harness.get_by_role_and_label(egui::Role::CheckBox, name).click();
    };
    box_of(&harness);
    harness.run();
    assert!(harness.state().state().planned.closing_frame);
    // It is no stop of the set.
    harness.get_by_label("Start: shoot 8 stops");
    type_into(&mut harness, "Over, °, row 1", "90");
    harness.get_by_role_and_label(egui::Role::CheckBox, "Closing frame: the first stop once more").hover();
    harness.run();
    harness.get_by_label_contains("closing frame needs a row that is a whole turn");
    type_into(&mut harness, "Over, °, row 1", "360");
    box_of(&harness);
    harness.run();
    assert!(!harness.state().state().planned.closing_frame);
    harness.get_by_label("Undo").click();
    harness.run();
    assert!(harness.state().state().planned.closing_frame);
}

#[test]
fn the_file_name_is_shown_as_it_will_be() {
    let (_folder, mut harness) = plan_window(16);
    harness.run();
    harness.get_by_label("First file: LP-0142_level_01_000.0.jpg");
    type_into(&mut harness, "File-name pattern", "{sku}-{stop}");
    harness.get_by_label("First file: LP-0142-01.jpg");
}

#[test]
fn an_idle_window_comes_to_rest() {
    let (_folder, mut harness) = plan_window(24);
    // The desk takes orders in turn: once the ports are listed, its look at the folder is done too.
    harness.state().sink().send(WindowIntent::LookForPorts);
    until(&mut harness, "the list of ports", |state| {
        !matches!(state.devices.ports, Ports::Unknown | Ports::Looking)
    });
    harness.run();
    // `run` panics unless the window stops asking to be drawn.
    assert!(harness.run() <= 2);
}

#[test]
fn edits_are_undone_and_done_again() {
    let (_folder, mut harness) = plan_window(24);
    // High enough for all fields of both rows.
    harness.set_size(egui::vec2(1280.0, 1500.0));
    harness.run();
    type_into(&mut harness, "Stops, row 1", "36");
    harness.get_by_label("Add a row").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().planned.rows.len(), 2);
    harness.get_by_label("Undo").click();
    draw(&mut harness);
    assert_eq!(
        (harness.state().state().planned.rows.len(), harness.state().state().planned.rows[0].stops),
        (1, 36)
    );
    harness.get_by_label("Undo").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().planned.rows[0].stops, 24);
    for _ in 0..2 {
        harness.get_by_label("Redo").click();
        draw(&mut harness);
    }
    assert_eq!(harness.state().state().planned.rows.len(), 2);
}
