//! Beliefs: quantities nobody has measured yet, each with a range. One race draws one value of each
//! race belief; a passing draws the rest. Every belief in force is listed in every report.

use crate::random::quantity::Quantity;

/// Gap, resonance shift and film loss of one wetness class.
#[derive(Clone, Debug)]
pub struct WetnessBelief {
    /// Air gap behind the tag's own spacer, mm (passing draw).
    pub air_gap_mm: Quantity,
    /// How far water lowers the tag's resonance, MHz (passing draw).
    pub resonance_shift_mhz: Quantity,
    /// Loss of the water film on the tag, dB each way (passing draw).
    pub film_loss_db: Quantity,
}

#[derive(Clone, Debug)]
pub struct Beliefs {
    /// By wetness: dry, damp, soaked.
    pub wetness: [WetnessBelief; 3],
    /// Rician K of the diffuse waves, dB (race draw).
    pub rician_k_db: Quantity,
    /// Mean excess path of the diffuse waves, m (passing draw of each wave is exponential with this mean).
    pub diffuse_excess_path_m: f64,
    /// Level of the wave that creeps round the body to a tag facing away, dB below the bare dipole (race draw).
    pub rear_floor_db: Quantity,
    /// Factor on every air gap of a race: how much bibs cling that day (race draw).
    pub cling_factor: Quantity,
    /// How much more a body costs than the phantom, dB at zero gap, fading with the closeness (race draw).
    pub body_loss_db: Quantity,
    /// Common error of the batch against the samples beyond what their number explains, dB (race draw).
    pub batch_offset_db: Quantity,
    /// Depth of the gap flutter at step rate, share of the gap (passing draw).
    pub flutter_share: Quantity,
    /// Amplitude of the trunk's yaw sway at stride rate, degrees (passing draw).
    pub sway_deg: Quantity,
    /// Amplitude of the vertical bounce at step rate, m (passing draw).
    pub bounce_m: Quantity,
    /// Offset of a sample from the average sample, dB; `None`: from the lab's samples (passing draw).
    pub sample_offset_db: Option<Quantity>,
    /// Least sample spread assumed whatever the samples say, dB (standard deviation).
    pub sample_offset_floor_db: f64,
}
