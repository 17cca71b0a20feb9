//! Export: files within limits, words that other programs read back, packages that are the same every time.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods, reason = "a test may panic")]

#[cfg(feature = "avif")]
mod avif;
mod outside;
mod page;
mod words;

use imaging::Picture;
use imaging::export::{
    Chroma, ExportError, FileType, Labels, ListingProfile, MovingKind, SheetCell, encode_picture,
    moving_preview, sheet_jpeg, sheet_pdf, write_package, xmp_packet,
};

/// A picture with soft tones and fine grain; `seed` changes the grain. Demo data.
fn picture(width: u32, height: u32, seed: u32) -> Picture {
    let rgb = (0..width * height)
        .flat_map(|i| {
            let (x, y) = (i % width, i / width);
            let grain = (i ^ seed).wrapping_mul(2_654_435_761) >> 27;
            [x * 200 / width + grain, y * 200 / height + grain, 90 + (x + y + seed) % 60].map(|v| v as u8)
        })
        .collect();
    Picture::from_rgb(width, height, rgb).unwrap()
}

fn profile(more: &str) -> ListingProfile {
    ListingProfile::from_toml(&format!("name = 'Demo'\nwidth_px = 400\nheight_px = 300\n{more}")).unwrap()
}

fn labels() -> Labels {
    Labels {
        title: "Hedgerow mug & saucer".to_owned(),
        sku: "LH-1042".to_owned(),
        creator: "Larkhollow Pottery".to_owned(),
        copyright: "© Larkhollow Pottery".to_owned(),
    }
}

#[test]
fn the_byte_limit_gives_the_best_quality_that_keeps_it() {
    let picture = picture(400, 300, 1);
    let xmp = xmp_packet(&labels(), None, "");
    for file_type in ["jpeg", "webp"] {
        let code = |more: &str| {
            let profile =
                profile(&format!("file_type = '{file_type}'\nquality = 92\nmin_quality = 20\n{more}"));
            encode_picture(&picture, &profile, None, &xmp)
        };
        let free = code("").unwrap();
        assert_eq!(free.quality, Some(92));
        let limit = free.bytes.len() / 2;
        let held = code(&format!("max_bytes = {limit}")).unwrap();
        let quality = held.quality.unwrap();
        assert!(held.bytes.len() <= limit && (20..92).contains(&quality), "{file_type} {quality}");
        // One step more would not fit.
        let profile =
            profile(&format!("file_type = '{file_type}'\nquality = {}\nmin_quality = 20", quality + 1));
        assert!(encode_picture(&picture, &profile, None, &xmp).unwrap().bytes.len() > limit, "{file_type}");
        let error = code("max_bytes = 1500").unwrap_err();
        assert!(matches!(error, ExportError::ByteLimit { quality: 20, max_bytes: 1500, .. }));
        assert!(error.to_string().contains("raise max_bytes"), "{error}");
    }
    let png = profile("file_type = 'png'\nmax_bytes = 2000");
    assert!(encode_picture(&picture, &png, None, &xmp).unwrap_err().to_string().contains("allows 2000"));
}

#[test]
fn every_file_type_holds_the_picture() {
    let original = picture(400, 300, 2);
    for (file_type, most) in [("jpeg", 6.0), ("webp", 10.0), ("png", 0.0)] {
        let profile = profile(&format!("file_type = '{file_type}'\nquality = 95\nchroma = '4:4:4'"));
        let coded = encode_picture(&original, &profile, None, &xmp_packet(&labels(), None, "")).unwrap();
        let read = imaging::decode::full(&coded.bytes).unwrap();
        assert_eq!((read.picture.width_px(), read.picture.height_px()), (400, 300));
        assert!(read.damaged.is_none());
        let sum: u64 = original
            .rgb()
            .iter()
            .zip(read.picture.rgb())
            .map(|(a, b)| u64::from(a.abs_diff(*b)).pow(2))
            .sum();
        let off = (sum as f64 / original.rgb().len() as f64).sqrt();
        println!("{file_type}: {} bytes, {off:.2} codes off on the whole", coded.bytes.len());
        assert!(off <= most, "{file_type}: {off}");
        assert_eq!(profile.file_type == FileType::Png, coded.quality.is_none());
    }
}

#[test]
fn white_stays_white_through_the_codec() {
    let mut rgb = vec![255; 200 * 200 * 3];
    for y in 60..140 {
        rgb[(y * 200 + 60) * 3..(y * 200 + 140) * 3].fill(60);
    }
    let picture = Picture::from_rgb(200, 200, rgb).unwrap();
    let bytes = imaging::export::jpeg(&picture, 90, Chroma::Half, None, None).unwrap();
    let read = imaging::decode::full(&bytes).unwrap().picture;
    // Blocks of sixteen that the object does not touch.
    let white = (0..200 * 200_u32)
        .filter(|i| !(44..156).contains(&(i % 200)) || !(44..156).contains(&(i / 200)))
        .all(|i| read.pixel(i % 200, i / 200) == Some([255; 3]));
    assert!(white);
}

#[test]
fn the_package_is_the_same_byte_for_byte() {
    let names = ["b.jpg", "a.jpg", "pictures/c.jpg"].map(str::to_owned);
    let pack = |names: &[String]| {
        let to = std::io::Cursor::new(Vec::new());
        write_package(to, names, |name| Ok(name.repeat(50).into_bytes())).unwrap().into_inner()
    };
    let first = pack(&names);
    std::thread::sleep(std::time::Duration::from_millis(2100));
    let turned: Vec<String> = names.iter().rev().cloned().collect();
    assert_eq!(first, pack(&turned), "neither the order given nor the time changes it");
    let failed = write_package(std::io::Cursor::new(Vec::new()), &names, |_| {
        Err(std::io::Error::from(std::io::ErrorKind::StorageFull))
    });
    assert!(failed.is_err());
}

#[test]
fn the_moving_preview_turns_once_in_its_time() {
    use image::AnimationDecoder;
    let pictures: Vec<Picture> = (0..12).map(|i| picture(800, 600, i * 7)).collect();
    let coded = |kind| std::io::Cursor::new(moving_preview(kind, pictures.clone(), 3.0).unwrap());
    let gif = image::codecs::gif::GifDecoder::new(coded(MovingKind::Gif)).unwrap();
    let webp = image::codecs::webp::WebPDecoder::new(coded(MovingKind::WebP)).unwrap();
    assert!(webp.has_animation());
    assert!(matches!(webp.loop_count(), image::metadata::LoopCount::Infinite));
    let (gif, webp) =
        (gif.into_frames().collect_frames().unwrap(), webp.into_frames().collect_frames().unwrap());
    for read in [&gif, &webp] {
        assert_eq!(read.len(), 12);
        let ms = |f: &image::Frame| f.delay().numer_denom_ms().0 / f.delay().numer_denom_ms().1;
        assert_eq!(read.iter().map(ms).sum::<u32>(), 3000, "ms");
        assert_eq!(read[0].buffer().dimensions(), (640, 480));
    }
    // True colours: each frame is its own picture, as close as its quality allows.
    for (frame, picture) in webp.iter().zip(&pictures) {
        let small = picture.clone().shrunk_to(640).unwrap();
        let pairs = frame.buffer().pixels().zip(small.rgb().chunks_exact(3));
        let off: u64 =
            pairs.map(|(a, b)| (0..3).map(|c| u64::from(a.0[c].abs_diff(b[c])).pow(2)).sum::<u64>()).sum();
        let off = (off as f64 / small.rgb().len() as f64).sqrt();
        assert!(off < 12.0, "{off} codes");
    }
    for kind in [MovingKind::Gif, MovingKind::WebP] {
        assert!(matches!(moving_preview(kind, Vec::new(), 3.0), Err(ExportError::Nothing(_))));
    }
}

fn cells(count: u32) -> Vec<SheetCell> {
    (0..count)
        .map(|i| SheetCell {
            picture: picture(300, 300, i),
            label: format!("stop {}  {:.1}°", i + 1, f64::from(i) * 15.0),
            flags: if i == 1 {
                vec!["out of focus +1.80 px".to_owned(), "clipped".to_owned()]
            } else {
                Vec::new()
            },
        })
        .collect()
}

#[test]
fn the_contact_sheet_shows_every_stop() {
    let sheet = imaging::decode::full(&sheet_jpeg(&labels(), &cells(24)).unwrap()).unwrap().picture;
    assert_eq!(sheet.width_px(), 6 * 256 + 16);
    // The label of each cell leaves ink under its picture; the flagged one has red ink besides.
    let ink = |column: u32, row: u32, dy: u32, red: bool| {
        let (left, top) = (16 + column * 256, 52 + row * (240 + 3 * 18 + 16) + 240 + dy);
        (0..240 * 16_u32)
            .filter(|i| {
                let p = sheet.pixel(left + i % 240, top + i / 240).unwrap();
                if red { p[0] > p[1].saturating_add(40) } else { p[0] < 120 }
            })
            .count()
    };
    for i in 0..24 {
        assert!(ink(i % 6, i / 6, 2, false) > 60, "cell {i}");
        assert_eq!(ink(i % 6, i / 6, 20, true) > 30, i == 1, "cell {i}");
    }
    assert!(matches!(sheet_jpeg(&labels(), &[]), Err(ExportError::Nothing(_))));
    let many = (0..40).map(|_| "flag".to_owned()).collect();
    let crowded = SheetCell { flags: many, ..cells(1).remove(0) };
    assert!(sheet_jpeg(&labels(), &[crowded]).is_ok());
}

#[test]
fn the_sheet_to_print_has_a_page_for_twenty_stops() {
    let pdf = sheet_pdf(&labels(), &cells(45)).unwrap();
    assert!(pdf.starts_with(b"%PDF-1.") && pdf.ends_with(b"%%EOF"));
    let text = String::from_utf8_lossy(&pdf);
    assert_eq!(text.matches("/Type /Page\n").count() + text.matches("/Type /Page ").count(), 3);
    assert_eq!(text.matches("/DCTDecode").count(), 45);
    // A text with a letter beyond ASCII is written as hexadecimal digits, others as they are.
    let digits: String = "stop 1  0.0".bytes().map(|b| format!("{b:02X}")).collect();
    assert!(text.to_uppercase().contains(&format!("{digits}B0")), "the angle with its degree sign");
    assert!(text.contains("! out of focus"), "flags are text");
    assert!(sheet_pdf(&labels(), &[]).is_err());
}
