//! The strip: drawing across it looks through the frames, or selects them.

use egui::Modifiers;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use roundstop::window::WindowApp;

use super::draw;
use super::session::shot_set;

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
