//! Tells picture files by their content and whether they are whole. Structure only, no pixels.

use std::path::Path;

/// The kinds of picture files cameras give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureKind {
    /// JPEG (ITU-T T.81).
    Jpeg,
    /// PNG (ISO/IEC 15948).
    Png,
    /// WebP (RFC 9649).
    Webp,
    /// TIFF or a RAW form built on it (TIFF 6.0 header).
    TiffBased,
    /// HEIF, AVIF or a RAW form built on ISO base media (ISO/IEC 14496-12).
    IsoMedia,
    /// Another maker's RAW form, told by its extension only.
    OtherRaw,
}

impl PictureKind {
    /// The extension for a file that came without a fitting one.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Webp => "webp",
            Self::TiffBased => "tif",
            Self::IsoMedia => "heic",
            Self::OtherRaw => "raw",
        }
    }

    /// Whether the form itself tells that a file is whole; without that, only its writer can.
    pub fn shows_its_end(self) -> bool {
        matches!(self, Self::Jpeg | Self::Png | Self::Webp)
    }

    /// Whether the file is one that picture programs show directly.
    pub fn is_finished_picture(self) -> bool {
        matches!(self, Self::Jpeg | Self::Png | Self::Webp)
    }
}

/// Says why a file is not a whole picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotWhole {
    /// No bytes.
    #[error("it is empty (0 bytes)")]
    Empty,
    /// The start is of no picture form.
    #[error("it is not a picture; it starts with {0}")]
    NotAPicture(String),
    /// The end is missing.
    #[error("it is cut short ({0})")]
    CutShort(&'static str),
}

/// Extensions of RAW files whose content does not start like TIFF or ISO media; lower case.
const OTHER_RAW: [&str; 4] = ["raf", "x3f", "mrw", "crw"];
/// Extensions taken for picture files in a watched folder; lower case.
const KNOWN: [&str; 28] = [
    "jpg", "jpeg", "jpe", "png", "webp", "tif", "tiff", "heic", "heif", "hif", "avif", "dng", "cr2", "cr3",
    "crw", "nef", "nrw", "arw", "sr2", "srw", "orf", "rw2", "raf", "pef", "x3f", "3fr", "iiq", "mrw",
];

/// The lower-case extension of a file name.
pub fn extension_of(path: &Path) -> Option<String> {
    path.extension().and_then(|extension| extension.to_str()).map(str::to_lowercase)
}

/// Whether a file name looks like a camera's picture.
pub fn has_picture_extension(path: &Path) -> bool {
    extension_of(path).is_some_and(|extension| KNOWN.contains(&extension.as_str()))
}

/// The extension a kept file gets: its own when it fits the content, else the content's.
pub fn extension_for(kind: PictureKind, original: &Path) -> String {
    let own = extension_of(original).filter(|extension| {
        let extension = extension.as_str();
        KNOWN.contains(&extension)
            && match kind {
                PictureKind::Jpeg => matches!(extension, "jpg" | "jpeg" | "jpe"),
                PictureKind::Png => extension == "png",
                PictureKind::Webp => extension == "webp",
                _ => !matches!(extension, "jpg" | "jpeg" | "jpe" | "png" | "webp"),
            }
    });
    own.unwrap_or_else(|| kind.extension().to_owned())
}

/// Tells what a file is and that it is whole, as far as its form shows.
///
/// `name` only helps with RAW forms that cannot be told by content.
///
/// # Errors
/// [`NotWhole`] when it is empty, no picture, or its end is missing.
pub fn inspect(bytes: &[u8], name: &Path) -> Result<PictureKind, NotWhole> {
    if bytes.is_empty() {
        return Err(NotWhole::Empty);
    }
    match bytes {
        [0xff, 0xd8, 0xff, ..] => walk_jpeg(bytes).map(|_| PictureKind::Jpeg),
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', rest @ ..] => {
            png_is_whole(rest).map(|()| PictureKind::Png)
        }
        [b'R', b'I', b'F', b'F', a, b, c, d, b'W', b'E', b'B', b'P', ..] => {
            let stated = u32::from_le_bytes([*a, *b, *c, *d]) as usize;
            if bytes.len() >= stated.saturating_add(8) {
                Ok(PictureKind::Webp)
            } else {
                Err(NotWhole::CutShort("fewer bytes than its header states"))
            }
        }
        // TIFF 6.0, and the variants that some makers' RAW forms use in place of 42.
        [b'I', b'I', 42 | 0x55 | b'R', ..] | [b'M', b'M', 0, 42, ..] | [b'M', b'M', b'O', b'R', ..] => {
            if bytes.len() > 8 {
                Ok(PictureKind::TiffBased)
            } else {
                Err(NotWhole::CutShort("only its header is there"))
            }
        }
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => iso_is_whole(bytes).map(|()| PictureKind::IsoMedia),
        _ if extension_of(name).is_some_and(|extension| OTHER_RAW.contains(&extension.as_str()))
            && bytes.len() > 1024 =>
        {
            Ok(PictureKind::OtherRaw)
        }
        _ => {
            let start: String = bytes
                .iter()
                .take(12)
                .flat_map(|byte| std::ascii::escape_default(*byte))
                .map(char::from)
                .collect();
            Err(NotWhole::NotAPicture(format!("'{start}'")))
        }
    }
}

/// Where a JPEG that is followed by something else ends; `None` while it is not whole.
pub fn jpeg_end(bytes: &[u8]) -> Option<usize> {
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) { walk_jpeg(bytes).ok() } else { None }
}

/// Walks the marker segments (ITU-T T.81, annex B) up to the end mark of the main picture, so that
/// the end mark of an embedded thumbnail does not count; gives the first byte behind it.
fn walk_jpeg(bytes: &[u8]) -> Result<usize, NotWhole> {
    const NO_END: NotWhole = NotWhole::CutShort("the JPEG end mark is missing");
    let mut at = 2;
    let mut seen_scan = false;
    loop {
        let marker = match bytes.get(at..at + 2) {
            Some([0xff, 0xff]) => {
                at += 1;
                continue;
            }
            Some([0xff, marker]) => *marker,
            Some(_) => return Err(NotWhole::CutShort("a JPEG segment does not start where it should")),
            None => return Err(NO_END),
        };
        at += 2;
        match marker {
            0xd9 if seen_scan => return Ok(at),
            0xd9 => return Err(NotWhole::CutShort("the JPEG holds no picture data")),
            0x01 | 0xd0..=0xd8 => {}
            _ => {
                let Some([high, low]) = bytes.get(at..at + 2) else { return Err(NO_END) };
                let length = usize::from(u16::from_be_bytes([*high, *low]));
                if length < 2 {
                    return Err(NotWhole::CutShort("a JPEG segment has no length"));
                }
                at += length;
                if marker == 0xda {
                    seen_scan = true;
                    at = end_of_scan(bytes, at).ok_or(NO_END)?;
                }
            }
        }
    }
}

/// The place of the first marker after entropy-coded data; stuffed zeros and restart marks belong to it.
fn end_of_scan(bytes: &[u8], from: usize) -> Option<usize> {
    let mut at = from;
    loop {
        at += bytes.get(at..)?.iter().position(|byte| *byte == 0xff)?;
        match bytes.get(at + 1)? {
            0x00 | 0xd0..=0xd7 => at += 2,
            0xff => at += 1,
            _ => return Some(at),
        }
    }
}

/// Walks the chunks after the PNG signature to IEND.
fn png_is_whole(bytes: &[u8]) -> Result<(), NotWhole> {
    let mut at = 0_usize;
    while let Some([a, b, c, d, kind @ ..]) = bytes.get(at..at.saturating_add(8)) {
        let length = u32::from_be_bytes([*a, *b, *c, *d]) as usize;
        at = at.saturating_add(length).saturating_add(12);
        if kind == b"IEND" && at <= bytes.len() {
            return Ok(());
        }
    }
    Err(NotWhole::CutShort("the PNG end chunk is missing"))
}

/// Walks the top boxes; each must lie inside the file.
fn iso_is_whole(bytes: &[u8]) -> Result<(), NotWhole> {
    let mut at = 0_usize;
    while at < bytes.len() {
        let Some([a, b, c, d, ..]) = bytes.get(at..at.saturating_add(8)) else {
            return Err(NotWhole::CutShort("a box header is cut"));
        };
        let size = match u32::from_be_bytes([*a, *b, *c, *d]) {
            0 => return Ok(()),
            1 => match bytes.get(at + 8..at + 16).and_then(|long| <[u8; 8]>::try_from(long).ok()) {
                Some(long) => usize::try_from(u64::from_be_bytes(long)).unwrap_or(usize::MAX),
                None => return Err(NotWhole::CutShort("a box header is cut")),
            },
            size => size as usize,
        };
        if size < 8 {
            return Err(NotWhole::CutShort("a box has no size"));
        }
        at = at.saturating_add(size);
    }
    if at == bytes.len() { Ok(()) } else { Err(NotWhole::CutShort("the last box is not complete")) }
}
