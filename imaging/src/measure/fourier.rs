//! Mean and harmonics of something seen at the stops of a turn.

use nalgebra::{DMatrix, DVector};

/// A robust fit of a mean and harmonics over table angles.
pub(super) struct Harmonics {
    /// Mean, cosine, sine, cosine of the double angle, …; at least three.
    pub terms: Vec<f64>,
    /// Standard deviation of what is left.
    pub rest: f64,
    /// How much each value counts in the mean: the mean is the sum of values times these.
    pub mean_weights: Vec<f64>,
}

/// How many functions are fitted to so many values.
fn columns(values: usize, harmonics: usize) -> usize {
    (1 + 2 * harmonics).min(values.saturating_sub(2)).max(1)
}

/// The functions fitted, a row for each angle: 1, cosine, sine, cosine of the double angle, …
fn basis(angles: &[f64], harmonics: usize) -> DMatrix<f64> {
    DMatrix::from_fn(angles.len(), columns(angles.len(), harmonics), |i, j| {
        let k = j.div_ceil(2) as f64;
        match j {
            0 => 1.0,
            j if j % 2 == 1 => (k * angles[i]).cos(),
            _ => (k * angles[i]).sin(),
        }
    })
}

/// The slopes of the functions fitted, by the angle.
pub(super) fn slopes(angles: &[f64], harmonics: usize) -> DMatrix<f64> {
    DMatrix::from_fn(angles.len(), columns(angles.len(), harmonics), |i, j| {
        let k = j.div_ceil(2) as f64;
        match j {
            0 => 0.0,
            j if j % 2 == 1 => -k * (k * angles[i]).sin(),
            _ => k * (k * angles[i]).cos(),
        }
    })
}

/// Fits by least squares, down-weighting outliers; `None` where the angles do not carry it.
pub(super) fn fit(angles: &[f64], values: &[f64], harmonics: usize) -> Option<Harmonics> {
    let n = values.len();
    let basis = basis(angles, harmonics);
    let columns = basis.ncols();
    let values = DVector::from_column_slice(values);
    let mut weights = DVector::from_element(n, 1.0);
    let mut rest = 0.0;
    let mut terms = DVector::zeros(columns);
    let mut mean_weights = Vec::new();
    for round in 0..3 {
        let mut weighted = basis.clone();
        for (mut row, w) in weighted.row_iter_mut().zip(weights.iter()) {
            row *= *w;
        }
        let normal = basis.transpose() * &weighted + DMatrix::identity(columns, columns) * 1e-6;
        let cholesky = normal.cholesky()?;
        terms = cholesky.solve(&(weighted.transpose() * &values));
        if round == 2 {
            let mut first = DVector::zeros(columns);
            first[0] = 1.0;
            mean_weights = (&weighted * cholesky.solve(&first)).as_slice().to_vec();
        }
        let rests = (&values - &basis * &terms).abs();
        let mut sorted: Vec<f64> = rests.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        rest = (1.48 * sorted[n / 2] / (1.0 - columns as f64 / n as f64).max(0.2).sqrt()).max(0.05);
        for (w, r) in weights.iter_mut().zip(rests.iter()) {
            *w = 1.0 / (1.0 + (r / (6.0 * rest)).powi(4));
        }
    }
    let mut terms = terms.as_slice().to_vec();
    terms.resize(columns.max(3), 0.0);
    Some(Harmonics { terms, rest, mean_weights })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_and_a_swing_come_back_past_an_outlier() {
        let angles: Vec<f64> = (0..24).map(|i| f64::from(i) * std::f64::consts::TAU / 24.0).collect();
        let mut values: Vec<f64> = angles.iter().map(|a| 3.0 + 2.0 * a.cos() - a.sin()).collect();
        values[7] += 40.0;
        let fit = fit(&angles, &values, 2).unwrap();
        assert!((fit.terms[0] - 3.0).abs() < 0.02, "{:?}", fit.terms);
        assert!((fit.terms[1] - 2.0).abs() < 0.04 && (fit.terms[2] + 1.0).abs() < 0.04);
        let mean: f64 = fit.mean_weights.iter().zip(&values).map(|(w, v)| w * v).sum();
        assert!((mean - fit.terms[0]).abs() < 1e-6);
    }
}
