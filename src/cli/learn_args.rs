//! Options of the commands that look back: learn, score.

use super::args::{Format, Pictures};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct LearnArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Outcome files (TOML) of races and trials, each naming its scenario
    #[arg(required = true, value_name = "OUTCOME")]
    pub outcomes: Vec<PathBuf>,
    /// Tag folder in place of the scenarios' own
    #[arg(long, value_name = "FOLDER")]
    pub tag: Option<PathBuf>,
    /// Write the learned beliefs as this folder, for --learned (whole or not at all)
    #[arg(long, value_name = "FOLDER")]
    pub write: Option<PathBuf>,
    /// Seed of all draws
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads (0: as many as there are cores)
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Draws of what only passings tell
    #[arg(long, default_value_t = crate::learn::posterior::GROUPS, value_parser = clap::value_parser!(u64).range(64..=16_384))]
    pub draws: u64,
    /// Runners simulated in each of them, for every set-up
    #[arg(long, default_value_t = 192, value_parser = clap::value_parser!(u64).range(16..=10_000))]
    pub passings: u64,
    /// How far races may differ beyond the model: scale of a half-normal law, dB on every threshold (our estimate); 0 takes the model at its word
    #[arg(long, default_value_t = 0.7, value_name = "DB", value_parser = effect)]
    pub race_effect: f64,
    /// Study set-ups above their region's power limit on paper; every output says so
    #[arg(long)]
    pub allow_unlawful_power: bool,
    /// Go on although the tag was measured with serious faults; every output says so
    #[arg(long)]
    pub despite_findings: bool,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct ScoreArgs {
    /// Outcome files (TOML) of races, oldest first, each naming the forecast stored before it
    #[arg(required = true, value_name = "OUTCOME")]
    pub outcomes: Vec<PathBuf>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// dB from 0 to 6.
fn effect(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.0..=6.0).contains(&v) => Ok(v),
        _ => Err(format!("expected 0 to 6 dB, but found `{text}`")),
    }
}
