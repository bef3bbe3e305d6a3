//! The ranking as plain data: everything the text, the JSON and the page are drawn from.

use super::flips::{Axis, axes};
use super::losses::{Half, Losses, column, means};
use super::mix::{UnderWeights, under_weights};
use super::next::{Worth, next, two_best};
use super::pairs::{Pair, pairs};
use super::run::{Request, Runs};
use crate::diag::Diagnostic;
use crate::estimate::joint;
use crate::study::provenance::{InputFile, Provenance, SCHEMA_VERSION, warning_lines};
use crate::study::season::Season;
use crate::study::season::resolve::Resolved;
use crate::study::strata::{day_ranks, weights};
use serde::Serialize;

/// Days over which the race-to-race spread of the wetness is taken.
const DAYS: usize = 15;

/// One tag over one version of the calendar.
#[derive(Clone, Debug, Serialize)]
pub struct TagResult {
    pub tag: String,
    /// Expected missed passings per season.
    pub missed: f64,
    /// Monte Carlo standard error of that mean.
    pub missed_standard_error: f64,
    /// 5 to 95 % over what nobody has measured.
    pub missed_p05: f64,
    pub missed_p95: f64,
    /// Share of all passings.
    pub miss_rate: f64,
    pub odds_best: f64,
    /// Upper and lower value of the expected regret of choosing it, missed passings per season.
    pub regret: f64,
    pub regret_low: f64,
    /// Share of races (and timing points) that meet the target.
    pub target_met: f64,
    pub price: Option<f64>,
    /// Price of all bibs of the season.
    pub bill: Option<f64>,
    /// Bill plus the stated cost of the misses.
    pub total_cost: Option<f64>,
    /// Where prices are weighed against misses: odds of the least total cost, and expected regret in money.
    pub odds_least_cost: Option<f64>,
    pub regret_money: Option<f64>,
    /// Tags short of what the season needs, when a stock is stated.
    pub short_of_stock: Option<u64>,
    /// World count at which it was stopped as surely behind.
    pub stopped_after_worlds: Option<u64>,
}

/// One version of the calendar.
#[derive(Clone, Debug, Serialize)]
pub struct VariantResult {
    pub name: String,
    pub changes: Vec<String>,
    pub races: f64,
    pub passings: f64,
    /// Tag with the fewest expected misses among those that can be supplied.
    pub best: String,
    /// In the order of the season file.
    pub tags: Vec<TagResult>,
}

/// Missed passings of one part of the season as it is.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// `region`, `weather` or `layout`.
    pub by: &'static str,
    pub name: String,
    pub races: f64,
    /// By tag, in the order of the season file.
    pub missed: Vec<f64>,
    /// Share of the part's passings, by tag.
    pub miss_rate: Vec<f64>,
}

/// A step up in price and what it buys.
#[derive(Clone, Debug, Serialize)]
pub struct PriceStep {
    pub from: String,
    pub to: String,
    pub extra_bill: f64,
    pub misses_avoided: f64,
    /// Money per avoided miss.
    pub cost_per_avoided_miss: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    pub season: String,
    pub note: String,
    pub currency: String,
    pub missed_passing_cost: Option<f64>,
    pub request: Request,
    pub worlds: u64,
    pub crossings: u64,
    pub interrupted: bool,
    /// Expected regret of the best tag that more runs could still lower, as a share of all passings.
    pub run_regret_share: f64,
    pub goal_reached: bool,
    /// Whether prices are weighed against misses (prices and the cost of a miss are stated).
    pub weighs_prices: bool,
    /// The tag to choose, and the one it had to be told from.
    pub choice: String,
    pub runner_up: Option<String>,
    pub variants: Vec<VariantResult>,
    pub parts: Vec<Part>,
    pub pairs: Vec<Pair>,
    pub price_steps: Vec<PriceStep>,
    pub under_weights: Vec<UnderWeights>,
    pub flips: Vec<Axis>,
    pub next: Vec<Worth>,
    /// Detection rates wanted, each once.
    pub targets: Vec<f64>,
    /// Beliefs in force, one line each.
    pub assumed: Vec<String>,
    pub warnings: Vec<String>,
    pub provenance: Provenance,
}

/// The answer from what was run; `None` when not even one world was finished.
pub fn answer(
    season: &Season,
    resolved: &Resolved,
    runs: &Runs,
    request: &Request,
    warnings: &[Diagnostic],
) -> Option<Answer> {
    if runs.worlds == 0 {
        return None;
    }
    let losses = Losses::new(resolved, runs, season.missed_passing_cost);
    let passings = losses.passings(0).max(1.0);
    let (leader, second) = two_best(&losses)?;
    let variants: Vec<VariantResult> =
        (0..losses.variants()).map(|v| variant(season, &losses, v)).collect::<Option<_>>()?;
    Some(Answer {
        season: season.name.clone(),
        note: season.note.clone(),
        currency: season.currency.clone(),
        missed_passing_cost: season.missed_passing_cost,
        request: request.clone(),
        worlds: runs.worlds,
        crossings: runs.crossings,
        interrupted: runs.interrupted,
        run_regret_share: runs.run_regret_share,
        goal_reached: runs.goal_reached,
        weighs_prices: losses.weighs_prices(),
        choice: resolved.tags[leader].name.clone(),
        runner_up: second.map(|s| resolved.tags[s].name.clone()),
        price_steps: price_steps(&variants[0].tags),
        variants,
        parts: parts(season, &losses),
        pairs: pairs(&losses, request.seed, request.regret_goal * passings, request.told_apart_odds),
        under_weights: under_weights(&losses, request.seed),
        flips: axes(&losses),
        next: if runs.interrupted { Vec::new() } else { next(&losses, request.seed, leader, second) },
        targets: targets(resolved),
        assumed: assumed(resolved),
        warnings: warning_lines(warnings),
        provenance: Provenance {
            schema_version: SCHEMA_VERSION,
            program: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            seed: request.seed,
            inputs: resolved
                .file_hashes
                .iter()
                .map(|(path, sha256)| InputFile { path: path.clone(), sha256: sha256.clone() })
                .collect(),
        },
    })
}

fn targets(resolved: &Resolved) -> Vec<f64> {
    let mut list: Vec<f64> = Vec::new();
    for point in resolved.sites.iter().flat_map(|site| &site.course.points) {
        if !list.contains(&point.target) {
            list.push(point.target);
        }
    }
    list
}

/// What nobody measured and every scenario of the season assumes alike.
fn assumed(resolved: &Resolved) -> Vec<String> {
    let lines = |course: &crate::course::Course| -> Vec<String> {
        course
            .assumptions()
            .into_iter()
            .filter(|a| a.what.starts_with("beliefs"))
            .map(|a| format!("assumed, not measured: {} = {} ({})", a.what, a.value, a.source))
            .collect()
    };
    let Some(first) = resolved.sites.first() else { return Vec::new() };
    lines(&first.course)
        .into_iter()
        .filter(|line| resolved.sites.iter().all(|site| lines(&site.course).contains(line)))
        .collect()
}

fn variant(season: &Season, losses: &Losses, v: usize) -> Option<VariantResult> {
    let resolved = losses.resolved();
    let all = losses.season(v);
    let ranking = joint::rank(&all)?;
    let halves = [Half::Even, Half::Odd].map(|half| losses.weighed(v, half, |_, races| races));
    let decision = joint::rank(&losses.season_decision(v)).filter(|_| losses.weighs_prices());
    let (passings, bibs) = (losses.passings(v), losses.bibs(v));
    let tags: Vec<TagResult> = resolved
        .tags
        .iter()
        .enumerate()
        .map(|(k, tag)| {
            let own = losses.runs().stopped[k].unwrap_or(losses.runs().worlds) as usize;
            let worlds = column(&all[..own.min(all.len())], k);
            let bill = resolved.prices[k].map(|price| price * bibs);
            let missed = ranking.mean[k];
            TagResult {
                tag: tag.name.clone(),
                missed,
                missed_standard_error: joint::standard_error(worlds.iter().copied()).unwrap_or(f64::NAN),
                missed_p05: joint::quantile(&worlds, 0.05),
                missed_p95: joint::quantile(&worlds, 0.95),
                miss_rate: missed / passings.max(1.0),
                odds_best: ranking.odds_best[k],
                regret: ranking.expected_regret[k],
                regret_low: joint::split_half_regret(&halves[0], &halves[1], k),
                target_met: target_met(losses, v, k),
                price: resolved.prices[k],
                bill,
                total_cost: bill.zip(season.missed_passing_cost).map(|(bill, cost)| bill + cost * missed),
                odds_least_cost: decision.as_ref().map(|d| d.odds_best[k]),
                regret_money: decision
                    .as_ref()
                    .zip(season.missed_passing_cost)
                    .map(|(d, cost)| d.expected_regret[k] * cost),
                short_of_stock: season.tags[k]
                    .stock
                    .map(|stock| (bibs - stock as f64).max(0.0).ceil() as u64)
                    .filter(|&short| short > 0),
                stopped_after_worlds: losses.runs().stopped[k],
            }
        })
        .collect();
    let best = tags
        .iter()
        .filter(|t| t.short_of_stock.is_none())
        .min_by(|a, b| a.missed.total_cmp(&b.missed))
        .map_or(String::new(), |t| t.tag.clone());
    Some(VariantResult {
        name: resolved.variants[v].name.clone(),
        changes: resolved.variants[v].changes.clone(),
        races: losses.races(v),
        passings,
        best,
        tags,
    })
}

/// Share of races × timing points whose expected detection rate reaches the point's target, over worlds and days.
fn target_met(losses: &Losses, variant: usize, tag: usize) -> f64 {
    let resolved = losses.resolved();
    let (mut met, mut all) = (0.0, 0.0);
    for &(site, races) in &resolved.variants[variant].races {
        let course = &resolved.sites[site].course;
        let days: Vec<Vec<f64>> =
            day_ranks(DAYS).map(|rank| weights(course, course.weather.shares(rank))).collect();
        for surface in losses.runs().surfaces[site][tag].iter().flatten() {
            for (index, point) in course.points.iter().enumerate() {
                for day in &days {
                    all += races;
                    if 1.0 - surface.miss(index, 0, day) >= point.target {
                        met += races;
                    }
                }
            }
        }
    }
    if all > 0.0 { met / all } else { 0.0 }
}

fn parts(season: &Season, losses: &Losses) -> Vec<Part> {
    let resolved = losses.resolved();
    let label = |by: &str, entry: usize| -> String {
        let course = &resolved.sites[resolved.variants[0].races[entry].0].course;
        match by {
            "region" => course.region.name.clone(),
            "weather" => course.weather.key.clone(),
            _ => season.entries[entry].layout.clone(),
        }
    };
    let mut list = Vec::new();
    for by in ["region", "weather", "layout"] {
        let mut names: Vec<String> = Vec::new();
        for entry in 0..season.entries.len() {
            let name = label(by, entry);
            if !names.contains(&name) {
                names.push(name);
            }
        }
        for name in names {
            let inside = |entry: usize| label(by, entry) == name;
            let missed = means(&losses.weighed(0, Half::Both, |e, r| if inside(e) { r } else { 0.0 }));
            let (mut races, mut passings) = (0.0, 0.0);
            for (entry, &(site, r)) in resolved.variants[0].races.iter().enumerate() {
                if inside(entry) {
                    let course = &resolved.sites[site].course;
                    races += r;
                    passings += r * course.field.runners as f64 * course.points.len() as f64;
                }
            }
            let miss_rate = missed.iter().map(|m| m / f64::max(passings, 1.0)).collect();
            list.push(Part { by, name, races, missed, miss_rate });
        }
    }
    list
}

/// From the cheapest tag up: each step that buys fewer misses, and what a miss avoided costs there.
fn price_steps(tags: &[TagResult]) -> Vec<PriceStep> {
    let mut priced: Vec<&TagResult> =
        tags.iter().filter(|t| t.bill.is_some() && t.short_of_stock.is_none()).collect();
    let bill = |t: &TagResult| t.bill.unwrap_or(0.0);
    priced.sort_by(|a, b| bill(a).total_cmp(&bill(b)).then(a.missed.total_cmp(&b.missed)));
    let mut steps = Vec::new();
    let Some(mut at) = priced.first().copied() else { return steps };
    loop {
        // The next step is the one that buys a miss avoided for the least money.
        let next = priced
            .iter()
            .filter(|t| bill(t) > bill(at) && t.missed < at.missed)
            .map(|t| (t, (bill(t) - bill(at)) / (at.missed - t.missed)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((to, cost)) = next else { return steps };
        steps.push(PriceStep {
            from: at.tag.clone(),
            to: to.tag.clone(),
            extra_bill: bill(to) - bill(at),
            misses_avoided: at.missed - to.missed,
            cost_per_avoided_miss: cost,
        });
        at = to;
    }
}
