//! The ranking as plain data: everything the text, the JSON and the page are drawn from.

use super::decide::{Choice, MATTERS, Standing, choose, mean, probability_least, regret, ties};
use super::groups::{Split, grouped, splits};
use super::ledger::Ledger;
use super::open::{OpenTag, open_tags};
use super::run::Cells;
use super::worth::{Worth, worth};
use crate::diag::Diagnostic;
use crate::estimate::checkpoint::Kept;
use crate::estimate::promise::promise;
use crate::estimate::replicates::{Figure, Scale};
use crate::estimate::run::Stopped;
use crate::numeric::summary::quantile_of_sorted;
use crate::passing::draw::REPLICATES;
use crate::study::provenance::{InputFile, Provenance, SCHEMA_VERSION, findings_of, warning_lines};
use crate::study::season::Season;
use crate::study::season::resolve::Resolved;
use serde::Serialize;

/// What a ranking is asked to do.
#[derive(Clone, Debug, Serialize)]
pub struct Request {
    pub seed: u64,
    /// Most worlds; each holds four draws of what nobody knows.
    pub most_worlds: u64,
}

/// How far a run has come.
#[derive(Clone, Debug)]
pub struct Progress {
    pub stage: &'static str,
    pub done: u64,
    pub planned: u64,
    pub leader: Option<String>,
}

/// One tag over one version of the calendar.
#[derive(Clone, Debug, Serialize)]
pub struct TagResult {
    pub tag: String,
    /// Expected missed passings per season; none for a tag dropped early in a what-if.
    pub missed: Option<Figure>,
    /// 5 to 95 % over what nobody knows.
    pub missed_p05: f64,
    pub missed_p95: f64,
    /// Share of all passings.
    pub miss_rate: f64,
    /// Mean over races and timing points of the probability that the promise is kept.
    pub promise_kept: f64,
    pub price: Option<f64>,
    /// Price of all bibs of the season.
    pub bill: Option<f64>,
    /// What decides: bill and misses in money, or misses.
    pub total: Option<Figure>,
    /// Share of the draws of what nobody knows in which it loses least.
    pub probability_least: f64,
    /// Expected loss against knowing what nobody knows.
    pub regret: Option<Figure>,
    pub standing: Standing,
    /// What it loses beyond the choice.
    pub behind_by: Figure,
    pub barred: Option<String>,
}

/// One version of the calendar.
#[derive(Clone, Debug, Serialize)]
pub struct VariantResult {
    pub name: String,
    pub changes: Vec<String>,
    pub races: f64,
    pub passings: f64,
    pub choice: Option<String>,
    /// Tags that are not told apart from the choice, or do not differ by what matters.
    pub ties: Vec<String>,
    /// Whether another tag than in the calendar as it is would be chosen, ties aside.
    pub changes_choice: bool,
    /// In the order of the season file.
    pub tags: Vec<TagResult>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    pub season: String,
    pub note: String,
    pub currency: String,
    pub missed_passing_cost: Option<f64>,
    pub missed_finish_cost: Option<f64>,
    pub request: Request,
    /// Whether prices are weighed against misses (both stated); else misses alone decide.
    pub weighs_money: bool,
    /// Difference below which two tags count as the same, share of the choice's total.
    pub matters: f64,
    pub choice: Option<String>,
    pub ties: Vec<String>,
    pub variants: Vec<VariantResult>,
    pub splits: Vec<Split>,
    pub worth: Vec<Worth>,
    /// Tags in question whose thresholds are open in some mount.
    pub open: Vec<OpenTag>,
    /// Shares of the passings that the season file wants in bands of its market.
    pub market: Vec<String>,
    pub worlds: u64,
    pub passings: u64,
    pub stopped: Stopped,
    /// Beliefs that every scenario assumes alike, one line each.
    pub assumed: Vec<String>,
    pub warnings: Vec<String>,
    pub provenance: Provenance,
    /// Per-level losses: a header and rows of numbers, for whoever recomputes.
    #[serde(skip)]
    pub losses: Vec<Vec<String>>,
}

/// First stage, in worlds of each replicate.
const FIRST: u64 = 1;
/// Fewest worlds of each replicate for the tags that stay in question.
const LEAST_SETTLED: u64 = 2;
/// A tag this many standard errors behind in every version of the calendar and every kind of race is dropped from further stages.
const SURELY: f64 = 6.0;

/// Runs the season until the choice is settled or the most worlds are done; `None` where not even the first stage was.
pub fn answer(
    season: &Season,
    resolved: &Resolved,
    request: &Request,
    warnings: &[Diagnostic],
    kept: &mut Kept,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(&Progress),
) -> Option<Answer> {
    watch(&Progress { stage: "layouts", done: 0, planned: 1, leader: None });
    let mut cells = Cells::new(resolved, request.seed, stop)?;
    let races: Vec<Vec<(usize, f64)>> =
        resolved.variants.iter().map(|v| weighed(season, resolved, &v.races)).collect();
    let mut running = vec![true; resolved.tags.len()];
    let mut worlds = (FIRST * REPLICATES).min(request.most_worlds.max(REPLICATES));
    let mut leader: Option<String> = None;
    let mut stopped = Stopped::WorldsDone;
    let mut done = 0;
    loop {
        let told = leader.clone();
        cells.extend(worlds, &running, kept, stop, &mut |done, planned| {
            watch(&Progress { stage: "races and tags", done, planned, leader: told.clone() });
        });
        if stop() {
            stopped = Stopped::Interrupted;
            break;
        }
        done = worlds;
        let ledger = Ledger::new(season, resolved, &cells, done as usize);
        let choices: Vec<Choice> = races.iter().map(|r| choose(&ledger, r)).collect();
        leader = choices[0].leader.map(|tag| resolved.tags[tag].name.clone());
        let settled = choices.iter().all(|c| c.standing.iter().all(|s| *s != Standing::Open));
        let last = 2 * worlds > request.most_worlds;
        if settled && (last || worlds >= LEAST_SETTLED * REPLICATES) {
            stopped = Stopped::Settled;
            break;
        }
        if last {
            break;
        }
        let kinds: Vec<Choice> =
            grouped(season, resolved, &races[0]).iter().map(|kind| choose(&ledger, &kind.races)).collect();
        for (tag, running) in running.iter_mut().enumerate() {
            let behind = |c: &Choice| {
                c.standing[tag] == Standing::Behind
                    && c.behind_by[tag].value > SURELY * c.behind_by[tag].standard_error
            };
            *running &= !choices.iter().chain(&kinds).all(behind);
        }
        worlds *= 2;
    }
    if done == 0 {
        return None;
    }
    Some(read(season, resolved, request, warnings, &cells, &races, stopped))
}

fn read(
    season: &Season,
    resolved: &Resolved,
    request: &Request,
    warnings: &[Diagnostic],
    cells: &Cells,
    races: &[Vec<(usize, f64)>],
    stopped: Stopped,
) -> Answer {
    let most = (0..resolved.tags.len()).map(|tag| cells.worlds(tag)).max().unwrap_or(0);
    // Tags dropped early are still read, from the worlds that they have.
    let least = (0..resolved.tags.len()).map(|tag| cells.worlds(tag)).min().unwrap_or(0);
    let full = Ledger::new(season, resolved, cells, most);
    let short = Ledger::new(season, resolved, cells, least);
    let base = choose(&full, &races[0]);
    let name = |tag: usize| resolved.tags[tag].name.clone();
    let variants: Vec<VariantResult> = (0..races.len())
        .map(|v| {
            let choice = choose(&full, &races[v]);
            let tied = ties(&choice);
            let changes_choice =
                choice.leader != base.leader && base.leader.is_none_or(|leader| !tied.contains(&leader));
            VariantResult {
                name: resolved.variants[v].name.clone(),
                changes: resolved.variants[v].changes.clone(),
                races: races[v].iter().map(|(_, n)| n).sum(),
                passings: full.passings(&races[v]),
                choice: choice.leader.map(name),
                ties: tied.iter().map(|&t| name(t)).collect(),
                changes_choice,
                tags: tag_results(&full, &short, cells, &races[v], &choice, most, least),
            }
        })
        .collect();
    let in_question: Vec<usize> = (0..resolved.tags.len())
        .filter(|&t| matches!(base.standing[t], Standing::Choice | Standing::Tie | Standing::Open))
        .chain(runner_up(&base))
        .collect();
    let worth = base
        .leader
        .map(|leader| worth(&full, cells, resolved, &races[0], leader, &in_question))
        .unwrap_or_default();
    let open = open_tags(&full, cells, resolved, &races[0], base.leader, &in_question);
    Answer {
        season: season.name.clone(),
        note: season.note.clone(),
        currency: season.currency.clone(),
        missed_passing_cost: season.missed_passing_cost,
        missed_finish_cost: season.missed_finish_cost,
        request: request.clone(),
        weighs_money: full.weighs_money(),
        matters: MATTERS,
        choice: base.leader.map(name),
        ties: ties(&base).iter().map(|&t| name(t)).collect(),
        variants,
        splits: splits(season, (&full, &short), &races[0], &base),
        worth,
        open,
        market: season.market.iter().map(|m| m.words()).collect(),
        worlds: most as u64,
        passings: cells.passings(),
        stopped,
        assumed: assumed(resolved),
        warnings: warning_lines(warnings),
        losses: losses(&full, &races[0]),
        provenance: Provenance {
            schema_version: SCHEMA_VERSION,
            program: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            seed: request.seed,
            set_up: resolved.set_up(),
            findings: findings_of(resolved.tags.iter().map(|tag| &**tag)),
            learned_from: resolved.tags.iter().find_map(|tag| tag.learned_from.clone()),
            inputs: resolved
                .file_hashes
                .iter()
                .map(|(path, sha256)| InputFile { path: path.clone(), sha256: sha256.clone() })
                .collect(),
        },
    }
}

/// The tag nearest behind the choice, where nothing ties with it.
fn runner_up(choice: &Choice) -> Option<usize> {
    let ties = choice.standing.iter().any(|s| matches!(s, Standing::Tie | Standing::Open));
    (0..choice.standing.len())
        .filter(|&t| !ties && choice.standing[t] == Standing::Behind && choice.behind_by[t].value.is_finite())
        .min_by(|&a, &b| choice.behind_by[a].value.total_cmp(&choice.behind_by[b].value))
}

/// Races of the calendar, their numbers scaled so that the bands of the market get the shares of the passings they are to have.
fn weighed(season: &Season, resolved: &Resolved, races: &[(usize, f64)]) -> Vec<(usize, f64)> {
    let passings = |site: usize| {
        let course = &resolved.sites[site].course;
        course.field.runners as f64 * course.points.len() as f64
    };
    let all: f64 = races.iter().map(|&(s, n)| n * passings(s)).sum();
    let band = |site: usize| season.market.iter().position(|m| m.holds(&resolved.sites[site].course));
    let inside = |b: Option<usize>| -> f64 {
        races.iter().filter(|(s, _)| band(*s) == b).map(|&(s, n)| n * passings(s)).sum()
    };
    let rest = 1.0 - season.market.iter().map(|m| m.share).sum::<f64>();
    races
        .iter()
        .map(|&(site, n)| {
            let wanted = band(site).map_or(rest.max(0.0), |b| season.market[b].share);
            let has = inside(band(site));
            let factor = if season.market.is_empty() || has <= 0.0 { 1.0 } else { wanted * all / has };
            (site, n * factor)
        })
        .collect()
}

fn tag_results(
    full: &Ledger,
    short: &Ledger,
    cells: &Cells,
    races: &[(usize, f64)],
    choice: &Choice,
    most: usize,
    least: usize,
) -> Vec<TagResult> {
    let resolved = full.resolved;
    let tags = resolved.tags.len();
    let allowed: Vec<bool> = (0..tags).map(|t| choice.standing[t] != Standing::Barred).collect();
    let decisive: Vec<Vec<f64>> = (0..tags).map(|t| short.decisive(races, t, 0)).collect();
    let least_probability = probability_least(&decisive, &allowed);
    let (bibs, passings) = (full.bibs(races), full.passings(races));
    (0..tags)
        .map(|tag| {
            let ledger = if cells.worlds(tag) >= most { full } else { short };
            let missed = ledger.missed(races, tag, 0);
            let mut sorted = missed.clone();
            sorted.sort_by(f64::total_cmp);
            let figure = mean(ledger, &missed, Scale::Logarithm);
            let total = mean(ledger, &ledger.decisive(races, tag, 0), Scale::Plain);
            TagResult {
                tag: resolved.tags[tag].name.clone(),
                missed: Some(figure),
                missed_p05: quantile_of_sorted(&sorted, 0.05),
                missed_p95: quantile_of_sorted(&sorted, 0.95),
                miss_rate: figure.value / passings.max(1.0),
                promise_kept: kept(full, cells, races, tag, least),
                price: resolved.prices[tag],
                bill: resolved.prices[tag].map(|price| price * bibs),
                total: total.value.is_finite().then_some(total),
                probability_least: least_probability[tag],
                regret: (allowed[tag] && total.value.is_finite())
                    .then(|| regret(short, races, tag, &allowed)),
                standing: choice.standing[tag],
                behind_by: if choice.behind_by[tag].value.is_finite() {
                    choice.behind_by[tag]
                } else {
                    choose(short, races).behind_by[tag]
                },
                barred: full.barred(races, tag),
            }
        })
        .collect()
}

/// Mean over races and points of the probability that the promise is kept.
fn kept(ledger: &Ledger, cells: &Cells, races: &[(usize, f64)], tag: usize, worlds: usize) -> f64 {
    let (mut sum, mut all) = (0.0, 0.0);
    for &(site, n) in races.iter().filter(|(_, n)| *n > 0.0) {
        let course = &ledger.resolved.sites[site].course;
        for (p, point) in course.points.iter().enumerate() {
            let target = ledger.season.target.unwrap_or(point.target);
            let days = cells.days(site, tag, p, worlds);
            sum += n * promise(&days, course.field.runners, target, 0).kept().value;
            all += n;
        }
    }
    if all > 0.0 { sum / all } else { f64::NAN }
}

/// What nobody measured and every scenario of the season assumes alike.
fn assumed(resolved: &Resolved) -> Vec<String> {
    let lines = |course: &crate::course::Course| -> Vec<String> {
        course
            .assumptions()
            .into_iter()
            .filter(|a| a.what.starts_with("beliefs"))
            .map(|a| format!("{} = {} ({})", a.what, a.value, a.source))
            .collect()
    };
    let Some(first) = resolved.sites.first() else { return Vec::new() };
    lines(&first.course)
        .into_iter()
        .filter(|line| resolved.sites.iter().all(|site| lines(&site.course).contains(line)))
        .collect()
}

/// One row a level: replicate, then missed passings and what decides by tag; empty where a tag was dropped.
fn losses(ledger: &Ledger, races: &[(usize, f64)]) -> Vec<Vec<String>> {
    let tags = &ledger.resolved.tags;
    let mut header = vec!["level".to_owned(), "replicate".to_owned()];
    header.extend(tags.iter().map(|t| format!("missed_passings {}", t.name)));
    let unit = if ledger.weighs_money() { "loss_money" } else { "loss_misses" };
    header.extend(tags.iter().map(|t| format!("{unit} {}", t.name)));
    let columns: Vec<Vec<f64>> = (0..tags.len())
        .map(|t| ledger.missed(races, t, 0))
        .chain((0..tags.len()).map(|t| ledger.decisive(races, t, 0)))
        .collect();
    let row = |level: usize| {
        let number = |x: f64| if x.is_nan() { String::new() } else { format!("{x}") };
        let mut row = vec![level.to_string(), Ledger::replicate(level).to_string()];
        row.extend(columns.iter().map(|c| number(c[level])));
        row
    };
    std::iter::once(header).chain((0..ledger.levels).map(row)).collect()
}
