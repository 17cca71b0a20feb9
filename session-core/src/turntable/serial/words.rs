//! The words sent to the controller.
//!
//! G0, G90 and G92 are words of RS-274/NGC (NIST IR 6556, "The NIST RS274NGC Interpreter, Version
//! 3", 2000), with the rotary A axis in unbounded degrees, positive anticlockwise seen from above.
//! M170 to M177 lie in the range that open controllers leave to the user and are this project's own;
//! so is the checksum that closes a line (`*` and the exclusive-or of the bytes before it).

use std::time::Duration;

use crate::angle::StepsPerTurn;

/// Stops the table at once, also in the middle of a line.
pub(super) const CAN: u8 = 0x18;

/// The name the controller's program must give.
pub(super) const PROGRAM: &str = "Roundstop-table";

/// The language spoken here.
pub(super) const PROTOCOL: u32 = 1;

/// Declares the present place to be zero.
pub(super) const SET_ZERO: &str = "G92 A0";

/// Turns to the index mark and sets the position from there.
pub(super) const FIND_INDEX: &str = "M176";

/// Lets the coils go.
///
/// Not M2, although M2 does that as well: in RS-274/NGC (NIST IR 6556, section on program end;
/// from memory) M2 also takes back the axis offsets that G92 set, which would cost the zero on a
/// controller that keeps to the letter.
pub(super) const RELEASE: &str = "M172";

/// Keeps the coils on between turns until [`RELEASE`].
pub(super) const HOLD: &str = "M171";

/// A question with an information line of its own as answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Question {
    Version,
    Settings,
    Status,
}

impl Question {
    pub const ALL: [Self; 3] = [Self::Version, Self::Settings, Self::Status];

    pub fn word(self) -> &'static str {
        match self {
            Self::Version => "M175",
            Self::Settings => "M174",
            Self::Status => "M173",
        }
    }
}

/// Turns to a step, counted with the board's own steps in a turn.
///
/// Six decimals of the step's exact angle: at most half a millionth of a degree off, so that the
/// one rounding in the controller finds this very step again. G90 stands in each line, so that the
/// angle is absolute whatever was sent before.
pub(super) fn turn_to(steps: StepsPerTurn, step: i64) -> String {
    format!("G90 G0 A{}", steps.angle_of(step).degrees_text(6))
}

/// Presses the shutter for so long, rounded up to whole milliseconds.
pub(super) fn press(press: Duration) -> String {
    let millis = press.as_nanos().div_ceil(1_000_000);
    format!("M170 P{}.{:03}", millis / 1000, millis % 1000)
}

/// Adds checksum and line end, so that a line spoilt on its way is refused and not carried out.
pub(super) fn seal(words: &str) -> Vec<u8> {
    let sum = words.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("{words}*{sum}\n").into_bytes()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::angle::Angle;

    #[test]
    fn words_are_written_as_the_protocol_wants_them() {
        let steps = StepsPerTurn::HOBBY_HALF_STEPS;
        assert_eq!(turn_to(steps, 340), "G90 G0 A30.031114");
        assert_eq!(turn_to(steps, -340), "G90 G0 A-30.031114");
        assert_eq!(press(Duration::from_millis(200)), "M170 P0.200");
        assert_eq!(press(Duration::from_micros(61_000_001)), "M170 P61.001");
        // Exclusive-or worked out by hand: 0x4D ^ 0x31 ^ 0x37 ^ 0x33 = 0x78.
        assert_eq!(seal("M173"), b"M173*120\n");
    }

    proptest! {
        /// Whatever the gearing, the six decimals sent lead back to the very step.
        #[test]
        fn six_decimals_name_one_step(
            step in -100_000_000i64..100_000_000,
            numerator in 8i64..72_000_000,
            denominator in 1i64..1000,
        ) {
            prop_assume!(numerator >= 8 * denominator);
            let steps = StepsPerTurn::new(numerator, denominator).unwrap();
            prop_assume!((step as f64 / steps.to_f64()).abs() < 9_000.0);
            let line = turn_to(steps, step);
            let angle: Angle = line.split_once('A').unwrap().1.parse().unwrap();
            prop_assert_eq!(steps.nearest_step(angle), step);
        }
    }
}
