//! Trying devices out, asking ports, letting go.

use session_core::cancel::CancelToken;

use super::Tools;
use crate::studio::{CameraSpec, StudioOptions, TableSpec};
use crate::window::desk::{DeskNews, Order};
use crate::window::devices::Heard;
use crate::window::pictures::Pictures;
use crate::window::setup::SetupStep;
use crate::window::state::{Link, LiveFacts, NoticeKind, OF_TRIAL, State};
use crate::window::text::t;
use crate::window::tryout::{LivePicture, Trial};

impl Tools {
    pub(super) fn try_out(&mut self, state: &mut State, trial: Trial) {
        if state.link != Link::Closed || state.trying {
            return;
        }
        self.with_devices(state, |table, camera, options, cancel| Order::Try {
            table,
            camera,
            options,
            trial,
            cancel,
        });
        state.trial = state.trying.then_some(trial);
    }

    /// Gives an order to the desk that takes the chosen devices and can be called off.
    fn with_devices(
        &mut self,
        state: &mut State,
        order: impl FnOnce(TableSpec, CameraSpec, StudioOptions, CancelToken) -> Order,
    ) {
        match state.devices.table_spec().and_then(|table| Ok((table, state.devices.camera_spec()?))) {
            Ok((table, camera)) => {
                self.trial_cancel = CancelToken::default();
                let order = order(table, camera, self.options_now(state), self.trial_cancel.clone());
                state.trying = self.order(state, order);
            }
            Err(reason) => state.say(NoticeKind::Trouble, reason),
        }
    }

    /// Shoots the table without the product for the set in the finishing room.
    pub(super) fn shoot_plate(&mut self, state: &mut State) {
        if !state.can_shoot_plate() {
            return;
        }
        let Some(row) = state.row_in_room().map(|row| row.name.clone()) else { return };
        let set = state.finishing.folder.clone();
        state.trial = None;
        self.with_devices(state, |table, camera, options, cancel| Order::ShootPlate {
            set,
            row,
            table,
            camera,
            options,
            cancel,
        });
    }

    pub(super) fn probe(&self, state: &mut State) {
        match state.devices.speech.baud() {
            Ok(baud) if state.link == Link::Closed && !state.trying => {
                let port = state.devices.port.trim().to_owned();
                if self.order(state, Order::Probe(port, baud)) {
                    state.devices.heard = Heard::Asking;
                }
            }
            Ok(_) => {}
            Err(reason) => state.say(NoticeKind::Trouble, reason),
        }
    }

    /// The devices' settings, with the language that the fields name.
    pub(super) fn options_now(&self, state: &State) -> StudioOptions {
        // What is wrong with the fields has kept them from being used before.
        let dialect = state.devices.speech.dialect().unwrap_or_default();
        StudioOptions { dialect, ..self.options.clone() }
    }

    /// Ends an idle session, so that other devices or another folder can be used.
    pub(super) fn let_go(&self, state: &mut State) {
        let idle = state.link == Link::Open && !state.is_busy();
        if (idle || state.tryout.is_some()) && self.order(state, Order::Close) {
            state.link = Link::Closing;
        }
    }

    /// Closes the set-up path; what was chosen on it is used, or the devices from before are.
    pub(super) fn leave_setup(&self, state: &mut State, use_chosen: bool) {
        let Some(before) = state.setup.close(use_chosen) else { return };
        if (before.table_spec(), before.camera_spec())
            != (state.devices.table_spec(), state.devices.camera_spec())
        {
            self.let_go(state);
            state.say(
                NoticeKind::Note,
                t!("setup-left", table = before.table_name(), camera = before.camera_name()),
            );
        }
        let ports = std::mem::take(&mut state.devices.ports);
        state.devices = before;
        state.devices.ports = ports;
    }

    /// Takes in a picture that belongs to no stop.
    pub(super) fn take_in_live(&self, state: &mut State, pictures: &mut Pictures, live: LivePicture) {
        let came_secs = self.began.elapsed().as_secs_f64();
        let rate = match state.live {
            Some(before) if !before.test && came_secs > before.came_secs => {
                let now = 1.0 / (came_secs - before.came_secs);
                if before.rate > 0.0 { before.rate * 0.8 + now * 0.2 } else { now }
            }
            _ => 0.0,
        };
        state.live = Some(LiveFacts { delay_secs: live.delay_secs, rate, came_secs, test: live.test });
        pictures.take_in_live(Some(live.image));
    }
}

/// Takes in what came of trying devices out, asking ports and saving a board's files.
pub(super) fn take_in_devices(state: &mut State, news: DeskNews) {
    if matches!(news, DeskNews::Tried(_) | DeskNews::NotTried(_)) {
        state.notices.retain(|notice| notice.stop != OF_TRIAL);
    }
    match news {
        DeskNews::Prompt(text) => state.say_of(OF_TRIAL, NoticeKind::Prompt, text),
        DeskNews::Tried(view) => {
            state.trying = false;
            if let (Some(trial), true) = (state.trial.take(), view.is_some()) {
                state.setup.note_trial(trial);
            }
            state.tryout = view.map(|view| *view);
            if state.tryout.is_none() {
                state.live = None;
            }
        }
        DeskNews::NotTried(reason) => {
            (state.trying, state.trial) = (false, None);
            if let Some(tryout) = &mut state.tryout {
                tryout.live = false;
            }
            state.say(NoticeKind::Trouble, reason);
        }
        DeskNews::BoardSaved(text) => {
            state.board.open = false;
            state.setup.done.insert(SetupStep::Board);
            state.say(NoticeKind::Note, text);
        }
        DeskNews::BoardNotSaved(reason) => state.board.trouble = Some(reason),
        DeskNews::Ports(ports) => state.devices.ports = ports,
        DeskNews::Probed(lines, dialect) => state.devices.heard = Heard::Lines(lines, dialect),
        // The rest is no news of devices.
        _ => {}
    }
}
