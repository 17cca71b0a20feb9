//! The main job through the program itself: simulated, and on the real controller program.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::collections::HashSet;
use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::SystemTime;

use support::{Controller, assert_complete, plan, project, quick, roundstop, run, said, status};

fn files_with_times(dir: &Path) -> HashSet<(String, Vec<u8>, SystemTime)> {
    fs::read_dir(dir.join("frames"))
        .unwrap()
        .map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, fs::read(&path).unwrap(), fs::metadata(&path).unwrap().modified().unwrap())
        })
        .collect()
}

#[test]
fn the_demo_plan_gives_24_distinct_whole_frames() {
    let home = tempfile::tempdir().unwrap();
    let plan = project().join("demo-data/plans/mug-24.json");
    let dir = home.path().join("D");
    let output = run(home.path(), &quick(&plan, &dir));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let digests = assert_complete(home.path(), &dir);
    assert_eq!(digests.len(), 24);
    assert_eq!(digests.into_iter().collect::<HashSet<_>>().len(), 24);
}

#[test]
fn a_retake_leaves_every_other_file_untouched_and_keeps_the_old_versions() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 12);
    let dir = home.path().join("D");
    run(home.path(), &quick(&plan, &dir));
    let before = files_with_times(&dir);
    let text = dir.to_str().unwrap();
    let sim = ["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", "320x240"];
    let output = run(home.path(), &[&["retake", text, "--stops", "3,180deg"][..], &sim].concat());
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let after = files_with_times(&dir);
    assert!(before.is_subset(&after));
    assert_eq!(after.len(), 14);
    let now = status(home.path(), &dir);
    let versions: Vec<usize> = now["stops"]
        .as_array()
        .unwrap()
        .iter()
        .map(|stop| stop["versions"].as_array().unwrap().len())
        .collect();
    assert_eq!(versions, [1, 1, 2, 1, 1, 1, 2, 1, 1, 1, 1, 1]);
    // The first version can be used again, and a stop can be set aside and shot anew.
    assert!(run(home.path(), &["keep", text, "--stop", "3", "--version", "1"]).status.success());
    assert!(run(home.path(), &["set-aside", text, "--stops", "5"]).status.success());
    let now = status(home.path(), &dir);
    assert!(!now["stops"][2]["file"].as_str().unwrap().contains("_v2"));
    assert_eq!(now["stops"][4]["state"], "set_aside");
    assert_eq!(now["complete"], false);
    let output = run(home.path(), &quick(&plan, &dir));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert_eq!(files_with_times(&dir).len(), 15);
}

#[test]
fn without_a_display_the_demo_set_is_shot_and_its_place_is_told() {
    let home = tempfile::tempdir().unwrap();
    let output = roundstop(home.path()).output().unwrap();
    let text = said(&output);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("no window can be opened here"), "{text}");
    let place = text.lines().find_map(|line| line.split("Frames are in ").nth(1)).expect("the place is told");
    let place = Path::new(place).parent().unwrap();
    assert_eq!(assert_complete(home.path(), place).len(), 24);
}

/// Shoots on the real controller program; frames come from a program that decodes the coils by itself.
/// Gives each frame's planned degrees with the shaft's true half-steps when it was exposed.
fn shoot_on_the_controller(home: &Path, plan: &Path, dir: &Path) -> Vec<(f64, i64)> {
    let controller = Controller::start(home, "table", &["--speed", "max"]);
    let notes = home.join("notes");
    let camera = format!(
        "command:python3 {} {} {} {} {{file}} {{degrees}}",
        project().join("tests/whole_job/coil_camera.py").display(),
        controller.coil_log.display(),
        notes.display(),
        env!("CARGO_BIN_EXE_roundstop"),
    );
    let (plan, dir) = (plan.to_str().unwrap(), dir.to_str().unwrap());
    let output = run(
        home,
        &["shoot", "--plan", plan, "--into", dir, "--table", &controller.table(), "--camera", &camera],
    );
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let notes = fs::read_to_string(notes).unwrap();
    notes
        .lines()
        .map(|line| {
            let (degrees, steps) = line.split_once(' ').unwrap();
            (degrees.parse().unwrap(), steps.parse().unwrap())
        })
        .collect()
}

/// How far the shaft stands from an angle, in half-steps: 64 × 25 792 / 405 of them in a turn.
fn off_by(degrees: f64, steps: i64) -> f64 {
    let turn = 64.0 * 25_792.0 / 405.0;
    let off = (steps as f64 - degrees / 360.0 * turn).rem_euclid(turn);
    off.min(turn - off)
}

#[test]
fn on_the_real_controller_every_frame_is_within_half_a_half_step() {
    let home = tempfile::tempdir().unwrap();
    let plan = project().join("demo-data/plans/mug-24.json");
    let dir = home.path().join("D");
    let seen = shoot_on_the_controller(home.path(), &plan, &dir);
    assert_eq!(assert_complete(home.path(), &dir).len(), 24);
    assert_eq!(seen.len(), 24);
    for (number, (degrees, steps)) in seen.iter().enumerate() {
        assert!((degrees - 15.0 * number as f64).abs() < 1e-9);
        assert!(
            off_by(*degrees, *steps) <= 0.5 + 1e-6,
            "{degrees}°: {} half-steps off",
            off_by(*degrees, *steps)
        );
    }
}

#[test]
fn after_ten_turns_no_error_has_added_up() {
    let home = tempfile::tempdir().unwrap();
    let rows: Vec<String> = (1..=11).map(|row| format!("row{row}")).collect();
    let plan = home.path().join("plan.json");
    let made = run(
        home.path(),
        &[
            "plan",
            "new",
            plan.to_str().unwrap(),
            "--sku",
            "LH-TURNS",
            "--stops",
            "5",
            "--rows",
            &rows.join(","),
            "--settle",
            "0",
        ],
    );
    assert!(made.status.success(), "{}", said(&made));
    let seen = shoot_on_the_controller(home.path(), &plan, &home.path().join("D"));
    assert_eq!(seen.len(), 55);
    let worst = seen.iter().map(|(degrees, steps)| off_by(*degrees, *steps)).fold(0.0, f64::max);
    assert!(worst <= 0.5 + 1e-6, "{worst} half-steps off");
    // It did turn ten times, rather than come back.
    let last = seen.last().unwrap().1;
    assert!(last > 10 * 4075, "{last}");
}

#[test]
fn rows_wait_for_the_camera_on_a_terminal_and_are_told_of_elsewhere() {
    let home = tempfile::tempdir().unwrap();
    let plan = home.path().join("plan.json");
    let path = plan.to_str().unwrap();
    run(
        home.path(),
        &["plan", "new", path, "--sku", "LH-ROWS", "--stops", "2", "--rows", "level,high", "--settle", "0"],
    );
    let output = run(home.path(), &quick(&plan, &home.path().join("D")));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("without a pause to set the camera"), "{}", said(&output));

    // A terminal between: at the first row's end 'q' leaves the second out, an empty line shoots it.
    for (typed, code) in [("q\n", 3), ("\n", 0)] {
        let dir = home.path().join(format!("T{code}"));
        let args = quick(&plan, &dir).join(" ");
        let mut child = Command::new("script")
            .args(["-qec", &format!("{} {args}", env!("CARGO_BIN_EXE_roundstop")), "/dev/null"])
            .env("HOME", home.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        // Kept open: at its end the terminal would hang up.
        let mut input = child.stdin.take().unwrap();
        input.write_all(typed.as_bytes()).unwrap();
        let mut text = String::new();
        child.stdout.take().unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(code), "{text}");
        assert!(text.contains("Row 'high' is next"), "{text}");
        let stops = status(home.path(), &dir)["stops"].as_array().unwrap().clone();
        let kept = stops.iter().filter(|stop| stop["state"] == "kept").count();
        assert_eq!(kept, if code == 0 { 4 } else { 2 }, "{text}");
    }
}
