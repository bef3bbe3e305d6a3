//! Options of the commands that close the loop: trial, reads, learn, score.

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
    #[arg(long, default_value_t = crate::learn::RACE_EFFECT_DB, value_name = "DB", value_parser = effect)]
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
pub struct TrialArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Scenario (TOML) whose forecast the trial is to sharpen
    pub scenario: PathBuf,
    /// Scenario of the place where the trial would be walked (the race's own unless told)
    #[arg(long, value_name = "SCENARIO")]
    pub yard: Option<PathBuf>,
    /// Tag folder in place of the scenarios' own
    #[arg(long, value_name = "FOLDER")]
    pub tag: Option<PathBuf>,
    /// Timing point of the race (the finish unless told)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// People who walk, each with a tag of the race's batch kept all the time
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u64).range(2..=200))]
    pub people: u64,
    /// Minutes of walking and changing, without building up
    #[arg(long, default_value_t = 90.0, value_name = "MIN", value_parser = minutes)]
    pub minutes: f64,
    /// Seconds from one passing to the next
    #[arg(long, default_value_t = 8.0, value_name = "S", value_parser = seconds)]
    pub seconds: f64,
    /// Beliefs learned so far (a folder that `learn --write` wrote): what should be walked next
    #[arg(long, value_name = "FOLDER")]
    pub learned: Option<PathBuf>,
    /// Write the crew's sheet and the files to fill in as this folder, for `learn` (whole or not at all)
    #[arg(long, value_name = "FOLDER")]
    pub write: Option<PathBuf>,
    /// Seed of all draws
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads (0: as many as there are cores)
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Draws of what only passings tell
    #[arg(long, default_value_t = 256, value_parser = clap::value_parser!(u64).range(64..=4096))]
    pub draws: u64,
    /// Runners simulated in each of them: of the race, and a quarter as many of each way to walk
    #[arg(long, default_value_t = 128, value_parser = clap::value_parser!(u64).range(16..=10_000))]
    pub passings: u64,
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
pub struct ReadsArgs {
    /// Reads file (TOML): which logs belong to which lines, and how their columns are called
    pub reads: PathBuf,
    /// Write the counts as an outcome file for `learn` (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct ScoreArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Outcome files (TOML) of races, oldest first, each naming the forecast stored before it
    #[arg(required = true, value_name = "OUTCOME")]
    pub outcomes: Vec<PathBuf>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

fn effect(text: &str) -> Result<f64, String> {
    let range = crate::learn::RACE_EFFECT_RANGE_DB;
    within(text, *range.start(), *range.end(), "dB")
}

fn minutes(text: &str) -> Result<f64, String> {
    within(text, 5.0, 1440.0, "minutes")
}

fn seconds(text: &str) -> Result<f64, String> {
    within(text, 1.0, 600.0, "seconds")
}

fn within(text: &str, least: f64, most: f64, unit: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (least..=most).contains(&v) => Ok(v),
        _ => Err(format!("expected {least} to {most} {unit}, but found `{text}`")),
    }
}
