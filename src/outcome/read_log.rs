//! Rows of read logs, counted by tag as they stream by: memory grows with tags, not with rows.
//!
//! A tag number that a start list links to a person is personal data. It is needed only to tell reads of one tag from those of another, so it is kept as a keyed hash
//! (HMAC-SHA-256, FIPS 198-1, cut to 16 bytes) whose key is drawn for each run and never leaves it; what is handed on are counts.

use super::reads::{Kept, Log, TagList, TimeFormat};
use crate::diag::{Diagnostic, Source, codes};
use hmac::{Hmac, Mac};
use jiff::Timestamp;
use sha2::Sha256;
use std::collections::{HashMap, HashSet};
use std::fs::File;
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

pub type Id = [u8; 16];

/// Tag numbers as keyed hashes.
pub struct Ids(Hmac<Sha256>);

impl Ids {
    /// With a key of this run alone; fails where the system gives no random numbers.
    pub fn new() -> Result<Ids, String> {
        let mut key = [0; 32];
        getrandom::fill(&mut key).map_err(|e| format!("no random key: {e}"))?;
        Ok(Ids::with_key(&key))
    }

    fn with_key(key: &[u8]) -> Ids {
        Ids(Hmac::new_from_slice(key).expect("a key of any length"))
    }

    fn of(&self, tag: &[u8]) -> Id {
        let mut mac = self.0.clone();
        // Lists and readers differ in the case of their hexadecimal digits.
        let mut upper = [0; 64];
        for part in tag.chunks(upper.len()) {
            upper[..part.len()].copy_from_slice(part);
            upper[..part.len()].make_ascii_uppercase();
            mac.update(&upper[..part.len()]);
        }
        let mut id = [0; 16];
        id.copy_from_slice(&mac.finalize().into_bytes()[..16]);
        id
    }
}

/// Reads of one tag.
#[derive(Clone, Debug, Default)]
pub struct OfTag {
    /// By slot (a line of a point).
    pub reads: Vec<u32>,
    /// First and last time by point, s.
    pub seen_s: Vec<Option<(f64, f64)>>,
}

/// All reads of a race.
#[derive(Default)]
pub struct Counts {
    /// Point and line of each slot.
    pub slots: Vec<(usize, String)>,
    pub points: Vec<String>,
    pub tags: HashMap<Id, OfTag>,
    /// Rows of all logs; of tags that were not handed out; outside the times that count.
    pub rows: u64,
    pub foreign_rows: u64,
    pub untimely_rows: u64,
    foreign: HashSet<Id>,
}

impl Counts {
    pub fn foreign_tags(&self) -> usize {
        self.foreign.len()
    }

    fn point(&mut self, name: &str) -> usize {
        self.points.iter().position(|p| p == name).unwrap_or_else(|| {
            self.points.push(name.to_owned());
            self.points.len() - 1
        })
    }

    fn slot(&mut self, point: usize, line: &str) -> usize {
        self.slots.iter().position(|(p, l)| *p == point && l == line).unwrap_or_else(|| {
            self.slots.push((point, line.to_owned()));
            self.slots.len() - 1
        })
    }

    /// Counts a log. Its problems come back, all of them up to a number.
    pub fn add(&mut self, log: &Log, ids: &Ids, handed_out: Option<&HashSet<Id>>) -> Vec<Diagnostic> {
        let mut table = match Table::open(&log.file) {
            Ok(table) => table,
            Err(found) => return found,
        };
        let wanted = [
            Some(&log.columns.tag),
            log.columns.port.as_ref(),
            log.columns.time.as_ref(),
            log.columns.count.as_ref(),
        ];
        let places = wanted.map(|name| name.and_then(|name| table.place(name)));
        if !table.found.is_empty() {
            return table.found;
        }
        let [tag, port, time, count] = places;
        let Some(tag) = tag else { return table.found };
        let point = self.point(&log.point);
        let mut slots: Vec<(usize, &[String])> = Vec::new();
        for (line, ports) in &log.lines {
            slots.push((self.slot(point, line), ports));
        }
        let mut unknown_ports: HashSet<Vec<u8>> = HashSet::new();
        let mut record = csv::ByteRecord::new();
        while table.next(&mut record) {
            self.rows += 1;
            let number = &record[tag];
            if number.is_empty() {
                table.wrong(&record, tag, "csv-number", "no tag number", "leave rows without one out");
                continue;
            }
            let at = match time.map(|field| seconds(&record[field], log.time_format)) {
                Some(None) => {
                    let message =
                        format!("{:?} is no time", String::from_utf8_lossy(&record[time.unwrap_or(0)]));
                    let help = "time_format says how times are written: rfc3339, unix_s, unix_ms or unix_us";
                    table.wrong(&record, time.unwrap_or(0), "csv-number", &message, help);
                    continue;
                }
                at => at.flatten().map(|s| s + log.clock_offset_s),
            };
            let many = match count.map(|field| std::str::from_utf8(&record[field]).ok()?.parse::<u32>().ok())
            {
                Some(None) | Some(Some(0)) => {
                    let field = count.unwrap_or(0);
                    let message =
                        format!("{:?} is no number of reads", String::from_utf8_lossy(&record[field]));
                    table.wrong(&record, field, "csv-number", &message, "a whole number from 1");
                    continue;
                }
                many => many.flatten().unwrap_or(1),
            };
            let slot = match slots.iter().find(|(_, ports)| {
                ports.is_empty()
                    || port.is_some_and(|field| ports.iter().any(|p| p.as_bytes() == &record[field]))
            }) {
                Some((slot, _)) => *slot,
                None => {
                    let field = port.unwrap_or(0);
                    if unknown_ports.insert(record[field].to_vec()) {
                        let message =
                            format!("port {:?} belongs to no line", String::from_utf8_lossy(&record[field]));
                        let help = "add it to the ports of a [[log.line]]; told once for each port";
                        table.wrong(&record, field, codes::READS_PORT, &message, help);
                    }
                    continue;
                }
            };
            let outside = |limit: Option<Timestamp>, after: bool| {
                limit.zip(at).is_some_and(|(limit, at)| {
                    let limit = limit.as_microsecond() as f64 * 1e-6;
                    if after { at > limit } else { at < limit }
                })
            };
            if outside(log.from, false) || outside(log.until, true) {
                self.untimely_rows += 1;
                continue;
            }
            let id = ids.of(number);
            if handed_out.is_some_and(|known| !known.contains(&id)) {
                self.foreign_rows += 1;
                self.foreign.insert(id);
                continue;
            }
            let (slots, points) = (self.slots.len(), self.points.len());
            let of = self.tags.entry(id).or_default();
            of.reads.resize(slots.max(of.reads.len()), 0);
            of.seen_s.resize(points.max(of.seen_s.len()), None);
            of.reads[slot] = of.reads[slot].saturating_add(many);
            if let Some(at) = at {
                let (first, last) = of.seen_s[point].unwrap_or((at, at));
                of.seen_s[point] = Some((first.min(at), last.max(at)));
            }
        }
        table.problems()
    }

    /// Reads of a tag in a slot.
    pub fn reads(&self, of: &OfTag, slot: usize) -> u32 {
        of.reads.get(slot).copied().unwrap_or(0)
    }
}

/// Whether a log tells how many reads there were.
pub fn counts_reads(kept: Kept) -> bool {
    kept != Kept::FirstOnly
}

/// Tags of a list.
pub fn tags(list: &TagList, ids: &Ids) -> Result<HashSet<Id>, Vec<Diagnostic>> {
    let mut table = Table::open(&list.file)?;
    let place = table.place(&list.column);
    let Some(place) = place.filter(|_| table.found.is_empty()) else { return Err(table.found) };
    let mut out = HashSet::new();
    let mut record = csv::ByteRecord::new();
    while table.next(&mut record) {
        if !record[place].is_empty() {
            out.insert(ids.of(&record[place]));
        }
    }
    let found = table.problems();
    if found.is_empty() { Ok(out) } else { Err(found) }
}

/// A CSV file that streams by.
struct Table {
    path: String,
    rows: csv::Reader<File>,
    header: Vec<String>,
    found: Vec<Diagnostic>,
    untold: usize,
}

impl Table {
    fn open(path: &Path) -> Result<Table, Vec<Diagnostic>> {
        let shown = path.display().to_string();
        let whole = Source::new(shown.clone(), "");
        let refused = |code, message: String| vec![Diagnostic::error(code, message).in_file(&whole)];
        match std::fs::metadata(path) {
            Ok(found) if found.is_file() => {}
            Ok(_) => return Err(refused(codes::FILE_MISSING, "this is no file".to_owned())),
            Err(e) => return Err(refused(codes::FILE_MISSING, format!("cannot read the file: {e}"))),
        }
        let file = File::open(path)
            .map_err(|e| refused(codes::FILE_MISSING, format!("cannot read the file: {e}")))?;
        let mut rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(file);
        let mut record = csv::ByteRecord::new();
        if !matches!(rows.read_byte_record(&mut record), Ok(true)) {
            return Err(refused("csv-no-rows", "the file holds no header line".to_owned()));
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
    fn place(&mut self, name: &str) -> Option<usize> {
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
    fn next(&mut self, record: &mut csv::ByteRecord) -> bool {
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

    fn wrong(
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

    fn problems(mut self) -> Vec<Diagnostic> {
        if self.untold > 0 {
            let source = Source::new(self.path.clone(), "");
            let message = format!("{} more rows of this file are wrong", self.untold);
            self.found.push(Diagnostic::error("csv-broken", message).in_file(&source));
        }
        self.found
    }
}

/// A time as seconds since 1970 UTC.
fn seconds(cell: &[u8], format: TimeFormat) -> Option<f64> {
    let text = std::str::from_utf8(cell).ok()?;
    let number = |factor: f64| text.parse::<f64>().ok().filter(|v| v.is_finite()).map(|v| v * factor);
    match format {
        TimeFormat::UnixS => number(1.0),
        TimeFormat::UnixMs => number(1e-3),
        TimeFormat::UnixUs => number(1e-6),
        TimeFormat::Rfc3339 => text.parse::<Timestamp>().ok().map(|time| time.as_microsecond() as f64 * 1e-6),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_differ_by_key_and_not_by_case() {
        let ids = Ids::with_key(b"Jefe");
        assert_eq!(ids.of(b"e280a1"), ids.of(b"E280A1"));
        assert_ne!(ids.of(b"e280a1"), ids.of(b"e280a2"));
        assert_ne!(ids.of(b"e280a1"), Ids::with_key(b"other").of(b"e280a1"));
        assert_ne!(Ids::new().unwrap().of(b"1"), Ids::new().unwrap().of(b"1"));
    }

    #[test]
    fn times_of_all_kinds() {
        for (text, format) in [
            ("2242017600", TimeFormat::UnixS),
            ("2242017600000", TimeFormat::UnixMs),
            ("2242017600000000", TimeFormat::UnixUs),
            ("2041-01-17T10:40:00+04:00", TimeFormat::Rfc3339),
        ] {
            let got = seconds(text.as_bytes(), format);
            assert_eq!(got, Some(2_242_017_600.0), "{text}");
        }
        assert_eq!(seconds(b"10:30:05,250", TimeFormat::UnixS), None);
        assert_eq!(seconds(b"nan", TimeFormat::UnixS), None);
    }
}
