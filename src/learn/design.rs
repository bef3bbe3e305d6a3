//! What a trial would teach, before anybody walks.
//!
//! One draw of the beliefs is taken for the truth, its trial is simulated walker by walker, the forecast is learned from all other draws, and the truth is held
//! against it; averaged over draws that is the expected posterior spread of ln(miss rate) (D. V. Lindley, Ann. Math. Stat. 27 (1956) 986-1005, on the value of an
//! experiment before it is made; from memory). No passing is simulated for a plan: all plans read the same tables, and the same walkers walk all of them.
//!
//! The misses x of n passings at one setting count as n/(1 + (m − 1)ρ) independent ones, where m are the laps of each walker and
//! ρ = Var p / (p̄(1 − p̄)) is what the passings of one walker have in common (design effect: L. Kish, Survey Sampling (1965), ch. 5; from memory). What the walkers
//! have in common with one another (batch, the race's own effect, the mean of their few tags) is one shift of each draw.

use super::evidence::{Evidence, View, standard, stratum_of};
use super::likelihood::{Laid, walker_law};
use super::posterior::{reach_db, seed_of};
use super::vectors::{EACH, SPREADS, inner, outer, outer_dims};
use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::estimate::pilot::pilot;
use crate::estimate::response::{Response, response};
use crate::estimate::strata::{LEAST, strata};
use crate::estimate::tilt::Tilt;
use crate::estimate::world::Ask;
use crate::passing::draw::{RACE_DIMS, offset_law};
use crate::passing::{Prepared, RaceDraw};
use crate::random::transform::normal_quantile;
use crate::random::{Purpose, Stream};
use rayon::prelude::*;
use std::sync::Arc;

/// Most laps of a setting that can be asked about.
pub const MOST_LAPS: usize = 24;
/// Rates below this count as this: nobody cares how far below.
pub const LEAST_RATE: f64 = 1e-5;
/// Truths tried; every other one chooses plans, the rest judge them.
const TRUTHS: usize = 384;
/// Draws whose weight is below e to this of the greatest are not counted.
const LIGHT: f64 = -25.0;

/// A way to walk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    pub placement: Placement,
    pub wetness: Wetness,
    pub drop_db: f64,
}

/// What is planned for: a race at one of its points, and the yard where the trial would be.
pub struct Task {
    pub race: Arc<Prepared>,
    pub race_point: usize,
    pub yard: Arc<Prepared>,
    pub yard_point: usize,
    pub people: usize,
    pub seed: u64,
    pub groups: u64,
    pub passings: u64,
}

/// One draw of the beliefs.
struct Draw {
    group: usize,
    u: [f64; RACE_DIMS],
    ln_rate: f64,
}

/// A draw taken for the truth.
struct Truth {
    group: usize,
    ln_rate: f64,
    /// `[setting][laps]`: missed by all walkers within so many laps.
    missed: Vec<[u32; MOST_LAPS + 1]>,
}

/// All that plans are judged by.
pub struct Foresight {
    pub settings: Vec<Setting>,
    people: usize,
    draws: Vec<Draw>,
    /// ln of the weight of each group before the trial.
    ln_weights: Vec<f64>,
    /// `[setting][draw]`: ln p and ln(1 − p) of a passing.
    ln_odds: Vec<Vec<(f64, f64)>>,
    /// What a walker's passings have in common at each setting.
    common: Vec<f64>,
    truths: Vec<Truth>,
    pub runners_simulated: u64,
}

/// What is left after a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// Root mean square of what the learned mean of ln(rate) misses the truth by.
    pub error: f64,
    /// Root of the mean learned variance.
    pub spread: f64,
    /// Share of that variance that each unknown of `outer_dims` explains by itself.
    pub shares: Vec<f64>,
}

/// The tables of a task; `None` once `stop` says so, an error where the yard lacks what a setting needs.
pub fn foresight(
    task: &Task,
    settings: Vec<Setting>,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&str),
) -> Result<Option<Foresight>, String> {
    let (evidence, places) = evidence(task, &settings)?;
    let starts = starts(task, &evidence);
    let worlds: Vec<_> = starts.iter().map(|start| (0, start.vectors[0])).collect();
    let reach_db = reach_db(&evidence);
    let mut tables = Vec::new();
    for (i, view) in evidence.views.iter().enumerate() {
        watch(if i == 0 { "tables of the race" } else { "tables of the trial" });
        let Some(table) = response(&view.prepared, &view.ask, &worlds, reach_db, stop) else {
            return Ok(None);
        };
        tables.push(table);
    }
    watch("plans");
    let of_group =
        |(at, start): (usize, &Start)| group(task, &evidence, &places, &tables, at, &start.vectors);
    let groups: Vec<_> = starts.par_iter().enumerate().map(of_group).collect();
    let mut draws = Vec::new();
    let mut odds = vec![Vec::new(); settings.len()];
    for of_group in groups {
        for (draw, of_settings) in of_group {
            draws.push(draw);
            odds.iter_mut().zip(of_settings).for_each(|(all, own)| all.push(own));
        }
    }
    let common = odds.iter().map(|of| {
        let (between, all): (f64, f64) =
            of.iter().fold((0.0, 0.0), |sum, (p, variance)| (sum.0 + variance, sum.1 + p * (1.0 - p)));
        if all > 0.0 { (between / all).clamp(0.0, 1.0) } else { 0.0 }
    });
    let common = common.collect();
    let ln = |(p, _): &(f64, f64)| (libm::log(*p), libm::log1p(-p));
    let ln_odds = odds.iter().map(|of| of.iter().map(ln).collect()).collect();
    let truths = (0..TRUTHS).map(|t| truth(task, &evidence, &places, &tables, &starts, t)).collect();
    let runners_simulated = tables.iter().map(|t| t.passings).sum();
    let ln_weights = starts.iter().map(|start| libm::log(start.weight)).collect();
    Ok(Some(Foresight {
        settings,
        people: task.people,
        draws,
        ln_weights,
        ln_odds,
        common,
        truths,
        runners_simulated,
    }))
}

/// Draws that share what only passings tell, before the trial.
struct Start {
    weight: f64,
    vectors: Vec<[f64; RACE_DIMS]>,
}

/// Groups of the beliefs, all alike; or of what was learned, each as often as its weight has it.
fn starts(task: &Task, evidence: &Evidence) -> Vec<Start> {
    let seed = seed_of(task.seed);
    let own = |i: u64| inner(&outer(evidence, seed, i), seed, i);
    let Some(law) = &task.race.learned else {
        return (0..task.groups).map(|i| Start { weight: 1.0, vectors: own(i) }).collect();
    };
    let mut out: Vec<(usize, Start)> = Vec::new();
    for i in 0..task.groups {
        let pick = (i as f64 + 0.5) / task.groups as f64;
        let group = law.group(pick);
        match out.last_mut().filter(|(last, _)| *last == group) {
            Some((_, start)) => start.weight += 1.0,
            None => {
                let mut vectors = own(i);
                for (j, u) in vectors.iter_mut().enumerate() {
                    law.level(pick, ((j / EACH) as f64 + 0.5) / SPREADS as f64, u);
                }
                out.push((group, Start { weight: 1.0, vectors }));
            }
        }
    }
    out.into_iter().map(|(_, start)| start).collect()
}

/// Views: the race first, then the yard at each power. And for each setting its view and stratum.
fn evidence(task: &Task, settings: &[Setting]) -> Result<(Evidence, Vec<(usize, usize)>), String> {
    let seed = seed_of(task.seed);
    let mut masks = standard(&task.race);
    masks.iter_mut().enumerate().for_each(|(p, of)| match p == task.race_point {
        true => of.truncate(1),
        false => of.clear(),
    });
    let (allocation, _) = pilot(&task.race, seed, &masks, task.passings);
    let ask = Ask { seed, masks, allocation, tilt: Tilt::default() };
    let mut evidence = Evidence::default();
    evidence.views.push(View { prepared: task.race.clone(), ask });
    let course = &task.yard.course;
    let all = strata(course);
    let mut drops: Vec<f64> = Vec::new();
    let mut places = Vec::new();
    for setting in settings {
        let stratum = stratum_of(&all, course, setting.placement, setting.wetness).ok_or_else(|| {
            format!(
                "{} knows no runner with {} {}: give the placement a share, and a weather that has {} bibs",
                course.file_hash.0,
                setting.placement.words(),
                setting.wetness.key(),
                setting.wetness.key()
            )
        })?;
        let at = drops.iter().position(|&db| db == setting.drop_db).unwrap_or_else(|| {
            drops.push(setting.drop_db);
            let lines = task.yard.points[task.yard_point].lines.len();
            let masks = (0..task.yard.points.len())
                .map(|p| if p == task.yard_point { vec![(1u64 << lines) - 1] } else { Vec::new() })
                .collect();
            let ask = Ask { seed, masks, allocation: vec![0; all.len()], tilt: Tilt::default() };
            let prepared = Arc::new(task.yard.lowered(setting.drop_db, false));
            evidence.views.push(View { prepared, ask });
            drops.len() - 1
        });
        // Every setting is looked at with as many passings: a plan must not prefer those that were looked at less closely.
        evidence.views[at + 1].ask.allocation[stratum] = (task.passings / 8 * 2).max(LEAST);
        places.push((at + 1, stratum));
    }
    Ok((evidence, places))
}

/// Shift that the trial of a vector has in common, dB; `walkers` of them are averaged over.
fn shift_db(task: &Task, draw: &RaceDraw, walkers: Option<usize>, stream: &mut Stream) -> f64 {
    let course = &task.yard.course;
    let law = walker_law(offset_law(course, draw)).0;
    let sd = 0.5 * (law.quantile(0.8413) - law.quantile(0.1587));
    let mean_of_tags = walkers.map_or(0.0, |n| sd / (n as f64).sqrt() * stream.normal());
    draw.constant_offset_db()
        + course.beliefs.batch_offset_db.quantile(stream.uniform())
        + draw.race_effect_sd_db * stream.normal()
        + mean_of_tags
}

/// A number of the table between its offsets; its ends stand for what lies beyond.
fn at(table: &Response, values: &[f64], offset_db: f64) -> f64 {
    let step = table.offsets_db[1] - table.offsets_db[0];
    let last = (values.len() - 1) as f64;
    let place = ((offset_db - table.offsets_db[0]) / step).clamp(0.0, last - 1e-9);
    let (cell, part) = (place as usize, place.fract());
    values[cell] + part * (values[cell + 1] - values[cell])
}

/// Odds that a table of some passings cannot tell from 0 or 1 are kept off both.
fn honest(evidence: &Evidence, (view, stratum): (usize, usize), p: f64) -> f64 {
    let least = 0.1 / evidence.views[view].ask.allocation[stratum] as f64;
    p.clamp(least, 1.0 - least)
}

/// Draws of one group, each with the odds of every setting and how they vary from walker to walker.
fn group(
    task: &Task,
    evidence: &Evidence,
    places: &[(usize, usize)],
    tables: &[Response],
    number: usize,
    vectors: &[[f64; RACE_DIMS]],
) -> Vec<(Draw, Vec<(f64, f64)>)> {
    let mut stream = Stream::new(seed_of(task.seed), Purpose::Study, 4, number as u64, 0);
    let mut out = Vec::with_capacity(SPREADS);
    for spread in 0..SPREADS {
        // One of the vectors with this spread: a plan needs fewer than a lesson.
        let u = vectors[spread * EACH + spread % EACH];
        let mut laid = Laid::new(evidence, tables, number, &u);
        let ln_rate = ln_rate(&mut laid, &u);
        let draw = RaceDraw::from_uniforms(&task.yard.course, &task.yard.tag, 0, &u);
        let shift_db = shift_db(task, &draw, Some(task.people), &mut stream);
        let of_settings = places.iter().map(|&(view, stratum)| {
            let table = &tables[view];
            let odds: Vec<f64> = table.odds(number, 0, stratum).iter().map(|&p| f64::from(p)).collect();
            let squares: Vec<f64> = odds.iter().map(|p| p * p).collect();
            let (mean, square) = (laid.walker.over(&odds), laid.walker.over(&squares));
            let (p, square) = (at(table, &mean, shift_db), at(table, &square, shift_db));
            (honest(evidence, (view, stratum), p), (square - p * p).max(0.0))
        });
        let of_settings = of_settings.collect();
        out.push((Draw { group: number, u, ln_rate }, of_settings));
    }
    out
}

/// ln of the race's miss rate under a vector, its days and own effects averaged.
fn ln_rate(laid: &mut Laid, u: &[f64; RACE_DIMS]) -> f64 {
    let masses = laid.masses(0, u);
    let days = laid.set(0, 0);
    let of_day = |day: &Vec<f64>| -> f64 { day.iter().zip(&masses).map(|(p, m)| p * m).sum() };
    let rate = days.iter().map(of_day).sum::<f64>() / days.len() as f64;
    libm::log(rate.max(LEAST_RATE))
}

/// Truth number `t`: one vector, its batch and its walkers, who walk every setting as often as anybody may ask.
fn truth(
    task: &Task,
    evidence: &Evidence,
    places: &[(usize, usize)],
    tables: &[Response],
    starts: &[Start],
    t: usize,
) -> Truth {
    let mut stream = Stream::new(seed_of(task.seed), Purpose::Study, 5, t as u64, 0);
    let total: f64 = starts.iter().map(|start| start.weight).sum();
    let mut below = 0.0;
    let chosen = starts.iter().position(|start| {
        below += start.weight;
        below * TRUTHS as f64 > t as f64 * total
    });
    let group = chosen.unwrap_or(starts.len() - 1);
    let vectors = &starts[group].vectors;
    let u = vectors[(stream.uniform() * vectors.len() as f64) as usize];
    let ln_rate = ln_rate(&mut Laid::new(evidence, tables, group, &u), &u);
    let draw = RaceDraw::from_uniforms(&task.yard.course, &task.yard.tag, 0, &u);
    let shift_db = shift_db(task, &draw, None, &mut stream);
    let law = walker_law(offset_law(&task.yard.course, &draw)).0;
    let walkers: Vec<f64> = (0..task.people).map(|_| shift_db + law.quantile(stream.uniform())).collect();
    let of_setting = |&(view, stratum): &(usize, usize)| {
        let table = &tables[view];
        let odds: Vec<f64> = table.odds(group, 0, stratum).iter().map(|&p| f64::from(p)).collect();
        let own: Vec<f64> = walkers.iter().map(|&offset| at(table, &odds, offset)).collect();
        let mut missed = [0; MOST_LAPS + 1];
        for lap in 1..=MOST_LAPS {
            missed[lap] = missed[lap - 1] + own.iter().map(|&p| u32::from(stream.uniform() < p)).sum::<u32>();
        }
        missed
    };
    Truth { group, ln_rate, missed: places.iter().map(of_setting).collect() }
}

impl Foresight {
    /// What a plan leaves open: (number of the setting, laps of every walker) of each step. `judged`: by truths that choose no plan.
    pub fn left(&self, plan: &[(usize, usize)], judged: bool) -> Left {
        let dims = outer_dims();
        let (mut squares, mut variance, mut shares, mut n) = (0.0, 0.0, vec![0.0; dims.len()], 0.0);
        let truths = self.truths.iter().enumerate().filter(|(t, _)| (t % 2 == 1) == judged);
        for (_, truth) in truths {
            let weights = self.weights(plan, truth);
            let each = || weights.iter().zip(&self.draws).filter(|(w, _)| **w > 0.0);
            let mean: f64 = each().map(|(w, d)| w * d.ln_rate).sum();
            let own: f64 = each().map(|(w, d)| w * (d.ln_rate - mean) * (d.ln_rate - mean)).sum();
            squares += (truth.ln_rate - mean) * (truth.ln_rate - mean);
            variance += own;
            n += 1.0;
            if judged {
                for (share, &dim) in shares.iter_mut().zip(&dims) {
                    let z = |d: &Draw| normal_quantile(d.u[dim].clamp(1e-6, 1.0 - 1e-6));
                    let z_mean: f64 = each().map(|(w, d)| w * z(d)).sum();
                    let (mut z_square, mut both) = (0.0, 0.0);
                    for (w, d) in each() {
                        z_square += w * (z(d) - z_mean) * (z(d) - z_mean);
                        both += w * (z(d) - z_mean) * (d.ln_rate - mean);
                    }
                    *share += if z_square > 0.0 { both * both / z_square } else { 0.0 };
                }
            }
        }
        shares.iter_mut().for_each(|share| *share /= variance.max(1e-12));
        Left { error: (squares / n).sqrt(), spread: (variance / n).sqrt(), shares }
    }

    /// Weights of all draws after the trial of a truth, those of its own group aside; sum 1.
    fn weights(&self, plan: &[(usize, usize)], truth: &Truth) -> Vec<f64> {
        let mut ln = self.ln_prior(truth);
        plan.iter().for_each(|&(setting, laps)| self.add(&mut ln, truth, setting, 0, laps));
        normal(&ln)
    }

    fn ln_prior(&self, truth: &Truth) -> Vec<f64> {
        let own = |d: &Draw| {
            if d.group == truth.group { f64::NEG_INFINITY } else { self.ln_weights[d.group] }
        };
        self.draws.iter().map(own).collect()
    }

    /// Adds ln L of `to` laps at a setting, less that of the `from` already counted.
    fn add(&self, ln: &mut [f64], truth: &Truth, setting: usize, from: usize, to: usize) {
        let counted = |laps: usize| {
            let laps = laps.min(MOST_LAPS);
            let n = (self.people * laps) as f64;
            let worth = 1.0 / (1.0 + (laps as f64 - 1.0).max(0.0) * self.common[setting]);
            let missed = f64::from(truth.missed[setting][laps]);
            (worth * missed, worth * (n - missed))
        };
        let (before, after) = (counted(from), counted(to));
        let (missed, read) = (after.0 - before.0, after.1 - before.1);
        let odds = &self.ln_odds[setting];
        ln.iter_mut().zip(odds).for_each(|(sum, of)| *sum += missed * of.0 + read * of.1);
    }

    /// ln of the weights of all draws for each truth that chooses, as a plan grows.
    pub fn growing(&self) -> Growing<'_> {
        let ln = self.truths.iter().step_by(2).map(|truth| (truth, self.ln_prior(truth))).collect();
        Growing { sight: self, ln }
    }

    /// Missed within so many laps of a setting: mean, and 5 to 95 % over truths.
    pub fn foreseen(&self, setting: usize, laps: usize) -> (f64, u32, u32) {
        let mut all: Vec<u32> = self.truths.iter().map(|t| t.missed[setting][laps.min(MOST_LAPS)]).collect();
        all.sort_unstable();
        let at = |share: f64| all[((all.len() - 1) as f64 * share).round() as usize];
        (all.iter().map(|&x| f64::from(x)).sum::<f64>() / all.len() as f64, at(0.05), at(0.95))
    }
}

/// A plan that grows lap by lap.
pub struct Growing<'a> {
    sight: &'a Foresight,
    ln: Vec<(&'a Truth, Vec<f64>)>,
}

impl Growing<'_> {
    /// Mean learned variance of ln(rate) with the laps of a setting raised.
    pub fn variance_with(&self, setting: usize, (from, to): (usize, usize)) -> f64 {
        let mut grown = Vec::new();
        let sum: f64 = self
            .ln
            .iter()
            .map(|(truth, ln)| {
                grown.clone_from(ln);
                self.sight.add(&mut grown, truth, setting, from, to);
                let weights = normal(&grown);
                let each = || weights.iter().zip(&self.sight.draws).filter(|(w, _)| **w > 0.0);
                let mean: f64 = each().map(|(w, d)| w * d.ln_rate).sum();
                each().map(|(w, d)| w * (d.ln_rate - mean) * (d.ln_rate - mean)).sum::<f64>()
            })
            .sum();
        sum / self.ln.len() as f64
    }

    pub fn grow(&mut self, setting: usize, (from, to): (usize, usize)) {
        let sight = self.sight;
        self.ln.iter_mut().for_each(|(truth, ln)| sight.add(ln, truth, setting, from, to));
    }
}

/// Weights of logarithms, summing to 1.
fn normal(ln: &[f64]) -> Vec<f64> {
    let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let of = |l: &f64| if l - most < LIGHT { 0.0 } else { libm::exp(l - most) };
    let weights: Vec<f64> = ln.iter().map(of).collect();
    let total: f64 = weights.iter().sum();
    weights.into_iter().map(|w| w / total).collect()
}
