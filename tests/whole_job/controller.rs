//! The controller's files from the command line, on the real program under MicroPython.
//!
//! Pin numbers, gear and port are invented for the test; the gear figure of the hobby stepper is 64 × 22·26·31·32 /
//! (9·9·10·11) half-steps a turn (tooth counts published on a maker forum in 2011).

#![allow(clippy::disallowed_methods, clippy::unwrap_used, reason = "a test's own files")]

#[path = "support.rs"]
mod support;

use std::fs;
use std::path::Path;

use serde_json::Value;
use support::{Controller, project, run, said};

/// Runs `roundstop controller write` into a folder of `home`.
fn write(home: &Path, folder: &str, answers: &[&str]) -> std::process::Output {
    let dir = home.join(folder);
    fs::create_dir_all(&dir).unwrap();
    let mut args = vec!["controller", "write", dir.to_str().unwrap()];
    args.extend(answers);
    run(home, &args)
}

fn probe(home: &Path, port: &Path) -> (Option<i32>, Value, String) {
    let output = run(home, &["table", "probe", port.to_str().unwrap(), "--json"]);
    let found =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(&output)));
    let words = run(home, &["table", "probe", port.to_str().unwrap()]);
    (output.status.code(), found, said(&words))
}

/// Answers, and what the board then says of steps (a fraction), set speed, shutter and index.
type Case = (&'static [&'static str], &'static str, &'static str, &'static str, &'static str, &'static str);

#[test]
fn written_settings_are_what_the_real_program_reports() {
    let home = tempfile::tempdir().unwrap();
    let cases: [Case; 3] = [
        // As delivered.
        (&[], "1650688", "405", "250", "1", "none"),
        // A true 64:1 gear on other pins.
        (
            &[
                "--coil-pins",
                "2,3,6,7",
                "--gear",
                "64",
                "--cruise",
                "300",
                "--shutter-pins",
                "none",
                "--switch-pin",
                "none",
            ],
            "4096",
            "1",
            "300",
            "0",
            "none",
        ),
        // 200 steps × 16 microsteps × 5.18.
        (
            &[
                "--driver",
                "step_dir",
                "--step-pin",
                "10",
                "--dir-pin",
                "11",
                "--enable-pin",
                "12",
                "--gear",
                "5.18",
                "--cruise",
                "2000",
                "--index-pin",
                "15",
                "--shutter-pins",
                "27",
            ],
            "16576",
            "1",
            "2000",
            "1",
            "off",
        ),
    ];
    for (index, (answers, num, den, cruise, shutter, board_index)) in cases.into_iter().enumerate() {
        let folder = format!("board{index}");
        let output = write(home.path(), &folder, answers);
        assert!(output.status.success(), "{}", said(&output));
        let dir = home.path().join(&folder);
        for name in ["roundstop_table.py", "main.py"] {
            assert_eq!(
                fs::read(dir.join(name)).unwrap(),
                fs::read(project().join("controller").join(name)).unwrap()
            );
        }
        assert!(fs::read_to_string(dir.join("wiring.svg")).unwrap().starts_with("<svg"));

        let settings = dir.join("table_settings.py");
        let table = Controller::start(
            home.path(),
            &format!("table{index}"),
            &["--speed", "max", "--settings", settings.to_str().unwrap()],
        );
        let (code, found, words) = probe(home.path(), &table.link);
        assert_eq!(code, Some(0), "{words}");
        assert_eq!(found["found"], "table", "{found}");
        assert_eq!(found["refusal"], Value::Null, "{found}");
        let said = &found["settings"];
        assert_eq!(
            [&said["steps_num"], &said["steps_den"], &said["cruise_rate"], &said["shutter"]],
            [num, den, cruise, shutter],
            "{found}"
        );
        assert_eq!(found["status"]["known"], "0");
        assert_eq!(found["status"]["index"].as_str().unwrap_or("none"), board_index, "{found}");
        assert!(words.contains("not known: set zero before a set"), "{words}");
        assert!(words.contains("Nothing was moved"), "{words}");
        // Probed twice, and no pin has changed since power-up.
        let coils = fs::read_to_string(&table.coil_log).unwrap();
        assert!(coils.lines().count() <= 1, "{coils}");
    }
}

#[test]
fn wrong_answers_are_refused_before_anything_is_written() {
    let home = tempfile::tempdir().unwrap();
    for (answers, says) in [
        (&["--switch-pin", "18"][..], "pin 18 is used twice, for coil_pins[0] and spin_switch_pin"),
        (&["--index-pin", "100"], "index_pin cannot be 100"),
        (&["--coil-pins", "1,2,3"], "4 pin numbers"),
        (&["--cruise", "601"], "1 to 600"),
        (&["--gear", "1/100"], "steps in a turn"),
        (&["--microsteps", "16"], "belongs to --driver step_dir"),
        (&["--steps-per-turn", "4096", "--gear", "64"], "cannot be used with"),
    ] {
        let output = write(home.path(), "board", answers);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(says), "{answers:?}: {}", said(&output));
        assert_eq!(fs::read_dir(home.path().join("board")).unwrap().count(), 0, "{answers:?}");
    }
}

#[test]
fn a_file_of_ones_own_is_never_lost() {
    let home = tempfile::tempdir().unwrap();
    let dir = home.path().join("board");
    fs::create_dir_all(&dir).unwrap();
    let settings = dir.join("table_settings.py");
    for (turn, own) in ["# mine\n", "# mine too\n"].into_iter().enumerate() {
        fs::write(&settings, own).unwrap();
        let refused = write(home.path(), "board", &[]);
        assert_eq!(refused.status.code(), Some(1));
        assert!(said(&refused).contains("--replace"), "{}", said(&refused));
        assert_eq!(fs::read_to_string(&settings).unwrap(), own);
        let replaced = write(home.path(), "board", &["--replace"]);
        assert!(replaced.status.success(), "{}", said(&replaced));
        let old = if turn == 0 { "table_settings.py.old" } else { "table_settings.py.old.2" };
        assert_eq!(fs::read_to_string(dir.join(old)).unwrap(), own);
    }
    // The same again changes nothing.
    let again = write(home.path(), "board", &[]);
    assert!(again.status.success());
    assert!(said(&again).contains("the same"), "{}", said(&again));
    let left: Vec<_> = fs::read_dir(&dir).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left.len(), 6, "{left:?}");
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("file");
    fs::write(&file, "").unwrap();
    for (place, says) in [(file.as_path(), "is no folder"), (&home.path().join("nowhere"), "is not there")] {
        let output = run(home.path(), &["controller", "write", place.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(1));
        assert!(said(&output).contains(says), "{}", said(&output));
    }
    // A kernel's own folder takes no files, not even from root.
    #[cfg(target_os = "linux")]
    {
        let output = run(home.path(), &["controller", "write", "/proc/self"]);
        assert_eq!(output.status.code(), Some(1));
        assert!(said(&output).contains("cannot write"), "{}", said(&output));
    }
}

#[test]
fn every_wire_is_listed_and_drawn() {
    let home = tempfile::tempdir().unwrap();
    let output = write(
        home.path(),
        "board",
        &["--coil-pins", "2,3,6,7", "--index-pin", "15", "--shutter-pins", "8,9"],
    );
    let words = said(&output);
    let sheet = fs::read_to_string(home.path().join("board/wiring.svg")).unwrap();
    for (pin, to) in [
        (2, "IN1"),
        (3, "IN2"),
        (6, "IN3"),
        (7, "IN4"),
        (8, "half press"),
        (9, "full press"),
        (4, "switch"),
        (15, "index"),
    ] {
        let listed =
            words.lines().any(|line| line.contains(&format!("board pin {pin} ")) && line.contains(to));
        assert!(listed, "pin {pin}: {words}");
        assert!(sheet.contains(&format!(">pin {pin}</text>")), "pin {pin}");
    }
    for caution in
        ["Unplug USB", "flyback", "licensed person", "optocoupler", "fingers, hair", "tip", "Glass", "hot"]
    {
        assert!(words.contains(caution), "{caution}");
    }
    assert!(sheet.contains("<title") && sheet.contains("<desc"), "named for screen readers");
    // No letter is smaller than 12 px.
    for size in sheet.split("font-size=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
        assert!(size.parse::<u32>().unwrap() >= 12, "{size}");
    }
}

#[test]
fn a_port_where_nothing_answers_says_so() {
    let home = tempfile::tempdir().unwrap();
    let output = run(home.path(), &["table", "probe", "/dev/roundstop-no-such-port"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("no such port"), "{}", said(&output));
}
