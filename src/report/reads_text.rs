//! Counts from read logs: as text, and as an outcome file for `learn`.

use super::words::{grouped, heading_note, item, percent, say, significant, table};
use crate::study::reads::{Answer, LONG_S, PointReads};
use std::fmt::Write;
use std::path::Path;

const PRIVACY: &str = "Tag numbers that a start list links to people are personal data, also under a pseudonym (Regulation (EU) 2016/679, art. 4(5)). Here they were told apart by a keyed hash whose key was never written; only counts are handed on. Local law prevails.";

pub fn reads_text(a: &Answer, written: Option<&Path>) -> String {
    let mut out = format!("Counts from the reads of {}\n", a.name);
    heading_note(&mut out, &a.note);
    out.push('\n');
    say(&mut out, &format!("{} rows of {} tags.", grouped(a.rows), grouped(a.tags)));
    out.push_str("\nMissed at each point\n");
    let rows: Vec<Vec<String>> = a.points.iter().map(point_row).collect();
    out.push_str(&table(&["point", "missed", "of", "known by"], &rows));
    out.push_str("\nReads of each passing, share of the tags read\n");
    let header = ["point", "line", "tags read", "1", "2", "3-5", "6-10", "11-20", "21-40", "over 40"];
    let rows: Vec<Vec<String>> = a
        .lines
        .iter()
        .map(|line| {
            let mut row = vec![line.point.clone(), line.line.clone(), grouped(line.tags)];
            match &line.by_reads {
                Some(bins) => {
                    row.extend(bins.iter().map(|&n| percent(n as f64 / (line.tags as f64).max(1.0))))
                }
                None => row.extend(std::iter::repeat_n("-".to_owned(), 7)),
            }
            row
        })
        .collect();
    out.push_str(&table(&header, &rows));
    out.push('\n');
    for words in remarks(a) {
        item(&mut out, &words);
    }
    if let Some(file) = written {
        item(
            &mut out,
            &format!(
                "Written to {}: look through it, add the weather that was and outages on record, then learn from it.",
                file.display()
            ),
        );
    }
    item(&mut out, PRIVACY);
    out
}

fn known_by(p: &PointReads) -> String {
    match (p.reference.as_deref(), &p.line_by_line) {
        (None, _) => "nothing: no count".to_owned(),
        (Some("seen_elsewhere"), _) => format!("reads at {}", p.seen_at.join(" or ")),
        (Some("other_line"), Some((line, by))) => format!("line {by} ({line} missed them)"),
        (Some(other), _) => other.replace('_', " "),
    }
}

fn point_row(p: &PointReads) -> Vec<String> {
    match p.reference {
        Some(_) => vec![p.point.clone(), grouped(p.missed), grouped(p.passed), known_by(p)],
        None => vec![p.point.clone(), "-".to_owned(), "-".to_owned(), known_by(p)],
    }
}

fn remarks(a: &Answer) -> Vec<String> {
    let mut out = Vec::new();
    if a.foreign_rows > 0 {
        out.push(format!(
            "{} rows of {} tags that were not handed out were set aside.",
            grouped(a.foreign_rows),
            grouped(a.foreign_tags)
        ));
    }
    if a.untimely_rows > 0 {
        out.push(format!("{} rows outside `from` and `until` were set aside.", grouped(a.untimely_rows)));
    }
    for (point, n) in &a.lingering {
        out.push(format!(
            "{point}: {} tags were read over more than {} minutes: laps, or bibs that lay within reach. A lap that was missed does not show in these counts.",
            grouped(*n),
            significant(LONG_S / 60.0)
        ));
    }
    for p in a.points.iter().filter(|p| p.unlisted > 0) {
        out.push(format!(
            "{}: {} tags were read that are not on the list of those known to have passed; they count for nothing here. Is the list whole?",
            p.point,
            grouped(p.unlisted)
        ));
    }
    for p in &a.points {
        match p.reference.as_deref() {
            None => out.push(format!(
                "{}: one line, and no later point. Whom it missed nobody can tell from reads: film the runners and give the list ([[known]]).",
                p.point
            )),
            Some("other_line") => out.push(format!(
                "{}: what one line missed of those another read. What both missed cannot be told from reads; `learn` takes this count for what it is.",
                p.point
            )),
            _ => {}
        }
    }
    out.push("Who dropped out before a later point is not in the count of those read there. The number of reads of each passing is told for the crew; `learn` does not use it.".to_owned());
    out
}

/// The outcome file, `scenario` being the way from its folder.
pub fn outcome_toml(a: &Answer, scenario: &str) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let list = |names: &[String]| names.iter().map(|n| quoted(n)).collect::<Vec<_>>().join(", ");
    let mut out = format!(
        "# {}\n# Counts from read logs. Add: weather_seen, soaked, forecast; and for an outage on record excluded = \"why\" in its point.\n[race]\nname = {}\nscenario = {}\n",
        if a.note.is_empty() { "A race" } else { &a.note },
        quoted(&a.name),
        quoted(scenario)
    );
    for p in &a.points {
        let Some(reference) = &p.reference else { continue };
        let _ = write!(out, "\n[[point]]\nname = {}\nreference = {}\n", quoted(&p.point), quoted(reference));
        if !p.seen_at.is_empty() {
            let _ = writeln!(out, "seen_at = [{}]", list(&p.seen_at));
        }
        if let Some((line, by)) = &p.line_by_line {
            let _ = writeln!(out, "line = {}\nby_line = {}", quoted(line), quoted(by));
        }
        if p.cells.is_empty() {
            let _ = writeln!(out, "passed = {}\nmissed = {}", p.passed, p.missed);
        }
        for cell in &p.cells {
            let _ =
                write!(out, "\n[[point.pattern]]\nread = [{}]\ncount = {}\n", list(&cell.read), cell.count);
        }
    }
    out
}
