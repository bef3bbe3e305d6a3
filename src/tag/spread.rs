//! How one sample of a tag differs from the average sample, and how well a handful of samples tells.
//!
//! A sample differs by a common offset of its threshold in dB and a small frequency shift; its whole curve moves
//! together. With n samples of offset standard deviation s the production spread σ is known only through its
//! posterior (see `lab::stat::sigma_posterior`).
//! One race draws one σ and one error of the mean (both shared by all its tags: they describe the batch);
//! one passing draws its sample's offset and shift.

pub use crate::lab::stat::sigma_posterior::{PRIOR_DEGREES, PRIOR_SCALE_DB, Prior, SigmaPosterior};

/// Spread between samples of a tag and what is unknown about the average.
#[derive(Clone, Debug)]
pub struct Spread {
    pub samples: usize,
    /// Observed standard deviation of the samples' common offsets, dB (0 for one sample).
    pub observed_offset_sd_db: f64,
    /// Observed standard deviation of the samples' frequency shifts, MHz.
    pub observed_shift_sd_mhz: f64,
    pub offset_sigma_db: SigmaPosterior,
    pub shift_sigma_mhz: SigmaPosterior,
    /// Standard uncertainty of the laboratory's absolute level, dB: common to all tags of one laboratory.
    pub lab_bias_sd_db: f64,
    /// Standard deviation of placing a sample in a mount, dB: what the sweeps show, else what tag.toml says, else 0.
    pub placing_sd_db: f64,
    /// How far races differ beyond all that is drawn: scale of the half-normal law of its standard deviation, dB on every threshold. 0 but where
    /// beliefs are learned from races, which alone can tell.
    pub race_effect_db: f64,
}
