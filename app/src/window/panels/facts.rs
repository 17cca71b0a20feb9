//! What is known of the frame that is shown, and its versions side by side.

use egui::{
    Align, Button, Color32, Layout, Rect, RichText, ScrollArea, Sense, Stroke, StrokeKind, Ui, pos2, vec2,
};
use session_core::check::SeenAngle;
use session_core::view::VersionView;

use super::caption::can_note;
use super::picture::fit;
use super::widgets::{button_ui, pair_ui, soft_ui, soft_wrapped_ui};
use crate::window::facts::{VersionFacts, exposure_words};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::{Pictures, Seen, Size, Wish};
use crate::window::places::Place;
use crate::window::stage::{Against, Look};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{theme, words};

/// The width of the captions, points.
const CAPTIONS: f32 = 60.0;

/// Draws the facts of the stop that is shown.
pub fn facts_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let Some(place) = state.shown() else {
        soft_ui(ui, t!("facts-none"));
        return;
    };
    ui.spacing_mut().item_spacing.y = 6.0;
    let title =
        if place.closing { t!("facts-closing-frame") } else { t!("facts-frame-of-stop", stop = place.index) };
    ui.label(RichText::new(title).strong());
    let facts = state.facts.as_ref().filter(|facts| facts.key.stop == place.index);
    let shown = facts.and_then(|facts| {
        let wanted = state.large_picture()?.version;
        facts.versions.iter().find(|version| version.version == wanted)
    });
    // Room for the scroll bar, whether it is there or not: narrower thumbnails are lower, and a bar that came
    // would take away what it came for.
    let width = ui.available_width() - ui.spacing().scroll.allocated_width();
    ScrollArea::vertical().id_salt("facts").auto_shrink(false).show(ui, |ui| {
        ui.set_max_width(width);
        ui.scope(|ui| figures_ui(ui, state, place, shown, pictures));
        if place.closing {
            soft_wrapped_ui(ui, closing_words(facts.and_then(|facts| facts.is_a_turn_on)));
        }
        ui.add_space(4.0);
        versions_ui(ui, state, place, pictures, sink);
    });
}

fn figures_ui(ui: &mut Ui, state: &State, place: &Place, facts: Option<&VersionFacts>, pictures: &Pictures) {
    let picture = state.large_picture();
    ui.spacing_mut().interact_size.y = 15.0;
    ui.spacing_mut().item_spacing.y = 5.0;
    let mut line = |caption: String, value: String| {
        pair_ui(ui, CAPTIONS, |ui| drop(soft_ui(ui, caption)), RichText::new(value).font(theme::small()));
    };
    line(t!("facts-planned"), format!("{}°", place.degrees_text));
    if let Some(picture) = picture {
        line(t!("facts-reported"), facts.map_or_else(String::new, reported_words));
        line(t!("facts-measured"), measured_words(place, picture));
        line(t!("facts-exposure"), facts.map_or_else(String::new, exposure_line));
        line(t!("facts-shot"), facts.map_or_else(String::new, |facts| facts.exposed_at.clone()));
        let bytes = facts.and_then(|facts| facts.file_bytes.first().copied());
        line(t!("facts-size"), size_words(pictures.full_px(&picture.path), bytes));
    } else {
        line(t!("facts-file"), t!("facts-will-be", name = place.file_stem));
    }
    if let Some(name) = picture.and_then(|picture| picture.path.file_name()) {
        let name = name.to_string_lossy().into_owned();
        soft_ui(ui, &name).on_hover_text(name);
    }
}

/// What a closing frame is for, or why it tells nothing.
fn closing_words(is_a_turn_on: Option<bool>) -> String {
    match is_a_turn_on {
        Some(false) => t!("facts-closing-no-turn"),
        Some(true) | None => t!("facts-closing-what"),
    }
}

fn reported_words(facts: &VersionFacts) -> String {
    match (facts.reported_deg, facts.off_deg) {
        // A negative nought would be read as a direction.
        (Some(deg), Some(off)) if off.abs() < 0.005 => {
            t!("facts-reported-exact", degrees = format!("{deg:.2}"))
        }
        (Some(deg), Some(off)) => {
            t!("facts-reported-off", degrees = format!("{deg:.2}"), off = format!("{off:+.2}"))
        }
        _ => t!("facts-no-table"),
    }
}

/// What the pictures themselves say of the frame's angle.
fn measured_words(place: &Place, picture: &VersionView) -> String {
    match picture.seen_angle.as_ref() {
        Some(SeenAngle::Told { degrees, uncertainty_deg }) => {
            // Over 0° the short way round, without a minus before a nought.
            let off = (degrees - place.degrees + 180.0).rem_euclid(360.0) - 180.0;
            let off = (off * 100.0).round() / 100.0 + 0.0;
            t!(
                "facts-measured-angle",
                degrees = format!("{:.2}", degrees.rem_euclid(360.0)),
                uncertainty = format!("{:.2}", uncertainty_deg.max(0.01)),
                off = format!("{off:+.2}")
            )
        }
        Some(SeenAngle::CannotTell { cannot_tell }) => t!("facts-cannot-tell", reason = cannot_tell),
        None => t!("facts-not-measured"),
    }
}

fn exposure_line(facts: &VersionFacts) -> String {
    let parts = [
        facts.exposure_secs.map(|secs| t!("facts-secs", secs = exposure_words(secs))),
        facts.aperture.clone(),
        facts.iso.as_ref().map(|iso| t!("facts-iso", iso = iso)),
    ];
    let told = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
    if told.is_empty() { t!("facts-not-told") } else { told }
}

fn size_words(pixels: Option<(u32, u32)>, bytes: Option<u64>) -> String {
    let pixels = pixels
        .map(|(width, height)| t!("facts-pixels", width = width.to_string(), height = height.to_string()));
    let bytes = bytes.map(words::file_size);
    pixels.into_iter().chain(bytes).collect::<Vec<_>>().join(", ")
}

/// A thumbnail of each version with what can be done with it, two in a line.
fn versions_ui(ui: &mut Ui, state: &State, place: &Place, pictures: &Pictures, sink: &IntentSink) {
    if place.versions.is_empty() {
        return;
    }
    let title = t!("count-versions", n = place.versions.len());
    soft_ui(ui, title);
    let width = ((ui.available_width() - 8.0) / 2.0).clamp(80.0, 180.0);
    let cells: Vec<_> = place.versions.iter().collect();
    for pair in cells.chunks(2) {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = 8.0;
            for version in pair {
                ui.allocate_ui_with_layout(vec2(width, 0.0), Layout::top_down(Align::Center), |ui| {
                    ui.set_width(width);
                    ui.spacing_mut().item_spacing.y = 4.0;
                    version_ui(ui, state, place, version.version, &version.path, width, pictures, sink);
                });
            }
        });
    }
}

#[allow(clippy::too_many_arguments, reason = "one cell, with what it draws from")]
fn version_ui(
    ui: &mut Ui,
    state: &State,
    place: &Place,
    version: u32,
    path: &std::path::PathBuf,
    width: f32,
    pictures: &Pictures,
    sink: &IntentSink,
) {
    let (frame, response) = ui.allocate_exact_size(vec2(width, width * 0.667), Sense::click());
    let chosen = version == place.chosen;
    let what = if chosen {
        t!("facts-version-in-use", version = version)
    } else {
        t!("facts-version", version = version)
    };
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Button, true, t!("facts-picture-of", version = version))
    });
    if response.clicked() {
        sink.send(WindowIntent::Look(Look::Version((!chosen).then_some(version))));
    }
    let painter = ui.painter();
    painter.rect_filled(frame, 3.0, theme::raised());
    match pictures.thumb(path) {
        Seen::Picture(thumb) => {
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            painter.image(thumb.texture.id(), fit(frame, thumb.texture.size_vec2()), whole, Color32::WHITE);
        }
        Seen::OnItsWay => sink.send(WindowIntent::Want(Wish::plain(path, Size::Thumb))),
        Seen::Broken(_) => {}
    }
    let edge = if response.has_focus() {
        ui.visuals().selection.stroke
    } else if chosen {
        Stroke::new(2.0, theme::strong())
    } else {
        Stroke::new(1.0, theme::line())
    };
    painter.rect_stroke(frame, 3.0, edge, StrokeKind::Inside);
    response.on_hover_text(t!("facts-picture-tip"));
    ui.label(RichText::new(what).font(theme::small()));
    if place.versions.len() < 2 {
        return;
    }
    if !chosen {
        let response = button_ui(ui, &t!("facts-use-this-version"), can_note(state), vec2(width, 24.0));
        let name = t!("caption-use-version-of-stop", version = version, index = place.index);
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(name));
        if response.clicked() {
            sink.send(WindowIntent::UseVersion { stop: place.index, version });
        }
        let compared = state.stage.against == Against::Version(version);
        let button = Button::selectable(compared, t!("facts-compare")).frame_when_inactive(true);
        let response = ui.add(button.min_size(vec2(width, 24.0)));
        let name = t!("facts-compare-with", version = version);
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(name));
        if response.on_hover_text(t!("facts-compare-tip")).clicked() {
            let against = if compared { Against::Nothing } else { Against::Version(version) };
            sink.send(WindowIntent::Look(Look::Against(against)));
        }
    }
}
