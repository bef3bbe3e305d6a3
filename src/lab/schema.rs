//! JSON Schemas of `tag.toml` (draft 7, nothing referenced), for editors that complete and check while one types.
//!
//! Derived from the types the reader fills in, so both know the same keys.

use super::raw_file::RawFile;
use super::tag_file::TagFile;
use schemars::JsonSchema;
use serde_json::Value;

/// Schema of a type that is read from TOML.
pub fn of<T: JsonSchema>() -> Value {
    let settings = schemars::generate::SchemaSettings::draft07().with(|s| s.inline_subschemas = true);
    let mut schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    strip_null(&mut schema);
    schema
}

/// `tag.toml` with `level = "referred"`.
pub fn referred() -> Value {
    only_level(of::<TagFile>(), "referred")
}

/// `tag.toml` with `level = "raw"`.
pub fn raw() -> Value {
    only_level(of::<RawFile>(), "raw")
}

/// Each form goes with one level.
fn only_level(mut schema: Value, level: &str) -> Value {
    schema["properties"]["level"] = serde_json::json!({ "const": level });
    schema
}

/// TOML knows no null: an optional key is a key left out.
fn strip_null(value: &mut Value) {
    match value {
        Value::Object(object) => {
            if let Some(Value::Array(types)) = object.get_mut("type") {
                types.retain(|t| t != "null");
                if let [only] = &types[..] {
                    let only = only.clone();
                    object.insert("type".to_owned(), only);
                }
            }
            if object.get("default") == Some(&Value::Null) {
                object.remove("default");
            }
            if let Some(Value::Object(default)) = object.get_mut("default") {
                default.retain(|_, inner| !inner.is_null());
            }
            if let Some(Value::Array(choices)) = object.get_mut("anyOf") {
                choices.retain(|c| c != &serde_json::json!({ "type": "null" }));
                if let [only] = &choices[..] {
                    let only = only.clone();
                    object.remove("anyOf");
                    if let Value::Object(only) = only {
                        for (key, inner) in only {
                            object.entry(key).or_insert(inner);
                        }
                    }
                }
            }
            object.values_mut().for_each(strip_null);
        }
        Value::Array(items) => items.iter_mut().for_each(strip_null),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// Every key of a table stands in its schema, and every required one in the table.
    fn fits(schema: &Value, value: &toml::Value, at: &str) {
        if let Some(choices) = schema["anyOf"].as_array() {
            assert!(choices.iter().any(|c| c["properties"].is_object() == value.is_table()), "{at}");
        }
        match value {
            toml::Value::Table(table) => {
                let known = schema["properties"].as_object().unwrap_or_else(|| panic!("{at}: {schema}"));
                for (key, inner) in table {
                    fits(
                        known.get(key).unwrap_or_else(|| panic!("{at}.{key}")),
                        inner,
                        &format!("{at}.{key}"),
                    );
                }
                for key in schema["required"].as_array().into_iter().flatten() {
                    assert!(table.contains_key(key.as_str().expect("a name")), "{at}: {key}");
                }
            }
            toml::Value::Array(items) => {
                items.iter().for_each(|item| fits(&schema["items"], item, &format!("{at}[]")))
            }
            _ => {}
        }
    }

    #[test]
    fn every_shipped_tag_fits_its_schema() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
        let mut count = 0;
        for (folder, schema) in [("tags", referred()), ("raw", raw())] {
            for entry in std::fs::read_dir(demo.join(folder)).expect("demo data") {
                let path = entry.expect("entry").path().join("tag.toml");
                let text = std::fs::read_to_string(&path).expect("tag.toml");
                fits(&schema, &toml::from_str(&text).expect("TOML"), &path.display().to_string());
                count += 1;
            }
        }
        assert!(count >= 8);
    }

    /// The shipped schemas are those the types give. To renew them: READODDS_BLESS=1 cargo test schema
    #[test]
    fn the_shipped_schemas_are_current() {
        for (name, schema) in [("tag", referred()), ("raw-tag", raw())] {
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("demo-data/{name}.schema.json"));
            let text = serde_json::to_string_pretty(&schema).expect("json") + "\n";
            if std::env::var_os("READODDS_BLESS").is_some() {
                std::fs::write(&path, &text).expect("written");
            }
            assert_eq!(std::fs::read_to_string(&path).expect("shipped schema"), text, "{name}");
            assert!(!text.contains("$ref") && text.contains("draft-07") && !text.contains("null"));
        }
    }
}
