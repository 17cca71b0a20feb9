//! Prints measured values of pictures as JSON lines, for comparison with reference libraries.
//!
//! `cargo run -p imaging --release --example measured_values -- PICTURE ...`; for two pictures of one size in a
//! row the displacement of the second against the first is printed too. Used by
//! `tests/outside/reference_values.py`.

use imaging::decode;
use imaging::measure::colour::{Lab, ciede2000};
use imaging::measure::register::displacement;
use imaging::measure::sharpness::{laplacian_variance, tenengrad};
use imaging::measure::{Plane, measure};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut last: Option<Plane> = None;
    for path in std::env::args().skip(1) {
        let bytes = std::fs::read(&path)?;
        let picture = decode::full(&bytes)?.picture;
        let plane = Plane::luma(picture.rgb(), picture.width_px() as usize, picture.height_px() as usize);
        let moved = last.as_ref().and_then(|l| displacement(l, &plane));
        let first = picture.pixel(0, 0).unwrap_or_default();
        let middle = picture.pixel(picture.width_px() / 2, picture.height_px() / 2).unwrap_or_default();
        let (a, b) = (Lab::from_srgb(first), Lab::from_srgb(middle));
        let facts = measure(&bytes)?.facts;
        let value = serde_json::json!({
            "laplacian_variance": laplacian_variance(&plane),
            "tenengrad": tenengrad(&plane),
            "displacement": moved,
            "lab_first": [a.l, a.a, a.b],
            "lab_middle": [b.l, b.a, b.b],
            "ciede2000": ciede2000(a, b),
            "backdrop_linear": facts.backdrop.median,
            "mean_light": facts.mean_light,
        });
        println!("{value}");
        last = Some(plane);
    }
    Ok(())
}
