//! Runs every tag through every site of the season, world by world, until the choice is good enough.
//!
//! Tasks (site, tag, world) are pure and kept by index, so any number of threads gives the same bytes. After each wave of worlds the
//! tags are ranked; a tag surely behind is stopped (its mean difference to the leader is carried over), and the run
//! ends once the leader's expected regret is below the goal.

use super::losses::Losses;
use crate::estimate::joint;
use crate::estimate::selection::expected_regret_normal;
use crate::passing::{Prepared, RaceContext, Workspace, prepare, prepare_like};
use crate::study::season::resolve::Resolved;
use crate::study::strata::{self, LineSets, Plan, Surface, WETNESSES};
use crate::study::worlds;
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::Ordering;

/// What a ranking is asked to do.
#[derive(Clone, Debug, Serialize)]
pub struct Request {
    pub seed: u64,
    /// Passings per race beyond the least of each stratum.
    pub passings_per_race: u32,
    /// Worlds before the first verdict, and most.
    pub first_worlds: u64,
    pub most_worlds: u64,
    /// Expected regret by the noise of the run to get below, as a share of all passings.
    pub regret_goal: f64,
    /// Money per missed passing, to weigh prices against misses.
    pub missed_passing_cost: Option<f64>,
    /// Odds at which two tags count as told apart.
    pub told_apart_odds: f64,
}

impl Default for Request {
    fn default() -> Request {
        Request {
            seed: 1,
            passings_per_race: 40,
            first_worlds: 24,
            most_worlds: 96,
            regret_goal: 2e-4,
            missed_passing_cost: None,
            told_apart_odds: 0.95,
        }
    }
}

const WAVE: u64 = 8;
/// Worlds before a tag may be stopped, and how many standard errors behind it must be.
const LEAST_WORLDS_TO_STOP: u64 = 8;
const SURELY_BEHIND: f64 = 6.0;
/// Wetness classes a scenario never has are run in one world out of this many, for the order flips.
const UNSEEN_EVERY: u64 = 4;
/// Races of one line of the calendar are numbered from here times the line.
const RACES_PER_ENTRY: u64 = 1 << 14;

/// How far a run has come.
#[derive(Clone, Debug)]
pub struct Progress {
    pub stage: &'static str,
    pub done: u64,
    pub planned: u64,
    pub leader: Option<String>,
    pub odds_best: f64,
    /// Share of all passings.
    pub regret: f64,
}

/// Surfaces by site, tag and world; `None` where a tag was stopped or the run broken off.
pub struct Runs {
    pub surfaces: Vec<Vec<Vec<Option<Surface>>>>,
    pub prepared: Vec<Vec<Prepared>>,
    pub plans: Vec<Plan>,
    pub worlds: u64,
    /// World count at which a tag was stopped.
    pub stopped: Vec<Option<u64>>,
    pub crossings: u64,
    /// Expected regret that more runs could still lower, as a share of all passings, and whether it is below the goal.
    pub run_regret_share: f64,
    pub goal_reached: bool,
    pub interrupted: bool,
}

/// Race index of a world's race of one line of the calendar.
pub fn race_of(entry: usize, world: u64) -> u64 {
    entry as u64 * RACES_PER_ENTRY + world
}

/// One task: a site with a tag in a world. `extra_body_loss_db` is for one-at-a-time questions.
pub fn run_one(
    prepared: &Prepared,
    plan: &Plan,
    seed: u64,
    entry: usize,
    world: u64,
    extra_body_loss_db: f64,
) -> (Surface, u64) {
    let race = race_of(entry, world);
    let mut draw = worlds::race_draw(&prepared.course, &prepared.tag, seed, world, race);
    draw.body_loss_db += extra_body_loss_db;
    let context = RaceContext::new(prepared, draw);
    let sets = LineSets::all_lines(prepared);
    let mut work = Workspace::new();
    let surface = strata::run(&context, &sets, plan, seed, 0, &mut work);
    let passings: u64 = plan.0.iter().map(|&n| u64::from(n)).sum();
    (surface, passings * prepared.points.len() as u64)
}

/// The plan of a world: strata that never occur are skipped in most worlds.
pub fn plan_for(plan: &Plan, weights: &[f64], world: u64) -> Plan {
    let unseen = world.is_multiple_of(UNSEEN_EVERY);
    Plan(plan.0.iter().zip(weights).map(|(&n, &w)| if w > 0.0 || unseen { n } else { 0 }).collect())
}

/// Runs the season. `watch` hears of progress (from any thread); `stop` breaks off between tasks.
pub fn run(
    resolved: &Resolved,
    request: &Request,
    watch: &(dyn Fn(&Progress) + Sync),
    stop: &(dyn Fn() -> bool + Sync),
) -> Runs {
    let (sites, tags) = (resolved.sites.len(), resolved.tags.len());
    let prepared = prepare_all(resolved, watch, stop);
    let mut runs = Runs {
        surfaces: vec![vec![Vec::new(); tags]; sites],
        prepared,
        plans: Vec::new(),
        worlds: 0,
        stopped: vec![None; tags],
        crossings: 0,
        run_regret_share: f64::INFINITY,
        goal_reached: false,
        interrupted: stop(),
    };
    if runs.interrupted {
        return runs;
    }
    runs.plans = plan_all(resolved, &runs.prepared, request);
    while runs.worlds < request.most_worlds && !runs.interrupted {
        wave(resolved, request, &mut runs, watch, stop);
        if runs.worlds < LEAST_WORLDS_TO_STOP {
            continue;
        }
        let losses = Losses::new(resolved, &runs, request.missed_passing_cost);
        let season = losses.season_decision(0);
        let Some(ranking) = joint::rank(&season) else { break };
        let passings = losses.passings(0).max(1.0);
        let regret = regret_by_noise(&season, ranking.chosen) / passings;
        watch(&Progress {
            stage: "worlds",
            done: runs.worlds,
            planned: request.first_worlds.max(runs.worlds),
            leader: Some(resolved.tags[ranking.chosen].name.clone()),
            odds_best: ranking.odds_best[ranking.chosen],
            regret,
        });
        let behind = surely_behind(&losses, ranking.chosen, &runs);
        drop(losses);
        runs.run_regret_share = regret;
        runs.goal_reached = regret < request.regret_goal;
        if runs.worlds >= request.first_worlds && runs.goal_reached {
            break;
        }
        for tag in behind {
            runs.stopped[tag] = Some(runs.worlds);
        }
    }
    runs
}

/// Expected regret of choosing the leader because the run is short: for each rival the normal loss of the mean gap and its standard
/// error, summed (an upper value). What nobody has measured is not in it: no run lowers that.
pub fn regret_by_noise(season: &[Vec<f64>], leader: usize) -> f64 {
    let worlds = season.len() as f64;
    (0..season.first().map_or(0, Vec::len))
        .filter(|&tag| tag != leader)
        .map(|tag| {
            let gaps = season.iter().map(|world| world[tag] - world[leader]);
            let mean = gaps.clone().sum::<f64>() / worlds;
            joint::standard_error(gaps).map_or(f64::INFINITY, |error| expected_regret_normal(mean, error))
        })
        .sum()
}

/// Tags whose season loss lies above the leader's by many standard errors under every what-if.
fn surely_behind(losses: &Losses, leader: usize, runs: &Runs) -> Vec<usize> {
    let variants: Vec<Vec<Vec<f64>>> =
        (0..losses.variants()).flat_map(|v| [losses.season(v), losses.season_decision(v)]).collect();
    (0..runs.stopped.len())
        .filter(|&tag| tag != leader && runs.stopped[tag].is_none())
        .filter(|&tag| {
            variants.iter().all(|season| {
                let gaps = season.iter().map(|world| world[tag] - world[leader]);
                let mean = gaps.clone().sum::<f64>() / season.len() as f64;
                let ahead = season.iter().all(|world| world[tag] > world[leader]);
                ahead && joint::standard_error(gaps).is_some_and(|error| mean > SURELY_BEHIND * error)
            })
        })
        .collect()
}

fn prepare_all(
    resolved: &Resolved,
    watch: &(dyn Fn(&Progress) + Sync),
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<Vec<Prepared>> {
    let done = std::sync::atomic::AtomicU64::new(0);
    let planned = (resolved.sites.len() * resolved.tags.len()) as u64;
    let tell = || {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        let progress =
            Progress { stage: "layouts", done, planned, leader: None, odds_best: 0.0, regret: 0.0 };
        watch(&progress);
    };
    // Sites of the same antennas share the order of places: prepare one per layout first.
    let layouts: Vec<usize> = (0..resolved.sites.len())
        .map(|site| {
            (0..site)
                .find(|&earlier| {
                    let points = |s: usize| &resolved.sites[s].course.points;
                    points(earlier).len() == points(site).len()
                        && points(earlier).iter().zip(points(site)).all(|(a, b)| {
                            a.zone_m == b.zone_m && a.antennas().map(|x| x.2).eq(b.antennas().map(|x| x.2))
                        })
                })
                .unwrap_or(site)
        })
        .collect();
    let first: Vec<Option<Prepared>> = (0..resolved.sites.len())
        .into_par_iter()
        .map(|site| {
            (layouts[site] == site && !stop()).then(|| {
                let prepared = prepare(resolved.sites[site].course.clone(), resolved.tags[0].clone());
                tell();
                prepared
            })
        })
        .collect();
    (0..resolved.sites.len())
        .into_par_iter()
        .map(|site| {
            (0..resolved.tags.len())
                .filter_map(|tag| {
                    let sibling = first[layouts[site]].as_ref()?;
                    if tag == 0 && layouts[site] == site {
                        return Some(sibling.clone());
                    }
                    if stop() {
                        return None;
                    }
                    let (course, tag) = (resolved.sites[site].course.clone(), resolved.tags[tag].clone());
                    let prepared = prepare_like(course, tag, sibling);
                    tell();
                    Some(prepared)
                })
                .collect()
        })
        .collect()
}

/// One plan per site, the same for all tags; a what-if's site takes the plan of its line of the calendar.
fn plan_all(resolved: &Resolved, prepared: &[Vec<Prepared>], request: &Request) -> Vec<Plan> {
    let first_of = |site: usize| {
        (0..=site).find(|&s| {
            resolved.sites[s].entry == resolved.sites[site].entry
                && prepared[s][0].course.field.placements.len()
                    == prepared[site][0].course.field.placements.len()
        })
    };
    let own: Vec<Option<Plan>> = (0..prepared.len())
        .into_par_iter()
        .map(|site| {
            if first_of(site) != Some(site) {
                return None;
            }
            let mut pooled: Option<Surface> = None;
            for prepared in &prepared[site] {
                let entry = resolved.sites[site].entry;
                let draw =
                    worlds::race_draw(&prepared.course, &prepared.tag, request.seed, 0, race_of(entry, 0));
                let context = RaceContext::new(prepared, draw);
                let sets = LineSets::all_lines(prepared);
                let surface = strata::run_planning(&context, &sets, request.seed, &mut Workspace::new());
                match &mut pooled {
                    Some(sum) => sum.plus(&surface),
                    None => pooled = Some(surface),
                }
            }
            pooled.map(|p| strata::plan(&resolved.sites[site].course, &p, request.passings_per_race))
        })
        .collect();
    (0..prepared.len())
        .map(|site| {
            let strata = prepared[site][0].course.field.placements.len() * WETNESSES;
            first_of(site).and_then(|s| own[s].clone()).unwrap_or_else(|| Plan(vec![2; strata]))
        })
        .collect()
}

fn wave(
    resolved: &Resolved,
    request: &Request,
    runs: &mut Runs,
    watch: &(dyn Fn(&Progress) + Sync),
    stop: &(dyn Fn() -> bool + Sync),
) {
    let worlds = runs.worlds..(runs.worlds + WAVE).min(request.most_worlds);
    let weights: Vec<Vec<f64>> = resolved
        .sites
        .iter()
        .map(|site| strata::weights(&site.course, strata::mean_shares(&site.course.weather)))
        .collect();
    let tasks: Vec<(usize, usize, u64)> = worlds
        .clone()
        .flat_map(|world| {
            let running: Vec<usize> =
                (0..resolved.tags.len()).filter(|&t| runs.stopped[t].is_none()).collect();
            (0..resolved.sites.len())
                .flat_map(move |site| running.clone().into_iter().map(move |tag| (site, tag, world)))
        })
        .collect();
    let done = std::sync::atomic::AtomicU64::new(0);
    let results: Vec<Option<(Surface, u64)>> = tasks
        .par_iter()
        .map(|&(site, tag, world)| {
            if stop() {
                return None;
            }
            let plan = plan_for(&runs.plans[site], &weights[site], world);
            let entry = resolved.sites[site].entry;
            let result = run_one(&runs.prepared[site][tag], &plan, request.seed, entry, world, 0.0);
            let finished = done.fetch_add(1, Ordering::Relaxed) + 1;
            watch(&Progress {
                stage: "passings",
                done: finished,
                planned: tasks.len() as u64,
                leader: None,
                odds_best: 0.0,
                regret: 0.0,
            });
            Some(result)
        })
        .collect();
    runs.interrupted = stop();
    // Whole worlds only: a world some tasks of which are missing is thrown away.
    let broken = tasks.iter().zip(&results).filter(|(_, r)| r.is_none()).map(|((_, _, w), _)| *w).min();
    for (&(site, tag, world), result) in tasks.iter().zip(results) {
        if broken.is_some_and(|first| world >= first) {
            continue;
        }
        let list = &mut runs.surfaces[site][tag];
        list.resize(world as usize, None);
        if let Some((surface, crossings)) = result {
            runs.crossings += crossings;
            list.push(Some(surface));
        }
    }
    runs.worlds = broken.unwrap_or(worlds.end);
}
