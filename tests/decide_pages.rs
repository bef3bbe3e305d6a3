//! Rank, redundancy and drivers as users call them: broken off they tell what is known; page, figures, text and JSON agree.

mod forms;

use forms::{all_forms, csv, even, folder, readodds, rows, same_numbers};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

const SCENARIO: &str = "scenarios/river-half-rain-usa.toml";
/// Misses often: few races are enough to see it.
const TAG: &str = "demo-data/tags/alder";

/// A season of one scenario and two tags.
fn season(folder: &Path) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    let tag = |name: &str| format!("[[tag]]\nfolder = \"{root}/demo-data/tags/{name}\"\n");
    let text = format!(
        "# Invented.\nnote = \"Invented\"\nname = \"small\"\n{}{}[[scenario]]\nname = \"wet\"\nfile = \"{root}/{SCENARIO}\"\nraces = 2\n",
        tag("alder"),
        tag("dogwood")
    );
    let path = folder.join("season.toml");
    std::fs::write(&path, text).expect("a season");
    path.display().to_string()
}

/// Sends Ctrl-C after longer and longer waits, until something was known by then.
#[cfg(unix)]
fn broken_off(arguments: &[&str]) -> Value {
    for wait_ms in [1_000, 3_000, 9_000, 27_000, 60_000] {
        let child =
            readodds(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("starts");
        std::thread::sleep(Duration::from_millis(wait_ms));
        let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
        assert!(sent.success(), "it ended before it was broken off: make it longer");
        let output: Output = child.wait_with_output().expect("ended");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        match output.status.code() {
            // Before the first result there is nothing to tell, and it says so; before it listens the signal ends it.
            Some(130) if output.stdout.is_empty() => assert!(said.contains("broken off before"), "{said}"),
            Some(130) => return serde_json::from_slice(&output.stdout).expect("a whole JSON result"),
            None => {}
            other => panic!("{other:?}: {said}"),
        }
    }
    panic!("nothing was known after a minute");
}

#[cfg(unix)]
#[test]
fn broken_off_each_study_tells_what_is_known() {
    let season = season(&folder("broken-off"));
    let rank =
        broken_off(&["rank", &season, "--first-worlds", "9000", "--most-worlds", "9000", "--format", "json"]);
    assert_eq!(rank["interrupted"], true);
    assert!(rank["worlds"].as_u64().is_some_and(|w| (1..9000).contains(&w)));
    assert!(!rank["choice"].as_str().expect("a name").is_empty());

    let long = [
        "redundancy",
        SCENARIO,
        "--tag",
        TAG,
        "--races",
        "150",
        "--passings-per-race",
        "2000",
        "--format",
        "json",
    ];
    let redundancy = broken_off(&long);
    assert_eq!(redundancy["interrupted"], true);
    assert!(redundancy["races"].as_u64().is_some_and(|n| (2..=150).contains(&n)));
    // Nothing half done stands beside what is whole.
    for candidate in redundancy["candidates"].as_array().expect("a list") {
        assert!(candidate["result"]["miss_rate"].as_f64().is_some_and(|rate| rate > 0.0));
    }
    let search = &redundancy["search"];
    assert!(search.is_null() || search["full_runs"].as_u64() <= search["layouts"].as_u64());

    let drivers = broken_off(&[
        "drivers",
        SCENARIO,
        "--tag",
        TAG,
        "--replications",
        "900",
        "--points",
        "8",
        "--format",
        "json",
    ]);
    assert_eq!(drivers["interrupted"], true);
}

/// The scenario with three of its six candidates, one of each kind: far fewer layouts to search.
fn three_candidates(folder: &Path) -> String {
    let text =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(SCENARIO)).expect("shipped");
    let cut = text.find("# Gantries and mains").expect("the third candidate");
    let rest = text.find("[[candidate]]\nname = \"faster hop\"").expect("the last candidate");
    let path = folder.join("three.toml");
    let text = format!("{}{}", &text[..cut], &text[rest..]);
    let demo = format!("\"{}/demo-data", env!("CARGO_MANIFEST_DIR"));
    std::fs::write(&path, text.replace("\"../demo-data", &demo)).expect("a scenario");
    path.display().to_string()
}

#[test]
fn redundancy_agrees_with_itself() {
    let scenario = three_candidates(&folder("redundancy-scenario"));
    let small = ["redundancy", &scenario, "--tag", TAG, "--races", "6", "--passings-per-race", "20"];
    let forms = all_forms("redundancy", &small);
    forms.page_says_where_it_comes_from();
    let json = &forms.json;
    // A line alone is the whole point here, so the figure shows it once.
    assert_eq!(json["sets"].as_array().map(Vec::len), Some(1));
    let results: Vec<Value> = std::iter::once(json["all"].clone())
        .chain(json["candidates"].as_array().expect("a list").iter().map(|c| c["result"].clone()))
        .collect();
    same_numbers(&forms.figures.join("redundancy-layouts.csv"), &results.iter().collect::<Vec<_>>());
    same_numbers(&forms.figures.join("redundancy-distance.csv"), &rows(&[&json["distance"]["points"]]));
    for candidate in json["candidates"].as_array().expect("a list") {
        let name = candidate["name"].as_str().expect("a name");
        let row = forms.first_table().into_iter().find(|r| r[0] == format!("with {name}")).expect("a row");
        // The text gives rate and odds of the target of each candidate.
        let line = forms.text.lines().map(even).find(|l| l.starts_with(name)).expect("a line");
        assert!(
            line.contains(&row[1]) && line.contains(&row[4]),
            "{row:?} on the page, {line:?} in the text"
        );
    }
    let said = even(&forms.text);
    assert!(said.contains(forms.answer().split(" Invented").next().expect("words")), "{}", forms.answer());
    // Bounds on every output: Fréchet for pairs, 0 to 1 for odds, and what distance cannot make worse than the line itself.
    let pairs = json["candidates"].as_array().expect("a list").iter().map(|c| &c["pair"]);
    for pair in pairs.chain(json["pairs"].as_array().expect("a list")).filter(|p| !p.is_null()) {
        let of = |key: &str| pair[key].as_f64().expect("a number");
        let (a, b, both) = (of("first_missed"), of("second_missed"), of("both_missed"));
        assert!(both <= a.min(b) * (1.0 + 1e-9) && both >= (a + b - 1.0).max(0.0), "{a} {b} {both}");
    }
    let alone = json["sets"][0]["miss_rate"].as_f64().expect("a number");
    for at in json["distance"]["points"].as_array().expect("a list") {
        let r = at["r"].as_f64().expect("misses");
        let runner = at["runner"]["points"].as_f64().expect("misses");
        assert!((0.0..=1.0).contains(&r) && (0.0..=1.0).contains(&runner));
        // Two crossings alike but for chance: never below the product of the means (Jensen).
        assert!(runner >= alone, "{runner} {alone}");
        let parts: f64 = rows(&[&at["parts"]]).iter().map(|p| p["points"].as_f64().expect("a number")).sum();
        assert!((parts + runner - r).abs() < 1e-9, "the parts sum to r");
    }
    // The copy with everything new but runner and bib is a line far away: within five of the curve's own errors.
    let far = json["distance"]["far_r"].as_f64().expect("misses");
    let end = &json["distance"]["points"][7]["runner"];
    let reach = end["high"].as_f64().expect("races") - end["points"].as_f64().expect("races");
    assert!((end["points"].as_f64().expect("races") - far).abs() < 2.6 * reach + 0.02, "{end} {far}");
    let odds = |v: &Value| v.as_f64().is_some_and(|o| (0.0..=1.0).contains(&o));
    for layout in rows(&[&json["search"]["runners_up"]]).into_iter().chain([&json["search"]["found"]]) {
        assert!(layout.is_null() || odds(&layout["odds_low"]) && odds(&layout["result"]["target_odds"]));
    }
}

#[test]
fn drivers_agree_with_themselves() {
    let small = [
        "drivers",
        SCENARIO,
        "--tag",
        TAG,
        "--replications",
        "3",
        "--points",
        "4",
        "--passing-points",
        "16",
        "--passings-per-race",
        "10",
    ];
    let forms = all_forms("drivers", &small);
    forms.page_says_where_it_comes_from();
    let (json, text) = (&forms.json, even(&forms.text));
    let swings = rows(&[&json["race_day_swings"], &json["runner_swings"]]);
    same_numbers(&forms.figures.join("drivers-swings.csv"), &swings);
    for (file, split) in [("race-day", "race_day"), ("one-passing", "one_passing")] {
        let drivers = rows(&[&json[split]["drivers"]]);
        let (_, drawn) = csv(&forms.figures.join(format!("drivers-{file}.csv")));
        assert_eq!(drawn.len(), drivers.len());
        for (row, driver) in drawn.iter().zip(drivers) {
            assert_eq!(row[0], driver["name"].as_str().expect("a name"));
            assert_eq!(row[1].parse::<f64>().ok(), driver["first_order"]["mean"].as_f64());
            assert_eq!(row[4].parse::<f64>().ok(), driver["total"]["mean"].as_f64());
            assert!(text.contains(&row[0]), "{}", row[0]);
        }
    }
    for row in forms.first_table() {
        assert!(row.iter().all(|cell| text.contains(cell.as_str())), "{row:?} is not in the text");
    }
    assert!(text.contains(forms.answer().split(" Invented").next().expect("words")), "{}", forms.answer());
}

#[test]
fn rank_agrees_with_itself() {
    let season = season(&folder("rank-season"));
    let small = ["rank", &season, "--first-worlds", "4", "--most-worlds", "4", "--passings-per-race", "10"];
    let forms = all_forms("rank", &small);
    forms.page_says_where_it_comes_from();
    forms.text_holds_the_table(|row| row[0].clone());
    let json = &forms.json;
    let (head, drawn) = csv(&forms.figures.join("rank-ranking.csv"));
    let tags = rows(&[&json["variants"][0]["tags"]]);
    assert_eq!(drawn.len(), tags.len());
    let mut seen = 0;
    for row in &drawn {
        let tag = tags.iter().find(|t| t["tag"] == row[0].as_str()).expect("listed");
        for (key, cell) in head.iter().zip(row) {
            if let (Some(told), Ok(drawn)) = (tag[key.as_str()].as_f64(), cell.parse::<f64>()) {
                assert_eq!(drawn.to_bits(), told.to_bits(), "{key} of {}", row[0]);
                seen += 1;
            }
        }
    }
    assert!(seen >= 3 * tags.len(), "{seen} numbers compared");
    let choice = format!("Choose {}.", json["choice"].as_str().expect("a name"));
    assert!(forms.text.contains(&choice) && forms.answer().starts_with(&choice));
}
