//! Fit of the importance mixture to weighted pilot points.
//!
//! The best density is proportional to miss odds times natural density. Cross-entropy (R. Y. Rubinstein, D. P. Kroese, The
//! Cross-Entropy Method, 2004) fits a mixture to it by weighted EM. Three guards against a fit that looks better than it
//! is: (a) means are pulled towards 0 and variances towards their average by as much as their own noise explains (W. James, C.
//! Stein, Estimation with quadratic loss, 1961), without which 50 dimensions of noise ruin the weights; (b) the number of
//! Gaussians and the kind of spread are chosen by the second moment of the weights on points which were not used for
//! the fit; (c) spreads stay within 0.85 to 1.6, so that no tail is much thinner than the natural one.

use super::explore::{Shot, effective_count};
use super::mixture::{Component, Mixture};
use super::scan::solve;
use crate::numeric::elementary::exp;

const SD_MIN: f64 = 0.85;
const SD_MAX: f64 = 1.6;
const EM_STEPS: usize = 12;
const COUNTS: [usize; 6] = [1, 2, 3, 4, 6, 8];
/// A Gaussian with fewer effective points is dropped.
const LEAST_POINTS: f64 = 5.0;
/// What a new fit keeps of the mixture before it, and the share under which a Gaussian is let go.
const OLD_SHARE: f64 = 0.1;
const LEAST_SHARE: f64 = 2e-4;
/// Odds below this say nothing about the misses.
const LEAST_ODDS: f64 = 1e-14;
/// More points than this are thinned out evenly before a fit.
const MOST_POINTS: usize = 2000;

/// How the spread of a Gaussian may differ from the natural 1.
#[derive(Clone, Copy, PartialEq)]
enum Spread {
    Unit,
    Common,
    PerAxis,
}

/// Points of one stratum that matter: position, W·v (what is fitted) and W·v² (what the second moment needs).
struct Data<'a> {
    z: Vec<&'a [f64]>,
    mass: Vec<f64>,
    second: Vec<f64>,
}

/// Relative second moment of the weights minus one: n · CoV² of an estimate with this mixture.
pub fn relative_variance(shots: &[Shot], weights: &[f64], values: &[f64], mixture: &Mixture) -> f64 {
    let (mut first, mut second) = (0.0, 0.0);
    for ((shot, weight), value) in shots.iter().zip(weights).zip(values) {
        if *value > 0.0 {
            first += weight * value;
            second += weight * value * value / mixture.ratio(shot.stratum, &shot.z);
        }
    }
    if first > 0.0 { (second / (first * first) - 1.0).max(0.0) } else { f64::INFINITY }
}

/// The better of `current` and a new fit, stratum by stratum.
pub fn fit(shots: &[Shot], weights: &[f64], values: &[f64], current: &Mixture, natural: f64) -> Mixture {
    let strata = &current.strata;
    let mut components = Vec::new();
    let tilt = tilt(shots, weights, values, strata.len());
    for stratum in 0..strata.len() {
        let mut data = Data { z: Vec::new(), mass: Vec::new(), second: Vec::new() };
        for ((shot, weight), value) in shots.iter().zip(weights).zip(values) {
            if shot.stratum == stratum && *value > 0.0 {
                data.z.push(&shot.z);
                data.mass.push(weight * value);
                data.second.push(weight * value * value);
            }
        }
        // Shares in proportion to the mass of the stratum; near enough to the best allocation, and never zero.
        let mass: f64 = data.mass.iter().sum();
        let data = data.thinned(MOST_POINTS);
        if mass > 0.0 {
            let old = current.components.iter().filter(|component| component.stratum == stratum);
            let fitted = fit_stratum(&data, old.cloned().collect(), tilt.as_ref(), natural);
            components.extend(fitted.into_iter().map(|mut component| {
                component.stratum = stratum;
                component.share *= mass;
                component
            }));
        }
    }
    Mixture::normalised(natural, strata, components)
}

/// Gaussians whose shares add up to 1.
fn fit_stratum(
    data: &Data,
    mut old: Vec<Component>,
    tilt: Option<&Component>,
    natural: f64,
) -> Vec<Component> {
    let total: f64 = old.iter().map(|component| component.share).sum();
    old.iter_mut().for_each(|component| component.share /= total);
    let few = effective_count(&data.mass, &vec![1.0; data.mass.len()]) < 4.0 * LEAST_POINTS;
    let folds = [0, 1].map(|parity| data.half(parity));
    let loss = |test: &Data, components: &[Component]| test.second_moment(components, natural);
    let mut best = (f64::INFINITY, None);
    // The tilt comes from all strata and hardly knows the points of this one, so it needs no fold of its own.
    if let Some(tilt) = tilt {
        let tilted = blend(vec![tilt.clone()], &old);
        let both = loss(&folds[0], &tilted) + loss(&folds[1], &tilted);
        if old.is_empty() || both < loss(&folds[0], &old) + loss(&folds[1], &old) {
            old = tilted;
        }
    }
    if few && !old.is_empty() {
        return old;
    }
    if !old.is_empty() {
        best.0 = loss(&folds[0], &old) + loss(&folds[1], &old);
    }
    let mut idle = 0;
    for count in COUNTS {
        let starts = [starts(&folds[0], count), starts(&folds[1], count)];
        if starts.iter().any(|start| start.len() < count) {
            break;
        }
        let before = best.0;
        for spread in [Spread::Unit, Spread::Common, Spread::PerAxis] {
            let trained = |fold: usize| blend(em(&folds[fold], starts[fold].clone(), spread), &old);
            let both = loss(&folds[1], &trained(0)) + loss(&folds[0], &trained(1));
            // A richer mixture must earn its keep.
            if both < 0.97 * best.0 {
                best = (both, Some((count, spread)));
            }
        }
        idle = if best.0 < before { 0 } else { idle + 1 };
        if idle == 2 {
            break;
        }
    }
    match best.1 {
        Some((count, spread)) => blend(em(data, starts(data, count), spread), &old),
        None if old.is_empty() => em(data, starts(data, 1), Spread::Unit),
        None => old,
    }
}

/// The Gaussian that fits where the logarithm of the odds is a straight function of z: odds ∝ exp(b·z) times the natural
/// density is the natural density moved by b (exponential tilting; S. Asmussen, P. Glynn, Stochastic Simulation, 2007, chapter V.1).
/// b comes from least squares over all strata with a level of its own for each, weighted by the root of what a point contributes, so
/// that it rests on far more points than carry the misses.
fn tilt(shots: &[Shot], weights: &[f64], values: &[f64], strata: usize) -> Option<Component> {
    let mut rows: Vec<(&Shot, f64, f64)> = Vec::new();
    for ((shot, weight), value) in shots.iter().zip(weights).zip(values) {
        if *value > LEAST_ODDS && *value < 1.0 {
            rows.push((shot, weight * value.sqrt(), libm::log(*value)));
        }
    }
    let dims = shots.first()?.z.len();
    let mass: Vec<f64> = rows.iter().map(|row| row.1).collect();
    let points = effective_count(&mass, &vec![1.0; mass.len()]);
    if points < 2.0 * dims as f64 {
        return None;
    }
    // Means by stratum are taken out: what is left has no level.
    let mut middle = vec![(0.0, 0.0, vec![0.0; dims]); strata];
    for (shot, mass, y) in &rows {
        let own = &mut middle[shot.stratum];
        own.0 += mass;
        own.1 += mass * y;
        own.2.iter_mut().zip(&shot.z).for_each(|(sum, z)| *sum += mass * z);
    }
    let total: f64 = mass.iter().sum();
    let mut moments = vec![vec![0.0; dims]; dims];
    let mut right = vec![0.0; dims];
    for (shot, mass, y) in &rows {
        let (own, share) = (&middle[shot.stratum], mass / total);
        let y = y - own.1 / own.0;
        let z: Vec<f64> = shot.z.iter().zip(&own.2).map(|(z, sum)| z - sum / own.0).collect();
        for (i, row) in moments.iter_mut().enumerate() {
            right[i] += share * y * z[i];
            for (sum, other) in row.iter_mut().zip(&z).take(i + 1) {
                *sum += share * z[i] * other;
            }
        }
    }
    // A ridge of one over the number of points keeps noise small.
    moments.iter_mut().enumerate().for_each(|(i, row)| row[i] += dims as f64 / points);
    let mean = solve(moments, right);
    Some(Component::new(0, 1.0, mean, vec![1.0; dims]))
}

/// A fit with a tenth of the mixture before it: a small region seen earlier must not be lost to a round that had no
/// point there. What is not confirmed fades by ten each round.
fn blend(mut fresh: Vec<Component>, old: &[Component]) -> Vec<Component> {
    if !old.is_empty() {
        fresh.iter_mut().for_each(|component| component.share *= 1.0 - OLD_SHARE);
        let kept = old.iter().filter(|component| component.share * OLD_SHARE > LEAST_SHARE);
        fresh.extend(kept.cloned().map(|mut component| {
            component.share *= OLD_SHARE;
            component
        }));
    }
    fresh
}

impl<'a> Data<'a> {
    fn half(&self, parity: usize) -> Data<'a> {
        self.every(2, parity)
    }

    fn thinned(self, most: usize) -> Data<'a> {
        let step = self.z.len().div_ceil(most).max(1);
        if step == 1 { self } else { self.every(step, 0) }
    }

    fn every(&self, step: usize, first: usize) -> Data<'a> {
        let pick = |values: &[f64]| values.iter().copied().skip(first).step_by(step).collect();
        Data {
            z: self.z.iter().copied().skip(first).step_by(step).collect(),
            mass: pick(&self.mass),
            second: pick(&self.second),
        }
    }

    fn second_moment(&self, components: &[Component], natural: f64) -> f64 {
        // Within a stratum of weight w and mass m the Gaussians have density ratio m/w times larger than here: the
        // natural share is what matters for the tail, so it is kept as it is.
        let ratio = |z: &[f64]| {
            let sum: f64 = components.iter().map(|c| c.share * exp(c.ln_ratio(z))).sum();
            natural + (1.0 - natural) * sum
        };
        self.z.iter().zip(&self.second).map(|(z, second)| second / ratio(z)).sum()
    }
}

/// Starting points: again and again the failing point which is least covered by the Gaussians so far.
fn starts(data: &Data, count: usize) -> Vec<Component> {
    let dims = data.z.first().map_or(0, |z| z.len());
    let mut components: Vec<Component> = Vec::new();
    for _ in 0..count {
        let gap = |z: &[f64]| {
            let norm2: f64 = z.iter().map(|x| x * x).sum();
            // Natural density over the Gaussians' (with a floor so that the first choice is the nearest point).
            let own: f64 = components
                .iter()
                .map(|c| {
                    let distance2: f64 = z.iter().zip(c.mean()).map(|(x, m)| (x - m) * (x - m)).sum();
                    exp(-0.5 * distance2)
                })
                .sum();
            -0.5 * norm2 - libm::log(own + 1e-6)
        };
        let farthest = (0..data.z.len()).max_by(|&a, &b| gap(data.z[a]).total_cmp(&gap(data.z[b])));
        if let Some(point) = farthest {
            let mean = data.z[point].to_vec();
            components.push(Component::new(0, 1.0 / count as f64, mean, vec![1.0; dims]));
        }
    }
    components
}

fn em(data: &Data, mut components: Vec<Component>, spread: Spread) -> Vec<Component> {
    for step in 0..EM_STEPS {
        let mut shares = vec![Vec::with_capacity(data.z.len()); components.len()];
        let ln_shares: Vec<f64> = components.iter().map(|c| libm::log(c.share)).collect();
        let mut odds = vec![0.0; components.len()];
        for (z, mass) in data.z.iter().zip(&data.mass) {
            for ((log, c), ln_share) in odds.iter_mut().zip(&components).zip(&ln_shares) {
                *log = ln_share + c.ln_ratio(z);
            }
            let top = odds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            odds.iter_mut().for_each(|log| *log = exp(*log - top));
            let sum: f64 = odds.iter().sum();
            for (list, odds) in shares.iter_mut().zip(&odds) {
                list.push(mass * odds / sum);
            }
        }
        let total: f64 = data.mass.iter().sum();
        let last = step + 1 == EM_STEPS;
        let updated: Vec<Component> = components
            .iter()
            .zip(&shares)
            .filter(|(_, own)| effective_count(own, &vec![1.0; own.len()]) >= LEAST_POINTS)
            .map(|(_, own)| gaussian(data, own, total, if last { spread } else { Spread::Unit }))
            .collect();
        if updated.is_empty() {
            break;
        }
        components = updated;
    }
    let total: f64 = components.iter().map(|component| component.share).sum();
    components.iter_mut().for_each(|component| component.share /= total);
    components
}

/// Weighted mean and spread, shrunk by their own noise.
fn gaussian(data: &Data, own: &[f64], total: f64, spread: Spread) -> Component {
    let dims = data.z[0].len();
    let sum: f64 = own.iter().sum();
    let points = effective_count(own, &vec![1.0; own.len()]);
    let (mut mean, mut variance) = (vec![0.0; dims], vec![0.0; dims]);
    for (z, weight) in data.z.iter().zip(own) {
        mean.iter_mut().zip(*z).for_each(|(mean, x)| *mean += weight * x);
    }
    mean.iter_mut().for_each(|mean| *mean /= sum);
    for (z, weight) in data.z.iter().zip(own) {
        for ((variance, x), mean) in variance.iter_mut().zip(*z).zip(&mean) {
            *variance += weight * (x - mean) * (x - mean);
        }
    }
    variance.iter_mut().for_each(|variance| *variance /= sum);
    let noise: f64 = variance.iter().sum::<f64>() / points;
    let length2: f64 = mean.iter().map(|x| x * x).sum();
    let keep = if length2 > 0.0 { (1.0 - noise / length2).max(0.0) } else { 0.0 };
    mean.iter_mut().for_each(|x| *x *= keep);
    let common = variance.iter().sum::<f64>() / dims as f64;
    let scatter: f64 = variance.iter().map(|v| (v - common) * (v - common)).sum();
    let expected = dims as f64 * 2.0 * common * common / points;
    let trust = if scatter > 0.0 { (1.0 - expected / scatter).max(0.0) } else { 0.0 };
    let sd = variance
        .iter()
        .map(|v| match spread {
            Spread::Unit => 1.0,
            Spread::Common => common.sqrt().clamp(SD_MIN, SD_MAX),
            Spread::PerAxis => (common + trust * (v - common)).sqrt().clamp(SD_MIN, SD_MAX),
        })
        .collect();
    Component::new(0, sum / total, mean, sd)
}
