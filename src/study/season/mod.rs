//! A season: weighted scenarios, candidate tags, and what-ifs as small overlays.
//!
//! `file` reads the season's own TOML; `resolve` lays every change over its scenario and loads what comes out, so a changed
//! scenario passes the same checks as one written by hand. Equal results are loaded and simulated once.

pub mod file;
pub mod resolve;

use super::overlay::Change;
use crate::diag::Source;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;
use toml::Value;

/// A change with its place in the season file.
#[derive(Clone, Debug)]
pub struct Placed {
    pub change: Change,
    pub span: Range<usize>,
}

/// A tag one could buy.
#[derive(Clone, Debug)]
pub struct Candidate {
    pub folder: PathBuf,
    /// Per tag; overrides the tag's own.
    pub price: Option<f64>,
    /// Tags that can be had.
    pub stock: Option<u64>,
    pub span: Range<usize>,
}

/// One line of the calendar.
#[derive(Clone, Debug)]
pub struct Entry {
    pub name: String,
    pub file: PathBuf,
    /// Races like this in the season.
    pub races: f64,
    /// Name of the layout in reports; default the file's stem.
    pub layout: String,
    pub changes: Vec<Placed>,
    pub span: Range<usize>,
}

/// One change of a what-if: where it holds and what it does there.
#[derive(Clone, Debug)]
pub struct Amendment {
    /// Path and value that a scenario must show (after its own changes); all must hold.
    pub conditions: Vec<(String, Value)>,
    pub changes: Vec<Placed>,
    /// Factor on the number of races.
    pub races_times: f64,
    pub span: Range<usize>,
}

#[derive(Clone, Debug)]
pub struct WhatIf {
    pub name: String,
    pub amendments: Vec<Amendment>,
}

/// A band of the market and the share of all passings in it.
#[derive(Clone, Debug)]
pub struct Market {
    pub low_mhz: f64,
    pub high_mhz: f64,
    pub share: f64,
    pub span: Range<usize>,
}

impl Market {
    /// Whether all channels of a course lie in the band.
    pub fn holds(&self, course: &crate::course::Course) -> bool {
        let (low, high) = crate::study::check::cover::channels_in_use_mhz(course);
        self.low_mhz <= low && high <= self.high_mhz
    }

    pub fn words(&self) -> String {
        format!("{:.0} % of the passings in {} to {} MHz", 100.0 * self.share, self.low_mhz, self.high_mhz)
    }
}

impl Season {
    /// What a miss costs at a finish or elsewhere, if stated.
    pub fn miss_cost(&self, is_finish: bool) -> Option<f64> {
        if is_finish {
            self.missed_finish_cost.or(self.missed_passing_cost)
        } else {
            self.missed_passing_cost
        }
    }
}

/// A season file, read.
#[derive(Clone, Debug)]
pub struct Season {
    pub name: String,
    pub note: String,
    pub currency: String,
    /// What one missed passing costs (staff minutes, complaints), if stated.
    pub missed_passing_cost: Option<f64>,
    /// What a missed finish costs, if it costs more than a missed split.
    pub missed_finish_cost: Option<f64>,
    /// Shares of the passings that lie in bands of the market, if stated; they scale the numbers of races.
    pub market: Vec<Market>,
    /// Detection rate every point must reach; default each point's own.
    pub target: Option<f64>,
    pub tags: Vec<Candidate>,
    pub entries: Vec<Entry>,
    pub what_ifs: Vec<WhatIf>,
    pub source: Arc<Source>,
    pub sha256: String,
}
