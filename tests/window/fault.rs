//! What needs a person: the message, the advice, and the buttons that help; none moves what is pointed at.

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use roundstop::window::intent::{IntentSink, WindowIntent};
use roundstop::window::panels::message::{card_panel_ui, notice_line_panel_ui};
use roundstop::window::panels::window_ui;
use roundstop::window::pictures::Pictures;
use roundstop::window::state::{Link, NoticeKind, State};
use session_core::clock::SimSpeed;
use session_core::engine::{Fault, FaultKind, Intent, Mode, PauseReason};
use session_core::plan::Plan;
use session_core::view::RowView;

use super::fixtures::places_of_all;
use super::start;

fn state_in(mode: Mode) -> State {
    let plan = Plan::single_row("LP-0142", 24);
    let mut state = State::new(&start(plan, std::path::Path::new("sets"), SimSpeed::Max));
    state.link = Link::Open;
    state.mode = mode;
    state
}

fn fault(kind: FaultKind) -> Mode {
    Mode::Fault(Fault {
        kind,
        stop: Some(7),
        message: "the cable is out".to_owned(),
        advice: "Put it back; then try again.",
    })
}

/// The cards, and the notice below them, as a small window shows them.
fn message_ui(ui: &mut egui::Ui, state: &State, sink: &IntentSink) {
    card_panel_ui(ui, state, sink);
    notice_line_panel_ui(ui, state, 0, sink);
}

/// Clicks one button of the message and tells what it asks for.
fn click(state: &State, button: &str) -> Vec<WindowIntent> {
    let (sink, wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([900.0, 300.0]).build_ui(move |ui| message_ui(ui, state, &sink));
    harness.run();
    harness.get_by_label(button).click();
    harness.run();
    wishes.try_iter().collect()
}

#[test]
fn a_fault_says_what_where_and_what_next() {
    let state = state_in(fault(FaultKind::Camera));
    let (sink, _wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([900.0, 300.0]).build_ui(|ui| message_ui(ui, &state, &sink));
    harness.run();
    harness.get_by_label("The camera gave no good frame, stop 7");
    harness.get_by_label("The cable is out.");
    harness.get_by_label("Put it back; then try again.");
}

#[test]
fn each_kind_offers_what_helps() {
    let try_again = WindowIntent::Session(Intent::TryAgain);
    let leave_out = WindowIntent::Session(Intent::Skip { stop: 7 });
    let zero = WindowIntent::Session(Intent::ZeroIsHere);
    let stop = WindowIntent::Session(Intent::StopNow);
    for (kind, offers) in [
        (FaultKind::Camera, vec![("Try again", &try_again), ("Skip this stop for now", &leave_out)]),
        (FaultKind::Table, vec![("Try again", &try_again)]),
        (FaultKind::Storage, vec![("Try again", &try_again)]),
        (FaultKind::PositionUnknown, vec![("0° is here", &zero)]),
    ] {
        let state = state_in(fault(kind));
        for (button, intent) in offers.into_iter().chain([("Stop the session", &stop)]) {
            assert_eq!(click(&state, button), std::slice::from_ref(intent), "{kind:?} {button}");
        }
        let (sink, _wishes) = IntentSink::new();
        let mut harness = Harness::new_ui(|ui| message_ui(ui, &state, &sink));
        harness.run();
        assert_eq!(harness.query_by_label("Skip this stop for now").is_some(), kind == FaultKind::Camera);
        assert_eq!(harness.query_by_label("0° is here").is_some(), kind == FaultKind::PositionUnknown);
    }
}

#[test]
fn a_flag_that_the_session_paused_for_is_answered() {
    let mut state = super::fixtures::mixed();
    state.mode = Mode::Paused(PauseReason::Flagged { stop: 12 });
    let (sink, _wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([900.0, 300.0]).build_ui(|ui| message_ui(ui, &state, &sink));
    harness.run();
    harness.get_by_label("The frame of stop 12 is doubtful");
    harness.get_by_label_contains("Motion blur: edges are smeared across by 3.2 px");
    let again = WindowIntent::Session(Intent::Retake { stops: vec![12] });
    let go_on = WindowIntent::Session(Intent::Resume);
    assert_eq!(click(&state, "It is seen to, shoot it again"), [again, go_on.clone()]);
    assert_eq!(click(&state, "Keep it and go on"), [go_on]);
}

#[test]
fn a_new_row_shows_its_note_and_waits() {
    let mut state = state_in(Mode::Paused(PauseReason::NewRow { row: 1 }));
    state.rows = vec![
        RowView { name: "level".to_owned(), tilt_note: String::new() },
        RowView { name: "high".to_owned(), tilt_note: "60 cm up, 35° down".to_owned() },
    ];
    let (sink, _wishes) = IntentSink::new();
    let mut harness = Harness::new_ui(|ui| message_ui(ui, &state, &sink));
    harness.run();
    harness.get_by_label("Set the camera for row 'high'");
    harness.get_by_label("60 cm up, 35° down");
    drop(harness);
    assert_eq!(click(&state, "The camera is set, go on"), [WindowIntent::Session(Intent::Resume)]);
}

#[test]
fn the_newest_notice_replaces_the_others_which_can_be_looked_up() {
    let mut state = state_in(Mode::Running);
    for text in ["one", "two", "three", "two"] {
        state.say(NoticeKind::Trouble, text.to_owned());
    }
    let id = state.notices.last().unwrap().id;
    assert_eq!(click(&state, "Dismiss"), [WindowIntent::Dismiss(id)]);
    let (sink, wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([900.0, 500.0]).build_ui(|ui| message_ui(ui, &state, &sink));
    harness.run();
    harness.get_by_label("Two");
    assert!(harness.query_by_label("Three").is_none());
    harness.get_by_label("2 more").click();
    harness.run();
    for text in ["One", "Three"] {
        harness.get_by_label(text);
    }
    harness.get_by_label("Dismiss all").click();
    harness.run();
    assert_eq!(wishes.try_iter().collect::<Vec<_>>(), [WindowIntent::DismissAll]);
}

#[test]
fn what_asks_to_be_done_stays_in_sight() {
    let mut state = state_in(Mode::Running);
    state.say_of(Some(3), NoticeKind::Prompt, "fire the shutter now".to_owned());
    state.say(NoticeKind::Note, "the plan is saved".to_owned());
    let texts: Vec<&str> = state.notices_shown(2).iter().map(|notice| notice.text.as_str()).collect();
    assert_eq!(texts, ["fire the shutter now", "the plan is saved"]);
    // Where there is one line a note gives way to it, and it to a failure that came later; one that is past gives way
    // again.
    let in_one_line = |state: &State| state.notices_shown(1)[0].text.clone();
    assert_eq!(in_one_line(&state), "fire the shutter now");
    state.say(NoticeKind::Trouble, "the disk is full".to_owned());
    assert_eq!(in_one_line(&state), "the disk is full");
    state.say(NoticeKind::Note, "the list is read".to_owned());
    assert_eq!(in_one_line(&state), "fire the shutter now");
    state.notices.retain(|notice| notice.kind != NoticeKind::Prompt);
    assert_eq!(in_one_line(&state), "the list is read");
}

#[test]
fn a_fault_is_not_said_twice() {
    let mut state = state_in(fault(FaultKind::Camera));
    state.say_of(Some(7), NoticeKind::Trouble, "Stop 7: the cable is out".to_owned());
    state.say_of(Some(5), NoticeKind::Trouble, "Stop 5: too dark".to_owned());
    let (sink, _wishes) = IntentSink::new();
    let mut harness =
        Harness::builder().with_size([900.0, 300.0]).build_ui(|ui| message_ui(ui, &state, &sink));
    harness.run();
    assert!(harness.query_by_label("Stop 7: the cable is out").is_none());
    harness.get_by_label("Stop 5: too dark");
}

#[test]
fn nothing_moves_under_the_pointer_when_something_is_said() {
    let (sink, _wishes) = IntentSink::new();
    let pictures = Pictures::default();
    let mut state = super::look::complete();
    state.notices.clear();
    let mut harness = Harness::builder()
        .with_size([1280.0, 800.0])
        .build_ui_state(|ui, state| window_ui(ui, state, &pictures, &sink), state);
    harness.run_steps(4);
    let quiet = places_of_all(&harness);
    assert!(quiet.len() > 60, "{}", quiet.len());
    let mut compare = |what: &str, least: usize, change: &dyn Fn(&mut State)| {
        change(harness.state_mut());
        harness.run_steps(4);
        let now = places_of_all(&harness);
        let both: Vec<_> = quiet.iter().filter_map(|(name, at)| Some((name, at, now.get(name)?))).collect();
        assert!(both.len() >= least, "{what}: {} of {}", both.len(), quiet.len());
        for (name, before, after) in both {
            assert_eq!(before.y_range(), after.y_range(), "{what}: {name}");
        }
    };
    compare("a note", quiet.len(), &|state| state.say(NoticeKind::Note, "The plan is saved.".to_owned()));
    let long = "the plan cannot be saved, for the disk is full; ".repeat(12);
    compare("what is asked for beside it", quiet.len(), &|state| {
        state.say(NoticeKind::Prompt, "Fire the shutter now.".to_owned());
        state.say(NoticeKind::Note, "The list is opened.".to_owned());
    });
    compare("a long one", quiet.len(), &|state| state.say(NoticeKind::Trouble, long.clone()));
    // Buttons that say something else by now are others.
    compare("a fault", quiet.len() - 12, &|state| state.mode = fault(FaultKind::Settings));
    harness.get_by_label("Go on with the new setting");
    harness.get_by_role_and_label(egui::Role::Button, "2 more");
}
