//! Settings for controllers that speak the same G words but answer in their own way.
//!
//! Common to such controllers (see the facts beside each setting) is that `ok` means a line was understood
//! and queued, not that its move has ended. How the end is learned, which letter the axis has and what a
//! fault looks like differ, so these are settings and not code.

use std::time::Duration;

use regex_lite::Regex;
use serde::{Deserialize, Serialize};

use crate::angle::StepsPerTurn;
use crate::motion::SpeedProfile;

mod line;
mod opening;
mod table;

pub use table::DialectTable;

/// The longest pattern taken from a file, bytes.
const PATTERN_MAX: usize = 200;
/// The finest step that the four decimals of an axis word tell apart with room to spare, units.
const UNITS_PER_STEP_MIN: f64 = 0.001;

/// How another controller is spoken to.
///
/// Words may hold `{axis}` (its letter), `{target}` (letter and units) and `{feed}` (units a minute).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dialect {
    /// The letter of the axis that turns the plate.
    #[serde(default = "axis")]
    pub axis: char,
    /// How far the plate turns for one unit of the axis word, degrees, above 0.
    #[serde(default = "degrees_per_unit")]
    pub degrees_per_unit: f64,
    /// Steps in a turn of the plate: such controllers do not tell it.
    #[serde(default)]
    pub steps_per_turn: Option<StepsPerTurn>,
    /// How fast the controller turns the plate; for time-outs, estimates and `{feed}`.
    #[serde(default)]
    pub speeds: SpeedProfile,
    /// Lines sent once a session begins; none may move anything.
    #[serde(default = "start_words")]
    pub start_words: Vec<String>,
    /// Declares the present place to be zero; moves nothing.
    #[serde(default = "zero_words")]
    pub zero_words: String,
    /// Turns to an absolute angle.
    #[serde(default = "move_words")]
    pub move_words: String,
    /// How the end of a move is learned.
    pub move_end: MoveEnd,
    /// How the controller is asked where the axis stands.
    #[serde(default)]
    pub status: Option<StatusWords>,
    /// The last answer to a line that was taken; without it, one whose first word is `ok`.
    #[serde(default)]
    pub ok: Option<Pattern>,
    /// The last answer to a line that was refused; without it, one that begins with `error`, in any case.
    #[serde(default)]
    pub error: Option<Pattern>,
    /// Any line that says the controller has locked itself; the position is in doubt from then on.
    #[serde(default)]
    pub alarm: Option<Pattern>,
    /// The line with which the controller starts; in mid-session it means that the position is gone.
    pub banner: Pattern,
    /// Sent once, when a session begins on a controller in alarm. Leave it out where an alarm guards a machine.
    #[serde(default)]
    pub clear_alarm: Option<String>,
    /// Keeps the motor energised; sent before the first turn.
    #[serde(default)]
    pub hold_words: Option<String>,
    /// Lets the motor go; sent when a session ends.
    #[serde(default)]
    pub release_words: Option<String>,
    /// Stops the table in mid-turn; without it a cancelled turn runs to its end.
    #[serde(default)]
    pub stop: Option<StopBytes>,
    /// Fires the camera's shutter.
    #[serde(default)]
    pub shutter: Option<ShutterWords>,
}

/// How the end of a move is learned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MoveEnd {
    /// The line's own last answer comes when the move has ended.
    Acknowledged,
    /// A dwell of no length, `G4 P0`, is answered when every move before it has ended.
    ///
    /// Exactly `P0`: some controllers count P in milliseconds.
    Dwell,
    /// A word that is answered when every move before it has ended, such as `M400`.
    FinishWord(String),
    /// The status is asked for until it says idle, twice running, with the axis at its target.
    StatusPoll {
        /// Seconds between two questions: at least 0.2, as asking more often disturbs some controllers' steps.
        every_secs: f64,
    },
}

/// How a controller is asked where the axis stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StatusWords {
    /// What is sent.
    pub ask: String,
    /// Whether it is a line with a last answer of its own, or a bare byte that is answered at once.
    pub is_line: bool,
    /// Finds the axis position, in units, as the pattern's first group.
    pub position: Pattern,
    /// Finds that the controller is at rest; in the same line as the position.
    #[serde(default)]
    pub idle: Option<Pattern>,
}

/// What stops a table in mid-turn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StopBytes {
    /// Sent as it is, without a line end of its own; each character, up to U+00FF, is one byte.
    pub send: String,
    /// Whether the motor is brought to rest without losing steps, so that the reported position holds.
    pub keeps_position: bool,
}

impl StopBytes {
    fn bytes(&self) -> Vec<u8> {
        self.send.chars().map(|letter| letter as u8).collect()
    }
}

/// Which words fire the camera's shutter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ShutterWords {
    /// One line with the length in it, as `{secs}` or `{millis}`.
    Timed(String),
    /// One line closes the contact, another opens it; this program keeps the time.
    OnOff {
        /// Closes the contact.
        on: String,
        /// Opens it.
        off: String,
    },
}

/// A pattern for lines that come in (a regular expression without look-around).
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Pattern(Regex);

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        self.0.as_str() == other.0.as_str()
    }
}

impl TryFrom<String> for Pattern {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        if text.is_empty() || text.len() > PATTERN_MAX {
            return Err(format!("a pattern has 1 to {PATTERN_MAX} characters"));
        }
        let pattern = Regex::new(&text).map_err(|error| format!("'{text}' is no pattern: {error}"))?;
        // It would take every line for what it is to find.
        if pattern.is_match("") {
            return Err(format!("'{text}' finds something in an empty line; make it say more"));
        }
        Ok(Self(pattern))
    }
}

impl From<Pattern> for String {
    fn from(pattern: Pattern) -> Self {
        pattern.0.as_str().to_owned()
    }
}

impl Pattern {
    /// Whether the line holds what is sought.
    pub fn finds(&self, line: &str) -> bool {
        self.0.is_match(line)
    }

    /// The number in the first group, and its decimals.
    fn number(&self, line: &str) -> Option<(f64, usize)> {
        let text = self.0.captures(line)?.get(1)?.as_str();
        let decimals = text.split_once('.').map_or(0, |(_, part)| part.len());
        text.parse::<f64>().ok().filter(|number| number.is_finite()).map(|number| (number, decimals))
    }
}

/// The names of [`Dialect::preset`], each with what it is for.
pub const PRESETS: [(&str, &str); 4] = [
    ("ok-when-moved", "ok comes when the move has ended"),
    ("dwell", "ok means queued; G4 P0 is answered when all has ended"),
    ("finish-word", "ok means queued; M400 is answered when all has ended, M114 tells the position"),
    ("status-poll", "ok means queued; a ? byte is answered with state and position"),
];

impl Dialect {
    /// A dialect by its name; a starting point for a file of one's own, still without steps in a turn.
    pub fn preset(name: &str) -> Option<Self> {
        let text = match name {
            "ok-when-moved" => r#"{"move_end": "acknowledged", "banner": "(?i)^(start|ready|boot)"}"#,
            "dwell" => r#"{"move_end": "dwell", "banner": "(?i)^(start|ready|boot)|for help\\]$"}"#,
            "finish-word" => {
                r#"{"axis": "A", "move_end": {"finish_word": "M400"}, "banner": "^start$",
                "move_words": "G90 G0 {target}", "error": "(?i)^(error|!!)", "alarm": "halted",
                "status": {"ask": "M114", "is_line": true, "position": "(?:^| )A:(-?[0-9.]+)"},
                "hold_words": "M17", "release_words": "M18"}"#
            }
            "status-poll" => {
                r#"{"axis": "A", "move_end": {"status_poll": {"every_secs": 0.2}}, "banner": "for help\\]$",
                "alarm": "^(ALARM|<Alarm)", "stop": {"send": "\u0018", "keeps_position": false},
                "status": {"ask": "?", "is_line": false, "idle": "^<Idle",
                    "position": "^<[^>]*Pos:(?:-?[0-9.]+,){3}(-?[0-9.]+)"}}"#
            }
            _ => return None,
        };
        serde_json::from_str(text).ok()
    }

    /// Reads a dialect from JSON and checks it.
    ///
    /// # Errors
    /// A sentence that names the setting and what it may be.
    pub fn from_json(text: &str) -> Result<Self, String> {
        let dialect: Self = serde_json::from_str(text).map_err(|error| error.to_string())?;
        dialect.check()?;
        Ok(dialect)
    }

    /// Checks that a table can be driven with these settings; gives its steps in a turn.
    ///
    /// # Errors
    /// A sentence that names the setting and what it may be.
    pub fn check(&self) -> Result<StepsPerTurn, String> {
        let steps = self.steps_per_turn.ok_or(
            "steps_per_turn is missing: such a controller does not tell it. Give motor steps a turn times microsteps \
             times gear, such as 3200 or 1650688/405",
        )?;
        if !self.axis.is_ascii_uppercase() || "FGMNPQST".contains(self.axis) {
            return Err(format!("axis cannot be '{}'; it is a letter such as A, B, C, X, Y or Z", self.axis));
        }
        if !(self.degrees_per_unit > 1e-6 && self.degrees_per_unit <= 3600.0) {
            return Err("degrees_per_unit must be above 0 and at most 3600".to_owned());
        }
        if self.degrees_to_units(360.0 / steps.to_f64()) < UNITS_PER_STEP_MIN {
            return Err(format!(
                "{steps} steps in a turn are finer than the four decimals of an axis word; check steps_per_turn and \
                 degrees_per_unit"
            ));
        }
        let speeds = &self.speeds;
        let fast_enough = |value: f64| value > 1e-6 && value <= 1e9;
        if !fast_enough(speeds.cruise_deg_per_sec) || !fast_enough(speeds.accel_deg_per_sec2) {
            return Err("speeds must be above 0".to_owned());
        }
        if !self.move_words.contains("{target}") {
            return Err("move_words must hold {target}, such as 'G90 G0 {target}'".to_owned());
        }
        if let MoveEnd::StatusPoll { every_secs } = self.move_end {
            if !(0.2..=10.0).contains(&every_secs) {
                return Err("every_secs must be 0.2 to 10 seconds".to_owned());
            }
            if self.status.as_ref().is_none_or(|status| status.idle.is_none()) {
                return Err("move_end status_poll needs status with idle".to_owned());
            }
        }
        if let Some(ShutterWords::Timed(words)) = &self.shutter
            && !words.contains("{secs}")
            && !words.contains("{millis}")
        {
            return Err("a timed shutter's line must hold {secs} or {millis}; else use on_off".to_owned());
        }
        if let Some(stop) = &self.stop
            && (stop.send.is_empty() || stop.send.chars().any(|letter| letter > '\u{ff}'))
        {
            return Err("stop must send one or more bytes: characters up to U+00FF".to_owned());
        }
        for line in self.lines() {
            let fits = line.len() <= 100 && line.bytes().all(|byte| (0x20..0x7f).contains(&byte));
            if !fits {
                return Err(format!(
                    "'{}' cannot be sent: a line is plain text of up to 100 characters",
                    line.escape_default()
                ));
            }
        }
        Ok(steps)
    }

    fn lines(&self) -> impl Iterator<Item = &str> {
        let finish = match &self.move_end {
            MoveEnd::FinishWord(word) => Some(word.as_str()),
            _ => None,
        };
        let shutter = match &self.shutter {
            Some(ShutterWords::Timed(words)) => [Some(words.as_str()), None],
            Some(ShutterWords::OnOff { on, off }) => [Some(on.as_str()), Some(off.as_str())],
            None => [None, None],
        };
        let optional = [&self.hold_words, &self.release_words, &self.clear_alarm].map(Option::as_deref);
        let status = self.status.as_ref().map(|status| status.ask.as_str());
        self.start_words
            .iter()
            .map(String::as_str)
            .chain([self.zero_words.as_str(), self.move_words.as_str()])
            .chain([finish, status].into_iter().chain(optional).chain(shutter).flatten())
    }

    fn degrees_to_units(&self, degrees: f64) -> f64 {
        degrees / self.degrees_per_unit
    }

    fn zero_line(&self) -> String {
        self.zero_words.replace("{axis}", &self.axis.to_string())
    }

    /// The line that turns to so many degrees; four decimals, far finer than half a step.
    fn move_line(&self, degrees: f64) -> String {
        let target = format!("{}{:.4}", self.axis, self.degrees_to_units(degrees));
        let feed = format!("{:.1}", self.degrees_to_units(self.speeds.cruise_deg_per_sec * 60.0));
        self.move_words.replace("{target}", &target).replace("{feed}", &feed)
    }

    /// The line whose last answer comes when all moves before it have ended.
    fn sync_line(&self) -> Option<&str> {
        match &self.move_end {
            MoveEnd::Dwell => Some("G4 P0"),
            MoveEnd::FinishWord(word) => Some(word),
            MoveEnd::Acknowledged | MoveEnd::StatusPoll { .. } => None,
        }
    }

    fn poll_every(&self) -> Duration {
        match self.move_end {
            MoveEnd::StatusPoll { every_secs } => Duration::from_secs_f64(every_secs),
            _ => Duration::from_millis(200),
        }
    }
}

fn axis() -> char {
    'A'
}

fn degrees_per_unit() -> f64 {
    1.0
}

fn start_words() -> Vec<String> {
    // Millimetres and not inches: some controllers scale a turning axis like a straight one.
    vec!["G21".to_owned(), "G90".to_owned()]
}

fn zero_words() -> String {
    "G92 {axis}0".to_owned()
}

fn move_words() -> String {
    "G90 G0 {target}".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str) -> Dialect {
        let mut dialect = Dialect::preset(name).unwrap();
        assert!(dialect.check().unwrap_err().contains("steps_per_turn is missing"), "{name}");
        dialect.steps_per_turn = Some(StepsPerTurn::new(3200, 1).unwrap());
        dialect
    }

    #[test]
    fn each_preset_is_whole_but_for_the_steps_and_survives_its_own_file() {
        for (name, _) in PRESETS {
            let dialect = named(name);
            dialect.check().unwrap();
            let text = serde_json::to_string_pretty(&dialect).unwrap();
            assert_eq!(Dialect::from_json(&text).unwrap(), dialect, "{name}");
        }
        assert!(Dialect::preset("roundstop").is_none());
    }

    #[test]
    fn words_carry_letter_units_and_feed() {
        let mut dialect = named("dwell");
        assert_eq!(dialect.move_line(30.031_114), "G90 G0 A30.0311");
        assert_eq!(dialect.zero_line(), "G92 A0");
        dialect.axis = 'X';
        dialect.degrees_per_unit = 9.0;
        dialect.move_words = "G90 G1 {target} F{feed}".to_owned();
        dialect.speeds.cruise_deg_per_sec = 22.5;
        // 45° at 9° a unit are 5 units; 22.5°/s are 1350° a minute, 150 units.
        assert_eq!(dialect.move_line(45.0), "G90 G1 X5.0000 F150.0");
        assert_eq!(dialect.zero_line(), "G92 X0");
    }

    #[test]
    fn positions_are_found_in_common_kinds_of_answers() {
        let poll = named("status-poll").status.unwrap();
        let line = "<Idle|MPos:0.000,0.000,0.000,-12.500|FS:0,0>";
        assert_eq!(poll.position.number(line), Some((-12.5, 3)));
        assert!(poll.idle.as_ref().unwrap().finds(line));
        assert!(!poll.idle.unwrap().finds("<Run|MPos:0.000,0.000,0.000,1.000|FS:0,0>"));
        let word = named("finish-word").status.unwrap();
        assert_eq!(word.position.number("X:0.00 Y:0.00 Z:0.00 A:30.03 Count X:0"), Some((30.03, 2)));
        assert_eq!(word.position.number("ok"), None);
    }

    #[test]
    fn a_setting_that_cannot_be_is_named() {
        let good = serde_json::to_value(named("status-poll")).unwrap();
        for (key, value, says) in [
            ("axis", serde_json::json!("G"), "axis"),
            ("degrees_per_unit", serde_json::json!(0.0), "degrees_per_unit"),
            ("steps_per_turn", serde_json::json!("900000000"), "finer"),
            ("move_words", serde_json::json!("G0 A1"), "{target}"),
            ("move_end", serde_json::json!({"status_poll": {"every_secs": 0.05}}), "every_secs"),
            ("status", serde_json::Value::Null, "needs status"),
            ("banner", serde_json::json!("("), "no pattern"),
            ("banner", serde_json::json!(".*"), "empty line"),
            ("zero_words", serde_json::json!("G92\nG0 A90"), "cannot be sent"),
            ("shutter", serde_json::json!({"timed": "M8"}), "{secs}"),
            ("stop", serde_json::json!({"send": "\u{2713}", "keeps_position": true}), "up to U+00FF"),
            ("speed", serde_json::json!(1), "unknown field"),
        ] {
            let mut changed = good.clone();
            changed[key] = value;
            let fault = Dialect::from_json(&changed.to_string()).unwrap_err();
            assert!(fault.contains(says), "{key}: {fault}");
        }
    }
}
