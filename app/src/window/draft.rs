//! The plan as it stands in the fields: text that may be half typed, and what is wrong with it.

use session_core::angle::Angle;
use session_core::file_name::NamePattern;
use session_core::motion::Direction;
use session_core::plan::{MAX_ROWS, MAX_STOPS_PER_ROW, PLAN_SCHEMA, Plan, PlanField, PlanProblem, Row};

use super::words::number_list;
use crate::window::text::t;

/// The plan's fields as typed.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanDraft {
    /// The SKU.
    pub sku: String,
    /// The product's name.
    pub title: String,
    /// The way the plate turns.
    pub direction: Direction,
    /// The rows.
    pub rows: Vec<RowDraft>,
    /// The file-name pattern.
    pub file_name: String,
    /// The settle time, seconds, as typed.
    pub settle_secs: String,
    /// The longest wait for the live picture to stand still, seconds, as typed; empty where it is not watched.
    pub rest_within_secs: String,
    /// The exposure time, seconds, as typed.
    pub exposure_secs: String,
    /// Whether whole-turn rows end with a closing frame.
    pub closing_frame: bool,
    /// Gives every new row an identity that its fields keep while others come and go.
    next_row: u64,
}

/// One row's fields as typed.
#[derive(Debug, Clone, PartialEq)]
pub struct RowDraft {
    /// Stays the same while rows before it are removed.
    pub id: u64,
    /// The row's name.
    pub name: String,
    /// The note on the camera.
    pub tilt_note: String,
    /// How many stops.
    pub stops: String,
    /// Where the first stop lies, degrees.
    pub start: String,
    /// How far the row reaches, degrees.
    pub arc: String,
    /// Stops left out, such as `3, 7-9`.
    pub skip: String,
}

/// One change in the plan's fields.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanEdit {
    /// The SKU.
    Sku(String),
    /// The product's name.
    Title(String),
    /// The way the plate turns.
    Direction(Direction),
    /// The file-name pattern.
    FileName(String),
    /// The settle time.
    SettleSecs(String),
    /// The longest wait for rest.
    RestWithinSecs(String),
    /// The exposure time.
    ExposureSecs(String),
    /// Whether whole-turn rows end with a closing frame.
    ClosingFrame(bool),
    /// A field of a row, counted from 0.
    Row(usize, RowEdit),
    /// One more row, like the last.
    AddRow,
    /// One row fewer.
    RemoveRow(usize),
}

/// One change in a row's fields.
#[derive(Debug, Clone, PartialEq)]
pub enum RowEdit {
    /// The name.
    Name(String),
    /// The note on the camera.
    TiltNote(String),
    /// How many stops.
    Stops(String),
    /// Where the first stop lies.
    Start(String),
    /// How far the row reaches.
    Arc(String),
    /// Stops left out.
    Skip(String),
}

impl RowDraft {
    fn new(id: u64, row: &Row) -> Self {
        Self {
            id,
            name: row.name.clone(),
            tilt_note: row.tilt_note.clone(),
            stops: row.stops.to_string(),
            start: row.start.to_string(),
            arc: row.arc.to_string(),
            skip: number_list(row.skip.iter().copied()),
        }
    }
}

impl PlanDraft {
    /// Fills the fields from a plan.
    pub fn new(plan: &Plan) -> Self {
        Self {
            sku: plan.sku.clone(),
            title: plan.title.clone(),
            direction: plan.direction,
            rows: plan.rows.iter().enumerate().map(|(at, row)| RowDraft::new(at as u64, row)).collect(),
            file_name: plan.file_name.0.clone(),
            settle_secs: plan.settle_secs.to_string(),
            rest_within_secs: plan.rest_within_secs.map(|secs| secs.to_string()).unwrap_or_default(),
            exposure_secs: plan.exposure_secs.to_string(),
            closing_frame: plan.closing_frame,
            next_row: plan.rows.len() as u64,
        }
    }

    /// Takes one change into the fields.
    pub fn apply(&mut self, edit: PlanEdit) {
        match edit {
            PlanEdit::Sku(text) => self.sku = text,
            PlanEdit::Title(text) => self.title = text,
            PlanEdit::Direction(direction) => self.direction = direction,
            PlanEdit::FileName(text) => self.file_name = text,
            PlanEdit::SettleSecs(text) => self.settle_secs = text,
            PlanEdit::RestWithinSecs(text) => self.rest_within_secs = text,
            PlanEdit::ExposureSecs(text) => self.exposure_secs = text,
            PlanEdit::ClosingFrame(closing_frame) => self.closing_frame = closing_frame,
            PlanEdit::Row(at, edit) => {
                if let Some(row) = self.rows.get_mut(at) {
                    match edit {
                        RowEdit::Name(text) => row.name = text,
                        RowEdit::TiltNote(text) => row.tilt_note = text,
                        RowEdit::Stops(text) => row.stops = text,
                        RowEdit::Start(text) => row.start = text,
                        RowEdit::Arc(text) => row.arc = text,
                        RowEdit::Skip(text) => row.skip = text,
                    }
                }
            }
            PlanEdit::AddRow => self.add_row(),
            PlanEdit::RemoveRow(at) => {
                if self.rows.len() > 1 && at < self.rows.len() {
                    self.rows.remove(at);
                }
            }
        }
    }

    fn add_row(&mut self) {
        if self.rows.len() >= MAX_ROWS {
            return;
        }
        let numbered = (1..=MAX_ROWS + 1).map(|number| format!("row{number}"));
        let name = ["high", "low", "top"]
            .map(str::to_owned)
            .into_iter()
            .chain(numbered)
            .find(|name| !self.rows.iter().any(|row| row.name.eq_ignore_ascii_case(name)))
            .unwrap_or_default();
        let like = self.rows.last().cloned().unwrap_or_else(|| RowDraft::new(0, &Row::full_turn(&name, 24)));
        self.rows.push(RowDraft {
            id: self.next_row,
            name,
            tilt_note: String::new(),
            skip: String::new(),
            ..like
        });
        self.next_row += 1;
    }

    /// Reads the fields: a plan, and all that keeps it from being shot.
    ///
    /// Where a field cannot be read, the plan holds a stand-in and the problem names the field.
    pub fn read(&self) -> (Plan, Vec<PlanProblem>) {
        let mut found = Vec::new();
        let mut or_say = |field, result: Result<Angle, String>, stand_in: Angle| {
            result.unwrap_or_else(|message| {
                found.push(PlanProblem { field, message });
                stand_in
            })
        };
        let mut rows = Vec::new();
        for (at, row) in self.rows.iter().enumerate() {
            let angle = |text: &str| text.parse::<Angle>().map_err(|error| error.to_string());
            rows.push(Row {
                name: row.name.clone(),
                tilt_note: row.tilt_note.clone(),
                stops: 1,
                start: or_say(PlanField::RowStart(at), angle(&row.start), Angle::ZERO),
                arc: or_say(PlanField::RowArc(at), angle(&row.arc), Angle::TURN),
                skip: Vec::new(),
            });
        }
        for (at, row) in self.rows.iter().enumerate() {
            match whole_number(&row.stops) {
                Ok(stops) => rows[at].stops = stops,
                Err(message) => found.push(PlanProblem { field: PlanField::RowStops(at), message }),
            }
            match stop_list(&row.skip) {
                Ok(skip) => rows[at].skip = skip,
                Err(message) => found.push(PlanProblem { field: PlanField::RowSkip(at), message }),
            }
        }
        let mut secs = |field, text: &str, stand_in| {
            seconds(text).unwrap_or_else(|message| {
                found.push(PlanProblem { field, message });
                stand_in
            })
        };
        let watches = !self.rest_within_secs.trim().is_empty();
        let plan = Plan {
            schema: PLAN_SCHEMA,
            sku: self.sku.clone(),
            title: self.title.clone(),
            direction: self.direction,
            rows,
            file_name: NamePattern(self.file_name.clone()),
            settle_secs: secs(PlanField::Settle, &self.settle_secs, 0.0),
            rest_within_secs: watches.then(|| secs(PlanField::RestWithin, &self.rest_within_secs, 0.0)),
            exposure_secs: secs(PlanField::Exposure, &self.exposure_secs, 0.0),
            closing_frame: self.closing_frame,
        };
        // The plan itself looks at names last, once all else is right.
        if let Err(message) = plan.file_name.check() {
            found.push(PlanProblem { field: PlanField::FileName, message });
        }
        for problem in plan.problems() {
            if !found.iter().any(|earlier| earlier.field == problem.field) {
                found.push(problem);
            }
        }
        (plan, found)
    }
}

fn whole_number(text: &str) -> Result<u32, String> {
    text.trim()
        .parse()
        .map_err(|_| t!("draft-is-not-a-whole-number", text = text, MAX_STOPS_PER_ROW = MAX_STOPS_PER_ROW))
}

fn seconds(text: &str) -> Result<f64, String> {
    // A comma is what many keyboards give for a decimal point; cameras show short times as 1/4.
    let number = |text: &str| text.trim().replace(',', ".").parse::<f64>().ok();
    let secs = match text.split_once('/') {
        Some((above, below)) => number(above).zip(number(below)).map(|(above, below)| above / below),
        None => number(text),
    };
    secs.filter(|secs| secs.is_finite()).ok_or_else(|| t!("draft-is-not-a-number-of", text = text))
}

/// Reads stop numbers such as `3, 7-9`.
fn stop_list(text: &str) -> Result<Vec<u32>, String> {
    let mut numbers = Vec::new();
    for part in text.split([',', ' ', ';']).filter(|part| !part.is_empty()) {
        let bad = || t!("draft-is-no-stop-number-write", part = part);
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let first: u32 = first.parse().map_err(|_| bad())?;
        let last: u32 = last.parse().map_err(|_| bad())?;
        if first > last || last - first > MAX_STOPS_PER_ROW {
            return Err(bad());
        }
        numbers.extend(first..=last);
    }
    numbers.sort_unstable();
    numbers.dedup();
    Ok(numbers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_survives_the_fields() {
        let mut plan = Plan::single_row("LP-0142", 7);
        plan.rows[0].skip = vec![2, 4, 5, 6];
        plan.rows[0].start = "22.5".parse().unwrap();
        plan.rows.push(Row { arc: "360/7".parse().unwrap(), ..Row::full_turn("high", 3) });
        let (read, problems) = PlanDraft::new(&plan).read();
        assert_eq!(problems, Vec::new());
        assert_eq!(read, plan);
    }

    #[test]
    fn every_bad_field_is_named_once() {
        let mut draft = PlanDraft::new(&Plan::single_row("LP-0142", 24));
        draft.apply(PlanEdit::Sku("a/b".to_owned()));
        draft.apply(PlanEdit::SettleSecs("soon".to_owned()));
        draft.apply(PlanEdit::Row(0, RowEdit::Stops("many".to_owned())));
        draft.apply(PlanEdit::Row(0, RowEdit::Arc("400".to_owned())));
        draft.apply(PlanEdit::Row(0, RowEdit::Skip("4-2".to_owned())));
        let mut fields: Vec<String> =
            draft.read().1.iter().map(|problem| format!("{:?}", problem.field)).collect();
        fields.sort();
        assert_eq!(fields, ["RowArc(0)", "RowSkip(0)", "RowStops(0)", "Settle", "Sku"]);
    }

    #[test]
    fn rows_come_and_go_and_one_stays() {
        let mut draft = PlanDraft::new(&Plan::single_row("LP-0142", 24));
        draft.apply(PlanEdit::AddRow);
        assert_eq!(draft.rows[1].name, "high");
        assert_ne!(draft.rows[0].id, draft.rows[1].id);
        draft.apply(PlanEdit::RemoveRow(0));
        draft.apply(PlanEdit::RemoveRow(0));
        assert_eq!(draft.rows.len(), 1);
        assert!(draft.read().1.is_empty());
    }

    #[test]
    fn times_are_read_as_cameras_show_them() {
        assert_eq!([seconds("0,8"), seconds(" 1/4 "), seconds("2")], [Ok(0.8), Ok(0.25), Ok(2.0)]);
        assert!(seconds("1/0").is_err() && seconds("1/").is_err() && seconds("a/4").is_err());
    }
}
