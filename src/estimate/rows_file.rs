//! The file of world rows: checkpoints and shards.
//!
//! Text, one JSON value per line: a header (what the rows were made from), one line per world, and a last line with their number and the
//! SHA-256 of all bytes before it. Numbers are written so that they read back to the same bits. A file without its last line, with another hash,
//! or with numbers that cannot be, is refused: it is never used in part.

use super::offsets::{LEVELS, RACE_DAYS};
use super::run::Plan;
use super::shard::Shard;
use super::world::{Ask, Shares, WorldRow};
use crate::passing::Prepared;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::{self, Write};
use std::path::Path;

pub const FORMAT: &str = "readodds world rows";
pub const FORMAT_VERSION: u32 = 2;
/// Largest importance weight of a level (see `tilt`).
const MOST_WEIGHT: f64 = 25.1;

/// An input file by content; the path only helps to name it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Input {
    pub path: String,
    pub sha256: String,
}

/// What rows were made from. Rows go together only if all of this agrees, the shard aside.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Header {
    pub format: String,
    pub format_version: u32,
    pub program_version: String,
    pub inputs: Vec<Input>,
    pub plan: Plan,
    pub ask: Ask,
    pub shard: Shard,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct End {
    rows: u64,
    sha256: String,
}

/// A file read and found whole.
#[derive(Clone, Debug, PartialEq)]
pub struct RowsFile {
    pub header: Header,
    pub rows: Vec<WorldRow>,
}

impl Header {
    pub fn new(prepared: &Prepared, plan: &Plan, ask: &Ask, shard: Shard) -> Header {
        let input = |(path, sha256): &(String, String)| Input { path: path.clone(), sha256: sha256.clone() };
        let hashes = std::iter::once(&prepared.course.file_hash).chain(&prepared.tag.file_hashes);
        Header {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            inputs: hashes.map(input).collect(),
            plan: plan.clone(),
            ask: ask.clone(),
            shard,
        }
    }

    /// What keeps rows under `other` from going with rows under this header, in words. The shard and the allocation (which
    /// follows from the rest) are left to the caller.
    pub fn differences(&self, other: &Header) -> Vec<String> {
        let worlds = |plan: &Plan| plan.worlds.map_or("by precision".to_owned(), |worlds| worlds.to_string());
        let each = |plan: &Plan| plan.passings_per_world.to_string();
        let mut found: Vec<String> = [
            ("version of the program", self.program_version.clone(), other.program_version.clone()),
            ("seed", self.plan.seed.to_string(), other.plan.seed.to_string()),
            ("worlds", worlds(&self.plan), worlds(&other.plan)),
            ("passings per world", each(&self.plan), each(&other.plan)),
            ("number of input files", self.inputs.len().to_string(), other.inputs.len().to_string()),
        ]
        .into_iter()
        .filter(|(_, a, b)| a != b)
        .map(|(what, a, b)| format!("{what}: {a} against {b}"))
        .collect();
        if self.plan.precision != other.plan.precision {
            found.push("precision asked for".to_owned());
        }
        for (a, b) in self.inputs.iter().zip(&other.inputs) {
            if a.sha256 != b.sha256 {
                found.push(format!("content of {}: SHA-256 {} against {}", b.path, a.sha256, b.sha256));
            }
        }
        found
    }
}

/// Writes a whole file of rows.
pub fn write(out: &mut dyn Write, header: &Header, rows: &[WorldRow]) -> io::Result<()> {
    let mut hash = Sha256::new();
    let mut line = |text: String| -> io::Result<()> {
        hash.update(text.as_bytes());
        hash.update(b"\n");
        out.write_all(text.as_bytes())?;
        out.write_all(b"\n")
    };
    line(serde_json::to_string(header)?)?;
    for row in rows {
        line(serde_json::to_string(row)?)?;
    }
    let end = End { rows: rows.len() as u64, sha256: hex(&hash.finalize()) };
    writeln!(out, "{}", serde_json::to_string(&end)?)
}

/// The text of a file whose last line is made anew from the lines before it.
pub fn with_end(text: &str) -> String {
    let body = text.strip_suffix('\n').unwrap_or(text);
    let before = match body.rsplit_once('\n') {
        Some((before, last)) if last.contains("sha256") && !last.contains("format") => before,
        _ => body,
    };
    let rows = before.matches('\n').count();
    let hash = hex(&Sha256::new_with_prefix(before).chain_update(b"\n").finalize());
    format!("{before}\n{{\"rows\":{rows},\"sha256\":\"{hash}\"}}\n")
}

/// Reads a file; the message says what is wrong with it.
pub fn read(path: &Path) -> Result<RowsFile, String> {
    let text = std::fs::read(path).map_err(|error| format!("cannot read {}: {error}", path.display()))?;
    parse(&text).map_err(|problem| format!("{}: {problem}", path.display()))
}

/// Parses a whole file.
pub fn parse(bytes: &[u8]) -> Result<RowsFile, String> {
    let text =
        std::str::from_utf8(bytes).map_err(|_| "not a file of world rows (not UTF-8 text)".to_owned())?;
    let cut = "the file is cut short; delete it and run that part again";
    let body = text.strip_suffix('\n').ok_or(cut)?;
    let (before, last) =
        body.rsplit_once('\n').ok_or("not a file of world rows (it has fewer than two lines)")?;
    let mut lines = before.split('\n').enumerate();
    let first = lines.next().map_or("", |(_, line)| line);
    // Another version's header must be named as such, not as a broken file.
    if let Ok(any) = serde_json::from_str::<serde_json::Value>(first) {
        let version = any.get("format_version").and_then(serde_json::Value::as_u64);
        if any.get("format").and_then(serde_json::Value::as_str) != Some(FORMAT) {
            return Err("not a file of world rows".to_owned());
        }
        if version != Some(u64::from(FORMAT_VERSION)) {
            return Err(format!("format version {version:?}, but this program reads {FORMAT_VERSION}"));
        }
    }
    let header: Header =
        serde_json::from_str(first).map_err(|error| format!("not a file of world rows (line 1: {error})"))?;
    let end: End = serde_json::from_str(last).map_err(|_| cut.to_owned())?;
    let hashed = hex(&Sha256::digest(&bytes[..before.len() + 1]));
    if end.sha256 != hashed {
        return Err(
            "the content does not match its SHA-256: the file was changed or damaged; run that part again"
                .to_owned(),
        );
    }
    let lines: Vec<(usize, &str)> = lines.collect();
    if lines.len() as u64 != end.rows {
        return Err(format!("{} lines of rows where the last line says {}", lines.len(), end.rows));
    }
    let rows: Vec<WorldRow> = parsed(&lines)?;
    check_shape(&header, &rows)?;
    Ok(RowsFile { header, rows })
}

fn parsed<T: serde::de::DeserializeOwned>(lines: &[(usize, &str)]) -> Result<Vec<T>, String> {
    let one = |(number, line): &(usize, &str)| {
        serde_json::from_str(line).map_err(|error| format!("line {}: {error}", number + 1))
    };
    lines.iter().map(one).collect()
}

/// The rows must be the first ones of their shard, in order, and each must hold what the header asks for, within what can be.
fn check_shape(header: &Header, rows: &[WorldRow]) -> Result<(), String> {
    let Shard { index, of } = header.shard;
    Shard::parse(&format!("{index}/{of}"))?;
    let strata = header.ask.allocation.len();
    for (k, row) in rows.iter().enumerate() {
        let expected = index + of * k as u64;
        if row.world != expected {
            return Err(format!("world {} stands where world {expected} belongs", row.world));
        }
        let fits = row.odds.len() == (header.ask.sets() + 2) * 2 * RACE_DAYS
            && row.points.len() == header.ask.masks.len()
            && row.weights.len() == strata
            && row.passings == header.ask.passings()
            && row.level_weights.len() == LEVELS
            && row.level_weights.iter().all(|w| *w > 0.0 && *w <= MOST_WEIGHT)
            && row.points.iter().all(|point| point.strata.len() == strata);
        if !fits {
            return Err(format!(
                "world {} does not hold the timing points and lines of the header",
                row.world
            ));
        }
        let share = |x: &f64| (0.0..=MOST_WEIGHT).contains(x);
        let shares = |s: &Shares| {
            s.causes.iter().chain(&s.strata).chain(&s.lateral).chain(&s.lateral_weight).all(share)
                && share(&s.clamped)
                && share(&s.clamped_missed)
        };
        let in_range = row.odds.iter().all(|odds| (0.0..=1.0).contains(odds))
            && row.weights.iter().all(share)
            && row.points.iter().all(shares);
        if !in_range {
            return Err(format!("world {} holds a share or odds outside 0 to 1", row.world));
        }
    }
    match header.plan.worlds {
        Some(worlds) if header.shard.worlds(worlds).count() < rows.len() => {
            Err(format!("{} rows, more than the shard has worlds", rows.len()))
        }
        _ => Ok(()),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
