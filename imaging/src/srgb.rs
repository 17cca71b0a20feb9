//! The sRGB transfer function, exactly and as a fast table.
//!
//! Light adds up linearly, files hold coded values: whatever averages, scales or compares
//! light goes through here first.

use std::sync::OnceLock;

/// Decodes one sRGB value (0 to 1) to linear light (0 to 1), after IEC 61966-2-1.
pub fn to_linear(coded: f64) -> f64 {
    if coded <= 0.040_45 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

/// Encodes linear light (0 to 1) as an sRGB value (0 to 1), after IEC 61966-2-1.
pub fn from_linear(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// Returns linear light for each 8-bit sRGB code.
pub fn linear_of_code() -> &'static [f32; 256] {
    static TABLE: OnceLock<[f32; 256]> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut table = [0.0; 256];
        for (code, entry) in table.iter_mut().enumerate() {
            *entry = to_linear(code as f64 / 255.0) as f32;
        }
        table
    })
}

/// Linear light below this codes as less than 0.06 of an 8-bit step and is taken as this.
const DARKEST: f32 = 1.0 / 65_536.0;
/// Bits of a single-precision number's fraction that the coding table leaves out: 1024 steps
/// remain for each doubling of light.
const SHIFT: u32 = 13;

/// A table that codes linear light as sRGB in 1/256 of an 8-bit step.
///
/// It is indexed by the upper bits of the number itself, which spaces it evenly in stops.
pub struct FineCoder {
    table: Vec<u16>,
}

impl FineCoder {
    /// Returns the shared table.
    pub fn shared() -> &'static Self {
        static CODER: OnceLock<FineCoder> = OnceLock::new();
        CODER.get_or_init(|| {
            let (first, last) = (DARKEST.to_bits() >> SHIFT, 1.0_f32.to_bits() >> SHIFT);
            let table = (first..=last)
                .map(|step| {
                    let low = f64::from(f32::from_bits(step << SHIFT));
                    let high = f64::from(f32::from_bits((step + 1) << SHIFT));
                    let middle = f64::midpoint(low, high).min(1.0);
                    (from_linear(middle) * 255.0 * 256.0).round() as u16
                })
                .collect();
            Self { table }
        })
    }

    /// Codes linear light, clipped to 0 to 1, as 0 to 65280 (255 × 256); within 0.07 of an
    /// 8-bit step.
    #[inline]
    pub fn code(&self, linear: f32) -> u16 {
        // Not a number fails the comparison and codes as black.
        let light = if linear > DARKEST { linear } else { DARKEST };
        let light = if light < 1.0 { light } else { 1.0 };
        let index = (light.to_bits() >> SHIFT) - (DARKEST.to_bits() >> SHIFT);
        self.table[index as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values worked from the formulas of IEC 61966-2-1.
    #[test]
    fn matches_the_standard() {
        assert!((to_linear(0.5) - 0.214_041_1).abs() < 5e-8);
        assert!((from_linear(0.18) * 255.0 - 117.65).abs() < 0.005);
        assert!(to_linear(0.0).abs() < 1e-12 && (to_linear(1.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn coding_and_decoding_are_inverse() {
        for code in 0..=255_u32 {
            let coded = f64::from(code) / 255.0;
            assert!((from_linear(to_linear(coded)) - coded).abs() < 1e-6);
        }
    }

    #[test]
    fn the_table_stays_close_to_the_formula() {
        let coder = FineCoder::shared();
        for step in 0..=5000 {
            let linear = f64::from(step) / 5000.0;
            let exact = from_linear(linear) * 255.0;
            let table = f64::from(coder.code(linear as f32)) / 256.0;
            assert!((exact - table).abs() < 0.07, "{linear}: {exact} {table}");
        }
    }
}
