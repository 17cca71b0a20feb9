//! Mean and harmonics of something seen at the stops of a turn.

use std::f64::consts::FRAC_PI_2;

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

/// The functions fitted, a row for each angle: 1, cosine, sine, cosine of the double angle, …; and their
/// slopes by the angle.
pub(super) fn basis(angles: &[f64], harmonics: usize) -> (DMatrix<f64>, DMatrix<f64>) {
    let columns = (1 + 2 * harmonics).min(angles.len().saturating_sub(2)).max(1);
    let term = |i: usize, j: usize, ahead: f64| {
        let k = j.div_ceil(2) as f64;
        // A sine is a cosine a quarter turn behind; a slope runs a quarter turn ahead.
        let behind = if j == 0 || j % 2 == 1 { 0.0 } else { 1.0 };
        (k * angles[i] + (ahead - behind) * FRAC_PI_2).cos()
    };
    let n = angles.len();
    (
        DMatrix::from_fn(n, columns, |i, j| term(i, j, 0.0)),
        DMatrix::from_fn(n, columns, |i, j| j.div_ceil(2) as f64 * term(i, j, 1.0)),
    )
}

/// Fits by least squares, down-weighting outliers; `None` where the angles do not carry it.
pub(super) fn fit(angles: &[f64], values: &[f64], harmonics: usize) -> Option<Harmonics> {
    let n = values.len();
    let (basis, _) = basis(angles, harmonics);
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
