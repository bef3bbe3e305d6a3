//! Sums over weighted scores: small, mergeable, folded in a fixed order.

use serde::{Deserialize, Serialize};

/// What the points of one replication add up to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeightedTally {
    pub n: u64,
    pub sum: f64,
    pub sum_squares: f64,
    pub largest: f64,
}

impl WeightedTally {
    pub fn add(&mut self, value: f64) {
        self.n += 1;
        self.sum += value;
        self.sum_squares += value * value;
        self.largest = self.largest.max(value);
    }

    /// Fold in another tally. The order of folding fixes the last bits: keep it.
    pub fn merge(&mut self, other: &WeightedTally) {
        self.n += other.n;
        self.sum += other.sum;
        self.sum_squares += other.sum_squares;
        self.largest = self.largest.max(other.largest);
    }

    pub fn mean(&self) -> f64 {
        if self.n == 0 { 0.0 } else { self.sum / self.n as f64 }
    }

    /// Variance of one value.
    pub fn variance(&self) -> f64 {
        if self.n < 2 {
            return 0.0;
        }
        let n = self.n as f64;
        ((self.sum_squares - self.sum * self.sum / n) / (n - 1.0)).max(0.0)
    }

    /// (Σ y)² / Σ y²: how many equal values would carry the same information.
    pub fn effective_count(&self) -> f64 {
        if self.sum_squares > 0.0 { self.sum * self.sum / self.sum_squares } else { 0.0 }
    }

    pub fn largest_share(&self) -> f64 {
        if self.sum > 0.0 { self.largest / self.sum } else { 0.0 }
    }
}
