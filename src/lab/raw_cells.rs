//! Cells of an instrument's export: decimal marks, words for "no answer", and units to dBm.

use super::Level;
use super::cells::field_span_by;
use super::problems::Problems;
use super::raw_file::{DecimalMark, LevelUnit, RawFile};
use super::refer::field_to_isotropic_dbm;
use crate::diag::{Diagnostic, Source};
use crate::units::{power_ratio_to_db, watts_to_dbm};
use std::ops::Range;
use std::sync::Arc;

/// One row with the fields it was cut into.
pub struct Row<'a> {
    pub file: &'a RawFile,
    pub source: &'a Arc<Source>,
    pub separator: u8,
    /// Number of each field in the text, and its text.
    pub fields: &'a [(usize, &'a str)],
    pub start: usize,
}

impl Row<'_> {
    pub fn span(&self, column: usize) -> Range<usize> {
        field_span_by(self.source, self.start, self.fields[column].0, self.separator)
    }

    /// A plain number; an empty or unmeasured cell gives `None`.
    pub fn number(&self, column: usize, problems: &mut Problems) -> Option<f64> {
        self.parse(column, self.fields[column].1, problems)
    }

    fn parse(&self, column: usize, text: &str, problems: &mut Problems) -> Option<f64> {
        let export = &self.file.export;
        if text.is_empty() || export.not_measured.iter().any(|mark| mark == text) {
            return None;
        }
        let value = match export.decimal {
            DecimalMark::Point => text.parse::<f64>(),
            // A point beside decimal commas would be a thousands mark: too easily misread.
            DecimalMark::Comma if text.contains('.') => "".parse::<f64>(),
            DecimalMark::Comma => text.replace(',', ".").parse::<f64>(),
        };
        match value {
            Ok(value) if value.is_finite() => Some(value),
            _ => {
                problems.error(|| {
                    let mark = if export.decimal == DecimalMark::Comma { "a comma" } else { "a point" };
                    Diagnostic::error(
                        "csv-number",
                        format!("expected a number with {mark}, but found {text:?}"),
                    )
                    .at(self.source, self.span(column))
                    .help("see `decimal`, `no_answer` and `not_measured` under [export] in tag.toml")
                });
                None
            }
        }
    }

    /// A level in dBm (or dBsm) of the given unit.
    fn level(&self, column: usize, value: f64, unit: LevelUnit, problems: &mut Problems) -> Option<f64> {
        let setup = &self.file.setup;
        let positive = |convert: &dyn Fn(f64) -> f64| (value > 0.0).then(|| convert(value));
        let level = match unit {
            LevelUnit::Dbm | LevelUnit::Dbsm => Some(value),
            // P = U²/R over 1 mW.
            LevelUnit::Dbv => Some(value + 30.0 - power_ratio_to_db(setup.impedance_ohm.unwrap_or(50.0))),
            LevelUnit::W => positive(&watts_to_dbm),
            LevelUnit::MilliW => positive(&|mw| watts_to_dbm(mw * 1e-3)),
            LevelUnit::SquareMetre => positive(&power_ratio_to_db),
            LevelUnit::VoltPerMetre => positive(&|v| v),
        };
        if !level.is_some_and(|l| (-200.0..=70.0).contains(&l)) {
            problems.error(|| {
                let name = unit.name();
                let message = match level {
                    Some(_) if matches!(unit, LevelUnit::Dbm | LevelUnit::Dbsm) => {
                        format!("{value} {name} is outside -200..=70 {name}")
                    }
                    Some(l) => format!("{value} {name} is {l:.1} dBm, outside -200..=70 dBm"),
                    None => format!("{value} {name} is no level: it must be above 0"),
                };
                Diagnostic::error("csv-range", message)
                    .at(self.source, self.span(column))
                    .help("check the unit under [columns] in tag.toml")
            });
            return None;
        }
        level
    }

    pub fn threshold(&self, column: usize, freq_mhz: f64, problems: &mut Problems) -> Option<Level> {
        let text = self.fields[column].1;
        let file = self.file;
        let unit = file.columns.threshold.as_ref()?.unit;
        if file.export.no_answer.iter().any(|mark| mark == text) {
            return file.setup.max_generator_dbm.map(Level::Above);
        }
        let (wrap, number): (fn(f64) -> Level, &str) = match text.as_bytes().first() {
            Some(b'>') => (Level::Above, text[1..].trim_start()),
            Some(b'<') => (Level::Below, text[1..].trim_start()),
            _ => (Level::Exact, text),
        };
        let value = self.parse(column, number, problems)?;
        let level = self.level(column, value, unit, problems)?;
        let field = unit == LevelUnit::VoltPerMetre;
        Some(wrap(if field { field_to_isotropic_dbm(freq_mhz, level) } else { level }))
    }

    pub fn reply(&self, column: usize, problems: &mut Problems) -> Option<f64> {
        let file = self.file;
        if file.export.no_answer.iter().any(|mark| mark == self.fields[column].1) {
            return None;
        }
        let value = self.number(column, problems)?;
        self.level(column, value, file.columns.reply.as_ref()?.unit, problems)
    }

    pub fn reply_at(&self, column: usize, problems: &mut Problems) -> Option<f64> {
        let value = self.number(column, problems)?;
        self.level(column, value, self.file.columns.reply_at.as_ref()?.unit, problems)
    }
}
