//! The engine's part about closing frames: a row's first stop once more, one whole turn on.
//!
//! Any other repeat of the stop shows the same plate, but not whether the turn closes. So the goal counts
//! from the step at which the row's first frame was shot.

use super::{Engine, StopState, StopStatus};

impl Engine {
    /// The row's first stop, when `index` is its closing frame.
    fn first_of(&self, index: u32) -> Option<&StopStatus> {
        let row = self.stop(index).filter(|status| status.stop.closing)?.stop.row;
        self.stops.iter().find(|status| status.stop.row == row)
    }

    /// Whether a closing frame's goal is not known yet, its row's first frame being on its way.
    pub(super) fn waits_for_first(&self, index: u32) -> bool {
        self.first_of(index).is_some_and(|first| self.is_in_work(first.stop.index))
    }

    /// The step of a closing frame, a turn on from its row's first frame; `None` for stops of the set, and
    /// where it is not known at which step that frame was shot.
    pub(super) fn closing_goal(&self, index: u32) -> Option<i64> {
        let first = self.first_of(index).filter(|first| first.state == StopState::Kept)?;
        let steps = self.config.steps_per_turn;
        let begun = self.config.direction.table_angle(steps.angle_of(first.step?)) - first.stop.angle;
        let turns = (begun.degrees() / 360.0).round() as i64;
        Some(steps.nearest_step(self.config.direction.table_angle(first.stop.angle.plus_turns(turns + 1))))
    }

    /// The moves that bring the table to that step from the agreed side.
    pub(super) fn closing_legs(&self, from: i64, goal: i64) -> Vec<i64> {
        let sign = self.config.direction.sign();
        let run_up = self.config.steps_per_turn.steps_covering(self.config.run_up);
        let ahead = (goal - from) * sign;
        if ahead == 0 && (self.leaning || run_up == 0) {
            Vec::new()
        } else if ahead >= run_up || (self.leaning && ahead > 0) {
            vec![goal]
        } else {
            vec![goal - sign * run_up, goal]
        }
    }

    /// A row's first frame is another: a closing frame that is not a turn on from it is shot again.
    pub(super) fn close_anew(&mut self, stop: u32) {
        let closing = self.stops.iter().find(|status| {
            status.stop.closing
                && self.first_of(status.stop.index).is_some_and(|first| first.stop.index == stop)
        });
        let Some(closing) = closing.filter(|closing| closing.state == StopState::Kept && !closing.skipped)
        else {
            return;
        };
        let index = closing.stop.index;
        if closing.step != self.closing_goal(index) && !self.is_in_work(index) {
            self.enqueue(vec![index]);
        }
    }
}
