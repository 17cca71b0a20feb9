//! Resizing in linear light against another library's arithmetic (Pillow), where it is installed.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use imaging::finish::LinearPicture;

use super::picture;

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
    let source = picture(640, 480, 9);
    for (width, height) in [(213_u32, 160_u32), (400, 300), (800, 600)] {
        let linear = LinearPicture::from_coded(&source);
        let ours = linear.resized([0.0, 0.0, 640.0, 480.0], width, height).unwrap().coded().unwrap();
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
