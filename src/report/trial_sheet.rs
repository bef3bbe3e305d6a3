//! The folder of a planned trial: the crew's sheet, the passings to fill in, and the outcome file that `learn` reads.

use super::words::{WIDTH, first_lines, item, say, significant, wrap};
use crate::course::field::Placement;
use crate::files::whole_folder::Files;
use crate::study::trial::{Answer, Step};
use std::fmt::Write;

/// Cautions of a trial.
pub const TRIAL_CAUTIONS: [&str; 5] = [
    "Power goes only downwards from what the scenario has and the licence allows.",
    "Nobody stands, sits or lingers on or before an antenna that is on; between passings people wait at the screening distance (`readodds check` prints it).",
    "Water is for bibs, not for readers: mains supply, connectors and supplies in the wet are for licensed hands.",
    "Mats, ramps and cables are trip hazards, wet ones slip: secure and mark them; walk, do not race.",
    "Local rules and licensed practice prevail over anything printed here.",
];

/// Words of a placement's key.
pub fn placement_words(key: &str) -> &str {
    Placement::ALL.into_iter().find(|p| p.key() == key).map_or(key, |p| p.words())
}

/// sheet.txt, passings.csv, trial.toml; `scenario` is the way from the folder to the yard's scenario.
pub fn files(a: &Answer, scenario: &str) -> Files {
    vec![
        ("sheet.txt".to_owned(), sheet(a).into_bytes()),
        ("passings.csv".to_owned(), passings(a).into_bytes()),
        ("trial.toml".to_owned(), outcome(a, scenario).into_bytes()),
    ]
}

/// What the crew takes along.
fn sheet(a: &Answer) -> String {
    let mut out = String::new();
    first_lines(&mut out, &a.provenance);
    let _ = writeln!(out, "Trial at {} ({}), tag {}", a.yard_point, a.yard, a.tag.name);
    out.push('\n');
    say(
        &mut out,
        &format!(
            "{} people, each with one tag of the race's batch, kept all the time (number on bib and on the list). One by one, {} s apart, at the pace of the scenario. Antennas stand as in the scenario; note serial numbers, cables and powers.",
            a.people,
            significant(a.seconds_between)
        ),
    );
    for (i, step) in a.steps.iter().enumerate() {
        out.push('\n');
        let _ = writeln!(out, "[ ] Step {}: {}", i + 1, heading(step));
        for words in step_words(a, i, step) {
            out.push_str(&wrap(&format!("    {words}"), WIDTH, "    "));
        }
    }
    out.push_str("\nCautions\n");
    TRIAL_CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
    out.push_str("\nAfterwards\n");
    item(
        &mut out,
        "passings.csv: 1 for each passing that was read, 0 for each that was not, and the power that was really set. Delete rows that nobody walked; add rows for others.",
    );
    item(
        &mut out,
        "An attenuator in the cable instead of the reader's setting: write attenuator under drop_by, for it costs the reply as much. Measure what a setting really does: some are off by half a dB (common practice).",
    );
    item(
        &mut out,
        "All passings count, also those that look wrong; a fault (cable off, reader down) goes on record and its rows are deleted.",
    );
    item(&mut out, "readodds learn trial.toml --write learned");
    out
}

fn heading(step: &Step) -> String {
    let power = match step.drop_db {
        0.0 => "power as in the race".to_owned(),
        db => format!("power {} dB down", significant(db)),
    };
    format!("{}, {}, {power}", placement_words(&step.placement), step.wetness)
}

fn step_words(a: &Answer, i: usize, step: &Step) -> Vec<String> {
    let mut out = Vec::new();
    let before = i.checked_sub(1).map(|i| &a.steps[i]);
    let changed = |of: fn(&Step) -> &str| before.is_none_or(|b| of(b) != of(step));
    if changed(|s| &s.wetness) && step.wetness == "soaked" {
        out.push("Soak every bib through, and again before each lap: as wet as in pouring rain.".to_owned());
    }
    if changed(|s| &s.placement) {
        out.push(format!("Pin all bibs: {}.", placement_words(&step.placement)));
    }
    out.push(format!(
        "Everybody passes {}: {} passings, about {:.0} min with what must be changed. Expected missed: {} ({} to {}).",
        match step.laps {
            1 => "once".to_owned(),
            2 => "twice".to_owned(),
            n => format!("{n} times"),
        },
        step.passings,
        step.minutes,
        significant(step.missed),
        step.missed_p05,
        step.missed_p95
    ));
    // Where a fifth to a half are missed a passing tells most; nobody knows beforehand where that is.
    if step.drop_db > 0.0 {
        out.push(format!(
            "If of the first {} fewer than {} or more than {} are missed, go 2 dB down or up for the rest (never above the race's power) and write the power used.",
            a.people,
            (a.people as f64 * 0.1).ceil(),
            (a.people as f64 * 0.8).floor()
        ));
    }
    out
}

/// One row for every passing, `read` left to fill in.
fn passings(a: &Answer) -> String {
    let mut out = format!(
        "# {}\n# Fill in `read`: 1 or 0. Delete rows nobody walked. Power lowered by an attenuator instead of the setting: attenuator.\n",
        match a.note.is_empty() {
            true => "Passings of a trial",
            false => a.note.as_str(),
        }
    );
    out.push_str("person,tag,point,placement,wetness,drop_db,drop_by,read\n");
    for step in &a.steps {
        for _ in 0..step.laps {
            for person in 1..=a.people {
                let point = cell(&a.yard_point);
                let _ = writeln!(
                    out,
                    "{person},{person},{point},{},{},{},setting,",
                    step.placement, step.wetness, step.drop_db
                );
            }
        }
    }
    out
}

/// A cell with its quotes.
fn cell(text: &str) -> String {
    match text.contains([',', '"', '\n']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    }
}

fn outcome(a: &Answer, scenario: &str) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    format!(
        "# {}\n[trial]\nname = {}\nscenario = {}\nfile = \"passings.csv\"\n",
        match a.note.is_empty() {
            true => "A trial",
            false => a.note.as_str(),
        },
        quoted(&format!("Trial at {}", a.yard_point)),
        quoted(scenario)
    )
}
