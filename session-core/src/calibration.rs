//! What a table really does, learned from measurements: gearing, gear play, rest, direction, zero.
//!
//! Pure arithmetic. A measurement may be typed by a person or come from pictures; it is the same to
//! this module. [`store`] keeps the results of each table, [`apply`] puts them between a session
//! and the table's driver.
//!
//! Signs: angles count along the way the table was driven. *Leftover* is where the mark stands after
//! the turns, measured onward from where it should stand: positive when the plate went too far.

use serde::{Deserialize, Serialize};

use crate::angle::{Angle, AngleError, StepsPerTurn};

pub mod apply;
pub mod store;

/// The most turns a closure is measured over.
pub const TURNS_MAX: u32 = 1000;
/// The largest leftover that is believed, degrees a turn: beyond it steps were lost or the motor is another.
pub const LEFTOVER_MAX_DEG: f64 = 30.0;
/// The largest gear play that is believed, degrees.
pub const PLAY_MAX_DEG: f64 = 15.0;

/// Gear trains that exist, for telling which one a measurement means.
///
/// 25 792/405 × 64: tooth counts 22·26·31·32 / (9·9·10·11), published on a maker forum in 2011; true
/// 64:1 units exist (reported).
const KNOWN_TRAINS: [(i64, i64, &str); 2] =
    [(1_650_688, 405, "the common geared hobby stepper, 25792/405"), (4096, 1, "a true 64:1 gear")];

/// Says why a measurement cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CalibrationError {
    /// A figure is not a number, or out of range.
    #[error("{0}")]
    Nonsense(String),
    /// The corrected figure is none a table can have.
    #[error(transparent)]
    Steps(#[from] AngleError),
}

fn nonsense(message: String) -> CalibrationError {
    CalibrationError::Nonsense(message)
}

/// How far a mark is off after whole turns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClosureMeasurement {
    /// Turns made one way without coming back, 1 to [`TURNS_MAX`].
    pub turns: u32,
    /// Degrees the mark stands beyond its place; negative when the plate fell short.
    pub leftover_degrees: f64,
    /// Half the range in which the leftover surely lies, degrees.
    pub uncertainty_degrees: f64,
    /// How it was measured, in words, such as `read by eye`.
    pub method: String,
}

/// The gearing that a closure tells.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Gearing {
    /// Steps in a turn to go on with.
    pub steps_per_turn: StepsPerTurn,
    /// Steps in a turn as measured.
    pub measured: f64,
    /// Half the range in which the true figure surely lies, steps.
    pub uncertainty_steps: f64,
    /// The known gear train it is, when exactly one fits; then `steps_per_turn` is that one's exact figure.
    pub train: Option<String>,
}

/// Works out steps per turn from the leftover after whole turns driven as if a turn had `assumed` steps.
///
/// N turns sent S steps (N times `assumed`, rounded once to a whole step) and the plate turned 360°·N +
/// leftover, so a true turn takes S·360/(360·N + leftover) steps, with an uncertainty in the same
/// proportion. A plate that went too far has fewer steps in a turn than assumed.
///
/// # Errors
/// [`CalibrationError`] when a figure is no number or cannot be.
pub fn gearing(assumed: StepsPerTurn, measurement: &ClosureMeasurement) -> Result<Gearing, CalibrationError> {
    let &ClosureMeasurement { turns, leftover_degrees: leftover, uncertainty_degrees: range, .. } =
        measurement;
    if turns == 0 || turns > TURNS_MAX {
        return Err(nonsense(format!("a closure is measured over 1 to {TURNS_MAX} turns, not {turns}")));
    }
    let most = LEFTOVER_MAX_DEG * f64::from(turns);
    if !leftover.is_finite() || leftover.abs() > most {
        return Err(nonsense(format!(
            "a mark {leftover}° off after {turns} turn(s) is more than {LEFTOVER_MAX_DEG}° a turn; see that the motor loses no \
             steps, and check the controller's steps in a turn"
        )));
    }
    if !range.is_finite() || range <= 0.0 || range > 180.0 {
        return Err(nonsense(format!("the uncertainty must be above 0 and up to 180 degrees, not {range}")));
    }
    let turned = 360.0 * f64::from(turns) + leftover;
    let sent = assumed.nearest_step(Angle::TURN.part(turns, 1)) as f64;
    let measured = sent * 360.0 / turned;
    let uncertainty_steps = measured * range / turned;
    let mut fitting = KNOWN_TRAINS.iter().filter(|(numerator, denominator, _)| {
        (*numerator as f64 / *denominator as f64 - measured).abs() <= uncertainty_steps
    });
    // Two that fit mean that the measurement tells neither.
    let train = fitting.next().filter(|_| fitting.next().is_none());
    let steps_per_turn = match train {
        Some((numerator, denominator, _)) => StepsPerTurn::new(*numerator, *denominator)?,
        None => nearest_thousandth(measured)?,
    };
    Ok(Gearing {
        steps_per_turn,
        measured,
        uncertainty_steps,
        train: train.map(|(.., name)| (*name).to_owned()),
    })
}

/// A measured figure as a fraction; a thousandth of a step in a turn is finer than any measurement.
fn nearest_thousandth(steps: f64) -> Result<StepsPerTurn, AngleError> {
    StepsPerTurn::new((steps * 1000.0).round() as i64, 1000)
}

/// The plate's place at one commanded angle, reached from both sides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlayMeasurement {
    /// Where the plate stands when the angle was reached by rising angles, degrees on any scale.
    pub rising_degrees: f64,
    /// Where it stands when the angle was reached by falling angles, degrees on the same scale.
    pub falling_degrees: f64,
    /// Half the range in which the difference surely lies, degrees.
    pub uncertainty_degrees: f64,
}

/// The gears' play, degrees: the plate lags behind the motor, so it stands further on when the motor comes back.
///
/// # Errors
/// [`CalibrationError`] when the readings are no numbers, or swapped by more than the uncertainty.
pub fn gear_play(measurement: &PlayMeasurement) -> Result<f64, CalibrationError> {
    let play = measurement.falling_degrees - measurement.rising_degrees;
    check_play(play + measurement.uncertainty_degrees.abs())?;
    Ok(play.max(0.0))
}

/// Checks a figure for play that was measured as a whole.
///
/// # Errors
/// [`CalibrationError`] when it is no number, negative, or beyond [`PLAY_MAX_DEG`].
pub fn check_play(play_degrees: f64) -> Result<(), CalibrationError> {
    if (0.0..=PLAY_MAX_DEG).contains(&play_degrees) {
        return Ok(());
    }
    Err(nonsense(format!(
        "gear play must be 0 to {PLAY_MAX_DEG} degrees, not {play_degrees:.3}; see that both readings were taken at the same \
         commanded angle, the first with the table turning on"
    )))
}

/// The run-up that takes up a play for certain: half as much again, rounded up to a tenth, at least 0.5°.
pub fn run_up_degrees(play_degrees: f64) -> f64 {
    // The tiny share taken off keeps 0.8 · 1.5 = 1.2000000000000002 at 1.2.
    ((play_degrees * 15.0 - 1e-9).ceil() / 10.0).max(0.5)
}

/// A swing that dies down: `swing · e^(−decay·t)`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RingDown {
    /// The swing right after the turn, degrees.
    pub swing_degrees: f64,
    /// How fast it dies down, 1/s.
    pub decay_per_sec: f64,
}

impl RingDown {
    /// Learns the decay from two swings seen `secs` apart (logarithmic decrement, any textbook on vibration).
    ///
    /// # Errors
    /// [`CalibrationError`] when the swing does not fall or a figure is no number.
    pub fn from_two_swings(first: f64, later: f64, secs: f64) -> Result<Self, CalibrationError> {
        let falls = later > 0.0 && first > later && first <= 360.0 && secs > 0.0 && secs <= 600.0;
        if !falls {
            return Err(nonsense(format!(
                "a swing must fall from the first reading to the later one; {first}° and {later}° after {secs} s do not"
            )));
        }
        Ok(Self { swing_degrees: first, decay_per_sec: (first / later).ln() / secs })
    }

    /// The wait until the swing is under `residual_degrees`, seconds: ln(swing/residual)/decay, never below 0.
    ///
    /// # Errors
    /// [`CalibrationError`] when the residual is not above 0 or the swing does not die down.
    pub fn settle_secs(&self, residual_degrees: f64) -> Result<f64, CalibrationError> {
        if residual_degrees <= 0.0 || !residual_degrees.is_finite() {
            return Err(nonsense(format!("the swing left must be above 0 degrees, not {residual_degrees}")));
        }
        let secs = (self.swing_degrees / residual_degrees).ln() / self.decay_per_sec;
        if secs.is_nan() || secs.is_infinite() && secs > 0.0 || self.decay_per_sec <= 0.0 {
            return Err(nonsense(
                "the swing does not die down; see that plate and load sit firmly".to_owned(),
            ));
        }
        Ok(secs.max(0.0))
    }
}

/// Whether the plate turns the way it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sense {
    /// Rising angles turn it anticlockwise seen from above, as they should.
    Right,
    /// It turns the other way; the controller's own `reverse` setting puts that right.
    Reversed,
}

/// Tells the sense from a commanded turn and the turn seen, degrees anticlockwise from above.
///
/// # Errors
/// [`CalibrationError`] when either is too small to tell, under 1°.
pub fn sense(commanded_degrees: f64, seen_degrees: f64) -> Result<Sense, CalibrationError> {
    let tells = |degrees: f64| degrees.is_finite() && degrees.abs() >= 1.0;
    if !tells(commanded_degrees) || !tells(seen_degrees) {
        return Err(nonsense(format!(
            "a turn of {commanded_degrees}° seen as {seen_degrees}° is too small to tell the direction; turn at least 1°"
        )));
    }
    Ok(if commanded_degrees.signum() * seen_degrees.signum() > 0.0 { Sense::Right } else { Sense::Reversed })
}

/// The whole steps to turn on so that a mark seen at `seen_degrees` comes to stand at 0°, the short way round.
///
/// # Errors
/// [`CalibrationError`] when the reading is no number.
pub fn steps_to_zero(steps: StepsPerTurn, seen_degrees: f64) -> Result<i64, CalibrationError> {
    if !seen_degrees.is_finite() {
        return Err(nonsense(format!("the mark cannot stand at {seen_degrees}°")));
    }
    let short = (-seen_degrees + 180.0).rem_euclid(360.0) - 180.0;
    Ok((short / 360.0 * steps.to_f64()).round() as i64)
}

/// The worst angle error of a set, degrees: how far any stop stands off its place.
///
/// `wanted` are the stops' angles, `true_degrees` where the plate really stood, in the same order, and
/// `zero_true_degrees` where it stood when its zero was set, so that its place on the scale is no error.
pub fn worst_error_degrees(wanted: &[Angle], true_degrees: &[f64], zero_true_degrees: f64) -> f64 {
    let round = |degrees: f64| (degrees + 180.0).rem_euclid(360.0) - 180.0;
    let off = |(want, is): (&Angle, &f64)| round(is - zero_true_degrees - want.degrees()).abs();
    wanted.iter().zip(true_degrees).map(off).fold(0.0, f64::max)
}
