//! How well a stored forecast did: scores of a predictive distribution against a count, and whether it can go on being believed.
//!
//! Log score −ln P(x) and ranked probability score Σ (F(k) − 1{x ≤ k})² are proper: nobody gains by saying other than what he believes (T. Gneiting, A. Raftery, J. Am. Stat. Assoc. 102
//! (2007) 359-378, from memory). The probability integral transform of a count is an interval, F(x − 1) to F(x) (C. Czado, T. Gneiting, L. Held, Biometrics 65 (2009) 1254-1261). An e-value, the running product of
//! (forecasts with the odds ÷4, ÷2, ×2, ×4 averaged)/forecast, exceeds 20 with probability 5 % at most if the forecast is right, whenever one stops
//! looking (Ville's inequality).

use crate::numeric::counts::{beta_binomial_pmf, binomial_pmf};

/// Probabilities of 0, 1, 2 … missed of `passed`, and of more than listed.
#[derive(Clone, Debug, PartialEq)]
pub struct Predictive {
    pub passed: u64,
    pub odds: Vec<f64>,
    pub beyond: f64,
}

/// Factors on the odds under the alternatives of the e-value.
const ALTERNATIVES: [f64; 4] = [0.25, 0.5, 2.0, 4.0];
/// No count is taken to be less likely than this: forecasts rest on finitely many draws.
const LEAST: f64 = 1e-9;

impl Predictive {
    /// From the list of a stored forecast for `runners`, for a chance part `passed` of them. Fails, with words for people, for more than there were, and for a list
    /// that holds no probabilities.
    pub fn stored(runners: u64, list: &[f64], passed: u64) -> Result<Predictive, String> {
        if passed > runners {
            return Err(format!(
                "{passed} passed, the forecast is for {runners} runners: store one for as many at least"
            ));
        }
        let sum: f64 = list.iter().sum();
        let sound = list.iter().all(|p| (0.0..=1.0).contains(p)) && sum <= 1.0 + 1e-6;
        if list.is_empty() || list.len() as u64 > runners.saturating_add(1) || !sound {
            return Err("the forecast's distribution is no list of probabilities".to_owned());
        }
        let share = passed as f64 / runners.max(1) as f64;
        let mut odds = vec![0.0; list.len()];
        if passed == runners {
            odds.copy_from_slice(list);
        } else {
            // Each of the missed was among those counted with this chance; beyond ten standard deviations there is nothing.
            for (all, p) in list.iter().enumerate().filter(|(_, p)| **p > 0.0) {
                let mean = all as f64 * share;
                let reach = 10.0 * (mean * (1.0 - share)).sqrt() + 30.0;
                let (low, high) = ((mean - reach).max(0.0) as usize, ((mean + reach) as usize).min(all));
                (low..=high).for_each(|k| odds[k] += p * binomial_pmf(k as u64, all as u64, share));
            }
        }
        let beyond = (1.0 - odds.iter().sum::<f64>()).max(0.0);
        Ok(Predictive { passed, odds, beyond })
    }

    /// Beta-binomial.
    pub fn beta(passed: u64, a: f64, b: f64) -> Predictive {
        let mut odds = Vec::new();
        let mut sum = 0.0;
        while sum < 0.999_999 && (odds.len() as u64) <= passed {
            let p = beta_binomial_pmf(odds.len() as u64, passed, a, b);
            sum += p;
            odds.push(p);
        }
        Predictive { passed, odds, beyond: (1.0 - sum).max(0.0) }
    }

    /// P(low ≤ X ≤ high).
    pub fn between(&self, (low, high): (u64, u64)) -> f64 {
        let listed = self.odds.iter().enumerate().filter(|(k, _)| (low..=high).contains(&(*k as u64)));
        let beyond = if high >= self.odds.len() as u64 { self.beyond } else { 0.0 };
        listed.map(|(_, p)| p).sum::<f64>() + beyond
    }

    pub fn log_score(&self, counted: (u64, u64)) -> f64 {
        -libm::log(self.between(counted).max(LEAST))
    }

    /// Ranked probability score of a single count.
    pub fn ranked(&self, counted: u64) -> f64 {
        let (mut below, mut sum) = (0.0, 0.0);
        for k in 0..(self.odds.len() as u64).max(counted) {
            below += self.odds.get(k as usize).copied().unwrap_or(0.0);
            let told = f64::from(u8::from(counted <= k));
            sum += (below - told) * (below - told);
        }
        sum
    }

    /// F(x − 1) and F(x).
    pub fn transform(&self, counted: (u64, u64)) -> (f64, f64) {
        let below = if counted.0 == 0 { 0.0 } else { self.between((0, counted.0 - 1)) };
        (below, (below + self.between(counted)).min(1.0))
    }

    /// Twice the smaller tail that holds the count.
    pub fn tail(&self, counted: (u64, u64)) -> f64 {
        let (below, up_to) = self.transform(counted);
        (2.0 * up_to.min(1.0 - below)).clamp(0.0, 1.0)
    }

    /// Smallest count with at least `p` up to it.
    pub fn quantile(&self, p: f64) -> u64 {
        let mut sum = 0.0;
        let at = self.odds.iter().position(|odds| {
            sum += odds;
            sum >= p
        });
        at.unwrap_or(self.odds.len()) as u64
    }

    pub fn mean(&self) -> f64 {
        let listed: f64 = self.odds.iter().enumerate().map(|(k, p)| k as f64 * p).sum();
        listed + self.beyond * self.odds.len() as f64
    }

    /// Beta law of the miss odds with the mean and variance of this forecast; `None` where nothing is ever missed.
    fn beta_law(&self) -> Option<(f64, f64)> {
        let (n, mean) = (self.passed as f64, self.mean());
        let variance: f64 =
            self.odds.iter().enumerate().map(|(k, p)| p * (k as f64 - mean) * (k as f64 - mean)).sum();
        let m = mean / n;
        // var = n·m(1 − m)·(1 + (n − 1)·ρ), ρ = 1/(a + b + 1).
        let rho = ((variance / (n * m * (1.0 - m)) - 1.0) / (n - 1.0)).clamp(1e-7, 0.5);
        let size = 1.0 / rho - 1.0;
        (m > 0.0 && m < 1.0).then_some((m * size, (1.0 - m) * size))
    }

    /// (forecasts with other odds, averaged) over the forecast, at the count; 1 where there is nothing to compare.
    pub fn e_factor(&self, counted: (u64, u64)) -> f64 {
        let Some((a, b)) = self.beta_law() else { return 1.0 };
        // The same shape with the mean odds moved: b/factor, as a rate of Gamma shape a has its scale moved.
        let of = |factor: f64| Predictive::beta(self.passed, a, b / factor).between(counted);
        let others = ALTERNATIVES.iter().map(|&factor| of(factor)).sum::<f64>() / ALTERNATIVES.len() as f64;
        others / self.between(counted).max(LEAST)
    }
}

/// Brier score of probabilities against what came true, with its parts (A. Murphy, J. Appl. Meteorol. 12 (1973) 595-600): reliability − resolution + uncertainty.
pub fn brier(told: &[(f64, bool)]) -> (f64, [f64; 3]) {
    let n = told.len() as f64;
    let came = |of: &[&(f64, bool)]| of.iter().filter(|t| t.1).count() as f64 / of.len() as f64;
    let all: Vec<&(f64, bool)> = told.iter().collect();
    let base = came(&all);
    let score = told.iter().map(|(p, o)| (p - f64::from(u8::from(*o))).powi(2)).sum::<f64>() / n;
    let mut values: Vec<f64> = told.iter().map(|t| t.0).collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    let (mut reliability, mut resolution) = (0.0, 0.0);
    for value in values {
        let of: Vec<&(f64, bool)> = told.iter().filter(|t| t.0 == value).collect();
        let share = of.len() as f64 / n;
        reliability += share * (value - came(&of)).powi(2);
        resolution += share * (came(&of) - base).powi(2);
    }
    (score, [reliability, resolution, base * (1.0 - base)])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: tails of beta-binomial and binomial laws, elementary, summed in Python: under Beta(2, 998) 10 or more of 500 come with 1.237e-4; after 0 of 3,000, Beta(2, 3998), 10 or
    /// more of the next 3,000 with 0.0014, 5 or more with 0.056; 15 or more of 33 at odds of 1/4 with 0.0084, 12 or more of 20 with 9.35e-4. Tolerance: the last digit.
    #[test]
    fn val_counts_at_odds_with_a_forecast() {
        use crate::numeric::counts::binomial_tails;
        for (passed, b, missed, want, error) in [
            (500, 998.0, 10, 1.237e-4, 2e-6),
            (3000, 3998.0, 10, 0.0014, 5e-5),
            (3000, 3998.0, 5, 0.056, 5e-4),
        ] {
            let tail = Predictive::beta(passed, 2.0, b).tail((missed, missed));
            assert!((0.5 * tail - want).abs() < error, "{missed} of {passed}: {tail}");
        }
        for (x, n, want, error) in [(15, 33, 0.0084, 5e-5), (12, 20, 9.35e-4, 5e-7)] {
            let above = binomial_tails(x - 1, n, 0.25).1;
            assert!((above - want).abs() < error, "{x} of {n}: {above}");
        }
    }

    /// Source: beta-binomial distribution of Beta(2, 998), elementary, evaluated in Python (log gamma). Tolerance: 2e-5 (the list ends at 0.999999).
    #[test]
    fn val_scores_of_a_beta_binomial() {
        for (x, n, log_score) in [
            (0, 2500, 2.507_671),
            (3, 1500, 1.977_763),
            (9, 4000, 2.923_381),
            (5, 2500, 2.395_127),
            (14, 3000, 4.091_422),
        ] {
            let forecast = Predictive::beta(n, 2.0, 998.0);
            assert!((forecast.log_score((x, x)) - log_score).abs() < 2e-5, "{x} of {n}");
        }
        // 10 of 500: P(X ≥ 10) = 1.237e-4, twice that: outside the beliefs.
        let tail = Predictive::beta(500, 2.0, 998.0).tail((10, 10));
        assert!((tail - 2.0 * 1.237e-4).abs() < 4e-6, "{tail}");
        // 0/3000 then 30/3000 learned: Beta(2, 3998): P(X ≥ 30) is hardly seen.
        assert!(Predictive::beta(3000, 2.0, 3998.0).tail((30, 30)) < 1e-5);
    }

    /// Source: A. Murphy 1973, with f = 0.9 four times, 0.7 and 0.5 three times each and o = 1110 110 100, by hand: 0.226 = 0.0176667 − 0.0316667 + 0.24. Tolerance: 1e-6.
    #[test]
    fn val_brier_and_its_parts() {
        let told: Vec<(f64, bool)> = [0.9, 0.9, 0.9, 0.9, 0.7, 0.7, 0.7, 0.5, 0.5, 0.5]
            .into_iter()
            .zip([true, true, true, false, true, true, false, true, false, false])
            .collect();
        let (score, [reliability, resolution, uncertainty]) = brier(&told);
        assert!((score - 0.226).abs() < 1e-9);
        assert!((reliability - 0.017_666_7).abs() < 1e-6 && (resolution - 0.031_666_7).abs() < 1e-6);
        assert!((uncertainty - 0.24).abs() < 1e-12);
    }

    /// Source: the same beta-binomials with Beta(2, 998 m), m = 1/4, 1/2, 2, 4, in Python: running product over the five races 0.226698. Tolerance: 2e-3 relative, by
    /// the moments of lists that end at 0.999999.
    #[test]
    fn val_e_value() {
        let product: f64 = [(0, 2500), (3, 1500), (9, 4000), (5, 2500), (14, 3000)]
            .into_iter()
            .map(|(x, n)| Predictive::beta(n, 2.0, 998.0).e_factor((x, x)))
            .product();
        assert!((product / 0.226_698 - 1.0).abs() < 2e-3, "{product}");
    }

    /// Source: probability integral transforms of the same five under Beta(2, 998): shares of five equal bins 0.2, 0, 0.222995, 0.377005, 0.2, in Python. Tolerance: 1e-5.
    #[test]
    fn val_transforms() {
        let mut bins = [0.0; 5];
        for (x, n) in [(0, 2500), (3, 1500), (9, 4000), (5, 2500), (14, 3000)] {
            let (low, high) = Predictive::beta(n, 2.0, 998.0).transform((x, x));
            for (i, bin) in bins.iter_mut().enumerate() {
                let (from, to) = (0.2 * i as f64, 0.2 * (i + 1) as f64);
                *bin += 0.2 * ((high.min(to) - low.max(from)).max(0.0) / (high - low));
            }
        }
        for (got, want) in bins.iter().zip([0.2, 0.0, 0.222_995, 0.377_005, 0.2]) {
            assert!((got - want).abs() < 1e-5, "{bins:?}");
        }
    }

    /// A part of the runners: thinned, so that a binomial list stays binomial.
    #[test]
    fn a_part_of_the_runners_is_thinned() {
        let list: Vec<f64> = (0..60).map(|k| binomial_pmf(k, 4000, 0.003)).collect();
        let part = Predictive::stored(4000, &list, 1000).unwrap();
        for k in 0..12 {
            assert!((part.odds[k as usize] - binomial_pmf(k, 1000, 0.003)).abs() < 2e-3);
        }
        assert!((part.mean() - 3.0).abs() < 1e-6);
        let refused = |runners, list: &[f64], passed| Predictive::stored(runners, list, passed).unwrap_err();
        assert!(refused(4000, &list, 4001).contains("store one for as many at least"));
        for wrong in [&[][..], &[1.1], &[0.6, 0.6], &[-0.1, 0.5], &[f64::NAN], &[0.1; 5]] {
            let runners = if wrong.len() == 5 { 3 } else { 4000 };
            assert!(refused(runners, wrong, 3).contains("no list of probabilities"), "{wrong:?}");
        }
    }
}
