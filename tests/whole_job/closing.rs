//! The closing frame through the program itself: it tells how far the table's steps in a turn are wrong, the
//! table takes the correction, and the next turn closes.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::path::Path;

use serde_json::Value;
use support::{run, said, status};

fn shoot(home: &Path, plan: &Path, dir: &Path) -> String {
    shoot_object(home, plan, dir, "mug")
}

/// Shoots and gives what the session said.
fn shoot_object(home: &Path, plan: &Path, dir: &Path, object: &str) -> String {
    let mut args = vec!["shoot", "--plan", plan.to_str().unwrap(), "--into", dir.to_str().unwrap()];
    args.extend(["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", "900x600"]);
    args.extend(["--sim-object", object]);
    let output = run(home, &args);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    said(&output)
}

fn closure(home: &Path, dir: &Path) -> (f64, f64) {
    let output = run(home, &["check", dir.to_str().unwrap(), "--json"]);
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    let told = report["closure_deg"].as_f64().unwrap_or_else(|| panic!("cannot tell: {report}"));
    (told, report["closure_uncertainty_deg"].as_f64().unwrap())
}

/// The gear train of the common hobby stepper has 4075.7728 half-steps in a turn (see `tests/outside`); the
/// table is made to believe in 4096, the figure that is often taken for it.
#[test]
fn a_wrong_gearing_is_told_by_the_turn_that_does_not_close_and_is_put_right() {
    for clockwise in [false, true] {
        let home = tempfile::tempdir().unwrap();
        let (home, plan) = (home.path(), home.path().join("plan.json"));
        let mut new = vec!["plan", "new", plan.to_str().unwrap(), "--sku", "LH-CLOSE", "--stops", "24"];
        new.extend(["--closing-frame", if clockwise { "--clockwise" } else { "--anticlockwise" }]);
        assert!(run(home, &new).status.success());
        // 4096 / 4075.7728 of a turn is made for each one asked for: 1.7866° too far (computed).
        let leftover = format!("{}", 360.0 * (4075.7728 / 4096.0 - 1.0));
        let calibrate = ["table", "calibrate", "--table", "sim", "--turns", "1", "--leftover", &leftover];
        let output = run(home, &[&calibrate[..], &["--uncertainty", "0.0001"]].concat());
        assert!(output.status.success(), "{}", said(&output));

        let dir = home.join("wrong");
        let session = shoot(home, &plan, &dir);
        assert!(session.contains("The turn does not close: +1."), "{session}");
        let now = status(home, &dir);
        assert_eq!((&now["complete"], now["stops"].as_array().unwrap().len()), (&Value::Bool(true), 24));
        let closing = &now["closing"][0];
        assert_eq!((&closing["state"], &closing["is_a_turn_on"]), (&"kept".into(), &Value::Bool(true)));
        assert_eq!(closing["file"], "frames/LH-CLOSE_level_closing_360.jpg");
        let (told, sigma) = closure(home, &dir);
        assert!((told - 1.7866).abs() < 3.0 * sigma + 0.005, "{told} ± {sigma}");

        // The command that the check names, with the table's name put in.
        let output = run(home, &["check", dir.to_str().unwrap()]);
        let text = said(&output);
        let command = text.lines().find_map(|line| line.split("roundstop table calibrate").nth(1));
        let command = command.unwrap_or_else(|| panic!("no correction: {text}")).replace("TABLE", "sim");
        let args: Vec<&str> = ["table", "calibrate"].into_iter().chain(command.split_whitespace()).collect();
        let output = run(home, &args);
        assert!(output.status.success(), "{}", said(&output));

        let dir = home.join("right");
        let session = shoot(home, &plan, &dir);
        assert!(session.contains("The turn closes: "), "{session}");
        let (told, sigma) = closure(home, &dir);
        assert!(told.abs() < 3.0 * sigma + 0.01, "{told} ± {sigma}");
        assert!(!said(&run(home, &["check", dir.to_str().unwrap()])).contains("table calibrate"));
    }
}

#[test]
fn a_closing_frame_is_no_part_of_the_set_and_is_named_when_it_tells_nothing() {
    let home = tempfile::tempdir().unwrap();
    let (home, plan, dir) = (home.path(), home.path().join("plan.json"), home.path().join("D"));
    let new =
        ["plan", "new", plan.to_str().unwrap(), "--sku", "LH-CLOSE", "--stops", "12", "--closing-frame"];
    assert!(run(home, &new).status.success());
    // A plain vase: whether its turn closes can be told from no frame.
    let session = shoot_object(home, &plan, &dir, "vase");
    assert!(session.contains("Whether the turn closes cannot be told: "), "{session}");
    // A set without it is complete, and the next run shoots it alone.
    let text = dir.to_str().unwrap();
    assert!(run(home, &["set-aside", text, "--stops", "13"]).status.success());
    let now = status(home, &dir);
    assert_eq!((&now["complete"], &now["closing"][0]["state"]), (&Value::Bool(true), &"set_aside".into()));
    assert!(said(&run(home, &["check", text])).contains("the closing frame is not shot yet"));
    shoot_object(home, &plan, &dir, "vase");
    let now = status(home, &dir);
    assert_eq!(now["closing"][0]["versions"].as_array().unwrap().len(), 2);
    assert_eq!(now["closing"][0]["is_a_turn_on"], true, "a fresh table turns the whole turn for it");
    assert!(
        now["stops"].as_array().unwrap().iter().all(|stop| stop["versions"].as_array().unwrap().len() == 1)
    );
    // Partial rows have nothing to close.
    let arc = home.join("arc.json");
    let new = ["plan", "new", arc.to_str().unwrap(), "--sku", "LH", "--stops", "5", "--arc", "180"];
    let output = run(home, &[&new[..], &["--closing-frame"]].concat());
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("whole turn"), "{}", said(&output));
}
