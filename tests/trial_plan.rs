//! A planned trial: what it says of itself, its folder as `learn` takes it, and what is refused.

mod command;

use command::{folder, one_line, readodds};

const RACE: &str = "scenarios/half-marathon-rain-eu-lower.toml";
const YARD: &str = "demo-data/outcomes/yard-walk.toml";
const FEW: [&str; 8] = ["--draws", "64", "--passings", "16", "--people", "5", "--minutes", "30"];

#[test]
fn a_planned_trial_is_honest_and_can_be_filled_in() {
    let folder = folder("planned");
    let path = folder.join("plan");
    let write = path.to_str().expect("UTF-8");
    let planned = [&["trial", RACE, "--yard", YARD, "--write", write, "--format", "json"], &FEW[..]].concat();
    let done = readodds(&planned);
    assert_eq!(done.status.code(), Some(0), "{}", one_line(&done.stderr));
    let answer: serde_json::Value = serde_json::from_slice(&done.stdout).expect("JSON");
    let number = |value: &serde_json::Value| value.as_f64().expect("a number");
    let plan = |i: usize, key: &str| number(&answer["plans"][i][key]);
    // Before anything is walked the beliefs' own spread is the error, up to the noise of 192 truths (relative 1/sqrt(2 * 192) of a standard deviation; five of
    // them: false alarm below 1 in a million if errors were normal).
    let ratio = plan(0, "ln_error") / plan(0, "ln_spread");
    assert!((ratio - 1.0).abs() < 5.0 / (2.0f64 * 192.0).sqrt(), "{ratio}");
    assert!(plan(1, "ln_error") < plan(0, "ln_error"), "a trial that tells nothing");
    // The time is kept, and the steps are what the table says.
    assert!(plan(1, "minutes") <= 30.0 + 1e-9);
    let steps = answer["steps"].as_array().expect("steps");
    let sum = |key: &str| steps.iter().map(|step| number(&step[key])).sum::<f64>();
    assert_eq!(sum("passings"), plan(1, "passings"));
    assert!((sum("minutes") - plan(1, "minutes")).abs() < 1e-6);
    assert!(steps.iter().all(|step| number(&step["drop_db"]) >= 0.0), "power goes only downwards");
    let shares =
        |key: &str| answer["open"].as_array().expect("open").iter().map(|o| number(&o[key])).sum::<f64>();
    assert!(shares("share_before") <= 1.0 + 1e-9 && shares("share_after") <= 1.0 + 1e-9);
    // The crew's sheet carries the cautions; the empty file is refused with a way out, the filled one is a trial.
    let sheet = std::fs::read_to_string(path.join("sheet.txt")).expect("a sheet");
    assert!(one_line(sheet.as_bytes()).contains("Power goes only downwards"));
    let outcome = path.join("trial.toml");
    let learn =
        ["learn", outcome.to_str().expect("UTF-8"), "--draws", "64", "--passings", "32", "--format", "json"];
    let empty = readodds(&learn);
    assert_eq!(empty.status.code(), Some(2));
    assert!(one_line(&empty.stderr).contains("not filled in"), "{}", one_line(&empty.stderr));
    let rows = std::fs::read_to_string(path.join("passings.csv")).expect("passings");
    let filled: Vec<String> =
        rows.lines()
            .enumerate()
            .map(|(i, line)| {
                if line.ends_with(',') { format!("{line}{}", u8::from(i % 4 != 0)) } else { line.to_owned() }
            })
            .collect();
    std::fs::write(path.join("passings.csv"), filled.join("\n")).expect("written");
    let (trial, _) = readodds::outcome::trial::load(&path.join("passings.csv")).expect("a trial");
    assert_eq!(trial.passings as f64, plan(1, "passings"));
    assert_eq!(trial.walkers.len(), 5);
    let learned = readodds(&learn);
    assert!(matches!(learned.status.code(), Some(0 | 1)), "{}", one_line(&learned.stderr));
}

#[test]
fn trials_that_teach_nothing_about_the_race_are_refused() {
    for (arguments, words) in [
        (vec!["trial", RACE, "--yard", "scenarios/smallest.toml"], "do not share their"),
        (
            vec!["trial", RACE, "--yard", YARD, "--point", "12 km"],
            "has no \"12 km\"; it has 10 km, 15 km, finish",
        ),
        (vec!["trial", RACE, "--people", "1"], "1 is not in 2..=200"),
        (vec!["trial", RACE, "--minutes", "nan"], "--minutes"),
    ] {
        let done = readodds(&arguments);
        let said = one_line(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{words}: {said}");
        assert!(said.contains(words), "{words}: {said}");
        assert!(done.stdout.is_empty());
    }
}

/// Same seed, other threads: the same bytes.
#[test]
fn threads_change_nothing() {
    let run = |threads: &str| {
        let done = readodds(&[&["trial", RACE, "--yard", YARD, "--threads", threads], &FEW[..]].concat());
        assert_eq!(done.status.code(), Some(0), "{}", one_line(&done.stderr));
        done.stdout
    };
    assert!(run("1") == run("3"));
}
