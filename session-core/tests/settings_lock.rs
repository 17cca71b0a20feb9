//! A set must not drift: settings from EXIF and from the camera, through a whole session and the next.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

use session_core::camera::settings::{CameraSettings, FrameSettings, Setting};
use session_core::camera::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use session_core::clock::{Clock, SimSpeed};
use session_core::engine::{FaultKind, Intent, Mode};
use session_core::journal::{SessionFolder, SetStatus, exposure_facts};
use session_core::plan::Plan;
use session_core::runner::{self, Eyes, RunOptions};
use session_core::turntable::simulated::{SimTable, SimTableSettings};
use session_core::view::Update;

#[path = "camera_support/jpegs.rs"]
#[allow(dead_code, reason = "other tests use the rest")]
mod jpegs;

use jpegs::{Exif, plain, with_exif};

type Make<T> = Box<dyn Fn(u64) -> T + Send>;

/// A camera whose every frame and setting the test decides, by shot number.
struct Fake {
    frame: Make<Vec<u8>>,
    settings: Make<Option<CameraSettings>>,
    shot: u64,
}

impl Camera for Fake {
    fn name(&self) -> String {
        "fake".to_owned()
    }
    fn probe(&mut self) -> Result<(), CameraError> {
        Ok(())
    }
    fn expose(&mut self, request: &ExposureRequest, _: &CameraContext<'_>) -> Result<(), CameraError> {
        self.shot = request.shot;
        Ok(())
    }
    fn fetch(
        &mut self,
        request: &ExposureRequest,
        _: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let bytes = Arc::new((self.frame)(request.shot));
        Ok(vec![Arrival::Bytes { name: "IMG.JPG".to_owned(), bytes }])
    }
    fn patience(&self) -> Duration {
        Duration::from_secs(60)
    }
    fn settings(&mut self) -> Result<Option<CameraSettings>, CameraError> {
        Ok((self.settings)(self.shot))
    }
}

fn with_files(frame: impl Fn(u64) -> Exif + Send + 'static) -> Fake {
    Fake {
        frame: Box::new(move |shot| with_exif(shot as u32, &frame(shot))),
        settings: Box::new(|_| None),
        shot: 0,
    }
}

/// What a session said and how it ended.
struct Outcome {
    prompts: Vec<String>,
    faults: Vec<String>,
    status: SetStatus,
}

/// Runs a session; `answers` are given to faults in turn, and without one the session ends.
fn run(root: &Path, camera: Fake, options: RunOptions, intent: Intent, answers: &[Intent]) -> Outcome {
    let folder = SessionFolder::open_or_create(root, &Plan::single_row("LH-1", 6)).unwrap();
    let clock = Clock::new(SimSpeed::Max);
    let (table, _) = SimTable::new(SimTableSettings::default(), clock.clone());
    let (sender, news) = channel();
    let handle = runner::start(
        folder,
        Box::new(table),
        Box::new(camera),
        Eyes::default(),
        clock,
        options,
        move |update| {
            let _ = sender.send(update);
        },
    )
    .unwrap();
    let mut answers = answers.iter().cloned();
    let (mut prompts, mut faults) = (Vec::new(), Vec::new());
    let mut last = Mode::Ready;
    handle.send(intent);
    for update in &news {
        match update {
            Update::Prompt { text, .. } => prompts.push(text),
            Update::View(view) if view.mode != last => {
                last = view.mode.clone();
                match &view.mode {
                    Mode::Finished => break,
                    Mode::Fault(fault) => {
                        assert_eq!(fault.kind, FaultKind::Settings, "{}", fault.message);
                        faults.push(format!("stop {}: {}", fault.stop.unwrap_or(0), fault.message));
                        match answers.next() {
                            Some(answer) => handle.send(answer),
                            None => break,
                        }
                    }
                    _ => {}
                }
            }
            _ => {}
        }
    }
    let status = handle.finish().unwrap().status();
    Outcome { prompts, faults, status }
}

fn iso_of(status: &SetStatus) -> Vec<Option<u32>> {
    let used = status.stops.iter().map(|stop| stop.versions.iter().find(|version| version.in_use));
    used.map(|version| version?.exposure.as_ref()?.iso).collect()
}

#[test]
fn settings_put_back_give_an_even_set_and_the_odd_frame_stays_as_a_version() {
    let dir = tempfile::tempdir().unwrap();
    let camera = with_files(|shot| Exif { iso: if shot == 3 { 400 } else { 100 }, ..Exif::default() });
    let outcome = run(dir.path(), camera, RunOptions::default(), Intent::Start, &[Intent::TryAgain]);
    assert_eq!(outcome.faults.len(), 1);
    assert!(
        outcome.faults[0].contains("stop 3:") && outcome.faults[0].contains("ISO changed from 100 to 400")
    );
    assert!(outcome.status.complete);
    assert_eq!(iso_of(&outcome.status), [Some(100); 6]);
    assert_eq!(outcome.status.stops[2].versions.len(), 2);
}

#[test]
fn new_settings_taken_for_the_rest_are_not_asked_for_again_in_a_later_run() {
    let dir = tempfile::tempdir().unwrap();
    let slower = |shot| Exif { shutter: if shot >= 4 { (1, 30) } else { (1, 60) }, ..Exif::default() };
    let answers = [Intent::GoOnWithSettings];
    let outcome = run(dir.path(), with_files(slower), RunOptions::default(), Intent::Start, &answers);
    assert_eq!(outcome.faults.len(), 1);
    assert!(
        outcome.faults[0].contains("shutter speed changed from 1/60 s to 1/30 s"),
        "{:?}",
        outcome.faults
    );
    assert!(outcome.status.complete);
    let retake = Intent::Retake { stops: vec![5] };
    let again = run(dir.path(), with_files(slower), RunOptions::default(), retake, &[]);
    assert!(again.faults.is_empty(), "{:?}", again.faults);
    assert_eq!(again.status.stops[4].versions.len(), 2);
}

#[test]
fn a_run_that_ended_with_the_question_asks_it_again() {
    let dir = tempfile::tempdir().unwrap();
    let odd = |shot| Exif { f_number: if shot == 2 { (80, 10) } else { (110, 10) }, ..Exif::default() };
    let outcome = run(dir.path(), with_files(odd), RunOptions::default(), Intent::Start, &[]);
    assert!(
        outcome.faults[0].contains("stop 2:")
            && outcome.faults[0].contains("aperture changed from f/11 to f/8")
    );
    let kept = outcome.status.kept();
    let again = run(dir.path(), with_files(odd), RunOptions::default(), Intent::Start, &[]);
    assert_eq!(again.faults, outcome.faults[..1]);
    assert_eq!(again.status.kept(), kept, "nothing is shot before the answer");
    // Shot again by name, the set goes on.
    let retake = Intent::Retake { stops: vec![2] };
    let third = run(dir.path(), with_files(odd), RunOptions::default(), retake, &[]);
    assert!(third.faults.is_empty());
    let last = run(dir.path(), with_files(odd), RunOptions::default(), Intent::Start, &[]);
    assert!(last.faults.is_empty() && last.status.complete);
}

#[test]
fn settings_may_change_freely_when_told_so() {
    let dir = tempfile::tempdir().unwrap();
    let camera = with_files(|shot| Exif { iso: 100 + shot as u16, ..Exif::default() });
    let options = RunOptions { settings_may_change: true, ..RunOptions::default() };
    let outcome = run(dir.path(), camera, options, Intent::Start, &[]);
    assert!(outcome.faults.is_empty() && outcome.status.complete);
}

#[test]
fn the_camera_is_asked_where_files_tell_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let camera = Fake {
        frame: Box::new(|shot| plain(shot as u32)),
        settings: Box::new(|shot| {
            Some(CameraSettings {
                iso: Some("200".to_owned()),
                white_balance: Some(if shot >= 3 { "Shade" } else { "Daylight" }.to_owned()),
                ..CameraSettings::default()
            })
        }),
        shot: 0,
    };
    let outcome = run(dir.path(), camera, RunOptions::default(), Intent::Start, &[]);
    assert!(
        outcome.faults[0].contains("white balance changed from Daylight to Shade"),
        "{:?}",
        outcome.faults
    );
    let recorded = outcome.status.stops[0].versions[0].camera_settings.as_ref().unwrap();
    assert_eq!(recorded.white_balance.as_deref(), Some("Daylight"));
    let journal = std::fs::read_to_string(dir.path().join("journal.jsonl")).unwrap();
    let began = journal.lines().find(|line| line.contains("run_began")).unwrap();
    assert!(began.contains("Daylight"), "{began}");
}

#[test]
fn what_is_automatic_is_said_before_the_first_frame() {
    let dir = tempfile::tempdir().unwrap();
    let camera = Fake {
        frame: Box::new(|shot| plain(shot as u32)),
        settings: Box::new(|_| {
            Some(CameraSettings {
                exposure_mode: Some("AV".to_owned()),
                iso: Some("Auto".to_owned()),
                white_balance: Some("Automatic".to_owned()),
                focus_mode: Some("One Shot".to_owned()),
                shutter: Some("1/60".to_owned()),
                ..CameraSettings::default()
            })
        }),
        shot: 0,
    };
    let outcome = run(dir.path(), camera, RunOptions::default(), Intent::Start, &[]);
    for words in
        ["exposure mode by itself ('AV')", "ISO by itself", "white balance by itself", "focus mode by itself"]
    {
        assert!(
            outcome.prompts.iter().any(|prompt| prompt.contains(words)),
            "{words}: {:?}",
            outcome.prompts
        );
    }
    assert_eq!(outcome.prompts.len(), 4, "{:?}", outcome.prompts);
}

#[test]
fn what_the_first_file_shows_to_be_automatic_is_said_once() {
    let dir = tempfile::tempdir().unwrap();
    let camera = with_files(|_| Exif { program: 3, white_balance: 0, ..Exif::default() });
    let outcome = run(dir.path(), camera, RunOptions::default(), Intent::Start, &[]);
    assert!(outcome.status.complete);
    assert_eq!(outcome.prompts.len(), 2, "{:?}", outcome.prompts);
    assert!(outcome.prompts[0].contains("exposure mode by itself ('aperture priority')"));
    assert!(outcome.prompts[1].contains("white balance by itself ('automatic')"));
}

/// EXIF 2.32 (CIPA DC-008): tags 33434, 33437, 34850, 34855, 37386, 41987, written by a general-purpose
/// EXIF library.
#[test]
fn exposure_facts_are_those_of_the_file() {
    let facts =
        exposure_facts(&with_exif(1, &Exif { program: 3, white_balance: 0, ..Exif::default() })).unwrap();
    assert!((facts.exposure_secs.unwrap() - 1.0 / 60.0).abs() < 1e-12);
    assert!((facts.f_number.unwrap() - 11.0).abs() < 1e-12);
    assert_eq!(facts.iso, Some(100));
    assert!((facts.focal_length_mm.unwrap() - 100.0).abs() < 1e-12);
    assert_eq!(facts.exposure_program.as_deref(), Some("aperture priority"));
    assert_eq!(facts.white_balance.as_deref(), Some("automatic"));
    assert_eq!(exposure_facts(&plain(1)), None);
}

#[test]
fn words_for_automatic_are_known_and_others_count_as_fixed() {
    let automatic = |setting: Setting, value: &str| {
        let mut settings = FrameSettings::default();
        settings.from_camera.insert(setting, value.to_owned());
        !settings.automatics().is_empty()
    };
    for (setting, yes, no) in [
        (
            Setting::ExposureMode,
            vec![
                "P",
                "Av",
                "TV",
                "A",
                "S",
                "Auto",
                "Program",
                "Aperture Priority",
                "A_DEP",
                "normal program",
            ],
            vec!["M", "Manual", "Bulb", "manual", "Custom", "C1"],
        ),
        (
            Setting::WhiteBalance,
            vec!["Auto", "Automatic", "AWB White"],
            vec!["Daylight", "Preset 1", "5600K"],
        ),
        (Setting::Iso, vec!["Auto", "ISO Auto"], vec!["100", "ISO 100"]),
        (
            Setting::FocusMode,
            vec!["AF-S", "AF-C", "One Shot", "AI Servo", "AI Focus", "Automatic", "Single-Servo AF"],
            vec!["Manual", "MF", "DMF"],
        ),
        (Setting::Shutter, vec!["Auto"], vec!["1/60", "bulb"]),
        (Setting::ImageFormat, vec![], vec!["Auto"]),
    ] {
        for value in yes {
            assert!(automatic(setting, value), "{setting:?} {value}");
        }
        for value in no {
            assert!(!automatic(setting, value), "{setting:?} {value}");
        }
    }
}
