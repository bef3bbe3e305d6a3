//! A change of a scenario made in its text, so that comments and order stay.
//!
//! Paths are those of `overlay`, without `*`; here a whole number is always a place in a list, counted from 1, so that a name made of
//! digits moves nothing else.

use super::overlay::{Refused, parts};
use toml_edit::{DocumentMut, Item, TableLike, Value};

/// Sets one key. The last part may be new; everything before it must exist.
pub fn set(document: &mut DocumentMut, path: &str, value: Value) -> Result<(), Refused> {
    let parts = parts(path)?;
    let (last, before) = parts.split_last().expect("at least one part");
    let mut table: &mut dyn TableLike = document.as_table_mut();
    let mut rest = before.iter();
    while let Some(part) = rest.next() {
        let there = table.iter().map(|(key, _)| key.to_owned()).collect::<Vec<_>>().join(", ");
        let missing = || Refused::NotFound { path: path.to_owned(), part: part.clone(), there };
        let item = table.get_mut(part).ok_or_else(missing)?;
        table = if item.is_array() || item.is_array_of_tables() {
            let entry = rest.next().ok_or_else(|| no_table(path, part))?;
            entry_of(item, entry).ok_or_else(|| no_table(path, entry))?
        } else {
            item.as_table_like_mut().ok_or_else(|| no_table(path, part))?
        };
    }
    match table.get_mut(last) {
        None => {
            table.insert(last, Item::Value(value));
        }
        Some(Item::Value(old)) => {
            // The comment behind a value is part of its surroundings.
            let around = old.decor().clone();
            *old = value;
            *old.decor_mut() = around;
        }
        Some(_) => return Err(no_table(path, last)),
    }
    Ok(())
}

fn no_table(path: &str, part: &str) -> Refused {
    Refused::NotATable { path: path.to_owned(), part: part.to_owned() }
}

fn entry_of<'d>(list: &'d mut Item, entry: &str) -> Option<&'d mut dyn TableLike> {
    let number = entry.parse::<usize>().ok();
    let named = |table: &dyn TableLike| table.get("name").and_then(Item::as_str) == Some(entry);
    match list {
        Item::ArrayOfTables(list) => {
            let at = match number {
                Some(n) => n.checked_sub(1)?,
                None => list.iter().position(|table| named(table))?,
            };
            list.get_mut(at).map(|table| table as &mut dyn TableLike)
        }
        Item::Value(Value::Array(list)) => {
            let at = match number {
                Some(n) => n.checked_sub(1)?,
                None => list.iter().position(|v| v.as_inline_table().is_some_and(|table| named(table)))?,
            };
            list.get_mut(at)?.as_inline_table_mut().map(|table| table as &mut dyn TableLike)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# first\nruns = 1 # behind\n\n[[point]] # head\nname = \"a.b\"\nantenna = [\n  { name = \"2\", y_m = 1.0 }, # one\n  { name = \"x\", y_m = 2.0 },\n]\n";

    #[test]
    fn only_the_value_changes() {
        let mut document: DocumentMut = TEXT.parse().unwrap();
        set(&mut document, "point.'a.b'.antenna.2.y_m", 3.5.into()).unwrap();
        set(&mut document, "runs", 7.into()).unwrap();
        let wanted = TEXT.replace("y_m = 2.0", "y_m = 3.5").replace("runs = 1", "runs = 7");
        assert_eq!(document.to_string(), wanted);
        set(&mut document, "point.1.antenna.x.z_m", 1.5.into()).unwrap();
        assert!(document.to_string().contains("z_m = 1.5"));
    }

    #[test]
    fn what_is_not_there_is_refused() {
        let mut document: DocumentMut = TEXT.parse().unwrap();
        for path in ["", "none.a", "point.0.name", "point.2.name", "runs.a", "point.1.antenna.9.y_m", "point"]
        {
            assert!(set(&mut document, path, 1.into()).is_err(), "{path}");
        }
        assert_eq!(document.to_string(), TEXT);
    }
}
