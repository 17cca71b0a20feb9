//! The sRGB profile that goes into files: a small display profile after ICC.1:2022 (version 4.4), the same
//! bytes on any day.
//!
//! Primaries and white of IEC 61966-2-1, carried over to the profile's own white D50 by Bradford's matrix
//! (ICC.1:2022, annex E); the curve is that standard's own, as a parametric curve of type 3 (10.18).

use std::sync::OnceLock;

/// Numbers with 16 bits after the point (ICC.1:2022, 4.7).
type Fixed = i32;

/// D50 of the connection space: 0.9642, 1, 0.8249 (7.2.16).
const D50: [Fixed; 3] = [0xF6D6, 0x1_0000, 0xD32D];
/// Red, green and blue in the connection space; they add up to D50.
const PRIMARIES: [(&[u8; 4], [Fixed; 3]); 3] =
    [(b"rXYZ", [28_576, 14_581, 912]), (b"gXYZ", [25_239, 46_983, 6_361]), (b"bXYZ", [9_375, 3_972, 46_788])];
/// From D65 to D50, row by row.
const ADAPTATION: [Fixed; 9] = [68_674, 1_502, -3_291, 1_939, 64_912, -1_119, -606, 988, 49_262];
/// 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045.
const CURVE: [Fixed; 5] = [157_286, 62_119, 3_417, 5_072, 2_651];

/// The profile.
pub(super) fn srgb_profile() -> &'static [u8] {
    static PROFILE: OnceLock<Vec<u8>> = OnceLock::new();
    PROFILE.get_or_init(build)
}

fn fixed(values: &[Fixed]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_be_bytes()).collect()
}

/// A tag of this type (clause 10): its name, four empty bytes, its data.
fn tag(kind: [u8; 4], data: &[u8]) -> Vec<u8> {
    [kind.as_slice(), &[0; 4], data].concat()
}

/// One text in one language (10.15), in UTF-16.
fn text(words: &str) -> Vec<u8> {
    let coded: Vec<u8> = words.encode_utf16().flat_map(u16::to_be_bytes).collect();
    let mut data = Vec::new();
    // One record of twelve bytes; the text begins 28 bytes into the tag.
    for number in [1, 12] {
        data.extend(u32::to_be_bytes(number));
    }
    data.extend(b"enUS");
    data.extend((coded.len() as u32).to_be_bytes());
    data.extend(28_u32.to_be_bytes());
    data.extend(coded);
    tag(*b"mluc", &data)
}

fn build() -> Vec<u8> {
    let curve = tag(*b"para", &[[0, 3, 0, 0].as_slice(), &fixed(&CURVE)].concat());
    let mut tags: Vec<(&[u8; 4], Vec<u8>)> = vec![
        (b"desc", text("sRGB")),
        (b"cprt", text("No copyright, use freely")),
        (b"wtpt", tag(*b"XYZ ", &fixed(&D50))),
        (b"chad", tag(*b"sf32", &fixed(&ADAPTATION))),
    ];
    tags.extend(PRIMARIES.iter().map(|(name, xyz)| (*name, tag(*b"XYZ ", &fixed(xyz)))));
    tags.extend([b"rTRC", b"gTRC", b"bTRC"].map(|name| (name, curve.clone())));
    // Header 128 bytes (7.2), the table of tags (7.3), then the tags, each on a multiple of four (7.1.2 c).
    let mut at = 128 + 4 + 12 * tags.len();
    let mut table = (tags.len() as u32).to_be_bytes().to_vec();
    let mut data = Vec::new();
    let mut last: Option<(usize, Vec<u8>)> = None;
    for (name, content) in tags {
        // The three curves are one.
        let shared = last.as_ref().filter(|(_, before)| *before == content).map(|(at, _)| *at);
        let place = shared.unwrap_or(at);
        table.extend(name);
        table.extend((place as u32).to_be_bytes());
        table.extend((content.len() as u32).to_be_bytes());
        if shared.is_none() {
            data.extend(&content);
            data.resize(data.len().next_multiple_of(4), 0);
            at = place + content.len().next_multiple_of(4);
            last = Some((place, content));
        }
    }
    let mut profile = header(at as u32);
    profile.extend(table);
    profile.extend(data);
    profile
}

fn header(size: u32) -> Vec<u8> {
    let mut header = size.to_be_bytes().to_vec();
    // No preferred module; version 4.4; a display's profile, RGB to XYZ.
    header.extend([0, 0, 0, 0, 4, 0x40, 0, 0]);
    header.extend(b"mntrRGB XYZ ");
    // Made on 1 January 2000: year, month, day, hours, minutes, seconds.
    header.extend([2000_u16, 1, 1, 0, 0, 0].map(u16::to_be_bytes).as_flattened());
    header.extend(b"acsp");
    // No platform, flags, device or attributes; perceptual.
    header.extend([0; 28]);
    header.extend(fixed(&D50));
    // No creator, no identifier; the rest is kept free.
    header.resize(128, 0);
    header
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn primaries_add_up_to_the_white_and_tags_lie_on_multiples_of_four() {
        for (i, white) in D50.iter().enumerate() {
            assert_eq!(PRIMARIES.iter().map(|(_, xyz)| xyz[i]).sum::<Fixed>(), *white);
        }
        let profile = srgb_profile();
        let number = |at: usize| u32::from_be_bytes(profile[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(number(0), profile.len());
        assert_eq!(profile.len() % 4, 0);
        let mut reached = 0;
        for entry in 0..number(128) {
            let (at, length) = (number(128 + 8 + entry * 12), number(128 + 12 + entry * 12));
            assert!(at % 4 == 0 && at + length <= profile.len(), "tag {entry}");
            reached = reached.max(at + length);
        }
        assert!(profile.len() - reached < 4);
    }

    #[test]
    fn another_library_takes_it_for_srgb() {
        let ours = moxcms::ColorProfile::new_from_slice(srgb_profile()).unwrap();
        let theirs = moxcms::ColorProfile::new_srgb();
        let transform = ours
            .create_transform_8bit(
                moxcms::Layout::Rgb,
                &theirs,
                moxcms::Layout::Rgb,
                moxcms::TransformOptions::default(),
            )
            .unwrap();
        let from: Vec<u8> = (0..=255_u8).flat_map(|v| [v, 255 - v, v / 2]).collect();
        let mut to = vec![0; from.len()];
        transform.transform(&from, &mut to).unwrap();
        assert!(from.iter().zip(&to).all(|(a, b)| a.abs_diff(*b) <= 1));
    }
}
