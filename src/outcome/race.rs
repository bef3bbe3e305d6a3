//! The outcome file: TOML to counts, every problem with its place.

use super::who::who;
use super::{Outcome, Pattern, PointCount, Reference};
use crate::course::Course;
use crate::course::load::parse_document;
use crate::course::walk::{Found, Section, Walk, did_you_mean};
use crate::diag::{Checked, Diagnostic, Severity, Source, codes};
use crate::lab::text;
use crate::limits;
use std::path::Path;
use std::sync::Arc;
use toml::de::DeValue;

const MOST_POINTS: usize = 60;
const MOST_PATTERNS: usize = 16;

/// Reads an outcome file; what it names of its scenario is looked up by [`belongs`].
pub fn load(path: &Path) -> Checked<Outcome> {
    let read = text::read(path).map_err(|d| vec![*d])?;
    let folder = path.parent().unwrap_or(Path::new(""));
    from_source(&read.source, folder, (path.display().to_string(), read.sha256))
}

/// The same from text; files are named from `folder`.
pub fn from_source(source: &Arc<Source>, folder: &Path, file_hash: (String, String)) -> Checked<Outcome> {
    let walk = Walk::new(source.clone());
    let Some(document) = parse_document(source, &walk) else { return Err(walk.take_found()) };
    let root = Section::root_of(&walk, "outcome", document.get_ref());
    let outcome = outcome(&root, folder, file_hash);
    root.finish();
    let found = walk.take_found();
    if found.iter().any(|d| d.severity == Severity::Error) { Err(found) } else { Ok((outcome, found)) }
}

fn outcome(root: &Section, folder: &Path, file_hash: (String, String)) -> Outcome {
    let comment = root.walk.source.text.lines().next().and_then(|line| line.strip_prefix('#'));
    let race = root.table("race", "race");
    let trial = root.table("trial", "trial");
    if race.is_present() == trial.is_present() {
        root.walk.note(
            root.walk
                .error(codes::KEY_MISSING, &(0..0), "one of [race] and [trial] is needed, and only one")
                .help("[race] has the counts of a race in [[point]] tables; [trial] names a CSV file of passings, one row each"),
        );
    }
    let what = if trial.is_present() { &trial } else { &race };
    let name = what.name("name");
    let scenario = what.text("scenario");
    if what.is_present() {
        for (key, there) in [("name", name.is_some()), ("scenario", scenario.is_some())] {
            if !there && what.find_own(key).is_none() {
                what.missing(
                    key,
                    "name it, and the scenario file it belongs to, counted from the folder of this file",
                );
            }
        }
    }
    let weather_seen = race.find_own("weather_seen").map(|found| found.span);
    let weather_seen = race.text("weather_seen").zip(weather_seen);
    let soaked = race.find_own("soaked").and_then(|found| share_counted(&race, &found));
    let file = trial.text("file");
    if trial.is_present() && trial.find_own("file").is_none() {
        trial.missing("file", "name the CSV file of passings, counted from the folder of this file");
    }
    let counts: Vec<PointCount> =
        root.tables("point", "point", MOST_POINTS).iter().filter_map(point_count).collect();
    if race.is_present() && root.find_own("point").is_none() {
        root.missing("point", "add the counts: [[point]] with name, reference, passed and missed");
    }
    let out = Outcome {
        name: name.unwrap_or_default(),
        note: what.text("note").or(comment.map(|c| c.trim().to_owned())).unwrap_or_default(),
        scenario: folder.join(scenario.unwrap_or_default()),
        weather_seen,
        power_lowered_db: race.number("power_lowered_db", &limits::LOWERED_DB).unwrap_or(0.0),
        soaked,
        counts,
        forecast: race.text("forecast").map(|file| folder.join(file)),
        unlearned_forecast: race.text("unlearned_forecast").map(|file| folder.join(file)),
        trial: file.map(|file| folder.join(file)),
        source: root.walk.source.clone(),
        file_hash,
    };
    if race.is_present() {
        race.finish();
    }
    if trial.is_present() {
        trial.finish();
    }
    out
}

/// `{ counted = 61, of = 100 }`.
fn share_counted(section: &Section, found: &Found) -> Option<(u64, u64)> {
    let table = section.section_of("soaked", found, "soaked");
    let counted = table.whole("counted", &limits::COUNTED);
    let of = table.whole("of", &limits::COUNTED);
    table.finish();
    let (counted, of) = (counted?, of?);
    if counted > of || of == 0 {
        section.walk.note(contradiction(
            section,
            &found.span,
            format!("{counted} soaked bibs of {of} looked at"),
        ));
        return None;
    }
    Some((counted, of))
}

fn contradiction(section: &Section, span: &std::ops::Range<usize>, message: String) -> Diagnostic {
    section
        .walk
        .error(codes::OUTCOME_COUNTS, span, message)
        .label("contradicts itself")
        .help("count again from the record; a count that was guessed is better left out")
}

fn point_count(section: &Section) -> Option<PointCount> {
    let name = section.name("name");
    if section.find_own("name").is_none() {
        section.missing("name", "name the timing point as in the scenario");
    }
    let excluded = section.text("excluded");
    let reference = reference(section);
    let passed = section.whole("passed", &limits::COUNTED);
    let missed = section.find_own("missed").and_then(|found| missed_of(section, &found));
    let patterns: Vec<Pattern> =
        section.tables("pattern", "pattern", MOST_PATTERNS).iter().filter_map(pattern).collect();
    let most = match patterns.iter().find(|p| p.read.is_empty()) {
        Some(none) => Some(none.count),
        None => missed.map(|m: (u64, u64)| m.1),
    };
    let who = who(section, reference.as_ref(), most);
    section.finish();
    let told = section.find_own("missed").is_some();
    let count = |passed, missed| PointCount {
        point: name.clone().unwrap_or_default(),
        reference: reference.clone().unwrap_or(Reference::Everyone),
        passed,
        missed,
        patterns: patterns.clone(),
        who: who.clone(),
        excluded: excluded.clone(),
        span: section.span.clone(),
    };
    if excluded.is_some() {
        return Some(count(passed.unwrap_or(0), missed.unwrap_or((0, 0))));
    }
    if !patterns.is_empty() {
        return from_patterns(section, &patterns, passed, missed)
            .map(|(passed, missed)| count(passed, missed));
    }
    for (key, there) in [("passed", section.find_own("passed").is_some()), ("missed", told)] {
        if !there {
            section.missing(key, "say how many are known to have passed and how many of them were missed");
        }
    }
    let (passed, missed) = (passed?, missed?);
    if missed.1 > passed || missed.0 > missed.1 {
        let span = section.find_own("missed").map_or(section.span.clone(), |found| found.span);
        let message = format!("{} to {} missed of {passed} who passed", missed.0, missed.1);
        section.walk.note(contradiction(section, &span, message));
        return None;
    }
    Some(count(passed, missed))
}

/// A count, or `{ min = 5, max = 9 }`.
fn missed_of(section: &Section, found: &Found) -> Option<(u64, u64)> {
    if let DeValue::Table(_) = found.value {
        let table = section.section_of("missed", found, "missed");
        let (min, max) = (table.whole("min", &limits::COUNTED), table.whole("max", &limits::COUNTED));
        table.finish();
        return Some((min?, max?));
    }
    section.whole("missed", &limits::COUNTED).map(|missed| (missed, missed))
}

fn pattern(section: &Section) -> Option<Pattern> {
    let (read, count) = (section.names("read"), section.whole("count", &limits::COUNTED));
    section.finish();
    Some(Pattern { read: read?, count: count? })
}

/// Passed and missed as the patterns give them.
fn from_patterns(
    section: &Section,
    patterns: &[Pattern],
    passed: Option<u64>,
    missed: Option<(u64, u64)>,
) -> Option<(u64, (u64, u64))> {
    let Some(none) = patterns.iter().find(|p| p.read.is_empty()) else {
        section.walk.note(
            section
                .walk
                .error(codes::OUTCOME_REFERENCE, &section.span, "how many no line read is not said")
                .label("no pattern with read = []")
                .help("lines alone cannot tell how many all of them missed: where every one misses the same runners, the usual estimate from their overlap can be 50 times too low. Count them by film, a chance sample or the list of bibs, and add read = [] with that count; or learn from one line against the other: reference = \"other_line\""),
        );
        return None;
    };
    let total = patterns.iter().map(|p| p.count).sum();
    if passed.is_some_and(|n| n != total) || missed.is_some_and(|(a, b)| a != none.count || b != none.count) {
        let message = format!(
            "the patterns add up to {total} who passed and {} missed, `passed` and `missed` say otherwise",
            none.count
        );
        section.walk.note(contradiction(section, &section.span, message));
        return None;
    }
    Some((total, (none.count, none.count)))
}

#[derive(Clone, Copy)]
enum Kind {
    Everyone,
    Sample,
    Bibs,
    Elsewhere,
    OtherLine,
}

fn reference(section: &Section) -> Option<Reference> {
    let choices = [
        ("everyone_filmed", Kind::Everyone),
        ("counted_by_hand", Kind::Everyone),
        ("sample_filmed", Kind::Sample),
        ("bibs_searched", Kind::Bibs),
        ("seen_elsewhere", Kind::Elsewhere),
        ("other_line", Kind::OtherLine),
    ];
    let kind = section.choice("reference", &choices);
    let (seen_at, line, by_line) = (section.names("seen_at"), section.name("line"), section.name("by_line"));
    if section.find_own("reference").is_none() && section.find_own("excluded").is_none() {
        section.missing(
            "reference",
            "say how those who passed are known: everyone_filmed, counted_by_hand, sample_filmed, bibs_searched, seen_elsewhere (with seen_at) or other_line (with line and by_line)",
        );
    }
    match kind? {
        Kind::Everyone => Some(Reference::Everyone),
        Kind::Sample => Some(Reference::Sample),
        Kind::Bibs => Some(Reference::Bibs),
        Kind::Elsewhere => {
            let seen_at = seen_at.filter(|points| !points.is_empty());
            if seen_at.is_none() {
                section.missing(
                    "seen_at",
                    "list the other points at one of which at least every counted runner was read",
                );
            }
            seen_at.map(Reference::SeenElsewhere)
        }
        Kind::OtherLine => {
            if line.is_none() || by_line.is_none() {
                section.walk.note(
                    section
                        .walk
                        .error(codes::OUTCOME_REFERENCE, &section.span, "a line as reference needs `line` and `by_line`")
                        .label("which line missed, and which line read them?")
                        .help("two lines alone cannot tell how many both missed; what one missed of those the other read can be learned from: line = \"main\", by_line = \"backup\", passed = those that backup read, missed = those of them that main missed"),
                );
            }
            Some(Reference::OtherLine { line: line?, by: by_line? })
        }
    }
}

/// What an outcome names that its scenario does not have, and weather that it was not.
pub fn belongs(outcome: &Outcome, course: &Course) -> Vec<Diagnostic> {
    let at = |span: &std::ops::Range<usize>, message: String| {
        Diagnostic::error(codes::OUTCOME_POINT, message).at(&outcome.source, span.clone())
    };
    let mut found = Vec::new();
    if let Some((seen, span)) = &outcome.weather_seen
        && *seen != course.weather.key
    {
        let message = format!("the race saw {seen}, its scenario is for {}", course.weather.key);
        found.push(at(span, message).label("not the weather of the scenario").help(
            "name a scenario of the weather that it was: counts of a wet race say nothing of a dry one",
        ));
    }
    let points: Vec<&str> = course.points.iter().map(|p| p.name.as_str()).collect();
    let unknown = |what: &str, name: &str, there: &[&str], span: &std::ops::Range<usize>| {
        let one = at(span, format!("no {what} \"{name}\" in the scenario")).label("here");
        let one = match did_you_mean(name, there.iter().copied()) {
            Some(close) => one.help(format!("did you mean \"{close}\"?")),
            None => one,
        };
        one.help(format!("{what}s of the scenario: {}", there.join(", ")))
    };
    for count in &outcome.counts {
        let Some(point) = course.points.iter().find(|p| p.name == count.point) else {
            found.push(unknown("point", &count.point, &points, &count.span));
            continue;
        };
        let lines: Vec<&str> = point.lines.iter().map(|l| l.name.as_str()).collect();
        let mut named: Vec<&String> = count.patterns.iter().flat_map(|p| &p.read).collect();
        if let Reference::OtherLine { line, by } = &count.reference {
            named.extend([line, by]);
        }
        let missing = named.into_iter().find(|name| !lines.contains(&name.as_str()));
        found.extend(missing.map(|name| unknown("line", name, &lines, &count.span)));
        let worn: Vec<&str> = course.field.placements.iter().map(|p| p.placement.key()).collect();
        let named = count.who.iter().flat_map(|who| who.missed.iter().chain(&who.sample));
        let missing = named.filter(|w| w.1 > 0).map(|w| w.0.key()).find(|key| !worn.contains(key));
        found.extend(missing.map(|key| unknown("placement", key, &worn, &count.span)));
        if let Reference::SeenElsewhere(seen_at) = &count.reference {
            let missing =
                seen_at.iter().find(|name| !points.contains(&name.as_str()) || **name == count.point);
            found.extend(missing.map(|name| unknown("other point", name, &points, &count.span)));
        }
    }
    found
}
