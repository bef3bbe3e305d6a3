//! How the expected miss rates were found: a table of what is needed to doubt them, and the doubts in words.

use super::words::{grouped, per_10_000, percent, significant, table};
use crate::estimate::stop::{Stopped, shortfall};
use crate::study::expected::{Found, RACE_DAYS};
use crate::study::predict::{Forecast, PointForecast};

/// The table for the text report; empty if race days gave all rates.
pub fn found_table(f: &Forecast) -> String {
    let rows: Vec<Vec<String>> = f
        .points
        .iter()
        .flat_map(named)
        .filter(|(_, found)| other_than_race_days(found))
        .map(|(name, found)| row(name, found))
        .collect();
    if rows.is_empty() {
        return String::new();
    }
    let header = [
        "how rates were found",
        "by",
        "passings",
        "pilot",
        "effective misses",
        "largest share",
        "relaxed bar",
        "race days alone",
        "those are",
    ];
    table(&header, &rows)
}

fn row(name: String, found: &Found) -> Vec<String> {
    let or_dash = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
    vec![
        name,
        found.estimator.clone(),
        grouped(found.passings),
        grouped(found.pilot_passings),
        or_dash(found.effective_misses.map(significant)),
        or_dash(found.largest_share.map(percent)),
        or_dash(found.relaxed_z.map(|z| format!("{z:+.1} s.e."))),
        format!(
            "{} ({} to {})",
            per_10_000(found.race_days_rate),
            per_10_000(found.race_days_low),
            per_10_000(found.race_days_high)
        ),
        if found.agrees { "in line" } else { "too few" }.to_owned(),
    ]
}

/// What the columns of the table mean.
pub const COLUMNS: &str = "Effective misses: as many equally weighted ones would tell as much. Largest share: what one passing carries of the rate. \
Relaxed bar: how far importance and plain sampling lie apart, in standard errors, where both have many hits. Race days \
alone: what they say, per 10,000; in line: within the joint error of both; too few: see below.";

/// Doubts and reasons, one sentence each.
pub fn doubts(f: &Forecast) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let all: Vec<(String, &Found)> = f.points.iter().flat_map(named).collect();
    let mut reasons: Vec<(&str, &Found)> = Vec::new();
    // Race days that do as planned need no reason; race days in place of a search do.
    for (_, found) in all.iter().filter(|(_, found)| other_than_race_days(found) || found.pilot_passings > 0)
    {
        if !reasons.iter().any(|(why, _)| *why == found.why) {
            reasons.push((&found.why, found));
        }
    }
    for (why, first) in reasons {
        let names: Vec<&str> =
            all.iter().filter(|(_, found)| found.why == why).map(|(name, _)| name.as_str()).collect();
        let by = if other_than_race_days(first) { "Looked at more closely" } else { "Race days kept" };
        out.push(format!("{by}: {} ({why}).", names.join("; ")));
    }
    let mut notes: Vec<&str> = Vec::new();
    for note in all.iter().flat_map(|(_, found)| &found.notes) {
        if !notes.contains(&note.as_str()) {
            notes.push(note);
        }
    }
    for note in notes {
        let names: Vec<&str> = all
            .iter()
            .filter(|(_, found)| found.notes.iter().any(|n| n == note))
            .map(|(name, _)| name.as_str())
            .collect();
        out.push(format!("{}: {note}.", names.join("; ")));
    }
    out
}

fn other_than_race_days(found: &Found) -> bool {
    found.estimator != RACE_DAYS
}

/// Why the computation ended, in a sentence: one account for race days and the other estimators.
pub fn why_ended(f: &Forecast) -> String {
    let asked = format!(
        "{} of the rate or {} misses per 10,000, whichever is looser (standard error)",
        percent(f.precision.relative),
        per_10_000(f.precision.absolute)
    );
    let names = |wanted: &dyn Fn(&PointForecast) -> bool| {
        f.points.iter().filter(|p| wanted(p)).map(|p| p.name.as_str()).collect::<Vec<&str>>().join(", ")
    };
    match f.stopped {
        Stopped::PrecisionReached => format!("Every point is known as precisely as asked: to {asked}."),
        Stopped::MaxPassings => {
            let short = |p: &PointForecast| {
                shortfall(&[(p.summary.miss_rate, p.summary.standard_error)], &f.precision) > 1.0
            };
            format!("Known less precisely than asked: {}. Asked was {asked}.", names(&short))
        }
        Stopped::Interrupted => {
            let open = names(&|p: &PointForecast| p.found_by.unfinished);
            if open.is_empty() {
                "Broken off; the rates of the points are done, those of single lines are not.".to_owned()
            } else {
                format!("Broken off: {open} known less precisely than asked.")
            }
        }
    }
}

fn named(point: &PointForecast) -> Vec<(String, &Found)> {
    let lines =
        point.lines.iter().map(|line| (format!("{}, {} alone", point.name, line.name), &line.found_by));
    std::iter::once((point.name.clone(), &point.found_by)).chain(lines).collect()
}
