//! What to measure next: the unknown whose knowledge would lower the expected regret most.
//!
//! Unknowns that worlds draw are valued by regression over the worlds (`estimate::information`). Two more are valued by a
//! derivative and the closed form of the normal loss, s·φ(d/s) − d·Φ(−d/s) with d the lead and s = |slope|·σ:
//! how far the close mount on the phantom is from a body in one band (σ = 1 dB at zero gap), and the wetness mix
//! (σ = half the soaked share, at least 0.02). Source of both σ: our estimate.

use super::losses::{Losses, means};
use super::run::run_one;
use crate::estimate::information::value_of_knowing;
use crate::estimate::selection::{expected_regret_normal, index_of_least};
use crate::study::strata::{Plan, mean_shares};
use crate::study::worlds::{UNKNOWNS, score_of};
use rayon::prelude::*;
use serde::Serialize;

const CLOSE_MOUNT_SD_DB: f64 = 1.0;
const LEAST_SOAKED_SD: f64 = 0.02;
/// Worlds of the one-at-a-time runs.
const WORLDS: u64 = 3;

/// One thing worth knowing.
#[derive(Clone, Debug, Serialize)]
pub struct Worth {
    pub what: String,
    pub how: String,
    /// Missed passings per season saved on average by knowing it before the choice.
    pub saved: f64,
    /// Monte Carlo standard error; `None` for a closed form.
    pub standard_error: Option<f64>,
}

/// All unknowns, the most valuable first. `leader` and `second` are the two tags the choice is between.
pub fn next(losses: &Losses, seed: u64, leader: usize, second: Option<usize>) -> Vec<Worth> {
    let season = losses.season_decision(0);
    let tags = &losses.resolved().tags;
    let mut list = Vec::new();
    for unknown in &UNKNOWNS {
        let owners: Vec<Option<usize>> =
            if unknown.of_tag { (0..tags.len()).map(Some).collect() } else { vec![None] };
        for owner in owners {
            // A stopped tag cannot become the best any more.
            if owner.is_some_and(|tag| losses.runs().stopped[tag].is_some()) {
                continue;
            }
            let name = owner.map_or("", |tag| tags[tag].name.as_str());
            let scores: Vec<f64> =
                (0..season.len()).map(|w| score_of(unknown, name, seed, w as u64)).collect();
            if let Some(value) = value_of_knowing(&season, &scores) {
                list.push(Worth {
                    what: owner.map_or(unknown.name.to_owned(), |tag| {
                        format!("{} of {}", unknown.name, tags[tag].name)
                    }),
                    how: unknown.how.to_owned(),
                    saved: value.saved,
                    standard_error: Some(value.standard_error),
                });
            }
        }
    }
    if let Some(second) = second {
        let mean = means(&season);
        let lead = mean[second] - mean[leader];
        list.extend(close_mounts(losses, seed, [leader, second], lead));
        list.push(wetness_mix(losses, leader, second, lead));
    }
    list.sort_by(|a, b| b.saved.total_cmp(&a.saved));
    list
}

/// The close mount of a tag in one band: missed passings per dB, by the worlds' first few.
fn close_mounts(losses: &Losses, seed: u64, tags: [usize; 2], lead: f64) -> Vec<Worth> {
    let resolved = losses.resolved();
    let runs = losses.runs();
    let mut regions: Vec<(String, String)> = Vec::new();
    for &(site, _) in &resolved.variants[0].races {
        let region = &resolved.sites[site].course.region;
        if !regions.iter().any(|(key, _)| *key == region.key) {
            regions.push((region.key.clone(), region.name.clone()));
        }
    }
    let tasks: Vec<(usize, f64, usize, u64)> = resolved.variants[0]
        .races
        .iter()
        .flat_map(|&(site, races)| tags.map(|tag| (site, races, tag)))
        .flat_map(|(site, races, tag)| (0..WORLDS.min(runs.worlds)).map(move |w| (site, races, tag, w)))
        .collect();
    let slopes: Vec<f64> = tasks
        .par_iter()
        .map(|&(site, races, tag, world)| {
            let plan = Plan(
                runs.plans[site]
                    .0
                    .iter()
                    .zip(losses.site_weights(site))
                    .map(|(&n, &w)| if w > 0.0 { n } else { 0 })
                    .collect(),
            );
            let prepared = &runs.prepared[site][tag];
            let (worse, _) = run_one(prepared, &plan, seed, resolved.sites[site].entry, world, 1.0);
            let Some(Some(as_it_was)) = runs.surfaces[site][tag].get(world as usize) else { return 0.0 };
            let weights = losses.site_weights(site);
            let rise: f64 = (0..worse.sums.len())
                .map(|point| worse.miss(point, 0, weights) - as_it_was.miss(point, 0, weights))
                .sum();
            races * prepared.course.field.runners as f64 * rise
        })
        .collect();
    let mut list = Vec::new();
    for tag in tags {
        for (key, name) in &regions {
            let total: f64 = tasks
                .iter()
                .zip(&slopes)
                .filter(|((site, _, t, _), _)| *t == tag && resolved.sites[*site].course.region.key == *key)
                .map(|(_, slope)| slope)
                .sum();
            let per_db = total / WORLDS.min(runs.worlds).max(1) as f64;
            list.push(Worth {
                what: format!("close mount of {} in {name}", resolved.tags[tag].name),
                how: "measure thresholds at the smallest gap on people beside the phantom, in this band"
                    .to_owned(),
                saved: expected_regret_normal(lead, per_db.abs() * CLOSE_MOUNT_SD_DB),
                standard_error: None,
            });
        }
    }
    list
}

/// The share of soaked bibs over the season.
fn wetness_mix(losses: &Losses, leader: usize, second: usize, lead: f64) -> Worth {
    let resolved = losses.resolved();
    let (mut slope, mut soaked, mut bibs) = (0.0, 0.0, 0.0);
    for &(site, races) in &resolved.variants[0].races {
        let course = &resolved.sites[site].course;
        let [dry, damp, wet] = mean_shares(&course.weather);
        soaked += races * course.field.runners as f64 * wet;
        bibs += races * course.field.runners as f64;
        let rise = |tag: usize| {
            let by = losses.by_wetness(site, tag);
            let rest = if dry + damp > 0.0 { (dry * by[0] + damp * by[1]) / (dry + damp) } else { by[0] };
            by[2] - rest
        };
        slope += races * (rise(second) - rise(leader));
    }
    let sd = (0.5 * soaked / f64::max(bibs, 1.0)).max(LEAST_SOAKED_SD);
    Worth {
        what: "wetness mix of the season".to_owned(),
        how: "count soaked bibs at some races, or take rain days from the weather record".to_owned(),
        saved: expected_regret_normal(lead, slope.abs() * sd),
        standard_error: None,
    }
}

/// Leader and runner-up by what the choice is made by.
pub fn two_best(losses: &Losses) -> Option<(usize, Option<usize>)> {
    let mean = means(&losses.season_decision(0));
    let leader = index_of_least(&mean)?;
    let rest: Vec<f64> =
        mean.iter().enumerate().map(|(i, &m)| if i == leader { f64::INFINITY } else { m }).collect();
    Some((leader, index_of_least(&rest).filter(|_| mean.len() > 1)))
}
