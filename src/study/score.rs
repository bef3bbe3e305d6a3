//! `score`: a season of stored forecasts against what was counted.

use super::learn::Verdict;
use super::predict::Forecast;
use super::provenance::InputFile;
use crate::learn::score::{Predictive, brier};
use crate::numeric::counts::binomial_tails;
use crate::outcome::{Outcome, PointCount, Reference};
use serde::{Deserialize, Serialize};

/// Fewer races than this tell nothing about forecasts on the whole.
pub const ENOUGH_RACES: usize = 10;

/// One point of one race.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scored {
    pub race: String,
    pub point: String,
    pub passed: u64,
    pub missed_low: u64,
    pub missed_high: u64,
    pub mean: f64,
    pub p05: u64,
    pub p95: u64,
    /// Twice the smaller tail that holds the count.
    pub tail: f64,
    pub verdict: Verdict,
    pub log_score: f64,
    pub ranked_score: f64,
    /// Log score of a beta-binomial from the counts of the races before it, at this point; none for the first.
    pub log_score_of_counts: Option<f64>,
    /// Log score of the forecast stored beside it, made without what was learned.
    pub log_score_of_unlearned: Option<f64>,
    /// Probability that the promise would be kept, as forecast, and whether it was; none where a range leaves it open.
    pub promise_forecast: f64,
    pub promise_kept: Option<bool>,
    pub e_factor: f64,
}

/// The answer of `score`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    pub note: String,
    pub scored: Vec<Scored>,
    /// Counts that cannot be scored, with the reason.
    pub left_out: Vec<String>,
    pub races: usize,
    /// Counts within their 90 % interval, and the probability of so few or fewer if forecasts were right (counts of one race taken as independent).
    pub within: usize,
    pub so_few_within: f64,
    pub e_value: f64,
    pub brier: Option<f64>,
    /// Brier score of the share of promises kept, known afterwards.
    pub brier_of_share: Option<f64>,
    pub mean_log_score: f64,
    /// Mean advantage over the counts of earlier races, where there were any: positive, the forecast knew more.
    pub ahead_of_counts: Option<f64>,
    /// The same against the forecasts made without what was learned.
    pub ahead_of_unlearned: Option<f64>,
    pub enough_races: bool,
    /// Outcomes and stored forecasts.
    pub inputs: Vec<InputFile>,
}

/// A race with what was stored for it.
pub struct Given {
    pub outcome: Outcome,
    pub forecast: Forecast,
    /// Made without what was learned, if one was stored too.
    pub unlearned: Option<Forecast>,
    /// Of the outcome and of the forecasts.
    pub inputs: Vec<InputFile>,
}

/// Scores outcomes in the order given, each with the forecast stored for it.
pub fn answer(given: &[Given]) -> Answer {
    let (mut scored, mut left_out): (Vec<Scored>, Vec<String>) = (Vec::new(), Vec::new());
    for of in given {
        let outcome = &of.outcome;
        for count in &outcome.counts {
            match score(of, count, &scored) {
                Ok(one) => scored.push(one),
                Err(why) => left_out.push(format!("{}, {}: {why}", outcome.name, count.point)),
            }
        }
    }
    let mut inputs: Vec<InputFile> = Vec::new();
    for input in given.iter().flat_map(|g| &g.inputs) {
        if !inputs.contains(input) {
            inputs.push(input.clone());
        }
    }
    let n = scored.len();
    let inside = |s: &&Scored| s.missed_low <= s.p95 && s.missed_high >= s.p05;
    let within = scored.iter().filter(inside).count();
    let told: Vec<(f64, bool)> =
        scored.iter().filter_map(|s| s.promise_kept.map(|kept| (s.promise_forecast, kept))).collect();
    let share = told.iter().filter(|t| t.1).count() as f64 / told.len().max(1) as f64;
    let mean =
        |values: Vec<f64>| (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
    Answer {
        note: given.first().map(|g| g.outcome.note.clone()).unwrap_or_default(),
        races: given.len(),
        within,
        so_few_within: if n > 0 { binomial_tails(within as u64, n as u64, 0.9).0 } else { 1.0 },
        e_value: scored.iter().map(|s| s.e_factor).product(),
        brier: (!told.is_empty()).then(|| brier(&told).0),
        brier_of_share: (!told.is_empty()).then_some(share * (1.0 - share)),
        mean_log_score: mean(scored.iter().map(|s| s.log_score).collect()).unwrap_or(0.0),
        ahead_of_counts: mean(
            scored.iter().filter_map(|s| s.log_score_of_counts.map(|c| c - s.log_score)).collect(),
        ),
        ahead_of_unlearned: mean(
            scored.iter().filter_map(|s| s.log_score_of_unlearned.map(|u| u - s.log_score)).collect(),
        ),
        inputs,
        enough_races: given.len() >= ENOUGH_RACES,
        scored,
        left_out,
    }
}

/// What a forecast says of the runners counted, and what it promises.
fn foretold(forecast: &Forecast, count: &PointCount) -> Result<(Predictive, f64), String> {
    let point =
        forecast.points.iter().find(|p| p.name == count.point).ok_or("the forecast has no such point")?;
    let predictive = Predictive::stored(point.missed.runners, &point.missed.distribution, count.passed)?;
    Ok((predictive, point.promise.target))
}

fn score(given: &Given, count: &PointCount, before: &[Scored]) -> Result<Scored, String> {
    let outcome = &given.outcome;
    if let Some(why) = &count.excluded {
        return Err(why.clone());
    }
    if matches!(count.reference, Reference::SeenElsewhere(_) | Reference::OtherLine { .. }) {
        return Err(format!(
            "{} are not all runners: `learn` takes such counts, a forecast of all cannot be scored by them",
            count.reference.words()
        ));
    }
    let (predictive, promised) = foretold(&given.forecast, count)?;
    let unlearned = given.unlearned.as_ref().map(|forecast| foretold(forecast, count)).transpose()?;
    let earlier = before.iter().filter(|s| s.point == count.point);
    let (passed, missed) =
        earlier.fold((0, 0.0), |(n, x), s| (n + s.passed, x + 0.5 * (s.missed_low + s.missed_high) as f64));
    let of_counts = (passed > 0).then(|| {
        // Jeffreys' prior and the counts so far.
        Predictive::beta(count.passed, 0.5 + missed, 0.5 + passed as f64 - missed).log_score(count.missed)
    });
    let allowed = crate::estimate::promise::allowed(promised, count.passed);
    let tail = predictive.tail(count.missed);
    Ok(Scored {
        race: outcome.name.clone(),
        point: count.point.clone(),
        passed: count.passed,
        missed_low: count.missed.0,
        missed_high: count.missed.1,
        mean: predictive.mean(),
        p05: predictive.quantile(0.05),
        p95: predictive.quantile(0.95),
        tail,
        verdict: Verdict::of(tail),
        log_score: predictive.log_score(count.missed),
        ranked_score: predictive.ranked((count.missed.0 + count.missed.1) / 2),
        log_score_of_counts: of_counts,
        log_score_of_unlearned: unlearned.map(|(predictive, _)| predictive.log_score(count.missed)),
        promise_forecast: predictive.between((0, allowed)),
        promise_kept: match count.missed {
            (_, most) if most <= allowed => Some(true),
            (least, _) if least > allowed => Some(false),
            _ => None,
        },
        e_factor: predictive.e_factor(count.missed),
    })
}
