//! Redundancy as plain data: everything the text, the JSON and the justification are drawn from.

use super::catalogue::{Candidate, Catalogue};
use super::cheapest::{self, Search};
use super::distance::{self, DistanceCurve};
use super::engine::{RaceAtPoint, all_lines, crossings, plan, run};
use super::floor::{MOST_CROSSINGS, after_crossings};
use super::pair::{NamedShare, PairResult, SetResult, pair_result, set_result, shared};
use crate::diag::{Diagnostic, Severity};
use crate::estimate::shared_misses::OutOfBounds;
use crate::passing::{Prepared, prepare_like};
use crate::study::provenance::{
    AssumptionEcho, Provenance, TagEcho, assumptions, effects_off, warning_lines,
};
use crate::study::which_point::{NoPoint, which_point};
use serde::Serialize;
use std::sync::Arc;

/// What the study is asked to do.
#[derive(Clone, Debug, Serialize)]
pub struct Request {
    pub seed: u64,
    pub races: u64,
    /// Passings per race beyond the least of each stratum.
    pub passings_per_race: u32,
    /// Odds with which the target must be kept.
    pub confidence: f64,
    /// Timing point; default the finish.
    pub point: Option<String>,
    /// Named subsets of lines beside each line alone and all together.
    pub subsets: Vec<Vec<String>>,
    pub distance_curve: bool,
    pub search: bool,
}

impl Default for Request {
    fn default() -> Request {
        Request {
            seed: 1,
            races: 100,
            passings_per_race: 120,
            confidence: 0.9,
            point: None,
            subsets: Vec::new(),
            distance_curve: true,
            search: true,
        }
    }
}

/// How far the study has come.
#[derive(Clone, Debug)]
pub struct Progress {
    pub stage: &'static str,
    pub done: usize,
    pub planned: usize,
    pub leader: Option<String>,
}

/// One candidate of the catalogue, added alone.
#[derive(Clone, Debug, Serialize)]
pub struct CandidateResult {
    pub name: String,
    pub cost: Option<f64>,
    /// All lines with the candidate.
    pub result: SetResult,
    /// Odds that the layout with the candidate misses what the layout as it is missed.
    pub still_missed: Option<f64>,
    /// What the candidate divides the misses by.
    pub divides_misses_by: Option<f64>,
    /// The new line beside all that stands; `None` when the candidate changes lines that stand.
    pub pair: Option<PairResult>,
    /// Runners per race it saves.
    pub saved_per_race: f64,
    /// Money per saved runner, for one race.
    pub cost_per_saved: Option<f64>,
}

/// What no line removes.
#[derive(Clone, Debug, Serialize)]
pub struct Floor {
    /// Miss rate after one, two … fresh crossings of all lines: lines far away, again and again.
    pub after_crossings: Vec<f64>,
    pub floor: f64,
    /// Share of the present misses that stays.
    pub share_of_misses: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    pub event: String,
    pub note: String,
    pub point: String,
    pub target: f64,
    pub runners: u64,
    pub tag: TagEcho,
    pub region: String,
    pub weather: String,
    pub request: Request,
    pub races: usize,
    pub crossings: u64,
    pub interrupted: bool,
    pub lines: Vec<String>,
    /// All lines together.
    pub all: SetResult,
    /// Each line alone, then the named subsets.
    pub sets: Vec<SetResult>,
    pub pairs: Vec<PairResult>,
    /// Who is missed by all lines together.
    pub shared: Vec<NamedShare>,
    pub floor: Option<Floor>,
    pub candidates: Vec<CandidateResult>,
    pub built_in_catalogue: bool,
    pub distance: Option<DistanceCurve>,
    pub search: Option<Search>,
    pub effects_off: Vec<String>,
    pub assumed: Vec<AssumptionEcho>,
    pub warnings: Vec<String>,
    pub provenance: Provenance,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error(transparent)]
    NoPoint(#[from] NoPoint),
    #[error("no line \"{asked}\" at this timing point (there: {there})")]
    NoLine { asked: String, there: String },
    #[error("internal: {0}")]
    OutOfBounds(#[from] OutOfBounds),
    #[error("a candidate of the catalogue cannot be built")]
    Candidate(Vec<Diagnostic>),
    #[error("broken off before anything was known")]
    Nothing,
}

/// Runs the study. Asked to stop, it answers with what is known by then.
pub fn answer(
    base: &Prepared,
    catalogue: &Catalogue,
    request: &Request,
    warnings: &[Diagnostic],
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(&Progress),
) -> Result<Answer, Refused> {
    let course = &base.course;
    let point = which_point(&base.course, request.point.as_deref())?;
    let at = &course.points[point];
    let lines = &base.points[point].lines;
    let (names, masks) = line_sets(lines, request)?;
    let tell = |stage: &'static str, done: usize, planned: usize, leader: Option<String>| {
        watch(&Progress { stage, done, planned, leader });
    };
    tell("planning", 0, 1, None);
    let plan = plan(base, point, request.seed, request.passings_per_race);
    tell("layout as it is", 0, 1, None);
    let races = run(base, point, &masks, &plan, request.seed, request.races, stop);
    if races.len() < 2 {
        return Err(Refused::Nothing);
    }
    let mut spent = crossings(&plan, races.len());
    let result = |set: usize| set_result(&names[set], &races, set, at.target);
    let all = result(0);
    let mut out = Answer {
        event: course.event_name.clone(),
        note: course.note.clone(),
        point: at.name.clone(),
        target: at.target,
        runners: course.field.runners,
        tag: TagEcho::new(&base.tag),
        region: course.region.name.clone(),
        weather: course.weather.key.clone(),
        request: request.clone(),
        races: races.len(),
        crossings: 0,
        interrupted: stop(),
        lines: lines.clone(),
        sets: (1..names.len().min(lines.len() + 1 + request.subsets.len())).map(result).collect(),
        pairs: line_pairs(base, &races, lines, &masks)?,
        shared: shared(base, &races, 0),
        floor: None,
        candidates: Vec::new(),
        built_in_catalogue: catalogue.built_in,
        distance: None,
        search: None,
        effects_off: effects_off(course),
        assumed: assumptions(course),
        warnings: warning_lines(warnings),
        provenance: Provenance::new(request.seed, course, &base.tag),
        all,
    };
    if !stop() {
        tell("what no line removes", 0, 1, None);
        let what_stays = floor(base, point, &plan, request, out.all.miss_rate, stop);
        out.floor = (!stop()).then_some(what_stays);
        spent += crossings(&plan, races.len()) * MOST_CROSSINGS as u64;
    }
    let candidates = catalogue.for_point(course, point);
    for (done, candidate) in candidates.iter().enumerate() {
        if stop() {
            break;
        }
        let leader = out.candidates.iter().min_by(|x, y| x.result.miss_rate.total_cmp(&y.result.miss_rate));
        let leader = leader.map(|c| {
            format!("fewest misses so far: {} ({:.2} of 10,000)", c.name, c.result.missed_per_10_000)
        });
        tell("candidates", done, candidates.len(), leader);
        let result = one_candidate(base, catalogue, point, candidate, &plan, request, &races, stop)?;
        // Broken off in the middle: its races are too few to stand beside the others.
        if stop() {
            break;
        }
        out.candidates.push(result);
        spent += crossings(&plan, races.len());
    }
    if request.distance_curve && !stop() {
        let planned = distance::DISTANCES_M.len();
        let told = |done: usize| tell("distance of the backup", done, planned, None);
        let line = out.sets.first().map_or(out.all.miss_rate, |set| set.miss_rate);
        let ask = distance::Ask {
            base,
            point,
            line: 0,
            plan: &plan,
            seed: request.seed,
            races: request.races.div_ceil(2),
            miss_rate: line,
            stop,
        };
        let found = distance::curve(&ask, &told);
        spent += crossings(&plan, found.races) * (planned * (1 + distance::SHARED.len()) + 2) as u64;
        out.distance = (!found.points.is_empty()).then_some(found);
    }
    if request.search && !stop() {
        let ask = cheapest::Ask {
            catalogue,
            candidates: &candidates,
            base,
            point,
            plan: &plan,
            seed: request.seed,
            races: request.races,
            confidence: request.confidence,
            stop,
        };
        let found = cheapest::search(&ask, &|done, planned, found| {
            let leader = found.map(|l| format!("cheapest so far: {} at {}", l.result.name, l.cost));
            tell("cheapest layout", done, planned, leader);
        });
        spent += found.crossings;
        out.search = Some(found);
    }
    out.crossings = spent;
    out.interrupted = stop();
    Ok(out)
}

/// All lines, each line, the named subsets, then every pair of lines.
fn line_sets(lines: &[String], request: &Request) -> Result<(Vec<String>, Vec<u64>), Refused> {
    let mut names = vec!["all lines".to_owned()];
    let mut masks = vec![(1u64 << lines.len()) - 1];
    for (i, line) in lines.iter().enumerate() {
        names.push(format!("{line} alone"));
        masks.push(1 << i);
    }
    for subset in &request.subsets {
        let mut mask = 0;
        for asked in subset {
            let i = lines
                .iter()
                .position(|l| l == asked)
                .ok_or_else(|| Refused::NoLine { asked: asked.clone(), there: lines.join(", ") })?;
            mask |= 1 << i;
        }
        names.push(subset.join(" + "));
        masks.push(mask);
    }
    for a in 0..lines.len() {
        for b in a + 1..lines.len() {
            names.push(format!("{} + {}", lines[a], lines[b]));
            masks.push(1 << a | 1 << b);
        }
    }
    Ok((names, masks))
}

fn line_pairs(
    base: &Prepared,
    races: &[RaceAtPoint],
    lines: &[String],
    masks: &[u64],
) -> Result<Vec<PairResult>, OutOfBounds> {
    let set_of = |mask: u64| masks.iter().rposition(|&m| m == mask).unwrap_or(0);
    let mut list = Vec::new();
    for a in 0..lines.len() {
        for b in a + 1..lines.len() {
            let sets = [set_of(1 << a), set_of(1 << b), set_of(1 << a | 1 << b)];
            list.push(pair_result(base, [&lines[a], &lines[b]], races, sets)?);
        }
    }
    Ok(list)
}

fn floor(
    base: &Prepared,
    point: usize,
    plan: &crate::study::strata::Plan,
    request: &Request,
    now: f64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Floor {
    let by_race = after_crossings(
        base,
        point,
        all_lines(base, point),
        plan,
        request.seed,
        request.races,
        MOST_CROSSINGS,
        stop,
    );
    let mean = |k: usize| by_race.iter().map(|rates| rates[k]).sum::<f64>() / by_race.len().max(1) as f64;
    let after_crossings: Vec<f64> = (0..MOST_CROSSINGS).map(mean).collect();
    let floor = after_crossings.last().copied().unwrap_or(0.0);
    Floor { share_of_misses: (now > 1e-9).then(|| (floor / now).min(1.0)), floor, after_crossings }
}

#[allow(clippy::too_many_arguments)]
fn one_candidate(
    base: &Prepared,
    catalogue: &Catalogue,
    point: usize,
    candidate: &Candidate,
    plan: &crate::study::strata::Plan,
    request: &Request,
    as_it_is: &[RaceAtPoint],
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<CandidateResult, Refused> {
    let (course, _) = catalogue.build(&base.course, point, &[candidate]).map_err(|problems| {
        Refused::Candidate(problems.into_iter().filter(|d| d.severity == Severity::Error).collect())
    })?;
    let prepared = prepare_like(Arc::new(course), base.tag.clone(), base);
    let old = base.points[point].lines.len();
    let lines = prepared.points[point].lines.len();
    // Lines that only came on top leave those that stand as they were.
    let stands = &base.course.points[point].lines;
    let on_top = lines > old && prepared.course.points[point].lines[..old] == stands[..];
    let standing = (1u64 << old.min(lines)) - 1;
    let all = all_lines(&prepared, point);
    let masks = if on_top { vec![all, standing, all & !standing] } else { vec![all] };
    let races = run(&prepared, point, &masks, plan, request.seed, request.races, stop);
    let target = prepared.course.points[point].target;
    let result = set_result(&candidate.name, &races, 0, target);
    let mean = |list: &[RaceAtPoint]| list.iter().map(|r| r.miss(0)).sum::<f64>() / list.len().max(1) as f64;
    let before = mean(&as_it_is[..races.len().min(as_it_is.len())]);
    let met = before >= 1e-9;
    let saved = (before - result.miss_rate) * base.course.field.runners as f64;
    let pair = if on_top {
        Some(pair_result(&prepared, ["all that stands", &candidate.name], &races, [1, 2, 0])?)
    } else {
        None
    };
    Ok(CandidateResult {
        name: candidate.name.clone(),
        cost: candidate.cost,
        still_missed: met.then(|| result.miss_rate / before),
        divides_misses_by: (met && result.miss_rate > 0.0).then(|| before / result.miss_rate),
        pair,
        saved_per_race: saved,
        cost_per_saved: candidate.cost.filter(|_| saved > 1e-6).map(|cost| cost / saved),
        result,
    })
}
