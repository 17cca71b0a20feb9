//! Files of the four printing inks, through their own profile, against Little CMS (by way of Pillow).

use std::io::Write;
use std::process::{Command, Stdio};

use imaging::decode;
use mozjpeg::{ColorSpace, Compress, Marker};

use super::ink_profile::profile;

const SIDE: usize = 96;
/// Soft ramps of all four inks; in files of this kind 255 stands for no ink.
fn file(profile: Option<&[u8]>) -> Vec<u8> {
    let mut inks = Vec::new();
    for y in 0..SIDE {
        for x in 0..SIDE {
            let ramp = |v: usize| (v * 230 / (SIDE - 1)) as u8;
            inks.extend(
                [ramp(x), ramp(y), ramp(SIDE - 1 - x), ramp(usize::midpoint(x, y)) / 2].map(|v| 255 - v),
            );
        }
    }
    let mut codec = Compress::new(ColorSpace::JCS_CMYK);
    codec.set_size(SIDE, SIDE);
    codec.set_quality(100.0);
    let mut started = codec.start_compress(Vec::new()).unwrap();
    if let Some(profile) = profile {
        started.write_marker(Marker::APP(2), &[b"ICC_PROFILE\0\x01\x01".as_slice(), profile].concat());
    }
    started.write_scanlines(&inks).unwrap();
    started.finish().unwrap()
}

#[test]
fn inks_become_light_through_their_own_profile() {
    let bytes = file(Some(&profile()));
    let ours = decode::full(&bytes).unwrap();
    assert_eq!(ours.inks_guessed, None);
    assert!(ours.icc_profile.is_none(), "what was converted needs it no more");
    // No ink is white, by the profile too.
    let white = ours.picture.rgb().iter().copied().max().unwrap();
    assert!(white >= 225, "{white}");
    let check = "import sys, io\nfrom PIL import Image, ImageCms\n\
        im = Image.open(io.BytesIO(sys.stdin.buffer.read()))\n\
        p = ImageCms.ImageCmsProfile(io.BytesIO(im.info['icc_profile']))\n\
        out = ImageCms.profileToProfile(im, p, ImageCms.createProfile('sRGB'), renderingIntent=1, outputMode='RGB')\n\
        sys.stdout.buffer.write(out.tobytes())";
    let must = ["CI", "ROUNDSTOP_REQUIRE_PILLOW"].iter().any(|name| std::env::var_os(name).is_some());
    let mut child = match Command::new("python3")
        .args(["-c", check])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
    {
        Ok(child) => child,
        Err(error) => {
            assert!(!must, "python3 is not there: {error}");
            return;
        }
    };
    let _ = child.stdin.take().unwrap().write_all(&bytes);
    let theirs = child.wait_with_output().unwrap().stdout;
    if theirs.is_empty() && !must {
        println!("skipped: Pillow is not installed for python3");
        return;
    }
    assert_eq!(theirs.len(), ours.picture.rgb().len());
    let off: Vec<u8> = ours.picture.rgb().iter().zip(&theirs).map(|(a, b)| a.abs_diff(*b)).collect();
    let (worst, sum) = (off.iter().copied().max().unwrap(), off.iter().map(|v| u64::from(*v)).sum::<u64>());
    let mean = sum as f64 / off.len() as f64;
    println!("worst {worst} codes, {mean:.3} on the whole");
    assert!(worst <= 4 && mean < 0.8, "{worst} {mean}");
}

#[test]
fn inks_without_a_profile_are_guessed_to_look_at_and_refused_for_finishing() {
    let plain = file(None);
    let seen = decode::full(&plain).unwrap();
    assert!(seen.inks_guessed.as_ref().is_some_and(|r| r.contains("no profile")), "{:?}", seen.inks_guessed);
    let refused = |bytes: &[u8]| imaging::finish::look(bytes, None).err().unwrap().to_string();
    let error = refused(&plain);
    assert!(error.contains("CMYK") && error.contains("no profile") && error.contains("as sRGB"), "{error}");
    let wrong = moxcms::ColorProfile::new_srgb().encode().unwrap();
    assert!(refused(&file(Some(&wrong))).contains("profile is made for Rgb values"));
    assert!(refused(&file(Some(b"no profile at all"))).contains("cannot be used"));
    assert!(imaging::finish::look(&file(Some(&profile())), None).is_ok());
}
