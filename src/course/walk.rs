//! Walking a TOML document with its places kept: typed getters that collect every problem instead of
//! stopping at the first, and that remember which keys they were asked for, so that the list of allowed
//! keys is the code itself.
//!
//! A getter that finds a problem notes it and gives `None` (or the default), and the walk goes on. What is
//! built from a walk with errors is thrown away by the loader.

use super::Assumption;
use crate::diag::{Diagnostic, Severity, Source, codes};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::{Range, RangeInclusive};
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// What one walk found.
pub struct Walk {
    pub source: Arc<Source>,
    found: RefCell<Vec<Diagnostic>>,
    assumed: RefCell<Vec<Assumption>>,
    /// Keys asked for, by kind of table.
    pub known: RefCell<BTreeMap<&'static str, BTreeSet<&'static str>>>,
}

impl Walk {
    pub fn new(source: Arc<Source>) -> Walk {
        Walk { source, found: Default::default(), assumed: Default::default(), known: Default::default() }
    }

    pub fn note(&self, diagnostic: Diagnostic) {
        self.found.borrow_mut().push(diagnostic);
    }

    pub fn error(&self, code: &'static str, span: &Range<usize>, message: impl Into<String>) -> Diagnostic {
        Diagnostic::error(code, message).at(&self.source, span.clone())
    }

    pub fn has_errors(&self) -> bool {
        self.found.borrow().iter().any(|d| d.severity == Severity::Error)
    }

    /// Lists a value nobody measured (once per kind of table, key and value).
    pub fn assume(&self, what: String, value: String, source: &str) {
        let assumption = Assumption { what, value, source: source.to_owned() };
        let mut assumed = self.assumed.borrow_mut();
        if !assumed.contains(&assumption) {
            assumed.push(assumption);
        }
    }

    pub fn take_assumptions(&self) -> Vec<Assumption> {
        self.assumed.take()
    }

    /// Everything found, in the order of the file, each problem once.
    pub fn take_found(&self) -> Vec<Diagnostic> {
        let mut found = self.found.take();
        found.sort_by_key(|d| (d.span.as_ref().map_or(0, |s| s.start), d.code));
        let mut seen = BTreeSet::new();
        found.retain(|d| {
            seen.insert((d.span.as_ref().map_or(0, |s| s.start), d.code, d.message.clone(), d.label.clone()))
        });
        found
    }
}

/// One value with its place.
#[derive(Clone)]
pub struct Found<'w> {
    pub value: &'w DeValue<'w>,
    pub span: Range<usize>,
}

const NESTING: &str = "a point has lines, a line has readers, a reader has antennas: [[point]], [[point.line]], [[point.line.reader]], antenna = [{ ... }]";

/// Keys of earlier versions, and keys one level too high: kind of table, key, what stands in its place.
const REMOVED: [(&str, &str, &str); 6] = [
    ("point", "antenna", NESTING),
    ("point", "reader", NESTING),
    ("line", "antenna", NESTING),
    (
        "beliefs",
        "rician_k_db",
        "removed: K is now a result, printed for each point; say how strongly the surroundings scatter by `scatter_loss_db` (default -8 to 4)",
    ),
    (
        "beliefs",
        "rear_floor_db",
        "removed: what reaches a tag behind the body now comes from the series of a lossy cylinder; `torso_radius_m` sets its size",
    ),
    ("beliefs", "diffuse_excess_path_m", "renamed: write `scatter_detour_m`"),
];

/// One table being read.
pub struct Section<'w> {
    pub walk: &'w Walk,
    /// Kind of table, as in `[kind]`.
    pub kind: &'static str,
    table: Option<&'w DeTable<'w>>,
    pub span: Range<usize>,
    /// Where keys come from that this table does not set.
    fallback: Option<&'w Section<'w>>,
    asked: RefCell<BTreeSet<&'static str>>,
    /// Not a table at all: already reported, so missing keys are not.
    broken: bool,
}

impl<'w> Section<'w> {
    pub fn root(walk: &'w Walk, table: &'w DeTable<'w>) -> Section<'w> {
        Section::root_of(walk, "scenario", table)
    }

    /// Top of a file of another kind.
    pub fn root_of(walk: &'w Walk, kind: &'static str, table: &'w DeTable<'w>) -> Section<'w> {
        Section::new(walk, kind, Some(table), 0..0)
    }

    fn new(
        walk: &'w Walk,
        kind: &'static str,
        table: Option<&'w DeTable<'w>>,
        span: Range<usize>,
    ) -> Section<'w> {
        Section { walk, kind, table, span, fallback: None, asked: Default::default(), broken: false }
    }

    pub fn with_fallback(mut self, fallback: &'w Section<'w>) -> Section<'w> {
        self.fallback = Some(fallback);
        self
    }

    pub fn is_present(&self) -> bool {
        self.table.is_some()
    }

    /// The value of a key of this very table.
    pub fn find_own(&self, key: &'static str) -> Option<Found<'w>> {
        self.asked.borrow_mut().insert(key);
        let (_, value) = self.table?.iter().find(|(k, _)| k.get_ref() == key)?;
        Some(Found { value: value.get_ref(), span: value.span() })
    }

    /// The value of a key, or of the same key in the fallback.
    pub fn find(&self, key: &'static str) -> Option<Found<'w>> {
        // The fallback is asked in any case, so that it learns which keys it may hold.
        let fallback = self.fallback.and_then(|f| f.find(key));
        self.find_own(key).or(fallback)
    }

    /// Reports every key nobody asked for. To be called once everything is read.
    pub fn finish(&self) {
        let asked = self.asked.borrow();
        self.walk.known.borrow_mut().entry(self.kind).or_default().extend(asked.iter());
        for (key, _) in self.table.into_iter().flat_map(|t| t.iter()) {
            let name: &str = key.get_ref();
            if asked.contains(name) {
                continue;
            }
            let mut diagnostic = self
                .walk
                .error(codes::KEY_UNKNOWN, &key.span(), format!("unknown key `{name}` in {}", self.kind))
                .label("not a key of this table");
            if let Some((_, _, instead)) =
                REMOVED.iter().find(|(kind, key, _)| (*kind, *key) == (self.kind, name))
            {
                self.walk.note(diagnostic.help(*instead));
                continue;
            }
            if let Some(close) = did_you_mean(name, asked.iter().copied()) {
                diagnostic = diagnostic.help(format!("did you mean `{close}`?"));
            }
            let list = asked.iter().copied().collect::<Vec<_>>().join(", ");
            self.walk.note(diagnostic.help(format!("keys of {}: {list}", self.kind)));
        }
    }

    /// Reports a key without a default that is not set.
    pub fn missing(&self, key: &str, help: impl Into<String>) {
        if self.broken {
            return;
        }
        self.walk.note(
            self.walk
                .error(codes::KEY_MISSING, &self.span, format!("`{key}` is not set in {}", self.kind))
                .label("here")
                .help(help),
        );
    }

    /// A sub-table; absent: a table where nothing is set.
    pub fn table(&self, key: &'static str, kind: &'static str) -> Section<'w> {
        match self.find_own(key) {
            None => Section::new(self.walk, kind, None, self.span.clone()),
            Some(found) => self.section_of(key, &found, kind),
        }
    }

    /// A value as a table (reported when it is none).
    pub fn section_of(&self, key: &str, found: &Found<'w>, kind: &'static str) -> Section<'w> {
        let mut section = Section::new(self.walk, kind, None, found.span.clone());
        match found.value {
            DeValue::Table(table) => section.table = Some(table),
            _ => {
                self.wrong_type(key, found, &format!("a table [{kind}]"));
                section.broken = true;
            }
        }
        section
    }

    /// A list of tables (`[[key]]`), at most `most`. Missing counts as empty and is not reported.
    pub fn tables(&self, key: &'static str, kind: &'static str, most: usize) -> Vec<Section<'w>> {
        self.tables_in(key, kind, 0..=most)
    }

    /// A list of tables (`[[key]]`) whose number lies in `count`. Missing counts as empty and is not reported.
    pub fn tables_in(
        &self,
        key: &'static str,
        kind: &'static str,
        count: RangeInclusive<usize>,
    ) -> Vec<Section<'w>> {
        let Some(found) = self.find_own(key) else { return Vec::new() };
        let DeValue::Array(items) = found.value else {
            self.wrong_type(key, &found, &format!("a list of tables [[{key}]]"));
            return Vec::new();
        };
        if !count.contains(&items.len()) {
            self.walk.note(
                self.walk
                    .error(
                        codes::COUNT,
                        &found.span,
                        format!(
                            "{} entries of `{key}`, allowed are {} to {}",
                            items.len(),
                            count.start(),
                            count.end()
                        ),
                    )
                    .label(if items.is_empty() { "none" } else { "too many" })
                    .help(if items.is_empty() { "add one" } else { "split the scenario" }),
            );
            return Vec::new();
        }
        items
            .iter()
            .map(|item| self.section_of(key, &Found { value: item.get_ref(), span: item.span() }, kind))
            .collect()
    }

    /// Reports two keys of this table that contradict each other.
    pub fn conflict(&self, key: &'static str, other: &'static str, message: &str, help: &str) {
        if let (Some(a), Some(b)) = (self.find(key), self.find(other)) {
            self.walk.note(
                self.walk
                    .error(codes::KEY_CONFLICT, &a.span, message)
                    .label("this")
                    .also(b.span, "and this")
                    .help(help),
            );
        }
    }

    pub(super) fn wrong_type(&self, key: &str, found: &Found, wanted: &str) {
        self.walk.note(
            self.walk
                .error(
                    codes::WRONG_TYPE,
                    &found.span,
                    format!("`{key}` needs {wanted}, found {}", type_words(found.value)),
                )
                .label(format!("expected {wanted}")),
        );
    }
}

fn type_words(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a decimal number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// What people write for a key or choice: the first that is an option is meant.
const SPOKEN: [(&str, &[&str]); 22] = [
    ("us", &["usa"]),
    ("united states", &["usa"]),
    ("america", &["usa"]),
    ("fcc", &["usa"]),
    ("eu", &["eu_lower"]),
    ("europe", &["eu_lower"]),
    ("etsi", &["eu_lower"]),
    ("uk", &["eu_lower"]),
    ("belt", &["front_low"]),
    ("waist", &["front_low"]),
    ("chest", &["front_high"]),
    ("front", &["front_high"]),
    ("hip", &["side"]),
    ("jacket", &["covered"]),
    ("poncho", &["covered"]),
    ("panel", &["side_panel"]),
    ("gantry", &["overhead"]),
    ("floor", &["mat"]),
    ("wet", &["rain"]),
    ("sunny", &["dry"]),
    ("storm", &["downpour"]),
    ("power", &["power_dbm"]),
];

/// The closest option, when it is close enough to be meant.
pub fn did_you_mean<'a>(word: &str, options: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > 60 {
        return None;
    }
    let word = word.to_lowercase();
    let word = word.as_str();
    let options: Vec<&str> = options.collect();
    let spoken = SPOKEN.iter().filter(|(said, _)| *said == word).flat_map(|(_, meant)| *meant);
    if let Some(option) = spoken.filter_map(|meant| options.iter().find(|o| *o == meant)).next() {
        return Some(option);
    }
    options
        .into_iter()
        .map(|option| {
            let stem = word.len() >= 3 && (option.starts_with(word) || word.starts_with(option));
            (if stem { 0.95 } else { strsim::normalized_damerau_levenshtein(word, option) }, option)
        })
        .filter(|(likeness, _)| *likeness >= 0.55)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, option)| option)
}

#[cfg(test)]
mod tests {
    use super::did_you_mean;

    #[test]
    fn what_people_write_is_understood() {
        let regions = || ["eu_lower", "eu_upper", "usa", "canada"].into_iter();
        for (word, meant) in
            [("USA", "usa"), ("us", "usa"), ("europe", "eu_lower"), ("EU", "eu_lower"), ("cnada", "canada")]
        {
            assert_eq!(did_you_mean(word, regions()), Some(meant), "{word}");
        }
        let placements = || ["front_high", "front_low", "side", "back"].into_iter();
        assert_eq!(did_you_mean("belt", placements()), Some("front_low"));
        assert_eq!(did_you_mean("mars", regions()), None);
    }
}
