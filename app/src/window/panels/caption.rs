//! The line under the picture: which stop it is, and what can be done with it.

use egui::{Align, Layout, RichText, Ui, vec2};
use session_core::engine::Activity;

use super::widgets::{Said, ask_ui, button_ui, soft_ui};
use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::marks;
use crate::window::places::{Mark, Place};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::words;

/// Draws the caption.
pub fn caption_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.spacing_mut().item_spacing.y = 8.0;
    ui.horizontal(|ui| what_ui(ui, state));
    ui.horizontal(|ui| {
        stop_actions_ui(ui, state, sink);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| selection_ui(ui, state, sink));
    });
}

/// Draws the same in as little height as its words and buttons need.
pub fn compact_caption_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.horizontal(|ui| what_ui(ui, state));
    ui.horizontal_wrapped(|ui| {
        stop_actions_ui(ui, state, sink);
        selection_ui(ui, state, sink);
    });
}

fn what_ui(ui: &mut Ui, state: &State) {
    ui.set_height(28.0);
    let elsewhere = state.shown().is_some_and(|place| !state.selected.contains(&place.index));
    match (state.shown(), state.selected.len()) {
        (shown, count) if count > 1 || (count == 1 && elsewhere) => {
            let stops = state.selected.iter().copied();
            let only = stops.clone().next().filter(|_| count == 1).and_then(|stop| state.place(stop));
            let title = match only {
                Some(only) if only.closing => t!("caption-closing-selected"),
                _ => t!(
                    "caption-selected",
                    n = count,
                    list = words::middle_cut(&words::number_list(stops), 60)
                ),
            };
            ui.add(egui::Label::new(RichText::new(title).strong().size(16.0)).truncate());
            // One that is not among them would else be taken for one of them.
            if let Some(place) = shown.filter(|_| elsewhere) {
                let of_closing = place.closing.then(|| t!("caption-picture-is-of-closing"));
                soft_ui(ui, of_closing.unwrap_or_else(|| t!("caption-picture-is-of", index = place.index)));
            }
        }
        (Some(place), _) => {
            marks::mark_ui(ui, place.mark);
            ui.label(RichText::new(place.title()).strong().size(16.0));
            ui.label(place.words());
            if !state.stage.facts || place.versions.is_empty() {
                soft_ui(ui, place.file_name());
            }
        }
        (None, _) => {
            soft_ui(ui, t!("caption-point-at-a-stop-on"));
        }
    }
}

/// Whether something can be noted on frames now.
pub fn can_note(state: &State) -> bool {
    matches!(state.link, Link::Open | Link::Closed) && state.change.is_none()
}

fn stop_actions_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let targets: Vec<&Place> = state.targets().into_iter().filter_map(|stop| state.place(stop)).collect();
    let size = vec2(0.0, 30.0);
    let ready = can_note(state) && state.problems.is_empty();
    let text = match targets.as_slice() {
        [] => t!("caption-retake"),
        [one] if one.closing && one.versions.is_empty() => t!("caption-shoot-closing"),
        [one] if one.closing => t!("caption-retake-closing"),
        [one] if one.versions.is_empty() => t!("caption-shoot-stop", index = one.index),
        [one] => t!("caption-retake-stop", index = one.index),
        several => t!("caption-retake-stops", several = several.len()),
    };
    if button_ui(ui, &text, ready && !targets.is_empty(), size)
        .on_hover_text(t!("caption-r-earlier-versions-stay-nothing"))
        .clicked()
    {
        sink.send(WindowIntent::Retake);
    }
    let kept: Vec<u32> = targets.iter().filter(|place| place.chosen > 0).map(|place| place.index).collect();
    let aside = targets.iter().find(|place| place.mark == Mark::SetAside && targets.len() == 1);
    // Of several versions the person chooses above.
    if let Some((stop, [only])) = aside.map(|place| (place.index, place.versions.as_slice())) {
        if button_ui(ui, &t!("caption-use-it-again"), ready, size).clicked() {
            sink.send(WindowIntent::UseVersion { stop, version: only.version });
        }
    } else if button_ui(ui, &t!("caption-set-aside"), ready && !kept.is_empty(), size)
        .on_hover_text(t!("caption-the-frame-stays-on-disk"))
        .clicked()
    {
        sink.send(WindowIntent::SetAside(kept));
    }
    let to_leave = targets.iter().filter(|place| {
        place.activity == Activity::Queued || (place.chosen == 0 && place.mark != Mark::LeftOut)
    });
    let to_leave: Vec<u32> = to_leave.map(|place| place.index).collect();
    if button_ui(
        ui,
        &t!("caption-skip-for-now"),
        state.link == Link::Open && state.change.is_none() && !to_leave.is_empty(),
        size,
    )
    .on_hover_text(t!("caption-not-shot-in-this-run"))
    .on_disabled_hover_text(t!("caption-for-stops-that-a-running"))
    .clicked()
    {
        sink.send(WindowIntent::LeaveOut(to_leave));
    }
}

/// What is looked at and selected otherwise than by pointing.
fn selection_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let size = vec2(0.0, 30.0);
    if !state.follow
        && state.newest.is_some()
        && button_ui(ui, &t!("caption-show-the-newest"), true, size).clicked()
    {
        sink.send(WindowIntent::ShowNewest);
    }
    if !state.selected.is_empty() && button_ui(ui, &t!("caption-select-none"), true, size).clicked() {
        sink.send(WindowIntent::Pick(Pick::Nothing));
    }
}

/// Asks before several stops are shot again by a key.
pub fn retake_card_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    if !state.retake_asked {
        return;
    }
    let go = t!("caption-retake-stops", several = state.targets().len());
    match ask_ui(
        ui,
        "retake several",
        &t!("caption-retake-title"),
        &t!("caption-retake-ask"),
        (&go, can_note(state)),
    ) {
        Some(Said::Yes) => sink.send(WindowIntent::Retake),
        Some(Said::No) => sink.send(WindowIntent::AskToRetake(false)),
        None => {}
    }
}
