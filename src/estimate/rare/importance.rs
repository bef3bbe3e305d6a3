//! Defensive importance sampling in two stages.
//!
//! Pilot: natural points, line scans, then rounds of (fit a mixture, draw from it) until the misses themselves are plenty and the
//! expected variance no longer falls. Second stage: a fixed number of points from the frozen mixture, which keeps a share
//! of 0.1 of the natural density, in independent replications.
//!
//! What could still go wrong, and what is watched:
//! - a region the mixture does not cover: its misses come from the natural share and weigh up to 10. Watched: the effective number
//!   of misses, the largest single share, the share of the estimate carried by uncovered points;
//! - a pilot that saw too little: the variance found in the second stage is compared with the expected one;
//! - a slip in the weights: the rate at a lower bar, where plain sampling has hits, is compared with plain sampling.
//!
//! A region which neither scan, pilot nor natural share ever touched cannot be seen by any of these.

use super::explore::{Aim, Pilot, effective_count, to_cube};
use super::fit::{fit, relative_variance};
use super::interval::{FEW, from_replications};
use super::mixture::{Component, Mixture};
use super::scan::scan;
use super::tally::WeightedTally;
use super::watch::{BrokenOff, Halt, Watch, so_far};
use super::{CrossCheck, Estimate, Method, Problem, Request};
use crate::random::transform::normal_cdf;
use crate::random::{Purpose, Stream};

/// Share of the natural density in the second stage.
pub const NATURAL_SHARE: f64 = 0.1;
const PILOT_NATURAL_SHARE: f64 = 0.2;
const SECOND_STAGE_PLACE: u64 = 5;
/// Effective misses among natural points with which no search is needed, and with which a longer look is worth it.
const PLENTY: f64 = 20.0;
const SOME: f64 = 4.0;
/// How often the look is doubled.
const LOOKS: usize = 2;
/// Points of the rehearsal of the frozen mixture.
const REHEARSAL: u64 = 300;
/// Rounds without progress after which flattened odds must do.
const PATIENCE: usize = 5;
const MAX_ROUNDS: usize = 30;
/// Share of natural points above the bar of the cross-check, and fewest points above it.
const CHECK_SHARE: f64 = 0.02;
const CHECK_POINTS: f64 = 15.0;
const LARGEST_SHARE_LIMIT: f64 = 0.2;
const UNCOVERED_LIMIT: f64 = 0.25;

/// A mixture ready for the second stage, or why there is none.
pub struct Prepared {
    pub mixture: Mixture,
    /// Expected n · CoV².
    pub variance: f64,
    /// Weighted misses of fresh points of the mixture.
    pub rehearsal: WeightedTally,
    pub check: Check,
}

pub struct Outcome {
    pub estimate: Estimate,
    /// Why the estimate is not to be trusted.
    pub doubts: Vec<String>,
}

/// Natural points, equally many in each stratum with weight and as many again by weight.
pub fn first_look<P: Problem>(pilot: &mut Pilot<P>, n: u64) -> Result<(), Halt> {
    let (strata, dims) = (pilot.problem.strata().to_vec(), pilot.problem.lead_dims());
    let component = |stratum| Component::new(stratum, 1.0, vec![0.0; dims], vec![1.0; dims]);
    let components = if strata.len() > 1 {
        (0..strata.len()).filter(|&stratum| strata[stratum] > 0.0).map(component).collect()
    } else {
        Vec::new()
    };
    pilot.sample(&Mixture::normalised(0.5, &strata, components), n)
}

/// Points of the first look.
pub fn first_points<P: Problem>(problem: &P) -> u64 {
    (300 + 100 * (problem.strata().len() as u64 - 1)).max(6 * problem.lead_dims() as u64)
}

/// Search for the failing regions. The pilot must hold a first look. An inner error says why none was placed.
pub fn prepare<P: Problem>(pilot: &mut Pilot<P>, effort: u64) -> Result<Result<Prepared, String>, Halt> {
    let dims = pilot.problem.lead_dims() as u64;
    let per_round = effort * 200.max(4 * dims);
    let enough = (effort as f64) * 40_f64.max(dims as f64);
    let strata = pilot.problem.strata().to_vec();
    // Where the odds are smooth, natural points see the misses by themselves and nothing needs to be searched for.
    let mut seen = natural_misses(pilot);
    for _ in 0..LOOKS {
        if !(SOME..PLENTY).contains(&seen) {
            break;
        }
        let more = pilot.shots.len() as u64;
        first_look(pilot, more)?;
        seen = natural_misses(pilot);
    }
    let check = Check::of(pilot);
    if seen < PLENTY {
        scan(pilot)?;
    }
    let mut mixture = seeds(pilot, &strata);
    let mut variance = f64::INFINITY;
    let mut settled = 0;
    let (mut last, mut stuck) = (Aim::Bar(f64::NEG_INFINITY), 0);
    for _ in 0..MAX_ROUNDS {
        if !mixture.components.is_empty() {
            pilot.sample(&mixture, per_round)?;
        }
        let weights = pilot.weights();
        let target = pilot.target(&weights, enough);
        let mut next = fit(&pilot.shots, &weights, &target.values, &mixture, PILOT_NATURAL_SHARE);
        let rate: f64 = weights.iter().zip(&target.values).map(|(w, v)| w * v).sum();
        if target.aim == Aim::Misses {
            cover(pilot, &mut next, rate);
            let expected = relative_variance(&pilot.shots, &weights, &target.values, &next);
            settled += 1;
            let stalled = settled >= 2 && expected > 0.8 * variance;
            variance = expected;
            mixture = next;
            if stalled || settled >= 4 {
                return freeze(pilot, mixture, effort, check).map(Ok);
            }
        } else {
            stuck = if target.aim.beyond(&last) { 0 } else { stuck + 1 };
            if stuck == 0 {
                last = target.aim;
            }
            match target.aim {
                Aim::Power(_) if stuck == PATIENCE => return freeze(pilot, mixture, effort, check).map(Ok),
                Aim::Bar(_) if stuck == 3 => break,
                _ => {}
            }
            // While the aim still rises, the seeds found by scans stay in.
            cover(pilot, &mut next, 0.0);
            mixture = next;
        }
    }
    Ok(Err(format!("{} pilot passings held too few misses to place an importance density", pilot.calls)))
}

impl Prepared {
    /// Try `n` more fresh points of the frozen mixture. The expected variance is that by all points so far, which the mixture
    /// was fitted to, or that by fresh ones, whichever is larger.
    pub fn rehearse<P: Problem>(&mut self, pilot: &mut Pilot<P>, n: u64) -> Result<(), Halt> {
        let first = pilot.shots.len();
        pilot.sample(&self.mixture, n)?;
        for shot in &pilot.shots[first..] {
            self.rehearsal.add(shot.score.miss_odds / self.mixture.ratio(shot.stratum, &shot.z));
        }
        let WeightedTally { n, sum, sum_squares, .. } = self.rehearsal;
        let alone = if sum > 0.0 { n as f64 * sum_squares / (sum * sum) - 1.0 } else { 0.0 };
        let odds: Vec<f64> = pilot.shots.iter().map(|shot| shot.score.miss_odds).collect();
        self.variance = alone.max(relative_variance(&pilot.shots, &pilot.weights(), &odds, &self.mixture));
        Ok(())
    }
}

/// Effective number of misses among the points so far.
fn natural_misses<P: Problem>(pilot: &Pilot<P>) -> f64 {
    let odds: Vec<f64> = pilot.shots.iter().map(|shot| shot.score.miss_odds).collect();
    effective_count(&pilot.weights(), &odds)
}

/// The mixture of the second stage, and what to expect of it.
fn freeze<P: Problem>(
    pilot: &mut Pilot<P>,
    fitted: Mixture,
    effort: u64,
    check: Check,
) -> Result<Prepared, Halt> {
    let mixture = Mixture::normalised(NATURAL_SHARE, &fitted.strata, fitted.components);
    let mut ready = Prepared { mixture, variance: f64::INFINITY, rehearsal: WeightedTally::default(), check };
    ready.rehearse(pilot, effort * REHEARSAL)?;
    Ok(ready)
}

/// What natural points alone say at a bar that a few in a hundred of them exceed.
#[derive(Clone, Copy)]
pub struct Check {
    bar: f64,
    plain: f64,
    points: u64,
}

impl Check {
    fn of<P: Problem>(pilot: &Pilot<P>) -> Check {
        let weights = pilot.weights();
        let mut order: Vec<usize> = (0..pilot.shots.len()).collect();
        let severity = |shot: usize| pilot.shots[shot].score.severity;
        order.sort_by(|&a, &b| severity(b).total_cmp(&severity(a)));
        let points = order.len() as u64;
        let wanted = CHECK_SHARE.max(CHECK_POINTS / points as f64);
        let mut sum = 0.0;
        for shot in order {
            sum += weights[shot];
            if sum >= wanted {
                // All that reach the bar count, also those that tie with it.
                let bar = severity(shot);
                let above = (0..weights.len()).filter(|&shot| severity(shot) >= bar);
                return Check { bar, plain: above.map(|shot| weights[shot]).sum(), points };
            }
        }
        Check { bar: f64::NEG_INFINITY, plain: 1.0, points }
    }
}

/// First mixture: Gaussians at the scan points that matter.
fn seeds<P: Problem>(pilot: &Pilot<P>, strata: &[f64]) -> Mixture {
    let mut mixture = Mixture::normalised(1.0, strata, Vec::new());
    cover(pilot, &mut mixture, 0.0);
    Mixture::normalised(PILOT_NATURAL_SHARE, strata, mixture.components)
}

/// Add a Gaussian at scan points which the mixture hardly covers, most important first. The importance of a scan point
/// is the natural mass beyond it, w · odds · Φ(−|z|); `rate` is the miss rate known so far.
fn cover<P: Problem>(pilot: &Pilot<P>, mixture: &mut Mixture, rate: f64) {
    let strata = mixture.strata.clone();
    let mass = |shot: &super::explore::Shot| {
        let radius = shot.z.iter().map(|x| x * x).sum::<f64>().sqrt();
        strata[shot.stratum] * shot.score.miss_odds * normal_cdf(-radius)
    };
    let mut order: Vec<&super::explore::Shot> = pilot.found.iter().collect();
    order.sort_by(|a, b| mass(b).total_cmp(&mass(a)));
    let Some(best) = order.first().map(|shot| mass(shot).max(rate)) else { return };
    let mut added = 0;
    for shot in order {
        if added == 12 || mass(shot) < 0.003 * best {
            break;
        }
        let radius2: f64 = shot.z.iter().map(|x| x * x).sum();
        // A Gaussian centred on the point would have ratio share · exp(r²/2) there.
        let own = libm::log(mixture.component_ratio(shot.stratum, &shot.z).max(1e-300));
        if own > 0.5 * radius2 - libm::log(100.0) - libm::log(1.0 / strata[shot.stratum]) {
            continue;
        }
        let total: f64 = mixture.components.iter().map(|component| component.share).sum();
        let share = (mass(shot) / best).clamp(0.05, 1.0) * if total > 0.0 { 0.2 * total } else { 1.0 };
        mixture.components.push(Component::new(shot.stratum, share, shot.z.clone(), vec![1.0; shot.z.len()]));
        added += 1;
    }
    if added > 0 {
        let natural = if mixture.natural < 1.0 { mixture.natural } else { PILOT_NATURAL_SHARE };
        *mixture = Mixture::normalised(natural, &strata, std::mem::take(&mut mixture.components));
    }
}

/// Tallies of a replication: the weighted misses, the weight above the bar of the cross-check, the misses of uncovered points.
const MISSES: usize = 0;
const CHECK: usize = 1;
const UNCOVERED: usize = 2;

/// The second stage of try `number` with `calls` points.
pub fn second_stage<P: Problem>(
    problem: &P,
    request: &Request,
    ready: &Prepared,
    calls: u64,
    number: u64,
    watch: &mut Watch,
) -> Result<Outcome, BrokenOff> {
    let replications = request.replications as u64;
    let each = (calls / replications).max(1);
    let work = |replication: u64, within: std::ops::Range<u64>, sums: &mut [WeightedTally]| {
        let mut z = vec![0.0; problem.lead_dims()];
        let mut point = z.clone();
        let base = (number << 36) + replication * each;
        let mut start = Stream::new(request.seed, Purpose::Mixture, SECOND_STAGE_PLACE, 1, base);
        let shift = start.uniform();
        for within in within {
            let index = base + within;
            let mut stream = Stream::new(request.seed, Purpose::Mixture, SECOND_STAGE_PLACE, 0, index);
            let place = (within as f64 + shift) / each as f64;
            let stratum = ready.mixture.draw(place, &mut stream, &mut z);
            to_cube(&z, &mut point);
            let score = problem.score(stratum, &point, index);
            let own = ready.mixture.component_ratio(stratum, &z);
            let weight = 1.0 / (ready.mixture.natural + own);
            sums[MISSES].add(weight * score.miss_odds);
            sums[CHECK].add(if score.severity >= ready.check.bar { weight } else { 0.0 });
            sums[UNCOVERED].add(if own < ready.mixture.natural { weight * score.miss_odds } else { 0.0 });
        }
    };
    let name = format!("importance, try {}", number + 1);
    match watch.second_stage(&name, (replications, each), 3, work) {
        Ok(runs) => Ok(judge(ready, &runs)),
        Err(whole) => Err(so_far(&whole, request.replications, |runs| {
            let outcome = judge(ready, runs);
            outcome.doubts.is_empty().then_some(outcome.estimate)
        })),
    }
}

fn judge(ready: &Prepared, runs: &[Vec<WeightedTally>]) -> Outcome {
    let tallies: Vec<WeightedTally> = runs.iter().map(|run| run[MISSES]).collect();
    let calls: u64 = tallies.iter().map(|tally| tally.n).sum();
    let expected = (ready.variance / calls as f64).sqrt();
    let (mean, cov, interval) = from_replications(&tallies, 1.0 / ready.mixture.natural, true, expected);
    let (mut all, mut check, mut uncovered) = (WeightedTally::default(), WeightedTally::default(), 0.0);
    for run in runs {
        all.merge(&run[MISSES]);
        check.merge(&run[CHECK]);
        uncovered += run[UNCOVERED].sum;
    }
    let importance = check.mean();
    let plain = ready.check.plain;
    let spread2 = check.variance() / check.n as f64 + plain * (1.0 - plain) / ready.check.points as f64;
    let z = (importance - plain) / spread2.sqrt().max(1e-12);
    let mut doubts = Vec::new();
    if all.effective_count() < FEW {
        doubts.push(format!("only {:.1} effective misses", all.effective_count()));
    }
    if all.largest_share() > LARGEST_SHARE_LIMIT {
        doubts.push(format!("one passing carries {:.0} % of the estimate", 100.0 * all.largest_share()));
    }
    if all.sum > 0.0 && uncovered > UNCOVERED_LIMIT * all.sum {
        doubts.push(format!(
            "{:.0} % of the estimate comes from a region the importance density does not cover",
            100.0 * uncovered / all.sum
        ));
    }
    if z.abs() > 4.0 {
        doubts
            .push(format!("at a lower bar it gives {importance:.3e} where plain sampling gives {plain:.3e}"));
    }
    let found = cov * cov * all.n as f64;
    if found > 10.0 * ready.variance.max(1.0) {
        doubts.push(format!(
            "its variance is {:.0} times what the pilot expected",
            found / ready.variance.max(1.0)
        ));
    }
    let notes = super::plain::few_note(&all);
    let estimate = Estimate {
        method: Method::Importance,
        mean,
        interval,
        cov,
        calls: all.n,
        pilot_calls: 0,
        replications: runs.len(),
        effective_misses: all.effective_count(),
        largest_share: all.largest_share(),
        cross_check: Some(CrossCheck { severity: ready.check.bar, plain, importance, z }),
        notes,
    };
    Outcome { estimate, doubts }
}
