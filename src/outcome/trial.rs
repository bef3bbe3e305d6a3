//! A trial's passings: CSV, one row a passing, unread ones too.
//!
//! Columns (any order): `placement` and `wetness` as in a scenario, `point` (empty: the only one or the finish), `drop_db` (by how much power was
//! lowered), `drop_by` (`setting` of the reader, or `attenuator` in the cable, which costs the reply as much), `read` (1 or 0), and if they were kept
//! `person` and `tag`, so that passings of one person with one tag are not taken for independent ones.

use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::diag::{Checked, Diagnostic, Source};
use crate::lab::cells::{field_span, reader, record_start};
use crate::lab::problems::Problems;
use crate::lab::text;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

const COLUMNS: [(&str, bool); 8] = [
    ("person", false),
    ("tag", false),
    ("placement", true),
    ("wetness", true),
    ("point", false),
    ("drop_db", true),
    ("drop_by", false),
    ("read", true),
];
const MOST_DROP_DB: f64 = 40.0;

/// What passings have in common.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Setting {
    /// Empty: the only point, or the finish.
    pub point: String,
    pub placement: Placement,
    pub wetness: Wetness,
    /// Thousandths of a dB.
    pub drop_mdb: i64,
    pub attenuated: bool,
}

impl Setting {
    pub fn drop_db(&self) -> f64 {
        self.drop_mdb as f64 / 1000.0
    }
}

/// One person with one tag, or everybody where nobody noted who it was.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Walker {
    /// By setting: passings, and those of them missed.
    pub counts: Vec<(usize, u64, u64)>,
}

#[derive(Clone, Debug)]
pub struct Trial {
    pub settings: Vec<Setting>,
    pub walkers: Vec<Walker>,
    /// Whether persons or tags were noted; if not, there is one walker who stands for independent passings.
    pub told_apart: bool,
    pub passings: u64,
    pub file_hash: (String, String),
}

/// Reads the passings of a trial.
pub fn load(path: &Path) -> Checked<Trial> {
    let read = text::read(path).map_err(|d| vec![*d])?;
    from_source(&read.source, (path.display().to_string(), read.sha256))
}

/// The same from text.
pub fn from_source(source: &Arc<Source>, file_hash: (String, String)) -> Checked<Trial> {
    let mut problems = Problems::new(source);
    let mut rows = reader(source.text.as_bytes(), b',', b'#');
    let mut record = csv::StringRecord::new();
    let nothing = || Trial {
        settings: vec![],
        walkers: vec![],
        told_apart: false,
        passings: 0,
        file_hash: Default::default(),
    };
    if !matches!(rows.read_record(&mut record), Ok(true)) {
        problems.error(|| Diagnostic::error("csv-no-rows", "the file holds no header line").in_file(source));
        return problems.finish(nothing());
    }
    let Some(place) = header(source, &record, &mut problems) else { return problems.finish(nothing()) };
    let width = record.len();
    let mut settings: Vec<Setting> = Vec::new();
    let mut walkers: BTreeMap<(String, String), Walker> = BTreeMap::new();
    let mut passings = 0;
    loop {
        match rows.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(e) => {
                problems.error(|| {
                    Diagnostic::error("csv-broken", format!("cannot read on: {e}")).in_file(source)
                });
                break;
            }
        }
        let row = Row { source, record: &record, place: &place, width };
        let Some((who, setting, read)) = row.parse(&mut problems) else { continue };
        let number = settings.iter().position(|s| *s == setting).unwrap_or_else(|| {
            settings.push(setting);
            settings.len() - 1
        });
        let counts = &mut walkers.entry(who).or_default().counts;
        let missed = u64::from(!read);
        passings += 1;
        match counts.iter_mut().find(|(at, ..)| *at == number) {
            Some(count) => (count.1, count.2) = (count.1 + 1, count.2 + missed),
            None => counts.push((number, 1, missed)),
        }
    }
    if passings == 0 && !problems.has_errors() {
        problems.error(|| {
            Diagnostic::error("csv-no-rows", "the file holds no passing")
                .in_file(source)
                .help("one row a passing, those that were not read too")
        });
    }
    let told_apart =
        walkers.len() > 1 || walkers.keys().any(|(person, tag)| !person.is_empty() || !tag.is_empty());
    problems.finish(Trial {
        settings,
        walkers: walkers.into_values().collect(),
        told_apart,
        passings,
        file_hash,
    })
}

fn header(
    source: &Arc<Source>,
    record: &csv::StringRecord,
    problems: &mut Problems,
) -> Option<[Option<usize>; COLUMNS.len()]> {
    let start = record_start(source, record);
    let line = record.get(0).unwrap_or("");
    if record.len() == 1
        && let Some(separator) = [';', '\t', '|'].into_iter().find(|&c| line.contains(c))
    {
        problems.error(|| {
            Diagnostic::error(
                "csv-separator",
                format!("columns are separated by {separator:?}, expected ','"),
            )
            .at(source, start..start + line.len())
            .help("export with comma separators and decimal points")
        });
        return None;
    }
    let mut place = [None; COLUMNS.len()];
    for (field, name) in record.iter().enumerate() {
        match COLUMNS.iter().position(|(known, _)| *known == name) {
            Some(column) if place[column].is_none() => place[column] = Some(field),
            Some(_) => problems.error(|| {
                let twice = Diagnostic::error("csv-column", format!("column `{name}` occurs twice"));
                twice.at(source, field_span(source, start, field))
            }),
            None => problems.error(|| {
                Diagnostic::error("csv-column", format!("unknown column `{name}`"))
                    .at(source, field_span(source, start, field))
                    .help(format!("columns known: {}", COLUMNS.map(|(known, _)| known).join(", ")))
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
    (!problems.has_errors()).then_some(place)
}

struct Row<'a> {
    source: &'a Arc<Source>,
    record: &'a csv::StringRecord,
    place: &'a [Option<usize>; COLUMNS.len()],
    width: usize,
}

impl Row<'_> {
    fn cell(&self, column: usize) -> &str {
        self.place[column].and_then(|field| self.record.get(field)).unwrap_or("")
    }

    fn wrong(&self, column: usize, code: &'static str, message: String, help: &str) -> Diagnostic {
        let start = record_start(self.source, self.record);
        let field = self.place[column].unwrap_or(0);
        Diagnostic::error(code, message).at(self.source, field_span(self.source, start, field)).help(help)
    }

    fn parse(&self, problems: &mut Problems) -> Option<((String, String), Setting, bool)> {
        if self.record.len() != self.width {
            let (got, want) = (self.record.len(), self.width);
            let start = record_start(self.source, self.record);
            problems.error(|| {
                Diagnostic::error("csv-width", format!("{got} fields, the header has {want}"))
                    .at(self.source, start..start)
                    .help("a comma inside a cell needs quotes; a decimal comma must be a point")
            });
            return None;
        }
        let placement = Placement::ALL.into_iter().find(|p| p.key() == self.cell(2));
        let wetness = Wetness::ALL.into_iter().find(|w| w.key() == self.cell(3));
        let drop_db = self.cell(5).parse::<f64>().ok().filter(|db| db.is_finite());
        let attenuated = match self.cell(6) {
            "" | "setting" => Some(false),
            "attenuator" => Some(true),
            _ => None,
        };
        let read = match self.cell(7) {
            "1" => Some(true),
            "0" => Some(false),
            _ => None,
        };
        if placement.is_none() {
            let keys = Placement::ALL.map(Placement::key).join(", ");
            problems.error(|| {
                self.wrong(
                    2,
                    "csv-range",
                    format!("no placement {:?}", self.cell(2)),
                    &format!("placements: {keys}"),
                )
            });
        }
        if wetness.is_none() {
            problems.error(|| {
                self.wrong(3, "csv-range", format!("no wetness {:?}", self.cell(3)), "dry, damp or soaked")
            });
        }
        match drop_db {
            None => problems.error(|| {
                self.wrong(
                    5,
                    "csv-number",
                    format!("{:?} is no number", self.cell(5)),
                    "by how many dB power was lowered; 0 for full power",
                )
            }),
            Some(db) if !(0.0..=MOST_DROP_DB).contains(&db) => problems.error(|| {
                let help = "power goes only downwards in a trial: write 6 for 6 dB less than the scenario";
                self.wrong(
                    5,
                    "csv-range",
                    format!("power lowered by {db} dB is outside 0 to {MOST_DROP_DB} dB"),
                    help,
                )
            }),
            Some(_) => {}
        }
        if attenuated.is_none() {
            problems.error(|| {
                let help =
                    "setting (of the reader) or attenuator (in the cable, which costs the reply as much)";
                self.wrong(6, "csv-range", format!("no way to lower power: {:?}", self.cell(6)), help)
            });
        }
        if read.is_none() {
            problems.error(|| {
                let (message, help) = match self.cell(7) {
                    "" => ("read is not filled in".to_owned(), "1 or 0; delete rows that nobody walked"),
                    cell => (format!("read is {cell:?}"), "1 if the passing was read, 0 if not"),
                };
                self.wrong(7, "csv-range", message, help)
            });
        }
        let setting = Setting {
            point: self.cell(4).to_owned(),
            placement: placement?,
            wetness: wetness?,
            drop_mdb: (drop_db? * 1000.0).round() as i64,
            attenuated: attenuated?,
        };
        Some(((self.cell(0).to_owned(), self.cell(1).to_owned()), setting, read?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Checked<Trial> {
        from_source(&Source::new("trial.csv", text), Default::default())
    }

    #[test]
    fn passings_are_counted_by_walker_and_setting() {
        let (trial, _) = read(
            "person,tag,placement,wetness,drop_db,read\na,1,front_high,soaked,6,1\na,1,front_high,soaked,6,0\nb,2,front_high,soaked,6,0\nb,2,back,dry,0,1\n",
        )
        .unwrap();
        assert_eq!((trial.passings, trial.walkers.len(), trial.settings.len()), (4, 2, 2));
        assert_eq!(trial.walkers[0].counts, [(0, 2, 1)]);
        assert_eq!(trial.walkers[1].counts, [(0, 1, 1), (1, 1, 0)]);
        assert!(trial.told_apart);
    }

    #[test]
    fn every_problem_is_told() {
        let found =
            read("placement,wetness,drop_db,read\nbelt,wet,-6,2\nside,dry,nan,1\nside,dry,3\n").unwrap_err();
        let codes: Vec<&str> = found.iter().map(|d| d.code).collect();
        assert_eq!(codes, ["csv-range", "csv-range", "csv-range", "csv-range", "csv-number", "csv-width"]);
        assert_eq!(read("placement;wetness;drop_db;read\n").unwrap_err()[0].code, "csv-separator");
        assert_eq!(read("placement,wetness,drop_db,read\n").unwrap_err()[0].code, "csv-no-rows");
        assert_eq!(read("placement,wetness,read\n").unwrap_err()[0].code, "csv-column");
    }
}
