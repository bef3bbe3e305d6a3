//! What drives the misses: known shares of reduced scenarios, and the answer in all its forms.

mod common;

use common::{Reduced, flat_tag};
use readodds::random::quantity::Quantity;
use readodds::report::{drivers_text::drivers_text, pages::drivers::page};
use readodds::study::drivers::{Answer, FLOOR, Request, answer};

const SMALL: Request =
    Request { seed: 1, point: None, points: 32, passing_points: 32, replications: 6, passings_per_race: 2 };

/// A pinned runner with an incident power of −1.697 dBm past a tag of this threshold; offset of the sample 0 ± 2 dB.
fn run(threshold_dbm: f64, batch_sd_db: f64, lab_sd_db: f64) -> Answer {
    let reduced = Reduced {
        beliefs: "sample_offset_db = { mean = 0, sd = 2.0 }",
        point: "lateral_m = 2.0",
        ..Reduced::PLAIN
    };
    let mut tag = flat_tag(threshold_dbm, -6.0);
    tag.spread.lab_bias_sd_db = lab_sd_db;
    let mut course = reduced.course();
    course.beliefs.batch_offset_db = Quantity::Normal { mean: 0.0, sd: batch_sd_db };
    let prepared = readodds::passing::prepare(course.into(), tag.into());
    answer(&prepared, &SMALL, &[], &|| false, &|_| {}).expect("an answer")
}

/// Source: I. M. Sobol', Math. Comput. Simul. 55 (2001): for a sum of terms with nothing in common each first-order and total
/// index is the term's share of the variance. Batch (sd 0.3 dB) and laboratory (sd 0.6 dB) add up in every threshold, and the log odds of
/// a normal tail are all but straight over ±1.3 dB at a spread of 2 dB (the logistic law is within 0.01 of the normal one, N. L.
/// Johnson, S. Kotz, Continuous Univariate Distributions 2, 1970, from memory): shares 0.2 and 0.8. Tolerance 0.03; the ratio's noise
/// over 6 scrambled replications of 32 points is below 0.01.
#[test]
fn val_shares_of_a_sum() {
    let a = run(-1.7, 0.3, 0.6);
    let split = a.race_day.as_ref().expect("it varies");
    assert_eq!(split.drivers.len(), 2, "all else is pinned");
    for (driver, share) in split.drivers.iter().zip([0.8, 0.2]) {
        assert!((driver.total.mean - share).abs() < 0.03, "{driver:?}");
        assert!((driver.first_order.mean - share).abs() < 0.03, "{driver:?}");
        let (low, high) = (driver.total.low.expect("six"), driver.total.high.expect("six"));
        assert!(low < driver.total.mean && driver.total.mean < high && high - low < 0.2);
    }
    assert_eq!(split.drivers[0].name, "laboratory bias");
    assert_eq!(split.on_floor, 0.0);
    // Swings, closed form: the tail of the normal law at −1.697 + 1.7 dB less 1.645 standard deviations of the input.
    let tail = |offset_db: f64| 0.5 * libm::erfc((-1.6974 + 1.7 - offset_db) / 2.0 / 2f64.sqrt());
    for (name, sd) in [("laboratory bias", 0.6), ("batch offset", 0.3)] {
        let swing = a.race_day_swings.iter().find(|s| s.name == name).expect("listed");
        let ends = [swing.miss_rate_at_low, swing.miss_rate_at_high];
        for (rate, z) in ends.into_iter().zip([-1.644_854, 1.644_854]) {
            assert!((rate / tail(z * sd) - 1.0).abs() < 0.01, "{name}: {rate} {}", tail(z * sd));
        }
    }
    assert_eq!(a.race_day_swings[0].name, "laboratory bias", "widest first");
}

/// A tag that always wakes: the log odds stand on the floor, nothing is split, and the text says so instead of dividing by zero.
#[test]
fn on_the_floor_nothing_is_split() {
    let a = run(-40.0, 0.3, 0.6);
    assert!(a.race_day.is_none() && a.one_passing.is_none());
    assert!(a.middle_miss_rate.expect("run") < FLOOR);
    let text = drivers_text(&a);
    assert!(text.contains("Nothing"), "{text}");
    assert!(!text.contains("NaN") && page(&a).answer.contains("Nothing"));
}

/// The same request gives the same bytes on one thread and on two.
#[test]
fn threads_change_nothing() {
    let json = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| serde_json::to_string(&run(-1.7, 0.3, 0.6)).expect("plain data"))
    };
    assert!(json(1) == json(2));
}
