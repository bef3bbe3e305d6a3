//! Pages and figures of the program as users call it: the same numbers in JSON, CSV and HTML; nothing left behind.

mod forms;

use forms::{Forms, all_forms, csv, even, folder, readodds, rows, same_numbers};
use serde_json::Value;
use std::path::Path;

const TRAIL: &str = "scenarios/trail-soaked-one-mat.toml";

/// A few worlds of a small scenario, written in every form.
fn small_forecast(folder: &Path) {
    let path = |name: &str| folder.join(name).display().to_string();
    let done = readodds(&[
        "predict",
        TRAIL,
        "--worlds",
        "16",
        "--passings-per-world",
        "40",
        "--format",
        "json",
        "--out",
        &path("result.json"),
        "--html",
        &path("page.html"),
        "--figures",
        &path("figures"),
    ])
    .output()
    .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}

#[test]
fn a_forecast_agrees_with_itself() {
    let forms = all_forms("predict", &["predict", TRAIL, "--worlds", "16", "--passings-per-world", "40"]);
    forms.page_says_where_it_comes_from();
    forms.text_holds_the_table(|row| row[0].clone());
    assert!(
        even(&forms.text).contains(forms.answer().split(" Invented").next().unwrap()),
        "{}",
        forms.answer()
    );
    let Forms { json, page, figures, .. } = &forms;
    let points = json["points"].as_array().unwrap();
    let rates: Vec<&Value> = points.iter().map(|p| &p["miss_rate"]).collect();
    same_numbers(&figures.join("predict-miss-rates.csv"), &rates);
    let (_, causes) = csv(&figures.join("predict-causes.csv"));
    assert!(!causes.is_empty());
    for row in &causes {
        let point = points.iter().find(|p| p["name"] == row[0].as_str()).unwrap();
        assert_eq!(row[2].parse::<f64>().unwrap(), point["causes"][&row[1]].as_f64().unwrap());
    }
    for assumption in json["assumptions"].as_array().unwrap() {
        let what = assumption["what"].as_str().unwrap();
        assert!(page.contains(what), "{what}");
    }
}

#[test]
fn a_laboratory_session_agrees_with_itself() {
    let call = ["lab", "demo-data/raw/cedar", "--equivalent-within", "1", "--region", "usa"];
    let forms = all_forms("lab", &call);
    forms.page_says_where_it_comes_from();
    let Forms { json, figures, .. } = &forms;
    let mounts = rows(&[&json["tags"][0]["mounts"]]);
    let curves: Vec<&Value> = mounts.iter().map(|m| &m["curve"]).collect();
    same_numbers(&figures.join("lab-thresholds-1.csv"), &rows(&curves));
    same_numbers(&figures.join("lab-backscatter-1.csv"), &rows(&curves));
    // Text: "3 mm over saline_torso  -9.4  ...  -9.1 ± 0.4 / -18.6".
    for row in forms.first_table() {
        let line =
            forms.text.lines().map(even).find(|l| l.starts_with(&row[1])).expect("a line of the mount");
        let said = format!("{} ± {} / {}", row[3], row[4], row[6]);
        assert!(line.contains(&said), "{said} on the page, {line} in the text");
    }
    // Every place tested for equality, with its interval and verdict.
    let tests = rows(&[&json["tags"][0]["batches"]["equivalence"]]);
    let places: Vec<&Value> = rows(&tests.iter().map(|t| &t["rows"]).collect::<Vec<_>>());
    let (head, drawn) = csv(&figures.join("lab-equivalence.csv"));
    assert_eq!(drawn.len(), places.len());
    assert!(places.len() >= 6, "two batches in three mounts");
    for (row, place) in drawn.iter().zip(&places) {
        let (cell, level) =
            (|key: &str| &row[head.iter().position(|h| h == key).unwrap()], &place["check"]["level"]);
        assert_eq!(cell("difference_db").parse::<f64>().ok(), level["difference"].as_f64());
        assert_eq!(cell("low_db").parse::<f64>().ok(), level["interval"]["low"].as_f64());
        assert_eq!(cell("high_db").parse::<f64>().ok(), level["interval"]["high"].as_f64());
        let verdict = match level["verdict"].as_str().unwrap() {
            "equivalent" => "equal",
            "different" => "not equal",
            _ => "undecided",
        };
        assert_eq!(cell("verdict"), verdict);
    }
    let answer = forms.answer();
    for batch in ["W1", "W2"] {
        let sentence =
            answer.split_inclusive(". ").find(|s| s.contains(batch)).expect("a sentence on the batch");
        assert!(even(&forms.text).contains(sentence.trim().trim_end_matches(" Invented")), "{sentence}");
    }
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
        assert_eq!(left.len(), 4, "page, result, figures and the list of what was written: {left:?}");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}

#[test]
fn one_passing_agrees_with_itself() {
    let forms = all_forms("explain", &["explain", TRAIL]);
    let Forms { json, figures, .. } = &forms;
    let story = &json["passings"][0];
    let rounds = story["rounds"].as_array().unwrap();
    let (_, rows) = csv(&figures.join("explain-margins.csv"));
    assert!(!rounds.is_empty());
    assert_eq!(rows.len(), rounds.len());
    for (row, round) in rows.iter().zip(rounds) {
        let margin = round["incident_dbm"].as_f64().unwrap() - round["threshold_dbm"].as_f64().unwrap();
        assert_eq!(row[5].parse::<f64>().unwrap(), margin);
    }
    let table = forms.first_table();
    assert_eq!(table.len(), story["antennas"].as_array().unwrap().len());
    for (row, antenna) in table.iter().zip(story["antennas"].as_array().unwrap()) {
        let margin = format!("{:.1}", antenna["best_margin_db"].as_f64().unwrap());
        assert_eq!([&row[1], &row[2]], [antenna["antenna"].as_str().unwrap(), &margin]);
        let line = forms.text.lines().map(even).find(|l| l.starts_with(&format!("{} / {} ", row[0], row[1])));
        let line = line.expect("a line of the antenna");
        assert!(line.contains(&format!("{margin} dB {} of {}", row[3], row[4])), "{row:?}, {line}");
    }
    let words = even(story["words"].as_str().unwrap());
    assert!(forms.answer().contains(&words[1..]) && even(&forms.text).contains(&words), "{words}");
}

#[test]
fn what_cannot_be_written_is_said_before_the_run() {
    let scenario = "scenarios/half-marathon-rain-eu-lower.toml";
    for option in ["--html", "--figures"] {
        let done = readodds(&["predict", scenario, option, "/dev/null/there/page.html"]).output().unwrap();
        assert_eq!(done.status.code(), Some(2));
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(said.contains("/dev/null/there/page.html"), "{said}");
    }
}
