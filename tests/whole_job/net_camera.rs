//! What the tether tests share: the rig of a controller on a pseudo-terminal and a camera on the network.

use std::collections::HashMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::support::{self, Controller, project};

/// The simulated camera; ends with this value.
pub struct NetCamera {
    child: Child,
    pub work: PathBuf,
    pub ports: (u16, u16),
}

impl NetCamera {
    /// Starts it; `exposure` draws `{file}` for `{shot}`, `extra` are ports and faults.
    pub fn start(home: &Path, exposure: &str, extra: &[&str]) -> Self {
        let work = home.join("camera");
        let mut child = Command::new("python3")
            .arg(project().join("tests/ptpip_camera/camera.py"))
            .arg(&work)
            .args(["--exposure", exposure])
            .args(extra)
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 runs");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("its output is piped"))
            .read_line(&mut line)
            .expect("it says that it is ready");
        let ports: Vec<u16> = line.split_whitespace().filter_map(|word| word.parse().ok()).collect();
        assert_eq!(ports.len(), 2, "the camera said '{}'", line.trim());
        Self { child, work, ports: (ports[0], ports[1]) }
    }

    /// The camera as the command line names it.
    pub fn spec(&self) -> String {
        format!("tether:ptpip:127.0.0.1:{}:{}", self.ports.0, self.ports.1)
    }

    /// What it was asked and did.
    pub fn log(&self) -> Vec<Value> {
        let text = fs::read_to_string(self.work.join("log.jsonl")).unwrap_or_default();
        text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
    }

    /// How often something happened.
    pub fn count(&self, what: &str) -> usize {
        self.log().iter().filter(|entry| entry["what"] == what).count()
    }

    /// Waits until something has happened so many times.
    pub fn wait_for(&self, what: &str, times: usize) {
        wait_until(what, || self.count(what) >= times);
    }

    /// Digests of every file it made, with the exposure that made it.
    pub fn served(&self) -> HashMap<String, u64> {
        let files = fs::read_dir(self.work.join("served")).unwrap();
        files
            .map(|entry| {
                let path = entry.unwrap().path();
                let shot = path.file_stem().unwrap().to_str().unwrap().parse().unwrap();
                (support::sha256(&fs::read(&path).unwrap()), shot)
            })
            .collect()
    }
}

impl Drop for NetCamera {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Waits for what must come; a test that waits in vain fails.
pub fn wait_until(what: &str, mut is_so: impl FnMut() -> bool) {
    let started = Instant::now();
    while !is_so() {
        assert!(started.elapsed() < Duration::from_secs(120), "waited in vain for {what}");
        thread::sleep(Duration::from_millis(20));
    }
}

/// A table on the real controller program, and a camera that looks at its coils.
pub struct Rig {
    pub home: tempfile::TempDir,
    pub controller: Controller,
    pub camera: NetCamera,
    pub plan: PathBuf,
    pub dir: PathBuf,
}

impl Rig {
    /// Sets it up for a plan of `stops`, with the controller's speed and the camera's faults.
    pub fn new(stops: u32, speed: &str, faults: &[&str]) -> Self {
        let home = tempfile::tempdir().unwrap();
        let plan = support::plan(home.path(), "plan.json", stops);
        let dir = home.path().join("D");
        let controller = Controller::start(home.path(), "table", &["--speed", speed]);
        let camera = NetCamera::start(home.path(), &exposure(home.path(), &controller), faults);
        Self { home, controller, camera, plan, dir }
    }

    /// Switches the camera off, runs something, and switches it on again on the same ports.
    pub fn swap_camera(&mut self, faults: &[&str], meanwhile: impl FnOnce()) {
        let ports = [self.camera.ports.0.to_string(), self.camera.ports.1.to_string()];
        let exposure = exposure(self.home.path(), &self.controller);
        let _ = self.camera.child.kill();
        let _ = self.camera.child.wait();
        meanwhile();
        let mut extra = vec!["--ports", &ports[0], &ports[1]];
        extra.extend(faults);
        self.camera = NetCamera::start(self.home.path(), &exposure, &extra);
    }

    /// `roundstop shoot` on this rig, not yet run.
    pub fn shoot(&self, extra: &[&str]) -> Command {
        let mut command = support::roundstop(self.home.path());
        command.arg("shoot").arg("--plan").arg(&self.plan).arg("--into").arg(&self.dir);
        command.args(["--table", &self.controller.table(), "--camera", &self.camera.spec()]).args(extra);
        command
    }

    /// Runs it to its end.
    pub fn run(&self, extra: &[&str]) -> Output {
        self.shoot(extra).output().expect("the program runs")
    }

    /// Runs it and asserts that it went through.
    pub fn run_through(&self, extra: &[&str]) -> String {
        let output = self.run(extra);
        let text = support::said(&output);
        assert_eq!(output.status.code(), Some(0), "{text}\n{:#?}", self.camera.log());
        text
    }

    /// The set's status.
    pub fn status(&self) -> Value {
        support::status(self.home.path(), &self.dir)
    }

    /// Asserts that every stop has `files` files, byte for byte as the camera served them, all of one exposure, made
    /// with the shaft within half a half-step of the stop. Gives the exposures, stop by stop.
    pub fn assert_frames(&self, files: usize) -> Vec<u64> {
        support::assert_complete(self.home.path(), &self.dir);
        let status = self.status();
        let shots = self.assert_kept(&status, files);
        assert_eq!(shots.len(), status["stops"].as_array().unwrap().len());
        shots
    }

    /// The same for the stops that have a frame.
    pub fn assert_kept(&self, status: &Value, files: usize) -> Vec<u64> {
        let served = self.camera.served();
        let shaft = self.shaft_by_shot();
        let mut shots = Vec::new();
        for stop in status["stops"].as_array().unwrap() {
            let Some(version) = stop["versions"].as_array().unwrap().last() else { continue };
            let names = version["files"].as_array().unwrap();
            assert_eq!(names.len(), files, "{stop}");
            let mut of_frame: Vec<u64> = names
                .iter()
                .map(|name| {
                    let bytes = fs::read(self.dir.join(name.as_str().unwrap())).unwrap();
                    *served.get(&support::sha256(&bytes)).unwrap_or_else(|| panic!("{name} was never served"))
                })
                .collect();
            of_frame.dedup();
            assert_eq!(of_frame.len(), 1, "files of several exposures at {stop}");
            let degrees = stop["degrees"].as_f64().unwrap();
            let off = off_by(degrees, shaft[&of_frame[0]]);
            assert!(off <= 0.5 + 1e-6, "{degrees}°: {off} half-steps off");
            shots.push(of_frame[0]);
        }
        shots
    }

    /// Where the shaft stood at each exposure, by the coils alone.
    fn shaft_by_shot(&self) -> HashMap<u64, i64> {
        let notes = fs::read_to_string(self.home.path().join("notes")).unwrap();
        notes
            .lines()
            .map(|line| {
                let (shot, steps) = line.split_once(' ').unwrap();
                (shot.parse().unwrap(), steps.parse().unwrap())
            })
            .collect()
    }

    /// Files set aside in quarantine.
    pub fn quarantined(&self) -> usize {
        fs::read_dir(self.dir.join("quarantine")).map_or(0, Iterator::count)
    }

    /// Processes of the program's own that talk to a camera for this rig.
    pub fn children(&self) -> usize {
        let home = format!("HOME={}", self.home.path().display());
        let processes = fs::read_dir("/proc").unwrap().filter_map(Result::ok).map(|entry| entry.path());
        processes
            .filter(|process| {
                let holds = |file: &str, word: &str| {
                    let bytes = fs::read(process.join(file)).unwrap_or_default();
                    bytes.split(|byte| *byte == 0).any(|part| part == word.as_bytes())
                };
                holds("cmdline", "tether-child") && holds("environ", &home)
            })
            .count()
    }
}

/// A program that decodes the coils by itself, notes the shaft's place beside the exposure's number, and draws the
/// demo's pot at the true angle.
fn exposure(home: &Path, controller: &Controller) -> String {
    format!(
        "python3 {} {} {} {} {{file}} {{shot}}",
        project().join("tests/whole_job/coil_camera.py").display(),
        controller.coil_log.display(),
        home.join("notes").display(),
        env!("CARGO_BIN_EXE_roundstop"),
    )
}

/// How far the shaft stands from an angle, in half-steps: 64 × 25 792 / 405 of them in a turn.
fn off_by(degrees: f64, steps: i64) -> f64 {
    let turn = 64.0 * 25_792.0 / 405.0;
    let off = (steps as f64 - degrees / 360.0 * turn).rem_euclid(turn);
    off.min(turn - off)
}
