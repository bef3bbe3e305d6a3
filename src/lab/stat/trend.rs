//! Drift over time and steps between segments, each with the odds of chance alone.
//!
//! A drift is the slope of the readings over time or order (t test of a regression slope). A step is the jump between two
//! straight lines of one slope, fitted on both sides of a stated place; with the place unknown the largest t of all
//! places counts, its odds multiplied by their number (Bonferroni). First against last repeat: paired t over frequencies.
//! Source: N. R. Draper and H. Smith, Applied Regression Analysis (3rd edition 1998), 1.4 and 14.1 (dummy variables).

use super::compare::paired;
use crate::numeric::least_squares::{Fit, fit};
use crate::numeric::student::t_two_sided_p;
use serde::{Deserialize, Serialize};

/// Fitted coefficient with its error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    pub value: f64,
    pub standard_error: f64,
    /// Odds of a value as far from zero by chance.
    pub p_value: f64,
}

fn estimate(fit: &Fit, rows: usize, which: usize) -> Estimate {
    let dof = (rows - fit.coefficients.len()) as f64;
    let variance = fit.residual_square_sum / dof;
    let standard_error = (variance * fit.unscaled_covariance[which][which]).sqrt();
    let value = fit.coefficients[which];
    let p_value = if standard_error > 0.0 {
        t_two_sided_p(value / standard_error, dof)
    } else if value == 0.0 {
        1.0
    } else {
        0.0
    };
    Estimate { value, standard_error, p_value }
}

/// Slope of `values` over `time` (any unit; per that unit). At least 3 readings at 2 different times or more.
pub fn drift(time: &[f64], values: &[f64]) -> Option<Estimate> {
    let rows: Vec<Vec<f64>> = time.iter().map(|t| vec![1.0, *t]).collect();
    let fitted = fit(&rows, values)?;
    (rows.len() > 2).then(|| estimate(&fitted, rows.len(), 1))
}

/// Jump of the curve at `boundary`: readings at or above it against those below, with a slope common to both
/// sides. At least 2 readings on each side and 4 in all.
pub fn step_at(x: &[f64], values: &[f64], boundary: f64) -> Option<Estimate> {
    let above = x.iter().filter(|v| **v >= boundary).count();
    if x.len() < 4 || above < 2 || x.len() - above < 2 {
        return None;
    }
    let rows: Vec<Vec<f64>> =
        x.iter().map(|v| vec![1.0, *v - boundary, if *v >= boundary { 1.0 } else { 0.0 }]).collect();
    Some(estimate(&fit(&rows, values)?, rows.len(), 2))
}

/// A step found by looking everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FoundStep {
    /// Middle between the two readings it lies between.
    pub at: f64,
    pub step: Estimate,
    /// Places looked at.
    pub places: usize,
    /// Odds of such a step anywhere by chance (Bonferroni's bound).
    pub p_value: f64,
}

/// Largest step anywhere, with at least `margin` (≥ 2) readings on each side; `x` increasing.
pub fn largest_step(x: &[f64], values: &[f64], margin: usize) -> Option<FoundStep> {
    let margin = margin.max(2);
    if x.len() != values.len() || x.len() < 2 * margin || x.windows(2).any(|w| !(w[0] < w[1])) {
        return None;
    }
    let places = margin..=x.len() - margin;
    let count = places.clone().count();
    let found: Vec<(f64, Estimate)> = places
        .filter_map(|i| {
            let at = 0.5 * (x[i - 1] + x[i]);
            step_at(x, values, at).map(|step| (at, step))
        })
        .collect();
    let (at, step) = found.into_iter().min_by(|a, b| {
        a.1.p_value.total_cmp(&b.1.p_value).then(b.1.value.abs().total_cmp(&a.1.value.abs()))
    })?;
    Some(FoundStep { at, step, places: count, p_value: (step.p_value * count as f64).min(1.0) })
}

/// Mean change from the first to the last repeat over the frequencies both hold. The readings of one sweep hang together, so
/// the odds are a guide, not a proof; a change that matters is judged by its size in dB.
pub fn first_to_last(first: &[f64], last: &[f64]) -> Option<Estimate> {
    let d = paired(last, first, 0.0, 0.95)?;
    Some(Estimate { value: d.difference, standard_error: d.standard_error, p_value: d.p_value })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, Stream};

    /// Source: scipy.stats.linregress 1.17.1 and statsmodels 0.15.0 OLS. Tolerance: 1e-9, half the last digit for OLS.
    #[test]
    fn val_drift_and_step() {
        let time: Vec<f64> = (0..6).map(f64::from).collect();
        let d = drift(&time, &[0.1, 0.05, 0.2, 0.22, 0.35, 0.3]).expect("6 readings");
        assert!((d.value - 0.054_857_142_857_143).abs() < 1e-12);
        assert!((d.standard_error - 0.013_453_876_865_836).abs() < 1e-12);
        assert!((d.p_value - 0.015_130_401_770_262).abs() < 1e-9);
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y = [0.0, 0.1, 0.15, 0.32, 0.9, 1.02, 1.08, 1.2];
        let s = step_at(&x, &y, 3.5).expect("8 readings");
        assert!((s.value - 0.5135).abs() < 1e-9 && (s.standard_error - 0.03807952).abs() < 5.1e-9);
        assert!((s.p_value - 4.01610330e-5).abs() < 1e-12);
        let found = largest_step(&x, &y, 2).expect("8 readings");
        assert_eq!((found.at, found.places), (3.5, 5));
        assert!((found.p_value - 5.0 * s.p_value).abs() < 1e-15);
    }

    /// Source: theory: under straight lines with white noise Bonferroni's odds are a bound. 2000 sweeps, alarm at 0.05. Tolerance:
    /// 10 to 130 alarms, more have odds 2e-3.
    #[test]
    fn val_steps_by_chance_keep_to_the_stated_odds() {
        let x: Vec<f64> = (0..24).map(f64::from).collect();
        let alarms = (0..2000)
            .filter(|&i| {
                let mut stream = Stream::new(13, Purpose::Campaign, 2, 0, i);
                let y: Vec<f64> = x.iter().map(|x| 0.1 * x + stream.normal()).collect();
                largest_step(&x, &y, 3).expect("24 readings").p_value < 0.05
            })
            .count();
        assert!((10..=130).contains(&alarms), "{alarms} alarms in 2000");
    }

    #[test]
    fn first_to_last_and_refusals() {
        let shift = first_to_last(&[1.0, 2.0, 3.1], &[1.5, 2.6, 3.5]).expect("3 frequencies");
        assert!((shift.value - 0.5).abs() < 1e-12 && shift.p_value < 0.05);
        assert!(
            drift(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]).is_none() && drift(&[0.0, 1.0], &[0.0, 1.0]).is_none()
        );
        assert!(step_at(&[0.0, 1.0, 2.0, 3.0], &[0.0; 4], 2.5).is_none());
        assert!(largest_step(&[0.0, 0.0, 1.0, 2.0], &[0.0; 4], 2).is_none());
        // A constant is no drift.
        let flat = drift(&[0.0, 1.0, 2.0], &[5.0, 5.0, 5.0]).expect("3 readings");
        assert!(flat.value.abs() < 1e-12);
    }
}
