//! Choosing table, camera and session folder.

use egui::text::{LayoutJob, TextFormat};
use egui::{RichText, TextEdit, Ui, vec2};

use super::recent::recent_ui;
use super::speech_ui::{probe_ui, speech_ui};
use super::tryout_ui::{try_camera_ui, try_table_ui};
use super::widgets::{Field, button_ui, field_id, field_ui, soft_ui, soft_wrapped_ui};
use crate::ports::{Port, PortKind};
use crate::window::board::BoardEdit;
use crate::window::devices::{CameraEdit, CameraKind, Ports, TableEdit, TableKind};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::text::t;
use crate::window::theme;

/// The width of fields where there is room for it, points.
const WIDTH: f32 = 336.0;
/// The room for the ports found, at least: one of them, or why there are none; points.
const PORTS: f32 = 44.0;

fn width(ui: &Ui) -> f32 {
    ui.available_width().min(WIDTH)
}

/// Draws the choice of the table, with trying it out.
pub fn table_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    table_choice_ui(ui, state, sink);
    if state.devices.table == TableKind::Serial
        && button_ui(ui, &t!("device-menus-set-up-a-controller-board"), !state.is_busy(), vec2(0.0, 0.0))
            .clicked()
    {
        sink.send(WindowIntent::Board(BoardEdit::Open(true)));
    }
    connection_ui(ui, state, sink);
    try_table_ui(ui, state, sink);
}

/// Draws the choice of the table.
pub fn table_choice_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    let choice = &state.devices;
    for (kind, text) in [
        (TableKind::Simulated, t!("device-menus-simulated-table")),
        (TableKind::Serial, t!("device-menus-controller-on-a-serial-port")),
    ] {
        if ui.add_enabled(enabled, egui::RadioButton::new(choice.table == kind, text)).clicked() {
            sink.send(WindowIntent::Table(TableEdit::Kind(kind)));
            ui.memory_mut(|memory| memory.request_focus(field_id(&t!("device-menus-serial-port"))));
            if kind == TableKind::Serial && choice.ports == Ports::Unknown {
                sink.send(WindowIntent::LookForPorts);
            }
        }
    }
    if choice.table == TableKind::Serial {
        // Until it is known which there are, nothing below moves.
        ui.scope(|ui| {
            ui.set_min_height(PORTS);
            ports_ui(ui, state, sink, enabled);
        });
        look_for_ports_ui(ui, sink, enabled);
        let field = Field {
            caption: &t!("device-menus-port-as-the-system-names"),
            name: &t!("device-menus-serial-port"),
            text: &choice.port,
            hint: &t!("device-menus-dev-ttyacm0-or-com3"),
            width: width(ui),
            problem: choice.port.trim().is_empty().then_some(""),
            tip: None,
            enabled,
        };
        if let Some(path) = field_ui(ui, &field) {
            sink.send(WindowIntent::Table(TableEdit::Path(path)));
        }
        probe_ui(ui, state, sink, enabled);
        speech_ui(ui, state, sink, width(ui), enabled);
        soft_wrapped_ui(ui, t!("device-menus-opening-a-port-may-restart"));
    }
}

fn ports_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    match &state.devices.ports {
        Ports::Unknown => {}
        Ports::Looking => {
            soft_ui(ui, t!("device-menus-looking-for-serial-ports"));
        }
        Ports::Found(ports) if ports.is_empty() => {
            soft_wrapped_ui(ui, t!("device-menus-no-serial-port-found-plug"));
        }
        Ports::Found(ports) => {
            for port in ports {
                port_ui(ui, port, state.devices.port == port.name, enabled, sink);
            }
        }
        Ports::Refused(reason) => {
            ui.label(RichText::new(reason).font(theme::small()));
        }
    }
}

fn look_for_ports_ui(ui: &mut Ui, sink: &IntentSink, enabled: bool) {
    if button_ui(ui, &t!("device-menus-look-for-ports"), enabled, vec2(0.0, 0.0)).clicked() {
        sink.send(WindowIntent::LookForPorts);
    }
}

/// One port: its name, and below it what is known of what hangs there.
fn port_ui(ui: &mut Ui, port: &Port, chosen: bool, enabled: bool, sink: &IntentSink) {
    let about = about_port(&port.kind);
    let format = |font_id, color| TextFormat { font_id, color, ..TextFormat::default() };
    let mut text = LayoutJob::default();
    text.append(&port.name, 0.0, format(egui::FontId::proportional(14.0), theme::text()));
    text.append(&format!("\n{about}"), 0.0, format(theme::small(), theme::soft()));
    let button = egui::Button::selectable(chosen, text).frame_when_inactive(true).wrap();
    let response = ui.add_enabled(enabled, button.min_size(vec2(width(ui), 0.0)));
    let name = t!("device-menus-port", name = port.name, about = about);
    ui.ctx().accesskit_node_builder(response.id, |node| node.set_label(name));
    if response.clicked() {
        sink.send(WindowIntent::Table(TableEdit::Path(port.name.clone())));
    }
}

/// What the system knows of a port, in words.
fn about_port(kind: &PortKind) -> String {
    match kind {
        PortKind::Usb(usb) => {
            let named = [&usb.product, &usb.maker].into_iter().flatten().cloned();
            let ids = std::iter::once(t!("device-menus-usb", ids = usb.ids()));
            let serial = usb.serial.iter().map(|serial| t!("device-menus-serial-number", serial = serial));
            named.chain(ids).chain(serial).collect::<Vec<_>>().join(", ")
        }
        PortKind::Bluetooth => t!("device-menus-bluetooth"),
        PortKind::BuiltIn => t!("device-menus-built-in"),
        PortKind::Unknown => t!("device-menus-nothing-known"),
    }
}

/// Draws the choice of the camera, with trying it out.
pub fn camera_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    camera_choice_ui(ui, state, sink);
    connection_ui(ui, state, sink);
    try_camera_ui(ui, state, sink);
}

/// Draws the choice of the camera.
pub fn camera_choice_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    let choice = &state.devices;
    for kind in CameraKind::ALL {
        let text = match kind {
            CameraKind::Simulated => t!("device-menus-simulated-camera"),
            CameraKind::Tether => t!("device-menus-on-a-cable-or-the"),
            CameraKind::Folder => t!("device-menus-frames-arrive-in-a-folder"),
            CameraKind::Web => t!("device-menus-stills-from-a-web-address"),
            CameraKind::Command => t!("device-menus-a-program-makes-each-frame"),
        };
        if ui.add_enabled(enabled, egui::RadioButton::new(choice.camera == kind, text)).clicked() {
            sink.send(WindowIntent::Camera(CameraEdit::Kind(kind)));
            ui.memory_mut(|memory| memory.request_focus(field_id(&t!("device-menus-camera-detail"))));
        }
    }
    detail_ui(ui, state, sink, enabled);
}

/// The field that the chosen kind of camera needs.
fn detail_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    let choice = &state.devices;
    let (caption, hint, needed) = match choice.camera {
        CameraKind::Simulated => {
            soft_wrapped_ui(ui, t!("device-menus-it-sees-the-simulated-table"));
            return;
        }
        CameraKind::Folder => {
            (t!("device-menus-folder-that-the-cameras-own"), t!("device-menus-its-path"), true)
        }
        CameraKind::Command => {
            (t!("device-menus-command-file-is-where-the"), t!("device-menus-program-file-degrees"), true)
        }
        CameraKind::Tether => (
            t!("device-menus-port-when-there-are-several"),
            t!("device-menus-empty-for-the-only-camera"),
            false,
        ),
        CameraKind::Web => {
            (t!("device-menus-address-of-the-still-after"), "//192.0.2.7/still.jpg".to_owned(), true)
        }
    };
    let missing = needed && choice.detail().trim().is_empty();
    let field = Field {
        caption: &caption,
        name: &t!("device-menus-camera-detail"),
        text: choice.detail(),
        hint: &hint,
        width: width(ui),
        problem: missing.then_some(""),
        tip: None,
        enabled,
    };
    if let Some(text) = field_ui(ui, &field) {
        sink.send(WindowIntent::Camera(CameraEdit::Detail(text)));
    }
    if choice.camera == CameraKind::Folder
        && button_ui(ui, &t!("device-menus-choose-the-camera-folder"), enabled, vec2(0.0, 0.0)).clicked()
    {
        sink.send(WindowIntent::ChooseCameraFolder);
    }
}

/// Says whether the devices are connected, and lets go of them.
fn connection_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.add_space(2.0);
    match state.link {
        Link::Open if !state.is_busy() => {
            ui.horizontal(|ui| {
                soft_ui(ui, t!("device-menus-connected"));
                if button_ui(ui, &t!("device-menus-disconnect"), true, vec2(0.0, 0.0)).clicked() {
                    sink.send(WindowIntent::Disconnect);
                }
            });
        }
        Link::Open | Link::Opening | Link::Closing => {
            soft_wrapped_ui(ui, t!("device-menus-in-use-it-can-be"));
        }
        Link::Closed if state.tryout.is_some() => {
            ui.horizontal(|ui| {
                soft_ui(ui, t!("device-menus-connected"));
                if button_ui(ui, &t!("device-menus-disconnect"), !state.trying, vec2(0.0, 0.0)).clicked() {
                    sink.send(WindowIntent::Disconnect);
                }
            });
        }
        Link::Closed => {
            soft_wrapped_ui(ui, t!("device-menus-it-is-connected-when-shooting"));
        }
    }
}

/// Draws the choice of the session folder.
pub fn folder_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    ui.label(t!("device-menus-frames-their-record-and-the"));
    let mut text = state.folder_text.clone();
    let edit = TextEdit::singleline(&mut text).desired_width(width(ui)).margin(vec2(6.0, 4.0));
    let response = ui.add_enabled(enabled, edit);
    ui.ctx()
        .accesskit_node_builder(response.id, |node| node.set_label(t!("device-menus-session-folder-path")));
    if response.changed() {
        sink.send(WindowIntent::TypeFolder(text.clone()));
    }
    let entered = response.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
    ui.horizontal(|ui| {
        let typed = state.folder_text.trim();
        let differs = !typed.is_empty() && typed != state.folder.to_string_lossy();
        let used =
            button_ui(ui, &t!("device-menus-use-this-folder"), enabled && differs, vec2(0.0, 0.0)).clicked();
        if used || (entered && differs) {
            sink.send(WindowIntent::UseFolder);
        }
        if button_ui(ui, &t!("device-menus-new-set"), enabled, vec2(0.0, 0.0))
            .on_hover_text(t!("device-menus-another-product-in-a-folder"))
            .clicked()
        {
            sink.send(WindowIntent::NewSet);
            super::plan::ask_for_sku(ui);
            ui.close();
        }
        if button_ui(ui, &t!("device-menus-choose-folder"), enabled, vec2(0.0, 0.0)).clicked() {
            sink.send(WindowIntent::ChooseFolder);
        }
    });
    // Before the first frame there may be no folder yet.
    if button_ui(ui, &t!("device-menus-show-folder"), state.in_force.is_some(), vec2(0.0, 0.0))
        .on_hover_text(t!("device-menus-show-folder-tip"))
        .on_disabled_hover_text(t!("device-menus-no-folder-yet"))
        .clicked()
    {
        sink.send(WindowIntent::ShowFolder);
    }
    let note = t!("device-menus-a-folder-that-holds-a");
    ui.add(egui::Label::new(RichText::new(note).font(theme::small()).color(theme::soft())).wrap());
    ui.add_space(4.0);
    if recent_ui(ui, state, usize::MAX, sink) {
        // They are in another order by then: none is to come under the pointer.
        ui.close();
    }
}
