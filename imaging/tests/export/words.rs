//! Metadata, read back by exiftool: what stays, what goes, what is written.

use std::path::PathBuf;
use std::process::Command;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use imaging::export::{ExifChoice, FileType, StopLabel, encode_picture, kept_exif, xmp_packet};
use serde_json::Value as Json;

use super::{labels, picture, profile};

/// Whether exiftool is there; where it must be and is not, the test fails.
fn has_exiftool() -> bool {
    let there = Command::new("exiftool").arg("-ver").output().is_ok_and(|o| o.status.success());
    let must = ["CI", "ROUNDSTOP_REQUIRE_EXIFTOOL"].iter().any(|name| std::env::var_os(name).is_some());
    assert!(there || !must, "exiftool is not installed (Debian: libimage-exiftool-perl)");
    if !there {
        println!("skipped: exiftool is not installed");
    }
    there
}

fn read_back(name: &str, bytes: &[u8]) -> Json {
    let dir = tempfile::tempdir().unwrap();
    let path: PathBuf = dir.path().join(name);
    std::io::Write::write_all(&mut std::fs::File::create(&path).unwrap(), bytes).unwrap();
    let out = Command::new("exiftool")
        .args(["-j", "-n", "-G0", "-struct", "-unknown"])
        .arg(&path)
        .output()
        .unwrap();
    let warned = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(warned.trim().is_empty(), "{warned}");
    serde_json::from_slice::<Vec<Json>>(&out.stdout).unwrap().remove(0)
}

/// A camera's file with exposure data, a place, serial numbers and an owner. Demo data.
fn camera_file() -> Vec<u8> {
    let text = |s: &str| Value::Ascii(vec![s.as_bytes().to_vec()]);
    let ratio = |num, denom| Value::Rational(vec![Rational { num, denom }]);
    let degrees =
        Value::Rational([(51, 1), (30, 1), (0, 1)].map(|(num, denom)| Rational { num, denom }).to_vec());
    let fields = [
        (Tag::Make, text("Larkhollow Works")),
        (Tag::Model, text("Studio Eye S1")),
        (Tag::Orientation, Value::Short(vec![6])),
        (Tag::ExposureTime, ratio(1, 125)),
        (Tag::FNumber, ratio(110, 10)),
        (Tag::PhotographicSensitivity, Value::Short(vec![100])),
        (Tag::DateTimeOriginal, text("2025:03:04 10:20:30")),
        (Tag::PixelXDimension, Value::Long(vec![6000])),
        (Tag::BodySerialNumber, text("0012345")),
        (Tag::LensSerialNumber, text("777")),
        (Tag::CameraOwnerName, text("A Person")),
        (Tag::ImageUniqueID, text("00112233445566778899aabbccddeeff")),
        (Tag::MakerNote, Value::Undefined(b"SERIAL 0012345".to_vec(), 0)),
        (Tag::GPSLatitudeRef, text("N")),
        (Tag::GPSLatitude, degrees.clone()),
        (Tag::GPSLongitudeRef, text("W")),
        (Tag::GPSLongitude, degrees),
    ]
    .map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value });
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    imaging::export::jpeg(&picture(64, 48, 3), 90, imaging::export::Chroma::Half, Some(block.get_ref()), None)
        .unwrap()
}

#[test]
fn words_are_written_and_private_data_is_gone() {
    if !has_exiftool() {
        return;
    }
    let original = camera_file();
    let before = read_back("original.jpg", &original);
    assert_eq!(before["EXIF:SerialNumber"], "0012345", "the camera's file does carry it: {before}");
    assert!(before["EXIF:GPSLatitude"].is_number());
    let stop = StopLabel { stop: 3, row: "level".to_owned(), degrees: 22.5 };
    for (file_type, name) in [("jpeg", "a.jpg"), ("webp", "a.webp"), ("png", "a.png"), ("avif", "a.avif")] {
        if file_type == "avif" && !FileType::Avif.is_built_in() {
            continue;
        }
        let profile = profile(&format!("file_type = '{file_type}'"));
        let choice = ExifChoice { exposure: true, place_and_serials: false };
        let exif = kept_exif(&original, choice, 400, 300).unwrap();
        let xmp = xmp_packet(&labels(), Some(&stop), "");
        let coded = encode_picture(&picture(400, 300, 4), &profile, Some(&exif), &xmp).unwrap();
        let read = read_back(name, &coded.bytes);
        for (field, wanted) in [
            ("XMP:Title", Json::from("Hedgerow mug & saucer")),
            ("XMP:Rights", "© Larkhollow Pottery".into()),
            ("XMP:Identifier", "LH-1042".into()),
            ("XMP:Sku", "LH-1042".into()),
            ("XMP:Degrees", 22.5.into()),
            ("XMP:Stop", 3.into()),
            ("XMP:Row", "level".into()),
            ("EXIF:Orientation", 1.into()),
            ("EXIF:ColorSpace", 1.into()),
            ("EXIF:ExifImageWidth", 400.into()),
            ("EXIF:ISO", 100.into()),
            ("EXIF:FNumber", 11.into()),
            ("EXIF:Model", "Studio Eye S1".into()),
            ("EXIF:DateTimeOriginal", "2025:03:04 10:20:30".into()),
        ] {
            let same =
                read[field] == wanted || read[field].as_f64().is_some_and(|v| Some(v) == wanted.as_f64());
            assert!(same, "{name} {field}: {} for {wanted}\n{read:#}", read[field]);
        }
        let creator = &read["XMP:Creator"];
        assert!(creator == "Larkhollow Pottery" || creator[0] == "Larkhollow Pottery", "{creator}");
        let all = read.to_string();
        for private in ["GPS", "0012345", "777\"", "A Person", "00112233", "SERIAL", "MakerNote"] {
            assert!(!all.contains(private), "{name} still holds {private}: {all}");
        }
        // And not hidden in bytes that exiftool does not show.
        for private in [b"0012345".as_slice(), b"A Person", b"00112233"] {
            assert!(!coded.bytes.windows(private.len()).any(|w| w == private), "{name}");
        }
        if file_type == "avif" {
            // ITU-T H.273: primaries 1 and transfer 13 are sRGB's (IEC 61966-2-1).
            for (field, wanted) in [
                ("QuickTime:ColorProfiles", Json::from("nclx")),
                ("QuickTime:ColorPrimaries", 1.into()),
                ("QuickTime:TransferCharacteristics", 13.into()),
                ("QuickTime:MatrixCoefficients", 6.into()),
            ] {
                assert_eq!(read[field], wanted, "{field}: {read:#}");
            }
        } else if file_type != "png" {
            assert!(
                read["ICC_Profile:ColorSpaceData"].as_str().is_some_and(|s| s.trim() == "RGB"),
                "{read:#}"
            );
        }
    }
}

#[test]
fn everything_stays_or_goes_when_asked() {
    let original = camera_file();
    assert!(kept_exif(&original, ExifChoice { exposure: false, place_and_serials: true }, 1, 1).is_none());
    assert!(
        kept_exif(b"no picture", ExifChoice { exposure: true, place_and_serials: false }, 1, 1).is_none()
    );
    if !has_exiftool() {
        return;
    }
    let choice = ExifChoice { exposure: true, place_and_serials: true };
    let exif = kept_exif(&original, choice, 400, 300).unwrap();
    let xmp = xmp_packet(&labels(), None, "");
    let coded = encode_picture(&picture(400, 300, 4), &profile(""), Some(&exif), &xmp).unwrap();
    let read = read_back("all.jpg", &coded.bytes);
    assert_eq!(read["EXIF:SerialNumber"], "0012345", "{read:#}");
    assert!(read["EXIF:GPSLatitude"].as_f64().is_some_and(|v| (v - 51.5).abs() < 1e-6));
}

/// The embedded profile by two readers of another origin: exiftool reads its words and finds nothing wrong with the
/// profile itself; `ImageMagick`'s `identify` names that of a JPEG alike. (Of a WebP with
/// XMP, of whatever origin, its 6.9.11 says `CorruptImageProfile`: one made by Pillow with libwebp is called so too, while
/// `webpmux` and exiftool find ours in order.)
#[test]
fn the_embedded_profile_is_named_srgb_and_without_fault() {
    if !has_exiftool() {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    for (file_type, name) in [("jpeg", "a.jpg"), ("webp", "a.webp")] {
        let profile = profile(&format!("file_type = '{file_type}'"));
        let coded =
            encode_picture(&picture(96, 64, 4), &profile, None, &xmp_packet(&labels(), None, "")).unwrap();
        let path = dir.path().join(name);
        std::fs::write(&path, &coded.bytes).unwrap();
        let read = read_back(name, &coded.bytes);
        for (field, wanted) in [
            ("ProfileDescription", "sRGB"),
            ("ProfileVersion", "1088"),
            ("ProfileClass", "mntr"),
            ("ColorSpaceData", "RGB"),
            ("ProfileConnectionSpace", "XYZ"),
            ("ProfileFileSignature", "acsp"),
        ] {
            let found = &read[format!("ICC_Profile:{field}")];
            let found = found.as_str().map_or_else(|| found.to_string(), |s| s.trim().to_owned());
            assert_eq!(found, wanted, "{name} {field}: {read:#}");
        }
        let words = Command::new("exiftool").args(["-s3", "-ProfileVersion"]).arg(&path).output().unwrap();
        assert_eq!(String::from_utf8_lossy(&words.stdout).trim(), "4.4.0", "{name}");
        let icc = dir.path().join("profile.icc");
        let bytes = Command::new("exiftool").args(["-b", "-icc_profile"]).arg(&path).output().unwrap().stdout;
        std::fs::write(&icc, bytes).unwrap();
        for file in [&path, &icc] {
            let told = Command::new("exiftool")
                .args(["-validate", "-warning", "-error", "-a", "-s3"])
                .arg(file)
                .output();
            let told = String::from_utf8(told.unwrap().stdout).unwrap();
            assert_eq!(told.trim(), "OK", "{}", file.display());
        }
        if file_type != "jpeg" {
            continue;
        }
        let Ok(told) =
            Command::new("identify").args(["-format", "%[profile:icc]|%[colorspace]"]).arg(&path).output()
        else {
            let must =
                ["CI", "ROUNDSTOP_REQUIRE_EXIFTOOL"].iter().any(|name| std::env::var_os(name).is_some());
            assert!(!must, "identify is not installed (Debian: imagemagick)");
            continue;
        };
        let said = String::from_utf8_lossy(&told.stdout).into_owned();
        assert!(told.stderr.is_empty(), "{}", String::from_utf8_lossy(&told.stderr));
        assert_eq!(said.trim(), "sRGB|sRGB", "{name}");
    }
}
