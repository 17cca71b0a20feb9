//! `roundstop table settle`: how long a load swings after a turn, entered or measured from live pictures.

use std::io::{self, BufRead};
use std::time::Duration;

use anyhow::{Context, bail, ensure};
use clap::Args;
use imaging::decode;
use imaging::measure::register::displacement;
use imaging::measure::settle::{RingDown, fit_ring_down};
use session_core::angle::Angle;
use session_core::clock::SimSpeed;

use super::super::cancelled_by_ctrl_c;
use super::{CAUTION, TableArg, show};
use crate::rest::{RESIDUAL_PX, SEEN_SHARE, Spot};
use crate::studio::{self, CameraSpec, Studio, StudioOptions, TableSpec};

/// The turn after which the load is watched, degrees; as far as between two stops of a set of 24.
const TURN_DEG: i64 = 15;
/// How long it is watched.
const WATCH: Duration = Duration::from_secs(3);
/// Enough previews, however fast they come.
const MOST_PREVIEWS: usize = 120;
/// The pace of previews on a simulated clock, which goes on by itself only when told to.
const SIM_PREVIEW: Duration = Duration::from_millis(33);

#[derive(Debug, Args)]
#[allow(clippy::doc_markdown, reason = "help text, shown as it is")]
pub struct SettleArgs {
    #[command(flatten)]
    table: TableArg,
    /// The time, seconds, where it is known; then nothing turns
    #[arg(long, value_name = "SECONDS", value_parser = super::super::seconds)]
    #[arg(required_unless_present = "camera", conflicts_with = "camera")]
    seconds: Option<f64>,
    /// Measure it: turn a little and watch the load come to rest in this camera's live picture
    #[arg(long, value_name = "C")]
    camera: Option<CameraSpec>,
    /// The swing that is still allowed, pixels of the live picture
    #[arg(long, value_name = "PX", default_value_t = RESIDUAL_PX, value_parser = residual)]
    residual_px: f64,
    /// Keep the proposed time for the table
    #[arg(long, requires = "camera")]
    keep: bool,
    /// Print one JSON object
    #[arg(long, requires = "camera")]
    json: bool,
}

fn residual(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(px) if (0.02..=50.0).contains(&px) => Ok(px),
        _ => Err("write 0.02 to 50 pixels".to_owned()),
    }
}

/// Runs `roundstop table settle`.
pub fn run(args: &SettleArgs) -> anyhow::Result<()> {
    let table = &args.table.table;
    let camera = match (&args.camera, args.seconds) {
        (Some(camera), _) => camera,
        (None, Some(seconds)) => return show::settle(table, seconds, "entered by a person"),
        (None, None) => bail!("give --seconds, or --camera to measure"),
    };
    let options = StudioOptions {
        sim_speed: SimSpeed::Max,
        calibrations: studio::calibration_folder(),
        ..StudioOptions::default()
    };
    let mut studio = studio::open(table, camera, &options).map_err(anyhow::Error::msg)?;
    if *table != TableSpec::Sim {
        eprintln!("{CAUTION}");
        eprint!(
            "Put the load on the plate and clear all that could catch, then press Enter to let it turn. "
        );
        let mut line = String::new();
        let read = io::stdin().lock().read_line(&mut line).context("the answer cannot be read")?;
        ensure!(read > 0, "there is no answer, so nothing was turned; answer the question");
    }
    let watched = watch(&mut studio);
    let released = studio.table.release();
    let previews = watched?;
    released?;
    drop(studio);
    let samples = swing(&previews)?;
    let ring = fit_ring_down(&samples).map_err(|reason| {
        let most = samples.iter().map(|(_, px)| px.abs()).fold(0.0, f64::max);
        anyhow::anyhow!("{reason} ({} previews, at most {most:.2} px from where it rests)", samples.len())
    })?;
    // Rounded up to what a person would write.
    let settle_secs = (ring.settled_at_s(args.residual_px * SEEN_SHARE) * 20.0).ceil() / 20.0;
    ensure!(
        settle_secs <= 60.0,
        "the load would need {settle_secs} s to come to rest within {} px; turn more gently, or allow more",
        args.residual_px
    );
    if args.json {
        println!("{}", json(&ring, settle_secs, samples.len()));
    } else {
        tell(&ring, settle_secs, args.residual_px, samples.len());
    }
    let method = format!("measured from {} live pictures, to within {} px", samples.len(), args.residual_px);
    if args.keep {
        show::settle(table, settle_secs, &method)?;
    } else if !args.json {
        println!(
            "Nothing is kept; --keep keeps it for the table, --settle {settle_secs} puts it into a plan."
        );
    }
    Ok(())
}

/// Previews with the time since the turn ended, seconds.
fn watch(studio: &mut Studio) -> anyhow::Result<Vec<(f64, Vec<u8>)>> {
    let cancel = cancelled_by_ctrl_c();
    let position = studio.table.position()?;
    // Only a table that does not know where it stands is given a zero: a set may count from the old one.
    let here = if position.zero.is_some() { position.step } else { studio.table.set_zero()?.step };
    let turn = studio.table.facts().steps_per_turn.nearest_step(Angle::from_turns(TURN_DEG, 360));
    // Once to take up the gears' play and to wake the live picture, then the turn that counts.
    studio.table.turn_to(here + turn, &cancel, &mut |_| {})?;
    live(studio)?;
    studio.table.turn_to(here + 2 * turn, &cancel, &mut |_| {})?;
    let ended = studio.clock.now();
    let mut previews = Vec::new();
    loop {
        let since = studio.clock.now().saturating_sub(ended);
        if since > WATCH || previews.len() >= MOST_PREVIEWS || cancel.is_cancelled() {
            return Ok(previews);
        }
        previews.push((since.as_secs_f64(), live(studio)?));
        studio.clock.advance_to(ended + since + SIM_PREVIEW);
    }
}

fn live(studio: &mut Studio) -> anyhow::Result<Vec<u8>> {
    studio.camera.live_frame()?.context(
        "this camera has no live picture to watch the load in; measure with one that has, or give --seconds",
    )
}

/// How far the object stands from its rest in each preview, pixels to the right.
fn swing(previews: &[(f64, Vec<u8>)]) -> anyhow::Result<Vec<(f64, f64)>> {
    let (_, last) = previews.last().context("no preview came after the turn; try again")?;
    let decoded = decode::full(last)?;
    let spot = Spot::of(last, &decoded);
    let rest = spot.cut(&decoded);
    let mut samples = Vec::new();
    for (secs, bytes) in previews {
        if let Some((right, _)) = displacement(&rest, &spot.cut(&decode::full(bytes)?)) {
            samples.push((*secs, right));
        }
    }
    Ok(samples)
}

fn tell(ring: &RingDown, settle_secs: f64, residual_px: f64, previews: usize) {
    println!(
        "The load swings at {:.2} Hz by {:.2} px and loses two thirds of it in {:.2} s (decay {:.2}/s; {previews} previews, fit to {:.2} px).",
        ring.frequency_hz,
        ring.amplitude_px,
        1.0 / ring.decay_per_s.max(1e-6),
        ring.decay_per_s,
        ring.residual_px
    );
    println!("Below {residual_px} px after {settle_secs} s: that is the proposed settle time.");
}

fn json(ring: &RingDown, settle_secs: f64, previews: usize) -> serde_json::Value {
    serde_json::json!({
        "frequency_hz": ring.frequency_hz,
        "decay_per_s": ring.decay_per_s,
        "amplitude_px": ring.amplitude_px,
        "fit_residual_px": ring.residual_px,
        "previews": previews,
        "settle_secs": settle_secs,
    })
}
