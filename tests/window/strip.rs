//! The strip: drawing across it looks through the frames, or selects them; closing frames stand at its end.

use egui::{Modifiers, Role};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use roundstop::window::WindowApp;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use super::session::shot_set;
use super::{draw, start, until, window};

fn middle(harness: &Harness<'_, WindowApp>, stop: u32, degrees: u32) -> egui::Pos2 {
    harness.get_by_label(&format!("Picture of stop {stop}, {degrees}°, version 1, kept")).rect().center()
}

#[test]
fn drawing_across_the_strip_looks_through_the_frames() {
    let (_folder, mut harness) = shot_set(6);
    let at: Vec<egui::Pos2> = (1..=6).map(|stop| middle(&harness, stop, (stop - 1) * 60)).collect();
    harness.drag_at(at[1]);
    harness.step();
    let mut seen = Vec::new();
    for to in [2, 4, 3, 0] {
        harness.hover_at(at[to]);
        harness.step();
        harness.step();
        seen.push(harness.state().state().shown().unwrap().index);
    }
    assert_eq!(seen, [3, 5, 4, 1]);
    harness.drop_at(at[0]);
    draw(&mut harness);
    assert!(harness.state().state().selected.is_empty());
    harness.get_by_label("Picture of stop 1, 0°, large");
    // A click still selects.
    harness.get_by_label("Picture of stop 3, 120°, version 1, kept").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().selected, [3].into());
}

#[test]
fn with_shift_it_selects_the_frames_passed() {
    let (_folder, mut harness) = shot_set(6);
    let at: Vec<egui::Pos2> = (1..=6).map(|stop| middle(&harness, stop, (stop - 1) * 60)).collect();
    harness.event(egui::Event::ModifiersChanged(Modifiers::SHIFT));
    harness.drag_at(at[1]);
    harness.step();
    for to in [2, 3, 4] {
        harness.hover_at(at[to]);
        harness.step();
        harness.step();
    }
    harness.drop_at(at[4]);
    harness.event(egui::Event::ModifiersChanged(Modifiers::NONE));
    draw(&mut harness);
    assert_eq!(harness.state().state().selected, [2, 3, 4, 5].into());
    harness.get_by_label("4 stops are selected: 2-5");
}

#[test]
fn a_closing_frame_stands_apart_at_the_end_and_is_no_stop_of_the_set() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan { closing_frame: true, ..Plan::single_row("LP-0142", 4) };
    let mut harness = window(start(plan, folder.path(), SimSpeed::Max));
    draw(&mut harness);
    let missing = "No picture: Closing frame, 360°, missing";
    let apart = harness.get_by_label(missing).rect().left()
        - harness.get_by_label("No picture of stop 4, 270°, missing").rect().right();
    let gap = harness.get_by_label("No picture of stop 4, 270°, missing").rect().left()
        - harness.get_by_label("No picture of stop 3, 180°, missing").rect().right();
    assert!(apart > gap + 10.0, "{apart} beside {gap}");
    // On the ring it stands beside the counts.
    harness.get_by_role_and_label(Role::Button, "Closing frame, 360°, missing");
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the set", |state| state.mode == Mode::Finished);
    let state = harness.state().state();
    assert_eq!((state.kept(), state.to_shoot(), state.places.len()), (4, 0, 4));
    harness.get_by_role_and_label(Role::Button, "Picture, version 1: Closing frame, 360°, kept");
    harness.key_press_modifiers(Modifiers::COMMAND, egui::Key::A);
    draw(&mut harness);
    assert_eq!(harness.state().state().selected, [1, 2, 3, 4].into());
    harness.get_by_role_and_label(Role::Button, "Closing frame, 360°, kept").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().selected, [5].into());
    harness.get_by_label("Picture of the closing frame, 360°, large");
    until(&mut harness, "its facts", |state| {
        state.facts.as_ref().is_some_and(|facts| facts.is_a_turn_on == Some(true))
    });
    harness.get_by_label_contains("It is no stop of the set.");
    harness.get_by_role_and_label(Role::Button, "Retake the closing frame").click();
    until(&mut harness, "the retake", |state| state.closings[0].versions.len() == 2);
    until(&mut harness, "the end", |state| state.mode == Mode::Finished);
    harness.get_by_role_and_label(Role::Button, "Picture, version 2: Closing frame, 360°, kept");
    assert_eq!(harness.state().state().kept(), 4);
}
