//! `readodds rank`.

use super::args::{RankArgs, StudyFormat};
use super::failure::{DONE, Failure};
use super::inputs::{cleared, lawful, show_warnings, use_threads};
use super::interrupt;
use super::long_run::{close, open, stopped_early};
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use super::progress::StudyLine;
use crate::estimate::rows_file::Header;
use crate::estimate::run::{Plan, Stopped};
use crate::estimate::shard::WHOLE;
use crate::report::justification::of_tag;
use crate::report::pages::rank::page;
use crate::report::rank_text::rank_text;
use crate::study::provenance::findings_of;
use crate::study::rank::{Answer, Request, answer};
use crate::study::season::{file, resolve};
use std::path::Path;
use std::process::ExitCode;

pub fn run(args: &RankArgs, mut places: Places) -> Result<ExitCode, Failure> {
    use_threads(args.threads)?;
    let mut output = places.file("--out", args.out.as_deref())?;
    let losses = args.losses.as_deref().map(|path| places.file("--losses", Some(path))).transpose()?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.checkpoint(args.checkpoint.as_deref())?;
    let (season, mut warnings) = file::load(&args.season).map_err(Failure::Files)?;
    let (resolved, more) = resolve::resolve(&season).map_err(Failure::Files)?;
    warnings.extend(more);
    places.spare(resolved.file_hashes.iter().map(|(path, _)| Path::new(path)))?;
    cleared(findings_of(resolved.tags.iter().map(|tag| &**tag)), args.despite_findings)?;
    show_warnings(&warnings);
    lawful(resolved.set_up().unlawful_power, args.allow_unlawful_power)?;
    let request = Request { seed: args.seed, most_worlds: args.most_worlds };
    let header = || Header::new("rank", &resolved.file_hashes, &Plan::new(args.seed), WHOLE);
    // Room for the first stage of every race and tag.
    let parts = (resolved.sites.len() * resolved.tags.len()) as u64;
    let mut kept = open(args.checkpoint.as_deref(), header, &[vec![1]], parts)?;
    interrupt::heed();
    let line = StudyLine::new();
    let result = answer(&season, &resolved, &request, &warnings, &mut kept, &interrupt::asked, &|progress| {
        let so_far = progress.leader.as_ref().map_or(String::new(), |name| format!("{name} leads so far"));
        line.show(progress.stage, progress.done, progress.planned, &so_far);
    });
    line.done();
    close(&mut kept, result.as_ref().map_or(stopped_early(), |answer| answer.stopped));
    let Some(answer) = result else {
        return Err(Failure::Interrupted(
            "interrupted before the first stage was finished: nothing is known yet".to_owned(),
        ));
    };
    output.write(&match args.format {
        StudyFormat::Text => rank_text(&answer),
        StudyFormat::Json => json(&answer)?,
        StudyFormat::Markdown => of_tag(&answer),
    })?;
    if let Some(mut losses) = losses {
        losses.write(&table(&answer)?)?;
    }
    if album.wanted() {
        album.write(&page(&answer))?;
    }
    Ok(ExitCode::from(if answer.stopped == Stopped::Interrupted { interrupt::INTERRUPTED } else { DONE }))
}

/// The losses by level as CSV.
fn table(answer: &Answer) -> Result<String, Failure> {
    let internal = |error: String| Failure::Internal(format!("cannot write the losses: {error}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in &answer.losses {
        writer.write_record(row).map_err(|e| internal(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| internal(e.to_string()))?;
    String::from_utf8(bytes).map_err(|e| internal(e.to_string()))
}
