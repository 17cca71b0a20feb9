//! Resizing in linear light against another library's arithmetic (Pillow), where it is installed.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use imaging::export::encode_picture;
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

/// The profile in our files by Little CMS (through Pillow): its transform to that library's own sRGB changes
/// no value by more than one code, and both ways of naming the colours agree.
#[test]
fn the_embedded_profile_is_srgb_to_another_library() {
    let check = "import sys, io\nfrom PIL import Image, ImageCms\n\
        im = Image.open(sys.argv[1])\n\
        p = ImageCms.ImageCmsProfile(io.BytesIO(im.info['icc_profile']))\n\
        ramp = Image.new('RGB', (256, 3))\n\
        ramp.putdata([(v, v, v) for v in range(256)] + [(v, 255 - v, v // 2) for v in range(256)]\
        + [(255 - v, v, 255) for v in range(256)])\n\
        out = ImageCms.profileToProfile(ramp, p, ImageCms.createProfile('sRGB'))\n\
        print(max(abs(a - b) for a, b in zip(ramp.tobytes(), out.tobytes())), p.profile.version)";
    let must = ["CI", "ROUNDSTOP_REQUIRE_PILLOW"].iter().any(|name| std::env::var_os(name).is_some());
    let there = Command::new("python3")
        .args(["-c", "from PIL import ImageCms"])
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|s| s.success());
    assert!(there || !must, "Pillow is not installed for python3");
    if !there {
        println!("skipped: Pillow is not installed for python3");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for file_type in ["jpeg", "webp"] {
        let file = folder.path().join(file_type);
        let profile = super::profile(&format!("file_type = '{file_type}'"));
        std::fs::write(&file, encode_picture(&picture(64, 48, 9), &profile, None, "").unwrap().bytes)
            .unwrap();
        let ran = Command::new("python3").args(["-c", check]).arg(&file).output().unwrap();
        let said = String::from_utf8_lossy(&ran.stdout).into_owned();
        let worst: u8 = said.split(' ').next().unwrap().parse().unwrap_or_else(|_| panic!("{ran:?}"));
        println!("{file_type}: worst {said}");
        assert!(worst <= 1, "{file_type}: {said}");
    }
}
