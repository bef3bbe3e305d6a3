//! A season with every scenario loaded, under the calendar as it is and under each what-if.

use super::{Entry, Placed, Season};
use crate::course::{Course, load};
use crate::diag::{Checked, Diagnostic, Severity, codes};
use crate::lab::text;
use crate::passing::learned::Learned;
use crate::study::overlay::{self, Change};
use crate::study::provenance::SetUp;
use crate::tag::{self, Tag};
use std::path::Path;
use std::sync::Arc;
use toml::{Table, Value};

/// One distinct scenario to simulate.
#[derive(Clone, Debug)]
pub struct Site {
    /// Line of the calendar it comes from: its draws are named by it, so a what-if meets the same runners.
    pub entry: usize,
    pub course: Arc<Course>,
    /// Text it was loaded from.
    pub text: String,
}

/// The calendar under one what-if: for every line of it the site and the number of races.
#[derive(Clone, Debug)]
pub struct Variant {
    pub name: String,
    /// In words what is changed; empty for the calendar as it is.
    pub changes: Vec<String>,
    /// By entry.
    pub races: Vec<(usize, f64)>,
}

#[derive(Clone, Debug)]
pub struct Resolved {
    pub sites: Vec<Site>,
    /// The calendar as it is comes first.
    pub variants: Vec<Variant>,
    pub tags: Vec<Arc<Tag>>,
    /// Price per tag, from the season or the tag.
    pub prices: Vec<Option<f64>>,
    /// SHA-256 by path of everything read.
    pub file_hashes: Vec<(String, String)>,
    /// Learned beliefs by site and tag; empty without.
    pub learned: Vec<Vec<Arc<Learned>>>,
}

impl Resolved {
    /// Unlawful power and doubts of every scenario of the calendar and of the what-ifs, each once, with its file.
    pub fn set_up(&self) -> SetUp {
        let mut all = SetUp::default();
        for site in &self.sites {
            all.add(SetUp::of(&site.course), &format!("{}, ", site.course.file_hash.0));
        }
        all
    }
}

/// Loads all tags and scenarios of a season.
pub fn resolve(season: &Season) -> Checked<Resolved> {
    let mut found: Vec<Diagnostic> = Vec::new();
    let mut file_hashes = vec![(season.source.path.clone(), season.sha256.clone())];
    let mut tags: Vec<Arc<Tag>> = Vec::new();
    for candidate in &season.tags {
        match tag::load(&candidate.folder) {
            Ok((tag, warnings)) => {
                if tags.iter().any(|t| t.name == tag.name) {
                    found.push(
                        Diagnostic::error(
                            codes::NAME_DUPLICATE,
                            format!("two tags are named \"{}\"", tag.name),
                        )
                        .at(&season.source, candidate.span.clone())
                        .label("the second one")
                        .help("a tag's draws are named by it: rename one in its tag.toml"),
                    );
                }
                found.extend(warnings);
                file_hashes.extend(tag.file_hashes.iter().cloned());
                tags.push(Arc::new(tag));
            }
            Err(problems) => found.extend(problems),
        }
    }
    let mut sites = Sites { season, list: Vec::new(), found: &mut found };
    let bases: Vec<Option<Base>> =
        season.entries.iter().map(|entry| base(entry, season, &mut sites)).collect();
    for (base, entry) in bases.iter().zip(&season.entries) {
        if let Some(base) = base
            && !file_hashes.iter().any(|(path, _)| *path == base.path)
        {
            file_hashes.push((base.path.clone(), base.sha256.clone()));
        }
        debug_assert!(!entry.name.is_empty() || base.is_none() || season.source.text.is_empty());
    }
    let as_it_is = Variant {
        name: "the calendar as it is".to_owned(),
        changes: Vec::new(),
        races: bases
            .iter()
            .zip(&season.entries)
            .map(|(base, entry)| (base.as_ref().map_or(0, |b| b.site), entry.races))
            .collect(),
    };
    let mut variants = vec![as_it_is];
    for what_if in &season.what_ifs {
        variants.push(amend(what_if, season, &bases, &mut sites));
    }
    let sites = sites.list;
    if found.iter().any(|d| d.severity == Severity::Error) {
        return Err(found);
    }
    let prices = season.tags.iter().zip(&tags).map(|(c, tag)| c.price.or(tag.price)).collect();
    Ok((Resolved { sites, variants, tags, prices, file_hashes, learned: Vec::new() }, found))
}

/// An entry's scenario after its own changes.
struct Base {
    site: usize,
    table: Table,
    path: String,
    sha256: String,
}

struct Sites<'s> {
    season: &'s Season,
    list: Vec<Site>,
    found: &'s mut Vec<Diagnostic>,
}

impl Sites<'_> {
    /// Loads a changed scenario (or finds it loaded already); problems are blamed on the changes.
    fn changed(&mut self, entry: usize, table: &Table, blame: &std::ops::Range<usize>) -> Option<usize> {
        let file = &self.season.entries[entry].file;
        let shown = file.display().to_string();
        let text = match toml::to_string(table) {
            Ok(text) => text,
            Err(error) => {
                let message = format!("the changed scenario cannot be written as TOML: {error}");
                self.found.push(
                    Diagnostic::error(codes::TOML_SYNTAX, message).at(&self.season.source, blame.clone()),
                );
                return None;
            }
        };
        if let Some(site) = self.list.iter().position(|s| s.entry == entry && s.text == text) {
            return Some(site);
        }
        match load::from_text(&shown, &text, file.parent().unwrap_or(Path::new(""))) {
            Ok((course, _)) => Some(self.push(entry, course, text)),
            Err(problems) => {
                for problem in problems.into_iter().filter(|d| d.severity == Severity::Error) {
                    let mut blamed = Diagnostic::error(problem.code, problem.message)
                        .at(&self.season.source, blame.clone())
                        .label(format!("after this change of {shown}"));
                    blamed.help = problem.help;
                    self.found.push(blamed);
                }
                None
            }
        }
    }

    fn push(&mut self, entry: usize, course: Course, text: String) -> usize {
        self.list.push(Site { entry, course: Arc::new(course), text });
        self.list.len() - 1
    }

    fn apply(&mut self, table: &mut Table, changes: &[Placed]) -> bool {
        let mut good = true;
        for placed in changes {
            if let Err(refused) = overlay::apply(table, &placed.change) {
                good = false;
                self.found.push(
                    Diagnostic::error(codes::CHANGE_REFUSED, refused.to_string())
                        .at(&self.season.source, placed.span.clone())
                        .label("cannot be changed")
                        .help("a path names keys of the scenario from its top, entries of a list by their name, by number or by *"),
                );
            }
        }
        good
    }
}

fn base(entry: &Entry, season: &Season, sites: &mut Sites) -> Option<Base> {
    let index = season.entries.iter().position(|e| std::ptr::eq(e, entry))?;
    let read = match text::read(&entry.file) {
        Ok(read) => read,
        Err(problem) => {
            sites.found.push(
                problem.help(format!("named by scenario \"{}\" of {}", entry.name, season.source.path)),
            );
            return None;
        }
    };
    let shown = read.source.path.clone();
    let folder = entry.file.parent().unwrap_or(Path::new(""));
    // The file as it stands must be sound by itself: its problems are shown in its own text.
    match load::from_text(&shown, &read.source.text, folder) {
        Ok((_, warnings)) => {
            let known = |d: &Diagnostic, found: &[Diagnostic]| {
                found.iter().any(|f| f.message == d.message && f.place() == d.place())
            };
            for warning in warnings {
                if !known(&warning, sites.found) {
                    sites.found.push(warning);
                }
            }
        }
        Err(problems) => {
            sites.found.extend(problems);
            return None;
        }
    }
    let mut table: Table = read.source.text.trim_start_matches('\u{feff}').parse().ok()?;
    let mut changes = entry.changes.clone();
    if let Some(target) = season.target {
        let change = Change::Set { path: "point.*.target".into(), value: Value::Float(target) };
        changes.insert(0, Placed { change, span: entry.span.clone() });
    }
    if !sites.apply(&mut table, &changes) {
        return None;
    }
    let site = sites.changed(index, &table, &entry.span)?;
    Some(Base { site, table, path: shown, sha256: read.sha256 })
}

fn amend(what_if: &super::WhatIf, season: &Season, bases: &[Option<Base>], sites: &mut Sites) -> Variant {
    let mut variant = Variant { name: what_if.name.clone(), changes: Vec::new(), races: Vec::new() };
    let mut tables: Vec<Option<Table>> = bases.iter().map(|b| b.as_ref().map(|b| b.table.clone())).collect();
    let mut races: Vec<f64> = season.entries.iter().map(|e| e.races).collect();
    let mut blame: Vec<std::ops::Range<usize>> = season.entries.iter().map(|e| e.span.clone()).collect();
    for amendment in &what_if.amendments {
        let mut hits = 0;
        for (i, table) in tables.iter_mut().enumerate() {
            let Some(table) = table else { continue };
            let holds = amendment
                .conditions
                .iter()
                .all(|(path, value)| overlay::value_at(table, path).is_some_and(|found| same(found, value)));
            if holds {
                hits += 1;
                races[i] *= amendment.races_times;
                blame[i] = amendment.span.clone();
                if !sites.apply(table, &amendment.changes) {
                    break;
                }
            }
        }
        if hits == 0 && bases.iter().all(Option::is_some) {
            let words: Vec<String> = amendment.conditions.iter().map(|(p, v)| format!("{p} = {v}")).collect();
            sites.found.push(
                Diagnostic::error(
                    codes::CHANGE_REFUSED,
                    format!("no scenario has {}", if words.is_empty() { "these keys".into() } else { words.join(" and ") }),
                )
                .at(&season.source, amendment.span.clone())
                .label("changes nothing")
                .help("`where` compares with the scenario after its own changes; a key left to its default is not there"),
            );
        }
        variant.changes.extend(words_of(amendment, hits));
    }
    for (i, table) in tables.iter().enumerate() {
        let site = match (table, &bases[i]) {
            (Some(table), Some(base)) if *table == base.table => base.site,
            (Some(table), _) => sites.changed(i, table, &blame[i]).unwrap_or(0),
            _ => 0,
        };
        variant.races.push((site, races[i]));
    }
    variant
}

fn same(found: &Value, wanted: &Value) -> bool {
    let number = |v: &Value| v.as_float().or(v.as_integer().map(|i| i as f64));
    found == wanted || matches!((number(found), number(wanted)), (Some(a), Some(b)) if a == b)
}

fn words_of(amendment: &super::Amendment, hits: usize) -> Vec<String> {
    let place = if amendment.conditions.is_empty() {
        "all races".to_owned()
    } else {
        let words: Vec<String> = amendment
            .conditions
            .iter()
            .map(|(path, value)| {
                format!("{path} = {}", value.as_str().map_or(value.to_string(), str::to_owned))
            })
            .collect();
        format!("races with {}", words.join(" and "))
    };
    let mut list: Vec<String> =
        amendment.changes.iter().map(|placed| format!("{place}: {}", placed.change.words())).collect();
    if amendment.races_times != 1.0 {
        list.push(format!("{place}: {} times as many", amendment.races_times));
    }
    list.iter_mut().for_each(|words| words.push_str(&format!(" ({hits} lines of the calendar)")));
    list
}
