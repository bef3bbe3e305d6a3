//! The cheapest layout that keeps the promise: a screened search over the catalogue, proven by the full run.
//!
//! Layouts are taken by rising cost. A short run drops those whose odds of the target are surely too low; the others get the full run on
//! the same draws. A layout is proven when the lower end of its odds (Wilson, 95 % one-sided, over races) reaches the confidence asked for.

use super::catalogue::{Candidate, Catalogue};
use super::engine::{all_lines, crossings, run};
use super::pair::{SetResult, set_result, target_odds};
use crate::diag::Diagnostic;
use crate::passing::{Prepared, prepare_like};
use crate::random::transform::normal_quantile;
use crate::study::strata::Plan;
use serde::Serialize;
use std::sync::Arc;

/// Most candidates combined in one layout, and most layouts looked at.
const MOST_TOGETHER: usize = 3;
const MOST_LAYOUTS: usize = 60;
/// Races of the screening, and runners-up shown.
const SCREENING_RACES: u64 = 12;
/// Passings of a stratum in the screening: one in so many of the full run's, at least two.
const SCREENING_PART: u32 = 3;
const RUNNERS_UP: usize = 2;

#[derive(Clone, Debug, Serialize)]
pub struct Layout {
    /// Candidates added to what stands already; empty for the layout as it is.
    pub added: Vec<String>,
    pub cost: f64,
    pub result: SetResult,
    /// Lower end of the odds of the target, 95 % one-sided.
    pub odds_low: f64,
    pub proven: bool,
    /// Dropped by the short run: it was run in full only to say how near it came.
    pub screened_out: bool,
}

#[derive(Clone, Debug, Serialize)]
pub struct Search {
    pub target: f64,
    pub confidence: f64,
    /// The cheapest proven layout.
    pub found: Option<Layout>,
    /// Further proven layouts by cost, or, when none is proven, the nearest misses by odds.
    pub runners_up: Vec<Layout>,
    pub layouts: usize,
    pub screened_out: usize,
    pub full_runs: usize,
    pub crossings: u64,
    /// Candidates left out because no cost is stated.
    pub without_cost: Vec<String>,
    /// Layouts that could not be built, and why.
    pub refused: Vec<String>,
}

/// What a search is asked to do.
pub struct Ask<'a> {
    pub catalogue: &'a Catalogue,
    pub candidates: &'a [Candidate],
    pub base: &'a Prepared,
    pub point: usize,
    pub plan: &'a Plan,
    pub seed: u64,
    pub races: u64,
    pub confidence: f64,
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

/// Lower end of a share at 95 % one-sided (E. B. Wilson, J. Amer. Statist. Assoc. 22, 1927).
fn wilson_low(share: f64, n: f64) -> f64 {
    let z = normal_quantile(0.95);
    let z2 = z * z;
    let middle = share * n + 0.5 * z2;
    let reach = z * (n * share * (1.0 - share) + 0.25 * z2).max(0.0).sqrt();
    ((middle - reach) / (n + z2)).max(0.0)
}

/// All sets of up to three candidates, by cost, the empty one first.
fn layouts(candidates: &[&Candidate]) -> Vec<(f64, Vec<usize>)> {
    let n = candidates.len().min(20);
    let mut list: Vec<(f64, Vec<usize>)> = (0..1usize << n)
        .filter(|set| set.count_ones() as usize <= MOST_TOGETHER)
        .map(|set| {
            let chosen: Vec<usize> = (0..n).filter(|i| set >> i & 1 == 1).collect();
            (chosen.iter().map(|&i| candidates[i].cost.unwrap_or(0.0)).sum(), chosen)
        })
        .collect();
    list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.len().cmp(&b.1.len())).then(a.1.cmp(&b.1)));
    list.truncate(MOST_LAYOUTS);
    list
}

pub fn search(ask: &Ask, watch: &dyn Fn(usize, usize, Option<&Layout>)) -> Search {
    let priced: Vec<&Candidate> = ask.candidates.iter().filter(|c| c.cost.is_some()).collect();
    let target = ask.base.course.points[ask.point].target;
    let mut out = Search {
        target,
        confidence: ask.confidence,
        found: None,
        runners_up: Vec::new(),
        layouts: 0,
        screened_out: 0,
        full_runs: 0,
        crossings: 0,
        without_cost: ask.candidates.iter().filter(|c| c.cost.is_none()).map(|c| c.name.clone()).collect(),
        refused: Vec::new(),
    };
    let all = layouts(&priced);
    let mut near: Vec<(Layout, Vec<&Candidate>)> = Vec::new();
    for (cost, chosen) in &all {
        if (ask.stop)() {
            break;
        }
        let chosen: Vec<&Candidate> = chosen.iter().map(|&i| priced[i]).collect();
        let looked_at = one(ask, *cost, &chosen, target, false, &mut out);
        // Broken off in the middle: its races are too few to prove anything.
        if (ask.stop)() {
            break;
        }
        out.layouts += 1;
        match looked_at {
            Err(problems) => out.refused.push(format!(
                "{}: {}",
                names(&chosen).join(" + "),
                problems.first().map_or(String::new(), |d| d.message.clone())
            )),
            Ok(layout) if layout.proven && out.found.is_none() => out.found = Some(layout),
            Ok(layout) if layout.proven => out.runners_up.push(layout),
            Ok(layout) => {
                out.screened_out += usize::from(layout.screened_out);
                near.push((layout, chosen));
            }
        }
        watch(out.layouts, all.len(), out.found.as_ref());
        if out.runners_up.len() >= RUNNERS_UP {
            break;
        }
    }
    if out.found.is_none() {
        near.sort_by(|(a, _), (b, _)| {
            let odds = b.result.target_odds.total_cmp(&a.result.target_odds);
            odds.then(a.result.miss_rate.total_cmp(&b.result.miss_rate)).then(a.cost.total_cmp(&b.cost))
        });
        near.truncate(RUNNERS_UP);
        for (layout, chosen) in near {
            if !layout.screened_out {
                out.runners_up.push(layout);
            } else if let Ok(full) = one(ask, layout.cost, &chosen, target, true, &mut out)
                && !(ask.stop)()
            {
                // The short run had dropped it: the full run shows how near it is and proves nothing.
                out.runners_up.push(full);
            }
        }
    }
    out
}

fn names(chosen: &[&Candidate]) -> Vec<String> {
    chosen.iter().map(|c| c.name.clone()).collect()
}

/// A layout by the full run, or by the short one when that drops it; `in_full` runs it in full even then.
fn one(
    ask: &Ask,
    cost: f64,
    chosen: &[&Candidate],
    target: f64,
    in_full: bool,
    out: &mut Search,
) -> Result<Layout, Vec<Diagnostic>> {
    let prepared = if chosen.is_empty() {
        ask.base.clone()
    } else {
        let (course, _) = ask.catalogue.build(&ask.base.course, ask.point, chosen)?;
        prepare_like(Arc::new(course), ask.base.tag.clone(), ask.base)
    };
    let mask = all_lines(&prepared, ask.point);
    let small = Plan(ask.plan.0.iter().map(|&n| (n / SCREENING_PART).max(2)).collect());
    let screening =
        run(&prepared, ask.point, &[mask], &small, ask.seed, SCREENING_RACES.min(ask.races), ask.stop);
    let short: Vec<f64> = screening.iter().map(|race| race.miss(0)).collect();
    out.crossings += crossings(&small, short.len());
    // Even the upper end of the odds is too low: 1 − Wilson's lower end of the races that fail.
    let failing = 1.0 - target_odds(&short, target);
    let screened_out = short.is_empty() || 1.0 - wilson_low(failing, short.len() as f64) < ask.confidence;
    let runs = if screened_out && !in_full {
        screening
    } else {
        let runs = run(&prepared, ask.point, &[mask], ask.plan, ask.seed, ask.races, ask.stop);
        out.full_runs += usize::from(!(ask.stop)());
        out.crossings += crossings(ask.plan, runs.len());
        runs
    };
    let name = if chosen.is_empty() { "as it is".to_owned() } else { names(chosen).join(" + ") };
    let result = set_result(&name, &runs, 0, target);
    let odds_low = wilson_low(result.target_odds, runs.len() as f64);
    let proven = !screened_out && odds_low >= ask.confidence;
    Ok(Layout { added: names(chosen), cost, odds_low, proven, screened_out, result })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: E. B. Wilson 1927 with z = 1.644854: 100 of 100 gives n/(n + z²) = .973657; 90 of 100 by
    /// the usual form (p + z²/2n − z·√(p(1−p)/n + z²/4n²))/(1 + z²/n). Tolerance: half the last digit; 1e-9.
    #[test]
    fn val_wilson_one_sided() {
        assert!((wilson_low(1.0, 100.0) - 0.973_657).abs() < 5e-7, "{}", wilson_low(1.0, 100.0));
        let (z2, n, p) = (1.644_853_626_951_f64.powi(2), 100.0_f64, 0.9);
        let by_hand =
            (p + z2 / (2.0 * n) - (z2 * (p * (1.0 - p) / n + z2 / (4.0 * n * n))).sqrt()) / (1.0 + z2 / n);
        assert!((wilson_low(0.9, 100.0) - by_hand).abs() < 1e-9);
    }

    #[test]
    fn layouts_come_by_cost_with_the_empty_one_first() {
        let candidate = |name: &str, cost: f64| Candidate {
            name: name.to_owned(),
            cost: Some(cost),
            point: None,
            copy: None,
            changes: Vec::new(),
            span: 0..0,
        };
        let (a, b, c) = (candidate("a", 5.0), candidate("b", 2.0), candidate("c", 2.5));
        let order: Vec<Vec<usize>> = layouts(&[&a, &b, &c]).into_iter().map(|l| l.1).collect();
        assert_eq!(
            order,
            [vec![], vec![1], vec![2], vec![1, 2], vec![0], vec![0, 1], vec![0, 2], vec![0, 1, 2]]
        );
    }
}
