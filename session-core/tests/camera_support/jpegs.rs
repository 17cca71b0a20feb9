//! Small JPEG files with EXIF data, made by a general-purpose EXIF writer.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

/// What a test camera writes into its files.
#[derive(Debug, Clone)]
pub struct Exif {
    pub taken: Option<&'static str>,
    pub subsec: Option<&'static str>,
    pub shutter: (u32, u32),
    pub f_number: (u32, u32),
    pub iso: u16,
    /// 0 automatic, 1 by hand (EXIF 2.32).
    pub white_balance: u16,
    /// 1 manual, 3 aperture priority (EXIF 2.32).
    pub program: u16,
    pub focal_mm: u32,
}

impl Default for Exif {
    fn default() -> Self {
        Self {
            taken: None,
            subsec: None,
            shutter: (1, 60),
            f_number: (110, 10),
            iso: 100,
            white_balance: 1,
            program: 1,
            focal_mm: 100,
        }
    }
}

/// A whole JPEG by structure (ITU-T T.81 annex B) without EXIF; `mark` makes it unlike others.
pub fn plain(mark: u32) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xd8];
    bytes.extend(scan(mark));
    bytes
}

/// The same with an EXIF block.
pub fn with_exif(mark: u32, exif: &Exif) -> Vec<u8> {
    let text = |text: &str| Value::Ascii(vec![text.as_bytes().to_vec()]);
    let part = |(num, denom)| Value::Rational(vec![Rational { num, denom }]);
    let short = |number| Value::Short(vec![number]);
    let mut values = vec![
        (Tag::ExposureTime, part(exif.shutter)),
        (Tag::FNumber, part(exif.f_number)),
        (Tag::ExposureProgram, short(exif.program)),
        (Tag::PhotographicSensitivity, short(exif.iso)),
        (Tag::WhiteBalance, short(exif.white_balance)),
        (Tag::FocalLength, part((exif.focal_mm, 1))),
    ];
    values.extend(exif.taken.map(|taken| (Tag::DateTimeOriginal, text(taken))));
    values.extend(exif.subsec.map(|subsec| (Tag::SubSecTimeOriginal, text(subsec))));
    let fields: Vec<Field> =
        values.into_iter().map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value }).collect();
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, true).unwrap();
    let block = block.into_inner();
    let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1];
    bytes.extend(u16::try_from(block.len() + 8).unwrap().to_be_bytes());
    bytes.extend(b"Exif\0\0");
    bytes.extend(block);
    bytes.extend(scan(mark));
    bytes
}

/// One scan of 20 000 bytes and the end mark.
fn scan(mark: u32) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xda, 0x00, 0x02];
    bytes.extend(mark.to_be_bytes().map(|byte| byte & 0x7f));
    bytes.extend(std::iter::repeat_n(0x2a, 20_000));
    bytes.extend([0xff, 0xd9]);
    bytes
}
