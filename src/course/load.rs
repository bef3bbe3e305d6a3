//! Reading a scenario file: size and encoding first, then syntax, then every key, then the checks across keys.

use super::field::RunnerField;
use super::timing_point::{self, Surroundings, TimingPoint};
use super::walk::{Section, Walk};
use super::{Course, beliefs, effects, field, region, weather};
use crate::diag::{Checked, Diagnostic, Severity, Source, codes};
use crate::files::written::hash;
use crate::limits;
use std::path::Path;
use std::sync::Arc;
use toml::de::DeTable;

/// A larger scenario is refused unread, bytes.
pub const MAX_BYTES: u64 = 2 << 20;
/// Most timing points of a scenario.
const MOST_POINTS: usize = 60;

/// Loads a scenario file: the course with its warnings, or everything that is wrong with it.
pub fn load(path: &Path) -> Checked<Course> {
    let shown = path.display().to_string();
    if let Ok(facts) = std::fs::metadata(path)
        && facts.len() > MAX_BYTES
        && facts.is_file()
    {
        let message = format!("the file has {} bytes, a scenario at most {MAX_BYTES}", facts.len());
        return Err(vec![
            Diagnostic::error(codes::FILE_TOO_LARGE, message)
                .in_file(&Source::new(&shown, ""))
                .help("is this a scenario? sweeps belong in the tag folder"),
        ]);
    }
    let file = crate::lab::text::read(path).map_err(|d| vec![*d])?;
    let text = &file.source.text;
    let folder = path.parent().unwrap_or(Path::new(""));
    let (course, mut warnings) = walk_checked(&shown, text, &file.sha256, folder)?;
    if !course.tag_folder.join("tag.toml").is_file() {
        warnings.push(missing_tag_folder(&file.source, &course));
        return Err(warnings);
    }
    Ok((course, warnings))
}

fn missing_tag_folder(source: &Arc<Source>, course: &Course) -> Diagnostic {
    let folder = course.tag_folder.display();
    let message = if course.tag_folder.is_dir() {
        format!("{folder} holds no tag.toml")
    } else {
        format!("tag folder {folder} does not exist")
    };
    Diagnostic::error(codes::TAG_FOLDER, message)
        .at(source, crate::lab::toml_text::place(source, &["tag"]))
        .label("counted from the folder of this file")
        .help("name a folder with a tag.toml and its sweeps")
}

/// Loads a scenario from text. `folder` is where its relative paths count from; the file system is not touched.
pub fn from_text(path: &str, text: &str, folder: &Path) -> Checked<Course> {
    walk_checked(path, text, &hash(text.as_bytes()), folder)
}

fn walk_checked(path: &str, text: &str, hash: &str, folder: &Path) -> Checked<Course> {
    let (course, found, _) = walk_text(path, text, hash, folder);
    match course {
        Some(course) if !found.iter().any(|d| d.severity == Severity::Error) => Ok((course, found)),
        _ => Err(found),
    }
}

/// The course as far as it could be built, everything found, and the walk that found it.
pub(super) fn walk_text(
    path: &str,
    text: &str,
    hash: &str,
    folder: &Path,
) -> (Option<Course>, Vec<Diagnostic>, Walk) {
    let body = text.strip_prefix('\u{feff}').unwrap_or(text);
    let source = Source::new(path, body);
    let walk = Walk::new(source.clone());
    if body.trim().is_empty() {
        walk.note(
            Diagnostic::error(codes::FILE_EMPTY, "the file holds nothing")
                .in_file(&source)
                .help("start from scenarios/template.toml"),
        );
        return (None, walk.take_found(), walk);
    }
    let Some(document) = parse_document(&source, &walk) else { return (None, walk.take_found(), walk) };
    let course = read(&Section::root(&walk, document.get_ref()), hash, folder);
    (course, walk.take_found(), walk)
}

/// The document behind a walk, with every syntax error noted; `None` if there is one, for half a document
/// would only add complaints about what the parser could not see.
pub fn parse_document<'s>(source: &'s Arc<Source>, walk: &Walk) -> Option<toml::Spanned<DeTable<'s>>> {
    let (document, errors) = DeTable::parse_recoverable(&source.text);
    for error in errors {
        walk.note(syntax_error(source, &error));
    }
    (!walk.has_errors()).then_some(document)
}

fn syntax_error(source: &Arc<Source>, error: &toml::de::Error) -> Diagnostic {
    let message = error.message().lines().next().unwrap_or("not valid TOML").to_owned();
    let diagnostic = Diagnostic::error(codes::TOML_SYNTAX, message);
    match error.span() {
        Some(span) => diagnostic.at(source, span).label("not valid TOML"),
        None => diagnostic.in_file(source),
    }
    .help("text stands in quotes, decimals take a point, every key stands once")
}

fn read(root: &Section, hash: &str, folder: &Path) -> Option<Course> {
    let walk = root.walk;
    let note = root.text("note").unwrap_or_default();
    let tag = root.text("tag");
    if root.find_own("tag").is_none() {
        root.missing("tag", "name the tag's folder, for example tag = \"../demo-data/tags/birch\"");
    }
    let event = root.table("event", "event");
    let event_name = event.name("name");
    if event.find_own("name").is_none() {
        event.missing("name", "name the event");
    }
    let distance_km = event.number("distance_km", &limits::DISTANCE_KM);
    event.finish();

    let region = region::read(&root.table("region", "region"));
    let (weather, film_mm) = weather::read(&root.table("weather", "weather"));
    let field = field::read(&root.table("field", "field"));
    let beliefs = beliefs::read(&root.table("beliefs", "beliefs"));
    let effects = effects::read(&root.table("effects", "effects"));

    let every_point = root.table("every_point", "every_point");
    let every_surface = every_point.table("surface", "surface");
    let every_reader = root.table("every_reader", "every_reader");
    let every_antenna = root.table("every_antenna", "every_antenna");
    let around = Surroundings {
        region: region.as_ref(),
        film_mm,
        runners: field.runners,
        distance_km,
        every_surface: &every_surface,
        every_reader: &every_reader,
        every_antenna: &every_antenna,
    };
    let tables: Vec<Section> = root
        .tables_in("point", "point", 1..=MOST_POINTS)
        .into_iter()
        .map(|table| table.with_fallback(&every_point))
        .collect();
    let points: Vec<TimingPoint> = tables.iter().map(|table| timing_point::read(table, &around)).collect();
    if points.is_empty() && root.find_own("point").is_none() {
        root.missing("point", "give at least one timing point: [[point]]");
    }
    if !points.is_empty() {
        for every in [&every_point, &every_surface, &every_reader, &every_antenna] {
            every.finish();
        }
    }
    // The catalogue says what could be; `redundancy` reads it.
    root.find_own("candidate");
    root.finish();
    check_finish(&tables, &points);
    check_rounds(&tables, &points, &field);
    check_names(&tables, &points);
    let tag = tag?;
    Some(Course {
        event_name: event_name?,
        note,
        distance_km,
        region: region?,
        weather,
        field,
        beliefs,
        effects,
        tag_folder: folder.join(&tag),
        tag,
        points,
        file_hash: (walk.source.path.clone(), hash.to_owned()),
        assumed: walk.take_assumptions(),
    })
}

/// Rounds of a passing beyond which a run is slow, and beyond which it is refused. A passing of six seconds at 20 ms a round has 300.
const SLOW_ROUNDS: f64 = 2e4;
const MOST_ROUNDS: f64 = 1e6;

/// Rounds that the readers of a point run while one runner is near: legal settings can make them absurdly many.
fn check_rounds(tables: &[Section], points: &[TimingPoint], field: &RunnerField) {
    for (table, point) in tables.iter().zip(points) {
        let near_s = 2.0 * point.zone_m / (field.speed_m_s.quantile(0.5) * point.speed_factor);
        let readers = point.lines.iter().flat_map(|line| &line.readers);
        let rounds: f64 = readers.filter_map(|reader| reader.round_s).map(|round_s| near_s / round_s).sum();
        let message =
            format!("the readers of {} run {rounds:.0} rounds while one runner is near", point.name);
        let found = if rounds > MOST_ROUNDS {
            Diagnostic::error(codes::ROUNDS_MANY, format!("{message}, more than {MOST_ROUNDS}"))
        } else if rounds > SLOW_ROUNDS {
            Diagnostic::warning(codes::ROUNDS_MANY, format!("{message}: the run will be slow"))
        } else {
            continue;
        };
        let found = found.at(&table.walk.source, table.span.clone());
        table.walk.note(found.help("round_s, zone_m and speed_factor make it so; a round takes 5 to 100 ms"));
    }
}

/// Exactly one finish; without any the last point would have to be guessed.
fn check_finish(tables: &[Section], points: &[TimingPoint]) {
    let finishes: Vec<&Section> =
        tables.iter().zip(points).filter(|(_, p)| p.is_finish).map(|(t, _)| t).collect();
    match finishes[..] {
        [first, second, ..] => {
            let span = |s: &Section| s.find_own("finish").map_or(s.span.clone(), |f| f.span);
            first.walk.note(
                first
                    .walk
                    .error(codes::FINISH_COUNT, &span(second), format!("{} points are the finish", finishes.len()))
                    .label("a second finish")
                    .also(span(first), "the first finish")
                    .help("give finish = true to one point; a second line of the finish is another [[point.line]]"),
            );
        }
        [] => {
            let said = tables.iter().any(|t| t.find_own("finish").is_some());
            if let Some(last) = tables.last().filter(|_| !said) {
                last.walk.note(
                    Diagnostic::warning(codes::FINISH_COUNT, "no point is the finish")
                        .at(&last.walk.source, last.span.clone())
                        .label("the last point")
                        .help("give finish = true to the finish; without it no odds of a missing finish time are told"),
                );
            }
        }
        _ => {}
    }
}

/// Names of points, and of lines, readers and antennas within their parent, differ.
fn check_names(tables: &[Section], points: &[TimingPoint]) {
    let twice = |what: &str, section: &Section, names: Vec<&str>| {
        for (i, name) in names.iter().enumerate() {
            if names[..i].contains(name) && !name.is_empty() {
                section.walk.note(
                    section
                        .walk
                        .error(
                            codes::NAME_DUPLICATE,
                            &section.span,
                            format!("two {what} are named \"{name}\""),
                        )
                        .label("in this point")
                        .help("reports tell them apart by name"),
                );
            }
        }
    };
    for (i, (table, point)) in tables.iter().zip(points).enumerate() {
        let first = points[..i].iter().position(|p| p.name == point.name && !p.name.is_empty());
        if let Some(first) = first {
            let place = |t: &Section| t.find_own("name").map_or(t.span.clone(), |f| f.span);
            table.walk.note(
                table
                    .walk
                    .error(
                        codes::NAME_DUPLICATE,
                        &place(table),
                        format!("two timing points are named \"{}\"", point.name),
                    )
                    .label("again")
                    .also(place(&tables[first]), "first used here")
                    .help("reports tell them apart by name"),
            );
        }
        twice("lines", table, point.lines.iter().map(|l| l.name.as_str()).collect());
        for line in &point.lines {
            twice("readers of one line", table, line.readers.iter().map(|r| r.name.as_str()).collect());
            for reader in &line.readers {
                twice(
                    "antennas of one reader",
                    table,
                    reader.antennas.iter().map(|a| a.name.as_str()).collect(),
                );
            }
        }
    }
}
