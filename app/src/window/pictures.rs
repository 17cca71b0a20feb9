//! Pictures on their way to the screen: a worker decodes and shrinks, the window uploads, a small
//! cache holds what was looked at last.
//!
//! The cache is keyed by the picture's file, which is one version of one stop and, unlike a stop's
//! number, stays the same when the plan changes.

use std::cell::Cell;
use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, TryRecvError, bounded, select};
use egui::{ColorImage, TextureHandle, TextureOptions};

use super::mailbox::Mailbox;

/// The longer side of a thumbnail, pixels.
pub const THUMB_EDGE_PX: u32 = 256;
/// Thumbnails held at most; about 45 MB at 3:2.
const MOST_THUMBS: usize = 256;
/// Large pictures held at most.
const MOST_PREVIEWS: usize = 6;
/// Thumbnails that may wait for the worker; what is still wanted is asked for again.
const MOST_WAITING: usize = 4;

/// The size a picture is wanted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Size {
    /// Small, for the strip.
    Thumb,
    /// For close viewing, with at most this many pixels on the longer side.
    Preview(u32),
}

/// A picture that is needed.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Wish {
    /// Its file.
    pub path: PathBuf,
    /// Its size.
    pub size: Size,
}

/// A decoded picture, or why there is none.
#[derive(Debug)]
pub struct Shown {
    /// What was wished for.
    pub wish: Wish,
    /// The pixels, and what was wrong with the file if part of it could not be read.
    pub result: Result<(ColorImage, Option<String>), String>,
}

/// What can be shown for a wish now.
#[derive(Clone)]
pub enum Seen<'a> {
    /// The picture, and what is wrong with its file.
    Picture(&'a TextureHandle, Option<&'a str>),
    /// It cannot be read, for this reason.
    Broken(&'a str),
    /// It is on its way.
    OnItsWay,
}

struct Held {
    content: Result<(TextureHandle, Option<String>), String>,
    /// The size that was asked for, pixels; a larger wish is asked for anew.
    edge_px: u32,
    last_look: Cell<u64>,
}

/// The cache of uploaded pictures.
#[derive(Default)]
pub struct Pictures {
    thumbs: HashMap<PathBuf, Held>,
    previews: HashMap<PathBuf, Held>,
    looks: Cell<u64>,
    on_their_way: HashSet<Wish>,
    arrived: Vec<Shown>,
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

    fn look<'a>(&'a self, cache: &'a HashMap<PathBuf, Held>, path: &PathBuf) -> Seen<'a> {
        let Some(held) = cache.get(path) else { return Seen::OnItsWay };
        self.looks.set(self.looks.get() + 1);
        held.last_look.set(self.looks.get());
        match &held.content {
            Ok((texture, damaged)) => Seen::Picture(texture, damaged.as_deref()),
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

    /// Uploads what has arrived and lets go of what was looked at longest ago.
    pub fn upload(&mut self, ctx: &egui::Context) {
        for Shown { wish, result } in self.arrived.drain(..) {
            let content = result.map(|(image, damaged)| {
                let name = session_core::file_name::of_path(&wish.path);
                (ctx.load_texture(name, image, TextureOptions::LINEAR), damaged)
            });
            self.looks.set(self.looks.get() + 1);
            let last_look = Cell::new(self.looks.get());
            match wish.size {
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

fn make_room(cache: &mut HashMap<PathBuf, Held>, most: usize) {
    while cache.len() > most {
        let oldest = cache.iter().min_by_key(|(_, held)| held.last_look.get()).map(|(path, _)| path.clone());
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
                while let Some(wish) = next_wish(&preview_wishes, &thumb_wishes) {
                    let result = decode(&wish);
                    mailbox.picture(Shown { wish, result });
                }
            })
            .map_err(|error| {
                format!("the window's worker cannot be started: {error}; close some programs and try again")
            })?;
        Ok(Self { previews: Some(previews), thumbs: Some(thumbs), thread: Some(thread) })
    }

    /// Passes a wish on; tells whether there was room for it.
    pub fn wish(&self, wish: Wish) -> bool {
        let lane = match wish.size {
            Size::Thumb => &self.thumbs,
            Size::Preview(_) => &self.previews,
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

fn decode(wish: &Wish) -> Result<(ColorImage, Option<String>), String> {
    let bytes = std::fs::read(&wish.path).map_err(|error| {
        format!("the file cannot be read: {error}; look whether the session folder is still there")
    })?;
    let decoded = match wish.size {
        Size::Thumb => imaging::decode::thumbnail(&bytes, THUMB_EDGE_PX),
        Size::Preview(edge_px) => imaging::decode::preview(&bytes, edge_px),
    };
    let decoded = decoded.map_err(|error| error.to_string())?;
    let size = [decoded.picture.width_px() as usize, decoded.picture.height_px() as usize];
    Ok((ColorImage::from_rgb(size, decoded.picture.rgb()), decoded.damaged))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(name: usize, size: Size) -> Shown {
        let image = ColorImage::from_rgb([1, 1], &[9, 9, 9]);
        Shown { wish: Wish { path: format!("{name}.jpg").into(), size }, result: Ok((image, None)) }
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
    fn a_wish_goes_out_once_until_it_is_answered() {
        let mut pictures = Pictures::default();
        let wish = shown(1, Size::Thumb).wish;
        assert!(pictures.note_wish(&wish));
        assert!(!pictures.note_wish(&wish));
        pictures.take_in(shown(1, Size::Thumb));
        assert!(pictures.note_wish(&wish));
    }
}
