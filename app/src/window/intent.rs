//! What a person wants from the window, as panels send it.

use std::path::PathBuf;

use crossbeam_channel::{Receiver, Sender, unbounded};
use session_core::check::{FlagKind, Response};
use session_core::engine::Intent;

use super::ask::PathEdit;
use super::board::BoardEdit;
use super::devices::{CameraEdit, TableEdit};
use super::draft::PlanEdit;
use super::finishing::FinishingWish;
use super::pictures::Wish;
use super::setup::SetupStep;
use super::stage::Look;
use super::tryout::Trial;

/// One wish of the person at the window.
#[derive(Debug, Clone, PartialEq)]
pub enum WindowIntent {
    /// For the running session.
    Session(Intent),
    /// Connect if need be, and shoot every stop that has no frame.
    Shoot,
    /// Shoot the selected stops again; the one under the cursor when none is selected.
    Retake,
    /// Ask before several stops are shot again, or no longer.
    AskToRetake(bool),
    /// Use none of these stops' frames.
    SetAside(Vec<u32>),
    /// Use this version of a stop's frames.
    UseVersion {
        /// The stop's number.
        stop: u32,
        /// The version, from 1.
        version: u32,
    },
    /// Leave these stops out of this run.
    LeaveOut(Vec<u32>),
    /// Change a field of the plan.
    Edit(PlanEdit),
    /// Take the last change of the plan's fields back.
    Undo,
    /// Make it again.
    Redo,
    /// Change the set at hand to the plan in the fields.
    UsePlan,
    /// Put the plan of the set at hand back into the fields.
    UndoPlan,
    /// Choose a plan file and load it.
    OpenPlan,
    /// Choose a place and save the plan in the fields.
    SavePlan,
    /// Change the answers for a controller board.
    Board(BoardEdit),
    /// Choose a folder and save the board's files there.
    SaveBoard,
    /// Choose a shoot list and open it.
    OpenList,
    /// Use the shoot list that was opened.
    UseList,
    /// Put it away; the list in use stays.
    DeclineList,
    /// Use no shoot list any more; its file and sets stay as they are.
    CloseList,
    /// Shoot this product of the list now.
    UseProduct(String),
    /// Go on with the next product that is not done.
    NextProduct,
    /// Begin a set of another product, in a folder named by its SKU.
    NewSet,
    /// Go on with the set in this folder.
    OpenSet(PathBuf),
    /// Choose the session folder.
    ChooseFolder,
    /// The session folder's path as it is being typed.
    TypeFolder(String),
    /// Use the session folder as typed.
    UseFolder,
    /// Point at stops.
    Pick(Pick),
    /// Select these stops, instead of those selected so far or beside them.
    Select {
        /// The stops' numbers.
        stops: Vec<u32>,
        /// Whether what is selected stays so.
        add: bool,
    },
    /// Draw this row alone on the ring, counted from 0, or all.
    ShowRow(Option<usize>),
    /// Show the newest picture, and every newer one as it comes.
    ShowNewest,
    /// Choose or describe the table.
    Table(TableEdit),
    /// Choose or describe the camera.
    Camera(CameraEdit),
    /// Ask what is on the chosen serial port.
    Probe,
    /// Look which serial ports there are.
    LookForPorts,
    /// Choose the folder that the camera's frames arrive in.
    ChooseCameraFolder,
    /// Try table or camera out.
    Try(Trial),
    /// Open the set-up path at this step.
    Setup(SetupStep),
    /// Close the set-up path: with the table and camera chosen on it, or with those from before.
    LeaveSetup {
        /// Whether those chosen on the path are used from now on.
        use_chosen: bool,
    },
    /// Take the live picture or test frame away.
    HideLive,
    /// Let go of table and camera.
    Disconnect,
    /// Take a notice away.
    Dismiss(u64),
    /// Take all notices away.
    DismissAll,
    /// Change the window's look or sound.
    Room(RoomEdit),
    /// Look at the large picture in another way.
    Look(Look),
    /// Something in the finishing room.
    Finishing(FinishingWish),
    /// Something about a path that is typed, where the system shows no dialog for it.
    TypedPath(PathEdit),
    /// Open the set's folder in the system's file manager.
    ShowFolder,
    /// A file or folder was dropped on the window.
    Dropped(PathBuf),
    /// A picture is needed that is not at hand.
    Want(Wish),
}

/// A change of the window's look or sound.
#[derive(Debug, Clone, PartialEq)]
pub enum RoomEdit {
    /// Light or dark.
    Light(bool),
    /// The size of everything, 1 to 2.
    Scale(f32),
    /// No sound and no notification.
    Silent(bool),
    /// The language, by its tag; `None` for English.
    Language(Option<String>),
    /// What follows from a kind of flag.
    OnFlag(FlagKind, Response),
}

/// Ways of pointing at stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pick {
    /// This stop alone.
    Only(u32),
    /// This stop too, or no longer.
    Toggle(u32),
    /// All from the stop pointed at last without Shift to this one.
    Through(u32),
    /// Look at this stop, the selection stays.
    Cursor(u32),
    /// Every stop.
    All,
    /// No stop.
    Nothing,
}

/// Sends wishes from panels to the one place that handles them.
#[derive(Debug, Clone)]
pub struct IntentSink(Sender<WindowIntent>);

impl IntentSink {
    /// Makes a sink and the end that is drained once a frame.
    pub fn new() -> (Self, Receiver<WindowIntent>) {
        // Filled and drained by one thread within a frame, so a bound could only lose clicks.
        let (sender, receiver) = unbounded();
        (Self(sender), receiver)
    }

    /// Sends a wish.
    pub fn send(&self, intent: WindowIntent) {
        // The receiving end lives as long as the window.
        let _ = self.0.send(intent);
    }

    /// Sends a wish to the running session.
    pub fn session(&self, intent: Intent) {
        self.send(WindowIntent::Session(intent));
    }
}
