//! Trying table and camera out by hand, in their menus.

use egui::{Ui, vec2};

use super::widgets::{button_ui, problem_ui, soft_ui, soft_wrapped_ui};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::tryout::Trial;

/// Degrees to turn by hand: enough for finding 0°, and for seeing which way it goes.
const TURNS: [(&str, f64); 6] =
    [("−90°", -90.0), ("−15°", -15.0), ("−1°", -1.0), ("+1°", 1.0), ("+15°", 15.0), ("+90°", 90.0)];

/// Connects, or says why that cannot be done now; tells whether the devices can be tried out.
fn connected_ui(ui: &mut Ui, state: &State, sink: &IntentSink) -> bool {
    if state.link != Link::Closed {
        return false;
    }
    ui.separator();
    if state.trying {
        soft_ui(ui, t!("tryout-ui-at-it-esc-stops-it"));
        return false;
    }
    if state.tryout.is_none() {
        let hindrance = state.devices.hindrance();
        let free = hindrance.is_none();
        if button_ui(ui, &t!("tryout-ui-connect-and-try-out"), free, vec2(0.0, 0.0)).clicked() {
            sink.send(WindowIntent::Try(Trial::Connect));
        }
        if let Some(hindrance) = hindrance {
            problem_ui(ui, &hindrance);
        }
    }
    state.tryout.is_some()
}

/// Turning by hand, zero, shutter.
pub fn try_table_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let ready = connected_ui(ui, state, sink);
    let Some(tryout) = &state.tryout else { return };
    ui.label(&tryout.table);
    let place = match (tryout.plate_deg, tryout.knows_zero) {
        (Some(degrees), true) => t!("tryout-ui-the-plate-stands-at-from", degrees = format!("{degrees:.2}")),
        (Some(degrees), false) => {
            t!("tryout-ui-no-zero-is-set-it", degrees = format!("{degrees:.2}"))
        }
        (None, _) => t!("tryout-ui-it-does-not-tell-where"),
    };
    ui.add(egui::Label::new(place).wrap());
    soft_wrapped_ui(ui, t!("tryout-ui-hands-hair-and-cables-off"));
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 4.0;
        ui.spacing_mut().button_padding.x = 8.0;
        for (text, degrees) in TURNS {
            let response = button_ui(ui, text, ready, vec2(0.0, 0.0));
            let name = t!("tryout-ui-turn-the-plate-by", degrees = degrees);
            ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(name));
            if response.on_hover_text(t!("tryout-ui-anticlockwise-is-positive-seen-from")).clicked() {
                sink.send(WindowIntent::Try(Trial::Turn(degrees)));
            }
        }
    });
    ui.horizontal(|ui| {
        if button_ui(ui, &t!("tryout-ui-set-0-here"), ready, vec2(0.0, 0.0)).clicked() {
            sink.send(WindowIntent::Try(Trial::ZeroIsHere));
        }
        let shutter = ready && tryout.has_shutter;
        if button_ui(ui, &t!("tryout-ui-fire-the-shutter"), shutter, vec2(0.0, 0.0))
            .on_disabled_hover_text(t!("tryout-ui-this-table-has-no-line"))
            .clicked()
        {
            sink.send(WindowIntent::Try(Trial::FireShutter));
        }
    });
}

/// Test frame and live picture.
pub fn try_camera_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let ready = connected_ui(ui, state, sink);
    let Some(tryout) = &state.tryout else { return };
    ui.label(&tryout.camera);
    if let Some(settings) = &tryout.camera_settings {
        ui.add(egui::Label::new(t!("tryout-ui-set-to", settings = settings)).wrap());
    }
    ui.horizontal(|ui| {
        if button_ui(ui, &t!("tryout-ui-test-frame"), ready, vec2(0.0, 0.0))
            .on_hover_text(t!("tryout-ui-shown-kept-nowhere"))
            .clicked()
        {
            sink.send(WindowIntent::Try(Trial::TestFrame));
        }
        let text =
            if tryout.live { t!("tryout-ui-end-the-live-picture") } else { t!("tryout-ui-live-picture") };
        if button_ui(ui, &text, ready, vec2(0.0, 0.0)).clicked() {
            if tryout.live {
                sink.send(WindowIntent::HideLive);
            } else {
                sink.send(WindowIntent::Try(Trial::Live(true)));
            }
        }
        if state.live.is_some()
            && !tryout.live
            && button_ui(ui, &t!("tryout-ui-hide-it"), true, vec2(0.0, 0.0)).clicked()
        {
            sink.send(WindowIntent::HideLive);
        }
    });
}
