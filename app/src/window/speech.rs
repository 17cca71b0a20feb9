//! How a controller on a serial port is spoken to, as it stands in the fields.

use session_core::angle::StepsPerTurn;
use session_core::turntable::serial::{Dialect, PRESETS};

use super::text::t;
use crate::studio::DEFAULT_BAUD;

/// The ways of speaking.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// The language of our own controller program.
    Own,
    /// A dialect that was given when the program was started.
    Given,
    /// A dialect of [`PRESETS`], by its place.
    Preset(usize),
}

/// The fields as typed.
#[derive(Debug, Clone, PartialEq)]
pub struct Speech {
    /// The way.
    pub way: Way,
    /// What was given at the start, if anything.
    pub given: Option<Dialect>,
    /// Steps in one turn of the plate, such as `3200`.
    pub steps_per_turn: String,
    /// The letter of the axis.
    pub axis: String,
    /// How far the plate turns for one unit of the axis word, degrees.
    pub degrees_per_unit: String,
    /// The line's speed.
    pub baud: String,
}

/// A change in the fields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SpeechEdit {
    /// Another way.
    Way(Way),
    /// Steps in one turn of the plate.
    StepsPerTurn(String),
    /// The letter of the axis.
    Axis(String),
    /// Degrees for one unit.
    DegreesPerUnit(String),
    /// The line's speed.
    Baud(String),
}

impl Speech {
    /// Fills the fields from what the start names.
    pub fn new(given: Option<Dialect>, baud: u32) -> Self {
        let mut speech = Self {
            way: Way::Own,
            given: None,
            steps_per_turn: String::new(),
            axis: "A".to_owned(),
            degrees_per_unit: "1".to_owned(),
            baud: baud.to_string(),
        };
        let Some(given) = given else { return speech };
        // What the fields can say is taken apart into them; any other dialect stays whole.
        let fields = |preset: Dialect| Dialect {
            axis: given.axis,
            degrees_per_unit: given.degrees_per_unit,
            steps_per_turn: given.steps_per_turn,
            ..preset
        };
        let preset =
            PRESETS.iter().position(|(name, _)| Dialect::preset(name).map(fields).as_ref() == Some(&given));
        speech.way = preset.map_or(Way::Given, Way::Preset);
        if preset.is_some() {
            speech.steps_per_turn = given.steps_per_turn.map(|steps| steps.to_string()).unwrap_or_default();
            speech.axis = given.axis.to_string();
            speech.degrees_per_unit = given.degrees_per_unit.to_string();
        } else {
            speech.given = Some(given);
        }
        speech
    }

    /// Takes a change in.
    pub fn apply(&mut self, edit: SpeechEdit) {
        match edit {
            SpeechEdit::Way(way) => self.way = way,
            SpeechEdit::StepsPerTurn(text) => self.steps_per_turn = text,
            SpeechEdit::Axis(text) => self.axis = text,
            SpeechEdit::DegreesPerUnit(text) => self.degrees_per_unit = text,
            SpeechEdit::Baud(text) => self.baud = text,
        }
    }

    /// The dialect the fields name; `None` for our own program.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn dialect(&self) -> Result<Option<Dialect>, String> {
        let preset = match self.way {
            Way::Own => return Ok(None),
            Way::Given => return Ok(self.given.clone()),
            Way::Preset(at) => PRESETS.get(at).and_then(|(name, _)| Dialect::preset(name)),
        };
        let Some(preset) = preset else { return Ok(None) };
        let steps = self.steps_per_turn.trim();
        let steps: StepsPerTurn = if steps.is_empty() {
            Err(t!("speech-no-steps"))
        } else {
            steps.parse().map_err(|_| t!("speech-bad-steps", text = steps))
        }?;
        let mut letters = self.axis.trim().chars();
        let axis = letters.next().filter(|_| letters.next().is_none());
        let units = self.degrees_per_unit.trim().replace(',', ".");
        let dialect = Dialect {
            axis: axis.ok_or_else(|| t!("speech-bad-axis", text = self.axis))?.to_ascii_uppercase(),
            degrees_per_unit: units.parse().map_err(|_| t!("speech-bad-unit", text = units))?,
            steps_per_turn: Some(steps),
            ..preset
        };
        dialect.check()?;
        Ok(Some(dialect))
    }

    /// The line's speed the field names.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn baud(&self) -> Result<u32, String> {
        if self.way == Way::Own && self.baud.trim().is_empty() {
            return Ok(DEFAULT_BAUD);
        }
        let read = self.baud.trim().parse().ok().filter(|baud| *baud > 0);
        read.ok_or_else(|| t!("speech-bad-baud", text = self.baud))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_preset_goes_through_the_fields_and_back() {
        for (at, (name, _)) in PRESETS.iter().enumerate() {
            let mut speech = Speech::new(None, DEFAULT_BAUD);
            assert_eq!(speech.dialect(), Ok(None));
            speech.apply(SpeechEdit::Way(Way::Preset(at)));
            assert!(speech.dialect().unwrap_err().contains("steps"), "{name}");
            speech.apply(SpeechEdit::StepsPerTurn("3200".to_owned()));
            speech.apply(SpeechEdit::Axis("c".to_owned()));
            speech.apply(SpeechEdit::DegreesPerUnit("0,5".to_owned()));
            let dialect = speech.dialect().unwrap().unwrap();
            assert_eq!((dialect.axis, dialect.degrees_per_unit), ('C', 0.5));
            let again = Speech::new(Some(dialect.clone()), DEFAULT_BAUD);
            assert_eq!((again.way, again.dialect()), (Way::Preset(at), Ok(Some(dialect))));
        }
    }

    #[test]
    fn a_dialect_of_one_s_own_stays_whole_and_nonsense_is_named() {
        let own = Dialect {
            steps_per_turn: Some("3200".parse().unwrap()),
            zero_words: "G92 A0 B0".to_owned(),
            ..Dialect::preset("dwell").unwrap()
        };
        let speech = Speech::new(Some(own.clone()), DEFAULT_BAUD);
        assert_eq!((speech.way, speech.dialect()), (Way::Given, Ok(Some(own))));
        let mut speech = Speech::new(None, DEFAULT_BAUD);
        speech.apply(SpeechEdit::Way(Way::Preset(0)));
        speech.apply(SpeechEdit::StepsPerTurn("3200".to_owned()));
        for edit in [
            SpeechEdit::Axis("AB".to_owned()),
            SpeechEdit::Axis("G".to_owned()),
            SpeechEdit::DegreesPerUnit("one".to_owned()),
            SpeechEdit::StepsPerTurn("many".to_owned()),
        ] {
            let mut wrong = speech.clone();
            wrong.apply(edit.clone());
            assert!(wrong.dialect().is_err(), "{edit:?}");
        }
        speech.apply(SpeechEdit::Baud("fast".to_owned()));
        assert!(speech.baud().is_err());
    }
}
