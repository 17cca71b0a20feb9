//! Whole sets with a tethered camera that does what it should.

use std::fs;

use serde_json::Value;

use crate::net_camera::{NetCamera, Rig, wait_until};
use crate::support;

fn records(dir: &std::path::Path, file: &str) -> Vec<Value> {
    let text = fs::read_to_string(dir.join(file)).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn twenty_four_stops_come_in_byte_for_byte_each_at_its_angle() {
    let rig = Rig::new(24, "max", &[]);
    rig.run_through(&[]);
    let shots = rig.assert_frames(1);
    assert_eq!(shots, (1..=24).collect::<Vec<u64>>());
    assert_eq!(rig.camera.count("deleted"), 0, "frames stay on the card unless told otherwise");
    assert_eq!(rig.camera.count("connected"), 1);
    assert_eq!(rig.quarantined(), 0);
    wait_until("the child's end", || rig.children() == 0);
}

#[test]
fn a_raw_file_and_its_jpeg_are_one_frame() {
    for faults in [&["--pair"][..], &["--pair", "--late-raw", "700"], &["--pair", "--no-capture-complete"]] {
        let rig = Rig::new(4, "max", faults);
        rig.run_through(&[]);
        assert_eq!(rig.assert_frames(2), [1, 2, 3, 4], "{faults:?}");
        assert_eq!(rig.quarantined(), 0, "{faults:?}");
    }
}

#[test]
fn the_transfer_of_a_frame_overlaps_the_turn_to_the_next() {
    // Board time is real time here: a turn of 15° takes its time, and so does each file.
    let rig = Rig::new(24, "1", &["--transfer-ms", "300"]);
    rig.run_through(&[]);
    rig.assert_frames(1);
    // The turn is on record, and so ordered, before the frame has come.
    let journal = records(&rig.dir, "journal.jsonl");
    let record = |kind: &str, field: &str, number: u64| {
        let mut entries = journal.iter().map(|line| &line["entry"]);
        let found = entries.position(|entry| entry["kind"] == kind && entry[field] == number);
        found.unwrap_or_else(|| panic!("no {kind} of {field} {number} in the journal"))
    };
    // And the frame has come before the turn has ended.
    let events = records(&rig.dir, "cache/events.jsonl");
    let place = |name: &str, shot: u64| {
        let found = events.iter().position(|line| line["event"][name]["shot"] == shot);
        found.unwrap_or_else(|| panic!("{name} {shot} is not in the log"))
    };
    let mut within = 0;
    for shot in 1..24 {
        assert!(record("turn_intent", "stop", shot + 1) < record("arriving", "shot", shot), "frame {shot}");
        let (ended, arrived) = (place("ExposureEnded", shot), place("FrameArrived", shot));
        let turned =
            (ended..events.len()).find(|at| events[*at]["event"]["TurnFinished"].is_object()).unwrap();
        assert!(turned < place("ExposureEnded", shot + 1), "frame {shot}");
        within += u32::from(arrived < turned);
        let ms = |at: usize| events[at]["ms"].as_u64().unwrap() - events[ended]["ms"].as_u64().unwrap();
        println!("frame {shot}: there {} ms, turned {} ms after the exposure", ms(arrived), ms(turned));
    }
    // The first waits for a companion; a busy machine may be late with a few more.
    assert!(within >= 12, "only {within} of 23 frames came while the table turned");
}

#[test]
fn frames_leave_the_card_only_when_asked_and_only_once_they_are_kept() {
    let rig = Rig::new(6, "max", &[]);
    rig.run_through(&["--remove-from-card"]);
    let shots = rig.assert_frames(1);
    let deleted: Vec<u64> = rig
        .camera
        .log()
        .iter()
        .filter(|entry| entry["what"] == "deleted")
        .map(|entry| entry["shot"].as_u64().unwrap())
        .collect();
    // The last may still be on its way into the folder when the session ends; it stays then.
    assert!(deleted.len() >= 4, "{deleted:?}");
    assert!(deleted.iter().all(|shot| shots.contains(shot)));
    // Each was in the session's folder before it left the card.
    let log = rig.camera.log();
    for shot in deleted {
        let at =
            |what: &str| log.iter().position(|entry| entry["what"] == what && entry["shot"] == shot).unwrap();
        assert!(at("transfer-ends") < at("deleted"));
    }
}

#[test]
fn settings_are_made_checked_and_noted() {
    let rig = Rig::new(2, "max", &[]);
    let output = rig.run(&["--set-camera", "iso=150"]);
    let text = support::said(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(text.contains("no iso '150'") && text.contains("100, 200, 400, 800"), "{text}");
    assert_eq!(rig.camera.count("set"), 0, "a choice that is not there never reaches the camera");
    let output = rig.run(&["--set-camera", "exposure-mode=M", "--set-camera", "speed=1"]);
    assert_eq!(output.status.code(), Some(2));

    let chosen = [
        "iso=200",
        "shutter=1/8",
        "aperture=8",
        "white-balance=daylight",
        "focus-mode=Manual",
        "exposure-mode=M",
    ];
    let args: Vec<&str> = chosen.iter().flat_map(|chosen| ["--set-camera", chosen]).collect();
    rig.run_through(&args);
    rig.assert_frames(1);
    let set: Vec<(String, u64)> = rig
        .camera
        .log()
        .iter()
        .filter(|entry| entry["what"] == "set")
        .map(|entry| (entry["property"].as_str().unwrap().to_owned(), entry["value"].as_u64().unwrap()))
        .collect();
    // Properties and values of ISO 15740: index 200, 0.125 s in 0.1 ms, f/8 in hundredths, daylight 4, manual 1, M 1.
    let expected = [("500F", 200), ("500D", 1250), ("5007", 800), ("5005", 4), ("500A", 1), ("500E", 1)];
    assert_eq!(set, expected.map(|(property, value)| (property.to_owned(), value)));
    let journal = fs::read_to_string(rig.dir.join("journal.jsonl")).unwrap();
    assert!(journal.contains("Daylight") && journal.contains("f/8"), "{journal}");

    let output = support::run(rig.home.path(), &["cameras", &rig.camera.spec()]);
    let text = support::said(&output);
    for words in ["Larkhollow One", "battery: 80%", "GB", "iso=200", "f/4, f/5.6, f/8, f/11, f/16"] {
        assert!(text.contains(words), "{text}");
    }
}

#[test]
fn a_live_frame_is_a_whole_jpeg_and_does_not_disturb_a_set() {
    let rig = Rig::new(2, "max", &["--live-view"]);
    let file = rig.home.path().join("live.jpg");
    let args = ["cameras", &rig.camera.spec(), "--live", file.to_str().unwrap()];
    let output = support::run(rig.home.path(), &args);
    assert_eq!(output.status.code(), Some(0), "{}", support::said(&output));
    let bytes = fs::read(&file).unwrap();
    assert!(image::load_from_memory_with_format(&bytes, image::ImageFormat::Jpeg).is_ok());
    rig.run_through(&[]);
    rig.assert_frames(1);
}

#[test]
fn a_camera_without_a_live_picture_says_so() {
    let home = tempfile::tempdir().unwrap();
    let camera = NetCamera::start(home.path(), "false {file} {shot}", &[]);
    let file = home.path().join("live.jpg");
    let output = support::run(home.path(), &["cameras", &camera.spec(), "--live", file.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(support::said(&output).contains("gives no live picture"), "{}", support::said(&output));
    assert!(!file.exists());
}
