//! Exported files as other libraries see them, where they are installed.

use std::process::{Command, Stdio};

use imaging::export::encode_picture;

use super::picture;

/// Whether Pillow can do what this line of Python asks for; where it must be there and is not, the test fails.
pub fn has_pillow(asked: &str) -> bool {
    let must = ["CI", "ROUNDSTOP_REQUIRE_PILLOW"].iter().any(|name| std::env::var_os(name).is_some());
    let there =
        Command::new("python3").args(["-c", asked]).stderr(Stdio::null()).status().is_ok_and(|s| s.success());
    assert!(there || !must, "Pillow is not installed for python3, or cannot do: {asked}");
    if !there {
        println!("skipped: Pillow is not installed for python3, or cannot do: {asked}");
    }
    there
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
    if !has_pillow("from PIL import ImageCms") {
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
