//! The picture in the finishing room: as shot and finished, with a divider to be drawn across.

use crate::window::text::t;
use egui::{
    Align2, Color32, CursorIcon, EventFilter, FontId, Pos2, Rect, Response, Sense, Stroke, TextureHandle, Ui,
    WidgetInfo, pos2, vec2,
};

use super::finishing::divider_id;
use super::picture::fit;
use crate::window::finishing::{FinishingRoom, FinishingWish, LARGEST_PX, Measuring, Side};
use crate::window::finishing_pictures::ProofShown;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::pictures::{Pictures, Seen};
use crate::window::state::State;
use crate::window::theme;

/// Text on the mat.
const ON_MAT: Color32 = Color32::from_gray(236);
/// Sizes go in steps, so that a window being resized does not ask at every width.
const STEP_PX: u32 = 128;
/// How far the pointer is drawn to turn the object by one stop, points.
const DRAG_A_STOP: f32 = 22.0;
/// Half the width in which the divider can be taken, points.
const GRIP: f32 = 9.0;
const WHOLE: Rect = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));

/// Draws the stop looked at.
pub fn picture_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let room = &state.finishing;
    let area = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(area, Sense::drag());
    let inside = area.shrink2(vec2(18.0, 34.0));
    let wanted = (inside.width().max(inside.height()) * ui.ctx().pixels_per_point()) as u32;
    let edge_px = (wanted.div_ceil(STEP_PX) * STEP_PX).clamp(512, LARGEST_PX);
    if edge_px != room.edge_px {
        sink.send(WindowIntent::Finishing(FinishingWish::Size(edge_px)));
    }
    if response.dragged() {
        turn(ui, state, sink, &response);
    }
    let Some(here) = room.stop() else {
        if let Measuring::Failed(reason) = &room.measuring {
            words_ui(ui, area, reason);
        }
        return;
    };
    name_for_readers(ui, &response, room, here.stop);
    let (shown, newest) = pictures.proofs.look(here.stop, room.revision);
    match (shown, &room.measuring) {
        (_, Measuring::Failed(reason)) | (Some(Err(reason)), _) => words_ui(ui, area, reason),
        (Some(Ok(proof)), _) => {
            proof_ui(ui, room, proof, inside, sink);
            if !newest {
                let at = inside.right_bottom() + vec2(0.0, 26.0);
                ui.painter().text(at, Align2::RIGHT_BOTTOM, t!("finishing-working"), theme::small(), ON_MAT);
            }
        }
        (None, measuring) => {
            // The frame as the strip has it, until the set is measured.
            let thumb = state
                .place(here.stop)
                .and_then(|place| place.picture())
                .map(|version| pictures.thumb(&version.path));
            if let Some(Seen::Picture(frame)) = thumb {
                paint(ui, &frame.texture, fit(inside, frame.texture.size_vec2()), inside);
            }
            let text = match measuring {
                Measuring::UnderWay(pace) => t!("finishing-looking", pace = pace.words()),
                _ => t!("finishing-making"),
            };
            let galley = ui.painter().layout(text, theme::small(), ON_MAT, inside.width());
            let at = pos2(inside.left(), inside.bottom() + 6.0);
            ui.painter().galley(at, galley, ON_MAT);
        }
    }
}

fn proof_ui(ui: &mut Ui, room: &FinishingRoom, proof: &ProofShown, inside: Rect, sink: &IntentSink) {
    let frame = fit(inside, proof.before.size_vec2());
    let line = frame.left() + frame.width() * room.divider;
    let (left, right) = match room.side {
        Side::Both => (
            Rect::from_min_max(frame.min, pos2(line, frame.bottom())),
            Rect::from_min_max(pos2(line, frame.top()), frame.max),
        ),
        Side::Finished => (Rect::NOTHING, frame),
        Side::AsShot => (frame, Rect::NOTHING),
    };
    let caption = |at: Pos2, align, text: String| {
        ui.painter().text(at, align, text, theme::small(), ON_MAT);
    };
    if left.is_positive() {
        paint(ui, &proof.before, frame, left);
        caption(frame.left_top() - vec2(0.0, 6.0), Align2::LEFT_BOTTOM, Side::AsShot.name());
    }
    if right.is_positive() {
        match &proof.after {
            Ok(after) => paint(ui, after, frame, right),
            Err(reason) => {
                ui.painter().rect_filled(right, 0.0, theme::panel());
                let room = right.shrink(12.0);
                let galley = ui.painter().layout(
                    reason.clone(),
                    FontId::proportional(14.5),
                    theme::text(),
                    room.width(),
                );
                ui.painter().galley(room.min, galley, theme::text());
            }
        }
        caption(frame.right_top() - vec2(0.0, 6.0), Align2::RIGHT_BOTTOM, Side::Finished.name());
    }
    if room.side == Side::Both {
        divider_ui(ui, room, frame, line, sink);
    }
}

fn divider_ui(ui: &Ui, room: &FinishingRoom, frame: Rect, line: f32, sink: &IntentSink) {
    let grip = Rect::from_x_y_ranges(line - GRIP..=line + GRIP, frame.y_range());
    let response = ui
        .interact(grip, divider_id(), Sense::click_and_drag())
        .on_hover_cursor(CursorIcon::ResizeHorizontal);
    let name = t!("finishing-divider");
    response.widget_info(|| WidgetInfo::slider(true, f64::from(room.divider) * 100.0, &name));
    if response.has_focus() {
        let filter = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    }
    if response.clicked() || response.drag_started() {
        response.request_focus();
    }
    if let (true, Some(at)) = (response.dragged(), response.interact_pointer_pos()) {
        let share = (at.x - frame.left()) / frame.width().max(1.0);
        sink.send(WindowIntent::Finishing(FinishingWish::Divide(share)));
    }
    // Dark and light, so that it is seen on any picture.
    let weight = if response.hovered() || response.has_focus() { 2.0 } else { 1.0 };
    let painter = ui.painter();
    painter.vline(line - weight / 2.0, frame.y_range(), Stroke::new(weight, Color32::from_gray(40)));
    painter.vline(line + weight / 2.0, frame.y_range(), Stroke::new(weight, Color32::from_gray(230)));
    let knob = Rect::from_center_size(pos2(line, frame.bottom() - 26.0), vec2(2.0 * GRIP, 30.0));
    painter.rect(
        knob,
        4.0,
        theme::panel(),
        Stroke::new(weight, Color32::from_gray(200)),
        egui::StrokeKind::Inside,
    );
    for x in [-3.0, 3.0] {
        painter.vline(line + x, knob.shrink(8.0).y_range(), Stroke::new(1.5, theme::text()));
    }
}

/// Looks at the stop that far along the row; drawing to the right turns the front to the right.
fn turn(ui: &Ui, state: &State, sink: &IntentSink, response: &Response) {
    let memory = response.id.with("turned");
    let drawn: f32 =
        if response.drag_started() { 0.0 } else { ui.data(|data| data.get_temp(memory)).unwrap_or(0.0) };
    let drawn = drawn + response.drag_delta().x * state.planned.direction.sign() as f32;
    let stops = (drawn / DRAG_A_STOP).trunc();
    ui.data_mut(|data| data.insert_temp(memory, drawn - stops * DRAG_A_STOP));
    if stops != 0.0 {
        sink.send(WindowIntent::Finishing(FinishingWish::Turn(state.finishing.turned(stops as i64))));
    }
}

fn name_for_readers(ui: &Ui, response: &Response, room: &FinishingRoom, stop: u32) {
    let what = match room.side {
        Side::Both => t!("finishing-picture-both", stop = stop),
        Side::Finished => t!("finishing-picture-finished", stop = stop),
        Side::AsShot => t!("finishing-picture-as-shot", stop = stop),
    };
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_role(egui::Role::Image);
        node.set_label(what);
    });
}

fn paint(ui: &Ui, texture: &TextureHandle, rect: Rect, clip: Rect) {
    ui.painter().with_clip_rect(clip).image(texture.id(), rect, WHOLE, Color32::WHITE);
}

fn words_ui(ui: &Ui, area: Rect, text: &str) {
    let text = crate::words::capital(text);
    let font = FontId::proportional(15.0);
    let galley = ui.painter().layout(text, font, ON_MAT, (area.width() - 80.0).max(80.0));
    let at = area.center() - galley.size() / 2.0;
    ui.painter().galley(at, galley, ON_MAT);
}
