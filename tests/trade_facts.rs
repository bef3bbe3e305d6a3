//! Facts of the trade, marked common practice, on the demo tags and scenarios.

mod common;

use common::{demo, demo_tag};
use readodds::estimate::run::Plan;
use readodds::study::predict::predict;
use readodds::units::free_space_loss_db;

const TAGS: [&str; 5] = ["alder", "birch", "cedar", "dogwood", "elm"];

/// Source: common practice: in free air at 10 m any decent tag at legal power still reads, so that test says little. Linear antenna,
/// each tag in the band it is made for: 4 W EIRP at 915 MHz, 2 W ERP at 866.5 MHz. Tolerance: the sign of the margin.
#[test]
fn val_every_tag_wakes_in_free_air_at_ten_metres() {
    for name in TAGS {
        let (freq_mhz, eirp_dbm) = if name == "dogwood" { (866.5, 35.16) } else { (915.0, 36.02) };
        let (threshold_dbm, _) = demo_tag(name).curve.value(freq_mhz, f64::INFINITY);
        let margin_db = eirp_dbm - free_space_loss_db(freq_mhz, 10.0) - threshold_dbm;
        assert!(margin_db > 0.0, "{name} at {freq_mhz}: {margin_db}");
    }
}

/// Source: common practice: differences between tags grow from free air to 10 mm over the body to close on it. Range of
/// thresholds over the five tags at 866.5 and 915 MHz. Tolerance: 0.5 dB, then 3 dB more.
#[test]
fn val_differences_grow_towards_the_body() {
    for freq_mhz in [866.5, 915.0] {
        let range = |gap_mm: f64| {
            let values: Vec<f64> = TAGS.iter().map(|t| demo_tag(t).curve.value(freq_mhz, gap_mm).0).collect();
            values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
                - values.iter().copied().fold(f64::INFINITY, f64::min)
        };
        let (free, near, close) = (range(f64::INFINITY), range(12.0), range(2.5));
        assert!(near > free + 0.5 && close > near + 3.0, "{freq_mhz}: {free} {near} {close}");
    }
}

/// Source: common practice: the promise is better than 99.8 %; a body-tolerant tag on four mats keeps it in rain, a plain
/// dipole does not, and the soaked bib close to the body is the worst case. Tolerance: within a factor of two of the
/// promise, and five times beyond it; rates differ by orders of magnitude, 32 worlds are ample.
#[test]
fn val_rain_tells_tags_apart() {
    let rate = |tag: &str| {
        let prepared = demo("half-marathon-rain-eu-lower.toml", tag);
        let plan = Plan { worlds: Some(32), ..Plan::new(1) };
        let first = predict(&prepared, &plan, &[], &|| false).points.swap_remove(0);
        (first.miss_rate.value, first.miss_rate.value * first.by_wetness[2].of_misses)
    };
    let (tolerant, _) = rate("birch");
    let (plain, plain_soaked) = rate("alder");
    // Around or above 99.8 %: within a factor of two of the promise at every point.
    assert!(tolerant < 0.004, "{tolerant}");
    assert!(plain > 0.02, "{plain}");
    assert!(plain_soaked > 0.6 * plain, "{plain_soaked} of {plain}");
}

/// Source: common practice: dry, at legal power, a decent tag is read better than 99 % on mats alone and on panels alone. Ours: 99.98 % on mats;
/// on panels 99.9 % of the bibs worn in front or aside, about 99 % of all, since panels that face the runners hardly see bibs on the back.
/// Tolerance: 1 % missed on mats and on panels without the back, 2 % on panels in all.
#[test]
fn val_dry_runners_are_read_on_mats_alone_and_on_panels_alone() {
    let prepared = demo("city-10k-dry-usa.toml", "birch");
    let plan = Plan { worlds: Some(32), ..Plan::new(1) };
    let points = predict(&prepared, &plan, &[], &|| false).points;
    let (panels, mats) = (&points[0], &points[1]);
    assert!(mats.miss_rate.value < 0.01, "{}", mats.miss_rate.value);
    let on_the_back =
        panels.by_placement.iter().find(|p| p.name.contains("back")).expect("a row for the back");
    assert!(panels.miss_rate.value < 0.02, "{}", panels.miss_rate.value);
    assert!(panels.miss_rate.value * (1.0 - on_the_back.of_misses) < 0.01);
}

/// Source: common practice: 3 dB less threshold is 'twice as good': half the power wakes it, or 1.41 times the range. Tolerance: 1e-4.
#[test]
fn val_three_decibels_are_twice_as_good() {
    let ratio = readodds::units::db_to_power_ratio(3.0103);
    assert!((ratio - 2.0).abs() < 1e-4 && (ratio.sqrt() - std::f64::consts::SQRT_2).abs() < 1e-4);
}
