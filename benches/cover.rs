//! Do the 95 % simulation intervals cover? `cargo bench --bench cover [-- SEEDS]` runs each case with that many seeds (30 unless told) at the default
//! precision, holds every interval against one long run of a seed of its own, and prints the shares covered, the relative half-width and
//! the time of a run. The long run has 32 times the worlds of the first stage or more and is itself known to a fifth of a run's error.
//! With 30 seeds a cover of 95 % shows as 27 to 30 of 30 in 98 cases of 100 (binomial).

use readodds::estimate::replicates::Figure;
use readodds::estimate::run::Plan;
use readodds::passing::{Prepared, prepare};
use readodds::study::predict::{Forecast, predict};
use readodds::{course, tag};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

const CASES: [(&str, &str); 4] = [
    ("night-5k-humid-singapore", "birch"),
    ("half-marathon-rain-eu-lower", "birch"),
    ("trail-soaked-one-mat", "birch"),
    ("river-half-rain-usa", "cedar"),
];
const LONG_WORLDS: u64 = 4096;

fn prepared(scenario: &str, tag_name: &str) -> Prepared {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = root.join("scenarios").join(format!("{scenario}.toml"));
    let (course, _) = course::load(&path).expect("shipped scenario loads");
    let (tag, _) = tag::load(&root.join("demo-data/tags").join(tag_name)).expect("shipped tag loads");
    prepare(Arc::new(course), Arc::new(tag))
}

/// The figures held against the long run, of the last point.
fn figures(f: &Forecast) -> Vec<(&'static str, Figure)> {
    let p = f.points.last().expect("a point");
    let mut list = vec![
        ("miss rate", p.miss_rate),
        ("median race", p.race_to_race.median),
        ("95 % race", p.race_to_race.p95),
        ("promise broken", p.promise.breaks),
    ];
    if let Some(line) = p.lines.first() {
        list.push(("others miss too", line.missed_by_the_others_too));
    }
    list
}

fn main() {
    let seeds = std::env::args().skip(1).find_map(|word| word.parse::<u64>().ok()).unwrap_or(30);
    println!(
        "{:<32} {:<16} {:>9} {:>9} {:>10} {:>8}",
        "case", "figure", "truth", "covered", "half-width", "s a run"
    );
    for (scenario, tag_name) in CASES {
        let prepared = prepared(scenario, tag_name);
        let long = Plan { worlds: Some(LONG_WORLDS), passings_per_world: 64, ..Plan::new(777) };
        let truth = figures(&predict(&prepared, &long, &[], &|| false));
        let start = Instant::now();
        let runs: Vec<_> = (0..seeds)
            .map(|seed| figures(&predict(&prepared, &Plan::new(1000 + seed), &[], &|| false)))
            .collect();
        let each_s = start.elapsed().as_secs_f64() / seeds as f64;
        for (k, (name, exact)) in truth.iter().enumerate() {
            let covers = |f: &Figure| f.low <= exact.value && exact.value <= f.high;
            let covered = runs.iter().filter(|run| covers(&run[k].1)).count();
            let width = |f: &Figure| 0.5 * (f.high - f.low) / f.value.max(1e-12);
            let half: f64 = runs.iter().map(|run| width(&run[k].1)).sum::<f64>() / seeds as f64;
            println!(
                "{:<32} {name:<16} {:>9.3e} {:>9} {:>9.0} % {each_s:>8.2}",
                format!("{scenario} ({tag_name})"),
                exact.value,
                format!("{covered} of {seeds}"),
                100.0 * half
            );
        }
    }
}
