//! Checks while the session runs, through the program itself: each fault of the simulated studio is found at
//! its stop, shot again, and leaves a clean set with every first version still on disk.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::path::Path;
use std::process::Output;

use serde_json::Value;
use support::{assert_complete, kept, plan, run, said, status};

/// Large enough for the checks to see what a photographer would.
const FRAME: &str = "900x600";

fn shoot(home: &Path, plan: &Path, dir: &Path, more: &[&str]) -> Output {
    let mut args = vec!["shoot", "--plan", plan.to_str().unwrap(), "--into", dir.to_str().unwrap()];
    args.extend(["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", FRAME]);
    args.extend(more);
    run(home, &args)
}

/// The kinds found on one version of a stop, in the order of `status`.
fn kinds(status: &Value, stop: u32, version: usize) -> Vec<String> {
    let flags = &status["stops"][stop as usize - 1]["versions"][version - 1]["flags"];
    let flags = flags.as_array().unwrap_or_else(|| panic!("stop {stop} was not looked at: {status}"));
    flags.iter().map(|flag| flag["kind"].as_str().unwrap().to_owned()).collect()
}

fn versions(status: &Value) -> Vec<usize> {
    let stops = status["stops"].as_array().unwrap();
    stops.iter().map(|stop| stop["versions"].as_array().unwrap().len()).collect()
}

fn is_clean(home: &Path, dir: &Path) {
    let checked = run(home, &["check", dir.to_str().unwrap()]);
    assert_eq!(checked.status.code(), Some(0), "{}", said(&checked));
}

#[test]
fn every_fault_is_found_at_its_stop_shot_again_and_leaves_a_clean_set() {
    let home = tempfile::tempdir().unwrap();
    let (plan, dir) = (plan(home.path(), "plan.json", 24), home.path().join("D"));
    let faults = "blur@5,defocus@9,exposure@12,duplicate@15,white-balance@17,wrong-angle@20";
    let output = shoot(home.path(), &plan, &dir, &["--faults", faults, "--when-doubtful", "all=retake"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert_complete(home.path(), &dir);
    let now = status(home.path(), &dir);
    let expected = [
        (5, "motion_blur"),
        (9, "out_of_focus"),
        (12, "exposure_off"),
        (15, "duplicate"),
        (17, "white_balance_off"),
        (20, "wrong_angle"),
    ];
    for (stop, kind) in expected {
        assert!(kinds(&now, stop, 1).contains(&kind.to_owned()), "stop {stop}: {}", said(&output));
        assert!(kinds(&now, stop, 2).is_empty(), "stop {stop}: {}", said(&output));
        assert!(said(&output).contains(&format!("stop {stop} doubtful: ")), "{}", said(&output));
    }
    // The angle of each frame in use was measured from the pictures, the faulty one's before its retake.
    let seen = |stop: usize, version: usize| {
        now["stops"][stop - 1]["versions"][version - 1]["seen_angle"]["degrees"].as_f64()
    };
    let wrong = seen(20, 1).expect("the wrong angle was measured");
    assert!((wrong - 285.0).abs() > 0.5, "{wrong}");
    let told = (1..=24).filter_map(|stop| {
        let versions = now["stops"][stop - 1]["versions"].as_array().unwrap().len();
        Some(seen(stop, versions)? - (stop as f64 - 1.0) * 15.0)
    });
    let told: Vec<f64> = told.collect();
    assert!(told.len() >= 20 && told.iter().all(|off| off.abs() < 0.3), "{told:?}");
    // Nothing else was shot twice, and both versions of each are on disk as they were recorded.
    let again: Vec<usize> =
        versions(&now).iter().enumerate().filter(|(_, count)| **count > 1).map(|(at, _)| at + 1).collect();
    assert_eq!(again, expected.map(|(stop, _)| stop as usize), "{}", said(&output));
    assert_eq!(kept(&dir).len(), 30);
    is_clean(home.path(), &dir);
    // It is done with: another start shoots and finds nothing.
    let output = shoot(home.path(), &plan, &dir, &[]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(!said(&output).contains("doubtful"), "{}", said(&output));
    assert_eq!(kept(&dir).len(), 30);
}

#[test]
fn an_object_that_slipped_is_shot_anew_from_there_to_the_end_of_the_turn() {
    let home = tempfile::tempdir().unwrap();
    let (plan, dir) = (plan(home.path(), "plan.json", 24), home.path().join("D"));
    let output = shoot(home.path(), &plan, &dir, &["--faults", "slip@22", "--when-doubtful", "all=retake"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let now = status(home.path(), &dir);
    assert!(kinds(&now, 22, 1).contains(&"object_slipped".to_owned()), "{}", said(&output));
    assert_eq!(versions(&now)[21..], [2, 2, 2], "{}", said(&output));
    assert_eq!(versions(&now)[..21], [1; 21], "{}", said(&output));
    is_clean(home.path(), &dir);
}

#[test]
fn where_nobody_can_be_asked_a_usual_pause_is_told_and_a_chosen_one_ends_the_run() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 24);
    let faults = ["--faults", "defocus@9"];
    let dir = home.path().join("told");
    let output = shoot(home.path(), &plan, &dir, &faults);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("Stop 9: out of focus"), "{}", said(&output));
    assert!(said(&output).contains("1 frame is doubtful"), "{}", said(&output));
    let now = status(home.path(), &dir);
    assert_eq!(now["stops"][8]["flags"][0]["kind"], "out_of_focus");
    assert_eq!(now["stops"][8]["flags"][0]["unit"], "px");
    assert_eq!(versions(&now), [1; 24]);

    let dir = home.path().join("paused");
    let pause = [&faults[..], &["--when-doubtful", "out-of-focus=pause"]].concat();
    let output = shoot(home.path(), &plan, &dir, &pause);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("Paused: the frame of stop 9 is doubtful"), "{}", said(&output));
    let frames = kept(&dir).len();
    assert!((10..=24).contains(&frames), "{frames}: {}", said(&output));
    // Gone on with, nothing is shot twice, and what was found before is no news that pauses again.
    let output = shoot(home.path(), &plan, &dir, &["--when-doubtful", "out-of-focus=pause"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert_eq!(versions(&status(home.path(), &dir)), [1; 24]);
}

#[test]
fn what_cannot_be_asked_for_is_refused_with_the_reason() {
    let home = tempfile::tempdir().unwrap();
    let (plan, dir) = (plan(home.path(), "plan.json", 4), home.path().join("D"));
    for (more, reason) in [
        (["--faults", "fog@3"], "is no fault"),
        (["--when-doubtful", "fog=tell"], "is nothing that a check looks for"),
        (["--when-doubtful", "clipped=ignore"], "is no response; write tell"),
        (["--when-doubtful", "clipped"], "KIND=tell"),
    ] {
        let output = shoot(home.path(), &plan, &dir, &more);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(reason), "{}", said(&output));
    }
    let folder = format!("folder:{}", home.path().display());
    let args = ["shoot", "--plan", plan.to_str().unwrap(), "--into", dir.to_str().unwrap()];
    let more = ["--table", "sim", "--camera", &folder, "--faults", "blur@2"];
    let output = run(home.path(), &[&args[..], &more].concat());
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("simulated camera only"), "{}", said(&output));
}
