//! JSON Schema of scenario files (draft 7, nothing referenced), for editors that complete and check while
//! one types.
//!
//! Derived from the forms; tests keep it in step with what the loader really asks for.

use super::resolve::ScenarioForm;
use serde_json::Value;

/// Keys that may not stand in an `every_...` table.
const OWN_KEYS: [(&str, &[&str]); 3] = [
    ("every_point", &["name", "finish", "line", "plane"]),
    ("every_reader", &["name", "antenna"]),
    ("every_antenna", &["name"]),
];

/// The schema of a scenario file.
pub fn json_schema() -> Value {
    let mut schema = crate::lab::schema::of::<ScenarioForm>();
    for (table, keys) in OWN_KEYS {
        let every = &mut schema["properties"][table];
        if let Some(required) = every["required"].as_array_mut() {
            required.retain(|name| !keys.iter().any(|key| name == key));
        }
        if let Some(properties) = every["properties"].as_object_mut() {
            properties.retain(|name, _| !keys.contains(&name.as_str()));
        }
    }
    schema
}

#[cfg(test)]
mod tests {
    use super::super::load::walk_text;
    use super::*;
    use crate::diag::render::{Style, render_all};
    use std::collections::{BTreeMap, BTreeSet};
    use std::path::Path;

    const TEMPLATE: &str = include_str!("../../scenarios/template.toml");

    /// Keys the loader asks for, by kind of table, over texts that reach every branch.
    fn known_keys() -> BTreeMap<&'static str, BTreeSet<&'static str>> {
        let branches = [
            TEMPLATE.to_owned(),
            TEMPLATE
                .replace("link = \"miller4_250\"", "link = { miller = 4 }")
                .replace("polarisation = \"circular_right\"", "polarisation = { tilt_deg = 3 }")
                .replace("flow_per_min = 56.9", "wave = { runners = 5, minutes = 1 }")
                .replace("key = \"eu_lower\"", "key = \"eu_lower\"\nlimit = { erp_dbm = 3 }"),
        ];
        let mut known = BTreeMap::new();
        for text in branches {
            let (_, _, walk) = walk_text("t", &text, "", Path::new(""));
            for (kind, keys) in walk.known.take() {
                known.entry(kind).or_insert_with(BTreeSet::new).extend(keys);
            }
        }
        known
    }

    /// Properties of a schema node, through list items and choices.
    fn properties(node: &Value) -> BTreeSet<String> {
        let mut keys: BTreeSet<String> =
            node["properties"].as_object().into_iter().flat_map(|p| p.keys().cloned()).collect();
        for choice in node["anyOf"].as_array().into_iter().flatten() {
            keys.extend(properties(choice));
        }
        if node["items"].is_object() {
            keys.extend(properties(&node["items"]));
        }
        keys
    }

    #[test]
    fn schema_and_loader_know_the_same_keys() {
        let schema = json_schema();
        let at = |path: &str| {
            path.split('/').filter(|s| !s.is_empty()).fold(schema.clone(), |node, key| {
                let inner = if node["items"].is_object() { node["items"].clone() } else { node };
                inner["properties"][key].clone()
            })
        };
        let reader = "point/line/reader";
        let places = [
            ("scenario", String::new()),
            ("event", "event".into()),
            ("region", "region".into()),
            ("limit", "region/limit".into()),
            ("weather", "weather".into()),
            ("field", "field".into()),
            ("field.placements", "field/placements".into()),
            ("field.placements.placement", "field/placements/side".into()),
            ("beliefs", "beliefs".into()),
            ("beliefs.dry", "beliefs/dry".into()),
            ("beliefs.damp", "beliefs/damp".into()),
            ("beliefs.soaked", "beliefs/soaked".into()),
            ("effects", "effects".into()),
            ("every_point", "every_point".into()),
            ("every_reader", "every_reader".into()),
            ("every_antenna", "every_antenna".into()),
            ("point", "point".into()),
            ("surface", "point/surface".into()),
            ("surface", "every_point/surface".into()),
            ("wave", "point/wave".into()),
            ("plane", "point/plane".into()),
            ("line", "point/line".into()),
            ("reader", reader.into()),
            ("link", format!("{reader}/link")),
            ("antenna", format!("{reader}/antenna")),
            ("polarisation", format!("{reader}/antenna/polarisation")),
        ];
        let known = known_keys();
        for (kind, path) in &places {
            let in_loader: BTreeSet<String> = known[kind].iter().map(|k| (*k).to_owned()).collect();
            assert_eq!(properties(&at(path)), in_loader, "{kind}");
        }
        let listed: BTreeSet<_> = places.iter().map(|(kind, _)| *kind).collect();
        assert_eq!(listed, known.keys().copied().collect(), "kinds of tables");
    }

    #[test]
    fn the_template_lists_every_key() {
        for (kind, keys) in known_keys() {
            for key in keys {
                let listed = TEMPLATE.lines().any(|line| {
                    let line = line.trim_start_matches(['#', ' ']);
                    let header = line.split(']').next().unwrap_or_default().trim_start_matches('[');
                    line.split([' ', '{', ',']).any(|word| word == key)
                        || header.split('.').any(|word| word == key)
                });
                assert!(listed, "{key} of {kind}");
            }
        }
    }

    /// The template writes every default out; a scenario without them must come out the same.
    #[test]
    fn the_template_states_the_defaults() {
        let minimal = r#"
            tag = "../demo-data/tags/birch"
            event = { name = "Template event", distance_km = 21.1 }
            region = { key = "eu_lower" }
            weather = { key = "rain" }
            field = { runners = 2000 }
            every_antenna = { power_dbm = 28 }
            [[point]]
            name = "10 km"
            plane = [{ x_m = 0, y_m = 5, normal_azimuth_deg = -90 }]
            [[point.line]]
            [[point.line.reader]]
            antenna = [{ kind = "mat", y_m = -1 }, { kind = "side_panel", y_m = 3.5 }, { kind = "overhead", y_m = 0 }]
            [[point]]
            name = "finish"
            finish = true
            [[point.line]]
            [[point.line.reader]]
            antenna = [{ kind = "mat", y_m = 0 }]
        "#;
        let load = |text: &str| {
            super::super::from_text("t", text, Path::new(""))
                .unwrap_or_else(|found| panic!("{}", render_all(&found, Style::PLAIN)))
                .0
        };
        let (template, minimal) = (load(TEMPLATE), load(minimal));
        assert_eq!(template.field, minimal.field);
        assert_eq!(template.beliefs, minimal.beliefs);
        assert_eq!(template.effects, minimal.effects);
        assert_eq!(template.weather, minimal.weather);
        assert_eq!(template.region, minimal.region);
        assert_eq!(template.points, minimal.points);
        assert!(minimal.assumptions().len() > 40);
    }

    /// The shipped schema is the one the types give. To renew it: READODDS_BLESS=1 cargo test schema
    #[test]
    fn the_shipped_schema_is_current() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/scenario.schema.json");
        let text = serde_json::to_string_pretty(&json_schema()).expect("json") + "\n";
        if std::env::var_os("READODDS_BLESS").is_some() {
            std::fs::write(&path, &text).expect("written");
        }
        assert_eq!(std::fs::read_to_string(&path).expect("shipped schema"), text);
        assert!(!text.contains("$ref") && text.contains("draft-07"));
    }
}
