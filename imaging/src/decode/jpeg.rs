//! JPEG by way of mozjpeg, which can decode at reduced size and keeps what it can of a
//! damaged file.
//!
//! The codec tells of trouble through function pointers. Ours count warnings and unwind on
//! errors; both work per thread, as a decode never leaves its thread.

use super::{DecodeError, Decoded, Want, check_size, finish, inks, orientation};
use crate::picture::Picture;
use mozjpeg::decompress::DctMethod;
use mozjpeg::{ColorSpace, Decompress, Marker};
use mozjpeg_sys::{jpeg_common_struct, jpeg_error_mgr};
use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

/// Most passes of a progressive file; real ones have about ten. Each costs a walk over the
/// whole frame, so a small file could otherwise keep a worker busy for minutes.
const MAX_SCANS: usize = 100;

/// Lines asked of the codec at a time; what a failing codec takes with it.
const LINES_AT_ONCE: usize = 8;
/// Stands for what could not be decoded, as the codec itself does.
const GREY: u8 = 128;

thread_local! {
    static WARNINGS: Cell<u32> = const { Cell::new(0) };
}

extern "C-unwind" fn on_error(_: &mut jpeg_common_struct) {
    // Not a panic: nothing is printed and no hook runs.
    resume_unwind(Box::new(CodecGaveUp));
}

extern "C-unwind" fn on_message(_: &mut jpeg_common_struct, level: std::os::raw::c_int) {
    if level < 0 {
        WARNINGS.with(|count| count.set(count.get().saturating_add(1)));
    }
}

extern "C-unwind" fn on_output(_: &mut jpeg_common_struct) {}
extern "C-unwind" fn on_format(_: &mut jpeg_common_struct, _: &[u8; 80]) {}
extern "C-unwind" fn on_reset(_: &mut jpeg_common_struct) {}

/// The payload of an unwinding codec.
struct CodecGaveUp;

fn error_hooks() -> jpeg_error_mgr {
    jpeg_error_mgr {
        error_exit: Some(on_error),
        emit_message: Some(on_message),
        output_message: Some(on_output),
        format_message: Some(on_format),
        reset_error_mgr: Some(on_reset),
        msg_code: 0,
        msg_parm: mozjpeg_sys::msg_parm_union::default(),
        trace_level: 0,
        num_warnings: 0,
        jpeg_message_table: std::ptr::null(),
        last_jpeg_message: 0,
        addon_message_table: std::ptr::null(),
        first_addon_message: 0,
        last_addon_message: 0,
    }
}

fn unreadable(reason: impl Into<String>) -> DecodeError {
    DecodeError::Unreadable { format: "JPEG", reason: reason.into() }
}

/// Runs the codec; its unwinding becomes an error.
fn guarded<T>(work: impl FnOnce() -> Result<T, DecodeError>) -> Result<T, DecodeError> {
    catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(unreadable("its data is damaged or of a kind cameras do not write")))
}

/// Opens a file and reads its header, with the hooks in place.
fn open(bytes: &[u8]) -> Result<Decompress<&[u8]>, DecodeError> {
    WARNINGS.with(|count| count.set(0));
    Decompress::builder()
        .with_err(error_hooks())
        .with_markers(&[Marker::APP(1), Marker::APP(2), Marker::APP(14)])
        .from_mem(bytes)
        .map_err(|e| unreadable(e.to_string()))
}

/// Returns the stored width and height in pixels, not turned.
pub(super) fn stored_size(bytes: &[u8]) -> Result<(u32, u32), DecodeError> {
    guarded(|| {
        let (width, height) = open(bytes)?.size();
        Ok((width as u32, height as u32))
    })
}

/// Returns the upright width and height in pixels.
pub(super) fn dimensions(bytes: &[u8]) -> Result<(u32, u32), DecodeError> {
    guarded(|| {
        let codec = open(bytes)?;
        let (width, height) = codec.size();
        let turned = exif_orientation(&codec);
        Ok(orientation::upright_size(width as u32, height as u32, turned))
    })
}

/// Decodes as much as is wanted; `turned` replaces the file's own orientation.
pub(super) fn decode(bytes: &[u8], want: Want, turned: Option<u16>) -> Result<Decoded, DecodeError> {
    guarded(|| {
        let mut codec = open(bytes)?;
        let (width, height) = codec.size();
        let stored = (width as u32, height as u32);
        check_size(stored.0, stored.1)?;
        if scans(bytes) > MAX_SCANS {
            return Err(unreadable(format!("it has more than {MAX_SCANS} passes")));
        }
        let turned = turned.unwrap_or_else(|| exif_orientation(&codec));
        let icc_profile = icc_profile(&codec);
        if let Want::AtMost { edge_px, quick } = want {
            codec.scale(eighths(width.max(height), edge_px as usize));
            if quick {
                codec.do_fancy_upsampling(false);
                codec.dct_method(DctMethod::IntegerFast);
            }
        }
        if let Want::AtLeast { edge_px } = want {
            let longer = width.max(height);
            codec.scale(eighths(longer, edge_px as usize));
            // What is shrunk by a third and more afterwards needs no chroma filled in between its samples.
            codec.do_fancy_upsampling(edge_px as usize * 3 > longer * 2);
        }
        if let Want::NoLarger { edge_px } = want {
            let longer = width.max(height);
            let eighths =
                [8_u8, 4, 2, 1].into_iter().find(|&n| longer * usize::from(n) / 8 <= edge_px as usize);
            let eighths = eighths.unwrap_or(1);
            codec.scale(eighths);
            // In a reduced picture chroma has as many samples as luma anyway.
            codec.do_fancy_upsampling(eighths == 8);
        }
        let ink = matches!(codec.color_space(), ColorSpace::JCS_CMYK | ColorSpace::JCS_YCCK);
        let inverted = codec.markers().any(|m| m.marker == Marker::APP(14) && m.data.starts_with(b"Adobe"));
        let mut started = if ink { codec.to_colorspace(ColorSpace::JCS_CMYK) } else { codec.rgb() }
            .map_err(|e| unreadable(e.to_string()))?;
        let (width, height) = (started.width() as u32, started.height() as u32);
        let line = started.width() * if ink { 4 } else { 3 };
        let mut lines = vec![0; line * started.height()];
        let mut done = 0;
        // Lines already decoded are kept when the codec gives up further down.
        let read = catch_unwind(AssertUnwindSafe(|| {
            for lines in lines.chunks_mut(line * LINES_AT_ONCE) {
                if started.read_scanlines_into(lines).is_err() {
                    return false;
                }
                done += lines.len();
            }
            // Reads on to the end mark, so that its absence is noticed.
            started.finish().is_ok()
        }));
        let ended = read.unwrap_or(false);
        if done == 0 {
            return Err(unreadable("none of its picture data makes sense"));
        }
        lines[done..].fill(GREY);
        let warnings = WARNINGS.with(Cell::get);
        let damaged = (warnings > 0 || !ended).then(|| describe_damage(bytes));
        if !ink {
            let picture = Picture::from_rgb(width, height, lines)?;
            return finish(picture, stored, turned, want, damaged, icc_profile);
        }
        let (rgb, guess) = inks::to_srgb(&lines, inverted, icc_profile.as_deref());
        let decoded = finish(Picture::from_rgb(width, height, rgb)?, stored, turned, want, damaged, None)?;
        Ok(Decoded { inks_guessed: guess, ..decoded })
    })
}

/// Counts the marks that begin a pass; in pieces whose count fits a byte, so that many bytes are compared
/// at a time.
fn scans(bytes: &[u8]) -> usize {
    const PIECE: usize = 255;
    let next = bytes.get(1..).unwrap_or_default();
    bytes
        .chunks(PIECE)
        .zip(next.chunks(PIECE))
        .map(|(a, b)| {
            let marks = a.iter().zip(b).map(|(a, b)| u8::from(*a == 0xFF) & u8::from(*b == 0xDA));
            usize::from(marks.fold(0, u8::wrapping_add))
        })
        .sum()
}

/// Returns the smallest of 1, 2, 4 and 8 eighths that leaves at least the edge wanted; these
/// have fast inverse transforms.
fn eighths(longer_px: usize, edge_px: usize) -> u8 {
    [1_u8, 2, 4].into_iter().find(|&n| longer_px * usize::from(n) / 8 >= edge_px).unwrap_or(8)
}

fn describe_damage(bytes: &[u8]) -> String {
    // Some cameras pad the end of a file with zeros.
    let end = bytes.iter().rposition(|&b| b != 0).map_or(0, |at| at + 1);
    if bytes[..end].ends_with(&[0xFF, 0xD9]) {
        "part of the picture data is damaged; compare it with its neighbours, and retake the stop if it shows"
            .into()
    } else {
        "the end of the file is missing; fetch the frame from the camera again or retake the stop".into()
    }
}

fn exif_orientation(codec: &Decompress<&[u8]>) -> u16 {
    codec
        .markers()
        .filter(|m| m.marker == Marker::APP(1))
        .find_map(|m| m.data.strip_prefix(b"Exif\0\0"))
        .map_or(1, orientation::of_exif)
}

/// Joins the parts of an ICC profile (ICC.1, annex B.4: each part is numbered from 1).
fn icc_profile(codec: &Decompress<&[u8]>) -> Option<Vec<u8>> {
    let mut parts: Vec<(u8, u8, &[u8])> = codec
        .markers()
        .filter(|m| m.marker == Marker::APP(2))
        .filter_map(|m| match m.data.strip_prefix(b"ICC_PROFILE\0")? {
            [number, count, part @ ..] => Some((*number, *count, part)),
            _ => None,
        })
        .collect();
    parts.sort_by_key(|part| part.0);
    let whole = !parts.is_empty()
        && parts
            .iter()
            .enumerate()
            .all(|(i, part)| usize::from(part.0) == i + 1 && usize::from(part.1) == parts.len());
    whole.then(|| parts.iter().flat_map(|part| part.2).copied().collect())
}
