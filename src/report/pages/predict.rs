//! The page of a forecast.

use super::{assumed, frame};
use crate::course::Course;
use crate::report::estimator_words::doubts;
use crate::report::figures::{footprint, hinges, predict};
use crate::report::page::Page;
use crate::report::predict_text::{answer, field_sentence, missed_range, within};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{capital, grouped, minus, per_10_000, percent, rate_percent};
use crate::study::footprint::Footprint;
use crate::study::predict::Forecast;

/// Most timing points drawn to scale; layouts alike are drawn once.
const MOST_PLANS: usize = 4;

/// Numbers of the points worth a drawing: the first of each layout, finish and worst point first.
pub fn points_to_draw(course: &Course, forecast: &Forecast) -> Vec<usize> {
    let mut order: Vec<usize> = (0..course.points.len()).collect();
    let rate = |p: usize| forecast.points[p].summary.miss_rate;
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
    figures.extend(hinges::hinges(f));
    let mut page = Page {
        subject: f.event.clone(),
        note: note(f),
        answer: answer(f),
        caption: format!("Missed runners per 10,000, of {} runners", grouped(f.runners)),
        table: points(f),
        hinges: hinges(f),
        figures,
        ..frame("predict", &f.provenance, assumed(&f.assumptions))
    };
    page.run.push(("race days".into(), grouped(f.races)));
    page.run.push(("runners simulated".into(), grouped(f.passings)));
    page.run.extend(doubts(f).into_iter().map(|doubt| ("rates".into(), doubt)));
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
        ("miss_rate", "missed", Show::Fixed(0)),
        ("mc", "computed within", Show::Fixed(0)),
        ("race", "race to race, 5 to 95 %", Show::Fixed(0)),
        ("missed", "runners missed", Show::Fixed(0)),
        ("target", "target", Show::Fixed(0)),
        ("target_odds", "odds of the target", Show::Fixed(0)),
    ]);
    for p in &f.points {
        let s = &p.summary;
        let range = |low: f64, high: f64| format!("{} to {}", per_10_000(low), per_10_000(high));
        let (rate, within) = if s.none_met {
            (format!("fewer than {}", per_10_000(s.mc_high)), "none met".to_owned())
        } else {
            (per_10_000(s.miss_rate), within(s, &p.found_by))
        };
        table.row([
            Cell::from(p.name.as_str()),
            rate.into(),
            within.into(),
            range(s.race_p05, s.race_p95).into(),
            missed_range(&p.missed).into(),
            rate_percent(p.target).into(),
            percent(p.missed.target_odds).into(),
        ]);
    }
    table
}

fn hinges(f: &Forecast) -> Vec<String> {
    let Some(p) = predict::worst(f) else { return vec![] };
    let line = |h: &crate::study::hinges::Hinge| {
        let unit = if h.unit.is_empty() { String::new() } else { format!(" {}", h.unit) };
        let at = |v: f64| minus(&format!("{v:.2}{unit}"));
        format!(
            "{}: {} of 10,000 are missed at {} on race days around {}, {} on those around {}.",
            capital(&h.what),
            per_10_000(h.miss_rate_at_low),
            p.name,
            at(h.low),
            per_10_000(h.miss_rate_at_high),
            at(h.high)
        )
    };
    let mut out: Vec<String> = p.hinges.iter().filter(|h| h.clear).take(4).map(line).collect();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::run::Plan;
    use crate::estimate::stop::Precision;
    use crate::report::figures::predict::miss_rates;
    use crate::{course, passing, study, tag};
    use std::path::Path;
    use std::sync::Arc;

    /// Text, page and figure alike show no interval where there is no honest one.
    #[test]
    fn an_interval_not_known_is_shown_nowhere() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (course, _) = course::load(&root.join("scenarios/trail-soaked-one-mat.toml")).unwrap();
        let (tag, _) = tag::load(&root.join("demo-data/tags/alder")).unwrap();
        let prepared = passing::prepare(Arc::new(course), Arc::new(tag));
        let plan = Plan {
            seed: 1,
            precision: Precision { relative: 0.05, absolute: 1e-9, max_passings: 1 << 40 },
            races: Some(8),
            passings_per_race: 20,
            estimator: Default::default(),
        };
        let mut forecast = study::predict::predict(&prepared, &plan, &[], &mut |_| true);
        let shown = |f: &Forecast| {
            let figure = format!("{:?}", miss_rates(f));
            (format!("{:?}", points(f)).contains("not known yet"), figure.contains("inner: None"))
        };
        assert_eq!(shown(&forecast), (false, false));
        forecast.points.iter_mut().for_each(|point| point.found_by.interval_known = false);
        assert_eq!(shown(&forecast), (true, true));
    }
}
