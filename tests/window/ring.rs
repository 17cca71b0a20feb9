//! The ring: drawing along it, runs by keyboard, one row or all.

use egui::{Key, Modifiers, Pos2, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use roundstop::window::intent::{IntentSink, Pick, WindowIntent};
use roundstop::window::panels::keys::{Surface, place_id};
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::{WindowApp, theme};
use session_core::clock::SimSpeed;
use session_core::plan::{Plan, Row};

use super::{draw, start, window};

fn selected(harness: &Harness<'_, WindowApp>) -> Vec<u32> {
    harness.state().state().selected.iter().copied().collect()
}

fn place(harness: &Harness<'_, WindowApp>, label: &str) -> Pos2 {
    harness.get_by_label(label).rect().center()
}

/// Draws the pointer from place to place with the button held.
fn stroke(harness: &mut Harness<'_, WindowApp>, along: &[Pos2]) {
    harness.drag_at(along[0]);
    harness.step();
    for to in &along[1..] {
        harness.hover_at(*to);
        harness.step();
    }
    harness.drop_at(along[along.len() - 1]);
    draw(harness);
}

#[test]
fn drawing_along_the_ring_selects_the_stops_passed() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 12), folder.path(), SimSpeed::Max));
    harness.run();
    let at: Vec<Pos2> = (1..=12)
        .map(|stop| place(&harness, &format!("Stop {stop}, {}°, missing", (stop - 1) * 30)))
        .collect();
    stroke(&mut harness, &at[1..=4]);
    assert_eq!(selected(&harness), [2, 3, 4, 5]);
    harness.get_by_label("4 stops are selected: 2-5");
    // The other way, over 0°, and more than half a turn in one stroke.
    stroke(&mut harness, &[at[1], at[0], at[11], at[10]]);
    assert_eq!(selected(&harness), [1, 2, 11, 12]);
    stroke(&mut harness, &[at[0], at[2], at[4], at[6], at[8]]);
    assert_eq!(selected(&harness), (1..=9).collect::<Vec<u32>>());
    // With Shift, beside what is selected.
    stroke(&mut harness, &at[1..=2]);
    harness.event(egui::Event::ModifiersChanged(Modifiers::SHIFT));
    stroke(&mut harness, &at[6..=7]);
    harness.event(egui::Event::ModifiersChanged(Modifiers::NONE));
    assert_eq!(selected(&harness), [2, 3, 7, 8]);
    // Beside the rings nothing is meant.
    let middle = at[0] + (at[6] - at[0]) * 0.5;
    stroke(&mut harness, &[middle, middle + Vec2::splat(20.0)]);
    assert_eq!(selected(&harness), [2, 3, 7, 8]);
}

#[test]
fn a_run_is_selected_by_keyboard_and_all_with_one_key() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 12), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label("Stop 4, 90°, missing").click();
    draw(&mut harness);
    for _ in 0..3 {
        harness.key_press_modifiers(Modifiers::SHIFT, Key::ArrowRight);
        draw(&mut harness);
    }
    assert_eq!(selected(&harness), [4, 5, 6, 7]);
    // Back over the beginning, to the other side.
    for _ in 0..5 {
        harness.key_press_modifiers(Modifiers::SHIFT, Key::ArrowLeft);
        draw(&mut harness);
    }
    assert_eq!(selected(&harness), [2, 3, 4]);
    harness.get_by_label("Stop 9, 240°, missing").click_modifiers(Modifiers::SHIFT);
    draw(&mut harness);
    assert_eq!(selected(&harness), [4, 5, 6, 7, 8, 9]);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    draw(&mut harness);
    assert_eq!(selected(&harness).len(), 12);
}

#[test]
fn rows_are_drawn_within_each_other_or_one_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut plan = Plan::single_row("LP-0142", 8);
    plan.rows.push(Row::full_turn("high", 6));
    let mut harness = window(start(plan, folder.path(), SimSpeed::Max));
    harness.run();
    let outside = place(&harness, "Stop 3, row level, 90°, missing");
    let inside = place(&harness, "Stop 12, row high, 180°, missing");
    // An arc from ring to ring takes both rows.
    let start = place(&harness, "Stop 3, row level, 90°, missing");
    let end = place(&harness, "Stop 11, row high, 120°, missing");
    stroke(&mut harness, &[start, end]);
    assert_eq!(selected(&harness), [3, 11]);
    harness.get_by_label("All rows").click();
    draw(&mut harness);
    harness.get_by_label("Row high").click();
    draw(&mut harness);
    assert!(harness.query_by_label("Stop 3, row level, 90°, missing").is_none());
    let alone = place(&harness, "Stop 12, row high, 180°, missing");
    // Alone it has the outside ring.
    assert!(alone.y < inside.y && alone.x < outside.x);
}

#[test]
fn without_a_screen_reader_places_take_part_where_the_pointer_is() {
    let state = super::fixtures::state_of(Plan::single_row("LP-0142", 720));
    let (sink, wishes) = IntentSink::new();
    let pictures = Pictures::default();
    let ctx = egui::Context::default();
    theme::apply(&ctx, false);
    let pass = |events: Vec<egui::Event>| {
        let screen = egui::Rect::from_min_size(Pos2::ZERO, egui::vec2(1280.0, 800.0));
        let input = egui::RawInput { screen_rect: Some(screen), events, ..egui::RawInput::default() };
        ctx.run_ui(input, |ui| window_ui(ui, &state, &pictures, &sink)).drop_without_applying_deltas();
        let places = (1..=720).map(|stop| place_id(Surface::Ring, stop));
        places.filter_map(|id| Some(ctx.read_response(id)?.rect.center())).collect::<Vec<Pos2>>()
    };
    let picked = || {
        let picks = wishes.try_iter().filter_map(|wish| match wish {
            WindowIntent::Pick(Pick::Only(stop)) => Some(stop),
            _ => None,
        });
        picks.collect::<Vec<u32>>()
    };
    let button = |pos, pressed| egui::Event::PointerButton {
        pos,
        button: egui::PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    pass(Vec::new());
    // The one that Tab leads to.
    let foot = pass(Vec::new());
    assert_eq!(foot.len(), 1);
    pass(vec![egui::Event::PointerMoved(foot[0])]);
    let about = pass(vec![button(foot[0], true)]);
    assert!((20..200).contains(&about.len()), "{}", about.len());
    pass(vec![button(foot[0], false)]);
    // Places half a degree apart cover each other: a neighbour may be meant, nothing further away.
    let first = picked();
    assert!(first.len() == 1 && (first[0] <= 4 || first[0] >= 718), "{first:?}");
    // A pointer that presses where it was not before, as a finger does; a circle through the foot and another place
    // of the ring leads to the top.
    let away = about[about.len() / 4] - foot[0];
    let top = foot[0] - Vec2::Y * (away.length_sq() / -away.y);
    pass(vec![egui::Event::PointerMoved(top), button(top, true)]);
    pass(vec![button(top, false)]);
    let top = picked();
    assert!(top.len() == 1 && top[0].abs_diff(361) <= 3, "{top:?}");
}
