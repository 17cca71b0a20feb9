//! Looking closely: scale, magnifier, tones, comparing, turning by drawing across the picture.

use egui::Key;
use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::window::stage::{Against, Scale};

use super::session::{finished, shot_set, version_of};
use super::{draw, until};

#[test]
fn the_picture_is_looked_at_closely_and_whole_again() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("1:1").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Pixels(1));
    harness.get_by_label("Focus peaking").click();
    draw(&mut harness);
    assert!(harness.state().state().stage.edges);
    harness.key_press(Key::F);
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Fit);
    harness.key_press(Key::Z);
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.scale, Scale::Pixels(1));
    harness.key_press(Key::M);
    harness.get_by_label("Histogram").click();
    harness.get_by_label("Guides").click();
    draw(&mut harness);
    let stage = &harness.state().state().stage;
    assert!(stage.magnifier && stage.tones && stage.guides);
    // With the whole picture in sight it shows close up only: the magnifier comes with it.
    harness.key_press(Key::F);
    harness.key_press(Key::M);
    draw(&mut harness);
    let stage = &harness.state().state().stage;
    assert!(stage.scale == Scale::Fit && !stage.magnifier);
    harness.get_by_label("Focus peaking").click();
    draw(&mut harness);
    let stage = &harness.state().state().stage;
    assert!(stage.edges && stage.magnifier);
}

#[test]
fn a_picture_is_compared_with_others() {
    let (_folder, mut harness) = shot_set(4);
    let other = |harness: &egui_kittest::Harness<'_, roundstop::window::WindowApp>| {
        let path = harness.state().state().other_picture().map(|version| version.path.clone());
        path.map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
    };
    for (choice, against, name) in [
        ("The stop before", Against::PreviousStop, Some("LP-0142_level_03_180.jpg")),
        ("The first stop", Against::FirstStop, Some("LP-0142_level_01_000.jpg")),
        ("Its earlier version", Against::EarlierVersion, None),
    ] {
        harness.get_by_label_contains("Compare with").click();
        draw(&mut harness);
        harness.get_by_label(choice).click();
        draw(&mut harness);
        assert_eq!(harness.state().state().stage.against, against);
        assert_eq!(other(&harness).as_deref(), name, "{choice}");
    }
    harness.get_by_label("This stop has no earlier version.");
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 4", |state| version_of(state, 4) == 2 && finished(state));
    draw(&mut harness);
    assert_eq!(other(&harness).as_deref(), Some("LP-0142_level_04_270.jpg"));
    harness.get_by_label("Difference").click();
    draw(&mut harness);
    assert!(harness.state().state().stage.difference);
    // Close up it goes on, and what it is compared with stands beside it and among the choices.
    harness.get_by_label("1:1").click();
    draw(&mut harness);
    harness.get_by_label("this one");
    harness.get_by_label("Difference");
    harness.get_by_label("Compare with its earlier version").click();
    draw(&mut harness);
    let chosen = harness.get_by_role_and_label(egui::Role::RadioButton, "Its earlier version");
    assert_eq!(chosen.accesskit_node().toggled(), Some(egui::accesskit::Toggled::True));
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

#[test]
fn drawing_along_the_turn_bar_turns_the_object_to_and_fro() {
    let (_folder, mut harness) = shot_set(6);
    let bar = harness.get_by_label_contains("Turn the object").rect();
    let at =
        |stop: f32| egui::pos2(bar.left() + 20.0 + (bar.width() - 40.0) * (stop - 1.0) / 5.0, bar.center().y);
    harness.drag_at(at(6.0));
    harness.step();
    let mut seen = Vec::new();
    for stop in [5.0, 4.0, 2.0, 1.0, 3.0] {
        harness.hover_at(at(stop));
        harness.step();
        harness.step();
        seen.push(harness.state().state().shown().unwrap().index);
    }
    assert_eq!(seen, [5, 4, 2, 1, 3]);
    // Past the end it goes on round: the last stop's neighbour is the first.
    for (stop, shown) in [(6.0, 6), (7.0, 1), (8.0, 2), (1.0, 1), (0.0, 6)] {
        harness.hover_at(at(stop));
        harness.step();
        harness.step();
        assert_eq!(harness.state().state().shown().unwrap().index, shown, "{stop}");
    }
    harness.hover_at(at(3.0));
    harness.step();
    harness.drop_at(at(3.0));
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::Slider, "Turn the object, 3 of 6 in this row");
    harness.get_by_label("Picture of stop 3, 120°, large");
}

#[test]
fn the_frame_s_facts_stand_beside_it_with_its_versions() {
    let (folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 2, 90°, kept").click();
    let known = |state: &roundstop::window::state::State, versions: usize| {
        state.facts.as_ref().is_some_and(|facts| facts.key.stop == 2 && facts.versions.len() == versions)
    };
    until(&mut harness, "the facts of stop 2", |state| known(state, 1));
    draw(&mut harness);
    harness.get_by_label("Frame of stop 2");
    assert!(harness.query_all_by_label("LP-0142_level_02_090.jpg").count() >= 1);
    // A quarter of 1 650 688 / 405 half-steps is 1018.94: the nearest step stands 0.005° further.
    let state = harness.state().state();
    let facts = &state.facts.as_ref().unwrap().versions[0];
    let (reported, off) = (facts.reported_deg.unwrap(), facts.off_deg.unwrap());
    assert!((reported - 90.0).abs() < 0.05 && (reported - 90.0 - off).abs() < 1e-9, "{facts:?}");
    let file = folder.path().join("LP-0142/frames/LP-0142_level_02_090.jpg");
    assert_eq!(facts.file_bytes, [std::fs::metadata(&file).unwrap().len()]);
    let exposure = session_core::journal::exposure_facts(&std::fs::read(&file).unwrap()).unwrap();
    assert_eq!(facts.exposure_secs, exposure.exposure_secs);
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 2", |state| {
        version_of(state, 2) == 2 && finished(state) && known(state, 2)
    });
    draw(&mut harness);
    harness.get_by_label("Version 2, in use");
    harness.get_by_label("Compare with version 1").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().other_picture().map(|version| version.version), Some(1));
    harness.get_by_label("Use version 1 of stop 2").click();
    until(&mut harness, "version 1 of stop 2", |state| version_of(state, 2) == 1);
    draw(&mut harness);
    harness.get_by_label("Version 1, in use");
    harness.key_press(Key::I);
    draw(&mut harness);
    assert!(harness.query_by_label("Frame of stop 2").is_none());
}

#[test]
fn a_picture_is_not_compared_with_itself_and_says_why() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 1, 0°, kept").click();
    draw(&mut harness);
    for (choice, reason) in [
        ("The first stop", "This is the row's first stop itself."),
        ("Its earlier version", "This stop has no earlier version."),
    ] {
        harness.get_by_label_contains("Compare with").click();
        draw(&mut harness);
        harness.get_by_label(choice).click();
        draw(&mut harness);
        harness.get_by_label(reason);
        assert!(harness.query_by_label("Difference").is_none());
    }
    // Compared with its first version, which is then used again.
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 1", |state| version_of(state, 1) == 2 && finished(state));
    until(&mut harness, "the facts", |state| {
        state.facts.as_ref().is_some_and(|facts| facts.versions.len() == 2)
    });
    draw(&mut harness);
    harness.get_by_label("Compare with version 1").click();
    draw(&mut harness);
    let bar = harness.get_by_label("Magnifier").rect();
    harness.get_by_label("Difference");
    harness.get_by_label("Use version 1 of stop 1").click();
    until(&mut harness, "version 1 of stop 1", |state| version_of(state, 1) == 1);
    draw(&mut harness);
    // What it was compared with is the picture itself now: that comparison is over.
    assert!(harness.query_by_label("Version 1 is the picture itself.").is_none());
    assert!(harness.query_by_label("Difference").is_none());
    assert_eq!(harness.state().state().stage.against, Against::Nothing);
    // Nothing in the bar has moved by any of it.
    assert_eq!(harness.get_by_label("Magnifier").rect(), bar);
}

#[test]
fn the_angle_that_the_pictures_show_stands_beside_the_planned_one() {
    use session_core::check::SeenAngle;

    let told = SeenAngle::Told { degrees: 300.021, uncertainty_deg: 0.041 };
    let cannot =
        SeenAngle::CannotTell { cannot_tell: "the object shows too little detail from this side".to_owned() };
    let over = SeenAngle::Told { degrees: 359.93, uncertainty_deg: 0.05 };
    for (stop, seen, says) in [
        (21, Some(told), "300.02° ± 0.04°, +0.02° off"),
        (21, Some(cannot), "cannot tell: the object shows too little detail from this side"),
        (1, Some(over), "359.93° ± 0.05°, -0.07° off"),
        (21, None, "not yet: when the row is complete"),
    ] {
        let mut state = super::look::complete();
        let set = state.in_force.as_mut().unwrap();
        set.stops[stop - 1].versions.last_mut().unwrap().seen_angle = seen;
        state.cursor = Some(stop as u32);
        state.lay_out();
        let (sink, _wishes) = roundstop::window::intent::IntentSink::new();
        let pictures = roundstop::window::pictures::Pictures::default();
        let mut harness = egui_kittest::Harness::builder()
            .with_size([264.0, 500.0])
            .build_ui(|ui| roundstop::window::panels::facts::facts_ui(ui, &state, &pictures, &sink));
        harness.run();
        harness.get_by_label("measured");
        harness.get_by_label(says);
    }
}

#[test]
fn a_version_is_shown_large_until_another_picture_is() {
    let (_folder, mut harness) = shot_set(4);
    harness.get_by_label("Stop 2, 90°, kept").click();
    draw(&mut harness);
    harness.key_press(Key::R);
    until(&mut harness, "version 2 of stop 2 and its facts", |state| {
        version_of(state, 2) == 2
            && finished(state)
            && state.facts.as_ref().is_some_and(|facts| facts.key.stop == 2 && facts.versions.len() == 2)
    });
    draw(&mut harness);
    let large = |harness: &egui_kittest::Harness<'_, roundstop::window::WindowApp>| {
        harness.state().state().large_picture().map(|version| version.version)
    };
    assert_eq!(large(&harness), Some(2));
    harness.get_by_label("Picture of version 1").click();
    draw(&mut harness);
    assert_eq!((large(&harness), version_of(harness.state().state(), 2)), (Some(1), 2));
    // The facts are those of the picture that is seen.
    assert!(harness.query_all_by_label("LP-0142_level_02_090.jpg").count() >= 1);
    harness.get_by_label("Picture of version 2").click();
    draw(&mut harness);
    assert_eq!(large(&harness), Some(2));
    // Compared with a version, and another stop looked at: it has no such version to be told of.
    harness.get_by_label("Picture of version 1").click();
    draw(&mut harness);
    harness.get_by_label("Compare with version 1").click();
    draw(&mut harness);
    assert_eq!(large(&harness), Some(2), "a version is laid over the picture in use");
    harness.get_by_label("Stop 3, 180°, kept").click();
    draw(&mut harness);
    assert_eq!(harness.state().state().stage.against, Against::Nothing);
    // Shown large, then used: there is nothing left that is not in use.
    harness.get_by_label("Stop 2, 90°, kept").click();
    until(&mut harness, "the facts", |state| state.facts.as_ref().is_some_and(|facts| facts.key.stop == 2));
    draw(&mut harness);
    harness.get_by_label("Picture of version 1").click();
    draw(&mut harness);
    harness.get_by_label("Use version 1 of stop 2").click();
    until(&mut harness, "version 1 of stop 2", |state| version_of(state, 2) == 1);
    draw(&mut harness);
    assert_eq!((large(&harness), harness.state().state().stage.version), (Some(1), None));
}
