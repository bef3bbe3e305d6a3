//! `tag.toml` with `level = "raw"`: what any instrument's export looks like and how the bench was set up.

use super::link_profile::LinkProfileFile;
use super::refer::DeltaRcsConvention;
use super::tag_file::{SpreadFile, SweepLevel};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use super::raw_check::read;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Separator {
    #[default]
    Comma,
    Semicolon,
    Tab,
    Pipe,
    /// One or more blanks.
    Blank,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DecimalMark {
    #[default]
    Point,
    Comma,
}

/// How the text files are laid out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ExportFile {
    pub separator: Separator,
    pub decimal: DecimalMark,
    /// Lines before the line that names the columns; comments and empty lines are not counted.
    pub skip_lines: usize,
    /// First character of a comment line. Default `#`.
    pub comment: Option<char>,
    /// Cell texts that mean: did not answer up to the highest power.
    pub no_answer: Vec<String>,
    /// Cell texts that mean: could not be measured.
    pub not_measured: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum FreqUnit {
    Hz,
    #[serde(rename = "kHz")]
    KHz,
    MHz,
    GHz,
}

impl FreqUnit {
    pub fn to_mhz(self) -> f64 {
        match self {
            FreqUnit::Hz => 1e-6,
            FreqUnit::KHz => 1e-3,
            FreqUnit::MHz => 1.0,
            FreqUnit::GHz => 1e3,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum LevelUnit {
    #[serde(rename = "dBm")]
    Dbm,
    /// Over 1 V across `setup.impedance_ohm`.
    #[serde(rename = "dBV")]
    Dbv,
    W,
    #[serde(rename = "mW")]
    MilliW,
    /// Field strength at the tag, V/m: needs no referral.
    #[serde(rename = "V/m")]
    VoltPerMetre,
    /// Delta radar cross-section in dB over 1 m²: needs no referral, but `setup.delta_rcs`.
    #[serde(rename = "dBsm")]
    Dbsm,
    /// Delta radar cross-section in m².
    #[serde(rename = "m2")]
    SquareMetre,
}

impl LevelUnit {
    /// As written in tag.toml.
    pub fn name(self) -> &'static str {
        match self {
            LevelUnit::Dbm => "dBm",
            LevelUnit::Dbv => "dBV",
            LevelUnit::W => "W",
            LevelUnit::MilliW => "mW",
            LevelUnit::VoltPerMetre => "V/m",
            LevelUnit::Dbsm => "dBsm",
            LevelUnit::SquareMetre => "m2",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FreqColumn {
    pub name: String,
    pub unit: FreqUnit,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevelColumn {
    /// Name in the header line. May be left out where a sweep names one column per sample.
    #[serde(default)]
    pub name: String,
    pub unit: LevelUnit,
}

/// Which column holds what.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ColumnsFile {
    pub freq: FreqColumn,
    /// Generator level at which the tag woke (dBm, dBV, W, mW), or the field at the tag (V/m).
    pub threshold: Option<LevelColumn>,
    /// Analyser level of the modulated reply (dBm, dBV, W, mW), or the delta radar cross-section (dBsm, m2).
    pub reply: Option<LevelColumn>,
    /// Generator level at which the reply was taken. Default: at the threshold.
    pub reply_at: Option<LevelColumn>,
    pub sample: Option<String>,
    pub phantom: Option<String>,
    /// Gap in mm, the tag's own spacer included.
    pub gap_mm: Option<String>,
    pub link: Option<String>,
    pub repeat: Option<String>,
    /// Production batch of the sample.
    pub batch: Option<String>,
    pub session: Option<String>,
    pub operator: Option<String>,
    pub day: Option<String>,
    /// When the sweep began, minutes after the first one.
    pub minute: Option<String>,
}

/// The bench: everything between the instruments and the tag.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SetupFile {
    /// Antenna to tag, m.
    pub distance_m: Option<f64>,
    pub antenna_gain_dbi: Option<f64>,
    /// CSV (freq_mhz and a column in dBi).
    pub antenna_gain_file: Option<String>,
    pub cable_loss_db: Option<f64>,
    /// CSV (freq_mhz and a column in dB) or Touchstone `.s2p`.
    pub cable_loss_file: Option<String>,
    /// Receive side; default: the same antenna, cable and distance as the transmit side.
    pub receive_distance_m: Option<f64>,
    pub receive_gain_dbi: Option<f64>,
    pub receive_gain_file: Option<String>,
    pub receive_cable_loss_db: Option<f64>,
    pub receive_cable_loss_file: Option<String>,
    /// Loss between the antenna's polarisation and the tag's, dB each way: 3.01 for a circular antenna, 0 for co-polar.
    pub polarisation_loss_db: f64,
    /// Largest dimension of the antenna, m: checks the far-field distance.
    pub antenna_largest_dimension_m: Option<f64>,
    /// Highest and lowest generator level tried, dBm.
    pub max_generator_dbm: Option<f64>,
    pub min_generator_dbm: Option<f64>,
    /// Step of the power search, dB: the threshold lies up to one step below the first level that woke the tag.
    pub power_step_db: Option<f64>,
    /// Impedance behind a dBV reading, ohm. Default 50.
    pub impedance_ohm: Option<f64>,
    /// Which delta radar cross-section is meant: `quarter` or `full` (6.02 dB more).
    pub delta_rcs: Option<DeltaRcsConvention>,
    /// What a reference tag reads too low here: added to every threshold, dB.
    pub transfer_threshold_db: Option<f64>,
    pub transfer_threshold_file: Option<String>,
    /// The same for the backscatter, dB.
    pub transfer_backscatter_db: Option<f64>,
    pub transfer_backscatter_file: Option<String>,
}

/// Standard uncertainties (sd) and limits of the bench. The parts every tag shares are kept apart in the budget.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct UncertaintyFile {
    /// Shared by all tags: level of the generator, of the analyser, cable, antenna gain, dB.
    pub generator_sd_db: Option<f64>,
    pub analyser_sd_db: Option<f64>,
    pub cable_sd_db: Option<f64>,
    pub gain_sd_db: Option<f64>,
    /// Half width of the distance's error, m (rectangular).
    pub distance_half_width_m: Option<f64>,
    /// Magnitudes of the reflection coefficients at the antenna connector (mismatch, U-shaped).
    pub generator_reflection: Option<f64>,
    pub antenna_reflection: Option<f64>,
    /// One-port Touchstone file of the antenna instead of `antenna_reflection`.
    pub antenna_s11_file: Option<String>,
    /// Own to each sweep: placing the tag, dB.
    pub positioning_sd_db: Option<f64>,
}

/// Columns of one sample where a file has one column per sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleColumns {
    pub sample: String,
    pub threshold: Option<String>,
    pub reply: Option<String>,
}

/// One exported file and what its columns do not say.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSweepFile {
    pub file: String,
    /// Readings of the empty room: the tag was taken away.
    #[serde(default)]
    pub quiet_room: bool,
    pub sample: Option<String>,
    /// `none` for free air.
    pub phantom: Option<String>,
    pub gap_mm: Option<f64>,
    pub link: Option<String>,
    pub repeat: Option<String>,
    /// Production batch of the sample.
    pub batch: Option<String>,
    pub session: Option<String>,
    pub operator: Option<String>,
    pub day: Option<String>,
    /// When the sweep began, minutes after the first one.
    pub minute: Option<f64>,
    /// One column per sample.
    #[serde(default)]
    pub samples: Vec<SampleColumns>,
}

/// The file `tag.toml` of a raw tag.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawFile {
    pub name: String,
    #[serde(default)]
    pub note: String,
    pub own_spacer_mm: f64,
    pub price: Option<f64>,
    pub level: SweepLevel,
    #[serde(default)]
    pub taken: String,
    pub phantom: Option<String>,
    pub link: Option<String>,
    /// Which batch is the approved prototype when the sweeps name batches.
    pub prototype_batch: Option<String>,
    #[serde(default)]
    pub spread: SpreadFile,
    /// What the names of link profiles stand for.
    #[serde(default)]
    pub link_profile: Vec<LinkProfileFile>,
    #[serde(default)]
    pub export: ExportFile,
    pub columns: ColumnsFile,
    #[serde(default)]
    pub setup: SetupFile,
    #[serde(default)]
    pub uncertainty: UncertaintyFile,
    pub sweep: Vec<RawSweepFile>,
}
