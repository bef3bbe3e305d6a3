//! A correction over frequency: a constant, a CSV table or a Touchstone file, interpolated linearly in dB.
//!
//! CSV: the columns `freq_mhz` and one more whose name ends in `_db` or `_dbi`. From a `.s2p` file the loss
//! −20·log10|S21| is taken. A frequency outside the table is refused, not extrapolated: a cable or an antenna
//! may do anything there.

use super::cells::{Limit, field_span, number, reader, record_start};
use super::problems::Problems;
use super::touchstone;
use crate::diag::{Checked, Diagnostic, Source};
use crate::units::amplitude_ratio_to_db;
use std::sync::Arc;

/// Value in dB (or dBi) over frequency.
#[derive(Clone, Debug, PartialEq)]
pub enum Correction {
    Constant(f64),
    Table { freq_mhz: Vec<f64>, value_db: Vec<f64> },
}

impl Correction {
    /// Value at a frequency; `None` outside the table.
    pub fn at(&self, at_mhz: f64) -> Option<f64> {
        match self {
            Correction::Constant(value) => Some(*value),
            Correction::Table { freq_mhz, value_db } => {
                let last = freq_mhz.len().checked_sub(1)?;
                if !(at_mhz >= freq_mhz[0] && at_mhz <= freq_mhz[last]) {
                    return None;
                }
                let right = freq_mhz.partition_point(|&f| f < at_mhz).clamp(1.min(last), last);
                let left = right.saturating_sub(1);
                if left == right {
                    return Some(value_db[right]);
                }
                let t = (at_mhz - freq_mhz[left]) / (freq_mhz[right] - freq_mhz[left]);
                Some(value_db[left] + t * (value_db[right] - value_db[left]))
            }
        }
    }

    /// Frequencies covered, MHz; `None` for a constant.
    pub fn span_mhz(&self) -> Option<(f64, f64)> {
        match self {
            Correction::Constant(_) => None,
            Correction::Table { freq_mhz, .. } => Some((*freq_mhz.first()?, *freq_mhz.last()?)),
        }
    }
}

/// Reads a correction file by the ending of its name.
pub fn read(source: &Arc<Source>) -> Checked<Correction> {
    match touchstone::ports_of(&source.path) {
        Some(2) => {
            let (data, warnings) = touchstone::read(source, 2)?;
            let value_db = data.s.iter().map(|s| -amplitude_ratio_to_db(s[1].norm().max(1e-12))).collect();
            Ok((Correction::Table { freq_mhz: data.freq_mhz, value_db }, warnings))
        }
        Some(_) => {
            Err(vec![Diagnostic::error("correction", "a one-port file holds no loss").in_file(source).help(
                "a cable is a two-port: measure S21 and save .s2p; a .s1p file belongs to `antenna_s11_file`",
            )])
        }
        None => table(source),
    }
}

const FREQ: Limit = Limit { min: 1.0, max: 1e5, unit: "MHz", hint: "this column is in MHz" };
const VALUE: Limit =
    Limit { min: -100.0, max: 100.0, unit: "dB", hint: "a loss or a gain in dB, not a power ratio" };

fn table(source: &Arc<Source>) -> Checked<Correction> {
    let mut problems = Problems::new(source);
    let mut reader = reader(source.text.as_bytes(), b',', b'#');
    let mut record = csv::StringRecord::new();
    let header = matches!(reader.read_record(&mut record), Ok(true)).then(|| record.clone());
    let header = header.unwrap_or_default();
    let freq_column = header.iter().position(|name| name == "freq_mhz");
    let value_column = header.iter().position(|name| name.ends_with("_db") || name.ends_with("_dbi"));
    let (Some(freq_column), Some(value_column), 2) = (freq_column, value_column, header.len()) else {
        problems.error(|| {
            Diagnostic::error(
                "correction",
                "expected two columns: `freq_mhz` and one that ends in `_db` or `_dbi`",
            )
            .in_file(source)
            .help("columns are separated by commas; the first line that is no comment names them")
        });
        return problems.finish(Correction::Constant(0.0));
    };
    let (mut freq_mhz, mut value_db) = (Vec::<f64>::new(), Vec::new());
    while let Ok(true) = reader.read_record(&mut record) {
        let start = record_start(source, &record);
        let cell = |column: usize, key: &str, limit: &Limit, problems: &mut Problems| {
            let text = record.get(column).unwrap_or("");
            let value = number(source, text, key, || field_span(source, start, column), limit, problems);
            if text.is_empty() {
                problems.error(|| {
                    Diagnostic::error("csv-empty-cell", format!("`{key}` is empty"))
                        .at(source, field_span(source, start, column))
                });
            }
            value
        };
        let freq = cell(freq_column, "freq_mhz", &FREQ, &mut problems);
        let value = cell(value_column, &header[value_column], &VALUE, &mut problems);
        let (Some(freq), Some(value)) = (freq, value) else { continue };
        if freq_mhz.last().is_some_and(|last| freq <= *last) {
            problems.error(|| {
                Diagnostic::error("correction", format!("freq_mhz = {freq} does not increase"))
                    .at(source, field_span(source, start, freq_column))
                    .help("sort the rows by frequency, each frequency once")
            });
        }
        freq_mhz.push(freq);
        value_db.push(value);
    }
    if freq_mhz.is_empty() && !problems.has_errors() {
        problems.error(|| Diagnostic::error("correction", "no rows").in_file(source));
    }
    problems.finish(Correction::Table { freq_mhz, value_db })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_interpolated_and_not_extrapolated() {
        let source = Source::new("cable.csv", "# Invented.\nfreq_mhz,loss_db\n850,1.0\n950,2.0\n");
        let (table, _) = read(&source).expect("a table");
        assert_eq!(table.at(850.0), Some(1.0));
        assert!((table.at(875.0).expect("inside") - 1.25).abs() < 1e-12);
        assert_eq!((table.at(849.9), table.at(950.1), table.at(f64::NAN)), (None, None, None));
        assert_eq!(Correction::Constant(1.5).at(1.0), Some(1.5));
    }

    #[test]
    fn a_touchstone_cable_gives_its_loss() {
        let source = Source::new("cable.s2p", "# MHz S DB R 50\n860 -20 0 -1.5 0 -1.5 0 -20 0\n");
        assert!((read(&source).expect("a cable").0.at(860.0).expect("its knot") - 1.5).abs() < 1e-12);
        assert!(read(&Source::new("a.s1p", "# MHz\n860 0.1 0\n")).is_err());
    }

    #[test]
    fn bad_tables_are_refused() {
        for text in [
            "freq_mhz,loss\n850,1\n",
            "freq_mhz,loss_db\n850,x\n",
            "freq_mhz,loss_db\n850,1\n850,1\n",
            "freq_mhz,loss_db\n",
        ] {
            assert!(read(&Source::new("cable.csv", text)).is_err(), "{text}");
        }
    }
}
