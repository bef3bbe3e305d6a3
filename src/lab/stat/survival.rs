//! Kaplan-Meier curve: share of samples not yet awake at a given power, without assuming a distribution.
//!
//! A sample that did not wake up to the highest power is censored there. Variance after Greenwood; interval on
//! the scale ln(−ln S), which stays inside 0..1.
//! Source: E. L. Kaplan and P. Meier, J. Amer. Statist. Assoc. 53 (1958) 457-481; J. D. Kalbfleisch and R. L.
//! Prentice, The Statistical Analysis of Failure Time Data (2nd edition 2002), 1.4.

use crate::numeric::normal_quantile;
use serde::{Deserialize, Serialize};

/// The curve just after one value at which something happened.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    pub at: f64,
    pub still_there: usize,
    pub events: usize,
    pub share_left: f64,
    pub standard_error: f64,
    /// Ends of the log-log interval; equal to the share where it is 0.
    pub low: f64,
    pub high: f64,
}

/// `values` with `true` for an event and `false` for a value censored there (the event would come later). Censored
/// values tied with an event count as later. Sorted steps; empty if there is no event. NaN values are ignored.
pub fn kaplan_meier(values: &[(f64, bool)], level: f64) -> Vec<Step> {
    let mut sorted: Vec<(f64, bool)> = values.iter().copied().filter(|v| !v.0.is_nan()).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let z = normal_quantile(0.5 + 0.5 * level);
    let mut steps = Vec::new();
    let (mut share, mut greenwood) = (1.0, 0.0);
    let mut i = 0;
    while i < sorted.len() {
        let at = sorted[i].0;
        let tied = sorted[i..].iter().take_while(|v| v.0 == at).count();
        let events = sorted[i..i + tied].iter().filter(|v| v.1).count();
        let left = sorted.len() - i;
        if events > 0 {
            share *= (left - events) as f64 / left as f64;
            greenwood += events as f64 / (left as f64 * (left - events) as f64);
            let (standard_error, low, high) = if left == events {
                (0.0, 0.0, 0.0)
            } else {
                let width = libm::exp(z * greenwood.sqrt() / libm::log(share).abs());
                (share * greenwood.sqrt(), libm::pow(share, width), libm::pow(share, 1.0 / width))
            };
            steps.push(Step { at, still_there: left, events, share_left: share, standard_error, low, high });
        }
        i += tied;
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: remission times under 6-MP of E. J. Freireich and others, Blood 21 (1963) 699-716; S and Greenwood errors
    /// with scipy.stats.ecdf 1.17.1 and statsmodels 0.15.0, as printed in survival texts. Tolerance: half the last
    /// digit.
    #[test]
    fn val_remission_data() {
        let events = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0].map(|t| (t, true));
        let censored =
            [6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0].map(|t| (t, false));
        let steps = kaplan_meier(&[events.as_slice(), censored.as_slice()].concat(), 0.95);
        let want = [
            (6.0, 0.8571, 0.0764),
            (7.0, 0.8067, 0.0869),
            (10.0, 0.7529, 0.0963),
            (13.0, 0.6902, 0.1068),
            (16.0, 0.6275, 0.1141),
            (22.0, 0.5378, 0.1282),
            (23.0, 0.4482, 0.1346),
        ];
        assert_eq!(steps.len(), want.len());
        for (step, (at, share, error)) in steps.iter().zip(want) {
            assert_eq!(step.at, at);
            assert!(
                (step.share_left - share).abs() < 5e-5 && (step.standard_error - error).abs() < 5e-5,
                "{step:?}"
            );
        }
        assert!((steps[2].low - 0.5032).abs() < 5e-5 && (steps[2].high - 0.8894).abs() < 5e-5);
    }

    #[test]
    fn ends_of_the_curve() {
        assert!(kaplan_meier(&[(1.0, false)], 0.95).is_empty() && kaplan_meier(&[], 0.95).is_empty());
        let all = kaplan_meier(&[(1.0, true), (2.0, true), (f64::NAN, true)], 0.95);
        assert_eq!((all[0].share_left, all[1].share_left, all[1].high), (0.5, 0.0, 0.0));
    }
}
