//! Trying devices out, the controller's files, the window's own settings.

use egui_kittest::kittest::{NodeT, Queryable};
use roundstop::window::WindowApp;
use roundstop::window::state::Link;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use super::{draw, start, until, window};

#[test]
fn table_and_camera_are_tried_out_and_handed_to_the_session() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label_contains("Table: ").click();
    draw(&mut harness);
    harness.get_by_label("Connect and try out").click();
    until(&mut harness, "the table's answer", |state| state.tryout.is_some() && !state.trying);
    harness.get_by_label("Turn the plate by 15°").click();
    until(&mut harness, "the turn", |state| {
        let at = state.tryout.as_ref().and_then(|tryout| tryout.plate_deg);
        !state.trying && at.is_some_and(|at| (at - 15.0).abs() < 0.1)
    });
    harness.get_by_label("Set 0° here").click();
    until(&mut harness, "the zero", |state| {
        let is_zero =
            state.tryout.as_ref().is_some_and(|tryout| tryout.knows_zero && tryout.plate_deg == Some(0.0));
        is_zero && !state.trying
    });
    // Nothing is kept of a test frame.
    harness.get_by_label_contains("Camera: ").click();
    draw(&mut harness);
    harness.get_by_label("Test frame").click();
    // The picture comes before the word that the trial is over, and until then no button can be pressed.
    until(&mut harness, "the test frame", |state| state.live.is_some_and(|live| live.test) && !state.trying);
    harness.get_by_label("Live picture").click();
    until(&mut harness, "live pictures", |state| {
        let is_live = state.tryout.as_ref().is_some_and(|tryout| tryout.live);
        is_live && !state.trying && state.live.is_some_and(|live| live.rate > 0.0)
    });
    harness.get_by_label("End the live picture").click();
    until(&mut harness, "the end of the live picture", |state| {
        state.tryout.as_ref().is_some_and(|tryout| !tryout.live) && !state.trying
    });
    assert!(!folder.path().join("LP-0142").exists());
    harness.key_press(egui::Key::Escape);
    draw(&mut harness);
    harness.get_by_label("Start: shoot 4 stops").click();
    until(&mut harness, "the end of the set", |state| {
        state.link == Link::Open && state.mode == Mode::Finished
    });
    assert!(harness.state().state().live.is_none());
}

#[test]
fn a_controller_board_is_set_up() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.get_by_label_contains("Table: ").click();
    draw(&mut harness);
    harness.get_by_label("Controller on a serial port").click();
    draw(&mut harness);
    harness.get_by_label("Set up a controller board…").click();
    draw(&mut harness);
    let save = "Save to the board's drive or a folder…";
    assert!(!harness.get_by_label(save).accesskit_node().is_disabled());
    let pins = "Pins for IN1, IN2, IN3, IN4";
    let command = "7. Plug in USB first, then switch the motor's supply on. Run: roundstop table probe PORT";
    let details = "Details: gear, pins, wiring and commands";
    // Figures, wiring and commands are there for those who ask for them.
    for detail in [pins, command, "Wiring", "Steps in one turn of the plate"] {
        assert!(harness.query_by_label(detail).is_none(), "{detail}");
    }
    harness.get_by_label(details).click();
    harness.run_steps(30);
    harness.get_by_label(command);
    harness.get_by_label("Wiring");
    let field = harness.get_by_role_and_label(egui::Role::TextInput, pins);
    field.focus();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::TextInput, pins).type_text(", 99");
    draw(&mut harness);
    harness.get_by_label_contains("Write four pin numbers");
    assert!(harness.get_by_label(save).accesskit_node().is_disabled());
    harness.get_by_label("Close").click();
    draw(&mut harness);
    assert!(harness.query_by_label(command).is_none());
}

#[test]
fn settings_are_remembered() {
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    let place = folder.path().join("settings.json");
    begin.remember = Some(place.clone());
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Settings").click();
    draw(&mut harness);
    harness.get_by_label("Light").click();
    draw(&mut harness);
    harness.get_by_label_contains("Sound and notification").click();
    draw(&mut harness);
    drop(harness);
    let settings = roundstop::settings::read(&place);
    assert!(settings.light && settings.silent);
}

#[test]
fn a_dropped_folder_is_opened() {
    let (folder, harness) = super::session::shot_set(4);
    drop(harness);
    let elsewhere = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0200", 8), elsewhere.path(), SimSpeed::Max);
    begin.own_plan = false;
    let mut harness: egui_kittest::Harness<'_, WindowApp> = window(begin);
    harness.run();
    let dropped = folder.path().join("LP-0142");
    harness.state().sink().send(roundstop::window::intent::WindowIntent::Dropped(dropped));
    // The set brings its own plan.
    until(&mut harness, "the set", |state| state.planned.sku == "LP-0142" && state.kept() == 4);
    harness.get_by_label("Nothing left to shoot");
}

#[test]
fn ports_are_listed_with_all_that_is_known_of_them() {
    use roundstop::ports::{Port, PortKind, UsbFacts};

    let mut state = super::fixtures::planned();
    state.devices.table = roundstop::window::devices::TableKind::Serial;
    // Demo data.
    let usb = UsbFacts {
        vendor_id: 0x2e8a,
        product_id: 5,
        maker: Some("Larkhollow".to_owned()),
        product: Some("Turntable controller".to_owned()),
        serial: Some("LH-7".to_owned()),
    };
    let port = |name: &str, kind| Port { name: name.to_owned(), kind };
    state.devices.ports = roundstop::window::devices::Ports::Found(vec![
        port("/dev/ttyACM0", PortKind::Usb(usb)),
        port(
            "/dev/ttyUSB0",
            PortKind::Usb(UsbFacts { vendor_id: 0x1a86, product_id: 0x7523, ..UsbFacts::default() }),
        ),
        port("/dev/ttyS0", PortKind::Unknown),
    ]);
    let (sink, wishes) = roundstop::window::intent::IntentSink::new();
    let mut harness = egui_kittest::Harness::builder().with_size([400.0, 700.0]).build_ui(|ui| {
        roundstop::window::panels::device_menus::table_choice_ui(ui, &state, &sink);
    });
    harness.run();
    harness.get_by_label(
        "Port /dev/ttyACM0, Turntable controller, Larkhollow, USB 2e8a:0005, serial number LH-7",
    );
    harness.get_by_label("Port /dev/ttyS0, nothing is known of it");
    harness.get_by_label("Port /dev/ttyUSB0, USB 1a86:7523").click();
    harness.run();
    let edit = roundstop::window::devices::TableEdit::Path("/dev/ttyUSB0".to_owned());
    let wishes: Vec<_> = wishes.try_iter().collect();
    assert_eq!(wishes, [roundstop::window::intent::WindowIntent::Table(edit)]);
}

#[test]
fn what_follows_from_a_flag_is_chosen_and_remembered() {
    use session_core::check::{FlagKind, Response};

    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("settings.json");
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.remember = Some(place.clone());
    let mut harness = window(begin);
    harness.run();
    harness.get_by_label("Settings").click();
    draw(&mut harness);
    harness.get_by_label("When a frame is doubtful").click();
    harness.run_steps(30);
    let usual = harness.state().state().settings.on_flag.response(FlagKind::MotionBlur);
    assert_eq!(usual, Response::Retake);
    harness.get_by_role_and_label(egui::Role::RadioButton, "Motion blur: pause").click();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::RadioButton, "Clipped: retake").click();
    draw(&mut harness);
    drop(harness);
    let policy = roundstop::settings::read(&place).on_flag;
    assert_eq!(policy.response(FlagKind::MotionBlur), Response::Pause);
    assert_eq!(policy.response(FlagKind::Clipped), Response::Retake);
    assert_eq!(policy.response(FlagKind::Damaged), FlagKind::Damaged.usual_response());
}

#[test]
fn a_board_s_fields_stay_where_they_are_whatever_is_typed() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    harness.run();
    harness.state().sink().send(roundstop::window::intent::WindowIntent::Board(
        roundstop::window::board::BoardEdit::Open(true),
    ));
    harness.run_steps(6);
    let pins = "Pins for IN1, IN2, IN3, IN4";
    harness.get_by_label_contains("Details").click();
    harness.run_steps(30);
    let place = |harness: &egui_kittest::Harness<'_, WindowApp>| {
        let save = harness.get_by_label("Save to the board's drive or a folder…").rect();
        (harness.get_by_role_and_label(egui::Role::TextInput, pins).rect(), save)
    };
    let before = place(&harness);
    harness.get_by_role_and_label(egui::Role::TextInput, pins).focus();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::TextInput, pins).type_text(", 99");
    harness.run_steps(6);
    harness.get_by_label_contains("Write four pin numbers");
    assert_eq!(place(&harness), before);
}

#[cfg(unix)]
#[test]
fn a_port_is_asked_what_hangs_on_it_and_spoken_to_in_its_language() {
    use serialport::{SerialPort, TTYPort};
    use std::io::{Read, Write};

    // A controller of another kind: it answers each line, and a bare ? with its state and position.
    let (mut board, port) = TTYPort::pair().unwrap();
    let path = port.name().unwrap();
    board.set_timeout(std::time::Duration::from_millis(50)).unwrap();
    let is_asked = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(true));
    let goes_on = is_asked.clone();
    let answers = std::thread::spawn(move || {
        let mut byte = [0];
        while goes_on.load(std::sync::atomic::Ordering::Relaxed) {
            match board.read(&mut byte) {
                Ok(1) if byte[0] == b'?' => {
                    board.write_all(b"<Idle|MPos:0.000,0.000,0.000,15.000>\r\n").unwrap();
                }
                Ok(1) if byte[0] == b'\n' => board.write_all(b"error:20\r\n").unwrap(),
                _ => {}
            }
        }
    });
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.table = roundstop::studio::TableSpec::Serial { path, baud: 115_200 };
    begin.camera = roundstop::studio::CameraSpec::Folder(folder.path().to_owned());
    let mut harness = window(begin);
    harness.set_size(egui::vec2(1280.0, 1100.0));
    harness.run();
    harness.get_by_label_contains("Table: ").click();
    draw(&mut harness);
    // The test's own end would keep the port in use.
    drop(port);
    harness.get_by_label("Ask what is on this port").click();
    until(&mut harness, "the answer", |state| {
        matches!(&state.devices.heard, roundstop::window::devices::Heard::Lines(..))
    });
    draw(&mut harness);
    harness.get_by_label_contains("not with the table's own program");
    harness.get_by_label("Use the settings for status-poll").click();
    draw(&mut harness);
    harness.get_by_label("Controller: status-poll");
    // Beside the fields, and under the buttons that it holds back.
    assert_eq!(harness.query_all_by_label_contains("ive the steps in one turn").count(), 3);
    let steps = "Steps in one turn of the plate";
    harness.get_by_role_and_label(egui::Role::TextInput, steps).focus();
    draw(&mut harness);
    harness.get_by_role_and_label(egui::Role::TextInput, steps).type_text("3200");
    draw(&mut harness);
    assert_eq!(harness.query_all_by_label_contains("ive the steps in one turn").count(), 0);
    let dialect = harness.state().state().devices.speech.dialect().unwrap().unwrap();
    assert_eq!(dialect.steps_per_turn, Some("3200".parse().unwrap()));
    is_asked.store(false, std::sync::atomic::Ordering::Relaxed);
    answers.join().unwrap();
}

#[test]
fn how_each_device_stands_is_always_in_sight() {
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 8), folder.path(), SimSpeed::Times(4.0)));
    harness.run();
    harness.get_by_label("Table: simulated table, not connected");
    harness.get_by_label("Camera: simulated camera, not connected");
    harness.get_by_label("Start: shoot 8 stops").click();
    let stands =
        |harness: &egui_kittest::Harness<'_, WindowApp>, label: &str| harness.query_by_label(label).is_some();
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..4_000 {
        harness.step();
        for label in ["Table: simulated table, turning", "Camera: simulated camera, exposing"] {
            if stands(&harness, label) {
                seen.insert(label);
            }
        }
        if super::session::finished(harness.state().state()) {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    assert_eq!(seen.len(), 2, "{seen:?}");
    draw(&mut harness);
    harness.get_by_label("Table: simulated table, ready");
    harness.get_by_label("Camera: simulated camera, ready");
}
