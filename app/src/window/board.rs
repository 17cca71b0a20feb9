//! The answers from which a controller board's files are made, as they stand in the fields.

use session_core::angle::StepsPerTurn;

use crate::controller_files::{Answers, BoardFiles, Driver, prepare};
use crate::window::text::t;

/// The fields as typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BoardDraft {
    /// Whether the card is open.
    pub open: bool,
    /// Whether four coils are driven directly; otherwise a step/direction driver.
    pub four_coils: bool,
    /// The driver's pins, in order.
    pub pins: String,
    /// Steps in one turn of the plate, such as `1650688/405`.
    pub steps_per_turn: String,
    /// Whether the motor turns the plate the other way.
    pub reverse: bool,
    /// The full press pin; empty for none.
    pub full_press: String,
    /// The half press pin; empty for none.
    pub half_press: String,
    /// The switch's pin; empty for none.
    pub switch: String,
    /// The index sensor's pin; empty for none.
    pub index: String,
    /// Why the files could not be saved, until something is changed.
    pub trouble: Option<String>,
}

/// A change in the fields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BoardEdit {
    /// Open or close the card.
    Open(bool),
    /// Four coils, or step/direction.
    FourCoils(bool),
    /// The driver's pins.
    Pins(String),
    /// Steps in one turn of the plate.
    StepsPerTurn(String),
    /// The other way.
    Reverse(bool),
    /// The full press pin.
    FullPress(String),
    /// The half press pin.
    HalfPress(String),
    /// The switch's pin.
    Switch(String),
    /// The index sensor's pin.
    Index(String),
}

const COILS: &str = "18, 19, 21, 22";
const STEP_DIR: &str = "18, 19, 21";

impl Default for BoardDraft {
    /// The board as delivered.
    fn default() -> Self {
        Self {
            open: false,
            four_coils: true,
            pins: COILS.to_owned(),
            steps_per_turn: "1650688/405".to_owned(),
            reverse: false,
            full_press: "27".to_owned(),
            half_press: "26".to_owned(),
            switch: "4".to_owned(),
            index: String::new(),
            trouble: None,
        }
    }
}

impl BoardDraft {
    /// Takes a change in.
    pub fn apply(&mut self, edit: BoardEdit) {
        self.trouble = None;
        match edit {
            BoardEdit::Open(open) => self.open = open,
            BoardEdit::FourCoils(four) => {
                self.four_coils = four;
                (if four { COILS } else { STEP_DIR }).clone_into(&mut self.pins);
            }
            BoardEdit::Pins(text) => self.pins = text,
            BoardEdit::StepsPerTurn(text) => self.steps_per_turn = text,
            BoardEdit::Reverse(reverse) => self.reverse = reverse,
            BoardEdit::FullPress(text) => self.full_press = text,
            BoardEdit::HalfPress(text) => self.half_press = text,
            BoardEdit::Switch(text) => self.switch = text,
            BoardEdit::Index(text) => self.index = text,
        }
    }

    /// The files and the wiring for what the fields say.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn files(&self) -> Result<BoardFiles, String> {
        let pins: Result<Vec<u8>, _> = self.pins.split(',').map(|pin| pin.trim().parse::<u8>()).collect();
        let driver = match (self.four_coils, pins.as_deref()) {
            (true, Ok(&[one, two, three, four])) => Driver::FourCoils([one, two, three, four]),
            (false, Ok(&[step, dir, enable])) => Driver::StepDir { step, dir, enable },
            (true, _) => {
                return Err(t!("board-write-four-pin-numbers-for"));
            }
            (false, _) => {
                return Err(t!("board-write-three-pin-numbers-for"));
            }
        };
        prepare(&Answers {
            driver,
            reverse: self.reverse,
            steps_per_turn: self
                .steps_per_turn
                .trim()
                .parse::<StepsPerTurn>()
                .map_err(|error| error.to_string())?,
            full_press_pin: pin(&t!("board-full-press"), &self.full_press)?,
            half_press_pin: pin(&t!("board-half-press"), &self.half_press)?,
            spin_switch_pin: pin(&t!("board-switch"), &self.switch)?,
            index_pin: pin(&t!("board-index-sensor"), &self.index)?,
            ..Answers::default()
        })
    }
}

fn pin(what: &str, text: &str) -> Result<Option<u8>, String> {
    match text.trim() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| t!("board-is-no-pin-for-the", text = text, what = what)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_board_as_delivered_can_be_written() {
        let files = BoardDraft::default().files().unwrap();
        assert!(files.files.iter().any(|(name, _)| *name == "roundstop_table.py"));
        let mut draft = BoardDraft::default();
        draft.apply(BoardEdit::FourCoils(false));
        draft.apply(BoardEdit::StepsPerTurn("3200".to_owned()));
        draft.apply(BoardEdit::FullPress(String::new()));
        draft.apply(BoardEdit::HalfPress(String::new()));
        assert!(draft.files().is_ok(), "{:?}", draft.files().err());
    }

    #[test]
    fn nonsense_is_named() {
        for (edit, says) in [
            (BoardEdit::Pins("18, 19".to_owned()), "four pin numbers"),
            (BoardEdit::Pins("18, 18, 21, 22".to_owned()), "18"),
            (BoardEdit::Switch("four".to_owned()), "'four'"),
            (BoardEdit::StepsPerTurn("none".to_owned()), "none"),
        ] {
            let mut draft = BoardDraft::default();
            draft.apply(edit.clone());
            let reason = draft.files().unwrap_err();
            assert!(reason.contains(says), "{edit:?}: {reason}");
        }
    }
}
