//! `readodds rank`.

use super::args::{Format, RankArgs};
use super::failure::{DONE, Failure};
use super::inputs::{show_warnings, use_threads};
use super::interrupt;
use super::output::Output;
use super::pictures::Album;
use super::predict::json;
use super::progress::StudyLine;
use crate::report::pages::rank::page;
use crate::report::rank_text::rank_text;
use crate::report::words::{percent, significant};
use crate::study::rank::{self, Progress, Request};
use crate::study::season::{file, resolve};
use std::process::ExitCode;
use std::sync::Mutex;

pub fn run(args: &RankArgs) -> Result<ExitCode, Failure> {
    if args.most_worlds < args.first_worlds {
        return Err(Failure::Usage("--most-worlds must be at least --first-worlds".to_owned()));
    }
    use_threads(args.threads)?;
    let output = Output::open(args.out.as_deref())?;
    let album = Album::open(&args.pictures)?;
    let (season, mut warnings) = file::load(&args.season).map_err(Failure::Files)?;
    let (resolved, more) = resolve::resolve(&season).map_err(Failure::Files)?;
    warnings.extend(more);
    show_warnings(&warnings);
    interrupt::heed();
    let request = Request {
        seed: args.seed,
        passings_per_race: args.passings_per_race,
        first_worlds: args.first_worlds,
        most_worlds: args.most_worlds,
        regret_goal: args.regret,
        missed_passing_cost: season.missed_passing_cost,
        told_apart_odds: args.told_apart,
    };
    let line = StudyLine::new();
    let leader = Mutex::new(String::new());
    let runs = rank::run(&resolved, &request, &|progress| show(&line, &leader, progress), &interrupt::asked);
    line.done();
    let Some(answer) = rank::answer(&season, &resolved, &runs, &request, &warnings) else {
        return Err(Failure::BrokenOff(
            "broken off before the first world was finished: nothing is known yet".to_owned(),
        ));
    };
    if album.wanted() {
        album.write(&page(&answer))?;
    }
    output.write(&match args.format {
        Format::Text => rank_text(&answer),
        Format::Json => json(&answer)?,
    })?;
    Ok(ExitCode::from(if answer.interrupted { interrupt::BROKEN_OFF } else { DONE }))
}

fn show(line: &StudyLine, leader: &Mutex<String>, progress: &Progress) {
    let Ok(mut so_far) = leader.lock() else { return };
    if let Some(name) = &progress.leader {
        *so_far = format!(
            "{name} leads after {} worlds (best in {}, regret of this run {} % of passings)",
            progress.done,
            percent(progress.odds_best),
            significant(100.0 * progress.regret)
        );
        return;
    }
    line.show(progress.stage, progress.done, progress.planned, &so_far);
}
