//! Pages and figures of the program as users call it: the same numbers in JSON, CSV and HTML; nothing left behind.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("readodds-pages-{name}-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn readodds(arguments: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_readodds")).args(arguments).output().unwrap()
}

fn csv(path: &Path) -> (csv::StringRecord, Vec<csv::StringRecord>) {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let head = reader.headers().unwrap().clone();
    (head, reader.records().map(Result::unwrap).collect())
}

/// A few race days of a small scenario, written in every form.
fn small_forecast(folder: &Path) -> Value {
    let path = |name: &str| folder.join(name).display().to_string();
    let done = readodds(&[
        "predict",
        "scenarios/trail-soaked-one-mat.toml",
        "--races",
        "4",
        "--passings-per-race",
        "40",
        "--format",
        "json",
        "--out",
        &path("result.json"),
        "--html",
        &path("page.html"),
        "--figures",
        &path("figures"),
    ]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&std::fs::read(folder.join("result.json")).unwrap()).unwrap()
}

#[test]
fn json_csv_and_html_hold_the_same_numbers() {
    let folder = folder("agree");
    let json = small_forecast(&folder);
    let points = json["points"].as_array().unwrap();
    let (head, rows) = csv(&folder.join("figures/predict-miss-rates.csv"));
    assert_eq!(rows.len(), points.len());
    for (row, point) in rows.iter().zip(points) {
        assert_eq!(&row[0], point["name"].as_str().unwrap());
        for (column, key) in head.iter().enumerate().filter(|(_, k)| point.get(*k).is_some()) {
            let (drawn, told) = (row[column].parse::<f64>().unwrap(), point[key].as_f64().unwrap());
            assert_eq!(drawn.to_bits(), told.to_bits(), "{key} of {}", &row[0]);
        }
    }
    let (_, causes) = csv(&folder.join("figures/predict-causes.csv"));
    assert!(!causes.is_empty());
    for row in &causes {
        let point = points.iter().find(|p| p["name"] == row[0]).unwrap();
        assert_eq!(row[2].parse::<f64>().unwrap(), point["causes"][&row[1]].as_f64().unwrap());
    }
    let page = std::fs::read_to_string(folder.join("page.html")).unwrap();
    for point in points {
        let missed = &point["missed"];
        let words = format!("{} ({} to {})", missed["median"], missed["p05"], missed["p95"]);
        assert!(page.contains(&words), "{words}");
    }
    let seed = format!("<dt>seed</dt><dd>{}</dd>", json["seed"]);
    assert!(page.contains(&seed));
    for input in json["inputs"].as_array().unwrap() {
        assert!(page.contains(input["sha256"].as_str().unwrap()));
    }
    for assumption in json["assumptions"].as_array().unwrap() {
        let what = assumption["what"].as_str().unwrap();
        assert!(page.contains(what), "{what}");
    }
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn the_same_call_writes_the_same_bytes() {
    let (a, b) = (folder("first"), folder("second"));
    small_forecast(&a);
    small_forecast(&b);
    let mut names: Vec<_> =
        std::fs::read_dir(a.join("figures")).unwrap().map(|e| e.unwrap().file_name()).collect();
    names.sort();
    assert!(names.len() >= 8);
    for name in &names {
        let read = |folder: &Path| std::fs::read(folder.join("figures").join(name)).unwrap();
        assert!(read(&a) == read(&b), "{name:?}");
    }
    assert!(std::fs::read(a.join("page.html")).unwrap() == std::fs::read(b.join("page.html")).unwrap());
    for folder in [a, b] {
        let left: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(left.len(), 3, "{left:?}");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}

#[test]
fn explain_draws_every_round_it_tells() {
    let folder = folder("explain");
    let path = |name: &str| folder.join(name).display().to_string();
    let (page, figures) = (path("page.html"), path("figures"));
    let scenario = "scenarios/trail-soaked-one-mat.toml";
    let done = readodds(&["explain", scenario, "--format", "json", "--html", &page, "--figures", &figures]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let story: Value = serde_json::from_slice(&done.stdout).unwrap();
    let rounds = story["rounds"].as_array().unwrap();
    let (_, rows) = csv(&folder.join("figures/explain-margins.csv"));
    assert!(!rounds.is_empty());
    assert_eq!(rows.len(), rounds.len());
    for (row, round) in rows.iter().zip(rounds) {
        let margin = round["incident_dbm"].as_f64().unwrap() - round["threshold_dbm"].as_f64().unwrap();
        assert_eq!(row[5].parse::<f64>().unwrap(), margin);
    }
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn what_cannot_be_written_is_said_before_the_run() {
    let scenario = "scenarios/half-marathon-rain-eu-lower.toml";
    for option in ["--html", "--figures"] {
        let done = readodds(&["predict", scenario, option, "/dev/null/there/page.html"]);
        assert_eq!(done.status.code(), Some(2));
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(said.contains("/dev/null/there/page.html"), "{said}");
    }
}
