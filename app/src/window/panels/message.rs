//! What needs a person: faults with their advice, a new row's camera note, prompts and failures.

use egui::{Align, Button, Frame, Layout, Panel, RichText, Stroke, TextStyle, Ui, vec2};
use session_core::engine::{Fault, FaultKind, Intent};

use super::widgets::{button_ui, cut_label, primary_button_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::{Mark, Place};
use crate::window::state::{Notice, NoticeKind, State};
use crate::window::text::t;
use crate::window::{marks, theme, words};
use crate::words::capital;

/// The height of one notice's line, points.
const LINE: f32 = 26.0;
/// Between two of them, points.
const GAP: f32 = 4.0;

/// The height of so many lines, points.
fn height(lines: usize) -> f32 {
    lines as f32 * (LINE + GAP) - GAP
}

/// Whether the session waits for a person.
pub fn has_card(state: &State) -> bool {
    state.fault().is_some() || state.new_row().is_some() || state.paused_for().is_some()
}

/// Draws the place for notices in a panel of its own. It is there whether anything is said or not, so that
/// nothing below it moves when something is.
pub fn notice_panel_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let frame = theme::panel_frame(16, 4);
    Panel::top("notices").exact_size(height(2) + 8.0).frame(frame).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = GAP;
        notices_ui(ui, state, 2, sink);
    });
}

/// Draws what the session waits for in a panel of its own. Where it stands last, only the picture gives way.
pub fn card_panel_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    if has_card(state) {
        let frame = theme::panel_frame(16, 10);
        Panel::top("cards").frame(frame).show(ui, |ui| cards_ui(ui, state, sink));
    }
}

/// Draws the place for notices where there is little room, one line high whether anything is said or not;
/// `margin` is left at its sides, points.
pub fn notice_line_panel_ui(ui: &mut Ui, state: &State, margin: i8, sink: &IntentSink) {
    let frame = theme::panel_frame(margin, 2);
    Panel::top("notices")
        .exact_size(height(1) + 6.0)
        .frame(frame)
        .show(ui, |ui| notices_ui(ui, state, 1, sink));
}

fn cards_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
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
        ui.add(egui::Label::new(format!("{}.", capital(&words::flag(flag)))).wrap());
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
        // Beside the facts not all of them have room in one line.
        ui.horizontal_wrapped(|ui| {
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

/// The notices in so many lines at most, and the way to what else was said.
fn notices_ui(ui: &mut Ui, state: &State, most_lines: usize, sink: &IntentSink) {
    let shown = state.notices_shown(most_lines);
    let more = state.notices.len() - shown.len();
    let lines = most_lines / shown.len().max(1);
    for (at, notice) in shown.iter().enumerate() {
        ui.horizontal(|ui| {
            // Beside the first, what else was said can be looked up.
            let beside = if at == 0 { more } else { 0 };
            notice_ui(ui, state, notice, lines, beside, sink);
        });
    }
    if shown.is_empty() && more > 0 {
        ui.horizontal(|ui| more_ui(ui, state, more, sink));
    }
}

fn notice_ui(ui: &mut Ui, state: &State, notice: &Notice, lines: usize, more: usize, sink: &IntentSink) {
    let size = vec2(ui.available_width() - 176.0, height(lines));
    ui.allocate_ui_with_layout(size, Layout::left_to_right(Align::Center), |ui| {
        ui.set_min_size(size);
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
        let font = TextStyle::Body.resolve(ui.style());
        let label = cut_label(&notice.text, font, colour, lines);
        ui.add(if lines == 1 { label.truncate() } else { label });
    });
    ui.allocate_ui(vec2(84.0, LINE), |ui| {
        ui.set_min_width(84.0);
        if more > 0 {
            more_ui(ui, state, more, sink);
        }
    });
    if ui.add(Button::new(t!("message-dismiss")).min_size(vec2(76.0, LINE))).clicked() {
        sink.send(WindowIntent::Dismiss(notice.id));
    }
}

/// A button that opens everything said, the newest first.
fn more_ui(ui: &mut Ui, state: &State, more: usize, sink: &IntentSink) {
    let response = ui.add(Button::new(t!("message-more", n = more)).min_size(vec2(84.0, LINE)));
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
