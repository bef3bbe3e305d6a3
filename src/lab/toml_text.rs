//! TOML text to a typed value with every unknown key reported, and the place of any key for later checks.
//!
//! The TOML reader stops at its first complaint. To show all unknown keys of a file at once, the key just
//! complained about is turned into a comment (same length, so every offset stays) and the text is read again.

use crate::diag::{Diagnostic, Source, codes};
use serde::de::DeserializeOwned;
use std::ops::Range;
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// Reads the text as `T` (which should deny unknown fields) or reports what is wrong, in the order of the text.
pub fn read<T: DeserializeOwned>(source: &Arc<Source>) -> Result<T, Vec<Diagnostic>> {
    collect(source).map_err(|mut found| {
        found.sort_by_key(|d| d.span.as_ref().map_or(0, |span| span.start));
        found
    })
}

fn collect<T: DeserializeOwned>(source: &Arc<Source>) -> Result<T, Vec<Diagnostic>> {
    let mut text = source.text.clone();
    let mut found: Vec<Diagnostic> = Vec::new();
    let last = super::problems::MAX_SHOWN;
    loop {
        let error = match toml::from_str::<T>(&text) {
            Ok(value) if found.is_empty() => return Ok(value),
            Ok(_) => return Err(found),
            Err(error) => error,
        };
        let span = error.span().unwrap_or(0..0);
        let unknown = error.message().starts_with("unknown field");
        if !found.is_empty() && !unknown {
            // It may only be wrong because a key was taken out above.
            return Err(found);
        }
        let code = if unknown { codes::KEY_UNKNOWN } else { codes::TOML_SYNTAX };
        let message = error.message().trim().replace('\n', "; ");
        found.push(Diagnostic::error(code, message).at(source, span.clone()));
        let one_line = !text[span.clone()].contains('\n');
        let starts_line = text[..span.start].rsplit('\n').next().is_some_and(|head| head.trim().is_empty());
        if !unknown || !one_line || !starts_line || span.is_empty() || found.len() >= last {
            return Err(found);
        }
        let first = text[span.start..].chars().next().map_or(1, char::len_utf8);
        text.replace_range(span.start..span.start + first, &"#".repeat(first));
    }
}

/// Place of the value at a path such as `["spread", "offset_prior_db"]`; of the whole text when there is none.
pub fn place(source: &Source, path: &[&str]) -> Range<usize> {
    let Ok(root) = DeTable::parse(&source.text) else { return 0..0 };
    let mut table: &DeTable<'_> = root.get_ref();
    let mut span = 0..0;
    for key in path {
        let Some(value) = table.get(*key) else { return span };
        span = value.span();
        match value.get_ref() {
            DeValue::Table(inner) => table = inner,
            _ => return span,
        }
    }
    span
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(serde::Deserialize, Debug)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct Small {
        name: String,
        inner: Option<Inner>,
    }
    #[derive(serde::Deserialize, Debug)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct Inner {
        depth_m: f64,
    }

    #[test]
    fn every_unknown_key_is_reported_with_its_place() {
        let source = Source::new("a.toml", "name = \"x\"\nnmae = 1\ncolour = 2\n");
        let found = read::<Small>(&source).expect_err("two unknown keys");
        let places: Vec<_> = found.iter().map(|d| d.place().expect("placed")).collect();
        assert_eq!(places, ["a.toml:2:1", "a.toml:3:1"]);
    }

    #[test]
    fn a_value_is_found_by_its_path() {
        let source = Source::new("a.toml", "name = \"x\"\n[inner]\ndepth_m = 0.5\n");
        let span = place(&source, &["inner", "depth_m"]);
        assert_eq!(&source.text[span], "0.5");
        assert!(read::<Small>(&source).is_ok());
    }
}
