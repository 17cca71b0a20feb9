//! AVIF files as another library decodes them: Pillow, from 11.3 on, by libavif and a decoder of another origin.

use std::process::Command;

use imaging::Picture;
use imaging::export::{Encoded, ExportError, encode_picture, xmp_packet};

use super::outside::has_pillow;
use super::{labels, picture, profile};

/// What Pillow decodes, whether it finds EXIF and XMP, and what it says of a file that it reads.
struct Read {
    picture: Picture,
    said: String,
}

fn read(bytes: &[u8]) -> Read {
    let folder = tempfile::tempdir().unwrap();
    let [file, pixels] = ["a.avif", "a.rgb"].map(|name| folder.path().join(name));
    std::fs::write(&file, bytes).unwrap();
    let decode = "import sys, warnings\nwarnings.simplefilter('error')\nfrom PIL import Image\n\
        im = Image.open(sys.argv[1])\nim.load()\nopen(sys.argv[2], 'wb').write(im.convert('RGB').tobytes())\n\
        print(*im.size, im.format, im.mode, len(im.info.get('exif') or b''), (im.info.get('xmp') or b'').decode())";
    let ran = Command::new("python3").args(["-c", decode]).args([&file, &pixels]).output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let said = String::from_utf8(ran.stdout).unwrap();
    let side = |at| said.split(' ').nth(at).unwrap().parse().unwrap();
    let picture = Picture::from_rgb(side(0), side(1), std::fs::read(&pixels).unwrap()).unwrap();
    Read { picture, said }
}

fn coded(picture: &Picture, more: &str) -> Result<Encoded, ExportError> {
    encode_picture(
        picture,
        &profile(&format!("file_type = 'avif'\n{more}")),
        None,
        &xmp_packet(&labels(), None, ""),
    )
}

/// Root of the mean square of the difference, codes.
fn apart(one: &Picture, other: &Picture) -> f64 {
    let pairs = one.rgb().iter().zip(other.rgb());
    let sum: u64 = pairs.map(|(a, b)| u64::from(a.abs_diff(*b)).pow(2)).sum();
    (sum as f64 / one.rgb().len() as f64).sqrt()
}

#[test]
fn another_decoder_sees_the_picture_as_near_as_in_a_jpeg() {
    if !has_pillow("from PIL import features; assert features.check('avif')") {
        return;
    }
    // Sides that no block size divides.
    let original = picture(197, 101, 5);
    let jpeg = encode_picture(&original, &profile("quality = 95\nchroma = '4:4:4'"), None, "").unwrap();
    let jpeg = imaging::decode::full(&jpeg.bytes).unwrap().picture;
    let file = coded(&original, "quality = 95").unwrap();
    assert_eq!(file.quality, Some(95));
    let read = read(&file.bytes);
    assert_eq!((read.picture.width_px(), read.picture.height_px()), (197, 101));
    let (ours, theirs) = (apart(&original, &read.picture), apart(&original, &jpeg));
    println!(
        "AVIF {ours:.2} codes from the picture, JPEG {theirs:.2}; {:.2} apart",
        apart(&jpeg, &read.picture)
    );
    assert!(ours < 3.0 && apart(&jpeg, &read.picture) < 5.0, "{ours} {theirs}");
    assert!(
        read.said.contains(" AVIF RGB 0 ") && read.said.contains("<rs:sku>LH-1042</rs:sku>"),
        "{}",
        read.said
    );
    // The same bytes whenever it is coded.
    assert_eq!(coded(&original, "quality = 95").unwrap().bytes, file.bytes);
}

#[test]
fn white_stays_white_in_avif() {
    if !has_pillow("from PIL import features; assert features.check('avif')") {
        return;
    }
    let mut rgb = vec![255; 160 * 160 * 3];
    for y in 60..100 {
        rgb[(y * 160 + 60) * 3..(y * 160 + 100) * 3].fill(60);
    }
    let read =
        read(&coded(&Picture::from_rgb(160, 160, rgb).unwrap(), "quality = 80").unwrap().bytes).picture;
    // Blocks of 64 beside the one with the object.
    let white = (0..160 * 32_u32).all(|i| read.pixel(i % 160, i / 160) == Some([255; 3]));
    assert!(white, "the background is no longer pure white");
    assert!(
        read.pixel(80, 80).is_some_and(|p| p.iter().all(|v| v.abs_diff(60) <= 2)),
        "{:?}",
        read.pixel(80, 80)
    );
}

#[test]
fn a_byte_limit_is_kept_and_mostly_filled_with_few_files() {
    let picture = picture(200, 150, 6);
    let most =
        |limit: usize| coded(&picture, &format!("quality = 92\nmin_quality = 20\nmax_bytes = {limit}"));
    let free = most(1_000_000).unwrap();
    assert_eq!(free.quality, Some(92));
    for share in [0.8, 0.5, 0.35] {
        let limit = (free.bytes.len() as f64 * share) as usize;
        let held = most(limit).unwrap();
        let filled = held.bytes.len() as f64 / limit as f64;
        println!("limit {limit}: quality {:?}, {:.0} % filled", held.quality, filled * 100.0);
        assert!((0.8..=1.0).contains(&filled), "{filled}");
        assert!(held.quality.is_some_and(|quality| (20..92).contains(&quality)));
    }
    let error = most(1100).unwrap_err();
    assert!(matches!(error, ExportError::ByteLimit { quality: 20, max_bytes: 1100, .. }), "{error}");
}
