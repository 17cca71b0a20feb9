//! The picture, large on neutral grey.

use egui::{Align2, FontId, Rect, Sense, TextureHandle, Ui, Vec2, pos2, vec2};

use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::{Pictures, Seen, Size, Wish};
use crate::window::places::Place;
use crate::window::state::State;
use crate::window::theme;

/// Preview sizes go in steps, so that a window being resized does not decode at every width.
const STEP_PX: u32 = 256;
/// Text on the mat.
const ON_MAT: egui::Color32 = egui::Color32::from_gray(236);

/// Draws the picture of the stop that is shown.
pub fn picture_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let area = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(area, Sense::hover());
    let inside = area.shrink(18.0);
    let Some(place) = state.shown() else {
        let text = if state.problems.is_empty() {
            "The newest frame appears here."
        } else {
            "The newest frame appears here once the plan can be shot."
        };
        words_ui(ui, area, text);
        return;
    };
    let Some(version) = place.picture() else {
        words_ui(ui, area, &format!("No frame of stop {} yet.", place.index));
        return;
    };
    let most = ui.input(|input| input.max_texture_side) as u32;
    let wanted = inside.width().max(inside.height()) * ui.ctx().pixels_per_point();
    let edge_px = ((wanted.max(1.0) as u32).div_ceil(STEP_PX) * STEP_PX).min(most).min(4096);
    let (seen, enough) = pictures.preview(&version.path, edge_px);
    if !enough {
        sink.send(WindowIntent::Want(Wish { path: version.path.clone(), size: Size::Preview(edge_px) }));
    }
    match (seen, pictures.thumb(&version.path)) {
        (Seen::Picture(texture, damaged), _) => {
            show(ui, inside, texture);
            if let Some(damaged) = damaged {
                note_ui(ui, area, &format!("The file is damaged: {damaged}"));
            }
        }
        // Soft for a moment is better than nothing.
        (Seen::OnItsWay, Seen::Picture(texture, _)) => show(ui, inside, texture),
        (Seen::Broken(reason), _) => words_ui(ui, area, &format!("The picture cannot be shown: {reason}.")),
        (Seen::OnItsWay, _) => {}
    }
    name_for_readers(ui, &response, place);
}

fn name_for_readers(ui: &Ui, response: &egui::Response, place: &Place) {
    let name = format!("Picture of stop {}, {}°, large", place.index, place.degrees_text);
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_role(egui::Role::Image);
        node.set_label(name);
    });
}

fn show(ui: &Ui, inside: Rect, texture: &TextureHandle) {
    let rect = fit(inside, texture.size_vec2());
    let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
    ui.painter().image(texture.id(), rect, whole, egui::Color32::WHITE);
}

/// The largest rectangle of these proportions in the middle of `inside`.
pub fn fit(inside: Rect, size: Vec2) -> Rect {
    let scale = (inside.width() / size.x.max(1.0)).min(inside.height() / size.y.max(1.0));
    Rect::from_center_size(inside.center(), size * scale)
}

fn words_ui(ui: &Ui, area: Rect, text: &str) {
    let font = FontId::proportional(16.0);
    let galley = ui.painter().layout(text.to_owned(), font, ON_MAT, (area.width() - 80.0).max(80.0));
    let at = area.center() - galley.size() / 2.0;
    ui.painter().galley(at, galley, ON_MAT);
}

fn note_ui(ui: &Ui, area: Rect, text: &str) {
    let at = area.left_top() + vec2(12.0, 12.0);
    let galley = ui.painter().layout(text.to_owned(), theme::small(), ON_MAT, area.width() - 40.0);
    let back = Align2::LEFT_TOP.anchor_size(at, galley.size()).expand(6.0);
    ui.painter().rect_filled(back, 4.0, theme::PANEL);
    ui.painter().galley(at, galley, ON_MAT);
}
