//! Typed getters of a table: numbers within their limits, quantities, choices, names.
//!
//! A getter that finds a problem notes it and gives `None` (or the default), and the walk goes on.

use super::quantity::{self, FORMS};
use super::walk::{Found, Section, did_you_mean};
use crate::diag::codes;
use crate::limits::{self, Limit};
use crate::random::quantity::Quantity;
use std::ops::Range;
use toml::de::DeValue;

impl<'w> Section<'w> {
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
            let unit = if limit.unit.is_empty() { String::new() } else { format!(" ({})", limit.unit) };
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
        match quantity::check(limit, &quantity) {
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
            self.wrong_type(key, found, FORMS);
            return None;
        };
        let parts: Vec<_> =
            table.iter().map(|(k, v)| (k.get_ref().as_ref(), number_of(v.get_ref()))).collect();
        match quantity::from_parts(&parts) {
            Ok(quantity) => Some(quantity),
            Err(message) => {
                self.walk.note(
                    self.walk
                        .error(codes::QUANTITY_FORM, &found.span, format!("`{key}`: {message}"))
                        .label("not a distribution")
                        .help(format!("write {}", FORMS)),
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
        self.as_boolean(key, &self.find(key)?)
    }

    /// The same, but of this very table only.
    pub fn boolean_own(&self, key: &'static str) -> Option<bool> {
        self.as_boolean(key, &self.find_own(key)?)
    }

    fn as_boolean(&self, key: &str, found: &Found) -> Option<bool> {
        match found.value {
            DeValue::Boolean(value) => Some(*value),
            _ => {
                self.wrong_type(key, found, "true or false");
                None
            }
        }
    }

    pub fn text(&self, key: &'static str) -> Option<String> {
        let found = self.find(key)?;
        match found.value {
            DeValue::String(text) if text.chars().count() > limits::MOST_TEXT => {
                let message = format!("`{key}` is longer than {} characters", limits::MOST_TEXT);
                self.walk.note(
                    self.walk
                        .error(codes::NAME_BAD, &found.span, message)
                        .label("shown in every report")
                        .help("say it shorter; a document of your own has room for the rest"),
                );
                None
            }
            DeValue::String(text) => Some(text.to_string()),
            _ => {
                self.wrong_type(key, &found, "text in quotes");
                None
            }
        }
    }

    /// A list of names of this very table.
    pub fn names(&self, key: &'static str) -> Option<Vec<String>> {
        let found = self.find_own(key)?;
        let DeValue::Array(items) = found.value else {
            self.wrong_type(key, &found, "a list of names");
            return None;
        };
        let names: Vec<String> = items
            .iter()
            .filter_map(|item| match item.get_ref() {
                DeValue::String(text) => Some(text.to_string()),
                _ => None,
            })
            .collect();
        if names.len() != items.len() {
            self.wrong_type(key, &found, "a list of names in quotes");
            return None;
        }
        Some(names)
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
        } else if text.chars().count() > limits::MOST_NAME {
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
