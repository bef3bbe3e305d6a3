//! Loads scenario and tag; warnings go to stderr and into the report.

use super::args::Inputs;
use super::failure::{Failure, stderr_style};
use crate::course::{self, Course, power};
use crate::diag::render::render;
use crate::diag::{Diagnostic, Severity, codes};
use crate::learn::folder::{self, LearnedFolder};
use crate::passing::learned::Learned;
use crate::passing::{Prepared, prepare};
use crate::study::provenance::findings_of;
use crate::tag::{self, Tag};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

/// A scenario with its tag, ready to run.
pub struct Loaded {
    pub prepared: Prepared,
    pub warnings: Vec<Diagnostic>,
}

/// Loads and prepares; all problems of both files are reported together.
pub fn load(inputs: &Inputs) -> Result<Loaded, Failure> {
    use_threads(inputs.threads)?;
    let (course, tag, mut warnings) = read(&inputs.scenario, inputs.tag.as_deref())?;
    cleared(findings_of([&tag]), inputs.despite_findings)?;
    show_warnings(&warnings);
    let place = |words: String| format!("{}: {words}", course.file_hash.0);
    lawful(power::unlawful(&course).into_iter().map(place).collect(), inputs.allow_unlawful_power)?;
    let mut prepared = prepare(Arc::new(course), Arc::new(tag));
    if let Some(folder) = &inputs.learned {
        let (learned, _) = folder::load(folder).map_err(Failure::Files)?;
        let told = believe(&mut prepared, &learned, folder)?;
        show_warnings(&told);
        warnings.extend(told);
    }
    Ok(Loaded { prepared, warnings })
}

/// Puts learned beliefs in place of those of a set-up; what is left out of them is a warning.
pub fn believe(
    prepared: &mut Prepared,
    learned: &LearnedFolder,
    folder: &Path,
) -> Result<Vec<Diagnostic>, Failure> {
    let law = law_of(learned, folder, &prepared.course, &prepared.tag)?;
    let told = (!law.same_tag).then(|| {
        Diagnostic::warning(
            codes::LEARNED,
            format!(
                "{} was learned with tag {} in {}: here, what belongs to a tag stays as its own samples say",
                folder.display(),
                learned.description.ties.tag,
                learned.description.ties.region
            ),
        )
    });
    prepared.tag = Arc::new(learned.tell(&prepared.tag));
    prepared.learned = Some(Arc::new(law));
    Ok(told.into_iter().collect())
}

/// The learned law of worlds for a scenario and tag, or why it does not hold there.
pub fn law_of(
    learned: &LearnedFolder,
    folder: &Path,
    course: &Course,
    tag: &Tag,
) -> Result<Learned, Failure> {
    let refused = |why: String| {
        Diagnostic::error(codes::LEARNED, format!("{}: {why}", folder.display()))
            .help("learn again from the same outcomes, with scenarios that share these beliefs")
    };
    learned.law(course, tag).map_err(|reasons| Failure::Files(reasons.into_iter().map(refused).collect()))
}

/// Scenario and tag with their warnings; no simulation. Refuses channels that no sweep covers.
pub fn read(scenario: &Path, tag_folder: Option<&Path>) -> Result<(Course, Tag, Vec<Diagnostic>), Failure> {
    let (course, tag, mut warnings) = read_files(scenario, tag_folder)?;
    warnings.extend(cover(&course, &tag)?);
    warnings.extend(reply_cover(&course, &tag));
    Ok((course, tag, warnings))
}

/// Scenario and tag as their loaders give them; what is wrong in both is reported together.
pub fn read_files(
    scenario: &Path,
    tag_folder: Option<&Path>,
) -> Result<(Course, Tag, Vec<Diagnostic>), Failure> {
    let course = course::load(scenario);
    let folder =
        tag_folder.map(Path::to_path_buf).or(course.as_ref().ok().map(|(c, _)| c.tag_folder.clone()));
    let tag = folder.map(|f| tag::load(&f));
    match (course, tag) {
        (Ok((course, mut warnings)), Some(Ok((tag, more)))) => {
            warnings.extend(more);
            Ok((course, tag, warnings))
        }
        (course, tag) => {
            let mut found = course.err().unwrap_or_default();
            found.extend(tag.and_then(Result::err).unwrap_or_default());
            Err(Failure::Files(found))
        }
    }
}

/// Refuses power above the region's limit; with leave it is told on stderr, and the study says so itself.
pub fn lawful(antennas: Vec<String>, allowed: bool) -> Result<(), Failure> {
    if antennas.is_empty() {
        return Ok(());
    }
    let report = |words: String| {
        if allowed {
            Diagnostic::warning(codes::POWER_ABOVE_LIMIT, words)
        } else {
            Diagnostic::error(codes::POWER_ABOVE_LIMIT, words)
                .help("to study such a set-up on paper, say --allow-unlawful-power; never transmit like this")
        }
    };
    let found: Vec<Diagnostic> = antennas.into_iter().map(report).collect();
    if !allowed {
        return Err(Failure::Files(found));
    }
    show_warnings(&found);
    Ok(())
}

/// Refuses tags that were measured with serious faults; with leave the study says so itself, and the loader has warned.
pub fn cleared(findings: Vec<String>, allowed: bool) -> Result<(), Failure> {
    if allowed || findings.is_empty() {
        return Ok(());
    }
    let refused = |words: String| {
        Diagnostic::error(codes::TAG_FINDING, words.trim_end_matches('.').to_owned()).help(
            "clear it up and measure again (`readodds lab` says what to look at); to go on all the same, say --despite-findings",
        )
    };
    Err(Failure::Files(findings.into_iter().map(refused).collect()))
}

/// Every file that scenario and tag were read from.
pub fn files_of<'a>(course: &'a Course, tag: &'a Tag) -> impl Iterator<Item = &'a Path> {
    std::iter::once(&course.file_hash).chain(&tag.file_hashes).map(|(path, _)| Path::new(path))
}

/// Channels outside every sweep are an error; channels that water moves outside are a warning.
pub(super) fn cover(course: &Course, tag: &Tag) -> Result<Option<Diagnostic>, Failure> {
    let (low, high) = tag.curve.covered_mhz();
    let channels =
        course.points.iter().flat_map(|p| &p.lines).flat_map(|l| &l.readers).flat_map(|r| &r.channels_mhz);
    let (first, last) = channels.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &f| (a.min(f), b.max(f)));
    if first < low || last > high {
        return Err(Failure::Files(vec![
            Diagnostic::error(
                "sweep-misses-region",
                format!(
                    "the channels in use ({first} to {last} MHz) leave what the sweeps of {} cover in every mount ({low} to {high} MHz)",
                    tag.name
                ),
            )
            .help("nothing is extrapolated: sweep the tag over the region's band, or choose another region or tag"),
        ]));
    }
    let shift = if course.effects.water {
        course.beliefs.wetness.iter().map(|w| w.resonance_shift_mhz.quantile(0.999)).fold(0.0, f64::max)
    } else {
        0.0
    };
    Ok((last + shift > high).then(|| {
        Diagnostic::warning(
            "sweep-misses-water-shift",
            format!(
                "a soaked tag is read up to {:.1} MHz, but the sweeps of {} end at {high} MHz: the last value stands beyond",
                last + shift,
                tag.name
            ),
        )
        .help("sweep the tag some 15 MHz past the region's upper edge")
    }))
}

/// Channels at which some mount has no reply: where it slept the forecast hardly asks, else the last reply stands in.
fn reply_cover(course: &Course, tag: &Tag) -> Option<Diagnostic> {
    let (low, high) = tag.curve.reply_covered_mhz();
    let channels =
        course.points.iter().flat_map(|p| &p.lines).flat_map(|l| &l.readers).flat_map(|r| &r.channels_mhz);
    let outside = channels.filter(|f| !(low..=high).contains(*f)).count();
    (outside > 0).then(|| {
        Diagnostic::warning(
            "sweep-misses-reply",
            format!(
                "{outside} channels in use lie where {} has no reply in some mount (all have one from {low} to {high} MHz): the nearest reply stands in",
                tag.name
            ),
        )
        .help("read the reply there, if the tag wakes")
    })
}

pub fn show_warnings(warnings: &[Diagnostic]) {
    for warning in warnings.iter().filter(|w| w.severity == Severity::Warning) {
        let _ = std::io::stderr().write_all(render(warning, stderr_style()).as_bytes());
    }
}

/// Sets the number of threads of the whole process; 0 leaves the default.
pub fn use_threads(threads: usize) -> Result<(), Failure> {
    if threads == 0 {
        return Ok(());
    }
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build_global()
        .map_err(|e| Failure::Internal(format!("cannot start {threads} threads: {e}")))
}
