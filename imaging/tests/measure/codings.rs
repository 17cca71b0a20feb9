//! Frames in other codings, and files that are none, in a folder's set.

use std::io::Write;
use std::path::Path;

use imaging::check::{FlagKind, SetReport, check_set};
use imaging::decode;
use imaging::scene::{SceneFaults, SceneObject};

use super::{exif_with_loops, inputs, kinds, plain, turn};

const STOPS: usize = 8;
/// The stop whose file is another.
const ODD: usize = 3;

/// Checks a set in a folder in which one stop's file, whatever its name says, holds `odd`.
fn check_with(folder: &Path, frames: &[Vec<u8>], odd: &[u8]) -> SetReport {
    let mut set = inputs(STOPS, STOPS);
    for (i, input) in set.iter_mut().enumerate() {
        input.path = folder.join(format!("stop-{i}.jpg"));
        let bytes = if i == ODD { odd } else { &frames[i] };
        std::fs::File::create(&input.path).unwrap().write_all(bytes).unwrap();
    }
    check_set(&set, false)
}

fn encoded(space: mozjpeg::ColorSpace, size: (usize, usize), samples: &[u8], progressive: bool) -> Vec<u8> {
    let mut codec = mozjpeg::Compress::new(space);
    codec.set_size(size.0, size.1);
    codec.set_quality(92.0);
    if progressive {
        codec.set_progressive_mode();
    }
    let mut started = codec.start_compress(Vec::new()).unwrap();
    started.write_scanlines(samples).unwrap();
    started.finish().unwrap()
}

fn sixteen_bits(size: (usize, usize), rgb: &[u8]) -> Vec<u8> {
    let deep: Vec<u16> = rgb.iter().map(|&v| u16::from(v) * 257).collect();
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(size.0 as u32, size.1 as u32, deep)
        .unwrap()
        .write_to(&mut bytes, image::ImageFormat::Png)
        .unwrap();
    bytes.into_inner()
}

#[test]
fn another_coding_is_no_fault_and_no_picture_is_one() {
    let folder = tempfile::tempdir().unwrap();
    let frames = turn(SceneObject::Mug, STOPS as u32, |_, deg| (deg, SceneFaults::default()));
    let picture = decode::full(&frames[ODD]).unwrap().picture;
    let size = (picture.width_px() as usize, picture.height_px() as usize);
    let rgb = picture.rgb();
    // Ink as print shops' files hold it: inverted, black left out.
    let ink: Vec<u8> = rgb.chunks_exact(3).flat_map(|p| [p[0], p[1], p[2], 255]).collect();

    let whole = [
        ("progressive", encoded(mozjpeg::ColorSpace::JCS_RGB, size, rgb, true)),
        ("ink", encoded(mozjpeg::ColorSpace::JCS_CMYK, size, &ink, false)),
        ("16-bit PNG named .jpg", sixteen_bits(size, rgb)),
        ("EXIF in loops, with huge counts", exif_with_loops(&frames[ODD])),
    ];
    for (name, bytes) in whole {
        let report = check_with(folder.path(), &frames, &bytes);
        assert!(report.is_clean(), "{name}: {:?}", report.frames[ODD].flags);
    }

    let broken = [
        ("nothing", Vec::new(), FlagKind::Damaged),
        ("words", b"no picture at all".to_vec(), FlagKind::Damaged),
        ("one pixel", plain(1, 1, [90, 90, 90]), FlagKind::SizeDiffers),
        ("a line", plain(60_000, 1, [90, 90, 90]), FlagKind::SizeDiffers),
        ("a covered lens", plain(size.0 as u32, size.1 as u32, [40; 3]), FlagKind::ExposureOff),
        ("the plate without object", plain(size.0 as u32, size.1 as u32, [200; 3]), FlagKind::Damaged),
    ];
    for (name, bytes, kind) in broken {
        let report = check_with(folder.path(), &frames, &bytes);
        assert!(kinds(&report, ODD).contains(&kind), "{name}: {:?}", report.frames[ODD].flags);
        assert!(report.frames[ODD].flags.iter().all(|f| !f.reason.is_empty()));
        for (i, frame) in report.frames.iter().enumerate() {
            assert!(i == ODD || frame.flags.is_empty(), "{name}, stop {i}: {:?}", frame.flags);
        }
    }
}
