//! Plain, stratified and scrambled Sobol' sampling.

use super::interval::from_replications;
use super::mixture::stratum_at;
use super::tally::WeightedTally;
use super::watch::{BrokenOff, Halt, Watch, so_far};
use super::{Estimate, Interval, Method, Problem, Request, interval};
use crate::random::sobol::{MAX_DIMS, Scrambled, Sobol};
use crate::random::{Purpose, Stream};
use rayon::prelude::*;
use std::ops::Range;

/// Place in the streams of each kind of point, so that no two kinds share numbers.
const PLAIN_PLACE: u64 = 1;
const STRATIFIED_PLACE: u64 = 2;
const NET_REST_PLACE: u64 = 3;

/// Plain sampling: `calls` independent points.
pub fn plain<P: Problem>(
    problem: &P,
    request: &Request,
    calls: u64,
    watch: &mut Watch,
) -> Result<Estimate, BrokenOff> {
    let replications = request.replications as u64;
    let each = (calls / replications).max(1);
    let work = |replication: u64, within: Range<u64>, sums: &mut [WeightedTally]| {
        let mut point = vec![0.0; problem.lead_dims()];
        for index in replication * each + within.start..replication * each + within.end {
            let mut stream = Stream::new(request.seed, Purpose::Mixture, PLAIN_PLACE, 0, index);
            let stratum = stratum_at(problem.strata(), stream.uniform());
            point.fill_with(|| stream.uniform());
            sums[0].add(problem.score(stratum, &point, index).miss_odds);
        }
    };
    let done = watch.second_stage("plain", (replications, each), 1, work);
    ended(done, request.replications, |tallies| finish(Method::Plain, tallies, true))
}

/// Scrambled Sobol' points: the largest power of two that fits `calls`, under independent scrambles. The
/// first coordinate chooses the stratum when there is more than one.
pub fn sobol<P: Problem>(
    problem: &P,
    request: &Request,
    calls: u64,
    watch: &mut Watch,
) -> Result<Estimate, BrokenOff> {
    let replications = request.replications as u64;
    let each = 1u64 << (calls / replications).max(1).ilog2();
    let chooser = usize::from(problem.strata().len() > 1);
    let net_dims = (problem.lead_dims() + chooser).min(MAX_DIMS);
    let sobol = Sobol::new(net_dims).expect("not more than the largest number of dimensions");
    let nets: Vec<Scrambled> =
        (0..replications).map(|replication| Scrambled::new(&sobol, request.seed, replication)).collect();
    let work = |replication: u64, within: Range<u64>, sums: &mut [WeightedTally]| {
        let mut point = vec![0.0; problem.lead_dims() + chooser];
        for within in within {
            let index = replication * each + within;
            nets[replication as usize].fill(within, &mut point[..net_dims]);
            if point.len() > net_dims {
                let mut rest = Stream::new(request.seed, Purpose::Mixture, NET_REST_PLACE, 0, index);
                point[net_dims..].fill_with(|| rest.uniform());
            }
            let stratum = if chooser == 1 { stratum_at(problem.strata(), point[0]) } else { 0 };
            sums[0].add(problem.score(stratum, &point[chooser..], index).miss_odds);
        }
    };
    let done = watch.second_stage("sobol", (replications, each), 1, work);
    ended(done, request.replications, |tallies| finish(Method::Sobol, tallies, false))
}

/// The estimate of a whole stage, or what one that was broken off says.
fn ended(
    done: Result<Vec<Vec<WeightedTally>>, Vec<Vec<WeightedTally>>>,
    planned: usize,
    estimate: impl Fn(&[WeightedTally]) -> Estimate,
) -> Result<Estimate, BrokenOff> {
    let of = |tallies: &[Vec<WeightedTally>]| {
        estimate(&tallies.iter().map(|sums| sums[0]).collect::<Vec<WeightedTally>>())
    };
    match done {
        Ok(tallies) => Ok(of(&tallies)),
        Err(whole) => Err(so_far(&whole, planned, |tallies| Some(of(tallies)))),
    }
}

fn finish(method: Method, tallies: &[WeightedTally], within: bool) -> Estimate {
    let (mean, cov, interval) = from_replications(tallies, 1.0, within, 0.0);
    let mut all = WeightedTally::default();
    tallies.iter().for_each(|tally| all.merge(tally));
    Estimate {
        method,
        mean,
        interval,
        cov,
        calls: all.n,
        pilot_calls: 0,
        replications: tallies.len(),
        effective_misses: all.effective_count(),
        largest_share: all.largest_share(),
        cross_check: None,
        notes: few_note(&all),
    }
}

pub(super) fn few_note(all: &WeightedTally) -> Vec<String> {
    if all.sum == 0.0 {
        vec![format!("no miss in {} passings: the upper end of the interval is all that is known", all.n)]
    } else if all.effective_count() < interval::FEW {
        vec![format!(
            "only {:.1} effective misses: the interval comes from exact binomial limits and is wide",
            all.effective_count()
        )]
    } else {
        Vec::new()
    }
}

/// Stratified sampling: a pilot of a tenth of `calls`, shared out equally, estimates the spread in each stratum; the
/// second stage shares out `calls` in proportion to weight times spread (J. Neyman, J. Roy. Stat. Soc. 97 (1934)
/// 558-625), never fewer than a twentieth of the proportional share and never none. The pilot does not enter the
/// estimate.
pub fn stratified<P: Problem>(
    problem: &P,
    request: &Request,
    calls: u64,
    watch: &mut Watch,
) -> Result<Estimate, BrokenOff> {
    let strata = problem.strata();
    let replications = request.replications as u64;
    let pilot_each = (calls / 10 / strata.len() as u64).max(20);
    let stop = watch.stop;
    let run = |stratum: usize, indices: Range<u64>, tally: &mut WeightedTally| {
        let mut point = vec![0.0; problem.lead_dims()];
        for index in indices {
            let mut stream = Stream::new(request.seed, Purpose::Mixture, STRATIFIED_PLACE, 0, index);
            point.fill_with(|| stream.uniform());
            tally.add(problem.score(stratum, &point, index).miss_odds);
        }
    };
    let spreads: Vec<f64> = (0..strata.len())
        .into_par_iter()
        .map(|stratum| {
            let mut tally = WeightedTally::default();
            let first = stratum as u64 * pilot_each;
            for index in first..first + pilot_each {
                if stop() {
                    return Err(Halt);
                }
                run(stratum, index..index + 1, &mut tally);
            }
            // Half a miss is added: a pilot without a miss does not prove that there is none.
            let smoothed = (tally.sum + 0.5) / (tally.n as f64 + 1.0);
            let ceiling = (smoothed * (1.0 - smoothed)).max(0.0).sqrt();
            let spread = if tally.sum > 1.0 { tally.variance().sqrt().min(ceiling) } else { ceiling };
            Ok(strata[stratum] * spread)
        })
        .collect::<Result<_, Halt>>()?;
    let total: f64 = spreads.iter().sum();
    // At least four points in every stratum and replication that has any weight.
    let each: Vec<u64> = strata
        .iter()
        .zip(&spreads)
        .map(|(&weight, &spread)| {
            let share = (spread / total).max(0.05 * weight);
            if weight > 0.0 { ((share * calls as f64 / replications as f64) as u64).max(4) } else { 0 }
        })
        .collect();
    let pilot_calls = pilot_each * strata.len() as u64;
    let block: u64 = each.iter().sum();
    let work = |replication: u64, within: Range<u64>, sums: &mut [WeightedTally]| {
        // The strata lie end to end in a replication.
        let base = pilot_calls + replication * block;
        let mut first = 0;
        for (stratum, &n) in each.iter().enumerate() {
            let (from, to) = (within.start.max(first), within.end.min(first + n));
            if from < to {
                run(stratum, base + from..base + to, &mut sums[stratum]);
            }
            first += n;
        }
    };
    match watch.second_stage("stratified", (replications, block), strata.len(), work) {
        Ok(tallies) => Ok(combine(strata, &tallies, pilot_calls)),
        Err(whole) => {
            Err(so_far(&whole, request.replications, |tallies| Some(combine(strata, tallies, pilot_calls))))
        }
    }
}

/// Weighted sum over strata, replication by replication.
fn combine(strata: &[f64], tallies: &[Vec<WeightedTally>], pilot_calls: u64) -> Estimate {
    let mut between = WeightedTally::default();
    for replication in tallies {
        between.add(replication.iter().zip(strata).map(|(tally, weight)| weight * tally.mean()).sum());
    }
    // `all` holds every score times (weight of its stratum / share of the points spent there).
    let (mut all, mut within, mut bound) = (WeightedTally::default(), 0.0, 0.0_f64);
    let calls: u64 = tallies.iter().flatten().map(|tally| tally.n).sum();
    for (stratum, &weight) in strata.iter().enumerate() {
        let mut sum = WeightedTally::default();
        tallies.iter().for_each(|replication| sum.merge(&replication[stratum]));
        if sum.n == 0 {
            continue;
        }
        let scale = weight * calls as f64 / sum.n as f64;
        within += weight * weight * sum.variance() / sum.n as f64;
        bound = bound.max(scale);
        all.merge(&WeightedTally {
            n: sum.n,
            sum: sum.sum * scale,
            sum_squares: sum.sum_squares * scale * scale,
            largest: sum.largest * scale,
        });
    }
    let mean = between.mean();
    let cov =
        if mean > 0.0 { interval::standard_error(&between, Some(within)) / mean } else { f64::INFINITY };
    let interval: Interval = if all.effective_count() < interval::FEW {
        interval::few_hits(mean, calls, bound)
    } else {
        interval::log_t(mean, cov, tallies.len())
    };
    Estimate {
        method: Method::Stratified,
        mean,
        interval,
        cov,
        calls,
        pilot_calls,
        replications: tallies.len(),
        effective_misses: all.effective_count(),
        largest_share: all.largest_share(),
        cross_check: None,
        notes: few_note(&all),
    }
}
