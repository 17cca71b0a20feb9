//! Bad input, each with a clear message and nothing lost.

#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "the tests play the person and foreign programs")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

use support::{assert_complete, plan, quick, run, said, status};

/// Asserts an exit code and that every one of these words was said.
fn assert_said(output: &std::process::Output, code: i32, words: &[&str]) {
    let text = said(output);
    assert_eq!(output.status.code(), Some(code), "{text}");
    for word in words {
        assert!(text.contains(word), "'{word}' is not in: {text}");
    }
}

#[test]
fn plans_that_cannot_be_used() {
    let home = tempfile::tempdir().unwrap();
    let good = plan(home.path(), "good.json", 12);
    let text = fs::read_to_string(&good).unwrap();
    let colliding = text.replace("{sku}_{row}_{stop}_{degrees}", "{sku}_{row}");
    for (bad, words) in [
        (text[..text.len() / 2].to_owned(), &["cannot be used", "cut short"][..]),
        (text.replace("\"schema\": 1", "\"schema\": 7"), &["form 7", "newer Roundstop"]),
        (colliding, &["two stops would both be named", "{stop}"]),
        (String::new(), &["not readable"]),
    ] {
        let path = home.path().join("bad.json");
        fs::write(&path, bad).unwrap();
        let dir = home.path().join("D");
        assert_said(&run(home.path(), &quick(&path, &dir)), 1, words);
        assert!(!dir.exists(), "nothing is begun with a bad plan");
    }
    let missing = home.path().join("not-there.json");
    assert_said(
        &run(home.path(), &quick(&missing, &home.path().join("D"))),
        1,
        &["not-there.json", "cannot be read"],
    );
}

#[test]
fn names_that_collide_are_refused_when_the_plan_is_made() {
    let home = tempfile::tempdir().unwrap();
    let path = home.path().join("p.json");
    for (pattern, words) in [
        ("{sku}", "two stops"),
        ("../{stop}", "path separator"),
        ("{stop}?", "refuse"),
        ("{stopp}", "unknown field"),
    ] {
        let output = run(
            home.path(),
            &["plan", "new", path.to_str().unwrap(), "--sku", "A", "--stops", "4", "--file-name", pattern],
        );
        assert_said(&output, 2, &[words]);
        assert!(!path.exists());
    }
}

#[test]
fn a_row_that_would_be_swallowed_by_the_note_before_it_is_refused() {
    let home = tempfile::tempdir().unwrap();
    let path = home.path().join("p.json");
    let new = |rows: &str| {
        run(
            home.path(),
            &["plan", "new", path.to_str().unwrap(), "--sku", "A", "--stops", "4", "--rows", rows],
        )
    };
    assert_said(&new("eye:12:level, high:12:tilt 30"), 2, &["'high:12:tilt 30' looks like a row of its own"]);
    assert!(!path.exists());
    assert_said(&new("level,high:12:camera 40 cm up, tilt 30°"), 0, &["16 stops"]);
}

fn with_camera(home: &Path, plan: &Path, dir: &Path, camera: &str, extra: &[&str]) -> std::process::Output {
    let mut args = vec!["shoot", "--plan", plan.to_str().unwrap(), "--into", dir.to_str().unwrap()];
    args.extend(["--table", "sim", "--sim-speed", "max", "--retries", "1", "--camera", camera]);
    args.extend(extra);
    run(home, &args)
}

#[test]
fn a_camera_command_that_fails_hangs_or_writes_rubbish() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 3);
    let good = home.path().join("good.jpg");
    assert!(
        run(home.path(), &["demo-frame", good.to_str().unwrap(), "0", "--size", "320x240"]).status.success()
    );
    let good = good.to_str().unwrap();
    let dir = home.path().join("D");
    for (camera, words) in [
        (
            "command:sh -c 'echo no card >&2; exit 7' x {file}".to_owned(),
            vec!["exit code 7", "no card", "2 times"],
        ),
        (
            "command:sleep 60 x {file}".replace("sleep 60 x", "sh -c 'sleep 60' x"),
            vec!["did not end within 1 s"],
        ),
        ("command:sh -c ': > \"$0\"' {file}".to_owned(), vec!["it is empty"]),
        (format!("command:sh -c 'head -c 3000 {good} > \"$0\"' {{file}}"), vec!["cut short"]),
        ("command:cp /etc/passwd {file}".to_owned(), vec!["not a picture"]),
        (
            format!("command:sh -c 'cp {good} \"$0\"; cp {good} \"$0.second.jpg\"' {{file}}"),
            vec!["2 frames came for one stop"],
        ),
        ("command:true {file}".to_owned(), vec!["wrote no file"]),
        ("command:no-such-program {file}".to_owned(), vec!["no-such-program", "is not there"]),
    ] {
        let output = with_camera(home.path(), &plan, &dir, &camera, &["--frame-timeout", "1"]);
        assert_said(&output, 1, &words);
        assert_said(&output, 1, &["Every kept frame is safe"]);
        assert_eq!(status(home.path(), &dir)["stops"][0]["state"], "missing");
        assert_eq!(fs::read_dir(dir.join("frames")).unwrap().count(), 0);
    }
    // The same folder, the camera mended: the set is finished, and the rubbish is still there to look at.
    let output = with_camera(home.path(), &plan, &dir, &format!("command:cp {good} {{file}}"), &[]);
    assert_said(&output, 0, &["complete"]);
    assert_complete(home.path(), &dir);
    assert!(fs::read_dir(dir.join("quarantine")).unwrap().count() >= 4);
}

#[test]
fn commands_that_make_no_sense_are_refused_at_once() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 3);
    for (camera, words) in [("command:cp a b", "no {file}"), ("folder:no/such/place", "is not there")] {
        assert_said(&with_camera(home.path(), &plan, &home.path().join("D"), camera, &[]), 1, &[words]);
    }
    assert_said(&with_camera(home.path(), &plan, &home.path().join("D"), "lens", &[]), 2, &["is no camera"]);
}

#[test]
fn no_frame_at_all_and_two_frames_in_a_folder() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 2);
    let card = home.path().join("card");
    fs::create_dir(&card).unwrap();
    let dir = home.path().join("D");
    let camera = format!("folder:{}", card.display());
    let output = with_camera(home.path(), &plan, &dir, &camera, &["--frame-timeout", "0.5"]);
    assert_said(&output, 1, &["no complete frame came", "check that the camera saves"]);
}

#[test]
fn a_port_that_is_missing_or_forbidden() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 2);
    let dir = home.path().join("D");
    let shoot = |table: &str| {
        run(
            home.path(),
            &[
                "shoot",
                "--plan",
                plan.to_str().unwrap(),
                "--into",
                dir.to_str().unwrap(),
                "--table",
                table,
                "--camera",
                "command:cp x {file}",
            ],
        )
    };
    assert_said(&shoot("serial:/dev/not-there"), 1, &["/dev/not-there", "cannot be opened"]);
    assert_said(&shoot("serial:"), 2, &["is no table"]);
    let file = home.path().join("plain-file");
    fs::write(&file, b"not a port").unwrap();
    assert_said(&shoot(&format!("serial:{}", file.display())), 1, &["cannot be opened"]);
}

/// Runs the program as somebody who owns nothing; `None` where this test may not.
fn as_nobody(args: &[&str]) -> Option<std::process::Output> {
    let output = Command::new("setpriv")
        .args(["--reuid", "65534", "--regid", "65534", "--clear-groups", env!("CARGO_BIN_EXE_roundstop")])
        .args(args)
        .env_remove("DISPLAY")
        .output()
        .ok()?;
    let refused = said(&output).contains("setpriv:");
    (!refused).then_some(output)
}

#[test]
fn a_folder_or_port_without_permission() {
    let home = tempfile::tempdir().unwrap();
    fs::set_permissions(home.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let plan = plan(home.path(), "plan.json", 2);
    fs::set_permissions(&plan, fs::Permissions::from_mode(0o644)).unwrap();
    let dir = home.path().join("D");
    fs::create_dir(&dir).unwrap();
    let Some(output) = as_nobody(&quick(&plan, &dir)) else {
        eprintln!("not run: this needs root and setpriv");
        return;
    };
    assert_said(&output, 1, &["no permission", "D"]);

    let controller = support::Controller::start(home.path(), "table", &["--speed", "max"]);
    let slave = fs::canonicalize(&controller.link).unwrap();
    fs::set_permissions(&slave, fs::Permissions::from_mode(0o600)).unwrap();
    fs::set_permissions(&dir, fs::Permissions::from_mode(0o777)).unwrap();
    let table = controller.table();
    let output = as_nobody(&[
        "shoot",
        "--plan",
        plan.to_str().unwrap(),
        "--into",
        dir.to_str().unwrap(),
        "--table",
        &table,
        "--camera",
        "command:cp x {file}",
    ])
    .unwrap();
    assert_said(&output, 1, &["cannot be opened", "you may not use it", "dialout"]);
}

#[test]
fn a_full_disk_stops_the_session_with_every_kept_frame_safe_and_goes_on_with_room() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 12);
    let disk = home.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=100k", "tmpfs"]).arg(&disk).status();
    if !mounted.is_ok_and(|status| status.success()) {
        eprintln!("not run: this needs the right to mount a small disk");
        return;
    }
    let dir = disk.join("D");
    let output = run(home.path(), &quick(&plan, &dir));
    let first = status(home.path(), &dir);
    let room = Command::new("mount").args(["-o", "remount,size=20m"]).arg(&disk).status();
    let again = run(home.path(), &quick(&plan, &dir));
    let second = status(home.path(), &dir);
    let read_only = Command::new("mount").args(["-o", "remount,ro"]).arg(&disk).status();
    let third = run(home.path(), &quick(&plan, &dir));
    let looked = status(home.path(), &dir);
    let complete = std::panic::catch_unwind(|| assert_complete(home.path(), &dir).len());
    let _ = Command::new("umount").arg(&disk).status();

    assert_said(&output, 1, &["the disk is full", "free some room", "Every kept frame is safe"]);
    let kept = |status: &serde_json::Value| {
        status["stops"].as_array().unwrap().iter().filter(|stop| stop["state"] == "kept").count()
    };
    assert!((1..12).contains(&kept(&first)), "{}", kept(&first));
    assert!(room.unwrap().success());
    assert_said(&again, 0, &["complete"]);
    assert_eq!(kept(&second), 12);
    for (before, after) in first["stops"].as_array().unwrap().iter().zip(second["stops"].as_array().unwrap())
    {
        assert!(before["sha256"].is_null() || before["sha256"] == after["sha256"]);
    }
    assert!(read_only.unwrap().success());
    assert_said(&third, 1, &["read-only"]);
    assert_eq!(looked, second);
    assert_eq!(complete.unwrap(), 12);
}
