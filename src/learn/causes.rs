//! A count may fit for a wrong reason. What patterns of lines and the bibs of those missed say of the reason, against what was learned.
//!
//! A vector picked by its weight, a day and an offset give the odds of the question (of those missed by one line: missed by the other too; of those missed: worn
//! so), and these the count that would have been seen. Shares of placements come from the chance sample, Dirichlet with half a runner added to each
//! (H. Jeffreys, Theory of Probability, 3rd ed. (1961), §3.9, from memory), not from the scenario.

use super::evidence::{Counted, Evidence, Kind, RaceEvidence, Sum};
use super::ladder::Weighted;
use super::likelihood::{Laid, days};
use super::odds::cell_at;
use super::posterior::Posterior;
use super::vectors::{EACH, SPREADS};
use crate::course::field::Placement;
use crate::numeric::counts::binomial_quantile;
use crate::numeric::gamma::gamma_quantile;
use crate::outcome::who::Who;
use crate::random::{Purpose, Stream};
use rayon::prelude::*;

/// Groups with less weight are left out.
const LIGHT: f64 = 1e-7;
/// Fewer runners than this tell no cause.
const FEWEST: u64 = 5;

/// One question and what it would have counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    pub words: String,
    pub of: u64,
    pub count: u64,
    pub foreseen: Weighted,
}

enum Asked {
    /// Missed by both lines, and by one of them.
    Both(Sum, Sum),
    /// Missed with a bib worn so: number of the count's `who`.
    Worn(usize, Placement),
    /// Share of a chance sample, as the scenario has it.
    Sampled(Placement),
}

struct Question {
    cause: Cause,
    asked: Asked,
}

/// Questions that a source can be asked, with what the learned vectors expect. `None` once `stop` says so.
pub fn causes(
    evidence: &Evidence,
    posterior: &Posterior,
    seed: u64,
    source: usize,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Vec<Cause>> {
    let Kind::Race(race) = &evidence.sources[source].kind else { return Some(Vec::new()) };
    let view = evidence.sources[source].view;
    let mut questions = questions(evidence, view, race);
    if questions.is_empty() {
        return Some(Vec::new());
    }
    let learned = posterior.vector_weights(None);
    let of_group = |group: usize| {
        if stop() {
            return None;
        }
        let mut out = Vec::new();
        if learned[group].iter().sum::<f64>() < LIGHT {
            return Some(out);
        }
        let vectors = posterior.vectors(group);
        let mut stream = Stream::new(seed, Purpose::Study, 9, group as u64, source as u64);
        for spread in 0..SPREADS {
            let own = spread * EACH..(spread + 1) * EACH;
            let weights = &learned[group][own.clone()];
            let weight: f64 = weights.iter().sum();
            if weight <= 0.0 {
                continue;
            }
            let shares: Vec<f64> = weights.iter().map(|w| w / weight).collect();
            let u = &vectors[own.start + cell_at(&shares, stream.uniform())];
            let mut laid = Laid::new(evidence, &posterior.tables, group, u);
            let cell = cell_at(&laid.masses(view, u), stream.uniform());
            let counts = counts(&mut laid, view, race, &questions, cell, &mut stream);
            out.push((weight, counts));
        }
        Some(out)
    };
    let walks: Vec<_> = (0..posterior.points.len()).into_par_iter().map(of_group).collect::<Option<_>>()?;
    for (weight, counts) in walks.into_iter().flatten() {
        for (question, count) in questions.iter_mut().zip(counts) {
            question.cause.foreseen.push((count as f64, weight));
        }
    }
    Some(questions.into_iter().map(|q| q.cause).collect())
}

fn questions(evidence: &Evidence, view: usize, race: &RaceEvidence) -> Vec<Question> {
    let prepared = &evidence.views[view].prepared;
    let mut out = Vec::new();
    let mut ask = |words: String, of: u64, count: u64, asked: Asked| {
        if of >= FEWEST {
            out.push(Question { cause: Cause { words, of, count, foreseen: Vec::new() }, asked });
        }
    };
    for (name, counted) in race.points.iter().zip(&race.counted) {
        let Counted::Patterns { cells } = counted else { continue };
        let point = prepared.points.iter().find(|p| p.name == *name).expect("the point is in the scenario");
        // Cells by the lines that missed: those that missed all of a set, at least.
        let missed_by = |set: usize| {
            let holding = cells.iter().enumerate().filter(move |(missed, _)| missed & set == set);
            holding.fold((Sum::default(), 0), |(mut sum, n), (_, (odds, count))| {
                sum.constant += odds.constant;
                sum.terms.extend(odds.terms.iter().copied());
                (sum, n + count)
            })
        };
        for a in 0..point.lines.len() {
            for b in a + 1..point.lines.len() {
                let ((one, of), (both, count)) = (missed_by(1 << a), missed_by(1 << a | 1 << b));
                let words =
                    format!("{name}: of those {} missed, missed by {} too", point.lines[a], point.lines[b]);
                ask(words, of, count, Asked::Both(both, one));
            }
        }
    }
    for (number, of) in race.who.iter().enumerate() {
        let name = &prepared.points[of.point].name;
        for placement in prepared.course.field.placements.iter().map(|p| p.placement) {
            let count = |list| (Who::total(list), Who::of(list, placement));
            let ((missed, worn), (sampled, in_sample)) = (count(&of.who.missed), count(&of.who.sample));
            let how = placement.words();
            ask(format!("{name}: of those missed, {how}"), missed, worn, Asked::Worn(number, placement));
            let words = format!("{name}: of a chance sample, {how} (the scenario's share)");
            ask(words, sampled, in_sample, Asked::Sampled(placement));
        }
    }
    out
}

/// What each question would have counted on one day and at one offset.
fn counts(
    laid: &mut Laid,
    view: usize,
    race: &RaceEvidence,
    questions: &[Question],
    cell: usize,
    stream: &mut Stream,
) -> Vec<u64> {
    let shares = days(laid.course(view));
    let day = ((stream.uniform() * shares.len() as f64) as usize).min(shares.len() - 1);
    // For each `who` the placements' parts in all misses.
    let worn: Vec<Vec<(Placement, f64)>> = race
        .who
        .iter()
        .map(|of| {
            let course = laid.course(view);
            let drawn: Vec<(Placement, f64)> = course
                .field
                .placements
                .iter()
                .map(|p| {
                    let sampled = Who::of(&of.who.sample, p.placement) as f64;
                    let odds_of_missed = laid.of_placement(view, of.set, p.placement, shares[day], cell);
                    (p.placement, gamma_quantile(sampled + 0.5, stream.uniform()) * odds_of_missed)
                })
                .collect();
            let total: f64 = drawn.iter().map(|d| d.1).sum();
            drawn.into_iter().map(|(placement, part)| (placement, part / total.max(1e-300))).collect()
        })
        .collect();
    let of = |question: &Question| {
        let odds = match &question.asked {
            Asked::Both(both, one) => {
                let (both, one) = (laid.sum(view, both)[day][cell], laid.sum(view, one)[day][cell]);
                if one > 0.0 { both / one } else { 0.0 }
            }
            Asked::Worn(number, placement) => {
                worn[*number].iter().filter(|w| w.0 == *placement).map(|w| w.1).sum()
            }
            Asked::Sampled(placement) => {
                let all = &laid.course(view).field.placements;
                let total: f64 = all.iter().map(|p| p.share).sum();
                all.iter().filter(|p| p.placement == *placement).map(|p| p.share / total).sum()
            }
        };
        binomial_quantile(stream.uniform(), question.cause.of, odds.clamp(0.0, 1.0))
    };
    questions.iter().map(of).collect()
}
