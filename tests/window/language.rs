//! A language that was chosen is spoken from the next start on. A program of its own, for it is chosen once.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "a test that cannot be set up has failed")]

#[allow(dead_code, reason = "shared with the other tests")]
mod fixtures;

use egui_kittest::kittest::Queryable;
use fixtures::{draw, start, window};
use roundstop::window::languages;
use session_core::clock::SimSpeed;
use session_core::plan::Plan;

#[test]
fn a_language_is_chosen_in_the_settings_and_spoken_at_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("settings.json");
    let locales = languages::folder(&place);
    std::fs::create_dir(&locales).unwrap();
    // A made-up language with two words of its own; what it lacks is said in English.
    std::fs::write(locales.join("en-XB.ftl"), "top-bar-settings = Tingssets\ncaption-retake = Oncemore\n")
        .unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.remember = Some(place.clone());
    let mut harness = window(begin.clone());
    harness.run();
    harness.get_by_label("Settings").click();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::RadioButton, "en-XB").click();
    draw(&mut harness);
    harness.get_by_label("Spoken from the next start on.");
    drop(harness);
    let settings = roundstop::settings::read(&place);
    assert_eq!(settings.language.as_deref(), Some("en-XB"));
    languages::speak(&locales, "en-XB").unwrap();
    begin.settings = settings;
    // Each thread reads the messages once; a new start is a new thread here.
    std::thread::spawn(move || {
        let mut harness = window(begin);
        harness.run();
        harness.get_by_label("Tingssets");
        harness.get_by_label("Oncemore");
        harness.get_by_label("Set aside");
    })
    .join()
    .unwrap();
}
