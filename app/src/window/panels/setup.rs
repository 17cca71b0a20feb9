//! The path from the demo to one's own table and camera, in the column of ring and plan.

use egui::{Frame, Label, RichText, ScrollArea, Ui, vec2};

use super::device_menus::{camera_choice_ui, table_choice_ui};
use super::help::cautions;
use super::tryout_ui::{try_camera_ui, try_table_ui};
use super::widgets::{button_ui, primary_button_ui, problem_ui};
use crate::window::board::BoardEdit;
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::places::Mark;
use crate::window::setup::SetupStep;
use crate::window::state::State;
use crate::window::text::t;
use crate::window::{marks, readiness, theme};

/// Where a caution stands among [`cautions`].
const TURNING: usize = 0;
const LOAD: usize = 1;
const LIGHTS: usize = 2;
const ELECTRICITY: usize = 3;
const RULES: usize = 4;

/// Draws the button that opens the path, for as long as the demo's table is in use.
pub fn enter_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    if state.devices.table != crate::window::devices::TableKind::Simulated {
        return;
    }
    ui.horizontal(|ui| {
        if button_ui(ui, &t!("setup-enter"), !state.is_busy(), vec2(ui.available_width(), 28.0)).clicked() {
            sink.send(WindowIntent::Setup(SetupStep::Board));
        }
    });
}

/// Draws the path with this step open.
pub fn setup_ui(ui: &mut Ui, state: &State, step: SetupStep, sink: &IntentSink) {
    ui.heading(t!("setup-title"));
    ui.add_space(4.0);
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing.y = 2.0;
        ui.spacing_mut().interact_size.y = 22.0;
        ui.spacing_mut().button_padding = vec2(8.0, 1.0);
        for one in SetupStep::ALL {
            step_ui(ui, state, one, step, sink);
        }
    });
    ui.add_space(6.0);
    ui.painter().hline(ui.max_rect().x_range(), ui.cursor().top(), egui::Stroke::new(1.0, theme::line()));
    ui.add_space(10.0);
    let room = ui.available_height() - 48.0;
    ScrollArea::vertical().id_salt("step").auto_shrink(false).max_height(room).show(ui, |ui| {
        ui.set_width((ui.available_width() - ui.spacing().scroll.allocated_width()).min(336.0));
        ui.spacing_mut().item_spacing.y = 7.0;
        content_ui(ui, state, step, sink);
    });
    ui.add_space(8.0);
    ui.horizontal(|ui| footer_ui(ui, state, step, sink));
}

fn step_ui(ui: &mut Ui, state: &State, one: SetupStep, open: SetupStep, sink: &IntentSink) {
    let is_done = state.setup.done.contains(&one);
    let mark = match (is_done, one == open) {
        (true, _) => Mark::Kept,
        (_, true) => Mark::InWork,
        // One that was passed by is as one to come: nothing has gone wrong.
        _ => Mark::Missing,
    };
    ui.horizontal(|ui| {
        marks::mark_ui(ui, mark);
        let button = egui::Button::selectable(one == open, one.words());
        let response = ui.add(button);
        let said = match (is_done, one == open, one < open) {
            (true, ..) => t!("setup-step-done", step = one.words()),
            (_, true, _) => t!("setup-step-open", step = one.words()),
            (_, _, true) => t!("setup-step-left-out", step = one.words()),
            _ => one.words(),
        };
        ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(said));
        if response.clicked() {
            sink.send(WindowIntent::Setup(one));
        }
    });
}

fn say_ui(ui: &mut Ui, text: String) {
    ui.add(Label::new(text).wrap());
}

/// The cautions that belong to a step; the rules of the place go before all of them.
fn cautions_ui(ui: &mut Ui, which: &[usize]) {
    Frame::new().fill(theme::raised()).corner_radius(6.0).inner_margin(10.0).show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.spacing_mut().item_spacing.y = 2.0;
        ui.spacing_mut().interact_size.y = 18.0;
        let all = cautions();
        for (what, caution) in which.iter().chain(&[RULES]).filter_map(|at| all.get(*at)) {
            ui.horizontal(|ui| {
                marks::mark_ui(ui, Mark::Problem);
                ui.label(RichText::new(what).font(theme::small()).strong());
            });
            ui.add(Label::new(RichText::new(caution).font(theme::small())).wrap());
        }
    });
}

fn content_ui(ui: &mut Ui, state: &State, step: SetupStep, sink: &IntentSink) {
    match step {
        SetupStep::Board => {
            say_ui(ui, t!("setup-board-text"));
            if button_ui(ui, &t!("device-menus-set-up-a-controller-board"), true, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::Board(BoardEdit::Open(true)));
            }
            cautions_ui(ui, &[ELECTRICITY]);
        }
        SetupStep::Table => {
            say_ui(ui, t!("setup-table-text"));
            table_choice_ui(ui, state, sink);
        }
        SetupStep::Camera => {
            say_ui(ui, t!("setup-camera-text"));
            camera_choice_ui(ui, state, sink);
            try_camera_ui(ui, state, sink);
            cautions_ui(ui, &[LIGHTS]);
        }
        SetupStep::Zero => {
            say_ui(ui, t!("setup-zero-text"));
            cautions_ui(ui, &[TURNING, LOAD]);
            try_table_ui(ui, state, sink);
        }
        SetupStep::Turn => {
            say_ui(ui, t!("setup-turn-text"));
            cautions_ui(ui, &[TURNING]);
            try_table_ui(ui, state, sink);
        }
        SetupStep::Done => done_ui(ui, state, sink),
    }
}

fn done_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    for (name, stands) in [
        (state.devices.table_name(), readiness::table(state)),
        (state.devices.camera_name(), readiness::camera(state)),
    ] {
        ui.horizontal(|ui| {
            marks::mark_ui(ui, stands.mark());
            ui.add(Label::new(t!("top-bar-device", name = name, word = stands.word())).truncate());
        });
    }
    let hindrance = state.devices.hindrance();
    if let Some(hindrance) = &hindrance {
        problem_ui(ui, hindrance);
    }
    say_ui(ui, t!("setup-done-text"));
    let good = hindrance.is_none();
    let leave = || sink.send(WindowIntent::LeaveSetup { use_chosen: true });
    let size = vec2(ui.available_width(), 32.0);
    if primary_button_ui(ui, &t!("setup-new-set"), good, size).clicked() {
        leave();
        sink.send(WindowIntent::NewSet);
        super::plan::ask_for_sku(ui);
    }
    if button_ui(ui, &t!("setup-use"), good, size).clicked() {
        leave();
    }
}

fn footer_ui(ui: &mut Ui, state: &State, step: SetupStep, sink: &IntentSink) {
    let size = vec2(0.0, 32.0);
    let previous = step.previous();
    if button_ui(ui, &t!("setup-back"), previous.is_some(), size).clicked()
        && let Some(previous) = previous
    {
        sink.send(WindowIntent::Setup(previous));
    }
    if let Some(next) = step.next() {
        let mut response = primary_button_ui(ui, &t!("setup-next"), true, size);
        if !state.setup.done.contains(&step) {
            response = response.on_hover_text(t!("setup-next-tip"));
        }
        if response.clicked() {
            sink.send(WindowIntent::Setup(next));
        }
    }
    if button_ui(ui, &t!("setup-leave"), true, size).on_hover_text(t!("setup-leave-tip")).clicked() {
        sink.send(WindowIntent::LeaveSetup { use_chosen: false });
    }
}
