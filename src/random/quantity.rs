//! A quantity of the scenario: pinned to a plain number, or a distribution given by its quantile function.

use super::transform::{normal_cdf, normal_quantile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Distribution of one number. Written in a scenario as a plain number (pinned) or as a table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(into = "QuantityForm")]
pub enum Quantity {
    Pinned(f64),
    Uniform { min: f64, max: f64 },
    Normal { mean: f64, sd: f64 },
    LogNormal { median: f64, ln_sd: f64 },
}

/// How a quantity is written: `3.0`, `{ min, max }`, `{ mean, sd }` or `{ median, ln_sd }`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum QuantityForm {
    /// Pinned to a number.
    Pinned(f64),
    /// Anything between min and max, all alike.
    Uniform { min: f64, max: f64 },
    /// Normal with mean and standard deviation.
    Normal { mean: f64, sd: f64 },
    /// Log-normal: median, and standard deviation of the natural logarithm.
    LogNormal { median: f64, ln_sd: f64 },
}

impl From<Quantity> for QuantityForm {
    fn from(q: Quantity) -> Self {
        match q {
            Quantity::Pinned(v) => QuantityForm::Pinned(v),
            Quantity::Uniform { min, max } => QuantityForm::Uniform { min, max },
            Quantity::Normal { mean, sd } => QuantityForm::Normal { mean, sd },
            Quantity::LogNormal { median, ln_sd } => QuantityForm::LogNormal { median, ln_sd },
        }
    }
}

impl Quantity {
    /// Value at probability `u` in (0, 1). A pinned quantity ignores `u`.
    pub fn quantile(&self, u: f64) -> f64 {
        match *self {
            Quantity::Pinned(v) => v,
            Quantity::Uniform { min, max } => min + (max - min) * u,
            Quantity::Normal { mean, sd } => mean + sd * normal_quantile(u),
            Quantity::LogNormal { median, ln_sd } => median * libm::exp(ln_sd * normal_quantile(u)),
        }
    }

    /// Probability that the quantity is at most `x` (a step at a pinned value, and where the spread is 0).
    pub fn cdf(&self, x: f64) -> f64 {
        let step = |at: f64| f64::from(u8::from(x >= at));
        match *self {
            Quantity::Pinned(v) => step(v),
            Quantity::Uniform { min, max } if max <= min => step(min),
            Quantity::Uniform { min, max } => ((x - min) / (max - min)).clamp(0.0, 1.0),
            Quantity::Normal { mean, sd } if sd <= 0.0 => step(mean),
            Quantity::Normal { mean, sd } => normal_cdf((x - mean) / sd),
            Quantity::LogNormal { median, ln_sd } if ln_sd <= 0.0 => step(median),
            Quantity::LogNormal { .. } if x <= 0.0 => 0.0,
            Quantity::LogNormal { median, ln_sd } => normal_cdf(libm::log(x / median) / ln_sd),
        }
    }

    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    pub fn mean(&self) -> f64 {
        match *self {
            Quantity::Pinned(v) => v,
            Quantity::Uniform { min, max } => 0.5 * (min + max),
            Quantity::Normal { mean, .. } => mean,
            Quantity::LogNormal { median, ln_sd } => median * libm::exp(0.5 * ln_sd * ln_sd),
        }
    }

    /// The same law of `factor` (above 0) times the quantity.
    pub fn times(self, factor: f64) -> Quantity {
        match self {
            Quantity::Pinned(value) => Quantity::Pinned(factor * value),
            Quantity::Uniform { min, max } => Quantity::Uniform { min: factor * min, max: factor * max },
            Quantity::Normal { mean, sd } => Quantity::Normal { mean: factor * mean, sd: factor * sd },
            Quantity::LogNormal { median, ln_sd } => Quantity::LogNormal { median: factor * median, ln_sd },
        }
    }
    pub fn is_pinned(&self) -> bool {
        matches!(self, Quantity::Pinned(_))
    }
}

impl std::fmt::Display for Quantity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match *self {
            Quantity::Pinned(v) => write!(f, "{v}"),
            Quantity::Uniform { min, max } => write!(f, "{min} to {max}"),
            Quantity::Normal { mean, sd } => write!(f, "{mean} ± {sd}"),
            Quantity::LogNormal { median, ln_sd } => write!(f, "median {median}, ln-sd {ln_sd}"),
        }
    }
}
