//! Going from set to set: those worked on before, a new one, files dropped on the window.

use egui_kittest::kittest::Queryable;
use roundstop::window::draft::PlanEdit;
use roundstop::window::intent::WindowIntent;
use session_core::clock::SimSpeed;
use session_core::plan::Plan;

use super::session::finished;
use super::{draw, start, until, window};

#[test]
fn sets_worked_on_before_are_opened_with_one_click() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("settings.json");
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.remember = Some(place.clone());
    let mut harness = window(begin.clone());
    harness.run();
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the end of the set", finished);
    drop(harness);
    // Remembered, and gone back to at the next start.
    let settings = roundstop::settings::read(&place);
    assert_eq!(settings.last_set(), Some(folder.path().join("LP-0142").as_path()));
    // Begun on another set, the first is one click away: where the first picture will appear, and under Folder.
    begin.settings = settings;
    begin.folder = folder.path().join("LP-0200");
    begin.plan = Plan::single_row("LP-0200", 6);
    let mut harness = window(begin);
    until(&mut harness, "the recent sets", |state| !state.recents.is_empty());
    draw(&mut harness);
    harness.get_by_label_contains("Folder: ").click();
    draw(&mut harness);
    assert_eq!(harness.query_all_by_label("Open LP-0142, 4 stops, complete").count(), 2);
    // The card closes once one is chosen: they are in another order by then.
    harness.get_all_by_label("Open LP-0142, 4 stops, complete").last().unwrap().click();
    until(&mut harness, "the first set", |state| state.planned.sku == "LP-0142" && state.kept() == 4);
    draw(&mut harness);
    assert!(!egui::Popup::is_any_open(&harness.ctx));
    // The set at hand is not offered.
    assert!(harness.query_by_label("Open LP-0142, 4 stops, complete").is_none());
    drop(harness);
    // A set that is gone is passed over.
    std::fs::remove_dir_all(folder.path().join("LP-0142")).unwrap();
    assert_eq!(roundstop::settings::read(&place).last_set(), None);
}

#[test]
fn after_a_set_comes_a_new_one() {
    let (_folder, mut harness) = super::session::shot_set(4);
    harness.get_by_label("Stop 3, 180°, kept").click();
    draw(&mut harness);
    harness.get_by_label("New set").click();
    until(&mut harness, "the empty fields", |state| {
        state.draft.sku.is_empty() && state.link == roundstop::window::state::Link::Closed
    });
    draw(&mut harness);
    harness.get_by_label_contains("A new set: type its SKU");
    assert_eq!(harness.state().state().kept(), 0);
    // Nothing of the last product is pointed at, and no file is named by it; that the SKU is missing is said once.
    let state = harness.state().state();
    assert!(state.selected.is_empty() && state.shown().is_none());
    assert!(state.places.iter().all(|place| place.file_name().is_empty()));
    harness.get_by_label("First file: named once the plan can be shot");
    harness.get_by_label_contains("see to the field SKU, which is marked.");
    assert_eq!(harness.query_all_by_label_contains("The SKU is").count(), 0);
    assert!(harness.get_by_role_and_label(egui::Role::TextInput, "SKU").is_focused());
    // Rows and times are as they were, in the fields and on the ring, and stay when the SKU is typed.
    assert_eq!(harness.state().state().draft.rows[0].stops, "4");
    harness.get_by_label("Stop 4, 270°, missing");
    // What was typed for the last product is not brought back into this one.
    assert!(!harness.state().state().history.can_undo());
    harness.state().sink().send(WindowIntent::Edit(PlanEdit::Sku("LP-0150".to_owned())));
    until(&mut harness, "the new product", |state| state.planned.sku == "LP-0150");
    draw(&mut harness);
    harness.get_by_label("Start: shoot 4 stops");
    harness.get_by_label("First file: LP-0150_level_01_000.jpg");
}

#[test]
fn a_dropped_plan_is_read_into_the_fields() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan { title: "Tide bowl".to_owned(), ..Plan::single_row("LH-0117", 12) };
    let path = folder.path().join("bowl-plan.json");
    std::fs::write(&path, plan.to_json()).unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.state().sink().send(WindowIntent::Dropped(path));
    until(&mut harness, "the plan", |state| state.planned == plan);
    draw(&mut harness);
    harness.get_by_label("Stop 12, 330°, missing");
    // What is no plan is named, and changes nothing.
    let nonsense = folder.path().join("note.json");
    std::fs::write(&nonsense, "{}").unwrap();
    harness.state().sink().send(WindowIntent::Dropped(nonsense));
    until(&mut harness, "the reason", |state| !state.notices.is_empty());
    draw(&mut harness);
    assert!(harness.query_all_by_label_contains("note.json").count() >= 1);
    assert_eq!(harness.state().state().planned, plan);
}
