//! Pictures on their way to the screen: a worker decodes and shrinks, the window uploads, a small
//! cache holds what was looked at last.
//!
//! The cache is keyed by the picture's file, which is one version of one stop and, unlike a stop's
//! number, stays the same when the plan changes.

use std::cell::Cell;
use std::collections::{HashMap, HashSet};
use std::hash::Hash;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, TryRecvError, bounded, select};
use egui::{ColorImage, TextureFilter, TextureHandle, TextureOptions};
use imaging::look::{self, Tones};
use imaging::{Picture, decode};

use super::finishing_pictures::Proofs;
use super::mailbox::Mailbox;
use crate::window::text::t;

/// The longer side of a thumbnail, pixels.
pub const THUMB_EDGE_PX: u32 = 256;
/// Thumbnails held at most; about 45 MB at 3:2.
const MOST_THUMBS: usize = 256;
/// Large pictures held at most.
const MOST_PREVIEWS: usize = 6;
/// Parts and differences held at most.
const MOST_SPECIAL: usize = 4;
/// Thumbnails that may wait for the worker; what is still wanted is asked for again.
const MOST_WAITING: usize = 4;

/// The size a picture is wanted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Size {
    /// Small, for the strip.
    Thumb,
    /// For close viewing, with at most this many pixels on the longer side.
    Preview(u32),
    /// A part at one pixel a pixel.
    Part(Part),
}

/// A part of a picture at one pixel a pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Part {
    /// The middle, picture pixels from the upper left corner.
    pub middle_px: [u32; 2],
    /// Width and height, picture pixels; at an edge of the picture the part moves inwards.
    pub size_px: [u32; 2],
    /// Whether sharp edges are painted.
    pub edges: bool,
}

/// A picture that is needed.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Wish {
    /// Its file.
    pub path: PathBuf,
    /// Its size.
    pub size: Size,
    /// Another picture, for which the difference of the two is wanted.
    pub against: Option<PathBuf>,
}

impl Wish {
    /// A wish for the picture itself.
    pub fn plain(path: &Path, size: Size) -> Self {
        Self { path: path.to_owned(), size, against: None }
    }
}

/// A picture ready to be uploaded, with what is known of it.
#[derive(Debug)]
pub struct Drawn {
    /// The pixels.
    pub image: ColorImage,
    /// What was wrong with the file, if part of it could not be read.
    pub damaged: Option<String>,
    /// The whole frame's size, pixels.
    pub full_px: (u32, u32),
    /// A part's upper left corner, frame pixels.
    pub corner_px: [u32; 2],
    /// How the tones lie; for close viewing only.
    pub tones: Option<Box<Tones>>,
}

/// A decoded picture, or why there is none.
#[derive(Debug)]
pub struct Shown {
    /// What was wished for.
    pub wish: Wish,
    /// The picture, or why there is none.
    pub result: Result<Drawn, String>,
}

/// A picture in the cache.
pub struct Uploaded {
    /// Its pixels.
    pub texture: TextureHandle,
    /// What is wrong with its file.
    pub damaged: Option<String>,
    /// The whole frame's size, pixels.
    pub full_px: (u32, u32),
    /// A part's upper left corner, frame pixels.
    pub corner_px: [u32; 2],
    /// How the tones lie; for close viewing only.
    pub tones: Option<Box<Tones>>,
}

/// What can be shown for a wish now.
#[derive(Clone, Copy)]
pub enum Seen<'a> {
    /// The picture.
    Picture(&'a Uploaded),
    /// It cannot be read, for this reason.
    Broken(&'a str),
    /// It is on its way.
    OnItsWay,
}

struct Held {
    content: Result<Uploaded, String>,
    /// The size that was asked for, pixels; a larger wish is asked for anew.
    edge_px: u32,
    last_look: Cell<u64>,
}

/// The cache of uploaded pictures.
#[derive(Default)]
pub struct Pictures {
    thumbs: HashMap<PathBuf, Held>,
    previews: HashMap<PathBuf, Held>,
    /// Parts and differences.
    special: HashMap<Wish, Held>,
    looks: Cell<u64>,
    on_their_way: HashSet<Wish>,
    arrived: Vec<Shown>,
    live: Option<TextureHandle>,
    live_arrived: Option<ColorImage>,
    /// The finishing room's.
    pub proofs: Proofs,
}

impl Pictures {
    /// Looks a thumbnail up.
    pub fn thumb(&self, path: &PathBuf) -> Seen<'_> {
        self.look(&self.thumbs, path)
    }

    /// Looks a large picture up, in whatever size there is; tells whether it is large enough.
    pub fn preview(&self, path: &PathBuf, edge_px: u32) -> (Seen<'_>, bool) {
        let enough =
            self.previews.get(path).is_some_and(|held| held.edge_px >= edge_px || held.content.is_err());
        (self.look(&self.previews, path), enough)
    }

    /// Looks a part or a difference up.
    pub fn special(&self, wish: &Wish) -> Seen<'_> {
        self.look(&self.special, wish)
    }

    /// The part of the same picture or difference that was looked at last, to be shown until the one wished for has
    /// come.
    pub fn last_part(&self, wanted: &Wish) -> Option<&Uploaded> {
        let parts = self.special.iter().filter(|(wish, _)| {
            matches!(wish.size, Size::Part(_)) && wish.path == wanted.path && wish.against == wanted.against
        });
        let last = parts.max_by_key(|(_, held)| held.last_look.get())?;
        last.1.content.as_ref().ok()
    }

    /// The whole frame's size, pixels, once any size of its picture has come.
    pub fn full_px(&self, path: &PathBuf) -> Option<(u32, u32)> {
        let held = self.thumbs.get(path).or_else(|| self.previews.get(path))?;
        held.content.as_ref().ok().map(|uploaded| uploaded.full_px)
    }

    fn look<'a, Key: Eq + Hash>(&'a self, cache: &'a HashMap<Key, Held>, key: &Key) -> Seen<'a> {
        let Some(held) = cache.get(key) else { return Seen::OnItsWay };
        self.looks.set(self.looks.get() + 1);
        held.last_look.set(self.looks.get());
        match &held.content {
            Ok(uploaded) => Seen::Picture(uploaded),
            Err(reason) => Seen::Broken(reason),
        }
    }

    /// Notes that a wish is with the worker; tells whether it was not before.
    pub fn note_wish(&mut self, wish: &Wish) -> bool {
        self.on_their_way.insert(wish.clone())
    }

    /// Forgets a wish that the worker did not take.
    pub fn drop_wish(&mut self, wish: &Wish) {
        self.on_their_way.remove(wish);
    }

    /// Takes a decoded picture in; it is uploaded before the next drawing.
    pub fn take_in(&mut self, shown: Shown) {
        self.on_their_way.remove(&shown.wish);
        self.arrived.push(shown);
    }

    /// Takes a live picture in; `None` takes the last one away.
    pub fn take_in_live(&mut self, image: Option<ColorImage>) {
        if image.is_none() {
            self.live = None;
        }
        self.live_arrived = image;
    }

    /// The live picture.
    pub fn live(&self) -> Option<&TextureHandle> {
        self.live.as_ref()
    }

    /// Uploads what has arrived and lets go of what was looked at longest ago.
    pub fn upload(&mut self, ctx: &egui::Context) {
        if let Some(image) = self.live_arrived.take() {
            match &mut self.live {
                Some(texture) => texture.set(image, TextureOptions::LINEAR),
                None => self.live = Some(ctx.load_texture("live", image, TextureOptions::LINEAR)),
            }
        }
        for Shown { wish, result } in self.arrived.drain(..) {
            // One pixel a pixel is looked at as it is.
            let options = match wish.size {
                Size::Part(_) => {
                    TextureOptions { magnification: TextureFilter::Nearest, ..TextureOptions::LINEAR }
                }
                Size::Thumb | Size::Preview(_) => TextureOptions::LINEAR,
            };
            let content = result.map(|drawn| {
                let name = session_core::file_name::of_path(&wish.path);
                let Drawn { image, damaged, full_px, corner_px, tones } = drawn;
                let texture = ctx.load_texture(name, image, options);
                Uploaded { texture, damaged, full_px, corner_px, tones }
            });
            self.looks.set(self.looks.get() + 1);
            let last_look = Cell::new(self.looks.get());
            match wish.size {
                Size::Preview(edge_px) if wish.against.is_some() => {
                    self.special.insert(wish, Held { content, edge_px, last_look });
                    make_room(&mut self.special, MOST_SPECIAL);
                }
                Size::Part(_) => {
                    self.special.insert(wish, Held { content, edge_px: 0, last_look });
                    make_room(&mut self.special, MOST_SPECIAL);
                }
                Size::Thumb => {
                    self.thumbs.insert(wish.path, Held { content, edge_px: THUMB_EDGE_PX, last_look });
                    make_room(&mut self.thumbs, MOST_THUMBS);
                }
                Size::Preview(edge_px) => {
                    self.previews.insert(wish.path, Held { content, edge_px, last_look });
                    make_room(&mut self.previews, MOST_PREVIEWS);
                }
            }
        }
    }
}

fn make_room<Key: Eq + Hash + Clone>(cache: &mut HashMap<Key, Held>, most: usize) {
    while cache.len() > most {
        let oldest = cache.iter().min_by_key(|(_, held)| held.last_look.get()).map(|(key, _)| key.clone());
        let Some(oldest) = oldest else { return };
        cache.remove(&oldest);
    }
}

/// The thread that reads and decodes picture files.
pub struct PictureWorker {
    previews: Option<Sender<Wish>>,
    thumbs: Option<Sender<Wish>>,
    thread: Option<JoinHandle<()>>,
}

impl PictureWorker {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(mailbox: Mailbox) -> Result<Self, String> {
        let (previews, preview_wishes) = bounded(1);
        let (thumbs, thumb_wishes) = bounded(MOST_WAITING);
        let thread = std::thread::Builder::new()
            .name("pictures".to_owned())
            .spawn(move || {
                let mut wholes = Wholes::default();
                while let Some(wish) = next_wish(&preview_wishes, &thumb_wishes) {
                    let result = draw(&wish, &mut wholes);
                    mailbox.picture(Shown { wish, result });
                }
            })
            .map_err(|error| t!("pictures-the-windows-worker-cannot-be", error = error.to_string()))?;
        Ok(Self { previews: Some(previews), thumbs: Some(thumbs), thread: Some(thread) })
    }

    /// Passes a wish on; tells whether there was room for it.
    pub fn wish(&self, wish: Wish) -> bool {
        let lane = match wish.size {
            Size::Thumb => &self.thumbs,
            Size::Preview(_) | Size::Part(_) => &self.previews,
        };
        lane.as_ref().is_some_and(|lane| lane.try_send(wish).is_ok())
    }
}

impl Drop for PictureWorker {
    fn drop(&mut self) {
        self.previews = None;
        self.thumbs = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The next wish, the large picture before thumbnails; `None` once no more can come.
fn next_wish(previews: &Receiver<Wish>, thumbs: &Receiver<Wish>) -> Option<Wish> {
    match previews.try_recv() {
        Ok(wish) => return Some(wish),
        Err(TryRecvError::Disconnected) => return None,
        Err(TryRecvError::Empty) => {}
    }
    select! {
        recv(previews) -> wish => wish.ok(),
        recv(thumbs) -> wish => wish.ok(),
    }
}

/// The whole pictures that parts were cut from last, the oldest first; moving about in them must not decode them
/// anew.
#[derive(Default)]
struct Wholes(Vec<(PathBuf, Picture)>);

impl Wholes {
    /// How many are held: one, and the one that it is compared with. They are large.
    const MOST: usize = 2;

    /// Lets go of what was held, when the person looks at another picture.
    fn end_unless_of(&mut self, path: &Path) {
        if self.0.iter().all(|(held, _)| held != path) {
            self.0.clear();
        }
    }

    /// The whole picture, decoded if it is not held.
    fn get(&mut self, path: &Path) -> Result<&Picture, String> {
        let at = if let Some(at) = self.0.iter().position(|(held, _)| held == path) {
            at
        } else {
            let picture = decoded(path, decode::full)?.picture;
            if self.0.len() >= Self::MOST {
                self.0.remove(0);
            }
            self.0.push((path.to_owned(), picture));
            self.0.len() - 1
        };
        Ok(&self.0[at].1)
    }
}

fn draw(wish: &Wish, wholes: &mut Wholes) -> Result<Drawn, String> {
    match wish.size {
        Size::Thumb => decoded(&wish.path, |bytes| decode::thumbnail(bytes, THUMB_EDGE_PX)).map(drawn),
        Size::Preview(edge_px) => {
            wholes.end_unless_of(&wish.path);
            let read = |path: &Path| decoded(path, |bytes| decode::preview(bytes, edge_px));
            let mut picture = read(&wish.path)?;
            let tones = Tones::of(&picture.picture);
            if let Some(other) = &wish.against {
                picture.picture = look::difference(&picture.picture, read(other)?.picture)
                    .map_err(|error| error.to_string())?;
            }
            Ok(Drawn { tones: Some(Box::new(tones)), ..drawn(picture) })
        }
        Size::Part(part) => {
            let Some(other) = &wish.against else { return Ok(draw_part(wholes.get(&wish.path)?, part)) };
            let (full_px, (cut, corner_px)) = {
                let picture = wholes.get(&wish.path)?;
                ((picture.width_px(), picture.height_px()), cut_part(picture, part))
            };
            let other = wholes.get(other)?;
            let (same, _) = if (other.width_px(), other.height_px()) == full_px {
                cut_part(other, part)
            } else {
                let other = other.clone().resized(full_px.0, full_px.1).map_err(|error| error.to_string())?;
                cut_part(&other, part)
            };
            let apart = look::difference(&cut, same).map_err(|error| error.to_string())?;
            Ok(Drawn { image: image_of(&apart), damaged: None, full_px, corner_px, tones: None })
        }
    }
}

/// Cuts a part out; also gives its upper left corner.
fn cut_part(picture: &Picture, part: Part) -> (Picture, [u32; 2]) {
    let share = |px: u32, full: u32| px as f32 / full as f32;
    let centre =
        [share(part.middle_px[0], picture.width_px()), share(part.middle_px[1], picture.height_px())];
    look::part(picture, centre, part.size_px[0], part.size_px[1])
}

fn draw_part(picture: &Picture, part: Part) -> Drawn {
    let full_px = (picture.width_px(), picture.height_px());
    let (cut, corner_px) = cut_part(picture, part);
    let cut = if part.edges { look::with_sharp_edges(&cut) } else { cut };
    Drawn { image: image_of(&cut), damaged: None, full_px, corner_px, tones: None }
}

fn decoded(
    path: &Path,
    decode: impl FnOnce(&[u8]) -> Result<decode::Decoded, decode::DecodeError>,
) -> Result<decode::Decoded, String> {
    let bytes = std::fs::read(path)
        .map_err(|error| t!("pictures-the-file-cannot-be-read", error = error.to_string()))?;
    decode(&bytes).map_err(|error| error.to_string())
}

fn drawn(decoded: decode::Decoded) -> Drawn {
    Drawn {
        image: image_of(&decoded.picture),
        damaged: decoded.damaged,
        full_px: decoded.full_size_px,
        corner_px: [0, 0],
        tones: None,
    }
}

fn image_of(picture: &Picture) -> ColorImage {
    ColorImage::from_rgb([picture.width_px() as usize, picture.height_px() as usize], picture.rgb())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(name: usize, size: Size) -> Shown {
        let image = ColorImage::from_rgb([1, 1], &[9, 9, 9]);
        let drawn = Drawn { image, damaged: None, full_px: (1, 1), corner_px: [0, 0], tones: None };
        Shown { wish: Wish::plain(Path::new(&format!("{name}.jpg")), size), result: Ok(drawn) }
    }

    #[test]
    fn what_was_looked_at_longest_ago_makes_room() {
        let ctx = egui::Context::default();
        let mut pictures = Pictures::default();
        for name in 0..MOST_PREVIEWS {
            pictures.take_in(shown(name, Size::Preview(512)));
        }
        pictures.upload(&ctx);
        assert!(matches!(pictures.preview(&"0.jpg".into(), 512).0, Seen::Picture(..)));
        pictures.take_in(shown(99, Size::Preview(512)));
        pictures.upload(&ctx);
        // The first was looked at just now, so the second goes.
        assert!(matches!(pictures.preview(&"0.jpg".into(), 512).0, Seen::Picture(..)));
        assert!(matches!(pictures.preview(&"1.jpg".into(), 512).0, Seen::OnItsWay));
        assert_eq!(pictures.previews.len(), MOST_PREVIEWS);
    }

    #[test]
    fn a_larger_window_asks_for_a_larger_picture() {
        let ctx = egui::Context::default();
        let mut pictures = Pictures::default();
        pictures.take_in(shown(1, Size::Preview(512)));
        pictures.upload(&ctx);
        assert!(pictures.preview(&"1.jpg".into(), 512).1);
        assert!(!pictures.preview(&"1.jpg".into(), 768).1);
    }

    #[test]
    fn close_up_two_pictures_are_held_and_compared_where_they_are_alike_and_where_not() {
        use crate::studio::{StudioOptions, simulated_sensor};
        use session_core::camera::simulated::SimExposure;

        let folder = tempfile::tempdir().unwrap();
        let options = StudioOptions { sim_frame_px: (300, 200), ..StudioOptions::default() };
        let sensor = simulated_sensor(&options);
        let shot = |degrees: f64| {
            let exposure = SimExposure {
                table_deg: vec![degrees],
                shot: 1,
                stop: 0,
                row: String::new(),
                empty_table: false,
                exposure_secs: 0.25,
            };
            let path = folder.path().join(format!("{degrees}.jpg"));
            let bytes = sensor(&exposure).unwrap();
            session_core::journal::durable::replace_state(&path, &bytes).unwrap();
            path
        };
        let (front, side) = (shot(0.0), shot(90.0));
        let part = Size::Part(Part { middle_px: [150, 100], size_px: [64, 48], edges: false });
        let wish = |other: &PathBuf| Wish { path: front.clone(), size: part, against: Some(other.clone()) };
        let mut wholes = Wholes::default();
        let grey = egui::Color32::from_gray(128);
        let alike = draw(&wish(&front), &mut wholes).unwrap();
        assert!(alike.image.pixels.iter().all(|pixel| *pixel == grey));
        let apart = draw(&wish(&side), &mut wholes).unwrap();
        assert!(apart.image.pixels.iter().any(|pixel| *pixel != grey));
        assert_eq!((apart.corner_px, apart.image.size), (alike.corner_px, alike.image.size));
        assert_eq!(wholes.0.len(), 2);
        // Another picture is looked at: what was held is let go.
        draw(&Wish::plain(&shot(180.0), Size::Preview(128)), &mut wholes).unwrap();
        assert!(wholes.0.is_empty());
    }

    #[test]
    fn a_wish_goes_out_once_until_it_is_answered() {
        let mut pictures = Pictures::default();
        let wish = shown(1, Size::Thumb).wish;
        assert!(pictures.note_wish(&wish));
        assert!(!pictures.note_wish(&wish));
        pictures.take_in(shown(1, Size::Thumb));
        assert!(pictures.note_wish(&wish));
    }
}
