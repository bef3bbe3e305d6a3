//! CSV text, already referred to the tag, to sweeps.
//!
//! Columns (any order; the unit is part of the name): `sample`, `phantom` (`none` or a name), `gap_mm` (between tag
//! and phantom, the tag's own spacer included; empty in free air) or instead `air_gap_mm` (without the spacer),
//! `freq_mhz`, `threshold_dbm`, `backscatter_db`, and if wanted `backscatter_at_dbm`, `link`, `repeat`,
//! `batch`, `session`, `operator`, `day`, `minute` (when the sweep began).
//! A threshold `>12.0` did not wake up to 12.0 dBm, `<-30.0` woke at −30 dBm already; empty: not measured.
//! Lines that start with `#` are comments. Rows may come in any order; each sweep is sorted by frequency.

use super::cells::{Limit, field_span, line_end, number, reader, record_start};
use super::problems::Problems;
use super::sweep::{Level, Mount, Reading, Sweep, Taken};
use crate::diag::{Checked, Diagnostic, Source};
use std::collections::HashMap;
use std::sync::Arc;

/// Columns known, and whether a file must have them.
const COLUMNS: [(&str, bool); 15] = [
    ("sample", true),
    ("phantom", true),
    ("gap_mm", false),
    ("air_gap_mm", false),
    ("freq_mhz", true),
    ("threshold_dbm", true),
    ("backscatter_db", true),
    ("backscatter_at_dbm", false),
    ("link", false),
    ("repeat", false),
    ("batch", false),
    ("session", false),
    ("operator", false),
    ("day", false),
    ("minute", false),
];
const SAMPLE: usize = 0;
const PHANTOM: usize = 1;
const GAP: usize = 2;
const AIR_GAP: usize = 3;
const FREQ: usize = 4;
const THRESHOLD: usize = 5;
const BACKSCATTER: usize = 6;
const TAKEN_AT: usize = 7;
const LINK: usize = 8;
const REPEAT: usize = 9;
const BATCH: usize = 10;
const SESSION: usize = 11;
const OPERATOR: usize = 12;
const DAY: usize = 13;
const MINUTE: usize = 14;

const FREQ_LIMIT: Limit = Limit {
    min: 300.0,
    max: 3000.0,
    unit: "MHz",
    hint: "this column is in MHz: 866.3, not 866300 (kHz) or 866300000 (Hz)",
};
const THRESHOLD_LIMIT: Limit = Limit {
    min: -40.0,
    max: 30.0,
    unit: "dBm",
    hint: "a threshold referred to the tag; a reversed sign or a raw generator level looks like this",
};
const BACKSCATTER_LIMIT: Limit = Limit {
    min: -80.0,
    max: 10.0,
    unit: "dB",
    hint: "backscatter EIRP over incident power; a reversed sign or a raw analyser level looks like this",
};
const TAKEN_AT_LIMIT: Limit =
    Limit { min: -40.0, max: 40.0, unit: "dBm", hint: "incident power at the tag, not generator power" };
const GAP_LIMIT: Limit = Limit {
    min: 0.0,
    max: 300.0,
    unit: "mm",
    hint: "for free air write phantom `none` and leave the gap empty",
};

const MINUTE_LIMIT: Limit =
    Limit { min: 0.0, max: 1e6, unit: "min", hint: "minutes after the first sweep of the campaign" };

/// Reads one file. `own_spacer_mm` is added to `air_gap_mm`, and no gap may be less than it.
pub fn referred_csv(source: &Arc<Source>, own_spacer_mm: f64) -> Checked<Vec<Sweep>> {
    let mut problems = Problems::new(source);
    let mut reader = reader(source.text.as_bytes(), b',', b'#');
    let mut record = csv::StringRecord::new();
    if !matches!(reader.read_record(&mut record), Ok(true)) {
        problems.error(|| {
            Diagnostic::error("csv-no-rows", "the file holds comments only, no header line").in_file(source)
        });
        return problems.finish(Vec::new());
    }
    let Some(place) = header(source, &record, &mut problems) else {
        return problems.finish(Vec::new());
    };
    let width = record.len();
    let mut table = Table { source, place, width, own_spacer_mm, sweeps: Vec::new(), index: HashMap::new() };
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => table.row(&record, &mut problems),
            Ok(false) => break,
            Err(e) => {
                problems.error(|| {
                    Diagnostic::error("csv-broken", format!("cannot read on: {e}")).in_file(source)
                });
                break;
            }
        }
    }
    if table.sweeps.is_empty() && !problems.has_errors() {
        problems.error(|| {
            Diagnostic::error("csv-no-rows", "a header line but no rows of readings")
                .in_file(source)
                .help("export the readings again, or leave the file out of `sweeps`")
        });
    }
    let mut sweeps = table.sweeps;
    for sweep in &mut sweeps {
        sort_and_check(sweep, &mut problems);
    }
    problems.finish(sweeps)
}

/// Field number of each known column, or `None` when the header cannot be used.
fn header(
    source: &Arc<Source>,
    record: &csv::StringRecord,
    problems: &mut Problems,
) -> Option<[Option<usize>; COLUMNS.len()]> {
    let start = record_start(source, record);
    if record.len() == 1 {
        let line = record.get(0).unwrap_or("");
        if let Some(separator) = [';', '\t', '|'].into_iter().find(|&c| line.contains(c)) {
            problems.error(|| {
                Diagnostic::error("csv-separator", format!("columns are separated by {separator:?}, expected ','"))
                    .at(source, start..start + line.len())
                    .help("export with comma separators and decimal points, or describe the export in tag.toml (level = \"raw\") and let `lab` refer it")
            });
            return None;
        }
    }
    let mut place = [None; COLUMNS.len()];
    for (field, name) in record.iter().enumerate() {
        let span = || field_span(source, start, field);
        match COLUMNS.iter().position(|(known, _)| *known == name) {
            Some(column) if place[column].is_some() => problems.error(|| {
                Diagnostic::error("csv-column", format!("column `{name}` occurs twice")).at(source, span())
            }),
            Some(column) => place[column] = Some(field),
            None => problems.error(|| {
                let known = COLUMNS.map(|(known, _)| known).join(", ");
                let unknown = Diagnostic::error("csv-column", format!("unknown column `{name}`"));
                let stem = name.split('_').next().unwrap_or("").to_lowercase();
                let near = stem.get(..4).and_then(|head| COLUMNS.iter().find(|(k, _)| k.starts_with(head)));
                let hint = match near {
                    Some((k, _)) => {
                        format!("did you mean `{k}`? the unit belongs in the name, and it is this one")
                    }
                    None => format!("columns known: {known}"),
                };
                unknown.at(source, span()).help(hint)
            }),
        }
    }
    for (column, (name, required)) in COLUMNS.iter().enumerate() {
        if *required && place[column].is_none() {
            problems.error(|| {
                Diagnostic::error("csv-column", format!("column `{name}` is missing"))
                    .at(source, start..start)
                    .help("the first line that is no comment names the columns")
            });
        }
    }
    if place[GAP].is_some() == place[AIR_GAP].is_some() {
        problems.error(|| {
            Diagnostic::error("csv-column", "one of `gap_mm` and `air_gap_mm` is needed, and only one")
                .at(source, start..start)
                .help("gap_mm counts the tag's own spacer, air_gap_mm does not; leave the cell empty in free air")
        });
    }
    (!problems.has_errors()).then_some(place)
}

/// Mount as a map key: phantom and gap in micrometres.
type SweepKey = (String, String, i64, String, String, Taken);

struct Table<'a> {
    source: &'a Arc<Source>,
    place: [Option<usize>; COLUMNS.len()],
    width: usize,
    own_spacer_mm: f64,
    sweeps: Vec<Sweep>,
    index: HashMap<SweepKey, usize>,
}

impl Table<'_> {
    fn row(&mut self, record: &csv::StringRecord, problems: &mut Problems) {
        let start = record_start(self.source, record);
        if record.len() != self.width {
            let (got, want) = (record.len(), self.width);
            problems.error(|| {
                let row = Diagnostic::error(
                    "csv-width",
                    format!("the row has {got} fields, the header has {want}"),
                )
                .at(self.source, start..line_end(self.source, start));
                if got > want {
                    row.help("decimal commas split a number in two: export with decimal points")
                } else {
                    row.help("an empty cell still needs its comma")
                }
            });
            return;
        }
        let before = problems.errors();
        let cell = |column: usize| self.place[column].and_then(|i| record.get(i)).unwrap_or("");
        let span = |column: usize| field_span(self.source, start, self.place[column].unwrap_or(0));
        let read = |text: &str, column: usize, limit: &Limit, problems: &mut Problems| {
            number(self.source, text, COLUMNS[column].0, || span(column), limit, problems)
        };
        let sample = cell(SAMPLE);
        if sample.is_empty() {
            problems.error(|| {
                Diagnostic::error("csv-empty-cell", "`sample` is empty")
                    .at(self.source, span(SAMPLE))
                    .help("every row names its sample")
            });
        }
        let mount = self.mount(cell, span, problems);
        let freq_mhz = read(cell(FREQ), FREQ, &FREQ_LIMIT, problems);
        if cell(FREQ).is_empty() {
            problems.error(|| {
                Diagnostic::error("csv-empty-cell", "`freq_mhz` is empty")
                    .at(self.source, span(FREQ))
                    .help("fill it in, or delete the row")
            });
        }
        let text = cell(THRESHOLD);
        let level = |rest: &str, problems: &mut Problems| read(rest, THRESHOLD, &THRESHOLD_LIMIT, problems);
        let threshold_dbm = match text.as_bytes().first() {
            Some(b'>') => level(text[1..].trim_start(), problems).map(Level::Above),
            Some(b'<') => level(text[1..].trim_start(), problems).map(Level::Below),
            _ => level(text, problems).map(Level::Exact),
        };
        let backscatter_db = read(cell(BACKSCATTER), BACKSCATTER, &BACKSCATTER_LIMIT, problems);
        let backscatter_at_dbm = read(cell(TAKEN_AT), TAKEN_AT, &TAKEN_AT_LIMIT, problems);
        let minute = read(cell(MINUTE), MINUTE, &MINUTE_LIMIT, problems);
        if let (Some(_), Some(Level::Above(limit)), Some(at)) =
            (backscatter_db, threshold_dbm, backscatter_at_dbm)
            && at <= limit
        {
            problems.warning(|| {
                let message =
                    format!("backscatter at {at} dBm from a tag that did not wake up to {limit} dBm");
                Diagnostic::warning("sweep-asleep", message).at(self.source, span(BACKSCATTER))
            });
        }
        let (Some(mount), Some(freq_mhz)) = (mount, freq_mhz) else { return };
        if problems.errors() != before {
            return;
        }
        let (phantom, gap_um) = match &mount {
            Mount::FreeAir => (String::new(), -1),
            Mount::Phantom { name, gap_mm } => (name.clone(), (gap_mm * 1000.0).round() as i64),
        };
        let (link, repeat) = (cell(LINK), cell(REPEAT));
        let name = |column: usize| cell(column).to_owned();
        let taken =
            Taken { batch: name(BATCH), session: name(SESSION), operator: name(OPERATOR), day: name(DAY) };
        let key = (sample.to_owned(), phantom, gap_um, link.to_owned(), repeat.to_owned(), taken.clone());
        let sweep = *self.index.entry(key).or_insert_with(|| {
            self.sweeps.push(Sweep {
                sample: sample.to_owned(),
                mount,
                link: link.to_owned(),
                repeat: repeat.to_owned(),
                taken,
                minute: None,
                readings: Vec::new(),
                source: self.source.clone(),
            });
            self.sweeps.len() - 1
        });
        let reading = Reading { freq_mhz, threshold_dbm, backscatter_db, backscatter_at_dbm, at: start };
        let sweep = &mut self.sweeps[sweep];
        sweep.minute = earlier(sweep.minute, minute);
        sweep.readings.push(reading);
    }

    fn mount<'r>(
        &self,
        cell: impl Fn(usize) -> &'r str,
        span: impl Fn(usize) -> std::ops::Range<usize>,
        problems: &mut Problems,
    ) -> Option<Mount> {
        let name = cell(PHANTOM);
        let gap_column = if self.place[GAP].is_some() { GAP } else { AIR_GAP };
        let gap_text = cell(gap_column);
        let mut wrong = |column: usize, message: String, help: &str| {
            problems
                .error(|| Diagnostic::error("csv-mount", message).at(self.source, span(column)).help(help));
            None
        };
        match (name, gap_text) {
            ("", _) => wrong(PHANTOM, "`phantom` is empty".into(), "write `none` for free air"),
            ("none", "") => Some(Mount::FreeAir),
            ("none", gap) => wrong(
                gap_column,
                format!("a gap of {gap} mm to no phantom"),
                "leave the gap empty in free air",
            ),
            (_, "") => wrong(
                gap_column,
                format!("the gap to phantom `{name}` is empty"),
                "mm between tag and phantom; the tag's own spacer alone is also a gap",
            ),
            (_, text) => {
                let key = COLUMNS[gap_column].0;
                let gap = number(self.source, text, key, || span(gap_column), &GAP_LIMIT, problems)?;
                let gap_mm = if gap_column == GAP { gap } else { gap + self.own_spacer_mm };
                if gap_mm < self.own_spacer_mm {
                    let least = self.own_spacer_mm;
                    problems.error(|| {
                        Diagnostic::error(
                            "csv-mount",
                            format!("gap_mm = {gap_mm} is less than the tag's own spacer of {least} mm"),
                        )
                        .at(self.source, span(gap_column))
                        .help("gap_mm counts the own spacer; a column `air_gap_mm` does not")
                    });
                    return None;
                }
                Some(Mount::Phantom { name: name.to_owned(), gap_mm })
            }
        }
    }
}

/// The earlier of two times of which either may be unknown.
pub fn earlier(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (one, other) => one.or(other),
    }
}

fn sort_and_check(sweep: &mut Sweep, problems: &mut Problems) {
    sweep.readings.sort_by(|a, b| a.freq_mhz.total_cmp(&b.freq_mhz));
    for pair in sweep.readings.windows(2) {
        if pair[0].freq_mhz == pair[1].freq_mhz {
            let (line, _) = sweep.source.line_column(pair[0].at);
            problems.error(|| {
                let message = format!(
                    "{} MHz occurs twice in {}, first in line {line}",
                    pair[1].freq_mhz,
                    sweep.title()
                );
                Diagnostic::error("csv-duplicate", message)
                    .at(&sweep.source, pair[1].at..line_end(&sweep.source, pair[1].at))
                    .help("name repeated measurements in a column `repeat`")
            });
        }
    }
}
