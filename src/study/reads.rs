//! `reads`: logs of readers to counts that can be learned from.
//!
//! Reads alone never tell who passed. Three references are made of them, in this order: a list of those known to have passed by other means; runners read at a later
//! point of the course (who dropped out is then not taken for missed: R. M. Cormack, Biometrika 51 (1964) 429-438, from memory); what one line missed of
//! those another line read. A point with none of these gives no count.

use crate::course::Course;
use crate::outcome::read_log::{Counts, OfTag, counts_reads};
use crate::outcome::reads::Reads;
use crate::outcome::tag_ids::Id;
use serde::{Deserialize, Serialize};
use std::collections::HashSet;

/// Fewest reads of each bin of reads per passing.
pub const BINS: [u32; 7] = [1, 2, 3, 6, 11, 21, 41];
/// A tag read over a longer time than this at one point lay there, or came again.
pub const LONG_S: f64 = 600.0;

/// What one line read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineReads {
    pub point: String,
    pub line: String,
    pub tags: u64,
    /// Tags by number of reads, `BINS`; none where the log keeps first reads only.
    pub by_reads: Option<Vec<u64>>,
}

/// Runners whom exactly these lines read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    pub read: Vec<String>,
    pub count: u64,
}

/// The count of one point, as an outcome file has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointReads {
    pub point: String,
    /// None: nothing tells who passed.
    pub reference: Option<String>,
    pub seen_at: Vec<String>,
    /// Line that missed, line that read them.
    pub line_by_line: Option<(String, String)>,
    pub passed: u64,
    pub missed: u64,
    /// All combinations of lines, where everybody is known.
    pub cells: Vec<Cell>,
    /// Tags read that are not on the list of those known.
    pub unlisted: u64,
}

/// The answer of `reads`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    pub name: String,
    pub note: String,
    pub scenario: String,
    pub rows: u64,
    pub tags: u64,
    pub foreign_rows: u64,
    pub foreign_tags: u64,
    pub untimely_rows: u64,
    pub lines: Vec<LineReads>,
    pub points: Vec<PointReads>,
    /// Point, tags read there for longer than `LONG_S`.
    pub lingering: Vec<(String, u64)>,
}

/// Counts of the points of a course; `known` has the tags on the list of each entry of `reads.known`.
pub fn answer(reads: &Reads, course: &Course, counts: &Counts, known: &[HashSet<Id>]) -> Answer {
    let with_logs: Vec<usize> = (0..course.points.len())
        .filter(|&p| counts.points.iter().any(|name| *name == course.points[p].name))
        .collect();
    let place = |p: usize| counts.points.iter().position(|name| *name == course.points[p].name);
    let slots_of =
        |at: usize| (0..counts.slots.len()).filter(move |&s| counts.slots[s].0 == at).collect::<Vec<_>>();
    let read_at = |of: &OfTag, at: usize| slots_of(at).into_iter().any(|slot| counts.reads(of, slot) > 0);
    let mut points = Vec::new();
    for (i, &p) in with_logs.iter().enumerate() {
        let at = place(p).expect("it has a log");
        let slots = slots_of(at);
        let name = course.points[p].name.clone();
        let list = reads.known.iter().position(|k| k.point == name);
        let later: Vec<usize> = with_logs[i + 1..].to_vec();
        let mut out = PointReads {
            point: name,
            reference: None,
            seen_at: Vec::new(),
            line_by_line: None,
            passed: 0,
            missed: 0,
            cells: Vec::new(),
            unlisted: 0,
        };
        if let Some(list) = list {
            out.reference = Some(reads.known[list].reference.to_owned());
            let mut cells = vec![0u64; 1 << slots.len()];
            for id in &known[list] {
                let of = counts.tags.get(id);
                let read = |slot: &usize| of.is_some_and(|of| counts.reads(of, *slot) > 0);
                let bits = slots.iter().enumerate().filter(|(_, slot)| read(slot));
                cells[bits.map(|(bit, _)| 1 << bit).sum::<usize>()] += 1;
            }
            (out.passed, out.missed) = (known[list].len() as u64, cells[0]);
            let names = |bits: usize| {
                let of = slots.iter().enumerate().filter(move |(bit, _)| bits >> bit & 1 == 1);
                of.map(|(_, slot)| counts.slots[*slot].1.clone()).collect()
            };
            out.cells = cells
                .iter()
                .enumerate()
                .rev()
                .map(|(bits, &count)| Cell { read: names(bits), count })
                .collect();
            let unlisted =
                counts.tags.iter().filter(|(id, of)| !known[list].contains(*id) && read_at(of, at));
            out.unlisted = unlisted.count() as u64;
        } else if !later.is_empty() {
            out.reference = Some("seen_elsewhere".to_owned());
            out.seen_at = later.iter().map(|&l| course.points[l].name.clone()).collect();
            let places: Vec<usize> = later.iter().filter_map(|&l| place(l)).collect();
            let seen = counts.tags.values().filter(|of| places.iter().any(|&l| read_at(of, l)));
            for of in seen {
                out.passed += 1;
                out.missed += u64::from(!read_at(of, at));
            }
        } else if let [a, b, ..] = slots[..] {
            out.reference = Some("other_line".to_owned());
            out.line_by_line = Some((counts.slots[a].1.clone(), counts.slots[b].1.clone()));
            let by = counts.tags.values().filter(|of| counts.reads(of, b) > 0);
            for of in by {
                out.passed += 1;
                out.missed += u64::from(counts.reads(of, a) == 0);
            }
        }
        points.push(out);
    }
    let lines = (0..counts.slots.len()).map(|slot| {
        let (at, line) = &counts.slots[slot];
        let point = &counts.points[*at];
        let told =
            reads.logs.iter().filter(|log| log.point == *point && log.lines.iter().any(|l| l.0 == *line));
        let told = told.into_iter().all(|log| counts_reads(log.kept));
        let mut bins = vec![0; BINS.len()];
        let mut tags = 0;
        for n in counts.tags.values().map(|of| counts.reads(of, slot)).filter(|&n| n > 0) {
            tags += 1;
            bins[BINS.iter().rposition(|&least| n >= least).expect("at least one read")] += 1;
        }
        LineReads { point: point.clone(), line: line.clone(), tags, by_reads: told.then_some(bins) }
    });
    let lingering = counts.points.iter().enumerate().filter_map(|(at, name)| {
        let long = |of: &&OfTag| {
            of.seen_s.get(at).copied().flatten().is_some_and(|(first, last)| last - first > LONG_S)
        };
        let n = counts.tags.values().filter(long).count() as u64;
        (n > 0).then(|| (name.clone(), n))
    });
    Answer {
        name: reads.name.clone(),
        note: reads.note.clone(),
        scenario: reads.scenario_text.clone(),
        rows: counts.rows,
        tags: counts.tags.len() as u64,
        foreign_rows: counts.foreign_rows,
        foreign_tags: counts.foreign_tags() as u64,
        untimely_rows: counts.untimely_rows,
        lines: lines.collect(),
        points,
        lingering: lingering.collect(),
    }
}
