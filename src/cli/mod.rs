//! Commands: arguments to studies, answers to reports, errors to exit codes. The only place that prints.

pub mod args;
pub mod check;
pub mod drivers;
pub mod explain;
pub mod failure;
pub mod inputs;
pub mod interrupt;
pub mod job;
pub mod lab;
pub mod learn;
pub mod learn_args;
pub mod live;
pub mod long_run;
pub mod manual;
pub mod merge;
pub mod new;
pub mod output;
pub mod pictures;
pub mod places;
pub mod predict;
pub mod progress;
pub mod rank;
pub mod reads;
mod redundancy;
pub mod score;
pub mod study_args;
mod trial;

use args::{Cli, Command};
use clap::Parser;
use failure::Failure;
use places::Places;
use std::process::ExitCode;

/// Parses the command line, runs the command, reports failures on stderr.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    // A bug must not look like bad input: a panic ends with the internal code.
    let outcome =
        std::panic::catch_unwind(|| interrupt::set_up().and_then(|()| run(&cli))).unwrap_or_else(|_| {
            Err(Failure::Internal(
                "a bug in readodds; please report it with the files that led here".to_owned(),
            ))
        });
    match outcome {
        Ok(code) => code,
        Err(failure) => {
            failure.report();
            failure.exit_code()
        }
    }
}

fn run(cli: &Cli) -> Result<ExitCode, Failure> {
    let places = Places::new(cli.force);
    match &cli.command {
        Command::Check(args) => check::run(args, places),
        Command::Schema(args) => check::schema(args.of),
        Command::New(args) => new::run(args, places),
        Command::Live(args) => live::run(args),
        Command::Completions(args) => manual::completions(args),
        Command::Manual(args) => manual::manual(args),
        Command::Predict(args) => predict::run(args, places),
        Command::Explain(args) => explain::run(args, places),
        Command::Merge(args) => merge::run(args, places),
        Command::Plan(args) => job::run(args),
        Command::Lab(args) => lab::run(args, places),
        Command::Rank(args) => rank::run(args, places),
        Command::Redundancy(args) => redundancy::run(args, places),
        Command::Drivers(args) => drivers::run(args, places),
        Command::Trial(args) => trial::run(args, places),
        Command::Reads(args) => reads::run(args, places),
        Command::Learn(args) => learn::run(args, places),
        Command::Score(args) => score::run(args, places),
    }
}
