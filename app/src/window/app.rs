//! The window as eframe drives it: news first, then drawing.

use std::time::Instant;

use crossbeam_channel::Receiver;
use session_core::cancel::CancelToken;

use super::ask::Dialogs;
use super::desk::Desk;
use super::finishing_worker::FinishingWorker;
use super::handle::Tools;
use super::intent::{IntentSink, WindowIntent};
use super::languages::{folder, found};
use super::mailbox::Mailbox;
use super::panels;
use super::pictures::{PictureWorker, Pictures};
use super::state::State;
use super::{WindowStart, theme};

/// The window.
pub struct WindowApp {
    state: State,
    pictures: Pictures,
    tools: Tools,
    mailbox: Mailbox,
    sink: IntentSink,
    wishes: Receiver<WindowIntent>,
    /// Whether the context is light, and its scale.
    look: (bool, f32),
    /// Wishes of the last drawing, handled before the next.
    pending: Vec<WindowIntent>,
}

impl WindowApp {
    /// Makes the window and lets it look what the session folder holds.
    ///
    /// # Errors
    /// When the system gives no threads.
    pub fn new(ctx: &egui::Context, start: &WindowStart) -> Result<Self, String> {
        theme::apply(ctx, start.settings.light);
        ctx.set_zoom_factor(start.settings.scale());
        let mailbox = Mailbox::new(ctx.clone());
        let tools = Tools {
            desk: Desk::start(mailbox.clone())?,
            worker: PictureWorker::start(mailbox.clone())?,
            finishing: FinishingWorker::start(mailbox.clone())?,
            job_cancel: CancelToken::default(),
            dialogs: Dialogs::new(ctx.clone()),
            session: None,
            options: start.options.clone(),
            trial_cancel: CancelToken::default(),
            began: Instant::now(),
            remember: start.remember.clone(),
        };
        let mut state = State::new(start);
        state.languages = start.remember.as_deref().map(|place| found(&folder(place))).unwrap_or_default();
        tools.look(&mut state);
        tools.look_at_recents(&state);
        if let Some(list) = &start.settings.list {
            tools.desk.order(super::desk::Order::GoOnWithList(list.clone()));
        }
        let (sink, wishes) = IntentSink::new();
        Ok(Self {
            look: (start.settings.light, start.settings.scale()),
            state,
            pictures: Pictures::default(),
            tools,
            mailbox,
            sink,
            wishes,
            pending: Vec::new(),
        })
    }

    /// Brings the context in line with the settings, and the settings with what the keyboard changed.
    fn follow_settings(&mut self, ctx: &egui::Context) {
        let settings = &mut self.state.settings;
        let (light, scale) = self.look;
        if settings.light != light {
            theme::apply(ctx, settings.light);
        }
        if (settings.scale() - scale).abs() > 1e-3 {
            ctx.set_zoom_factor(settings.scale());
        } else if (ctx.zoom_factor() - scale).abs() > 1e-3 {
            settings.scale = Some(ctx.zoom_factor());
        }
        self.look = (settings.light, settings.scale());
        settings.note_window(ctx.content_rect().size().into(), ctx.zoom_factor());
    }

    /// What the window shows.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The place to send wishes to, as panels do.
    pub fn sink(&self) -> &IntentSink {
        &self.sink
    }
}

impl Drop for WindowApp {
    fn drop(&mut self) {
        // The desk is waited for, and what is being tried may wait for a person.
        self.tools.trial_cancel.cancel();
        self.tools.remember(&self.state);
    }
}

impl eframe::App for WindowApp {
    fn logic(&mut self, ctx: &egui::Context, _frame: &mut eframe::Frame) {
        for intent in std::mem::take(&mut self.pending) {
            self.tools.handle(&mut self.state, intent);
        }
        let post = self.mailbox.take();
        self.tools.take_in(&mut self.state, &mut self.pictures, post);
        self.state.end_past_looks();
        self.tools.look_facts_up(&mut self.state);
        self.follow_settings(ctx);
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.pictures.upload(ui.ctx());
        self.pictures.proofs.upload(ui.ctx());
        panels::window_ui(ui, &self.state, &self.pictures, &self.sink);
        for intent in self.wishes.try_iter() {
            match intent {
                // Changes nothing that is drawn, so it wakes no one: an idle window stays idle.
                WindowIntent::Want(wish) => self.tools.wish(&mut self.pictures, &wish),
                other => self.pending.push(other),
            }
        }
        if !self.pending.is_empty() {
            ui.ctx().request_repaint();
        }
    }
}
