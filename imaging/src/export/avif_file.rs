//! Lossy AVIF: rav1e codes the picture, the container round it is laid here.
//!
//! The encoder's own container has no place for XMP and does not name the colours. AVIF 1.1 is an image file of
//! boxes (ISO/IEC 23008-12, 14496-12): `ftyp`, then `meta`, which tells what the items are, where they lie and
//! what they have to do with each other, then `mdat` with the items themselves.

use ravif::{BitDepth, Encoder, Img, RGB8};

use super::ExportError;
use crate::picture::Picture;

/// Of 1 to 10: a still of four megapixels in seconds; slower settings save a few per cent of the bytes.
const SPEED: u8 = 8;

/// Bits a value.
const DEPTH: u8 = 10;

/// The items, numbered from 1; the picture is the file's primary one.
const PICTURE: u16 = 1;
const EXIF: u16 = 2;
const XMP: u16 = 3;

/// Codes an AVIF file with full colour detail, marked as sRGB.
pub(super) fn avif(
    picture: &Picture,
    quality: u8,
    exif: Option<&[u8]>,
    xmp: &str,
) -> Result<Vec<u8>, ExportError> {
    let coded = coded(picture, quality)?;
    let mut items = vec![Item { number: PICTURE, kind: *b"av01", content_type: "", data: coded }];
    if let Some(block) = exif {
        // ISO/IEC 23008-12, annex A.2.1: how far behind this number the TIFF header begins.
        let data = [&0_u32.to_be_bytes(), block].concat();
        items.push(Item { number: EXIF, kind: *b"Exif", content_type: "", data });
    }
    if !xmp.is_empty() {
        let data = xmp.as_bytes().to_vec();
        items.push(Item { number: XMP, kind: *b"mime", content_type: "application/rdf+xml", data });
    }
    Ok(file(&items, (picture.width_px(), picture.height_px())))
}

/// Codes the picture as AV1, the same bytes on any machine.
fn coded(picture: &Picture, quality: u8) -> Result<Vec<u8>, ExportError> {
    let pixels: Vec<RGB8> = picture.rgb().chunks_exact(3).map(|p| RGB8::new(p[0], p[1], p[2])).collect();
    let coded = Encoder::new()
        .with_quality(f32::from(quality.clamp(1, 100)))
        .with_speed(SPEED)
        // With 8 bits soft tones fall into blocks that are seen; the files are no smaller.
        .with_bit_depth(BitDepth::Ten)
        // As many tiles as threads: only with one are the bytes the same everywhere. Pictures are coded side by side.
        .with_num_threads(Some(1))
        .encode_rgb(Img::new(&pixels, picture.width_px() as usize, picture.height_px() as usize))
        .map_err(|e| ExportError::encoder("AVIF", e))?;
    // The AV1 data are the last thing in the encoder's own file.
    let at = coded.avif_file.len() - coded.color_byte_size;
    let data = &coded.avif_file[at..];
    // AV1 in ISOBMFF 1.2, 2.4: without the temporal delimiter; then the sequence header comes first.
    let data = data.strip_prefix(&[0x12, 0]).unwrap_or(data);
    if data.first().map(|first| first & 0x78) != Some(SEQUENCE_HEADER << 3) {
        return Err(ExportError::encoder("AVIF", "it gave an unknown kind of file"));
    }
    Ok(data.to_vec())
}

/// AV1 1.0.0, 6.2.2: the kind of an open bitstream unit.
const SEQUENCE_HEADER: u8 = 1;

/// One thing in the file.
struct Item {
    number: u16,
    kind: [u8; 4],
    /// Of `mime` items.
    content_type: &'static str,
    data: Vec<u8>,
}

fn file(items: &[Item], size: (u32, u32)) -> Vec<u8> {
    let kinds = boxed(*b"ftyp", &[b"avif", &[0; 4], b"avif".as_slice(), b"mif1", b"miaf"]);
    // Where the data begin follows from how long `meta` is, and that does not depend on where they begin.
    let begin = kinds.len() + meta(items, size, 0).len() + 8;
    let data: Vec<&[u8]> = items.iter().map(|item| item.data.as_slice()).collect();
    [kinds, meta(items, size, begin), boxed(*b"mdat", &data)].concat()
}

/// What the items are.
fn meta(items: &[Item], size: (u32, u32), begin: usize) -> Vec<u8> {
    let handler = full_box(*b"hdlr", 0, &[&[0; 4], b"pict", &[0; 12], b"\0"]);
    let primary = full_box(*b"pitm", 0, &[&PICTURE.to_be_bytes()]);
    let count = (items.len() as u16).to_be_bytes();
    // Offsets and lengths of four bytes each.
    let mut places = vec![0x44, 0];
    places.extend(count);
    let mut at = begin;
    for item in items {
        places.extend([item.number, 0, 1].map(u16::to_be_bytes).concat());
        places.extend([at as u32, item.data.len() as u32].map(u32::to_be_bytes).concat());
        at += item.data.len();
    }
    let mut infos = count.to_vec();
    for item in items {
        let number = item.number.to_be_bytes();
        let content_type = [item.content_type.as_bytes(), b"\0"].concat();
        // The name, empty, then for `mime` the type.
        let rest = if item.content_type.is_empty() { [].as_slice() } else { &content_type };
        infos.extend(full_box(*b"infe", 2, &[&number, &[0; 2], &item.kind, b"\0", rest]));
    }
    let mut references = Vec::new();
    for item in items.iter().filter(|item| item.number != PICTURE) {
        let numbers = [item.number, 1, PICTURE].map(u16::to_be_bytes).concat();
        references.extend(boxed(*b"cdsc", &[&numbers]));
    }
    let mut parts =
        vec![handler, primary, full_box(*b"iloc", 0, &[&places]), full_box(*b"iinf", 0, &[&infos])];
    if !references.is_empty() {
        parts.push(full_box(*b"iref", 0, &[&references]));
    }
    parts.push(properties(size));
    full_box(*b"meta", 0, &[&parts.concat()])
}

/// What the picture is like.
fn properties((width_px, height_px): (u32, u32)) -> Vec<u8> {
    const NEEDED: u8 = 0x80;
    let all = [
        full_box(*b"ispe", 0, &[&width_px.to_be_bytes(), &height_px.to_be_bytes()]),
        full_box(*b"pixi", 0, &[&[3, DEPTH, DEPTH, DEPTH]]),
        // AV1 in ISOBMFF 1.2, 2.3: version 1; profile High, as colour has full detail, any level; 10 bits.
        boxed(*b"av1C", &[&[0x81, 1 << 5 | 31, 1 << 6, 0]]),
        // ITU-T H.273: primaries 1 (as sRGB), transfer 13 (IEC 61966-2-1), matrix 6, full range.
        boxed(*b"colr", &[b"nclx", &[1_u16, 13, 6].map(u16::to_be_bytes).concat(), &[0x80]]),
    ];
    let of_picture = [1, 2, 3 | NEEDED, 4];
    let [first, second] = PICTURE.to_be_bytes();
    let uses = [&[0, 0, 0, 1, first, second, of_picture.len() as u8], of_picture.as_slice()].concat();
    boxed(*b"iprp", &[&boxed(*b"ipco", &[&all.concat()]), &full_box(*b"ipma", 0, &[&uses])])
}

fn boxed(kind: [u8; 4], parts: &[&[u8]]) -> Vec<u8> {
    let length: usize = 8 + parts.iter().map(|part| part.len()).sum::<usize>();
    [&(length as u32).to_be_bytes(), kind.as_slice(), &parts.concat()].concat()
}

/// A box with a version, and no flags.
fn full_box(kind: [u8; 4], version: u8, parts: &[&[u8]]) -> Vec<u8> {
    boxed(kind, &[&[version, 0, 0, 0], &parts.concat()])
}
