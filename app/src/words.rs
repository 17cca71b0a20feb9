//! Figures and states in words, the same in window and command line.

use session_core::engine::{Activity, StopState};

/// A duration for people: `45 s`, `3 min 20 s`, `1 h 05 min`.
pub fn duration(secs: f64) -> String {
    let whole = secs.max(0.0).round() as u64;
    match whole {
        0..60 => format!("{whole} s"),
        60..3600 => format!("{} min {:02} s", whole / 60, whole % 60),
        _ => format!("{} h {:02} min", whole / 3600, whole % 3600 / 60),
    }
}

/// The text with a capital first letter.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

/// The word for a stop's state.
pub fn state(state: StopState) -> &'static str {
    match state {
        StopState::Kept => "kept",
        StopState::Missing => "missing",
        StopState::SetAside => "set aside",
    }
}

/// The word for what is being done for a stop; empty for nothing.
pub fn activity(activity: Activity) -> &'static str {
    match activity {
        Activity::None => "",
        Activity::Queued => "to be shot",
        Activity::Turning => "turning",
        Activity::Settling => "settling",
        Activity::Exposing => "exposing",
        Activity::Receiving => "receiving",
        Activity::Keeping => "writing",
    }
}
