//! One reader: its antennas, link profile, session, sensitivity, and how it takes its turns.

use super::antenna::Antenna;

/// Division ratio of the air interface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DivideRatio {
    Eight,
    SixtyFourThirds,
}

impl DivideRatio {
    pub fn value(self) -> f64 {
        match self {
            DivideRatio::Eight => 8.0,
            DivideRatio::SixtyFourThirds => 64.0 / 3.0,
        }
    }
}

/// Link profile of ISO/IEC 18000-63.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkProfile {
    /// Length of a data-0, µs (6.25..=25).
    pub tari_us: f64,
    /// Data-0 plus data-1, µs (2.5..=3 Tari).
    pub rtcal_us: f64,
    /// Sets the backscatter link frequency, µs (1.1..=3 RTcal).
    pub trcal_us: f64,
    pub divide_ratio: DivideRatio,
    /// 1 (FM0), 2, 4 or 8.
    pub miller: u8,
    /// Long preamble.
    pub trext: bool,
}

impl LinkProfile {
    /// Backscatter link frequency, kHz.
    pub fn blf_khz(&self) -> f64 {
        self.divide_ratio.value() / self.trcal_us * 1e3
    }
}

/// Inventoried flag the reader works with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Session {
    S0,
    S1,
    S2,
    S3,
}

#[derive(Clone, Debug)]
pub struct Reader {
    pub name: String,
    pub link: LinkProfile,
    pub session: Session,
    /// How long a read tag keeps quiet once read, s (0 for S0).
    pub persistence_s: f64,
    /// Received power at which 90 % of 128-bit replies decode in this link profile, dBm.
    pub sensitivity_dbm: f64,
    /// Rise of the sensitivity by other readers and leakage, dB.
    pub interference_db: f64,
    /// EPC length, bits.
    pub epc_bits: u32,
    /// Time on one port before the next, s.
    pub port_dwell_s: f64,
    /// Time on one frequency before the next, s (at most the region's).
    pub hop_dwell_s: f64,
    /// Frequencies in use, MHz (a subset of the region's, or pinned).
    pub channels_mhz: Vec<f64>,
    /// Pins the frame length to a number of slots; `None`: the power of two that serves the contenders best.
    pub frame_slots: Option<u32>,
    /// Pins the round's duration, s; `None`: from the air interface.
    pub round_s: Option<f64>,
    pub antennas: Vec<Antenna>,
}
