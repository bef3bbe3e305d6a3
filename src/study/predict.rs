//! How many runners will be missed at each timing point, how sure that is, and why.

use super::provenance::{AssumptionEcho, Provenance, TagEcho, assumptions, effects_off, warning_lines};
use super::what_drives::{Driver, drivers};
use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::diag::Diagnostic;
use crate::estimate::checkpoint::Kept;
use crate::estimate::passings::LATERAL_BINS;
use crate::estimate::promise::{CountForecast, Promise, counts, promise};
use crate::estimate::reading::{SetDays, ratio};
use crate::estimate::replicates::{Figure, Scale};
use crate::estimate::run::{Plan, Precision, Run, Stopped, ask, rates_known, run};
use crate::estimate::strata::strata;
use crate::estimate::world::{Ask, Shares, WorldRow};
use crate::passing::Prepared;
use serde::{Deserialize, Serialize};

/// Races of the contract that a forecast looks at.
pub const CONTRACT_RACES: u64 = 10;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NamedShare {
    pub name: String,
    /// Share of all misses of the point, 0..1.
    pub of_misses: f64,
    /// Share of all passings, 0..1.
    pub of_passings: f64,
}

/// First causes as shares of the misses; they sum to 1 unless nothing is missed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Causes {
    pub never_in_reach: f64,
    pub asleep: f64,
    pub awake_not_heard: f64,
    pub crowded_out: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineForecast {
    pub name: String,
    /// Expected miss rate of the line alone.
    pub miss_rate: Figure,
    /// Probability that all other lines miss what this line misses.
    pub missed_by_the_others_too: Figure,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReaderEcho {
    pub name: String,
    pub line: String,
    /// Mean number of other tags contending.
    pub mean_contenders: f64,
    pub round_s: f64,
    pub antennas: usize,
}

/// How the miss rate differs from race day to race day, the noise of the computation taken out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RaceToRace {
    pub p05: Figure,
    pub median: Figure,
    pub p95: Figure,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointForecast {
    pub name: String,
    pub is_finish: bool,
    /// Expected miss rate of all lines together.
    pub miss_rate: Figure,
    /// No miss odds above zero met: `miss_rate.high` is an upper limit only.
    pub none_met: bool,
    pub race_to_race: RaceToRace,
    pub promise: Promise,
    pub missed: CountForecast,
    pub causes: Causes,
    pub by_placement: Vec<NamedShare>,
    pub by_wetness: Vec<NamedShare>,
    /// From the right edge of the road to the left, six equal strips.
    pub by_lateral: Vec<NamedShare>,
    /// Each line alone, where there are several.
    pub lines: Vec<LineForecast>,
    pub readers: Vec<ReaderEcho>,
    /// Share of passings (and of misses) with a gap closer than any mount measured.
    pub closer_than_measured: f64,
    pub closer_than_measured_of_misses: f64,
    /// Rician K at the antenna that sees the median runner with the least scatter, dB; none with the scattered waves off.
    pub rician_k_db: Option<f64>,
    pub drivers: Vec<Driver>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EventForecast {
    /// Name of the finish, if the scenario has one.
    pub finish: Option<String>,
    /// Probability that a runner lacks at least one split.
    pub any_split_missed: Figure,
}

/// The answer of `predict`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub event: String,
    pub note: String,
    pub region: String,
    pub region_source: String,
    pub weather: String,
    /// Mean shares of dry, damp and soaked bibs.
    pub wetness_shares: [f64; 3],
    pub runners: u64,
    pub tag: TagEcho,
    pub precision: Precision,
    pub stopped: Stopped,
    /// Draws of what nobody knows and only passings tell.
    pub worlds: u64,
    /// Race days read off them.
    pub race_days: u64,
    /// Runners sent past every point.
    pub passings: u64,
    pub points: Vec<PointForecast>,
    pub whole_event: EventForecast,
    pub assumptions: Vec<AssumptionEcho>,
    pub effects_off: Vec<String>,
    pub warnings: Vec<String>,
}

/// Runs until the rates are known and says what came out.
pub fn predict(
    prepared: &Prepared,
    plan: &Plan,
    warnings: &[Diagnostic],
    stop: &(dyn Fn() -> bool + Sync),
) -> Forecast {
    let ask = ask(prepared, plan, Ask::standard_masks(prepared));
    let done = run(prepared, plan, ask, &mut Kept::nowhere(), &settled(prepared, plan), stop, &mut |_| {});
    forecast(prepared, plan, &done, warnings)
}

/// When a forecast is settled: the rates are as precise as asked.
pub fn settled<'a>(prepared: &'a Prepared, plan: &'a Plan) -> impl Fn(&Run) -> bool + 'a {
    |run| rates_known(run, &plan.precision, prepared.course.field.runners)
}

/// The forecast from the rows of a run (at least two worlds).
pub fn forecast(prepared: &Prepared, plan: &Plan, run: &Run, warnings: &[Diagnostic]) -> Forecast {
    let (course, tag) = (&prepared.course, &prepared.tag);
    let points: Vec<PointForecast> =
        (0..course.points.len()).map(|p| point_forecast(prepared, run, p)).collect();
    let strata = strata(course);
    let wetness_shares = Wetness::ALL.map(|wetness| {
        let share = |row: &WorldRow| -> f64 {
            strata.iter().zip(&row.weights).filter(|(s, _)| s.wetness == wetness).map(|(_, w)| w).sum()
        };
        mean_over(&run.rows, share)
    });
    Forecast {
        provenance: Provenance::new(plan.seed, course, tag),
        event: course.event_name.clone(),
        note: course.note.clone(),
        region: course.region.name.clone(),
        region_source: format!("{} ({})", course.region.source, course.region.certainty),
        weather: course.weather.key.clone(),
        wetness_shares,
        runners: course.field.runners,
        tag: TagEcho::new(tag),
        precision: plan.precision,
        stopped: run.stopped,
        worlds: run.rows.len() as u64,
        race_days: (run.rows.len() * crate::estimate::offsets::RACE_DAYS) as u64,
        passings: run.passings(),
        whole_event: EventForecast {
            finish: points.iter().find(|p| p.is_finish).map(|p| p.name.clone()),
            any_split_missed: run.any_missed().rate(),
        },
        points,
        assumptions: assumptions(course),
        effects_off: effects_off(course),
        warnings: few_worlds(run.rows.len()).into_iter().chain(warning_lines(warnings)).collect(),
    }
}

/// Fewest worlds whose quantiles mean something.
const FEW_WORLDS: usize = 40;

fn few_worlds(worlds: usize) -> Option<String> {
    (worlds < FEW_WORLDS).then(|| {
        format!(
            "only {worlds} draws of what nobody knows: the range from race to race, the counts and the probability that the promise holds rest on them and are rough"
        )
    })
}

/// Weighted mean over the worlds of what a row holds, which is weighted already.
fn mean_over(rows: &[WorldRow], value: impl Fn(&WorldRow) -> f64) -> f64 {
    let weight: f64 = rows.iter().map(|row| row.weights.iter().sum::<f64>()).sum();
    rows.iter().map(value).sum::<f64>() / weight
}

fn point_forecast(prepared: &Prepared, run: &Run, p: usize) -> PointForecast {
    let course = &prepared.course;
    let point = &course.points[p];
    let rows = &run.rows;
    let days = run.days(p, 0);
    let miss_rate = days.rate();
    let mean = |value: &dyn Fn(&Shares) -> f64| mean_over(rows, |row| value(&row.points[p]));
    let all = mean(&|s| s.causes.iter().sum());
    let share = |value: &dyn Fn(&Shares) -> f64| if all > 0.0 { mean(value) / all } else { 0.0 };
    let cause = |c: usize| share(&|s| s.causes[c]);
    let strata = strata(course);
    let by_stratum = |keep: &dyn Fn(&crate::estimate::strata::Stratum) -> bool, name: String| {
        let kept = |values: &[f64]| -> f64 {
            strata.iter().zip(values).filter(|(s, _)| keep(s)).map(|(_, v)| v).sum()
        };
        NamedShare {
            name,
            of_misses: share(&|s| kept(&s.strata)),
            of_passings: mean_over(rows, |row| kept(&row.weights)),
        }
    };
    let by_placement = course
        .field
        .placements
        .iter()
        .enumerate()
        .filter(|(_, row)| row.share > 0.0)
        .map(|(i, row)| by_stratum(&|s| s.placement_row == i, Placement::words(row.placement).to_owned()))
        .collect();
    let by_wetness =
        Wetness::ALL.iter().map(|&w| by_stratum(&|s| s.wetness == w, w.key().to_owned())).collect();
    let strip_m = point.road_width_m / LATERAL_BINS as f64;
    let by_lateral = (0..LATERAL_BINS)
        .map(|b| {
            let from = b as f64 * strip_m - 0.5 * point.road_width_m;
            NamedShare {
                name: format!("{:+.1} to {:+.1} m", from, from + strip_m),
                of_misses: share(&|s| s.lateral[b]),
                of_passings: mean(&|s| s.lateral_weight[b]),
            }
        })
        .collect();
    let readers = prepared.points[p].readers.iter().map(|r| ReaderEcho {
        name: r.name.clone(),
        line: prepared.points[p].lines[r.line].clone(),
        mean_contenders: r.mean_contenders,
        round_s: r.frames.at(1 + r.mean_contenders.round() as u32).round_s,
        antennas: r.antennas.len(),
    });
    let runners = course.field.runners;
    let quantiles = days.quantiles(&[0.05, 0.5, 0.95]);
    let rician_k_db = crate::passing::rician::k_db(prepared, p)
        .map(|of_antennas| of_antennas.into_iter().fold(f64::NEG_INFINITY, f64::max));
    PointForecast {
        rician_k_db,
        name: point.name.clone(),
        is_finish: point.is_finish,
        none_met: !(miss_rate.value > 0.0),
        miss_rate,
        race_to_race: RaceToRace { p05: quantiles[0], median: quantiles[1], p95: quantiles[2] },
        promise: promise(&days, runners, point.target, CONTRACT_RACES),
        missed: counts(&days, runners),
        causes: Causes {
            never_in_reach: cause(0),
            asleep: cause(1),
            awake_not_heard: cause(2),
            crowded_out: cause(3),
        },
        by_placement,
        by_wetness,
        by_lateral,
        lines: lines(prepared, run, p, &days),
        readers: readers.collect(),
        closer_than_measured: mean(&|s| s.clamped),
        closer_than_measured_of_misses: share(&|s| s.clamped_missed),
        drivers: drivers(prepared, run, &days, runners, point.target),
    }
}

/// Each line alone, where a point has several.
fn lines(prepared: &Prepared, run: &Run, p: usize, all: &SetDays) -> Vec<LineForecast> {
    let alone = run.ask.masks[p].iter().enumerate().skip(1).filter(|(_, mask)| mask.count_ones() == 1);
    alone
        .map(|(set, mask)| {
            let days = run.days(p, set);
            LineForecast {
                name: prepared.points[p].lines[mask.trailing_zeros() as usize].clone(),
                miss_rate: days.rate(),
                missed_by_the_others_too: ratio(all, &days, Scale::LogOdds),
            }
        })
        .collect()
}
