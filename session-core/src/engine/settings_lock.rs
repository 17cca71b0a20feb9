//! The engine's part about the camera's settings: a set must not drift.
//!
//! The first kept frame sets the measure. A later frame with other settings is kept, then a person is
//! asked: put it back and shoot that stop again, or go on with the new setting.

use std::collections::BTreeMap;

use super::{Action, Engine, Fault, FaultKind, FrameSettings, Mode, SettingsSeed, StopState};

/// What the frames of a set were shot with, as far as it matters for the next one.
#[derive(Debug, Clone, Default)]
pub(super) struct SettingsLock {
    reference: Option<FrameSettings>,
    /// Frames in use that differ and that nobody has answered for: stop to shot number and settings.
    drifted: BTreeMap<u32, (u64, FrameSettings)>,
}

impl Engine {
    /// Stops the session for a person from now on when a frame's settings differ from the set's.
    pub fn lock_settings(&mut self, seed: SettingsSeed) {
        let drifted = seed.drifted.into_iter().map(|(stop, shot, settings)| (stop, (shot, settings)));
        self.settings_lock = Some(SettingsLock { reference: seed.reference, drifted: drifted.collect() });
    }

    /// Compares a frame just kept with the set's first.
    pub(super) fn compare_settings(&mut self, stop: u32, shot: u64, settings: FrameSettings) {
        let alone =
            !self.stops.iter().any(|status| status.stop.index != stop && status.state == StopState::Kept);
        let Some(lock) = &mut self.settings_lock else { return };
        lock.drifted.remove(&stop);
        match &lock.reference {
            // While the set has this one frame only, the photographer is still trying things out.
            Some(reference) if !alone => {
                if !settings.changes_from(reference).is_empty() {
                    lock.drifted.insert(stop, (shot, settings));
                    if matches!(&self.mode, Mode::Fault(fault) if fault.kind == FaultKind::Settings) {
                        self.raise_drift();
                    }
                }
            }
            _ if settings.is_empty() => {}
            _ => lock.reference = Some(settings),
        }
    }

    /// Which frame of the stop is used was decided by hand.
    pub(super) fn forget_drift(&mut self, stop: u32) {
        if let Some(lock) = &mut self.settings_lock {
            lock.drifted.remove(&stop);
        }
    }

    /// Asks a person if frames differ and are not about to be shot again; tells whether it did.
    pub(super) fn raise_drift(&mut self) -> bool {
        let Some(lock) = &self.settings_lock else { return false };
        let Some(reference) = &lock.reference else { return false };
        let mut open = lock.drifted.iter().filter(|(stop, _)| {
            !self.queue.contains(stop)
                && !self.is_in_work(**stop)
                && self.stop(**stop).is_some_and(|status| !status.skipped)
        });
        let Some((first, (_, settings))) = open.next() else { return false };
        let changes: Vec<String> = settings.changes_from(reference).iter().map(ToString::to_string).collect();
        let others: Vec<String> = open.map(|(stop, _)| stop.to_string()).collect();
        let also = match others.as_slice() {
            [] => String::new(),
            [one] => format!("; so was stop {one}"),
            several => format!("; so were stops {}", several.join(", ")),
        };
        let degrees = self.stop(*first).map(|status| status.stop.angle.wrapped().short_degrees());
        let message = format!(
            "the frame at {}° was shot with other settings than those before: {}{also}",
            degrees.unwrap_or_default(),
            changes.join(", ")
        );
        self.raise(FaultKind::Settings, Some(*first), message);
        true
    }

    /// Goes on with the settings of the latest frame; all that differ are taken as they are.
    pub(super) fn go_on_with_settings(&mut self, actions: &mut Vec<Action>) {
        if !matches!(&self.mode, Mode::Fault(Fault { kind: FaultKind::Settings, .. })) {
            return;
        }
        let Some(lock) = &mut self.settings_lock else { return };
        let mut taken: Vec<(u64, FrameSettings)> = std::mem::take(&mut lock.drifted).into_values().collect();
        taken.sort_by_key(|(shot, _)| *shot);
        for (_, settings) in taken {
            if lock.reference.as_ref() != Some(&settings) {
                actions.push(Action::RecordSettings { settings: settings.clone() });
                lock.reference = Some(settings);
            }
        }
        self.run(actions);
    }

    /// Puts every stop that differs at the head of the queue, the settings being put back.
    pub(super) fn retake_drifted(&mut self) {
        let Some(lock) = &self.settings_lock else { return };
        let stops: Vec<u32> = lock.drifted.keys().rev().copied().collect();
        for stop in stops {
            self.requeue(stop);
        }
    }
}
