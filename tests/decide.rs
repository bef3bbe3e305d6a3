//! Ranking and redundancy end to end on small runs of the shipped files.

mod common;

use common::demo;
use readodds::diag::Source;
use readodds::estimate::checkpoint::Kept;
use readodds::estimate::run::Plan;
use readodds::passing::prepare;
use readodds::report::{
    justification::justification, rank_text::rank_text, redundancy_text::redundancy_text,
};
use readodds::study::predict::predict;
use readodds::study::rank::{self, answer as rank_answer};
use readodds::study::redundancy::{Request, answer, catalogue};
use readodds::study::season::{file, resolve};
use readodds::{course, tag};
use std::path::Path;
use std::sync::Arc;

const SCENARIO: &str = "scenarios/river-half-rain-usa.toml";

fn small(worlds: u64) -> Request {
    Request {
        plan: Plan { worlds: Some(worlds), ..Plan::new(1) },
        confidence: 0.9,
        point: None,
        subsets: Vec::new(),
        search: false,
        races: 4,
        missed_runner_cost: Some(50.0),
    }
}

fn redundancy_of(scenario: &str, tag: &str, request: &Request) -> readodds::study::redundancy::Answer {
    let (course, _) = course::load(Path::new(scenario)).expect("shipped");
    let (tag, _) = tag::load(&Path::new("demo-data/tags").join(tag)).expect("shipped");
    let text = std::fs::read_to_string(scenario).expect("shipped");
    let (catalogue, _) = catalogue::read(scenario, &text, Path::new("scenarios")).expect("sound");
    let prepared = prepare(Arc::new(course), Arc::new(tag));
    answer(&prepared, &catalogue, request, &[], &mut Kept::nowhere(), &|| false, &|_| {}).expect("an answer")
}

/// Lines share runners: no output may claim otherwise. Every joint rate keeps Fréchet's bounds, and an added line
/// never makes the misses more.
#[test]
fn no_output_calls_lines_independent_or_multiplies_their_rates() {
    // A tag that misses often: few worlds are enough to see it.
    let a = redundancy_of(SCENARIO, "alder", &small(16));
    for text in [redundancy_text(&a), justification(&a)] {
        let low = text.to_lowercase();
        for word in ["independent", "multipl"] {
            assert!(!low.contains(word), "{word} in:\n{text}");
        }
        assert!(text.contains("second mats 3 m on") && text.contains("Invented"));
    }
    let now = a.all.miss_rate.value;
    assert!(now > 1e-3, "a test without misses would see nothing: {now}");
    let mut pairs = 0;
    for c in &a.candidates {
        let Some(p) = &c.pair else { continue };
        pairs += 1;
        let (first, second, both) = (p.first_missed.value, p.second_missed.value, p.both_missed.value);
        assert!(both <= first.min(second) * (1.0 + 1e-9));
        assert!(both >= (first + second - 1.0).max(0.0));
        // Misses go together (Jensen): more often than rates without common causes would give.
        assert!(both > first * second, "{}", c.name);
        assert!(c.result.miss_rate.value <= now * (1.0 + 1e-9), "{}", c.name);
        assert!((p.r.value * p.true_gain.value - 1.0).abs() < 1e-9);
        assert!(p.r.low <= p.r.value && p.r.value <= p.r.high);
    }
    assert_eq!(pairs, 3, "copy, side pair and overhead pair come on top of what stands");
    let floor = a.floor.as_ref().expect("not interrupted");
    assert!(floor.miss_rate.value <= now && floor.miss_rate.value >= now.powi(8));
    for set in std::iter::once(&a.all).chain(&a.sets).chain(a.candidates.iter().map(|c| &c.result)) {
        let rate = &set.miss_rate;
        assert!(rate.low <= rate.value && rate.value <= rate.high);
        assert!((0.0..=1.0).contains(&set.promise.breaks.value));
        assert!(set.race_to_race.p05.value <= set.race_to_race.p95.value);
    }
}

/// The same worlds: the same numbers to the last bit, in every shipped scenario.
#[test]
fn predict_and_redundancy_agree() {
    let mut compared = 0;
    for entry in std::fs::read_dir("scenarios").expect("shipped").flatten() {
        let path = entry.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !name.ends_with(".toml") || name == "template.toml" {
            continue;
        }
        let request = Request { missed_runner_cost: None, races: 10, ..small(8) };
        let a = redundancy_of(&format!("scenarios/{name}"), "birch", &request);
        let forecast = predict(&demo(&name, "birch"), &request.plan, &[], &|| false);
        let point = forecast.points.iter().find(|p| p.name == a.point).expect("the same point");
        assert_eq!(a.all.miss_rate, point.miss_rate, "{name}");
        assert_eq!(a.all.promise, point.promise, "{name}");
        for line in &point.lines {
            let alone = a.sets.iter().find(|s| s.name == format!("{} alone", line.name)).expect("listed");
            assert_eq!(alone.miss_rate, line.miss_rate, "{name}");
        }
        compared += 1;
    }
    assert!(compared >= 7, "{compared} scenarios");
}

/// Two layouts that miss alike with two lines differ with three: the third line is worth what it shares with both, not what it
/// shares with either. A copy of a line far away shares bibs only; a line of the other kind shares less.
#[test]
fn standing_lines_keep_their_odds_beside_candidates() {
    let request = Request { search: true, ..small(16) };
    let a = redundancy_of(SCENARIO, "cedar", &request);
    let forecast = predict(&demo("river-half-rain-usa.toml", "cedar"), &request.plan, &[], &|| false);
    assert_eq!(a.all.miss_rate, forecast.points[0].miss_rate, "four more lines stand beside it");
    let search = a.search.as_ref().expect("asked for");
    assert!(search.layouts > 10);
    let of =
        |name: &str| a.candidates.iter().find(|c| c.name == name).expect("listed").result.miss_rate.value;
    assert!(of("second mats 3 m on") < a.all.miss_rate.value);
}

fn ranking(tags: [&str; 2], more: &str) -> rank_answer::Answer {
    ranking_of(tags, more, 16)
}

fn ranking_of(tags: [&str; 2], more: &str, most_worlds: u64) -> rank_answer::Answer {
    let text = format!(
        "# Invented.\nname = \"small\"\nmissed_passing_cost = 5\n{more}[[tag]]\nfolder = \"demo-data/tags/{}\"\n[[tag]]\nfolder = \"demo-data/tags/{}\"\n[[scenario]]\nname = \"wet\"\nfile = \"{SCENARIO}\"\nraces = 2\n[[what_if]]\nname = \"more\"\n[[what_if.change]]\nraces_times = 3\n",
        tags[0], tags[1]
    );
    let source = Source::new("small.toml", text);
    let (season, _) = file::from_source(source, String::new(), Path::new("")).expect("sound");
    let (resolved, _) = resolve::resolve(&season).expect("sound");
    let request = rank::Request { seed: 1, most_worlds };
    rank::answer(&season, &resolved, &request, &[], &mut Kept::nowhere(), &|| false, &|_| {})
        .expect("worlds were finished")
}

/// A tag's numbers do not depend on its place in the file, a what-if of three times the races misses three times as many,
/// and the text names the choice.
#[test]
fn the_order_of_tags_changes_nothing() {
    let (one, two) = (ranking(["alder", "birch"], ""), ranking(["birch", "alder"], ""));
    let of = |a: &rank_answer::Answer, v: usize, tag: &str| {
        let tag = a.variants[v].tags.iter().find(|t| t.tag == tag).expect("listed");
        tag.missed.expect("run").value
    };
    for tag in ["alder", "birch"] {
        assert_eq!(of(&one, 0, tag), of(&two, 0, tag), "{tag}");
        assert!((of(&one, 1, tag) - 3.0 * of(&one, 0, tag)).abs() <= 1e-9 * of(&one, 1, tag).max(1.0));
    }
    assert!(of(&one, 0, "alder") > of(&one, 0, "birch"));
    assert_eq!(one.choice, two.choice);
    assert!(rank_text(&one).contains(&format!("Choose {}.", one.choice.as_deref().expect("a choice"))));
}

/// A finish that costs more than a split enters the same rule, and a market share scales the races.
#[test]
fn costs_by_kind_of_point_and_market_enter_the_rule() {
    let plain = ranking(["alder", "birch"], "");
    let dear = ranking(["alder", "birch"], "missed_finish_cost = 50\n");
    let total = |a: &rank_answer::Answer| {
        let alder = a.variants[0].tags.iter().find(|t| t.tag == "alder").expect("listed");
        (alder.missed.expect("run").value, alder.total.expect("priced").value, alder.bill.expect("priced"))
    };
    let ((missed, cheap, bill), (_, dear, _)) = (total(&plain), total(&dear));
    assert!((cheap - bill - 5.0 * missed).abs() < 1e-6 * cheap);
    assert!((dear - bill - 50.0 * missed).abs() < 1e-6 * dear, "the only point is a finish");
    let half = ranking(["alder", "birch"], "[[market]]\nlow_mhz = 902\nhigh_mhz = 928\nshare = 0.5\n");
    assert!((total(&half).0 - 0.5 * missed).abs() < 1e-9 * missed);
}

/// A tag that is surely behind leaves after the first stage; its numbers by kind of race are those of the worlds it has.
#[test]
fn a_tag_that_left_early_keeps_its_numbers() {
    let dry = format!(
        "[[scenario]]\nname = \"dry\"\nfile = \"{SCENARIO}\"\nraces = 1\nset = {{ \"weather.key\" = \"dry\" }}\n"
    );
    let a = ranking_of(["elm", "birch"], &dry, 32);
    assert_eq!((a.choice.as_deref(), a.worlds), (Some("birch"), 32));
    assert!(a.passings < 6_000, "elm left after sixteen worlds: {}", a.passings);
    let rates: Vec<f64> = a.splits.iter().flat_map(|s| &s.groups).flat_map(|g| g.miss_rate.clone()).collect();
    assert!(rates.len() >= 4 && rates.iter().all(|rate| rate.is_finite()), "{rates:?}");
}
