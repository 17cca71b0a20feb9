//! What comes from outside and is no good is refused with a sentence.

use imaging::finish::{Axis, FinishSettings, RowLight, SmallPlate, look, plan_place};
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
    assert!(look(&whole, None).is_ok());
    let refused = |bytes: &[u8]| look(bytes, None).err().unwrap().to_string();
    let error = refused(&whole[..whole.len() * 6 / 10]);
    assert!(error.contains("only part") && error.contains("retake"), "{error}");
    assert!(refused(&[]).contains("empty"));
    assert!(refused(b"no picture").contains("no picture this program can read"));
}

#[test]
fn frames_of_other_sizes_are_named() {
    let one = draw(0.0, Thing::Jug, &Fault::default()).png;
    let other = png(&vec![200; 600 * 400 * 3], (600, 400));
    let seen = |bytes: &[u8]| look(bytes, None).unwrap().glance;
    let error = RowLight::measure(&[1, 7], &[seen(&one), seen(&other)]).err().unwrap().to_string();
    assert!(error.contains("stop 7 is 600 × 400") && error.contains("1200 × 900"), "{error}");
    let plate = SmallPlate::read(&other).unwrap();
    let error = look(&one, Some(&plate)).err().unwrap().to_string();
    assert!(error.contains("empty table is 600 × 400"), "{error}");
    assert!(RowLight::measure(&[], &[]).is_err());
    let settings = FinishSettings::default();
    let light = RowLight::measure(&[1], &[seen(&one)]).unwrap().with(&settings);
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
