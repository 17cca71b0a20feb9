//! The command line: whatever the window can do, it can do.

use std::path::{Path, PathBuf};

use clap::{Args, CommandFactory, Parser, Subcommand};
use session_core::angle::{Angle, StepsPerTurn};
use session_core::cancel::CancelToken;
use session_core::check::{FlagKind, FlagPolicy, Response};
use session_core::clock::SimSpeed;
use session_core::journal::SessionFolder;
use session_core::turntable::serial::Dialect;

use crate::ports::PortKind;
use crate::studio::{CameraSpec, DialectSpec, FaultSpec, SIM_FRAME, StudioOptions, TableSpec};
use crate::words::with_causes;

mod adopt;
mod check;
mod controller;
mod edit;
mod export;
mod finish;
mod list;
mod optics;
mod pick;
mod plan;
mod plate;
pub(crate) mod probe;
mod shoot;
mod status;
mod table;
mod tether;
mod units;

pub use shoot::rehearse;

/// The work is done and the set is complete.
pub const EXIT_DONE: u8 = 0;
/// Something failed.
pub const EXIT_FAULT: u8 = 1;
/// The command line makes no sense.
pub const EXIT_USAGE: u8 = 2;
/// Ended with stops missing.
pub const EXIT_MISSING: u8 = 3;

/// Shoots a product on a motorised turntable: every frame at its angle, none lost.
///
/// Without a command it opens the window on the demo studio.
#[derive(Debug, Parser)]
#[command(name = "roundstop", version, max_term_width = 100)]
#[command(after_help = "Exit codes: 0 done and complete, 1 fault, 2 usage, 3 ended with stops missing.\n\n\
Turning parts catch fingers, hair and cables: keep clear while the table turns, and keep loads within what it holds.")]
pub struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Open the window, on the demo studio unless told otherwise
    Window(WindowArgs),
    /// Make or look at plans
    #[command(subcommand)]
    Plan(plan::PlanCommand),
    /// Shoot a set, or the stops still missing from one
    Shoot(ShootArgs),
    /// Make a set of files that were shot before, such as a copied card
    Adopt(adopt::AdoptArgs),
    /// Work out depth of field, framing and diffraction for an object that turns
    Optics(Box<optics::OpticsArgs>),
    /// Show what a set's folder holds
    Status {
        /// The set's folder
        dir: PathBuf,
        /// Print one JSON object
        #[arg(long)]
        json: bool,
    },
    /// Check a set's frames: focus, light, colour, copies, axis and the angle of every stop
    ///
    /// Exit codes: 0 no frame is doubtful, 3 some are, 1 fault.
    Check {
        /// The set's folder
        dir: PathBuf,
        /// Print one JSON object
        #[arg(long)]
        json: bool,
    },
    /// Finish a set's frames: even light, upright, one crop, white background; originals stay as they are
    ///
    /// The pictures go to the folder 'finished' in the set's folder. What is chosen here is kept for the set: it holds for
    /// later runs, for 'export' and in the window, until it is chosen otherwise. Only what changed is made anew.
    ///
    /// Exit codes: 0 every stop has a picture, 3 stops are missing, 1 fault.
    Finish(Box<finish::FinishArgs>),
    /// Shoot the table without the product, for the white background of a set; nothing is replaced
    Plate {
        /// The set's folder
        dir: PathBuf,
        /// The row whose camera height it is shot from; needed where the plan has several rows
        #[arg(long, value_name = "ROW")]
        row: Option<String>,
        #[command(flatten)]
        devices: DeviceArgs,
    },
    /// Export a set as a shop's listing: pictures, contact sheet, moving preview, web page, ZIP
    ///
    /// It is finished on the way, as chosen with 'finish' or in the window; 'finish' need not be run first. The profile gives
    /// size, ratio, file type and background, and the margin unless one was chosen for the set. Every stop needs a frame.
    Export(export::ExportArgs),
    /// Shoot single stops again; earlier frames stay
    Retake(RetakeArgs),
    /// Use none of a stop's frames, so that it counts as open again
    SetAside {
        /// The set's folder
        dir: PathBuf,
        /// Stops by number or angle, such as 3,7,180deg
        #[arg(long, value_name = "STOPS")]
        stops: String,
    },
    /// Choose which version of a stop is used
    Keep {
        /// The set's folder
        dir: PathBuf,
        /// The stop by number or angle
        #[arg(long, value_name = "STOP")]
        stop: String,
        /// The version, from 1
        #[arg(long)]
        version: u32,
    },
    /// Work out loads and calibrate a table
    #[command(subcommand)]
    Table(table::TableCommand),
    /// List serial ports a table may be on
    Ports,
    /// Make the files for the table's own controller board
    #[command(subcommand)]
    Controller(controller::ControllerCommand),
    /// List cameras on a cable, or show what one can be set to
    Cameras {
        /// A camera: tether, or tether:PORT
        #[arg(value_name = "CAMERA")]
        camera: Option<CameraSpec>,
        /// Write one frame of its live picture to a new file
        #[arg(long, value_name = "FILE", requires = "camera")]
        live: Option<PathBuf>,
    },
    #[cfg(feature = "tether")]
    #[command(hide = true)]
    TetherChild,
    /// Shoot the demo set on simulated devices and say where it lies
    Demo,
    /// Many products one after another, from a CSV file
    #[command(subcommand)]
    List(list::ListCommand),
    /// Measure the program on this machine
    #[command(subcommand)]
    Bench(BenchCommand),
    /// Draw one frame of the demo's pot: a stand-in for a camera program
    ///
    /// For a rehearsal with a real table: --camera 'command:roundstop demo-frame {file} {degrees}'
    DemoFrame {
        /// The file to write; an existing one is not replaced
        file: PathBuf,
        /// The angle the pot is seen at, degrees anticlockwise
        #[arg(allow_hyphen_values = true)]
        degrees: f64,
        /// Size in pixels
        #[arg(long, value_name = "WxH", default_value = SIM_FRAME, value_parser = frame_size)]
        size: (u32, u32),
        /// mug, teapot, bowl or vase
        #[arg(long, value_name = "OBJECT", default_value = "mug", value_parser = scene_object)]
        object: imaging::scene::SceneObject,
    },
}

#[derive(Debug, Subcommand)]
enum BenchCommand {
    /// The window, with many 24-Mpx frames kept and more coming in
    Window {
        /// Frames kept before
        #[arg(long, value_name = "N", default_value = "720", value_parser = clap::value_parser!(u32).range(1..=1400))]
        kept: u32,
        /// Frames shot meanwhile
        #[arg(long, value_name = "N", default_value = "12", value_parser = clap::value_parser!(u32).range(1..=40))]
        shoot: u32,
    },
    #[command(hide = true)]
    WindowRun { started_micros: u64, set: PathBuf, source: PathBuf },
    #[command(hide = true)]
    Frame { source: PathBuf, file: PathBuf, number: u64 },
}

#[derive(Debug, Args)]
#[allow(clippy::doc_markdown, reason = "help text, shown as it is")]
struct WindowArgs {
    /// The plan to start with
    #[arg(long, value_name = "FILE")]
    plan: Option<PathBuf>,
    /// The set's folder
    #[arg(long, value_name = "DIR")]
    into: Option<PathBuf>,
    /// The table: sim, or serial:PATH[@BAUD]
    #[arg(long, value_name = "T")]
    table: Option<TableSpec>,
    /// The camera: sim, folder:PATH, command:"PROGRAM {file} {degrees}", http:URL, tether, or tether:PORT
    #[arg(long, value_name = "C")]
    camera: Option<CameraSpec>,
    #[command(flatten)]
    options: DeviceOptionArgs,
}

#[derive(Debug, Args)]
struct ShootArgs {
    /// The plan
    #[arg(long, value_name = "FILE")]
    plan: PathBuf,
    /// The set's folder; made when it is not there
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
    /// Carry the folder's frames over to this plan where it differs from the folder's own
    #[arg(long)]
    replan: bool,
    #[command(flatten)]
    devices: DeviceArgs,
    #[command(flatten)]
    run: RunArgs,
}

#[derive(Debug, Args)]
struct RetakeArgs {
    /// The set's folder
    dir: PathBuf,
    /// Stops by number or angle, such as 3,7,180deg; numbers count from 1
    #[arg(long, value_name = "STOPS")]
    stops: String,
    #[command(flatten)]
    devices: DeviceArgs,
    #[command(flatten)]
    run: RunArgs,
}

#[derive(Debug, Args)]
#[allow(clippy::doc_markdown, reason = "help text, shown as it is")]
struct DeviceArgs {
    /// The table: sim, or serial:PATH[@BAUD]
    #[arg(long, value_name = "T")]
    table: TableSpec,
    /// The camera: sim, folder:PATH, command:"PROGRAM {file} {degrees}", http:URL, tether, or tether:PORT
    #[arg(long, value_name = "C")]
    camera: CameraSpec,
    #[command(flatten)]
    options: DeviceOptionArgs,
}

#[derive(Debug, Args)]
struct DeviceOptionArgs {
    /// How fast simulated time passes: a factor, or max
    #[arg(long, value_name = "X", default_value = "1")]
    sim_speed: SimSpeed,
    /// Size of simulated frames in pixels
    #[arg(long, value_name = "WxH", default_value = SIM_FRAME, value_parser = frame_size)]
    sim_frame: (u32, u32),
    /// What stands on the simulated table: mug, teapot, bowl or vase
    #[arg(long, value_name = "OBJECT", default_value = "mug", value_parser = scene_object)]
    sim_object: imaging::scene::SceneObject,
    /// What goes wrong at the simulated camera, such as blur@5,defocus@9 (also exposure, white-balance,
    /// duplicate, wrong-angle, slip), each once; a number draws faults by lot
    #[arg(long, value_name = "FAULT@STOP")]
    faults: Option<FaultSpec>,
    /// How long a frame may take to come, seconds
    #[arg(long, value_name = "SECONDS", default_value = "30", value_parser = seconds)]
    frame_timeout: f64,
    /// Fire the shutter by hand when asked, even where the table could
    #[arg(long)]
    by_hand: bool,
    /// Set a tethered camera before the set, such as iso=100; see the command cameras. May be repeated
    #[arg(long = "set-camera", value_name = "NAME=VALUE", value_parser = camera_setting)]
    set_camera: Vec<(String, String)>,
    /// Remove frames from a tethered camera's card once the session has taken them over
    #[arg(long)]
    remove_from_card: bool,
    /// How a serial table is spoken to: roundstop, ok-when-moved, dwell, finish-word, status-poll, or a file
    #[arg(long, value_name = "FILE|NAME", default_value = "roundstop")]
    dialect: DialectSpec,
    /// Steps in a turn of the plate, for a dialect whose controller does not tell them
    #[arg(long, value_name = "N/D")]
    table_steps: Option<StepsPerTurn>,
}

impl DeviceOptionArgs {
    fn studio(&self) -> StudioOptions {
        StudioOptions {
            sim_speed: self.sim_speed,
            sim_frame_px: self.sim_frame,
            sim_object: self.sim_object,
            sim_faults: self.faults.clone(),
            frame_timeout_secs: self.frame_timeout,
            hand_fired: self.by_hand,
            camera_settings: self.set_camera.clone(),
            remove_from_card: self.remove_from_card,
            dialect: self.dialect.0.clone().map(|dialect| Dialect {
                steps_per_turn: self.table_steps.or(dialect.steps_per_turn),
                ..dialect
            }),
            calibrations: crate::studio::calibration_folder(),
        }
    }
}

#[derive(Debug, Args)]
struct RunArgs {
    /// The plate stands at 0° now; set its zero before shooting
    #[arg(long)]
    zero_here: bool,
    /// How often a stop is tried again before the session stops for a person
    #[arg(long, value_name = "N", default_value = "2", value_parser = clap::value_parser!(u32).range(0..=20))]
    retries: u32,
    /// Gear play to take up before each stop, degrees; as measured of the table, or 2 where it was not
    #[arg(long, value_name = "DEGREES", value_parser = run_up)]
    run_up: Option<Angle>,
    /// Go on without a question when the camera's settings change within the set
    #[arg(long)]
    settings_may_change: bool,
    /// What follows when a check finds a frame doubtful, such as motion-blur=retake: tell, pause or retake (once by
    /// itself); all=tell for every kind. May be repeated
    #[arg(long = "when-doubtful", alias = "on-flag", value_name = "KIND=RESPONSE", value_parser = on_flag)]
    on_flag: Vec<(Vec<FlagKind>, Response)>,
    /// Print the set's status as one JSON object at the end; faults end the run without a question
    #[arg(long)]
    json: bool,
}

impl RunArgs {
    /// What follows from each kind of flag.
    fn flag_policy(&self) -> FlagPolicy {
        let mut policy = FlagPolicy::default();
        for (kinds, response) in &self.on_flag {
            for kind in kinds {
                policy.choose(*kind, *response);
            }
        }
        policy
    }
}

fn on_flag(text: &str) -> Result<(Vec<FlagKind>, Response), String> {
    let (kind, response) = text.split_once('=').ok_or("write KIND=tell, KIND=pause or KIND=retake")?;
    let kinds = if kind == "all" { FlagKind::ALL.to_vec() } else { vec![kind.parse()?] };
    Ok((kinds, response.parse()?))
}

fn frame_size(text: &str) -> Result<(u32, u32), String> {
    let parsed = text
        .split_once(['x', '×'])
        .and_then(|(width, height)| Some((width.parse().ok()?, height.parse().ok()?)));
    match parsed {
        Some((width, height)) if (16..=12_000).contains(&width) && (16..=12_000).contains(&height) => {
            Ok((width, height))
        }
        _ => Err(format!("write width x height in pixels, 16 to 12000 each, such as {SIM_FRAME}")),
    }
}

fn scene_object(text: &str) -> Result<imaging::scene::SceneObject, String> {
    serde_json::from_value(text.into()).map_err(|_| "known are mug, teapot, bowl and vase".to_owned())
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(secs) if secs > 0.0 && secs <= 3600.0 => Ok(secs),
        _ => Err("write seconds above 0 and up to 3600".to_owned()),
    }
}

fn camera_setting(text: &str) -> Result<(String, String), String> {
    let known = crate::tether::SETTINGS;
    match text.split_once('=') {
        Some((name, value)) if known.contains(&name) && !value.trim().is_empty() => {
            Ok((name.to_owned(), value.trim().to_owned()))
        }
        _ => Err(format!("write NAME=VALUE with a name out of {}", known.join(", "))),
    }
}

fn run_up(text: &str) -> Result<Angle, String> {
    match text.parse::<Angle>() {
        Ok(angle) if (Angle::ZERO..=Angle::TURN.part(30, 360)).contains(&angle) => Ok(angle),
        _ => Err("write 0 to 30 degrees".to_owned()),
    }
}

/// Ends with what became of the work.
fn end(result: anyhow::Result<()>) -> u8 {
    match result {
        Ok(()) => EXIT_DONE,
        Err(error) => fault(&error),
    }
}

/// Says what went wrong and ends with a fault.
fn fault(error: &anyhow::Error) -> u8 {
    eprintln!("roundstop: {}", with_causes(error));
    EXIT_FAULT
}

/// Says what is wrong with the command line and ends with usage.
fn usage(message: &str) -> u8 {
    eprintln!("roundstop: {message}");
    EXIT_USAGE
}

/// Says what the opening of a set's folder found and mended.
fn tell_recovery(folder: &SessionFolder) {
    for sentence in folder.recovery().sentences() {
        eprintln!("{sentence}");
    }
}

/// Is cancelled when Ctrl-C is pressed.
fn cancelled_by_ctrl_c() -> CancelToken {
    let cancel = CancelToken::default();
    let stop = cancel.clone();
    // Fails only when a handler is set already; then Ctrl-C ends the program as usual.
    let _ = ctrlc::set_handler(move || stop.cancel());
    cancel
}

/// Reads a plan file.
fn read_plan(path: &Path) -> anyhow::Result<session_core::plan::Plan> {
    use anyhow::Context;
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("the plan {} cannot be read", path.display()))?;
    session_core::plan::Plan::from_json(&text)
        .with_context(|| format!("the plan {} cannot be used", path.display()))
}

/// Runs the program; gives its exit code.
pub fn run() -> u8 {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let _ = error.print();
            return if error.use_stderr() { EXIT_USAGE } else { EXIT_DONE };
        }
    };
    match cli.command {
        None => crate::demo::window(),
        Some(Command::Window(args)) => window(args),
        Some(Command::Plan(command)) => plan::run(&command),
        Some(Command::Shoot(args)) => shoot::shoot(&args),
        Some(Command::Adopt(args)) => adopt::run(&args),
        Some(Command::Optics(args)) => optics::run(&args),
        Some(Command::Status { dir, json }) => status::run(&dir, json),
        Some(Command::Check { dir, json }) => check::run(&dir, json),
        Some(Command::Finish(args)) => finish::run(&args),
        Some(Command::Plate { dir, row, devices }) => plate::run(&dir, row.as_deref(), &devices),
        Some(Command::Export(args)) => export::run(&args),
        Some(Command::Retake(args)) => shoot::retake(&args),
        Some(Command::SetAside { dir, stops }) => edit::set_aside(&dir, &stops),
        Some(Command::Keep { dir, stop, version }) => edit::keep(&dir, &stop, version),
        Some(Command::Table(command)) => table::run(&command),
        Some(Command::Ports) => ports(),
        Some(Command::Controller(command)) => controller::run(&command),
        Some(Command::Cameras { camera, live }) => tether::cameras(camera.as_ref(), live.as_deref()),
        #[cfg(feature = "tether")]
        Some(Command::TetherChild) => crate::tether::run_child(),
        Some(Command::Demo) => crate::demo::shoot(),
        Some(Command::DemoFrame { file, degrees, size, object }) => {
            end(crate::demo::frame(&file, degrees, size, object))
        }
        Some(Command::List(command)) => list::run(&command),
        Some(Command::Bench(command)) => end(match command {
            BenchCommand::Window { kept, shoot } => crate::bench::window(kept, shoot),
            BenchCommand::WindowRun { started_micros, set, source } => {
                crate::bench::window_run(started_micros, set, &source)
            }
            BenchCommand::Frame { source, file, number } => crate::bench::frame(&source, &file, number),
        }),
    }
}

/// The command's full help, for tests.
pub fn long_help() -> String {
    Cli::command().render_long_help().to_string()
}

fn window(args: WindowArgs) -> u8 {
    let mut start = match crate::demo::start() {
        Ok(start) => start,
        Err(error) => return fault(&error),
    };
    if let Some(path) = &args.plan {
        match read_plan(path) {
            Ok(plan) => (start.plan, start.own_plan) = (plan, true),
            Err(error) => return fault(&error),
        }
        start.note = None;
    }
    start.remember = crate::settings::place();
    start.settings = start.remember.as_deref().map(crate::settings::read).unwrap_or_default();
    match (args.into, &args.plan) {
        (Some(into), _) => start.folder = into,
        (None, Some(_)) => return usage("--plan needs --into DIR, the folder for the set"),
        (None, None) => {}
    }
    start.options = args.options.studio();
    if args.table.is_some() || args.camera.is_some() {
        start.note = None;
    }
    start.table = args.table.unwrap_or(start.table);
    start.camera = args.camera.unwrap_or(start.camera);
    match crate::window::run(start) {
        Ok(()) => EXIT_DONE,
        Err(reason) => {
            eprintln!(
                "roundstop: no window can be opened here: {reason}. Start it where there is a display, or use the command line: see 'roundstop --help'."
            );
            EXIT_FAULT
        }
    }
}

fn ports() -> u8 {
    let ports = match crate::ports::list() {
        Ok(ports) => ports,
        Err(error) => return fault(&anyhow::anyhow!("serial ports cannot be listed: {error}")),
    };
    if ports.is_empty() {
        println!(
            "No serial port is there. Plug the controller in; a pseudo-terminal is not listed but can be named."
        );
    }
    for port in ports {
        let about = match &port.kind {
            PortKind::Usb(usb) => {
                let named: Vec<&str> = [&usb.maker, &usb.product, &usb.serial]
                    .into_iter()
                    .flatten()
                    .map(String::as_str)
                    .collect();
                format!("USB {} {}", usb.ids(), named.join(" "))
            }
            PortKind::Bluetooth => "Bluetooth".to_owned(),
            PortKind::BuiltIn => "built in".to_owned(),
            PortKind::Unknown => String::new(),
        };
        println!("serial:{}  {about}", port.name);
    }
    EXIT_DONE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::studio::SIM_FRAME_PX;

    #[test]
    fn frames_are_as_large_on_the_command_line_as_in_the_window() {
        assert_eq!(frame_size(SIM_FRAME), Ok(SIM_FRAME_PX));
        assert!(frame_size("3000").is_err() && frame_size("9x9").is_err());
    }
}
