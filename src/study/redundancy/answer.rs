//! Redundancy as plain data: everything the text, the JSON and the justification are drawn from.

use super::catalogue::Catalogue;
pub use super::floor::Floor as FloorOf;
use super::floor::{Floor, floor};
use super::layouts::{Layout, by_cost, groups};
pub use super::results::{CandidateResult, NamedShare, PairResult, Reader, SetResult};
use super::results::{causes, one_candidate, pair, shared};
use super::search::{Search, Verdicts};
use super::stages::{GroupRun, days_of, stages};
use crate::diag::Diagnostic;
use crate::estimate::checkpoint::Kept;
use crate::estimate::run::{FIRST_WORLDS, Plan, Stopped, ask};
use crate::estimate::world::Ask;
use crate::passing::Prepared;
use crate::study::provenance::{
    AssumptionEcho, Provenance, SetUp, TagEcho, assumptions, effects_off, warning_lines,
};
use crate::study::which_point::{NoPoint, which_point};
use serde::Serialize;

/// What the study is asked to do.
#[derive(Clone, Debug, Serialize)]
pub struct Request {
    pub plan: Plan,
    /// Probability with which a race must keep the promise.
    pub confidence: f64,
    /// Timing point; default the finish.
    pub point: Option<String>,
    /// Named subsets of lines beside each line alone and all together.
    pub subsets: Vec<Vec<String>>,
    pub search: bool,
    /// Races of the season: for them candidates are paid once, and the promise is looked at as a contract.
    pub races: u64,
    /// Money a missed runner costs, if stated.
    pub missed_runner_cost: Option<f64>,
}

/// How far the study has come.
#[derive(Clone, Debug)]
pub struct Progress {
    pub stage: &'static str,
    pub done: u64,
    pub planned: u64,
    pub leader: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub event: String,
    pub note: String,
    pub point: String,
    pub target: f64,
    pub runners: u64,
    pub tag: TagEcho,
    pub region: String,
    pub weather: String,
    pub request: Request,
    pub worlds: u64,
    /// Passings of the point in all layouts together.
    pub passings: u64,
    pub stopped: Stopped,
    pub lines: Vec<String>,
    /// All lines together.
    pub all: SetResult,
    /// Each line alone, then the named subsets.
    pub sets: Vec<SetResult>,
    pub pairs: Vec<PairResult>,
    /// Who is missed by all lines together, by kind of bib.
    pub shared: Vec<NamedShare>,
    /// Why, by first cause.
    pub causes: Vec<NamedShare>,
    pub floor: Option<Floor>,
    pub candidates: Vec<CandidateResult>,
    pub built_in_catalogue: bool,
    pub search: Option<Search>,
    /// Candidates that cannot be built, and why.
    pub refused: Vec<String>,
    pub effects_off: Vec<String>,
    pub assumptions: Vec<AssumptionEcho>,
    pub warnings: Vec<String>,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error(transparent)]
    NoPoint(#[from] NoPoint),
    #[error("no line \"{asked}\" at this timing point (there: {there})")]
    NoLine { asked: String, there: String },
    #[error("a candidate of the catalogue cannot be built")]
    Candidate(Vec<Diagnostic>),
    #[error("interrupted before anything was known")]
    Nothing,
}

/// Runs the study. Asked to stop, it answers with what is known by then.
pub fn answer(
    base: &Prepared,
    catalogue: &Catalogue,
    request: &Request,
    warnings: &[Diagnostic],
    kept: &mut Kept,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &dyn Fn(&Progress),
) -> Result<Answer, Refused> {
    let course = &base.course;
    let point = which_point(course, request.point.as_deref())?;
    let at = &course.points[point];
    let lines = &base.points[point].lines;
    let sets = line_sets(lines, request)?;
    let candidates = catalogue.for_point(course, point);
    let (groups, layouts, refused) = groups(base, catalogue, point, &candidates);
    if let Some(first) = refused.iter().find(|r| !r.problems.is_empty())
        && !catalogue.built_in
    {
        return Err(Refused::Candidate(first.problems.clone()));
    }
    // Draws, allocation and tilt of a forecast: the same numbers.
    let masks = Ask::standard_masks(base);
    let like = kept.ask("pilot", &masks, || ask(base, &request.plan, masks.clone()));
    // First what stands with everything that only comes on top, and every candidate alone; then what else could be cheaper.
    let first = |l: &Layout| l.candidates.len() <= 1 || (l.group == 0 && request.search && l.cost.is_some());
    let mut wanted: Vec<&Layout> = layouts.iter().filter(|l| first(l)).collect();
    let mut runs: Vec<GroupRun> = groups
        .into_iter()
        .enumerate()
        .map(|(g, group)| {
            let mut masks: Vec<u64> = wanted.iter().filter(|l| l.group == g).map(|l| l.mask).collect();
            if g == 0 {
                masks.extend(sets.iter().map(|(_, mask)| *mask));
                masks.extend(pairs_of(lines.len()).map(|(a, b)| 1 << a | 1 << b));
                masks.extend(group.on_top.iter().map(|(_, mask)| *mask));
            }
            GroupRun::new(group, &like, point, masks)
        })
        .collect();
    let mut verdicts = Verdicts::new(request.confidence, course.field.runners, at.target);
    let mut stopped = Stopped::WorldsDone;
    let steps = stages(&request.plan, &like);
    let mut step = 0;
    let mut all_wanted = !request.search;
    while step < steps.len() {
        for g in 0..runs.len() {
            if g == 0 || verdicts.needs(g, &wanted) {
                runs[g].extend(&format!("{}, layouts {g}", at.name), steps[step], kept, stop);
            }
            let leader = verdicts.leader();
            watch(&Progress { stage: "layouts", done: g as u64 + 1, planned: runs.len() as u64, leader });
        }
        if stop() {
            stopped = Stopped::Interrupted;
            break;
        }
        verdicts.judge(&runs, &wanted);
        if !all_wanted && (verdicts.settled(&wanted) || step + 1 == steps.len()) {
            all_wanted = true;
            // Where misses have a price, a dearer layout may cost less in all.
            let per_rate = request
                .missed_runner_cost
                .map(|each| each * course.field.runners as f64 * request.races as f64);
            let in_all = |l: &&Layout| {
                let missed = per_rate.map(|money| money * days_of(&runs, l).rate().value);
                missed.zip(l.cost).map_or(f64::INFINITY, |(missed, cost)| cost + missed)
            };
            let best = wanted.iter().filter(|l| runs[l.group].rows.len() >= 2).map(in_all);
            let best = best.fold(f64::INFINITY, f64::min);
            let below = match per_rate {
                Some(_) => best.max(verdicts.cost_found(&wanted)),
                None => verdicts.cost_found(&wanted),
            };
            let more = layouts.iter().filter(|l| !first(l) && l.cost.is_some_and(|cost| cost <= below));
            let mut more: Vec<&Layout> = more.collect();
            if !more.is_empty() {
                for (g, run) in runs.iter_mut().enumerate() {
                    run.ask_for(more.iter().filter(|l| l.group == g).map(|l| l.mask));
                }
                wanted.append(&mut more);
                wanted.sort_by(|a, b| by_cost(a, b));
                verdicts.forget();
                continue;
            }
        }
        let rate = runs[0].days(runs[0].group.standing).rate();
        let precision = &request.plan.precision;
        let known = rate.standard_error <= precision.relative * rate.value
            || rate.standard_error * course.field.runners as f64 <= precision.runners;
        if known && verdicts.settled(&wanted) && request.plan.worlds.is_none() {
            stopped = Stopped::Settled;
            break;
        }
        step += 1;
    }
    // Worlds that every group has: what is compared stands on the same draws.
    let common = runs[0].rows.len();
    if common < 2 {
        return Err(Refused::Nothing);
    }
    let reader = Reader { runners: course.field.runners, target: at.target, races: request.races };
    let standing = runs[0].days(runs[0].group.standing);
    let all = reader.set("all lines", &standing);
    let pairs = pairs_of(lines.len())
        .map(|(a, b)| {
            let days = [1 << a, 1 << b, 1 << a | 1 << b].map(|mask| runs[0].days(mask));
            pair([&lines[a], &lines[b]], &days[0], &days[1], &days[2])
        })
        .collect();
    let mut found = Vec::new();
    for layout in wanted.iter().filter(|l| l.candidates.len() == 1) {
        let candidate = &candidates[layout.candidates[0]];
        let run = &runs[layout.group];
        if run.rows.len() < 2 {
            continue;
        }
        let new = run.group.on_top.iter().find(|(i, _)| *i == layout.candidates[0]).map(|(_, mask)| *mask);
        found.push(one_candidate(
            &reader,
            request,
            candidate,
            &runs,
            layout,
            new.filter(|_| layout.group == 0),
        ));
    }
    found.sort_by_key(|c: &CandidateResult| candidates.iter().position(|x| x.name == c.name));
    let what_stays = if stop() {
        None
    } else {
        let worlds = request.plan.worlds.unwrap_or(FIRST_WORLDS);
        Some(floor(base, point, &like, &all.miss_rate, worlds, kept, stop))
    };
    let mut provenance = Provenance::new(request.plan.seed, course, &base.tag);
    for run in &runs {
        provenance.set_up.add(SetUp::of(&run.group.prepared.course), "");
    }
    Ok(Answer {
        provenance,
        event: course.event_name.clone(),
        note: course.note.clone(),
        point: at.name.clone(),
        target: at.target,
        runners: course.field.runners,
        tag: TagEcho::new(&base.tag),
        region: course.region.name.clone(),
        weather: course.weather.key.clone(),
        request: request.clone(),
        worlds: common as u64,
        passings: runs.iter().map(GroupRun::passings).sum(),
        stopped,
        lines: lines.clone(),
        sets: sets.iter().skip(1).map(|(name, mask)| reader.set(name, &runs[0].days(*mask))).collect(),
        all,
        pairs,
        shared: shared(base, &runs[0].rows, point),
        causes: causes(&runs[0].rows, point),
        floor: what_stays.flatten(),
        candidates: found,
        built_in_catalogue: catalogue.built_in,
        search: (request.search && wanted.len() > 1)
            .then(|| verdicts.search(&runs, &wanted, &candidates, &reader, request)),
        refused: refused.iter().map(|r| candidates[r.candidate].name.clone()).collect(),
        effects_off: effects_off(course),
        assumptions: assumptions(course),
        warnings: warning_lines(warnings),
    })
}

/// All lines, each line alone, the named subsets.
fn line_sets(lines: &[String], request: &Request) -> Result<Vec<(String, u64)>, Refused> {
    let mut sets = vec![("all lines".to_owned(), (1u64 << lines.len()) - 1)];
    if lines.len() > 1 {
        sets.extend(lines.iter().enumerate().map(|(i, line)| (format!("{line} alone"), 1 << i)));
    }
    for subset in &request.subsets {
        let mut mask = 0;
        for asked in subset {
            let found = lines.iter().position(|l| l == asked);
            mask |= 1
                << found.ok_or_else(|| Refused::NoLine { asked: asked.clone(), there: lines.join(", ") })?;
        }
        sets.push((subset.join(" + "), mask));
    }
    Ok(sets)
}

fn pairs_of(lines: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..lines).flat_map(move |a| (a + 1..lines).map(move |b| (a, b)))
}
