//! From the rounds of a crossing to its miss odds, with the sample's offset integrated out.
//!
//! A round with forward margin M (before the sample's own offset δ) is awake if δ ≤ M. Sorted by falling margin,
//! the miss odds as a function of δ are a staircase: 1 above M₁, then Q_j = Π_{i≤j}(1 − p_i) between M_{j+1} and M_j.
//! Their mean over the law of δ is exact, so no passing is tossed and few are 0 or 1.
//! First cause, also exact: asleep = the stair above M₁ (never in reach if even the bare direct ray in free air would not wake the tag);
//! awake but not heard = Π(1 − heard); heard but crowded out = the rest.

use super::draw::OffsetLaw;
use crate::random::quantity::Quantity;
use crate::random::transform::normal_cdf;

/// One round of one line: what is left of chance once the draw is known.
#[derive(Clone, Copy, Debug)]
pub struct Round {
    /// Incident power less threshold, without the sample's offset, dB.
    pub margin_db: f64,
    /// 1 − heard·alone.
    pub missed: f64,
    /// 1 − heard.
    pub unheard: f64,
}

/// Miss odds of a crossing, split by first cause; the four causes sum to `miss`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Score {
    pub miss: f64,
    pub never_in_reach: f64,
    pub asleep: f64,
    pub unheard: f64,
    pub crowded_out: f64,
}

/// Mean miss odds over the offset. `rounds` is sorted in place by falling margin.
pub fn score(rounds: &mut [Round], law: OffsetLaw, in_reach: bool) -> Score {
    sort(rounds);
    score_sorted(rounds, |margin_db| law.odds_above(margin_db), in_reach)
}

/// By falling margin.
pub fn sort(rounds: &mut [Round]) {
    rounds.sort_unstable_by(|a, b| b.margin_db.total_cmp(&a.margin_db));
}

/// The steps of the miss odds over the offset δ, from `rounds` by falling margin: `step(M, h)` where the odds rise by h as δ rises past M.
/// Returns the odds that stay however low the offset.
pub fn each_step(rounds: &[Round], mut step: impl FnMut(f64, f64)) -> f64 {
    let mut missed = 1.0;
    for round in rounds {
        let next = missed * round.missed;
        step(round.margin_db, missed - next);
        missed = next;
        if missed < NOTHING_LEFT {
            break;
        }
    }
    missed
}

/// `score` of rounds by falling margin, `above(M)` the probability that the offset exceeds M.
pub fn score_sorted(rounds: &[Round], above_of: impl Fn(f64) -> f64, in_reach: bool) -> Score {
    let mut out = Score::default();
    // Odds that δ lies above the margin at hand.
    let mut above = rounds.first().map_or(1.0, |r| above_of(r.margin_db));
    let lost = above;
    if in_reach {
        out.asleep = lost
    } else {
        out.never_in_reach = lost
    }
    out.miss = lost;
    let (mut missed, mut unheard) = (1.0, 1.0);
    for (i, round) in rounds.iter().enumerate() {
        missed *= round.missed;
        unheard *= round.unheard;
        // Once nothing is left to miss the remaining stairs are flat.
        if missed < NOTHING_LEFT {
            break;
        }
        let next_above = rounds.get(i + 1).map_or(1.0, |r| above_of(r.margin_db));
        let width = (next_above - above).max(0.0);
        above = next_above;
        out.miss += width * missed;
        out.unheard += width * unheard;
        out.crowded_out += width * (missed - unheard).max(0.0);
    }
    out
}

/// Miss odds below this count as none: the bound on the error of one passing.
pub const NOTHING_LEFT: f64 = 1e-10;

impl OffsetLaw {
    /// Odds that the offset exceeds `margin_db`.
    pub fn odds_above(&self, margin_db: f64) -> f64 {
        match self.0 {
            // The upper tail directly: 1 − Φ would lose it to rounding.
            Quantity::Normal { mean, sd } if sd > 0.0 => normal_cdf((mean - margin_db) / sd),
            other => 1.0 - other.cdf(margin_db),
        }
    }
}

/// As `each_step`, for the odds that at least one of several groups of rounds (timing points) is missed; each element carries its group.
/// Sorted in place.
pub fn each_step_of_any(rounds: &mut [(u16, Round)], groups: usize, mut step: impl FnMut(f64, f64)) -> f64 {
    rounds.sort_unstable_by(|a, b| b.1.margin_db.total_cmp(&a.1.margin_db));
    let mut missed = vec![1.0_f64; groups];
    let mut any = 1.0;
    for (group, round) in rounds.iter() {
        missed[*group as usize] *= round.missed;
        let next = 1.0 - missed.iter().map(|q| 1.0 - q).product::<f64>();
        step(round.margin_db, any - next);
        any = next;
    }
    any
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(margin_db: f64, heard: f64, alone: f64) -> Round {
        Round { margin_db, missed: 1.0 - heard * alone, unheard: 1.0 - heard }
    }

    #[test]
    fn one_certain_round_is_a_normal_tail() {
        let law = OffsetLaw(Quantity::Normal { mean: 0.0, sd: 0.8 });
        for margin in [-2.0, 0.0, 1.5, 4.0] {
            let s = score(&mut [round(margin, 1.0, 1.0)], law, true);
            assert!((s.miss - normal_cdf(-margin / 0.8)).abs() < 1e-12);
            assert_eq!((s.asleep, s.unheard, s.crowded_out), (s.miss, 0.0, 0.0));
        }
    }

    /// Source: k independent chances, 1 − (1 − p)^k, elementary. Tolerance: 1e-12.
    #[test]
    fn val_independent_chances() {
        let law = OffsetLaw(Quantity::Pinned(0.0));
        for k in [1usize, 5, 20] {
            let mut rounds = vec![round(3.0, 0.5, 0.6); k];
            let s = score(&mut rounds, law, true);
            assert!((s.miss - libm::pow(0.7, k as f64)).abs() < 1e-12);
            assert!((s.unheard - libm::pow(0.5, k as f64)).abs() < 1e-12);
            assert!((s.miss - s.unheard - s.crowded_out).abs() < 1e-12);
        }
    }

    #[test]
    fn staircase_equals_brute_force_over_the_offset() {
        let law = OffsetLaw(Quantity::Normal { mean: 0.2, sd: 1.1 });
        let rounds: Vec<Round> = (0..12)
            .map(|i| round(f64::from((i * 7) % 12) * 0.4 - 2.0, 0.3 + 0.05 * f64::from(i), 0.8))
            .collect();
        let n = 200_000;
        let brute: f64 = (0..n)
            .map(|i| {
                let offset = law.0.quantile((f64::from(i) + 0.5) / f64::from(n));
                rounds.iter().filter(|r| offset <= r.margin_db).map(|r| r.missed).product::<f64>()
            })
            .sum::<f64>()
            / f64::from(n);
        let s = score(&mut rounds.clone(), law, true);
        assert!((s.miss - brute).abs() < 1e-5, "{} {brute}", s.miss);
        assert!((s.miss - s.asleep - s.unheard - s.crowded_out).abs() < 1e-12);
        let mut grouped: Vec<(u16, Round)> = rounds.iter().map(|&r| (0, r)).collect();
        let (mut by_steps, mut any) = (0.0, 0.0);
        let mut in_order = rounds.clone();
        sort(&mut in_order);
        by_steps += each_step(&in_order, |margin, rise| any += rise * law.odds_above(margin));
        by_steps += any;
        assert!((by_steps - s.miss).abs() < 1e-12, "{by_steps} {}", s.miss);
        let mut any = 0.0;
        let left = each_step_of_any(&mut grouped, 1, |margin, rise| any += rise * law.odds_above(margin));
        assert!((left + any - s.miss).abs() < 1e-9);
    }
}
