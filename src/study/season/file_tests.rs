use super::*;
use crate::diag::Source;
use crate::study::season::resolve::resolve;

const GOOD: &str = r#"
# Invented.
name = "Test season"
currency = "crowns"
missed_passing_cost = 4
target = 0.99

[[tag]]
folder = "demo-data/tags/alder"
price = 0.2
stock = 5000
[[tag]]
folder = "demo-data/tags/birch"

[[scenario]]
name = "dry day"
file = "scenarios/city-10k-dry-usa.toml"
races = 3
[[scenario]]
name = "wet day"
file = "scenarios/city-10k-dry-usa.toml"
runners = 800
set = { "weather.key" = "rain" }

[[what_if]]
name = "more rain"
[[what_if.change]]
where = { "weather.key" = "rain" }
races_times = 2

[[what_if]]
name = "all in Canada"
[[what_if.change]]
where = { "region.key" = "usa" }
set = { "region.key" = "canada" }
"#;

fn season(text: &str) -> Checked<Season> {
    from_source(Source::new("season.toml", text), String::new(), Path::new(env!("CARGO_MANIFEST_DIR")))
}

#[test]
fn a_season_is_read_and_equal_scenarios_are_loaded_once() {
    let (season, warnings) = season(GOOD).expect("sound");
    assert!(warnings.is_empty());
    assert_eq!((season.tags.len(), season.entries.len(), season.what_ifs.len()), (2, 2, 2));
    assert_eq!((season.tags[0].stock, season.entries[0].races), (Some(5000), 3.0));
    assert_eq!(season.entries[1].layout, "city-10k-dry-usa");
    let (resolved, _) = resolve(&season).expect("scenarios and tags load");
    // Two as they are, two more in Canada; more rain needs none of its own.
    assert_eq!(resolved.sites.len(), 4);
    assert_eq!(resolved.variants[1].races, [(0, 3.0), (1, 2.0)]);
    assert_eq!(resolved.variants[2].races, [(2, 3.0), (3, 1.0)]);
    let wet = &resolved.sites[1].course;
    assert_eq!((wet.field.runners, wet.weather.key.as_str()), (800, "rain"));
    assert!(wet.points.iter().all(|p| p.target == 0.99));
    assert_eq!(resolved.sites[3].course.region.key, "canada");
    assert_eq!(resolved.prices[0], Some(0.2));
}

#[test]
fn all_problems_of_a_season_file_are_found_at_once() {
    let text = GOOD
        .replace("races = 3", "races = -3")
        .replace("currency =", "curency =")
        .replace("name = \"wet day\"", "name = \"dry day\"")
        .replace("races_times = 2", "races_times = nan");
    let problems = season(&text).expect_err("four slips");
    let codes: Vec<&str> = problems.iter().map(|d| d.code).collect();
    assert_eq!(
        codes,
        [codes::KEY_UNKNOWN, codes::OUT_OF_RANGE, codes::NAME_DUPLICATE, codes::OUT_OF_RANGE],
        "{problems:#?}"
    );
    assert_eq!(problems[0].place().as_deref(), Some("season.toml:4:1"));
    let codes_of = |text: &str| -> Vec<&str> {
        season(text).expect_err("not a season").iter().map(|d| d.code).collect()
    };
    assert!(codes_of("name = 3").contains(&codes::WRONG_TYPE));
    assert_eq!(codes_of("name = "), [codes::TOML_SYNTAX]);
}

#[test]
fn problems_of_a_changed_scenario_are_blamed_on_the_change() {
    let refused = |from: &str, to: &str| {
        let (season, _) = season(&GOOD.replace(from, to)).expect("the season itself is sound");
        resolve(&season).expect_err("refused")
    };
    let problems = refused("\"weather.key\" = \"rain\" }\n\n", "\"wether.key\" = \"rain\" }\n\n");
    assert_eq!(problems[0].code, codes::CHANGE_REFUSED, "{problems:#?}");
    assert!(problems[0].place().is_some_and(|p| p.starts_with("season.toml:23:")), "{problems:#?}");
    let problems = refused("\"region.key\" = \"canada\"", "\"region.key\" = \"narnia\"");
    assert_eq!(problems[0].code, codes::UNKNOWN_CHOICE, "{problems:#?}");
    assert!(problems[0].place().is_some_and(|p| p.starts_with("season.toml:")));
    let problems = refused("where = { \"region.key\" = \"usa\" }", "where = { \"region.key\" = \"japan\" }");
    assert_eq!(problems[0].code, codes::CHANGE_REFUSED);
    let problems =
        refused("file = \"scenarios/city-10k-dry-usa.toml\"\nraces", "file = \"nowhere.toml\"\nraces");
    assert_eq!(problems.len(), 1, "{problems:#?}");
}
