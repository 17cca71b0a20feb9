//! Whole sessions in the window, on simulated devices.

use egui::{Event, Key, Modifiers, PointerButton};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use roundstop::window::WindowApp;
use roundstop::window::intent::{IntentSink, WindowIntent};
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::places::Mark;
use roundstop::window::state::{Link, State};
use session_core::clock::SimSpeed;
use session_core::engine::{Intent, Mode, PauseReason};
use session_core::journal::SessionFolder;
use session_core::plan::{Plan, Row};

use super::{draw, start, until, window};

pub fn version_of(state: &State, stop: u32) -> u32 {
    state.place(stop).map_or(0, |place| place.chosen)
}

pub fn finished(state: &State) -> bool {
    state.link == Link::Open && state.mode == Mode::Finished
}

/// A window in which a set of this many stops has been shot.
pub fn shot_set(stops: u32) -> (tempfile::TempDir, Harness<'static, WindowApp>) {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", stops), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label(&format!("Start: shoot {stops} stops")).click();
    until(&mut harness, "the end of the set", finished);
    (folder, harness)
}

#[test]
fn a_set_is_shot_to_the_end_and_the_disk_agrees() {
    let (folder, mut harness) = shot_set(6);
    for (stop, degrees) in [(1, 0), (2, 60), (3, 120), (4, 180), (5, 240), (6, 300)] {
        harness.get_by_label(&format!("Stop {stop}, {degrees}°, kept"));
    }
    harness.get_by_label("Picture of stop 6, 300°, version 1, kept");
    // Once the pictures are in, nothing asks to be drawn any more.
    until(&mut harness, "the large picture of the newest stop", |state| state.newest == Some(6));
    for _ in 0..40 {
        harness.step();
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert!(harness.run() <= 3);
    let status = SessionFolder::read_status(&folder.path().join("LP-0142")).unwrap();
    assert!(status.complete);
    assert_eq!(status.kept(), 6);
}

#[test]
fn a_stop_is_retaken_by_mouse() {
    let (folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 2, 90°, kept").click();
    draw(&mut harness);
    harness.get_by_label("Retake stop 2").click();
    until(&mut harness, "version 2 of stop 2", |state| version_of(state, 2) == 2 && finished(state));
    harness.get_by_label("Picture of stop 2, 90°, version 2, kept");
    // The earlier version is still there, and can be used again.
    harness.get_by_label("Use version 1 of stop 2").click();
    until(&mut harness, "version 1 of stop 2", |state| version_of(state, 2) == 1);
    let status = SessionFolder::read_status(&folder.path().join("LP-0142")).unwrap();
    assert_eq!(status.stops[1].versions.len(), 2);
    assert!(status.stops[1].versions[0].in_use);
}

#[test]
fn a_stop_is_retaken_by_keyboard() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 1, 0°, kept").focus();
    draw(&mut harness);
    for _ in 0..2 {
        harness.key_press(Key::ArrowRight);
        draw(&mut harness);
    }
    // The newest, stop 4, was looked at: two steps on from there.
    assert_eq!(harness.state().state().cursor, Some(2));
    assert!(harness.get_by_label("Stop 2, 90°, kept").is_focused());
    harness.key_press(Key::Space);
    draw(&mut harness);
    assert!(harness.state().state().selected.contains(&2));
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 2", |state| version_of(state, 2) == 2 && finished(state));
    assert_eq!(version_of(harness.state().state(), 1), 1);
}

#[test]
fn presses_that_come_in_together_all_count() {
    let (_folder, mut harness) = shot_set(6);
    harness.key_press(Key::Home);
    draw(&mut harness);
    for _ in 0..3 {
        harness.key_press(Key::ArrowRight);
    }
    draw(&mut harness);
    assert_eq!(harness.state().state().cursor, Some(4));
}

#[test]
fn one_click_s_selection_moves_on_with_the_arrows() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 2, 90°, kept").click();
    draw(&mut harness);
    harness.key_press(Key::ArrowRight);
    draw(&mut harness);
    // What is looked at is what would be retaken.
    harness.get_by_label("Retake stop 3");
    // Chosen one by one, a selection stays, and the caption says which.
    harness.get_by_label("Stop 1, 0°, kept").click_modifiers(Modifiers::COMMAND);
    draw(&mut harness);
    harness.key_press(Key::ArrowLeft);
    draw(&mut harness);
    harness.get_by_label("2 stops are selected: 1, 3");
    harness.get_by_label("the picture is of stop 4, which is not");
}

#[test]
fn several_stops_are_selected_and_retaken_together() {
    let (_folder, mut harness) = shot_set(6);
    harness.get_by_label("Stop 2, 60°, kept").click();
    draw(&mut harness);
    harness.get_by_label("Stop 5, 240°, kept").click_modifiers(Modifiers::COMMAND);
    draw(&mut harness);
    harness.get_by_label("Retake 2 stops").click();
    until(&mut harness, "version 2 of both", |state| {
        version_of(state, 2) == 2 && version_of(state, 5) == 2 && finished(state)
    });
    let state = harness.state().state();
    assert_eq!(state.places.iter().filter(|place| place.versions.len() == 1).count(), 4);
}

#[test]
fn a_frame_is_set_aside_and_used_again() {
    let (folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 3, 180°, kept").click();
    draw(&mut harness);
    harness.get_by_label_contains("The set is complete.");
    harness.get_by_label("Set aside").click();
    until(&mut harness, "stop 3 set aside", |state| state.count(Mark::SetAside) == 1);
    harness.get_by_label("Stop 3, 180°, set aside");
    assert!(harness.query_by_label_contains("The set is complete.").is_none(), "3 of 4 are not all");
    harness.get_by_label("Use it again").click();
    until(&mut harness, "stop 3 kept", |state| state.kept() == 4);
    let status = SessionFolder::read_status(&folder.path().join("LP-0142")).unwrap();
    assert!(status.complete);
}

#[test]
fn escape_stops_and_shooting_goes_on_where_it_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::single_row("LP-0142", 12);
    let mut harness = window(start(plan, folder.path(), SimSpeed::Times(8.0)));
    harness.run();
    harness.get_by_label("Start: shoot 12 stops").click();
    until(&mut harness, "the first frame", |state| state.kept() >= 1);
    // Whatever has the focus: here a field.
    harness.get_by_role_and_label(egui::Role::TextInput, "SKU").focus();
    harness.step();
    harness.key_press(Key::Escape);
    until(&mut harness, "the halt", |state| state.mode == Mode::Stopped);
    let kept = harness.state().state().kept();
    assert!((1..12).contains(&kept), "{kept}");
    harness.get_by_label_contains("missing stop").click();
    until(&mut harness, "the end of the set", finished);
    let state = harness.state().state();
    assert_eq!(state.kept(), 12);
    assert!(state.places.iter().all(|place| place.versions.len() == 1));
}

#[test]
fn a_window_closed_in_mid_session_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let begin = start(Plan::single_row("LP-0142", 12), folder.path(), SimSpeed::Times(8.0));
    let mut harness = window(begin.clone());
    harness.run();
    harness.get_by_label("Start: shoot 12 stops").click();
    until(&mut harness, "two frames", |state| state.kept() >= 2);
    let shown = harness.state().state().kept();
    drop(harness);
    let on_disk = SessionFolder::read_status(&folder.path().join("LP-0142")).unwrap().kept();
    assert!((shown..12).contains(&on_disk), "{on_disk} of at least {shown}");
    // Opened again, it shows what is on disk and goes on from there.
    let mut harness = window(begin);
    until(&mut harness, "the set in the folder", |state| state.in_force.is_some());
    assert_eq!(harness.state().state().kept(), on_disk);
    harness.get_by_label_contains("missing stop").click();
    until(&mut harness, "the end of the set", finished);
    assert!(harness.state().state().places.iter().all(|place| place.versions.len() == 1));
}

#[test]
fn retakes_that_a_stop_has_left_can_be_gone_on_with_or_called_off() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Times(20.0)));
    harness.run();
    harness.get_by_label("Start: shoot 8 stops").click();
    until(&mut harness, "the end of the set", finished);
    // A key for many stops is asked about first; Esc leaves it.
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    draw(&mut harness);
    harness.key_press(Key::R);
    draw(&mut harness);
    harness.get_by_label("Shoot the selected stops again?");
    harness.key_press(Key::Escape);
    draw(&mut harness);
    assert!(harness.query_by_label("Shoot the selected stops again?").is_none());
    assert!(finished(harness.state().state()));
    for called_off in [false, true] {
        harness.key_press(Key::R);
        draw(&mut harness);
        harness.key_press(Key::Enter);
        until(&mut harness, "the retakes", |state| state.mode == Mode::Running);
        draw(&mut harness);
        // Every stop has a frame, but the set is being worked on.
        assert_eq!(harness.state().state().kept(), 8);
        harness.key_press(Key::Escape);
        until(&mut harness, "the stop", |state| state.mode == Mode::Stopped);
        draw(&mut harness);
        let left = harness.state().state().retakes_left();
        assert!(left > 0);
        harness.get_by_label_contains("to be shot again: go on, or call it off.");
        assert!(harness.query_by_label("Nothing left to shoot").is_none());
        if called_off {
            harness.get_by_label("Call it off").click();
            until(&mut harness, "nothing to go on with", |state| state.retakes_left() == 0);
            draw(&mut harness);
            harness.get_by_label("Nothing left to shoot");
        } else {
            harness.get_by_label_contains("Go on: ").click();
            until(&mut harness, "the end of the retakes", finished);
            assert!(harness.state().state().places.iter().all(|place| place.versions.len() == 2));
        }
    }
}

#[test]
fn it_pauses_after_the_frame_and_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 10), folder.path(), SimSpeed::Times(8.0)));
    harness.run();
    harness.get_by_label("Start: shoot 10 stops").click();
    until(&mut harness, "the first frame", |state| state.kept() >= 1);
    harness.get_by_label("Pause after this frame").click();
    until(&mut harness, "the pause", |state| state.mode == Mode::Paused(PauseReason::Asked));
    assert!(harness.state().state().kept() < 10);
    harness.get_by_label("Go on").click();
    until(&mut harness, "the end of the set", finished);
    assert_eq!(harness.state().state().kept(), 10);
}

#[test]
fn a_new_row_waits_for_the_camera() {
    let folder = tempfile::tempdir().unwrap();
    let mut plan = Plan::single_row("LP-0142", 3);
    plan.rows.push(Row { tilt_note: "60 cm up, 35° down".to_owned(), ..Row::full_turn("high", 2) });
    let mut harness = window(start(plan, folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Start: shoot 5 stops").click();
    until(&mut harness, "the pause before row high", |state| state.new_row().is_some() && state.kept() == 3);
    harness.get_by_label("60 cm up, 35° down");
    harness.get_by_label("The camera is set, go on").click();
    until(&mut harness, "the end of the set", finished);
    harness.get_by_label("Stop 5, row high, 180°, kept");
}

#[test]
fn a_folder_with_frames_shows_them_again() {
    let (folder, harness) = shot_set(4);
    drop(harness);
    // Begun with another plan: the folder's own set is shown, and what would change.
    let mut harness = window(start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Max));
    until(&mut harness, "the set in the folder", |state| state.in_force.is_some());
    harness.get_by_label_contains("4 frames stay with their stops, 4 stops will be without a frame.");
    harness.get_by_label("Undo changes").click();
    draw(&mut harness);
    harness.get_by_label("Stop 3, 180°, kept");
    harness.get_by_label("Nothing left to shoot");
}

#[test]
fn a_changed_plan_keeps_the_frames_of_stops_that_still_exist() {
    let (folder, mut harness) = shot_set(4);
    let field = "Stops, row 1";
    harness.get_by_role_and_label(egui::Role::TextInput, field).focus();
    draw(&mut harness);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.get_by_role_and_label(egui::Role::TextInput, field).type_text("8");
    draw(&mut harness);
    harness.get_by_label_contains("4 frames stay with their stops, 4 stops will be without a frame.");
    harness.get_by_label("Use changed plan").click();
    until(&mut harness, "the changed plan", |state| state.link == Link::Closed && state.change.is_none());
    harness.get_by_label("Stop 3, 90°, kept");
    harness.get_by_label("Shoot the 4 missing stops").click();
    until(&mut harness, "the end of the set", finished);
    let status = SessionFolder::read_status(&folder.path().join("LP-0142")).unwrap();
    assert_eq!((status.kept(), status.stops.len()), (8, 8));
    assert!(status.stops.iter().all(|stop| stop.versions.len() == 1));
}

#[test]
fn a_table_that_cannot_be_opened_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.table = roundstop::studio::TableSpec::Serial { path: "no-such-port".to_owned(), baud: 115_200 };
    begin.camera = roundstop::studio::CameraSpec::Folder(folder.path().to_owned());
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the reason", |state| state.link == Link::Closed && !state.notices.is_empty());
    assert!(harness.query_all_by_label_contains("no-such-port").count() >= 1);
    harness.get_by_label("Start: shoot 4 stops");
}

#[test]
fn a_skipped_stop_is_missing_once_all_else_is_shot() {
    let folder = tempfile::tempdir().unwrap();
    let mut plan = Plan::single_row("LP-0142", 2);
    plan.rows.push(Row::full_turn("high", 2));
    let mut harness = window(start(plan, folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Start: shoot 4 stops").click();
    let at_new_row = |state: &State| matches!(state.mode, Mode::Paused(PauseReason::NewRow { .. }));
    until(&mut harness, "the question before the second row", at_new_row);
    harness.state().sink().send(WindowIntent::LeaveOut(vec![4]));
    let is_skipped = |state: &State| state.place(4).is_some_and(|place| place.mark == Mark::LeftOut);
    until(&mut harness, "the stop skipped", is_skipped);
    harness.state().sink().session(Intent::Resume);
    until(&mut harness, "the end of the set", finished);
    let says = |state: &State, text: &str| state.notices.iter().any(|notice| notice.text.contains(text));
    assert!(says(harness.state().state(), "but the stop that was skipped"));
    harness.get_by_label("Shoot the skipped stop").click();
    until(&mut harness, "the camera's question or the end", |state| at_new_row(state) || finished(state));
    harness.state().sink().session(Intent::Resume);
    until(&mut harness, "the skipped one", |state| finished(state) && state.kept() == 4);
    assert!(says(harness.state().state(), "The set is complete."));
}

#[test]
fn the_devices_stay_from_one_set_to_the_next() {
    let (_folder, mut harness) = shot_set(4);
    harness.state().sink().send(WindowIntent::NewSet);
    until(&mut harness, "the session's end", |state| state.link == Link::Closed && state.tryout.is_some());
    let state = harness.state().state();
    // The table was not opened anew: it still knows where it stands.
    assert!(state.tryout.as_ref().is_some_and(|tryout| tryout.knows_zero));
    // What was said of the set before is no longer there.
    assert!(state.notices.iter().all(|notice| !notice.text.contains("complete")), "{:?}", state.notices);
}

#[test]
fn a_dialog_does_not_take_the_press_on_stop_for_itself() {
    let mut state = super::fixtures::mixed();
    state.mode = Mode::Running;
    state.board.open = true;
    let pictures = Pictures::default();
    let (sink, wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([1280.0, 800.0]).build_ui(|ui| window_ui(ui, &state, &pictures, &sink));
    harness.run_steps(4);
    let place = harness.get_all_by_label("Stop at once (Esc)").next().unwrap().rect().center();
    wishes.try_iter().for_each(drop);
    harness.event(Event::PointerMoved(place));
    harness.step();
    for pressed in [true, false] {
        let button = PointerButton::Primary;
        harness.event(Event::PointerButton { pos: place, button, pressed, modifiers: Modifiers::NONE });
        harness.step();
    }
    let sent: Vec<_> = wishes.try_iter().filter(|wish| !matches!(wish, WindowIntent::Want(_))).collect();
    assert_eq!(sent, [WindowIntent::Session(Intent::StopNow)]);
}
