//! The season file: TOML to a season, every problem with its place.

use super::{Amendment, Candidate, Entry, Market, Placed, Season, WhatIf};
use crate::course::load::parse_document;
use crate::course::walk::{Section, Walk};
use crate::diag::{Checked, Severity, Source, codes};
use crate::lab::text;
use crate::limits;
use crate::study::overlay::Change;
use std::path::Path;
use std::sync::Arc;
use toml::Value;
use toml::de::DeValue;

const MOST_TAGS: usize = 40;
const MOST_BANDS: usize = 12;
const MOST_ENTRIES: usize = 200;
const MOST_WHAT_IFS: usize = 40;
const MOST_AMENDMENTS: usize = 40;

/// Reads a season file; scenarios and tags are read by [`super::resolve::resolve`].
pub fn load(path: &Path) -> Checked<Season> {
    let read = text::read(path).map_err(|d| vec![*d])?;
    from_source(read.source, read.sha256, path.parent().unwrap_or(Path::new("")))
}

/// Reads a season from text; `folder` is where its paths count from.
pub fn from_source(source: Arc<Source>, sha256: String, folder: &Path) -> Checked<Season> {
    let walk = Walk::new(source.clone());
    let Some(document) = parse_document(&source, &walk) else { return Err(walk.take_found()) };
    let root = Section::root_of(&walk, "season", document.get_ref());
    let season = read(&root, sha256, folder);
    root.finish();
    let found = walk.take_found();
    if found.iter().any(|d| d.severity == Severity::Error) { Err(found) } else { Ok((season, found)) }
}

fn read(root: &Section, sha256: String, folder: &Path) -> Season {
    let name = root.name("name").unwrap_or_default();
    if root.find_own("name").is_none() {
        root.missing("name", "name the season");
    }
    let season = Season {
        name,
        note: root.text("note").unwrap_or_default(),
        currency: root.name("currency").unwrap_or_else(|| "money".to_owned()),
        missed_passing_cost: root.number("missed_passing_cost", &limits::COST),
        missed_finish_cost: root.number("missed_finish_cost", &limits::COST),
        market: root.tables("market", "market", MOST_BANDS).iter().map(read_market).collect(),
        target: root.number("target", &limits::TARGET),
        tags: root.tables("tag", "tag", MOST_TAGS).iter().map(|t| read_tag(t, folder)).collect(),
        entries: root
            .tables("scenario", "scenario", MOST_ENTRIES)
            .iter()
            .map(|t| read_entry(t, folder))
            .collect(),
        what_ifs: root.tables("what_if", "what_if", MOST_WHAT_IFS).iter().map(read_what_if).collect(),
        source: root.walk.source.clone(),
        sha256,
    };
    if root.find_own("tag").is_none() {
        root.missing("tag", "list the tags to choose from: [[tag]] with folder = \"…\"");
    }
    if root.find_own("scenario").is_none() {
        root.missing("scenario", "list the races: [[scenario]] with name, file and races");
    }
    let shares: f64 = season.market.iter().map(|m| m.share).sum();
    if let Some(last) = season.market.last()
        && shares > 1.0 + 1e-9
    {
        root.walk.note(
            root.walk
                .error(
                    codes::SHARES_SUM,
                    &last.span,
                    format!("the bands' shares add up to {shares:.3}, above 1"),
                )
                .label("the last one")
                .help("what lies in no band has the rest: keep the sum at or below 1"),
        );
    }
    check_names(root, season.entries.iter().map(|e| (e.name.as_str(), e.span.clone())));
    season
}

/// One band of the market.
fn read_market(section: &Section) -> Market {
    for key in ["low_mhz", "high_mhz", "share"] {
        if section.find_own(key).is_none() {
            section.missing(
                key,
                "a band of the market has low_mhz, high_mhz and share (of all passings, 0 to 1)",
            );
        }
    }
    let market = Market {
        low_mhz: section.number("low_mhz", &limits::FREQ_MHZ).unwrap_or(0.0),
        high_mhz: section.number("high_mhz", &limits::FREQ_MHZ).unwrap_or(0.0),
        share: section.number("share", &limits::SHARE).unwrap_or(0.0),
        span: section.span.clone(),
    };
    section.finish();
    market
}

fn check_names<'a>(root: &Section, names: impl Iterator<Item = (&'a str, std::ops::Range<usize>)>) {
    let mut seen: Vec<&str> = Vec::new();
    for (name, span) in names {
        if !name.is_empty() && seen.contains(&name) {
            root.walk.note(
                root.walk
                    .error(codes::NAME_DUPLICATE, &span, format!("two scenarios are named \"{name}\""))
                    .label("the second one")
                    .help("give each line of the calendar a name of its own"),
            );
        }
        seen.push(name);
    }
}

fn read_tag(section: &Section, folder: &Path) -> Candidate {
    let path = section.text("folder").unwrap_or_default();
    if section.find_own("folder").is_none() {
        section.missing("folder", "name the tag's folder, counted from the folder of this file");
    }
    let candidate = Candidate {
        folder: folder.join(path),
        price: section.number("price", &limits::PRICE),
        stock: section.whole("stock", &limits::STOCK),
        span: section.span.clone(),
    };
    section.finish();
    candidate
}

fn read_entry(section: &Section, folder: &Path) -> Entry {
    let name = section.name("name").unwrap_or_default();
    let path = section.text("file").unwrap_or_default();
    for (key, help) in [
        ("name", "name this line of the calendar"),
        ("file", "name the scenario file, counted from this folder"),
    ] {
        if section.find_own(key).is_none() {
            section.missing(key, help);
        }
    }
    let stem = Path::new(&path).file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned());
    let mut changes = read_changes(section);
    if let (Some(runners), Some(found)) =
        (section.whole("runners", &limits::RUNNERS), section.find_own("runners"))
    {
        let value = Value::Integer(runners as i64);
        changes.insert(
            0,
            Placed { change: Change::Set { path: "field.runners".into(), value }, span: found.span },
        );
    }
    let entry = Entry {
        name,
        file: folder.join(path),
        races: section.number("races", &limits::RACES).unwrap_or(1.0),
        layout: section.name("layout").unwrap_or(stem),
        changes,
        span: section.span.clone(),
    };
    section.finish();
    entry
}

fn read_what_if(section: &Section) -> WhatIf {
    let name = section.name("name").unwrap_or_default();
    if section.find_own("name").is_none() {
        section.missing("name", "name the what-if");
    }
    if section.find_own("change").is_none() {
        section.missing("change", "say what changes: [[what_if.change]] with set, races_times …");
    }
    let amendments = section
        .tables("change", "what_if.change", MOST_AMENDMENTS)
        .iter()
        .map(|table| {
            let conditions = pairs(table, "where");
            let amendment = Amendment {
                conditions: conditions.into_iter().map(|(path, value, _)| (path, value)).collect(),
                changes: read_changes(table),
                races_times: table.number("races_times", &limits::RACES).unwrap_or(1.0),
                span: table.span.clone(),
            };
            table.finish();
            amendment
        })
        .collect();
    section.finish();
    WhatIf { name, amendments }
}

/// `set`, `add` and `remove` of a table, in this order.
pub fn read_changes(section: &Section) -> Vec<Placed> {
    let mut changes: Vec<Placed> = Vec::new();
    for (path, value, span) in pairs(section, "set") {
        changes.push(Placed { change: Change::Set { path, value }, span });
    }
    for (path, value, span) in pairs(section, "add") {
        changes.push(Placed { change: Change::Add { path, value }, span });
    }
    let Some(found) = section.find_own("remove") else { return changes };
    match found.value {
        DeValue::Array(items) if items.iter().all(|i| i.get_ref().is_str()) => {
            for item in items.iter() {
                if let DeValue::String(path) = item.get_ref() {
                    changes.push(Placed {
                        change: Change::Remove { path: path.to_string() },
                        span: item.span(),
                    });
                }
            }
        }
        _ => section.walk.note(
            section
                .walk
                .error(codes::WRONG_TYPE, &found.span, "`remove` needs a list of paths in quotes")
                .label("expected a list of text")
                .help("for example remove = [\"point.finish.line.backup\"]"),
        ),
    }
    changes
}

type Pair = (String, Value, std::ops::Range<usize>);

/// Path and value of every key of a sub-table of paths.
fn pairs(section: &Section, key: &'static str) -> Vec<Pair> {
    let Some(found) = section.find_own(key) else { return Vec::new() };
    let DeValue::Table(table) = found.value else {
        section.walk.note(
            section
                .walk
                .error(codes::WRONG_TYPE, &found.span, format!("`{key}` needs a table of paths and values"))
                .label("expected a table")
                .help(format!("for example {key} = {{ \"weather.key\" = \"rain\" }}")),
        );
        return Vec::new();
    };
    table
        .iter()
        .map(|(path, value)| (path.get_ref().to_string(), plain(value.get_ref()), value.span()))
        .collect()
}

/// The value without its places.
fn plain(value: &DeValue) -> Value {
    match value {
        DeValue::String(text) => Value::String(text.to_string()),
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .map_or_else(|_| Value::String(i.as_str().to_owned()), Value::Integer),
        DeValue::Float(f) => Value::Float(f.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(b) => Value::Boolean(*b),
        DeValue::Datetime(d) => Value::Datetime(*d),
        DeValue::Array(items) => Value::Array(items.iter().map(|i| plain(i.get_ref())).collect()),
        DeValue::Table(table) => {
            Value::Table(table.iter().map(|(k, v)| (k.get_ref().to_string(), plain(v.get_ref()))).collect())
        }
    }
}

#[cfg(test)]
#[path = "file_tests.rs"]
mod tests;
