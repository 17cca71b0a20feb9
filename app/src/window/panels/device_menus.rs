//! Choosing table, camera and session folder.

use std::path::PathBuf;

use egui::{RichText, TextEdit, Ui, vec2};

use super::widgets::{Field, button_ui, field_ui, soft_ui};
use crate::window::devices::{CameraEdit, CameraKind, Ports, TableEdit, TableKind};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::{Link, State};
use crate::window::theme;

const WIDTH: f32 = 336.0;

/// Draws the choice of the table.
pub fn table_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    let choice = &state.devices;
    for (kind, text) in
        [(TableKind::Simulated, "Simulated table"), (TableKind::Serial, "Controller on a serial port")]
    {
        if ui.add_enabled(enabled, egui::RadioButton::new(choice.table == kind, text)).clicked() {
            sink.send(WindowIntent::Table(TableEdit::Kind(kind)));
            if kind == TableKind::Serial && choice.ports == Ports::Unknown {
                sink.send(WindowIntent::LookForPorts);
            }
        }
    }
    if choice.table == TableKind::Serial {
        ports_ui(ui, state, sink, enabled);
        let field = Field {
            caption: "Port, as the system names it",
            name: "Serial port",
            text: &choice.port,
            hint: "/dev/ttyACM0 or COM3",
            width: WIDTH,
            wrong: choice.port.trim().is_empty(),
            enabled,
        };
        if let Some(path) = field_ui(ui, &field) {
            sink.send(WindowIntent::Table(TableEdit::Path(path)));
        }
        soft_ui(ui, "Opening a port may restart the controller: keep hands off.");
    }
    connection_ui(ui, state, sink);
}

fn ports_ui(ui: &mut Ui, state: &State, sink: &IntentSink, enabled: bool) {
    match &state.devices.ports {
        Ports::Unknown => {}
        Ports::Looking => {
            soft_ui(ui, "Looking for serial ports…");
        }
        Ports::Found(ports) if ports.is_empty() => {
            soft_ui(ui, "No serial port found. Plug the table in and look again.");
        }
        Ports::Found(ports) => {
            for (path, what) in ports {
                let text = if what.is_empty() { path.clone() } else { format!("{path}  ({what})") };
                let chosen = state.devices.port == *path;
                let button = egui::Button::selectable(chosen, text).frame_when_inactive(true).truncate();
                if ui.add_enabled(enabled, button.min_size(vec2(WIDTH, 0.0))).clicked() {
                    sink.send(WindowIntent::Table(TableEdit::Path(path.clone())));
                }
            }
        }
        Ports::Refused(reason) => {
            ui.label(RichText::new(reason).font(theme::small()));
        }
    }
    if button_ui(ui, "Look for ports", enabled, vec2(0.0, 0.0)).clicked() {
        sink.send(WindowIntent::LookForPorts);
    }
}

/// Draws the choice of the camera.
pub fn camera_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    let choice = &state.devices;
    let kinds = [
        (CameraKind::Simulated, "Simulated camera"),
        (CameraKind::Folder, "Frames arrive in a folder"),
        (CameraKind::Command, "A program makes each frame"),
    ];
    for (kind, text) in kinds {
        if ui.add_enabled(enabled, egui::RadioButton::new(choice.camera == kind, text)).clicked() {
            sink.send(WindowIntent::Camera(CameraEdit::Kind(kind)));
        }
    }
    match choice.camera {
        CameraKind::Simulated => {
            soft_ui(ui, "It sees the simulated table only.");
        }
        CameraKind::Folder => {
            let field = Field {
                caption: "Folder that the camera's own program saves to",
                name: "Camera folder",
                text: &choice.camera_folder,
                hint: "its path",
                width: WIDTH,
                wrong: choice.camera_folder.trim().is_empty(),
                enabled,
            };
            if let Some(folder) = field_ui(ui, &field) {
                sink.send(WindowIntent::Camera(CameraEdit::Folder(folder)));
            }
            if button_ui(ui, "Choose the camera folder…", enabled, vec2(0.0, 0.0)).clicked() {
                sink.send(WindowIntent::ChooseCameraFolder);
            }
        }
        CameraKind::Command => {
            let field = Field {
                caption: "Command; {file} is where the frame must go",
                name: "Camera command",
                text: &choice.camera_command,
                hint: "program {file} {degrees}",
                width: WIDTH,
                wrong: choice.camera_command.trim().is_empty(),
                enabled,
            };
            if let Some(command) = field_ui(ui, &field) {
                sink.send(WindowIntent::Camera(CameraEdit::Command(command)));
            }
        }
        CameraKind::Other => {
            ui.label(choice.camera_as_named.to_string());
        }
    }
    connection_ui(ui, state, sink);
}

/// Says whether the devices are connected, and lets go of them.
fn connection_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    ui.add_space(2.0);
    match state.link {
        Link::Open if !state.is_busy() => {
            ui.horizontal(|ui| {
                soft_ui(ui, "Connected.");
                if button_ui(ui, "Disconnect", true, vec2(0.0, 0.0)).clicked() {
                    sink.send(WindowIntent::Disconnect);
                }
            });
        }
        Link::Open | Link::Opening | Link::Closing => {
            soft_ui(ui, "In use; it can be changed when the session is stopped.");
        }
        Link::Closed => {
            soft_ui(ui, "It is connected when shooting starts.");
        }
    }
}

/// Draws the choice of the session folder.
pub fn folder_menu_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let enabled = !state.is_busy();
    ui.label("Frames, their record and the plan go to one folder for each product.");
    let mut text = state.folder_text.clone();
    let edit = TextEdit::singleline(&mut text).desired_width(WIDTH).margin(vec2(6.0, 4.0));
    let response = ui.add_enabled(enabled, edit);
    ui.ctx().accesskit_node_builder(response.id, |node| node.set_label("Session folder path"));
    if response.changed() {
        sink.send(WindowIntent::TypeFolder(text.clone()));
    }
    let entered = response.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
    ui.horizontal(|ui| {
        let typed = PathBuf::from(state.folder_text.trim());
        let differs = typed != state.folder && !typed.as_os_str().is_empty();
        let used = button_ui(ui, "Use this folder", enabled && differs, vec2(0.0, 0.0)).clicked();
        if used || (entered && differs) {
            sink.send(WindowIntent::UseFolder(typed));
        }
        if button_ui(ui, "Choose folder…", enabled, vec2(0.0, 0.0)).clicked() {
            sink.send(WindowIntent::ChooseFolder);
        }
    });
    let note = "A folder that holds a set shows its frames, and shooting goes on there.";
    ui.add(egui::Label::new(RichText::new(note).font(theme::small()).color(theme::SOFT)).wrap());
}
