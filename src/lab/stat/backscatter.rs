//! Backscatter efficiencies compared fairly: at the same incident power, above the thresholds of both tags.
//!
//! A chip's modulation depends on its supply: efficiency falls as the incident power rises. Read each at its own threshold, the
//! tag that needs more power is judged at another point of its curve, and the comparison says nothing. So a
//! comparison needs readings at one common power at which both are awake; everything else is flagged with its reason.
//! Source: common practice.

use serde::{Deserialize, Serialize};

/// One reading of a tag's backscatter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BackscatterReading {
    pub incident_dbm: f64,
    pub efficiency_db: f64,
}

/// What can be said about two tags.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BackscatterComparison {
    /// First minus second, at this incident power.
    Compared { incident_dbm: f64, difference_db: f64 },
    /// Both have readings, but at powers further apart than the tolerance; difference is not a comparison.
    DifferentPowers { first_dbm: f64, second_dbm: f64 },
    /// The only common powers lie below the higher threshold.
    NotAboveBothThresholds { higher_threshold_dbm: f64 },
    /// One tag has no backscatter reading, or never woke so that its threshold is unknown.
    Unknown,
}

/// Compares two tags at one frequency and mount. `threshold_dbm` is `None` for a tag that never woke. Readings at powers
/// within `tolerance_db` count as one power. Of several common powers the lowest is taken: it is nearest to the fringe of the
/// read zone, where misses happen.
pub fn compare_backscatter(
    first: &[BackscatterReading],
    first_threshold_dbm: Option<f64>,
    second: &[BackscatterReading],
    second_threshold_dbm: Option<f64>,
    tolerance_db: f64,
) -> BackscatterComparison {
    let (Some(a), Some(b)) = (first_threshold_dbm, second_threshold_dbm) else {
        return BackscatterComparison::Unknown;
    };
    let awake = a.max(b);
    let sound = |r: &&BackscatterReading| r.incident_dbm.is_finite() && r.efficiency_db.is_finite();
    let (first, second): (Vec<_>, Vec<_>) =
        (first.iter().filter(sound).collect(), second.iter().filter(sound).collect());
    let mut near: Vec<(f64, f64)> = Vec::new();
    let mut closest: Option<(f64, f64, f64)> = None;
    for r in &first {
        for s in &second {
            let apart = (r.incident_dbm - s.incident_dbm).abs();
            if apart <= tolerance_db {
                near.push((0.5 * (r.incident_dbm + s.incident_dbm), r.efficiency_db - s.efficiency_db));
            }
            if closest.is_none_or(|c| apart < c.0) {
                closest = Some((apart, r.incident_dbm, s.incident_dbm));
            }
        }
    }
    let Some((_, first_dbm, second_dbm)) = closest else {
        return BackscatterComparison::Unknown;
    };
    if near.is_empty() {
        return BackscatterComparison::DifferentPowers { first_dbm, second_dbm };
    }
    // A reading taken at the threshold itself counts as awake, within the tolerance.
    let usable = near.iter().filter(|(power, _)| *power >= awake - 0.5 * tolerance_db);
    match usable.min_by(|x, y| x.0.total_cmp(&y.0)) {
        Some(&(incident_dbm, difference_db)) => {
            BackscatterComparison::Compared { incident_dbm, difference_db }
        }
        None => BackscatterComparison::NotAboveBothThresholds { higher_threshold_dbm: awake },
    }
}

impl BackscatterComparison {
    /// One sentence.
    pub fn sentence(&self, first: &str, second: &str) -> String {
        match *self {
            BackscatterComparison::Compared { incident_dbm, difference_db } => format!(
                "At {incident_dbm:.1} dBm incident, both awake, {first} sends back {difference_db:+.1} dB against {second}."
            ),
            BackscatterComparison::DifferentPowers { first_dbm, second_dbm } => format!(
                "The backscatter of {first} was read at {first_dbm:.1} dBm and that of {second} at {second_dbm:.1} dBm: not compared, because a tag that needs more power to wake looks better than it is."
            ),
            BackscatterComparison::NotAboveBothThresholds { higher_threshold_dbm } => format!(
                "The backscatter of {first} and {second} shares no power above {higher_threshold_dbm:.1} dBm, where both are awake: not compared."
            ),
            BackscatterComparison::Unknown => {
                format!(
                    "The backscatter of {first} and {second} cannot be compared: one never woke or was not read."
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(readings: &[(f64, f64)]) -> Vec<BackscatterReading> {
        readings
            .iter()
            .map(|&(incident_dbm, efficiency_db)| BackscatterReading { incident_dbm, efficiency_db })
            .collect()
    }

    #[test]
    fn only_a_common_power_above_both_thresholds_compares() {
        use BackscatterComparison::*;
        let first = at(&[(-18.0, -8.0), (-14.0, -10.0), (-10.0, -12.0)]);
        let second = at(&[(-14.1, -9.0), (-10.0, -11.5)]);
        let found = compare_backscatter(&first, Some(-18.0), &second, Some(-14.1), 0.25);
        let Compared { incident_dbm, difference_db } = found else { panic!("{found:?}") };
        assert!((incident_dbm + 14.05).abs() < 1e-12 && (difference_db + 1.0).abs() < 1e-12);
        // Awake only from -12 dBm on: the pair at -10 dBm is taken.
        let found = compare_backscatter(&first, Some(-18.0), &second, Some(-12.0), 0.25);
        assert_eq!(found, Compared { incident_dbm: -10.0, difference_db: -0.5 });
        let found = compare_backscatter(&first, Some(-18.0), &second, Some(-5.0), 0.25);
        assert_eq!(found, NotAboveBothThresholds { higher_threshold_dbm: -5.0 });
    }

    #[test]
    fn each_at_its_own_threshold_is_flagged() {
        let (first, second) = (at(&[(-18.0, -8.0)]), at(&[(-14.0, -7.0)]));
        let found = compare_backscatter(&first, Some(-18.0), &second, Some(-14.0), 0.25);
        assert_eq!(found, BackscatterComparison::DifferentPowers { first_dbm: -18.0, second_dbm: -14.0 });
        assert!(found.sentence("A", "B").contains("looks better than it is"));
        assert_eq!(
            compare_backscatter(&first, None, &second, Some(-14.0), 0.25),
            BackscatterComparison::Unknown
        );
        assert_eq!(
            compare_backscatter(&first, Some(-18.0), &[], Some(-14.0), 0.25),
            BackscatterComparison::Unknown
        );
        let bad = at(&[(f64::NAN, -7.0)]);
        assert_eq!(
            compare_backscatter(&first, Some(-18.0), &bad, Some(-14.0), 0.25),
            BackscatterComparison::Unknown
        );
    }
}
