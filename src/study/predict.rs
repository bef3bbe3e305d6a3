//! How many runners will be missed at each timing point, how sure that is, and why.

use super::expected::{Found, expected};
use super::hinges::{Hinge, hinges};
use super::provenance::{AssumptionEcho, Provenance, TagEcho, assumptions, effects_off, warning_lines};
use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::diag::Diagnostic;
use crate::estimate::closer_look::CloserLook;
use crate::estimate::race_row::{Ask, LATERAL_BINS, RaceRow};
use crate::estimate::run::{Plan, Progress, Run, run};
use crate::estimate::stop::{Precision, Stopped, shortfall};
use crate::estimate::summary::{CountForecast, Summary, count_forecast, summarise};
use crate::passing::Prepared;
use serde::{Deserialize, Serialize};

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
    #[serde(flatten)]
    pub summary: Summary,
    /// Odds that all other lines miss what this line misses.
    pub missed_by_the_others_too: f64,
    pub found_by: Found,
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointForecast {
    pub name: String,
    pub is_finish: bool,
    #[serde(flatten)]
    pub summary: Summary,
    pub found_by: Found,
    /// Passings simulated at this point in race days.
    pub passings: u64,
    pub races: u64,
    /// Detection rate promised.
    pub target: f64,
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
    pub hinges: Vec<Hinge>,
    /// Expected miss rate of each race, Monte Carlo noise taken out, sorted.
    pub race_rates: Vec<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EventForecast {
    /// Name of the finish, if the scenario has one.
    pub finish: Option<String>,
    pub no_finish_time: Option<Summary>,
    /// Odds that a runner lacks at least one split.
    pub any_split_missed: Summary,
    /// Odds that a runner has every split.
    pub complete_splits: f64,
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
    pub races: u64,
    pub passings: u64,
    pub points: Vec<PointForecast>,
    pub whole_event: EventForecast,
    pub assumptions: Vec<AssumptionEcho>,
    pub effects_off: Vec<String>,
    pub warnings: Vec<String>,
}

/// Runs and says what came out.
pub fn predict(
    prepared: &Prepared,
    plan: &Plan,
    warnings: &[Diagnostic],
    progress: &mut dyn FnMut(&Progress) -> bool,
) -> Forecast {
    let done = run(prepared, plan, Ask::standard_masks(prepared), progress);
    let mut look = CloserLook { stop: &|| false, sets: Vec::new(), tell: &mut |_| {} };
    forecast(prepared, plan, &done, warnings, &mut look)
}

/// The forecast from the rows of a run. Expected rates that want it are looked at more closely; once `look` is asked to stop,
/// what is known must do and the forecast counts as broken off.
pub fn forecast(
    prepared: &Prepared,
    plan: &Plan,
    run: &Run,
    warnings: &[Diagnostic],
    look: &mut CloserLook,
) -> Forecast {
    let (course, tag) = (&prepared.course, &prepared.tag);
    let rows = &run.rows;
    let passings: u64 = rows.iter().map(|r| r.passings).sum();
    let points: Vec<PointForecast> =
        (0..course.points.len()).map(|p| point_forecast(prepared, plan, run, p, passings, look)).collect();
    let (any_by_days, _) = summarise(rows.iter().map(|r| &r.any_missed), passings);
    let any_split_missed = any_missed(any_by_days, &points);
    let finish = points.iter().find(|p| p.is_finish);
    let mut wetness_shares = [0.0; 3];
    for row in rows {
        for (sum, share) in wetness_shares.iter_mut().zip(row.wetness_shares) {
            *sum += share / rows.len() as f64;
        }
    }
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
        stopped: stopped(run, plan, &points),
        races: rows.len() as u64,
        passings,
        whole_event: EventForecast {
            finish: finish.map(|p| p.name.clone()),
            no_finish_time: finish.map(|p| p.summary.clone()),
            complete_splits: 1.0 - any_split_missed.miss_rate,
            any_split_missed,
        },
        points,
        assumptions: assumptions(course),
        effects_off: effects_off(course),
        warnings: few_days(rows.len()).into_iter().chain(warning_lines(warnings)).collect(),
    }
}

/// Why the run ended, seen from the rates reported.
fn stopped(run: &Run, plan: &Plan, points: &[PointForecast]) -> Stopped {
    let known: Vec<(f64, f64)> =
        points.iter().map(|p| (p.summary.miss_rate, p.summary.standard_error)).collect();
    match run.stopped {
        Stopped::Interrupted => Stopped::Interrupted,
        _ if points.iter().any(unfinished) => Stopped::Interrupted,
        _ if shortfall(&known, &plan.precision) <= 1.0 => Stopped::PrecisionReached,
        _ => Stopped::MaxPassings,
    }
}

/// Fewest race days whose quantiles mean something.
const FEW_DAYS: usize = 40;

fn few_days(days: usize) -> Option<String> {
    (days < FEW_DAYS).then(|| {
        format!(
            "only {days} race days: the range from race to race, the counts and the odds of the target rest on them and are rough"
        )
    })
}

fn unfinished(point: &PointForecast) -> bool {
    point.found_by.unfinished || point.lines.iter().any(|line| line.found_by.unfinished)
}

/// Odds that a runner lacks a split, moved along with the points whose rate another estimator gave: how far the points'
/// misses fall on the same runners is taken from the race days.
fn any_missed(by_days: Summary, points: &[PointForecast]) -> Summary {
    if points.iter().all(|p| p.summary.miss_rate == p.found_by.race_days_rate) {
        return by_days;
    }
    let sum: f64 = points.iter().map(|p| p.summary.miss_rate).sum();
    let largest = points.iter().map(|p| p.summary.miss_rate).fold(0.0, f64::max);
    let sum_by_days: f64 = points.iter().map(|p| p.found_by.race_days_rate).sum();
    let apart = if sum_by_days > 0.0 { by_days.miss_rate / sum_by_days } else { 1.0 };
    let miss_rate = (apart * sum).clamp(largest, sum.min(1.0).max(largest));
    let scale = if sum > 0.0 { miss_rate / sum } else { 1.0 };
    let total = |part: fn(&Summary) -> f64| scale * points.iter().map(|p| part(&p.summary)).sum::<f64>();
    Summary {
        miss_rate,
        mc_low: total(|s| s.mc_low),
        mc_high: total(|s| s.mc_high).min(1.0),
        // Errors of the points may share their causes, so they are added.
        standard_error: total(|s| s.standard_error),
        none_met: miss_rate <= 0.0,
        ..by_days
    }
}

fn point_forecast(
    prepared: &Prepared,
    plan: &Plan,
    run: &Run,
    p: usize,
    passings: u64,
    look: &mut CloserLook,
) -> PointForecast {
    let course = &prepared.course;
    let point = &course.points[p];
    let rows = &run.rows;
    let (by_days, mut race_rates) = summarise(rows.iter().map(|r| &r.points[p].sets[0]), passings);
    let raw_rates: Vec<f64> = rows.iter().map(|r| r.points[p].sets[0].rate).collect();
    let races: Vec<u64> = rows.iter().map(|r| r.race).collect();
    let n = rows.len() as f64;
    // Shares of the misses come from the race days, so they refer to the race days' rate.
    let rate = by_days.miss_rate;
    let mean = |value: &dyn Fn(&RaceRow) -> f64| rows.iter().map(value).sum::<f64>() / n;
    let share = |value: &dyn Fn(&RaceRow) -> f64| if rate > 0.0 { mean(value) / rate } else { 0.0 };
    let cause = |c: usize| share(&|r| r.points[p].sets[0].causes[c]);
    let placements_total: f64 = course.field.placements.iter().map(|x| x.share).sum();
    let mut missed = count_forecast(&race_rates, course.field.runners, point.target);
    let (summary, found_by) = expected(prepared, plan, run, (p, run.ask.masks[p][0]), by_days, look);
    missed.mean = summary.miss_rate * course.field.runners as f64;
    race_rates.sort_by(f64::total_cmp);
    let by_placement = course
        .field
        .placements
        .iter()
        .enumerate()
        .filter(|(_, row)| row.share > 0.0)
        .map(|(i, row)| NamedShare {
            name: Placement::words(row.placement).to_owned(),
            of_misses: share(&|r| r.points[p].shares.placement[i]),
            of_passings: row.share / placements_total,
        })
        .collect();
    let by_wetness = Wetness::ALL
        .iter()
        .map(|&w| NamedShare {
            name: w.key().to_owned(),
            of_misses: share(&|r| r.points[p].shares.wetness[w as usize]),
            of_passings: mean(&|r| r.wetness_shares[w as usize]),
        })
        .collect();
    let strip_m = point.road_width_m / LATERAL_BINS as f64;
    let by_lateral = (0..LATERAL_BINS)
        .map(|b| {
            let from = b as f64 * strip_m - 0.5 * point.road_width_m;
            NamedShare {
                name: format!("{:+.1} to {:+.1} m", from, from + strip_m),
                of_misses: share(&|r| r.points[p].shares.lateral[b]),
                of_passings: mean(&|r| r.points[p].shares.lateral_weight[b]),
            }
        })
        .collect();
    let lines = run.ask.masks[p].iter().enumerate().skip(1).map(|(set, mask)| {
        let (line, _) = summarise(rows.iter().map(|r| &r.points[p].sets[set]), passings);
        let (line, found_by) = expected(prepared, plan, run, (p, *mask), line, look);
        let both = if line.miss_rate > 0.0 { (summary.miss_rate / line.miss_rate).min(1.0) } else { 0.0 };
        LineForecast {
            name: prepared.points[p].lines[mask.trailing_zeros() as usize].clone(),
            summary: line,
            missed_by_the_others_too: both,
            found_by,
        }
    });
    let readers = prepared.points[p].readers.iter().map(|r| ReaderEcho {
        name: r.name.clone(),
        line: prepared.points[p].lines[r.line].clone(),
        mean_contenders: r.mean_contenders,
        round_s: r.frames.at(1 + r.mean_contenders.round() as u32).round_s,
        antennas: r.antennas.len(),
    });
    PointForecast {
        name: point.name.clone(),
        is_finish: point.is_finish,
        passings,
        races: rows.len() as u64,
        target: point.target,
        missed,
        causes: Causes {
            never_in_reach: cause(0),
            asleep: cause(1),
            awake_not_heard: cause(2),
            crowded_out: cause(3),
        },
        by_placement,
        by_wetness,
        by_lateral,
        lines: lines.collect(),
        readers: readers.collect(),
        closer_than_measured: mean(&|r| r.points[p].shares.clamped),
        closer_than_measured_of_misses: share(&|r| r.points[p].shares.clamped_missed),
        hinges: hinges(prepared, run.ask.seed, &races, &raw_rates),
        race_rates,
        found_by,
        summary: summary.clone(),
    }
}
