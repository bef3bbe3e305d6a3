//! Do the tag's sweeps reach the channels in use, water shift included?
//!
//! Water lowers the resonance, so the curves are read at f + Δf. The sweeps must therefore reach from the
//! lowest channel to the highest channel plus the largest shift; outside them the curve is held at its
//! edge.

use crate::course::Course;
use crate::random::quantity::Quantity;
use serde::{Deserialize, Serialize};

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CoverVerdict {
    Covered,
    /// The channels are covered, but water moves the tag to frequencies that were not swept.
    WaterBeyond,
    /// Some channels were not swept.
    ChannelsBeyond,
    /// No channel was swept.
    NoOverlap,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cover {
    /// What the sweeps cover in every mount, MHz.
    pub swept_mhz: (f64, f64),
    /// Lowest and highest channel in use, MHz.
    pub channels_mhz: (f64, f64),
    /// Largest shift by water (99.9 % of the draws), MHz; 0 with water switched off.
    pub water_shift_mhz: f64,
    pub verdict: CoverVerdict,
    /// Parts of the sweeps that lie outside the region's bands.
    pub sweeps_leave_the_band: bool,
}

/// Upper end of a quantity: its maximum, or what 99.9 % of the draws stay below.
fn upper(quantity: &Quantity) -> f64 {
    match *quantity {
        Quantity::Pinned(value) => value,
        Quantity::Uniform { max, .. } => max,
        Quantity::Normal { .. } | Quantity::LogNormal { .. } => quantity.quantile(0.999),
    }
}

/// Lowest and highest channel any reader uses, MHz.
pub fn channels_in_use_mhz(course: &Course) -> (f64, f64) {
    course
        .points
        .iter()
        .flat_map(|p| &p.lines)
        .flat_map(|l| &l.readers)
        .flat_map(|r| &r.channels_mhz)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &f| (low.min(f), high.max(f)))
}

pub fn check(course: &Course, swept_mhz: (f64, f64)) -> Cover {
    let channels_mhz = channels_in_use_mhz(course);
    let water_shift_mhz = if course.effects.water {
        course.beliefs.wetness.iter().map(|w| upper(&w.resonance_shift_mhz)).fold(0.0, f64::max)
    } else {
        0.0
    };
    let (low, high) = swept_mhz;
    let verdict = if channels_mhz.1 < low || channels_mhz.0 > high {
        CoverVerdict::NoOverlap
    } else if channels_mhz.0 < low || channels_mhz.1 > high {
        CoverVerdict::ChannelsBeyond
    } else if channels_mhz.1 + water_shift_mhz > high {
        CoverVerdict::WaterBeyond
    } else {
        CoverVerdict::Covered
    };
    let sweeps_leave_the_band = !(course.region.contains(low) && course.region.contains(high));
    Cover { swept_mhz, channels_mhz, water_shift_mhz, verdict, sweeps_leave_the_band }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_water_shift_counts() {
        let text = include_str!("../../../scenarios/half-marathon-rain-eu-lower.toml");
        let (course, _) = crate::course::from_text("t", text, std::path::Path::new("")).expect("valid");
        let verdict = |low, high| check(&course, (low, high)).verdict;
        assert_eq!(check(&course, (850.0, 950.0)).water_shift_mhz, 15.0);
        assert_eq!(check(&course, (850.0, 950.0)).channels_mhz, (865.7, 867.5));
        assert_eq!(verdict(865.7, 882.5), CoverVerdict::Covered);
        assert_eq!(verdict(865.7, 882.4), CoverVerdict::WaterBeyond);
        assert_eq!(verdict(866.0, 950.0), CoverVerdict::ChannelsBeyond);
        assert_eq!(verdict(902.0, 928.0), CoverVerdict::NoOverlap);
        assert!(check(&course, (850.0, 950.0)).sweeps_leave_the_band);
        assert!(!check(&course, (865.0, 868.0)).sweeps_leave_the_band);
    }
}
