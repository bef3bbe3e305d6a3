//! Problems with exact answers. The full table (100 repetitions, all problems) is `cargo bench --bench rare`.

use super::known::KNOWN;
use super::{Estimate, Method, Problem, Request, Score, estimate};

const REPETITIONS: u64 = 10;

fn repeat(name: &str, method: Option<Method>, max_calls: u64) -> Vec<Estimate> {
    let problem = KNOWN.iter().find(|problem| problem.name == name).expect("a listed problem");
    (0..REPETITIONS)
        .map(|seed| estimate(problem, &Request { method, max_calls, ..Request::new(seed) }))
        .collect()
}

fn exact(name: &str) -> f64 {
    KNOWN.iter().find(|problem| problem.name == name).expect("a listed problem").exact
}

/// Intervals that hold the exact value in 95 % of all cases do so in at least 6 of 10 repetitions but for odds of 6e-5;
/// the mean of ten estimates of 10 % lies within 20 % of the exact value (6 standard errors).
fn check(name: &str, answers: &[Estimate]) {
    let covered = answers.iter().filter(|answer| answer.interval.contains(exact(name))).count();
    assert!(covered >= 7, "{name}: {covered} of {REPETITIONS} intervals hold the exact value");
    let mean = answers.iter().map(|answer| answer.mean).sum::<f64>() / answers.len() as f64;
    assert!((mean / exact(name) - 1.0).abs() < 0.2, "{name}: mean {mean}");
    assert!(answers.iter().all(|answer| answer.interval.low > 0.0 && answer.replications >= 10));
}

/// Source: exact values by one-dimensional quadrature with SciPy 1.17.1 (relative tolerance 1e-11), problems of the
/// TNO black-box reliability challenge 2019: several regions (four-branch, RP75), a gradient that misleads (RP110), many
/// dimensions (linear, 50), a parallel system (RP25). Tolerance: the interval each run reports.
#[test]
fn val_importance_covers_exact_answers() {
    for name in ["linear d=2 1e-6", "linear d=50 3 sigma", "four-branch k=7", "RP25", "RP75", "RP110"] {
        let answers = repeat(name, None, 1_000_000);
        check(name, &answers);
        for answer in answers {
            assert_eq!(answer.method, Method::Importance, "{name}: {:?}", answer.notes);
            assert!(answer.pilot_calls + answer.calls < 20_000, "{name}: {} calls", answer.calls);
        }
    }
}

/// Source: as above; problems frequent enough for ordinary points. Tolerance: the interval each run reports.
#[test]
fn val_plain_and_sobol_cover_exact_answers() {
    for method in [Method::Plain, Method::Sobol] {
        for name in ["RP53", "RP57"] {
            check(name, &repeat(name, Some(method), 8000));
        }
    }
}

/// Two strata with exact rates 0.3 and 1e-4 and weights 0.01 and 0.99: p = 0.003099. One coordinate decides.
struct TwoCauses;

impl Problem for TwoCauses {
    fn lead_dims(&self) -> usize {
        1
    }
    fn strata(&self) -> &[f64] {
        &[0.01, 0.99]
    }
    fn score(&self, stratum: usize, point: &[f64], _index: u64) -> Score {
        let limit = [0.3, 1e-4][stratum];
        let miss_odds = if point[0] < limit { 1.0 } else { 0.0 };
        Score { miss_odds, severity: -libm::log(point[0] / limit) }
    }
}

/// The strata weights are exact: every method agrees with the closed form, and Neyman allocation beats plain sampling
/// at equal cost. Exact variances: plain n·CoV² = (1 − p)/p = 322; with the best allocation
/// (Σ w √(p(1−p)))²/p² = 22. The squared errors of ten runs each differ by a factor of 14 in expectation; a ratio under 2
/// has odds below 1e-3 (F with 10 and 10 degrees of freedom, 7.3 times too small).
#[test]
fn strata_are_exact_and_pay() {
    let exact = 0.01 * 0.3 + 0.99 * 1e-4;
    let mut squares = Vec::new();
    for method in [Method::Plain, Method::Stratified, Method::Importance] {
        let mut sum = 0.0;
        for seed in 0..REPETITIONS {
            let request = Request { method: Some(method), max_calls: 20_000, ..Request::new(seed) };
            let answer = estimate(&TwoCauses, &request);
            assert!((answer.mean / exact - 1.0).abs() < 6.0 * answer.cov, "{method:?} {answer:?}");
            sum += (answer.mean / exact - 1.0).powi(2);
        }
        squares.push(sum);
    }
    assert!(squares[0] > 2.0 * squares[1], "{squares:?}");
}

/// Nothing to find: the answer is "fewer than", not zero.
struct Never;

impl Problem for Never {
    fn lead_dims(&self) -> usize {
        3
    }
    fn score(&self, _stratum: usize, point: &[f64], _index: u64) -> Score {
        Score { miss_odds: 0.0, severity: point[0] }
    }
}

#[test]
fn no_hit_gives_an_upper_limit_and_says_so() {
    let answer = estimate(&Never, &Request { max_calls: 20_000, ..Request::new(1) });
    assert_eq!((answer.method, answer.mean, answer.interval.low), (Method::Plain, 0.0, 0.0));
    // 1 − 0.025^(1/n) with n = 20000 less what does not divide by the replications
    assert_eq!(answer.calls, 19_992);
    assert!((answer.interval.high / 1.84496e-4 - 1.0).abs() < 1e-4, "{answer:?}");
    assert!(
        answer.notes.iter().any(|note| note.contains("plain sampling was used instead")),
        "{:?}",
        answer.notes
    );
    assert!(answer.notes.iter().any(|note| note.contains("no miss in 19992 passings")), "{:?}", answer.notes);
}

/// A corner in eight dimensions far from every scan line and every slope: severity says nothing.
struct HiddenCorner;

impl Problem for HiddenCorner {
    fn lead_dims(&self) -> usize {
        8
    }
    fn score(&self, _stratum: usize, point: &[f64], _index: u64) -> Score {
        let hit = point.iter().all(|&u| u < 0.46);
        Score { miss_odds: if hit { 1.0 } else { 0.0 }, severity: 0.0 }
    }
}

/// 0.46^8 = 0.002005. Whatever the method, the interval must not exclude the truth in more than 3 of 10 runs (odds 1e-3).
#[test]
fn a_blind_severity_is_not_silently_wrong() {
    let exact = libm::pow(0.46, 8.0);
    let held = (0..REPETITIONS)
        .filter(|&seed| {
            estimate(&HiddenCorner, &Request { max_calls: 50_000, ..Request::new(seed) })
                .interval
                .contains(exact)
        })
        .count();
    assert!(held >= 7, "{held}");
}

/// Same seed, same bytes, on one thread and on four.
#[test]
fn threads_change_nothing() {
    let problem = &KNOWN[4];
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a small pool");
        let answer = pool.install(|| estimate(problem, &Request::new(5)));
        (answer.mean.to_bits(), answer.interval.high.to_bits(), answer.calls, answer.pilot_calls)
    };
    assert_eq!(on(1), on(4));
}
