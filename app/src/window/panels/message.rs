//! What needs a person: faults with their advice, a new row's camera note, prompts and failures.

use egui::{Align, Button, Frame, Layout, RichText, Stroke, Ui, vec2};
use session_core::engine::{Fault, FaultKind, Intent};

use super::compact::is_compact;
use super::widgets::{button_ui, capital, primary_button_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::{Mark, Place};
use crate::window::state::{Notice, NoticeKind, State};
use crate::window::text::t;
use crate::window::{marks, theme, words};

/// Whether there is anything to say.
pub fn has_any(state: &State) -> bool {
    state.fault().is_some()
        || state.new_row().is_some()
        || state.paused_for().is_some()
        || !state.notices.is_empty()
}

/// Draws the messages.
pub fn message_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    if let Some(fault) = state.fault() {
        fault_ui(ui, state, fault, sink);
    }
    if let Some(row) = state.new_row() {
        card_ui(ui, |ui| {
            ui.label(
                RichText::new(t!("message-set-the-camera-for-row", name = row.name)).strong().size(16.0),
            );
            let note = if row.tilt_note.is_empty() {
                t!("message-the-plan-holds-no-note")
            } else {
                row.tilt_note.clone()
            };
            ui.label(note);
            if primary_button_ui(ui, &t!("message-the-camera-is-set-go"), true, vec2(0.0, 32.0)).clicked() {
                sink.session(Intent::Resume);
            }
        });
    }
    if let Some(place) = state.paused_for() {
        card_ui(ui, |ui| flagged_ui(ui, place, sink));
    }
    let is_compact = is_compact(ui.ctx().content_rect().size());
    let mut shown = state.notices_shown();
    // Where there is little room one line of one notice must do; the others can be looked up.
    shown.truncate(if is_compact { 1 } else { shown.len() });
    let older = state.notices.len() - shown.len();
    for (at, notice) in shown.into_iter().enumerate() {
        let place = NoticePlace { is_first: at == 0, older, in_one_line: is_compact };
        notice_ui(ui, state, notice, place, sink);
    }
}

/// A card that stands out by its edge.
fn card_ui(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    Frame::new()
        .fill(theme::raised())
        .stroke(Stroke::new(1.5, theme::soft()))
        .corner_radius(6.0)
        .inner_margin(12.0)
        .show(ui, |ui| {
            ui.set_width(ui.available_width());
            content(ui);
        });
}

/// A flag that the session has paused for.
fn flagged_ui(ui: &mut Ui, place: &Place, sink: &IntentSink) {
    ui.horizontal(|ui| {
        marks::mark_ui(ui, Mark::Flagged);
        let title = if place.closing {
            t!("message-closing-is-flagged")
        } else {
            t!("message-stop-is-flagged", stop = place.index)
        };
        ui.label(RichText::new(title).strong().size(16.0));
    });
    for flag in place.flags() {
        ui.add(egui::Label::new(format!("{}: {}.", capital(&words::flag(flag)), flag.reason)).wrap());
    }
    ui.add_space(2.0);
    ui.horizontal(|ui| {
        let size = vec2(0.0, 32.0);
        if primary_button_ui(ui, &t!("message-it-is-seen-to-shoot"), true, size).clicked() {
            sink.session(Intent::Retake { stops: vec![place.index] });
            sink.session(Intent::Resume);
        }
        if button_ui(ui, &t!("message-keep-it-and-go-on"), true, size).clicked() {
            sink.session(Intent::Resume);
        }
    });
}

fn fault_ui(ui: &mut Ui, state: &State, fault: &Fault, sink: &IntentSink) {
    let headline = match fault.kind {
        FaultKind::Table => t!("message-the-table-needs-you"),
        FaultKind::PositionUnknown => t!("message-the-tables-position-is-unknown"),
        FaultKind::Camera => t!("message-the-camera-gave-no-good"),
        FaultKind::Storage => t!("message-the-disk-does-not-take"),
        FaultKind::Settings => t!("message-the-cameras-settings-have-changed"),
    };
    card_ui(ui, |ui| {
        ui.horizontal(|ui| {
            marks::mark_ui(ui, Mark::Problem);
            let at = match fault.stop {
                Some(stop) if state.place(stop).is_some_and(|place| place.closing) => t!("message-closing"),
                Some(stop) => t!("message-stop", stop = stop),
                None => String::new(),
            };
            ui.label(RichText::new(format!("{headline}{at}")).strong().size(16.0));
        });
        ui.add(egui::Label::new(format!("{}.", capital(fault.message.trim_end_matches('.')))).wrap());
        ui.add(egui::Label::new(RichText::new(fault.advice).color(theme::soft())).wrap());
        ui.add_space(2.0);
        ui.horizontal(|ui| {
            let size = vec2(0.0, 32.0);
            let unknown = fault.kind == FaultKind::PositionUnknown;
            if !unknown && primary_button_ui(ui, &t!("message-try-again"), true, size).clicked() {
                sink.session(Intent::TryAgain);
            }
            if unknown
                && primary_button_ui(ui, &t!("message-0-is-here"), true, size)
                    .on_hover_text(t!("message-takes-the-place-where-the"))
                    .clicked()
            {
                sink.session(Intent::ZeroIsHere);
            }
            if fault.kind == FaultKind::Settings
                && button_ui(ui, &t!("message-go-on-with-the-new"), true, size).clicked()
            {
                sink.session(Intent::GoOnWithSettings);
            }
            if let (Some(stop), false) = (fault.stop, fault.kind.needs_the_table())
                && button_ui(ui, &t!("message-skip-this-stop-for-now"), true, size).clicked()
            {
                sink.session(Intent::Skip { stop });
            }
            if button_ui(ui, &t!("message-stop-the-session"), true, size).clicked() {
                sink.session(Intent::StopNow);
            }
        });
    });
}

/// Where a notice stands.
#[derive(Clone, Copy)]
struct NoticePlace {
    is_first: bool,
    /// How many are not shown.
    older: usize,
    in_one_line: bool,
}

/// One notice; beside the first, what was said before can be looked up.
fn notice_ui(ui: &mut Ui, state: &State, notice: &Notice, place: NoticePlace, sink: &IntentSink) {
    let NoticePlace { is_first, older, in_one_line } = place;
    ui.horizontal_top(|ui| {
        let wide = ui.available_width() - 84.0 - if older > 0 { 92.0 } else { 0.0 };
        ui.allocate_ui_with_layout(vec2(wide, 28.0), Layout::left_to_right(Align::Center), |ui| {
            ui.set_min_size(vec2(wide, 28.0));
            let colour = match notice.kind {
                NoticeKind::Trouble => {
                    marks::mark_ui(ui, Mark::Problem);
                    theme::text()
                }
                NoticeKind::Prompt => {
                    marks::mark_ui(ui, Mark::InWork);
                    theme::text()
                }
                NoticeKind::Note => theme::soft(),
            };
            let label = egui::Label::new(RichText::new(capital(&notice.text)).color(colour));
            // The pointer on one that is cut shows all of it.
            ui.add(if in_one_line { label.truncate() } else { label.wrap() });
        });
        if older > 0 {
            ui.allocate_ui(vec2(84.0, 28.0), |ui| {
                ui.set_min_width(84.0);
                if is_first {
                    older_ui(ui, state, older, sink);
                }
            });
        }
        if ui.add(Button::new(t!("message-dismiss")).min_size(vec2(76.0, 0.0))).clicked() {
            sink.send(WindowIntent::Dismiss(notice.id));
        }
    });
}

/// A button that opens everything said, the newest first.
fn older_ui(ui: &mut Ui, state: &State, older: usize, sink: &IntentSink) {
    let response = ui.add(Button::new(t!("message-older", n = older)).min_size(vec2(84.0, 0.0)));
    egui::Popup::from_toggle_button_response(&response)
        .close_behavior(egui::PopupCloseBehavior::CloseOnClickOutside)
        .accessible_name(t!("message-all-said"))
        .show(|ui| {
            ui.set_width(460.0);
            ui.heading(t!("message-all-said"));
            egui::ScrollArea::vertical().max_height(320.0).show(ui, |ui| {
                for notice in state.notices.iter().rev() {
                    ui.horizontal_top(|ui| {
                        let mark = match notice.kind {
                            NoticeKind::Trouble => Mark::Problem,
                            NoticeKind::Prompt => Mark::InWork,
                            NoticeKind::Note => Mark::Kept,
                        };
                        marks::mark_ui(ui, mark);
                        ui.add(
                            egui::Label::new(RichText::new(capital(&notice.text)).font(theme::small()))
                                .wrap(),
                        );
                    });
                }
            });
            if button_ui(ui, &t!("message-dismiss-all"), true, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::DismissAll);
            }
        });
}
