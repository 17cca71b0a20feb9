//! The camera's exposure data, carried over without what is nobody's business.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Context, Field, In, Tag, Value};

/// What of the camera's data stays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ExifChoice {
    /// Exposure, lens, date.
    pub exposure: bool,
    /// Place, serial numbers, owner.
    pub place_and_serials: bool,
}

/// Tags that tell who or which one: Exif 2.32, 4.6.5 (owner, serial numbers, unique image number) and
/// the maker's own block, which holds serial numbers in most cameras.
const PRIVATE: [Tag; 7] = [
    Tag::CameraOwnerName,
    Tag::BodySerialNumber,
    Tag::LensSerialNumber,
    Tag::ImageUniqueID,
    Tag::MakerNote,
    Tag::UserComment,
    Tag::Artist,
];

/// Tags about how the original was stored, which no longer hold.
const STORED: [Tag; 14] = [
    Tag::Orientation,
    Tag::PixelXDimension,
    Tag::PixelYDimension,
    Tag::ImageWidth,
    Tag::ImageLength,
    Tag::ColorSpace,
    Tag::Compression,
    Tag::StripOffsets,
    Tag::StripByteCounts,
    Tag::JPEGInterchangeFormat,
    Tag::JPEGInterchangeFormatLength,
    Tag::BitsPerSample,
    Tag::InteroperabilityIndex,
    Tag::WhitePoint,
];

/// Builds the EXIF block for a picture of the size given from the original file's; `None` when nothing is
/// to stay or the original has none.
///
/// The picture is upright and sRGB, so orientation is 1 and colour space 1.
pub fn kept_exif(original: &[u8], choice: ExifChoice, width_px: u32, height_px: u32) -> Option<Vec<u8>> {
    if !choice.exposure {
        return None;
    }
    let read = exif::Reader::new().continue_on_error(true).read_from_container(&mut Cursor::new(original));
    let exif = read.or_else(|error| error.distill_partial_result(|_| ())).ok()?;
    let stays = |field: &&Field| {
        let tag = field.tag;
        let private = tag.context() == Context::Gps || PRIVATE.contains(&tag);
        let kind = matches!(tag.context(), Context::Tiff | Context::Exif | Context::Gps);
        let camera = field.ifd_num == In::PRIMARY && kind && !STORED.contains(&tag);
        // What a tag of unknown meaning holds cannot be vouched for.
        camera && tag.description().is_some() && (choice.place_and_serials || !private)
    };
    let mut fields: Vec<Field> = exif.fields().filter(stays).cloned().collect();
    if fields.is_empty() {
        return None;
    }
    let own = [
        (Tag::Orientation, Value::Short(vec![1])),
        (Tag::ColorSpace, Value::Short(vec![1])),
        (Tag::PixelXDimension, Value::Long(vec![width_px])),
        (Tag::PixelYDimension, Value::Long(vec![height_px])),
    ];
    fields.extend(own.map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value }));
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).ok()?;
    Some(block.into_inner())
}
