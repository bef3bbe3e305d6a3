//! The reads file: TOML that says which logs of readers belong to which lines, and how their columns are called.
//!
//! Logs are CSV, one row a read. The fields of a reader's report in the open protocol (GS1 EPCglobal, Low Level Reader Protocol 1.1 (2010), TagReportData) are known by
//! name with `fields = "llrp"`: EPC, AntennaID, FirstSeenTimestampUTC (µs), TagSeenCount. Capture events (GS1 EPCIS 2.0 (2022)) flattened to rows, one for each entry
//! of epcList, with `fields = "epcis"`: epcList, readPoint, eventTime; they tell presence only.

use crate::course::load::parse_document;
use crate::course::walk::{Section, Walk};
use crate::diag::{Checked, Severity, Source, codes};
use crate::lab::text;
use jiff::Timestamp;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const MOST_LOGS: usize = 60;
const MOST_LINES: usize = 16;

/// How a column of times is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeFormat {
    Rfc3339,
    UnixS,
    UnixMs,
    UnixUs,
}

/// What a log keeps of the reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    EveryRead,
    /// One row for many reads, with their number.
    Aggregated,
    /// Only the first read of a passing: nothing is known of how many there were.
    FirstOnly,
}

/// Names of columns.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Columns {
    pub tag: String,
    pub port: Option<String>,
    pub time: Option<String>,
    pub count: Option<String>,
}

/// One log.
#[derive(Clone, Debug)]
pub struct Log {
    pub file: PathBuf,
    pub point: String,
    /// Lines with their ports; a line without ports has all rows.
    pub lines: Vec<(String, Vec<String>)>,
    pub columns: Columns,
    pub time_format: TimeFormat,
    pub kept: Kept,
    /// Only rows from this time to that one count.
    pub from: Option<Timestamp>,
    pub until: Option<Timestamp>,
    /// Added to the times of the log, s.
    pub clock_offset_s: f64,
}

/// A list of tags: a column of a CSV file.
#[derive(Clone, Debug)]
pub struct TagList {
    pub file: PathBuf,
    pub column: String,
}

/// Who is known to have passed a point, by what.
#[derive(Clone, Debug)]
pub struct Known {
    pub point: String,
    pub tags: TagList,
    /// As an outcome file has it.
    pub reference: &'static str,
}

/// The reads file.
#[derive(Clone, Debug)]
pub struct Reads {
    pub name: String,
    pub note: String,
    pub scenario: PathBuf,
    /// As written.
    pub scenario_text: String,
    /// The tags handed out; reads of others are set aside.
    pub handed_out: Option<TagList>,
    pub known: Vec<Known>,
    pub logs: Vec<Log>,
}

/// Reads the file; logs are not opened.
pub fn load(path: &Path) -> Checked<Reads> {
    let read = text::read(path).map_err(|d| vec![*d])?;
    from_source(&read.source, path.parent().unwrap_or(Path::new("")))
}

/// The same from text; files are named from `folder`.
pub fn from_source(source: &Arc<Source>, folder: &Path) -> Checked<Reads> {
    let walk = Walk::new(source.clone());
    let Some(document) = parse_document(source, &walk) else { return Err(walk.take_found()) };
    let root = Section::root_of(&walk, "reads", document.get_ref());
    let reads = reads(&root, folder);
    root.finish();
    let found = walk.take_found();
    if found.iter().any(|d| d.severity == Severity::Error) { Err(found) } else { Ok((reads, found)) }
}

fn required(section: &Section, key: &'static str, help: &str) -> String {
    if section.find_own(key).is_none() {
        section.missing(key, help);
    }
    section.text(key).unwrap_or_default()
}

fn reads(root: &Section, folder: &Path) -> Reads {
    let comment = root.walk.source.text.lines().next().and_then(|line| line.strip_prefix('#'));
    let race = root.table("race", "race");
    if !race.is_present() {
        root.missing("race", "name the race and its scenario: [race] name = \"...\", scenario = \"...\"");
    }
    let (mut name, mut scenario_text) = (String::new(), String::new());
    if race.is_present() {
        name = required(&race, "name", "name the race");
        scenario_text = required(
            &race,
            "scenario",
            "name the scenario file that the race belongs to, counted from the folder of this file",
        );
        race.finish();
    }
    let handed_out = root.table("handed_out", "handed_out");
    let handed_out = handed_out.is_present().then(|| {
        let list = tag_list(&handed_out, folder);
        handed_out.finish();
        list
    });
    let known = root.tables("known", "known", MOST_LOGS).iter().filter_map(|k| known(k, folder)).collect();
    let logs: Vec<Log> =
        root.tables("log", "log", MOST_LOGS).iter().filter_map(|section| log(section, folder)).collect();
    if root.find_own("log").is_none() {
        root.missing("log", "add the logs: [[log]] with file, point, columns and kept");
    }
    Reads {
        name,
        note: comment.map(|c| c.trim().to_owned()).unwrap_or_default(),
        scenario: folder.join(&scenario_text),
        scenario_text,
        handed_out,
        known,
        logs,
    }
}

fn tag_list(section: &Section, folder: &Path) -> TagList {
    TagList {
        file: folder.join(required(
            section,
            "file",
            "name the CSV file, counted from the folder of this file",
        )),
        column: required(section, "column", "name its column of tag numbers"),
    }
}

fn known(section: &Section, folder: &Path) -> Option<Known> {
    let point = required(section, "point", "name the timing point as in the scenario");
    let tags = tag_list(section, folder);
    let choices = ["everyone_filmed", "counted_by_hand", "sample_filmed", "bibs_searched"].map(|c| (c, c));
    let reference = section.choice("reference", &choices);
    if section.find_own("reference").is_none() {
        section.missing("reference", "say how they are known: everyone_filmed, counted_by_hand, sample_filmed or bibs_searched; a list that was made from reads tells nothing");
    }
    section.finish();
    Some(Known { point, tags, reference: reference? })
}

fn log(section: &Section, folder: &Path) -> Option<Log> {
    let file =
        folder.join(required(section, "file", "name the CSV file, counted from the folder of this file"));
    let point = required(section, "point", "name the timing point as in the scenario");
    let of_standard = section.choice("fields", &[("llrp", standard_llrp()), ("epcis", standard_epcis())]);
    let own = section.table("columns", "columns");
    let (columns, standard_format) = match of_standard {
        Some(standard) => (standard.columns(), Some(standard.time_format)),
        None => {
            if !own.is_present() {
                section.missing("columns", "name the columns: columns = { tag = \"epc\", port = \"antenna\", time = \"t\" }, or fields = \"llrp\"");
            }
            let tag = if own.is_present() {
                required(&own, "tag", "name the column of tag numbers")
            } else {
                String::new()
            };
            (Columns { tag, port: own.text("port"), time: own.text("time"), count: own.text("count") }, None)
        }
    };
    if own.is_present() {
        own.finish();
    }
    let formats = [
        ("rfc3339", TimeFormat::Rfc3339),
        ("unix_s", TimeFormat::UnixS),
        ("unix_ms", TimeFormat::UnixMs),
        ("unix_us", TimeFormat::UnixUs),
    ];
    let time_format = section.choice("time_format", &formats).or(standard_format);
    if columns.time.is_some() && time_format.is_none() && section.find_own("time_format").is_none() {
        section.missing("time_format", "say how times are written: rfc3339, unix_s, unix_ms or unix_us");
    }
    let kept = section.choice(
        "kept",
        &[("every_read", Kept::EveryRead), ("aggregated", Kept::Aggregated), ("first_only", Kept::FirstOnly)],
    );
    if section.find_own("kept").is_none() {
        section.missing(
            "kept",
            "say what the log keeps: every_read, aggregated (rows with a number of reads) or first_only",
        );
    }
    let lines: Vec<(String, Vec<String>)> = section
        .tables("line", "line", MOST_LINES)
        .iter()
        .map(|line| {
            let name = required(line, "name", "name the line as in the scenario");
            let ports = line.names("ports").unwrap_or_default();
            line.finish();
            (name, ports)
        })
        .collect();
    if section.find_own("line").is_none() {
        section.missing("line", "say which lines it holds: [[log.line]] name = \"main\", ports = [\"1\", \"2\"] (no ports: all rows)");
    }
    let alone = lines.len() == 1 && lines[0].1.is_empty();
    if !lines.is_empty() && !alone && columns.port.is_none() {
        section.missing("columns", "ports tell the lines apart: name the column of the port (columns.port)");
    }
    let (from, until) = (time(section, "from"), time(section, "until"));
    let clock_offset_s = section.number("clock_offset_s", &crate::limits::CLOCK_OFFSET_S).unwrap_or(0.0);
    section.finish();
    Some(Log {
        file,
        point,
        lines,
        columns,
        time_format: time_format.unwrap_or(TimeFormat::Rfc3339),
        kept: kept?,
        from,
        until,
        clock_offset_s,
    })
}

fn time(section: &Section, key: &'static str) -> Option<Timestamp> {
    let text = section.text(key)?;
    let found = section.find_own(key)?;
    match text.parse() {
        Ok(time) => Some(time),
        Err(_) => {
            section.walk.note(
                section
                    .walk
                    .error(codes::WRONG_TYPE, &found.span, format!("`{key}` = \"{text}\" is no time"))
                    .label("expected a date, a time and an offset")
                    .help("write it as \"2041-05-18T09:30:00+02:00\", or with Z for UTC"),
            );
            None
        }
    }
}

/// Fields of an open standard.
#[derive(Clone, Copy)]
struct Standard {
    tag: &'static str,
    port: &'static str,
    time: &'static str,
    count: Option<&'static str>,
    time_format: TimeFormat,
}

impl Standard {
    fn columns(self) -> Columns {
        let owned = |text: &str| Some(text.to_owned());
        Columns {
            tag: self.tag.to_owned(),
            port: owned(self.port),
            time: owned(self.time),
            count: self.count.and_then(owned),
        }
    }
}

fn standard_llrp() -> Standard {
    Standard {
        tag: "EPC",
        port: "AntennaID",
        time: "FirstSeenTimestampUTC",
        count: Some("TagSeenCount"),
        time_format: TimeFormat::UnixUs,
    }
}

fn standard_epcis() -> Standard {
    Standard {
        tag: "epcList",
        port: "readPoint",
        time: "eventTime",
        count: None,
        time_format: TimeFormat::Rfc3339,
    }
}
