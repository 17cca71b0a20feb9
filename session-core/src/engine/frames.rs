//! The engine's part about frames: arriving, kept, failed, late.

use super::{
    Action, CameraError, Engine, FaultKind, FrameSettings, KeepFailure, Lens, Mode, Shot, StopState, Timer,
};

impl Engine {
    /// The exposure in the camera, when it has this number.
    pub(super) fn lens_shot(&self, number: u64) -> Option<Shot> {
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
                self.keep(shot, actions);
            }
            // Given up on earlier: it may have been shot anywhere.
            None => actions.push(Action::Hold { shot: number }),
        }
    }

    /// Has a frame written; a disk that dawdles is not waited for without an end.
    pub(super) fn keep(&mut self, shot: Shot, actions: &mut Vec<Action>) {
        actions.push(Action::Keep { shot: shot.clone() });
        actions.push(Action::StartTimer {
            timer: Timer::KeepOverdue { shot: shot.number },
            after: self.config.keep_patience,
        });
        self.keeping.push(shot);
    }

    /// Takes a frame out of those being written, also one whose wait has been given up.
    fn take_kept(&mut self, number: u64) -> Option<Shot> {
        for shots in [&mut self.keeping, &mut self.stuck] {
            if let Some(at) = shots.iter().position(|shot| shot.number == number) {
                return Some(shots.remove(at));
            }
        }
        None
    }

    pub(super) fn on_keep_overdue(&mut self, number: u64) {
        let Some(at) = self.keeping.iter().position(|shot| shot.number == number) else { return };
        let shot = self.keeping.remove(at);
        let stop = shot.stop;
        self.stuck.push(shot);
        let secs = self.config.keep_patience.as_secs();
        self.raise(
            FaultKind::Storage,
            Some(stop),
            format!("the disk has not taken the frame within {secs} s"),
        );
    }

    pub(super) fn on_frame_failed(&mut self, number: u64, error: &CameraError) {
        let Some(shot) = self.lens_shot(number) else { return };
        self.lens = Lens::Free;
        self.requeue(shot.stop);
        if *error != CameraError::Cancelled {
            self.failure(FaultKind::Camera, shot.stop, &error.to_string());
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

    pub(super) fn on_frame_kept(
        &mut self,
        number: u64,
        version: u32,
        settings: FrameSettings,
        actions: &mut Vec<Action>,
    ) {
        let Some(shot) = self.take_kept(number) else { return };
        // One that was on its way when a zero was taken counts from the zero before.
        let step = (number > self.last_shot_before_zero).then_some(shot.reported_step);
        if let Some(status) = self.stop_mut(shot.stop) {
            status.state = StopState::Kept;
            status.versions = status.versions.max(version);
            status.chosen = version;
            status.step = step;
            status.attempts = 0;
            status.problem = None;
        }
        self.compare_settings(shot.stop, number, settings);
        self.check_frame(shot.stop, version, actions);
        self.close_anew(shot.stop);
    }

    pub(super) fn on_keep_failed(&mut self, number: u64, failure: KeepFailure) {
        let Some(shot) = self.take_kept(number) else { return };
        match failure {
            KeepFailure::BadFrame(reason) => {
                self.requeue(shot.stop);
                self.failure(FaultKind::Camera, shot.stop, &reason);
            }
            KeepFailure::Storage(reason) => {
                let stop = shot.stop;
                self.stuck.push(shot);
                self.raise(FaultKind::Storage, Some(stop), reason);
            }
        }
    }

    /// Counts a failed try at a stop: it is tried again at once, then a person is asked.
    pub(super) fn failure(&mut self, kind: FaultKind, stop: u32, reason: &str) {
        let retries = self.config.retries;
        let Some(status) = self.stop_mut(stop) else { return };
        status.attempts += 1;
        status.problem = Some(reason.to_owned());
        let tries = status.attempts;
        if tries > retries && self.mode != Mode::Stopping {
            self.raise(kind, Some(stop), format!("{reason} (tried {tries} times)"));
        }
    }
}
