//! Which method: asked for by the user, or decided by the pilot. Falls back to plain sampling, and says so.

use super::explore::{Pilot, effective_count};
use super::importance::{Prepared, first_look, first_points, prepare, second_stage};
use super::plain::{plain, sobol, stratified};
use super::{Estimate, Method, Problem, Request};
use crate::random::sobol::MAX_DIMS;

/// Extra points over what the pilot's variance asks for: the pilot's own figure is uncertain.
const RESERVE: f64 = 1.3;
/// Fewest points per replication in the second stage.
const LEAST_EACH: u64 = 25;
/// Miss rate above which ordinary sampling is good enough.
const COMMON: f64 = 0.05;
/// Each new try searches this many times harder.
const TRIES: [u64; 2] = [1, 4];

/// Estimate the mean score. Never more than `request.max_calls` points in the second stage.
pub fn estimate<P: Problem>(problem: &P, request: &Request) -> Estimate {
    let request = &Request { replications: request.replications.max(10), ..*request };
    match request.method {
        Some(Method::Plain) => plain(problem, request, request.max_calls),
        Some(Method::Stratified) => stratified(problem, request, request.max_calls),
        Some(Method::Sobol) => sobol(problem, request, request.max_calls),
        Some(Method::Importance) => {
            importance_or_plain(problem, request, Pilot::new(problem, request.seed, 0))
        }
        None => {
            let mut pilot = Pilot::new(problem, request.seed, 0);
            first_look(&mut pilot, first_points(problem));
            let weights = pilot.weights();
            let odds: Vec<f64> = pilot.shots.iter().map(|shot| shot.score.miss_odds).collect();
            let rate: f64 = weights.iter().zip(&odds).map(|(weight, value)| weight * value).sum();
            if rate < COMMON || effective_count(&weights, &odds) < 10.0 {
                return importance_or_plain(problem, request, pilot);
            }
            let second: f64 = weights.iter().zip(&odds).map(|(weight, value)| weight * value * value).sum();
            let calls = calls_for(second / (rate * rate) - 1.0, request);
            let mut estimate = if problem.strata().len() > 1 {
                stratified(problem, request, calls)
            } else if problem.lead_dims() <= MAX_DIMS {
                sobol(problem, request, calls)
            } else {
                plain(problem, request, calls)
            };
            estimate.pilot_calls += pilot.calls;
            estimate
        }
    }
}

/// Points for the wanted coefficient of variation, from n · CoV².
fn calls_for(variance: f64, request: &Request) -> u64 {
    let wanted = RESERVE * variance.max(0.1) / (request.target_cov * request.target_cov);
    let least = LEAST_EACH * request.replications as u64;
    (wanted.min(1e15) as u64).clamp(least, request.max_calls.max(least))
}

fn importance_or_plain<P: Problem>(problem: &P, request: &Request, first: Pilot<P>) -> Estimate {
    let mut spent = 0;
    let mut notes = Vec::new();
    let mut pilot = first;
    for (number, effort) in TRIES.into_iter().enumerate() {
        if number > 0 {
            pilot = Pilot::new(problem, request.seed, number as u64);
        }
        if pilot.shots.is_empty() {
            first_look(&mut pilot, effort * first_points(problem));
        }
        let prepared = prepare(&mut pilot, effort);
        spent += pilot.calls;
        let doubts = match prepared {
            Ok(ready) => match try_second_stage(problem, request, &ready, number as u64) {
                Ok(mut estimate) => {
                    estimate.pilot_calls = spent;
                    notes.append(&mut estimate.notes);
                    estimate.notes = notes;
                    return estimate;
                }
                Err((calls, doubts)) => {
                    spent += calls;
                    doubts
                }
            },
            Err(reason) => reason,
        };
        notes.push(format!("importance sampling, try {}, was set aside: {doubts}", number + 1));
    }
    let mut estimate = plain(problem, request, request.max_calls);
    estimate.pilot_calls = spent;
    notes.push("plain sampling was used instead".to_string());
    notes.append(&mut estimate.notes);
    estimate.notes = notes;
    estimate
}

fn try_second_stage<P: Problem>(
    problem: &P,
    request: &Request,
    ready: &Prepared,
    number: u64,
) -> Result<Estimate, (u64, String)> {
    let calls = calls_for(ready.variance, request);
    let outcome = second_stage(problem, request, ready, calls, number << 36);
    if outcome.doubts.is_empty() {
        Ok(outcome.estimate)
    } else {
        Err((outcome.estimate.calls, outcome.doubts.join("; ")))
    }
}
