//! The answer of `lab` as plain data: JSON and text are drawn from it.

use super::session::SessionAnswer;
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
    /// Repeatability and reproducibility over sessions, operators or days, where they are named.
    pub precision: Vec<PrecisionAnswer>,
    /// Several production batches, where they are named.
    pub batches: Option<BatchesAnswer>,
    /// Uncertainty budget of one threshold, when tag.toml states parts of it.
    pub budget: Option<BudgetAnswer>,
    pub links: Vec<LinkAnswer>,
    /// Ripple over frequency and the level of every sweep in measuring order.
    pub session: SessionAnswer,
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
    /// Half width of the interval of the average tag; the laboratory's level not counted. `None` too where a threshold is open.
    pub half_width_db: Option<f64>,
    /// Ends of the interval of the average tag; where a threshold is open, `low_dbm` is what it is at least.
    pub low_dbm: Option<f64>,
    pub high_dbm: Option<f64>,
    /// Share of the band's frequencies at which no sample woke.
    pub open_share: f64,
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
    /// No sample woke here: the threshold is a median of what is believed, `low_dbm` what it is at least.
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

/// ISO 5725-2 over one factor in one mount. Numbers are `None` where the repeats do not suffice; `words` say why.
#[derive(Clone, Debug, Serialize)]
pub struct PrecisionAnswer {
    /// `session`, `operator` or `day`.
    pub factor: &'static str,
    pub mount: String,
    pub link: String,
    /// Names of the sessions.
    pub levels: Vec<String>,
    /// Samples worked out.
    pub samples: Vec<String>,
    pub repeatability_db: Option<f64>,
    pub between_db: Option<f64>,
    pub reproducibility_db: Option<f64>,
    pub repeatability_limit_db: Option<f64>,
    pub reproducibility_limit_db: Option<f64>,
    pub cells: Vec<PrecisionCell>,
    /// Sessions that stand out.
    pub flags: Vec<PrecisionFlag>,
    pub words: Vec<String>,
}

/// A session whose level or scatter stands out.
#[derive(Clone, Debug, Serialize)]
pub struct PrecisionFlag {
    pub level: String,
    /// Its level against the others, or the standard deviation of its repeats.
    pub difference_db: f64,
    /// Mandel's h or k.
    pub statistic: f64,
    pub words: String,
}

/// One sample in one session.
#[derive(Clone, Debug, Serialize)]
pub struct PrecisionCell {
    pub sample: String,
    pub level: String,
    pub readings: usize,
    pub mean_dbm: f64,
    pub sd_db: f64,
    /// Mandel's statistics and whether they lie beyond their limits.
    pub h: f64,
    pub k: f64,
    pub level_stands_out: bool,
    pub scatter_stands_out: bool,
}

/// Batches of one tag.
#[derive(Clone, Debug, Serialize)]
pub struct BatchesAnswer {
    /// The approved one, where tag.toml names it.
    pub prototype: Option<String>,
    pub rows: Vec<BatchRow>,
    /// Batches are `between`, samples of one batch `within`.
    pub spread: Option<TwoSpreads>,
    /// Each other batch against the prototype, when a margin was given.
    pub equivalence: Vec<EquivalenceAnswer>,
    pub words: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
pub struct BatchRow {
    pub batch: String,
    pub samples: Vec<String>,
    /// Mean offset from the average of all samples, and the half width of its interval.
    pub offset_db: f64,
    pub half_width_db: Option<f64>,
    pub sd_db: Option<f64>,
}

/// Another link profile against the one of the curve.
#[derive(Clone, Debug, Serialize)]
pub struct LinkAnswer {
    pub link: String,
    pub against: String,
    /// Which settings differ, where tag.toml describes both profiles.
    pub settings: Option<String>,
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
    /// Rows that could not be compared, each with its reason.
    pub left_out: Vec<String>,
}

/// Difference first − second in one region and mount.
#[derive(Clone, Debug, Serialize)]
pub struct PairRow {
    pub region: &'static str,
    /// `free air`, `same gap 10 mm`, or each tag on its own spacer.
    pub place: String,
    /// A tag that never woke in part of the band counts with the highest power tried there: it needs at least that.
    pub first_dbm: f64,
    pub second_dbm: f64,
    pub difference: MeanDifference,
    /// Tags that never woke in part of the band. With one of them the difference is open on one side, with both it is not
    /// known.
    pub never_woke: Vec<String>,
    /// With the second tag open: the difference is at most this (interval counted in).
    pub at_most_db: Option<f64>,
    /// With the first tag open: the difference is at least this.
    pub at_least_db: Option<f64>,
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
