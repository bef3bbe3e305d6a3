//! Walking a TOML document with its places kept: typed getters that collect every problem instead of stopping at
//! the first, and that remember which keys they were asked for, so that the list of allowed keys is the code itself.
//!
//! A getter that finds a problem notes it and gives `None` (or the default), and the walk goes on. What is built from a
//! walk with errors is thrown away by the loader.

use super::Assumption;
use crate::diag::{Diagnostic, Severity, Source, codes};
use crate::limits::Limit;
use crate::random::quantity::Quantity;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
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
        self.find_own(key).or_else(|| self.fallback.and_then(|f| f.find(key)))
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
            if let Some(close) = did_you_mean(name, asked.iter().copied()) {
                diagnostic = diagnostic.help(format!("did you mean `{close}`?"));
            }
            let list = asked.iter().copied().collect::<Vec<_>>().join(", ");
            self.walk.note(diagnostic.help(format!("keys of {}: {list}", self.kind)));
        }
    }

    fn wrong_type(&self, key: &str, found: &Found, wanted: &str) {
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

    fn out_of_range(&self, message: String, span: &Range<usize>, limit: &Limit, default: Option<String>) {
        let mut why = limit.why.to_owned();
        if limit.source != "our estimate" && limit.source != "definition" {
            why = format!("{why} ({})", limit.source);
        }
        let help = match default {
            Some(default) => {
                format!("choose a value in {}, or leave the key out to take {default}", limit.range())
            }
            None => format!("choose a value in {}", limit.range()),
        };
        self.walk.note(self.walk.error(codes::OUT_OF_RANGE, span, message).label(why).help(help));
    }

    pub fn number(&self, key: &'static str, limit: &Limit) -> Option<f64> {
        let found = self.find(key)?;
        self.as_limited(key, &found, limit, None)
    }

    fn as_limited(
        &self,
        key: &'static str,
        found: &Found,
        limit: &Limit,
        default: Option<String>,
    ) -> Option<f64> {
        let Some(value) = number_of(found.value) else {
            let unit = if limit.unit.is_empty() { String::new() } else { format!(" of {}", limit.unit) };
            self.wrong_type(key, found, &format!("a number{unit}"));
            return None;
        };
        match limit.check(value) {
            Ok(()) => Some(value),
            Err(message) => {
                let named = message.replacen(limit.name(), key, 1);
                self.out_of_range(named, &found.span, limit, default);
                None
            }
        }
    }

    /// A number with a default; the default is listed as assumed with its source.
    pub fn number_or(&self, key: &'static str, limit: &Limit, default: f64, source: &str) -> f64 {
        match self.find(key) {
            Some(found) => self.as_limited(key, &found, limit, Some(default.to_string())).unwrap_or(default),
            None => {
                self.walk.assume(
                    format!("{}.{key}", self.kind),
                    format!("{default} {}", limit.unit).trim_end().to_owned(),
                    source,
                );
                default
            }
        }
    }

    /// A number without a default.
    pub fn number_required(&self, key: &'static str, limit: &Limit, help: &str) -> Option<f64> {
        match self.find(key) {
            Some(found) => self.as_limited(key, &found, limit, None),
            None => {
                self.missing(key, help);
                None
            }
        }
    }

    /// A whole number within a limit.
    pub fn whole(&self, key: &'static str, limit: &Limit) -> Option<u64> {
        let found = self.find(key)?;
        match found.value {
            DeValue::Integer(_) => self.as_limited(key, &found, limit, None).map(|v| v as u64),
            _ => {
                self.wrong_type(key, &found, "a whole number");
                None
            }
        }
    }

    pub fn quantity(&self, key: &'static str, limit: &Limit) -> Option<Quantity> {
        let found = self.find(key)?;
        let quantity = self.as_quantity(key, &found)?;
        match super::quantity::check(limit, &quantity) {
            Ok(()) => Some(quantity),
            Err(message) => {
                let named = message.replacen(limit.name(), key, 1);
                self.out_of_range(named, &found.span, limit, None);
                None
            }
        }
    }

    fn as_quantity(&self, key: &str, found: &Found) -> Option<Quantity> {
        if let Some(value) = number_of(found.value) {
            return Some(Quantity::Pinned(value));
        }
        let DeValue::Table(table) = found.value else {
            self.wrong_type(key, found, super::quantity::FORMS);
            return None;
        };
        let parts: Vec<_> =
            table.iter().map(|(k, v)| (k.get_ref().as_ref(), number_of(v.get_ref()))).collect();
        match super::quantity::from_parts(&parts) {
            Ok(quantity) => Some(quantity),
            Err(message) => {
                self.walk.note(
                    self.walk
                        .error(codes::QUANTITY_FORM, &found.span, format!("`{key}`: {message}"))
                        .label("not a distribution")
                        .help(format!("write {}", super::quantity::FORMS)),
                );
                None
            }
        }
    }

    /// A quantity with a default; the default is listed as assumed with its source.
    pub fn quantity_or(&self, key: &'static str, limit: &Limit, default: Quantity, source: &str) -> Quantity {
        if self.find(key).is_some() {
            return self.quantity(key, limit).unwrap_or(default);
        }
        let value = format!("{default} {}", limit.unit).trim_end().to_owned();
        self.walk.assume(format!("{}.{key}", self.kind), value, source);
        default
    }

    /// A belief: listed as assumed whether it is the default or the user's own.
    pub fn belief(&self, key: &'static str, limit: &Limit, default: Quantity, source: &str) -> Quantity {
        if self.find(key).is_none() {
            return self.quantity_or(key, limit, default, source);
        }
        let quantity = self.quantity(key, limit).unwrap_or(default);
        let value = format!("{quantity} {}", limit.unit).trim_end().to_owned();
        self.walk.assume(format!("{}.{key}", self.kind), value, "set in the scenario");
        quantity
    }

    pub fn boolean(&self, key: &'static str) -> Option<bool> {
        let found = self.find(key)?;
        match found.value {
            DeValue::Boolean(value) => Some(*value),
            _ => {
                self.wrong_type(key, &found, "true or false");
                None
            }
        }
    }

    pub fn text(&self, key: &'static str) -> Option<String> {
        let found = self.find(key)?;
        match found.value {
            DeValue::String(text) => Some(text.to_string()),
            _ => {
                self.wrong_type(key, &found, "text in quotes");
                None
            }
        }
    }

    /// A short name of this very table: not empty, no control characters, at most 80 characters.
    pub fn name(&self, key: &'static str) -> Option<String> {
        let found = self.find_own(key)?;
        let DeValue::String(text) = found.value else {
            self.wrong_type(key, &found, "text in quotes");
            return None;
        };
        let trouble = if text.trim().is_empty() {
            "is empty"
        } else if text.chars().any(char::is_control) {
            "holds a control character"
        } else if text.chars().count() > 80 {
            "is longer than 80 characters"
        } else {
            return Some(text.to_string());
        };
        self.walk.note(
            self.walk
                .error(codes::NAME_BAD, &found.span, format!("`{key}` {trouble}"))
                .label("names appear in reports and tables")
                .help("choose a short name in plain text"),
        );
        None
    }

    /// One of the choices; `None` when not set or wrong (reported).
    pub fn choice<T: Copy>(&self, key: &'static str, choices: &[(&'static str, T)]) -> Option<T> {
        let found = self.find(key)?;
        let DeValue::String(text) = found.value else {
            self.wrong_type(key, &found, "text in quotes");
            return None;
        };
        let chosen = choices.iter().find(|(name, _)| name == text).map(|(_, value)| *value);
        if chosen.is_none() {
            self.unknown_choice(key, &found.span, text, choices.iter().map(|(name, _)| *name));
        }
        chosen
    }

    pub fn unknown_choice<'a>(
        &self,
        key: &str,
        span: &Range<usize>,
        text: &str,
        choices: impl Iterator<Item = &'a str> + Clone,
    ) {
        let mut diagnostic = self
            .walk
            .error(codes::UNKNOWN_CHOICE, span, format!("`{key}` = \"{text}\" is not a choice"))
            .label("not one of the choices");
        if let Some(close) = did_you_mean(text, choices.clone()) {
            diagnostic = diagnostic.help(format!("did you mean \"{close}\"?"));
        }
        let list = choices.collect::<Vec<_>>().join(", ");
        self.walk.note(diagnostic.help(format!("choices: {list}")));
    }

    /// A list of numbers, each within the limit.
    pub fn numbers(&self, key: &'static str, limit: &Limit) -> Option<Vec<f64>> {
        let found = self.find(key)?;
        self.numbers_of(key, &found, limit)
    }

    pub fn numbers_of(&self, key: &'static str, found: &Found<'w>, limit: &Limit) -> Option<Vec<f64>> {
        let DeValue::Array(items) = found.value else {
            self.wrong_type(key, found, "a list of numbers");
            return None;
        };
        let values: Vec<_> = items
            .iter()
            .map(|item| {
                let found = Found { value: item.get_ref(), span: item.span() };
                self.as_limited(key, &found, limit, None)
            })
            .collect();
        values.into_iter().collect()
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

    /// A list of tables (`[[key]]`), with a bound on their number. Missing counts as empty.
    pub fn tables(&self, key: &'static str, kind: &'static str, most: usize) -> Vec<Section<'w>> {
        let Some(found) = self.find_own(key) else { return Vec::new() };
        let DeValue::Array(items) = found.value else {
            self.wrong_type(key, &found, &format!("a list of tables [[{key}]]"));
            return Vec::new();
        };
        if items.len() > most {
            self.walk.note(
                self.walk
                    .error(
                        codes::COUNT,
                        &found.span,
                        format!("{} entries of `{key}`, at most {most}", items.len()),
                    )
                    .label("too many")
                    .help("split the scenario"),
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
}

/// A TOML number as f64; integers too large for i64 come out as infinite.
fn number_of(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Float(f) => Some(f.as_str().parse().unwrap_or(f64::INFINITY)),
        DeValue::Integer(i) => {
            Some(i64::from_str_radix(i.as_str(), i.radix()).map_or(f64::INFINITY, |v| v as f64))
        }
        _ => None,
    }
}

fn type_words(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The closest option, when it is close enough to be meant.
pub fn did_you_mean<'a>(word: &str, options: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > 60 {
        return None;
    }
    options
        .map(|option| {
            let stem = word.len() >= 3 && (option.starts_with(word) || word.starts_with(option));
            (if stem { 0.95 } else { strsim::normalized_damerau_levenshtein(word, option) }, option)
        })
        .filter(|(likeness, _)| *likeness >= 0.55)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, option)| option)
}
