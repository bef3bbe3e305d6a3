//! The same ranking when the calendar itself is uncertain: Dirichlet weights round the stated number of races.

use super::losses::{Half, Losses, means};
use crate::estimate::weights::{acceptability, dirichlet_draw};
use crate::random::{Purpose, Stream};
use serde::Serialize;

const DRAWS: u64 = 4000;
/// Place of the weight draws among the study's streams.
const PLACE: u64 = 1;

/// What uncertain weights leave of the ranking.
#[derive(Clone, Debug, Serialize)]
pub struct UnderWeights {
    pub what: String,
    /// By tag: odds of being best.
    pub odds_best: Vec<f64>,
    /// By tag: expected regret, in missed passings per season of the same number of races.
    pub expected_regret: Vec<f64>,
}

/// Round the stated weights (strength: one draw is worth as many races as the season has) and with any weights at all.
pub fn under_weights(losses: &Losses, seed: u64) -> Vec<UnderWeights> {
    let races: Vec<f64> = losses.resolved().variants[0].races.iter().map(|r| r.1).collect();
    let total: f64 = races.iter().sum();
    let entries = races.len();
    // Losses of one race, by tag and entry, times the number of races: what a season of such races alone would miss.
    let by_entry: Vec<Vec<f64>> = (0..entries)
        .map(|entry| means(&losses.decision(0, Half::Both, |e, _| if e == entry { total } else { 0.0 })))
        .collect();
    let by_tag: Vec<Vec<f64>> = (0..losses.resolved().tags.len())
        .map(|tag| by_entry.iter().map(|entry| entry[tag]).collect())
        .collect();
    let cases = [
        ("weights spread round the stated calendar", races.iter().map(|r| r.max(1e-3)).collect::<Vec<f64>>()),
        ("any weights at all", vec![1.0; entries]),
    ];
    cases
        .into_iter()
        .enumerate()
        .map(|(case, (what, parameters))| {
            let draws: Vec<Vec<f64>> = (0..DRAWS)
                .map(|i| {
                    dirichlet_draw(&parameters, &mut Stream::new(seed, Purpose::Study, PLACE, case as u64, i))
                })
                .collect();
            let result = acceptability(&by_tag, &draws);
            UnderWeights {
                what: what.to_owned(),
                odds_best: result.rank_share.iter().map(|ranks| ranks[0]).collect(),
                expected_regret: result.expected_regret,
            }
        })
        .collect()
}
