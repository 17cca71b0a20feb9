//! What goes into the engine and what comes out of it.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{Angle, CameraError, Direction, FrameSettings, StepsPerTurn, Stop, TableError, TablePosition};
use crate::check::Flag;
use crate::motion::SpeedProfile;
use crate::rest::Rest;

/// Settings of one run that do not change while it lasts.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineConfig {
    /// The plan's direction.
    pub direction: Direction,
    /// The table's exact steps in a turn.
    pub steps_per_turn: StepsPerTurn,
    /// The table's speeds; for time-outs.
    pub speeds: SpeedProfile,
    /// How far before a stop the last move begins at least, so that gear play is taken up.
    pub run_up: Angle,
    /// The wait between the end of a turn and the exposure.
    pub settle: Duration,
    /// Where given, the live picture is watched and the exposure begins when it stands still, after this
    /// long at most; `settle` is waited where the picture does not tell.
    pub rest_within: Option<Duration>,
    /// What an exposure with its transfer may take in all.
    pub frame_patience: Duration,
    /// What keeping one frame on disk may take.
    pub keep_patience: Duration,
    /// How often a stop is tried again before a person is asked.
    pub retries: u32,
    /// Whether to stop before each new row, for the camera to be set.
    pub pause_between_rows: bool,
}

impl EngineConfig {
    /// Common settings for a table; the caller sets the rest.
    pub fn new(direction: Direction, steps_per_turn: StepsPerTurn, speeds: SpeedProfile) -> Self {
        Self {
            direction,
            steps_per_turn,
            speeds,
            // Gear play of hobby gearboxes is said to be 0.5° to 2° (hearsay, no source): measure it.
            run_up: Angle::from_turns(2, 360),
            settle: Duration::from_millis(800),
            rest_within: None,
            frame_patience: Duration::from_secs(120),
            keep_patience: Duration::from_secs(120),
            retries: 2,
            pause_between_rows: false,
        }
    }
}

/// What is known of a stop when a run begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StopSeed {
    /// The stop.
    pub stop: Stop,
    /// Its state on disk.
    pub state: StopState,
    /// The highest version number on record, 0 for none.
    pub versions: u32,
    /// The version in use, 0 for none.
    pub chosen: u32,
    /// The step at which the frame in use was shot, counted from the zero in force, where it is known.
    pub step: Option<i64>,
}

/// What the frames in a set were shot with, when a run begins.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SettingsSeed {
    /// What new frames are compared with; `None` while there is no frame that tells.
    pub reference: Option<FrameSettings>,
    /// Frames in use that differ and that nobody has answered for: stop, shot number, settings.
    pub drifted: Vec<(u32, u64, FrameSettings)>,
}

/// Whether a stop has its frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StopState {
    /// A frame is kept and in use.
    Kept,
    /// No frame yet.
    Missing,
    /// Frames are there, but the photographer uses none of them.
    SetAside,
}

/// A stop as the engine sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StopStatus {
    /// The stop.
    pub stop: Stop,
    /// Whether it has its frame.
    pub state: StopState,
    /// The highest version number, 0 for none.
    pub versions: u32,
    /// The version in use, 0 for none.
    pub chosen: u32,
    /// The step at which the frame in use was shot, counted from the zero in force, where it is known.
    pub step: Option<i64>,
    /// Left out of this run by the photographer.
    pub skipped: bool,
    /// Failed tries since the last success.
    pub attempts: u32,
    /// What went wrong last, until it goes right.
    pub problem: Option<String>,
}

impl StopStatus {
    pub(super) fn new(seed: StopSeed) -> Self {
        Self {
            stop: seed.stop,
            state: seed.state,
            versions: seed.versions,
            chosen: seed.chosen,
            step: seed.step,
            skipped: false,
            attempts: 0,
            problem: None,
        }
    }
}

/// One exposure at a confirmed place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shot {
    /// The exposure's number in the session.
    pub number: u64,
    /// The stop's number.
    pub stop: u32,
    /// The step that was asked for.
    pub commanded_step: i64,
    /// The step the table reported after the turn.
    pub reported_step: i64,
}

/// What a person wants; from the window or the command line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Intent {
    /// Shoot every stop that has no frame.
    Start,
    /// Finish the present stop, then wait.
    PauseAfterFrame,
    /// Go on after a pause or a stop.
    Resume,
    /// Halt the table now. Asked twice, the wait for a frame ends too.
    StopNow,
    /// Shoot these stops again; earlier frames stay.
    Retake {
        /// Stop numbers.
        stops: Vec<u32>,
    },
    /// Of the stops still to be shot, leave those that have their frame as they are.
    CallOffRetakes,
    /// Leave a stop out of this run.
    Skip {
        /// The stop's number.
        stop: u32,
    },
    /// After a fault: the cause is mended, try again.
    TryAgain,
    /// After a fault of [`FaultKind::Settings`]: take the new settings for the rest of the set.
    GoOnWithSettings,
    /// The plate stands at 0° now.
    ZeroIsHere,
    /// Use none of the stop's frames.
    SetAside {
        /// The stop's number.
        stop: u32,
    },
    /// Use this version of the stop's frames.
    KeepVersion {
        /// The stop's number.
        stop: u32,
        /// The version, from 1.
        version: u32,
    },
}

/// A timer the engine has asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Timer {
    /// The load has had its time to come to rest. Runs on session time.
    Settled {
        /// Ties it to the wait.
        ticket: u64,
    },
    /// Nobody has said whether the load rests. Runs on real time: it guards against hanging devices.
    RestOverdue {
        /// Ties it to the wait.
        ticket: u64,
    },
    /// A turn has not ended. Runs on real time: it guards against hanging devices.
    TurnOverdue {
        /// Ties it to the turn.
        ticket: u64,
    },
    /// A frame has not come. Runs on real time.
    FrameOverdue {
        /// Ties it to the exposure.
        shot: u64,
    },
    /// A frame has not been kept. Runs on real time.
    KeepOverdue {
        /// Ties it to the exposure.
        shot: u64,
    },
    /// No check has come in while nothing else is left to do. Runs on real time.
    ChecksOverdue {
        /// Ties it to the wait.
        ticket: u64,
    },
}

/// Why a frame could not be kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum KeepFailure {
    /// The file is not a whole picture; shooting again helps.
    BadFrame(String),
    /// The disk will not take it; the bytes are held, shooting again does not help.
    Storage(String),
}

/// What the disk has kept from being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refused {
    /// The intent of a turn could not be journalled, so the turn was not sent.
    Turn {
        /// The turn's ticket.
        ticket: u64,
    },
    /// There is no place for an exposure's files, so it was not made.
    Exposure {
        /// The exposure.
        shot: u64,
    },
    /// The zero that steps count from could not be journalled.
    Zero,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Event {
    /// A person wants something.
    Person(Intent),
    /// The table answers and says where it stands.
    TableReady {
        /// Its position.
        position: TablePosition,
    },
    /// The table cannot be reached or set.
    TableTrouble {
        /// Why.
        error: TableError,
    },
    /// A turn has ended.
    TurnFinished {
        /// The turn's ticket.
        ticket: u64,
        /// What the table reports.
        position: TablePosition,
    },
    /// A turn has not ended well.
    TurnFailed {
        /// The turn's ticket.
        ticket: u64,
        /// Why.
        error: TableError,
    },
    /// The disk would not take what has to be on record first.
    DiskRefused {
        /// What was not done.
        refused: Refused,
        /// What the disk said.
        reason: String,
    },
    /// A timer ran out.
    TimerFired {
        /// Which.
        timer: Timer,
    },
    /// The live picture was watched after a turn; this was seen at the end.
    RestWatched {
        /// The wait's ticket.
        ticket: u64,
        /// What was seen.
        rest: Rest,
    },
    /// The shutter has closed; the table may turn.
    ExposureEnded {
        /// The exposure.
        shot: u64,
    },
    /// No exposure was made.
    ExposureFailed {
        /// The exposure.
        shot: u64,
        /// Why.
        error: CameraError,
    },
    /// Every file of the exposure has arrived, complete.
    FrameArrived {
        /// The exposure.
        shot: u64,
    },
    /// The exposure's files did not arrive.
    FrameFailed {
        /// The exposure.
        shot: u64,
        /// Why.
        error: CameraError,
    },
    /// The frame is on disk and in the journal.
    FrameKept {
        /// The exposure.
        shot: u64,
        /// Its version number, from 1.
        version: u32,
        /// What it was shot with, as far as file and camera tell.
        #[serde(default)]
        settings: FrameSettings,
    },
    /// The frame is not kept.
    KeepFailed {
        /// The exposure.
        shot: u64,
        /// Why.
        failure: KeepFailure,
    },
    /// A kept frame was looked at; this takes the place of what was found on it before.
    FrameChecked {
        /// The stop's number.
        stop: u32,
        /// The frame's version.
        version: u32,
        /// What is wrong; empty when nothing is.
        flags: Vec<Flag>,
    },
    /// A check has ended, well or not; its findings came before.
    CheckEnded {
        /// The check's ticket.
        ticket: u64,
    },
}

/// What is to be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum CheckOf {
    /// A frame just kept, against those about it.
    Frame {
        /// The stop's number.
        stop: u32,
        /// The frame's version.
        version: u32,
    },
    /// All frames in use of a row together, angles included.
    Row {
        /// The row, counted from 0.
        row: usize,
    },
}

/// What is to be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Action {
    /// Declare the present place to be zero; answered by `TableReady` or `TableTrouble`.
    ZeroTable,
    /// Open the line again; answered by `TableReady` or `TableTrouble`.
    ReconnectTable,
    /// Note the zero that steps count from now.
    RecordZero {
        /// Its name.
        zero: String,
        /// The last exposure before it was taken, 0 for none.
        last_shot_before: u64,
    },
    /// Journal the intent, then turn; answered by `TurnFinished` or `TurnFailed`.
    Turn {
        /// The turn's ticket.
        ticket: u64,
        /// The stop it leads to.
        stop: u32,
        /// The step to go to.
        to: i64,
    },
    /// Halt the table at once.
    StopTable,
    /// Let the motor go.
    ReleaseTable,
    /// Send `TimerFired` after this time.
    StartTimer {
        /// Which timer.
        timer: Timer,
        /// How long.
        after: Duration,
    },
    /// Watch the live picture until it stands still or does not tell, for so long at most; answered by
    /// `RestWatched`.
    WatchRest {
        /// The wait's ticket.
        ticket: u64,
        /// The longest wait from now.
        most: Duration,
    },
    /// Give up watching the live picture.
    EndWatch,
    /// Expose and fetch; answered by `ExposureEnded` and `FrameArrived`, or a failure.
    Expose {
        /// The exposure.
        shot: Shot,
    },
    /// End the running exposure or wait for its frame.
    CancelExposure,
    /// Keep the files of this exposure; answered by `FrameKept` or `KeepFailed`.
    Keep {
        /// The exposure.
        shot: Shot,
    },
    /// Look at frames; answered by `FrameChecked` for each judged, then `CheckEnded`.
    Check {
        /// The check's ticket.
        ticket: u64,
        /// What to look at.
        of: CheckOf,
    },
    /// The files of this exposure belong to no stop for certain: keep them apart.
    Hold {
        /// The exposure's number.
        shot: u64,
    },
    /// Journal that the stop's frames are set aside.
    RecordSetAside {
        /// The stop's number.
        stop: u32,
    },
    /// Journal that these settings are the set's from now on.
    RecordSettings {
        /// The settings.
        settings: FrameSettings,
    },
    /// Journal which version is in use.
    RecordKeepVersion {
        /// The stop's number.
        stop: u32,
        /// The version.
        version: u32,
    },
}

/// What the session as a whole is doing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mode {
    /// Nothing has been asked for yet.
    Ready,
    /// Shooting.
    Running,
    /// Shooting the present stop, then pausing.
    Pausing,
    /// Waiting for the person to resume.
    Paused(PauseReason),
    /// Coming to a halt.
    Stopping,
    /// Halted on request; can go on.
    Stopped,
    /// Something needs a person.
    Fault(Fault),
    /// Nothing left to shoot.
    Finished,
}

/// Why a session waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PauseReason {
    /// The person asked.
    Asked,
    /// The camera has to be set for a new row.
    NewRow {
        /// The row, counted from 0.
        row: usize,
    },
    /// A frame is flagged with something that a person should see to.
    Flagged {
        /// The stop's number.
        stop: u32,
    },
}

/// What kind of help is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// The table does not do what it is told, or is gone.
    Table,
    /// No one knows where the table stands; zero must be set by a person.
    PositionUnknown,
    /// The camera gives no good frame.
    Camera,
    /// The disk will not take a frame.
    Storage,
    /// A frame was shot with other settings than the set's first.
    Settings,
}

impl FaultKind {
    /// Whether leaving the stop out would not help.
    pub fn needs_the_table(self) -> bool {
        self != Self::Camera
    }
}

/// Something that needs a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What kind.
    pub kind: FaultKind,
    /// The stop it happened at, if one.
    pub stop: Option<u32>,
    /// What happened, to which thing.
    pub message: String,
    /// What to do next.
    pub advice: &'static str,
}

/// What is being done for one stop at this moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Activity {
    /// Nothing.
    None,
    /// It will be shot in this run.
    Queued,
    /// The table is on its way to it.
    Turning,
    /// The load comes to rest.
    Settling,
    /// The shutter is open.
    Exposing,
    /// Its frame is on its way.
    Receiving,
    /// Its frame is being written.
    Keeping,
}
