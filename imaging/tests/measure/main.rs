//! Measuring and checking: bad input, small sets, and the demo studio's faults.
//!
//! Accuracy against truth is measured on sets of another renderer, see `tests/outside`.

#![allow(clippy::unwrap_used)] // a helper that fails is a test that fails

mod codings;
mod colour;
mod registering;

use std::io::Write;
use std::path::PathBuf;

use imaging::check::{FlagKind, FrameInput, SetReport, check_measured, check_set};
use imaging::measure::{Measured, measure};
use imaging::scene::{ExposureData, Pose, SceneFaults, SceneObject, SceneView, Studio};

const SIZE: (u32, u32) = (600, 450);

fn studio(object: SceneObject) -> Studio {
    Studio::new(SceneView { object, width_px: SIZE.0, height_px: SIZE.1, ..SceneView::default() }).unwrap()
}

fn exposure() -> ExposureData {
    ExposureData {
        shutter_s: 0.008,
        f_number: 11.0,
        iso: 100,
        captured_at: "2025:03:04 10:20:30".into(),
        subsec_ms: 0,
    }
}

/// Frames of one turn; `fault` gives each frame's true angle and faults.
fn turn(object: SceneObject, stops: u32, fault: impl Fn(u32, f64) -> (f64, SceneFaults)) -> Vec<Vec<u8>> {
    let studio = studio(object);
    (0..stops)
        .map(|i| {
            let (deg, faults) = fault(i, 360.0 * f64::from(i) / f64::from(stops));
            studio.render_jpeg(&Pose::at_rest(deg, u64::from(i)), &faults, &exposure(), 92).unwrap()
        })
        .collect()
}

fn inputs(count: usize, stops: usize) -> Vec<FrameInput> {
    (0..count)
        .map(|i| FrameInput {
            index: i as u32 + 1,
            degrees: 360.0 * i as f64 / stops as f64,
            closing: false,
            path: PathBuf::new(),
        })
        .collect()
}

fn check(frames: &[Vec<u8>], stops: usize) -> SetReport {
    let measured: Vec<Result<Measured, String>> =
        frames.iter().map(|f| measure(f).map_err(|e| e.to_string())).collect();
    check_measured(&inputs(frames.len(), stops), &measured, false)
}

fn kinds(report: &SetReport, frame: usize) -> Vec<FlagKind> {
    report.frames[frame].flags.iter().map(|f| f.kind).collect()
}

#[test]
fn several_faults_in_one_set_are_each_found() {
    let mut frames = turn(SceneObject::Mug, 24, |i, deg| {
        let faults = SceneFaults {
            defocus_px: if i == 4 { 3.0 } else { 0.0 },
            exposure_ev: if i == 8 { -0.3 } else { 0.0 },
            channel_gain: if i == 12 { [1.0, 1.0, 1.08] } else { [1.0; 3] },
            ..SceneFaults::default()
        };
        (if i == 16 { deg + 2.0 } else { deg }, faults)
    });
    frames[20] = frames[19].clone();
    let report = check(&frames, 24);
    for (at, kind) in [
        (4, FlagKind::OutOfFocus),
        (8, FlagKind::ExposureOff),
        (12, FlagKind::WhiteBalanceOff),
        (16, FlagKind::WrongAngle),
        (20, FlagKind::Duplicate),
    ] {
        // In a frame this small a slight defocus may be named as motion too.
        let mut found = kinds(&report, at);
        found.retain(|k| kind != FlagKind::OutOfFocus || *k != FlagKind::MotionBlur);
        assert_eq!(found, [kind], "frame {at}: {:?}", report.frames[at].flags);
    }
    let others: Vec<_> = report
        .frames
        .iter()
        .filter(|f| ![5, 9, 13, 17, 21].contains(&f.index) && !f.flags.is_empty())
        .collect();
    assert!(others.is_empty(), "{others:?}");
    let axis = report.axis.as_ref().unwrap();
    assert!((axis.column_px - f64::from(SIZE.0) / 2.0).abs() < 0.5, "{axis:?}");
    assert!(report.closure_deg.as_ref().unwrap().0.abs() < 0.1);
    let stop = report.frames[16].measured.as_ref().unwrap();
    assert!((stop.degrees - 242.0).abs() < 0.15, "{stop:?}");
}

#[test]
fn a_plain_vase_tells_no_angles() {
    let report = check(&turn(SceneObject::Vase, 24, |_, deg| (deg, SceneFaults::default())), 24);
    assert!(report.is_clean(), "{report:?}");
    assert!(report.closure_deg.is_err());
    assert!(report.frames.iter().all(|f| f.measured.is_err()));
    let json = serde_json::to_value(&report).unwrap();
    assert_eq!(json["cannot_tell"], true);
    assert!(json["reason"].as_str().is_some_and(|r| !r.is_empty()));
    assert_eq!(json["frames"][0]["cannot_tell"], true);
}

#[test]
fn another_size_and_a_covered_lens_are_flagged() {
    let mut frames = turn(SceneObject::Mug, 12, |_, deg| (deg, SceneFaults::default()));
    let large =
        Studio::new(SceneView { width_px: SIZE.1, height_px: SIZE.0, ..SceneView::default() }).unwrap();
    frames[3] = large.render_jpeg(&Pose::at_rest(90.0, 3), &SceneFaults::default(), &exposure(), 92).unwrap();
    frames[7] = plain(SIZE.0, SIZE.1, [1, 1, 1]);
    frames[9] = plain(SIZE.0, SIZE.1, [200, 200, 200]);
    let report = check(&frames, 12);
    assert_eq!(kinds(&report, 3), [FlagKind::SizeDiffers]);
    assert_eq!(kinds(&report, 7), [FlagKind::ExposureOff]);
    assert!(kinds(&report, 9).contains(&FlagKind::Damaged), "{:?}", report.frames[9].flags);
}

/// One colour all over, as JPEG.
fn plain(width: u32, height: u32, rgb: [u8; 3]) -> Vec<u8> {
    let mut codec = mozjpeg::Compress::new(mozjpeg::ColorSpace::JCS_RGB);
    codec.set_size(width as usize, height as usize);
    let mut started = codec.start_compress(Vec::new()).unwrap();
    started.write_scanlines(&rgb.repeat((width * height) as usize)).unwrap();
    started.finish().unwrap()
}

#[test]
fn a_file_cut_anywhere_is_flagged_and_hurts_nobody_else() {
    let frames = turn(SceneObject::Mug, 6, |_, deg| (deg, SceneFaults::default()));
    let mut measured: Vec<Result<Measured, String>> =
        frames.iter().map(|f| measure(f).map_err(|e| e.to_string())).collect();
    for length in (0..frames[2].len()).step_by(1000) {
        measured[2] = measure(&frames[2][..length]).map_err(|e| e.to_string());
        let report = check_measured(&inputs(6, 6), &measured, false);
        assert_eq!(
            kinds(&report, 2).first(),
            Some(&FlagKind::Damaged),
            "{length}: {:?}",
            report.frames[2].flags
        );
        for other in [0, 1, 3, 4, 5] {
            assert!(kinds(&report, other).is_empty(), "{length}: {:?}", report.frames[other].flags);
        }
    }
}

#[test]
fn odd_files_are_values() {
    let frames = turn(SceneObject::Mug, 3, |_, deg| (deg, SceneFaults::default()));
    let mut odd: Vec<Vec<u8>> = vec![
        Vec::new(),
        b"no picture at all".to_vec(),
        plain(1, 1, [9, 9, 9]),
        plain(2, 7, [9, 9, 9]),
        plain(60_000, 1, [90, 90, 90]),
        plain(1, 60_000, [90, 90, 90]),
        png(32, 24),
        exif_with_loops(&frames[0]),
    ];
    // Bytes turned over here and there.
    for i in 1..20 {
        let mut bent = frames[1].clone();
        let at = bent.len() * i / 20;
        bent[at] ^= 0x55;
        odd.push(bent);
    }
    for (i, bytes) in odd.iter().enumerate() {
        let set = vec![frames[0].clone(), bytes.clone(), frames[2].clone()];
        let report = check(&set, 3);
        if i < 7 {
            assert!(!report.frames[1].flags.is_empty(), "odd file {i}");
        }
        assert!(serde_json::to_string(&report).is_ok());
    }
}

/// A 16-bit PNG.
fn png(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let pixels: Vec<u16> = (0..width * height * 3).map(|i| (i * 37 % 65_536) as u16).collect();
    image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(width, height, pixels)
        .unwrap()
        .write_to(&mut bytes, image::ImageFormat::Png)
        .unwrap();
    bytes.into_inner()
}

/// Puts an EXIF block that points at itself, with huge counts, before the picture.
fn exif_with_loops(jpeg: &[u8]) -> Vec<u8> {
    let mut block = b"Exif\0\0II\x2A\0\x08\0\0\0\x02\0".to_vec();
    for tag in [0x8769_u16, 0x0112] {
        block.extend(tag.to_le_bytes());
        block.extend(4_u16.to_le_bytes());
        block.extend(u32::MAX.to_le_bytes());
        block.extend(8_u32.to_le_bytes());
    }
    block.extend(8_u32.to_le_bytes());
    let mut out = jpeg[..2].to_vec();
    out.extend([0xFF, 0xE1]);
    out.extend((block.len() as u16 + 2).to_be_bytes());
    out.extend(block);
    out.extend(&jpeg[2..]);
    out
}

#[test]
fn sets_of_one_and_two_frames_and_missing_files_are_answered() {
    let frames = turn(SceneObject::Mug, 2, |_, deg| (deg, SceneFaults::default()));
    for count in 0..=2 {
        let report = check(&frames[..count], 2);
        assert_eq!(report.frames.len(), count);
        assert!(report.is_clean() && report.axis.is_err() && report.closure_deg.is_err(), "{report:?}");
    }
    let folder = std::env::temp_dir().join(format!("roundstop-measure-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("one.jpg");
    std::fs::File::create(&path).unwrap().write_all(&frames[0]).unwrap();
    let mut two = inputs(2, 2);
    two[0].path = path;
    two[1].path = folder.join("gone.jpg");
    let report = check_set(&two, false);
    assert!(kinds(&report, 0).is_empty());
    assert_eq!(kinds(&report, 1), [FlagKind::Damaged]);
}
