//! Files shot before the set was: order by name and clock, refusals, and what the journal says.

#![allow(clippy::disallowed_methods, reason = "the tests play the photographer's card")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::collections::HashMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use session_core::adopt::{AdoptError, Adoption, Order, TimeSource, open_stops};
use session_core::journal::SessionFolder;
use session_core::plan::Plan;

#[path = "camera_support/jpegs.rs"]
mod jpegs;

use jpegs::{Exif, plain, with_exif};

const TIMES: [&str; 6] = [
    "2026:03:14 09:26:50",
    "2026:03:14 09:26:58",
    "2026:03:14 09:27:06",
    "2026:03:14 09:27:14",
    "2026:03:14 09:27:22",
    "2026:03:14 09:27:30",
];

struct Bench {
    home: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let home = tempfile::tempdir().unwrap();
        fs::create_dir(home.path().join("card")).unwrap();
        Self { home }
    }

    fn card(&self) -> PathBuf {
        self.home.path().join("card")
    }

    fn write(&self, name: &str, bytes: &[u8]) {
        let path = self.card().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    /// Writes frames with these names, taken one after another.
    fn shoot(&self, names: &[&str]) {
        for (at, name) in names.iter().enumerate() {
            let exif = Exif { taken: Some(TIMES[at]), ..Exif::default() };
            self.write(name, &with_exif(at as u32, &exif));
        }
    }

    fn folder(&self, stops: u32) -> SessionFolder {
        SessionFolder::open_or_create(&self.home.path().join("set"), &Plan::single_row("LH-1", stops))
            .unwrap()
    }

    fn look(&self, stops: u32, order: Option<Order>) -> Result<Adoption, AdoptError> {
        let stops = Plan::single_row("LH-1", stops).stops("2026-03-14").unwrap();
        Adoption::new(&self.card(), &stops, &HashMap::new(), order)
    }
}

fn names(adoption: &Adoption) -> Vec<String> {
    adoption.matches.iter().map(|item| item.candidate.name.display().to_string()).collect()
}

fn error(result: Result<Adoption, AdoptError>) -> String {
    result.unwrap_err().to_string()
}

/// Every file below a folder with its bytes and time of change.
fn snapshot(folder: &Path) -> Vec<(PathBuf, Vec<u8>, SystemTime)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(snapshot(&path));
        } else {
            let modified = fs::metadata(&path).unwrap().modified().unwrap();
            found.push((path.clone(), fs::read(&path).unwrap(), modified));
        }
    }
    found.sort();
    found
}

#[test]
fn files_become_frames_in_order_and_the_originals_stay_untouched() {
    let bench = Bench::new();
    bench.shoot(&["IMG_9.JPG", "IMG_10.JPG", "IMG_11.JPG"]);
    let mut raw = b"II*\0".to_vec();
    for n in [9, 10, 11] {
        raw.extend([n; 64]);
        bench.write(&format!("IMG_{n}.CR2"), &raw);
    }
    bench.write("notes.txt", b"three stops");
    let before = snapshot(&bench.card());
    let adoption = bench.look(3, None).unwrap();
    assert_eq!(names(&adoption), ["IMG_9.JPG", "IMG_10.JPG", "IMG_11.JPG"]);
    assert_eq!((adoption.order, adoption.clock), (Order::Name, TimeSource::Camera));
    assert!(adoption.notes.is_empty(), "{:?}", adoption.notes);

    let folder = bench.folder(3);
    let mut seen = Vec::new();
    adoption.carry_out(&folder, |kept| seen.push(kept.stop.index)).unwrap();
    assert_eq!(seen, [1, 2, 3]);
    assert_eq!(snapshot(&bench.card()), before);
    let status = folder.status();
    assert!(status.complete);
    for (stop, item) in status.stops.iter().zip(&adoption.matches) {
        let version = &stop.versions[0];
        assert_eq!(version.files.len(), 2, "RAW and JPEG are one frame");
        assert_eq!(version.sha256, item.candidate.sha256);
        assert!(version.adopted && version.reported_step.is_none());
    }
    drop(folder);
    // What the journal says, also after opening the folder again.
    let journal = fs::read_to_string(bench.home.path().join("set/journal.jsonl")).unwrap();
    let kept: Vec<&str> = journal.lines().filter(|line| line.contains("\"kept\"")).collect();
    assert_eq!(kept.len(), 3);
    for line in kept {
        assert!(line.contains("\"source\":\"adopted\"") && line.contains("\"reported_step\":null"), "{line}");
        assert!(line.contains("IMG_"), "{line}");
    }
    assert_eq!(bench.folder(3).status(), status);
}

#[test]
fn a_counter_that_rolls_over_is_noticed() {
    let bench = Bench::new();
    bench.shoot(&["IMG_9998.JPG", "IMG_9999.JPG", "IMG_0001.JPG", "IMG_0002.JPG"]);
    let adoption = bench.look(4, None).unwrap();
    assert_eq!(names(&adoption), ["IMG_9998.JPG", "IMG_9999.JPG", "IMG_0001.JPG", "IMG_0002.JPG"]);
    assert_eq!(
        adoption.notes,
        ["The camera's counter rolled over: IMG_9999.JPG is followed by IMG_0001.JPG."]
    );
}

#[test]
fn folders_of_a_card_are_walked_in_their_order() {
    let bench = Bench::new();
    bench.shoot(&["DCIM/99KILN/A_9998.JPG", "DCIM/99KILN/A_9999.JPG", "DCIM/100KILN/A_0001.JPG"]);
    bench.write("DCIM/.hidden/A_0000.JPG", &plain(70));
    bench.write("DCIM/._A_9998.JPG", &plain(71));
    // A set that lies beside the pictures is no source of pictures.
    bench.write("sets/LH-9/session.json", b"{}");
    bench.write("sets/LH-9/frames/LH-9_level_01_000.jpg", &plain(72));
    assert_eq!(
        names(&bench.look(3, None).unwrap()),
        ["DCIM/99KILN/A_9998.JPG", "DCIM/99KILN/A_9999.JPG", "DCIM/100KILN/A_0001.JPG"]
    );
}

#[test]
fn names_and_clock_that_disagree_are_shown_and_not_guessed() {
    let bench = Bench::new();
    bench.shoot(&["IMG_0002.JPG", "IMG_0001.JPG", "IMG_0003.JPG"]);
    let said = error(bench.look(3, None));
    for words in ["different orders", "stop 1 is IMG_0001.JPG by name, IMG_0002.JPG by time", "--order time"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    let by_name = bench.look(3, Some(Order::Name)).unwrap();
    assert_eq!(names(&by_name), ["IMG_0001.JPG", "IMG_0002.JPG", "IMG_0003.JPG"]);
    let by_time = bench.look(3, Some(Order::Time)).unwrap();
    assert_eq!(names(&by_time), ["IMG_0002.JPG", "IMG_0001.JPG", "IMG_0003.JPG"]);
    for adoption in [by_name, by_time] {
        assert!(
            adoption.notes.iter().any(|note| note.contains("Names and clock differ")),
            "{:?}",
            adoption.notes
        );
    }
}

#[test]
fn fractions_of_a_second_count_and_equal_times_fall_back_on_names() {
    let bench = Bench::new();
    for (name, subsec) in [("b.JPG", "05"), ("a.JPG", "5"), ("c.JPG", "40")] {
        let exif = Exif { taken: Some(TIMES[0]), subsec: Some(subsec), ..Exif::default() };
        bench.write(name, &with_exif(u32::from(name.as_bytes()[0]), &exif));
    }
    // 05 is 0.05 s, 5 is 0.5 s: EXIF 2.32, SubSecTime holds the digits behind the point.
    assert_eq!(names(&bench.look(3, Some(Order::Time)).unwrap()), ["b.JPG", "c.JPG", "a.JPG"]);
    let exif = Exif { taken: Some(TIMES[0]), ..Exif::default() };
    for (at, name) in ["a.JPG", "b.JPG", "c.JPG"].iter().enumerate() {
        bench.write(name, &with_exif(at as u32, &exif));
    }
    let adoption = bench.look(3, Some(Order::Time)).unwrap();
    assert_eq!(names(&adoption), ["a.JPG", "b.JPG", "c.JPG"]);
    assert!(adoption.notes.iter().any(|note| note.contains("the same time")), "{:?}", adoption.notes);
}

#[test]
fn without_clock_times_the_files_own_times_are_looked_at() {
    let bench = Bench::new();
    let start = SystemTime::UNIX_EPOCH + Duration::from_secs(1_773_480_000);
    for (at, name) in ["z.jpg", "y.jpg", "x.jpg"].iter().enumerate() {
        bench.write(name, &plain(at as u32));
        let file = File::options().write(true).open(bench.card().join(name)).unwrap();
        file.set_modified(start + Duration::from_secs(at as u64)).unwrap();
    }
    let adoption = bench.look(3, Some(Order::Time)).unwrap();
    assert_eq!(names(&adoption), ["z.jpg", "y.jpg", "x.jpg"]);
    assert_eq!(adoption.clock, TimeSource::FileTime);
    assert!(adoption.notes.iter().any(|note| note.contains("3 of 3 frames carry no time")));
    // A clock that was never set is no time either (EXIF: zeros or blanks).
    let exif = Exif { taken: Some("0000:00:00 00:00:00"), ..Exif::default() };
    bench.write("z.jpg", &with_exif(9, &exif));
    assert_eq!(bench.look(3, Some(Order::Name)).unwrap().clock, TimeSource::FileTime);
}

#[test]
fn a_wrong_count_is_refused_with_what_may_be_the_cause() {
    let bench = Bench::new();
    bench.shoot(&["IMG_0001.JPG", "IMG_0002.JPG"]);
    let late = Exif { taken: Some("2026:03:14 09:55:00"), ..Exif::default() };
    bench.write("IMG_0005.JPG", &with_exif(5, &late));
    let said = error(bench.look(4, None));
    for words in [
        "3 frames do not fit 4 open stops",
        "leaves out IMG_0003 to IMG_0004",
        "the longest pause, 28 min, is between IMG_0002.JPG and IMG_0005.JPG",
        "test shots",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(error(bench.look(2, None)).contains("3 frames do not fit 2 open stops"));
    assert!(!bench.home.path().join("set").exists(), "looking begins nothing");
}

#[test]
fn files_that_are_cut_short_or_the_same_are_refused_by_name() {
    let bench = Bench::new();
    bench.shoot(&["IMG_0001.JPG", "IMG_0002.JPG"]);
    bench.write("IMG_0003.JPG", &plain(3)[..5000]);
    bench.write("IMG_0004.JPG", b"<html>");
    let said = error(bench.look(4, None));
    for words in ["IMG_0003.JPG: it is cut short", "IMG_0004.JPG: it is not a picture", "from the card again"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    bench.write("IMG_0003.JPG", &fs::read(bench.card().join("IMG_0001.JPG")).unwrap());
    bench.write("IMG_0004.JPG", &plain(4));
    let said = error(bench.look(4, None));
    assert!(said.contains("IMG_0001.JPG and IMG_0003.JPG hold the same picture"), "{said}");
    let empty = tempfile::tempdir().unwrap();
    let stops = Plan::single_row("LH-1", 2).stops("2026-03-14").unwrap();
    assert!(matches!(
        Adoption::new(empty.path(), &stops, &HashMap::new(), None),
        Err(AdoptError::NoPictures(_))
    ));
}

#[test]
fn an_adoption_that_broke_off_goes_on_where_it_was() {
    let bench = Bench::new();
    let all = ["IMG_0001.JPG", "IMG_0002.JPG", "IMG_0003.JPG", "IMG_0004.JPG"];
    bench.shoot(&all);
    let adoption = bench.look(4, None).unwrap();
    let folder = bench.folder(4);
    // The card reader gives out after two frames.
    let third = bench.card().join(all[2]);
    let good = fs::read(&third).unwrap();
    fs::write(&third, &good[..3000]).unwrap();
    let said = adoption.carry_out(&folder, |_| {}).unwrap_err().to_string();
    assert!(
        said.contains("IMG_0003.JPG could not be kept") && said.contains("run the same command again"),
        "{said}"
    );
    assert_eq!(folder.status().kept(), 2);
    fs::write(&third, &good).unwrap();
    let (open, known) = open_stops(&folder);
    assert_eq!(open.iter().map(|stop| stop.index).collect::<Vec<_>>(), [3, 4]);
    let rest = Adoption::new(&bench.card(), &open, &known, None).unwrap();
    assert_eq!(rest.notes, ["2 files are in the set already and are passed over."]);
    rest.carry_out(&folder, |_| {}).unwrap();
    let status = folder.status();
    assert!(status.complete);
    for (stop, item) in status.stops.iter().zip(&adoption.matches) {
        assert_eq!(stop.sha256.as_ref(), item.candidate.sha256.first());
        assert_eq!(stop.versions.len(), 1);
    }
    let (open, known) = open_stops(&folder);
    assert!(matches!(Adoption::new(&bench.card(), &open, &known, None), Err(AdoptError::NothingOpen)));
}

#[test]
fn half_a_pair_and_other_settings_are_told_and_then_taken_as_seen() {
    let bench = Bench::new();
    for (at, iso) in [100, 100, 400].into_iter().enumerate() {
        let exif = Exif { taken: Some(TIMES[at]), iso, ..Exif::default() };
        bench.write(&format!("IMG_000{at}.JPG"), &with_exif(at as u32, &exif));
    }
    bench.write("IMG_0000.CR2", &[b"II*\0".as_slice(), &[1; 64]].concat());
    bench.write("IMG_0002.CR2", &[b"II*\0".as_slice(), &[2; 64]].concat());
    let adoption = bench.look(3, None).unwrap();
    assert_eq!(
        adoption.notes,
        [
            "IMG_0001.JPG has no cr2 beside it, others have.",
            "IMG_0002.JPG was shot otherwise than the first: ISO changed from 100 to 400.",
        ]
    );
    let folder = bench.folder(3);
    adoption.carry_out(&folder, |_| {}).unwrap();
    let seed = folder.settings_seed();
    assert!(seed.drifted.is_empty());
    // New frames are still compared with the set's first.
    assert_eq!(seed.reference, Some(adoption.matches[0].candidate.settings.clone()));
}
