//! What begins, ends and follows a session: shooting, retakes, news of what it does.

use session_core::engine::{Intent, Mode, PauseReason};
use session_core::view::{SessionView, Update};

use super::Tools;
use crate::studio::{CameraSpec, TableSpec};
use crate::window::desk::{FrameNote, Opening, Order};
use crate::window::state::{Link, NoticeKind, State};
use crate::window::text::t;
use crate::window::words;

impl Tools {
    /// Sends an intent to the session, which is opened first if none runs.
    pub(super) fn send_or_open(&self, state: &mut State, intent: Intent) {
        match state.link {
            Link::Open => self.send(intent),
            Link::Opening | Link::Closing => {}
            Link::Closed => {
                let specs =
                    state.devices.table_spec().and_then(|table| Ok((table, state.devices.camera_spec()?)));
                if let Some(hindrance) = state.hindrance() {
                    state.say(NoticeKind::Trouble, hindrance);
                } else if let Ok((table, camera)) = specs {
                    // The demo is always there; what is one's own is gone back to.
                    let own = (&table, &camera) != (&TableSpec::Sim, &CameraSpec::Sim);
                    state.settings.table = own.then(|| table.to_string());
                    state.settings.dialect = self.options_now(state).dialect.filter(|_| own);
                    state.settings.camera = own.then(|| camera.to_string());
                    self.remember(state);
                    let opening = Opening {
                        folder: state.folder.clone(),
                        plan: state.planned.clone(),
                        table,
                        camera,
                        options: self.options_now(state),
                        on_flag: state.settings.on_flag.clone(),
                    };
                    if self.order(state, Order::Open(Box::new(opening))) {
                        state.link = Link::Opening;
                        state.then = Some(intent);
                    }
                }
            }
        }
    }

    pub(super) fn retake(&self, state: &mut State) {
        state.retake_asked = false;
        let stops = state.targets();
        if stops.is_empty() {
            return;
        }
        if state.change.is_some() {
            if let Some(hindrance) = state.hindrance() {
                state.say(NoticeKind::Trouble, hindrance);
            }
            return;
        }
        self.send_or_open(state, Intent::Retake { stops });
    }

    /// Notes something on frames: through the session that runs, else on the folder itself.
    pub(super) fn note(&self, state: &mut State, note: FrameNote, intents: Vec<Intent>) {
        match state.link {
            Link::Open => intents.into_iter().for_each(|intent| self.send(intent)),
            Link::Closed if state.change.is_none() => {
                self.order(state, Order::Note(state.folder.clone(), note));
            }
            _ => {}
        }
    }

    /// Keeps the computer awake while it shoots, and calls the person when a session ends or is stuck.
    pub(super) fn attend(&self, state: &State, now: &Mode) {
        let shoots = |mode: &Mode| matches!(mode, Mode::Running | Mode::Pausing | Mode::Stopping);
        if shoots(now) != shoots(&state.mode) {
            self.desk.order(Order::StayAwake(shoots(now)));
        }
        if state.settings.silent || !shoots(&state.mode) {
            return;
        }
        let call = match now {
            Mode::Finished => Some((t!("handle-the-set-is-shot", sku = state.planned.sku), true)),
            Mode::Fault(fault) => Some((format!("{}: {}", state.planned.sku, fault.message), false)),
            Mode::Paused(PauseReason::NewRow { .. }) => {
                Some((t!("handle-set-the-camera-for-the", sku = state.planned.sku), false))
            }
            Mode::Paused(PauseReason::Flagged { stop }) => {
                let text = t!("handle-see-to-the-flagged-stop", sku = state.planned.sku, stop = stop);
                Some((text, false))
            }
            _ => None,
        };
        if let Some((text, done)) = call {
            self.desk.order(Order::Call(text, done));
        }
    }

    /// Takes in how the session stands.
    pub(super) fn take_in_view(&self, state: &mut State, view: &SessionView) {
        self.attend(state, &view.mode);
        let finishes = view.mode == Mode::Finished && state.mode != Mode::Finished;
        let stops = view.mode == Mode::Stopped && state.mode != Mode::Stopped;
        if !matches!(view.mode, Mode::Running | Mode::Pausing) {
            state.pace.wait();
        }
        if view.mode == Mode::Running && !matches!(state.mode, Mode::Running | Mode::Pausing) {
            // What was said of the set as it stood is no longer so.
            state.notices.retain(|notice| notice.kind != NoticeKind::Note);
        }
        let was_checking = state.checking;
        state.mode = view.mode.clone();
        state.rows.clone_from(&view.rows);
        state.plate_deg = view.plate_deg;
        state.left = view.left;
        state.checking = view.checking;
        state.secs_left = view.secs_left;
        state.connected = Some((view.table.clone(), view.camera.clone()));
        state.follow_stops(&view.stops);
        if stops && state.to_shoot() > 0 {
            let (left, retakes) = (state.to_shoot(), state.retakes_left());
            let at = state.plate_deg.map_or_else(String::new, |deg| {
                t!("handle-the-plate-stands-at", deg = format!("{:.1}", deg.rem_euclid(360.0)))
            });
            let text = if retakes == left {
                t!("handle-stopped-with-retakes-left", at = at, n = left)
            } else {
                t!(
                    "handle-stopped-every-frame-shot-so",
                    at = at,
                    missing = t!("count-stops-are", n = left - retakes)
                )
            };
            state.say(NoticeKind::Note, text);
        }
        let all_kept = state.kept() == state.places.len();
        if finishes && all_kept {
            let frames = state.folder.join("frames").display().to_string();
            self.set_complete(state, t!("handle-the-set-is-complete-its", frames = frames));
        } else if finishes && !state.skipped_left().is_empty() {
            state.say(NoticeKind::Note, t!("handle-shot-but-skipped", n = state.to_shoot()));
        } else if stops && was_checking && all_kept {
            self.set_complete(state, t!("handle-complete-not-checked"));
        }
    }

    /// Says that the set is complete, and marks its product in the list.
    fn set_complete(&self, state: &mut State, text: String) {
        state.say_complete(text);
        let sku = &state.planned.sku;
        let listed = state.list.as_ref().is_some_and(|list| list.rows.iter().any(|row| row.sku == *sku));
        if listed {
            self.order(state, Order::ProductDone(state.planned.sku.clone()));
        }
    }

    pub(super) fn take_in_event(&mut self, state: &mut State, event: Update) {
        match event {
            Update::Kept { stop, .. } => {
                if state.place(stop).is_some() {
                    state.newest = Some(stop);
                }
                state.pace.frame(self.began.elapsed().as_secs_f64());
                state.notices.retain(|notice| notice.stop != Some(stop));
            }
            Update::Flagged { stop, flags, again, .. } => {
                let closing = state.place(stop).is_some_and(|place| place.closing);
                for flag in flags {
                    let what = words::flag(&flag);
                    let (kind, text) = if again {
                        let text = if closing {
                            t!("handle-closing-is-shot-again", what = what)
                        } else {
                            t!("handle-stop-is-shot-again", stop = stop, what = what)
                        };
                        (NoticeKind::Note, text)
                    } else {
                        (NoticeKind::Prompt, about(state, stop, &what))
                    };
                    state.say_of(Some(stop), kind, text);
                }
            }
            Update::Failed { stop, reason } => {
                let text = about(state, stop, &reason);
                state.say_of(Some(stop), NoticeKind::Trouble, text);
            }
            // A prompt about a stop, such as to fire the shutter, is done with once its frame is kept.
            Update::Prompt { stop, text } => state.say_of(stop, NoticeKind::Prompt, text),
            // Asked for, its end is told by the desk.
            Update::Ended if state.link == Link::Open => self.session_ended(state),
            Update::Ended | Update::View(_) | Update::Plate(_) => {}
        }
    }

    pub(super) fn session_ended(&mut self, state: &mut State) {
        self.session = None;
        state.link = Link::Closed;
        state.mode = Mode::Ready;
        state.plate_deg = None;
        state.secs_left = None;
        state.left = 0;
        state.checking = false;
        state.connected = None;
    }
}

/// A sentence about a stop or a closing frame.
fn about(state: &State, stop: u32, reason: &str) -> String {
    if state.place(stop).is_some_and(|place| place.closing) {
        t!("handle-closing", reason = reason)
    } else {
        t!("handle-stop", stop = stop, reason = reason)
    }
}
