//! How fast one passing is: `cargo bench --bench passing`. Timings live here, never in tests.

use readodds::estimate::passings::{PassingWorkspace, crossing_of, runner_of, send};
use readodds::estimate::strata::{strata, to_index, weights};
use readodds::passing::pilot::pick;
use readodds::passing::{Prepared, RaceContext, RaceDraw, prepare};
use readodds::{course, tag};
use std::path::Path;
use std::sync::Arc;

fn main() {
    divan::main();
}

fn prepared(scenario: &str, tag_name: &str) -> Prepared {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (course, _) = course::load(&root.join("scenarios").join(scenario)).expect("shipped scenario loads");
    let (tag, _) = tag::load(&root.join("demo-data/tags").join(tag_name)).expect("shipped tag loads");
    prepare(Arc::new(course), Arc::new(tag))
}

const PASSINGS: u64 = 2000;

/// Passings in their natural mix past point 0 of a scenario.
fn natural(bencher: divan::Bencher, scenario: &str, tag_name: &str) {
    let prepared = prepared(scenario, tag_name);
    let strata = strata(&prepared.course);
    let all = (1u64 << prepared.points[0].lines.len()) - 1;
    let race = RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, 0));
    let weights = weights(&prepared.course, &strata, &race.draw);
    let kinds: Vec<usize> = (0..PASSINGS)
        .map(|i| pick(weights.iter().copied(), ((i * 1_237) % PASSINGS) as f64 / PASSINGS as f64))
        .collect();
    let mut space = PassingWorkspace::default();
    bencher.counter(divan::counter::ItemsCount::new(PASSINGS)).bench_local(|| {
        let mut sum = 0.0;
        for (k, &kind) in kinds.iter().enumerate() {
            let passing = to_index(kind, k as u64, strata.len());
            let runner = runner_of(&race, &strata, 1, passing);
            let draw_at = |point| crossing_of(&race, 1, passing, point);
            send(&race, &runner, draw_at, &[Some((all, all))], &mut space, |_, work| {
                sum += work.score_lines(all, race.offset_law).miss;
            });
        }
        sum
    });
    eprintln!(
        "{scenario} {tag_name}: {} rounds worked out, {} skipped by the bound",
        space.work.rounds_evaluated, space.work.rounds_skipped
    );
}

#[divan::bench(sample_count = 5, sample_size = 1, args = ["birch", "cedar", "alder"])]
fn four_mats_rain(bencher: divan::Bencher, tag_name: &str) {
    natural(bencher, "half-marathon-rain-eu-lower.toml", tag_name);
}

#[divan::bench(sample_count = 5, sample_size = 1, args = ["birch", "alder"])]
fn four_panels_dry(bencher: divan::Bencher, tag_name: &str) {
    natural(bencher, "city-10k-dry-usa.toml", tag_name);
}
