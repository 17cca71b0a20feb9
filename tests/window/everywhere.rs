//! What holds in every part: names on all controls, every size, the key that stops.

use egui::Key;
use egui_kittest::kittest::{By, NodeT, Queryable};
use egui_kittest::{Harness, Node};
use roundstop::window::ask::{PathEdit, Purpose, TypedPath};
use roundstop::window::board::BoardEdit;
use roundstop::window::intent::{IntentSink, WindowIntent};
use roundstop::window::panels::compact::is_compact;
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::setup::SetupStep;
use roundstop::window::state::State;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use super::fixtures::{self, mixed, planned};
use super::{draw, start, until, window};

fn is_control(role: egui::Role) -> bool {
    use egui::Role::{
        Button, CheckBox, ComboBox, Link, MultilineTextInput, RadioButton, Slider, SpinButton, TextInput,
    };
    matches!(
        role,
        Button
            | CheckBox
            | ComboBox
            | Link
            | RadioButton
            | Slider
            | SpinButton
            | TextInput
            | MultilineTextInput
    )
}

/// Every control has a name that a screen reader can say.
fn assert_named<S>(harness: &Harness<'_, S>, what: &str) -> usize {
    let mut controls = 0;
    for node in harness.query_all(By::new().predicate(|_| true)) {
        let node: Node<'_> = node;
        let node = node.accesskit_node();
        if !is_control(node.role()) {
            continue;
        }
        controls += 1;
        let name = node.label().unwrap_or_default();
        assert!(
            name.chars().any(char::is_alphanumeric),
            "{what}: a {:?} without a name: {node:?}",
            node.role()
        );
    }
    controls
}

fn drawn(state: &State, what: &str) {
    fixtures::drawn(state, |harness| assert!(assert_named(harness, what) > 10, "{what}"));
}

#[test]
fn every_control_of_the_main_states_has_a_name() {
    drawn(&planned(), "the start");
    drawn(&mixed(), "a fault");
    let mut state = planned();
    for step in SetupStep::ALL {
        state.setup.step = Some(step);
        drawn(&state, &format!("{step:?}"));
    }
}

#[test]
fn every_control_of_the_cards_has_a_name() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    draw(&mut harness);
    let bare = assert_named(&harness, "the start");
    for card in ["Folder: ", "List: ", "Table: ", "Camera: ", "Settings"] {
        harness.get_all_by_label_contains(card).next().unwrap().click();
        draw(&mut harness);
        assert!(assert_named(&harness, card) > bare, "{card}");
        harness.key_press(Key::Escape);
        draw(&mut harness);
    }
    harness.state().sink().send(WindowIntent::Board(BoardEdit::Open(true)));
    draw(&mut harness);
    assert!(assert_named(&harness, "the board's card") > bare);
}

#[test]
fn at_every_size_what_matters_is_within_the_window() {
    for (scale, size) in [
        (1.0, [1024.0, 640.0]),
        (1.25, [1280.0, 800.0]),
        (1.5, [1280.0, 800.0]),
        (2.0, [1280.0, 800.0]),
        (2.0, [2560.0, 1440.0]),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let mut begin = start(Plan::single_row("LP-0142", 24), folder.path(), SimSpeed::Max);
        begin.settings.scale = Some(scale);
        // As the window's own points count at this scale.
        let points = egui::Vec2::from(size) / scale;
        let mut harness = Harness::builder().with_size(points).build_eframe(move |context| {
            roundstop::window::WindowApp::new(&context.egui_ctx, &begin).unwrap()
        });
        harness.set_size(points);
        harness.run_steps(6);
        let screen = harness.ctx.content_rect();
        let is_within = |harness: &Harness<'_, _>, label: &str| {
            let rect = harness.get_by_label(label).rect();
            assert!(
                screen.expand(0.5).contains_rect(rect),
                "{label} at {scale} in {size:?}: {rect:?} in {screen:?}"
            );
        };
        for label in ["Start: shoot 24 stops", "Settings", "Keys", "Stop 1, 0°, missing"] {
            is_within(&harness, label);
        }
        if is_compact(screen.size()) {
            harness.get_by_label("Picture").click();
            harness.run_steps(3);
        }
        is_within(&harness, "Retake");
        for card in ["Settings", "Camera: "] {
            harness.get_all_by_label_contains(card).next().unwrap().click();
            harness.run_steps(6);
            let rect = harness.get_by_label(card_button(card)).rect();
            assert!(screen.expand(0.5).contains_rect(rect), "{card} at {scale} in {size:?}: {rect:?}");
            harness.key_press(Key::Escape);
            draw(&mut harness);
        }
    }
}

/// A button high up in each card.
fn card_button(card: &str) -> &'static str {
    if card == "Settings" { "When a frame is doubtful" } else { "Connect and try out" }
}

#[test]
fn the_key_that_stops_works_under_an_open_card() {
    for card in ["Settings", "Table: "] {
        let folder = tempfile::tempdir().unwrap();
        let mut harness = window(start(Plan::single_row("LP-0142", 24), folder.path(), SimSpeed::Times(8.0)));
        harness.run();
        harness.get_by_label("Start: shoot 24 stops").click();
        until(&mut harness, "the first frame", |state| state.kept() >= 1);
        harness.get_all_by_label_contains(card).next().unwrap().click();
        harness.run_steps(2);
        assert!(egui::Popup::is_any_open(&harness.ctx), "{card}");
        harness.key_press(Key::Escape);
        until(&mut harness, "the halt", |state| state.mode == Mode::Stopped);
        assert!(harness.state().state().kept() < 24);
    }
}

#[test]
fn under_an_open_card_no_other_key_does_anything() {
    let (_folder, mut harness) = super::session::shot_set(4);
    harness.state().sink().send(WindowIntent::Board(BoardEdit::Open(true)));
    draw(&mut harness);
    harness.key_press(Key::R);
    harness.key_press(Key::ArrowRight);
    draw(&mut harness);
    let state = harness.state().state();
    assert!(super::session::finished(state) && state.cursor.is_none());
    harness.key_press(Key::Escape);
    draw(&mut harness);
    assert!(!harness.state().state().board.open);
}

#[test]
fn in_a_narrow_window_the_facts_come_in_a_card() {
    let (_folder, mut harness) = super::session::shot_set(4);
    harness.get_by_label("Frame of stop 4");
    harness.set_size(egui::vec2(800.0, 700.0));
    draw(&mut harness);
    assert!(harness.query_by_label("Frame of stop 4").is_none());
    harness.get_by_label("Facts…").click();
    draw(&mut harness);
    harness.get_by_label("Frame of stop 4");
    harness.key_press(Key::Escape);
    draw(&mut harness);
    assert!(harness.query_by_label("Frame of stop 4").is_none());
    harness.key_press(Key::I);
    draw(&mut harness);
    harness.get_by_label("Frame of stop 4");
}

#[test]
fn drawn_larger_each_part_has_room_of_its_own() {
    for scale in [1.5, 1.75, 2.0] {
        let (_folder, mut harness) = super::session::shot_set(4);
        harness.set_size(egui::vec2(1280.0, 800.0) / scale);
        draw(&mut harness);
        harness.get_by_label("Picture").click();
        draw(&mut harness);
        let screen = harness.ctx.content_rect();
        let picture = harness.get_by_label("Picture of stop 4, 270°, large").rect();
        assert!(picture.height() > screen.height() * 0.4, "at {scale}: {picture:?} in {screen:?}");
        // No button lies on another or over the border.
        let buttons: Vec<(String, egui::Rect)> = harness
            .query_all(By::new().predicate(|node| node.role() == egui::Role::Button))
            .map(|node| (node.accesskit_node().label().unwrap_or_default(), node.rect()))
            .collect();
        for (at, (name, rect)) in buttons.iter().enumerate() {
            assert!(screen.expand(0.5).contains_rect(*rect), "at {scale}: {name} {rect:?}");
            for (other, there) in &buttons[at + 1..] {
                let common = rect.shrink(0.5).intersect(*there);
                assert!(!common.is_positive(), "at {scale}: {name} {rect:?} on {other} {there:?}");
            }
        }
        // What else the bar holds is in one card.
        harness.get_by_label("View…").click();
        draw(&mut harness);
        harness.get_by_label("Magnifier");
        harness.key_press(Key::Escape);
        draw(&mut harness);
        harness.get_by_label("Facts").click();
        draw(&mut harness);
        harness.get_by_label("Frame of stop 4");
    }
}

#[test]
fn where_the_system_shows_no_dialog_the_path_is_typed() {
    let mut state = planned();
    state.typed_path = Some(TypedPath {
        purpose: Purpose::OpenList,
        reason: "This system shows no file dialogs.".to_owned(),
        text: "lists/spring.cs".to_owned(),
    });
    let (sink, wishes) = IntentSink::new();
    let pictures = Pictures::default();
    let mut harness =
        Harness::builder().with_size([1280.0, 800.0]).build_ui(|ui| window_ui(ui, &state, &pictures, &sink));
    harness.run();
    assert!(assert_named(&harness, "the path's card") > 3);
    harness.get_by_label("Open a shoot list");
    harness.get_by_label("This system shows no file dialogs.");
    // The field has the keyboard at once.
    harness.get_by_role_and_label(egui::Role::TextInput, "Path").type_text("v");
    harness.run_steps(2);
    let used =
        || wishes.try_iter().filter(|wish| matches!(wish, WindowIntent::TypedPath(PathEdit::Use))).count();
    let typed = wishes.try_iter().any(
        |wish| matches!(wish, WindowIntent::TypedPath(PathEdit::Type(text)) if text == "lists/spring.csv"),
    );
    assert!(typed);
    harness.get_by_role_and_label(egui::Role::Button, "Open").click();
    harness.run_steps(2);
    assert_eq!(used(), 1);
    // Enter in the field does the same.
    harness.get_by_role_and_label(egui::Role::TextInput, "Path").focus();
    harness.run_steps(2);
    harness.key_press(Key::Enter);
    harness.run_steps(2);
    assert_eq!(used(), 1);
}
