//! Plain, stratified and scrambled Sobol' sampling.

use super::interval::from_replications;
use super::mixture::stratum_at;
use super::tally::WeightedTally;
use super::{Estimate, Interval, Method, Problem, Request, interval};
use crate::random::sobol::{MAX_DIMS, Scrambled, Sobol};
use crate::random::{Purpose, Stream};
use rayon::prelude::*;

/// Place in the streams of each kind of point, so that no two kinds share numbers.
const PLAIN_PLACE: u64 = 1;
const STRATIFIED_PLACE: u64 = 2;
const NET_REST_PLACE: u64 = 3;

/// Plain sampling: `calls` independent points.
pub fn plain<P: Problem>(problem: &P, request: &Request, calls: u64) -> Estimate {
    let replications = request.replications;
    let each = (calls / replications as u64).max(1);
    let tallies: Vec<WeightedTally> = (0..replications as u64)
        .into_par_iter()
        .map(|replication| {
            let mut point = vec![0.0; problem.lead_dims()];
            let mut tally = WeightedTally::default();
            for index in replication * each..(replication + 1) * each {
                let mut stream = Stream::new(request.seed, Purpose::Mixture, PLAIN_PLACE, 0, index);
                let stratum = stratum_at(problem.strata(), stream.uniform());
                point.fill_with(|| stream.uniform());
                tally.add(problem.score(stratum, &point, index).miss_odds);
            }
            tally
        })
        .collect();
    finish(Method::Plain, &tallies, true)
}

/// Scrambled Sobol' points: the largest power of two that fits `calls`, under independent scrambles. The
/// first coordinate chooses the stratum when there is more than one.
pub fn sobol<P: Problem>(problem: &P, request: &Request, calls: u64) -> Estimate {
    let replications = request.replications as u64;
    let each = 1u64 << (calls / replications).max(1).ilog2();
    let chooser = usize::from(problem.strata().len() > 1);
    let net_dims = (problem.lead_dims() + chooser).min(MAX_DIMS);
    let sobol = Sobol::new(net_dims).expect("not more than the largest number of dimensions");
    let tallies: Vec<WeightedTally> = (0..replications)
        .into_par_iter()
        .map(|replication| {
            let net = Scrambled::new(&sobol, request.seed, replication);
            let mut point = vec![0.0; problem.lead_dims() + chooser];
            let mut tally = WeightedTally::default();
            for within in 0..each {
                let index = replication * each + within;
                net.fill(within, &mut point[..net_dims]);
                if point.len() > net_dims {
                    let mut rest = Stream::new(request.seed, Purpose::Mixture, NET_REST_PLACE, 0, index);
                    point[net_dims..].fill_with(|| rest.uniform());
                }
                let stratum = if chooser == 1 { stratum_at(problem.strata(), point[0]) } else { 0 };
                tally.add(problem.score(stratum, &point[chooser..], index).miss_odds);
            }
            tally
        })
        .collect();
    finish(Method::Sobol, &tallies, false)
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
pub fn stratified<P: Problem>(problem: &P, request: &Request, calls: u64) -> Estimate {
    let strata = problem.strata();
    let replications = request.replications as u64;
    let pilot_each = (calls / 10 / strata.len() as u64).max(20);
    let run = |stratum: usize, first: u64, n: u64| {
        let mut point = vec![0.0; problem.lead_dims()];
        let mut tally = WeightedTally::default();
        for within in 0..n {
            let index = first + within;
            let mut stream = Stream::new(request.seed, Purpose::Mixture, STRATIFIED_PLACE, 0, index);
            point.fill_with(|| stream.uniform());
            tally.add(problem.score(stratum, &point, index).miss_odds);
        }
        tally
    };
    let spreads: Vec<f64> = (0..strata.len())
        .into_par_iter()
        .map(|stratum| {
            let tally = run(stratum, stratum as u64 * pilot_each, pilot_each);
            // Half a miss is added: a pilot without a miss does not prove that there is none.
            let smoothed = (tally.sum + 0.5) / (tally.n as f64 + 1.0);
            let ceiling = (smoothed * (1.0 - smoothed)).max(0.0).sqrt();
            strata[stratum] * if tally.sum > 1.0 { tally.variance().sqrt().min(ceiling) } else { ceiling }
        })
        .collect();
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
    let tallies: Vec<Vec<WeightedTally>> = (0..replications)
        .into_par_iter()
        .map(|replication| {
            let mut first = pilot_calls + replication * block;
            let one = |stratum: usize| {
                let tally = run(stratum, first, each[stratum]);
                first += each[stratum];
                tally
            };
            (0..strata.len()).map(one).collect()
        })
        .collect();
    combine(strata, &tallies, pilot_calls)
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
