//! Which picture is shown large, which it is compared with, and why there may be none.

use session_core::view::VersionView;

use super::places::Place;
use super::stage::Against;
use super::state::State;
use super::text::t;

impl State {
    /// The picture of the stop that is shown: the version asked for, else the one in use.
    pub fn large_picture(&self) -> Option<&VersionView> {
        let place = self.shown()?;
        let asked = self.stage.version;
        let asked = asked.and_then(|asked| place.versions.iter().find(|version| version.version == asked));
        asked.or_else(|| place.picture())
    }

    /// Ends looks that were meant for another stop or for another version in use.
    pub fn end_past_looks(&mut self) {
        let now = self.shown().and_then(|place| Some((place.index, in_use(place)?)));
        let before = std::mem::replace(&mut self.looked_at, now);
        if before == now {
            return;
        }
        self.stage.version = None;
        let same_stop = before.zip(now).is_some_and(|(before, now)| before.0 == now.0);
        let pointless = same_stop && self.other_picture().is_none();
        if matches!(self.stage.against, Against::Version(_)) || pointless {
            self.stage.against = Against::Nothing;
        }
    }

    /// The picture that the large one is compared with, if there is one.
    pub fn other_picture(&self) -> Option<&VersionView> {
        self.compared().ok()
    }

    /// Why there is no picture to compare the large one with; `None` when there is one or none is asked for.
    pub fn why_no_other(&self) -> Option<String> {
        self.compared().err().filter(|reason| !reason.is_empty())
    }

    fn compared(&self) -> Result<&VersionView, String> {
        let shown = self.shown().ok_or_else(String::new)?;
        let picture = self.large_picture().ok_or_else(String::new)?;
        let at = self.places.iter().position(|place| place.index == shown.index).unwrap_or_default();
        let in_row = |place: &&Place| {
            place.row == shown.row && place.index != shown.index && place.picture().is_some()
        };
        match self.stage.against {
            Against::Nothing => Err(String::new()),
            // Before the first comes the last: the row closes.
            Against::PreviousStop => {
                let before = self.places[..at].iter().rev().find(in_row);
                let other = before.or_else(|| self.places[at..].iter().rev().find(in_row));
                let other = other.and_then(|place| place.picture());
                other.ok_or_else(|| t!("compare-no-other-frame"))
            }
            Against::FirstStop => {
                let first = self.places.iter().find(|place| place.row == shown.row);
                let first = first.filter(|first| first.index != shown.index);
                let first = first.ok_or_else(|| t!("compare-is-the-first"))?;
                first.picture().ok_or_else(|| t!("compare-first-has-no-frame"))
            }
            Against::Version(version) if version == picture.version => {
                Err(t!("compare-is-that-version", version = version))
            }
            Against::Version(version) => {
                let other = shown.versions.iter().find(|one| one.version == version);
                other.ok_or_else(|| t!("compare-no-such-version", version = version))
            }
            Against::EarlierVersion => {
                let other = shown.versions.iter().rev().find(|version| version.version < picture.version);
                other.ok_or_else(|| t!("compare-no-earlier-version"))
            }
        }
    }
}

/// The version that stands for a stop.
fn in_use(place: &Place) -> Option<u32> {
    place.picture().map(|version| version.version)
}
