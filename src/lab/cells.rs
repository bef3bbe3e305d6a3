//! Cells of a CSV text: where they stand, and the numbers in them.

use super::problems::Problems;
use crate::diag::{Diagnostic, Source};
use std::ops::Range;
use std::sync::Arc;

/// Limits of one numeric column and what a value outside them usually means.
pub struct Limit {
    pub min: f64,
    pub max: f64,
    pub unit: &'static str,
    pub hint: &'static str,
}

/// Reader of a table without quirks: rows of any width, cells trimmed, lines that start with `comment` left out.
pub fn reader(text: &[u8], separator: u8, comment: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .comment(Some(comment))
        .trim(csv::Trim::All)
        .from_reader(text)
}

/// Byte offset where the record really starts: the reader counts comments and empty lines before it in.
pub fn record_start(source: &Source, record: &csv::StringRecord) -> usize {
    skip_comments(source, record.position().map_or(0, |p| p.byte() as usize), '#')
}

/// First byte at or after `at` that is neither in an empty line nor in one that starts with `comment`.
pub fn skip_comments(source: &Source, at: usize, comment: char) -> usize {
    let mut at = at.min(source.text.len());
    loop {
        let rest = &source.text[at..];
        let blank = rest.len() - rest.trim_start_matches(['\r', '\n']).len();
        at += blank;
        if !source.text[at..].starts_with(comment) {
            return at;
        }
        at = line_end(source, at);
    }
}

/// Byte offset of the end of the line that holds `at`, without the line break.
pub fn line_end(source: &Source, at: usize) -> usize {
    let rest = &source.text[at..];
    at + rest.find(['\r', '\n']).unwrap_or(rest.len())
}

/// Byte range of field number `field` of the record that starts at `start`, without blanks around it.
pub fn field_span(source: &Source, start: usize, field: usize) -> Range<usize> {
    field_span_by(source, start, field, b',')
}

/// The same for another separator.
pub fn field_span_by(source: &Source, start: usize, field: usize, separator: u8) -> Range<usize> {
    let bytes = source.text.as_bytes();
    let (mut at, mut seen, mut quoted) = (start, 0, false);
    let mut from = start;
    while at < bytes.len() {
        match bytes[at] {
            b'"' => quoted = !quoted,
            b if b == separator && !quoted => {
                if seen == field {
                    break;
                }
                seen += 1;
                from = at + 1;
            }
            b'\n' | b'\r' if !quoted => break,
            _ => {}
        }
        at += 1;
    }
    let text = &source.text[from..at];
    let blank = text.len() - text.trim_start().len();
    let end = from + text.trim_end().len();
    (from + blank).min(end.max(from))..end.max(from)
}

fn hint_of(limit: &Limit) -> String {
    format!("expected {} to {} {}: {}", limit.min, limit.max, limit.unit, limit.hint)
}

/// The number in a cell: `None` for an empty cell and, with an error noted, for anything that is no number within
/// the limits.
pub fn number(
    source: &Arc<Source>,
    text: &str,
    key: &str,
    span: impl Fn() -> Range<usize>,
    limit: &Limit,
    problems: &mut Problems,
) -> Option<f64> {
    if text.is_empty() {
        return None;
    }
    let Ok(value) = text.parse::<f64>() else {
        problems.error(|| {
            let found =
                Diagnostic::error("csv-number", format!("{key}: expected a number, but found {text:?}"))
                    .at(source, span());
            let comma = text.replace(',', ".");
            if comma != text && comma.parse::<f64>().is_ok() {
                found.help(format!("decimal comma: write {comma}"))
            } else if key == "threshold_dbm" {
                found.help("leave the cell empty where nothing could be measured; `>12.0` for a tag that did not wake up to 12.0 dBm")
            } else {
                found.help(hint_of(limit))
            }
        });
        return None;
    };
    if !value.is_finite() {
        problems.error(|| {
            Diagnostic::error("csv-number", format!("{key} = {text} is not a finite number"))
                .at(source, span())
                .help("leave the cell empty where nothing could be measured")
        });
        return None;
    }
    let Limit { min, max, unit, hint } = limit;
    if !(value >= *min && value <= *max) {
        problems.error(|| {
            Diagnostic::error("csv-range", format!("{key} = {text} is outside {min}..={max} {unit}"))
                .at(source, span())
                .help(*hint)
        });
        return None;
    }
    Some(value)
}
