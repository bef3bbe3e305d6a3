//! How races differ must not depend on how many passings a world gets.

mod common;

use common::demo;
use readodds::estimate::run::Plan;
use readodds::study::predict::predict;

/// Noise of few passings widens the spread between race days unless it is taken out: 40, 120 and 400 passings a world must give the same
/// 5, 50 and 95 % of races and the same probability that the promise breaks, within their own 95 % intervals (on the same 64 worlds;
/// twelve comparisons of two intervals each: chance that one pair does not overlap below 5 %, seed fixed).
#[test]
fn the_spread_does_not_depend_on_the_passings_of_a_world() {
    let prepared = demo("river-half-rain-usa.toml", "birch");
    let told: Vec<_> = [40, 120, 400]
        .into_iter()
        .map(|passings| {
            let plan = Plan { worlds: Some(64), passings_per_world: passings, ..Plan::new(2) };
            let point = predict(&prepared, &plan, &[], &|| false).points.swap_remove(0);
            let r = point.race_to_race;
            [r.p05, r.median, r.p95, point.promise.breaks]
        })
        .collect();
    for (i, one) in told.iter().enumerate() {
        for other in &told[i + 1..] {
            for (a, b) in one.iter().zip(other) {
                assert!(a.low <= b.high && b.low <= a.high, "{a:?} {b:?}");
            }
        }
    }
    // Few passings know less, they do not say something else: the medians lie within a third of each other.
    let medians: Vec<f64> = told.iter().map(|t| t[1].value).collect();
    assert!(medians.iter().all(|m| (m / medians[2] - 1.0).abs() < 0.33), "{medians:?}");
}
