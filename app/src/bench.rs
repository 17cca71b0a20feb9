//! Measures the window in real work: many large frames kept, more coming in, a person looking through
//! them. `roundstop bench window` prints what a pass of the window costs.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use anyhow::Context;
use session_core::camera::Arrival;
use session_core::camera::simulated::SimExposure;
use session_core::clock::SimSpeed;
use session_core::engine::{Mode, Shot};
use session_core::journal::{KeepJob, SessionFolder};
use session_core::plan::Plan;

use crate::settings::Settings;
use crate::studio::{CameraSpec, StudioOptions, TableSpec};
use crate::window::intent::{Pick, WindowIntent};
use crate::window::{self, WindowApp, WindowStart};

/// A 24-Mpx frame.
const FRAME_PX: (u32, u32) = (6000, 4000);
/// How often the person looks at the next stop.
const LOOK: Duration = Duration::from_millis(120);
/// The shortest run, so that the passes are enough to speak of a hundredth of them.
const RUN: Duration = Duration::from_secs(20);
/// The longest run, should the set never end.
const LONGEST_RUN: Duration = Duration::from_secs(600);

/// What one run measured.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
struct Measured {
    /// From the start of the process to the end of the first pass, seconds.
    first_pass_secs: f64,
    /// CPU time of the window's thread in each pass, milliseconds, ascending.
    pass_ms: Vec<f64>,
    /// The most memory the process held, MiB; where the system tells.
    peak_mib: Option<f64>,
    /// Frames kept while the window was measured.
    shot: usize,
}

/// Makes a set of `kept` frames of 24 Mpx, opens the window on it while `shoot` more are shot, looks
/// through the frames all the while, and prints what the passes cost.
///
/// # Errors
/// When the set cannot be made or no window opens.
pub fn window(kept: u32, shoot: u32) -> anyhow::Result<()> {
    let place = tempfile::tempdir().context("no temporary folder can be made; set TMPDIR")?;
    let source = place.path().join("frame.jpg");
    let set = place.path().join("set");
    eprintln!("Making {kept} frames of 24 Mpx …");
    make_set(&set, &source, kept, shoot)?;
    let me = std::env::current_exe().context("this program's own file is not known")?;
    let started = SystemTime::now().duration_since(UNIX_EPOCH)?.as_micros().to_string();
    let child = Command::new(me)
        .args(["bench", "window-run", &started])
        .args([set.as_os_str(), source.as_os_str()])
        .stdout(Stdio::piped())
        .spawn()
        .context("the window's process cannot be started")?;
    let output = child.wait_with_output()?;
    anyhow::ensure!(output.status.success(), "the window's process ended with {}", output.status);
    let measured: Measured = serde_json::from_slice(&output.stdout).context("no measurement came back")?;
    print(kept, &measured);
    Ok(())
}

fn print(kept: u32, measured: &Measured) {
    let at = |share: f64| {
        let last = measured.pass_ms.len().saturating_sub(1);
        measured.pass_ms.get((share * last as f64).round() as usize).copied().unwrap_or(f64::NAN)
    };
    println!("frames kept before       {kept}, of 24 Mpx");
    println!("frames shot meanwhile    {}", measured.shot);
    println!("passes                   {}", measured.pass_ms.len());
    println!("CPU a pass, median       {:.2} ms", at(0.5));
    println!("CPU a pass, 99 %         {:.2} ms", at(0.99));
    println!("CPU a pass, worst        {:.2} ms", at(1.0));
    println!("first pass after start   {:.2} s", measured.first_pass_secs);
    match measured.peak_mib {
        Some(mib) => println!("most memory held         {mib:.0} MiB"),
        None => println!("most memory held         not told by this system"),
    }
}

fn make_set(set: &Path, source: &Path, kept: u32, shoot: u32) -> anyhow::Result<()> {
    let options = StudioOptions { sim_frame_px: FRAME_PX, ..StudioOptions::default() };
    let exposure = SimExposure {
        table_deg: vec![0.0],
        shot: 1,
        stop: 0,
        row: String::new(),
        empty_table: false,
        exposure_secs: 0.25,
    };
    let bytes = crate::studio::simulated_sensor(&options)(&exposure).map_err(anyhow::Error::msg)?;
    File::create_new(source)
        .and_then(|mut out| out.write_all(&bytes))
        .context("the source frame cannot be written")?;
    let plan = Plan { settle_secs: 0.2, ..Plan::single_row("LH-BENCH", kept + shoot) };
    let folder = SessionFolder::open_or_create(set, &plan)?;
    for stop in folder.shots().iter().take(kept as usize) {
        let number = u64::from(stop.index);
        let job = KeepJob {
            shot: Shot { number, stop: stop.index, commanded_step: 0, reported_step: 0 },
            source: "bench".to_owned(),
            exposed_at: jiff::Timestamp::now(),
            arrivals: vec![Arrival::Bytes {
                name: "frame.jpg".to_owned(),
                bytes: Arc::new(numbered(&bytes, number)),
            }],
            settings: None,
        };
        folder.keep(&job).map_err(|failure| anyhow::anyhow!("a frame cannot be kept: {failure:?}"))?;
    }
    Ok(())
}

/// The frame with a number in a comment segment (ITU-T T.81, marker COM) behind its start mark, so that no two
/// are the same bytes.
fn numbered(jpeg: &[u8], number: u64) -> Vec<u8> {
    let (start, rest) = jpeg.split_at(2.min(jpeg.len()));
    let mut out = start.to_vec();
    out.extend([0xFF, 0xFE, 0x00, 10]);
    out.extend(number.to_be_bytes());
    out.extend(rest);
    out
}

/// The bench's camera: writes the source frame, numbered, into a new file.
///
/// # Errors
/// When the source cannot be read or the file cannot be written.
pub fn frame(source: &Path, file: &Path, number: u64) -> anyhow::Result<()> {
    let bytes = std::fs::read(source).with_context(|| format!("{} cannot be read", source.display()))?;
    File::create_new(file)
        .and_then(|mut out| out.write_all(&numbered(&bytes, number)))
        .with_context(|| format!("{} cannot be written", file.display()))
}

/// The process that is measured: opens the window on the set, prints the measurement as JSON.
///
/// # Errors
/// When no window opens.
pub fn window_run(started_micros: u64, set: PathBuf, source: &Path) -> anyhow::Result<()> {
    let plan = SessionFolder::open(&set)?.plan().clone();
    let me = std::env::current_exe()?;
    let quoted = |path: &Path| format!("\"{}\"", path.display());
    let camera = format!("{} bench frame {} {{file}} {{shot}}", quoted(&me), quoted(source));
    let start = WindowStart {
        plan,
        own_plan: false,
        folder: set,
        table: TableSpec::Sim,
        camera: CameraSpec::Command(camera),
        options: StudioOptions { sim_speed: SimSpeed::default(), ..StudioOptions::default() },
        note: None,
        settings: Settings::default(),
        remember: None,
    };
    let (sender, results) = std::sync::mpsc::channel();
    window::run_app(start.settings.window_size(), move |ctx| {
        let app = WindowApp::new(ctx, &start)?;
        Ok(Box::new(BenchApp { app, sender: Some(sender), meter: Meter::new(started_micros) }))
    })
    .map_err(anyhow::Error::msg)?;
    let measured = results.recv().context("the window was closed before it was measured")?;
    println!("{}", serde_json::to_string(&measured)?);
    Ok(())
}

/// What is gathered while the window runs.
struct Meter {
    started_micros: u64,
    began: Instant,
    first_pass_secs: Option<f64>,
    last_cpu: Option<Duration>,
    pass_ms: Vec<f64>,
    kept_at_start: Option<usize>,
    next_look: Instant,
    looked_at: u32,
}

impl Meter {
    fn new(started_micros: u64) -> Self {
        let now = Instant::now();
        Self {
            started_micros,
            began: now,
            first_pass_secs: None,
            last_cpu: None,
            pass_ms: Vec::new(),
            kept_at_start: None,
            next_look: now,
            looked_at: 0,
        }
    }

    /// Counts the CPU time since the last pass began: drawing, tessellation and painting are all in it.
    fn pass_begins(&mut self) {
        let cpu = thread_cpu();
        if let Some(last) = self.last_cpu.replace(cpu) {
            self.first_pass_secs.get_or_insert_with(|| {
                let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
                now.saturating_sub(Duration::from_micros(self.started_micros)).as_secs_f64()
            });
            self.pass_ms.push(cpu.saturating_sub(last).as_secs_f64() * 1e3);
        }
    }
}

/// The window under measurement, with a person who never stops looking through the frames.
struct BenchApp {
    app: WindowApp,
    sender: Option<std::sync::mpsc::Sender<Measured>>,
    meter: Meter,
}

impl eframe::App for BenchApp {
    fn logic(&mut self, ctx: &egui::Context, frame: &mut eframe::Frame) {
        self.meter.pass_begins();
        self.app.logic(ctx, frame);
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut eframe::Frame) {
        self.app.ui(ui, frame);
        let state = self.app.state();
        let kept = state.kept();
        if self.meter.kept_at_start.is_none() && state.in_force.is_some() {
            self.meter.kept_at_start = Some(kept);
            self.app.sink().send(WindowIntent::Shoot);
        }
        let now = Instant::now();
        if now >= self.meter.next_look {
            self.meter.next_look = now + LOOK;
            self.meter.looked_at = self.meter.looked_at % state.places.len().max(1) as u32 + 1;
            self.app.sink().send(WindowIntent::Pick(Pick::Cursor(self.meter.looked_at)));
        }
        ui.ctx().request_repaint();
        let ran = now - self.meter.began;
        let done = state.mode == Mode::Finished && ran >= RUN;
        if (done || ran >= LONGEST_RUN)
            && let Some(sender) = self.sender.take()
        {
            self.meter.pass_ms.sort_by(f64::total_cmp);
            let _ = sender.send(Measured {
                first_pass_secs: self.meter.first_pass_secs.unwrap_or(f64::NAN),
                pass_ms: std::mem::take(&mut self.meter.pass_ms),
                peak_mib: peak_mib(),
                shot: kept - self.meter.kept_at_start.unwrap_or(kept),
            });
            ui.ctx().send_viewport_cmd(egui::ViewportCommand::Close);
        }
    }
}

/// CPU time of the calling thread; elsewhere than on Unix the time on the wall, which is never less.
fn thread_cpu() -> Duration {
    #[cfg(unix)]
    {
        let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
        Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
    }
    #[cfg(not(unix))]
    {
        SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default()
    }
}

/// The most resident memory so far, from the kernel's account of this process.
fn peak_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.split_whitespace().next()?.parse::<f64>().ok()? / 1024.0)
}
