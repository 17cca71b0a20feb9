//! Cuts the objects of rendered sets out and compares the masks with the true ones.
//!
//! `cargo run -p imaging --example rendered_masks -- FOLDER SET [SET ...]`
//!
//! The sets come from `tests/outside/rendered_sets.py`, their masks from `tests/outside/rendered_masks.py`, a renderer
//! that shares nothing with this crate. Ends with 1 when a mask shares less than 99 % with the true one
//! (intersection over union).

use std::path::Path;

use imaging::finish::{FinishSettings, FrameToFinish, RowLight, Target, finish_frame, look, plan_place};

const LEAST: f64 = 0.99;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let root = args.next().ok_or("give the folder of rendered sets")?;
    let mut short = 0;
    for set in args {
        let (worst, mean, count) = one_set(&Path::new(&root).join(&set))?;
        println!(
            "{set}: {count} masks share {:.2} % at least, {:.2} % on the whole",
            worst * 100.0,
            mean * 100.0
        );
        short += u32::from(worst < LEAST);
    }
    if short > 0 {
        return Err(format!("the masks of {short} sets share less than {LEAST}").into());
    }
    Ok(())
}

/// The least and the mean share over a set's frames that have a true mask, and their number.
fn one_set(set: &Path) -> Result<(f64, f64, usize), Box<dyn std::error::Error>> {
    let mut masks: Vec<_> = std::fs::read_dir(set)?
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "png"))
        .collect();
    masks.sort();
    let mut frames = Vec::new();
    for mask in &masks {
        let name = mask.file_name().unwrap_or_default().to_string_lossy().replace("mask-", "frame-");
        frames.push(std::fs::read(set.join(name.replace(".png", ".jpg")))?);
    }
    let (mut glances, mut sights) = (Vec::new(), Vec::new());
    for frame in &frames {
        let seen = look(frame, None)?;
        glances.push(seen.glance);
        sights.push(seen.sight);
    }
    let stops: Vec<u32> = (1..=frames.len() as u32).collect();
    let settings = FinishSettings { crop: None, straighten: false, ..FinishSettings::default() };
    let light = RowLight::measure(&stops, &glances)?.with(&settings);
    let size = glances.first().ok_or("the set has no masks; run rendered_masks.py first")?.full_size_px;
    let plan = plan_place(size, &stops, &sights, None, light, &settings)?;
    let target = Target::native(&plan.placement);
    let mut shares = Vec::new();
    for (number, ((frame, mask), sight)) in frames.iter().zip(&masks).zip(&sights).enumerate() {
        let which = FrameToFinish { number, sight, plate: None };
        let done = finish_frame(frame, &plan, which, &settings, target)?;
        let cutout = done.cutout.ok_or("no mask was made")?;
        let truth = image::open(mask)?.into_luma8();
        let pairs = || cutout.alpha().iter().zip(truth.as_raw()).map(|(a, t)| (*a >= 128, *t >= 128));
        let both = pairs().filter(|(a, t)| *a && *t).count() as f64;
        let either = pairs().filter(|(a, t)| *a || *t).count() as f64;
        shares.push(both / either);
    }
    let worst = shares.iter().copied().fold(1.0, f64::min);
    Ok((worst, shares.iter().sum::<f64>() / shares.len() as f64, shares.len()))
}
