//! Colour conversion against published values.

use imaging::finish::load;
use moxcms::ColorProfile;

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
    load(bytes).unwrap().picture.at(40).map(|v| f64::from(v) / 65_535.0)
}

/// IEC 61966-2-1: code 118 (0.46275) is 0.181164 in linear light, 188 is 0.502886, 10 is 0.003035 (worked
/// from its formula; 10 lies in its straight part: 10 / 255 / 12.92).
#[test]
fn srgb_codes_become_light_as_the_standard_says() {
    let srgb = ColorProfile::new_srgb().encode().unwrap();
    for bytes in
        [with_profile([118, 188, 10], &srgb), super::stage::png(&[118, 188, 10].repeat(1024), (32, 32))]
    {
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
