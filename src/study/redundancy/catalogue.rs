//! The catalogue of a scenario: what one could add or change at a timing point, each with a cost.
//!
//! ```toml
//! [[candidate]]
//! name = "second mats 3 m on"
//! cost = 900
//! point = "finish"
//! copy_line = "main"          # a copy of a line of this point with a reader of its own …
//! moved_x_m = 3.0             # … moved along the running direction
//!
//! [[candidate]]
//! name = "slower hop"
//! cost = 0
//! set = { "point.finish.line.main.reader.*.hop_dwell_s" = 0.4 }     # or `add`, `remove`: any overlay
//! ```

use crate::course::walk::{Section, Walk};
use crate::course::{self, Course, load::parse_document};
use crate::diag::{Checked, Diagnostic, Severity, Source, codes};
use crate::limits;
use crate::study::overlay;
use crate::study::provenance::SetUp;
use crate::study::season::Placed;
use crate::study::season::file::read_changes;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::{Table, Value};

const MOST_CANDIDATES: usize = 24;

/// A copy of a line of the same point, moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Copy {
    pub line: String,
    pub moved_x_m: f64,
}

#[derive(Clone, Debug)]
pub struct Candidate {
    pub name: String,
    /// In the user's money; `None` when not stated.
    pub cost: Option<f64>,
    pub point: Option<String>,
    pub copy: Option<Copy>,
    pub changes: Vec<Placed>,
    pub span: Range<usize>,
}

/// A scenario as text with its catalogue.
#[derive(Clone, Debug)]
pub struct Catalogue {
    pub candidates: Vec<Candidate>,
    /// Whether the candidates are ours because the scenario names none.
    pub built_in: bool,
    source: Arc<Source>,
    folder: PathBuf,
    base: Table,
}

/// Reads the catalogue of a scenario that has been loaded already.
pub fn read(path: &str, text: &str, folder: &Path) -> Checked<Catalogue> {
    let source = Source::new(path, text.trim_start_matches('\u{feff}'));
    let walk = Walk::new(source.clone());
    let Some(document) = parse_document(&source, &walk) else { return Err(walk.take_found()) };
    let root = Section::root_of(&walk, "scenario", document.get_ref());
    let candidates: Vec<Candidate> =
        root.tables("candidate", "candidate", MOST_CANDIDATES).iter().map(read_candidate).collect();
    let found = walk.take_found();
    if found.iter().any(|d| d.severity == Severity::Error) {
        return Err(found);
    }
    let mut base: Table = source.text.parse().unwrap_or_default();
    base.remove("candidate");
    let built_in = candidates.is_empty();
    Ok((Catalogue { candidates, built_in, source, folder: folder.to_owned(), base }, found))
}

fn read_candidate(section: &Section) -> Candidate {
    if section.find_own("name").is_none() {
        section.missing("name", "name the candidate");
    }
    let line = section.name("copy_line");
    let moved_x_m = section.number("moved_x_m", &limits::ANTENNA_X_M);
    let candidate = Candidate {
        name: section.name("name").unwrap_or_default(),
        cost: section.number("cost", &limits::COST),
        point: section.name("point"),
        copy: line.map(|line| Copy { line, moved_x_m: moved_x_m.unwrap_or(3.0) }),
        changes: read_changes(section),
        span: section.span.clone(),
    };
    section.finish();
    if candidate.copy.is_none() && candidate.changes.is_empty() {
        section.missing(
            "copy_line",
            "say what the candidate does: copy_line with moved_x_m, or set, add, remove",
        );
    }
    candidate
}

impl Catalogue {
    /// Candidates for one point: the scenario's own, or a copy of its first line 3 m on.
    pub fn for_point(&self, course: &Course, point: usize) -> Vec<Candidate> {
        let name = &course.points[point].name;
        if self.built_in {
            let first = &course.points[point].lines[0].name;
            return vec![Candidate {
                name: format!("second \"{first}\" 3 m on"),
                cost: None,
                point: Some(name.clone()),
                copy: Some(Copy { line: first.clone(), moved_x_m: 3.0 }),
                changes: Vec::new(),
                span: 0..0,
            }];
        }
        let is_finish = course.points[point].is_finish;
        self.candidates
            .iter()
            .filter(|c| c.point.as_ref().map_or(is_finish, |p| p == name))
            .cloned()
            .collect()
    }

    /// The course with some candidates built in; problems are blamed on the candidates.
    pub fn build(&self, course: &Course, point: usize, chosen: &[&Candidate]) -> Checked<Course> {
        let mut table = self.base.clone();
        let mut found = Vec::new();
        for candidate in chosen {
            for placed in &candidate.changes {
                if let Err(refused) = overlay::apply(&mut table, &placed.change) {
                    found.push(self.blame(codes::CHANGE_REFUSED, refused.to_string(), placed.span.clone()));
                }
            }
            if let Some(copy) = &candidate.copy
                && let Err(message) = add_copy(&mut table, course, point, candidate, copy)
            {
                found.push(self.blame(codes::CHANGE_REFUSED, message, candidate.span.clone()));
            }
        }
        if !found.is_empty() {
            return Err(found);
        }
        let blame = chosen.last().map_or(0..0, |c| c.span.clone());
        let text = toml::to_string(&table)
            .map_err(|e| vec![self.blame(codes::TOML_SYNTAX, e.to_string(), blame.clone())])?;
        course::from_text(&self.source.path, &text, &self.folder).map_err(|problems| {
            let errors = problems.into_iter().filter(|d| d.severity == Severity::Error);
            errors
                .map(|d| {
                    let mut blamed = self.blame(d.code, d.message, blame.clone());
                    blamed.help = d.help;
                    blamed
                })
                .collect()
        })
    }

    /// Unlawful power and doubts that only a candidate brings. What it radiates counts as what stands does: a layout that may not be
    /// switched on is no way out. A candidate that cannot be built is told by the study.
    pub fn set_up(&self, course: &Course) -> SetUp {
        let (standing, mut all) = (SetUp::of(course), SetUp::default());
        for point in 0..course.points.len() {
            for candidate in self.for_point(course, point) {
                let Ok((with_it, _)) = self.build(course, point, &[&candidate]) else { continue };
                let mut new = SetUp::of(&with_it);
                new.unlawful_power.retain(|words| !standing.unlawful_power.contains(words));
                new.doubts.retain(|words| !standing.doubts.contains(words));
                all.add(new, &format!("{}, candidate {:?}: ", self.source.path, candidate.name));
            }
        }
        all
    }

    fn blame(&self, code: &'static str, message: String, span: Range<usize>) -> Diagnostic {
        Diagnostic::error(code, message).at(&self.source, span).label("with this candidate")
    }
}

/// Adds a moved copy of a line to its point.
fn add_copy(
    table: &mut Table,
    course: &Course,
    point: usize,
    candidate: &Candidate,
    copy: &Copy,
) -> Result<(), String> {
    let nowhere = || format!("no line \"{}\" at \"{}\"", copy.line, course.points[point].name);
    let number = course.points[point].lines.iter().position(|l| l.name == copy.line).ok_or_else(nowhere)?;
    let inherited = table
        .get("every_antenna")
        .and_then(|t| t.get("x_m"))
        .and_then(|v| v.as_float().or(v.as_integer().map(|i| i as f64)))
        .unwrap_or(0.0);
    let lines = table
        .get_mut("point")
        .and_then(Value::as_array_mut)
        .and_then(|points| points.get_mut(point))
        .and_then(|p| p.get_mut("line"))
        .and_then(Value::as_array_mut)
        .ok_or_else(nowhere)?;
    let mut line = lines.get(number).cloned().ok_or_else(nowhere)?;
    for reader in line.get_mut("reader").and_then(Value::as_array_mut).into_iter().flatten() {
        for antenna in reader.get_mut("antenna").and_then(Value::as_array_mut).into_iter().flatten() {
            let Some(antenna) = antenna.as_table_mut() else { continue };
            let x = antenna.get("x_m").and_then(|v| v.as_float().or(v.as_integer().map(|i| i as f64)));
            antenna.insert("x_m".into(), Value::Float(x.unwrap_or(inherited) + copy.moved_x_m));
        }
    }
    if let Some(line) = line.as_table_mut() {
        line.insert("name".into(), Value::String(candidate.name.clone()));
    }
    lines.push(line);
    Ok(())
}
