//! What is made of the whole set: finished pictures, a listing; how far it is and how it went.

use crate::window::text::t;
use crate::words::capital;
use egui::{
    Align2, Button, ComboBox, Label, ProgressBar, Response, RichText, ScrollArea, Sense, Ui, UiBuilder, Vec2,
    vec2,
};

use super::widgets::{Field, button_ui, cut_problem_ui, field_ui, primary_button_ui, problem_ui, soft_ui};
use crate::listing::OWN_PROFILES;
use crate::window::finishing::{FinishingRoom, FinishingWish, Job, Outcome};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::{theme, words};

/// The size of the button beside what came of the work, points.
const BUTTON: Vec2 = vec2(206.0, 28.0);
/// The height of what is said of the pictures' size, points.
const SIZE_LINES: f32 = 32.0;

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
    let cancel = beside_ui(ui, Some(&t!("finishing-cancel")), |ui| {
        ui.add_space(6.0);
        ui.add(Label::new(words).truncate());
        let bar = ui.add(ProgressBar::new(pace.share()).fill(theme::soft()));
        ui.ctx().accesskit_node_builder(bar.id, |node| node.set_label(t!("finishing-progress")));
    });
    if cancel.is_some_and(|cancel| cancel.on_hover_text(t!("finishing-cancel-tip")).clicked()) {
        sink.send(WindowIntent::Finishing(FinishingWish::Cancel));
    }
}

/// What came of the work.
fn outcome_ui(ui: &mut Ui, room: &FinishingRoom, outcome: &Outcome, sink: &IntentSink) {
    let show = outcome.good.then(|| t!("finishing-show-made"));
    let show = beside_ui(ui, show.as_deref(), |ui| {
        // Unasked a scrolled area is never lower than 64 points, and would push its panel up.
        let area = ScrollArea::vertical().id_salt("outcome").auto_shrink(false).min_scrolled_height(0.0);
        area.show(ui, |ui| {
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
    if show.is_some_and(|show| show.clicked()) {
        sink.send(WindowIntent::Finishing(FinishingWish::ShowMade));
    }
}

/// Content with a button at its right, in all the room there is.
fn beside_ui(ui: &mut Ui, button: Option<&str>, content: impl FnOnce(&mut Ui)) -> Option<Response> {
    let (whole, _) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    let place = Align2::RIGHT_CENTER.align_size_within_rect(BUTTON, whole);
    let mut left = whole;
    if button.is_some() {
        left.set_right(place.left() - 12.0);
    }
    ui.scope_builder(UiBuilder::new().max_rect(left), content);
    button.map(|text| ui.put(place, Button::new(text)))
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
    // Two lines are kept for it, whether they are needed or not.
    ui.allocate_ui(vec2(width, SIZE_LINES), |ui| {
        ui.set_min_size(vec2(width, SIZE_LINES));
        size_ui(ui, room);
    });
    ui.horizontal_top(|ui| {
        let choose = 84.0;
        let field = Field {
            caption: &t!("finishing-listing-folder"),
            name: &t!("finishing-listing-folder"),
            text: &room.listing_folder,
            hint: &t!("finishing-folder-hint"),
            width: width - choose - 22.0,
            problem: None,
            tip: None,
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
    let refusal = room.listing.as_ref().and_then(|told| told.as_ref().err());
    let (text, why_not) = match &room.job {
        Some(job) if job.exports => (t!("finishing-export-under-way"), t!("finishing-one-at-a-time")),
        Some(_) => (t!("finishing-export"), t!("finishing-one-at-a-time")),
        None if !named => (t!("finishing-export"), t!("finishing-folder-first")),
        None => {
            let reason = refusal.map(|reason| capital(reason));
            (t!("finishing-export"), reason.unwrap_or_else(|| t!("finishing-reading")))
        }
    };
    let enabled = free && named && refusal.is_none();
    let export = wide(ui, |ui| button_ui(ui, &text, enabled, vec2(width, 34.0)));
    if export.on_hover_text(t!("finishing-export-tip")).on_disabled_hover_text(why_not).clicked() {
        send(FinishingWish::Export);
    }
    soft_ui(ui, t!("finishing-export-what"));
}

/// Whether the crop has the pixels that the profile asks for.
fn size_ui(ui: &mut Ui, room: &FinishingRoom) {
    let size = match &room.listing {
        Some(Ok(told)) => told.size,
        Some(Err(reason)) => {
            cut_problem_ui(ui, reason, 2);
            return;
        }
        None => return,
    };
    let (asked, crop) = (size.asked_px.to_string(), size.crop_px.to_string());
    match size.enlarged_words() {
        Some(times) => {
            problem_ui(ui, &t!("finishing-enlarged", asked = asked, crop = crop, times = times));
        }
        None => {
            soft_ui(ui, t!("finishing-not-enlarged", asked = asked, crop = crop));
        }
    }
}

/// A button as wide as the column has its text in the middle only in a row of its own.
fn wide(ui: &mut Ui, button: impl FnOnce(&mut Ui) -> Response) -> Response {
    ui.horizontal(button).inner
}
