//! What checks find, on record and on the session's threads.

#![allow(clippy::disallowed_methods, reason = "the tests play crashes and earlier programs")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::BTreeSet;
use std::fs;
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

use session_core::angle::Angle;
use session_core::camera::simulated::{Render, SimCamera};
use session_core::camera::{Arrival, CameraError};
use session_core::cancel::CancelToken;
use session_core::check::{
    Finding, Flag, FlagKind, FlagPolicy, FrameChecker, FrameToCheck, Response, SeenAngle,
};
use session_core::clock::{Clock, SimSpeed};
use session_core::engine::{Intent, Mode, Shot};
use session_core::journal::{KeepJob, Ledger, Record, SessionFolder};
use session_core::motion::Direction;
use session_core::plan::Plan;
use session_core::runner::{self, Eyes, RunOptions};
use session_core::turntable::simulated::{SimTable, SimTableSettings};
use session_core::view::Update;

/// A whole JPEG by structure (ITU-T T.81 annex B).
fn jpeg(filling: u8) -> Vec<u8> {
    vec![0xff, 0xd8, 0xff, 0xda, 0x00, 0x02, filling & 0x7f, 0xff, 0xd9]
}

fn keep(folder: &SessionFolder, shot: u64, stop: u32) {
    keep_at(folder, shot, stop, 10);
}

fn keep_at(folder: &SessionFolder, shot: u64, stop: u32, step: i64) {
    let job = KeepJob {
        shot: Shot { number: shot, stop, commanded_step: step, reported_step: step },
        source: "test camera".to_owned(),
        exposed_at: "2026-03-14T09:26:53Z".parse().unwrap(),
        arrivals: vec![Arrival::Bytes { name: "IMG.JPG".to_owned(), bytes: Arc::new(jpeg(shot as u8)) }],
        settings: None,
    };
    folder.keep(&job).unwrap();
}

fn flag(kind: FlagKind) -> Flag {
    Flag { kind, reason: "seen".to_owned(), amount: -1.25, unit: "EV".to_owned() }
}

fn found(stop: u32, version: u32, kinds: &[FlagKind]) -> Finding {
    Finding { stop, version, flags: kinds.iter().copied().map(flag).collect(), seen_angle: None }
}

fn journal_lines(folder: &SessionFolder) -> usize {
    fs::read_to_string(folder.root().join("journal.jsonl")).unwrap().lines().count()
}

#[test]
fn findings_stay_with_their_version_and_come_back_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 3)).unwrap();
    for (shot, stop) in [(1, 1), (2, 2), (3, 2)] {
        keep(&folder, shot, stop);
    }
    folder.note_finding(&found(2, 1, &[FlagKind::ExposureOff])).unwrap();
    folder.note_finding(&found(2, 2, &[])).unwrap();
    folder.note_finding(&found(1, 1, &[FlagKind::Duplicate])).unwrap();
    // What is found again is no news; what is found anew takes its place.
    let lines = journal_lines(&folder);
    folder.note_finding(&found(2, 1, &[FlagKind::ExposureOff])).unwrap();
    assert_eq!(journal_lines(&folder), lines);
    folder.note_finding(&found(1, 1, &[])).unwrap();
    // On a version that is not there, or a stop that is not in the plan, nothing is kept.
    folder.note_finding(&found(3, 1, &[FlagKind::Clipped])).unwrap();
    folder.note_finding(&found(9, 1, &[FlagKind::Clipped])).unwrap();
    drop(folder);

    let status = SessionFolder::read_status(dir.path()).unwrap();
    assert_eq!(status.stops[1].versions[0].flags, Some(vec![flag(FlagKind::ExposureOff)]));
    assert_eq!(status.stops[1].versions[1].flags, Some(vec![]));
    assert_eq!(status.flagged().count(), 0, "the flagged version is not in use");
    let folder = SessionFolder::open(dir.path()).unwrap();
    folder.choose_version(&[2], 1).unwrap();
    assert_eq!(folder.status().flagged().map(|stop| stop.index).collect::<Vec<_>>(), [2]);
    assert!(folder.status().stops[2].versions.is_empty());
    let seed = folder.checks_seed(FlagPolicy::default(), Duration::from_secs(1));
    assert!(seed.found.contains(&(2, 1, BTreeSet::from([FlagKind::ExposureOff]))));
    assert_eq!(seed.open_rows, BTreeSet::from([0]));
    // A frame whose file is gone takes what was found on it along.
    let gone = dir.path().join(folder.status().stops[1].versions[0].files[0].clone());
    drop(folder);
    fs::remove_file(gone).unwrap();
    let status = SessionFolder::read_status(dir.path()).unwrap();
    assert_eq!((status.stops[1].versions.len(), status.flagged().count()), (1, 0));
}

#[test]
fn an_angle_seen_stays_until_it_is_measured_again() {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 3)).unwrap();
    keep(&folder, 1, 1);
    keep(&folder, 2, 2);
    let told = SeenAngle::Told { degrees: 120.013, uncertainty_deg: 0.02 };
    let cannot = SeenAngle::CannotTell { cannot_tell: "too little detail".to_owned() };
    let seen =
        |stop: u32, seen: &SeenAngle| Finding { seen_angle: Some(seen.clone()), ..found(stop, 1, &[]) };
    folder.note_finding(&seen(1, &cannot)).unwrap();
    folder.note_finding(&seen(2, &told)).unwrap();
    // The same again, and a look that measures no angle, are no news.
    let lines = journal_lines(&folder);
    folder.note_finding(&seen(2, &told)).unwrap();
    folder.note_finding(&found(2, 1, &[])).unwrap();
    assert_eq!(journal_lines(&folder), lines);
    // Another flag takes nothing away from the angle.
    folder.note_finding(&found(2, 1, &[FlagKind::Clipped])).unwrap();
    keep(&folder, 3, 2);
    drop(folder);
    let angles = |status: &session_core::journal::SetStatus, stop: usize| {
        let versions = status.stops[stop - 1].versions.iter();
        versions.map(|version| version.seen_angle.clone()).collect::<Vec<_>>()
    };
    let status = SessionFolder::read_status(dir.path()).unwrap();
    assert_eq!(angles(&status, 1), [Some(cannot)]);
    assert_eq!(angles(&status, 2), [Some(told.clone()), None], "a new version is not measured yet");
    // A window shows the same.
    let folder = SessionFolder::open(dir.path()).unwrap();
    let views = folder.pictures_of(&folder.shots()[1]);
    assert_eq!(views.into_iter().map(|view| view.seen_angle).collect::<Vec<_>>(), [Some(told), None]);
}

#[test]
fn a_row_counts_as_judged_until_another_frame_comes_into_use() {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 2)).unwrap();
    keep(&folder, 1, 1);
    keep(&folder, 2, 2);
    folder.note_finding(&found(1, 1, &[])).unwrap();
    let open = |folder: &SessionFolder| {
        !folder.checks_seed(FlagPolicy::default(), Duration::ZERO).open_rows.is_empty()
    };
    assert!(open(&folder));
    let judged = folder.row_to_check(0);
    folder.note_row_checked(0, &judged).unwrap();
    assert!(!open(&folder));
    keep(&folder, 3, 2);
    assert!(open(&folder));
    // Judged before that frame came: it does not count.
    folder.note_row_checked(0, &judged).unwrap();
    assert!(open(&folder));
    // A frame judged late is judged as it was, beside what is in use by now.
    let about: Vec<u32> = folder.row_about(2, 1).iter().map(|frame| frame.version).collect();
    assert_eq!(about, [1, 1]);
}

#[test]
fn a_journal_from_before_there_were_checks_is_read_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 2)).unwrap();
    keep(&folder, 1, 1);
    keep(&folder, 2, 2);
    let seed = folder.checks_seed(FlagPolicy::default(), Duration::ZERO);
    assert!(seed.found.is_empty() && seed.open_rows.is_empty());
    let status = folder.status();
    assert!(status.complete && status.stops[0].versions[0].flags.is_none());
}

fn zero(folder: &SessionFolder, last_shot_before: Option<u64>) {
    // Always the same name: a table may use one again.
    folder.append(Record::ZeroSet { zero: "zero".to_owned(), last_shot_before }).unwrap();
}

/// Whether the closing frame counts: in the status, and among the frames to be looked at.
fn closes(folder: &SessionFolder) -> bool {
    let told = folder.status().closing[0].is_a_turn_on;
    assert_eq!(folder.row_to_check(0).iter().any(|frame| frame.closing), told);
    told
}

#[test]
fn a_closing_frame_counts_only_from_the_zero_of_its_rows_first_frame() {
    let dir = tempfile::tempdir().unwrap();
    let plan = Plan { closing_frame: true, ..Plan::single_row("LH-1", 4) };
    let folder = SessionFolder::open_or_create(dir.path(), &plan).unwrap();
    let turn = folder.steps_per_turn().nearest_step(Angle::TURN);
    zero(&folder, Some(0));
    keep_at(&folder, 1, 1, 0);
    keep_at(&folder, 2, 5, turn);
    assert!(closes(&folder));
    // The product was placed anew by hand: the same steps no longer tell of the turn.
    zero(&folder, Some(2));
    keep_at(&folder, 3, 5, turn);
    assert!(!closes(&folder));
    let step = |folder: &SessionFolder, stop: usize| folder.seeds()[stop - 1].step;
    assert_eq!((step(&folder, 1), step(&folder, 5)), (None, Some(turn)));
    keep_at(&folder, 4, 1, 0);
    assert!(closes(&folder));
    // Two frames of the zero before still belong together.
    folder.choose_version(&[1, 5], 1).unwrap();
    assert!(closes(&folder));
    assert_eq!((step(&folder, 1), step(&folder, 5)), (None, None));
    drop(folder);
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert!(closes(&folder));
    folder.choose_version(&[5], 2).unwrap();
    assert!(!closes(&folder));
}

#[test]
fn a_frame_kept_after_a_zero_it_was_shot_before_counts_from_the_old_one() {
    let turn = |folder: &SessionFolder| folder.steps_per_turn().nearest_step(Angle::TURN);
    let plan = Plan { closing_frame: true, ..Plan::single_row("LH-1", 4) };
    // In an older journal the order of the lines is all there is.
    for (before, is_old) in [(Some(1), true), (None, false)] {
        let dir = tempfile::tempdir().unwrap();
        let folder = SessionFolder::open_or_create(dir.path(), &plan).unwrap();
        zero(&folder, Some(0));
        zero(&folder, before);
        keep_at(&folder, 1, 1, 0);
        keep_at(&folder, 2, 5, turn(&folder));
        assert_eq!(closes(&folder), !is_old);
        assert_eq!(folder.seeds()[0].step.is_none(), is_old);
    }
    // An exposure that a zero names and that left nothing else behind is not counted twice.
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &plan).unwrap();
    zero(&folder, Some(7));
    assert_eq!(folder.with_ledger(Ledger::last_shot), 7);
}

/// Finds a flaw on the first version of one stop, breaks down on another, and dawdles everywhere.
struct Moody;

impl FrameChecker for Moody {
    fn check_frame(
        &mut self,
        row: &[FrameToCheck],
        stop: u32,
        cancel: &CancelToken,
        tell: &mut dyn FnMut(Finding),
    ) {
        assert_ne!(stop, 2, "the checker breaks down");
        let this = row.iter().find(|frame| frame.stop == stop).unwrap();
        assert!(fs::read(&this.path).is_ok(), "looked at before it was kept");
        for _ in 0..5 {
            if cancel.is_cancelled() {
                return;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        let flaw: &[FlagKind] = if (stop, this.version) == (3, 1) { &[FlagKind::Damaged] } else { &[] };
        tell(found(stop, this.version, flaw));
    }

    fn check_row(
        &mut self,
        row: &[FrameToCheck],
        _: Direction,
        _: &CancelToken,
        tell: &mut dyn FnMut(Finding),
    ) -> Result<Option<String>, String> {
        for frame in row {
            tell(found(frame.stop, frame.version, &[]));
        }
        Ok(Some("The row was looked at.".to_owned()))
    }
}

#[test]
fn a_checker_that_breaks_down_costs_no_frame_and_what_it_finds_is_shot_again() {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 6)).unwrap();
    let clock = Clock::new(SimSpeed::Max);
    let (table, probe) = SimTable::new(SimTableSettings::default(), clock.clone());
    let render: Render = Arc::new(|exposure| Ok(jpeg(exposure.shot as u8)));
    let camera = SimCamera::new(probe, clock.clone(), Duration::ZERO, render);
    let (sender, news) = channel();
    let mut on_flag = FlagPolicy::default();
    on_flag.choose(FlagKind::Damaged, Response::Retake);
    let options = RunOptions { on_flag, ..RunOptions::default() };
    let eyes = Eyes { checker: Some(Box::new(Moody)), rest: None };
    let handle =
        runner::start(folder, Box::new(table), Box::new(camera), eyes, clock, options, move |update| {
            let _ = sender.send(update);
        })
        .map_err(|error| CameraError::Failed(error.to_string()))
        .unwrap();
    handle.send(Intent::Start);
    let mut told = Vec::new();
    loop {
        let update = news.recv_timeout(Duration::from_secs(60)).expect("the session goes on");
        match update {
            Update::View(view) if view.mode == Mode::Finished => break,
            Update::Flagged { stop, version, again, .. } => told.push((stop, version, again)),
            Update::Prompt { text, .. } if text.contains("failed while it looked") => {
                told.push((2, 0, false));
            }
            _ => {}
        }
    }
    assert_eq!(told, [(2, 0, false), (3, 1, true)]);
    let status = handle.finish().unwrap().status();
    assert!(status.complete);
    assert_eq!(status.stops.iter().map(|stop| stop.versions.len()).collect::<Vec<_>>(), [1, 1, 2, 1, 1, 1]);
    assert_eq!(status.stops[2].versions[0].flags, Some(vec![flag(FlagKind::Damaged)]));
    assert_eq!(status.flagged().count(), 0);
}
