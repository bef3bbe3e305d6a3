//! Trial, learn and score in every form: text, JSON, page and figures agree, no figure cuts a mark.

mod forms;

use forms::{all_forms, csv, even};

const RACE: &str = "scenarios/half-marathon-rain-eu-lower.toml";
const YARD: &str = "demo-data/outcomes/yard-walk.toml";

#[test]
fn a_planned_trial_is_the_same_in_every_form() {
    let few = ["--draws", "64", "--passings", "16", "--people", "4", "--minutes", "30"];
    let trial = all_forms("trial", &[&["trial", RACE, "--yard", YARD], &few[..]].concat());
    assert!(even(&trial.text).contains(&trial.answer()[..60]));
    trial.text_holds_the_table(|row| row[0].clone());
    trial.page_says_where_it_comes_from();
    let (_, plans) = csv(&trial.figures.join("trial-plans.csv"));
    assert_eq!(Some(plans.len()), trial.json["plans"].as_array().map(Vec::len));
}

#[test]
fn what_was_learned_is_the_same_in_every_form() {
    let few = ["--draws", "128", "--passings", "32"];
    let learn = all_forms("learn", &[&["learn", "demo-data/outcomes/yard-trial.toml"], &few[..]].concat());
    learn.text_holds_the_table(|row| row[0].clone());
    learn.page_says_where_it_comes_from();
    let rungs = learn.json["sources"][0]["rungs"].as_array().expect("rungs");
    let sum = |key: &str| rungs.iter().map(|r| r[key].as_u64().expect("a count")).sum::<u64>();
    assert_eq!(Some(sum("passed")), learn.json["sources"][0]["passed"].as_u64());
    assert_eq!(Some(sum("missed") as f64), learn.json["sources"][0]["missed"].as_f64());
    // Rungs of one way to wear a bib come by power: the less of it, the more is foreseen to be missed.
    let of = |words: &str| {
        let rung = rungs.iter().find(|r| r["setting"] == words).expect("the setting");
        rung["after"]["mean"].as_f64().expect("a number") / rung["passed"].as_f64().expect("a number")
    };
    let front = "front, high on the chest, soaked";
    assert!(of(&format!("{front}, 6 dB down")) > of(&format!("{front}, 3 dB down")) + 0.1);
}

#[test]
fn a_scored_season_is_the_same_in_every_form() {
    let season = ["season-1-spring", "season-1-autumn", "season-2-spring", "season-2-autumn"]
        .map(|name| format!("demo-data/outcomes/{name}.toml"));
    let arguments: Vec<&str> = std::iter::once("score").chain(season.iter().map(String::as_str)).collect();
    let score = all_forms("score", &arguments);
    score.text_holds_the_table(|row| row[0].clone());
    score.page_says_where_it_comes_from();
    assert!(even(&score.text).contains(&score.answer()[..60]));
}
