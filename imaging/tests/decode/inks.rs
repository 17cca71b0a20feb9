//! Files of the four printing inks, through their own profile, against Little CMS (by way of Pillow).

use std::io::Write;
use std::process::{Command, Stdio};

use imaging::decode;
use mozjpeg::{ColorSpace, Compress, Marker};

const SIDE: usize = 96;
/// Places along each ink in the profile's table.
const PLACES: usize = 7;

/// The 16-bit Lab of version 2 profiles (ICC.1:2001-04, 6.5.9 and annex A) of four inks laid over each other,
/// each taking away a part of the light. Demo data.
fn lab_of(inks: [f64; 4]) -> [u16; 3] {
    let black = 1.0 - 0.96 * inks[3];
    let light = [0, 1, 2].map(|c| (1.0 - 0.93 * inks[c]) * (1.0 - 0.1 * inks[(c + 1) % 3]) * black);
    // sRGB's primaries carried over to D50 (as in ICC.1, annex E).
    let rows = [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]];
    let white = [0.9642, 1.0, 0.8249];
    let xyz = rows.map(|row| (0..3).map(|c| row[c] * light[c]).sum::<f64>());
    // CIE 15: the cube root, straight near black.
    let f = [0, 1, 2].map(|i| {
        let t = xyz[i] / white[i];
        if t > 0.008_856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 }
    });
    let (l, a, b) = (116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2]));
    [l / 100.0 * 65_280.0, (a + 128.0) * 256.0, (b + 128.0) * 256.0].map(|v| v.round() as u16)
}

/// A small printer profile with a table from inks to Lab (lut16Type, ICC.1:2001-04, 6.5.7).
fn profile() -> Vec<u8> {
    let fixed = |v: f64| ((v * 65_536.0).round() as i32).to_be_bytes();
    let mut lut = b"mft2\0\0\0\0\x04\x03".to_vec();
    lut.extend([PLACES as u8, 0]);
    for i in 0..9 {
        lut.extend(fixed(if i % 4 == 0 { 1.0 } else { 0.0 }));
    }
    // Curves of two places each: straight.
    lut.extend([0, 2, 0, 2]);
    lut.extend([0, 0, 255, 255].repeat(4));
    let share = |place: usize| place as f64 / (PLACES - 1) as f64;
    for i in 0..PLACES.pow(4) {
        let at = |power: u32| share(i / PLACES.pow(power) % PLACES);
        lut.extend(lab_of([at(3), at(2), at(1), at(0)]).map(u16::to_be_bytes).as_flattened());
    }
    lut.extend([0, 0, 255, 255].repeat(3));
    let words = b"Demo inks\0";
    let mut desc = b"desc\0\0\0\0".to_vec();
    desc.extend((words.len() as u32).to_be_bytes());
    desc.extend(words);
    desc.resize(desc.len() + 78, 0);
    let copyright = [b"text\0\0\0\0".as_slice(), b"No copyright\0"].concat();
    let white = [b"XYZ \0\0\0\0".as_slice(), [0.9642, 1.0, 0.8249].map(fixed).as_flattened()].concat();
    let tags: [(&[u8; 4], Vec<u8>); 4] =
        [(b"desc", desc), (b"cprt", copyright), (b"wtpt", white), (b"A2B0", lut)];
    let mut table = (tags.len() as u32).to_be_bytes().to_vec();
    let mut data = Vec::new();
    for (name, tag) in &tags {
        table.extend(*name);
        table.extend(((128 + 4 + 12 * tags.len() + data.len()) as u32).to_be_bytes());
        table.extend((tag.len() as u32).to_be_bytes());
        data.extend(tag);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let mut header = vec![0; 128];
    header[..4].copy_from_slice(&((128 + table.len() + data.len()) as u32).to_be_bytes());
    header[8..12].copy_from_slice(&[2, 0x40, 0, 0]);
    header[12..24].copy_from_slice(b"prtrCMYKLab ");
    header[24..36].copy_from_slice([2001_u16, 1, 1, 0, 0, 0].map(u16::to_be_bytes).as_flattened());
    header[36..40].copy_from_slice(b"acsp");
    header[68..80].copy_from_slice([0.9642, 1.0, 0.8249].map(fixed).as_flattened());
    [header, table, data].concat()
}

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
