//! Resizing in linear light against another library's arithmetic (Pillow), where it is installed.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use super::place::Placement;
use super::resample::Frame;
use crate::picture::Picture;

/// A picture with soft tones and fine grain. Demo data.
fn picture(width: u32, height: u32) -> Picture {
    let rgb = (0..width * height)
        .flat_map(|i| {
            let (x, y) = (i % width, i / width);
            let grain = (i ^ 9).wrapping_mul(2_654_435_761) >> 27;
            [x * 200 / width + grain, y * 200 / height + grain, 90 + (x + y + 9) % 60].map(|v| v as u8)
        })
        .collect();
    Picture::from_rgb(width, height, rgb).unwrap()
}

/// `tests/outside/linear_resize.py` decodes sRGB by the standard's formula, resizes each channel as floating
/// point with Pillow's cubic (a = −1/2, widened when shrinking), and codes again.
#[test]
fn resizing_agrees_with_another_library() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/outside/linear_resize.py");
    let must = ["CI", "ROUNDSTOP_REQUIRE_PILLOW"].iter().any(|name| std::env::var_os(name).is_some());
    let there = Command::new("python3")
        .args(["-c", "import PIL, numpy"])
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|s| s.success());
    assert!(there || !must, "Pillow and numpy are not installed for python3");
    if !there {
        println!("skipped: Pillow and numpy are not installed for python3");
        return;
    }
    let source = picture(640, 480);
    for (width, height) in [(213_u32, 160_u32), (400, 300), (800, 600)] {
        let frame = Frame::Coded(source.clone());
        let ours =
            Placement::whole((640, 480)).apply(&frame, [1.0; 3], width, height).unwrap().coded().unwrap();
        let mut child = Command::new("python3")
            .arg(&script)
            .args(["640", "480", &width.to_string(), &height.to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(source.rgb()).unwrap();
        let theirs = child.wait_with_output().unwrap().stdout;
        assert_eq!(theirs.len(), ours.rgb().len());
        let worst = ours.rgb().iter().zip(&theirs).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
        let off = ours.rgb().iter().zip(&theirs).filter(|(a, b)| a.abs_diff(**b) > 1).count();
        println!("{width} × {height}: worst {worst} codes, {off} values more than one code off");
        assert!(worst <= 2 && off * 1000 < theirs.len(), "{worst} {off}");
    }
}
