//! Rank, redundancy and drivers as users call them: broken off they tell what is known; page, figures, text and JSON agree.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

const SCENARIO: &str = "scenarios/river-half-rain-usa.toml";
/// Misses often: few races are enough to see it.
const TAG: &str = "demo-data/tags/alder";

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("decide-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder for the test");
    folder
}

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

fn readodds(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_readodds"));
    command.args(arguments).current_dir(env!("CARGO_MANIFEST_DIR"));
    command
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
            Some(130) => return serde_json::from_slice(&output.stdout).expect("a whole JSON result"),
            // Before the first result there is nothing to tell, and it says so; before it listens the signal ends it.
            Some(2) => assert!(said.contains("broken off before"), "{said}"),
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

fn csv(path: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_path(path).expect("written");
    let head = reader.headers().expect("a head").iter().map(str::to_owned).collect();
    (head, reader.records().map(|r| r.expect("a row").iter().map(str::to_owned).collect()).collect())
}

/// Every number of the CSV whose column the JSON knows is the JSON's to the last bit.
fn same_numbers(file: &Path, rows_of_json: &[&Value]) {
    let (head, rows) = csv(file);
    assert_eq!(rows.len(), rows_of_json.len(), "{}", file.display());
    let mut seen = 0;
    for (row, json) in rows.iter().zip(rows_of_json) {
        for (key, cell) in head.iter().zip(row) {
            if let (Some(told), Ok(drawn)) = (json[key.as_str()].as_f64(), cell.parse::<f64>()) {
                assert_eq!(drawn.to_bits(), told.to_bits(), "{key} in {}", file.display());
                seen += 1;
            }
        }
    }
    assert!(seen >= rows.len(), "{}: {seen} numbers compared", file.display());
}

/// Runs a study in every form; JSON, page, text and the folder of figures.
fn all_forms(name: &str, arguments: &[&str]) -> (Value, String, String, PathBuf) {
    let folder = folder(name);
    let path = |file: &str| folder.join(file).display().to_string();
    let (page, figures) = (path("page.html"), path("figures"));
    let run = |more: &[&str]| {
        let done = readodds(&[arguments, more].concat()).output().expect("starts");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("text")
    };
    let json = run(&["--format", "json", "--html", &page, "--figures", &figures]);
    let page = std::fs::read_to_string(page).expect("written");
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
    (serde_json::from_str(&json).expect("JSON"), page, run(&[]), PathBuf::from(figures))
}

/// The same words of the answer in text and page, whatever the line breaks.
fn even(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn rows<'a>(lists: &[&'a Value]) -> Vec<&'a Value> {
    lists.iter().flat_map(|list| list.as_array().expect("a list")).collect()
}

#[test]
fn redundancy_agrees_with_itself() {
    let small = ["redundancy", SCENARIO, "--tag", TAG, "--races", "6", "--passings-per-race", "20"];
    let (json, page, text, figures) = all_forms("redundancy", &small);
    let results: Vec<Value> = std::iter::once(json["all"].clone())
        .chain(json["sets"].as_array().expect("a list").iter().cloned())
        .chain(json["candidates"].as_array().expect("a list").iter().map(|c| c["result"].clone()))
        .collect();
    same_numbers(&figures.join("redundancy-layouts.csv"), &results.iter().collect::<Vec<_>>());
    same_numbers(&figures.join("redundancy-distance.csv"), &rows(&[&json["distance"]["points"]]));
    for candidate in json["candidates"].as_array().expect("a list") {
        let name = candidate["name"].as_str().expect("a name");
        assert!(page.contains(name) && text.contains(name), "{name}");
    }
    let first =
        even(&text).split("As it stands").nth(1).expect("the answer").chars().take(50).collect::<String>();
    assert!(even(&page).contains(&first), "{first}");
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
    let (json, page, text, figures) = all_forms("drivers", &small);
    let swings = rows(&[&json["race_day_swings"], &json["runner_swings"]]);
    same_numbers(&figures.join("drivers-swings.csv"), &swings);
    for (file, split) in [("race-day", "race_day"), ("one-passing", "one_passing")] {
        let drivers = rows(&[&json[split]["drivers"]]);
        let (_, drawn) = csv(&figures.join(format!("drivers-{file}.csv")));
        assert_eq!(drawn.len(), drivers.len());
        for (row, driver) in drawn.iter().zip(drivers) {
            assert_eq!(row[0], driver["name"].as_str().expect("a name"));
            assert_eq!(row[1].parse::<f64>().ok(), driver["first_order"]["mean"].as_f64());
            assert_eq!(row[4].parse::<f64>().ok(), driver["total"]["mean"].as_f64());
            assert!(text.contains(&row[0]) && page.contains(&row[0].replace('\'', "&#x27;")), "{}", row[0]);
        }
    }
}

#[test]
fn rank_agrees_with_itself() {
    let season = season(&folder("rank-season"));
    let small = ["rank", &season, "--first-worlds", "4", "--most-worlds", "4", "--passings-per-race", "10"];
    let (json, page, text, figures) = all_forms("rank", &small);
    let (head, drawn) = csv(&figures.join("rank-ranking.csv"));
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
        assert!(text.contains(&row[0]) && page.contains(&row[0]));
    }
    assert!(seen >= 3 * tags.len(), "{seen} numbers compared");
    let choice = format!("Choose {}.", json["choice"].as_str().expect("a name"));
    assert!(text.contains(&choice) && page.contains(&choice));
}
