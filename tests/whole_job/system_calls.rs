//! The program killed before, and failed in, every system call that makes a frame last.
//!
//! `strace` injects the fault at the N-th call of each thread, N counting up until the program gets
//! through: so no instant between two steps of keeping a frame is left to chance.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use support::{assert_complete, kept, plan, quick, roundstop};

/// Runs a session under a fault; tells whether the fault struck at all.
fn run_with(fault: &str, call: &str, home: &Path, plan: &Path, dir: &Path) -> bool {
    let trace = home.join("trace");
    Command::new("strace")
        .args(["-f", "-qq", "-e", &format!("trace={call}"), "-e", &format!("inject={call}:{fault}"), "-o"])
        .arg(&trace)
        .arg(env!("CARGO_BIN_EXE_roundstop"))
        .args(quick(plan, dir))
        .env("HOME", home)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap();
    let trace = fs::read_to_string(trace).unwrap();
    trace.contains("INJECTED") || trace.contains("killed by SIGKILL")
}

fn every_call(fault: &str, calls: &[&str]) {
    if Command::new("strace").arg("-V").stdout(Stdio::null()).status().is_err() {
        assert!(std::env::var_os("CI").is_none(), "strace is missing");
        eprintln!("not run: strace is not installed");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 2);
    for call in calls {
        let mut struck = 0;
        loop {
            assert!(struck < 200, "{call} is called without end");
            let n = struck + 1;
            let dir = home.path().join(format!("{call}-{n}"));
            if !run_with(&format!("{fault}:when={n}"), call, home.path(), &plan, &dir) {
                break;
            }
            struck = n;
            let before = kept(&dir);
            // Opened again without the fault, the set is finished and nothing kept is lost or changed.
            let again = roundstop(home.path()).args(quick(&plan, &dir)).output().unwrap();
            assert!(again.status.success(), "{call} {n}: {}", support::said(&again));
            assert_complete(home.path(), &dir);
            let after = kept(&dir);
            for (file, digest) in &before {
                assert_eq!(after.get(file), Some(digest), "{call} {n}");
            }
        }
        println!("{fault} at {call}: struck at {struck} places");
        assert!(struck > 0, "{call} is never called, so this checks nothing");
    }
}

#[test]
fn a_kill_before_any_sync_or_rename_loses_no_kept_frame() {
    every_call("signal=KILL", &["fdatasync", "fsync", "renameat2", "rmdir"]);
}

#[test]
fn an_input_output_error_at_any_sync_or_rename_loses_no_kept_frame() {
    every_call("error=EIO", &["fdatasync", "fsync", "renameat2"]);
}

#[test]
fn a_full_disk_at_any_write_loses_no_kept_frame() {
    every_call("error=ENOSPC", &["write"]);
}

#[test]
fn every_new_folder_above_a_set_is_made_to_last() {
    if Command::new("strace").arg("-V").stdout(Stdio::null()).status().is_err() {
        eprintln!("not run: strace is not installed");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let root = fs::canonicalize(home.path()).unwrap();
    let plan = plan(&root, "plan.json", 1);
    let trace = root.join("trace");
    let shot = Command::new("strace")
        .args(["-f", "-qq", "-y", "-e", "trace=fsync", "-o"])
        .arg(&trace)
        .arg(env!("CARGO_BIN_EXE_roundstop"))
        .args(quick(&plan, Path::new("new/set")))
        .current_dir(&root)
        .env("HOME", &root)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert!(shot.status.success(), "{}", support::said(&shot));
    let trace = fs::read_to_string(trace).unwrap();
    for folder in [root.clone(), root.join("new"), root.join("new/set")] {
        assert!(trace.contains(&format!("<{}>)", folder.display())), "{} is not synced", folder.display());
    }
}
