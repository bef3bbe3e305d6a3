//! What the estimators are worth on the demo finish with backup: variance × time against tossing a coin per passing.
//!
//! `cargo bench --bench variance` prints the table; `cargo bench --bench variance -- cedar` takes one tag,
//! `-- cedar plain stratified` other estimators than the one chosen by the pilot, `-- dogwood +1.7dB` all ports of the course weaker by 1.7 dB
//! (`-5dB`: stronger), which moves the rate to where one wants to look, and `-- dogwood 2%` another relative error than 10 %.
//! A rate near 1e-3 with both lines: `-- dogwood +2.1dB 2%`; near 1e-6: `-- dogwood -5dB`.
//!
//! The tosser is the same engine and the same kernel: natural draws, race days shared by 400 passings, and each passing missed or
//! not. Its relative variance for n passings is (1 − p)/(n p), its time n times the time of one passing. Gain = how much
//! longer the tosser takes to the same relative standard error.

use readodds::estimate::rare::crossing::PointMiss;
use readodds::estimate::rare::{Method, Request, estimate};
use readodds::estimate::run::{Plan, rates_and_errors, run};
use readodds::estimate::stop::Precision;
use readodds::{course, passing, tag};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

const TAGS: [&str; 5] = ["alder", "dogwood", "elm", "cedar", "birch"];

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let has = |word: &str| words.iter().any(|w| w == word);
    let methods: Vec<Option<Method>> = [Method::Plain, Method::Stratified, Method::Sobol, Method::Importance]
        .into_iter()
        .filter(|method| has(method.name()))
        .map(Some)
        .collect();
    let number = |end: &str| {
        words.iter().filter_map(|word| word.strip_suffix(end)).find_map(|word| word.parse::<f64>().ok())
    };
    let case = Case { weaker_db: number("dB").unwrap_or(0.0), error: number("%").unwrap_or(10.0) / 100.0 };
    let methods = if methods.is_empty() { vec![None] } else { methods };
    println!(
        "{:<8} {:<6} {:<11} {:>10} {:>8} {:>8} {:>8} {:>8} {:>9} {:>8} {:>12} {:>10}",
        "tag",
        "lines",
        "method",
        "rate",
        "CoV",
        "pilot",
        "second",
        "n CoV²",
        "s",
        "µs each",
        "tosser s",
        "gain"
    );
    for name in TAGS {
        if has(name) || !TAGS.iter().any(|name| has(name)) {
            table(name, &case, &methods);
        }
    }
}

struct Case {
    weaker_db: f64,
    /// Relative standard error asked for.
    error: f64,
}

fn table(name: &str, case: &Case, methods: &[Option<Method>]) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let scenario = root.join("scenarios/half-marathon-rain-eu-lower.toml");
    let (mut course, _) = course::load(&scenario).expect("shipped scenario loads");
    let readers =
        course.points.iter_mut().flat_map(|point| &mut point.lines).flat_map(|line| &mut line.readers);
    for antenna in readers.flat_map(|reader| &mut reader.antennas) {
        antenna.power_dbm -= case.weaker_db;
    }
    let (tag, _) = tag::load(&root.join("demo-data/tags").join(name)).expect("shipped tag loads");
    let prepared = passing::prepare(Arc::new(course), Arc::new(tag));
    let finish = prepared.course.points.iter().position(|point| point.is_finish).expect("it has a finish");
    for (label, mask) in [("main", 1u64), ("both", 3u64)] {
        let masks: Vec<Vec<u64>> =
            (0..prepared.points.len()).map(|point| vec![if point == finish { mask } else { 1 }]).collect();
        let plan = Plan {
            seed: 1,
            precision: Precision { relative: 0.05, absolute: 1e-12, max_passings: u64::MAX >> 8 },
            races: Some(60),
            passings_per_race: 400,
            estimator: Default::default(),
        };
        // The engine at work: race by race, strata, conditional odds. All points are run; a share of the time is the finish's.
        let start = Instant::now();
        let done = run(&prepared, &plan, masks.clone(), &mut |_| true);
        let seconds = start.elapsed().as_secs_f64() / prepared.points.len() as f64;
        let passings: u64 = done.rows.iter().map(|row| row.passings).sum();
        let per_passing = seconds / passings as f64;
        let (rate, error) = rates_and_errors(&done.rows)[finish];
        let row = Row { name, label, rate, cov: error / rate, pilot: 0, second: passings, seconds };
        row.print("race rows", per_passing);
        for &method in methods {
            let start = Instant::now();
            let request = Request { max_calls: 400_000, method, target_cov: case.error, ..Request::new(1) };
            let problem = PointMiss::new(&prepared, finish, mask, 1);
            let answer = estimate(&problem, &request);
            let row = Row {
                name,
                label,
                rate: answer.mean,
                cov: answer.cov,
                pilot: answer.pilot_calls,
                second: answer.calls,
                seconds: start.elapsed().as_secs_f64(),
            };
            row.print(answer.method.name(), per_passing);
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
}

struct Row<'a> {
    name: &'a str,
    label: &'a str,
    rate: f64,
    cov: f64,
    pilot: u64,
    second: u64,
    seconds: f64,
}

impl Row<'_> {
    fn print(&self, method: &str, per_passing: f64) {
        let tosser = (1.0 - self.rate) / (self.rate * self.cov * self.cov) * per_passing;
        println!(
            "{:<8} {:<6} {method:<11} {:>10.3e} {:>7.1}% {:>8} {:>8} {:>8.1} {:>9.2} {:>8.0} {tosser:>12.3e} {:>10.1}",
            self.name,
            self.label,
            self.rate,
            100.0 * self.cov,
            self.pilot,
            self.second,
            self.second as f64 * self.cov * self.cov,
            self.seconds,
            1e6 * self.seconds / (self.pilot + self.second) as f64,
            tosser / self.seconds
        );
    }
}
