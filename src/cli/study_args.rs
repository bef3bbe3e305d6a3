//! Options of the studies that decide: rank, redundancy, drivers.

use super::args::{Format, Inputs, Pictures, odds};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct RankArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Season file (TOML): calendar, tags, what-ifs
    pub season: PathBuf,
    /// Seed of all draws; the same seed, files and build give the same bytes on any number of threads
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads (0: as many as there are cores)
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Study scenarios above their region's power limit on paper; every output says so
    #[arg(long)]
    pub allow_unlawful_power: bool,
    /// Go on although tags were measured with serious faults; every output says so
    #[arg(long)]
    pub despite_findings: bool,
    /// Beliefs learned from races and trials (a folder that `learn --write` wrote) in place of the scenarios' own
    #[arg(long, value_name = "FOLDER")]
    pub learned: Option<PathBuf>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: StudyFormat,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Keep the worlds worked out in this file, and go on from it if it is there
    #[arg(long, value_name = "FILE")]
    pub checkpoint: Option<PathBuf>,
    /// Write what each tag loses in every draw of what nobody knows (CSV), to recompute regret and worth
    #[arg(long, value_name = "FILE")]
    pub losses: Option<PathBuf>,
    /// Most worlds; each holds four draws of what nobody knows
    #[arg(long, default_value_t = 128, value_parser = clap::value_parser!(u64).range(16..=100_000))]
    pub most_worlds: u64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum StudyFormat {
    Text,
    Json,
    /// One page for the budget holder
    Markdown,
}

#[derive(Debug, Args)]
pub struct RedundancyArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    #[command(flatten)]
    pub inputs: Inputs,
    #[arg(long, value_enum, default_value = "text")]
    pub format: StudyFormat,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Keep the worlds worked out in this file, and go on from it if it is there
    #[arg(long, value_name = "FILE")]
    pub checkpoint: Option<PathBuf>,
    /// Timing point (the finish, if left out)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// A set of lines to look at beside each alone and all together, names with commas between; may be repeated
    #[arg(long, value_name = "LINES")]
    pub lines: Vec<String>,
    /// Most passings simulated for each layout group
    #[arg(long, default_value_t = 120_000)]
    pub max_passings: u64,
    /// Fixed number of worlds (draws of what nobody knows) instead of running until settled
    #[arg(long, value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    pub worlds: Option<u64>,
    /// Races of the season that a candidate is bought for
    #[arg(long, default_value_t = 1, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub season_races: u64,
    /// What a missed runner costs, in the money of the catalogue: weighs misses against cost
    #[arg(long, value_name = "MONEY", value_parser = money)]
    pub missed_runner_cost: Option<f64>,
    /// Share of races in which the promise must be kept
    #[arg(long, default_value_t = 0.9, value_parser = odds)]
    pub confidence: f64,
    /// Skip the search of the cheapest layout
    #[arg(long)]
    pub no_search: bool,
    /// Exit with 1 unless a layout of the catalogue is proven to keep the promise
    #[arg(long, conflicts_with = "no_search")]
    pub require_layout: bool,
}

#[derive(Debug, Args)]
pub struct DriversArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    #[command(flatten)]
    pub inputs: Inputs,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Keep the worlds worked out in this file, and go on from it if it is there
    #[arg(long, value_name = "FILE")]
    pub checkpoint: Option<PathBuf>,
    /// Timing point (the finish, if left out)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// Most runners simulated, each past every timing point
    #[arg(long, default_value_t = 200_000)]
    pub max_passings: u64,
}

/// Money: 0 or more.
fn money(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.0..=1e9).contains(&v) => Ok(v),
        _ => Err(format!("expected money from 0 to 1e9, but found `{text}`")),
    }
}
