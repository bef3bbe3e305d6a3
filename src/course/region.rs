//! Radio regions: channels, dwell, power limit, and how sure each row is.

/// The regional limit, in the quantity the rule speaks of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PowerLimit {
    /// Conducted power that holds up to an antenna gain, reduced dB for dB above it.
    Conducted {
        power_dbm: f64,
        up_to_gain_dbi: f64,
    },
    Erp {
        power_dbm: f64,
    },
    Eirp {
        power_dbm: f64,
    },
}

/// How the reader moves over the channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hopping {
    /// Pseudo-random, each channel used alike.
    PseudoRandom,
    /// Stays on a channel and moves on after the dwell.
    InTurn,
}

#[derive(Clone, Debug)]
pub struct Region {
    pub key: String,
    pub name: String,
    /// Band the rule allows, MHz; several parts possible.
    pub bands_mhz: Vec<(f64, f64)>,
    pub channels_mhz: Vec<f64>,
    pub hopping: Hopping,
    /// Longest stay on one channel, s.
    pub dwell_s: f64,
    pub limit: PowerLimit,
    /// Document, clause, year.
    pub source: String,
    /// How sure the row is: seen in the source, second-hand, from memory, the user's own.
    pub certainty: String,
}
