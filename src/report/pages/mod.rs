//! From the result of a study to its page: the words of the text report, the figures, assumptions and provenance.

pub mod drivers;
pub mod explain;
pub mod lab;
pub mod learn;
pub mod predict;
pub mod rank;
pub mod redundancy;
pub mod score;
pub mod trial;

use super::cautions::CAUTIONS;
use super::page::{Page, assumptions};
use super::table::{Cell, Table};
use crate::report::words::first_words;
use crate::study::provenance::{AssumptionEcho, InputFile, Provenance};

/// What every page of a timing point ends with: cautions, assumptions, inputs, version and seed. The study fills in the rest.
fn frame(study: &str, provenance: &Provenance, assumptions: Table) -> Page {
    Page {
        study: study.into(),
        unlawful: first_words(provenance).join(" "),
        cautions: strings(&CAUTIONS),
        assumptions,
        inputs: inputs(&provenance.inputs),
        run: vec![
            ("program".into(), format!("{} {}", provenance.program, provenance.version)),
            ("seed".into(), provenance.seed.to_string()),
        ],
        ..Page::default()
    }
}

/// Assumptions as the page's table.
fn assumed(list: &[AssumptionEcho]) -> Table {
    let mut table = assumptions();
    for a in list {
        table.row([Cell::from(a.what.as_str()), Cell::from(a.value.as_str()), Cell::from(a.source.as_str())]);
    }
    table
}

/// Assumptions that come as sentences.
fn assumed_lines<'a>(lines: impl IntoIterator<Item = &'a str>) -> Table {
    let mut table = assumptions();
    for line in lines {
        table.row([Cell::from(line), Cell::Empty, Cell::Empty]);
    }
    table
}

/// Input files with their hashes.
fn inputs(list: &[InputFile]) -> Vec<(String, String)> {
    list.iter().map(|i| (i.path.clone(), i.sha256.clone())).collect()
}

/// The note of a scenario, and what its timing point was studied with.
fn point_note(note: &str, tag: &str, region: &str, weather: &str) -> String {
    format!("{}. Tag {tag}, {region}, weather {weather}.", note.trim_end_matches('.'))
}

/// The note, after the word that the run did not come to its end.
fn with_break(interrupted: bool, note: &str) -> String {
    let broken = if interrupted { "The run was interrupted: this is what was known by then. " } else { "" };
    format!("{broken}{note}")
}

fn strings(list: &[&str]) -> Vec<String> {
    list.iter().map(|s| (*s).to_owned()).collect()
}
