//! Fits drift, wrong stops and slips to angles whose errors hang together.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::super::Stop;

/// A wrong stop or slip smaller than this is not named, degrees.
const LEAST_WRONG_DEG: f64 = 0.28;
const LEAST_SLIP_DEG: f64 = 0.38;
/// A term must explain this many squared standard deviations to be taken in.
const WORTH: f64 = 30.0;

/// What may have happened at a place in the run of frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Term {
    /// It alone stands wrong.
    Wrong(usize),
    /// From it on everything is shifted.
    Slip(usize),
}

impl Term {
    fn at(self, k: usize) -> f64 {
        match self {
            Self::Wrong(j) => f64::from(u8::from(k == j)),
            Self::Slip(j) => f64::from(u8::from(k >= j)),
        }
    }
}

/// The angles' differences from the plan and all that may explain them, each divided by the errors' common
/// standard deviation: what is left of them has unit variance.
pub(super) struct Data {
    /// Offset, drift, and a slip at each gap that nothing joins.
    base: Vec<DVector<f64>>,
    candidates: Vec<(Term, DVector<f64>)>,
    deviation: DVector<f64>,
}

impl Data {
    /// `planned` and `deviation` in degrees along the run, `joints` behind each frame, `spread` the
    /// covariance of the deviations.
    pub fn new(
        planned: &[f64],
        closing: &[bool],
        deviation: &[f64],
        joints: &[bool],
        spread: &Cholesky<f64, Dyn>,
    ) -> Option<Self> {
        let n = planned.len();
        // What happened where nothing joins the frames is not known: each such gap may hide a slip.
        let unseen = (0..n - 1).filter(|&k| !joints[k]).map(|k| Term::Slip(k + 1));
        // A slip at the first stop of a part is none; at the second or last it is a wrong stop as well.
        let slips = (2..n.saturating_sub(1)).filter(|&k| joints[k - 2] && joints[k - 1] && joints[k]);
        let terms: Vec<Term> =
            (0..n).filter(|&k| !closing[k]).map(Term::Wrong).chain(slips.map(Term::Slip)).collect();
        let plain = [DVector::from_element(n, 1.0), DVector::from_fn(n, |k, _| planned[k] / 360.0)];
        let column = |term: Term| DVector::from_fn(n, |k, _| term.at(k));
        let base: Vec<DVector<f64>> = plain.into_iter().chain(unseen.map(column)).collect();
        let known = base.len();
        let all: Vec<DVector<f64>> = base.into_iter().chain(terms.iter().map(|t| column(*t))).collect();
        let lower = spread.l_dirty();
        let white = lower.solve_lower_triangular(&DMatrix::from_columns(&all))?;
        let mut columns = white.column_iter().map(nalgebra::Matrix::into_owned);
        let base = columns.by_ref().take(known).collect();
        let candidates = terms.into_iter().zip(columns).collect();
        let deviation = lower.solve_lower_triangular(&DVector::from_column_slice(deviation))?;
        Some(Self { base, candidates, deviation })
    }

    fn columns(&self, terms: &[Term]) -> Vec<&DVector<f64>> {
        let of = |t: &Term| self.candidates.iter().find(|c| c.0 == *t).map(|c| &c.1);
        self.base.iter().chain(terms.iter().filter_map(of)).collect()
    }

    /// Fits the base and the given terms.
    fn fit(&self, terms: &[Term]) -> Option<Weighted> {
        let columns = self.columns(terms);
        if columns.len() >= self.deviation.len() {
            return None;
        }
        let m = columns.len();
        let a = DMatrix::from_fn(self.deviation.len(), m, |k, j| columns[j][k]);
        let cholesky = (a.transpose() * &a + DMatrix::identity(m, m) * 1e-9).cholesky()?;
        let x = cholesky.solve(&(a.transpose() * &self.deviation));
        let rest = (&a * &x - &self.deviation).norm_squared();
        let covariance = cholesky.inverse();
        let told = |i: usize| (x[i], covariance[(i, i)].sqrt());
        Some(Weighted { offset: x[0], slope: told(1), terms: (self.base.len()..m).map(told).collect(), rest })
    }

    /// The term that explains most beyond those given, and what it would leave unexplained.
    fn best_addition(&self, terms: &[Term]) -> Option<(Term, f64)> {
        let mut basis: Vec<DVector<f64>> = Vec::new();
        for column in self.columns(terms) {
            if let Some(unit) = without(column, &basis).try_normalize(1e-9) {
                basis.push(unit);
            }
        }
        if basis.len() + 1 >= self.deviation.len() {
            return None;
        }
        let rest = without(&self.deviation, &basis);
        self.candidates
            .iter()
            .filter(|(t, _)| !terms.contains(t))
            .filter_map(|(t, column)| {
                let own = without(column, &basis);
                let size = own.norm_squared();
                (size > 1e-6 * column.norm_squared()).then(|| (*t, own.dot(&rest).powi(2) / size))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(t, gain)| (t, rest.norm_squared() - gain))
    }
}

/// Takes the part out that lies along orthonormal vectors; twice, for rounding.
fn without(column: &DVector<f64>, basis: &[DVector<f64>]) -> DVector<f64> {
    let mut rest = column.clone();
    for unit in basis.iter().chain(basis) {
        rest.axpy(-rest.dot(unit), unit, 1.0);
    }
    rest
}

/// One weighted fit; numbers with their standard uncertainty.
struct Weighted {
    offset: f64,
    slope: (f64, f64),
    terms: Vec<(f64, f64)>,
    rest: f64,
}

/// What explains the angles, in degrees.
pub(super) struct Fit {
    pub offset: f64,
    /// Degrees per full turn, and its standard uncertainty.
    pub slope: (f64, f64),
    /// With amount and standard uncertainty.
    pub terms: Vec<(Term, f64, f64)>,
}

impl Fit {
    /// What drift, wrong stops and slips make of a place of the run.
    pub fn drift_and_faults(&self, planned: f64, k: usize) -> f64 {
        let faults: f64 = self.terms.iter().map(|(t, amount, _)| t.at(k) * amount).sum();
        self.slope.0 * planned / 360.0 + faults
    }
}

/// Chooses the fewest terms that will do.
pub(super) fn choose(data: &Data, stop: Stop) -> Option<Fit> {
    let mut terms: Vec<Term> = Vec::new();
    let mut rest = data.fit(&terms)?.rest;
    let most = (data.deviation.len() / 3).clamp(1, 12);
    while terms.len() < most && !stop() {
        let Some((term, left)) = data.best_addition(&terms) else { break };
        if rest - left < WORTH {
            break;
        }
        terms.push(term);
        rest = left;
        // A term taken in early may be better told by another now.
        for i in 0..terms.len() {
            let mut without = terms.clone();
            without.remove(i);
            if let Some((better, left)) = data.best_addition(&without)
                && left < rest * 0.98 - 1.0
            {
                without.push(better);
                terms = without;
                rest = left;
            }
        }
    }
    // Small terms are noise: out with them, smallest first, the rest fitted again.
    let mut fit = data.fit(&terms)?;
    loop {
        let small = terms
            .iter()
            .zip(&fit.terms)
            .map(|(t, (amount, _))| {
                amount.abs() - if matches!(t, Term::Wrong(_)) { LEAST_WRONG_DEG } else { LEAST_SLIP_DEG }
            })
            .enumerate()
            .filter(|(_, over)| *over < 0.0)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((i, _)) = small else { break };
        terms.remove(i);
        fit = data.fit(&terms)?;
    }
    Some(Fit {
        offset: fit.offset,
        slope: fit.slope,
        terms: terms.iter().zip(fit.terms).map(|(t, (amount, sigma))| (*t, amount, sigma)).collect(),
    })
}
