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

/// The size of a file for people: `60 kB`, `4.2 MB`.
pub fn file_size(bytes: u64) -> String {
    if bytes < 1_000_000 {
        format!("{:.0} kB", bytes as f64 / 1e3)
    } else {
        format!("{:.1} MB", bytes as f64 / 1e6)
    }
}

/// An error with what led to it, each said once: many say their cause themselves.
pub fn with_causes(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain().map(ToString::to_string) {
        if !text.contains(&cause) {
            let joint = if text.is_empty() { "" } else { ": " };
            text = format!("{text}{joint}{cause}");
        }
    }
    text
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

#[cfg(test)]
mod tests {
    use anyhow::Context;

    use super::*;

    #[test]
    fn sizes_are_told_in_figures_that_fit() {
        assert_eq!([60_000, 999_499, 4_240_000].map(file_size), ["60 kB", "999 kB", "4.2 MB"]);
    }

    #[test]
    fn a_cause_that_was_named_is_not_named_twice() {
        let gone = || std::io::Error::other("it is gone");
        let named = anyhow::Error::from(gone()).context("cannot make folder pots: it is gone");
        assert_eq!(
            with_causes(&named.context("the listing")),
            "the listing: cannot make folder pots: it is gone"
        );
        let plain = Err::<(), _>(gone()).context("the listing").unwrap_err();
        assert_eq!(with_causes(&plain), "the listing: it is gone");
    }
}
