//! Options of the studies that decide: rank, redundancy, drivers.

use super::args::{Format, Inputs, Pictures, odds, share};
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
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Stop once choosing by this run costs less than this share of all passings
    #[arg(long, default_value_t = 2e-4, value_parser = share)]
    pub regret: f64,
    /// Worlds (draws of everything nobody has measured) before the first verdict
    #[arg(long, default_value_t = 24, value_parser = clap::value_parser!(u64).range(2..=10_000))]
    pub first_worlds: u64,
    /// Most worlds
    #[arg(long, default_value_t = 96, value_parser = clap::value_parser!(u64).range(2..=10_000))]
    pub most_worlds: u64,
    /// Passings simulated in each race beyond the least of each kind of runner
    #[arg(long, default_value_t = 40, value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub passings_per_race: u32,
    /// Odds at which two tags count as told apart
    #[arg(long, default_value_t = 0.95, value_parser = odds)]
    pub told_apart: f64,
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
    /// Timing point (the finish, if left out)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// A set of lines to look at beside each alone and all together, names with commas between; may be repeated
    #[arg(long, value_name = "LINES")]
    pub lines: Vec<String>,
    /// Race days simulated for each layout
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(2..=100_000))]
    pub races: u64,
    /// Passings simulated in each race beyond the least of each kind of runner
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub passings_per_race: u32,
    /// Share of races in which the target must be kept
    #[arg(long, default_value_t = 0.9, value_parser = odds)]
    pub confidence: f64,
    /// Skip the curve over the distance of the backup
    #[arg(long)]
    pub no_distance: bool,
    /// Skip the search of the cheapest layout
    #[arg(long)]
    pub no_search: bool,
    /// Exit with 1 unless a layout of the catalogue is proven to keep the target
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
    /// Timing point (the finish, if left out)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// Most runners simulated, each past every timing point
    #[arg(long, default_value_t = 200_000)]
    pub max_passings: u64,
}
