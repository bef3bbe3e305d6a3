//! What the misses hinge on: known shares of reduced scenarios, and the answer in all its forms.

mod common;

use common::{Reduced, demo, flat_tag};
use readodds::estimate::checkpoint::Kept;
use readodds::estimate::run::Plan;
use readodds::random::quantity::Quantity;
use readodds::report::{drivers_text::drivers_text, pages::drivers::page};
use readodds::study::drivers::{Answer, answer};
use readodds::study::predict::predict;

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
    answer(&prepared, &Plan::new(1), None, &[], &mut Kept::nowhere(), &|| false, &mut |_| {})
        .expect("an answer")
}

/// Source: I. M. Sobol', Math. Comput. Simul. 55 (2001): for a sum of terms with nothing in common each first-order index is the
/// term's share of the variance. Batch (sd 0.3 dB) and laboratory (sd 0.6 dB) add up in every threshold, and the logarithm of a normal
/// tail at half of the tags missed is nearly straight over ±1.3 dB at a spread of 2 dB: shares 0.2 and 0.8. Tolerance 0.05: twenty parts of
/// an unknown leave 2 % of its own variance within the parts (normal law, twenty equal parts).
#[test]
fn val_shares_of_a_sum() {
    let a = run(-1.7, 0.3, 0.6);
    for (driver, (key, share)) in a.drivers.iter().zip([("lab_bias_db", 0.8), ("batch_offset_db", 0.2)]) {
        assert_eq!(driver.key, key);
        assert!((driver.share.value - share).abs() < 0.05, "{driver:?}");
        assert!(driver.share.low <= driver.share.value && driver.share.value <= driver.share.high);
        assert!(driver.clear);
    }
    assert!(a.first_known && a.second_known);
    assert!(a.drivers[2..].iter().all(|d| d.share.value < 0.02), "all else is switched off");
    // The laboratory's bias stays until measured, the batch is one day's.
    assert!(a.drivers[0].nobody_knows && !a.drivers[1].nobody_knows);
    assert!(a.drivers[0].miss_rate_at_low.value < a.drivers[0].miss_rate_at_high.value);
}

/// A tag that always wakes: nothing decides anything, and the text says so instead of dividing by zero.
#[test]
fn where_nothing_is_missed_nothing_decides() {
    let a = run(-40.0, 0.3, 0.6);
    let text = drivers_text(&a);
    assert!(text.contains("No unknown stands out") || text.contains("is pinned"), "{text}");
    assert!(!text.contains("NaN") && !page(&a).answer.contains("NaN"));
}

/// The same worlds as a forecast: the same numbers to the last bit.
#[test]
fn drivers_and_predict_agree() {
    let prepared = demo("trail-soaked-one-mat.toml", "alder");
    let plan = Plan { worlds: Some(64), passings_per_world: 40, ..Plan::new(3) };
    let forecast = predict(&prepared, &plan, &[], &|| false);
    let a =
        answer(&prepared, &plan, None, &[], &mut Kept::nowhere(), &|| false, &mut |_| {}).expect("an answer");
    let point = forecast.points.iter().find(|p| p.name == a.point).expect("the same point");
    assert_eq!(a.miss_rate, point.miss_rate);
    assert_eq!(a.promise, point.promise);
    assert_eq!(serde_json::to_string(&a.drivers).unwrap(), serde_json::to_string(&point.drivers).unwrap());
}
