//! `learn`: what races and trials teach, and whether it can be believed.
//!
//! Looks before anything is believed: are the weights spread over enough vectors (effective number, k-hat); would each source have been foreseen from the
//! others alone, and at all; and would worlds like those learned have been found (`learn::calibration`). A count is "in line" above 5 %, "unusual" above 1 %, else "outside the beliefs"
//! (twice the smaller tail of what would have been counted; M. Evans, H. Moshonov, Bayesian Anal. 1 (2006) 893-914 on such checks, from memory).

use super::predict::settled;
use super::provenance::{InputFile, Provenance, TagEcho, warning_lines};
use crate::diag::Diagnostic;
use crate::estimate::checkpoint::Kept;
use crate::estimate::run;
use crate::estimate::world::Ask;
use crate::learn::calibration::{Calibration, calibration};
use crate::learn::causes::{Cause, causes};
use crate::learn::evidence::{Evidence, Kind};
use crate::learn::folder::{LearnedFrom, kept_vectors};
use crate::learn::ladder::{Rung, ladder};
use crate::learn::likelihood::Told;
use crate::learn::pareto::limit;
use crate::learn::posterior::{Posterior, learn, seed_of};
use crate::outcome::Outcome;
use crate::outcome::trial::{Setting, Trial};
use crate::passing::Prepared;
use crate::passing::learned::Learned;
use crate::tag::Tag;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// An outcome with its scenario prepared.
pub struct Given {
    pub outcome: Outcome,
    pub trial: Option<Trial>,
    /// Readers as they stood.
    pub prepared: Arc<Prepared>,
    /// Readers as the scenario has them.
    pub full_power: Arc<Prepared>,
}

pub struct Plan {
    pub seed: u64,
    pub groups: u64,
    pub passings_per_world: u64,
}

/// How a number is distributed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    pub mean: f64,
    pub p05: f64,
    pub median: f64,
    pub p95: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    InLine,
    Unusual,
    Outside,
}

impl Verdict {
    pub fn of(tail: f64) -> Verdict {
        match tail {
            t if t > 0.05 => Verdict::InLine,
            t if t > 0.01 => Verdict::Unusual,
            _ => Verdict::Outside,
        }
    }
}

/// What would have been counted, and how far out the count is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Foreseen {
    pub count: Spread,
    /// Twice the smaller tail.
    pub tail: f64,
    pub verdict: Verdict,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SourceAnswer {
    pub name: String,
    pub trial: bool,
    /// What was counted, in words, count by count.
    pub counted: Vec<String>,
    /// Of its first count.
    pub passed: u64,
    pub missed: f64,
    /// From the beliefs before anything was counted.
    pub before: Foreseen,
    /// From all other sources; none where it is the only one.
    pub from_others: Option<Foreseen>,
    /// Of a trial: every setting, the least power last.
    pub rungs: Vec<RungAnswer>,
    /// Whether the reason of the misses is the one that was learned.
    pub causes: Vec<CauseAnswer>,
}

/// One question about the reason.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CauseAnswer {
    pub question: String,
    pub of: u64,
    pub count: u64,
    pub foreseen: Foreseen,
}

/// A setting of a trial.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RungAnswer {
    pub setting: String,
    pub passed: u64,
    pub missed: u64,
    /// What would have been missed, before anything was learned and after.
    pub before: Spread,
    pub after: Spread,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TargetAnswer {
    pub scenario: String,
    pub point: String,
    pub runners: u64,
    /// Miss rate from race to race, before and after.
    pub before: Spread,
    pub after: Spread,
}

/// The answer of `learn`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub note: String,
    pub tag: TagEcho,
    pub race_effect_db: f64,
    pub sources: Vec<SourceAnswer>,
    /// Counts left out, with the reason on record.
    pub left_out: Vec<String>,
    pub targets: Vec<TargetAnswer>,
    pub groups: u64,
    pub rounds: usize,
    pub effective_groups: f64,
    pub k_hat: Option<f64>,
    pub k_limit: f64,
    pub trusted: bool,
    pub calibration: Calibration,
    pub passings: u64,
    pub learned_from: Vec<LearnedFrom>,
    pub warnings: Vec<String>,
}

/// Learns from what is given (at least one source); `None` once `stop` says so.
pub fn answer(
    given: &[Given],
    plan: &Plan,
    warnings: &[Diagnostic],
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&str),
) -> Result<Option<(Answer, Posterior)>, String> {
    let evidence = evidence(given, plan)?;
    let Some(posterior) = learn(&evidence, plan.seed, plan.groups, stop, watch) else { return Ok(None) };
    watch("trials walked again");
    let (mut rungs, mut reasons) = (Vec::new(), Vec::new());
    for (s, given) in given.iter().enumerate() {
        let Some(of) = ladder(&evidence, &posterior, seed_of(plan.seed), s, stop) else { return Ok(None) };
        rungs.push(given.trial.as_ref().map_or(Vec::new(), |trial| rung_answers(trial, of)));
        let Some(of) = causes(&evidence, &posterior, seed_of(plan.seed), s, stop) else { return Ok(None) };
        reasons.push(of.into_iter().map(cause_answer).collect::<Vec<_>>());
    }
    let before = posterior.prior_weights();
    let sources = evidence.sources.iter().enumerate().map(|(s, source)| {
        let (passed, missed) = first_count(&source.kind);
        let foreseen = |weights: &[Vec<f64>]| {
            let again = values(&posterior, weights, |told, j| told.again[j][s] as f64);
            foreseen(again, missed)
        };
        let alone = evidence.sources.len() == 1;
        SourceAnswer {
            name: source.name.clone(),
            trial: matches!(source.kind, Kind::Trial(_)),
            counted: words(&given[s]),
            passed,
            missed,
            before: foreseen(&before),
            rungs: std::mem::take(&mut rungs[s]),
            causes: std::mem::take(&mut reasons[s]),
            from_others: (!alone).then(|| foreseen(&posterior.vector_weights(Some(s)))),
        }
    });
    let sources = sources.collect();
    watch("worlds counted again");
    let Some(calibration) = calibration(&evidence, &posterior, seed_of(plan.seed), stop) else {
        return Ok(None);
    };
    watch("forecasts before and after");
    let Some(targets) = targets(given, &posterior, plan.seed, stop) else { return Ok(None) };
    let first = &given[0];
    let mut provenance = Provenance::new(plan.seed, &first.prepared.course, &first.prepared.tag);
    for other in given {
        let own = Provenance::new(plan.seed, &other.prepared.course, &other.prepared.tag);
        provenance.set_up.add(own.set_up, "");
        let outcome =
            std::iter::once(&other.outcome.file_hash).chain(other.trial.as_ref().map(|t| &t.file_hash));
        let outcome = outcome.map(|(path, sha256)| InputFile { path: path.clone(), sha256: sha256.clone() });
        for input in own.inputs.into_iter().chain(outcome) {
            if !provenance.inputs.contains(&input) {
                provenance.inputs.push(input);
            }
        }
    }
    let answer = Answer {
        provenance,
        note: first.outcome.note.clone(),
        tag: TagEcho::new(&first.prepared.tag),
        race_effect_db: first.prepared.tag.spread.race_effect_db,
        sources,
        left_out: left_out(given),
        targets,
        groups: posterior.points.len() as u64,
        rounds: posterior.rounds,
        effective_groups: posterior.effective,
        k_hat: posterior.k_hat,
        k_limit: limit(posterior.points.len()),
        trusted: posterior.is_enough(),
        calibration,
        passings: posterior.passings,
        learned_from: given
            .iter()
            .map(|g| LearnedFrom {
                name: g.outcome.name.clone(),
                path: g.outcome.file_hash.0.clone(),
                sha256: g.outcome.file_hash.1.clone(),
            })
            .collect(),
        warnings: warning_lines(warnings),
    };
    Ok(Some((answer, posterior)))
}

/// The outcomes in terms of tables.
pub fn evidence(given: &[Given], plan: &Plan) -> Result<Evidence, String> {
    let mut evidence = Evidence::default();
    let (seed, passings) = (seed_of(plan.seed), plan.passings_per_world);
    for g in given {
        match &g.trial {
            None => evidence.add_race(&g.outcome, &g.prepared, seed, passings),
            Some(trial) => evidence.add_trial(&g.outcome, trial.clone(), &g.prepared, seed, passings)?,
        }
    }
    Ok(evidence)
}

/// Forecasts of every scenario before and after, by the engine of `predict`: with the same seed the very numbers it gives without and with what was learned.
fn targets(
    given: &[Given],
    posterior: &Posterior,
    seed: u64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Vec<TargetAnswer>> {
    let law = Arc::new(Learned::new(kept_vectors(posterior), true)?);
    let (mut out, mut done) = (Vec::new(), Vec::<&str>::new());
    for g in given {
        let scenario = g.prepared.course.file_hash.0.as_str();
        if done.contains(&scenario) {
            continue;
        }
        done.push(scenario);
        let mut unlearned = Tag::clone(&g.prepared.tag);
        unlearned.spread.race_effect_db = 0.0;
        let with = |tag: Arc<Tag>, learned| Prepared { tag, learned, ..Prepared::clone(&g.full_power) };
        let before = spreads(&with(Arc::new(unlearned), None), seed, stop)?;
        let after = spreads(&with(g.prepared.tag.clone(), Some(law.clone())), seed, stop)?;
        for ((point, before), after) in g.prepared.points.iter().zip(before).zip(after) {
            let runners = g.prepared.course.field.runners;
            out.push(TargetAnswer {
                scenario: scenario.to_owned(),
                point: point.name.clone(),
                runners,
                before,
                after,
            });
        }
    }
    Some(out)
}

/// Miss rate of every point from race to race.
fn spreads(prepared: &Prepared, seed: u64, stop: &(dyn Fn() -> bool + Sync)) -> Option<Vec<Spread>> {
    let plan = run::Plan::new(seed);
    let ask = run::ask(prepared, &plan, Ask::standard_masks(prepared));
    let settled = settled(prepared, &plan);
    let done = run::run(prepared, &plan, ask, &mut Kept::nowhere(), &settled, stop, &mut |_| {});
    let of = |p: usize| {
        let days = done.days(p, 0);
        let quantiles = days.quantiles(&[0.05, 0.5, 0.95]);
        let [p05, median, p95] = [0, 1, 2].map(|i| quantiles[i].value);
        Spread { mean: days.rate().value, p05, median, p95 }
    };
    (done.stopped != run::Stopped::Interrupted).then(|| (0..prepared.points.len()).map(of).collect())
}

/// Values of all vectors with their weights.
fn values(posterior: &Posterior, weights: &[Vec<f64>], of: impl Fn(&Told, usize) -> f64) -> Vec<(f64, f64)> {
    let of = &of;
    let each = weights.iter().zip(&posterior.told);
    each.flat_map(|(weights, told)| weights.iter().enumerate().map(move |(j, &w)| (of(told, j), w))).collect()
}

fn spread(mut values: Vec<(f64, f64)>) -> Spread {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mean = values.iter().map(|(v, w)| v * w).sum();
    let quantile = |p: f64| {
        let mut below = 0.0;
        let at = values.iter().find(|(_, w)| {
            below += w;
            below >= p
        });
        at.or(values.last()).map_or(0.0, |v| v.0)
    };
    Spread { mean, p05: quantile(0.05), median: quantile(0.5), p95: quantile(0.95) }
}

fn foreseen(again: Vec<(f64, f64)>, missed: f64) -> Foreseen {
    let below: f64 = again.iter().filter(|(count, _)| *count <= missed).map(|(_, w)| w).sum();
    let above: f64 = again.iter().filter(|(count, _)| *count >= missed).map(|(_, w)| w).sum();
    let tail = (2.0 * below.min(above)).clamp(0.0, 1.0);
    Foreseen { count: spread(again), tail, verdict: Verdict::of(tail) }
}

fn first_count(kind: &Kind) -> (u64, f64) {
    use crate::learn::evidence::Counted;
    match kind {
        Kind::Race(race) => match race.counted.first() {
            Some(Counted::Missed { passed, missed, .. }) => (*passed, 0.5 * (missed.0 + missed.1) as f64),
            Some(Counted::Patterns { cells }) => {
                (cells.iter().map(|c| c.1).sum(), cells.last().map_or(0.0, |c| c.1 as f64))
            }
            None => (0, 0.0),
        },
        Kind::Trial(t) => {
            let missed: u64 = t.trial.walkers.iter().flat_map(|w| &w.counts).map(|c| c.2).sum();
            (t.trial.passings, missed as f64)
        }
    }
}

/// A setting in words.
fn setting_words(setting: &Setting) -> String {
    let how = if setting.attenuated { " by attenuator" } else { "" };
    let power = match setting.drop_db() {
        0.0 => "full power".to_owned(),
        db => format!("{db} dB down{how}"),
    };
    let point = if setting.point.is_empty() { String::new() } else { format!("{}, ", setting.point) };
    format!("{point}{}, {}, {power}", setting.placement.words(), setting.wetness.key())
}

/// Passed and missed at a setting.
fn of_setting(trial: &Trial, number: usize) -> (u64, u64) {
    let counts = trial.walkers.iter().flat_map(|w| &w.counts).filter(|c| c.0 == number);
    counts.fold((0, 0), |sum, c| (sum.0 + c.1, sum.1 + c.2))
}

fn cause_answer(cause: Cause) -> CauseAnswer {
    let total: f64 = cause.foreseen.iter().map(|f| f.1).sum();
    let foreseen = foreseen(cause.foreseen.iter().map(|f| (f.0, f.1 / total)).collect(), cause.count as f64);
    CauseAnswer { question: cause.words, of: cause.of, count: cause.count, foreseen }
}

fn rung_answers(trial: &Trial, rungs: Vec<Rung>) -> Vec<RungAnswer> {
    let mut order: Vec<usize> = (0..trial.settings.len()).collect();
    order.sort_by(|&a, &b| {
        let key = |s: &Setting| (s.point.clone(), s.placement, s.wetness, s.attenuated, s.drop_mdb);
        key(&trial.settings[a]).cmp(&key(&trial.settings[b]))
    });
    let of = |s: usize| {
        let (passed, missed) = of_setting(trial, s);
        let [before, after] = [&rungs[s].before, &rungs[s].after].map(|walks| {
            let total: f64 = walks.iter().map(|w| w.1).sum();
            spread(walks.iter().map(|w| (w.0, w.1 / total)).collect())
        });
        RungAnswer { setting: setting_words(&trial.settings[s]), passed, missed, before, after }
    };
    order.into_iter().map(of).collect()
}

/// What was counted, count by count.
fn words(given: &Given) -> Vec<String> {
    if let Some(trial) = &given.trial {
        let words = |(i, setting): (usize, &Setting)| {
            let (passed, missed) = of_setting(trial, i);
            format!("{}: {missed} of {passed} missed", setting_words(setting))
        };
        return trial.settings.iter().enumerate().map(words).collect();
    }
    let of_count = |count: &crate::outcome::PointCount| {
        let missed = match count.missed {
            (a, b) if a == b => a.to_string(),
            (a, b) => format!("{a} to {b}"),
        };
        format!("{}: {missed} of {} missed ({})", count.point, count.passed, count.reference.words())
    };
    given.outcome.counts.iter().filter(|c| c.excluded.is_none()).map(of_count).collect()
}

fn left_out(given: &[Given]) -> Vec<String> {
    let of = |g: &Given| {
        let name = g.outcome.name.clone();
        let excluded =
            g.outcome.counts.iter().filter_map(|c| c.excluded.as_ref().map(|why| (c.point.clone(), why)));
        excluded.map(move |(point, why)| format!("{name}, {point}: {why}")).collect::<Vec<_>>()
    };
    given.iter().flat_map(of).collect()
}
