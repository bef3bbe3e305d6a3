//! The pilot: what a layout settles before its passings count.
//!
//! A few hundred nominal crossings tell, for each reader, how long a tag of this field contends, and for each placement which
//! places along x are strongest. Contenders at a reader are then Poisson with mean flow × mean contending time.
//! Contending time: while awake in session S0; in S1 to S3 a read tag keeps quiet for the flag's persistence, so the time until it is
//! read (found together with the contention it causes, by fixed point), again after each expiry.
//! Source: M/G/∞ occupancy = arrival rate × mean stay (J. D. C. Little, Oper. Res. 9 (1961) 383-387).
//! Known weakness: the flow is steady; for a mass start state that of the wave (`wave`). Draws are the pilot's own, so that the forecast's draws stay untouched.

use super::crossing::{Crossing, neighbours_of};
use super::draw::{CrossingDraw, CrossingId, RaceDraw, RunnerDraw, crossing_uniforms, runner_uniforms};
use super::link::Scene;
use super::prepared::{BIN_M, Prepared};
use super::race::RaceContext;
use super::trace::each_round;
use crate::course::Course;
use crate::course::reader::Session;
use crate::course::weather::Wetness;
use crate::random::{Purpose, Stream};
use crate::tag::Tag;
use std::sync::Arc;

/// Nominal crossings per point.
const CROSSINGS: u64 = 48;
/// Seed of the pilot: fixed, so that the layout's constants do not depend on the run's seed.
const SEED: u64 = 0x7069_6c6f_7421;

/// Geometry, contention and visiting order of a scenario with a tag.
pub fn prepare(course: Arc<Course>, tag: Arc<Tag>) -> Prepared {
    settle(Prepared::geometry(course, tag), None)
}

/// The same for a scenario whose antennas stand as in `sibling`, from which the visiting order is taken. The order only decides
/// how soon an easy passing is settled, so the odds are the same (to the bound of an early stop).
pub fn prepare_like(course: Arc<Course>, tag: Arc<Tag>, sibling: &Prepared) -> Prepared {
    let learned = sibling.learned.clone();
    settle(Prepared { learned, ..Prepared::geometry(course, tag) }, Some(sibling))
}

fn settle(mut prepared: Prepared, sibling: Option<&Prepared>) -> Prepared {
    let mut picks = Stream::new(SEED, Purpose::Pilot, 0, 0, 0);
    let crossings: Vec<(RaceDraw, RunnerDraw, u64)> = (0..CROSSINGS)
        .map(|i| {
            let race = RaceDraw::draw(&prepared.course, &prepared.tag, SEED, i);
            let row = pick(prepared.course.field.placements.iter().map(|p| p.share), picks.uniform());
            let wetness = Wetness::ALL[pick(race.wetness_shares.iter().copied(), picks.uniform())];
            let u = runner_uniforms(SEED, i, 0);
            let runner = RunnerDraw::from_uniforms(&prepared.course, &race, row, wetness, &u);
            (race, runner, i)
        })
        .collect();
    for point in 0..prepared.points.len() {
        let same = sibling.and_then(|s| s.points.get(point)).filter(|s| {
            let own = &prepared.points[point];
            s.bins() == own.bins() && s.visit_order.len() == own.visit_order.len()
        });
        match same {
            Some(sibling) => prepared.points[point].visit_order = sibling.visit_order.clone(),
            None => order_places(&mut prepared, &crossings, point),
        }
        settle_contention(&mut prepared, &crossings, point);
    }
    prepared
}

/// Index drawn with odds proportional to `weights` at rank `u`.
pub fn pick(weights: impl Iterator<Item = f64> + Clone, u: f64) -> usize {
    let total: f64 = weights.clone().sum();
    let mut left = u * total;
    let mut chosen = 0;
    for (i, w) in weights.enumerate() {
        if w > 0.0 {
            chosen = i;
            if left < w {
                break;
            }
        }
        left -= w;
    }
    chosen
}

fn crossing_draw(course: &Course, race: u64, point: usize) -> CrossingDraw {
    let id = CrossingId { seed: SEED, race, passing: 0, point: point as u64 };
    CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id))
}

/// Sorts the bins of x by how strong the best margin is there, on average over the pilot, for each placement row.
fn order_places(prepared: &mut Prepared, crossings: &[(RaceDraw, RunnerDraw, u64)], point: usize) {
    let bins = prepared.points[point].bins();
    let zone_m = prepared.points[point].zone_m;
    for row in 0..prepared.course.field.placements.len() {
        let mut strength = vec![0.0_f64; bins];
        for (race, runner, index) in crossings.iter().take(8) {
            let context = RaceContext::new(prepared, race.clone());
            let runner = RunnerDraw { placement_row: row, ..runner.clone() };
            let draw = crossing_draw(&prepared.course, *index, point);
            let crossing = Crossing::new(&context, &runner, &draw);
            // Neighbours come and go; the order of places is that of the empty road.
            let scene = Scene { race: &context, point, neighbours: &[] };
            let mut best = vec![-60.0_f64; bins];
            for reader in 0..prepared.points[point].readers.len() {
                each_round(&crossing, &scene, reader, 3, |round| {
                    let bin = ((round.at.x + zone_m) / BIN_M) as usize;
                    let best = &mut best[bin.min(bins - 1)];
                    *best = best.max(round.incident_dbm - round.threshold_dbm);
                });
            }
            for (sum, best) in strength.iter_mut().zip(best) {
                *sum += best;
            }
        }
        let mut order: Vec<usize> = (0..bins).collect();
        order.sort_by(|&a, &b| strength[b].total_cmp(&strength[a]));
        prepared.points[point].visit_order[row] = order;
    }
}

fn settle_contention(prepared: &mut Prepared, crossings: &[(RaceDraw, RunnerDraw, u64)], point: usize) {
    if !prepared.course.effects.contention {
        return;
    }
    let readers = prepared.points[point].readers.len();
    // For each reader and crossing: heard odds of each awake round of a lone tag.
    let mut awake: Vec<Vec<Vec<f64>>> = vec![Vec::new(); readers];
    let mut neighbours = Vec::new();
    for (race, runner, index) in crossings {
        let context = RaceContext::new(prepared, race.clone());
        let draw = crossing_draw(&prepared.course, *index, point);
        let crossing = Crossing::new(&context, runner, &draw);
        neighbours_of(&crossing, &mut neighbours);
        let scene = Scene { race: &context, point, neighbours: &neighbours };
        for (reader, lists) in awake.iter_mut().enumerate() {
            let mut heard = Vec::new();
            each_round(&crossing, &scene, reader, 1, |round| {
                if round.powered_share > 0.0 {
                    heard.push(round.heard_odds * round.powered_share);
                }
            });
            lists.push(heard);
        }
    }
    let course = prepared.course.clone();
    let flow_per_s = course.points[point].flow_per_min / 60.0;
    let sources: Vec<_> = course.points[point].lines.iter().flat_map(|l| l.readers.iter()).collect();
    for (reader, lists) in awake.iter().enumerate() {
        let source = sources[reader];
        let frames = &prepared.points[point].readers[reader].frames;
        let lone_round_s = frames.at(1).round_s;
        let mut mean = 0.0_f64;
        for _ in 0..60 {
            let frame = frames.at(1 + mean.round() as u32);
            let stay: f64 = lists
                .iter()
                .map(|heard| {
                    contending_s(
                        heard,
                        lone_round_s,
                        frame.alone,
                        frame.round_s,
                        source.session,
                        source.persistence_s,
                    )
                })
                .sum::<f64>()
                / lists.len() as f64;
            // Damped, since more contenders lengthen the stay that makes contenders.
            mean += 0.5 * (flow_per_s * stay - mean);
        }
        prepared.points[point].readers[reader].mean_contenders = mean;
    }
}

/// Seconds one tag contends: `heard` holds the heard odds of its awake rounds, each `step_s` long.
fn contending_s(
    heard: &[f64],
    step_s: f64,
    alone: f64,
    round_s: f64,
    session: Session,
    persistence_s: f64,
) -> f64 {
    let awake_s = heard.len() as f64 * step_s;
    if session == Session::S0 || persistence_s <= 0.0 {
        return awake_s;
    }
    let mut unread = 1.0;
    let mut until_read_s = 0.0;
    for &h in heard {
        until_read_s += unread * step_s;
        unread *= libm::exp(-h * alone * step_s / round_s);
    }
    // Renewal: a stretch until read, then quiet for the persistence, and again while awake.
    let share = until_read_s / (until_read_s + persistence_s).max(1e-12);
    until_read_s.max(awake_s * share).min(awake_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn picks_follow_the_weights() {
        let weights = [0.2, 0.0, 0.5, 0.3];
        assert_eq!(
            [0.0, 0.19, 0.21, 0.69, 0.71, 0.999].map(|u| pick(weights.iter().copied(), u)),
            [0, 0, 2, 2, 3, 3]
        );
    }

    #[test]
    fn quiet_tags_contend_less() {
        let heard = vec![1.0; 400];
        let stay = |session, persistence| contending_s(&heard, 0.005, 0.5, 0.01, session, persistence);
        assert_eq!(stay(Session::S0, 0.0), 2.0);
        // Hazard 0.5 per 10 ms: read after about 20 ms.
        let s2 = stay(Session::S2, 30.0);
        assert!((0.015..0.03).contains(&s2), "{s2}");
        assert!(stay(Session::S1, 0.5) > s2 && stay(Session::S1, 0.5) < 0.2);
    }
}
