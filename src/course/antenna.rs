//! One reader antenna: place, direction, pattern, polarisation.

/// Polarisation of an antenna's boresight field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Polarisation {
    /// Linear, tilted from the horizontal axis h of the antenna by `tilt_deg`.
    Linear { tilt_deg: f64 },
    /// Elliptic with the given axial ratio in dB (0 = circular), right-handed or not.
    Circular { axial_ratio_db: f64, right_handed: bool },
}

/// Antennas up to this height lie flat on the road: their pattern already contains the ground.
pub const FLAT_HEIGHT_M: f64 = 0.15;

#[derive(Clone, Debug)]
pub struct Antenna {
    pub name: String,
    pub x_m: f64,
    pub y_m: f64,
    pub z_m: f64,
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    pub gain_dbi: f64,
    pub horizontal_beamwidth_deg: f64,
    pub vertical_beamwidth_deg: f64,
    pub front_to_back_db: f64,
    pub polarisation: Polarisation,
    /// Power set at the reader for this port, dBm (at the reader's connector).
    pub power_dbm: f64,
    /// Loss of the cable between reader and antenna, dB, once each way.
    pub cable_loss_db: f64,
}

impl Antenna {
    /// Power at the antenna's own connector, dBm.
    pub fn port_power_dbm(&self) -> f64 {
        self.power_dbm - self.cable_loss_db
    }
    pub fn is_flat(&self) -> bool {
        self.z_m <= FLAT_HEIGHT_M
    }
}
