//! Decoding whole, reduced and damaged files of several kinds.

#![allow(clippy::unwrap_used)] // a helper that fails is a test that fails

mod ink_profile;
mod inks;
mod samples;

use imaging::decode::{self, DecodeError};
use mozjpeg::ColorSpace;
use proptest::prelude::*;
use samples::{exif, frame, jpeg, mean_difference, near, png, quarters, tiff};
use std::io::Cursor;

/// Compared with the `jpeg-decoder` crate, which shares no code with ours. The standard lets
/// decoders differ by rounding and by how chroma is enlarged.
#[test]
fn full_decoding_agrees_with_another_decoder() {
    let ours = decode::full(frame()).unwrap();
    assert!(ours.damaged.is_none());
    let theirs = jpeg_decoder::Decoder::new(frame()).decode().unwrap();
    let difference = mean_difference(ours.picture.rgb(), &theirs);
    assert!(difference < 1.0, "{difference}");
}

#[test]
fn reduced_decoding_agrees_with_shrinking_the_whole() {
    let whole = decode::full(frame()).unwrap().picture;
    for (edge, quick) in [(112, true), (200, true), (480, false), (700, false)] {
        let small = if quick {
            decode::thumbnail(frame(), edge).unwrap()
        } else {
            decode::preview(frame(), edge).unwrap()
        };
        assert!(small.damaged.is_none());
        assert_eq!(small.full_size_px, (1000, 750));
        assert_eq!((small.picture.width_px(), small.picture.height_px()), (edge, edge * 3 / 4));
        let expected = whole.clone().shrunk_to(edge).unwrap();
        let difference = mean_difference(small.picture.rgb(), expected.rgb());
        assert!(difference < 2.0, "{edge} px: {difference}");
    }
    // A frame smaller than what was asked for keeps its size.
    assert_eq!(decode::thumbnail(frame(), 5000).unwrap().picture.width_px(), 1000);
    assert_eq!(decode::dimensions(frame()).unwrap(), (1000, 750));
}

/// The eight orientations of Exif 2.32 (CIPA DC-008), 4.6.4: where the stored top left ends.
#[test]
fn every_orientation_is_turned_upright() {
    let (red, green, blue, yellow) = ([220, 30, 30], [30, 200, 30], [30, 30, 220], [220, 220, 30]);
    // Corners of the upright picture: top left, top right, bottom left.
    let corners = [
        (1, [red, green, blue]),
        (2, [green, red, yellow]),
        (3, [yellow, blue, green]),
        (4, [blue, yellow, red]),
        (5, [red, blue, green]),
        (6, [blue, red, yellow]),
        (7, [yellow, green, blue]),
        (8, [green, yellow, red]),
    ];
    for (orientation, [top_left, top_right, bottom_left]) in corners {
        let block = exif(orientation);
        let bytes = jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), false, &[(1, &block)]);
        let size = if orientation < 5 { (64, 32) } else { (32, 64) };
        assert_eq!(decode::dimensions(&bytes).unwrap(), size);
        for decoded in [decode::full(&bytes).unwrap(), decode::thumbnail(&bytes, 64).unwrap()] {
            let p = &decoded.picture;
            assert_eq!((p.width_px(), p.height_px()), size, "orientation {orientation}");
            assert!(near(p, 4, 4, top_left), "orientation {orientation}");
            assert!(near(p, size.0 - 5, 4, top_right), "orientation {orientation}");
            assert!(near(p, 4, size.1 - 5, bottom_left), "orientation {orientation}");
        }
    }
}

#[test]
fn a_cut_file_gives_what_is_left_with_a_note() {
    let bytes = frame();
    let mut with_picture = 0;
    let lengths = (0..bytes.len() - 1).step_by(1000).chain([bytes.len() - 1, bytes.len() - 2]);
    for length in lengths {
        for result in [decode::full(&bytes[..length]), decode::thumbnail(&bytes[..length], 160)] {
            match result {
                Ok(decoded) => {
                    with_picture += 1;
                    let note = decoded.damaged.unwrap_or_else(|| panic!("{length}: no note"));
                    assert!(note.contains("end of the file is missing"), "{length}: {note}");
                }
                Err(DecodeError::Empty) => assert_eq!(length, 0),
                Err(error) => {
                    assert!(length < 2000, "{length}: {error}");
                    assert!(error.to_string().contains("retake"), "{error}");
                }
            }
        }
    }
    assert!(with_picture > 20);
    // The part that is there is right.
    let half = decode::full(&bytes[..bytes.len() / 2]).unwrap().picture;
    let whole = decode::full(bytes).unwrap().picture;
    let top = 1000 * 3 * 100;
    assert_eq!(half.rgb()[..top], whole.rgb()[..top]);
}

#[test]
fn a_hole_in_the_data_is_noticed_and_the_rest_is_kept() {
    let whole = decode::full(frame()).unwrap().picture;
    for filler in [0xFF, 0x00, 0x5A] {
        let mut bytes = frame().to_vec();
        let middle = bytes.len() / 2;
        bytes[middle..middle + 400].fill(filler);
        let decoded = decode::full(&bytes).unwrap();
        let top = 1000 * 3 * 100;
        assert_eq!(decoded.picture.rgb()[..top], whole.rgb()[..top]);
        // A hole that happens to be sound Huffman codes cannot be told from a picture.
        if filler == 0xFF {
            assert!(decoded.damaged.unwrap().contains("damaged"));
        }
    }
}

#[test]
fn progressive_grey_and_ink_files_decode() {
    let bytes = jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), true, &[]);
    let decoded = decode::full(&bytes).unwrap();
    assert!(near(&decoded.picture, 60, 4, [30, 200, 30]) && decoded.damaged.is_none());

    let grey = jpeg(ColorSpace::JCS_GRAYSCALE, (16, 16), &[90; 256], false, &[]);
    assert!(near(&decode::full(&grey).unwrap().picture, 8, 8, [90, 90, 90]));

    // Cyan ink only: the screen shows no red. With the Adobe marker the samples are inverted.
    let plain: Vec<u8> = [255, 0, 0, 0].repeat(256);
    let bytes = jpeg(ColorSpace::JCS_CMYK, (16, 16), &plain, false, &[]);
    let inverted: Vec<u8> = [0, 255, 255, 255].repeat(256);
    let adobe = b"Adobe\0\x64\0\0\0\0\0";
    let with_marker = jpeg(ColorSpace::JCS_CMYK, (16, 16), &inverted, false, &[(14, adobe)]);
    // The codec writes that marker itself for ink; without it the file means what it says.
    assert!(near(&decode::full(&with_marker).unwrap().picture, 8, 8, [0, 255, 255]));
    assert!(decode::full(&bytes).is_ok());
}

#[test]
fn one_pixel_decodes_at_every_size() {
    let bytes = jpeg(ColorSpace::JCS_RGB, (1, 1), &[200, 100, 50], false, &[]);
    for edge in [0, 1, 320] {
        let decoded = decode::thumbnail(&bytes, edge).unwrap();
        assert_eq!((decoded.picture.width_px(), decoded.picture.height_px()), (1, 1));
    }
    let thin = jpeg(ColorSpace::JCS_RGB, (3000, 1), &[99; 9000], false, &[]);
    let decoded = decode::thumbnail(&thin, 100).unwrap();
    assert_eq!((decoded.picture.width_px(), decoded.picture.height_px()), (100, 1));
}

#[test]
fn png_of_8_and_16_bits_decodes_whatever_its_name() {
    let rgb = image::RgbImage::from_raw(64, 32, quarters(64, 32)).unwrap();
    // No name is given at all: the bytes tell.
    let decoded = decode::full(&png(&image::DynamicImage::ImageRgb8(rgb))).unwrap();
    assert!(near(&decoded.picture, 60, 28, [220, 220, 30]));

    let deep = image::ImageBuffer::from_pixel(40, 20, image::Rgb([0x8080_u16, 0x4040, 0xFFFF]));
    let bytes = png(&image::DynamicImage::ImageRgb16(deep));
    let decoded = decode::thumbnail(&bytes, 20).unwrap();
    assert_eq!((decoded.picture.width_px(), decoded.picture.height_px()), (20, 10));
    assert!(near(&decoded.picture, 5, 5, [0x80, 0x40, 0xFF]));

    let clear = image::RgbaImage::from_pixel(4, 4, image::Rgba([0, 0, 0, 0]));
    let decoded = decode::full(&png(&image::DynamicImage::ImageRgba8(clear))).unwrap();
    assert_eq!(decoded.picture.pixel(1, 1), Some([255, 255, 255]));
}

/// A header that claims 60 000 × 60 000 pixels with a correct check sum (CRC-32 of ISO 3309,
/// as PNG asks), and next to no data.
#[test]
fn a_claim_of_gigapixels_is_refused_before_memory_is_taken() {
    let mut header = b"IHDR".to_vec();
    header.extend_from_slice(&60_000_u32.to_be_bytes());
    header.extend_from_slice(&60_000_u32.to_be_bytes());
    header.extend_from_slice(&[8, 2, 0, 0, 0]);
    let crc = !header.iter().fold(!0_u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| if c & 1 == 1 { 0xEDB8_8320 ^ (c >> 1) } else { c >> 1 })
    });
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0D".to_vec();
    bytes.extend_from_slice(&header);
    bytes.extend_from_slice(&crc.to_be_bytes());
    bytes.extend_from_slice(b"\0\0\0\0IDAT\x35\xAF\x06\x1E");
    assert!(matches!(
        decode::full(&bytes),
        Err(DecodeError::TooLarge { .. } | DecodeError::Unreadable { .. })
    ));
    // The same claim in a JPEG, by its frame header (ITU-T T.81, B.2.2).
    let mut bytes = frame().to_vec();
    let frame_header = bytes.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    bytes[frame_header + 5..frame_header + 9].fill(0xF0);
    let refused = decode::thumbnail(&bytes, 100);
    assert!(matches!(refused, Err(DecodeError::TooLarge { .. })), "{refused:?}");
}

#[test]
fn raw_like_files_show_their_largest_preview() {
    let small = jpeg(ColorSpace::JCS_RGB, (32, 16), &[128; 32 * 16 * 3], false, &[]);
    let large = jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), false, &[]);
    // One directory with a small linked JPEG, and a sub-directory with the large one.
    let header = 8 + 2 + 5 * 12 + 4;
    let below = header + small.len() + large.len();
    let mut bytes = tiff(
        &[
            (0x0103, 3, 1, 6),
            (0x0112, 3, 1, 6),
            (0x014A, 4, 1, below as u32),
            (0x0201, 4, 1, header as u32),
            (0x0202, 4, 1, small.len() as u32),
        ],
        &[],
    );
    bytes.extend_from_slice(&small);
    bytes.extend_from_slice(&large);
    let sub = tiff(
        &[
            (0x0103, 3, 1, 7),
            (0x0111, 4, 1, (header + small.len()) as u32),
            (0x0117, 4, 1, large.len() as u32),
        ],
        &[],
    );
    bytes.extend_from_slice(&sub[8..]);
    assert_eq!(decode::dimensions(&bytes).unwrap(), (32, 64));
    let decoded = decode::full(&bytes).unwrap();
    assert_eq!((decoded.picture.width_px(), decoded.picture.height_px()), (32, 64));
    // Orientation 6 is the RAW file's own: the stored bottom left comes to the top left.
    assert!(near(&decoded.picture, 4, 4, [30, 30, 220]));

    let bare = tiff(&[(0x0103, 3, 1, 1), (0x0106, 3, 1, 32_803)], &[]);
    assert!(matches!(decode::full(&bare), Err(DecodeError::NoPreview)));

    let rgb = image::RgbImage::from_raw(64, 32, quarters(64, 32)).unwrap();
    let mut plain = Cursor::new(Vec::new());
    image::DynamicImage::ImageRgb8(rgb).write_to(&mut plain, image::ImageFormat::Tiff).unwrap();
    let decoded = decode::full(&plain.into_inner()).unwrap();
    assert!(near(&decoded.picture, 60, 28, [220, 220, 30]));
}

#[test]
fn directories_that_loop_or_boast_end() {
    // Its sub-directory and its next directory are itself; a preview claims four gigabytes.
    let mut looping = tiff(
        &[(0x014A, 4, 4_000_000_000, 8), (0x0201, 4, 1, 4), (0x0202, 4, 1, u32::MAX), (0x8769, 4, 1, 8)],
        &[],
    );
    let end = looping.len();
    looping[end - 4..].copy_from_slice(&8_u32.to_le_bytes());
    assert!(matches!(decode::full(&looping), Err(DecodeError::NoPreview)));
    looping[8..10].copy_from_slice(&u16::MAX.to_le_bytes());
    assert!(decode::full(&looping).is_err());
    // The same as the EXIF block of a sound JPEG: upright, and no harm done.
    let mut block = b"Exif\0\0".to_vec();
    block.extend_from_slice(&looping);
    let bytes = jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), false, &[(1, &block)]);
    let decoded = decode::full(&bytes).unwrap();
    assert!(decoded.damaged.is_none() && near(&decoded.picture, 4, 4, [220, 30, 30]));
}

#[test]
fn an_embedded_profile_is_handed_on() {
    let part = |number: u8, data: &[u8]| [b"ICC_PROFILE\0", &[number, 2][..], data].concat();
    let parts = [part(1, b"first half, "), part(2, b"second half")];
    let bytes = jpeg(ColorSpace::JCS_RGB, (16, 16), &[99; 768], false, &[(2, &parts[0]), (2, &parts[1])]);
    let profile = decode::thumbnail(&bytes, 8).unwrap().icc_profile;
    assert_eq!(profile.as_deref(), Some(&b"first half, second half"[..]));
    assert!(decode::full(frame()).unwrap().icc_profile.is_none());
}

#[test]
fn what_is_no_picture_is_refused_in_words() {
    assert!(matches!(decode::full(&[]), Err(DecodeError::Empty)));
    assert!(matches!(decode::full(b"%PDF-1.7"), Err(DecodeError::UnknownFormat)));
    assert!(matches!(decode::full(&[0; 5000]), Err(DecodeError::UnknownFormat)));
    assert!(matches!(decode::full(&[0xFF, 0xD8]), Err(DecodeError::Unreadable { .. })));
    assert!(decode::dimensions(&[0xFF, 0xD8, 0xFF]).is_err());
}

/// A progressive file may hold any number of passes, each a walk over the whole frame.
#[test]
fn a_file_of_endless_passes_is_refused() {
    let mut bytes = jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), true, &[]);
    let scan = bytes.windows(2).rposition(|w| w == [0xFF, 0xDA]).unwrap();
    let last = bytes[scan..bytes.len() - 2].to_vec();
    let end = bytes.split_off(bytes.len() - 2);
    for _ in 0..200 {
        bytes.extend_from_slice(&last);
    }
    bytes.extend_from_slice(&end);
    assert!(matches!(decode::full(&bytes), Err(DecodeError::Unreadable { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever happens to some bytes of a file, the answer is a value.
    #[test]
    fn flipped_bytes_never_panic(
        kind in 0..4_usize,
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..24),
        head in any::<bool>(),
    ) {
        let mut bytes = match kind {
            0 => jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), false, &[(1, &exif(6))]),
            1 => jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), true, &[]),
            2 => png(&image::DynamicImage::ImageRgb8(
                image::RgbImage::from_raw(64, 32, quarters(64, 32)).unwrap(),
            )),
            _ => {
                let inner =
                    jpeg(ColorSpace::JCS_RGB, (64, 32), &quarters(64, 32), false, &[]);
                let entries = [
                    (0x0103, 3, 1, 6),
                    (0x0201, 4, 1, 8 + 2 + 3 * 12 + 4),
                    (0x0202, 4, 1, inner.len() as u32),
                ];
                tiff(&entries, &inner)
            }
        };
        let reach = if head { bytes.len().min(120) } else { bytes.len() };
        for (place, value) in flips {
            let at = place.index(reach);
            bytes[at] = value;
        }
        let _ = decode::dimensions(&bytes);
        let _ = decode::thumbnail(&bytes, 20);
        if let Ok(decoded) = decode::full(&bytes) {
            let p = &decoded.picture;
            prop_assert_eq!(p.rgb().len() as u64, u64::from(p.width_px()) * u64::from(p.height_px()) * 3);
        }
    }

    /// Noise behind a known beginning never panics either.
    #[test]
    fn noise_behind_a_known_beginning_never_panics(
        start in prop::sample::select(vec![
            &b"\xFF\xD8\xFF\xE0"[..], b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"\x89PNG\r\n\x1a\n",
            b"RIFF\0\x10\0\0WEBPVP8L", b"BM",
        ]),
        noise in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let bytes = [start, &noise[..]].concat();
        let _ = decode::dimensions(&bytes);
        let _ = decode::thumbnail(&bytes, 20);
        let _ = decode::full(&bytes);
    }
}
