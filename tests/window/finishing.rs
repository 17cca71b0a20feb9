//! The finishing room: before and after, settings that are kept, the whole set made from the window.

use std::path::Path;

use egui::{Key, Role};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::listing::{ListingSize, read_finishing, write_finishing};
use roundstop::window::WindowApp;
use roundstop::window::finishing::{FinishingRoom, FinishingWish, Measuring, Side};
use roundstop::window::intent::WindowIntent;
use roundstop::window::state::{NoticeKind, State};
use roundstop::window::tryout::Trial;
use session_core::clock::SimSpeed;
use session_core::plan::Plan;

use super::fixtures::places_of_all;
use super::session::finished;
use super::{draw, start, until, window};

/// A set of six stops, shot large enough for an outline, and the room entered.
fn room() -> (tempfile::TempDir, Harness<'static, WindowApp>) {
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 6), folder.path(), SimSpeed::Max);
    begin.options.sim_frame_px = (360, 240);
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Start: shoot 6 stops").click();
    until(&mut harness, "the end of the set", finished);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    (folder, harness)
}

fn measured(room: &FinishingRoom) -> bool {
    room.open && room.measuring == Measuring::Done
}

fn of<'a>(harness: &'a Harness<'_, WindowApp>) -> &'a FinishingRoom {
    &harness.state().state().finishing
}

/// Waits until the settings on disk are as wanted.
fn stored(
    harness: &mut Harness<'_, WindowApp>,
    dir: &Path,
    what: &str,
    good: impl Fn(&roundstop::listing::FinishingFile) -> bool,
) {
    until(harness, what, |_| read_finishing(dir).is_ok_and(|file| good(&file)));
}

#[test]
fn settings_are_stored_with_the_set_and_found_again() {
    let (folder, mut harness) = room();
    let dir = folder.path().join("LP-0142");
    assert!(!dir.join("finishing.json").exists(), "looking alone writes no settings");
    harness.get_by_role_and_label(Role::CheckBox, "Even exposure over the set").click();
    draw(&mut harness);
    stored(&mut harness, &dir, "even exposure left out", |file| !file.settings.even);
    harness.get_by_label("No shadow").click();
    draw(&mut harness);
    harness.get_by_role_and_label(Role::CheckBox, "Crop all frames alike").click();
    draw(&mut harness);
    // What is left out keeps its place, so that nothing moves, but cannot be changed.
    let can_be_set = |harness: &Harness<'_, WindowApp>, name: &str| {
        !harness.get_by_role_and_label(Role::Slider, name).accesskit_node().is_disabled()
    };
    assert!(!can_be_set(&harness, "Margin, per cent"));
    stored(&mut harness, &dir, "crop left out", |file| {
        file.settings.crop.is_none() && file.settings.shadow == imaging::finish::Shadow::Remove
    });
    harness.get_by_role_and_label(Role::CheckBox, "Crop all frames alike").click();
    draw(&mut harness);
    harness.get_by_role_and_label(Role::Slider, "Margin, per cent").focus();
    draw(&mut harness);
    harness.key_press(Key::ArrowRight);
    draw(&mut harness);
    stored(&mut harness, &dir, "a margin of 9 %", |file| {
        file.settings.crop.is_some_and(|crop| (crop.margin_percent - 9.0).abs() < 1e-6)
    });
    // Changed from elsewhere meanwhile, the room shows it when it is entered again.
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    let mut file = read_finishing(&dir).unwrap();
    file.settings.sharpen_percent = 0.0;
    write_finishing(&dir, &file).unwrap();
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    assert_eq!(of(&harness).file.as_ref().unwrap(), &file);
    assert!(!can_be_set(&harness, "Sharpening, per cent") && can_be_set(&harness, "Margin, per cent"));
}

#[test]
fn the_last_change_is_stored_when_the_window_closes() {
    let (folder, mut harness) = room();
    harness.get_by_role_and_label(Role::CheckBox, "White background").click();
    draw(&mut harness);
    drop(harness);
    let file = read_finishing(&folder.path().join("LP-0142")).unwrap();
    assert_eq!(file.settings.background, imaging::finish::Background::AsShot);
}

#[test]
fn the_object_is_turned_and_the_divider_moved() {
    let (_folder, mut harness) = room();
    // The room opens at the stop that was looked at: the newest.
    assert_eq!(of(&harness).at, 5);
    harness.key_press(Key::Home);
    draw(&mut harness);
    assert_eq!(of(&harness).at, 0);
    harness.key_press(Key::ArrowRight);
    draw(&mut harness);
    harness.get_by_label("Stop 2, 60°");
    for _ in 0..2 {
        harness.key_press(Key::ArrowLeft);
        draw(&mut harness);
    }
    harness.get_by_label("Stop 6, 300°");
    harness.get_by_role_and_label(Role::Image, "Stop 6, as shot and finished");
    // Drawing across the picture turns the object as it does in the shooting room.
    let picture = harness.get_by_role_and_label(Role::Image, "Stop 6, as shot and finished").rect();
    let from = picture.left_center() + egui::vec2(60.0, 0.0);
    harness.drag_at(from);
    draw(&mut harness);
    harness.hover_at(from + egui::vec2(24.0, 0.0));
    draw(&mut harness);
    harness.drop_at(from + egui::vec2(24.0, 0.0));
    draw(&mut harness);
    assert_ne!(of(&harness).at, 5);
    let divider = "Divider between as shot and finished";
    for _ in 0..2_000 {
        if harness.query_by_label(divider).is_some() {
            break;
        }
        harness.step();
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    harness.get_by_role_and_label(Role::Slider, divider).focus();
    draw(&mut harness);
    let (before, at) = (of(&harness).divider, of(&harness).at);
    harness.key_press(Key::ArrowLeft);
    draw(&mut harness);
    assert!(of(&harness).divider < before && of(&harness).at == at, "arrows move the divider, not the turn");
    let line = harness.get_by_role_and_label(Role::Slider, divider).rect().center();
    harness.drag_at(line);
    draw(&mut harness);
    harness.hover_at(line + egui::vec2(100.0, 0.0));
    draw(&mut harness);
    harness.drop_at(line + egui::vec2(100.0, 0.0));
    draw(&mut harness);
    assert!(of(&harness).divider > before + 0.1, "{}", of(&harness).divider);
    harness.key_press(Key::B);
    draw(&mut harness);
    assert_eq!(of(&harness).side, Side::AsShot);
    harness.key_press(Key::B);
    draw(&mut harness);
    assert_eq!(of(&harness).side, Side::Finished);
    assert!(harness.query_by_label(divider).is_none());
    harness.get_by_label("Divided").click();
    draw(&mut harness);
    assert_eq!(of(&harness).side, Side::Both);
}

#[test]
fn a_set_is_finished_and_exported_from_the_window() {
    let (folder, mut harness) = room();
    let dir = folder.path().join("LP-0142");
    harness.get_by_label("Finish the set").click();
    draw(&mut harness);
    until(&mut harness, "the set finished", |state| state.finishing.outcome.is_some());
    let outcome = of(&harness).outcome.clone().unwrap();
    assert!(outcome.good && outcome.text.starts_with("6 pictures finished in"), "{outcome:?}");
    let pictures = std::fs::read_dir(dir.join("finished")).unwrap().count();
    assert_eq!(pictures, 7, "six pictures and their list");
    // A profile of one's own, small; demo data.
    let profile = folder.path().join("thumb.toml");
    std::fs::write(&profile, "name = 'Thumb'\nwidth_px = 120\nheight_px = 120\nframes = 3\n").unwrap();
    let wish = FinishingWish::Profile(profile.display().to_string());
    let sink = harness.state().sink().clone();
    sink.send(WindowIntent::Finishing(wish));
    draw(&mut harness);
    harness.get_by_label("Export a listing").click();
    draw(&mut harness);
    until(&mut harness, "the listing", |state| state.finishing.outcome.is_some());
    let outcome = of(&harness).outcome.clone().unwrap();
    assert!(outcome.good && outcome.text.starts_with("3 pictures as 'Thumb' in"), "{outcome:?}");
    assert!(dir.join("listing/thumb/manifest.json").is_file());
    // What the command line's own function finds unchanged was made the same way.
    let cancel = session_core::cancel::CancelToken::default();
    let meter = roundstop::listing::Meter { cancel: &cancel, tell: &|_| {}, most_at_once: None };
    let report = roundstop::listing::finish(&dir, &meter).unwrap();
    assert_eq!((report.made, report.kept), (0, 6));
}

#[test]
fn what_was_made_with_other_settings_is_told() {
    let (_folder, mut harness) = room();
    harness.get_by_label("Finish the set").click();
    draw(&mut harness);
    until(&mut harness, "the set finished", |state| state.finishing.outcome.is_some());
    draw(&mut harness);
    let changed = "The settings have been changed since: the files on disk were made with the earlier ones.";
    assert!(harness.query_by_label(changed).is_none());
    let sharpen = "Sharpen for the output";
    harness.get_by_role_and_label(Role::CheckBox, sharpen).click();
    draw(&mut harness);
    harness.get_by_label(changed);
    harness.get_by_role_and_label(Role::CheckBox, sharpen).click();
    draw(&mut harness);
    assert!(harness.query_by_label(changed).is_none());
}

#[test]
fn what_came_of_another_set_s_work_is_told_beside_the_room() {
    let (folder, mut harness) = room();
    // Another set is gone to while the work on the first is under way.
    harness.get_by_label("Finish the set").click();
    harness.step();
    harness.step();
    let other = folder.path().join("LP-0200");
    drop(
        session_core::journal::SessionFolder::open_or_create(&other, &Plan::single_row("LP-0200", 6))
            .unwrap(),
    );
    let state = harness.state().state();
    let had_job = state.finishing.job.is_some();
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    harness.state().sink().send(WindowIntent::OpenSet(other.clone()));
    until(&mut harness, "the other set", |state| state.planned.sku == "LP-0200");
    until(&mut harness, "the end of the work", |state| state.finishing.job.is_none());
    assert!(had_job);
    // The room still belongs to the first set: its outcome stands there, not beside it.
    let outcome = of(&harness).outcome.clone().unwrap();
    assert!(outcome.good && outcome.text.contains("LP-0142"), "{outcome:?}");
}

#[test]
fn what_goes_wrong_is_said_in_the_room() {
    let (folder, mut harness) = room();
    let dir = folder.path().join("LP-0142");
    // A folder with a person's own file in the listing's place.
    let mine = folder.path().join("mine");
    std::fs::create_dir(&mine).unwrap();
    std::fs::write(mine.join("letter.txt"), "a person's").unwrap();
    let wish = FinishingWish::ListingFolder(mine.display().to_string());
    let sink = harness.state().sink().clone();
    sink.send(WindowIntent::Finishing(wish));
    draw(&mut harness);
    harness.get_by_label("Export a listing").click();
    draw(&mut harness);
    until(&mut harness, "the refusal", |state| state.finishing.outcome.is_some());
    harness.get_by_label_contains("holds other files");
    assert_eq!(std::fs::read_to_string(mine.join("letter.txt")).unwrap(), "a person's");
    // A frame that is gone: said in the room.
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    let frame = std::fs::read_dir(dir.join("frames")).unwrap().map(|e| e.unwrap().path()).min().unwrap();
    std::fs::remove_file(frame).unwrap();
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    harness.get_by_label("Without a frame: stop 1");
    harness.get_by_role_and_label(Role::TextInput, "Listing folder").focus();
    draw(&mut harness);
    harness.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
    let elsewhere = folder.path().join("out").display().to_string();
    harness.get_by_role_and_label(Role::TextInput, "Listing folder").type_text(&elsewhere);
    draw(&mut harness);
    harness.get_by_label("Export a listing").click();
    draw(&mut harness);
    until(&mut harness, "the refusal", |state| state.finishing.outcome.is_some());
    harness.get_by_label_contains("stop 1 has no frame");
    assert!(!Path::new(&elsewhere).exists());
    // A set that cannot be read at all.
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    std::fs::write(dir.join("finishing.json"), "{").unwrap();
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the reason", |state| matches!(state.finishing.measuring, Measuring::Failed(_)));
    let Measuring::Failed(reason) = &of(&harness).measuring else { panic!() };
    assert!(reason.contains("cannot be understood; mend it"), "{reason}");
    assert_eq!(
        std::fs::read_to_string(dir.join("finishing.json")).unwrap(),
        "{",
        "nothing is written over it"
    );
}

#[test]
fn work_is_cancelled_and_goes_on() {
    let (folder, mut harness) = room();
    let finished = folder.path().join("LP-0142/finished");
    harness.get_by_label("Finish the set").click();
    // Pressed in the very next frame, before the work can be through.
    harness.step();
    harness.step();
    if of(&harness).job.is_some() {
        harness.key_press(Key::Escape);
    }
    until(&mut harness, "the end", |state| state.finishing.outcome.is_some());
    let outcome = of(&harness).outcome.clone().unwrap();
    if !outcome.good {
        assert!(outcome.text.contains("run it again"), "{outcome:?}");
        assert!(!finished.join("manifest.json").exists(), "a part has no list");
    }
    harness.get_by_label("Finish the set").click();
    draw(&mut harness);
    until(&mut harness, "the end", |state| state.finishing.outcome.as_ref().is_some_and(|o| o.good));
    assert!(finished.join("manifest.json").is_file());
}

#[test]
fn with_settings_that_the_disk_refuses_nothing_is_made() {
    let (folder, mut harness) = room();
    let dir = folder.path().join("LP-0142");
    // A folder in the file's place: it cannot be replaced by a file.
    std::fs::create_dir(dir.join("finishing.json")).unwrap();
    harness.get_by_role_and_label(Role::CheckBox, "White background").click();
    draw(&mut harness);
    harness.get_by_label("Finish the set").click();
    draw(&mut harness);
    until(&mut harness, "the end", |state| state.finishing.outcome.is_some());
    let outcome = of(&harness).outcome.clone().unwrap();
    assert!(!outcome.good && outcome.text.contains("finishing.json"), "{outcome:?}");
    assert!(!dir.join("finished").exists(), "no picture is made with older settings");
    // Once the disk takes them, the same press works.
    std::fs::remove_dir(dir.join("finishing.json")).unwrap();
    harness.get_by_label("Finish the set").click();
    draw(&mut harness);
    until(&mut harness, "the end", |state| state.finishing.outcome.as_ref().is_some_and(|o| o.good));
    assert_eq!(read_finishing(&dir).unwrap().settings.background, imaging::finish::Background::AsShot);
}

#[test]
fn everything_keeps_its_place_while_the_work_is_under_way() {
    use roundstop::listing::FinishingFile;
    use roundstop::window::finishing::{Job, Outcome, Pace, RoomStop};

    let mut state = super::look::complete();
    state.finishing.enter(Path::new("sets/LP-0142"), None);
    state.finishing.take_in(
        FinishingFile::default(),
        vec![RoomStop { stop: 1, row: 0, frame: 0 }],
        Vec::new(),
    );
    let (sink, _wishes) = roundstop::window::intent::IntentSink::new();
    let pictures = roundstop::window::pictures::Pictures::default();
    let mut harness = Harness::builder().with_size([1280.0, 800.0]).build_ui_state(
        |ui, state| roundstop::window::panels::finishing::room_ui(ui, state, &pictures, &sink),
        state,
    );
    harness.run_steps(4);
    let picture = |harness: &Harness<'_, State>| {
        harness.get_by_role_and_label(Role::Image, "Stop 1, as shot and finished").rect()
    };
    let picture_before = picture(&harness);
    let quiet = places_of_all(&harness);
    assert!(quiet.len() > 15, "{}", quiet.len());
    let job = |exports| Job {
        folder: "sets/LP-0142".into(),
        made_with: None,
        exports,
        to: "sets".into(),
        pace: Pace::new(),
    };
    let unmoved = |harness: &Harness<'_, State>, renamed: &[(&str, &str)]| {
        assert_eq!(picture(harness), picture_before);
        let now = places_of_all(harness);
        for (name, before) in &quiet {
            let says = renamed.iter().find(|(was, _)| name.ends_with(was));
            let name = says.map_or(name.clone(), |(was, is)| name.replace(was, is));
            assert_eq!(now.get(&name), Some(before), "{name}");
        }
    };
    for (exports, was, is) in
        [(true, "Export a listing", "Exporting a listing…"), (false, "Finish the set", "Finishing the set…")]
    {
        harness.state_mut().finishing.job = Some(job(exports));
        harness.run_steps(4);
        unmoved(&harness, &[(was, is)]);
        assert!(harness.get_by_label(is).accesskit_node().is_disabled(), "{is}");
        harness.get_by_role_and_label(Role::Button, "Cancel");
    }
    harness.state_mut().finishing.job = None;
    harness.state_mut().finishing.outcome = Some(Outcome {
        text: "24 pictures finished in sets.".to_owned(),
        good: true,
        made_with: Some(FinishingFile { creator: "Larkhollow".to_owned(), ..FinishingFile::default() }),
        to: "sets".into(),
    });
    harness.state_mut().say(NoticeKind::Trouble, "the folder cannot be shown".to_owned());
    harness.run_steps(4);
    unmoved(&harness, &[]);
    for says in ["The folder cannot be shown", "24 pictures finished in sets."] {
        harness.get_by_label(says);
    }
    harness.get_by_role_and_label(Role::Button, "Show the folder");
}

#[test]
fn what_is_said_of_a_missing_stop_goes_once_it_has_a_frame() {
    let (_folder, mut harness) = room();
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    harness.get_by_label("Stop 2, 60°, kept").click();
    draw(&mut harness);
    harness.get_by_label("Set aside").click();
    until(&mut harness, "stop 2 set aside", |state| state.kept() == 5);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    harness.get_by_label("Without a frame: stop 2");
    harness.get_by_label("Export a listing").click();
    draw(&mut harness);
    until(&mut harness, "the refusal", |state| state.finishing.outcome.is_some());
    harness.get_by_label_contains("stop 2 has no frame");
    // Looked at again as it is, the reason still stands.
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    harness.get_by_label_contains("stop 2 has no frame");
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    harness.get_by_label("Use it again").click();
    until(&mut harness, "stop 2 kept", |state| state.kept() == 6);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    assert!(harness.query_by_label_contains("has no frame").is_none());
    assert!(harness.query_by_label_contains("Without a frame").is_none());
}

#[test]
fn an_axis_that_is_not_known_has_no_figures() {
    let folder = tempfile::tempdir().unwrap();
    // Two frames tell nothing of the turn.
    let mut begin = start(Plan::single_row("LP-0142", 2), folder.path(), SimSpeed::Max);
    begin.options.sim_frame_px = (360, 240);
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Start: shoot 2 stops").click();
    until(&mut harness, "the end of the set", finished);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    for _ in 0..2_000 {
        if harness.query_by_label("The axis is not known").is_some() {
            break;
        }
        harness.step();
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    harness.get_by_label("The axis is not known");
    harness.get_by_label_contains("The turning axis is not known");
    assert!(harness.query_by_label_contains("px beside the middle").is_none());
}

fn told_size(state: &State) -> Option<ListingSize> {
    Some(state.finishing.listing.as_ref()?.as_ref().ok()?.size)
}

#[test]
fn a_profile_that_cannot_be_used_is_refused_when_it_is_chosen() {
    let (folder, mut harness) = room();
    let profile = folder.path().join("odd.toml");
    let choose = |harness: &Harness<'_, WindowApp>, rest: &str| {
        std::fs::write(&profile, format!("name = 'odd'\nwidth_px = 800\n{rest}\n")).unwrap();
        let wish = FinishingWish::Profile(profile.display().to_string());
        harness.state().sink().send(WindowIntent::Finishing(wish));
    };
    let refused = |state: &State| state.finishing.listing.clone()?.err();
    choose(&harness, "height_px = 2");
    until(&mut harness, "the refusal", |state| refused(state).is_some_and(|why| why.contains("height_px")));
    draw(&mut harness);
    harness.get_by_label_contains("odd.toml cannot be used");
    let export = |harness: &Harness<'_, WindowApp>| {
        !harness.get_by_role_and_label(Role::Button, "Export a listing").accesskit_node().is_disabled()
    };
    assert!(!export(&harness));
    // What only this set cannot give is told, too: its six stops are not thinned evenly to four.
    choose(&harness, "height_px = 800\nframes = 4");
    until(&mut harness, "the other refusal", |state| {
        refused(state).is_some_and(|why| why.contains("thinned"))
    });
    // Mended and chosen again, it can be used.
    choose(&harness, "height_px = 800");
    until(&mut harness, "the mended profile", |state| {
        told_size(state).is_some_and(|size| size.asked_px == 800)
    });
    draw(&mut harness);
    assert!(export(&harness));
}

#[test]
fn a_crop_smaller_than_the_profile_asks_is_told_before_the_export() {
    let (folder, mut harness) = room();
    // Frames of 360 by 240 pixels hold less than any profile of the program asks.
    until(&mut harness, "the size", |state| told_size(state).is_some());
    let size = told_size(harness.state().state()).unwrap();
    assert_eq!(size.asked_px, 2000);
    assert!(size.crop_px < 360, "{size:?}");
    let told = format!("The profile asks for pictures 2000 px wide; the crop has {} px", size.crop_px);
    harness.get_by_label_contains(&told);
    harness.get_by_label_contains(&format!("enlarged {:.1} times", 2000.0 / f64::from(size.crop_px)));
    let export = harness.get_by_role_and_label(Role::Button, "Export a listing").rect();
    // A profile that asks for less than there is.
    let profile = folder.path().join("small.toml");
    std::fs::write(&profile, "name = \"small\"\nwidth_px = 64\nheight_px = 64\n").unwrap();
    harness
        .state()
        .sink()
        .send(WindowIntent::Finishing(FinishingWish::Profile(profile.display().to_string())));
    until(&mut harness, "the other size", |state| told_size(state).is_some_and(|size| size.asked_px == 64));
    let crop = told_size(harness.state().state()).unwrap().crop_px;
    assert!(crop >= 64, "{crop}");
    harness.get_by_label(&format!("The crop has {crop} px in width for the 64 px asked for."));
    // What is in a file is told like what is in one of the program's own.
    harness.get_by_label_contains("64 × 64 px, JPG");
    assert_eq!(harness.get_by_role_and_label(Role::Button, "Export a listing").rect(), export);
}

#[test]
fn a_click_in_a_slider_s_track_that_is_over_before_it_is_drawn_moves_it() {
    let (_folder, mut harness) = room();
    // Pressed and let go within one drawing.
    let click = |harness: &mut Harness<'_, WindowApp>, at: egui::Pos2| {
        harness.hover_at(at);
        harness.step();
        for pressed in [true, false] {
            harness.input_mut().events.push(egui::Event::PointerButton {
                pos: at,
                button: egui::PointerButton::Primary,
                pressed,
                modifiers: egui::Modifiers::NONE,
            });
        }
        harness.step();
        draw(harness);
    };
    let track = harness.get_by_role_and_label(Role::Slider, "Turn the object").rect();
    click(&mut harness, egui::pos2(track.right() - 2.0, track.center().y));
    assert_eq!(of(&harness).at, 5);
    click(&mut harness, egui::pos2(track.left() + track.width() * 0.4, track.center().y));
    assert_eq!(of(&harness).at, 2);
    let margin = harness.get_by_role_and_label(Role::Slider, "Margin, per cent").rect();
    click(&mut harness, egui::pos2(margin.center().x, margin.center().y));
    let crop = of(&harness).file.as_ref().unwrap().settings.crop.unwrap();
    // The middle of 0 to 45 per cent, in whole ones.
    assert!((22.0..=23.0).contains(&crop.margin_percent), "{}", crop.margin_percent);
    assert!(crop.margin_percent.fract().abs() < 1e-6, "{}", crop.margin_percent);
}

#[test]
fn the_empty_table_is_shot_from_the_room_and_used() {
    let (folder, mut harness) = room();
    let dir = folder.path().join("LP-0142");
    let frames = || std::fs::read_dir(dir.join("frames")).unwrap().count();
    let before = frames();
    for (number, name) in
        ["plate/LP-0142_empty-table.jpg", "plate/LP-0142_empty-table_v2.jpg"].into_iter().enumerate()
    {
        harness.get_by_label("Shoot it now…").click();
        draw(&mut harness);
        // It asks first: what stands there would be taken for the table.
        harness.get_by_label_contains("Take the product off");
        assert_eq!(of(&harness).file.as_ref().unwrap().plate_of("level").is_some(), number > 0);
        harness.get_by_label("It is empty: shoot").click();
        until(&mut harness, name, |state| {
            !state.trying
                && state
                    .finishing
                    .file
                    .as_ref()
                    .is_some_and(|file| file.plate_of("level").as_deref() == Some(name))
        });
        stored(&mut harness, &dir, "the plate in the set's settings", |file| {
            file.plate_of("level").as_deref() == Some(name)
        });
        assert!(dir.join(name).exists());
    }
    assert_eq!(std::fs::read_dir(dir.join("plate")).unwrap().count(), 2);
    assert_eq!(frames(), before, "it is no frame of the set");
    until(&mut harness, "the set measured with it", |state| measured(&state.finishing));
    // The session's devices were taken over as they were: the table still knows where it stands.
    assert!(harness.state().state().tryout.as_ref().is_some_and(|tryout| tryout.knows_zero));
    harness.get_by_label("Back to shooting").click();
    draw(&mut harness);
    harness.get_by_label("Stop 2, 60°, kept").click();
    draw(&mut harness);
    harness.get_by_label("Retake stop 2").click();
    until(&mut harness, "version 2 of stop 2", |state| {
        super::session::version_of(state, 2) == 2 && finished(state)
    });
    // With nothing connected it cannot be shot, and says why.
    harness.state().sink().send(WindowIntent::Disconnect);
    until(&mut harness, "the devices let go", |state| state.link == roundstop::window::state::Link::Closed);
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    assert!(harness.get_by_label("Shoot it now…").accesskit_node().is_disabled());
}

#[cfg(unix)]
#[test]
fn a_plate_that_fails_is_told_and_can_be_tried_again() {
    let (folder, harness) = room();
    drop(harness);
    let mut begin = start(Plan::single_row("LP-0142", 6), folder.path(), SimSpeed::Max);
    // Demo data.
    begin.camera = "command:sh -c 'echo the battery is flat >&2; exit 3' {file}".parse().unwrap();
    let mut harness = window(begin);
    until(&mut harness, "the set found", |state| state.in_force.is_some());
    harness.state().sink().send(WindowIntent::Try(Trial::Connect));
    until(&mut harness, "the devices open", |state| state.tryout.is_some());
    harness.get_by_label("Finish and export…").click();
    until(&mut harness, "the set measured", |state| measured(&state.finishing));
    let said = |state: &State| state.notices.iter().any(|notice| notice.text.contains("the battery is flat"));
    for _ in 0..2 {
        harness.get_by_label("Shoot it now…").click();
        draw(&mut harness);
        harness.get_by_label("It is empty: shoot").click();
        until(&mut harness, "what went wrong", |state| {
            !state.trying && said(state) && state.tryout.is_some()
        });
        assert_eq!(of(&harness).file.as_ref().unwrap().plate_of("level"), None);
        harness.state().sink().send(WindowIntent::DismissAll);
        until(&mut harness, "it is put away", |state| !said(state));
    }
}
