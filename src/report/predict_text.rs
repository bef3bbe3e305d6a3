//! The forecast as text, made to be read aloud: the answer first, then the table, the reasons, what it hinges on.

use super::cautions::CAUTIONS;
use super::estimator_words::{COLUMNS, doubts, found_table, why_ended};
use super::words::{grouped, per_10_000, percent, rate_percent, significant, table, wrap};
use crate::estimate::summary::{CountForecast, Summary};
use crate::study::expected::Found;
use crate::study::hinges::Hinge;
use crate::study::predict::{Forecast, NamedShare, PointForecast};

const WIDTH: usize = 100;

/// The whole report.
pub fn predict_text(forecast: &Forecast) -> String {
    let mut out = String::new();
    heading(&mut out, forecast);
    out.push_str(&wrap(&answer(forecast), WIDTH, ""));
    out.push('\n');
    points(&mut out, forecast);
    causes(&mut out, forecast);
    who(&mut out, forecast);
    lines(&mut out, forecast);
    hinges(&mut out, forecast);
    certainty(&mut out, forecast);
    assumed(&mut out, forecast);
    out.push_str("\nCautions\n");
    for caution in CAUTIONS {
        out.push_str(&wrap(&format!("- {caution}"), WIDTH, "  "));
    }
    provenance(&mut out, forecast);
    out
}

fn heading(out: &mut String, f: &Forecast) {
    out.push_str(&format!("{}: forecast of missed runners\n", f.event));
    if !f.note.is_empty() {
        out.push_str(&wrap(&f.note, WIDTH, ""));
    }
    out.push_str(&wrap(&format!("{} runners. {}", grouped(f.runners), field_sentence(f)), WIDTH, ""));
    if !f.effects_off.is_empty() {
        out.push_str(&wrap(
            &format!(
                "Switched off in this scenario: {}. The result is a test case, not a forecast.",
                f.effects_off.join(", ")
            ),
            WIDTH,
            "",
        ));
    }
    out.push('\n');
}

/// Tag, region and weather in a sentence.
pub fn field_sentence(f: &Forecast) -> String {
    let [dry, damp, soaked] = f.wetness_shares;
    format!(
        "Tag {} ({} samples), {}, weather {}: {} of the bibs dry, {} damp, {} soaked on average.",
        f.tag.name,
        f.tag.samples,
        f.region,
        f.weather,
        percent(dry),
        percent(damp),
        percent(soaked)
    )
}

/// The answer in a sentence or two.
pub fn answer(f: &Forecast) -> String {
    let worst = f.points.iter().max_by(|a, b| a.summary.miss_rate.total_cmp(&b.summary.miss_rate));
    let key = f.points.iter().find(|p| p.is_finish).or(worst);
    let Some(p) = key else { return String::new() };
    let role = if p.is_finish { "without a finish time" } else { "missed" };
    let mut text = if p.summary.none_met {
        format!(
            "At {} no miss was met: fewer than {} of 10,000 runners ({} passings simulated).",
            p.name,
            per_10_000(p.summary.mc_high),
            grouped(p.passings)
        )
    } else {
        format!(
            "Of {} runners expect {} {role} at {} ({} to {} in nine races of ten). The promise of {} holds in {} of such races.",
            grouped(f.runners),
            significant(p.missed.mean),
            p.name,
            grouped(p.missed.p05),
            grouped(p.missed.p95),
            rate_percent(p.target),
            percent(p.missed.target_odds)
        )
    };
    if p.summary.miss_rate < 1e-4 {
        text.push_str(
            " Below 1 in 10,000 radio no longer sets the limit: dead, torn, lost or swapped tags and forgotten bibs are not modelled and will outweigh it.",
        );
    }
    let largest = p.hinges.iter().find(|h| h.clear);
    if let Some(hinge) = largest.filter(|_| !p.summary.none_met) {
        text.push_str(&format!(" It hinges most on this: {}.", hinge.what));
    }
    text
}

fn interval(low: f64, high: f64) -> String {
    format!("{} to {}", per_10_000(low), per_10_000(high))
}

/// The interval of the computation in words.
pub fn within(summary: &Summary, found: &Found) -> String {
    found.interval(summary).map_or("not known yet".to_owned(), |(low, high)| interval(low, high))
}

fn points(out: &mut String, f: &Forecast) {
    let rows: Vec<Vec<String>> = f
        .points
        .iter()
        .map(|p| {
            let s = &p.summary;
            let (rate, mc) = if s.none_met {
                (format!("<{}", per_10_000(s.mc_high)), "none met".to_owned())
            } else {
                (per_10_000(s.miss_rate), within(s, &p.found_by))
            };
            vec![
                p.name.clone(),
                rate,
                mc,
                interval(s.race_p05, s.race_p95),
                missed_range(&p.missed),
                format!("{}: {}", rate_percent(p.target), percent(p.missed.target_odds)),
            ]
        })
        .collect();
    let count = format!("of {} missed", grouped(f.runners));
    out.push_str("Missed runners per 10,000, at each timing point with all its lines\n");
    out.push_str(&table(
        &["timing point", "missed", "computed within", "race to race 5-95 %", &count, "odds of the target"],
        &rows,
    ));
    let e = &f.whole_event;
    out.push_str(&wrap(
        &format!(
            "A runner lacks at least one split with odds of {} in 10,000; {} have every split.",
            per_10_000(e.any_split_missed.miss_rate),
            percent(e.complete_splits)
        ),
        WIDTH,
        "  ",
    ));
    out.push('\n');
}

fn causes(out: &mut String, f: &Forecast) {
    let rows: Vec<Vec<String>> = with_misses(f)
        .map(|p| {
            let c = &p.causes;
            vec![
                p.name.clone(),
                percent(c.never_in_reach),
                percent(c.asleep),
                percent(c.awake_not_heard),
                percent(c.crowded_out),
            ]
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    out.push_str("Why: first cause of the misses\n");
    out.push_str(&table(
        &["timing point", "never in reach", "asleep", "awake, not heard", "crowded out"],
        &rows,
    ));
    out.push('\n');
}

fn with_misses(f: &Forecast) -> impl Iterator<Item = &PointForecast> {
    f.points.iter().filter(|p| p.summary.miss_rate > 0.0)
}

fn who(out: &mut String, f: &Forecast) {
    shares(out, f, "Who is missed, by wetness of the bib", |p| &p.by_wetness);
    shares(out, f, "Who is missed, by where the bib sits", |p| &p.by_placement);
    shares(out, f, "Where on the road, from its right edge to its left", |p| &p.by_lateral);
}

/// One table for all points with the same names (roads of other widths have other strips): a row a name, beside it the share of all
/// runners, then the share of the misses at each point.
fn shares(out: &mut String, f: &Forecast, title: &str, list: fn(&PointForecast) -> &Vec<NamedShare>) {
    let names = |p: &PointForecast| list(p).iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    let mut groups: Vec<Vec<&PointForecast>> = Vec::new();
    for p in with_misses(f) {
        match groups.iter_mut().find(|g| names(g[0]) == names(p)) {
            Some(group) => group.push(p),
            None => groups.push(vec![p]),
        }
    }
    for group in groups {
        let mut header = vec!["share of", "all runners"];
        let columns: Vec<String> = group.iter().map(|p| format!("misses at {}", p.name)).collect();
        header.extend(columns.iter().map(String::as_str));
        let rows: Vec<Vec<String>> = (0..list(group[0]).len())
            .map(|i| {
                let first = &list(group[0])[i];
                let mut row = vec![first.name.clone(), percent(first.of_passings)];
                row.extend(group.iter().map(|p| percent(list(p)[i].of_misses)));
                row
            })
            .collect();
        out.push_str(&format!("{title}\n{}\n", table(&header, &rows)));
    }
}

fn lines(out: &mut String, f: &Forecast) {
    for p in f.points.iter().filter(|p| p.lines.len() > 1) {
        let rows: Vec<Vec<String>> = p
            .lines
            .iter()
            .map(|l| {
                let rate = if l.summary.none_met {
                    format!("<{}", per_10_000(l.summary.mc_high))
                } else {
                    per_10_000(l.summary.miss_rate)
                };
                let gain = if l.missed_by_the_others_too > 0.0 {
                    significant(1.0 / l.missed_by_the_others_too)
                } else {
                    "-".to_owned()
                };
                vec![
                    l.name.clone(),
                    rate,
                    within(&l.summary, &l.found_by),
                    percent(l.missed_by_the_others_too),
                    gain,
                ]
            })
            .collect();
        out.push_str(&format!("Lines of {}, each alone: missed per 10,000\n", p.name));
        out.push_str(&table(
            &[
                "line",
                "missed",
                "computed within",
                "of these the others miss too",
                "so the others divide misses by",
            ],
            &rows,
        ));
        out.push('\n');
    }
}

fn hinges(out: &mut String, f: &Forecast) {
    let Some(p) = f.points.iter().max_by(|a, b| a.summary.miss_rate.total_cmp(&b.summary.miss_rate)) else {
        return;
    };
    let clear: Vec<&Hinge> = p.hinges.iter().filter(|h| h.clear).take(4).collect();
    if clear.is_empty() {
        return;
    }
    out.push_str(&format!(
        "What it hinges on at {} (missed per 10,000 in the lowest and highest third of race days)\n",
        p.name
    ));
    let rows: Vec<Vec<String>> = clear
        .iter()
        .map(|h| {
            let unit = if h.unit.is_empty() { String::new() } else { format!(" {}", h.unit) };
            vec![
                h.what.clone(),
                format!("{:.2}{unit}: {}", h.low, per_10_000(h.miss_rate_at_low)),
                format!("{:.2}{unit}: {}", h.high, per_10_000(h.miss_rate_at_high)),
            ]
        })
        .collect();
    out.push_str(&table(&["drawn for each race", "low", "high"], &rows));
    out.push('\n');
}

fn certainty(out: &mut String, f: &Forecast) {
    let found = found_table(f);
    out.push_str("How sure\n");
    out.push_str(&wrap(
        &format!(
            "- Computed: {} race days with {} runners in all, each past every point{}. {} 'Computed within' is the 95 % interval of that computation only.",
            grouped(f.races),
            grouped(f.passings),
            if found.is_empty() { "" } else { "; rare misses looked at more closely (table below)" },
            why_ended(f)
        ),
        WIDTH,
        "  ",
    ));
    if !found.is_empty() {
        out.push_str(&format!("\n{found}"));
        out.push_str(&wrap(COLUMNS, WIDTH, "  "));
        out.push('\n');
    }
    for doubt in doubts(f) {
        out.push_str(&wrap(&format!("- {doubt}"), WIDTH, "  "));
    }
    out.push_str(&wrap(
        "- Race to race: what weather, batch, laboratory error and the beliefs below leave open. More computing does not narrow it; measuring does.",
        WIDTH,
        "  ",
    ));
    out.push_str(&wrap(
        &format!(
            "- Measured: the tag's curves from {} samples (offsets between them {:.2} dB, standard deviation), down to {:.1} mm from the phantom. Nothing else here is measured.",
            f.tag.samples, f.tag.observed_offset_sd_db, f.tag.closest_gap_mm
        ),
        WIDTH,
        "  ",
    ));
    for p in f.points.iter().filter(|p| p.closer_than_measured > 0.01).take(1) {
        out.push_str(&wrap(
            &format!(
                "- {} of the bibs (and {} of the misses) sit closer to the body than any mount measured; there the closest mount's curve stands in, which flatters the tag.",
                percent(p.closer_than_measured),
                percent(p.closer_than_measured_of_misses)
            ),
            WIDTH,
            "  ",
        ));
    }
    for warning in &f.warnings {
        out.push_str(&wrap(&format!("- Warning: {warning}"), WIDTH, "  "));
    }
    out.push('\n');
}

fn assumed(out: &mut String, f: &Forecast) {
    out.push_str("Assumed, not measured\n");
    let rows: Vec<Vec<String>> =
        f.assumptions.iter().map(|a| vec![a.what.clone(), a.value.clone(), a.source.clone()]).collect();
    let mut text = String::new();
    for row in &rows {
        text.push_str(&wrap(&format!("{}: {} [{}]", row[0], row[1], row[2]), WIDTH, "  "));
    }
    out.push_str(&text);
    out.push_str(&wrap(&format!("region: {}", f.region_source), WIDTH, "  "));
}

fn provenance(out: &mut String, f: &Forecast) {
    let p = &f.provenance;
    out.push_str(&format!("\n{} {}, seed {}\n", p.program, p.version, p.seed));
    for input in &p.inputs {
        out.push_str(&format!("  {}  {}\n", &input.sha256[..16.min(input.sha256.len())], input.path));
    }
}

/// Runners missed: the median, and nine races of ten.
pub fn missed_range(missed: &CountForecast) -> String {
    format!("{} ({} to {})", grouped(missed.median), grouped(missed.p05), grouped(missed.p95))
}
