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
fn interrupted(arguments: &[&str]) -> Value {
    for wait_ms in [400, 900, 1_500, 2_500, 4_000, 9_000, 27_000] {
        let child =
            readodds(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("starts");
        std::thread::sleep(Duration::from_millis(wait_ms));
        let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
        assert!(sent.success(), "it ended before it was interrupted: make it longer");
        let output: Output = child.wait_with_output().expect("ended");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        match output.status.code() {
            // Before the first result there is nothing to tell, and it says so; before it listens the signal ends it.
            Some(130) if output.stdout.is_empty() => assert!(said.contains("interrupted before"), "{said}"),
            Some(130) => return serde_json::from_slice(&output.stdout).expect("a whole JSON result"),
            None => {}
            other => panic!("{other:?}: {said}"),
        }
    }
    panic!("nothing was known after a minute");
}

#[cfg(unix)]
#[test]
fn interrupted_each_study_tells_what_is_known() {
    let long = ["drivers", SCENARIO, "--tag", TAG, "--max-passings", "900000000", "--format", "json"];
    let drivers = interrupted(&long);
    assert!(drivers["drivers"].is_array());
    let long = ["redundancy", SCENARIO, "--tag", TAG, "--worlds", "40000", "--format", "json"];
    let redundancy = interrupted(&long);
    assert_eq!(redundancy["stopped"], "interrupted");
    assert!(redundancy["worlds"].as_u64().is_some_and(|n| (2..=40_000).contains(&n)));
    for candidate in redundancy["candidates"].as_array().expect("a list") {
        assert!(candidate["result"]["miss_rate"]["value"].as_f64().is_some_and(|rate| rate > 0.0));
    }
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
    let small = ["redundancy", &scenario, "--tag", TAG, "--worlds", "16"];
    let forms = all_forms("redundancy", &small);
    forms.page_says_where_it_comes_from();
    let json = &forms.json;
    let results: Vec<Value> = std::iter::once(json["all"].clone())
        .chain(json["candidates"].as_array().expect("a list").iter().map(|c| c["result"].clone()))
        .map(|result| result["miss_rate"].clone())
        .collect();
    same_numbers(&forms.figures.join("redundancy-layouts.csv"), &results.iter().collect::<Vec<_>>());
    for candidate in json["candidates"].as_array().expect("a list") {
        let name = candidate["name"].as_str().expect("a name");
        let row = forms.first_table().into_iter().find(|r| r[0] == format!("with {name}")).expect("a row");
        // The text gives what each candidate divides the misses by and the runners it saves, as the page does.
        let line = forms.text.lines().map(even).find(|l| l.starts_with(name)).expect("a line");
        let cell = |n: usize| row[row.len() - n].as_str();
        assert!(
            line.contains(cell(2)) || line.contains(cell(1)),
            "{row:?} on the page, {line:?} in the text"
        );
    }
    let said = even(&forms.text);
    assert!(said.contains(forms.answer().split(" Invented").next().expect("words")), "{}", forms.answer());
    // Bounds on every output: Fréchet for pairs, 0 to 1 for probabilities.
    let pairs = json["candidates"].as_array().expect("a list").iter().map(|c| &c["pair"]);
    let mut seen = 0;
    for pair in pairs.chain(json["pairs"].as_array().expect("a list")).filter(|p| !p.is_null()) {
        let of = |key: &str| pair[key]["value"].as_f64().expect("a number");
        let (a, b, both) = (of("first_missed"), of("second_missed"), of("both_missed"));
        assert!(both <= a.min(b) * (1.0 + 1e-9) && both >= (a + b - 1.0).max(0.0), "{a} {b} {both}");
        seen += 1;
    }
    assert!(seen >= 2);
}

#[test]
fn drivers_agree_with_themselves() {
    let forms = all_forms("drivers", &["drivers", SCENARIO, "--tag", TAG, "--max-passings", "8000"]);
    forms.page_says_where_it_comes_from();
    let (json, text) = (&forms.json, even(&forms.text));
    let shares: Vec<&Value> = rows(&[&json["drivers"]]).into_iter().map(|d| &d["share"]).collect();
    let (_, drawn) = csv(&forms.figures.join("drivers-shares.csv"));
    assert_eq!(drawn.len(), shares.len());
    for (row, share) in drawn.iter().zip(shares) {
        assert_eq!(row[2].parse::<f64>().ok(), share["value"].as_f64());
        assert!(text.contains(&row[0]), "{}", row[0]);
    }
    assert!(text.contains(forms.answer().split(" Invented").next().expect("words")), "{}", forms.answer());
}

#[test]
fn rank_agrees_with_itself() {
    let season = season(&folder("rank-season"));
    let forms = all_forms("rank", &["rank", &season, "--most-worlds", "16"]);
    forms.page_says_where_it_comes_from();
    forms.text_holds_the_table(|row| row[0].clone());
    let json = &forms.json;
    let (_, drawn) = csv(&forms.figures.join("rank-ranking.csv"));
    let tags = rows(&[&json["variants"][0]["tags"]]);
    assert_eq!(drawn.len(), tags.len());
    for row in &drawn {
        let tag = tags.iter().find(|t| t["tag"] == row[0].as_str()).expect("listed");
        assert_eq!(row[2].parse::<f64>().ok(), tag["missed"]["value"].as_f64());
        assert_eq!(row[4].parse::<f64>().ok(), tag["missed_p95"].as_f64());
    }
    let choice = json["choice"].as_str().expect("a name");
    assert!(forms.text.contains(choice) && forms.answer().contains(choice));
    // Page and text say the same of what-ifs, groups and measuring.
    let said = even(&forms.text);
    assert!(said.contains(forms.answer().split(" Invented").next().expect("words")), "{}", forms.answer());
}
