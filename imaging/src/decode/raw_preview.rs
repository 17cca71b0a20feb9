//! The JPEG preview inside a RAW file that is built like TIFF.
//!
//! Many cameras' RAW files are TIFF trees (TIFF 6.0, 1992) with one or more JPEGs hung into
//! them. The walk is bounded: a crafted file with loops or huge counts ends it early.

use super::jpeg;
use super::orientation;

/// Most directories visited in one file; real ones have fewer than ten.
const MAX_DIRECTORIES: usize = 64;
/// Most entries read of one directory.
const MAX_ENTRIES: usize = 512;
/// Most sub-directories followed from one entry.
const MAX_CHILDREN: usize = 16;

// Tags of TIFF 6.0, TIFF/EP (ISO 12234-2) and Exif.
const NEW_SUBFILE_TYPE: u16 = 0x00FE;
const COMPRESSION: u16 = 0x0103;
const PHOTOMETRIC: u16 = 0x0106;
const STRIP_OFFSETS: u16 = 0x0111;
const STRIP_BYTE_COUNTS: u16 = 0x0117;
const SUB_IFDS: u16 = 0x014A;
const JPEG_OFFSET: u16 = 0x0201;
const JPEG_LENGTH: u16 = 0x0202;
const EXIF_IFD: u16 = 0x8769;

/// What a TIFF-like file has to show.
pub(super) enum Found<'a> {
    /// The largest JPEG preview, and the RAW file's orientation (1 to 8).
    Jpeg { jpeg: &'a [u8], orientation: u16 },
    /// An ordinary TIFF picture.
    PlainTiff,
    /// The file ends before its first directory begins.
    CutShort,
    /// Nothing that can be shown.
    Nothing,
}

/// Tells whether the bytes begin like TIFF or one of the RAW variants of its header.
pub(super) fn is_tiff_like(bytes: &[u8]) -> bool {
    Order::of(bytes).is_some()
}

/// Finds the largest JPEG preview that is a JPEG by its own header.
pub(super) fn largest(bytes: &[u8]) -> Found<'_> {
    let Some(order) = Order::of(bytes) else {
        return Found::Nothing;
    };
    let mut walk = Walk { bytes, order, seen: Vec::new(), previews: Vec::new(), plain: false };
    let start = order.u32(bytes, 4).unwrap_or(0);
    // Many writers put the directory behind the pixels, so that of a file cut short it is missing.
    if start as usize >= bytes.len() {
        return Found::CutShort;
    }
    walk.chain(start);
    let first = bytes.get(..4).is_some_and(|head| matches!(head[2..], [42, 0] | [0, 42]));
    if walk.plain && first {
        return Found::PlainTiff;
    }
    let best = walk
        .previews
        .iter()
        .filter_map(|&jpeg| {
            let (width_px, height_px) = jpeg::stored_size(jpeg).ok()?;
            Some((u64::from(width_px) * u64::from(height_px), jpeg))
        })
        .max_by_key(|(pixels, _)| *pixels);
    match best {
        Some((_, jpeg)) => Found::Jpeg { jpeg, orientation: orientation::of_exif(head(bytes)) },
        None => Found::Nothing,
    }
}

/// The part of a file that the orientation is looked for in: it stands in the first
/// directory, and the reader copies what it is given.
fn head(bytes: &[u8]) -> &[u8] {
    &bytes[..bytes.len().min(1 << 20)]
}

/// Byte order of a file.
#[derive(Debug, Clone, Copy)]
enum Order {
    Little,
    Big,
}

impl Order {
    fn of(bytes: &[u8]) -> Option<Self> {
        // 42 is TIFF; the others are variants found in RAW files.
        match bytes.get(..4)? {
            [b'I', b'I', 42 | 0x55, 0] | b"IIRO" | b"IIRS" => Some(Self::Little),
            [b'M', b'M', 0, 42] | b"MMOR" => Some(Self::Big),
            _ => None,
        }
    }

    fn u16(self, bytes: &[u8], at: usize) -> Option<u16> {
        let raw = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(match self {
            Self::Little => u16::from_le_bytes(raw),
            Self::Big => u16::from_be_bytes(raw),
        })
    }

    fn u32(self, bytes: &[u8], at: usize) -> Option<u32> {
        let raw = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(match self {
            Self::Little => u32::from_le_bytes(raw),
            Self::Big => u32::from_be_bytes(raw),
        })
    }
}

struct Walk<'a> {
    bytes: &'a [u8],
    order: Order,
    seen: Vec<u32>,
    previews: Vec<&'a [u8]>,
    plain: bool,
}

/// One entry of a directory.
#[derive(Clone, Copy)]
struct Entry {
    tag: u16,
    kind: u16,
    count: u32,
    /// Where its four bytes of value or offset stand.
    at: usize,
}

impl Walk<'_> {
    /// Follows directories from one to the next.
    fn chain(&mut self, start: u32) {
        let mut next = start;
        while next != 0 && self.seen.len() < MAX_DIRECTORIES && !self.seen.contains(&next) {
            let first = self.seen.is_empty();
            self.seen.push(next);
            match self.directory(next, first) {
                Some(following) => next = following,
                None => return,
            }
        }
    }

    /// Reads one directory and those below it; returns where the next one stands.
    fn directory(&mut self, offset: u32, first: bool) -> Option<u32> {
        let at = offset as usize;
        let stated = usize::from(self.order.u16(self.bytes, at)?);
        let entries: Vec<Entry> = (0..stated.min(MAX_ENTRIES))
            .map_while(|i| {
                let at = at.checked_add(2 + i * 12)?;
                Some(Entry {
                    tag: self.order.u16(self.bytes, at)?,
                    kind: self.order.u16(self.bytes, at + 2)?,
                    count: self.order.u32(self.bytes, at + 4)?,
                    at: at + 8,
                })
            })
            .collect();
        let number = |tag: u16| {
            let entry = *entries.iter().find(|e| e.tag == tag)?;
            self.value(entry, 0)
        };
        let compression = number(COMPRESSION);
        let reduced = number(NEW_SUBFILE_TYPE).unwrap_or(0) & 1 == 1;
        // Colours as such, uncompressed or with TIFF's own methods: a picture, not RAW.
        let plain = first
            && !reduced
            && matches!(number(PHOTOMETRIC), Some(0..=3 | 5 | 8))
            && matches!(compression, None | Some(1 | 5 | 8 | 32_773 | 32_946));
        let linked = (number(JPEG_OFFSET), number(JPEG_LENGTH));
        let strip = entries
            .iter()
            .find(|e| e.tag == STRIP_OFFSETS && e.count == 1)
            .filter(|_| matches!(compression, Some(6 | 7)))
            .map(|_| (number(STRIP_OFFSETS), number(STRIP_BYTE_COUNTS)));
        let below: Vec<u32> = entries
            .iter()
            .filter(|e| e.tag == SUB_IFDS || e.tag == EXIF_IFD)
            .flat_map(|&e| (0..(e.count as usize).min(MAX_CHILDREN)).map(move |i| (e, i)))
            .filter_map(|(e, i)| self.value(e, i))
            .collect();
        self.plain |= plain;
        for span in [Some(linked), strip].into_iter().flatten() {
            if let (Some(start), Some(length)) = span {
                self.keep(start, length);
            }
        }
        for child in below {
            self.chain(child);
        }
        self.order.u32(self.bytes, at.checked_add(2 + stated * 12)?)
    }

    /// Returns the `index`-th whole number of an entry.
    fn value(&self, entry: Entry, index: usize) -> Option<u32> {
        let size = match entry.kind {
            3 => 2,
            4 | 13 => 4,
            _ => return None,
        };
        if index >= entry.count as usize {
            return None;
        }
        let inside = (entry.count as usize).checked_mul(size)? <= 4;
        let start = if inside { entry.at } else { self.order.u32(self.bytes, entry.at)? as usize };
        let at = start.checked_add(index * size)?;
        if size == 2 { self.order.u16(self.bytes, at).map(u32::from) } else { self.order.u32(self.bytes, at) }
    }

    fn keep(&mut self, start: u32, length: u32) {
        let start = start as usize;
        // A cut-off file still shows the part of the preview that is there.
        let end = start.saturating_add(length as usize).min(self.bytes.len());
        if let Some(jpeg) = self.bytes.get(start..end)
            && jpeg.starts_with(&[0xFF, 0xD8])
            && self.previews.len() < MAX_DIRECTORIES
        {
            self.previews.push(jpeg);
        }
    }
}
