//! The binary as a user meets it: exit codes, what goes where, the fields others rely on.

use assert_cmd::Command;
use serde_json::Value;

const SCENARIO: &str = "scenarios/trail-soaked-one-mat.toml";

fn readodds(args: &[&str]) -> assert_cmd::assert::Assert {
    Command::cargo_bin("readodds")
        .expect("the binary is built")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .assert()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("output is text")
}

#[test]
fn predict_json_has_the_fields_others_rely_on() {
    let done =
        readodds(&["predict", SCENARIO, "--worlds", "8", "--passings-per-world", "40", "--format", "json"])
            .code(0);
    let value: Value =
        serde_json::from_slice(&done.get_output().stdout).expect("stdout is JSON and nothing else");
    assert_eq!(value["schema_version"], 1);
    assert_eq!(value["seed"], 1);
    assert!(value["inputs"].as_array().is_some_and(|i| i.len() >= 2));
    assert!(value["assumptions"].as_array().is_some_and(|a| !a.is_empty()));
    let points = value["points"].as_array().expect("points");
    assert!(!points.is_empty());
    for point in points {
        assert!(point["name"].is_string());
        let figure = |v: &Value| {
            let of = |key: &str| v[key].as_f64().unwrap_or_else(|| panic!("{key} is a number in {v}"));
            assert!(of("low") <= of("value") && of("value") <= of("high"), "{v}");
            of("value")
        };
        figure(&point["miss_rate"]);
        figure(&point["promise"]["breaks"]);
        assert!(figure(&point["race_to_race"]["p05"]) <= figure(&point["race_to_race"]["p95"]));
    }
    assert_eq!(value["worlds"], 8);
    assert!(value["passings"].as_u64().is_some_and(|n| n >= 8 * 30));
}

#[test]
fn predict_text_reads_and_keeps_stderr_clean() {
    let done = readodds(&["predict", SCENARIO, "--worlds", "8", "--passings-per-world", "40"]).code(0);
    let out = text(&done.get_output().stdout);
    for part in ["Missed runners per 10,000", "Why: first cause", "How sure", "--full"] {
        assert!(out.contains(part), "{part} is missing");
    }
    assert!(!text(&done.get_output().stderr).contains("nobody knows"), "no progress off a terminal");
    assert!(out.lines().count() <= 45, "{} lines: what few need belongs to --full", out.lines().count());
    let full =
        readodds(&["predict", SCENARIO, "--worlds", "8", "--passings-per-world", "40", "--full"]).code(0);
    let full = text(&full.get_output().stdout);
    for part in ["Assumed, not measured", "Cautions", "by where the bib sits", "seed 1"] {
        assert!(full.contains(part), "{part} is missing");
    }
    assert!(!out.contains('\u{1b}'), "no colours off a terminal");
}

#[test]
fn require_decides_between_zero_and_one() {
    let args = |odds| {
        [
            "predict",
            SCENARIO,
            "--tag",
            "demo-data/tags/alder",
            "--worlds",
            "64",
            "--passings-per-world",
            "30",
            "--require",
            odds,
        ]
    };
    let short = readodds(&args("0.95")).code(1);
    assert!(text(&short.get_output().stderr).contains("not met"));
    // The promise is kept in about nine of ten races, at worst in two of three: the worse end decides.
    let night = |odds| {
        let tag = ["--tag", "demo-data/tags/birch", "--worlds", "64", "--passings-per-world", "30"];
        let mut call = vec!["predict", "scenarios/night-5k-humid-singapore.toml", "--require", odds];
        call.extend(tag);
        readodds(&call)
    };
    night("0.6").code(0);
    night("0.85").code(1);
    // Two worlds prove nothing, whatever they say.
    let few = readodds(&[
        "predict",
        "scenarios/finish-panels-overhead-japan.toml",
        "--tag",
        "demo-data/tags/birch",
        "--worlds",
        "2",
        "--require",
        "0.9",
    ])
    .code(1);
    assert!(text(&few.get_output().stderr).contains("too few to judge a promise by"));
}

#[test]
fn bad_usage_and_bad_input_exit_with_two() {
    readodds(&["predict"]).code(2);
    readodds(&["foretell"]).code(2);
    let missing = readodds(&["predict", "scenarios/no-such-file.toml"]).code(2);
    assert!(text(&missing.get_output().stderr).contains("no-such-file.toml"));
    let point = readodds(&["explain", SCENARIO, "--point", "km 99"]).code(2);
    assert!(text(&point.get_output().stderr).contains("it has"));
    readodds(&["predict", SCENARIO, "--require", "1.5"]).code(2);
    readodds(&["predict", SCENARIO, "--worlds", "0"]).code(2);
    let folder = readodds(&["predict", SCENARIO, "--out", "src"]).code(2);
    assert!(text(&folder.get_output().stderr).contains("it is a folder"));
}

#[test]
fn explain_csv_has_the_columns_and_odds_that_multiply() {
    let base = ["explain", SCENARIO, "--race", "1", "--passing", "7", "--format"];
    let csv_args: Vec<&str> = base.iter().copied().chain(["csv"]).collect();
    let json_args: Vec<&str> = base.iter().copied().chain(["json"]).collect();
    let csv_text = text(&readodds(&csv_args).code(0).get_output().stdout);
    let mut lines = csv_text.lines();
    assert_eq!(
        lines.next(),
        Some(
            "time_s,x_m,y_m,z_m,yaw_deg,gap_mm,line,reader,antenna,freq_mhz,direct_dbm,direct_screens_db,reflected_dbm,scattered_dbm,losses_db,incident_dbm,measured_dbm,threshold_dbm,backscatter_db,received_dbm,awake,powered_share,heard_odds,alone_odds"
        )
    );
    let mut miss = 1.0;
    let mut last = f64::NEG_INFINITY;
    let mut rows = 0;
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |i: usize| cells[i].parse::<f64>().expect("a number");
        assert!(number(0) >= last);
        last = number(0);
        assert_eq!(cells[20] == "1", number(21) > 0.0);
        assert!(cells[20] == "0" || number(15) >= number(17), "awake is incident at or above threshold");
        miss *= 1.0 - number(21) * number(22) * number(23);
        rows += 1;
    }
    assert!(rows > 50);
    let story: Value =
        serde_json::from_slice(&readodds(&json_args).code(0).get_output().stdout).expect("JSON");
    let told = story["passings"][0]["miss_odds"].as_f64().expect("a number");
    assert!((told - miss).abs() < 1e-12);
}

#[test]
fn worst_tells_stories() {
    let done = readodds(&["explain", SCENARIO, "--worst", "4"]).code(0);
    let out = text(&done.get_output().stdout);
    for n in 1..=4 {
        let start = format!("{n}. ");
        assert!(
            out.lines().any(|line| line.trim_start().starts_with(&start)),
            "story {n} is missing:\n{out}"
        );
    }
    assert!(out.contains("Replay one"), "{out}");
}

#[test]
fn results_go_to_a_file_whole() {
    let folder = std::env::temp_dir().join(format!("readodds-cli-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a temporary folder");
    let file = folder.join("forecast.json");
    let path = file.to_str().expect("plain path");
    readodds(&[
        "predict",
        SCENARIO,
        "--worlds",
        "4",
        "--passings-per-world",
        "30",
        "--format",
        "json",
        "--out",
        path,
    ])
    .code(0)
    .stdout("");
    let written = std::fs::read_to_string(&file).expect("the file is there");
    assert!(serde_json::from_str::<Value>(&written).is_ok());
    let mut names: Vec<_> =
        std::fs::read_dir(&folder).expect("readable").flatten().map(|entry| entry.file_name()).collect();
    names.sort();
    assert_eq!(names, [".readodds-written", "forecast.json"], "nothing half-written stays");
    std::fs::remove_dir_all(&folder).expect("removable");
}

#[test]
fn help_documents_exit_codes_and_examples() {
    let help = text(&readodds(&["--help"]).code(0).get_output().stdout);
    let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(help.contains(
        "Exit codes: 0 done; 1 done, but --require was not met; 2 bad usage or input; 3 internal error"
    ));
    let predict = text(&readodds(&["predict", "--help"]).code(0).get_output().stdout);
    assert!(predict.contains("Examples:") && predict.contains("--require"));
}
