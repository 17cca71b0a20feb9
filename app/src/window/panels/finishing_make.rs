//! What is made of the whole set: finished pictures, a listing; how far it is and how it went.

use crate::window::text::t;
use egui::{Align, ComboBox, Label, Layout, ProgressBar, Response, RichText, ScrollArea, Ui, vec2};

use super::widgets::{Field, button_ui, capital, field_ui, primary_button_ui, problem_ui, soft_ui};
use crate::listing::OWN_PROFILES;
use crate::window::finishing::{FinishingRoom, FinishingWish, Job, Outcome};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::{theme, words};

/// The width of the button beside what came of the work, points.
const BUTTON: f32 = 190.0;

/// Draws the column's lower part.
pub fn make_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let room = &state.finishing;
    ui.add_space(4.0);
    let width = ui.available_width();
    let job = room.job.as_ref();
    let free = room.is_read() && job.is_none();
    let text = match job {
        Some(job) if !job.exports => t!("finishing-finish-under-way"),
        _ => t!("finishing-finish"),
    };
    let mut finish = wide(ui, |ui| primary_button_ui(ui, &text, free, vec2(width, 34.0)));
    if job.is_some() {
        finish = finish.on_disabled_hover_text(t!("finishing-one-at-a-time"));
    }
    if finish.on_hover_text(t!("finishing-finish-tip")).clicked() {
        sink.send(WindowIntent::Finishing(FinishingWish::Finish));
    }
    soft_ui(ui, t!("finishing-finish-what"));
    ui.add_space(2.0);
    listing_ui(ui, room, free, sink);
}

/// Draws how far the work is, or what came of it the last time.
pub fn result_ui(ui: &mut Ui, room: &FinishingRoom, sink: &IntentSink) {
    if let Some(job) = &room.job {
        job_ui(ui, room, job, sink);
    } else if let Some(outcome) = &room.outcome {
        outcome_ui(ui, room, outcome, sink);
    }
}

/// How far the work is, and the way to end it.
fn job_ui(ui: &mut Ui, room: &FinishingRoom, job: &Job, sink: &IntentSink) {
    let Job { folder, pace, .. } = job;
    let words = if *folder == room.folder {
        pace.words()
    } else {
        // Begun for another set before this one was looked at.
        t!("finishing-other-set", set = session_core::file_name::of_path(folder), text = pace.words())
    };
    ui.horizontal_centered(|ui| {
        let width = ui.available_width() - BUTTON - ui.spacing().item_spacing.x;
        ui.allocate_ui_with_layout(vec2(width, 44.0), Layout::top_down(Align::Min), |ui| {
            ui.set_width(width);
            ui.add(Label::new(words).truncate());
            let bar = ui.add(ProgressBar::new(pace.share()).desired_width(width).fill(theme::soft()));
            ui.ctx().accesskit_node_builder(bar.id, |node| node.set_label(t!("finishing-progress")));
        });
        let cancel = button_ui(ui, &t!("finishing-cancel"), true, vec2(BUTTON, 28.0));
        if cancel.on_hover_text(t!("finishing-cancel-tip")).clicked() {
            sink.send(WindowIntent::Finishing(FinishingWish::Cancel));
        }
    });
}

/// What came of the work.
fn outcome_ui(ui: &mut Ui, room: &FinishingRoom, outcome: &Outcome, sink: &IntentSink) {
    ui.horizontal_centered(|ui| {
        let button = if outcome.good { BUTTON + ui.spacing().item_spacing.x } else { 0.0 };
        let size = vec2(ui.available_width() - button, ui.available_height());
        ui.allocate_ui_with_layout(size, Layout::top_down(Align::Min), |ui| {
            ScrollArea::vertical().id_salt("outcome").auto_shrink(false).show(ui, |ui| {
                ui.spacing_mut().item_spacing.y = 2.0;
                if outcome.good {
                    if room.is_outdated() {
                        problem_ui(ui, &t!("finishing-outdated"));
                    }
                    ui.add(Label::new(RichText::new(capital(&outcome.text)).font(theme::small())).wrap());
                } else {
                    problem_ui(ui, &outcome.text);
                }
            });
        });
        if outcome.good && button_ui(ui, &t!("finishing-show-made"), true, vec2(BUTTON, 28.0)).clicked() {
            sink.send(WindowIntent::Finishing(FinishingWish::ShowMade));
        }
    });
}

fn listing_ui(ui: &mut Ui, room: &FinishingRoom, free: bool, sink: &IntentSink) {
    let send = |wish| sink.send(WindowIntent::Finishing(wish));
    let width = ui.available_width();
    ui.horizontal(|ui| {
        soft_ui(ui, t!("finishing-listing"));
        let own = OWN_PROFILES.iter().any(|(own, _)| *own == room.profile);
        let name = if own { capital(&room.profile) } else { words::middle_cut(&room.listing_name(), 18) };
        let combo = ComboBox::from_id_salt("profile").selected_text(name).width(150.0).show_ui(ui, |ui| {
            for (own, _) in OWN_PROFILES {
                if ui.selectable_label(room.profile == own, capital(own)).clicked() {
                    send(FinishingWish::Profile(own.to_owned()));
                }
            }
            if ui.selectable_label(!own, t!("finishing-profile-file")).clicked() {
                send(FinishingWish::ChooseProfile);
            }
        });
        ui.ctx().accesskit_node_builder(combo.response.id, |node| node.set_label(t!("finishing-profile")));
    });
    soft_ui(ui, room.profile_words());
    ui.horizontal_top(|ui| {
        let choose = 84.0;
        let field = Field {
            caption: &t!("finishing-listing-folder"),
            name: &t!("finishing-listing-folder"),
            text: &room.listing_folder,
            hint: &t!("finishing-folder-hint"),
            width: width - choose - 22.0,
            wrong: false,
            enabled: true,
        };
        if let Some(text) = field_ui(ui, &field) {
            send(FinishingWish::ListingFolder(text));
        }
        ui.vertical(|ui| {
            ui.add_space(17.0);
            let response = button_ui(ui, &t!("finishing-choose"), true, vec2(choose, 0.0));
            ui.ctx()
                .accesskit_node_builder(response.id, |node| node.set_label(t!("finishing-choose-folder")));
            if response.clicked() {
                send(FinishingWish::ChooseListingFolder);
            }
        });
    });
    let named = !room.listing_folder.trim().is_empty();
    let (text, why_not) = match &room.job {
        Some(job) if job.exports => (t!("finishing-export-under-way"), t!("finishing-one-at-a-time")),
        Some(_) => (t!("finishing-export"), t!("finishing-one-at-a-time")),
        None => (t!("finishing-export"), t!("finishing-folder-first")),
    };
    let export = wide(ui, |ui| button_ui(ui, &text, free && named, vec2(width, 34.0)));
    if export.on_hover_text(t!("finishing-export-tip")).on_disabled_hover_text(why_not).clicked() {
        send(FinishingWish::Export);
    }
    soft_ui(ui, t!("finishing-export-what"));
}

/// A button as wide as the column has its text in the middle only in a row of its own.
fn wide(ui: &mut Ui, button: impl FnOnce(&mut Ui) -> Response) -> Response {
    ui.horizontal(button).inner
}
