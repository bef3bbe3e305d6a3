//! Two miss rates known from counts: odds that one is lower and the regret of choosing it, from beta posteriors.
//!
//! With densities f and distribution functions F: P(A < B) = ∫ f_A·(1 − F_B) dx and E[(A − B)⁺] = ∫ F_B·(1 − F_A) dx.
//! Both are integrated over x = y² so that the root at zero of a Jeffreys prior does no harm.

use crate::numeric::beta::{beta_tails, ln_beta};

/// Beta posterior of a miss rate. Both parameters ≥ 0.5.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BetaPosterior {
    pub a: f64,
    pub b: f64,
}

impl BetaPosterior {
    /// From `misses` of `passings` (misses ≤ passings) under the uniform prior.
    pub fn uniform_prior(misses: u64, passings: u64) -> BetaPosterior {
        BetaPosterior { a: misses as f64 + 1.0, b: (passings - misses) as f64 + 1.0 }
    }
    pub fn mean(&self) -> f64 {
        self.a / (self.a + self.b)
    }
    fn sd(&self) -> f64 {
        let total = self.a + self.b;
        (self.a * self.b / (total + 1.0)).sqrt() / total
    }
    fn cdf(&self, x: f64) -> f64 {
        beta_tails(self.a, self.b, x.clamp(0.0, 1.0)).0
    }
    fn density(&self, x: f64) -> f64 {
        libm::exp((self.a - 1.0) * libm::log(x) + (self.b - 1.0) * libm::log1p(-x) - ln_beta(self.a, self.b))
    }
}

/// ∫₀^end g(x) dx with x = y², midpoint rule.
fn integrate(end: f64, g: impl Fn(f64) -> f64) -> f64 {
    const CELLS: usize = 20_000;
    let width = end.sqrt() / CELLS as f64;
    (0..CELLS)
        .map(|i| {
            let y = (i as f64 + 0.5) * width;
            2.0 * y * width * g(y * y)
        })
        .sum()
}

fn reach(a: BetaPosterior, b: BetaPosterior) -> f64 {
    [a, b].iter().map(|p| p.mean() + 40.0 * p.sd()).fold(0.0, f64::max).min(1.0)
}

/// Odds that the miss rate of `a` is below that of `b`.
pub fn odds_below(a: BetaPosterior, b: BetaPosterior) -> f64 {
    integrate(reach(a, b), |x| a.density(x) * (1.0 - b.cdf(x)))
}

/// Expected regret of choosing `a` over `b`, E[(p_a − p_b)⁺].
pub fn expected_regret(a: BetaPosterior, b: BetaPosterior) -> f64 {
    integrate(reach(a, b), |x| b.cdf(x) * (1.0 - a.cdf(x)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: closed-form sum for integer beta parameters (E. Miller, Formulas for Bayesian A/B testing, 2015) and
    /// quadrature with scipy 1.17.1: A 3 of 1000, B 8 of 1000, uniform priors: .92760635; 1.16609e-4; 5.10663e-3.
    /// Tolerance: 2e-7 and half the last digit.
    #[test]
    fn val_two_counts() {
        let a = BetaPosterior::uniform_prior(3, 1000);
        let b = BetaPosterior::uniform_prior(8, 1000);
        assert!((odds_below(a, b) - 0.927_606_35).abs() < 2e-7, "{}", odds_below(a, b));
        assert!((expected_regret(a, b) - 1.166_09e-4).abs() < 6e-10, "{}", expected_regret(a, b));
        assert!((expected_regret(b, a) - 5.106_63e-3).abs() < 6e-9, "{}", expected_regret(b, a));
    }

    #[test]
    fn regrets_differ_by_the_difference_of_the_means() {
        let a = BetaPosterior { a: 0.5, b: 200.5 };
        let b = BetaPosterior { a: 4.5, b: 100.5 };
        let gap = expected_regret(b, a) - expected_regret(a, b);
        assert!((gap - (b.mean() - a.mean())).abs() < 1e-6, "{gap}");
        assert!((odds_below(a, b) + odds_below(b, a) - 1.0).abs() < 1e-5);
    }
}
