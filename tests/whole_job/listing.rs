//! From a shot set to a shop's listing through the program itself: repeatable, killed, stopped, refused.

#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "the tests play the person and foreign programs")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::thread;
use std::time::Duration;

use serde_json::Value;
use support::{plan, roundstop, run, said, sha256};

const STOPS: u32 = 12;

/// A home with a complete set of small frames.
fn shot() -> (tempfile::TempDir, PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let dir = shot_into(home.path(), &home.path().join("sets/LH-TEST"));
    (home, dir)
}

/// Shoots a complete set of small frames into a folder; gives the folder.
fn shot_into(home: &Path, dir: &Path) -> PathBuf {
    let plan = plan(home, "plan.json", STOPS);
    let output = roundstop(home)
        .args(["shoot", "--plan", plan.to_str().unwrap(), "--into", dir.to_str().unwrap()])
        .args(["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", "720x540"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", said(&output));
    dir.to_owned()
}

/// A small profile of the test's own.
fn profile(home: &Path, more: &str) -> PathBuf {
    let path = home.join("profile.toml");
    let text = format!("name = 'Test'\nwidth_px = 300\nheight_px = 300\nquality = 85\n{more}\n");
    fs::write(&path, text).unwrap();
    path
}

fn files_below(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![dir.to_owned()];
    while let Some(at) = open.pop() {
        for entry in fs::read_dir(&at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(path.strip_prefix(dir).unwrap().display().to_string(), fs::read(&path).unwrap());
            }
        }
    }
    found
}

fn export(home: &Path, set: &Path, profile: &Path, to: &Path) -> Output {
    let paths = [set, profile, to].map(|p| p.to_str().unwrap());
    run(home, &["export", paths[0], "--profile", paths[1], "--to", paths[2], "--json"])
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(output)))
}

#[test]
fn a_set_is_finished_once_and_again_only_where_something_changed() {
    let (home, dir) = shot();
    let originals = files_below(&dir.join("frames"));
    let finish = |more: &[&str]| {
        let output = run(home.path(), &[&["finish", dir.to_str().unwrap(), "--json"], more].concat());
        assert!(output.status.success(), "{}", said(&output));
        json(&output)
    };
    let first = finish(&[]);
    assert_eq!((&first["made"], &first["kept"]), (&12.into(), &0.into()), "{first}");
    let made = files_below(&dir.join("finished"));
    assert_eq!(made.len(), 13, "twelve pictures and their list");
    let again = finish(&[]);
    assert_eq!((&again["made"], &again["kept"]), (&0.into(), &12.into()), "{again}");
    assert!(files_below(&dir.join("finished")) == made, "the same bytes");
    // Another margin changes all; going back gives the same bytes again.
    assert_eq!(finish(&["--margin", "15"])["made"], 12);
    assert_eq!(finish(&["--margin", "8"])["made"], 12);
    assert!(files_below(&dir.join("finished")) == made, "the same bytes");
    // One picture lost: only that one is made.
    let (name, _) = made.iter().find(|(name, _)| *name != "manifest.json").unwrap();
    fs::remove_file(dir.join("finished").join(name)).unwrap();
    assert_eq!(finish(&[])["made"], 1);
    assert!(files_below(&dir.join("finished")) == made, "the same bytes");
    assert!(files_below(&dir.join("frames")) == originals, "originals are only read");
}

#[test]
fn a_listing_is_whole_and_the_same_every_time() {
    let (home, dir) = shot();
    let profile = profile(home.path(), "frames = 6\nmax_bytes = 30000");
    let (one, two) = (home.path().join("one"), home.path().join("two"));
    let report = json(&export(home.path(), &dir, &profile, &one));
    assert_eq!(report["pictures"], 6, "every second of twelve");
    let files = files_below(&one);
    let manifest: Value = serde_json::from_slice(&files["manifest.json"]).unwrap();
    for (i, picture) in manifest["pictures"].as_array().unwrap().iter().enumerate() {
        let bytes = &files[picture["file"].as_str().unwrap()];
        assert_eq!(picture["sha256"].as_str().unwrap(), sha256(bytes));
        assert_eq!(picture["bytes"].as_u64().unwrap(), bytes.len() as u64);
        assert!(bytes.len() <= 30_000);
        assert_eq!(picture["degrees"], serde_json::json!(i as f64 * 60.0));
        let read = image::load_from_memory(bytes).unwrap();
        assert_eq!((read.width(), read.height()), (300, 300));
        let corner = read.to_rgb8().get_pixel(2, 2).0;
        assert!(corner.iter().all(|v| *v >= 254), "{corner:?}");
    }
    assert_eq!(files["manifest.csv"].split(|b| *b == b'\n').count(), 1 + 6 + 1);
    for name in ["index.html", "preview.webp", "contact-sheet.jpg", "contact-sheet.pdf", "LH-TEST.zip"] {
        assert!(!files[name].is_empty(), "{name}");
    }
    // A second listing elsewhere, made a second later at least, is the same byte for byte, its package too.
    thread::sleep(Duration::from_millis(1100));
    assert!(export(home.path(), &dir, &profile, &two).status.success());
    assert!(files_below(&two) == files, "the same bytes");
    // Over itself: nothing is made anew.
    let report = json(&export(home.path(), &dir, &profile, &one));
    assert_eq!(report["made"], 0, "{report}");
    assert!(files_below(&one) == files, "the same bytes");
    // Python's own reader opens the package and finds every file as it lies in the folder.
    let check = "import sys, zipfile, pathlib; z = zipfile.ZipFile(sys.argv[1]); assert z.testzip() is None; \
                 d = pathlib.Path(sys.argv[2]); n = z.namelist(); assert n == sorted(n); \
                 assert all(z.read(i) == (d / i).read_bytes() for i in n); print(len(n))";
    let python = std::process::Command::new("python3")
        .args(["-c", check])
        .args([one.join("LH-TEST.zip"), one.clone()])
        .output()
        .unwrap();
    assert_eq!(String::from_utf8_lossy(&python.stdout).trim(), "12", "{}", said(&python));
}

#[test]
#[cfg(feature = "avif")]
fn a_listing_in_avif_has_all_that_others_have_and_is_made_once() {
    let (home, dir) = shot();
    let to = home.path().join("out");
    let path = home.path().join("avif.toml");
    let text =
        "name = 'Small'\nwidth_px = 160\nheight_px = 120\nfile_type = 'avif'\nframes = 4\nmax_bytes = 4000\n";
    fs::write(&path, text).unwrap();
    let report = json(&export(home.path(), &dir, &path, &to));
    assert_eq!((&report["pictures"], &report["made"]), (&4.into(), &4.into()), "{report}");
    assert!(report["largest_bytes"].as_u64().is_some_and(|bytes| bytes <= 4000), "{report}");
    let files = files_below(&to);
    let pictures = fs::read_dir(to.join("pictures")).unwrap().map(|entry| entry.unwrap().path());
    assert!(pictures.into_iter().all(|path| path.extension().is_some_and(|ending| ending == "avif")));
    // The sheet shows the product, the page names the files, the package holds them.
    let sheet = image::load_from_memory(&files["contact-sheet.jpg"]).unwrap().to_rgb8();
    assert!(sheet.pixels().filter(|p| p.0[0] < 200).count() > 2000, "pots on the sheet");
    assert!(String::from_utf8_lossy(&files["index.html"]).contains("pictures/LH-TEST_01.avif"));
    let check = "import sys, zipfile; z = zipfile.ZipFile(sys.argv[1]); print(sum(n.endswith('.avif') for n in z.namelist()))";
    let package = to.join("LH-TEST.zip");
    let packed = std::process::Command::new("python3").args(["-c", check]).arg(package).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&packed.stdout).trim(), "4", "{}", said(&packed));
    // Again, and again without the cache: nothing is coded anew, and all is the same.
    for _ in 0..2 {
        let report = json(&export(home.path(), &dir, &path, &to));
        assert_eq!(report["made"], 0, "{report}");
        assert!(files_below(&to) == files, "the same bytes");
        fs::remove_dir_all(dir.join("cache")).unwrap();
    }
    let report = json(&export(home.path(), &dir, &path, &to));
    assert_eq!(report["made"], 0, "{report}");
    assert!(files_below(&to) == files, "the same bytes");
}

#[test]
#[cfg(not(feature = "avif"))]
fn a_profile_for_avif_is_refused_with_its_name_and_what_to_do() {
    let (home, dir) = shot();
    let (path, to) = (home.path().join("avif.toml"), home.path().join("out"));
    fs::write(&path, "name = 'Small'\nwidth_px = 160\nheight_px = 120\nfile_type = 'avif'\n").unwrap();
    let output = export(home.path(), &dir, &path, &to);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    for words in ["avif.toml cannot be used", "built without", "--features avif", "\"webp\""] {
        assert!(said(&output).contains(words), "{words}: {}", said(&output));
    }
    assert!(!to.exists());
}

/// The width of what is not white in a picture, as a share of its width.
fn object_share(bytes: &[u8]) -> f64 {
    let picture = image::load_from_memory(bytes).unwrap().to_rgb8();
    let dark = |x: u32| (0..picture.height()).any(|y| picture.get_pixel(x, y).0.iter().any(|v| *v < 200));
    let columns: Vec<u32> = (0..picture.width()).filter(|x| dark(*x)).collect();
    f64::from(columns[columns.len() - 1] - columns[0] + 1) / f64::from(picture.width())
}

#[test]
fn a_margin_chosen_for_the_set_wins_over_the_profiles_and_is_said() {
    let (home, dir) = shot();
    let to = home.path().join("out");
    let usual = profile(home.path(), "margin_percent = 5");
    let export = |profile: &Path| {
        let report = json(&export(home.path(), &dir, profile, &to));
        let widest =
            files_below(&to.join("pictures")).values().map(|bytes| object_share(bytes)).fold(0.0, f64::max);
        (report["margin_percent"].as_f64().unwrap(), report["notes"].to_string(), widest)
    };
    let (margin, notes, wide) = export(&usual);
    assert!((margin - 5.0).abs() < 1e-9 && !notes.contains("margin is"), "{margin} {notes}");
    let chosen = run(home.path(), &["finish", dir.to_str().unwrap(), "--margin", "25", "--size", "200"]);
    assert!(chosen.status.success(), "{}", said(&chosen));
    let finished = files_below(&dir.join("finished"));
    let (_, bytes) = finished
        .iter()
        .find(|(name, _)| Path::new(name).extension().is_some_and(|ext| ext == "jpg"))
        .unwrap();
    assert_eq!(image::load_from_memory(bytes).unwrap().width(), 200, "the size asked for");
    let (margin, notes, narrow) = export(&usual);
    assert!((margin - 25.0).abs() < 1e-9, "{margin}");
    assert!(
        notes.contains("the margin is 25 %, as chosen for this set; the profile's own is 5 %"),
        "{notes}"
    );
    // Room of 25 % instead of 5 % on each side: half the picture instead of nine tenths.
    assert!((narrow / wide - 5.0 / 9.0).abs() < 0.02, "{narrow} {wide}");
    let fixed = profile(home.path(), "margin_percent = 5\nmargin_is_fixed = true");
    let (margin, notes, back) = export(&fixed);
    assert!((margin - 5.0).abs() < 1e-9 && (back - wide).abs() < 0.01, "{margin} {back}");
    assert!(notes.contains("which this profile wants of every set"), "{notes}");
}

#[test]
fn a_crop_with_fewer_pixels_than_the_profile_asks_for_is_said() {
    let (home, dir) = shot();
    let to = home.path().join("out");
    let report = json(&export(home.path(), &dir, &profile(home.path(), "frames = 1"), &to));
    assert_eq!(report["enlarged"], Value::Null, "{report}");
    assert!(!report["notes"].to_string().contains("enlarged"), "{report}");
    // Frames are 720 pixels wide: no crop has 1000.
    let path = home.path().join("large.toml");
    fs::write(&path, "name = 'Large'\nwidth_px = 1000\nheight_px = 1000\nframes = 1\n").unwrap();
    let report = json(&export(home.path(), &dir, &path, &to));
    let crop = report["size"]["crop_px"].as_f64().unwrap();
    let times = report["enlarged"].as_f64().unwrap();
    assert!(crop < 720.0 && (times - 1000.0 / crop).abs() < 1e-9, "{report}");
    let paths = [&dir, &path, &to].map(|p| p.to_str().unwrap());
    let text = run(home.path(), &["export", paths[0], "--profile", paths[1], "--to", paths[2]]);
    let words = format!("1000 px wide; the crop has {crop} px: it is enlarged {times:.1} times");
    assert!(said(&text).contains(&words), "{words}: {}", said(&text));
}

#[test]
fn a_sequence_of_stills_is_numbered_of_one_even_size_and_says_how_fast() {
    let (home, dir) = shot();
    let to = home.path().join("out");
    let text = "name = 'Video'\nwidth_px = 301\nheight_px = 205\nmoving = 'gif'\nsequence_fps = 6\n";
    let path = home.path().join("video.toml");
    fs::write(&path, text).unwrap();
    let report = json(&export(home.path(), &dir, &path, &to));
    assert_eq!((&report["pictures"], &report["made"]), (&12.into(), &12.into()), "{report}");
    let files = files_below(&to);
    for number in 1..=STOPS {
        let still = image::load_from_memory(&files[&format!("sequence/frame-{number:04}.jpg")]).unwrap();
        assert_eq!((still.width(), still.height()), (300, 204));
    }
    let note = String::from_utf8(files["sequence/sequence.txt"].clone()).unwrap();
    for line in
        ["frames = 12", "frames_per_second = 6", "seconds = 2", "width_px = 300", "last = frame-0012.jpg"]
    {
        assert!(note.lines().any(|l| l == line), "{line}: {note}");
    }
    assert!(files.contains_key("preview.gif") && !files.contains_key("preview.webp"));
    let check = "import sys, zipfile; names = zipfile.ZipFile(sys.argv[1]).namelist(); \
        assert names and not [n for n in names if n.startswith('sequence')], names";
    let package = to.join("LH-TEST.zip");
    let output = std::process::Command::new("python3").args(["-c", check]).arg(package).output().unwrap();
    assert!(output.status.success(), "not for the shop: {}", said(&output));
    // A still that is lost is made again, alike; what else is there stays.
    fs::remove_file(to.join("sequence/frame-0003.jpg")).unwrap();
    let report = json(&export(home.path(), &dir, &path, &to));
    assert_eq!(report["made"], 0, "{report}");
    assert!(files_below(&to) == files, "the same bytes");
    // Without it in the profile the next listing has none.
    fs::write(&path, text.replace("sequence_fps = 6\n", "")).unwrap();
    json(&export(home.path(), &dir, &path, &to));
    assert!(!to.join("sequence/frame-0001.jpg").exists() && to.join("pictures").is_dir());
}

#[test]
fn frames_of_two_sizes_and_missing_stops_are_said() {
    let (home, dir) = shot();
    let folder = dir.to_str().unwrap();
    let aside = run(home.path(), &["set-aside", folder, "--stops", "4"]);
    assert!(aside.status.success(), "{}", said(&aside));
    let finish = run(home.path(), &["finish", folder]);
    assert_eq!(finish.status.code(), Some(3), "{}", said(&finish));
    assert!(said(&finish).contains("11 pictures") && said(&finish).contains("Stops without a frame: 4."));
    let devices = ["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", "480x360"];
    let retaken = run(home.path(), &[&["retake", folder, "--stops", "4"], devices.as_slice()].concat());
    assert!(!said(&retaken).contains("usage"), "{}", said(&retaken));
    let finish = run(home.path(), &["finish", folder]);
    assert_eq!(finish.status.code(), Some(1), "{}", said(&finish));
    for words in ["stop 4 is 480 × 360 pixels", "720 × 540", "retake the stop"] {
        assert!(said(&finish).contains(words), "{words}: {}", said(&finish));
    }
    let to = home.path().join("out");
    let output = export(home.path(), &dir, &profile(home.path(), ""), &to);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("stop 4 is 480 × 360") && !to.exists(), "{}", said(&output));
}

#[test]
fn a_plate_is_found_from_here_too_and_one_that_is_not_there_changes_nothing() {
    let (home, dir) = shot();
    let folder = dir.to_str().unwrap();
    let settings = dir.join("finishing.json");
    let refused = run(home.path(), &["finish", folder, "--plate", "nowhere.jpg", "--margin", "12 %"]);
    assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
    assert!(said(&refused).contains("there is no frame of the empty table"), "{}", said(&refused));
    assert!(!settings.exists());
    let frame = fs::read_dir(dir.join("frames")).unwrap().map(|e| e.unwrap().path()).min().unwrap();
    fs::copy(&frame, home.path().join("empty.jpg")).unwrap();
    let args = ["finish", folder, "--plate", "empty.jpg", "--background", "as-shot", "--ratio", "3:2"];
    let found = roundstop(home.path()).current_dir(home.path()).args(args).output().unwrap();
    assert!(found.status.success(), "{}", said(&found));
    let kept: Value = serde_json::from_slice(&fs::read(&settings).unwrap()).unwrap();
    assert!(Path::new(kept["plate"].as_str().unwrap()).is_absolute(), "{kept}");
    assert_eq!(kept["settings"]["crop"]["ratio"], 1.5);
    // A listing never takes the place of the finished pictures.
    let output = export(home.path(), &dir, &profile(home.path(), ""), &dir.join("finished"));
    assert!(said(&output).contains("holds other files"), "{}", said(&output));
}

#[test]
fn a_killed_export_never_looks_finished_and_goes_on() {
    let (home, dir) = shot();
    let profile = profile(home.path(), "");
    let whole = home.path().join("whole");
    assert!(export(home.path(), &dir, &profile, &whole).status.success());
    let to = home.path().join("out");
    let paths = [&dir, &profile, &to].map(|p| p.to_str().unwrap());
    let mut kills = 0;
    for millis in [60, 150, 250, 350, 450, 600] {
        let mut child = roundstop(home.path())
            .args(["export", paths[0], "--profile", paths[1], "--to", paths[2], "--jobs", "1"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        thread::sleep(Duration::from_millis(millis));
        let _ = child.kill();
        let ended = child.wait().unwrap();
        kills += u32::from(!ended.success());
        assert!(ended.success() || !to.exists(), "a part never has the listing's name");
        if ended.success() {
            break;
        }
    }
    assert!(kills > 0);
    assert!(export(home.path(), &dir, &profile, &to).status.success());
    assert!(files_below(&to) == files_below(&whole), "the same bytes");
    let hidden = fs::read_dir(home.path())
        .unwrap()
        .filter(|e| e.as_ref().unwrap().file_name().to_string_lossy().contains("roundstop-"));
    assert_eq!(hidden.count(), 0, "nothing is left beside it");
}

#[test]
fn what_cannot_be_exported_is_said() {
    let (home, dir) = shot();
    let refused = |profile: &Path, to: &Path, words: &[&str]| {
        let output = export(home.path(), &dir, profile, to);
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        for word in words {
            assert!(said(&output).contains(word), "'{word}' is not in: {}", said(&output));
        }
    };
    let to = home.path().join("out");
    refused(Path::new("nowhere"), &to, &["no listing profile nowhere", "square"]);
    refused(&profile(home.path(), "frames = 7"), &to, &["12 stops cannot be thinned evenly to 7", "6"]);
    refused(&profile(home.path(), "max_bytes = 1200"), &to, &["stop 1", "raise max_bytes"]);
    refused(&profile(home.path(), "file_name = '{sku}'"), &to, &["two stops would both be named"]);
    assert!(!to.exists());
    let full = home.path().join("mine");
    fs::create_dir(&full).unwrap();
    fs::write(full.join("letter.txt"), "a person's").unwrap();
    refused(&profile(home.path(), ""), &full, &["holds other files", "choose another folder"]);
    assert_eq!(fs::read_to_string(full.join("letter.txt")).unwrap(), "a person's");
    // A frame that changed on disk, then one that is gone.
    let frame = fs::read_dir(dir.join("frames")).unwrap().map(|e| e.unwrap().path()).min().unwrap();
    let bytes = fs::read(&frame).unwrap();
    fs::write(&frame, &bytes[..bytes.len() / 2]).unwrap();
    refused(&profile(home.path(), ""), &to, &["has changed since it was kept", "retake the stop"]);
    fs::remove_file(&frame).unwrap();
    refused(&profile(home.path(), ""), &to, &["stop 1 has no frame", "shoot it,"]);
}

#[test]
fn a_full_disk_is_said_and_leaves_no_listing() {
    let (home, dir) = shot();
    let disk = home.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"])
        .arg(&disk)
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success());
    if !mounted {
        println!("skipped: no small disk can be mounted here");
        return;
    }
    let to = disk.join("out");
    let output = export(home.path(), &dir, &profile(home.path(), ""), &to);
    let exists = to.exists();
    let unmounted = std::process::Command::new("umount").arg(&disk).status();
    assert!(unmounted.is_ok_and(|s| s.success()));
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("the disk is full; free some room"), "{}", said(&output));
    assert!(!exists);
}

/// What the files below a folder take on a disk of whole pages.
fn bytes_on_disk(dir: &Path) -> usize {
    files_below(dir).values().map(|bytes| bytes.len().next_multiple_of(4096)).sum()
}

#[test]
fn a_disk_that_fills_up_while_finishing_is_said_and_the_rest_is_made_with_room() {
    let home = tempfile::tempdir().unwrap();
    let disk = home.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let mount = |options: &str| {
        let mut command = std::process::Command::new("mount");
        command.args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(&disk).stderr(Stdio::null());
        command.status().is_ok_and(|status| status.success())
    };
    if !mount("size=40m") {
        println!("skipped: no small disk can be mounted here");
        return;
    }
    let dir = shot_into(home.path(), &disk.join("LH-TEST"));
    let finish = |more: &[&str]| run(home.path(), &[&["finish", dir.to_str().unwrap()], more].concat());
    let finished = dir.join("finished");
    let first = finish(&[]);
    let whole = files_below(&finished);
    let originals = files_below(&dir.join("frames"));
    // As if finished anew, with room for half of the pictures.
    let pictures = bytes_on_disk(&finished);
    fs::remove_dir_all(&finished).unwrap();
    let room = bytes_on_disk(&disk) + 40 * 1024 + pictures / 2;
    let tight = mount(&format!("remount,size={}k", room / 1024));
    let full = finish(&[]);
    let part = files_below(&finished);
    let roomy = mount("remount,size=40m");
    let mended = finish(&["--json"]);
    let after = files_below(&finished);
    // With other settings over pictures that are there: what is left is no longer listed as finished.
    let room = bytes_on_disk(&disk) + 24 * 1024;
    let tight_again = mount(&format!("remount,size={}k", room / 1024));
    let mixed = finish(&["--margin", "2", "--sharpen", "90"]);
    let listed = finished.join("manifest.json").exists();
    let same = files_below(&dir.join("frames")) == originals;
    let unmounted = std::process::Command::new("umount").arg(&disk).status();

    assert!(first.status.success() && tight && roomy && tight_again, "{}", said(&first));
    assert!(unmounted.is_ok_and(|status| status.success()));
    for output in [&full, &mixed] {
        assert_eq!(output.status.code(), Some(1), "{}", said(output));
        assert!(said(output).contains("the disk is full; free some room"), "{}", said(output));
    }
    assert!((1..12).contains(&part.len()) && !part.contains_key("manifest.json"), "{:?}", part.keys());
    assert!(part.iter().all(|(name, bytes)| whole[name] == *bytes), "what has a picture's name is whole");
    assert_eq!(json(&mended)["kept"], part.len(), "what was made is not made again");
    assert!(after == whole, "the same bytes");
    assert!(!listed, "pictures of two kinds are not listed as one");
    assert!(same, "originals are only read");
}

#[test]
fn a_whole_list_is_exported_and_trouble_with_one_holds_up_no_other() {
    let (home, dir) = shot();
    let list = home.path().join("list.csv");
    fs::write(&list, "sku,name\nLH-TEST,Hedgerow mug\nLH-NONE,Not shot yet\n").unwrap();
    let (sets, to) = (dir.parent().unwrap(), home.path().join("listings"));
    let profile = profile(home.path(), "");
    let paths = [list.as_path(), sets, &profile, &to].map(|p| p.to_str().unwrap());
    let output = run(
        home.path(),
        &[
            "export",
            "--list",
            paths[0],
            "--sets",
            paths[1],
            "--profile",
            paths[2],
            "--to",
            paths[3],
            "--json",
        ],
    );
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    let report = json(&output);
    assert_eq!(report["listings"].as_array().unwrap().len(), 1, "{report}");
    assert_eq!(report["failed"][0]["sku"], "LH-NONE");
    let page = fs::read_to_string(to.join("LH-TEST/index.html")).unwrap();
    assert!(page.contains("<title>Hedgerow mug</title>"), "the list's name goes onto the page");
    assert!(!to.join("LH-NONE").exists());
    // The sets are looked for beside the list where they are not named; each product is told.
    let args = ["export", "--list", paths[0], "--profile", paths[2], "--to", paths[3]];
    let told = run(home.path(), &args);
    assert_eq!(told.status.code(), Some(1), "{}", said(&told));
    for words in ["LH-TEST: 12 pictures as 'Test'", "LH-NONE: ", "1 of 2 products exported"] {
        assert!(said(&told).contains(words), "{words}: {}", said(&told));
    }
}
