//! The file of world rows: checkpoints and shards.
//!
//! Text, one JSON value per line: a header (what the rows were made from); for each part of the study a line with its name, its ask and the number of
//! its rows, and one line per world; and a last line with the number of all lines between and the SHA-256 of all bytes before it. Numbers are written
//! so that they read back to the same bits. A file without its last line, with another hash, or with numbers that cannot be, is refused: it is
//! never used in part.

use super::offsets::{DAYS, LEVELS, RACE_DAYS};
use super::run::Plan;
use super::run::world_rows;
use super::shard::Shard;
use super::strata::strata;
use super::tilt::LONGEST;
use super::world::{Ask, Shares, WorldRow};
use crate::files::bounded;
use crate::files::written::{self, hex};
use crate::passing::Prepared;
use crate::passing::prepared::PreparedPoint;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::{self, Read, Write};
use std::path::Path;

pub const FORMAT: &str = "readodds world rows";
pub const FORMAT_VERSION: u32 = 5;
/// Largest importance weight of a level (see `tilt`).
const MOST_WEIGHT: f64 = 25.1;
/// A larger file is not read, bytes; a long season of many tags takes a tenth.
const MOST_BYTES: u64 = 2 << 30;
/// How a file of rows starts, looked at before the rest is read.
const START: &[u8] = b"{\"format\":\"readodds world rows\"";
/// This build, by the hash of its sources (see build.rs).
pub const BUILD: &str = env!("READODDS_BUILD");

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
    /// Hash of the program's sources.
    pub build: String,
    /// What the worlds are for.
    pub study: String,
    pub inputs: Vec<Input>,
    pub plan: Plan,
    pub shard: Shard,
}

/// Worlds of one prepared scenario and ask.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    pub name: String,
    pub ask: Ask,
    pub rows: Vec<WorldRow>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PartLine {
    part: String,
    rows: u64,
    ask: Ask,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct End {
    lines: u64,
    sha256: String,
}

/// A file read and found whole.
#[derive(Clone, Debug, PartialEq)]
pub struct RowsFile {
    pub header: Header,
    pub parts: Vec<Part>,
}

impl Header {
    /// Of rows made by this build from `inputs` (path and SHA-256).
    pub fn new(study: &str, inputs: &[(String, String)], plan: &Plan, shard: Shard) -> Header {
        let input = |(path, sha256): &(String, String)| Input { path: path.clone(), sha256: sha256.clone() };
        Header {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            build: BUILD.to_owned(),
            study: study.to_owned(),
            inputs: inputs.iter().map(input).collect(),
            plan: plan.clone(),
            shard,
        }
    }

    /// The same for one scenario and its tag.
    pub fn of(study: &str, prepared: &Prepared, plan: &Plan, shard: Shard) -> Header {
        let hashes = std::iter::once(&prepared.course.file_hash).chain(&prepared.tag.file_hashes);
        Header::new(study, &hashes.cloned().collect::<Vec<_>>(), plan, shard)
    }

    /// What keeps rows under `other` from going with rows under this header, in words. The shard is left to the caller.
    pub fn differences(&self, other: &Header) -> Vec<String> {
        let worlds = |plan: &Plan| plan.worlds.map_or("by precision".to_owned(), |worlds| worlds.to_string());
        let each = |plan: &Plan| plan.passings_per_world.to_string();
        let mut found: Vec<String> = [
            ("version of the program", self.program_version.clone(), other.program_version.clone()),
            ("build (hash of the program's sources)", self.build.clone(), other.build.clone()),
            ("study", self.study.clone(), other.study.clone()),
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

impl Part {
    /// Whether one of the rows, chosen by what stands in all of them, is the one that this program works out.
    pub fn is_honest(&self, prepared: &Prepared) -> bool {
        let mut hash = Sha256::new();
        for row in &self.rows {
            row.odds.iter().for_each(|odds| hash.update(odds.to_bits().to_le_bytes()));
        }
        let Some(last) = self.rows.len().checked_sub(1) else { return true };
        let pick = hash.finalize()[..8].iter().fold(0u64, |sum, &byte| sum << 8 | u64::from(byte));
        let row = &self.rows[(pick % (last as u64 + 1)) as usize];
        self.fits(prepared)
            && world_rows(prepared, &self.ask, vec![row.world], &|| false).first() == Some(row)
    }

    /// Whether the ask can be asked of the scenario: points, lines and strata that it has.
    fn fits(&self, prepared: &Prepared) -> bool {
        let lines = |(masks, point): (&Vec<u64>, &PreparedPoint)| {
            let all = (1u64 << point.lines.len()) - 1;
            masks.iter().all(|mask| *mask != 0 && mask & !all == 0)
        };
        self.ask.masks.len() == prepared.points.len()
            && self.ask.allocation.len() == strata(&prepared.course).len()
            && self.ask.masks.iter().zip(&prepared.points).all(lines)
    }
}

/// Writes a whole file of rows.
pub fn write(out: &mut dyn Write, header: &Header, parts: &[Part]) -> io::Result<()> {
    let mut hash = Sha256::new();
    let mut lines = 0;
    let mut line = |text: String| -> io::Result<()> {
        lines += 1;
        hash.update(text.as_bytes());
        hash.update(b"\n");
        out.write_all(text.as_bytes())?;
        out.write_all(b"\n")
    };
    line(serde_json::to_string(header)?)?;
    for part in parts {
        let rows = part.rows.len() as u64;
        line(serde_json::to_string(&PartLine { part: part.name.clone(), rows, ask: part.ask.clone() })?)?;
        for row in &part.rows {
            line(serde_json::to_string(row)?)?;
        }
    }
    let end = End { lines: lines - 1, sha256: hex(&hash.finalize()) };
    writeln!(out, "{}", serde_json::to_string(&end)?)
}

/// The text of a file whose last line is made anew from the lines before it.
pub fn with_end(text: &str) -> String {
    let body = text.strip_suffix('\n').unwrap_or(text);
    let before = match body.rsplit_once('\n') {
        Some((before, last)) if last.contains("sha256") && !last.contains("format") => before,
        _ => body,
    };
    let lines = before.matches('\n').count();
    let hash = hex(&Sha256::new_with_prefix(before).chain_update(b"\n").finalize());
    format!("{before}\n{{\"lines\":{lines},\"sha256\":\"{hash}\"}}\n")
}

/// Reads a file; the message says what is wrong with it.
pub fn read(path: &Path) -> Result<RowsFile, String> {
    let named = |problem: &dyn std::fmt::Display| format!("{}: {problem}", path.display());
    let mut start = Vec::new();
    let look = |start: &mut Vec<u8>| {
        // Opening a pipe would wait for a writer.
        if std::fs::metadata(path)?.is_file() {
            std::fs::File::open(path)?.take(START.len() as u64).read_to_end(start)?;
        }
        Ok::<(), io::Error>(())
    };
    look(&mut start).map_err(|error| format!("cannot read {}: {error}", path.display()))?;
    if start != START {
        return Err(named(&"not a file of world rows"));
    }
    let bytes = bounded::read(path, MOST_BYTES).map_err(|refused| named(&refused))?;
    parse(&bytes).map_err(|problem| named(&problem))
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
    let hashed = written::hash(&bytes[..before.len() + 1]);
    if end.sha256 != hashed {
        return Err(
            "the content does not match its SHA-256: the file was changed or damaged; run that part again"
                .to_owned(),
        );
    }
    let lines: Vec<(usize, &str)> = lines.collect();
    if lines.len() as u64 != end.lines {
        return Err(format!("{} lines where the last line says {}", lines.len(), end.lines));
    }
    let mut parts: Vec<Part> = Vec::new();
    let mut rest = lines.as_slice();
    while let Some((head, more)) = rest.split_first() {
        let PartLine { part: name, rows: count, ask } = parsed(head)?;
        if count > more.len() as u64 {
            return Err(format!("line {}: {count} rows are announced, {} follow", head.0 + 1, more.len()));
        }
        let (own, after) = more.split_at(count as usize);
        let rows = own.iter().map(parsed).collect::<Result<Vec<WorldRow>, String>>()?;
        let part = Part { name, ask, rows };
        check_shape(&header, &part)?;
        parts.push(part);
        rest = after;
    }
    Ok(RowsFile { header, parts })
}

fn parsed<T: serde::de::DeserializeOwned>((number, line): &(usize, &str)) -> Result<T, String> {
    serde_json::from_str(line).map_err(|error| format!("line {}: {error}", number + 1))
}

/// The rows must be the first ones of their shard, in order, and each must hold what the ask asks for, within what can be: shares from 0
/// to 1 times the weight of the world, and every list of shares of one thing with the same sum.
fn check_shape(header: &Header, part: &Part) -> Result<(), String> {
    let Shard { index, of } = header.shard;
    Shard::parse(&format!("{index}/{of}"))?;
    let Part { ask, rows, .. } = part;
    let strata = ask.allocation.len();
    let even = |n: &u64| (2..1 << 32).contains(n) && n.is_multiple_of(2);
    let moves = ask.tilt.moves.iter().all(|b| b.abs() <= LONGEST);
    if strata > 1 << 10 || !ask.allocation.iter().all(even) || ask.sets() > 1 << 16 || !moves {
        return Err(format!("part \"{}\" asks for what cannot be", part.name));
    }
    if header.plan.seed != ask.seed {
        return Err(format!("part \"{}\" is of another seed than the header", part.name));
    }
    for (k, row) in rows.iter().enumerate() {
        let expected = index + of * k as u64;
        if row.world != expected {
            return Err(format!("world {} stands where world {expected} belongs", row.world));
        }
        let fits = row.odds.len() == (ask.sets() + 2) * 2 * RACE_DAYS
            && row.points.len() == ask.masks.len()
            && row.weights.len() == strata
            && row.passings == ask.passings()
            && row.level_weights.len() == LEVELS
            && row.points.iter().all(|point| point.strata.len() == strata);
        if !fits {
            return Err(format!(
                "world {} does not hold the timing points and lines of the header",
                row.world
            ));
        }
        let weight = row.weights.iter().sum::<f64>();
        // Sums are compared on the scale of the world's weight: a cause is a small difference of large numbers.
        let slack = SLACK * weight;
        let near = |a: f64, b: f64| (a - b).abs() <= slack;
        let share = |x: &f64| *x >= 0.0 && *x <= weight + slack;
        // Odds are kept as f32; a staircase ends where nothing is left to miss.
        let rate = |set: usize| {
            let of_half = |half: usize| {
                let of_day = |(day, odds): (usize, &f32)| row.level_weights[day / DAYS] * f64::from(*odds);
                row.half(set, half).iter().enumerate().map(of_day).sum::<f64>()
            };
            (of_half(0) + of_half(1)) / (2 * RACE_DAYS) as f64
        };
        let shares = |(point, (s, masks)): (usize, (&Shares, &Vec<u64>))| {
            let missed = s.strata.iter().sum::<f64>();
            let passed = if masks.is_empty() { 0.0 } else { weight };
            s.causes.iter().chain(&s.strata).chain(&s.lateral).all(|x| *x >= 0.0)
                && missed <= weight + slack
                && s.lateral_weight.iter().all(share)
                && share(&s.clamped)
                && s.clamped_missed >= 0.0
                && s.clamped_missed <= missed.min(s.clamped) + slack
                && near(s.causes.iter().sum(), missed)
                && (masks.is_empty() || (rate(ask.set(point, 0)) - missed).abs() <= ODDS_SLACK * weight)
                && near(s.lateral.iter().sum(), missed)
                && near(s.lateral_weight.iter().sum(), passed)
                && s.lateral.iter().zip(&s.lateral_weight).all(|(m, w)| *m <= *w + slack)
        };
        let in_range = row.odds.iter().all(|odds| (0.0..=1.0).contains(odds))
            && row.level_weights.iter().all(|w| *w > 0.0 && *w <= MOST_WEIGHT)
            && near(row.level_weights.iter().sum::<f64>() / LEVELS as f64, weight)
            && row.weights.iter().all(share)
            && row.points.iter().zip(&ask.masks).enumerate().all(shares);
        if !in_range {
            return Err(format!("world {} holds a share or odds outside what can be", row.world));
        }
    }
    match header.plan.worlds {
        Some(worlds) if header.shard.worlds(worlds).count() < rows.len() => {
            Err(format!("{} rows, more than the shard has worlds", rows.len()))
        }
        _ => Ok(()),
    }
}

/// Rounding of sums that are equal, share of the weight of the world.
const SLACK: f64 = 1e-9;
/// The same of the odds, kept in single precision, against the causes.
const ODDS_SLACK: f64 = 1e-6;
