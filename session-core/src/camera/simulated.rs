//! A camera without hardware: it takes its time, and it sees the plate's true angle.
//!
//! What the picture looks like is the caller's affair: this crate knows no pixels.

use std::sync::Arc;
use std::time::Duration;

use super::{Arrival, Camera, CameraContext, CameraError, ExposureRequest};
use crate::clock::Clock;
use crate::turntable::simulated::SimProbe;

/// What falls on the simulated sensor during one exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct SimExposure {
    /// The plate's true angle, degrees, sampled over the exposure; one sample when it stood still.
    pub table_deg: Vec<f64>,
    /// The exposure's number; no two have the same sensor noise.
    pub shot: u64,
    /// The stop's number in the set; 0 for live pictures.
    pub stop: u32,
    /// The row's name.
    pub row: String,
    /// Whether the product was taken off the table.
    pub empty_table: bool,
    /// The exposure time, seconds.
    pub exposure_secs: f64,
}

/// Draws an exposure and gives the bytes of a picture file.
pub type Render = Arc<dyn Fn(&SimExposure) -> Result<Vec<u8>, String> + Send + Sync>;

/// The simulated camera.
pub struct SimCamera {
    probe: SimProbe,
    clock: Clock,
    /// How long a frame takes from the camera to the computer.
    transfer: Duration,
    render: Render,
    exposed: Option<SimExposure>,
    /// Live pictures given; they count down from the highest number, so that none has an exposure's noise.
    live: u64,
}

impl SimCamera {
    /// Builds a camera that looks at the plate behind `probe`.
    pub fn new(probe: SimProbe, clock: Clock, transfer: Duration, render: Render) -> Self {
        Self { probe, clock, transfer, render, exposed: None, live: 0 }
    }
}

/// A plate that moves less than this during the exposure stands still to the eye, degrees.
const STILL_DEG: f64 = 0.01;
/// Looks taken at a moving plate during one exposure.
const SAMPLES: u32 = 9;

impl Camera for SimCamera {
    fn name(&self) -> String {
        "simulated camera".to_owned()
    }

    fn probe(&mut self) -> Result<(), CameraError> {
        Ok(())
    }

    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError> {
        let opens = self.clock.now();
        if !self.clock.sleep_until(opens + request.exposure, context.cancel) {
            return Err(CameraError::Cancelled);
        }
        let mut table_deg: Vec<f64> = (0..SAMPLES)
            .map(|sample| self.probe.true_degrees(opens + request.exposure * sample / (SAMPLES - 1)))
            .collect();
        let least = table_deg.iter().copied().fold(f64::INFINITY, f64::min);
        let most = table_deg.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if most - least < STILL_DEG {
            table_deg.truncate(1);
        }
        self.exposed = Some(SimExposure {
            table_deg,
            shot: request.shot,
            stop: request.stop,
            row: request.row.clone(),
            empty_table: request.empty_table,
            exposure_secs: request.exposure.as_secs_f64(),
        });
        Ok(())
    }

    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError> {
        let until = self.clock.now() + self.transfer;
        let exposed =
            self.exposed.take().ok_or_else(|| CameraError::Failed("nothing was exposed".to_owned()))?;
        let bytes = (self.render)(&exposed).map_err(CameraError::Failed)?;
        if !self.clock.sleep_until(until, context.cancel) {
            return Err(CameraError::Cancelled);
        }
        Ok(vec![Arrival::Bytes {
            name: format!("FRAME{:04}.JPG", request.shot % 10_000),
            bytes: Arc::new(bytes),
        }])
    }

    fn patience(&self) -> Duration {
        // Large frames take their time to draw on a slow computer.
        Duration::from_secs(120)
    }

    fn live_frame(&mut self) -> Result<Option<Vec<u8>>, CameraError> {
        self.live += 1;
        let exposure = SimExposure {
            table_deg: vec![self.probe.true_degrees(self.clock.now())],
            shot: u64::MAX - self.live,
            stop: 0,
            row: String::new(),
            empty_table: false,
            exposure_secs: 0.02,
        };
        (self.render)(&exposure).map(Some).map_err(CameraError::Failed)
    }
}
