//! A contact sheet: every stop small, with its angle and its flags, as a JPEG or a PDF to print.

use noto_sans_mono_bitmap::{FontWeight, RasterHeight, get_raster, get_raster_width};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str};

use super::encode::{Chroma, jpeg};
use super::{ExportError, Labels};
use crate::picture::Picture;

/// One stop on the sheet.
#[derive(Debug, Clone)]
pub struct SheetCell {
    /// The finished picture, small.
    pub picture: Picture,
    /// Such as `stop 3  30°`.
    pub label: String,
    /// What was found wrong, one line each.
    pub flags: Vec<String>,
}

/// Width of a cell's picture on the JPEG sheet, px.
const CELL_PX: u32 = 240;
const GAP_PX: u32 = 16;
const LINE_PX: u32 = 18;
const TEXT: RasterHeight = RasterHeight::Size16;
/// Flag lines shown under a picture; more are counted.
const FLAG_LINES: usize = 3;

/// Draws the sheet as one JPEG.
///
/// # Errors
/// [`ExportError::Nothing`] without pictures.
pub fn sheet_jpeg(labels: &Labels, cells: &[SheetCell]) -> Result<Vec<u8>, ExportError> {
    jpeg(&sheet_picture(labels, cells)?, 88, Chroma::Half, None, None)
}

/// Draws the sheet as a picture.
fn sheet_picture(labels: &Labels, cells: &[SheetCell]) -> Result<Picture, ExportError> {
    let columns = columns_for(cells.len()).ok_or(ExportError::Nothing("contact sheet"))?;
    let small: Vec<Picture> =
        cells.iter().map(|c| c.picture.clone().shrunk_to(CELL_PX)).collect::<Result<_, _>>()?;
    let tall = small.iter().map(Picture::height_px).max().unwrap_or(1);
    let lines = 1 + cells.iter().map(|c| flag_lines(c).len()).max().unwrap_or(0) as u32;
    let cell_height = tall + lines * LINE_PX + GAP_PX;
    let rows = cells.len().div_ceil(columns) as u32;
    let head = 2 * LINE_PX + GAP_PX;
    let width = columns as u32 * (CELL_PX + GAP_PX) + GAP_PX;
    let height = head + GAP_PX + rows * cell_height;
    let mut canvas = Canvas { width, height, rgb: vec![255; width as usize * height as usize * 3] };
    canvas.text(GAP_PX, GAP_PX, &headline(labels, cells.len()), width - 2 * GAP_PX, [20; 3]);
    for (i, (cell, picture)) in cells.iter().zip(&small).enumerate() {
        let x = GAP_PX + (i % columns) as u32 * (CELL_PX + GAP_PX);
        let y = head + (i / columns) as u32 * cell_height;
        canvas.paste(x + (CELL_PX - picture.width_px()) / 2, y + tall - picture.height_px(), picture);
        let mut line = y + tall + 2;
        canvas.text(x, line, &cell.label, CELL_PX, [20; 3]);
        for flag in flag_lines(cell) {
            line += LINE_PX;
            // Flags are told by their mark and words; the colour only helps.
            canvas.text(x, line, &format!("! {flag}"), CELL_PX, [150, 30, 20]);
        }
    }
    Ok(Picture::from_rgb(width, height, canvas.rgb)?)
}

fn headline(labels: &Labels, count: usize) -> String {
    let name = [labels.sku.as_str(), labels.title.as_str()];
    let name: Vec<&str> = name.into_iter().filter(|t| !t.is_empty()).collect();
    format!("{}   {count} stops", name.join("  "))
}

fn flag_lines(cell: &SheetCell) -> Vec<String> {
    let mut lines: Vec<String> = cell.flags.iter().take(FLAG_LINES).cloned().collect();
    if cell.flags.len() > FLAG_LINES {
        lines.truncate(FLAG_LINES - 1);
        lines.push(format!("and {} more", cell.flags.len() - FLAG_LINES + 1));
    }
    lines
}

fn columns_for(count: usize) -> Option<usize> {
    match count {
        0 => None,
        1..=4 => Some(count),
        5..=12 => Some(4),
        13..=40 => Some(6),
        _ => Some(8),
    }
}

struct Canvas {
    width: u32,
    height: u32,
    rgb: Vec<u8>,
}

impl Canvas {
    fn paste(&mut self, left: u32, top: u32, picture: &Picture) {
        let line = picture.width_px() as usize * 3;
        for (row, bytes) in picture.rgb().chunks_exact(line).enumerate() {
            let at = ((top as usize + row) * self.width as usize + left as usize) * 3;
            self.rgb[at..at + line].copy_from_slice(bytes);
        }
    }

    /// Writes one line; what does not fit in `room` pixels is cut off.
    fn text(&mut self, left: u32, top: u32, text: &str, room: u32, colour: [u8; 3]) {
        let wide = get_raster_width(FontWeight::Regular, TEXT) as u32;
        for (i, letter) in text.chars().take((room / wide) as usize).enumerate() {
            let Some(raster) = get_raster(letter, FontWeight::Regular, TEXT)
                .or_else(|| get_raster('?', FontWeight::Regular, TEXT))
            else {
                continue;
            };
            for (y, line) in raster.rows().enumerate() {
                for (x, share) in line.iter().enumerate() {
                    let (x, y) = (left + i as u32 * wide + x as u32, top + y as u32);
                    if x >= self.width || y >= self.height {
                        continue;
                    }
                    let at = (y as usize * self.width as usize + x as usize) * 3;
                    for (value, ink) in self.rgb[at..at + 3].iter_mut().zip(colour) {
                        let share = u32::from(*share);
                        *value = ((u32::from(*value) * (255 - share) + u32::from(ink) * share) / 255) as u8;
                    }
                }
            }
        }
    }
}

/// A4 upright in points (ISO 216: 210 × 297 mm).
const PAGE: [f32; 2] = [595.276, 841.89];
const PAGE_MARGIN: f32 = 36.0;
const PDF_COLUMNS: usize = 4;
const PDF_ROWS: usize = 5;

/// Lays the sheet out as a PDF (ISO 32000-1) of A4 pages, twenty stops a page.
///
/// # Errors
/// [`ExportError::Nothing`] without pictures.
pub fn sheet_pdf(labels: &Labels, cells: &[SheetCell]) -> Result<Vec<u8>, ExportError> {
    if cells.is_empty() {
        return Err(ExportError::Nothing("contact sheet"));
    }
    let mut last = 0;
    let mut next = || {
        last += 1;
        Ref::new(last)
    };
    let (catalog, tree, font) = (next(), next(), next());
    let chunks: Vec<&[SheetCell]> = cells.chunks(PDF_COLUMNS * PDF_ROWS).collect();
    let pages: Vec<(Ref, Ref)> = chunks.iter().map(|_| (next(), next())).collect();
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree);
    pdf.pages(tree).kids(pages.iter().map(|p| p.0)).count(pages.len() as i32);
    // One of the fourteen fonts every reader has; WinAnsi holds the degree sign at 0xB0.
    pdf.type1_font(font).base_font(Name(b"Helvetica")).encoding_predefined(Name(b"WinAnsiEncoding"));
    for (number, (chunk, (page_id, content_id))) in chunks.iter().zip(&pages).enumerate() {
        let images: Vec<Ref> = chunk.iter().map(|_| next()).collect();
        let names: Vec<String> = (0..chunk.len()).map(|i| format!("P{i}")).collect();
        let mut page = pdf.page(*page_id);
        page.media_box(Rect::new(0.0, 0.0, PAGE[0], PAGE[1])).parent(tree).contents(*content_id);
        let mut resources = page.resources();
        resources.fonts().pair(Name(b"F"), font);
        let mut objects = resources.x_objects();
        for (name, image) in names.iter().zip(&images) {
            objects.pair(Name(name.as_bytes()), *image);
        }
        objects.finish();
        resources.finish();
        page.finish();
        let mut content = Content::new();
        let title = format!("{}   page {} of {}", headline(labels, cells.len()), number + 1, chunks.len());
        write_line(&mut content, 11.0, PAGE_MARGIN, PAGE[1] - PAGE_MARGIN, &title, 90);
        let cell_width = (PAGE[0] - 2.0 * PAGE_MARGIN) / PDF_COLUMNS as f32;
        let cell_height = (PAGE[1] - 2.0 * PAGE_MARGIN - 20.0) / PDF_ROWS as f32;
        for (i, cell) in chunk.iter().enumerate() {
            let small = cell.picture.clone().shrunk_to(400)?;
            let coded = jpeg(&small, 85, Chroma::Half, None, None)?;
            let mut image = pdf.image_xobject(images[i], &coded);
            image.filter(Filter::DctDecode);
            image.width(small.width_px() as i32).height(small.height_px() as i32);
            image.color_space().device_rgb();
            image.bits_per_component(8);
            image.finish();
            let room = [cell_width - 10.0, cell_height - 46.0];
            let scale = (room[0] / small.width_px() as f32).min(room[1] / small.height_px() as f32);
            let (wide, tall) = (small.width_px() as f32 * scale, small.height_px() as f32 * scale);
            let left = PAGE_MARGIN + (i % PDF_COLUMNS) as f32 * cell_width;
            let top = PAGE[1] - PAGE_MARGIN - 20.0 - (i / PDF_COLUMNS) as f32 * cell_height;
            content.save_state();
            content.transform([wide, 0.0, 0.0, tall, left, top - tall]);
            content.x_object(Name(names[i].as_bytes()));
            content.restore_state();
            write_line(&mut content, 9.0, left, top - room[1] - 10.0, &cell.label, 34);
            for (k, flag) in flag_lines(cell).iter().enumerate() {
                write_line(
                    &mut content,
                    7.0,
                    left,
                    top - room[1] - 19.0 - 8.0 * k as f32,
                    &format!("! {flag}"),
                    44,
                );
            }
        }
        pdf.stream(*content_id, &content.finish());
    }
    Ok(pdf.finish())
}

fn write_line(content: &mut Content, size: f32, x: f32, y: f32, text: &str, most: usize) {
    let bytes: Vec<u8> = text.chars().take(most).map(win_ansi).collect();
    content.begin_text();
    content.set_font(Name(b"F"), size);
    content.next_line(x, y);
    content.show(Str(&bytes));
    content.end_text();
}

/// `WinAnsi` is Latin-1 for the letters used here (ISO 32000-1, annex D.2).
fn win_ansi(letter: char) -> u8 {
    match u32::from(letter) {
        code @ (0x20..=0x7E | 0xA0..=0xFF) => code as u8,
        0x2212 | 0x2013 => b'-',
        0x2019 => b'\'',
        _ => b'?',
    }
}
