//! The program killed at 200 random moments, each time opened again and, in the end, finished.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeMap;
use std::io::Read;
use std::process::Stdio;
use std::thread;
use std::time::{Duration, Instant};

use support::{assert_complete, kept, plan, quick, roundstop};

const KILLS: u32 = 200;
const STOPS: u32 = 12;

/// A small generator of its own (Numerical Recipes' constants, from memory): the moments can be repeated.
struct Moments(u64);

impl Moments {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[test]
fn two_hundred_kills_lose_nothing() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", STOPS);

    // How long a whole set takes here, so that the moments fall all over it.
    let started = Instant::now();
    let whole = home.path().join("whole");
    assert!(roundstop(home.path()).args(quick(&plan, &whole)).output().unwrap().status.success());
    let span = started.elapsed();

    let mut moments = Moments(20_260_314);
    let mut set = 0;
    let mut before = BTreeMap::new();
    let mut finished_by_itself = 0;
    let mut killed_after_first_frame = 0;
    for kill in 1..=KILLS {
        let dir = home.path().join(format!("set-{set}"));
        let mut child = roundstop(home.path())
            .args(quick(&plan, &dir))
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        thread::sleep(Duration::from_secs_f64(span.as_secs_f64() * moments.next()));
        let ended = child.try_wait().unwrap();
        child.kill().unwrap();
        let _ = child.wait();
        let mut said = String::new();
        let _ = child.stderr.take().unwrap().read_to_string(&mut said);

        let now = kept(&dir);
        for (file, digest) in &before {
            assert_eq!(now.get(file), Some(digest), "kill {kill} lost or changed {file}");
        }
        // What the program said it kept is kept.
        let names = said.lines().filter_map(|line| line.split(" kept: ").nth(1));
        for name in names {
            assert!(now.contains_key(&format!("frames/{name}")), "kill {kill}: {name} was said to be kept");
        }
        killed_after_first_frame += u32::from(!now.is_empty());
        if let Some(status) = ended {
            assert!(status.success(), "kill {kill}: {said}");
            assert_complete(home.path(), &dir);
            finished_by_itself += 1;
            set += 1;
            before = BTreeMap::new();
        } else {
            before = now;
        }
    }
    // The last one is let through to its end.
    let dir = home.path().join(format!("set-{set}"));
    assert!(roundstop(home.path()).args(quick(&plan, &dir)).output().unwrap().status.success());
    assert_complete(home.path(), &dir);
    for (file, digest) in &before {
        assert_eq!(kept(&dir).get(file), Some(digest));
    }
    println!(
        "{KILLS} kills over {} sets, {killed_after_first_frame} with frames on disk, {finished_by_itself} came too late",
        set + 1
    );
    assert!(killed_after_first_frame > KILLS / 4, "the moments fell before anything happened");
}
