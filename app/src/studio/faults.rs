//! Faults of the simulated studio on request, to see how a session meets them.
//!
//! Each happens once, the first time its stop is exposed, so that a retake is good. Only a slipped object
//! stays where it is until its own stop, and each one after it, is shot again.

use std::collections::HashMap;
use std::str::FromStr;
use std::sync::{Mutex, PoisonError};

use imaging::scene::{MAX_POSE_SAMPLES, Pose, SceneFaults};
use session_core::camera::simulated::SimExposure;

/// What goes wrong at a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SimFault {
    /// The plate still moves while the shutter is open.
    Blur,
    /// The lens is out of focus.
    Defocus,
    /// The frame is too bright.
    Exposure,
    /// The light has another colour.
    WhiteBalance,
    /// The camera sends its last picture once more.
    Duplicate,
    /// The plate stands off its stop.
    WrongAngle,
    /// From here on the object stands shifted on the plate.
    Slip,
}

impl SimFault {
    /// Every fault.
    pub const ALL: [Self; 7] = [
        Self::Blur,
        Self::Defocus,
        Self::Exposure,
        Self::WhiteBalance,
        Self::Duplicate,
        Self::WrongAngle,
        Self::Slip,
    ];

    /// Its name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Blur => "blur",
            Self::Defocus => "defocus",
            Self::Exposure => "exposure",
            Self::WhiteBalance => "white-balance",
            Self::Duplicate => "duplicate",
            Self::WrongAngle => "wrong-angle",
            Self::Slip => "slip",
        }
    }
}

/// How far the plate turns during a blurred exposure, degrees.
const BLUR_DEG: f64 = 3.0;
/// Defocus disc's radius on a frame 1500 px wide, pixels.
const DEFOCUS_PX: f32 = 3.0;
/// Exposure error, stops.
const EXPOSURE_EV: f32 = 0.4;
/// Gains of a light of another colour.
const TINT: [f32; 3] = [1.08, 1.0, 0.95];
/// How far off a stop stands, degrees.
const WRONG_DEG: f64 = 1.5;
/// How far a slipped object is turned on the plate, degrees.
const SLIP_DEG: f64 = 2.0;
/// Of so many stops about one has a fault where they are drawn by lot.
const ONE_IN: u64 = 6;

/// Which faults happen where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FaultSpec {
    /// These faults at these stops.
    At(Vec<(SimFault, u32)>),
    /// About every sixth stop has one, drawn by lot; the same seed draws the same.
    Seeded(u64),
}

impl FromStr for FaultSpec {
    type Err = String;

    /// Reads `blur@5,defocus@9`, or a number as a seed.
    fn from_str(text: &str) -> Result<Self, String> {
        if let Ok(seed) = text.parse() {
            return Ok(Self::Seeded(seed));
        }
        let one = |part: &str| {
            let (name, stop) = part.split_once('@')?;
            let fault = SimFault::ALL.into_iter().find(|fault| fault.name() == name.replace('_', "-"))?;
            Some((fault, stop.parse().ok().filter(|stop| *stop > 0)?))
        };
        let faults = text.split(',').map(|part| one(part.trim()).ok_or(part));
        faults.collect::<Result<_, _>>().map(Self::At).map_err(|part| {
            let known = SimFault::ALL.map(SimFault::name).join(", ");
            format!("'{part}' is no fault; write FAULT@STOP with {known}, such as blur@5,defocus@9, or a number to draw them by lot")
        })
    }
}

impl FaultSpec {
    fn at(&self, stop: u32) -> Vec<SimFault> {
        match self {
            Self::At(list) => list.iter().filter(|(_, at)| *at == stop).map(|(fault, _)| *fault).collect(),
            Self::Seeded(seed) => {
                let lot = mixed(seed.wrapping_add(u64::from(stop).wrapping_mul(0x9e37_79b9_7f4a_7c15)));
                let which = (lot / ONE_IN) as usize % SimFault::ALL.len();
                if lot.is_multiple_of(ONE_IN) { vec![SimFault::ALL[which]] } else { Vec::new() }
            }
        }
    }
}

/// The finaliser of `SplitMix64` (Steele, Lea, Flood, OOPSLA 2014; constants from memory).
fn mixed(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// What a simulated exposure is drawn with.
pub struct Drawn {
    /// Where the plate, or rather the object on it, is seen.
    pub pose: Pose,
    /// What the picture itself has.
    pub scene: SceneFaults,
    /// Whether the last picture is sent once more instead.
    pub repeats: bool,
}

/// What is still to happen, and what has.
#[derive(Debug, Default)]
pub struct FaultRun {
    spec: Option<FaultSpec>,
    /// How often each stop was exposed.
    exposed: Mutex<HashMap<u32, u32>>,
}

impl FaultRun {
    /// A run in which these faults happen.
    pub fn new(spec: Option<FaultSpec>) -> Self {
        Self { spec, exposed: Mutex::default() }
    }

    /// What one exposure on a frame of this width is drawn with.
    pub fn draw(&self, exposure: &SimExposure, width_px: u32) -> Drawn {
        let mut drawn = Drawn {
            pose: Pose { table_deg: exposure.table_deg.clone(), shot: exposure.shot },
            scene: SceneFaults::default(),
            repeats: false,
        };
        // Live pictures belong to no stop.
        let (Some(spec), true) = (&self.spec, exposure.stop > 0) else { return drawn };
        let is_first = {
            let mut exposed = self.exposed.lock().unwrap_or_else(PoisonError::into_inner);
            let count = exposed.entry(exposure.stop).or_default();
            *count += 1;
            *count == 1
        };
        if !is_first {
            return drawn;
        }
        let shift = |drawn: &mut Drawn, by: f64| drawn.pose.table_deg.iter_mut().for_each(|deg| *deg += by);
        if (1..exposure.stop).any(|earlier| spec.at(earlier).contains(&SimFault::Slip)) {
            shift(&mut drawn, SLIP_DEG);
        }
        for fault in spec.at(exposure.stop) {
            match fault {
                SimFault::Blur => {
                    let at = drawn.pose.table_deg[0];
                    drawn.pose = Pose::turning(at, at + BLUR_DEG, MAX_POSE_SAMPLES / 4, exposure.shot);
                }
                SimFault::Defocus => drawn.scene.defocus_px = DEFOCUS_PX * width_px as f32 / 1500.0,
                SimFault::Exposure => drawn.scene.exposure_ev = EXPOSURE_EV,
                SimFault::WhiteBalance => drawn.scene.channel_gain = TINT,
                SimFault::Duplicate => drawn.repeats = true,
                SimFault::WrongAngle => shift(&mut drawn, WRONG_DEG),
                SimFault::Slip => shift(&mut drawn, SLIP_DEG),
            }
        }
        drawn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exposure(stop: u32) -> SimExposure {
        SimExposure {
            table_deg: vec![10.0],
            shot: 1,
            stop,
            row: String::new(),
            empty_table: false,
            exposure_secs: 0.1,
        }
    }

    #[test]
    fn a_list_is_read_and_nonsense_is_named() {
        let spec: FaultSpec = "blur@5, wrong_angle@20".parse().unwrap_or(FaultSpec::Seeded(0));
        assert_eq!(spec, FaultSpec::At(vec![(SimFault::Blur, 5), (SimFault::WrongAngle, 20)]));
        assert_eq!("7".parse(), Ok(FaultSpec::Seeded(7)));
        for text in ["blur", "blur@0", "blur@five", "fog@3", ""] {
            let refused = text.parse::<FaultSpec>();
            assert!(refused.is_err_and(|reason| reason.contains("wrong-angle")), "{text}");
        }
    }

    #[test]
    fn a_fault_happens_once_and_a_slip_lasts_till_each_stop_is_shot_again() {
        let spec = "exposure@2,slip@3".parse().ok();
        let run = FaultRun::new(spec);
        assert!(run.draw(&exposure(2), 1500).scene.exposure_ev > 0.0);
        assert!(run.draw(&exposure(2), 1500).scene.exposure_ev.abs() < f32::EPSILON);
        for stop in [3, 4] {
            assert!(run.draw(&exposure(stop), 1500).pose.table_deg[0] > 11.0);
            assert!((run.draw(&exposure(stop), 1500).pose.table_deg[0] - 10.0).abs() < f64::EPSILON);
        }
        assert!((run.draw(&exposure(0), 1500).pose.table_deg[0] - 10.0).abs() < f64::EPSILON);
    }

    #[test]
    fn lots_are_the_same_for_one_seed_and_rare() {
        let draw = |seed: u64| (1..=600).map(|stop| FaultSpec::Seeded(seed).at(stop)).collect::<Vec<_>>();
        assert_eq!(draw(1), draw(1));
        assert_ne!(draw(1), draw(2));
        let faulty = draw(1).iter().filter(|faults| !faults.is_empty()).count();
        assert!((60..=140).contains(&faulty), "{faulty}");
        let kinds =
            SimFault::ALL.into_iter().filter(|kind| draw(1).iter().any(|at| at.contains(kind))).count();
        assert_eq!(kinds, SimFault::ALL.len());
    }
}
