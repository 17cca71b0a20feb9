//! What goes on a controller's board: the program, settings made from answers, and the wiring that suits them.
//!
//! [`prepare`] is pure: answers in, files and wiring out; `save` puts them into a folder. The command
//! line and the window both stand on these two.

use session_core::angle::StepsPerTurn;

mod drawing;
mod save;
mod wiring;

pub use save::{Saved, save};
pub use wiring::{CAUTIONS, End, FIRST_TURN, Line, Wire};

/// The controller's program and its delivered settings, as they stand in `controller/`.
const PROGRAM: &str = include_str!("../../controller/roundstop_table.py");
const MAIN: &str = include_str!("../../controller/main.py");
const DELIVERED_SETTINGS: &str = include_str!("../../controller/table_settings.py");

/// The board's own bounds, from `Settings` in `roundstop_table.py`.
const PIN_MAX: u8 = 99;
const STEPS_NUM_MAX: i64 = 400_000_000;
const STEPS_DEN_MAX: i64 = 1_000_000;
const STEPS_PER_TURN_MIN: f64 = 8.0;
const STEPS_PER_TURN_MAX: f64 = 50_000.0;
const RATE_MAX: u32 = 5000;
const ACCEL_MAX: u32 = 100_000;
/// The delivered `cap_rate`: loaded geared motors stall sooner.
const FOUR_COIL_CAP: u32 = 600;
/// The delivered `start_rate`.
const START_RATE: u32 = 120;

/// How the motor is driven, and on which pins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Driver {
    /// Four coil inputs, IN1 to IN4, of a Darlington driver.
    FourCoils([u8; 4]),
    /// STEP, DIR and ENABLE of a step/direction driver.
    StepDir {
        /// STEP.
        step: u8,
        /// DIR.
        dir: u8,
        /// ENABLE.
        enable: u8,
    },
}

impl Driver {
    /// The pins as delivered.
    pub const FOUR_COILS: Self = Self::FourCoils([18, 19, 21, 22]);
    /// The pins as delivered.
    pub const STEP_DIR: Self = Self::StepDir { step: 18, dir: 19, enable: 21 };

    /// The pins in order, each with its setting's name and what the driver calls it.
    pub fn pins(self) -> Vec<(u8, &'static str, &'static str)> {
        match self {
            Self::FourCoils([one, two, three, four]) => vec![
                (one, "coil_pins[0]", "IN1"),
                (two, "coil_pins[1]", "IN2"),
                (three, "coil_pins[2]", "IN3"),
                (four, "coil_pins[3]", "IN4"),
            ],
            Self::StepDir { step, dir, enable } => {
                vec![(step, "step_pin", "STEP"), (dir, "dir_pin", "DIR"), (enable, "enable_pin", "ENABLE")]
            }
        }
    }
}

/// What a person says of their table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answers {
    /// The driver and its pins.
    pub driver: Driver,
    /// Whether the plate would turn clockwise for rising angles.
    pub reverse: bool,
    /// Steps in one turn of the plate: half-steps, or pulses to a step/direction driver.
    pub steps_per_turn: StepsPerTurn,
    /// The set speed, steps a second; `None` as delivered.
    pub cruise_rate: Option<u32>,
    /// The change of speed, steps a second, a second; `None` as delivered.
    pub accel: Option<u32>,
    /// The half press line, if there is one.
    pub half_press_pin: Option<u8>,
    /// The shutter line, if there is one.
    pub full_press_pin: Option<u8>,
    /// The switch that lets the table turn alone.
    pub spin_switch_pin: Option<u8>,
    /// The index sensor.
    pub index_pin: Option<u8>,
}

impl Default for Answers {
    /// The table as delivered.
    fn default() -> Self {
        Self {
            driver: Driver::FOUR_COILS,
            reverse: false,
            steps_per_turn: StepsPerTurn::HOBBY_HALF_STEPS,
            cruise_rate: None,
            accel: None,
            half_press_pin: Some(26),
            full_press_pin: Some(27),
            spin_switch_pin: Some(4),
            index_pin: None,
        }
    }
}

/// All that a board needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BoardFiles {
    /// Names and contents, in the order in which they are written.
    pub files: Vec<(&'static str, String)>,
    /// Every wire.
    pub wiring: Vec<Wire>,
}

/// Makes the files and the wiring for these answers.
///
/// # Errors
/// A sentence that names the answer and what it may be; the same bounds as the board's own.
pub fn prepare(answers: &Answers) -> Result<BoardFiles, String> {
    check_pins(answers)?;
    let (num, den) = fraction(answers.steps_per_turn)?;
    let mut settings = DELIVERED_SETTINGS.to_owned();
    let mut set = |name: &str, value: String| -> Result<(), String> {
        settings = with_setting(&settings, name, &value)?;
        Ok(())
    };
    match answers.driver {
        Driver::FourCoils([one, two, three, four]) => {
            set("driver", "\"four_coils\"".to_owned())?;
            set("coil_pins", format!("({one}, {two}, {three}, {four})"))?;
        }
        Driver::StepDir { step, dir, enable } => {
            set("driver", "\"step_dir\"".to_owned())?;
            set("step_pin", step.to_string())?;
            set("dir_pin", dir.to_string())?;
            set("enable_pin", enable.to_string())?;
        }
    }
    set("reverse", if answers.reverse { "True" } else { "False" }.to_owned())?;
    set("steps_num", num.to_string())?;
    set("steps_den", den.to_string())?;
    if let Some(cruise) = answers.cruise_rate {
        let highest = match answers.driver {
            Driver::FourCoils(_) => FOUR_COIL_CAP,
            Driver::StepDir { .. } => RATE_MAX,
        };
        if !(1..=highest).contains(&cruise) {
            return Err(format!("cruise must be 1 to {highest} steps a second with this driver"));
        }
        set("cruise_rate", cruise.to_string())?;
        set("cap_rate", cruise.max(FOUR_COIL_CAP).to_string())?;
        set("start_rate", cruise.min(START_RATE).to_string())?;
    }
    if let Some(accel) = answers.accel {
        if !(1..=ACCEL_MAX).contains(&accel) {
            return Err(format!("accel must be 1 to {ACCEL_MAX} steps a second, a second"));
        }
        set("accel", accel.to_string())?;
    }
    let optional = |pin: Option<u8>| pin.map_or_else(|| "None".to_owned(), |pin| pin.to_string());
    set("half_press_pin", optional(answers.half_press_pin))?;
    set("full_press_pin", optional(answers.full_press_pin))?;
    set("spin_switch_pin", optional(answers.spin_switch_pin))?;
    set("index_pin", optional(answers.index_pin))?;

    let wiring = wiring::wires(answers);
    let sheet = drawing::sheet(answers, &wiring);
    Ok(BoardFiles {
        files: vec![
            ("roundstop_table.py", PROGRAM.to_owned()),
            ("table_settings.py", settings),
            // Last of the program: a board that loses power half-way does not start half of it.
            ("main.py", MAIN.to_owned()),
            ("wiring.svg", sheet),
        ],
        wiring,
    })
}

fn check_pins(answers: &Answers) -> Result<(), String> {
    if answers.half_press_pin.is_some() && answers.full_press_pin.is_none() {
        return Err(
            "a half press line without a full press line fires nothing; name both, or none".to_owned()
        );
    }
    let mut used: Vec<(u8, &str)> =
        answers.driver.pins().into_iter().map(|(pin, setting, _)| (pin, setting)).collect();
    let optional = [
        (answers.half_press_pin, "half_press_pin"),
        (answers.full_press_pin, "full_press_pin"),
        (answers.spin_switch_pin, "spin_switch_pin"),
        (answers.index_pin, "index_pin"),
    ];
    used.extend(optional.into_iter().filter_map(|(pin, setting)| Some((pin?, setting))));
    for (index, &(pin, setting)) in used.iter().enumerate() {
        if pin > PIN_MAX {
            return Err(format!("{setting} cannot be {pin}; pin numbers go from 0 to {PIN_MAX}"));
        }
        if let Some((_, first)) = used[..index].iter().find(|(other, _)| *other == pin) {
            return Err(format!(
                "pin {pin} is used twice, for {first} and {setting}; give each a pin of its own"
            ));
        }
    }
    Ok(())
}

/// The steps in a turn as the board's two settings, within the board's bounds.
fn fraction(steps: StepsPerTurn) -> Result<(i64, i64), String> {
    let text = steps.to_string();
    let parts = text.split_once('/').and_then(|(num, den)| Some((num.parse().ok()?, den.parse().ok()?)));
    match parts {
        Some((num, den))
            if num <= STEPS_NUM_MAX
                && den <= STEPS_DEN_MAX
                && (STEPS_PER_TURN_MIN..=STEPS_PER_TURN_MAX).contains(&steps.to_f64()) =>
        {
            Ok((num, den))
        }
        _ => Err(format!(
            "{text} steps in a turn are not for this board: it takes {STEPS_PER_TURN_MIN} to {STEPS_PER_TURN_MAX}, as a fraction \
             of whole numbers up to {STEPS_NUM_MAX}/{STEPS_DEN_MAX}; check gear and microsteps"
        )),
    }
}

/// Replaces one setting's value and leaves everything else of the file as it is.
fn with_setting(text: &str, name: &str, value: &str) -> Result<String, String> {
    let mut found = 0;
    let lines: Vec<String> = text
        .lines()
        .map(|line| {
            let Some(rest) = line.strip_prefix(name).and_then(|rest| rest.strip_prefix(" = ")) else {
                return line.to_owned();
            };
            found += 1;
            let comment = rest.find(" #").map_or("", |at| rest[at..].trim_start());
            let put = format!("{name} = {value}");
            if comment.is_empty() { put } else { format!("{put:<35} {comment}") }
        })
        .collect();
    if found == 1 {
        Ok(lines.join("\n") + "\n")
    } else {
        Err(format!("the delivered settings do not name {name} once; this is a fault of this program"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(answers: &Answers) -> String {
        let files = prepare(answers).unwrap().files;
        files.into_iter().find(|(name, _)| *name == "table_settings.py").unwrap().1
    }

    #[test]
    fn answers_as_delivered_give_the_delivered_file() {
        assert_eq!(settings(&Answers::default()), DELIVERED_SETTINGS);
    }

    #[test]
    fn each_answer_stands_in_the_file_and_nothing_else_changes() {
        let answers = Answers {
            driver: Driver::StepDir { step: 2, dir: 3, enable: 5 },
            reverse: true,
            steps_per_turn: StepsPerTurn::new(160_000, 9).unwrap(),
            cruise_rate: Some(2000),
            accel: Some(900),
            half_press_pin: None,
            full_press_pin: Some(7),
            spin_switch_pin: None,
            index_pin: Some(15),
        };
        let written = settings(&answers);
        let wanted = [
            "driver = \"step_dir\"",
            "step_pin = 2",
            "dir_pin = 3",
            "enable_pin = 5",
            "reverse = True",
            "steps_num = 160000",
            "steps_den = 9",
            "cruise_rate = 2000",
            "cap_rate = 2000",
            "accel = 900",
            "half_press_pin = None",
            "full_press_pin = 7",
            "spin_switch_pin = None",
            "index_pin = 15",
        ];
        for line in wanted {
            let there = written.lines().any(|have| have == line || have.starts_with(&format!("{line} ")));
            assert!(there, "{line}");
        }
        let changed = written.lines().zip(DELIVERED_SETTINGS.lines()).filter(|(new, old)| new != old).count();
        assert_eq!(changed, wanted.len());
        assert_eq!(written.lines().count(), DELIVERED_SETTINGS.lines().count());
    }

    #[test]
    fn what_the_board_would_refuse_is_refused_here() {
        let refused = |change: fn(&mut Answers)| {
            let mut answers = Answers::default();
            change(&mut answers);
            prepare(&answers).unwrap_err()
        };
        assert!(
            refused(|a| a.full_press_pin = Some(18))
                .contains("pin 18 is used twice, for coil_pins[0] and full_press_pin")
        );
        assert!(refused(|a| a.index_pin = Some(100)).contains("index_pin cannot be 100"));
        assert!(refused(|a| a.full_press_pin = None).contains("name both"));
        assert!(refused(|a| a.cruise_rate = Some(601)).contains("1 to 600"));
        assert!(refused(|a| a.cruise_rate = Some(0)).contains("cruise"));
        assert!(refused(|a| a.accel = Some(0)).contains("accel"));
        assert!(refused(|a| a.steps_per_turn = StepsPerTurn::new(5, 1).unwrap()).contains("8 to 50000"));
        assert!(refused(|a| a.steps_per_turn = StepsPerTurn::new(60_000, 1).unwrap()).contains("gear"));
    }

    #[test]
    fn the_checked_in_sheet_is_the_one_drawn_here() {
        let files = prepare(&Answers::default()).unwrap().files;
        let sheet = &files.iter().find(|(name, _)| *name == "wiring.svg").unwrap().1;
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../controller/wiring.svg");
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            *sheet == kept,
            "controller/wiring.svg differs; draw it anew with: roundstop controller write DIR, and copy DIR/wiring.svg there"
        );
    }
}
