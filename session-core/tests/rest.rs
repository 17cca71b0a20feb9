//! A session that watches the live picture: real threads, a simulated table and clock, and a watcher that reads
//! the plate's place out of a live picture of a few bytes.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::Duration;

use session_core::camera::simulated::{Render, SimCamera};
use session_core::camera::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use session_core::clock::{Clock, SimSpeed};
use session_core::engine::{Intent, Mode};
use session_core::journal::SessionFolder;
use session_core::plan::Plan;
use session_core::rest::{Rest, RestWatcher};
use session_core::runner::{self, Eyes, RunOptions};
use session_core::turntable::simulated::{SimTable, SimTableSettings};
use session_core::view::Update;

/// A file that passes for a whole JPEG, with the plate's place as its comment.
fn picture(table_deg: f64) -> Vec<u8> {
    let place = table_deg.to_string();
    let length = u8::try_from(place.len() + 2).unwrap();
    let head = [0xff, 0xd8, 0xff, 0xfe, 0, length];
    [&head[..], place.as_bytes(), &[0xff, 0xda, 0, 2, 0, 0xff, 0xd9]].concat()
}

fn place(picture: &[u8]) -> f64 {
    let end = usize::from(picture[5]) + 4;
    std::str::from_utf8(&picture[6..end]).unwrap().parse().unwrap()
}

/// Calls a swing of a fiftieth of a degree rest, over the last ten pictures.
#[derive(Default)]
struct Reader(Vec<f64>);

const RESTS_DEG: f64 = 0.02;

impl RestWatcher for Reader {
    fn begin(&mut self) {
        self.0.clear();
    }

    fn look(&mut self, _secs: f64, picture: &[u8]) -> Rest {
        self.0.push(place(picture));
        let Some(last) = self.0.len().checked_sub(10).map(|first| &self.0[first..]) else {
            return Rest::Moving { swing_px: None };
        };
        let spread =
            last.iter().fold(f64::MIN, |a, b| a.max(*b)) - last.iter().fold(f64::MAX, |a, b| a.min(*b));
        if spread <= RESTS_DEG { Rest::Still } else { Rest::Moving { swing_px: Some(spread) } }
    }
}

/// A simulated camera whose live picture fails or is not there.
struct Blind(SimCamera, Result<(), CameraError>);

impl Camera for Blind {
    fn name(&self) -> String {
        self.0.name()
    }
    fn probe(&mut self) -> Result<(), CameraError> {
        self.0.probe()
    }
    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        self.0.expose(request, context)
    }
    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        self.0.fetch(request, context)
    }
    fn patience(&self) -> Duration {
        self.0.patience()
    }
    fn live_frame(&mut self) -> Result<Option<Vec<u8>>, CameraError> {
        self.1.clone().map(|()| None)
    }
}

struct Outcome {
    /// How far the plate moved while each frame was exposed, degrees.
    moved: Vec<f64>,
    /// From the end of each stop's turn to the end of its exposure, seconds.
    waits: Vec<f64>,
    prompts: Vec<String>,
}

/// Shoots six stops without real waiting; `live` takes the place of the camera's live picture.
fn shoot(settle_secs: f64, rest_within_secs: Option<f64>, live: Option<Result<(), CameraError>>) -> Outcome {
    let dir = tempfile::tempdir().unwrap();
    let plan = Plan { settle_secs, rest_within_secs, ..Plan::single_row("LH-1", 6) };
    let folder = SessionFolder::open_or_create(dir.path(), &plan).unwrap();
    let clock = Clock::new(SimSpeed::Max);
    let (table, probe) = SimTable::new(SimTableSettings::default(), clock.clone());
    let (tell_moved, moved) = channel();
    let render: Render = Arc::new(move |exposure| {
        if exposure.stop > 0 {
            let most = exposure.table_deg.iter().copied().fold(f64::MIN, f64::max);
            let least = exposure.table_deg.iter().copied().fold(f64::MAX, f64::min);
            let _ = tell_moved.send(most - least);
        }
        Ok(picture(exposure.table_deg[0]))
    });
    let camera = SimCamera::new(probe, clock.clone(), Duration::ZERO, render);
    let camera: Box<dyn Camera> = match live {
        Some(live) => Box::new(Blind(camera, live)),
        None => Box::new(camera),
    };
    let (sender, news) = channel();
    let eyes = Eyes { checker: None, rest: Some(Box::new(Reader::default())) };
    let handle =
        runner::start(folder, Box::new(table), camera, eyes, clock, RunOptions::default(), move |update| {
            let _ = sender.send(update);
        })
        .unwrap();
    handle.send(Intent::Start);
    let mut prompts = Vec::new();
    loop {
        match news.recv_timeout(Duration::from_secs(60)).expect("the session goes on") {
            Update::View(view) if view.mode == Mode::Finished => break,
            Update::View(view) => assert!(!matches!(view.mode, Mode::Fault(_)), "{:?}", view.mode),
            Update::Prompt { text, .. } => prompts.push(text),
            _ => {}
        }
    }
    drop(handle.finish());
    let log = std::fs::read_to_string(dir.path().join("cache/events.jsonl")).unwrap();
    let mut turned = 0.0;
    let mut waits = Vec::new();
    for line in log.lines() {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        let ms = line["ms"].as_f64().unwrap();
        if line["event"].get("TurnFinished").is_some() {
            turned = ms;
        }
        if line["event"].get("ExposureEnded").is_some() {
            waits.push((ms - turned) / 1000.0);
        }
    }
    Outcome { moved: moved.try_iter().collect(), waits, prompts }
}

#[test]
fn the_exposure_begins_as_soon_as_the_load_rests() {
    // A settle time far too short, and one far too long: watched, neither counts.
    let shaken = shoot(0.0, None, None);
    assert!(shaken.moved.iter().any(|deg| *deg > 0.2), "{:?}", shaken.moved);
    for settle_secs in [0.0, 20.0] {
        let watched = shoot(settle_secs, Some(6.0), None);
        assert_eq!(watched.moved.len(), 6);
        assert!(watched.moved.iter().all(|deg| *deg <= 2.0 * RESTS_DEG), "{:?}", watched.moved);
        // 0.6° e^(−6 t) (the simulated table's swing, demo values) is down to 0.01° after 0.68 s; ten
        // pictures a 30th of a second apart and the exposure of 0.25 s come on top.
        assert!(watched.waits.iter().all(|secs| (0.5..1.5).contains(secs)), "{:?}", watched.waits);
        assert!(watched.prompts.is_empty(), "{:?}", watched.prompts);
    }
}

#[test]
fn a_picture_that_still_moves_at_the_longest_wait_is_taken_and_said() {
    let hurried = shoot(0.0, Some(0.4), None);
    assert_eq!(hurried.moved.len(), 6);
    assert!(hurried.waits.iter().all(|secs| (0.6..0.8).contains(secs)), "{:?}", hurried.waits);
    assert_eq!(hurried.prompts.len(), 6, "{:?}", hurried.prompts);
    assert!(hurried.prompts[0].contains("still moved"), "{:?}", hurried.prompts);
}

#[test]
fn without_a_live_picture_the_settle_time_is_waited_and_that_is_said_once() {
    for (live, words) in [
        (Ok(()), "the camera has none"),
        (Err(CameraError::Failed("its lid is closed".to_owned())), "its lid is closed"),
    ] {
        let blind = shoot(1.5, Some(6.0), Some(live));
        assert!(blind.waits.iter().all(|secs| (1.74..1.8).contains(secs)), "{:?}", blind.waits);
        assert_eq!(blind.prompts.len(), 1, "{:?}", blind.prompts);
        assert!(blind.prompts[0].contains(words), "{:?}", blind.prompts);
    }
}
