//! Rare misses: estimators of a mean score over the unit cube that stay honest down to 1e-6 and below.
//!
//! All estimators see the same pure function (`Problem`): a point of the unit cube and an absolute index in, a `Score` out.
//! None of them can tell which physics is behind it, so all of them are tested on problems with exact answers (`known`).
//!
//! | method | points | error |
//! |---|---|---|
//! | plain | independent uniform points | t over replications |
//! | stratified | uniform points per stratum, Neyman allocation from a pilot | t over replications |
//! | sobol | scrambled Sobol' points on the leading coordinates | t over scrambles |
//! | importance | mixture of Gaussians at the failing regions + a share of the natural density | t over replications |
//!
//! Every run has two stages. A pilot chooses the method, the allocation or the density; the second stage has a fixed number
//! of points, does not look at its own results, and alone makes the estimate. Stopping when the error looks small enough
//! would bias it.

pub mod choose;
pub mod crossing;
pub mod explore;
pub mod fit;
pub mod importance;
pub mod interval;
pub mod known;
pub mod mixture;
pub mod offsets;
pub mod plain;
pub mod scan;
pub mod tally;
pub mod watch;
pub mod wave_power;

pub use choose::{estimate, estimate_watched};
pub use interval::Interval;

use serde::{Deserialize, Serialize};

/// What one passing scores.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// Probability that the passing leaves no read, given its draw; in 0..=1.
    pub miss_odds: f64,
    /// A number that grows towards failure (for example how many dB are short). It steers the pilot and never
    /// enters an estimate, so a poor choice costs time, not truth.
    pub severity: f64,
}

/// A mean to estimate: the score of a passing as a pure function of its draw.
pub trait Problem: Sync {
    /// Leading coordinates of the draw, the ones a net or an importance density may steer. All other randomness of the
    /// passing must come from streams keyed by the index.
    fn lead_dims(&self) -> usize;

    /// Weights of the strata (discrete causes with exact odds); they add up to 1.
    fn strata(&self) -> &[f64] {
        &[1.0]
    }

    /// Score of passing `index` in `stratum` at a point of the open unit cube. The same arguments must give the
    /// same score.
    fn score(&self, stratum: usize, point: &[f64], index: u64) -> Score;
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    Plain,
    Stratified,
    Sobol,
    Importance,
}

impl Method {
    pub fn name(self) -> &'static str {
        match self {
            Method::Plain => "plain",
            Method::Stratified => "stratified",
            Method::Sobol => "sobol",
            Method::Importance => "importance",
        }
    }

    /// For sentences.
    pub fn words(self) -> &'static str {
        match self {
            Method::Plain => "plain sampling",
            Method::Stratified => "stratified sampling",
            Method::Sobol => "scrambled Sobol' points",
            Method::Importance => "importance sampling",
        }
    }
}

/// How to estimate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Request {
    pub seed: u64,
    /// `None`: a pilot decides.
    pub method: Option<Method>,
    /// Wanted coefficient of variation of the estimate (standard error over estimate), 0.005..=0.5.
    pub target_cov: f64,
    /// Most passings the second stage may score.
    pub max_calls: u64,
    /// Independent replications that carry the error; at least 10.
    pub replications: usize,
}

impl Request {
    pub fn new(seed: u64) -> Request {
        Request { seed, method: None, target_cov: 0.1, max_calls: 1_000_000, replications: 12 }
    }
}

/// Agreement of the importance estimate with plain sampling at a threshold where plain sampling has hits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrossCheck {
    /// Severity that counts as a miss for this check.
    #[serde(with = "watch::any_number")]
    pub severity: f64,
    pub plain: f64,
    pub importance: f64,
    /// Difference over its standard error.
    pub z: f64,
}

/// An estimate with everything needed to doubt it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Estimate {
    /// The method that made the estimate (plain after a fall-back).
    pub method: Method,
    pub mean: f64,
    /// 95 % interval of the Monte Carlo error; the lower end is above 0 unless nothing was hit.
    pub interval: Interval,
    /// Standard error over estimate; infinite when nothing was hit.
    #[serde(with = "watch::any_number")]
    pub cov: f64,
    /// Passings scored in the second stage, which makes the estimate.
    pub calls: u64,
    /// Passings scored before it, failed tries included.
    pub pilot_calls: u64,
    pub replications: usize,
    /// Effective number of misses: (Σ y)² / Σ y² over the weighted scores y.
    pub effective_misses: f64,
    /// Largest share of the estimate that one passing contributes.
    pub largest_share: f64,
    pub cross_check: Option<CrossCheck>,
    /// What the reader must know: fall-backs, doubts, limits reached. Plain sentences.
    pub notes: Vec<String>,
}

#[cfg(test)]
#[path = "rare_tests.rs"]
mod tests;
