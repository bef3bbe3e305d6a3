//! The kernel under a profiler: `cargo bench --bench profile -- [scenario [tag [passings]]]` runs passings in their natural mix on one
//! thread and prints what they asked for. Instruction counts come from
//! `valgrind --tool=callgrind --toggle-collect='*natural_mix*' target/release/deps/profile-HASH [scenario [tag [passings]]]`.

use readodds::estimate::passings::{PassingWorkspace, crossing_of, runner_of, send};
use readodds::estimate::strata::{strata, to_index, weights};
use readodds::passing::pilot::pick;
use readodds::passing::{RaceContext, RaceDraw, prepare};
use readodds::{course, tag};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let word = |i: usize, default: &str| words.get(i).cloned().unwrap_or_else(|| default.into());
    let passings: u64 = word(2, "2000").parse().expect("a number of passings");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let scenario = root.join("scenarios").join(word(0, "half-marathon-rain-eu-lower") + ".toml");
    let (course, _) = course::load(&scenario).expect("shipped scenario loads");
    let (tag, _) = tag::load(&root.join("demo-data/tags").join(word(1, "birch"))).expect("shipped tag loads");
    let prepared = prepare(Arc::new(course), Arc::new(tag));
    let race = RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 1, 0));
    let mut space = PassingWorkspace::default();
    let start = Instant::now();
    let missed = natural_mix(&race, passings, &mut space);
    let seconds = start.elapsed().as_secs_f64();
    let each = |count: u64| count as f64 / passings as f64;
    println!(
        "{passings} passings of the first timing point: {:.1} rounds worked out, {:.1} spared by the bound, {:.2} µs, \
         {:.0} a second; mean miss odds {:.3e}",
        each(space.work.rounds_evaluated),
        each(space.work.rounds_skipped),
        1e6 * seconds / passings as f64,
        passings as f64 / seconds,
        missed / passings as f64,
    );
}

#[inline(never)]
fn natural_mix(race: &RaceContext, passings: u64, space: &mut PassingWorkspace) -> f64 {
    let course = &race.prepared.course;
    let strata = strata(course);
    let all = (1u64 << race.prepared.points[0].lines.len()) - 1;
    let weights = weights(course, &strata, &race.draw);
    let mut sum = 0.0;
    for k in 0..passings {
        let kind = pick(weights.iter().copied(), (((k * 1_237) % passings) as f64 + 0.5) / passings as f64);
        let passing = to_index(kind, k, strata.len());
        let runner = runner_of(race, &strata, 1, passing);
        let draw_at = |point| crossing_of(race, 1, passing, point);
        send(race, &runner, draw_at, &[Some((all, all))], space, |_, work| {
            sum += work.score_lines(all, race.offset_law).miss;
        });
    }
    sum
}
