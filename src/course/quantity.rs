//! Checks of quantities: their four forms, and that no draw leaves the limits.

use crate::limits::Limit;
use crate::random::quantity::Quantity;

/// The forms in words.
pub const FORMS: &str = "a number, { min, max }, { mean, sd } or { median, ln_sd }";

/// 1 - Φ(5): draws are checked out to five standard deviations (1 in 3.5 million on each side).
const FAR: f64 = 2.866_515_718_791_94e-7;

/// A quantity from the keys and numbers of its table (`None`: not a number).
pub fn from_parts(parts: &[(&str, Option<f64>)]) -> Result<Quantity, String> {
    let get = |key: &str| parts.iter().find(|(k, _)| *k == key).and_then(|(_, v)| *v);
    let two = parts.len() == 2;
    if let Some((key, _)) = parts.iter().find(|(_, v)| !v.is_some_and(f64::is_finite)) {
        return Err(format!("{key} is not a finite number"));
    }
    match (get("min"), get("max"), get("mean"), get("sd"), get("median"), get("ln_sd")) {
        (Some(min), Some(max), ..) if two => {
            if min <= max {
                Ok(Quantity::Uniform { min, max })
            } else {
                Err(format!("min = {min} is above max = {max}"))
            }
        }
        (_, _, Some(mean), Some(sd), ..) if two => {
            if sd >= 0.0 {
                Ok(Quantity::Normal { mean, sd })
            } else {
                Err(format!("sd = {sd} is negative"))
            }
        }
        (.., Some(median), Some(ln_sd)) if two => {
            if median > 0.0 && (0.0..=3.0).contains(&ln_sd) {
                Ok(Quantity::LogNormal { median, ln_sd })
            } else {
                Err(format!("median = {median} must be above 0 and ln_sd = {ln_sd} between 0 and 3"))
            }
        }
        _ => {
            let keys: Vec<_> = parts.iter().map(|(k, _)| *k).collect();
            Err(format!("found {{ {} }}", keys.join(", ")))
        }
    }
}

/// Checks every stated number and the draws far out: a draw outside the range would make no sense either.
pub fn check(limit: &Limit, quantity: &Quantity) -> Result<(), String> {
    if let Quantity::Pinned(value) = *quantity {
        return limit.check(value);
    }
    for probability in [0.5, FAR, 1.0 - FAR] {
        let draw = quantity.quantile(probability);
        if !limit.holds(draw) {
            let draw: f64 = format!("{draw:.2e}").parse().unwrap_or(draw);
            return Err(format!("draws of {} reach {draw}, outside {}", limit.name(), limit.range()));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::SPEED_M_S;

    #[test]
    fn the_four_forms() {
        let ok = |a, x, b, y| from_parts(&[(a, Some(x)), (b, Some(y))]);
        assert_eq!(ok("min", 1.0, "max", 2.0), Ok(Quantity::Uniform { min: 1.0, max: 2.0 }));
        assert_eq!(ok("mean", 1.0, "sd", 2.0), Ok(Quantity::Normal { mean: 1.0, sd: 2.0 }));
        assert_eq!(ok("median", 1.0, "ln_sd", 2.0), Ok(Quantity::LogNormal { median: 1.0, ln_sd: 2.0 }));
        assert!(ok("min", 3.0, "max", 2.0).is_err());
        assert!(ok("mean", 3.0, "sd", -2.0).is_err());
        assert!(ok("median", 0.0, "ln_sd", 1.0).is_err());
        assert!(ok("mean", f64::NAN, "sd", 1.0).is_err());
        assert_eq!(ok("min", 1.0, "sd", 2.0), Err("found { min, sd }".into()));
        assert!(from_parts(&[("min", Some(1.0))]).is_err());
        assert!(from_parts(&[]).is_err());
        assert!(from_parts(&[("min", Some(1.0)), ("max", Some(2.0)), ("sd", Some(2.0))]).is_err());
    }

    #[test]
    fn draws_far_out_count_too() {
        assert!(check(&SPEED_M_S, &Quantity::LogNormal { median: 2.785, ln_sd: 0.18 }).is_ok());
        let message =
            check(&SPEED_M_S, &Quantity::Normal { mean: 3.0, sd: 1.0 }).expect_err("negative speeds");
        assert_eq!(message, "draws of speed_m_s reach -2, outside 0.2 to 12 m/s");
        assert!(check(&SPEED_M_S, &Quantity::Uniform { min: 1.0, max: 13.0 }).is_err());
        assert!(check(&SPEED_M_S, &Quantity::Pinned(f64::NAN)).is_err());
    }
}
