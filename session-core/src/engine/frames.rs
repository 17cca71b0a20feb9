//! The engine's part about frames: arriving, kept, failed, late.

use super::{Action, CameraError, Engine, FaultKind, FrameSettings, KeepFailure, Lens, Mode, Shot, StopState};

impl Engine {
    /// The exposure in the camera, when it has this number.
    fn lens_shot(&self, number: u64) -> Option<Shot> {
        match &self.lens {
            Lens::Exposing(shot) | Lens::Receiving(shot) if shot.number == number => Some(shot.clone()),
            _ => None,
        }
    }

    pub(super) fn on_exposure_ended(&mut self, number: u64) {
        if let Some(shot) = self.lens_shot(number) {
            self.lens = Lens::Receiving(shot);
        }
    }

    pub(super) fn on_frame_arrived(&mut self, number: u64, actions: &mut Vec<Action>) {
        match self.lens_shot(number) {
            Some(shot) => {
                self.lens = Lens::Free;
                actions.push(Action::Keep { shot: shot.clone() });
                self.keeping.push(shot);
            }
            // Given up on earlier: it may have been shot anywhere.
            None => actions.push(Action::Hold { shot: number }),
        }
    }

    pub(super) fn on_frame_failed(&mut self, number: u64, error: &CameraError) {
        let Some(shot) = self.lens_shot(number) else { return };
        self.lens = Lens::Free;
        if *error == CameraError::Cancelled {
            self.requeue(shot.stop);
        } else {
            self.frame_failure(shot.stop, &error.to_string());
        }
    }

    pub(super) fn on_frame_overdue(&mut self, number: u64, actions: &mut Vec<Action>) {
        let Some(shot) = self.lens_shot(number) else { return };
        self.lens = Lens::Free;
        actions.push(Action::CancelExposure);
        self.requeue(shot.stop);
        self.raise(
            FaultKind::Camera,
            Some(shot.stop),
            "the camera has neither given a frame nor an error".to_owned(),
        );
    }

    pub(super) fn on_frame_kept(&mut self, number: u64, version: u32, settings: FrameSettings) {
        let Some(at) = self.keeping.iter().position(|shot| shot.number == number) else { return };
        let shot = self.keeping.remove(at);
        if let Some(status) = self.stop_mut(shot.stop) {
            status.state = StopState::Kept;
            status.versions = status.versions.max(version);
            status.chosen = version;
            status.attempts = 0;
            status.problem = None;
        }
        self.compare_settings(shot.stop, number, settings);
    }

    pub(super) fn on_keep_failed(&mut self, number: u64, failure: KeepFailure) {
        let Some(at) = self.keeping.iter().position(|shot| shot.number == number) else { return };
        let shot = self.keeping.remove(at);
        match failure {
            KeepFailure::BadFrame(reason) => self.frame_failure(shot.stop, &reason),
            KeepFailure::Storage(reason) => {
                let stop = shot.stop;
                self.stuck.push(shot);
                self.raise(FaultKind::Storage, Some(stop), reason);
            }
        }
    }

    /// Counts a failed frame: the stop is tried again at once, then a person is asked.
    fn frame_failure(&mut self, stop: u32, reason: &str) {
        let retries = self.config.retries;
        let Some(status) = self.stop_mut(stop) else { return };
        status.attempts += 1;
        status.problem = Some(reason.to_owned());
        let spent = status.attempts > retries;
        let tries = status.attempts;
        self.requeue(stop);
        if spent && self.mode != Mode::Stopping {
            self.raise(FaultKind::Camera, Some(stop), format!("{reason} (tried {tries} times)"));
        }
    }

    /// Counts a turn that ended wrong: tried again, then a person is asked.
    pub(super) fn table_failure(&mut self, stop: u32, reason: String) {
        let retries = self.config.retries;
        let Some(status) = self.stop_mut(stop) else { return };
        status.attempts += 1;
        status.problem = Some(reason.clone());
        let spent = status.attempts > retries;
        self.requeue(stop);
        if spent {
            self.raise(FaultKind::Table, Some(stop), reason);
        }
    }
}
