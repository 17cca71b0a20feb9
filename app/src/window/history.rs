//! Undo and redo of what is typed into the plan.

use super::draft::{PlanDraft, PlanEdit, RowEdit};

/// Steps that can be taken back.
const MOST_STEPS: usize = 200;

/// Which field an edit belongs to: typing on in one field is one step.
#[derive(Debug, Clone, PartialEq, Eq)]
struct FieldKey {
    row: Option<usize>,
    field: &'static str,
}

/// The plan's fields as they were.
#[derive(Debug, Clone, Default)]
pub struct History {
    past: Vec<PlanDraft>,
    future: Vec<PlanDraft>,
    typing: Option<FieldKey>,
}

impl History {
    /// Notes the fields as they are before an edit.
    pub fn note(&mut self, before: &PlanDraft, edit: &PlanEdit) {
        let key = field_of(edit);
        if key.is_none() || key != self.typing {
            self.past.push(before.clone());
            if self.past.len() > MOST_STEPS {
                self.past.remove(0);
            }
        }
        self.typing = key;
        self.future.clear();
    }

    /// Notes the fields as they are before a whole plan takes their place.
    pub fn note_whole(&mut self, before: &PlanDraft) {
        self.typing = None;
        self.future.clear();
        if self.past.last() != Some(before) {
            self.past.push(before.clone());
        }
    }

    /// Takes the last step back.
    pub fn undo(&mut self, now: &PlanDraft) -> Option<PlanDraft> {
        self.typing = None;
        let before = self.past.pop()?;
        self.future.push(now.clone());
        Some(before)
    }

    /// Takes the step forward again.
    pub fn redo(&mut self, now: &PlanDraft) -> Option<PlanDraft> {
        self.typing = None;
        let after = self.future.pop()?;
        self.past.push(now.clone());
        Some(after)
    }

    /// Whether there is something to take back.
    pub fn can_undo(&self) -> bool {
        !self.past.is_empty()
    }

    /// Whether there is something to do again.
    pub fn can_redo(&self) -> bool {
        !self.future.is_empty()
    }
}

/// The text field an edit is typed into; `None` for edits that are a step each.
fn field_of(edit: &PlanEdit) -> Option<FieldKey> {
    let (row, field) = match edit {
        PlanEdit::Sku(_) => (None, "sku"),
        PlanEdit::Title(_) => (None, "title"),
        PlanEdit::FileName(_) => (None, "file name"),
        PlanEdit::SettleSecs(_) => (None, "settle"),
        PlanEdit::RestWithinSecs(_) => (None, "rest within"),
        PlanEdit::ExposureSecs(_) => (None, "exposure"),
        PlanEdit::Row(row, edit) => {
            let field = match edit {
                RowEdit::Name(_) => "name",
                RowEdit::TiltNote(_) => "note",
                RowEdit::Stops(_) => "stops",
                RowEdit::Start(_) => "start",
                RowEdit::Arc(_) => "arc",
                RowEdit::Skip(_) => "skip",
            };
            (Some(*row), field)
        }
        PlanEdit::Direction(_) | PlanEdit::ClosingFrame(_) | PlanEdit::AddRow | PlanEdit::RemoveRow(_) => {
            return None;
        }
    };
    Some(FieldKey { row, field })
}

#[cfg(test)]
mod tests {
    use super::*;
    use session_core::plan::Plan;

    fn typed(history: &mut History, draft: &mut PlanDraft, edit: PlanEdit) {
        history.note(draft, &edit);
        draft.apply(edit);
    }

    #[test]
    fn typing_in_one_field_is_one_step() {
        let mut draft = PlanDraft::new(&Plan::single_row("LP", 8));
        let begun = draft.clone();
        let mut history = History::default();
        for text in ["A", "AB", "ABC"] {
            typed(&mut history, &mut draft, PlanEdit::Sku(text.to_owned()));
        }
        typed(&mut history, &mut draft, PlanEdit::AddRow);
        typed(&mut history, &mut draft, PlanEdit::AddRow);
        let all = draft.clone();
        for (rows, sku) in [(2, "ABC"), (1, "ABC"), (1, "LP")] {
            draft = history.undo(&draft).unwrap();
            assert_eq!((draft.rows.len(), draft.sku.as_str()), (rows, sku));
        }
        assert_eq!(draft, begun);
        assert!(!history.can_undo() && history.undo(&draft).is_none());
        while let Some(next) = history.redo(&draft) {
            draft = next;
        }
        assert_eq!(draft, all);
        // A new edit ends what could be done again.
        draft = history.undo(&draft).unwrap();
        typed(&mut history, &mut draft, PlanEdit::Title("Jug".to_owned()));
        assert!(!history.can_redo());
    }
}
