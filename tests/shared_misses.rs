//! Shared misses through the simulator: scenarios reduced to laws whose joint miss odds are known.

mod common;

use common::{Reduced, flat_tag};
use readodds::course::field::Placement;
use readodds::estimate::shared_misses::JointMiss;
use readodds::passing::{Prepared, prepare};
use readodds::random::quantity::Quantity;
use readodds::random::transform::normal_quantile;
use readodds::study::redundancy::floor::after_crossings;
use readodds::study::strata::Plan;
use readodds::units::free_space_loss_db;

/// Spread of the margin over the place across the road, dB: the runner's distance is log-normal, so the margin in dB is normal.
const PLACE_SD_DB: f64 = 2.0;
const RACES: u64 = 12;

/// A lossless link of 36 dBm to a tag that passes 2 m beside the antenna (median), with a middle margin of `margin_db`. Each crossing
/// has a place of its own; the sample's offset is the runner's.
fn reduced(margin_db: f64, offset_sd_db: f64) -> (readodds::course::Course, readodds::tag::Tag) {
    let ln_sd = PLACE_SD_DB * std::f64::consts::LN_10 / 20.0;
    let point = format!("lateral_m = {{ median = 2.0, ln_sd = {ln_sd} }}");
    let mut course = Reduced { point: &point, ..Reduced::PLAIN }.course();
    course.beliefs.sample_offset_db = Some(Quantity::Normal { mean: 0.0, sd: offset_sd_db });
    (course, flat_tag(36.0 - free_space_loss_db(915.0, 2.0) - margin_db, -6.0))
}

/// Miss rates after one, two and three crossings, each with its standard error over races.
fn rates(prepared: &Prepared, plan: &[u32]) -> [(f64, f64); 3] {
    let list = after_crossings(prepared, 0, 1, &Plan(plan.to_vec()), 1, RACES, 3, &|| false);
    let n = RACES as f64;
    std::array::from_fn(|k| {
        let mean = list.iter().map(|race| race[k]).sum::<f64>() / n;
        let squares: f64 = list.iter().map(|race| (race[k] - mean) * (race[k] - mean)).sum();
        (mean, (squares / (n * (n - 1.0))).sqrt())
    })
}

/// Five standard errors (Student's t, 11 degrees: false-alarm odds 4e-4 for each) plus 0.3 % for the round that falls beside the nearest
/// place; the error itself must be small, or the test would see nothing.
fn near(what: &str, (mean, error): (f64, f64), value: f64) {
    assert!((mean - value).abs() < 5.0 * error + 0.003 * value, "{what}: {mean} ± {error}, {value}");
    assert!(error < 0.06 * value, "{what}: {error} against {value} sees nothing");
}

/// Source: one-factor normal law of joint defaults (O. A. Vasicek, Loan portfolio value, Risk, December 2002, from memory): with
/// p = .01 and correlation ρ two alike lines both miss with odds 5.563285e-4 (ρ = .3), 1.293924e-3 (ρ = .5), three with
/// 7.107696e-5 and 3.657353e-4 (quadrature with SciPy 1.17.1). Here ρ is the sample offset's share of the margin's variance. Tolerance: `near`.
#[test]
fn val_one_factor_probit_through_the_simulator() {
    for (rho, two, three) in [(0.3_f64, 5.563285e-4, 7.107696e-5), (0.5, 1.293924e-3, 3.657353e-4)] {
        let offset_sd_db = PLACE_SD_DB * (rho / (1.0 - rho)).sqrt();
        let margin_db = normal_quantile(0.99) * libm::hypot(offset_sd_db, PLACE_SD_DB);
        let (course, tag) = reduced(margin_db, offset_sd_db);
        let found = rates(&prepare(course.into(), tag.into()), &[8000, 0, 0]);
        for (crossings, (found, value)) in found.into_iter().zip([0.01, two, three]).enumerate() {
            near(&format!("ρ {rho}, {} crossings", crossings + 1), found, value);
        }
    }
}

/// Source: E[p^m] of a mixture, elementary: 98 % of the runners missed with .002 and 2 % with .3 give p = .00796, two lines
/// 1.803920e-3, three 5.400078e-4; so r = .2266 and the second line divides the misses by 4.413, where 1/p would be 125.6. Tolerance: `near`.
#[test]
fn val_mixture_through_the_simulator() {
    let margin_db = PLACE_SD_DB * normal_quantile(0.998);
    let (mut course, tag) = reduced(margin_db, 0.0);
    course.beliefs.sample_offset_db = Some(Quantity::Pinned(0.0));
    let mut plain = course.field.placements[0].clone();
    plain.share = 0.98;
    let mut covered = plain.clone();
    covered.placement = Placement::Covered;
    covered.share = 0.02;
    covered.cover_loss_db = margin_db - PLACE_SD_DB * normal_quantile(0.7);
    course.field.placements = vec![plain, covered];
    let found = rates(&prepare(course.into(), tag.into()), &[12_000, 0, 0, 12_000, 0, 0]);
    for (found, value) in found.into_iter().zip([0.00796, 1.803920e-3, 5.400078e-4]) {
        near("mixture", found, value);
    }
    let joint = JointMiss { a: found[0].0, b: found[0].0, both: found[1].0 }.checked().expect("in bounds");
    let (gain, naive) = (joint.true_gain().expect("misses"), joint.naive_gain());
    assert!((gain / 4.413 - 1.0).abs() < 0.15 && (naive / 125.6 - 1.0).abs() < 0.1, "{gain} {naive}");
}
