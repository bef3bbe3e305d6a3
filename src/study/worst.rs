//! Which passings hurt most: a search over the first races for those that weigh most among the misses.
//!
//! The replay shows the passing with its own sample, so the search does too: no offset is integrated out here.

use super::explain::{PassingStory, explain};
use crate::estimate::passings::{PassingWorkspace, crossing_of, runner_of, send};
use crate::estimate::strata::{strata, to_index, weights};
use crate::passing::draw::OffsetLaw;
use crate::passing::{Prepared, RaceContext, RaceDraw};
use crate::random::quantity::Quantity;
use rayon::prelude::*;

/// Races and passings looked at.
#[derive(Clone, Copy, Debug)]
pub struct Search {
    pub races: u64,
    pub per_stratum: u64,
}

/// The `count` passings that weigh most among the misses of point number `point`, worst first. Equal kinds are thinned: a
/// placement and wetness comes at most a third of the list, so that the list tells several stories where there are several.
pub fn worst(
    prepared: &Prepared,
    seed: u64,
    point: usize,
    search: Search,
    count: usize,
) -> Vec<PassingStory> {
    let course = &prepared.course;
    let strata = strata(course);
    let all = (1u64 << prepared.points[point].lines.len()) - 1;
    let mut points = vec![None; prepared.points.len()];
    points[point] = Some((all, all));
    let mut found: Vec<(f64, u64, u64)> = (0..search.races)
        .into_par_iter()
        .map_init(PassingWorkspace::default, |space, race| {
            let draw = RaceDraw::draw(course, &prepared.tag, seed, race);
            let context = RaceContext::new(prepared, draw);
            let weights = weights(course, &strata, &context.draw);
            let mut out = Vec::new();
            for (s, weight) in weights.iter().enumerate().filter(|(_, w)| **w > 0.0) {
                for k in 0..search.per_stratum {
                    let passing = to_index(s, k, strata.len());
                    let runner = runner_of(&context, &strata, seed, passing);
                    let law = OffsetLaw(Quantity::Pinned(runner.sample_offset_db));
                    let mut hurt = 0.0;
                    let draw_at = |p| crossing_of(&context, seed, passing, p);
                    send(&context, &runner, draw_at, &points, space, |_, work| {
                        hurt = weight * work.score_lines(all, law).miss;
                    });
                    if hurt > 1e-9 {
                        out.push((hurt, race, passing));
                    }
                }
            }
            out
        })
        .flatten_iter()
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let most_alike = count.div_ceil(3);
    let mut taken = vec![0usize; strata.len()];
    let mut list: Vec<(f64, u64, u64)> = Vec::new();
    let mut rest: Vec<(f64, u64, u64)> = Vec::new();
    for item in found {
        let kind = (item.2 % strata.len() as u64) as usize;
        if taken[kind] < most_alike {
            taken[kind] += 1;
            list.push(item);
        } else if rest.len() < count {
            rest.push(item);
        }
        if list.len() == count {
            break;
        }
    }
    list.extend(rest.into_iter().take(count - list.len().min(count)));
    list.truncate(count);
    list.iter().map(|&(_, race, passing)| explain(prepared, seed, point, race, passing, false)).collect()
}
