//! Ranking and redundancy end to end on small runs of the shipped files.

use readodds::diag::Source;
use readodds::passing::prepare;
use readodds::report::{
    justification::justification, rank_text::rank_text, redundancy_text::redundancy_text,
};
use readodds::study::rank::{self, answer as rank_answer};
use readodds::study::redundancy::{Request, answer, catalogue};
use readodds::study::season::{file, resolve};
use readodds::{course, tag};
use std::path::Path;
use std::sync::Arc;

const SCENARIO: &str = "scenarios/river-half-rain-usa.toml";

fn small() -> Request {
    Request { races: 4, passings_per_race: 30, distance_curve: false, search: false, ..Request::default() }
}

fn redundancy(request: &Request) -> readodds::study::redundancy::Answer {
    let (course, _) = course::load(Path::new(SCENARIO)).expect("shipped");
    // A tag that misses often: few races are enough to see it.
    let (tag, _) = tag::load(Path::new("demo-data/tags/alder")).expect("shipped");
    let text = std::fs::read_to_string(SCENARIO).expect("shipped");
    let (catalogue, _) = catalogue::read(SCENARIO, &text, Path::new("scenarios")).expect("sound");
    let prepared = prepare(Arc::new(course), Arc::new(tag));
    answer(&prepared, &catalogue, request, &[], &|| false, &|_| {}).expect("an answer")
}

/// Lines share runners: no output may claim otherwise. Every joint rate keeps Fréchet's bounds, and an added line
/// never makes the misses more.
#[test]
fn no_output_calls_lines_independent_or_multiplies_their_rates() {
    let a = redundancy(&small());
    for text in [redundancy_text(&a), justification(&a)] {
        let low = text.to_lowercase();
        for word in ["independent", "multipl"] {
            assert!(!low.contains(word), "{word} in:\n{text}");
        }
        assert!(text.contains("second mats 3 m on") && text.contains("Invented"));
    }
    assert!(a.all.miss_rate > 1e-3, "a test without misses would see nothing: {}", a.all.miss_rate);
    let mut pairs = 0;
    for c in &a.candidates {
        let Some(p) = &c.pair else { continue };
        pairs += 1;
        assert!(p.both_missed <= p.first_missed.min(p.second_missed) * (1.0 + 1e-9));
        assert!(p.both_missed >= (p.first_missed + p.second_missed - 1.0).max(0.0));
        assert!(c.result.miss_rate <= a.all.miss_rate * (1.0 + 1e-9), "{}", c.name);
        let (r, gain) = (p.r.expect("misses"), p.true_gain.expect("misses"));
        assert!((r * gain - 1.0).abs() < 1e-9);
    }
    assert_eq!(pairs, 3, "copy, side pair and overhead pair come on top of what stands");
    // Alike lines: never below the product of the means (Jensen).
    let copy = a.candidates[0].pair.as_ref().expect("on top");
    assert!(copy.both_missed > copy.first_missed * copy.second_missed);
    let floor = a.floor.as_ref().expect("not broken off");
    assert!(
        (floor.after_crossings[0] / a.all.miss_rate - 1.0).abs() < 1e-9,
        "first crossing is the layout as it is"
    );
    assert!(floor.after_crossings.windows(2).all(|w| w[1] <= w[0] * (1.0 + 1e-9)));
    // Crossings alike but for chance: never below the product of the means (Jensen).
    let one = floor.after_crossings[0];
    for (k, rate) in floor.after_crossings.iter().enumerate() {
        assert!(*rate >= one.powi(k as i32 + 1), "{k}: {rate}");
    }
    for set in std::iter::once(&a.all).chain(&a.sets).chain(a.candidates.iter().map(|c| &c.result)) {
        assert!(set.miss_rate_low <= set.miss_rate && set.miss_rate <= set.miss_rate_high);
        assert!((0.0..=1.0).contains(&set.target_odds) && set.race_p05 <= set.race_p95);
    }
}

fn ranking(tags: [&str; 2]) -> rank_answer::Answer {
    let text = format!(
        "# Invented.\nname = \"small\"\nmissed_passing_cost = 5\n[[tag]]\nfolder = \"demo-data/tags/{}\"\n[[tag]]\nfolder = \"demo-data/tags/{}\"\n[[scenario]]\nname = \"wet\"\nfile = \"{SCENARIO}\"\nraces = 2\n[[what_if]]\nname = \"more\"\n[[what_if.change]]\nraces_times = 3\n",
        tags[0], tags[1]
    );
    let source = Source::new("small.toml", text);
    let (season, _) = file::from_source(source, String::new(), Path::new("")).expect("sound");
    let (resolved, _) = resolve::resolve(&season).expect("sound");
    let request = rank::Request {
        passings_per_race: 20,
        first_worlds: 4,
        most_worlds: 4,
        missed_passing_cost: season.missed_passing_cost,
        ..rank::Request::default()
    };
    let runs = rank::run(&resolved, &request, &|_| {}, &|| false);
    rank::answer(&season, &resolved, &runs, &request, &[]).expect("worlds were finished")
}

/// A tag's numbers do not depend on its place in the file, a what-if of three times the races misses three times as many,
/// and the text names the choice.
#[test]
fn the_order_of_tags_changes_nothing() {
    let (one, two) = (ranking(["alder", "birch"]), ranking(["birch", "alder"]));
    let of = |a: &rank_answer::Answer, v: usize, tag: &str| {
        a.variants[v].tags.iter().find(|t| t.tag == tag).expect("listed").missed
    };
    for tag in ["alder", "birch"] {
        // Plans are pooled over the tags in file order, so sums may differ in their last digits only.
        assert!((of(&one, 0, tag) - of(&two, 0, tag)).abs() <= 1e-9 * of(&one, 0, tag).max(1.0), "{tag}");
        assert!((of(&one, 1, tag) - 3.0 * of(&one, 0, tag)).abs() <= 1e-9 * of(&one, 1, tag).max(1.0));
    }
    assert!(of(&one, 0, "alder") > of(&one, 0, "birch"));
    assert_eq!(one.choice, two.choice);
    assert!(rank_text(&one).contains(&format!("Choose {}.", one.choice)));
}
