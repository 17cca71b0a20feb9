//! The shoot list: opened, gone through, marked.

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use roundstop::window::intent::WindowIntent;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use super::{draw, start, until, window};

/// Demo data.
const LIST: &str = "sku,name,plan,notes,done\nLH-1,Hedgerow mug,4,handle right,\nLH-2,Tide bowl,3,,\n";

#[test]
fn products_are_shot_one_after_another_with_two_keys() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("spring.csv");
    std::fs::write(&path, LIST).unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Max);
    begin.own_plan = false;
    let mut harness = window(begin);
    harness.run();
    harness.state().sink().send(WindowIntent::Dropped(path.clone()));
    until(&mut harness, "the list to look at", |state| state.offer.is_some());
    draw(&mut harness);
    // It is looked at first, and used when the person says so.
    harness.get_by_label("Products in spring.csv");
    harness.get_by_label("2 products, 0 of them done; 7 stops to shoot");
    harness.get_by_label("Product LH-2, Tide bowl, not begun, 3 stops");
    assert!(harness.state().state().list.is_none());
    // Enter means the button that leads on.
    harness.get_by_label("Use this list");
    harness.key_press(Key::Enter);
    until(&mut harness, "the list", |state| state.list.is_some());
    draw(&mut harness);
    for (sku, stops, says) in
        [("LH-1", 4, "LH-1 (Hedgerow mug) is open"), ("LH-2", 3, "LH-2 (Tide bowl) is open")]
    {
        // The first is opened with the list; what comes next stands in the window, with its key.
        if sku != "LH-1" {
            harness.get_by_role_and_label(egui::Role::Button, "Next product: LH-2 (N)");
            harness.key_press(Key::N);
        }
        until(&mut harness, "the product's plan", |state| {
            state.planned.sku == sku
                && state.places.len() == stops
                && state.link == roundstop::window::state::Link::Closed
        });
        draw(&mut harness);
        harness.get_by_label_contains(says);
        let note = harness.query_by_label("Note: handle right");
        assert_eq!(note.is_some(), sku == "LH-1");
        harness.key_press_modifiers(Modifiers::COMMAND, Key::Enter);
        until(&mut harness, "the set and its mark in the list", |state| {
            let done = |row: &roundstop::window::products::ProductRow| row.sku == sku && row.done;
            state.mode == Mode::Finished && state.list.as_ref().is_some_and(|list| list.rows.iter().any(done))
        });
        draw(&mut harness);
        harness.get_by_label_contains(&format!("{sku}, product "));
        assert!(folder.path().join("sets").join(sku).join("session.json").exists());
    }
    assert!(std::fs::read_to_string(&path).unwrap().contains("LH-2,Tide bowl,3,,yes"));
    harness.get_by_label_contains("List: ").click();
    draw(&mut harness);
    assert_eq!(harness.query_all_by_label("No other product is left").count(), 2);
    harness.get_by_label("Product LH-1, Hedgerow mug, done");
    harness.get_by_label("Close the list").click();
    draw(&mut harness);
    assert!(harness.state().state().list.is_none());
    assert!(harness.query_by_label_contains(", product ").is_none());
}

#[test]
fn a_wrong_list_is_refused_line_by_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("spring.csv");
    std::fs::write(&path, "sku,plan\nLH-1,0\nLH-1,no-such.json\n").unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Max));
    harness.run();
    harness.state().sink().send(WindowIntent::Dropped(path.clone()));
    until(&mut harness, "the lines", |state| state.offer.is_some());
    draw(&mut harness);
    harness.get_by_label_contains("2 lines are wrong, so none of it is used.");
    harness.get_by_label_contains("Line 2: a plan of 0 stops");
    harness.get_by_label_contains("Line 3: there is no plan file");
    assert!(harness.query_by_label("Use this list").is_none());
    // Mended, it can be used at once; put away, the list in use stays.
    std::fs::write(&path, "sku,plan\nLH-1,8\n").unwrap();
    harness.get_by_label("Read it again").click();
    until(&mut harness, "the mended list", |state| {
        state.offer.as_ref().is_some_and(|offer| offer.found.is_ok())
    });
    draw(&mut harness);
    harness.key_press(Key::Escape);
    draw(&mut harness);
    let state = harness.state().state();
    assert!(state.offer.is_none() && state.list.is_none());
}

#[test]
fn a_file_that_is_no_list_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("spring.csv");
    std::fs::write(&path, [0xff, 0xfe, 0x41]).unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Max));
    harness.run();
    harness.state().sink().send(WindowIntent::Dropped(path));
    until(&mut harness, "the reason", |state| state.offer.is_some());
    draw(&mut harness);
    harness.get_by_label_contains("it is not UTF-8 text");
    harness.get_by_label("Another file…");
}
