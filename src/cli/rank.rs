//! `readodds rank`.

use super::args::{RankArgs, StudyFormat};
use super::failure::{DONE, Failure};
use super::inputs::{cleared, law_of, lawful, show_warnings, use_threads};
use super::interrupt;
use super::long_run::{close, open, stopped_early};
use super::pictures::Album;
use super::places::Places;
use super::predict::json;
use super::progress::StudyLine;
use crate::course::Course;
use crate::diag::{Diagnostic, codes};
use crate::estimate::rows_file::Header;
use crate::estimate::run::{Plan, Stopped};
use crate::estimate::shard::WHOLE;
use crate::learn::folder;
use crate::passing::learned::Learned;
use crate::report::justification::of_tag;
use crate::report::pages::rank::page;
use crate::report::rank_text::rank_text;
use crate::study::provenance::findings_of;
use crate::study::rank::{Answer, Request, answer};
use crate::study::season::resolve::Resolved;
use crate::study::season::{file, resolve};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

pub fn run(args: &RankArgs, mut places: Places) -> Result<ExitCode, Failure> {
    use_threads(args.threads)?;
    let mut output = places.file("--out", args.out.as_deref())?;
    let losses = args.losses.as_deref().map(|path| places.file("--losses", Some(path))).transpose()?;
    let album = Album::open(&args.pictures, &mut places)?;
    places.checkpoint(args.checkpoint.as_deref())?;
    let (season, mut warnings) = file::load(&args.season).map_err(Failure::Files)?;
    let (mut resolved, more) = resolve::resolve(&season).map_err(Failure::Files)?;
    warnings.extend(more);
    if let Some(folder) = &args.learned {
        warnings.extend(believe(&mut resolved, folder)?);
    }
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

/// Puts learned beliefs in place of those of every race; what belongs to a tag is taken for the tag they were learned with alone.
fn believe(resolved: &mut Resolved, folder: &Path) -> Result<Vec<Diagnostic>, Failure> {
    let (learned, _) = folder::load(folder).map_err(Failure::Files)?;
    let laws = |course: &Course| -> Result<Vec<Arc<Learned>>, Failure> {
        resolved.tags.iter().map(|tag| law_of(&learned, folder, course, tag).map(Arc::new)).collect()
    };
    let laws = resolved.sites.iter().map(|site| laws(&site.course)).collect::<Result<Vec<_>, _>>()?;
    let known = laws.iter().flatten().any(|law| law.same_tag);
    resolved.learned = laws;
    resolved.file_hashes.extend(learned.file_hashes.iter().cloned());
    resolved.tags = resolved.tags.iter().map(|tag| Arc::new(learned.tell(tag))).collect();
    let told = (!known).then(|| {
        let ties = &learned.description.ties;
        let words = format!("{} was learned with tag {} in {}: no race of the season has both, so what belongs to a tag stays as its own samples say", folder.display(), ties.tag, ties.region);
        Diagnostic::warning(codes::LEARNED, words)
    });
    Ok(told.into_iter().collect())
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
