//! `roundstop optics`: is all of the object sharp, does it fit, what does diffraction cost.

use clap::Args;
use session_core::optics::{Report, Subject, View, common_blur_mm};

use super::{EXIT_DONE, units, usage};

/// Camera, lens and object, as a photographer knows them.
#[derive(Debug, Args)]
pub struct OpticsArgs {
    /// Size of the sensor in millimetres, width x height as the camera is held, such as 36x24
    #[arg(long, value_name = "WxH", value_parser = sensor)]
    sensor: (f64, f64),
    /// Focal length, millimetres
    #[arg(long, value_name = "MM", value_parser = focal)]
    focal: f64,
    /// The f-number
    #[arg(long = "f", value_name = "N", value_parser = f_number)]
    f_number: f64,
    /// From the middle of the lens to the table's axis, where it is focused, such as 60cm
    #[arg(long, value_name = "LENGTH", value_parser = units::length_mm)]
    distance: f64,
    /// The widest way across the object seen from above (a box's diagonal), such as 12cm
    #[arg(long, value_name = "LENGTH", value_parser = units::length_mm)]
    object_width: f64,
    /// The object's height
    #[arg(long, value_name = "LENGTH", value_parser = units::length_mm)]
    object_height: Option<f64>,
    /// How far the object's middle stands off the axis
    #[arg(long, value_name = "LENGTH", value_parser = units::length_or_zero_mm, default_value = "0")]
    off_centre: f64,
    /// The largest blur on the sensor that counts as sharp; the sensor's diagonal over 1500 unless told
    #[arg(long, value_name = "LENGTH", value_parser = units::length_mm)]
    blur: Option<f64>,
    /// How many pixels the frame is wide
    #[arg(long, value_name = "PIXELS", value_parser = clap::value_parser!(u32).range(100..=100_000))]
    pixels_wide: Option<u32>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

fn sensor(text: &str) -> Result<(f64, f64), String> {
    let number = |text: &str| text.trim().trim_end_matches("mm").trim().parse::<f64>().ok();
    match text.split_once(['x', '×']).and_then(|(width, height)| Some((number(width)?, number(height)?))) {
        Some((width, height)) if (1.0..=200.0).contains(&width) && (1.0..=200.0).contains(&height) => {
            Ok((width, height))
        }
        _ => Err("write width x height in millimetres, such as 36x24 or 23.5x15.6".to_owned()),
    }
}

fn focal(text: &str) -> Result<f64, String> {
    match text.trim().trim_end_matches("mm").trim().parse::<f64>() {
        Ok(mm) if mm > 0.5 && mm <= 2000.0 => Ok(mm),
        _ => Err("write the focal length in millimetres, such as 100".to_owned()),
    }
}

fn f_number(text: &str) -> Result<f64, String> {
    match text.trim().trim_start_matches("f/").parse::<f64>() {
        Ok(n) if (0.5..=128.0).contains(&n) => Ok(n),
        _ => Err("write the f-number, such as 11".to_owned()),
    }
}

/// Runs `roundstop optics`.
pub fn run(args: &OpticsArgs) -> u8 {
    let (sensor_width_mm, sensor_height_mm) = args.sensor;
    let view = View {
        sensor_width_mm,
        sensor_height_mm,
        focal_mm: args.focal,
        f_number: args.f_number,
        distance_mm: args.distance,
        blur_mm: args.blur.unwrap_or_else(|| common_blur_mm(sensor_width_mm, sensor_height_mm)),
        pixel_mm: args.pixels_wide.map(|pixels| sensor_width_mm / f64::from(pixels)),
    };
    let subject = Subject {
        width_mm: args.object_width,
        height_mm: args.object_height,
        off_centre_mm: args.off_centre,
    };
    let report = match Report::new(view, subject) {
        Ok(report) => report,
        Err(error) => return usage(&error.to_string()),
    };
    if args.json {
        match serde_json::to_string_pretty(&report) {
            Ok(text) => println!("{text}"),
            Err(error) => return super::fault(&error.into()),
        }
    } else {
        for sentence in report.sentences() {
            println!("{sentence}");
        }
    }
    EXIT_DONE
}
