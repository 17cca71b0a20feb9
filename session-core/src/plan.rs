//! What is to be shot: stops, their angles, their file names. Pure; knows no device and no disk.

use serde::{Deserialize, Serialize};

use crate::angle::Angle;
use crate::file_name::{NameFields, NamePattern};
use crate::motion::{Direction, SpeedProfile};

/// The newest plan form this program writes and reads.
pub const PLAN_SCHEMA: u32 = 1;
/// The most stops in one row.
pub const MAX_STOPS_PER_ROW: u32 = 1440;
/// The most rows in one plan.
pub const MAX_ROWS: usize = 36;

/// Everything a photographer decides before a set is shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// The form of this file; see [`PLAN_SCHEMA`].
    pub schema: u32,
    /// The product's stock-keeping unit, as it appears in file names.
    pub sku: String,
    /// The product's name, for people.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub title: String,
    /// The way the plate turns; angles of all rows are counted along it.
    #[serde(default)]
    pub direction: Direction,
    /// The rows of the set, shot one after another.
    pub rows: Vec<Row>,
    /// How files are named; see [`NamePattern`].
    #[serde(default)]
    pub file_name: NamePattern,
    /// The wait between the end of a turn and the exposure, seconds.
    #[serde(default = "default_settle_secs")]
    pub settle_secs: f64,
    /// Where given, the live picture is watched after each turn and the exposure begins as soon as it stands
    /// still, after this many seconds at most. Where the picture does not tell, `settle_secs` is waited.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rest_within_secs: Option<f64>,
    /// How long the shutter is taken to be open, seconds; the turn waits for it where the camera
    /// itself does not tell.
    #[serde(default = "default_exposure_secs")]
    pub exposure_secs: f64,
    /// Whether each row that is a whole turn ends with its first stop once more, a full turn on. That
    /// frame is kept apart from the set and shows whether the turn closes.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub closing_frame: bool,
}

fn default_settle_secs() -> f64 {
    0.8
}

fn default_exposure_secs() -> f64 {
    0.25
}

/// One turn, or part of a turn, at one camera height.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// A short name that goes into file names, such as `level` or `high`.
    pub name: String,
    /// The photographer's own note on the camera's height and tilt, shown before the row.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tilt_note: String,
    /// How many stops, 1 to [`MAX_STOPS_PER_ROW`].
    pub stops: u32,
    /// Where the first stop lies, degrees along the plan's direction.
    #[serde(default = "zero_angle", rename = "start_deg")]
    pub start: Angle,
    /// How far the row reaches, degrees: 360 for a full turn, whose last stop lies one part before
    /// the first; a smaller arc has a stop at each end.
    #[serde(default = "full_turn", rename = "arc_deg")]
    pub arc: Angle,
    /// Numbers of stops in this row, counted from 1, that are left out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub skip: Vec<u32>,
}

fn zero_angle() -> Angle {
    Angle::ZERO
}

fn full_turn() -> Angle {
    Angle::TURN
}

impl Row {
    /// A full turn of `stops` stops from 0°.
    pub fn full_turn(name: &str, stops: u32) -> Self {
        Self {
            name: name.to_owned(),
            tilt_note: String::new(),
            stops,
            start: Angle::ZERO,
            arc: Angle::TURN,
            skip: Vec::new(),
        }
    }

    /// The exact angle of a stop, counted from 1, along the plan's direction.
    pub fn angle_of(&self, number: u32) -> Angle {
        self.start + self.arc.part(number - 1, self.parts())
    }

    /// How many even parts the stops divide the arc into.
    fn parts(&self) -> u32 {
        if self.arc.is_full_turn() { self.stops } else { self.stops.saturating_sub(1).max(1) }
    }
}

/// One place at which a frame is taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// The stop's number in the whole set, counted from 1, rows and left-out stops included, so
    /// that a number keeps its meaning when the skip list changes.
    pub index: u32,
    /// The row it belongs to, counted from 0.
    pub row: usize,
    /// Its angle along the plan's direction.
    pub angle: Angle,
    /// Its file name without version and extension.
    pub file_stem: String,
    /// Whether it is its row's closing frame: no stop of the set, but the first one a full turn on.
    pub closing: bool,
}

impl Stop {
    /// Its planned angle along the plan's direction, degrees from 0; a closing frame's is one turn more than
    /// its first stop's.
    pub fn planned_degrees(&self) -> f64 {
        self.angle.wrapped().degrees() + if self.closing { 360.0 } else { 0.0 }
    }
}

/// The field of a plan that something is wrong with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PlanField {
    /// The plan as a whole.
    Whole,
    /// `sku`
    Sku,
    /// `file_name`
    FileName,
    /// `settle_secs`
    Settle,
    /// `rest_within_secs`
    RestWithin,
    /// `exposure_secs`
    Exposure,
    /// `closing_frame`
    ClosingFrame,
    /// `rows[n].name`
    RowName(usize),
    /// `rows[n].stops`
    RowStops(usize),
    /// `rows[n].start_deg`
    RowStart(usize),
    /// `rows[n].arc_deg`
    RowArc(usize),
    /// `rows[n].skip`
    RowSkip(usize),
}

/// One thing wrong with a plan, in words, with its place.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct PlanProblem {
    /// Where it is.
    pub field: PlanField,
    /// What is wrong and what would be right.
    pub message: String,
}

/// Says why a plan file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// The text is not a plan in JSON.
    #[error(
        "the plan is not readable: {0}. If the file was cut short, make it anew with 'roundstop plan new'"
    )]
    Unreadable(#[from] serde_json::Error),
    /// The plan was written by a newer program.
    #[error(
        "the plan has form {found}, this program reads up to form {PLAN_SCHEMA}; use a newer Roundstop, or make the plan anew here"
    )]
    Newer {
        /// The form the file names.
        found: u64,
    },
    /// The plan can be read but not shot.
    #[error("the plan cannot be shot: {}", list(.0))]
    Problems(Vec<PlanProblem>),
}

fn list(problems: &[PlanProblem]) -> String {
    problems.iter().map(|problem| problem.message.as_str()).collect::<Vec<_>>().join("; ")
}

impl Plan {
    /// A plan of one full turn.
    pub fn single_row(sku: &str, stops: u32) -> Self {
        Self {
            schema: PLAN_SCHEMA,
            sku: sku.to_owned(),
            title: String::new(),
            direction: Direction::default(),
            rows: vec![Row::full_turn("level", stops)],
            file_name: NamePattern::default(),
            settle_secs: default_settle_secs(),
            rest_within_secs: None,
            exposure_secs: default_exposure_secs(),
            closing_frame: false,
        }
    }

    /// Reads a plan from JSON and checks that it can be shot.
    ///
    /// # Errors
    /// [`PlanError`] when the text is cut short, of a newer form, or holds impossible values.
    pub fn from_json(text: &str) -> Result<Self, PlanError> {
        // The form is looked at first, so that a newer plan is called newer and not broken.
        let value: serde_json::Value = serde_json::from_str(text)?;
        if let Some(found) = value.get("schema").and_then(serde_json::Value::as_u64)
            && found > u64::from(PLAN_SCHEMA)
        {
            return Err(PlanError::Newer { found });
        }
        // From the text again, not the value: its errors name line and column.
        let plan: Self = serde_json::from_str(text)?;
        match plan.problems() {
            problems if problems.is_empty() => Ok(plan),
            problems => Err(PlanError::Problems(problems)),
        }
    }

    /// The plan as JSON, as plan files hold it.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// All that keeps this plan from being shot; empty when it is good.
    pub fn problems(&self) -> Vec<PlanProblem> {
        let mut found = Vec::new();
        let mut say = |field, message: String| found.push(PlanProblem { field, message });
        if self.schema == 0 || self.schema > PLAN_SCHEMA {
            say(PlanField::Whole, format!("form {} of the plan is not known", self.schema));
        }
        if let Err(reason) = crate::file_name::check_field("SKU", &self.sku) {
            say(PlanField::Sku, reason);
        }
        let rest_within_secs = self.rest_within_secs.unwrap_or_default();
        for (field, name, secs, most) in [
            (PlanField::Settle, "settle time", self.settle_secs, 60.0),
            (PlanField::RestWithin, "longest wait for rest", rest_within_secs, 60.0),
            (PlanField::Exposure, "exposure time", self.exposure_secs, 600.0),
        ] {
            if !(0.0..=most).contains(&secs) {
                say(field, format!("the {name} must be 0 to {most} seconds, not {secs}"));
            }
        }
        if self.rows.is_empty() || self.rows.len() > MAX_ROWS {
            say(PlanField::Whole, format!("a plan has 1 to {MAX_ROWS} rows, not {}", self.rows.len()));
        }
        for (at, row) in self.rows.iter().enumerate() {
            row_problems(at, row, &mut say);
            if self.rows[..at].iter().any(|earlier| earlier.name.eq_ignore_ascii_case(&row.name)) {
                say(
                    PlanField::RowName(at),
                    format!("two rows are named '{}'; give each its own name", row.name),
                );
            }
        }
        if self.closing_frame && !self.rows.iter().any(|row| row.arc.is_full_turn()) {
            say(
                PlanField::ClosingFrame,
                "a closing frame needs a row that is a whole turn; make one 360 degrees, or leave it out"
                    .to_owned(),
            );
        }
        if !found.is_empty() {
            return found;
        }
        // Names are checked last: they need good rows. Any date serves, all have one length.
        match self.name_stops("2026-01-31") {
            Err(problem) => found.push(problem),
            Ok(stops) if stops.is_empty() => found.push(PlanProblem {
                field: PlanField::RowSkip(0),
                message: "the skip list leaves no stop to shoot".to_owned(),
            }),
            Ok(_) => {}
        }
        found
    }

    /// The stops of the set, in shooting order, left-out stops and closing frames excluded.
    ///
    /// `date` goes into names that ask for it, as `YYYY-MM-DD`.
    ///
    /// # Errors
    /// [`PlanError::Problems`] when the plan cannot be shot.
    pub fn stops(&self, date: &str) -> Result<Vec<Stop>, PlanError> {
        let shots = self.shots(date)?;
        Ok(shots.into_iter().filter(|stop| !stop.closing).collect())
    }

    /// All that is to be shot, in order: the stops of the set and, behind each whole-turn row, its closing
    /// frame where the plan asks for it. A closing frame's number follows those of the set.
    ///
    /// # Errors
    /// [`PlanError::Problems`] when the plan cannot be shot.
    pub fn shots(&self, date: &str) -> Result<Vec<Stop>, PlanError> {
        let problems = self.problems();
        if !problems.is_empty() {
            return Err(PlanError::Problems(problems));
        }
        self.name_stops(date).map_err(|problem| PlanError::Problems(vec![problem]))
    }

    /// How many numbers the set runs to, left-out stops included.
    pub fn last_index(&self) -> u32 {
        self.rows.iter().map(|row| row.stops).sum()
    }

    fn name_stops(&self, date: &str) -> Result<Vec<Stop>, PlanProblem> {
        let at_name = |message| PlanProblem { field: PlanField::FileName, message };
        self.file_name.check().map_err(at_name)?;
        let decimals = self.degree_decimals();
        let digits = self.last_index().to_string().len().max(2);
        let mut stops = Vec::new();
        let mut index = 0;
        for (row_at, row) in self.rows.iter().enumerate() {
            for number in 1..=row.stops {
                index += 1;
                if row.skip.contains(&number) {
                    continue;
                }
                let angle = row.angle_of(number);
                let file_stem = self.file_name.stem(&NameFields {
                    sku: &self.sku,
                    row: &row.name,
                    stop: format!("{index:0digits$}"),
                    degrees: padded_degrees(angle.wrapped(), decimals),
                    date,
                });
                stops.push(Stop { index, row: row_at, angle, file_stem, closing: false });
            }
            // Without its first stop there is nothing to close with.
            if self.closing_frame && row.arc.is_full_turn() && !row.skip.contains(&1) {
                let angle = row.start + Angle::TURN;
                let file_stem = self.file_name.stem(&NameFields {
                    sku: &self.sku,
                    row: &row.name,
                    stop: "closing".to_owned(),
                    // Not wrapped: the same place, a turn on.
                    degrees: padded_degrees(angle, decimals),
                    date,
                });
                let index = self.last_index() + 1 + row_at as u32;
                stops.push(Stop { index, row: row_at, angle, file_stem, closing: true });
            }
        }
        crate::file_name::check_stems(stops.iter().map(|stop| stop.file_stem.as_str())).map_err(at_name)?;
        Ok(stops)
    }

    /// The decimals that tell all stops apart in file names, at most three.
    fn degree_decimals(&self) -> u32 {
        let exact = |decimals: u32| {
            self.rows.iter().all(|row| {
                (1..=row.stops.min(MAX_STOPS_PER_ROW))
                    .all(|number| row.angle_of(number).wrapped().is_exact_with(decimals))
            })
        };
        (0..=2).find(|decimals| exact(*decimals)).unwrap_or(3)
    }

    /// An estimate of the whole session in seconds: turns, settling and exposures.
    ///
    /// Transfer is not in it: it overlaps the next turn. Where the live picture is watched, the settle time
    /// stands for what that takes.
    pub fn estimate_secs(&self, profile: &SpeedProfile) -> f64 {
        let Ok(stops) = self.shots("2026-01-31") else { return 0.0 };
        let still = (self.settle_secs + self.exposure_secs) * stops.len() as f64;
        let turns: f64 = stops
            .windows(2)
            .map(|pair| profile.turn_secs((pair[1].angle - pair[0].angle).wrapped().degrees()))
            .sum();
        still + turns
    }
}

fn row_problems(at: usize, row: &Row, say: &mut impl FnMut(PlanField, String)) {
    if let Err(reason) = crate::file_name::check_field("row name", &row.name) {
        say(PlanField::RowName(at), reason);
    }
    if row.stops == 0 || row.stops > MAX_STOPS_PER_ROW {
        say(
            PlanField::RowStops(at),
            format!("row '{}' must have 1 to {MAX_STOPS_PER_ROW} stops, not {}", row.name, row.stops),
        );
    }
    if !row.arc.is_positive() || row.arc > Angle::TURN {
        say(
            PlanField::RowArc(at),
            format!(
                "row '{}' must reach over more than 0 and at most 360 degrees, not {}",
                row.name, row.arc
            ),
        );
    }
    if row.start < -Angle::TURN || row.start > Angle::TURN {
        say(
            PlanField::RowStart(at),
            format!("row '{}' must start between -360 and 360 degrees, not at {}", row.name, row.start),
        );
    }
    if !row.start.can_take_parts(row.arc, row.parts()) {
        say(
            PlanField::RowStart(at),
            format!(
                "row '{}' starts at {} and reaches over {} degrees, which together are finer than can be kept; round them",
                row.name, row.start, row.arc
            ),
        );
    }
    if let Some(wrong) = row.skip.iter().find(|number| **number == 0 || **number > row.stops) {
        say(
            PlanField::RowSkip(at),
            format!("row '{}' has no stop {wrong} to leave out; its stops are 1 to {}", row.name, row.stops),
        );
    }
}

/// Degrees with three leading digits, so that names sort by angle.
fn padded_degrees(angle: Angle, decimals: u32) -> String {
    let text = angle.degrees_text(decimals);
    let whole = text.split('.').next().map_or(0, str::len);
    format!("{}{text}", "0".repeat(3_usize.saturating_sub(whole)))
}
