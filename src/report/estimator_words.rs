//! How the expected miss rates were found: a table of what is needed to doubt them, and the doubts in words.

use super::words::{grouped, per_10_000, percent, significant, table};
use crate::study::expected::Found;
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
        "fits",
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
        if found.agrees { "yes" } else { "NO" }.to_owned(),
    ]
}

/// What the columns of the table mean.
pub const COLUMNS: &str = "Effective misses: as many equally weighted ones would tell as much. Largest share: what one passing carries of the rate. \
Relaxed bar: how far importance and plain sampling lie apart, in standard errors, where both have many hits. Race days \
alone, per 10,000; fits: within the joint error.";

/// Doubts and reasons, one sentence each.
pub fn doubts(f: &Forecast) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let all: Vec<(String, &Found)> = f.points.iter().flat_map(named).collect();
    let mut reasons: Vec<&str> = Vec::new();
    for (_, found) in all.iter().filter(|(_, found)| other_than_race_days(found) || !found.agrees) {
        if !reasons.contains(&found.why.as_str()) {
            reasons.push(&found.why);
        }
    }
    for why in reasons {
        let names: Vec<&str> =
            all.iter().filter(|(_, found)| found.why == why).map(|(name, _)| name.as_str()).collect();
        out.push(format!("Estimator of {}: {why}.", names.join("; ")));
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
    found.estimator != "race days"
}

fn named(point: &PointForecast) -> Vec<(String, &Found)> {
    let lines =
        point.lines.iter().map(|line| (format!("{}, {} alone", point.name, line.name), &line.found_by));
    std::iter::once((point.name.clone(), &point.found_by)).chain(lines).collect()
}
