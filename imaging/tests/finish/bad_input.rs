//! What comes from outside and is no good is refused with a sentence.

use imaging::finish::{Axis, FinishSettings, glance, load, plan_light, plan_place};
use mozjpeg::{ColorSpace, Compress};

use super::stage::{Fault, SIZE, Thing, draw, draw_rgb, png};

fn jpeg(space: ColorSpace, size: (usize, usize), bytes: &[u8]) -> Vec<u8> {
    let mut codec = Compress::new(space);
    codec.set_size(size.0, size.1);
    codec.set_quality(95.0);
    let mut started = codec.start_compress(Vec::new()).unwrap();
    started.write_scanlines(bytes).unwrap();
    started.finish().unwrap()
}

#[test]
fn a_truncated_jpeg_is_refused() {
    let (rgb, _) = draw_rgb(0.0, Thing::Jug, &Fault::default());
    let whole = jpeg(ColorSpace::JCS_RGB, (SIZE.0 as usize, SIZE.1 as usize), &rgb);
    assert!(load(&whole).is_ok());
    let error = load(&whole[..whole.len() * 6 / 10]).err().unwrap().to_string();
    assert!(error.contains("only part") && error.contains("retake"), "{error}");
    assert!(load(&[]).err().unwrap().to_string().contains("empty"));
    assert!(load(b"no picture").is_err());
}

#[test]
fn cmyk_is_refused_and_grey_is_taken() {
    let inks = jpeg(ColorSpace::JCS_CMYK, (64, 64), &[90; 64 * 64 * 4]);
    assert!(load(&inks).err().unwrap().to_string().contains("CMYK"));
    let grey = jpeg(ColorSpace::JCS_GRAYSCALE, (64, 64), &[128; 64 * 64]);
    let loaded = load(&grey).unwrap().picture;
    // 128/255 is 0.2158605 in linear light (IEC 61966-2-1): 14146 of 65535.
    assert_eq!(loaded.at(100), [14_146; 3]);
}

#[test]
fn sixteen_bits_keep_their_depth() {
    let values: Vec<u16> = (0..64 * 64 * 3).map(|i| 20_000 + i as u16 % 7).collect();
    let picture = image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(64, 64, values).unwrap();
    let mut out = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut out, image::ImageFormat::Png).unwrap();
    let deep = load(out.get_ref()).unwrap().picture;
    let seen: std::collections::BTreeSet<u16> = (0..64 * 64).map(|i| deep.at(i)[0]).collect();
    assert!(seen.len() >= 4, "seven values that fall into one 8-bit code stay apart: {seen:?}");
    let mut out = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut out, image::ImageFormat::Tiff).unwrap();
    assert_eq!(load(out.get_ref()).unwrap().picture.at(5), deep.at(5));
}

#[test]
fn frames_of_other_sizes_are_named() {
    let one = glance(&draw(0.0, Thing::Jug, &Fault::default()).png).unwrap();
    let other = glance(&png(&vec![200; 600 * 400 * 3], (600, 400))).unwrap();
    let settings = FinishSettings::default();
    let error =
        plan_light(&[1, 7], &[one.clone(), other.clone()], None, &settings).err().unwrap().to_string();
    assert!(error.contains("stop 7 is 600 × 400") && error.contains("1200 × 900"), "{error}");
    let error =
        plan_light(&[1], std::slice::from_ref(&one), Some(&other), &settings).err().unwrap().to_string();
    assert!(error.contains("empty table is 600 × 400"), "{error}");
    assert!(plan_light(&[], &[], None, &settings).is_err());
    let light = plan_light(&[1], &[one], None, &settings).unwrap();
    let axis = Axis { column_px: 5000.0, lean_deg: 0.0 };
    let error = plan_place((1200, 900), &[], &[], Some(axis), light, &settings).err().unwrap().to_string();
    assert!(error.contains("outside the frame"), "{error}");
}

#[test]
fn settings_outside_their_range_are_refused() {
    let text = r#"{"crop":{"margin_percent":60}}"#;
    let settings: FinishSettings = serde_json::from_str(text).unwrap();
    assert_eq!(settings.check().unwrap_err().to_string(), "margin_percent is 60; write 0 to 45");
    assert!(serde_json::from_str::<FinishSettings>(r#"{"colour":1}"#).is_err());
    assert!(FinishSettings::default().check().is_ok());
}
