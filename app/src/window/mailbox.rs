//! Carries news from worker threads to the window and wakes it.
//!
//! Of what replaces itself (the view, the plate's angle) only the latest is held, so a hidden window
//! costs no memory and the session never waits. Results are held one and all.

use std::sync::{Arc, Mutex, PoisonError};

use session_core::view::{SessionView, Update};

use super::desk::DeskNews;
use super::finishing_worker::FinishingNews;
use super::pictures::Shown;
use super::tryout::LivePicture;
use crate::listing::Progress;

/// What has come in since the last look.
#[derive(Debug, Default)]
pub struct Post {
    /// The session's latest state.
    pub view: Option<Arc<SessionView>>,
    /// The plate's latest angle.
    pub plate_deg: Option<f64>,
    /// Kept frames, failures, prompts and the end of the session, in order.
    pub events: Vec<Update>,
    /// What the desk has done.
    pub desk: Vec<DeskNews>,
    /// Pictures that are ready.
    pub pictures: Vec<Shown>,
    /// The latest live picture or test frame.
    pub live: Option<LivePicture>,
    /// News of the finishing room.
    pub finishing: FinishingPost,
}

/// What has come in for the finishing room.
#[derive(Debug, Default)]
pub struct FinishingPost {
    /// How far measuring is.
    pub measuring: Option<Progress>,
    /// How far the work on the whole set is.
    pub job: Option<Progress>,
    /// What the room's thread has done, in order.
    pub news: Vec<FinishingNews>,
}

/// The letter-box; clones put into the same one.
#[derive(Debug, Clone)]
pub struct Mailbox {
    post: Arc<Mutex<Post>>,
    ctx: egui::Context,
}

impl Mailbox {
    /// Makes an empty one that wakes the window of `ctx`.
    pub fn new(ctx: egui::Context) -> Self {
        Self { post: Arc::default(), ctx }
    }

    /// Takes everything out. Called from `App::logic` only; held for the swap alone.
    pub fn take(&self) -> Post {
        std::mem::take(&mut *self.post.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn put(&self, put: impl FnOnce(&mut Post)) {
        put(&mut self.post.lock().unwrap_or_else(PoisonError::into_inner));
        self.ctx.request_repaint();
    }

    /// Puts in news of the session.
    pub fn session(&self, update: Update) {
        self.put(|post| match update {
            Update::View(view) => post.view = Some(view),
            Update::Plate(degrees) => post.plate_deg = Some(degrees),
            event => post.events.push(event),
        });
    }

    /// Puts in news of the desk.
    pub fn desk(&self, news: DeskNews) {
        self.put(|post| post.desk.push(news));
    }

    /// Puts in a live picture; one that was not looked at yet gives way.
    pub fn live(&self, picture: LivePicture) {
        self.put(|post| post.live = Some(picture));
    }

    /// Puts in news of the finishing room.
    pub fn finishing(&self, news: FinishingNews) {
        self.put(|post| post.finishing.news.push(news));
    }

    /// Puts in how far measuring is.
    pub fn measuring(&self, progress: Progress) {
        self.put(|post| post.finishing.measuring = Some(progress));
    }

    /// Puts in how far the work on the whole set is.
    pub fn job(&self, progress: Progress) {
        self.put(|post| post.finishing.job = Some(progress));
    }

    /// Puts in a picture.
    pub fn picture(&self, shown: Shown) {
        self.put(|post| post.pictures.push(shown));
    }
}
