//! The settle time measured from live pictures, through the program itself.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::path::Path;

use serde_json::Value;
use session_core::turntable::simulated::SimTableSettings;
use support::{run, said};

/// The simulated table's swing is known by construction (demo values): 0.6° e^(−6 t) sin(2π 4 t).
#[test]
fn the_simulated_tables_swing_is_measured_and_kept_only_when_asked() {
    let home = tempfile::tempdir().unwrap();
    let truth = SimTableSettings::default();
    let base = ["table", "settle", "--table", "sim", "--camera", "sim"];
    let measure = |more: &[&str]| {
        let output = run(home.path(), &[&base[..], more].concat());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        output
    };
    let known = || said(&run(home.path(), &["table", "show", "--table", "sim"]));
    let told = |more: &[&str]| -> Value {
        serde_json::from_slice(&measure(&[more, &["--json"]].concat()).stdout).unwrap()
    };
    let fine = told(&["--residual-px", "0.1"]);
    let (hz, decay) = (fine["frequency_hz"].as_f64().unwrap(), fine["decay_per_s"].as_f64().unwrap());
    assert!((hz - truth.ring_hz).abs() < 0.1, "{fine}");
    assert!((decay / truth.ring_decay - 1.0).abs() < 0.1, "{fine}");
    // A swing that dies by e^(−λ t): a third of the residual takes ln 3 / λ longer, rounded to 0.05 s.
    let rough = told(&["--residual-px", "0.3"]);
    let longer = fine["settle_secs"].as_f64().unwrap() - rough["settle_secs"].as_f64().unwrap();
    assert!((longer - 3.0_f64.ln() / truth.ring_decay).abs() < 0.06, "{fine} {rough}");
    assert!(known().contains("Settle time: not measured"), "{}", known());
    let text = said(&measure(&["--keep"]));
    assert!(text.contains("proposed settle time"), "{text}");
    assert!(known().contains("live pictures, to within 0.1 px"), "{}", known());
}

#[test]
fn a_camera_without_a_live_picture_is_told_in_words_and_a_known_time_needs_none() {
    let home = tempfile::tempdir().unwrap();
    let folder = format!("folder:{}", home.path().display());
    let output = run(home.path(), &["table", "settle", "--table", "sim", "--camera", &folder]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("has no live picture"), "{}", said(&output));
    let output = run(home.path(), &["table", "settle", "--table", "sim", "--seconds", "1.2"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("Settle time: 1.2 s"), "{}", said(&output));
    let output = run(home.path(), &["table", "settle", "--table", "sim"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
}

/// From the end of each stop's turn to the end of its exposure, seconds.
fn waits(dir: &Path) -> Vec<f64> {
    let log = std::fs::read_to_string(dir.join("cache/events.jsonl")).unwrap();
    let mut turned = 0.0;
    let mut waits = Vec::new();
    for line in log.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        let secs = line["ms"].as_f64().unwrap() / 1000.0;
        if line["event"].get("TurnFinished").is_some() {
            turned = secs;
        }
        if line["event"].get("ExposureEnded").is_some() {
            waits.push(secs - turned);
        }
    }
    waits
}

/// The simulated table swings 0.6° e^(−6 t) after each turn (demo values): watched, it needs no settle time, and
/// no more than the swing itself takes; a plain vase, on which no turn shows, no more than that.
#[test]
fn a_watched_load_is_shot_as_soon_as_it_rests() {
    let home = tempfile::tempdir().unwrap();
    for (object, least_secs) in [("mug", 0.55), ("vase", 0.5)] {
        let plan = home.path().join(format!("{object}.json"));
        let dir = home.path().join(object);
        let (plan, into) = (plan.to_str().unwrap(), dir.to_str().unwrap());
        let made =
            ["plan", "new", plan, "--sku", "LH-REST", "--stops", "6", "--settle", "9", "--rest-within", "6"];
        assert_eq!(run(home.path(), &made).status.code(), Some(0));
        let shoot = ["shoot", "--plan", plan, "--into", into, "--table", "sim", "--camera", "sim"];
        let how = ["--sim-speed", "max", "--sim-frame", "600x400", "--sim-object", object];
        let output = run(home.path(), &[&shoot[..], &how].concat());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        assert!(!said(&output).contains("live picture"), "{}", said(&output));
        assert!(!said(&output).contains("motion blur"), "{}", said(&output));
        let waits = waits(&dir);
        assert_eq!(waits.len(), 6);
        // The exposure of 0.25 s is in each. In frames this small the swing is about a pixel at first, so down
        // to a tenth of one after 0.38 s; 0.3 s are looked at where no swing is seen.
        assert!(waits[1..].iter().all(|secs| (least_secs..1.5).contains(secs)), "{object}: {waits:?}");
    }
}
