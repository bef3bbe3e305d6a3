//! The command line: clap only, no logic.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

pub use super::learn_args::{LearnArgs, ReadsArgs, ScoreArgs, TrialArgs};
pub use super::study_args::{DriversArgs, RankArgs, RedundancyArgs, StudyFormat};

const EXIT_CODES: &str = "Exit codes: 0 done; 1 done, but --require was not met; 2 bad usage or input; 3 internal error; 130 interrupted.";

/// Forecasts how many runners a timing point will miss, from chamber measurements of the bib tags and the layout.
#[derive(Debug, Parser)]
#[command(name = "readodds", version, about, after_help = EXIT_CODES)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
    /// Let results replace files that readodds did not write, or that were changed since; inputs are never replaced
    #[arg(long, global = true)]
    pub force: bool,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check a scenario before anything runs: files, legal power, exposure distances, cover of the sweeps
    #[command(
        after_help = "Examples:\n  readodds check scenarios/half-marathon-rain-eu-lower.toml\n  readodds check scenarios/template.toml --resolved > everything.toml\n\nExit codes: 0 nothing speaks against it; 1 a problem was found (see --require in predict for forecasts); 2 bad usage or input; 3 internal error."
    )]
    Check(CheckArgs),
    /// Print the JSON Schema of a kind of input file, for editors
    #[command(
        after_help = "Examples:\n  readodds schema > scenario.schema.json\n  readodds schema tag > tag.schema.json"
    )]
    Schema(SchemaArgs),
    /// Write a first scenario from a few answers: commented, at lawful power, ready to be corrected
    #[command(
        after_help = "Examples:\n  readodds new --region usa --antennas panels --road-width 6 --runners 2000 --weather rain\n  readodds new --region eu_lower --tag tags/birch --out my-race.toml"
    )]
    New(NewArgs),
    /// Forecast the misses at every timing point of a scenario, with intervals and reasons
    #[command(
        after_help = "Examples:\n  readodds predict scenarios/half-marathon-rain-eu-lower.toml\n  readodds predict scenarios/city-10k-dry-usa.toml --tag demo-data/tags/birch --format json\n\nExit codes: 0 done; 1 done, but --require was not met; 2 bad usage or input; 3 internal error."
    )]
    Predict(PredictArgs),
    /// Move antennas in the browser and see the forecast beside that of the file (this machine only)
    #[command(
        after_help = "Example:\n  readodds live scenarios/half-marathon-rain-eu-lower.toml\n\nPrints an address to open in a browser. Ends with Ctrl-C, or some seconds after the last page is closed."
    )]
    Live(Inputs),
    /// Replay one passing round by round, or tell which passings hurt most
    #[command(
        after_help = "Examples:\n  readodds explain scenarios/half-marathon-rain-eu-lower.toml --point finish --worst 6\n  readodds explain scenarios/half-marathon-rain-eu-lower.toml --point finish --race 0 --passing 12\n  readodds explain scenarios/half-marathon-rain-eu-lower.toml --point finish --race 0 --passing 12 --format csv\n\nRaces and passings count from 0."
    )]
    Explain(ExplainArgs),
    /// Print the completions of a shell
    #[command(
        after_help = "Example:\n  readodds completions bash > ~/.local/share/bash-completion/completions/readodds"
    )]
    Completions(CompletionsArgs),
    /// Print a manual page (roff)
    #[command(
        after_help = "Examples:\n  readodds manual | man -l -\n  readodds manual predict > readodds-predict.1"
    )]
    Manual(ManualArgs),
    /// Put the shards of a run together to its forecast
    #[command(
        after_help = "Example:\n  readodds merge scenarios/half-marathon-rain-eu-lower.toml rows --format json\n\nRefuses shards that are missing, double, unfinished, or made from other files, seeds or versions."
    )]
    Merge(MergeArgs),
    /// Print the job script that spreads a run over machines (runs nothing)
    #[command(
        after_help = "Example:\n  readodds plan scenarios/half-marathon-rain-eu-lower.toml --worlds 256 --shards 8 --engine slurm > job.sh"
    )]
    Plan(PlanArgs),
    /// Refer chamber readings to the tag, find what is wrong with them, say what the samples prove, compare tags
    #[command(
        after_help = "Examples:\n  readodds lab demo-data/raw/alder\n  readodds lab demo-data/raw/birch --write my-tags/birch\n  readodds lab demo-data/tags/alder demo-data/tags/birch --region eu_lower\n  readodds lab prototype batch --equivalent-within 1.0\n\nReadings outside a licensed band belong into a shielded chamber.\n\nExit codes: 0 done; 2 bad usage or input; 3 internal error."
    )]
    Lab(LabArgs),
    /// Rank the tags of a season: which one to choose, how sure, what it hangs on, what to measure next
    #[command(
        after_help = "Examples:\n  readodds rank scenarios/seasons/lantern-coast.toml\n  readodds rank scenarios/seasons/lantern-coast.toml --format json --out rank.json\n\nCtrl-C prints what is known so far; a second Ctrl-C ends at once."
    )]
    Rank(RankArgs),
    /// Tell what a second line is worth at a timing point, and find the cheapest layout that keeps the promise
    #[command(
        after_help = "Examples:\n  readodds redundancy scenarios/river-half-rain-usa.toml\n  readodds redundancy scenarios/half-marathon-rain-eu-lower.toml --lines main,backup --no-search\n  readodds redundancy scenarios/river-half-rain-usa.toml --format markdown --out justification.md\n\nCandidates come from the [[candidate]] tables of the scenario. Ctrl-C prints what is known so far."
    )]
    Redundancy(RedundancyArgs),
    /// Tell what the misses hinge on: which unknown decides whether the promise holds, and what is worth measuring
    #[command(
        after_help = "Examples:\n  readodds drivers scenarios/half-marathon-rain-eu-lower.toml --tag demo-data/tags/dogwood\n  readodds drivers scenarios/river-half-rain-usa.toml --html drivers.html\n\nThe same worlds and passings as predict. Ctrl-C prints what is known so far."
    )]
    Drivers(DriversArgs),
    /// Plan a walk-through before it is walked: which bibs, wet or dry, at which lowered powers, to sharpen a forecast most per hour
    #[command(
        after_help = "Examples:\n  readodds trial scenarios/half-marathon-rain-eu-lower.toml --yard demo-data/outcomes/yard-walk.toml --people 20 --minutes 90 --write yard\n  readodds learn yard/trial.toml --write learned\n\nPower goes only downwards from the scenario's. Exit codes: 0 done; 2 bad usage or input; 3 internal error."
    )]
    Trial(TrialArgs),
    /// Count read logs: who was missed by what reference, for `learn`; tag numbers are hashed, only counts come out
    #[command(
        after_help = "Example:\n  readodds reads demo-data/reads/reads.toml --write outcome.toml\n  readodds learn outcome.toml\n\nLogs are CSV, one row a read; columns by name, or fields = \"llrp\" (TagReportData) or \"epcis\". Columns about people are refused.\n\nExit codes: 0 done; 2 bad usage or input; 3 internal error."
    )]
    Reads(ReadsArgs),
    /// Learn from races and trials: beliefs weighted by what was counted, for sharper forecasts
    #[command(
        after_help = "Examples:\n  readodds learn demo-data/outcomes/*.toml --write learned\n  readodds predict scenarios/river-half-rain-usa.toml --learned learned\n\nTake the counts of all races or of none: whoever learns from bad days alone forecasts bad days. Excluding a point needs a record (excluded = \"...\").\n\nExit codes: 0 done; 1 learned, but the outcomes do not fit the beliefs; 2 bad usage or input; 3 internal error."
    )]
    Learn(LearnArgs),
    /// Hold forecasts stored before races against what was counted: were they right, and better than last year's counts?
    #[command(
        after_help = "Example:\n  readodds score demo-data/outcomes/season-1-spring.toml demo-data/outcomes/season-1-autumn.toml\n\nStore a forecast before the race: readodds predict SCENARIO --format json --out FILE, and name it in the outcome: [race] forecast = \"FILE\".\n\nExit codes: 0 done; 2 bad usage or input; 3 internal error."
    )]
    Score(ScoreArgs),
}

/// The scenario and what may stand in for parts of it.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    #[arg(value_enum, default_value_t = SchemaOf::Scenario)]
    pub of: SchemaOf,
}

/// Kinds of input file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// A scenario
    Scenario,
    /// tag.toml of a tag already referred
    Tag,
    /// tag.toml of raw chamber readings
    RawTag,
}

#[derive(Debug, Args)]
pub struct Inputs {
    /// Scenario file (TOML)
    pub scenario: PathBuf,
    /// Tag folder in place of the scenario's own
    #[arg(long, value_name = "FOLDER")]
    pub tag: Option<PathBuf>,
    /// Seed of all draws; the same seed, files and build give the same bytes on any number of threads
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads (0: as many as there are cores)
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    /// Study a set-up above the region's power limit on paper; every output says so
    #[arg(long)]
    pub allow_unlawful_power: bool,
    /// Go on although the tag was measured with serious faults; every output says so
    #[arg(long)]
    pub despite_findings: bool,
    /// Beliefs learned from races and trials (a folder that `learn --write` wrote) in place of the scenario's own
    #[arg(long, value_name = "FOLDER")]
    pub learned: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Scenario or season file (TOML)
    pub scenario: PathBuf,
    /// Tag folder in place of the scenario's own
    #[arg(long, value_name = "FOLDER")]
    pub tag: Option<PathBuf>,
    /// Print the scenario with every default filled in (TOML), and nothing else
    #[arg(long)]
    pub resolved: bool,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct NewArgs {
    /// Where the race is: a region's key, as in `usa` or `eu_lower`
    #[arg(long)]
    pub region: String,
    /// dry, humid, showers, rain or downpour
    #[arg(long, default_value = "dry")]
    pub weather: String,
    #[arg(long, default_value_t = 2000)]
    pub runners: u64,
    /// Width of the road at the finish, m
    #[arg(long, value_name = "M", default_value_t = 5.0)]
    pub road_width: f64,
    /// Antennas of the finish
    #[arg(long, value_enum, default_value = "mats")]
    pub antennas: Antennas,
    #[arg(long, default_value = "My race")]
    pub name: String,
    /// Tag folder, relative to the scenario
    #[arg(long, value_name = "FOLDER", default_value = "tags/my-tag")]
    pub tag: String,
    /// Write to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Antennas {
    /// Side by side on the road
    Mats,
    /// On both sides, turned against the runners
    Panels,
    /// A pair on a gantry
    Overhead,
}

#[derive(Debug, Args)]
pub struct CompletionsArgs {
    pub shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub struct ManualArgs {
    /// A command, for its own page
    pub command: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    Json,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TraceFormat {
    Text,
    Json,
    Csv,
}

/// Pages and figures beside the result.
#[derive(Debug, Args)]
pub struct Pictures {
    /// Write one self-contained HTML page for people (opens offline, prints on A4)
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write each figure as SVG (and PNG, when built with the feature `png`) and its numbers as CSV into a folder
    #[arg(long, value_name = "FOLDER")]
    pub figures: Option<PathBuf>,
}

/// What makes a run what it is, besides its inputs and a fixed number of worlds.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Standard error wanted for each point's miss rate, as a share of the rate ...
    #[arg(long, default_value_t = 0.1, value_parser = share)]
    pub precision: f64,
    /// ... or in missed runners per race, whichever is looser: nothing is refined below it
    #[arg(long, default_value_t = 0.1, value_name = "RUNNERS", value_parser = share)]
    pub least_runners: f64,
    /// Most runners simulated, each past every timing point
    #[arg(long, default_value_t = 200_000)]
    pub max_passings: u64,
    /// Runners simulated in each world (a world: one draw of what nobody knows)
    #[arg(long, default_value_t = crate::estimate::run::PASSINGS_PER_WORLD)]
    pub passings_per_world: u64,
}

#[derive(Debug, Args)]
pub struct PredictArgs {
    #[command(flatten)]
    pub inputs: Inputs,
    #[command(flatten)]
    pub pictures: Pictures,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub run: RunArgs,
    /// Print everything: all shares, all assumptions, cautions, input hashes
    #[arg(long)]
    pub full: bool,
    /// Fixed number of worlds (draws of what nobody knows) instead of the precision
    #[arg(long)]
    pub worlds: Option<u64>,
    /// Exit with 1 unless every point keeps its promise in at least this share of races (for example 0.95), judged by the lower end of the simulation interval
    #[arg(long, value_name = "ODDS", value_parser = share)]
    pub require: Option<f64>,
    /// Keep the worlds worked out in this file, and go on from it if it is there
    #[arg(long, value_name = "FILE", conflicts_with = "shard")]
    pub checkpoint: Option<PathBuf>,
    /// Work out one part of the run only: I/N with I from 0 to N-1, or auto (Slurm job array, Open MPI launcher)
    #[arg(long, value_name = "I/N", requires = "worlds", requires = "rows", conflicts_with_all = ["out", "require"])]
    pub shard: Option<String>,
    /// Folder for the world rows of a shard, to be put together by `merge`
    #[arg(long, value_name = "FOLDER", requires = "shard")]
    pub rows: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct MergeArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Scenario file (TOML)
    pub scenario: PathBuf,
    /// Files of world rows, or folders that hold them
    #[arg(required = true, value_name = "ROWS")]
    pub rows: Vec<PathBuf>,
    /// Tag folder in place of the scenario's own
    #[arg(long, value_name = "FOLDER")]
    pub tag: Option<PathBuf>,
    /// Study a set-up above the region's power limit on paper; every output says so
    #[arg(long)]
    pub allow_unlawful_power: bool,
    /// Go on although the tag was measured with serious faults; every output says so
    #[arg(long)]
    pub despite_findings: bool,
    /// Beliefs that the rows were made with, if they were learned
    #[arg(long, value_name = "FOLDER")]
    pub learned: Option<PathBuf>,
    /// Refuse rows made with another seed (default: the seed the rows were made with)
    #[arg(long)]
    pub seed: Option<u64>,
    /// Threads (0: as many as there are cores)
    #[arg(long, default_value_t = 0)]
    pub threads: usize,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Print everything: all shares, all assumptions, cautions, input hashes
    #[arg(long)]
    pub full: bool,
    /// Exit with 1 unless every point keeps its promise in at least this share of races (for example 0.95)
    #[arg(long, value_name = "ODDS", value_parser = share)]
    pub require: Option<f64>,
}

/// What a job script is written for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Engine {
    /// A Slurm job array
    Slurm,
    /// The Open MPI launcher
    Mpi,
    /// One line per shard, for any shell or by hand
    Shell,
}

#[derive(Debug, Args)]
pub struct PlanArgs {
    #[command(flatten)]
    pub inputs: Inputs,
    /// Number of worlds (draws of what nobody knows)
    #[arg(long)]
    pub worlds: u64,
    #[command(flatten)]
    pub run: RunArgs,
    /// Let the merge exit with 1 unless every point meets its target in at least this share of races
    #[arg(long, value_name = "ODDS", value_parser = share)]
    pub require: Option<f64>,
    /// Number of parts
    #[arg(long)]
    pub shards: u64,
    #[arg(long, value_enum, default_value = "slurm")]
    pub engine: Engine,
    /// Folder for the world rows, seen by all machines
    #[arg(long, value_name = "FOLDER", default_value = "rows")]
    pub rows: PathBuf,
}

#[derive(Debug, Args)]
pub struct ExplainArgs {
    #[command(flatten)]
    pub inputs: Inputs,
    #[command(flatten)]
    pub pictures: Pictures,
    /// Timing point (the scenario's only point, or its finish, if left out)
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// Race day, counted from 0
    #[arg(long, default_value_t = 0)]
    pub race: u64,
    /// Passing of that race day, counted from 0
    #[arg(long, default_value_t = 0)]
    pub passing: u64,
    /// Tell the N passings that weigh most among the misses instead
    #[arg(long, value_name = "N", conflicts_with_all = ["race", "passing"])]
    pub worst: Option<usize>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: TraceFormat,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct LabArgs {
    #[command(flatten)]
    pub pictures: Pictures,
    /// Tag folders: a tag.toml with sweeps, raw or referred
    #[arg(required = true, value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,
    /// Region to report on, may be repeated (default: eu_lower, eu_upper, usa)
    #[arg(long = "region", value_name = "KEY")]
    pub regions: Vec<String>,
    /// Odds of every interval, 0.5 to 0.99
    #[arg(long, default_value_t = 0.95)]
    pub level: f64,
    /// The tags were measured by different laboratories: nothing cancels between them
    #[arg(long)]
    pub different_laboratories: bool,
    /// First folder the approved prototype, second a production batch: are they equal within this many dB?
    #[arg(long, value_name = "DB")]
    pub equivalent_within: Option<f64>,
    /// Write the tag, referred, as this folder (whole or not at all)
    #[arg(long, value_name = "FOLDER")]
    pub write: Option<PathBuf>,
    #[arg(long, value_enum, default_value = "text")]
    pub format: Format,
    /// Write the result to a file instead of stdout (whole or not at all)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Odds above 0.5 and below 1.
pub(super) fn odds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v > 0.5 && v < 1.0 => Ok(v),
        _ => Err(format!("expected odds above 0.5 and below 1, but found `{text}`")),
    }
}

/// A number above 0 and at most 1.
pub(super) fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v > 0.0 && v <= 1.0 => Ok(v),
        Ok(v) => Err(format!("{v} is outside 0 to 1 (0 excluded)")),
        Err(_) => Err(format!("expected a number above 0 and at most 1, but found `{text}`")),
    }
}
