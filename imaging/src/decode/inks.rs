//! Shares of the four printing inks (cyan, magenta, yellow, black) become sRGB.
//!
//! Through the file's own ICC profile where it has one for these inks; without, by a rule of thumb that is good
//! enough to recognise a frame and no more.

use moxcms::{ColorProfile, DataColorSpace, Layout, RenderingIntent, TransformOptions};

/// Converts lines of four bytes a pixel; `inverted` when 255 stands for no ink. Says why the colours are only
/// guessed, if they are.
pub(super) fn to_srgb(lines: &[u8], inverted: bool, profile: Option<&[u8]>) -> (Vec<u8>, Option<String>) {
    let reason = match profile {
        None => "it carries no profile that says what its inks look like".to_owned(),
        Some(profile) => match by_profile(lines, inverted, profile) {
            Ok(rgb) => return (rgb, None),
            Err(reason) => reason,
        },
    };
    (by_rule_of_thumb(lines, inverted), Some(reason))
}

fn by_profile(lines: &[u8], inverted: bool, profile: &[u8]) -> Result<Vec<u8>, String> {
    let unusable = |e: moxcms::CmsError| format!("its profile cannot be used: {e}");
    let profile = ColorProfile::new_from_slice(profile).map_err(unusable)?;
    if profile.color_space != DataColorSpace::Cmyk {
        return Err(format!("its profile is made for {:?} values", profile.color_space));
    }
    let transform_for = |rendering_intent| {
        let options = TransformOptions { rendering_intent, ..TransformOptions::default() };
        // Four channels go by the name of RGBA there, whatever they hold.
        profile.create_transform_8bit(Layout::Rgba, &ColorProfile::new_srgb(), Layout::Rgb, options)
    };
    // A profile need hold the perceptual table only, which then stands for every intent (ICC.1, 9.1).
    let transform = transform_for(RenderingIntent::RelativeColorimetric)
        .or_else(|_| transform_for(RenderingIntent::Perceptual))
        .map_err(unusable)?;
    let mut rgb = vec![0; lines.len() / 4 * 3];
    if inverted {
        let inks: Vec<u8> = lines.iter().map(|v| 255 - v).collect();
        transform.transform(&inks, &mut rgb).map_err(unusable)?;
    } else {
        transform.transform(lines, &mut rgb).map_err(unusable)?;
    }
    Ok(rgb)
}

fn by_rule_of_thumb(lines: &[u8], inverted: bool) -> Vec<u8> {
    lines
        .chunks_exact(4)
        .flat_map(|ink| {
            let light = |v: u8| u16::from(if inverted { v } else { 255 - v });
            let black = light(ink[3]);
            [0, 1, 2].map(|c| ((light(ink[c]) * black + 127) / 255) as u8)
        })
        .collect()
}
