//! A CSV file that streams by, whose problems are told without the rest of their rows; columns with people in them are refused.

use crate::diag::{Diagnostic, Source, codes};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Bad rows told in full; the rest are counted.
const MOST_TOLD: usize = 20;
/// Words of column names that only a file with people in it has.
const OF_PEOPLE: [&str; 14] = [
    "name",
    "names",
    "surname",
    "firstname",
    "lastname",
    "forename",
    "birth",
    "birthday",
    "birthdate",
    "dob",
    "email",
    "mail",
    "phone",
    "address",
];
/// A name of one of these is no person's.
const OF_THINGS: [&str; 8] = ["reader", "antenna", "device", "point", "line", "event", "race", "file"];

pub fn open(path: &Path) -> Result<File, Vec<Diagnostic>> {
    let whole = Source::new(path.display().to_string(), "");
    let refused = |message: String| vec![Diagnostic::error(codes::FILE_MISSING, message).in_file(&whole)];
    match std::fs::metadata(path) {
        Ok(found) if found.is_file() => {}
        Ok(_) => return Err(refused("this is no file".to_owned())),
        Err(e) => return Err(refused(format!("cannot read the file: {e}"))),
    }
    File::open(path).map_err(|e| refused(format!("cannot read the file: {e}")))
}

/// A CSV file that streams by.
pub struct Table<R> {
    path: String,
    rows: csv::Reader<R>,
    header: Vec<String>,
    pub found: Vec<Diagnostic>,
    untold: usize,
}

impl<R: Read> Table<R> {
    pub fn of(path: &Path, rows: R) -> Result<Table<R>, Vec<Diagnostic>> {
        let shown = path.display().to_string();
        let mut rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(rows);
        let mut record = csv::ByteRecord::new();
        if !matches!(rows.read_byte_record(&mut record), Ok(true)) {
            let none = Diagnostic::error("csv-no-rows", "the file holds no header line");
            return Err(vec![none.in_file(&Source::new(shown, ""))]);
        }
        let header: Vec<String> = record
            .iter()
            .map(|cell| String::from_utf8_lossy(cell).trim_start_matches('\u{FEFF}').to_owned())
            .collect();
        let mut table = Table { path: shown, rows, header, found: Vec::new(), untold: 0 };
        if let ([only], Some(separator)) =
            (&table.header[..], [';', '\t', '|'].into_iter().find(|&c| table.header[0].contains(c)))
        {
            let source = Source::new(table.path.clone(), only.clone());
            let message = format!("columns are separated by {separator:?}, expected ','");
            let found = Diagnostic::error("csv-separator", message).at(&source, 0..only.len());
            return Err(vec![found.help("export with comma separators and decimal points")]);
        }
        let line = record.position().map_or(1, csv::Position::line);
        for (field, column) in table.header.clone().iter().enumerate() {
            let lower = column.to_lowercase();
            let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
            let has = |list: &[&str]| words.iter().any(|word| list.contains(word));
            if has(&OF_PEOPLE) && !has(&OF_THINGS) {
                let (source, span) = table.cell_at(line, &record, field);
                let message = format!("column `{column}` holds people");
                let found = Diagnostic::error(codes::READS_PERSONAL, message).at(&source, span);
                table.found.push(
                    found.label("not needed").help("export tag numbers without names, birth dates and addresses: counts are all that is learned from"),
                );
            }
        }
        if table.found.is_empty() { Ok(table) } else { Err(table.found) }
    }

    /// Place of a column; a missing one is noted.
    pub fn place(&mut self, name: &str) -> Option<usize> {
        let found = self.header.iter().position(|column| column == name);
        if found.is_none() {
            let source = Source::new(self.path.clone(), self.header.join(","));
            let message = format!("column `{name}` is missing");
            let one = Diagnostic::error("csv-column", message).at(&source, 0..0);
            self.found.push(one.help(format!("columns of the file: {}", self.header.join(", "))));
        }
        found
    }

    /// The next row of the header's width; others are noted.
    pub fn next(&mut self, record: &mut csv::ByteRecord) -> bool {
        loop {
            match self.rows.read_byte_record(record) {
                Ok(true) if record.len() == self.header.len() => return true,
                Ok(true) => {
                    let message = format!("{} fields, the header has {}", record.len(), self.header.len());
                    // Behind the last cell: none of them is shown.
                    self.wrong(
                        record,
                        record.len(),
                        "csv-width",
                        &message,
                        "a comma inside a cell needs quotes; a decimal comma must be a point",
                    );
                }
                Ok(false) => return false,
                Err(e) => {
                    let source = Source::new(self.path.clone(), "");
                    let message = format!("cannot read on: {e}");
                    self.found.push(Diagnostic::error("csv-broken", message).in_file(&source));
                    return false;
                }
            }
        }
    }

    /// Where a cell stands, with nothing shown of the rest of its row.
    fn cell_at(
        &self,
        line: u64,
        record: &csv::ByteRecord,
        field: usize,
    ) -> (std::sync::Arc<Source>, std::ops::Range<usize>) {
        let text = |field: usize| String::from_utf8_lossy(record.get(field).unwrap_or_default()).into_owned();
        let before: usize = (0..field).map(|f| text(f).chars().count() + 1).sum();
        let mut shown = "\n".repeat(line.saturating_sub(1) as usize) + &" ".repeat(before);
        let start = shown.len();
        shown.push_str(&text(field));
        let span = start..shown.len();
        (Source::new(self.path.clone(), shown), span)
    }

    pub fn wrong(
        &mut self,
        record: &csv::ByteRecord,
        field: usize,
        code: &'static str,
        message: &str,
        help: &str,
    ) {
        if self.found.len() >= MOST_TOLD {
            self.untold += 1;
            return;
        }
        let line = record.position().map_or(1, csv::Position::line);
        let (source, span) = self.cell_at(line, record, field);
        self.found.push(Diagnostic::error(code, message).at(&source, span).help(help));
    }

    pub fn problems(mut self) -> Vec<Diagnostic> {
        if self.untold > 0 {
            let source = Source::new(self.path.clone(), "");
            let message = format!("{} more rows of this file are wrong", self.untold);
            self.found.push(Diagnostic::error("csv-broken", message).in_file(&source));
        }
        self.found
    }
}
