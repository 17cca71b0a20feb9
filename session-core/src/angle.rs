//! Whole turns as exact fractions, positions as whole steps.
//!
//! A stop is a fraction of a turn and a table has a fraction of steps in a turn
//! (a geared hobby stepper: 1 650 688 / 405 half-steps). Both stay fractions until the one
//! moment a target is rounded to a step, so no error adds up over stops or turns.

use std::fmt;
use std::str::FromStr;

use num_rational::Ratio;
use num_traits::{Signed, Zero};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The most decimals a typed angle may carry; more is not physics but a slip of the pen.
const MAX_DECIMALS: usize = 9;
/// The largest typed angle in degrees: ten thousand turns.
const MAX_DEGREES: i128 = 3_600_000;

/// The largest lower number of a fraction: nine decimals over the most stops in a row stay below it, and
/// sums and products of such fractions far below an i128.
const MAX_DENOMINATOR: i128 = 2_000_000_000_000;

/// Says why a text is not an angle or a steps-per-turn figure.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AngleError {
    /// The text is not a decimal number or a fraction of two whole numbers.
    #[error("'{0}' is not a number of degrees; write it like 22.5 or 360/7")]
    NotANumber(String),
    /// The text carries more decimals, or a finer fraction, than are kept exactly.
    #[error(
        "'{0}' is finer than an angle is kept; write at most {MAX_DECIMALS} decimals, or a fraction of small numbers like 360/7"
    )]
    TooFine(String),
    /// The value lies outside the supported range.
    #[error("'{0}' is out of range; angles go to ±{MAX_DEGREES} degrees")]
    OutOfRange(String),
    /// A steps-per-turn figure is zero, negative or beyond reason.
    #[error("{0} steps in a turn cannot be; it must be at least 4 and at most 1 000 000 000")]
    StepsPerTurn(String),
}

/// An exact angle, held as a fraction of a turn; unbounded, so 370° is not 10°.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Angle(Ratio<i128>);

impl Angle {
    /// No turn at all.
    pub const ZERO: Self = Self(Ratio::new_raw(0, 1));
    /// One whole turn.
    pub const TURN: Self = Self(Ratio::new_raw(1, 1));

    /// Builds an angle of `numerator / denominator` turns.
    ///
    /// A zero denominator counts as one: callers divide by stop counts they have checked.
    pub fn from_turns(numerator: i64, denominator: u32) -> Self {
        Self(Ratio::new(i128::from(numerator), i128::from(denominator.max(1))))
    }

    /// The angle in degrees, rounded to the nearest floating-point number; for showing only.
    pub fn degrees(self) -> f64 {
        to_f64(self.0 * 360)
    }

    /// The angle in degrees as text with exactly `decimals` decimals, rounded half away from zero.
    pub fn degrees_text(self, decimals: u32) -> String {
        let scale = 10_i128.pow(decimals.min(9));
        let scaled = (self.0 * 360 * scale).round().to_integer();
        let sign = if scaled < 0 { "-" } else { "" };
        let (whole, part) = (scaled.abs() / scale, scaled.abs() % scale);
        match decimals {
            0 => format!("{sign}{whole}"),
            _ => format!("{sign}{whole}.{part:0width$}", width = decimals as usize),
        }
    }

    /// Degrees as short text for people: at most three decimals, none that say nothing.
    pub fn short_degrees(self) -> String {
        let decimals = (0..3).find(|decimals| self.is_exact_with(*decimals)).unwrap_or(3);
        self.degrees_text(decimals)
    }

    /// Whether [`Self::degrees_text`] with this many decimals loses nothing.
    pub fn is_exact_with(self, decimals: u32) -> bool {
        (self.0 * 360 * 10_i128.pow(decimals.min(9))).is_integer()
    }

    /// The angle within one turn, 0 included and 360° excluded.
    #[must_use]
    pub fn wrapped(self) -> Self {
        Self(self.0 - self.0.floor())
    }

    /// The distance to `other` the short way round, in turns between 0 and one half.
    #[must_use]
    pub fn distance_round(self, other: Self) -> Self {
        let ahead = Self(other.0 - self.0).wrapped();
        if ahead.0 * 2 > Ratio::from_integer(1) { Self(Self::TURN.0 - ahead.0) } else { ahead }
    }

    /// The angle `count / of` of this one: `arc.part(3, 24)` is three of 24 even parts.
    #[must_use]
    pub fn part(self, count: u32, of: u32) -> Self {
        Self(self.0 * Ratio::new(i128::from(count), i128::from(of.max(1))))
    }

    /// Whether this angle plus any number of parts of `arc`, `of` of them, can be written and read back.
    pub fn can_take_parts(self, arc: Self, of: u32) -> bool {
        let (one, other) = (*(self.0 * 360).denom(), *(arc.part(1, of).0 * 360).denom());
        // Reduced, the first is divided by what both have in common: the product is their least multiple.
        Ratio::new(one, other).numer() * other <= MAX_DENOMINATOR
    }

    /// The angle after `turns` more whole turns.
    #[must_use]
    pub fn plus_turns(self, turns: i64) -> Self {
        Self(self.0 + Ratio::from_integer(i128::from(turns)))
    }

    /// Whether the angle is a full turn or more, either way round.
    pub fn is_full_turn(self) -> bool {
        self.0.abs() >= Ratio::from_integer(1)
    }

    /// Whether the angle lies above zero.
    pub fn is_positive(self) -> bool {
        self.0.is_positive()
    }
}

impl std::ops::Add for Angle {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::ops::Sub for Angle {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl std::ops::Neg for Angle {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

/// Reads `22.5`, `-3`, or `360/7`: degrees, exactly.
impl FromStr for Angle {
    type Err = AngleError;

    fn from_str(text: &str) -> Result<Self, AngleError> {
        let degrees = exact_number(text)?;
        if degrees.abs() > Ratio::from_integer(MAX_DEGREES) {
            return Err(AngleError::OutOfRange(text.to_owned()));
        }
        Ok(Self(degrees / 360))
    }
}

/// Writes degrees the way [`FromStr`] reads them back without loss.
impl fmt::Display for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (0..=MAX_DECIMALS as u32).find(|decimals| self.is_exact_with(*decimals)) {
            Some(decimals) => f.write_str(&self.degrees_text(decimals)),
            None => {
                let degrees = self.0 * 360;
                write!(f, "{}/{}", degrees.numer(), degrees.denom())
            }
        }
    }
}

impl Serialize for Angle {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// An angle in a file may be a number or a text; the shortest decimal of a number is what was meant.
impl<'de> Deserialize<'de> for Angle {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        number_or_text(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// The exact number of steps in one turn of the plate, as a fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepsPerTurn(Ratio<i128>);

impl StepsPerTurn {
    /// The common geared 5 V hobby stepper in half-steps: 64 × 25 792 / 405.
    ///
    /// Gear train 22·26·31·32 / (9·9·10·11), tooth counts published on a maker forum in 2011;
    /// true 64:1 units exist, so a table's own figure goes before this one.
    pub const HOBBY_HALF_STEPS: Self = Self(Ratio::new_raw(1_650_688, 405));

    /// One step a thousandth of a degree: for controllers that count in degrees and tell no steps.
    pub const MILLIDEGREES: Self = Self(Ratio::new_raw(360_000, 1));

    /// Builds the figure from a fraction such as 1650688 / 405.
    ///
    /// # Errors
    /// When the fraction is below 4, above 10⁹, or has a denominator of zero or above 10⁹.
    pub fn new(numerator: i64, denominator: i64) -> Result<Self, AngleError> {
        let refuse = || AngleError::StepsPerTurn(format!("{numerator}/{denominator}"));
        if denominator <= 0 || denominator > 1_000_000_000 || numerator <= 0 {
            return Err(refuse());
        }
        let steps = Ratio::new(i128::from(numerator), i128::from(denominator));
        if steps < Ratio::from_integer(4) || steps > Ratio::from_integer(1_000_000_000) {
            return Err(refuse());
        }
        Ok(Self(steps))
    }

    /// The number of steps as a floating-point number; for estimates only.
    pub fn to_f64(self) -> f64 {
        to_f64(self.0)
    }

    /// The step nearest to an angle, ties away from zero: the one place where an angle is rounded.
    pub fn nearest_step(self, angle: Angle) -> i64 {
        // Bounded by MAX_DEGREES turns times 10⁹ steps, far inside an i64.
        (angle.0 * self.0).round().to_integer() as i64
    }

    /// The exact angle at which a step stands.
    pub fn angle_of(self, step: i64) -> Angle {
        Angle(Ratio::from_integer(i128::from(step)) / self.0)
    }

    /// The whole steps that cover at least this angle; for margins.
    pub fn steps_covering(self, angle: Angle) -> i64 {
        (angle.0.abs() * self.0).ceil().to_integer() as i64
    }
}

impl fmt::Display for StepsPerTurn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.0.numer(), self.0.denom())
    }
}

/// Reads `1650688/405` or `4096`.
impl FromStr for StepsPerTurn {
    type Err = AngleError;

    fn from_str(text: &str) -> Result<Self, AngleError> {
        let refuse = || AngleError::StepsPerTurn(text.to_owned());
        let steps = exact_number(text).map_err(|_| refuse())?;
        let numerator = i64::try_from(*steps.numer()).map_err(|_| refuse())?;
        let denominator = i64::try_from(*steps.denom()).map_err(|_| refuse())?;
        Self::new(numerator, denominator)
    }
}

impl Serialize for StepsPerTurn {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for StepsPerTurn {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        number_or_text(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

fn to_f64(ratio: Ratio<i128>) -> f64 {
    *ratio.numer() as f64 / *ratio.denom() as f64
}

fn number_or_text<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Raw {
        Text(String),
        Whole(i64),
        Number(f64),
    }
    Ok(match Raw::deserialize(deserializer)? {
        Raw::Text(text) => text,
        Raw::Whole(number) => number.to_string(),
        Raw::Number(number) => number.to_string(),
    })
}

/// Reads a decimal number or a fraction of two whole numbers, exactly.
fn exact_number(text: &str) -> Result<Ratio<i128>, AngleError> {
    let trimmed = text.trim();
    let bad = || AngleError::NotANumber(text.to_owned());
    if let Some((numerator, denominator)) = trimmed.split_once('/') {
        let numerator: i64 = numerator.trim().parse().map_err(|_| bad())?;
        let denominator: i64 = denominator.trim().parse().map_err(|_| bad())?;
        if denominator <= 0 {
            return Err(bad());
        }
        if i128::from(denominator) > MAX_DENOMINATOR {
            return Err(AngleError::TooFine(text.to_owned()));
        }
        return Ok(Ratio::new(i128::from(numerator), i128::from(denominator)));
    }
    let (negative, digits) = match trimmed.as_bytes().first() {
        Some(b'-') => (true, &trimmed[1..]),
        Some(b'+') => (false, &trimmed[1..]),
        _ => (false, trimmed),
    };
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
    let is_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if (whole.is_empty() && decimals.is_empty()) || !is_digits(whole) || !is_digits(decimals) {
        return Err(bad());
    }
    let decimals = decimals.trim_end_matches('0');
    if decimals.len() > MAX_DECIMALS {
        return Err(AngleError::TooFine(text.to_owned()));
    }
    if whole.len() > 15 {
        return Err(AngleError::OutOfRange(text.to_owned()));
    }
    let scale = 10_i128.pow(decimals.len() as u32);
    let whole: i128 = if whole.is_empty() { 0 } else { whole.parse().map_err(|_| bad())? };
    let part: i128 = if decimals.is_empty() { 0 } else { decimals.parse().map_err(|_| bad())? };
    let magnitude = Ratio::new(whole * scale + part, scale);
    Ok(if negative && !magnitude.is_zero() { -magnitude } else { magnitude })
}
