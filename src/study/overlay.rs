//! Overlays: a few changed keys laid over a scenario, by path, instead of a copy of the file.
//!
//! A path names keys from the top of the file, separated by dots: `weather.key`. In a list of tables a part of the path is the
//! `name` of one entry (`point.finish.line.main`), its number counted from 1, or `*` for all of them (`point.*.target`). A part that holds a dot is
//! put in single quotes (`point.'10.5 km'.target`). The last part may be new; everything before it must exist.

use toml::{Table, Value};

/// One change of a scenario.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Sets a key to a value (replaces what was there).
    Set { path: String, value: Value },
    /// Adds an entry to the list at the path.
    Add { path: String, value: Value },
    /// Removes a key or a named entry of a list.
    Remove { path: String },
}

impl Change {
    pub fn path(&self) -> &str {
        match self {
            Change::Set { path, .. } | Change::Add { path, .. } | Change::Remove { path } => path,
        }
    }
    pub fn words(&self) -> String {
        match self {
            Change::Set { path, value } => format!("{path} = {value}"),
            Change::Add { path, value } => {
                let name = value.get("name").and_then(Value::as_str).unwrap_or("entry");
                format!("{name} added to {path}")
            }
            Change::Remove { path } => format!("{path} removed"),
        }
    }
}

/// Why a change cannot be made: lower case, no final period.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    #[error("the path {path:?} is empty or has an open quote")]
    BadPath { path: String },
    #[error("{part:?} of the path {path:?} is not in the scenario (there: {there})")]
    NotFound { path: String, part: String, there: String },
    #[error("{part:?} of the path {path:?} is not a table or a list of tables")]
    NotATable { path: String, part: String },
}

/// Parts of a path; quotes keep dots together.
pub(super) fn parts(path: &str) -> Result<Vec<String>, Refused> {
    let mut parts = vec![String::new()];
    let mut quoted = false;
    for c in path.chars() {
        match c {
            '\'' => quoted = !quoted,
            '.' if !quoted => parts.push(String::new()),
            c => parts.last_mut().expect("never empty").push(c),
        }
    }
    if quoted || parts.iter().any(String::is_empty) {
        return Err(Refused::BadPath { path: path.to_owned() });
    }
    Ok(parts)
}

/// Makes one change; the table is untouched when it is refused at the first step and may be half changed when a `*` fails
/// later, so work on a copy.
pub fn apply(table: &mut Table, change: &Change) -> Result<(), Refused> {
    let path = change.path();
    let parts = parts(path)?;
    let (last, before) = parts.split_last().expect("at least one part");
    if let (Change::Remove { .. }, Some((list, before))) = (change, before.split_last()) {
        let mut removed = Ok(false);
        within(table, before, path, &mut |table| {
            removed = remove_named(table, list, last, path);
            Ok(())
        })?;
        if removed? {
            return Ok(());
        }
    }
    within(table, before, path, &mut |table| at_end(table, last, change, path))
}

type Visit<'a> = &'a mut dyn FnMut(&mut Table) -> Result<(), Refused>;

/// Calls `visit` on every table the parts lead to.
fn within(table: &mut Table, parts: &[String], path: &str, visit: Visit) -> Result<(), Refused> {
    let Some((first, rest)) = parts.split_first() else { return visit(table) };
    let there = keys_of(table);
    let Some(value) = table.get_mut(first) else {
        return Err(Refused::NotFound { path: path.to_owned(), part: first.clone(), there });
    };
    match value {
        Value::Table(inner) => within(inner, rest, path, visit),
        Value::Array(entries) => {
            let Some((name, rest)) = rest.split_first() else {
                return Err(Refused::NotATable { path: path.to_owned(), part: first.clone() });
            };
            let there = names_of(entries);
            let mut found = false;
            for (_, entry) in entries.iter_mut().enumerate().filter(|(i, entry)| is_named(entry, *i, name)) {
                found = true;
                let Value::Table(inner) = entry else {
                    return Err(Refused::NotATable { path: path.to_owned(), part: first.clone() });
                };
                within(inner, rest, path, visit)?;
            }
            if found {
                Ok(())
            } else {
                Err(Refused::NotFound { path: path.to_owned(), part: name.clone(), there })
            }
        }
        _ => Err(Refused::NotATable { path: path.to_owned(), part: first.clone() }),
    }
}

/// Removes a named entry of a list; `false` when there is no such list.
fn remove_named(table: &mut Table, list: &str, name: &str, path: &str) -> Result<bool, Refused> {
    let Some(Value::Array(entries)) = table.get_mut(list) else { return Ok(false) };
    let there = names_of(entries);
    let before = entries.len();
    let mut number = 0;
    entries.retain(|entry| {
        number += 1;
        !is_named(entry, number - 1, name)
    });
    if entries.len() == before {
        return Err(Refused::NotFound { path: path.to_owned(), part: name.to_owned(), there });
    }
    Ok(true)
}

fn at_end(table: &mut Table, last: &str, change: &Change, path: &str) -> Result<(), Refused> {
    match change {
        Change::Set { value, .. } => {
            table.insert(last.to_owned(), value.clone());
            Ok(())
        }
        Change::Add { value, .. } => {
            match table.entry(last.to_owned()).or_insert_with(|| Value::Array(Vec::new())) {
                Value::Array(entries) => {
                    entries.push(value.clone());
                    Ok(())
                }
                _ => Err(Refused::NotATable { path: path.to_owned(), part: last.to_owned() }),
            }
        }
        Change::Remove { .. } => match table.remove(last) {
            Some(_) => Ok(()),
            None => {
                Err(Refused::NotFound { path: path.to_owned(), part: last.to_owned(), there: keys_of(table) })
            }
        },
    }
}

fn is_named(entry: &Value, index: usize, name: &str) -> bool {
    name == "*"
        || entry.get("name").and_then(Value::as_str) == Some(name)
        || name.parse::<usize>().is_ok_and(|number| number == index + 1)
}

fn keys_of(table: &Table) -> String {
    table.keys().cloned().collect::<Vec<_>>().join(", ")
}

fn names_of(entries: &[Value]) -> String {
    entries
        .iter()
        .filter_map(|entry| entry.get("name").and_then(Value::as_str))
        .collect::<Vec<_>>()
        .join(", ")
}

/// Value at a path (no `*`), for conditions.
pub fn value_at<'t>(table: &'t Table, path: &str) -> Option<&'t Value> {
    let parts = parts(path).ok()?;
    let (first, rest) = parts.split_first()?;
    rest.iter().try_fold(table.get(first)?, |value, part| match value {
        Value::Table(inner) => inner.get(part),
        Value::Array(entries) => {
            entries.iter().enumerate().find(|(i, entry)| is_named(entry, *i, part)).map(|(_, entry)| entry)
        }
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCENARIO: &str = r#"
        region = "us"
        [weather]
        key = "dry"
        [[point]]
        name = "10.5 km"
        target = 0.99
        [[point]]
        name = "finish"
        target = 0.998
        [[point.line]]
        name = "main"
        [[point.line]]
        name = "backup"
    "#;

    fn changed(change: Change) -> Result<Table, Refused> {
        let mut table: Table = SCENARIO.parse().expect("valid");
        apply(&mut table, &change).map(|()| table)
    }
    fn set(path: &str, value: impl Into<Value>) -> Result<Table, Refused> {
        changed(Change::Set { path: path.into(), value: value.into() })
    }

    #[test]
    fn sets_by_key_by_name_and_for_all() {
        assert_eq!(value_at(&set("region", "eu").unwrap(), "region"), Some(&"eu".into()));
        assert_eq!(value_at(&set("weather.key", "rain").unwrap(), "weather.key"), Some(&"rain".into()));
        let table = set("point.'10.5 km'.target", 0.5).unwrap();
        assert_eq!(value_at(&table, "point.'10.5 km'.target"), Some(&0.5.into()));
        assert_eq!(value_at(&table, "point.finish.target"), Some(&0.998.into()));
        let table = set("point.*.target", 0.5).unwrap();
        assert_eq!(value_at(&table, "point.finish.target"), Some(&0.5.into()));
        let table = set("point.finish.line.main.x_m", 2.0).unwrap();
        assert_eq!(value_at(&table, "point.finish.line.main.x_m"), Some(&2.0.into()));
        assert_eq!(value_at(&table, "point.finish.line.backup.x_m"), None);
        let table = set("point.2.line.1.x_m", 2.0).unwrap();
        assert_eq!(value_at(&table, "point.finish.line.main.x_m"), Some(&2.0.into()));
    }

    #[test]
    fn adds_and_removes() {
        let mut line = Table::new();
        line.insert("name".into(), "third".into());
        let table = changed(Change::Add { path: "point.finish.line".into(), value: line.into() }).unwrap();
        assert!(value_at(&table, "point.finish.line.third").is_some());
        let table = changed(Change::Remove { path: "weather.key".into() }).unwrap();
        assert_eq!(value_at(&table, "weather.key"), None);
        let remove = |path: &str| changed(Change::Remove { path: path.into() });
        let table = remove("point.finish.line.backup").unwrap();
        assert!(value_at(&table, "point.finish.line.backup").is_none());
        assert!(value_at(&table, "point.finish.line.main").is_some());
        assert!(matches!(remove("point.finish.line.third"), Err(Refused::NotFound { .. })));
        assert!(value_at(&remove("region").unwrap(), "region").is_none());
    }

    #[test]
    fn says_what_is_there_when_a_path_leads_nowhere() {
        assert_eq!(
            set("point.start.target", 0.5).unwrap_err().to_string(),
            "\"start\" of the path \"point.start.target\" is not in the scenario (there: 10.5 km, finish)"
        );
        assert!(matches!(set("wether.key", "rain"), Err(Refused::NotFound { .. })));
        assert!(matches!(set("region.key.x", "rain"), Err(Refused::NotATable { .. })));
        assert!(matches!(set("a..b", 1), Err(Refused::BadPath { .. })));
        assert!(matches!(set("a.'b", 1), Err(Refused::BadPath { .. })));
        assert!(matches!(
            changed(Change::Remove { path: "weather.rain".into() }),
            Err(Refused::NotFound { .. })
        ));
    }
}
