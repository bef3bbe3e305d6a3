//! Coverage and cost of the rare-miss estimator on problems with exact answers.
//!
//! "calls 10%" is what a coefficient of variation of 10 % costs: the pilot, plus the second stage scaled to it. Beside it stand the
//! figures measured with OpenTURNS 1.27.post1 (20 to 60 runs each): calls, and the coefficient of variation reached with them.
//!
//! `cargo bench --bench rare` prints the table; `cargo bench --bench rare -- 20 RP110` limits repetitions and problems.

use readodds::estimate::rare::known::KNOWN;
use readodds::estimate::rare::{Method, Request, estimate};
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let repetitions: u64 = arguments.iter().find_map(|word| word.parse().ok()).unwrap_or(100);
    let wanted = arguments.iter().find(|word| word.parse::<u64>().is_err());
    println!(
        "{:<20} {:>9} {:>7} {:>9} {:>9} {:>8} {:>8} {:>8} {:>9} {:>6} {:>8}",
        "problem",
        "exact",
        "covered",
        "mean/p",
        "real CoV",
        "said CoV",
        "pilot",
        "second",
        "calls 10%",
        "plain",
        "ms/run"
    );
    println!("{:>124}", "OpenTURNS 1.27.post1: calls and CoV reached");
    for problem in KNOWN {
        if wanted.is_some_and(|name| !problem.name.contains(name.as_str())) {
            continue;
        }
        let (mut covered, mut fell_back, mut pilot, mut calls) = (0, 0, 0, 0);
        let (mut sum, mut squares, mut said) = (0.0, 0.0, 0.0);
        let start = Instant::now();
        for seed in 0..repetitions {
            let answer = estimate(problem, &Request::new(1000 + seed));
            covered += u64::from(answer.interval.contains(problem.exact));
            fell_back += u64::from(answer.method == Method::Plain);
            pilot += answer.pilot_calls;
            calls += answer.calls;
            sum += answer.mean / problem.exact;
            squares += (answer.mean / problem.exact).powi(2);
            said += answer.cov;
        }
        let count = repetitions as f64;
        let mean = sum / count;
        let real = (squares / count - mean * mean).max(0.0).sqrt();
        let second = calls as f64 / count;
        // The pilot is paid once; the second stage scales with the square of the error.
        let for_ten = pilot as f64 / count + second * (real / 0.1) * (real / 0.1);
        println!(
            "{:<20} {:>9.3e} {:>3}/{:<3} {:>9.4} {:>8.1}% {:>7.1}% {:>8.0} {:>8.0} {:>9.0} {:>6} {:>8.1}   {}",
            problem.name,
            problem.exact,
            covered,
            repetitions,
            mean,
            100.0 * real,
            100.0 * said / count,
            pilot as f64 / count,
            second,
            for_ten,
            fell_back,
            start.elapsed().as_secs_f64() * 1e3 / count,
            problem.library
        );
    }
}
