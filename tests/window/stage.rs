//! Looking closely: scale, magnifier, tones, comparing, turning by drawing across the picture.

use egui::Key;
use egui_kittest::kittest::Queryable;
use roundstop::window::stage::{Against, Scale};

use super::session::{finished, shot_set, version_of};
use super::{draw, until};

#[test]
fn the_picture_is_looked_at_closely_and_whole_again() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("1:1").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Pixels(1));
    harness.get_by_label("Sharp edges").click();
    draw(&mut harness);
    assert!(harness.state().state().stage.edges);
    harness.key_press(Key::F);
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Fit);
    harness.key_press(Key::Z);
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Pixels(1));
    harness.key_press(Key::M);
    harness.get_by_label("Tones").click();
    harness.get_by_label("Guides").click();
    draw(&mut harness);
    let stage = &harness.state().state().stage;
    assert!(stage.magnifier && stage.tones && stage.guides);
}

#[test]
fn a_picture_is_compared_with_others() {
    let (_folder, mut harness) = shot_set(4);
    let other = |harness: &egui_kittest::Harness<'_, roundstop::window::WindowApp>| {
        let path = harness.state().state().other_picture().map(|version| version.path.clone());
        path.map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
    };
    for (choice, against, name) in [
        ("The stop before", Against::PreviousStop, Some("LP-0142_eye_03_180.jpg")),
        ("The first stop", Against::FirstStop, Some("LP-0142_eye_01_000.jpg")),
        ("Its earlier version", Against::EarlierVersion, None),
    ] {
        harness.get_by_label_contains("Compare with").click();
        draw(&mut harness);
        harness.get_by_label(choice).click();
        draw(&mut harness);
        assert_eq!(harness.state().state().stage.against, against);
        assert_eq!(other(&harness).as_deref(), name, "{choice}");
    }
    harness.get_by_label("There is none for this stop.");
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 4", |state| version_of(state, 4) == 2 && finished(state));
    draw(&mut harness);
    assert_eq!(other(&harness).as_deref(), Some("LP-0142_eye_04_270.jpg"));
    harness.get_by_label("Difference").click();
    draw(&mut harness);
    assert!(harness.state().state().stage.difference);
}

#[test]
fn drawing_across_the_picture_turns_the_object() {
    let (_folder, mut harness) = shot_set(6);
    let picture = harness.get_by_label("Picture of stop 6, 300°, large").rect().center();
    harness.drag_at(picture);
    harness.step();
    harness.hover_at(picture + egui::vec2(50.0, 0.0));
    harness.step();
    harness.drop_at(picture + egui::vec2(50.0, 0.0));
    draw(&mut harness);
    // Fifty points are two stops on, past the end of the turn.
    harness.get_by_label("Picture of stop 2, 60°, large");
}
