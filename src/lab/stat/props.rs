//! Whatever the readings, no function panics, and what it returns keeps its order.

use super::censored::{NoFit, Seen, fit_censored, log_likelihood};
use super::few::{Ground, spread_summary};
use super::hierarchy::two_spreads;
use super::interlab::precision;
use super::ripple::strongest_ripple;
use super::sigma_posterior::Prior;
use super::survival::kaplan_meier;
use super::tolerance::{one_sided_factor, two_sided_factor};
use super::trend::largest_step;
use proptest::prelude::*;

fn seen() -> impl Strategy<Value = Seen> {
    let level = -40.0..20.0_f64;
    prop_oneof![
        4 => level.clone().prop_map(Seen::Exactly),
        2 => level.clone().prop_map(Seen::Above),
        1 => level.clone().prop_map(Seen::Below),
        2 => (level, 0.1..3.0_f64).prop_map(|(a, w)| Seen::Between(a, a + w)),
    ]
}

fn any_value() -> impl Strategy<Value = f64> {
    prop_oneof![8 => -40.0..20.0_f64, 1 => Just(f64::NAN), 1 => Just(-17.0), 1 => Just(f64::INFINITY)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// The fit is at least as likely as any other pair near it, lies inside its own intervals, and says why it cannot be.
    #[test]
    fn censored_fit_is_the_likeliest(readings in prop::collection::vec(seen(), 0..12), dm in -3.0..3.0_f64, ds in 0.5..2.0_f64) {
        match fit_censored(&readings, 0.95) {
            Ok(fit) => {
                prop_assert!(fit.sigma > 0.0 && fit.mean.is_finite());
                let other = log_likelihood(&readings, fit.mean + dm, fit.sigma * ds);
                prop_assert!(other <= fit.log_likelihood + 1e-6, "{fit:?} but {other} at {} {}", fit.mean + dm, fit.sigma * ds);
                prop_assert!(fit.mean_interval.low < fit.mean && fit.mean < fit.mean_interval.high, "{fit:?}");
                prop_assert!(fit.sigma_interval.low < fit.sigma && fit.sigma < fit.sigma_interval.high, "{fit:?}");
            }
            Err(why) => prop_assert!(why != NoFit::BadNumber),
        }
    }

    #[test]
    fn nothing_panics(values in prop::collection::vec(any_value(), 0..20), more in prop::collection::vec(any_value(), 0..6)) {
        if let Some(s) = spread_summary(&values, &Ground::prior(Prior::half_t(1.0)), 0.95) {
            prop_assert!(s.sigma.low <= s.sigma_median && s.sigma_median <= s.sigma.high);
        }
        let _ = two_spreads(&[&values, &more, &values], 0.95);
        let _ = precision(&[&values, &more, &values], 0.005);
        let pairs: Vec<(f64, bool)> = values.iter().enumerate().map(|(i, v)| (*v, i % 3 > 0)).collect();
        for step in kaplan_meier(&pairs, 0.95) {
            prop_assert!(step.low <= step.share_left && step.share_left <= step.high, "{step:?}");
        }
        let x: Vec<f64> = (0..values.len()).map(|i| 850.0 + i as f64).collect();
        let _ = largest_step(&x, &values, 2);
        if let Some(r) = strongest_ripple(&x, &values, 2, 20.0, 100.0) {
            prop_assert!((0.0..=1.0 + 1e-12).contains(&r.false_alarm_odds) && (20.0..=100.0).contains(&r.path_difference_m));
        }
    }

    /// Two-sided factors lie above the one-sided ones of the same share, and fall with the number of samples.
    #[test]
    fn tolerance_factors_are_ordered(n in 2_usize..40, share in 0.5..0.999_f64, odds in 0.5..0.99_f64) {
        let one = one_sided_factor(n, share, odds).expect("in range");
        let two = two_sided_factor(n, share, odds).expect("in range");
        prop_assert!(two > one, "{one} {two}");
        prop_assert!(two_sided_factor(n + 1, share, odds).expect("in range") < two);
    }
}
