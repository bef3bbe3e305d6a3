//! The answer of `lab` as plain data: JSON and text are drawn from it.

use crate::lab::faults::Finding;
use crate::lab::stat::budget::Budget;
use crate::lab::stat::compare::MeanDifference;
use crate::lab::stat::crossing::Crossing;
use crate::lab::stat::equivalence::BatchCheck;
use crate::lab::stat::few::SpreadSummary;
use crate::lab::stat::hierarchy::TwoSpreads;
use crate::study::provenance::InputFile;
use serde::Serialize;

#[derive(Clone, Debug, Serialize)]
pub struct LabAnswer {
    pub schema_version: u32,
    pub program: String,
    pub version: String,
    /// Odds of every interval.
    pub level: f64,
    pub same_laboratory: bool,
    pub tags: Vec<TagAnswer>,
    pub comparisons: Vec<PairAnswer>,
    pub equivalence: Option<EquivalenceAnswer>,
    /// Folder written, if any.
    pub written: Option<String>,
    pub assumed: Vec<String>,
    /// Every file read.
    pub inputs: Vec<InputFile>,
}

/// One tag.
#[derive(Clone, Debug, Serialize)]
pub struct TagAnswer {
    pub name: String,
    pub note: String,
    /// Whether the readings were raw and referred here.
    pub referred_here: bool,
    pub own_spacer_mm: f64,
    pub samples: Vec<String>,
    pub lab_bias_sd_db: f64,
    /// Serious findings first.
    pub findings: Vec<Finding>,
    /// Warnings of the loader.
    pub warnings: Vec<String>,
    pub mounts: Vec<MountAnswer>,
    pub spread: SpreadAnswer,
    /// Repeats of one sample against differences between samples, when there are repeats.
    pub repeats: Option<TwoSpreads>,
    /// Uncertainty budget of one threshold, when tag.toml states parts of it.
    pub budget: Option<BudgetAnswer>,
    pub links: Vec<LinkAnswer>,
}

#[derive(Clone, Debug, Serialize)]
pub struct BudgetAnswer {
    pub freq_mhz: f64,
    pub budget: Budget,
    /// The same at the ends of the sweep: frequency (MHz) and expanded uncertainty (dB).
    pub expanded_db: Vec<(f64, f64)>,
}

/// One mount.
#[derive(Clone, Debug, Serialize)]
pub struct MountAnswer {
    pub mount: String,
    pub gap_mm: Option<f64>,
    pub frequencies: usize,
    /// Share of all readings that are open on one side (did not wake, or woke at the lowest power).
    pub censored_share: f64,
    /// Lowest threshold of the average tag, and where.
    pub best_dbm: f64,
    pub best_mhz: f64,
    /// Width of the resonance at 3 dB, MHz.
    pub width_mhz: f64,
    pub bands: Vec<BandAnswer>,
    pub curve: Vec<CurvePoint>,
}

/// Mean over a region's band.
#[derive(Clone, Debug, Serialize)]
pub struct BandAnswer {
    pub region: &'static str,
    pub low_mhz: f64,
    pub high_mhz: f64,
    /// `None` where the sweeps do not cover the band.
    pub threshold_dbm: Option<f64>,
    /// Half width of the interval of the average tag; the laboratory's level not counted.
    pub half_width_db: Option<f64>,
    pub backscatter_db: Option<f64>,
    /// Highest threshold inside the band.
    pub worst_in_band_dbm: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
pub struct CurvePoint {
    pub freq_mhz: f64,
    pub threshold_dbm: f64,
    pub low_dbm: f64,
    pub high_dbm: f64,
    pub backscatter_db: f64,
    /// No sample woke here: the threshold is a stand-in above the highest power tried.
    pub never_woke: bool,
}

/// Spread between samples.
#[derive(Clone, Debug, Serialize)]
pub struct SpreadAnswer {
    /// Offset of each sample, dB, and shift, MHz, in the order of `samples`.
    pub offset_db: Vec<f64>,
    pub shift_mhz: Vec<f64>,
    pub residual_sd_db: Option<f64>,
    pub placement_sd_db: Option<f64>,
    pub offset: Option<SpreadSummary>,
    pub shift: Option<SpreadSummary>,
    pub words: Vec<String>,
}

/// Another link profile against the one of the curve.
#[derive(Clone, Debug, Serialize)]
pub struct LinkAnswer {
    pub link: String,
    pub against: String,
    pub mount: String,
    /// Threshold of this profile minus the curve's.
    pub difference: MeanDifference,
    pub words: String,
}

/// Two tags against each other.
#[derive(Clone, Debug, Serialize)]
pub struct PairAnswer {
    pub first: String,
    pub second: String,
    pub rows: Vec<PairRow>,
    pub crossings: Vec<PairCrossings>,
    pub backscatter: Vec<String>,
    pub words: Vec<String>,
}

/// Difference first − second in one region and mount.
#[derive(Clone, Debug, Serialize)]
pub struct PairRow {
    pub region: &'static str,
    /// `free air`, `same gap 10 mm`, or each tag on its own spacer.
    pub place: String,
    pub first_dbm: f64,
    pub second_dbm: f64,
    pub difference: MeanDifference,
    /// A tag that never woke in part of the band: its threshold is a stand-in, the difference a lower bound of its size.
    pub never_woke: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct PairCrossings {
    pub place: String,
    pub crossings: Vec<Crossing>,
}

/// Production batch against prototype, per region and mount.
#[derive(Clone, Debug, Serialize)]
pub struct EquivalenceAnswer {
    pub prototype: String,
    pub batch: String,
    pub margin_db: f64,
    pub rows: Vec<EquivalenceRow>,
    /// What could not be tested and why.
    pub words: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct EquivalenceRow {
    pub region: &'static str,
    pub place: String,
    pub check: BatchCheck,
    pub words: String,
}
