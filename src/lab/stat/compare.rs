//! Two tags compared: difference of their means in dB with an interval, and whether it can be told apart from none.
//!
//! Welch's t for samples of their own, t of the differences for paired readings. What both tags share (cable, antenna, the
//! level of the laboratory) drops out of the difference and is not counted; what is left of a budget
//! after cancelling (`budget::difference`) is added as a known part. Degrees of freedom after Welch and Satterthwaite.
//! Source: B. L. Welch, The generalization of Student's problem when several different population variances are involved,
//! Biometrika 34 (1947) 28-35; F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.

use super::few::{Conjugate, Range};
use crate::numeric::student::{t_quantile, t_two_sided_p};
use crate::numeric::summary::{mean, standard_deviation};
use serde::{Deserialize, Serialize};

/// Mean of some samples of one tag.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SampleMean {
    pub samples: usize,
    pub mean: f64,
    /// Standard deviation of one sample.
    pub standard_deviation: f64,
    pub degrees_of_freedom: f64,
}

impl SampleMean {
    /// From at least two samples, nothing else known.
    pub fn of(values: &[f64]) -> Option<SampleMean> {
        (values.len() >= 2 && values.iter().all(|v| v.is_finite())).then(|| SampleMean {
            samples: values.len(),
            mean: mean(values),
            standard_deviation: standard_deviation(values),
            degrees_of_freedom: values.len() as f64 - 1.0,
        })
    }
    /// From at least one sample, with `prior_degrees` > 0 samples' worth of belief in a spread `prior_sd`.
    pub fn with_prior(values: &[f64], prior_degrees: f64, prior_sd: f64) -> Option<SampleMean> {
        let c = Conjugate::new(values, prior_degrees, prior_sd)?;
        Some(SampleMean {
            samples: c.samples,
            mean: c.mean,
            standard_deviation: c.scale,
            degrees_of_freedom: c.degrees_of_freedom,
        })
    }
    fn variance_of_mean(&self) -> f64 {
        self.standard_deviation * self.standard_deviation / self.samples as f64
    }
}

/// What a comparison says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    FirstLower,
    SecondLower,
    CannotBeToldApart,
}

/// Difference first − second.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeanDifference {
    pub difference: f64,
    pub standard_error: f64,
    pub degrees_of_freedom: f64,
    pub level: f64,
    pub interval: Range,
    pub p_value: f64,
    pub verdict: Verdict,
    /// Samples of each tag (or pairs) with which a true difference of this size would be told apart in four of five
    /// comparisons; `None` if no number below 10 000 does, or if they can be told apart already.
    pub samples_needed: Option<usize>,
}

/// Welch's comparison; `known_part` is a standard uncertainty of the difference that no scatter shows (0 if none).
pub fn welch(first: &SampleMean, second: &SampleMean, known_part: f64, level: f64) -> MeanDifference {
    let (a, b) = (first.variance_of_mean(), second.variance_of_mean());
    let variance = a + b + known_part * known_part;
    let degrees =
        variance * variance / (a * a / first.degrees_of_freedom + b * b / second.degrees_of_freedom);
    let per_sample = first.standard_deviation.powi(2) + second.standard_deviation.powi(2);
    finish(
        first.mean - second.mean,
        variance.sqrt(),
        degrees,
        level,
        per_sample,
        known_part,
        first.samples.max(second.samples),
        2.0,
    )
}

/// Paired comparison: `first[i]` and `second[i]` are read under the same circumstances. At least two pairs.
pub fn paired(first: &[f64], second: &[f64], known_part: f64, level: f64) -> Option<MeanDifference> {
    if first.len() != second.len() {
        return None;
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let d = SampleMean::of(&differences)?;
    let own = d.variance_of_mean();
    let variance = own + known_part * known_part;
    let degrees = variance * variance / (own * own / d.degrees_of_freedom);
    let per_pair = d.standard_deviation.powi(2);
    Some(finish(d.mean, variance.sqrt(), degrees, level, per_pair, known_part, d.samples, 1.0))
}

#[allow(clippy::too_many_arguments, reason = "one private place where all numbers of a comparison meet")]
fn finish(
    difference: f64,
    standard_error: f64,
    degrees: f64,
    level: f64,
    per_sample: f64,
    known_part: f64,
    samples: usize,
    tags: f64,
) -> MeanDifference {
    let degrees = if degrees.is_nan() { f64::INFINITY } else { degrees };
    let reach = t_quantile(0.5 + 0.5 * level, degrees) * standard_error;
    let interval = Range { low: difference - reach, high: difference + reach };
    let verdict = if interval.high < 0.0 {
        Verdict::FirstLower
    } else if interval.low > 0.0 {
        Verdict::SecondLower
    } else {
        Verdict::CannotBeToldApart
    };
    let p_value = if standard_error > 0.0 {
        t_two_sided_p(difference / standard_error, degrees)
    } else if difference == 0.0 {
        1.0
    } else {
        0.0
    };
    let shows = |n: usize| {
        let dof = tags * (n as f64 - 1.0);
        let error = (per_sample / n as f64 + known_part * known_part).sqrt();
        (t_quantile(0.5 + 0.5 * level, dof) + t_quantile(0.8, dof)) * error <= difference.abs()
    };
    let samples_needed =
        if verdict == Verdict::CannotBeToldApart { first_that(samples.max(2), 10_000, shows) } else { None };
    MeanDifference {
        difference,
        standard_error,
        degrees_of_freedom: degrees,
        level,
        interval,
        p_value,
        verdict,
        samples_needed,
    }
}

/// Smallest n in from..=last with `holds(n)`, for a condition that stays true once it is true.
fn first_that(from: usize, last: usize, holds: impl Fn(usize) -> bool) -> Option<usize> {
    if !holds(last) {
        return None;
    }
    let (mut low, mut high) = (from, last);
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    Some(low)
}

impl MeanDifference {
    /// One sentence; `what` is the compared quantity ("threshold"), lower being stated as such and not as better.
    pub fn sentence(&self, first: &str, second: &str, what: &str) -> String {
        let range = format!(
            "{:+.1} dB ({:.0} %: {:+.1} to {:+.1})",
            self.difference,
            100.0 * self.level,
            self.interval.low,
            self.interval.high
        );
        match self.verdict {
            Verdict::FirstLower => format!("The {what} of {first} is lower than that of {second}: {range}."),
            Verdict::SecondLower => {
                format!("The {what} of {first} is higher than that of {second}: {range}.")
            }
            Verdict::CannotBeToldApart => {
                let more = match self.samples_needed {
                    Some(n) => {
                        format!(" A difference of this size would show with about {n} samples of each.")
                    }
                    None => {
                        " More samples of this kind would hardly show a difference of this size.".to_string()
                    }
                };
                format!("{first} and {second} cannot be told apart by {what}: {range}.{more}")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: [f64; 5] = [-17.8, -18.3, -17.1, -18.0, -17.5];

    /// Source: SciPy 1.17.1, scipy.stats.ttest_ind(equal_var=False) and ttest_rel with their confidence intervals.
    /// Tolerance: 1e-9.
    #[test]
    fn val_welch_and_paired() {
        let b = [-16.9, -17.4, -17.0];
        let w = welch(&SampleMean::of(&A).expect("5"), &SampleMean::of(&b).expect("3"), 0.0, 0.95);
        let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} against {want}");
        near(w.difference, -0.64);
        near(w.degrees_of_freedom, 5.988_608_968_638_7);
        near(w.p_value, 0.047_080_617_710_853_4);
        near(w.interval.low, -1.268_595_281_505_2);
        near(w.interval.high, -0.011_404_718_494_8);
        assert_eq!((w.verdict, w.samples_needed), (Verdict::FirstLower, None));
        let d = paired(&A, &[-17.2, -18.1, -16.8, -17.3, -17.4], 0.0, 0.95).expect("5 pairs");
        near(d.p_value, 0.030_423_416_648_821_5);
        near(d.interval.low, -0.701_396_757_073_2);
        near(d.interval.high, -0.058_603_243_226_8);
    }

    #[test]
    fn known_parts_widen_and_few_samples_do_not_decide() {
        let (a, b) = (SampleMean::of(&A).expect("5"), SampleMean::of(&[-16.9, -17.4, -17.0]).expect("3"));
        let wide = welch(&a, &b, 0.5, 0.95);
        assert_eq!(wide.verdict, Verdict::CannotBeToldApart);
        assert!(wide.degrees_of_freedom > 50.0 && wide.samples_needed.is_none());
        let close = welch(&a, &SampleMean { mean: -17.5, ..b }, 0.0, 0.95);
        let needed = close.samples_needed.expect("scatter only");
        assert!(needed > 10 && needed < 1000);
        let said = close.sentence("tag A", "tag B", "threshold");
        assert!(
            said.starts_with(
                "tag A and tag B cannot be told apart by threshold: -0.2 dB (95 %: -0.9 to +0.4)."
            ),
            "{said}"
        );
        // One sample each needs a belief about the spread.
        assert!(SampleMean::of(&[-17.0]).is_none());
        let one = SampleMean::with_prior(&[-17.0], 4.0, 0.8).expect("prior");
        assert_eq!((one.standard_deviation, one.degrees_of_freedom), (0.8, 4.0));
        assert!(paired(&[1.0, 2.0], &[1.0], 0.0, 0.95).is_none());
        // Equal readings: no error, no difference.
        let same = paired(&[1.0, 2.0], &[1.0, 2.0], 0.0, 0.95).expect("2 pairs");
        assert_eq!((same.p_value, same.verdict), (1.0, Verdict::CannotBeToldApart));
    }
}
