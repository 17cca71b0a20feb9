//! The session folder through crashes, damage, and a second program.

#![allow(clippy::disallowed_methods, reason = "the tests play crashes and foreign programs")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::fs;
use std::path::Path;
use std::sync::Arc;

use session_core::camera::Arrival;
use session_core::engine::{KeepFailure, Shot, StopState};
use session_core::journal::{ChoiceError, FolderError, KeepJob, KeptFrame, Record, SessionFolder};
use session_core::motion::Direction;
use session_core::plan::{Plan, Row};

/// A whole JPEG by structure (ITU-T T.81 annex B): start, one empty scan, `filling`, end.
fn jpeg(filling: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xd8, 0xff, 0xda, 0x00, 0x02];
    bytes.extend(filling.iter().filter(|byte| **byte != 0xff));
    bytes.extend([0xff, 0xd9]);
    bytes
}

fn job(shot: u64, stop: u32, files: &[(&str, Vec<u8>)]) -> KeepJob {
    KeepJob {
        shot: Shot { number: shot, stop, commanded_step: 10, reported_step: 10 },
        source: "test camera".to_owned(),
        exposed_at: "2026-03-14T09:26:53Z".parse().unwrap(),
        arrivals: files
            .iter()
            .map(|(name, bytes)| Arrival::Bytes { name: (*name).to_owned(), bytes: Arc::new(bytes.clone()) })
            .collect(),
        settings: None,
    }
}

fn keep(folder: &SessionFolder, shot: u64, stop: u32, filling: &[u8]) -> KeptFrame {
    folder.keep(&job(shot, stop, &[("IMG.JPG", jpeg(filling))])).unwrap()
}

fn new_set(root: &Path, stops: u32) -> SessionFolder {
    SessionFolder::open_or_create(root, &Plan::single_row("LH-1", stops)).unwrap()
}

/// Every file below a folder with its bytes and time of change.
fn all_files(root: &Path) -> Vec<(String, Vec<u8>, std::time::SystemTime)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(root).unwrap() {
        let path = entry.unwrap().path();
        let modified = fs::metadata(&path).unwrap().modified().unwrap();
        found.push((
            path.file_name().unwrap().to_string_lossy().into_owned(),
            fs::read(&path).unwrap(),
            modified,
        ));
    }
    found.sort();
    found
}

#[test]
fn a_kept_frame_is_on_disk_byte_for_byte_with_its_digest() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 4);
    let frame = keep(&folder, 1, 2, b"glaze");
    assert_eq!(fs::read(&frame.path).unwrap(), jpeg(b"glaze"));
    let status = folder.status();
    assert_eq!(status.stops[1].state, StopState::Kept);
    assert_eq!(status.stops[1].file.as_deref(), Some("frames/LH-1_level_02_090.jpg"));
    assert!(!status.complete);
    drop(folder);
    assert_eq!(SessionFolder::read_status(dir.path()).unwrap(), status);
}

/// FIPS 180-4 test vector: SHA-256 of "abc".
#[test]
fn digests_are_sha_256() {
    use sha2::{Digest, Sha256};
    let digest: String = Sha256::digest(b"abc").iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    keep(&folder, 1, 1, b"clay");
    let own: String = Sha256::digest(jpeg(b"clay")).iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(folder.status().stops[0].sha256.as_deref(), Some(own.as_str()));
}

#[test]
fn a_retake_adds_a_version_and_touches_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 3);
    for stop in 1..=3 {
        keep(&folder, stop.into(), stop, &[stop as u8]);
    }
    let before = all_files(&folder.frames_folder());
    let frame = keep(&folder, 4, 2, b"again");
    assert_eq!(frame.version, 2);
    assert!(frame.path.ends_with("frames/LH-1_level_02_120_v2.jpg"));
    let after = all_files(&folder.frames_folder());
    assert_eq!(after.len(), before.len() + 1);
    assert!(before.iter().all(|file| after.contains(file)));
    let status = folder.status();
    assert_eq!(status.stops[1].versions.len(), 2);
    assert_eq!(status.stops[1].file.as_deref(), Some("frames/LH-1_level_02_120_v2.jpg"));
}

#[test]
fn raw_and_jpeg_of_one_exposure_are_one_frame_with_two_files() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 2);
    let mut raw = b"II*\0".to_vec();
    raw.extend([7; 64]);
    folder.keep(&job(1, 1, &[("A.CR2", raw), ("A.JPG", jpeg(b"x"))])).unwrap();
    let status = folder.status();
    let version = &status.stops[0].versions[0];
    assert_eq!(version.files, ["frames/LH-1_level_01_000.jpg", "frames/LH-1_level_01_000.cr2"]);
    let two = folder.keep(&job(2, 2, &[("A.JPG", jpeg(b"x")), ("B.JPG", jpeg(b"y"))]));
    assert!(matches!(two, Err(KeepFailure::BadFrame(reason)) if reason.contains("two jpg files")));
}

#[test]
fn what_is_no_whole_picture_is_refused_with_the_reason() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    let whole = jpeg(b"abcdefgh");
    for (bytes, words) in [
        (vec![], "empty"),
        (whole[..whole.len() - 1].to_vec(), "cut short"),
        (whole[..whole.len() - 4].to_vec(), "cut short"),
        (b"<html><body>no picture here</body></html>".to_vec(), "not a picture"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec(), "cut short"),
    ] {
        let refused = folder.keep(&job(1, 1, &[("IMG.JPG", bytes)]));
        assert!(
            matches!(&refused, Err(KeepFailure::BadFrame(reason)) if reason.contains(words)),
            "{refused:?}"
        );
    }
    assert_eq!(fs::read_dir(folder.frames_folder()).unwrap().count(), 0);
    assert_eq!(folder.status().stops[0].state, StopState::Missing);
}

#[test]
fn a_file_that_is_there_already_is_never_replaced() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    let foreign = folder.frames_folder().join("LH-1_level_01_000.jpg");
    fs::write(&foreign, b"the photographer's own").unwrap();
    let frame = keep(&folder, 1, 1, b"new");
    assert_eq!(frame.version, 2);
    assert_eq!(fs::read(&foreign).unwrap(), b"the photographer's own");
    drop(folder);
    let status = SessionFolder::read_status(dir.path()).unwrap();
    assert_eq!(
        status.notes,
        ["Files in frames/ that no record knows were left alone: LH-1_level_01_000.jpg."]
    );
}

#[test]
fn a_second_program_is_refused_in_plain_words_and_looking_is_not() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    let error = SessionFolder::open(dir.path()).unwrap_err();
    assert!(matches!(error, FolderError::InUse(_)));
    assert!(error.to_string().contains("in use by another Roundstop"), "{error}");
    assert!(SessionFolder::read_status(dir.path()).is_ok());
    drop(folder);
    assert!(SessionFolder::open(dir.path()).is_ok());
}

#[test]
fn another_plan_is_refused_unless_it_is_carried_over() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = new_set(dir.path(), 4);
    for stop in 1..=4 {
        keep(&folder, stop.into(), stop, &[stop as u8]);
    }
    drop(folder);
    let eight = Plan::single_row("LH-1", 8);
    let refused = SessionFolder::open_or_create(dir.path(), &eight).unwrap_err();
    assert!(matches!(refused, FolderError::OtherPlan { .. }));
    folder = SessionFolder::open(dir.path()).unwrap();
    folder.set_plan(eight).unwrap();
    // 0°, 90°, 180° and 270° keep their frames as stops 1, 3, 5 and 7 of eight.
    let kept: Vec<u32> = folder
        .status()
        .stops
        .iter()
        .filter(|stop| stop.state == StopState::Kept)
        .map(|stop| stop.index)
        .collect();
    assert_eq!(kept, [1, 3, 5, 7]);
    let mut other_row = Plan::single_row("LH-1", 4);
    other_row.rows = vec![Row::full_turn("high", 4)];
    folder.set_plan(other_row).unwrap();
    assert_eq!(folder.status().kept(), 0);
}

#[test]
fn a_plan_turned_round_does_not_mirror_the_frames_of_the_old_one() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = new_set(dir.path(), 4);
    let turned = Plan { direction: Direction::Clockwise, ..folder.plan().clone() };
    folder.set_plan(turned.clone()).unwrap();
    keep(&folder, 1, 2, b"clockwise");
    let back = Plan { direction: Direction::Anticlockwise, ..turned.clone() };
    let refused = folder.set_plan(back).unwrap_err();
    assert!(matches!(refused, FolderError::TurnedRound(_)));
    assert!(refused.to_string().contains("mirrored"), "{refused}");
    assert_eq!(*folder.plan(), turned);
    assert_eq!(folder.status().kept(), 1);
}

#[test]
fn a_journal_cut_at_any_byte_opens_with_every_frame_recorded_before_the_cut() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 5);
    let mut ends = vec![0];
    let path = dir.path().join("journal.jsonl");
    for stop in 1..=5 {
        keep(&folder, stop.into(), stop, &[stop as u8; 30]);
        ends.push(fs::metadata(&path).unwrap().len() as usize);
    }
    drop(folder);
    let whole = fs::read(&path).unwrap();
    let frames = all_files(&dir.path().join("frames"));
    for cut in (0..whole.len()).step_by(7).chain(ends.iter().copied()) {
        fs::write(&path, &whole[..cut]).unwrap();
        let recorded = ends.iter().filter(|end| **end > 0 && **end <= cut).count();
        assert_eq!(SessionFolder::read_status(dir.path()).unwrap().kept(), recorded, "cut at {cut}");
        let folder = SessionFolder::open(dir.path()).unwrap();
        // A frame whose arrival is on record with its digest may be taken up as well; never fewer.
        let kept = folder.status().kept();
        assert!(kept >= recorded && kept <= recorded + 1, "cut at {cut}: {kept} of {recorded}");
        let folded = folder.status().stops;
        drop(folder);
        // Opening again changes nothing more, and no frame file was touched by any of it.
        let again = SessionFolder::open(dir.path()).unwrap();
        assert_eq!(again.status().stops, folded);
        assert!(again.recovery().taken_up.is_empty() && !again.recovery().torn_journal);
        assert_eq!(all_files(&dir.path().join("frames")), frames, "cut at {cut}");
    }
}

#[test]
fn damage_in_the_middle_of_the_journal_costs_only_its_own_line() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 3);
    for stop in 1..=3 {
        keep(&folder, stop.into(), stop, &[stop as u8]);
    }
    drop(folder);
    let path = dir.path().join("journal.jsonl");
    let text = fs::read_to_string(&path).unwrap();
    let line = text
        .lines()
        .position(|line| line.contains("\"kind\":\"kept\"") && line.contains("\"stop\":2"))
        .unwrap();
    let spoiled: Vec<String> = text
        .lines()
        .enumerate()
        .map(
            |(at, text)| {
                if at == line { text.replacen("\"stop\":2", "\"stop\":3", 1) } else { text.to_owned() }
            },
        )
        .collect();
    fs::write(&path, spoiled.join("\n") + "\n").unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert_eq!(folder.recovery().damaged_lines, 1);
    // The frame itself is whole and its arrival is on record, so it is taken up again.
    assert_eq!(folder.status().kept(), 3);
}

#[test]
fn a_kill_between_bytes_and_record_is_made_good() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 2);
    keep(&folder, 1, 1, b"one");
    drop(folder);
    let journal = dir.path().join("journal.jsonl");
    let text = fs::read_to_string(&journal).unwrap();
    // As if killed before the last record: the file has its name already.
    let without_kept: String = text
        .lines()
        .filter(|line| !line.contains("\"kind\":\"kept\""))
        .map(|line| format!("{line}\n"))
        .collect();
    let frames = dir.path().join("frames");
    for renamed in [true, false] {
        fs::write(&journal, &without_kept).unwrap();
        if !renamed {
            fs::rename(frames.join("LH-1_level_01_000.jpg"), frames.join("LH-1_level_01_000.jpg.part"))
                .unwrap();
        }
        let folder = SessionFolder::open(dir.path()).unwrap();
        assert_eq!(folder.recovery().taken_up, ["LH-1_level_01_000.jpg"]);
        assert_eq!(folder.status().kept(), 1);
        assert_eq!(fs::read(frames.join("LH-1_level_01_000.jpg")).unwrap(), jpeg(b"one"));
    }
    // As if killed while the bytes were written: half a file is no frame, and it is not thrown away.
    fs::write(&journal, &without_kept).unwrap();
    fs::rename(frames.join("LH-1_level_01_000.jpg"), dir.path().join("elsewhere.jpg")).unwrap();
    fs::write(frames.join("LH-1_level_01_000.jpg.part"), &jpeg(b"one")[..5]).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert_eq!(folder.status().kept(), 0);
    assert_eq!(folder.recovery().quarantined, ["LH-1_level_01_000.jpg.part"]);
    assert!(dir.path().join("quarantine/LH-1_level_01_000.jpg.part").exists());
}

#[test]
fn a_recorded_file_that_is_gone_is_shot_again() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 2);
    let first = keep(&folder, 1, 1, b"one");
    let second = keep(&folder, 2, 1, b"two");
    drop(folder);
    fs::rename(&second.path, dir.path().join("moved.jpg")).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert_eq!(folder.status().stops[0].file.as_deref(), Some("frames/LH-1_level_01_000.jpg"));
    assert_eq!(folder.recovery().gone.len(), 1);
    drop(folder);
    fs::rename(&first.path, dir.path().join("moved-too.jpg")).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert_eq!(folder.status().stops[0].state, StopState::Missing);
    // Its number is not used again, so that names of gone files stay free for them.
    assert!(keep(&folder, 3, 1, b"three").version >= 1);
}

#[test]
fn a_folder_from_a_newer_program_or_with_a_spoiled_session_file_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    drop(new_set(dir.path(), 2));
    let path = dir.path().join("session.json");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen("\"schema\": 1", "\"schema\": 9", 1)).unwrap();
    assert!(matches!(SessionFolder::open(dir.path()), Err(FolderError::Newer { found: 9, .. })));
    fs::write(&path, &text[..text.len() / 2]).unwrap();
    assert!(matches!(SessionFolder::open(dir.path()), Err(FolderError::Unreadable { .. })));
    fs::rename(&path, dir.path().join("away.json")).unwrap();
    assert!(matches!(SessionFolder::open(dir.path()), Err(FolderError::NoSession(_))));
    let refused = SessionFolder::open_or_create(dir.path(), &Plan::single_row("LH-1", 2));
    assert!(matches!(refused, Err(FolderError::PlanLost(_))));
}

#[test]
fn the_status_tells_of_files_that_are_gone_or_changed() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 2);
    let (first, second) = (keep(&folder, 1, 1, b"one"), keep(&folder, 2, 2, b"two"));
    drop(folder);
    assert!(SessionFolder::read_status(dir.path()).unwrap().notes.is_empty());
    fs::rename(&first.path, dir.path().join("moved.jpg")).unwrap();
    fs::write(&second.path, b"spoiled").unwrap();
    let notes = SessionFolder::read_status(dir.path()).unwrap().notes.join(" ");
    assert!(notes.contains("gone") && notes.contains("LH-1_level_01_000.jpg"), "{notes}");
    assert!(notes.contains("another size") && notes.contains("LH-1_level_02_180.jpg"), "{notes}");
}

#[test]
fn frames_are_set_aside_and_chosen_for_all_stops_named_or_for_none() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 3);
    keep(&folder, 1, 1, b"one");
    keep(&folder, 2, 2, b"two");
    keep(&folder, 3, 2, b"again");
    let states =
        |folder: &SessionFolder| folder.status().stops.iter().map(|stop| stop.state).collect::<Vec<_>>();
    let before = states(&folder);
    assert!(matches!(folder.set_aside(&[1, 3]), Err(ChoiceError::NoFrame(3))));
    assert!(matches!(folder.choose_version(&[2, 1], 2), Err(ChoiceError::NoVersion { stop: 1, .. })));
    assert!(matches!(folder.set_aside(&[1, 9]), Err(ChoiceError::NoStop(9))));
    assert_eq!(states(&folder), before);
    folder.set_aside(&[1, 2]).unwrap();
    assert_eq!(states(&folder), [StopState::SetAside, StopState::SetAside, StopState::Missing]);
    folder.choose_version(&[1, 2], 1).unwrap();
    assert_eq!(folder.status().stops[1].file.as_deref(), Some("frames/LH-1_level_02_120.jpg"));
}

#[test]
fn a_chosen_version_whose_record_is_damaged_leaves_the_one_before_in_use() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    keep(&folder, 1, 1, b"one");
    keep(&folder, 2, 1, b"two");
    folder.choose_version(&[1], 1).unwrap();
    folder.choose_version(&[1], 2).unwrap();
    drop(folder);
    let path = dir.path().join("journal.jsonl");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("\"shot\":2", "\"shot\":3")).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    let status = folder.status();
    assert_eq!(status.stops[0].state, StopState::Kept);
    assert_eq!(status.stops[0].file.as_deref(), Some("frames/LH-1_level_01_000.jpg"));
    let seed = &folder.seeds()[0];
    assert_eq!((seed.state, seed.chosen), (StopState::Kept, 1));
}

#[test]
fn a_record_whose_append_failed_gives_way_to_the_one_that_took_its_place() {
    let dir = tempfile::tempdir().unwrap();
    let folder = new_set(dir.path(), 1);
    keep(&folder, 1, 1, b"one");
    let path = dir.path().join("journal.jsonl");
    let before = fs::read_to_string(&path).unwrap();
    folder.set_aside(&[1]).unwrap();
    drop(folder);
    let failed = fs::read_to_string(&path).unwrap();
    // As if that record's sync had failed after its bytes were written: the next has the same number.
    fs::write(&path, &before).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    folder.append(Record::ZeroSet { zero: "zero-1".to_owned(), last_shot_before: None }).unwrap();
    drop(folder);
    let next = fs::read_to_string(&path).unwrap()[before.len()..].to_owned();
    fs::write(&path, format!("{failed}\n{next}")).unwrap();
    let folder = SessionFolder::open(dir.path()).unwrap();
    assert_eq!(folder.recovery().damaged_lines, 0, "the blank line between them is no damage");
    assert_eq!(folder.status().stops[0].state, StopState::Kept);
    assert_eq!(folder.with_ledger(|ledger| ledger.zero().map(str::to_owned)).as_deref(), Some("zero-1"));
}
