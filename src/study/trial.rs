//! `trial`: a walk-through planned before it is walked: which bibs, wet or dry, at which powers, to narrow a forecast most per minute.
//!
//! Laps of all walkers are added one by one, each where the expected variance of ln(miss rate) falls most per minute, changes of set-up counted, until the time
//! is used up; then every step has to stand against the time it takes. Simple plans of the same time stand beside it, and all of them are judged by truths that chose none.

use super::provenance::{Provenance, TagEcho, warning_lines};
use crate::course::Course;
use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::diag::Diagnostic;
use crate::estimate::strata::strata;
use crate::learn::design::{Foresight, MOST_LAPS, Setting, Task, foresight};
use crate::learn::vectors::outer_dims;
use crate::passing::unknowns::UNKNOWNS;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// By how much power may be lowered, dB.
pub const DROPS_DB: [f64; 4] = [0.0, 3.0, 6.0, 9.0];
/// Minutes that a change takes (our estimates): bibs to soak, bibs to pin elsewhere, power to set and note.
pub const SOAK_MIN: f64 = 10.0;
pub const PIN_MIN: f64 = 5.0;
pub const POWER_MIN: f64 = 2.0;

pub struct Plan {
    pub minutes: f64,
    /// From one passing to the next.
    pub seconds_between: f64,
}

/// One step of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Keys, as a trial's file has them.
    pub placement: String,
    pub wetness: String,
    pub drop_db: f64,
    /// Of every walker.
    pub laps: usize,
    pub passings: usize,
    /// What must be changed before it, and the walking.
    pub minutes: f64,
    /// Expected to be missed: mean, and 5 to 95 %.
    pub missed: f64,
    pub missed_p05: u32,
    pub missed_p95: u32,
}

/// What a plan leaves of what nobody knows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Variant {
    pub name: String,
    pub passings: usize,
    pub minutes: f64,
    /// Root mean square error of ln(miss rate) afterwards.
    pub ln_error: f64,
    /// The learned spread of it, for comparison: about the error if the learning is honest.
    pub ln_spread: f64,
    /// The rate is then known within this factor either way in 90 % of cases, if errors of ln(rate) are normal.
    pub within_factor: f64,
}

/// An unknown and its part in what is not known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Open {
    pub key: String,
    pub name: String,
    pub share_before: f64,
    pub share_after: f64,
    pub measure: String,
}

/// The answer of `trial`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub note: String,
    pub tag: TagEcho,
    pub scenario: String,
    pub point: String,
    pub yard: String,
    pub yard_point: String,
    pub people: usize,
    pub minutes: f64,
    pub seconds_between: f64,
    pub steps: Vec<Step>,
    /// Nothing done, this plan, its laps twice, then simple ones.
    pub plans: Vec<Variant>,
    pub open: Vec<Open>,
    pub draws: u64,
    pub runners_simulated: u64,
    pub warnings: Vec<String>,
}

/// Plans a trial; `None` once `stop` says so.
pub fn answer(
    task: &Task,
    plan: &Plan,
    warnings: &[Diagnostic],
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&str),
) -> Result<Option<Answer>, String> {
    let settings = settings(&task.race.course, &task.yard.course)?;
    let Some(sight) = foresight(task, settings, stop, watch)? else { return Ok(None) };
    let clock = Clock { plan, people: task.people, settings: &sight.settings };
    let (common, wet) = commonest(&task.race.course, &sight.settings);
    let of = |keep: &dyn Fn(&Setting) -> bool| -> Vec<(usize, usize)> {
        let settings: Vec<usize> = (0..sight.settings.len()).filter(|&s| keep(&sight.settings[s])).collect();
        clock.fill(&settings)
    };
    let usual = |s: &Setting| s.placement == common && s.wetness == wet;
    let where_worn = format!("{}, {}", common.words(), wet.key());
    let in_turn = format!("every placement in turn, {}", wet.key());
    let simple = [
        (format!("full power, {where_worn}"), of(&|s| usual(s) && s.drop_db == 0.0)),
        (format!("6 dB down, {where_worn}"), of(&|s| usual(s) && s.drop_db == 6.0)),
        (format!("0, 3, 6, 9 dB down, {where_worn}"), of(&usual)),
        (format!("full power, {in_turn}"), of(&|s| s.wetness == wet && s.drop_db == 0.0)),
        (format!("3 dB down, {in_turn}"), of(&|s| s.wetness == wet && s.drop_db == 3.0)),
    ];
    let Some(grown) = refined(&sight, &clock, stop) else { return Ok(None) };
    let tried = std::iter::once(&grown).chain(simple.iter().map(|s| &s.1));
    let spread = |plan: &Vec<(usize, usize)>| sight.left(plan, false).spread;
    let chosen = tried.min_by(|a, b| spread(a).total_cmp(&spread(b))).expect("one was grown").clone();
    let doubled: Vec<_> = chosen.iter().map(|&(s, laps)| (s, (2 * laps).min(MOST_LAPS))).collect();
    let variant = |name: &str, laps: &[(usize, usize)]| {
        let left = sight.left(laps, true);
        Variant {
            name: name.to_owned(),
            passings: task.people * laps.iter().map(|s| s.1).sum::<usize>(),
            minutes: clock.minutes(laps),
            ln_error: left.error,
            ln_spread: left.spread,
            within_factor: libm::exp(1.645 * left.error),
        }
    };
    let mut plans =
        vec![variant("no trial", &[]), variant("this plan", &chosen), variant("its laps twice", &doubled)];
    plans.extend(simple.iter().filter(|s| s.1 != chosen).map(|(name, plan)| variant(name, plan)));
    let (nothing, after) = (sight.left(&[], true), sight.left(&chosen, true));
    let mut open: Vec<Open> = outer_dims()
        .into_iter()
        .enumerate()
        .map(|(i, dim)| Open {
            key: UNKNOWNS[dim].key.to_owned(),
            name: UNKNOWNS[dim].name.to_owned(),
            share_before: nothing.shares[i],
            share_after: after.shares[i],
            measure: UNKNOWNS[dim].measure.to_owned(),
        })
        .collect();
    open.sort_by(|a, b| b.share_after.total_cmp(&a.share_after));
    let mut provenance = Provenance::new(task.seed, &task.race.course, &task.race.tag);
    let own = Provenance::new(task.seed, &task.yard.course, &task.yard.tag);
    provenance.set_up.add(own.set_up, "");
    for input in own.inputs {
        if !provenance.inputs.contains(&input) {
            provenance.inputs.push(input);
        }
    }
    Ok(Some(Answer {
        provenance,
        note: task.race.course.note.clone(),
        tag: TagEcho::new(&task.race.tag),
        scenario: task.race.course.file_hash.0.clone(),
        point: task.race.points[task.race_point].name.clone(),
        yard: task.yard.course.file_hash.0.clone(),
        yard_point: task.yard.points[task.yard_point].name.clone(),
        people: task.people,
        minutes: plan.minutes,
        seconds_between: plan.seconds_between,
        steps: clock.steps(&sight, &chosen),
        plans,
        open,
        draws: task.groups,
        runners_simulated: sight.runners_simulated,
        warnings: warning_lines(warnings),
    }))
}

/// Ways to walk in the yard that the race knows too: every placement, dry and soaked, at every power. Damp bibs are left out: nobody can make them alike.
fn settings(race: &Course, yard: &Course) -> Result<Vec<Setting>, String> {
    let raced = strata(race);
    let mut out = Vec::new();
    for stratum in strata(yard).into_iter().filter(|s| s.wetness != Wetness::Damp) {
        let placement = yard.field.placements[stratum.placement_row].placement;
        let known = raced.iter().any(|s| {
            s.wetness == stratum.wetness && race.field.placements[s.placement_row].placement == placement
        });
        if known {
            out.extend(DROPS_DB.map(|drop_db| Setting { placement, wetness: stratum.wetness, drop_db }));
        }
    }
    if out.is_empty() {
        return Err(format!(
            "{} has no placement, dry or soaked, that {} has too: nothing walked there would tell of the race",
            yard.file_hash.0, race.file_hash.0
        ));
    }
    out.sort_by_key(|s| (s.wetness as usize, s.placement as usize));
    Ok(out)
}

/// The placement most runners have, and the wetter of the wetnesses.
fn commonest(race: &Course, settings: &[Setting]) -> (Placement, Wetness) {
    let share = |placement: Placement| -> f64 {
        race.field.placements.iter().filter(|row| row.placement == placement).map(|row| row.share).sum()
    };
    let most = settings.iter().max_by(|a, b| share(a.placement).total_cmp(&share(b.placement)));
    let wettest = settings.iter().max_by_key(|s| s.wetness as usize);
    let (most, wettest) = (most.expect("there are settings"), wettest.expect("there are settings"));
    (most.placement, wettest.wetness)
}

/// What walking takes.
struct Clock<'a> {
    plan: &'a Plan,
    people: usize,
    settings: &'a [Setting],
}

impl Clock<'_> {
    fn walking_min(&self, laps: usize) -> f64 {
        laps as f64 * self.people as f64 * self.plan.seconds_between / 60.0
    }

    /// Changes from one setting to the next; the first is set up before the clock runs.
    fn change_min(&self, from: Option<usize>, to: usize) -> f64 {
        let Some(from) = from else { return 0.0 };
        let (a, b) = (&self.settings[from], &self.settings[to]);
        let of = |changed: bool, minutes: f64| if changed { minutes } else { 0.0 };
        of(a.wetness != b.wetness, SOAK_MIN)
            + of(a.placement != b.placement, PIN_MIN)
            + of(a.drop_db != b.drop_db, POWER_MIN)
    }

    /// Minutes of a plan in the order of its settings: dry bibs first, for soaked ones stay wet; then by placement, then power downwards.
    fn minutes(&self, plan: &[(usize, usize)]) -> f64 {
        let mut last = None;
        let mut sum = 0.0;
        for &(setting, laps) in plan {
            sum += self.change_min(last, setting) + self.walking_min(laps);
            last = Some(setting);
        }
        sum
    }

    /// These settings in turn, as often as there is time for.
    fn fill(&self, settings: &[usize]) -> Vec<(usize, usize)> {
        let mut plan: Vec<(usize, usize)> = Vec::new();
        for turn in 0..settings.len() * MOST_LAPS {
            let longer = with_lap(&plan, settings[turn % settings.len()]);
            if self.minutes(&longer) > self.plan.minutes {
                break;
            }
            plan = longer;
        }
        plan
    }

    fn steps(&self, sight: &Foresight, plan: &[(usize, usize)]) -> Vec<Step> {
        let mut last = None;
        let of = |&(number, laps): &(usize, usize)| {
            let minutes = self.change_min(last, number) + self.walking_min(laps);
            last = Some(number);
            let (missed, missed_p05, missed_p95) = sight.foreseen(number, laps);
            let Setting { placement, wetness, drop_db } = self.settings[number];
            let (placement, wetness) = (placement.key().to_owned(), wetness.key().to_owned());
            let passings = laps * self.people;
            Step { placement, wetness, drop_db, laps, passings, minutes, missed, missed_p05, missed_p95 }
        };
        plan.iter().map(of).collect()
    }
}

/// The plan with one more lap at a setting, in order.
fn with_lap(plan: &[(usize, usize)], setting: usize) -> Vec<(usize, usize)> {
    let mut longer = plan.to_vec();
    match longer.binary_search_by_key(&setting, |step| step.0) {
        Ok(at) => longer[at].1 += 1,
        Err(at) => longer.insert(at, (setting, 1)),
    }
    longer
}

/// A plan grown from nothing, then each of its steps left out once and its time spent anew: lap by lap alone, a cheap first step is never thought over.
fn refined(
    sight: &Foresight,
    clock: &Clock,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Vec<(usize, usize)>> {
    let (mut plan, mut variance) = grown(sight, clock, Vec::new(), stop)?;
    let mut at = 0;
    while at < plan.len() {
        let mut rest = plan.clone();
        rest.remove(at);
        let (other, left) = grown(sight, clock, rest, stop)?;
        if left < 0.995 * variance {
            (plan, variance) = (other, left);
        } else {
            at += 1;
        }
    }
    Some(plan)
}

/// Lap by lap where it tells most per minute, and the variance left; `None` once `stop` says so.
fn grown(
    sight: &Foresight,
    clock: &Clock,
    mut plan: Vec<(usize, usize)>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<(Vec<(usize, usize)>, f64)> {
    let mut growing = sight.growing();
    plan.iter().for_each(|&(setting, laps)| growing.grow(setting, (0, laps)));
    let mut variance = sight.left(&plan, false).spread.powi(2);
    loop {
        if stop() {
            return None;
        }
        let spent = clock.minutes(&plan);
        let tried: Vec<_> = (0..sight.settings.len())
            .into_par_iter()
            .filter_map(|setting| {
                let longer = with_lap(&plan, setting);
                let minutes = clock.minutes(&longer);
                let laps = laps_of(&longer, setting);
                (minutes <= clock.plan.minutes && laps <= MOST_LAPS).then(|| {
                    let left = growing.variance_with(setting, (laps - 1, laps));
                    ((variance - left) / (minutes - spent), left, setting, longer)
                })
            })
            .collect();
        match tried.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((gain, left, setting, longer)) if gain > 0.0 => {
                let laps = laps_of(&longer, setting);
                growing.grow(setting, (laps - 1, laps));
                (variance, plan) = (left, longer);
            }
            _ => return Some((plan, variance)),
        }
    }
}

fn laps_of(plan: &[(usize, usize)], setting: usize) -> usize {
    plan.iter().find(|step| step.0 == setting).map_or(0, |step| step.1)
}
