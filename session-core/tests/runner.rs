//! The threads of a session with devices that fail, through what a person is told.

#![allow(clippy::disallowed_methods, reason = "the tests spoil the folder")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::fs;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use session_core::camera::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use session_core::clock::{Clock, SimSpeed};
use session_core::engine::{Fault, FaultKind, Intent, Mode};
use session_core::journal::SessionFolder;
use session_core::plan::Plan;
use session_core::runner::{self, Eyes, RunOptions, SessionHandle};
use session_core::turntable::simulated::{SimProbe, SimTable, SimTableSettings};
use session_core::view::Update;

/// A camera on the table's shutter line.
struct Wired {
    probe: SimProbe,
    /// Before this exposure's shutter the table's plug falls out.
    unplug_at: Option<u64>,
    /// At this exposure it asks, and waits until it is stopped.
    ask_at: Option<u64>,
}

impl Camera for Wired {
    fn name(&self) -> String {
        "wired".to_owned()
    }

    fn probe(&mut self) -> Result<(), CameraError> {
        Ok(())
    }

    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        if self.unplug_at == Some(request.shot) {
            self.probe.set_plugged_in(false);
        }
        if self.ask_at == Some(request.shot) {
            (context.prompt)("Is the lens cap off?".to_owned());
            while !context.cancel.is_cancelled() {
                thread::sleep(Duration::from_millis(2));
            }
            return Err(CameraError::Cancelled);
        }
        let line = context.shutter.expect("the simulated table has a line");
        line.fire(Duration::from_millis(50)).map_err(CameraError::Failed)
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        _: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        // A whole JPEG by structure (ITU-T T.81 annex B).
        let bytes = vec![0xff, 0xd8, 0xff, 0xda, 0x00, 0x02, request.stop as u8, 0xff, 0xd9];
        Ok(vec![Arrival::Bytes { name: "IMG.JPG".to_owned(), bytes: Arc::new(bytes) }])
    }

    fn patience(&self) -> Duration {
        Duration::from_secs(60)
    }
}

struct Bench {
    dir: tempfile::TempDir,
    probe: SimProbe,
    handle: SessionHandle,
    news: Receiver<Update>,
}

fn bench(unplug_at: Option<u64>, ask_at: Option<u64>) -> Bench {
    bench_for(&Plan::single_row("LH-1", 3), unplug_at, ask_at)
}

fn bench_for(plan: &Plan, unplug_at: Option<u64>, ask_at: Option<u64>) -> Bench {
    let dir = tempfile::tempdir().unwrap();
    let folder = SessionFolder::open_or_create(dir.path(), plan).unwrap();
    let clock = Clock::new(SimSpeed::Max);
    let (table, probe) = SimTable::new(SimTableSettings::default(), clock.clone());
    let camera = Wired { probe: probe.clone(), unplug_at, ask_at };
    let (sender, news) = channel();
    let options = RunOptions::default();
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
    Bench { dir, probe, handle, news }
}

impl Bench {
    /// Waits until `wanted` finds what it looks for, and gives all that was told till then.
    fn until<T>(&self, mut wanted: impl FnMut(&Update) -> Option<T>) -> (T, Vec<Update>) {
        let mut told = Vec::new();
        loop {
            let update = self.news.recv_timeout(Duration::from_secs(60)).expect("the session goes on");
            let found = wanted(&update);
            told.push(update);
            if let Some(found) = found {
                return (found, told);
            }
        }
    }

    fn fault(&self) -> Fault {
        let fault = |update: &Update| match update {
            Update::View(view) => match &view.mode {
                Mode::Fault(fault) => Some(fault.clone()),
                _ => None,
            },
            _ => None,
        };
        self.until(fault).0
    }

    fn mode(&self, wanted: &Mode) -> Vec<Update> {
        self.until(|update| matches!(update, Update::View(view) if view.mode == *wanted).then_some(())).1
    }
}

#[test]
fn a_table_that_is_lost_while_it_fires_is_the_tables_fault_and_is_opened_again() {
    let bench = bench(Some(2), None);
    bench.handle.send(Intent::Start);
    let fault = bench.fault();
    assert_eq!(fault.kind, FaultKind::Table, "{fault:?}");
    bench.probe.set_plugged_in(true);
    bench.handle.send(Intent::TryAgain);
    bench.mode(&Mode::Finished);
    assert_eq!(bench.probe.shutter_count(), 3);
    assert_eq!(bench.handle.finish().unwrap().status().kept(), 3);
}

#[test]
fn no_place_for_the_frame_is_the_disks_fault_and_nothing_is_exposed() {
    let bench = bench(None, None);
    let incoming = bench.dir.path().join("incoming");
    fs::write(&incoming, b"in the way").unwrap();
    bench.handle.send(Intent::Start);
    let fault = bench.fault();
    assert_eq!(fault.kind, FaultKind::Storage, "{fault:?}");
    assert_eq!(bench.probe.shutter_count(), 0);
    fs::remove_file(&incoming).unwrap();
    bench.handle.send(Intent::TryAgain);
    bench.mode(&Mode::Finished);
    assert_eq!(bench.handle.finish().unwrap().status().kept(), 3);
}

#[test]
fn a_prompt_names_its_stop_and_a_stopped_exposure_is_no_trouble() {
    let bench = bench(None, Some(2));
    bench.handle.send(Intent::Start);
    let prompted = |update: &Update| match update {
        Update::Prompt { stop, text } if text.contains("lens cap") => Some(*stop),
        _ => None,
    };
    assert_eq!(bench.until(prompted).0, Some(2));
    bench.handle.send(Intent::StopNow);
    let told = bench.mode(&Mode::Stopped);
    assert!(!told.iter().any(|update| matches!(update, Update::Failed { .. })), "{told:?}");
    // Its number is on record all the same, so that it is never used again.
    let folder = bench.handle.finish().unwrap();
    assert_eq!(folder.with_ledger(session_core::journal::Ledger::last_shot), 2);
}

#[test]
fn a_closing_frame_is_shown_and_not_counted_as_a_stop_of_the_set() {
    let plan = Plan { closing_frame: true, ..Plan::single_row("LH-1", 3) };
    let bench = bench_for(&plan, None, None);
    bench.handle.send(Intent::Start);
    let told = bench.mode(&Mode::Finished);
    let Some(Update::View(view)) = told.last() else { panic!("{told:?}") };
    let closing: Vec<bool> = view.stops.iter().map(|stop| stop.closing).collect();
    assert_eq!(closing, [false, false, false, true]);
    assert!(view.stops.iter().all(|stop| stop.chosen == 1));
    assert_eq!((view.kept(), view.of_set().count()), (3, 3));
}
