//! Any instrument's text export to raw sweeps, by the column map of `tag.toml`.
//!
//! Levels leave here in dBm, delta radar cross-sections in dB over 1 m², frequencies in MHz. A field strength at
//! the tag becomes isotropic power at once, since it needs no referral.

use super::cells::{reader, skip_comments};
use super::parse::earlier;
use super::problems::Problems;
use super::raw_cells::Row;
use super::raw_file::{RawFile, RawSweepFile, Separator};
use super::{Level, Mount, Taken};
use crate::diag::{Checked, Diagnostic, Source};
use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

/// Readings at one frequency as the instruments gave them.
#[derive(Clone, Debug, PartialEq)]
pub struct RawReading {
    pub freq_mhz: f64,
    /// Generator level at which the tag woke, dBm; isotropic power at the tag when the column is a field.
    pub threshold_dbm: Option<Level>,
    /// Analyser level in dBm, or delta radar cross-section in dBsm.
    pub reply: Option<f64>,
    /// Generator level at which the reply was taken, dBm.
    pub reply_at_dbm: Option<f64>,
    /// Byte offset of the row in its file.
    pub at: usize,
}

/// One sample in one mount, sorted by frequency; or the empty room.
#[derive(Clone, Debug)]
pub struct RawSweep {
    pub sample: String,
    pub mount: Mount,
    pub link: String,
    pub repeat: String,
    pub taken: Taken,
    pub minute: Option<f64>,
    pub quiet_room: bool,
    pub readings: Vec<RawReading>,
    pub source: Arc<Source>,
}

/// Field numbers of one sample's columns.
struct Place {
    sample: Option<String>,
    threshold: Option<usize>,
    reply: Option<usize>,
}

struct Reader<'a> {
    file: &'a RawFile,
    entry: &'a RawSweepFile,
    source: &'a Arc<Source>,
    separator: u8,
}

/// Reads one exported file.
pub fn read(file: &RawFile, entry: &RawSweepFile, source: &Arc<Source>) -> Checked<Vec<RawSweep>> {
    let separator = match file.export.separator {
        Separator::Comma => b',',
        Separator::Semicolon => b';',
        Separator::Tab => b'\t',
        Separator::Pipe => b'|',
        Separator::Blank => b' ',
    };
    let mut problems = Problems::new(source);
    let sweeps = Reader { file, entry, source, separator }.sweeps(&mut problems);
    problems.finish(sweeps)
}

impl Reader<'_> {
    fn sweeps(&self, problems: &mut Problems) -> Vec<RawSweep> {
        let comment = self.file.export.comment.unwrap_or('#');
        let text = &self.source.text;
        let mut skip = 0;
        for _ in 0..self.file.export.skip_lines {
            skip = skip_comments(self.source, skip, comment);
            skip += text[skip..].find('\n').map_or(text.len() - skip, |i| i + 1);
        }
        let mut reader = reader(&text.as_bytes()[skip..], self.separator, comment as u8);
        let mut record = csv::StringRecord::new();
        if !matches!(reader.read_record(&mut record), Ok(true)) {
            problems.error(|| Diagnostic::error("csv-no-rows", "no header line").in_file(self.source));
            return Vec::new();
        }
        let names: Vec<String> = self.fields(&record).iter().map(|(_, text)| (*text).to_owned()).collect();
        let header_at = skip_comments(self.source, skip, comment);
        let header = header_at..super::cells::line_end(self.source, header_at);
        let Some((freq, places, others)) = self.columns(&names, header, problems) else { return Vec::new() };
        let mut sweeps: Vec<RawSweep> = Vec::new();
        let mut index: HashMap<(String, String, String, String, Taken), usize> = HashMap::new();
        loop {
            match reader.read_record(&mut record) {
                Ok(true) => {}
                Ok(false) => break,
                Err(e) => {
                    problems.error(|| {
                        Diagnostic::error("csv-broken", format!("cannot read on: {e}")).in_file(self.source)
                    });
                    break;
                }
            }
            let from = skip + record.position().map_or(0, |p| p.byte() as usize);
            let start = skip_comments(self.source, from, comment);
            let fields = self.fields(&record);
            if fields.len() != names.len() {
                problems.error(|| {
                    let message =
                        format!("the row has {} fields, the header has {}", fields.len(), names.len());
                    Diagnostic::error("csv-width", message)
                        .at(self.source, start..super::cells::line_end(self.source, start))
                        .help("check `separator`, `decimal` and `skip_lines` under [export] in tag.toml")
                });
                continue;
            }
            let row = Row {
                file: self.file,
                source: self.source,
                separator: self.separator,
                fields: &fields,
                start,
            };
            let Some(freq_mhz) = row.number(freq, problems).map(|f| f * self.file.columns.freq.unit.to_mhz())
            else {
                continue;
            };
            if !(300.0..=3000.0).contains(&freq_mhz) {
                problems.error(|| {
                    Diagnostic::error("csv-range", format!("{freq_mhz} MHz is outside 300..=3000 MHz"))
                        .at(self.source, row.span(freq))
                        .help("check `columns.freq.unit` in tag.toml")
                });
                continue;
            }
            let text = |column: Option<usize>, fixed: &Option<String>| {
                column.map(|c| fields[c].1.to_owned()).or_else(|| fixed.clone()).unwrap_or_default()
            };
            let Some(mount) = self.mount(&row, &others, problems) else { continue };
            let entry = self.entry;
            let minute = match others.minute {
                Some(column) => row.number(column, problems),
                None => entry.minute,
            };
            for place in &places {
                let sample = place.sample.clone().unwrap_or_else(|| text(others.sample, &entry.sample));
                let link = text(others.link, &entry.link);
                let repeat = text(others.repeat, &entry.repeat);
                let taken = Taken {
                    batch: text(others.batch, &entry.batch),
                    session: text(others.session, &entry.session),
                    operator: text(others.operator, &entry.operator),
                    day: text(others.day, &entry.day),
                };
                let key = (sample.clone(), mount.to_string(), link.clone(), repeat.clone(), taken.clone());
                let reading = RawReading {
                    freq_mhz,
                    threshold_dbm: place.threshold.and_then(|c| row.threshold(c, freq_mhz, problems)),
                    reply: place.reply.and_then(|c| row.reply(c, problems)),
                    reply_at_dbm: others.reply_at.and_then(|c| row.reply_at(c, problems)),
                    at: start,
                };
                let sweep = *index.entry(key).or_insert_with(|| {
                    sweeps.push(RawSweep {
                        sample,
                        mount: mount.clone(),
                        link,
                        repeat,
                        taken,
                        minute: None,
                        quiet_room: self.entry.quiet_room,
                        readings: Vec::new(),
                        source: self.source.clone(),
                    });
                    sweeps.len() - 1
                });
                let sweep = &mut sweeps[sweep];
                sweep.minute = earlier(sweep.minute, minute);
                sweep.readings.push(reading);
            }
        }
        self.finish(&mut sweeps, problems);
        sweeps
    }

    /// Fields of a record with their number in the text; runs of blanks count as one separator.
    fn fields<'r>(&self, record: &'r csv::StringRecord) -> Vec<(usize, &'r str)> {
        let all = record.iter().enumerate();
        if self.separator == b' ' {
            all.filter(|(_, text)| !text.is_empty()).collect()
        } else {
            all.collect()
        }
    }

    /// Field numbers of frequency, samples and the rest; `None` when something is missing.
    fn columns(
        &self,
        names: &[String],
        header: Range<usize>,
        problems: &mut Problems,
    ) -> Option<(usize, Vec<Place>, Others)> {
        let columns = &self.file.columns;
        let mut find = |name: &str, what: &str| {
            let place = names.iter().position(|n| n == name);
            if place.is_none() {
                problems.error(|| {
                    Diagnostic::error("csv-column", format!("no column `{name}` for the {what}"))
                        .at(self.source, header.clone())
                        .help(format!("columns found: {}", names.join(" | ")))
                        .help("check `separator`, `skip_lines` and the names under [columns] in tag.toml")
                });
            }
            place
        };
        let freq = find(&columns.freq.name, "frequency");
        let named = |column: &Option<super::raw_file::LevelColumn>| {
            column.as_ref().map(|c| c.name.clone()).filter(|name| !name.is_empty())
        };
        let mut places = Vec::new();
        if self.entry.samples.is_empty() {
            // The empty room has no threshold column.
            let wanted = named(&columns.threshold).filter(|_| !self.entry.quiet_room);
            let threshold = wanted.and_then(|name| find(&name, "threshold"));
            let reply = named(&columns.reply).and_then(|name| find(&name, "reply"));
            places.push(Place { sample: None, threshold, reply });
        }
        for own in &self.entry.samples {
            let threshold = own.threshold.as_ref().and_then(|name| find(name, "threshold"));
            let reply = own.reply.as_ref().and_then(|name| find(name, "reply"));
            places.push(Place { sample: Some(own.sample.clone()), threshold, reply });
        }
        let mut optional = |name: &Option<String>, what: &str| name.as_ref().and_then(|n| find(n, what));
        // What the sweep's own table says needs no column.
        let mut unless = |fixed: bool, name: &Option<String>, what: &str| {
            if fixed { None } else { optional(name, what) }
        };
        let entry = self.entry;
        let sampled = entry.sample.is_some() || !entry.samples.is_empty() || entry.quiet_room;
        let mounted = entry.phantom.is_some() || entry.quiet_room;
        let others = Others {
            sample: unless(sampled, &columns.sample, "sample"),
            phantom: unless(mounted, &columns.phantom, "phantom"),
            gap_mm: unless(mounted, &columns.gap_mm, "gap"),
            link: unless(entry.link.is_some(), &columns.link, "link profile"),
            repeat: unless(entry.repeat.is_some(), &columns.repeat, "repeat"),
            batch: unless(entry.batch.is_some(), &columns.batch, "batch"),
            session: unless(entry.session.is_some(), &columns.session, "session"),
            operator: unless(entry.operator.is_some(), &columns.operator, "operator"),
            day: unless(entry.day.is_some(), &columns.day, "day"),
            minute: unless(entry.minute.is_some(), &columns.minute, "minute"),
            reply_at: unless(
                entry.quiet_room,
                &named(&columns.reply_at),
                "level at which the reply was taken",
            ),
        };
        if !sampled && others.sample.is_none() || !mounted && others.phantom.is_none() {
            problems.error(|| {
                Diagnostic::error(
                    "csv-column",
                    "neither the file nor tag.toml names the sample and the phantom",
                )
                .at(self.source, header.clone())
                .help("write `sample = \"A\"` and `phantom = \"none\"` in its [[sweep]], or name the columns")
            });
        }
        (!problems.has_errors()).then_some((freq?, places, others))
    }

    fn mount(&self, row: &Row<'_>, others: &Others, problems: &mut Problems) -> Option<Mount> {
        if self.entry.quiet_room {
            return Some(Mount::FreeAir);
        }
        let name = match (others.phantom, &self.entry.phantom) {
            (Some(c), _) => row.fields[c].1.to_owned(),
            (None, name) => name.clone().unwrap_or_default(),
        };
        if name == "none" {
            return Some(Mount::FreeAir);
        }
        let gap_mm = match others.gap_mm {
            Some(c) => row.number(c, problems),
            None => self.entry.gap_mm,
        };
        match gap_mm {
            Some(gap_mm) if !name.is_empty() && gap_mm >= self.file.own_spacer_mm && gap_mm <= 300.0 => {
                Some(Mount::Phantom { name, gap_mm })
            }
            _ => {
                problems.error(|| {
                    let gap = gap_mm.map_or("missing".to_owned(), |g| format!("{g} mm"));
                    let message = format!("phantom {name:?} with gap {gap} is no mount");
                    let help = format!(
                        "phantom `none`, or a name and a gap of {} (the tag's own spacer) to 300 mm",
                        self.file.own_spacer_mm
                    );
                    Diagnostic::error("csv-mount", message).at(self.source, row.start..row.start).help(help)
                });
                None
            }
        }
    }

    fn finish(&self, sweeps: &mut [RawSweep], problems: &mut Problems) {
        if sweeps.is_empty() && !problems.has_errors() {
            problems
                .error(|| Diagnostic::error("csv-no-rows", "a header line but no rows").in_file(self.source));
        }
        for sweep in sweeps {
            sweep.readings.sort_by(|a, b| a.freq_mhz.total_cmp(&b.freq_mhz));
            for pair in sweep.readings.windows(2).filter(|w| w[0].freq_mhz == w[1].freq_mhz) {
                let (line, _) = self.source.line_column(pair[0].at);
                problems.error(|| {
                    let message = format!(
                        "{} MHz occurs twice for sample {:?}, first in line {line}",
                        pair[1].freq_mhz, sweep.sample
                    );
                    let end = super::cells::line_end(self.source, pair[1].at);
                    Diagnostic::error("csv-duplicate", message)
                        .at(self.source, pair[1].at..end)
                        .help("name repeated measurements by `repeat`")
                });
            }
        }
    }
}

struct Others {
    sample: Option<usize>,
    phantom: Option<usize>,
    gap_mm: Option<usize>,
    link: Option<usize>,
    repeat: Option<usize>,
    batch: Option<usize>,
    session: Option<usize>,
    operator: Option<usize>,
    day: Option<usize>,
    minute: Option<usize>,
    reply_at: Option<usize>,
}
