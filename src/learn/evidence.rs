//! What the outcomes ask of the model: tables of miss odds, and what was counted in terms of them.

use crate::course::weather::Wetness;
use crate::estimate::pilot::pilot;
use crate::estimate::strata::{LEAST, Stratum, strata};
use crate::estimate::tilt::Tilt;
use crate::estimate::world::Ask;
use crate::outcome::trial::Trial;
use crate::outcome::who::Who;
use crate::outcome::{Outcome, PointCount, Reference};
use crate::passing::Prepared;
use std::sync::Arc;

/// Most lines of a point whose patterns are learned from.
pub const MOST_LINES: usize = 4;

/// One table of miss odds: a set-up, and the sets of lines asked of it.
#[derive(Clone)]
pub struct View {
    pub prepared: Arc<Prepared>,
    pub ask: Ask,
}

/// Σ coefficient · P(set of a view) + constant.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sum {
    pub constant: f64,
    /// View, set, coefficient.
    pub terms: Vec<(usize, usize, f64)>,
}

impl Sum {
    fn of(view: usize, set: usize) -> Sum {
        Sum { constant: 0.0, terms: vec![(view, set, 1.0)] }
    }
    fn one() -> Sum {
        Sum { constant: 1.0, terms: Vec::new() }
    }
    fn less(mut self, view: usize, set: usize) -> Sum {
        self.terms.push((view, set, -1.0));
        self
    }
}

/// A probability: a sum, or one under a condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Odds {
    pub top: Sum,
    pub bottom: Sum,
}

/// One count.
#[derive(Clone, Debug, PartialEq)]
pub enum Counted {
    /// Between the two numbers of those passed were missed.
    Missed { odds: Odds, passed: u64, missed: (u64, u64) },
    /// Runners by which lines read them, all combinations.
    Patterns { cells: Vec<(Sum, u64)> },
}

/// Bibs of those missed at a point.
#[derive(Clone)]
pub struct WhoMissed {
    pub point: usize,
    /// Set "missed by all its lines" of the race's first view.
    pub set: usize,
    pub who: Who,
}

/// A race, in terms of the views.
#[derive(Clone)]
pub struct RaceEvidence {
    pub counted: Vec<Counted>,
    pub soaked: Option<(u64, u64)>,
    pub who: Vec<WhoMissed>,
    /// Names of the points counted.
    pub points: Vec<String>,
}

/// A trial, in terms of the views: for each setting a view, a set and a stratum.
#[derive(Clone)]
pub struct TrialEvidence {
    pub settings: Vec<(usize, usize, usize)>,
    pub trial: Trial,
}

#[derive(Clone)]
pub enum Kind {
    Race(RaceEvidence),
    Trial(TrialEvidence),
}

/// One source of learning.
pub struct Source {
    pub name: String,
    /// First view, from which the scenario's weather and batch law are taken.
    pub view: usize,
    pub kind: Kind,
}

/// All sources with the tables they need.
#[derive(Default)]
pub struct Evidence {
    pub views: Vec<View>,
    pub sources: Vec<Source>,
}

impl Evidence {
    /// Adds a view unless it is there. `passings` are shared out over the strata by a pilot.
    fn view(&mut self, prepared: &Arc<Prepared>, masks: Vec<Vec<u64>>, seed: u64, passings: u64) -> usize {
        let there =
            self.views.iter().position(|v| Arc::ptr_eq(&v.prepared, prepared) && v.ask.masks == masks);
        there.unwrap_or_else(|| {
            let (allocation, _) = pilot(prepared, seed, &masks, passings);
            let ask = Ask { seed, masks, allocation, tilt: Tilt::default() };
            self.views.push(View { prepared: prepared.clone(), ask });
            self.views.len() - 1
        })
    }

    /// A race with its scenario, readers as low as they stood. What it names is in the scenario.
    pub fn add_race(&mut self, outcome: &Outcome, prepared: &Arc<Prepared>, seed: u64, passings: u64) {
        let base = self.view(prepared, standard(prepared), seed, passings);
        let counts: Vec<&PointCount> = outcome.counts.iter().filter(|c| c.excluded.is_none()).collect();
        let counted =
            counts.iter().map(|count| self.counted(count, prepared, base, seed, passings)).collect();
        let ask = &self.views[base].ask;
        let who = counts.iter().filter_map(|count| {
            let point = prepared.points.iter().position(|p| p.name == count.point)?;
            let all = (1u64 << prepared.points[point].lines.len()) - 1;
            let set = ask.masks[point].iter().position(|&m| m == all)?;
            Some(WhoMissed { point, set: ask.set(point, set), who: count.who.clone()? })
        });
        let kind = Kind::Race(RaceEvidence {
            who: who.collect(),
            counted,
            soaked: outcome.soaked,
            points: counts.iter().map(|c| c.point.clone()).collect(),
        });
        self.sources.push(Source { name: outcome.name.clone(), view: base, kind });
    }

    fn counted(
        &mut self,
        count: &PointCount,
        prepared: &Arc<Prepared>,
        base: usize,
        seed: u64,
        passings: u64,
    ) -> Counted {
        let point =
            prepared.points.iter().position(|p| p.name == count.point).expect("the point is in the scenario");
        let lines = &prepared.points[point].lines;
        let set_of = |evidence: &Evidence, mask: u64| {
            let ask = &evidence.views[base].ask;
            let set =
                ask.masks[point].iter().position(|&m| m == mask).expect("all sets of lines are asked for");
            ask.set(point, set)
        };
        let all = (1u64 << lines.len()) - 1;
        let bit = |name: &String| {
            1u64 << lines.iter().position(|l| l == name).expect("the line is in the scenario")
        };
        if !count.patterns.is_empty() {
            let cells = (0..=all)
                .map(|missed| {
                    // Missed by these and read by all others: inclusion and exclusion over the sets that hold these.
                    let mut sum = Sum::default();
                    for set in (0..=all).filter(|set| set & missed == missed) {
                        let sign = if (set & !missed).count_ones() % 2 == 0 { 1.0 } else { -1.0 };
                        if set == 0 {
                            sum.constant += sign;
                        } else {
                            sum.terms.push((base, set_of(self, set), sign));
                        }
                    }
                    let read = all & !missed;
                    let of = count.patterns.iter().filter(|p| p.read.iter().map(bit).sum::<u64>() == read);
                    (sum, of.map(|p| p.count).sum())
                })
                .collect();
            return Counted::Patterns { cells };
        }
        let odds = match &count.reference {
            Reference::Everyone | Reference::Sample | Reference::Bibs => {
                Odds { top: Sum::of(base, set_of(self, all)), bottom: Sum::one() }
            }
            Reference::OtherLine { line, by } => {
                // Missed by `line` among those whom `by` read.
                let (a, b) = (bit(line), bit(by));
                Odds {
                    top: Sum::of(base, set_of(self, a)).less(base, set_of(self, a | b)),
                    bottom: Sum::one().less(base, set_of(self, b)),
                }
            }
            Reference::SeenElsewhere(points) => {
                let mut group = |here: bool| {
                    let masks: Vec<Vec<u64>> = prepared
                        .points
                        .iter()
                        .enumerate()
                        .map(|(p, other)| {
                            let asked = (here && p == point) || points.contains(&other.name);
                            if asked { vec![(1u64 << other.lines.len()) - 1] } else { Vec::new() }
                        })
                        .collect();
                    // Hardly anybody is missed everywhere: few passings tell that well enough.
                    let view = self.view(prepared, masks, seed, if here { passings } else { passings / 4 });
                    (view, self.views[view].ask.missed_everywhere())
                };
                let elsewhere = group(false);
                let everyone = points.len() + 1 == prepared.points.len();
                let together = if everyone {
                    // The first view has all points already.
                    (base, self.views[base].ask.missed_everywhere())
                } else {
                    group(true)
                };
                Odds {
                    top: Sum::of(base, set_of(self, all)).less(together.0, together.1),
                    bottom: Sum::one().less(elsewhere.0, elsewhere.1),
                }
            }
        };
        Counted::Missed { odds, passed: count.passed, missed: count.missed }
    }

    /// A trial with the scenario it walked in. Every way in which power was lowered needs a table of its own, since the reply falls with it.
    pub fn add_trial(
        &mut self,
        outcome: &Outcome,
        trial: Trial,
        prepared: &Arc<Prepared>,
        seed: u64,
        passings: u64,
    ) -> Result<(), String> {
        let course = &prepared.course;
        let all = strata(course);
        let mut lowered: Vec<((i64, bool), Arc<Prepared>)> = Vec::new();
        let mut settings = Vec::new();
        for setting in &trial.settings {
            let point = match setting.point.as_str() {
                "" if course.points.len() == 1 => Some(0),
                "" => course.points.iter().position(|p| p.is_finish),
                name => course.points.iter().position(|p| p.name == name),
            };
            let point =
                point.ok_or_else(|| format!("no point {:?} in {}", setting.point, course.file_hash.0))?;
            let stratum = stratum_of(&all, course, setting.placement, setting.wetness).ok_or_else(|| {
                format!(
                    "{} knows no runner with {} {}: give the placement a share, and a weather that has {} bibs",
                    course.file_hash.0,
                    setting.placement.words(),
                    setting.wetness.key(),
                    setting.wetness.key()
                )
            })?;
            let key = (setting.drop_mdb, setting.attenuated && setting.drop_mdb != 0);
            let at = lowered.iter().position(|(k, _)| *k == key).unwrap_or_else(|| {
                lowered.push((key, Arc::new(prepared.lowered(setting.drop_db(), setting.attenuated))));
                lowered.len() - 1
            });
            let masks: Vec<Vec<u64>> = prepared
                .points
                .iter()
                .enumerate()
                .map(|(p, other)| if p == point { vec![(1u64 << other.lines.len()) - 1] } else { Vec::new() })
                .collect();
            let there = self
                .views
                .iter()
                .position(|v| Arc::ptr_eq(&v.prepared, &lowered[at].1) && v.ask.masks == masks);
            let view = there.unwrap_or_else(|| {
                let ask = Ask { seed, masks, allocation: vec![0; all.len()], tilt: Tilt::default() };
                self.views.push(View { prepared: lowered[at].1.clone(), ask });
                self.views.len() - 1
            });
            settings.push((view, 0, stratum));
        }
        // Passings go to the strata walked in.
        let walked = |view: usize| -> Vec<usize> {
            let mut of: Vec<usize> = settings.iter().filter(|s| s.0 == view).map(|s| s.2).collect();
            of.sort_unstable();
            of.dedup();
            of
        };
        for view in 0..self.views.len() {
            let of = walked(view);
            for &stratum in &of {
                self.views[view].ask.allocation[stratum] = (passings / of.len() as u64 / 4 * 2).max(LEAST);
            }
        }
        let view = settings.first().map_or(0, |s| s.0);
        self.sources.push(Source {
            name: outcome.name.clone(),
            view,
            kind: Kind::Trial(TrialEvidence { settings, trial }),
        });
        Ok(())
    }
}

/// All sets of lines of points with few lines, the standard ones of others.
pub(super) fn standard(prepared: &Prepared) -> Vec<Vec<u64>> {
    let every = |lines: usize| -> Vec<u64> { (1..1u64 << lines).rev().collect() };
    let masks = Ask::standard_masks(prepared);
    masks
        .into_iter()
        .zip(&prepared.points)
        .map(|(own, p)| if p.lines.len() <= MOST_LINES { every(p.lines.len()) } else { own })
        .collect()
}

pub(super) fn stratum_of(
    all: &[Stratum],
    course: &crate::course::Course,
    placement: crate::course::field::Placement,
    wetness: Wetness,
) -> Option<usize> {
    all.iter()
        .position(|s| course.field.placements[s.placement_row].placement == placement && s.wetness == wetness)
}
