//! What checks find on frames, and what follows from it. Knows no pixels: who looks at them is
//! handed in as a [`FrameChecker`].

use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::cancel::CancelToken;
use crate::motion::Direction;

/// Says what is wrong with a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FlagKind {
    /// Soft in both directions, against its neighbours.
    OutOfFocus,
    /// Soft across only: the table still moved.
    MotionBlur,
    /// Brighter or darker than its neighbours.
    ExposureOff,
    /// Another colour of light than its neighbours.
    WhiteBalanceOff,
    /// Highlights or shadows without detail.
    Clipped,
    /// The picture of the stop before, once more.
    Duplicate,
    /// The stop stands wrong, alone.
    WrongAngle,
    /// From this stop on the object stands shifted on the plate.
    ObjectSlipped,
    /// The background changes much across the frame.
    BackgroundUneven,
    /// The file cannot be read, or not all of it, or shows no object.
    Damaged,
    /// Another size or orientation than the rest.
    SizeDiffers,
}

impl FlagKind {
    /// Every kind.
    pub const ALL: [Self; 11] = [
        Self::OutOfFocus,
        Self::MotionBlur,
        Self::ExposureOff,
        Self::WhiteBalanceOff,
        Self::Clipped,
        Self::Duplicate,
        Self::WrongAngle,
        Self::ObjectSlipped,
        Self::BackgroundUneven,
        Self::Damaged,
        Self::SizeDiffers,
    ];

    /// The words for it.
    pub fn words(self) -> &'static str {
        match self {
            Self::OutOfFocus => "out of focus",
            Self::MotionBlur => "motion blur",
            Self::ExposureOff => "exposure off",
            Self::WhiteBalanceOff => "white balance off",
            Self::Clipped => "clipped",
            Self::Duplicate => "duplicate",
            Self::WrongAngle => "wrong angle",
            Self::ObjectSlipped => "object slipped",
            Self::BackgroundUneven => "background uneven",
            Self::Damaged => "damaged",
            Self::SizeDiffers => "size differs",
        }
    }

    /// What follows when nobody has chosen.
    ///
    /// Shot again is what passes by itself: a flash that missed, a knock, a torn file. Where only a
    /// hand can help and every later frame would suffer too, the session waits for one. What belongs
    /// to the light or the glaze would be the same on every retake, so it is told.
    pub fn usual_response(self) -> Response {
        match self {
            Self::MotionBlur | Self::ExposureOff | Self::Duplicate | Self::WrongAngle | Self::Damaged => {
                Response::Retake
            }
            Self::OutOfFocus | Self::ObjectSlipped | Self::SizeDiffers => Response::Pause,
            Self::WhiteBalanceOff | Self::Clipped | Self::BackgroundUneven => Response::Tell,
        }
    }
}

impl fmt::Display for FlagKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

impl FromStr for FlagKind {
    type Err = String;

    /// Reads `out-of-focus`, `out_of_focus` or `out of focus`.
    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.replace(['-', '_'], " ");
        Self::ALL.into_iter().find(|kind| kind.words() == plain).ok_or_else(|| {
            let known = Self::ALL.map(|kind| kind.words().replace(' ', "-"));
            format!("'{text}' is nothing that a check looks for; known are {}", known.join(", "))
        })
    }
}

/// What was seen on a frame and how much.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// The kind.
    pub kind: FlagKind,
    /// What was seen and what to do, for a person.
    pub reason: String,
    /// How much, in `unit`.
    pub amount: f64,
    /// Unit of the amount, such as `px`, `EV`, `%` or `°`.
    pub unit: String,
}

impl fmt::Display for Flag {
    /// Writes kind and amount, such as `motion blur +3.20 px`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {:+.2} {}", self.kind, self.amount, self.unit)
    }
}

/// What follows from a flag. Frames are kept whatever follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Response {
    /// The person is told.
    Tell,
    /// The session waits for the person after the stop under way.
    Pause,
    /// The stop is shot again by itself, once for each kind; after that the person is told.
    Retake,
}

impl Response {
    /// Every response.
    pub const ALL: [Self; 3] = [Self::Tell, Self::Pause, Self::Retake];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tell => "tell",
            Self::Pause => "pause",
            Self::Retake => "retake",
        }
    }
}

impl FromStr for Response {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|response| response.word() == text)
            .ok_or_else(|| format!("'{text}' is no response; write tell, pause or retake"))
    }
}

/// What follows from each kind of flag: what a person has chosen, else the usual.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FlagPolicy(BTreeMap<FlagKind, Response>);

impl FlagPolicy {
    /// What follows from a flag of this kind.
    pub fn response(&self, kind: FlagKind) -> Response {
        self.0.get(&kind).copied().unwrap_or_else(|| kind.usual_response())
    }

    /// Chooses what follows from a flag of this kind.
    pub fn choose(&mut self, kind: FlagKind, response: Response) {
        self.0.insert(kind, response);
    }

    /// The same with the usual pauses taken back, for a session that nobody attends; what was chosen stays.
    #[must_use]
    pub fn unattended(mut self) -> Self {
        for kind in FlagKind::ALL.into_iter().filter(|kind| kind.usual_response() == Response::Pause) {
            self.0.entry(kind).or_insert(Response::Tell);
        }
        self
    }
}

/// A kept frame to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameToCheck {
    /// The stop's number.
    pub stop: u32,
    /// The frame's version, from 1.
    pub version: u32,
    /// The planned angle along the plan's direction, degrees from 0; a closing frame's is one turn more.
    pub degrees: f64,
    /// Whether it is the row's closing frame, its first one a full turn on.
    pub closing: bool,
    /// The picture to look at.
    pub path: PathBuf,
}

/// The angle that the pictures themselves show a stop at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum SeenAngle {
    /// They tell.
    Told {
        /// Along the plan's direction, degrees from 0; a closing frame's is one turn more.
        degrees: f64,
        /// Standard uncertainty, degrees.
        uncertainty_deg: f64,
    },
    /// They do not.
    CannotTell {
        /// Why, for a person.
        cannot_tell: String,
    },
}

/// What was found on one frame; it takes the place of what was found on it before.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The stop's number.
    pub stop: u32,
    /// The frame's version.
    pub version: u32,
    /// What is wrong; empty when nothing is.
    pub flags: Vec<Flag>,
    /// The angle that the pictures show; `None` when it was not measured this time, so that what was
    /// measured before stays.
    pub seen_angle: Option<SeenAngle>,
}

/// Looks at frames. Called on a thread of its own, which neither table nor camera waits for.
pub trait FrameChecker: Send {
    /// Judges the frame of `stop` among `row`, the frames in use of its row in the order of the plan;
    /// neighbours on which it throws new light may be judged anew.
    fn check_frame(
        &mut self,
        row: &[FrameToCheck],
        stop: u32,
        cancel: &CancelToken,
        found: &mut dyn FnMut(Finding),
    );

    /// Judges all frames of a row together, angles included; gives what a person should know of how.
    ///
    /// # Errors
    /// A sentence for people when the row as a whole cannot be judged.
    fn check_row(
        &mut self,
        row: &[FrameToCheck],
        direction: Direction,
        cancel: &CancelToken,
        found: &mut dyn FnMut(Finding),
    ) -> Result<Option<String>, String>;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_and_responses_are_read_as_they_are_written() {
        for kind in FlagKind::ALL {
            assert_eq!(kind.words().parse(), Ok(kind));
            let json = serde_json::to_string(&kind).unwrap_or_default();
            assert_eq!(json.trim_matches('"').parse(), Ok(kind));
        }
        assert!("blurry".parse::<FlagKind>().is_err_and(|error| error.contains("motion-blur")));
        for response in Response::ALL {
            assert_eq!(response.word().parse(), Ok(response));
        }
        assert!("stop".parse::<Response>().is_err());
    }

    #[test]
    fn unattended_takes_back_only_pauses_nobody_chose() {
        let mut policy = FlagPolicy::default();
        policy.choose(FlagKind::SizeDiffers, Response::Pause);
        let alone = policy.unattended();
        assert_eq!(alone.response(FlagKind::OutOfFocus), Response::Tell);
        assert_eq!(alone.response(FlagKind::SizeDiffers), Response::Pause);
        assert_eq!(alone.response(FlagKind::Damaged), Response::Retake);
    }
}
