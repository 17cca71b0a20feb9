//! Lines out of bytes, and facts out of lines.
//!
//! Whatever the line carries, memory stays bounded and nothing here fails: what cannot be read is
//! [`Line::Other`]. A line counts only once its end has arrived, so a cut line is never half a number.

use std::collections::{BTreeMap, VecDeque};

use crate::angle::StepsPerTurn;
use crate::motion::SpeedProfile;

/// The longest line kept, bytes; the controller's own stay under 256.
const LINE_MAX: usize = 512;
/// The finest gearing the six decimals of an A word still tell apart, with a margin of five.
const STEPS_PER_TURN_MAX: f64 = 72_000_000.0;

/// One line that came in.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Line {
    /// The last answer to a line that was carried out.
    Ok,
    /// The last answer to a line that was refused or stopped, with the reason.
    Error(String),
    /// A line of information.
    Info(Info),
    /// Anything else: boot text, an echo, noise.
    Other(String),
}

/// What an information line tells.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Info {
    /// The controller has just started.
    Boot(String),
    /// Answer to the status word.
    Status(Status),
    /// Answer to the settings word; the text says what is wrong with them.
    Settings(Result<Settings, String>),
    /// Answer to the version word.
    Version(Version),
    /// A sign of life in a turn.
    Turning(Place),
    /// The halt after a CAN.
    Stopped(Place),
}

/// A place of the plate, told twice over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    /// Millionths of a degree.
    pub micro_degrees: i128,
    /// Whole steps since the zero.
    pub step: i64,
}

impl Place {
    /// Whether the angle is that of the step: the only check digit that lines from the controller have.
    pub fn agrees_with(self, steps: StepsPerTurn) -> bool {
        let exact = micro_degrees(&steps.angle_of(self.step).degrees_text(6));
        exact.is_some_and(|exact| (exact - self.micro_degrees).abs() <= 1)
    }
}

/// The answer to the status word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Status {
    pub place: Place,
    /// Whether the table knows where it stands.
    pub known: bool,
    /// Whether the motor's coils are on.
    pub coils: bool,
    /// Drawn anew at each power-up.
    pub boot: String,
    /// Counts the zeros set since power-up.
    pub zero: u64,
}

/// The answer to the version word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Version {
    /// The program's name and number, such as `Roundstop-table 1.0.0`.
    pub program: String,
    /// The number of the language it speaks.
    pub protocol: u32,
    /// The controller's own number.
    pub id: String,
}

/// The answer to the settings word, checked.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Settings {
    /// The board's own figure, by which it rounds angles to steps.
    pub steps_per_turn: StepsPerTurn,
    pub rates: StepRates,
    pub has_shutter: bool,
    /// Half press that goes before every full press, seconds.
    pub half_press_secs: f64,
}

/// Speeds as the board counts them, in steps and seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct StepRates {
    pub start: f64,
    pub cruise: f64,
    pub accel: f64,
    /// The rate of change of the acceleration; 0 where it changes at once.
    pub jerk: f64,
}

impl StepRates {
    /// The same speeds in degrees, with so many steps in a turn.
    pub fn profile(self, steps: StepsPerTurn) -> SpeedProfile {
        SpeedProfile::from_step_rates(steps, self.start, self.cruise, self.accel, self.jerk)
    }
}

/// Cuts bytes into lines at CR, LF or both.
#[derive(Debug, Default)]
pub(super) struct LineSplitter {
    partial: Vec<u8>,
    too_long: bool,
}

impl LineSplitter {
    /// Takes bytes in and appends the lines they complete; empty and over-long lines are passed over.
    pub fn push(&mut self, bytes: &[u8], lines: &mut VecDeque<Line>) {
        self.push_texts(bytes, &mut |text| lines.push_back(classify(text)));
    }

    /// Does the same with the lines' plain text.
    pub fn push_texts(&mut self, bytes: &[u8], take: &mut dyn FnMut(&str)) {
        for &byte in bytes {
            if byte == b'\n' || byte == b'\r' {
                if !self.too_long
                    && let Some(text) = plain_text(&self.partial)
                {
                    take(text);
                }
                self.partial.clear();
                self.too_long = false;
            } else if self.partial.len() < LINE_MAX {
                self.partial.push(byte);
            } else {
                self.too_long = true;
            }
        }
    }

    /// Drops a line begun while none was due: noise that would spoil the next one.
    pub fn drop_noise(&mut self) {
        if !self.partial.contains(&b'[') {
            self.partial.clear();
        }
    }
}

/// Gives the text of a line; `None` where there is none.
fn plain_text(bytes: &[u8]) -> Option<&str> {
    // The first bytes after a port opens are often broken ones, so only the last run of plain
    // text counts.
    let run =
        bytes.split(|byte| !(0x20..=0x7e).contains(byte)).rev().find(|run| !run.trim_ascii().is_empty())?;
    str::from_utf8(run).ok().map(str::trim_ascii)
}

/// Tells what a line is.
fn classify(text: &str) -> Line {
    if text == "ok" {
        return Line::Ok;
    }
    if let Some(reason) = text.strip_prefix("error:") {
        return Line::Error(reason.trim_ascii().to_owned());
    }
    let info = text.strip_suffix(']').and_then(|body| body.rsplit_once('[')).and_then(|(_, body)| info(body));
    info.map_or_else(|| Line::Other(text.to_owned()), Line::Info)
}

fn info(body: &str) -> Option<Info> {
    let (kind, rest) = body.split_once(' ')?;
    match kind {
        "boot" => Some(Info::Boot(rest.to_owned())),
        "status" => status(&keys(rest)?).map(Info::Status),
        "settings" => Some(Info::Settings(settings(&keys(rest)?))),
        "version" => version(rest).map(Info::Version),
        "turning" => place(&keys(rest)?).map(Info::Turning),
        "stopped" => place(&keys(rest)?).map(Info::Stopped),
        _ => None,
    }
}

/// Reads `key=value` parts; a key that stands twice makes the line void.
pub(super) fn keys(text: &str) -> Option<BTreeMap<&str, &str>> {
    let mut found = BTreeMap::new();
    for (key, value) in text.split_ascii_whitespace().filter_map(|part| part.split_once('=')) {
        if found.insert(key, value).is_some() {
            return None;
        }
    }
    Some(found)
}

fn place(keys: &BTreeMap<&str, &str>) -> Option<Place> {
    Some(Place { micro_degrees: micro_degrees(keys.get("a")?)?, step: keys.get("step")?.parse().ok()? })
}

fn status(keys: &BTreeMap<&str, &str>) -> Option<Status> {
    let known = match *keys.get("known")? {
        "0" => false,
        "1" => true,
        _ => return None,
    };
    Some(Status {
        place: place(keys)?,
        known,
        coils: keys.get("coils") == Some(&"1"),
        boot: number_text(keys.get("boot")?)?,
        zero: keys.get("zero")?.parse().ok()?,
    })
}

fn version(text: &str) -> Option<Version> {
    let keys = keys(text)?;
    let program: Vec<&str> = text.split_ascii_whitespace().take_while(|part| !part.contains('=')).collect();
    Some(Version {
        program: program.join(" "),
        protocol: keys.get("protocol")?.parse().ok()?,
        id: number_text(keys.get("id")?)?,
    })
}

/// Accepts a boot number or id, which become part of the zero's name.
fn number_text(text: &str) -> Option<String> {
    let fits = (1..=64).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_alphanumeric());
    fits.then(|| text.to_owned())
}

fn settings(keys: &BTreeMap<&str, &str>) -> Result<Settings, String> {
    let text = |key: &str| keys.get(key).copied().ok_or_else(|| format!("{key} is missing"));
    let whole = |key: &str| text(key)?.parse::<i64>().map_err(|_| format!("{key} is no whole number"));
    let number = |key: &str, low: f64, high: f64| {
        let value = text(key)?.parse::<f64>().map_err(|_| format!("{key} is no number"))?;
        // Written so that a NaN falls through too.
        if value >= low && value <= high { Ok(value) } else { Err(format!("{key} cannot be {value}")) }
    };
    let steps =
        StepsPerTurn::new(whole("steps_num")?, whole("steps_den")?).map_err(|error| error.to_string())?;
    if steps.to_f64() > STEPS_PER_TURN_MAX {
        return Err(format!("{steps} steps in a turn are finer than the six decimals of an angle"));
    }
    let start = number("start_rate", 0.001, 1e6)?;
    let cruise = number("cruise_rate", 0.001, 1e6)?;
    if start > cruise {
        return Err(format!("start_rate {start} is above cruise_rate {cruise}"));
    }
    let accel = number("accel", 0.001, 1e9)?;
    // Boards of an older version know none of the optional ones.
    let optional = |key: &str, high: f64| {
        if keys.contains_key(key) { number(key, 0.0, high) } else { Ok(0.0) }
    };
    Ok(Settings {
        steps_per_turn: steps,
        rates: StepRates { start, cruise, accel, jerk: optional("jerk", 1e12)? },
        has_shutter: keys.get("shutter") == Some(&"1"),
        half_press_secs: optional("half_press_s", 86_400.0)?,
    })
}

/// Reads degrees with up to six decimals as whole millionths.
fn micro_degrees(text: &str) -> Option<i128> {
    let (sign, digits) = text.strip_prefix('-').map_or((1, text), |digits| (-1, digits));
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
    let plain = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || whole.len() > 20 || decimals.len() > 6 || !plain(whole) || !plain(decimals) {
        return None;
    }
    let part: i128 = format!("{decimals:0<6}").parse().ok()?;
    Some(sign * (whole.parse::<i128>().ok()? * 1_000_000 + part))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn lines(bytes: &[u8]) -> Vec<Line> {
        let mut found = VecDeque::new();
        LineSplitter::default().push(bytes, &mut found);
        found.into()
    }

    #[test]
    fn reads_the_example_lines_of_the_protocol() {
        let found = lines(
            b"[boot Roundstop-table 1.0.0 protocol=1]\r\n\
              [status state=idle a=12.345678 step=140 known=1 boot=3f9a21 zero=1 coils=0 queue=0]\n\
              [version Roundstop-table 1.0.0 protocol=1 id=e660583883724a32]\r\
              [turning a=8.100000 step=92]\n[stopped a=-8.243117 step=-93]\nok\nerror: queue full\n\
              [settings steps_num=1650688 steps_den=405 start_rate=120 cruise_rate=250 accel=400 idle_release_s=2.0 \
              shutter=1 half_press_s=0.0 full_press_s=0.2]\n",
        );
        assert_eq!(found[0], Line::Info(Info::Boot("Roundstop-table 1.0.0 protocol=1".to_owned())));
        let place = Place { micro_degrees: 12_345_678, step: 140 };
        assert_eq!(
            found[1],
            Line::Info(Info::Status(Status {
                place,
                known: true,
                coils: false,
                boot: "3f9a21".to_owned(),
                zero: 1
            }))
        );
        let Line::Info(Info::Version(version)) = &found[2] else { panic!("{:?}", found[2]) };
        assert_eq!((version.program.as_str(), version.protocol), ("Roundstop-table 1.0.0", 1));
        assert_eq!(found[3], Line::Info(Info::Turning(Place { micro_degrees: 8_100_000, step: 92 })));
        assert_eq!(found[4], Line::Info(Info::Stopped(Place { micro_degrees: -8_243_117, step: -93 })));
        assert_eq!(&found[5..7], [Line::Ok, Line::Error("queue full".to_owned())]);
        let Line::Info(Info::Settings(Ok(settings))) = &found[7] else { panic!("{:?}", found[7]) };
        assert_eq!(settings.steps_per_turn, StepsPerTurn::HOBBY_HALF_STEPS);
        assert_eq!(settings.rates.profile(settings.steps_per_turn), SpeedProfile::default());
        assert!(settings.has_shutter);
    }

    #[test]
    fn nonsense_settings_are_named() {
        let good = "steps_num=4096 steps_den=1 start_rate=120 cruise_rate=250 accel=400 shutter=0";
        let read = |from: &str, to: &str| {
            let line = good.replace(from, to);
            settings(&keys(&line).unwrap())
        };
        assert!(read("", "").is_ok());
        for (from, to, named) in [
            ("steps_num=4096", "steps_num=0", "steps in a turn"),
            ("steps_den=1", "steps_den=0", "steps in a turn"),
            ("steps_num=4096", "steps_num=90000000", "finer"),
            ("steps_num=4096 ", "", "steps_num"),
            ("start_rate=120", "start_rate=300", "start_rate"),
            ("cruise_rate=250", "cruise_rate=nan", "cruise_rate"),
            ("accel=400", "accel=-1", "accel"),
            ("accel=400", "accel=inf", "accel"),
        ] {
            let fault = read(from, to).unwrap_err();
            assert!(fault.contains(named), "{to}: {fault}");
        }
    }

    #[test]
    fn a_place_whose_two_figures_differ_is_found_out() {
        let steps = StepsPerTurn::HOBBY_HALF_STEPS;
        // 340 × 360 × 405 / 1650688 = 30.031114 degrees.
        assert!(Place { micro_degrees: 30_031_114, step: 340 }.agrees_with(steps));
        assert!(!Place { micro_degrees: 30_031_114, step: 341 }.agrees_with(steps));
        assert!(!Place { micro_degrees: 30_031_214, step: 340 }.agrees_with(steps));
    }

    #[test]
    fn broken_first_bytes_and_over_long_lines_spoil_only_themselves() {
        assert_eq!(lines(b"\x00\xff\xf8ok\r\n"), [Line::Ok]);
        let mut bytes = vec![b'x'; 100_000];
        bytes.extend(b"ok\nok\n");
        assert_eq!(lines(&bytes), [Line::Ok]);
        assert_eq!(lines(b"book\n"), [Line::Other("book".to_owned())]);
        assert_eq!(lines(b"[status state=idle a=1.0 step=1"), []);
    }

    proptest! {
        /// Any bytes are read without a panic, in bounded memory, and the same however they are cut.
        #[test]
        fn any_bytes_in_any_pieces(bytes in prop::collection::vec(any::<u8>(), 0..2000), cut in 1usize..50) {
            let whole = lines(&bytes);
            let mut pieces = VecDeque::new();
            let mut splitter = LineSplitter::default();
            for piece in bytes.chunks(cut) {
                splitter.push(piece, &mut pieces);
                prop_assert!(splitter.partial.len() <= LINE_MAX);
            }
            prop_assert_eq!(whole, Vec::from(pieces));
        }

        /// Text in the shape of information lines never panics either.
        #[test]
        fn any_information_line(
            text in "\\[(status|settings|version|turning|stopped|boot) ([a-z_]{1,12}=[-+0-9a-z.]{0,30} ?){0,12}\\]",
        ) {
            let _ = lines(format!("{text}\n").as_bytes());
        }

        /// An angle of a step, written as the controller writes it, agrees with its step.
        #[test]
        fn written_angles_agree(step in -40_000_000i64..40_000_000) {
            let steps = StepsPerTurn::HOBBY_HALF_STEPS;
            let micro = micro_degrees(&steps.angle_of(step).degrees_text(6)).unwrap();
            let place = Place { micro_degrees: micro, step };
            prop_assert!(place.agrees_with(steps));
        }
    }
}
