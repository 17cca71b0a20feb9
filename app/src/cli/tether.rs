//! `roundstop cameras`: what is plugged in, and what a camera can be set to.

use std::fs::File;
use std::io::Write;
use std::path::Path;

use anyhow::Context;

use super::{EXIT_DONE, end, fault, usage};
use crate::studio::CameraSpec;
use crate::tether;

/// Runs `roundstop cameras [CAMERA]`.
pub fn cameras(camera: Option<&CameraSpec>, live: Option<&Path>) -> u8 {
    match (camera, live) {
        (None, _) => list(),
        (Some(CameraSpec::Tether { port }), None) => show(port.as_deref()),
        (Some(CameraSpec::Tether { port }), Some(file)) => end(save_live_frame(port.as_deref(), file)),
        (Some(other), _) => usage(&format!("'{other}' cannot be asked; name tether or tether:PORT")),
    }
}

fn list() -> u8 {
    let found = match tether::list() {
        Ok(found) => found,
        Err(reason) => return fault(&anyhow::Error::msg(reason)),
    };
    if found.is_empty() {
        println!(
            "No camera is on a cable. Plug one in and wake it; one on the network is not listed but can be named: tether:ptpip:ADDRESS"
        );
    }
    for camera in found {
        println!("tether:{}  {}", camera.port, camera.model);
    }
    EXIT_DONE
}

fn show(port: Option<&str>) -> u8 {
    let report = match tether::report(port) {
        Ok(report) => report,
        Err(reason) => return fault(&anyhow::Error::msg(reason)),
    };
    println!("{}", report.name);
    if let Some(battery) = report.battery {
        println!("battery: {battery}");
    }
    if let Some(free) = report.free_bytes {
        println!("free on its cards: {:.1} GB", free as f64 / 1e9);
    }
    for setting in report.settings {
        println!("{}={}", setting.name, setting.value);
        if !setting.choices.is_empty() {
            println!("    {}", setting.choices.join(", "));
        }
    }
    EXIT_DONE
}

fn save_live_frame(port: Option<&str>, file: &Path) -> anyhow::Result<()> {
    let bytes = tether::live_frame(port)
        .map_err(anyhow::Error::msg)?
        .context("this camera gives no live picture to the computer")?;
    File::create_new(file)
        .and_then(|mut out| out.write_all(&bytes))
        .with_context(|| format!("the live frame {} cannot be written", file.display()))
}
