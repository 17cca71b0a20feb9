//! Which wire goes where, and what to mind.

use super::{Answers, Driver};

/// What a wire carries: told by words and dashes on the sheet, not by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// A signal at the board's own voltage.
    Signal,
    /// Ground.
    Ground,
    /// The motor's supply or the sensor's.
    Supply,
    /// A lead of the motor.
    Motor,
    /// A contact of the camera's remote socket, isolated from all else.
    Camera,
}

impl Line {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Signal => "signal",
            Self::Ground => "ground",
            Self::Supply => "supply",
            Self::Motor => "motor lead",
            Self::Camera => "camera contact, isolated",
        }
    }
}

/// One end of a wire: a part and its terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct End {
    /// The part.
    pub part: &'static str,
    /// The terminal on it.
    pub terminal: String,
}

/// One wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wire {
    /// Where it begins.
    pub from: End,
    /// Where it ends.
    pub to: End,
    /// What it carries.
    pub line: Line,
    /// The setting that names the pin, or what stands in the wire.
    pub note: String,
}

/// The parts' names, used by the sheet too.
pub(super) const BOARD: &str = "board";
pub(super) const DRIVER: &str = "motor driver";
pub(super) const MOTOR: &str = "motor";
pub(super) const SUPPLY: &str = "motor supply";
pub(super) const OPTO: &str = "optocouplers";
pub(super) const CAMERA: &str = "camera remote";
pub(super) const SWITCH: &str = "switch";
pub(super) const INDEX: &str = "index sensor";

/// Every wire for these answers, in the order in which to lay them.
pub(super) fn wires(answers: &Answers) -> Vec<Wire> {
    let wire = |from: (&'static str, &str), to: (&'static str, &str), line, note: &str| Wire {
        from: End { part: from.0, terminal: from.1.to_owned() },
        to: End { part: to.0, terminal: to.1.to_owned() },
        line,
        note: note.to_owned(),
    };
    let pin = |pin: u8| format!("pin {pin}");
    let mut wires = Vec::new();
    for (number, setting, input) in answers.driver.pins() {
        wires.push(wire((BOARD, &pin(number)), (DRIVER, input), Line::Signal, setting));
    }
    wires.push(wire((BOARD, "GND"), (DRIVER, "GND"), Line::Ground, "common ground"));
    if matches!(answers.driver, Driver::StepDir { .. }) {
        wires.push(wire((BOARD, "3V3"), (DRIVER, "logic +"), Line::Supply, "if the driver has it"));
    }
    let leads: &[&str] = match answers.driver {
        Driver::FourCoils(_) => &["coil 1", "coil 2", "coil 3", "coil 4", "common"],
        Driver::StepDir { .. } => &["coil A+", "coil A-", "coil B+", "coil B-"],
    };
    for lead in leads {
        wires.push(wire((DRIVER, lead), (MOTOR, lead), Line::Motor, ""));
    }
    wires.push(wire((DRIVER, "motor +"), (SUPPLY, "+"), Line::Supply, "fuse and a switch within reach"));
    wires.push(wire((DRIVER, "motor -"), (SUPPLY, "-"), Line::Ground, ""));
    if let Some(half) = answers.half_press_pin {
        wires.push(wire(
            (BOARD, &pin(half)),
            (OPTO, "half press LED +"),
            Line::Signal,
            "half_press_pin, 470 ohm",
        ));
    }
    if let Some(full) = answers.full_press_pin {
        wires.push(wire(
            (BOARD, &pin(full)),
            (OPTO, "full press LED +"),
            Line::Signal,
            "full_press_pin, 470 ohm",
        ));
        wires.push(wire((BOARD, "GND"), (OPTO, "LEDs -"), Line::Ground, ""));
        if answers.half_press_pin.is_some() {
            wires.push(wire((OPTO, "half press out"), (CAMERA, "half press"), Line::Camera, ""));
        }
        wires.push(wire((OPTO, "full press out"), (CAMERA, "full press"), Line::Camera, ""));
        wires.push(wire((OPTO, "common out"), (CAMERA, "common"), Line::Camera, ""));
    }
    if let Some(switch) = answers.spin_switch_pin {
        wires.push(wire((BOARD, &pin(switch)), (SWITCH, "one side"), Line::Signal, "spin_switch_pin"));
        wires.push(wire((BOARD, "GND"), (SWITCH, "other side"), Line::Ground, ""));
    }
    if let Some(index) = answers.index_pin {
        wires.push(wire((BOARD, &pin(index)), (INDEX, "out"), Line::Signal, "index_pin"));
        wires.push(wire((BOARD, "3V3"), (INDEX, "+"), Line::Supply, "not with a bare switch"));
        wires.push(wire((BOARD, "GND"), (INDEX, "-"), Line::Ground, ""));
    }
    wires
}

/// From bare board to first turn.
pub const FIRST_TURN: [&str; 8] = [
    "Unplug everything. Put MicroPython on the bare board by USB, copy the program files to it, and unplug it again.",
    "Compare the pin numbers with your board's own pin sheet. Wire the board to the driver's inputs, and ground to ground.",
    "Wire the motor's leads to the driver. On a step/direction driver, set the current limit to the motor's rated current.",
    "Wire the motor's own supply to the driver, with a fuse and a switch within reach. It never feeds the board's logic.",
    "Wire the optocouplers, each LED through its resistor. Leave the camera unplugged for now.",
    "Wire the switch and the index sensor, if you have them. Check every wire twice against this sheet.",
    "Plug in USB first, then switch the motor's supply on. Run: roundstop table probe PORT",
    "Clear the plate and keep hands off. Make a small first turn; if it turns clockwise, write the settings with --reverse. Plug the camera in last.",
];

/// What can hurt; local codes go before this list.
pub const CAUTIONS: [&str; 8] = [
    "Unplug USB and the motor supply before any wire is touched. Local electrical codes come first.",
    "No mains on this bench: use a certified plug-in supply, case closed. Mains wiring is for a licensed person.",
    "Never put a motor on the board's pins. Use a driver with flyback protection; join grounds, and nothing else of the two supplies.",
    "Motor and driver get hot standing still under current. Let air to them, and keep them off what melts.",
    "The camera is joined by optocoupler contacts alone. Never wire board and camera together; no old flash units this way.",
    "Keep fingers, hair, straps and cables off the turning plate. Software is no emergency stop: use the supply's switch.",
    "Centre the load and keep within what the bearing carries. Tall loads tip: fix them, and turn slowly.",
    "Glass and ceramics break into sharp edges: pad the plate, wear eye protection when a load may fall.",
];
