//! What the estimators are worth on the demo finish with backup: variance × time against tossing a coin per passing.
//!
//! `cargo bench --bench variance` prints the table; `cargo bench --bench variance -- cedar` takes one tag.
//!
//! The tosser is the same engine: natural draws, race days shared by 400 passings, and each passing missed or not. Its
//! relative variance for n passings is (1 − p)/(n p), its time n times the time of one passing. Gain = how much longer the tosser
//! takes to the same relative standard error.

use readodds::estimate::rare::crossing::PointMiss;
use readodds::estimate::rare::{Request, estimate};
use readodds::estimate::run::{Plan, rates_and_errors, run};
use readodds::estimate::stop::Precision;
use readodds::{course, passing, tag};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

fn main() {
    let wanted = std::env::args().skip(1).find(|word| word != "--bench");
    println!(
        "{:<8} {:<6} {:<11} {:>10} {:>8} {:>10} {:>9} {:>12} {:>10}",
        "tag", "lines", "method", "rate", "CoV", "passings", "s", "tosser s", "gain"
    );
    for name in ["cedar", "birch"] {
        if wanted.as_ref().is_none_or(|wanted| wanted == name) {
            table(name);
        }
    }
}

fn table(name: &str) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let scenario = root.join("scenarios/half-marathon-rain-eu-lower.toml");
    let (course, _) = course::load(&scenario).expect("shipped scenario loads");
    let (tag, _) = tag::load(&root.join("demo-data/tags").join(name)).expect("shipped tag loads");
    let prepared = passing::prepare(Arc::new(course), Arc::new(tag));
    let finish = prepared.course.points.iter().position(|point| point.is_finish).expect("it has a finish");
    for (label, mask) in [("main", 1u64), ("both", 3u64)] {
        let masks: Vec<Vec<u64>> =
            (0..prepared.points.len()).map(|point| vec![if point == finish { mask } else { 1 }]).collect();
        let plan = |races, seed| Plan {
            seed,
            precision: Precision { relative: 0.05, absolute: 1e-12, max_passings: u64::MAX >> 8 },
            races: Some(races),
            passings_per_race: 400,
        };
        // The engine at work: race by race, strata, conditional odds. All points are run; a share of the time is the finish's.
        let start = Instant::now();
        let done = run(&prepared, &plan(60, 1), masks.clone(), &mut |_| true);
        let points = prepared.points.len() as f64;
        let seconds = start.elapsed().as_secs_f64() / points;
        let passings: u64 = done.rows.iter().map(|row| row.passings).sum();
        let per_passing = seconds / passings as f64;
        let (rate, error) = rates_and_errors(&done.rows)[finish];
        report(name, label, "race rows", rate, error / rate, passings, seconds, per_passing);

        let problem = PointMiss::new(&prepared, finish, mask, 1);
        let start = Instant::now();
        let answer = estimate(&problem, &Request { max_calls: 400_000, ..Request::new(1) });
        let seconds = start.elapsed().as_secs_f64();
        report(
            name,
            label,
            answer.method.name(),
            answer.mean,
            answer.cov,
            answer.calls + answer.pilot_calls,
            seconds,
            per_passing,
        );
        for note in &answer.notes {
            println!("         {note}");
        }
        println!(
            "         95 % {:.3e} to {:.3e}, {:.0} effective misses, largest share {:.1} %",
            answer.interval.low,
            answer.interval.high,
            answer.effective_misses,
            100.0 * answer.largest_share
        );
    }
}

#[allow(clippy::too_many_arguments)]
fn report(
    name: &str,
    lines: &str,
    method: &str,
    rate: f64,
    cov: f64,
    passings: u64,
    seconds: f64,
    per_passing: f64,
) {
    let tosser = (1.0 - rate) / (rate * cov * cov) * per_passing;
    println!(
        "{name:<8} {lines:<6} {method:<11} {rate:>10.3e} {:>7.1}% {passings:>10} {seconds:>9.2} {tosser:>12.3e} {:>10.1}",
        100.0 * cov,
        tosser / seconds
    );
}
