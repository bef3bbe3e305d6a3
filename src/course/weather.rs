//! The weather of a race day: which share of the bibs is dry, damp or soaked.

use crate::random::quantity::Quantity;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wetness {
    Dry,
    Damp,
    Soaked,
}

impl Wetness {
    pub const ALL: [Wetness; 3] = [Wetness::Dry, Wetness::Damp, Wetness::Soaked];
    pub fn key(self) -> &'static str {
        ["dry", "damp", "soaked"][self as usize]
    }
}

#[derive(Clone, Debug)]
pub struct Weather {
    /// dry, humid, showers, rain, downpour or own.
    pub key: String,
    /// Share of damp bibs (race draw; the same rank of the day drives both shares).
    pub damp_share: Quantity,
    /// Share of soaked bibs (race draw); damp + soaked never exceed 1.
    pub soaked_share: Quantity,
}

impl Weather {
    /// Shares of dry, damp and soaked bibs on a day of rank `u` in (0, 1): 0 the driest, 1 the wettest.
    pub fn shares(&self, u: f64) -> [f64; 3] {
        let soaked = self.soaked_share.quantile(u).clamp(0.0, 1.0);
        let damp = self.damp_share.quantile(u).clamp(0.0, 1.0 - soaked);
        [1.0 - damp - soaked, damp, soaked]
    }
}
