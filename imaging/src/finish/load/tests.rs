//! Colour conversion against published values, and files that hold other things than 8-bit sRGB.

use moxcms::ColorProfile;
use mozjpeg::{ColorSpace, Compress};

use super::*;

/// A whole file in linear light.
fn load(bytes: &[u8]) -> Result<LinearPicture, FinishError> {
    Ok(match load_frame(bytes, u32::MAX)? {
        Frame::Linear(picture) => picture,
        Frame::Coded(picture) => {
            let table = srgb::linear_of_code();
            let light = picture
                .rgb()
                .chunks_exact(3)
                .map(|p| [0, 1, 2].map(|c| (table[usize::from(p[c])] * FULL).round() as u16));
            LinearPicture::from_pixels(picture.width_px(), picture.height_px(), light.collect()).unwrap()
        }
    })
}

fn png(rgb: &[u8], size: (u32, u32)) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    let picture = image::RgbImage::from_raw(size.0, size.1, rgb.to_vec()).unwrap();
    picture.write_to(&mut out, ImageFormat::Png).unwrap();
    out.into_inner()
}

fn jpeg(space: ColorSpace, size: (usize, usize), bytes: &[u8]) -> Vec<u8> {
    let mut codec = Compress::new(space);
    codec.set_size(size.0, size.1);
    codec.set_quality(95.0);
    let mut started = codec.start_compress(Vec::new()).unwrap();
    started.write_scanlines(bytes).unwrap();
    started.finish().unwrap()
}

/// Codes a picture of one colour as JPEG with an embedded profile.
fn with_profile(colour: [u8; 3], profile: &[u8]) -> Vec<u8> {
    let picture = image::RgbImage::from_pixel(32, 32, image::Rgb(colour));
    let mut out = Vec::new();
    let mut encoder = image::codecs::png::PngEncoder::new(&mut out);
    image::ImageEncoder::set_icc_profile(&mut encoder, profile.to_vec()).unwrap();
    picture.write_with_encoder(encoder).unwrap();
    out
}

fn linear(bytes: &[u8]) -> [f64; 3] {
    load(bytes).unwrap().at(40).map(|v| f64::from(v) / 65_535.0)
}

/// IEC 61966-2-1: code 118 (0.46275) is 0.181164 in linear light, 188 is 0.502886, 10 is 0.003035 (worked
/// from its formula; 10 lies in its straight part: 10 / 255 / 12.92).
#[test]
fn srgb_codes_become_light_as_the_standard_says() {
    let srgb = ColorProfile::new_srgb().encode().unwrap();
    for bytes in [with_profile([118, 188, 10], &srgb), png(&[118, 188, 10].repeat(1024), (32, 32))] {
        let found = linear(&bytes);
        for (found, wanted) in found.iter().zip([0.181_164, 0.502_886, 0.003_035]) {
            assert!((found - wanted).abs() < 2e-5, "{found} for {wanted}");
        }
    }
}

/// Adobe RGB (1998), version 2005-05, 4.3.1.1 and 4.3.4.1: gamma 2.19921875 and its primaries; with the
/// matrix from there to XYZ and from XYZ to sRGB (IEC 61966-2-1) the colour (128, 128, 128) is grey of
/// (128/255)^2.19921875, and the green (102, 153, 102) gives, worked by hand:
/// linear (0.13327, 0.32509, 0.13327); R = 1.39836 r − 0.39836 g, G = g, B = −0.04293 g + 1.04293 b.
#[test]
fn a_wide_profile_is_carried_over() {
    let wide = ColorProfile::new_adobe_rgb().encode().unwrap();
    let grey = linear(&with_profile([128; 3], &wide));
    let wanted = (128.0_f64 / 255.0).powf(2.199_218_75);
    assert!(grey.iter().all(|v| (v - wanted).abs() < 1e-3), "{grey:?} for {wanted}");
    let (r, g) = ((102.0_f64 / 255.0).powf(2.199_218_75), (153.0_f64 / 255.0).powf(2.199_218_75));
    let green = linear(&with_profile([102, 153, 102], &wide));
    let wanted = [1.398_36 * r - 0.398_36 * g, g, -0.042_93 * g + 1.042_93 * r];
    for (found, wanted) in green.iter().zip(wanted) {
        assert!((found - wanted).abs() < 2e-3, "{green:?} for {wanted:?}");
    }
}

#[test]
fn a_broken_profile_is_refused() {
    let error = load(&with_profile([10; 3], b"not a profile at all")).err().unwrap().to_string();
    assert!(error.contains("colour profile") && error.contains("sRGB"), "{error}");
}

#[test]
fn cmyk_is_refused_and_grey_is_taken() {
    let inks = jpeg(ColorSpace::JCS_CMYK, (64, 64), &[90; 64 * 64 * 4]);
    assert!(load(&inks).err().unwrap().to_string().contains("CMYK"));
    let grey = jpeg(ColorSpace::JCS_GRAYSCALE, (64, 64), &[128; 64 * 64]);
    let loaded = load(&grey).unwrap();
    // 128/255 is 0.2158605 in linear light (IEC 61966-2-1): 14146 of 65535.
    assert_eq!(loaded.at(100), [14_146; 3]);
}

#[test]
fn sixteen_bits_keep_their_depth() {
    let values: Vec<u16> = (0..64 * 64 * 3).map(|i| 20_000 + i as u16 % 7).collect();
    let picture = image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(64, 64, values).unwrap();
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, ImageFormat::Png).unwrap();
    let deep = load(out.get_ref()).unwrap();
    let seen: std::collections::BTreeSet<u16> = (0..64 * 64).map(|i| deep.at(i)[0]).collect();
    assert!(seen.len() >= 4, "seven values that fall into one 8-bit code stay apart: {seen:?}");
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, ImageFormat::Tiff).unwrap();
    assert_eq!(load(out.get_ref()).unwrap().at(5), deep.at(5));
}
