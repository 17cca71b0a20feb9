//! The command line: whatever the window can do, it can do.

use std::path::{Path, PathBuf};

use clap::{Args, CommandFactory, Parser, Subcommand};
use session_core::clock::SimSpeed;

use crate::studio::{CameraSpec, StudioOptions, TableSpec};

mod edit;
mod pick;
mod plan;
mod shoot;
mod status;

pub use status::summary;

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
    /// Show what a set's folder holds
    Status {
        /// The set's folder
        dir: PathBuf,
        /// Print one JSON object
        #[arg(long)]
        json: bool,
    },
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
    /// List serial ports a table may be on
    Ports,
    /// Shoot the demo set on simulated devices and say where it lies
    Demo,
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
        #[arg(long, value_name = "WxH", default_value = "1500x1000", value_parser = frame_size)]
        size: (u32, u32),
        /// mug, teapot, bowl or vase
        #[arg(long, value_name = "OBJECT", default_value = "mug", value_parser = scene_object)]
        object: imaging::scene::SceneObject,
    },
}

#[derive(Debug, Args)]
struct WindowArgs {
    /// The plan to start with
    #[arg(long, value_name = "FILE")]
    plan: Option<PathBuf>,
    /// The set's folder
    #[arg(long, value_name = "DIR")]
    into: Option<PathBuf>,
    #[command(flatten)]
    devices: Option<DeviceArgs>,
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
struct DeviceArgs {
    /// The table: sim, or serial:PATH[@BAUD]
    #[arg(long, value_name = "T")]
    table: TableSpec,
    /// The camera: sim, folder:PATH, or command:"PROGRAM {file} {degrees}"
    #[arg(long, value_name = "C")]
    camera: CameraSpec,
    /// How fast simulated time passes: a factor, or max
    #[arg(long, value_name = "X", default_value = "1")]
    sim_speed: SimSpeed,
    /// Size of simulated frames in pixels
    #[arg(long, value_name = "WxH", default_value = "1500x1000", value_parser = frame_size)]
    sim_frame: (u32, u32),
    /// What stands on the simulated table: mug, teapot, bowl or vase
    #[arg(long, value_name = "OBJECT", default_value = "mug", value_parser = scene_object)]
    sim_object: imaging::scene::SceneObject,
    /// How long a frame may take to come, seconds
    #[arg(long, value_name = "SECONDS", default_value = "30", value_parser = seconds)]
    frame_timeout: f64,
    /// Fire the shutter by hand when asked, even where the table could
    #[arg(long)]
    by_hand: bool,
}

impl DeviceArgs {
    fn options(&self) -> StudioOptions {
        StudioOptions {
            sim_speed: self.sim_speed,
            sim_frame_px: self.sim_frame,
            sim_object: self.sim_object,
            frame_timeout_secs: self.frame_timeout,
            hand_fired: self.by_hand,
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
    /// Gear play to take up before each stop, degrees
    #[arg(long, value_name = "DEGREES", default_value = "2", value_parser = run_up)]
    run_up: f64,
    /// Print the set's status as one JSON object at the end; faults end the run without a question
    #[arg(long)]
    json: bool,
}

fn frame_size(text: &str) -> Result<(u32, u32), String> {
    let parsed = text
        .split_once(['x', '×'])
        .and_then(|(width, height)| Some((width.parse().ok()?, height.parse().ok()?)));
    match parsed {
        Some((width, height)) if (16..=12_000).contains(&width) && (16..=12_000).contains(&height) => {
            Ok((width, height))
        }
        _ => Err("write width x height in pixels, 16 to 12000 each, such as 1500x1000".to_owned()),
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

fn run_up(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(degrees) if (0.0..=30.0).contains(&degrees) => Ok(degrees),
        _ => Err("write 0 to 30 degrees".to_owned()),
    }
}

/// Says what went wrong and ends with a fault.
fn fault(error: &anyhow::Error) -> u8 {
    eprintln!("roundstop: {error:#}");
    EXIT_FAULT
}

/// Says what is wrong with the command line and ends with usage.
fn usage(message: &str) -> u8 {
    eprintln!("roundstop: {message}");
    EXIT_USAGE
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
        Some(Command::Status { dir, json }) => status::run(&dir, json),
        Some(Command::Retake(args)) => shoot::retake(&args),
        Some(Command::SetAside { dir, stops }) => edit::set_aside(&dir, &stops),
        Some(Command::Keep { dir, stop, version }) => edit::keep(&dir, &stop, version),
        Some(Command::Ports) => ports(),
        Some(Command::Demo) => crate::demo::shoot(SimSpeed::Max),
        Some(Command::DemoFrame { file, degrees, size, object }) => {
            match crate::demo::frame(&file, degrees, size, object) {
                Ok(()) => EXIT_DONE,
                Err(error) => fault(&error),
            }
        }
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
            Ok(plan) => start.plan = plan,
            Err(error) => return fault(&error),
        }
        start.note = None;
    }
    match (args.into, &args.plan) {
        (Some(into), _) => start.folder = into,
        (None, Some(_)) => return usage("--plan needs --into DIR, the folder for the set"),
        (None, None) => {}
    }
    if let Some(devices) = args.devices {
        start.options = devices.options();
        start.table = devices.table;
        start.camera = devices.camera;
        start.note = None;
    }
    match crate::window::run(start) {
        Ok(()) => EXIT_DONE,
        Err(reason) => {
            eprintln!("roundstop: no window can be opened here: {reason}");
            EXIT_FAULT
        }
    }
}

fn ports() -> u8 {
    let ports = match serialport::available_ports() {
        Ok(ports) => ports,
        Err(error) => return fault(&anyhow::anyhow!("serial ports cannot be listed: {error}")),
    };
    if ports.is_empty() {
        println!(
            "No serial port is there. Plug the controller in; a pseudo-terminal is not listed but can be named."
        );
    }
    for port in ports {
        let about = match port.port_type {
            serialport::SerialPortType::UsbPort(usb) => {
                let named: Vec<String> =
                    [usb.manufacturer, usb.product, usb.serial_number].into_iter().flatten().collect();
                format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, named.join(" "))
            }
            serialport::SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
            serialport::SerialPortType::PciPort => "built in".to_owned(),
            serialport::SerialPortType::Unknown => String::new(),
        };
        println!("serial:{}  {about}", port.port_name);
    }
    EXIT_DONE
}
