//! The picture, large on neutral grey: to be turned, moved about in, and compared.

use std::path::Path;

use egui::{Align2, Color32, FontId, Pos2, Rect, Response, Sense, TextureHandle, Ui, Vec2, pos2, vec2};

use super::compare::compare_ui;
use super::picture_aids::{guides, tones_ui};
use super::recent::instead_of_picture_ui;
use crate::window::intent::{IntentSink, Pick, WindowIntent};
use crate::window::pictures::{Part, Pictures, Seen, Size, Uploaded, Wish};
use crate::window::places::Place;
use crate::window::stage::{Look, Scale};
use crate::window::state::{LiveFacts, State};
use crate::window::text::t;
use crate::window::theme;

/// Preview sizes go in steps, so that a window being resized does not decode at every width.
const STEP_PX: u32 = 128;
/// The longest side of a picture on screen, pixels; larger previews cost memory and show no more.
const MOST_PX: u32 = 2560;
/// Text on the mat.
const ON_MAT: Color32 = Color32::from_gray(236);
/// The side of the magnifier, points.
const MAGNIFIER: f32 = 260.0;
/// How far the pointer is drawn to turn the object by one stop, points.
const DRAG_A_STOP: f32 = 22.0;
const WHOLE: Rect = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));

/// Draws the picture of the stop that is shown.
pub fn picture_ui(ui: &mut Ui, state: &State, pictures: &Pictures, sink: &IntentSink) {
    let area = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(area, Sense::click_and_drag());
    if let (Some(facts), Some(texture)) = (state.live, pictures.live()) {
        live_ui(ui, area, texture, facts, state);
        return;
    }
    let Some(place) = state.shown() else {
        let text = if state.problems.is_empty() {
            t!("picture-the-newest-frame-appears-here")
        } else {
            t!("picture-the-newest-frame-appears-here-2")
        };
        words_ui(ui, area, &text);
        instead_of_picture_ui(ui, area, state, sink);
        return;
    };
    let Some(version) = state.large_picture() else {
        let text = if place.closing {
            t!("picture-no-closing-frame-yet")
        } else {
            t!("picture-no-frame-of-stop-yet", index = place.index)
        };
        words_ui(ui, area, &text);
        return;
    };
    name_for_readers(ui, &response, place);
    // Before the picture is there, too: what is drawn across is not lost.
    if state.stage.scale == Scale::Fit && response.dragged() {
        turn(ui, state, sink, &response);
    }
    let inside = area.shrink(18.0);
    let edge_px = preview_edge_px(ui, inside);
    let plain = Wish::plain(&version.path, Size::Preview(edge_px));
    let (seen, enough) = pictures.preview(&version.path, edge_px);
    let thumb = pictures.thumb(&version.path);
    // While the object is being turned only small pictures are asked for: they come at once.
    let turning = state.stage.scale == Scale::Fit && ui.input(|input| input.pointer.is_decidedly_dragging());
    match (turning, thumb) {
        (false, _) if !enough => sink.send(WindowIntent::Want(plain.clone())),
        (true, Seen::OnItsWay) => sink.send(WindowIntent::Want(Wish::plain(&version.path, Size::Thumb))),
        _ => {}
    }
    let preview = match (seen, thumb) {
        // Soft for a moment is better than nothing.
        (Seen::Picture(preview), _) | (Seen::OnItsWay, Seen::Picture(preview)) => preview,
        (Seen::Broken(reason), _) => {
            words_ui(ui, area, &t!("picture-the-picture-cannot-be-shown", reason = reason));
            return;
        }
        (Seen::OnItsWay, _) => return,
    };
    let view = View::new(ui, state, inside, preview.full_px);
    match state.stage.scale {
        Scale::Fit => {
            paint(ui, &preview.texture, view.frame, Color32::WHITE);
            compare(ui, state, pictures, sink, &plain, &view);
        }
        Scale::Pixels(_) => close_up(ui, state, pictures, sink, &version.path, preview, &view),
    }
    let clip = ui.painter().with_clip_rect(inside.expand(4.0));
    if state.stage.guides {
        guides(&clip, view.frame);
    }
    if state.stage.tones
        && let Some(tones) = &preview.tones
    {
        tones_ui(ui, area, tones);
    }
    if let Some(damaged) = &preview.damaged {
        note_ui(ui, area, &t!("picture-the-file-is-damaged", damaged = damaged));
    } else if state.stage.version == Some(version.version) {
        note_ui(ui, area, &t!("picture-version-not-in-use", version = version.version));
    }
    pointer_ui(ui, state, sink, &response, &view);
    compare_ui(ui, area, state, sink);
    if state.stage.magnifier && state.stage.scale == Scale::Fit {
        magnifier(ui, state, pictures, sink, &version.path, &response, &view);
    }
}

/// The live picture or a test frame, with what is known of it.
fn live_ui(ui: &Ui, area: Rect, texture: &TextureHandle, facts: LiveFacts, state: &State) {
    let frame = fit(area.shrink(18.0), texture.size_vec2());
    paint(ui, texture, frame, Color32::WHITE);
    if state.stage.guides {
        guides(ui.painter(), frame);
    }
    let text = if facts.test {
        t!("picture-test-frame-not-kept-s", delay_secs = format!("{:.1}", facts.delay_secs))
    } else {
        t!(
            "picture-live-pictures-a-second-ms",
            rate = format!("{:.0}", facts.rate),
            late_ms = format!("{:.0}", facts.delay_secs * 1e3)
        )
    };
    note_ui(ui, area, &text);
}

fn preview_edge_px(ui: &Ui, inside: Rect) -> u32 {
    let most = ui.input(|input| input.max_texture_side) as u32;
    let wanted = inside.width().max(inside.height()) * ui.ctx().pixels_per_point();
    ((wanted.max(1.0) as u32).div_ceil(STEP_PX) * STEP_PX).min(most).min(MOST_PX)
}

/// Where the whole frame lies on screen, at the present scale.
struct View {
    /// The room for the picture.
    inside: Rect,
    /// The whole frame, points; larger than the room when looked at closely.
    frame: Rect,
    full_px: (u32, u32),
}

impl View {
    fn new(ui: &Ui, state: &State, inside: Rect, full_px: (u32, u32)) -> Self {
        let size = vec2(full_px.0.max(1) as f32, full_px.1.max(1) as f32);
        let frame = match state.stage.scale {
            Scale::Fit => fit(inside, size),
            Scale::Pixels(scale) => {
                let size = size * f32::from(scale) / ui.ctx().pixels_per_point();
                let centre = vec2(state.stage.centre[0], state.stage.centre[1]);
                Rect::from_min_size(inside.center() - size * centre, size)
            }
        };
        Self { inside, frame, full_px }
    }

    /// A place on screen as shares of the frame's sides.
    fn shares(&self, at: Pos2) -> [f32; 2] {
        let from = (at - self.frame.min) / self.frame.size().max(Vec2::splat(1.0));
        [from.x, from.y]
    }

    /// Where a part of the frame lies on screen.
    fn place_of(&self, part: &Uploaded) -> Rect {
        let scale = self.frame.width() / self.full_px.0.max(1) as f32;
        let corner = vec2(part.corner_px[0] as f32, part.corner_px[1] as f32) * scale;
        Rect::from_min_size(self.frame.min + corner, part.texture.size_vec2() * scale)
    }
}

/// Paints the other picture over it, or the difference.
fn compare(ui: &Ui, state: &State, pictures: &Pictures, sink: &IntentSink, plain: &Wish, view: &View) {
    let Some(other) = state.other_picture() else { return };
    if state.stage.difference {
        let wish = Wish { against: Some(other.path.clone()), ..plain.clone() };
        match pictures.special(&wish) {
            Seen::Picture(difference) => paint(ui, &difference.texture, view.frame, Color32::WHITE),
            Seen::Broken(reason) => {
                note_ui(ui, view.inside, &t!("picture-no-difference-can-be-shown", reason = reason));
            }
            Seen::OnItsWay => sink.send(WindowIntent::Want(wish)),
        }
        return;
    }
    let Size::Preview(edge_px) = plain.size else { return };
    let (seen, enough) = pictures.preview(&other.path, edge_px);
    if !enough {
        sink.send(WindowIntent::Want(Wish::plain(&other.path, plain.size)));
    }
    if let Seen::Picture(over) = seen {
        let size = vec2(over.full_px.0 as f32, over.full_px.1 as f32);
        let tint = Color32::from_white_alpha((state.stage.mix * 255.0) as u8);
        paint(ui, &over.texture, fit(view.inside, size), tint);
    }
}

/// A part at one pixel a pixel; until it has come, the one that was looked at last.
fn part_of<'a>(
    pictures: &'a Pictures,
    sink: &IntentSink,
    wish: Wish,
) -> Result<Option<&'a Uploaded>, String> {
    match pictures.special(&wish) {
        Seen::Picture(part) => Ok(Some(part)),
        Seen::Broken(reason) => Err(reason.to_owned()),
        Seen::OnItsWay => {
            let last = pictures.last_part(&wish);
            sink.send(WindowIntent::Want(wish));
            Ok(last)
        }
    }
}

/// Paints the part of the frame that is in sight at one pixel a pixel or more, and what it is compared with.
fn close_up(
    ui: &Ui,
    state: &State,
    pictures: &Pictures,
    sink: &IntentSink,
    path: &Path,
    preview: &Uploaded,
    view: &View,
) {
    let painter = ui.painter().with_clip_rect(view.inside);
    // The rest of the frame, soft, until the part has come.
    painter.image(preview.texture.id(), view.frame, WHOLE, Color32::WHITE);
    let Scale::Pixels(scale) = state.stage.scale else { return };
    let view_px = view.inside.size() * ui.ctx().pixels_per_point() / f32::from(scale);
    let part = state.stage.part(state.stage.centre, view.full_px, view_px.into(), state.stage.edges);
    let put = |part: &Uploaded, tint| {
        painter.image(part.texture.id(), view.place_of(part), WHOLE, tint);
    };
    if let Ok(Some(part)) = part_of(pictures, sink, Wish::plain(path, Size::Part(part))) {
        put(part, Color32::WHITE);
    }
    let Some(other) = state.other_picture() else { return };
    if state.stage.difference {
        let size = Size::Part(Part { edges: false, ..part });
        match part_of(pictures, sink, Wish { path: path.to_owned(), size, against: Some(other.path.clone()) })
        {
            Ok(difference) => difference.into_iter().for_each(|part| put(part, Color32::WHITE)),
            Err(reason) => {
                note_ui(ui, view.inside, &t!("picture-no-difference-can-be-shown", reason = reason));
            }
        }
        return;
    }
    let tint = Color32::from_white_alpha((state.stage.mix * 255.0) as u8);
    match (part_of(pictures, sink, Wish::plain(&other.path, Size::Part(part))), pictures.thumb(&other.path)) {
        (Ok(Some(part)), _) => put(part, tint),
        // Soft for a moment is better than nothing.
        (_, Seen::Picture(small)) => {
            painter.image(small.texture.id(), view.frame, WHOLE, tint);
        }
        _ => {}
    }
}

/// Paints what is under the pointer at one pixel a pixel.
fn magnifier(
    ui: &Ui,
    state: &State,
    pictures: &Pictures,
    sink: &IntentSink,
    path: &Path,
    response: &Response,
    view: &View,
) {
    let Some(at) = response.hover_pos().filter(|at| view.frame.contains(*at)) else { return };
    let per_point = ui.ctx().pixels_per_point();
    let shares = view.shares(at);
    let side_px = MAGNIFIER * per_point;
    let part = state.stage.part(shares, view.full_px, [side_px, side_px], state.stage.edges);
    // At the border it stays whole, and beside the pointer.
    let room = ui.clip_rect().shrink(MAGNIFIER / 2.0 + 2.0);
    let middle = if room.is_positive() { room.clamp(at) } else { at };
    let glass = Rect::from_center_size(middle, Vec2::splat(MAGNIFIER));
    let painter = ui.painter().with_clip_rect(glass);
    if let Ok(Some(part)) = part_of(pictures, sink, Wish::plain(path, Size::Part(part))) {
        let point = vec2(shares[0] * view.full_px.0 as f32, shares[1] * view.full_px.1 as f32);
        let corner = vec2(part.corner_px[0] as f32, part.corner_px[1] as f32);
        let rect =
            Rect::from_min_size(middle + (corner - point) / per_point, part.texture.size_vec2() / per_point);
        painter.image(part.texture.id(), rect, WHOLE, Color32::WHITE);
    }
    ui.painter().rect_stroke(glass, 0.0, egui::Stroke::new(1.0, ON_MAT), egui::StrokeKind::Outside);
}

/// Moves about in the picture close up; a double click or the wheel goes closer and back.
fn pointer_ui(ui: &Ui, state: &State, sink: &IntentSink, response: &Response, view: &View) {
    if response.double_clicked()
        && let Some(at) = response.interact_pointer_pos()
    {
        let scale = if state.stage.scale == Scale::Fit { Scale::Pixels(1) } else { Scale::Fit };
        sink.send(WindowIntent::Look(Look::Scale(scale, view.shares(at))));
        return;
    }
    if response.dragged() && state.stage.scale != Scale::Fit {
        let moved = response.drag_delta() / view.frame.size().max(Vec2::splat(1.0));
        let [x, y] = state.stage.centre;
        sink.send(WindowIntent::Look(Look::Centre([x - moved.x, y - moved.y])));
    }
    let wheel = if response.hovered() { ui.input(|input| input.smooth_scroll_delta.y) } else { 0.0 };
    if wheel.abs() > 4.0 {
        let at = response.hover_pos().map_or(state.stage.centre, |at| view.shares(at));
        let scale = match (state.stage.scale, wheel > 0.0) {
            (Scale::Fit, true) | (Scale::Pixels(2), false) => Scale::Pixels(1),
            (Scale::Pixels(1), true) => Scale::Pixels(2),
            (_, false) => Scale::Fit,
            (as_it_is, true) => as_it_is,
        };
        if scale != state.stage.scale {
            sink.send(WindowIntent::Look(Look::Scale(scale, at)));
        }
    }
}

/// Looks at the stop that far along the row; drawing to the right turns the front to the right.
fn turn(ui: &Ui, state: &State, sink: &IntentSink, response: &Response) {
    let memory = response.id.with("turned");
    let Some(shown) = state.shown() else { return };
    let row: Vec<u32> = state
        .places
        .iter()
        .filter(|place| place.row == shown.row && place.picture().is_some())
        .map(|place| place.index)
        .collect();
    let Some(at) = row.iter().position(|index| *index == shown.index) else { return };
    let drawn: f32 =
        if response.drag_started() { 0.0 } else { ui.data(|data| data.get_temp(memory)).unwrap_or(0.0) };
    let drawn = drawn + response.drag_delta().x * state.planned.direction.sign() as f32;
    let stops = (drawn / DRAG_A_STOP).trunc();
    ui.data_mut(|data| data.insert_temp(memory, drawn - stops * DRAG_A_STOP));
    let to = (at as i64 + stops as i64).rem_euclid(row.len() as i64) as usize;
    if to != at {
        sink.send(WindowIntent::Pick(Pick::Cursor(row[to])));
    }
}

fn name_for_readers(ui: &Ui, response: &Response, place: &Place) {
    let name = if place.closing {
        t!("picture-closing-large", degrees_text = place.degrees_text)
    } else {
        t!("picture-picture-of-stop-large", index = place.index, degrees_text = place.degrees_text)
    };
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_role(egui::Role::Image);
        node.set_label(name);
    });
}

fn paint(ui: &Ui, texture: &TextureHandle, rect: Rect, tint: Color32) {
    ui.painter().image(texture.id(), rect, WHOLE, tint);
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
    let galley = ui.painter().layout(text.to_owned(), theme::small(), theme::text(), area.width() - 40.0);
    let back = Align2::LEFT_TOP.anchor_size(at, galley.size()).expand(6.0);
    ui.painter().rect_filled(back, 4.0, theme::panel());
    ui.painter().galley(at, galley, theme::text());
}
