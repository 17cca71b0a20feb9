//! Which picture the large one is compared with, and why there may be none.

use session_core::view::VersionView;

use super::stage::Against;
use super::state::State;
use super::text::t;

impl State {
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
        let picture = shown.picture().ok_or_else(String::new)?;
        let at = self.places.iter().position(|place| place.index == shown.index).unwrap_or_default();
        let in_row = |place: &&super::places::Place| {
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
