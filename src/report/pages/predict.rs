//! The page of a forecast.

use super::{assumed, frame};
use crate::course::Course;
use crate::report::figures::{footprint, predict};
use crate::report::page::Page;
use crate::report::predict_text::{
    answer, clear_drivers, field_sentence, missed_range, open_sentence, why_ended, with_unit, within, worst,
};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{capital, grouped, minus, per_10_000, percent, rate_percent};
use crate::study::footprint::Footprint;
use crate::study::predict::Forecast;

/// Most timing points drawn to scale; layouts alike are drawn once.
const MOST_PLANS: usize = 4;

/// Numbers of the points worth a drawing: the first of each layout, finish and worst point first.
pub fn points_to_draw(course: &Course, forecast: &Forecast) -> Vec<usize> {
    let mut order: Vec<usize> = (0..course.points.len()).collect();
    let rate = |p: usize| forecast.points[p].miss_rate.value;
    order.sort_by(|&a, &b| {
        course.points[b].is_finish.cmp(&course.points[a].is_finish).then(rate(b).total_cmp(&rate(a)))
    });
    let mut out: Vec<usize> = Vec::new();
    for p in order {
        let point = &course.points[p];
        let alike = |q: &usize| {
            let other = &course.points[*q];
            other.lines == point.lines
                && other.road_width_m == point.road_width_m
                && other.planes == point.planes
        };
        if out.len() < MOST_PLANS && !out.iter().any(alike) {
            out.push(p);
        }
    }
    out
}

/// The page; `footprints` belong to points of the course, by number.
pub fn page(f: &Forecast, course: &Course, footprints: &[(usize, Footprint)]) -> Page {
    let mut figures = vec![predict::miss_rates(f)];
    figures.extend(predict::causes(f));
    figures.extend(predict::who(f));
    for (i, (p, print)) in footprints.iter().enumerate() {
        figures.push(footprint::plan(print, &course.points[*p], &format!("plan-{}", i + 1)));
    }
    figures.push(predict::counts(f));
    let mut page = Page {
        subject: f.event.clone(),
        note: note(f),
        answer: [Some(answer(f)), open_sentence(f)].into_iter().flatten().collect::<Vec<_>>().join(" "),
        caption: format!("Missed runners per 10,000, of {} runners", grouped(f.runners)),
        table: points(f),
        hinges: hinges(f),
        figures,
        ..frame("predict", &f.provenance, assumed(&f.assumptions))
    };
    page.run.push(("draws of what nobody knows".into(), grouped(f.worlds)));
    page.run.push(("runners simulated".into(), grouped(f.passings)));
    page.run.push(("precision".into(), why_ended(f)));
    page.run.push(("region".into(), format!("{}: {}", f.region, f.region_source)));
    page
}

fn note(f: &Forecast) -> String {
    let mut out = format!("{}. {}", f.note.trim_end_matches('.'), field_sentence(f));
    if !f.effects_off.is_empty() {
        out += &format!(" Switched off: {}. A test case, not a forecast.", f.effects_off.join(", "));
    }
    for warning in &f.warnings {
        out += &format!(" Warning: {warning}.");
    }
    out
}

fn points(f: &Forecast) -> Table {
    let mut table = Table::new(&[
        ("point", "timing point", Show::Fixed(0)),
        ("miss_rate", "mean", Show::Fixed(0)),
        ("interval", "95 % simulation interval", Show::Fixed(0)),
        ("median", "median race", Show::Fixed(0)),
        ("race", "race to race, 5 to 95 %", Show::Fixed(0)),
        ("missed", "runners missed", Show::Fixed(0)),
        ("target", "promise", Show::Fixed(0)),
        ("kept", "promise kept", Show::Fixed(0)),
    ]);
    for p in &f.points {
        let r = &p.race_to_race;
        let range = |low: f64, high: f64| format!("{} to {}", per_10_000(low), per_10_000(high));
        let (rate, within) = if p.none_met {
            (format!("fewer than {}", per_10_000(p.miss_rate.high)), "none met".to_owned())
        } else {
            (per_10_000(p.miss_rate.value), within(&p.miss_rate))
        };
        table.row([
            Cell::from(p.name.as_str()),
            rate.into(),
            within.into(),
            per_10_000(r.median.value).into(),
            range(r.p05.value, r.p95.value).into(),
            missed_range(&p.missed).into(),
            rate_percent(p.promise.target).into(),
            percent(p.promise.kept().value).into(),
        ]);
    }
    table
}

fn hinges(f: &Forecast) -> Vec<String> {
    let Some(p) = worst(f) else { return vec![] };
    let line = |d: &crate::study::what_drives::Driver| {
        let at = |v: f64| minus(&with_unit(v, &d.unit));
        format!(
            "{}: {} of 10,000 are missed at {} on race days around {}, {} on those around {}; it decides {} alone, {}.",
            capital(&d.what),
            per_10_000(d.miss_rate_at_low.value),
            p.name,
            at(d.low),
            per_10_000(d.miss_rate_at_high.value),
            at(d.high),
            percent(d.share.value),
            if d.nobody_knows { "in every race until measured" } else { "afresh on each day" }
        )
    };
    let mut out: Vec<String> = clear_drivers(p, 4).into_iter().map(line).collect();
    if p.closer_than_measured > 0.01 {
        out.push(format!(
            "{} of the bibs (and {} of the misses) at {} sit closer to the body than any mount measured; there the \
             closest mount's curve stands in, which flatters the tag.",
            percent(p.closer_than_measured),
            percent(p.closer_than_measured_of_misses),
            p.name
        ));
    }
    out
}
