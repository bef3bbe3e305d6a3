//! Rows of read logs, counted by tag as they stream by: memory grows with tags, not with rows.

use super::log_table::{Table, open};
use super::reads::{Kept, Log, TagList, TimeFormat};
use super::tag_ids::{Id, Ids};
use crate::diag::{Diagnostic, codes};
use jiff::Timestamp;
use std::collections::{HashMap, HashSet};
use std::io::Read;

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
        let rows = open(&log.file);
        rows.map_or_else(|found| found, |rows| self.add_rows(log, rows, ids, handed_out))
    }

    /// The same with the log's rows at hand.
    pub fn add_rows(
        &mut self,
        log: &Log,
        rows: impl Read,
        ids: &Ids,
        handed_out: Option<&HashSet<Id>>,
    ) -> Vec<Diagnostic> {
        let mut table = match Table::of(&log.file, rows) {
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
    let mut table = Table::of(&list.file, open(&list.file)?)?;
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
