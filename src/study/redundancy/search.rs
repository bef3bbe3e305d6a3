//! The cheapest layout that keeps the promise: layouts by rising cost, each proven, refuted or left open.
//!
//! A layout is proven when the lower end of the 95 % interval of "a race keeps the promise" reaches the confidence asked for, refuted when
//! the upper end stays below it. Worlds are added until the cheapest proven layout has only refuted ones before it; where the most
//! worlds do not do, the open ones are named: more computing will hardly tell them apart.

use super::answer::{Reader, Request, SetResult};
use super::catalogue::Candidate;
use super::layouts::Layout;
use super::stages::{GroupRun, days_of};
use crate::estimate::promise::promise;
use crate::estimate::replicates::Figure;
use serde::Serialize;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Proven,
    Refuted,
    Open,
}

/// A layout of the search.
#[derive(Clone, Debug, Serialize)]
pub struct Found {
    /// Candidates added to what stands already; empty for the layout as it is.
    pub added: Vec<String>,
    pub cost: f64,
    pub result: SetResult,
    pub verdict: Verdict,
    /// Cost plus what the runners missed over the season's races cost; none where that is not stated.
    pub with_misses: Option<Figure>,
}

#[derive(Clone, Debug, Serialize)]
pub struct Search {
    pub target: f64,
    pub confidence: f64,
    pub layouts: usize,
    /// The cheapest proven layout.
    pub found: Option<Found>,
    /// Cheaper layouts that the run leaves open.
    pub open: Vec<Found>,
    /// The layouts that come nearest where none is proven.
    pub nearest: Vec<Found>,
    /// The layout that costs least with the misses over the season, where a missed runner's cost is stated.
    pub cheapest_with_misses: Option<Found>,
    /// Layouts whose cost with the misses is not told apart from that.
    pub ties_with_misses: Vec<String>,
    pub without_cost: Vec<String>,
}

/// Verdicts on the layouts, one each.
pub struct Verdicts {
    list: Vec<Verdict>,
    confidence: f64,
    runners: u64,
    target: f64,
}

/// Most layouts named as near.
const NEAR: usize = 3;

impl Verdicts {
    pub fn new(confidence: f64, runners: u64, target: f64) -> Verdicts {
        Verdicts { list: Vec::new(), confidence, runners, target }
    }

    /// Forgets all verdicts: the layouts wanted have changed.
    pub fn forget(&mut self) {
        self.list.clear();
    }

    /// Cost of the cheapest proven layout.
    pub fn cost_found(&self, wanted: &[&Layout]) -> f64 {
        self.first_proven(wanted).and_then(|i| wanted[i].cost).unwrap_or(f64::INFINITY)
    }

    /// Judges every layout that has worlds.
    pub fn judge(&mut self, runs: &[GroupRun], wanted: &[&Layout]) {
        self.list.resize(wanted.len(), Verdict::Open);
        for (verdict, layout) in self.list.iter_mut().zip(wanted) {
            if runs[layout.group].rows.len() < 2 {
                continue;
            }
            let kept = promise(&days_of(runs, layout), self.runners, self.target, 0).kept();
            *verdict = if kept.low >= self.confidence {
                Verdict::Proven
            } else if kept.high < self.confidence {
                Verdict::Refuted
            } else {
                Verdict::Open
            };
        }
    }

    fn of(&self, layout: usize) -> Verdict {
        self.list.get(layout).copied().unwrap_or(Verdict::Open)
    }

    /// Number of the cheapest proven layout with a price.
    fn first_proven(&self, wanted: &[&Layout]) -> Option<usize> {
        (0..self.list.len()).find(|&i| self.list[i] == Verdict::Proven && wanted[i].cost.is_some())
    }

    /// Whether more worlds could still change what is found.
    pub fn settled(&self, wanted: &[&Layout]) -> bool {
        let before = self.first_proven(wanted).unwrap_or(wanted.len());
        (0..before).all(|i| {
            wanted[i].cost.is_none() || self.list.get(i).is_some_and(|verdict| *verdict != Verdict::Open)
        })
    }

    /// Whether a group holds a layout that the search still needs.
    pub fn needs(&self, group: usize, wanted: &[&Layout]) -> bool {
        let before = self.first_proven(wanted).unwrap_or(wanted.len());
        wanted.iter().enumerate().any(|(i, layout)| {
            let open = self.list.get(i).is_none_or(|verdict| *verdict != Verdict::Refuted);
            layout.group == group && (i <= before || layout.candidates.len() == 1) && open
        })
    }

    pub fn leader(&self) -> Option<String> {
        let proven = self.list.iter().filter(|v| **v == Verdict::Proven).count();
        (proven > 0).then(|| format!("{proven} of {} layouts proven so far", self.list.len()))
    }

    pub fn search(
        &self,
        runs: &[GroupRun],
        wanted: &[&Layout],
        candidates: &[Candidate],
        reader: &Reader,
        request: &Request,
    ) -> Search {
        let names = |l: &Layout| l.candidates.iter().map(|&i| candidates[i].name.clone()).collect::<Vec<_>>();
        let found = |i: usize| {
            let layout = wanted[i];
            let days = days_of(runs, layout);
            let name = names(layout).join(" + ");
            let result = reader.set(if name.is_empty() { "as it is" } else { &name }, &days);
            let cost = layout.cost.unwrap_or(0.0);
            let with_misses = request.missed_runner_cost.map(|each| {
                let missed = result.miss_rate.times(reader.runners as f64 * request.races as f64 * each);
                Figure {
                    value: cost + missed.value,
                    low: cost + missed.low,
                    high: cost + missed.high,
                    standard_error: missed.standard_error,
                }
            });
            Found { added: names(layout), cost, result, verdict: self.of(i), with_misses }
        };
        let known = |i: &usize| wanted[*i].cost.is_some() && runs[wanted[*i].group].rows.len() >= 2;
        let first = self.first_proven(wanted);
        let open: Vec<Found> = (0..first.unwrap_or(wanted.len()))
            .filter(known)
            .filter(|&i| self.of(i) == Verdict::Open)
            .map(found)
            .take(NEAR)
            .collect();
        let mut nearest: Vec<Found> = if first.is_none() && open.is_empty() {
            (0..wanted.len()).filter(known).map(found).collect()
        } else {
            Vec::new()
        };
        nearest.sort_by(|a, b| {
            let kept = |f: &Found| f.result.promise.kept().value;
            kept(b).total_cmp(&kept(a)).then(a.cost.total_cmp(&b.cost))
        });
        nearest.truncate(NEAR);
        let mut by_cost: Vec<Found> = if request.missed_runner_cost.is_some() {
            (0..wanted.len()).filter(known).map(found).collect()
        } else {
            Vec::new()
        };
        let total = |f: &Found| f.with_misses.map_or(f64::INFINITY, |w| w.value);
        by_cost.sort_by(|a, b| total(a).total_cmp(&total(b)));
        let cheapest = by_cost.first().cloned();
        let ties = by_cost
            .iter()
            .skip(1)
            .filter(|f| {
                cheapest
                    .as_ref()
                    .and_then(|c| c.with_misses)
                    .zip(f.with_misses)
                    .is_some_and(|(c, w)| w.low < c.high)
            })
            .map(|f| f.result.name.clone())
            .take(NEAR)
            .collect();
        Search {
            target: self.target,
            confidence: self.confidence,
            layouts: wanted.len(),
            found: first.map(found),
            open,
            nearest,
            cheapest_with_misses: cheapest,
            ties_with_misses: ties,
            without_cost: candidates.iter().filter(|c| c.cost.is_none()).map(|c| c.name.clone()).collect(),
        }
    }
}
