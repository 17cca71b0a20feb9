//! Files to decode, made on the spot.

use imaging::Picture;
use imaging::scene::{ExposureData, Pose, SceneFaults, SceneView, render_jpeg};
use mozjpeg::{ColorSpace, Compress, Marker};
use std::io::Cursor;
use std::sync::OnceLock;

/// A frame of the demo's studio: 1000 × 750, quality 90 (demo data).
pub fn frame() -> &'static [u8] {
    static FRAME: OnceLock<Vec<u8>> = OnceLock::new();
    FRAME.get_or_init(|| {
        let view = SceneView { width_px: 1000, height_px: 750, ..SceneView::default() };
        let exposure = ExposureData {
            shutter_s: 0.01,
            f_number: 8.0,
            iso: 200,
            captured_at: "2025:06:01 09:00:00".into(),
            subsec_ms: 5,
        };
        render_jpeg(&view, &Pose::at_rest(20.0, 3), &SceneFaults::default(), &exposure, 90).unwrap()
    })
}

/// Encodes raw samples, with markers, in a colour space.
pub fn jpeg(
    space: ColorSpace,
    size: (usize, usize),
    samples: &[u8],
    progressive: bool,
    markers: &[(u8, &[u8])],
) -> Vec<u8> {
    let mut codec = Compress::new(space);
    codec.set_size(size.0, size.1);
    codec.set_quality(95.0);
    if progressive {
        codec.set_progressive_mode();
    }
    let mut started = codec.start_compress(Vec::new()).unwrap();
    for (number, data) in markers {
        started.write_marker(Marker::APP(*number), data);
    }
    started.write_scanlines(samples).unwrap();
    started.finish().unwrap()
}

/// A picture whose quarters are red, green, blue and yellow, from the top left.
pub fn quarters(width: usize, height: usize) -> Vec<u8> {
    let mut rgb = Vec::new();
    for y in 0..height {
        for x in 0..width {
            rgb.extend_from_slice(match (x * 2 < width, y * 2 < height) {
                (true, true) => &[220, 30, 30],
                (false, true) => &[30, 200, 30],
                (true, false) => &[30, 30, 220],
                (false, false) => &[220, 220, 30],
            });
        }
    }
    rgb
}

/// An EXIF block with one orientation entry (TIFF 6.0, little-endian).
pub fn exif(orientation: u16) -> Vec<u8> {
    let mut block = b"Exif\0\0".to_vec();
    block.extend_from_slice(&tiff(&[(0x0112, 3, 1, u32::from(orientation))], &[]));
    block
}

/// A little-endian TIFF of one directory with entries (tag, kind, count, value), then `tail`.
pub fn tiff(entries: &[(u16, u16, u32, u32)], tail: &[u8]) -> Vec<u8> {
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    bytes.extend_from_slice(&(entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        bytes.extend_from_slice(&tag.to_le_bytes());
        bytes.extend_from_slice(&kind.to_le_bytes());
        bytes.extend_from_slice(&count.to_le_bytes());
        bytes.extend_from_slice(&value.to_le_bytes());
    }
    bytes.extend_from_slice(&0_u32.to_le_bytes());
    bytes.extend_from_slice(tail);
    bytes
}

/// Tells whether a pixel is about the colour wanted.
pub fn near(picture: &Picture, column: u32, row: u32, wanted: [u8; 3]) -> bool {
    let found = picture.pixel(column, row).unwrap();
    found.iter().zip(wanted).all(|(f, w)| f.abs_diff(w) < 25)
}

/// Mean difference of two buffers, in 8-bit steps.
pub fn mean_difference(a: &[u8], b: &[u8]) -> f64 {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(x, y)| f64::from(x.abs_diff(*y))).sum::<f64>() / a.len() as f64
}

/// Encodes a picture as PNG.
pub fn png(picture: &image::DynamicImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}
