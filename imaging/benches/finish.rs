//! How long finishing and coding 24-megapixel frames takes, beside libvips where its tool is installed.
//!
//! `cargo bench -p imaging --bench finish`. CPU time is what the process used, wall time what went by; the
//! machine may be busy with other things, so compare the first.

use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

use imaging::export::{ListingProfile, encode_picture, xmp_packet};
use imaging::finish::{
    Axis, FinishSettings, FrameToFinish, RowLight, SetPlan, Target, finish_frame, look, place_plate,
    plan_place,
};
use imaging::scene::{ExposureData, Pose, SceneFaults, SceneView, Studio};

/// User and system time of this process and of its ended children, seconds (proc(5): fields 14 to 17 of
/// `stat`, in hundredths).
fn cpu_secs() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = text.rsplit(')').next().unwrap_or_default();
    let ticks: f64 =
        after_name.split_whitespace().skip(11).take(4).filter_map(|t| t.parse::<f64>().ok()).sum();
    ticks / 100.0
}

fn timed<T>(what: &str, rounds: u32, mut work: impl FnMut() -> T) {
    let (cpu, wall) = (cpu_secs(), Instant::now());
    for _ in 0..rounds {
        black_box(work());
    }
    let each = |secs: f64| secs * 1000.0 / f64::from(rounds);
    println!(
        "{what:<58} {:>8.0} ms CPU {:>8.0} ms wall",
        each(cpu_secs() - cpu),
        each(wall.elapsed().as_secs_f64())
    );
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let view = SceneView { width_px: 6000, height_px: 4000, ..SceneView::default() };
    let askew = SceneFaults { axis_offset_px: 90.0, camera_roll_deg: 1.5, ..SceneFaults::default() };
    let exposure = ExposureData {
        shutter_s: 1.0 / 125.0,
        f_number: 11.0,
        iso: 100,
        captured_at: "2025:03:04 10:20:30".into(),
        subsec_ms: 0,
    };
    let frame = Studio::new(view)?.render_jpeg(&Pose::at_rest(30.0, 1), &askew, &exposure, 92)?;
    println!("one frame of 24 Mpx, {:.1} MB as JPEG", frame.len() as f64 / 1e6);
    let settings = FinishSettings::default();
    let seen = look(&frame, None)?;
    let light = RowLight::measure(&[1], std::slice::from_ref(&seen.glance))?.with(&settings);
    let sight = &seen.sight;
    let plan = |axis: Axis| -> Result<SetPlan, imaging::finish::FinishError> {
        plan_place((6000, 4000), &[1], std::slice::from_ref(sight), Some(axis), light.clone(), &settings)
    };
    let leaning = plan(Axis { column_px: 3090.0, lean_deg: 1.5 })?;
    let upright = plan(Axis { column_px: 3090.0, lean_deg: 0.0 })?;
    let which = FrameToFinish { number: 0, sight, plate: None };
    timed("decode all", 5, || imaging::decode::full(&frame));
    timed("decode a quarter to measure", 5, || {
        imaging::decode::measuring(&frame, imaging::measure::MEASURING_EDGE_PX)
    });
    timed("measure for the checks, with that", 5, || imaging::measure::measure(&frame));
    timed("look: light, outline and checks, with that", 5, || look(&frame, None));
    let small = Target { width_px: 2000, height_px: 2000 };
    timed("finish to 2000 × 2000, axis upright", 3, || {
        finish_frame(&frame, &upright, which, &settings, small)
    });
    timed("finish to 2000 × 2000, axis leaning 1.5°", 3, || {
        finish_frame(&frame, &leaning, which, &settings, small)
    });
    let native = Target::native(&leaning.placement);
    let what = format!("finish to {} × {}, leaning 1.5°", native.width_px, native.height_px);
    timed(&what, 2, || finish_frame(&frame, &leaning, which, &settings, native));
    timed("place a frame of the empty table, 2000 × 2000", 2, || place_plate(&frame, &leaning, small));
    let done = finish_frame(&frame, &leaning, which, &settings, small)?.picture;
    let xmp = xmp_packet(&imaging::export::Labels::default(), None, "");
    for (file_type, more) in [("jpeg", ""), ("jpeg", "max_bytes = 120000"), ("webp", ""), ("png", "")] {
        let text =
            format!("name = 'bench'\nwidth_px = 2000\nheight_px = 2000\nfile_type = '{file_type}'\n{more}");
        let profile = ListingProfile::from_toml(&text)?;
        timed(&format!("code 2000 × 2000 as {file_type} {more}"), 2, || {
            encode_picture(&done, &profile, None, &xmp)
        });
    }
    if Command::new("vipsthumbnail").arg("--vips-version").output().is_ok_and(|o| o.status.success()) {
        let dir = tempfile::tempdir()?;
        let source = dir.path().join("frame.jpg");
        std::io::Write::write_all(&mut std::fs::File::create(&source)?, &frame)?;
        for (what, linear) in [("in coded values", false), ("in linear light", true)] {
            let out = dir.path().join("out.jpg[Q=88]");
            timed(&format!("vipsthumbnail to 2000 px {what}, JPEG, no other step"), 3, || {
                let mut command = Command::new("vipsthumbnail");
                command.arg(&source).args(["--size", "2000x2000", "-o"]).arg(&out);
                if linear {
                    command.arg("--linear");
                }
                command.status()
            });
        }
    } else {
        println!("vipsthumbnail is not installed (Debian: libvips-tools): nothing to compare with");
    }
    Ok(())
}
