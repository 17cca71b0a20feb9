//! Times, counts and angles as words for people.

use session_core::check::{Flag, FlagKind, Response};
use session_core::engine::Activity;
use session_core::motion::Direction;
use session_core::plan::PlanField;

use super::draft::PlanDraft;
use super::text::t;

/// Says how long something takes, such as `about 3 min 20 s`.
pub fn span(secs: f64) -> String {
    t!("words-about", span = short_span(secs))
}

/// The same without the word for about, where there is little room.
pub fn short_span(secs: f64) -> String {
    let secs = if secs.is_finite() { secs.max(0.0) } else { 0.0 };
    // Coarser as it grows: an estimate of an hour is not good to a second.
    let step = if secs < 60.0 {
        1.0
    } else if secs < 600.0 {
        5.0
    } else {
        60.0
    };
    duration(((secs / step).ceil() * step).max(1.0))
}

/// A whole number of seconds as words.
fn duration(secs: f64) -> String {
    let secs = secs as u64;
    let two = |figure: u64| format!("{figure:02}");
    match (secs / 60, secs % 60) {
        (0, secs) => t!("words-seconds", secs = secs),
        (minutes @ 1..60, 0) => t!("words-whole-minutes", minutes = minutes),
        (minutes @ 1..60, secs) => t!("words-minutes", minutes = minutes, secs = two(secs)),
        (minutes, _) => t!("words-hours", hours = minutes / 60, minutes = two(minutes % 60)),
    }
}

/// The way a plate turns, seen from above.
pub fn direction(direction: Direction) -> String {
    match direction {
        Direction::Anticlockwise => t!("words-anticlockwise"),
        Direction::Clockwise => t!("words-clockwise"),
    }
}

/// What is being done for a stop; empty for nothing.
pub fn activity(activity: Activity) -> String {
    match activity {
        Activity::None => String::new(),
        Activity::Queued => t!("words-to-be-shot"),
        Activity::Turning => t!("words-turning"),
        Activity::Settling => t!("words-settling"),
        Activity::Exposing => t!("words-exposing"),
        Activity::Receiving => t!("words-receiving"),
        Activity::Keeping => t!("words-writing"),
    }
}

/// The words for a kind of flag.
pub fn flag_kind(kind: FlagKind) -> String {
    match kind {
        FlagKind::OutOfFocus => t!("words-out-of-focus"),
        FlagKind::MotionBlur => t!("words-motion-blur"),
        FlagKind::ExposureOff => t!("words-exposure-off"),
        FlagKind::WhiteBalanceOff => t!("words-white-balance-off"),
        FlagKind::Clipped => t!("words-clipped"),
        FlagKind::Duplicate => t!("words-duplicate"),
        FlagKind::WrongAngle => t!("words-wrong-angle"),
        FlagKind::ObjectSlipped => t!("words-object-slipped"),
        FlagKind::BackgroundUneven => t!("words-background-uneven"),
        FlagKind::Damaged => t!("words-damaged"),
        FlagKind::SizeDiffers => t!("words-size-differs"),
    }
}

/// What was found on a frame: its kind, and what it is told by.
pub fn flag(flag: &Flag) -> String {
    format!("{}: {}", flag_kind(flag.kind), flag.reason)
}

/// The word for what follows from a flag.
pub fn response(response: Response) -> String {
    match response {
        Response::Tell => t!("words-tell"),
        Response::Pause => t!("words-pause"),
        Response::Retake => t!("words-retake"),
    }
}

/// What a field of the plan is called; those of a row with its number where there are several rows.
pub fn plan_field(field: PlanField, draft: &PlanDraft) -> String {
    let in_row = |caption: String, at: usize| {
        if draft.rows.len() > 1 { t!("plan-row-row-2", caption = caption, at = at + 1) } else { caption }
    };
    match field {
        PlanField::Whole => t!("plan-add-a-row"),
        PlanField::Sku => t!("plan-sku"),
        PlanField::FileName => t!("plan-file-names"),
        PlanField::Settle => t!("plan-settle-after-a-turn-s"),
        PlanField::RestWithin => t!("plan-rest-within-s"),
        PlanField::Exposure => t!("plan-exposure-s"),
        PlanField::ClosingFrame => t!("plan-closing-frame"),
        PlanField::RowName(at) => in_row(t!("plan-row-row"), at),
        PlanField::RowStops(at) => in_row(t!("plan-row-stops"), at),
        PlanField::RowStart(at) => in_row(t!("plan-row-from"), at),
        PlanField::RowArc(at) => in_row(t!("plan-row-over"), at),
        PlanField::RowSkip(at) => in_row(t!("plan-row-leave-out-stops"), at),
    }
}

/// Lists numbers with runs drawn together, such as `3, 7-9`.
pub fn number_list(numbers: impl IntoIterator<Item = u32>) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if number == *last + 1 => *last = number,
            _ => runs.push((number, number)),
        }
    }
    let texts = runs.iter().map(|(first, last)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first}-{last}"),
    });
    texts.collect::<Vec<_>>().join(", ")
}

/// Names the stops of a set that have no frame.
pub fn without_frame(stops: &[u32]) -> String {
    t!("finishing-missing", n = stops.len(), stops = number_list(stops.iter().copied()))
}

/// The size of a file: `60 kB`, `4.2 MB`.
pub fn file_size(bytes: u64) -> String {
    if bytes < 1_000_000 {
        t!("words-kilobytes", figure = format!("{:.0}", bytes as f64 / 1e3))
    } else {
        t!("words-megabytes", figure = format!("{:.1}", bytes as f64 / 1e6))
    }
}

/// Shortens a text in its middle to at most `most` characters.
pub fn middle_cut(text: &str, most: usize) -> String {
    let length = text.chars().count();
    if length <= most || most < 5 {
        return text.to_owned();
    }
    let head = (most - 1) / 3;
    let tail = most - 1 - head;
    let start: String = text.chars().take(head).collect();
    let end: String = text.chars().skip(length - tail).collect();
    format!("{start}…{end}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_read_like_speech() {
        for (secs, words) in [
            (0.2, "about 1 s"),
            (44.1, "about 45 s"),
            (59.5, "about 1 min"),
            (121.0, "about 2 min 05 s"),
            (601.0, "about 11 min"),
            (3_540.5, "about 1 h 00 min"),
            (f64::NAN, "about 1 s"),
        ] {
            assert_eq!(span(secs), words, "{secs}");
        }
    }

    #[test]
    fn runs_are_drawn_together() {
        assert_eq!(number_list([3, 7, 8, 9, 11, 12]), "3, 7-9, 11, 12");
        assert_eq!(number_list([]), "");
    }

    #[test]
    fn long_paths_keep_their_end() {
        assert_eq!(middle_cut("studio/sets/LP-0142", 12), "stu…/LP-0142");
        assert_eq!(middle_cut("short", 12), "short");
    }
}
