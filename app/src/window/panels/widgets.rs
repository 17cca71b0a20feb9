//! Small parts that several panels are made of.

use std::ops::RangeInclusive;

use egui::emath::{Numeric, remap_clamp};
use egui::text::{LayoutJob, TextFormat};
use egui::{
    Align, Button, Color32, Event, FontId, Label, Layout, Modal, PointerButton, Pos2, Rect, Response,
    RichText, Slider, Stroke, TextEdit, Ui, Vec2, vec2,
};

use crate::window::marks;
use crate::window::places::Mark;
use crate::window::text::t;
use crate::window::theme;
use crate::words::capital;

/// The one button that leads on.
pub fn primary_button_ui(ui: &mut Ui, text: &str, enabled: bool, size: Vec2) -> Response {
    let button = if enabled {
        Button::new(RichText::new(text).color(theme::on_primary()).strong())
            .fill(theme::primary())
            // The stroke counts for the width.
            .stroke(Stroke::new(1.0, theme::primary()))
    } else {
        // As wide as when it can be pressed.
        Button::new(RichText::new(text).strong())
    };
    ui.add_enabled(enabled, button.min_size(size))
}

/// Any other button.
pub fn button_ui(ui: &mut Ui, text: &str, enabled: bool, size: Vec2) -> Response {
    ui.add_enabled(enabled, Button::new(text).min_size(size))
}

/// Second-rank text of one line, cut off where there is no room.
pub fn soft_ui(ui: &mut Ui, text: impl Into<String>) -> Response {
    ui.add(Label::new(RichText::new(text).font(theme::small()).color(theme::soft())).truncate())
}

/// Second-rank text on as many lines as it needs.
pub fn soft_wrapped_ui(ui: &mut Ui, text: impl Into<String>) -> Response {
    ui.add(Label::new(RichText::new(text).font(theme::small()).color(theme::soft())).wrap())
}

/// A line of two columns; the second is as high as its text needs.
///
/// No grid: one learns the height of its rows only while it is drawn, and lets long lines lie on each other
/// until it is drawn again.
pub fn pair_ui(ui: &mut Ui, first_width: f32, first: impl FnOnce(&mut Ui), second: RichText) {
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 10.0;
        ui.allocate_ui_with_layout(vec2(first_width, 0.0), Layout::top_down(Align::Min), |ui| {
            ui.set_width(first_width);
            first(ui);
        });
        ui.add(Label::new(second).wrap());
    });
}

/// What is wrong with a field, in words, with the problem's shape before it.
pub fn problem_ui(ui: &mut Ui, message: &str) {
    cut_problem_ui(ui, message, usize::MAX);
}

/// The same in so many lines at most.
pub fn cut_problem_ui(ui: &mut Ui, message: &str, lines: usize) {
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        marks::mark_ui(ui, Mark::Problem);
        ui.add(cut_label(message, theme::small(), theme::text(), lines));
    });
}

/// Text of so many lines at most; the pointer on one that is cut shows all of it.
pub fn cut_label(text: &str, font: FontId, colour: Color32, lines: usize) -> Label {
    let mut job = LayoutJob::simple(capital(text), font, colour, f32::INFINITY);
    job.wrap.max_rows = lines;
    Label::new(job).wrap()
}

/// A text field under its caption. `name` is what screen readers say, so it tells rows apart.
///
/// Gives the new text when it has changed.
pub fn field_ui(ui: &mut Ui, field: &Field<'_>) -> Option<String> {
    let mut typed = field.text.to_owned();
    let response = ui
        .allocate_ui_with_layout(vec2(field.width, 46.0), Layout::top_down(Align::Min), |ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.set_width(field.width);
            ui.scope(|ui| {
                // As high as a caption alone.
                ui.spacing_mut().interact_size.y = 15.0;
                ui.horizontal(|ui| {
                    ui.spacing_mut().item_spacing.x = 5.0;
                    if field.problem.is_some() {
                        marks::mark_ui(ui, Mark::Problem);
                    }
                    let caption = soft_ui(ui, field.caption);
                    if let Some(tip) = field.tip {
                        caption.on_hover_ui(|ui| drop(ui.label(tip())));
                    }
                });
            });
            // An identity of its own: what comes and goes above the field must not take the keyboard away.
            let edit = TextEdit::singleline(&mut typed)
                .id(field_id(field.name))
                .desired_width(field.width)
                .margin(vec2(6.0, 4.0));
            let response = ui.add_enabled(field.enabled, edit.hint_text(field.hint));
            ui.ctx().accesskit_node_builder(response.id, |node| {
                node.set_label(field.name);
                if let Some(problem) = field.problem {
                    node.set_invalid(egui::accesskit::Invalid::True);
                    node.set_description(problem);
                }
            });
            response
        })
        .inner;
    // One that is still empty is about to be typed in: nothing has gone wrong yet.
    let is_begun = !field.text.is_empty() || response.hovered();
    if let Some(problem) = field.problem.filter(|problem| !problem.is_empty() && is_begun) {
        problem_over_ui(ui, &response, problem);
    }
    response.changed().then_some(typed)
}

/// Says what is wrong with a field while it is typed in or pointed at. It lies over what is below the field, so
/// that nothing moves when it comes and goes.
pub fn problem_over_ui(ui: &Ui, field: &Response, problem: &str) {
    if !(field.has_focus() || field.hovered()) || !ui.is_rect_visible(field.rect) {
        return;
    }
    egui::Area::new(field.id.with("problem"))
        .order(egui::Order::Tooltip)
        .fixed_pos(field.rect.left_bottom() + vec2(0.0, 3.0))
        .interactable(false)
        .show(ui.ctx(), |ui| {
            egui::Frame::popup(ui.style()).show(ui, |ui| {
                ui.set_max_width(field.rect.width().max(PROBLEM_WIDTH));
                problem_ui(ui, problem);
            });
        });
}

/// The least width of what is said over a field, points.
const PROBLEM_WIDTH: f32 = 260.0;

/// The identity of the field with this name for screen readers.
pub fn field_id(name: &str) -> egui::Id {
    egui::Id::unique(("field", name))
}

/// What a text field shows.
#[derive(Debug, Clone, Copy)]
pub struct Field<'a> {
    /// The caption above it.
    pub caption: &'a str,
    /// Its name for screen readers.
    pub name: &'a str,
    /// The text in it.
    pub text: &'a str,
    /// What to show while it is empty.
    pub hint: &'a str,
    /// Its width, points.
    pub width: f32,
    /// What is wrong with it; empty where only its mark is shown, for the words stand elsewhere.
    pub problem: Option<&'a str>,
    /// What it is for, on hover; `None` where its caption says all.
    pub tip: Option<fn() -> String>,
    /// Whether it can be changed now.
    pub enabled: bool,
}

/// A slider that a quick click in its track moves too.
///
/// A press and its release may come in with one drawing, as on a slow machine or from a touchpad; the slider alone
/// sees neither then. `step` is what values are whole multiples of from the least on, 0 for any value.
pub fn slider_ui<Value: Numeric>(
    ui: &mut Ui,
    value: &mut Value,
    range: RangeInclusive<Value>,
    step: f64,
    dress: impl FnOnce(Slider<'_>) -> Slider<'_>,
) -> Response {
    let (least, most) = (range.start().to_f64(), range.end().to_f64());
    let slider = Slider::new(&mut *value, range).step_by(step);
    let mut response = ui.add(dress(slider));
    let track =
        Rect::from_min_size(response.rect.min, vec2(ui.spacing().slider_width, response.rect.height()));
    if let Some(at) = quick_click(ui).filter(|at| response.contains_pointer() && track.contains(*at))
        && response.enabled()
    {
        // The handle stays within the track by its own radius, which follows the slider's height.
        let ends = track.x_range().shrink(ui.spacing().interact_size.y / 2.5);
        let there = remap_clamp(f64::from(at.x), f64::from(ends.min)..=f64::from(ends.max), least..=most);
        let step = if Value::INTEGRAL { step.max(1.0) } else { step };
        let there = if step > 0.0 { least + ((there - least) / step).round() * step } else { there };
        let there = Value::from_f64(there.clamp(least, most));
        if there != *value {
            *value = there;
            response.mark_changed();
        }
    }
    response
}

/// Where the pointer was pressed, when it was let go again before anything was drawn.
fn quick_click(ui: &Ui) -> Option<Pos2> {
    ui.input(|input| {
        let pressed = input.events.iter().find_map(|event| match event {
            Event::PointerButton { pos, button: PointerButton::Primary, pressed: true, .. } => Some(*pos),
            _ => None,
        });
        pressed.filter(|_| input.pointer.primary_released())
    })
}

/// A soft caption and a value in one line of text, such as `Table: simulated table`.
pub fn captioned(caption: &str, value: &str) -> LayoutJob {
    let mut job = LayoutJob::default();
    let format = |color| TextFormat { font_id: FontId::proportional(13.5), color, ..TextFormat::default() };
    job.append(caption, 0.0, format(theme::soft()));
    job.append(": ", 0.0, format(theme::soft()));
    job.append(value, 0.0, format(theme::text()));
    job
}

/// What a person says to a card that asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// Do it.
    Yes,
    /// Leave it; also by Esc and by a press beside the card.
    No,
}

/// Draws a card that asks before something is done; `go` is the word for doing it, and whether it can be done now.
/// Enter does it.
pub fn ask_ui(ui: &Ui, name: &str, title: &str, text: &str, go: (&str, bool)) -> Option<Said> {
    let mut said = None;
    let shown = Modal::new(egui::Id::unique(name)).show(ui.ctx(), |ui| {
        ui.set_width(420.0);
        ui.heading(title);
        ui.add(Label::new(text).wrap());
        ui.add_space(4.0);
        ui.horizontal(|ui| {
            let size = vec2(0.0, 32.0);
            if primary_button_ui(ui, go.0, go.1, size).clicked() || (go.1 && is_confirmed(ui)) {
                said = Some(Said::Yes);
            }
            if button_ui(ui, &t!("ask-cancel"), true, size).clicked() {
                said = Some(Said::No);
            }
        });
    });
    said.or_else(|| shown.should_close().then_some(Said::No))
}

/// Whether Enter is pressed while nothing in a card has the keyboard: it means the card's first button.
pub fn is_confirmed(ui: &Ui) -> bool {
    let free = ui.memory(egui::Memory::focused).is_none();
    free && ui.input(|input| input.modifiers.is_none() && input.key_pressed(egui::Key::Enter))
}
