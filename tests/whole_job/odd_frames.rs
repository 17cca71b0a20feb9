//! Sets of frames that no usual camera writes, and of frames that are no good: from the card to the listing.

#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "the tests play the photographer's card")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

#[path = "../../imaging/tests/decode/ink_profile.rs"]
mod ink_profile;
mod support;

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::{DynamicImage, ImageBuffer, ImageFormat, Luma, Rgb, RgbImage};
use mozjpeg::{ColorSpace, Compress, Marker};
use support::{plan, run, said, status};

const STOPS: u32 = 4;
const SIZE: (u32, u32) = (480, 360);

/// A home, a plan, and the demo's frames as a card of usual JPEG files would hold them.
struct Studio {
    home: tempfile::TempDir,
    plan: PathBuf,
    frames: Vec<Vec<u8>>,
}

impl Studio {
    fn new() -> Self {
        Self::with("vase")
    }

    fn with(object: &str) -> Self {
        let home = tempfile::tempdir().unwrap();
        let plan = plan(home.path(), "plan.json", STOPS);
        let size = format!("{}x{}", SIZE.0, SIZE.1);
        let frames = (0..STOPS).map(|n| frame(home.path(), object, n, &size)).collect();
        Self { home, plan, frames }
    }

    /// A set adopted from a card with these files.
    fn adopted(&self, name: &str, extension: &str, files: &[Vec<u8>]) -> PathBuf {
        let card = self.home.path().join(name).join("card");
        fs::create_dir_all(&card).unwrap();
        for (n, bytes) in files.iter().enumerate() {
            fs::write(card.join(format!("IMG_{n:04}.{extension}")), bytes).unwrap();
        }
        let (set, output) = self.adopt(name, &[]);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", said(&output));
        set
    }

    fn adopt(&self, name: &str, more: &[&str]) -> (PathBuf, std::process::Output) {
        let (card, set) = (self.home.path().join(name).join("card"), self.home.path().join(name).join("set"));
        let args = [&card, &self.plan, &set].map(|path| path.to_str().unwrap());
        let args = ["adopt", args[0], "--plan", args[1], "--into", args[2], "--order", "name", "--yes"];
        let output = run(self.home.path(), &[&args[..], more].concat());
        (set, output)
    }

    fn finish(&self, set: &Path) -> std::process::Output {
        // Uncut and not turned, so that pictures of two sets lie on each other.
        let args = ["finish", set.to_str().unwrap(), "--skip", "crop,straighten"];
        run(self.home.path(), &args)
    }

    fn export(&self, set: &Path) -> (PathBuf, std::process::Output) {
        let profile = self.home.path().join("profile.toml");
        fs::write(&profile, "name = 'Test'\nwidth_px = 200\nheight_px = 200\nquality = 85\n").unwrap();
        let to = set.with_file_name("listing");
        let paths = [set, &profile, &to].map(|path| path.to_str().unwrap());
        let output = run(self.home.path(), &["export", paths[0], "--profile", paths[1], "--to", paths[2]]);
        (to, output)
    }

    /// Asserts that neither finishing nor exporting is done, and that both say these words.
    fn assert_refused(&self, set: &Path, words: &[&str]) {
        let (listing, exported) = self.export(set);
        for output in [self.finish(set), exported] {
            assert_eq!(output.status.code(), Some(1), "{}", said(&output));
            for word in words {
                assert!(said(&output).contains(word), "'{word}' is not in: {}", said(&output));
            }
        }
        assert!(!listing.exists(), "no listing");
        assert!(!set.join("finished/manifest.json").exists(), "no list of what is finished");
    }
}

/// One frame of the demo's pot, of so many stops.
fn frame(home: &Path, object: &str, number: u32, size: &str) -> Vec<u8> {
    let path = home.join(format!("frame-{number}-{size}.jpg"));
    let degrees = (f64::from(number) * 360.0 / f64::from(STOPS)).to_string();
    let made =
        run(home, &["demo-frame", path.to_str().unwrap(), &degrees, "--size", size, "--object", object]);
    assert!(made.status.success(), "{}", said(&made));
    fs::read(path).unwrap()
}

/// The pictures of `finished/`, in the order of the stops.
fn finished(set: &Path) -> Vec<RgbImage> {
    let manifest: serde_json::Value =
        serde_json::from_slice(&fs::read(set.join("finished/manifest.json")).unwrap()).unwrap();
    let files = manifest["pictures"].as_array().unwrap().iter().map(|p| p["file"].as_str().unwrap());
    files
        .map(|file| {
            image::load_from_memory(&fs::read(set.join("finished").join(file)).unwrap()).unwrap().into_rgb8()
        })
        .collect()
}

/// Codes by which two pictures differ, on the whole.
fn difference(one: &RgbImage, other: &RgbImage) -> f64 {
    assert_eq!(one.dimensions(), other.dimensions());
    let off: u64 = one.as_raw().iter().zip(other.as_raw()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    off as f64 / one.as_raw().len() as f64
}

fn coded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    picture.write_to(&mut file, format).unwrap();
    file.into_inner()
}

fn pixels(jpeg: &[u8]) -> RgbImage {
    image::load_from_memory_with_format(jpeg, ImageFormat::Jpeg).unwrap().into_rgb8()
}

/// The frame with 16 bits a channel.
fn deep(jpeg: &[u8], format: ImageFormat) -> Vec<u8> {
    let rgb = pixels(jpeg);
    let values = rgb.as_raw().iter().map(|v| u16::from(*v) * 257).collect();
    let picture = ImageBuffer::<Rgb<u16>, _>::from_raw(rgb.width(), rgb.height(), values).unwrap();
    coded(&DynamicImage::ImageRgb16(picture), format)
}

/// The frame's light alone, by the weights of JFIF (ITU-T T.871).
fn grey(jpeg: &[u8]) -> Vec<u8> {
    let rgb = pixels(jpeg);
    let luma = rgb.pixels().map(|Rgb([r, g, b])| {
        (0.299 * f64::from(*r) + 0.587 * f64::from(*g) + 0.114 * f64::from(*b)).round() as u8
    });
    let picture = ImageBuffer::<Luma<u8>, _>::from_raw(rgb.width(), rgb.height(), luma.collect()).unwrap();
    let mut file = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 95);
    DynamicImage::ImageLuma8(picture).write_with_encoder(encoder).unwrap();
    file
}

/// The frame in the inks of the invented printer, with or without its profile; 255 stands for no ink.
fn inks(jpeg: &[u8], profile: Option<&[u8]>) -> Vec<u8> {
    let rgb = pixels(jpeg);
    let mut lines = Vec::new();
    for pixel in rgb.pixels() {
        // IEC 61966-2-1.
        let light = pixel.0.map(|v| {
            let v = f64::from(v) / 255.0;
            if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        });
        // Each ink takes a little of another channel too: found step by step.
        let mut inks = [0.0; 4];
        for _ in 0..30 {
            let left = ink_profile::light_of(inks);
            for c in 0..3 {
                inks[c] = (inks[c] + left[c] - light[c]).clamp(0.0, 1.0);
            }
        }
        lines.extend(inks.map(|ink| 255 - (ink * 255.0_f64).round() as u8));
    }
    let mut codec = Compress::new(ColorSpace::JCS_CMYK);
    codec.set_size(rgb.width() as usize, rgb.height() as usize);
    codec.set_quality(97.0);
    let mut started = codec.start_compress(Vec::new()).unwrap();
    if let Some(profile) = profile {
        started.write_marker(Marker::APP(2), &[b"ICC_PROFILE\0\x01\x01".as_slice(), profile].concat());
    }
    started.write_scanlines(&lines).unwrap();
    started.finish().unwrap()
}

#[test]
fn grey_deep_and_ink_frames_give_the_listing_that_plain_ones_give() {
    let studio = Studio::new();
    let plain = studio.adopted("plain", "JPG", &studio.frames);
    assert_eq!(studio.finish(&plain).status.code(), Some(0));
    let plain = finished(&plain);
    let profile = ink_profile::profile();
    let each = |make: &dyn Fn(&[u8]) -> Vec<u8>| studio.frames.iter().map(|f| make(f)).collect::<Vec<_>>();
    for (name, extension, files, most) in [
        ("png", "png", each(&|f| deep(f, ImageFormat::Png)), 1.0),
        ("tiff", "tif", each(&|f| deep(f, ImageFormat::Tiff)), 1.0),
        ("inks", "jpg", each(&|f| inks(f, Some(&profile))), 2.5),
        ("grey", "jpg", each(&grey), 2.5),
    ] {
        let set = studio.adopted(name, extension, &files);
        let output = studio.finish(&set);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", said(&output));
        for (stop, (made, plain)) in finished(&set).iter().zip(&plain).enumerate() {
            let mut wanted = plain.clone();
            if name == "grey" {
                assert!(made.pixels().all(|Rgb([r, g, b])| r == g && g == b), "stop {}", stop + 1);
                wanted = pixels(&grey(&coded(&DynamicImage::ImageRgb8(plain.clone()), ImageFormat::Jpeg)));
            }
            let off = difference(made, &wanted);
            println!("{name}, stop {}: {off:.3} codes off", stop + 1);
            assert!(off < most, "{name}, stop {}: {off}", stop + 1);
        }
        let (listing, output) = studio.export(&set);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", said(&output));
        assert_eq!(fs::read_dir(listing.join("pictures")).unwrap().count(), STOPS as usize, "{name}");
        // Nothing but JPEG or WebP goes to a shop, and what was adopted is as it was.
        let kept = status(studio.home.path(), &set);
        for (stop, file) in kept["stops"].as_array().unwrap().iter().zip(&files) {
            assert!(fs::read(set.join(stop["file"].as_str().unwrap())).unwrap() == *file, "{name}");
        }
    }
}

/// In grey its glaze is as light as the studio, so that only what is painted on it stands out.
#[test]
fn a_grey_mug_that_is_found_in_parts_only_is_said() {
    let studio = Studio::with("mug");
    let files: Vec<Vec<u8>> = studio.frames.iter().map(|f| grey(f)).collect();
    let output = studio.finish(&studio.adopted("grey", "jpg", &files));
    for words in
        ["parts above each other at stop 1", "something between them may be missing", "more contrast"]
    {
        assert!(said(&output).contains(words), "{words}: {}", said(&output));
    }
}

#[test]
fn inks_without_a_profile_are_refused_by_stop() {
    let studio = Studio::new();
    let mut files = studio.frames.clone();
    files[2] = inks(&files[2], None);
    let set = studio.adopted("inks", "jpg", &files);
    studio.assert_refused(&set, &["stop 3", "CMYK", "no profile", "as sRGB"]);
}

#[test]
fn a_frame_that_is_cut_short_is_refused_where_that_first_shows() {
    let studio = Studio::new();
    let cut = |bytes: &[u8]| bytes[..bytes.len() * 6 / 10].to_vec();
    // Without its end mark it is not taken up at all.
    let card = studio.home.path().join("cut/card");
    fs::create_dir_all(&card).unwrap();
    for (n, bytes) in studio.frames.iter().enumerate() {
        let bytes = if n == 1 { cut(bytes) } else { bytes.clone() };
        fs::write(card.join(format!("IMG_{n:04}.jpg")), bytes).unwrap();
    }
    let (set, output) = studio.adopt("cut", &[]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    for words in ["IMG_0001.jpg", "cut short", "copy them from the card again"] {
        assert!(said(&output).contains(words), "{words}: {}", said(&output));
    }
    assert!(!set.exists());
    // With an end mark behind it its form is whole, and so is a TIFF file's as far as its first bytes tell.
    let mut files = studio.frames.clone();
    files[1] = [cut(&files[1]), vec![0xff, 0xd9]].concat();
    let set = studio.adopted("mended", "jpg", &files);
    studio.assert_refused(&set, &["stop 2", "only part of the picture can be read", "retake the stop"]);
    let mut files: Vec<Vec<u8>> = studio.frames.iter().map(|f| deep(f, ImageFormat::Tiff)).collect();
    files[3] = cut(&files[3]);
    let set = studio.adopted("tiff", "tif", &files);
    studio.assert_refused(&set, &["stop 4", "cut short", "retake the stop"]);
}

#[test]
fn one_of_another_size_and_one_missing_are_said() {
    let studio = Studio::new();
    let mut files = studio.frames.clone();
    files[1] = frame(studio.home.path(), "vase", 1, "360x270");
    let set = studio.adopted("size", "jpg", &files);
    studio.assert_refused(&set, &["stop 2 is 360 × 270 pixels", "480 × 360", "retake the stop"]);

    // One too few is not guessed at.
    let card = studio.home.path().join("few/card");
    fs::create_dir_all(&card).unwrap();
    for (n, bytes) in studio.frames.iter().enumerate().filter(|(n, _)| *n != 2) {
        fs::write(card.join(format!("IMG_{n:04}.jpg")), bytes).unwrap();
    }
    let (set, output) = studio.adopt("few", &[]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("3 frames do not fit 4 open stops"), "{}", said(&output));
    assert!(!set.exists());

    // Adopted, then lost from the disk.
    let set = studio.adopted("lost", "jpg", &studio.frames);
    let kept = status(studio.home.path(), &set);
    let file = set.join(kept["stops"][2]["file"].as_str().unwrap());
    fs::rename(&file, studio.home.path().join("elsewhere.jpg")).unwrap();
    let finish = studio.finish(&set);
    let (listing, export) = studio.export(&set);
    for output in [&finish, &export] {
        assert!(
            said(output).contains("stop 3") || said(output).contains("without a frame: 3"),
            "{}",
            said(output)
        );
    }
    println!("{}\n{}", said(&finish), said(&export));
    assert_eq!(export.status.code(), Some(1), "{}", said(&export));
    assert!(!listing.exists());
}
