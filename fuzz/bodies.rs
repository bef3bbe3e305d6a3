//! What every input must survive, shared by the fuzz targets and by the replay of the corpus in `cargo test`.
#![allow(dead_code)]

use readodds::cli::live::scene::{Scene, Set};
use readodds::course::load::from_text;
use readodds::diag::Source;
use readodds::estimate::merge::merge;
use readodds::estimate::passings::{PassingWorkspace, send};
use readodds::estimate::rows_file;
use readodds::estimate::strata::strata;
use readodds::estimate::world::Ask;
use readodds::lab;
use readodds::lab::text::TextFile;
use readodds::learn::folder;
use readodds::outcome;
use readodds::outcome::read_log::Counts;
use readodds::outcome::reads::{Columns, Kept, Log, TimeFormat};
use readodds::outcome::tag_ids::Ids;
use readodds::passing::draw::RACE_DIMS;
use readodds::passing::score::each_step_of_any;
use readodds::passing::{CrossingDraw, CrossingId, Prepared, RaceContext, RaceDraw, RunnerDraw};
use readodds::study::predict::Forecast;
use readodds::study::score::{self, Given};
use readodds::study::season;
use readodds::tag::{self, Tag};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock};

/// Text from bytes; every second input in the wild has a stray byte, and the loaders see only UTF-8.
fn text(data: &[u8]) -> String {
    String::from_utf8_lossy(data).into_owned()
}

fn source(data: &[u8]) -> Arc<Source> {
    Source::new("fuzz", text(data))
}

/// The folder with the crate's `scenarios` and `demo-data`.
fn home() -> PathBuf {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    if manifest.join("scenarios").is_dir() { manifest.to_owned() } else { manifest.join("..") }
}

/// A scenario is loaded or refused with at least one finding; findings render.
pub fn scenario(data: &[u8]) {
    if let Err(found) = from_text("fuzz.toml", &text(data), &home().join("scenarios")) {
        assert!(!found.is_empty());
        for one in found {
            let _ = readodds::diag::render::render(&one, readodds::diag::render::Style::PLAIN);
        }
    }
}

/// A tag file is read or refused with at least one finding.
pub fn tag(data: &[u8]) {
    if let Err(found) = lab::tag_file::read(&source(data)) {
        assert!(!found.is_empty());
    }
    if let Err(found) = lab::raw_file::read(&source(data)) {
        assert!(!found.is_empty());
    }
}

/// A table of sweeps is read, all numbers finite, or refused with at least one finding.
pub fn csv(data: &[u8]) {
    match lab::parse::referred_csv(&source(data), 2.0) {
        Ok((sweeps, _)) => assert!(!sweeps.is_empty()),
        Err(found) => assert!(!found.is_empty()),
    }
}

pub fn season(data: &[u8]) {
    let hash = "00".to_owned();
    if let Err(found) = season::file::from_source(source(data), hash, Path::new("")) {
        assert!(!found.is_empty());
    }
}

/// A file of world rows is read whole or refused; what is read goes through a merge without harm. The hash in the last line is made
/// right first, or hardly any input would get past it.
pub fn shard(data: &[u8]) {
    let _ = rows_file::parse(data);
    let mended = rows_file::with_end(&text(data));
    if let Ok(file) = rows_file::parse(mended.as_bytes()) {
        let named = |name: &str| (name.to_owned(), file.clone());
        let _ = merge(vec![named("a")]);
        assert!(
            merge(vec![named("a"), named("b")]).is_err()
                || file.parts.iter().all(|part| part.rows.is_empty())
        );
    }
}

fn told(found: Vec<readodds::diag::Diagnostic>) {
    assert!(!found.is_empty());
    for one in found {
        let _ = readodds::diag::render::render(&one, readodds::diag::render::Style::PLAIN);
    }
}

/// An outcome, a reads file and a trial's passings are read, or refused with at least one finding.
pub fn outcome(data: &[u8]) {
    let hash = || ("fuzz".to_owned(), "00".to_owned());
    match outcome::race::from_source(&source(data), Path::new(""), hash()) {
        Ok((race, _)) => {
            for count in &race.counts {
                assert!(
                    count.missed.0 <= count.missed.1 && count.missed.1 <= count.passed.max(count.missed.1)
                );
            }
        }
        Err(found) => told(found),
    }
    if let Err(found) = outcome::reads::from_source(&source(data), Path::new("")) {
        told(found);
    }
    match outcome::trial::from_source(&source(data), hash()) {
        Ok((trial, _)) => {
            let counts = trial.walkers.iter().flat_map(|walker| &walker.counts);
            assert_eq!(counts.clone().map(|count| count.1).sum::<u64>(), trial.passings);
            assert!(counts.clone().all(|count| count.2 <= count.1 && count.0 < trial.settings.len()));
        }
        Err(found) => told(found),
    }
}

/// Rows of a read log are counted or told; nothing of them shows up elsewhere.
pub fn log(data: &[u8]) {
    let Some((&kind, rows)) = data.split_first() else { return };
    let time_format = [TimeFormat::UnixS, TimeFormat::UnixMs, TimeFormat::UnixUs, TimeFormat::Rfc3339]
        [usize::from(kind % 4)];
    let log = Log {
        file: PathBuf::from("fuzz.csv"),
        point: "finish".to_owned(),
        lines: vec![
            ("main".to_owned(), vec!["1".to_owned(), "2".to_owned()]),
            ("backup".to_owned(), if kind & 4 == 0 { vec![] } else { vec!["3".to_owned()] }),
        ],
        columns: Columns {
            tag: "epc".to_owned(),
            port: Some("antenna".to_owned()),
            time: (kind & 8 == 0).then(|| "t".to_owned()),
            count: (kind & 16 == 0).then(|| "n".to_owned()),
        },
        time_format,
        kept: Kept::EveryRead,
        from: None,
        until: None,
        clock_offset_s: 0.0,
    };
    let mut counts = Counts::default();
    let found = counts.add_rows(&log, rows, &Ids::new().expect("random numbers"), None);
    assert!(counts.tags.len() as u64 <= counts.rows);
    if !found.is_empty() {
        told(found);
    }
}

/// Parts of the bytes: text before and after the first line of three dashes.
fn two_texts(data: &[u8]) -> (String, String) {
    let whole = text(data);
    let (first, second) = whole.split_once("---\n").unwrap_or((&whole, ""));
    (first.to_owned(), second.to_owned())
}

/// Learned beliefs are read or refused; what is read gives worlds whose draws are numbers. The hash of the vectors and the ties are made right first.
pub fn learned(data: &[u8]) {
    let (description, vectors) = two_texts(data);
    let named = |name: &str, text: String| TextFile {
        sha256: readodds::files::written::hash(text.as_bytes()),
        source: Source::new(name, text),
    };
    let vectors = named("learned.csv", vectors);
    let (course, tag) = (course(), demo_tag());
    let here = folder::Ties::of(&course, &tag);
    let mend = |line: &str| match line.split_once(" = ") {
        Some(("vectors_sha256", _)) => format!("vectors_sha256 = \"{}\"\n", vectors.sha256),
        Some(("build", _)) => format!("build = \"{}\"\n", here.build),
        Some(("beliefs_sha256", _)) => format!("beliefs_sha256 = \"{}\"\n", here.beliefs_sha256),
        _ => line.to_owned() + "\n",
    };
    let description: String = description.lines().map(mend).collect();
    match folder::from_texts(Path::new(""), named("learned.toml", description), vectors) {
        Ok((folder, _)) => {
            let tag = folder.tell(&tag);
            assert!(!folder.words().is_empty());
            let Ok(law) = folder.law(&course, &tag) else { return };
            let mut u = [0.5; RACE_DIMS];
            law.level(0.999_999, 1e-6, &mut u);
            let draw = RaceDraw::from_uniforms(&course, &tag, 0, &u);
            assert!(draw.race_effect_db.is_finite() && draw.batch_offset_db.is_finite());
        }
        Err(found) => told(found),
    }
}

/// A stored forecast is scored or refused in words.
pub fn forecast(data: &[u8]) {
    let Ok(forecast) = serde_json::from_slice::<Forecast>(data) else { return };
    let text = "[race]\nname = \"R\"\nscenario = \"s.toml\"\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 900\nmissed = { min = 3, max = 5 }\n";
    let hash = ("fuzz".to_owned(), "00".to_owned());
    let Ok((outcome, _)) = outcome::race::from_source(&source(text.as_bytes()), Path::new(""), hash) else {
        panic!("the outcome is sound")
    };
    let given = [Given { outcome, forecast, unlearned: None, inputs: vec![] }];
    let answer = score::answer(&given);
    assert_eq!(answer.scored.len() + answer.left_out.len(), 1);
    assert!(answer.scored.iter().all(|one| one.log_score.is_finite() && (0.0..=1.0).contains(&one.tail)));
}

/// What a page sends: changes that are made to a scenario or refused; a changed scenario loads or is refused in words.
pub fn live(data: &[u8]) {
    let Ok(changes) = serde_json::from_slice::<Vec<Set>>(data) else { return };
    let path = home().join("scenarios/smallest.toml");
    static TEXT: OnceLock<String> = OnceLock::new();
    let text = TEXT.get_or_init(|| std::fs::read_to_string(&path).expect("the smallest scenario"));
    let scene = Scene::new(&path, text.clone(), 1, false);
    match scene.changed(&changes) {
        Ok(changed) => {
            if let Err(found) = from_text("fuzz.toml", &changed, &home().join("scenarios")) {
                told(found);
            }
        }
        Err(words) => assert!(!words.is_empty()),
    }
}

fn course() -> Arc<readodds::course::Course> {
    static COURSE: OnceLock<Arc<readodds::course::Course>> = OnceLock::new();
    COURSE
        .get_or_init(|| match readodds::course::load(&home().join("scenarios/smallest.toml")) {
            Ok((course, _)) => Arc::new(course),
            Err(found) => panic!("the smallest scenario does not load: {} findings", found.len()),
        })
        .clone()
}

fn demo_tag() -> Arc<Tag> {
    static TAG: OnceLock<Arc<Tag>> = OnceLock::new();
    TAG.get_or_init(|| match tag::load(&home().join("demo-data/tags/birch")) {
        Ok((tag, _)) => Arc::new(tag),
        Err(found) => panic!("the demo tag does not load: {} findings", found.len()),
    })
    .clone()
}

/// Numbers out of bytes, zeros at the end.
struct Numbers<'a>(std::slice::Iter<'a, u8>);

impl Numbers<'_> {
    fn byte(&mut self) -> u8 {
        self.0.next().copied().unwrap_or(0)
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = f64::from(u16::from_le_bytes([self.byte(), self.byte()])) / 65535.0;
        low + (high - low) * share
    }
    fn of<'t>(&mut self, list: &[&'t str]) -> &'t str {
        list[self.byte() as usize % list.len()]
    }
    fn switch(&mut self) -> bool {
        self.byte().is_multiple_of(2)
    }
}

/// A valid scenario with random numbers; `more_db` is added to every port's power. `alone`: no contention.
fn random_scenario(data: &[u8], more_db: f64, alone: bool) -> String {
    let mut n = Numbers(data.iter());
    let region = n.of(&["eu_lower", "usa"]);
    let weather = n.of(&["dry", "rain"]);
    let speed = n.between(0.5, 9.0);
    let effects = [
        "ground",
        "body",
        "neighbours",
        "diffuse_waves",
        "water",
        "tag_pattern",
        "antenna_pattern",
        "stride",
        "decoding",
    ]
    .map(|key| format!("{key} = {}\n", n.switch()))
    .concat();
    let flow = n.between(1.0, 400.0);
    let width = n.between(2.0, 12.0);
    let mut out = format!(
        "note = \"Invented\"\ntag = \"../demo-data/tags/birch\"\n[event]\nname = \"Fuzz run\"\ndistance_km = 10.0\n[region]\nkey = \"{region}\"\n\
         [weather]\nkey = \"{weather}\"\n[field]\nrunners = 500\nspeed_m_s = {speed:.4}\n[effects]\ncontention = {}\n{effects}\
         [every_reader]\nlink = \"miller4_250\"\nsession = \"S1\"\n[[point]]\nname = \"finish\"\nfinish = true\nflow_per_min = {flow:.3}\nroad_width_m = {width:.3}\n",
        !alone && n.switch()
    );
    for line in 0..1 + n.byte() % 2 {
        out += &format!("[[point.line]]\nname = \"line {line}\"\n[[point.line.reader]]\nantenna = [\n");
        for antenna in 0..1 + n.byte() % 3 {
            let y = n.between(-0.5 * width, 0.5 * width);
            let power = n.between(10.0, 24.0) + more_db;
            out += &match n.byte() % 2 {
                0 => format!(
                    "{{ name = \"a{antenna}\", kind = \"mat\", y_m = {y:.3}, power_dbm = {power:.3} }},\n"
                ),
                _ => format!(
                    "{{ name = \"a{antenna}\", kind = \"side_panel\", y_m = {y:.3}, z_m = {:.3}, azimuth_deg = {:.2}, power_dbm = {power:.3} }},\n",
                    n.between(0.3, 3.0),
                    n.between(-180.0, 180.0)
                ),
            };
        }
        out += "]\n";
    }
    out
}

/// Bytes that make the scenario; the rest make the passings.
const SCENARIO_BYTES: usize = 60;
/// Race days, and passings in each.
const RACES: usize = 4;
const PASSINGS: usize = 60;
/// Prepared scenarios kept, since most changes of the fuzzer are to the passings.
const KEPT: usize = 64;

/// Geometry only, without the pilot: the order of places visited stays the plain one, and how many contend comes from the bytes.
fn prepared(toml: &str, contenders: f64) -> Option<Prepared> {
    let (course, _) = from_text("fuzz.toml", toml, &home().join("scenarios")).ok()?;
    let mut made = Prepared::geometry(Arc::new(course), demo_tag());
    let readers = made.points.iter_mut().flat_map(|point| &mut point.readers);
    readers.for_each(|reader| reader.mean_contenders = contenders);
    Some(made)
}

/// The scenario of the bytes and, for a tag without contenders, the same with 3 dB more at every port; `None` if it is refused.
struct Pair {
    toml: String,
    less: Prepared,
    more: Option<Prepared>,
}

fn pair(bytes: &[u8]) -> Option<Pair> {
    let alone = bytes.last().is_some_and(|byte| byte.is_multiple_of(2));
    let contenders = if alone { 0.0 } else { f64::from(bytes[0]) / 4.0 };
    let toml = random_scenario(bytes, 0.0, alone);
    let less = prepared(&toml, contenders)?;
    let more = if alone { prepared(&random_scenario(bytes, 3.0, alone), contenders) } else { None };
    Some(Pair { toml, less, more })
}

/// Coordinates out of bytes: even steps, and far tails at both ends.
fn uniforms<const N: usize>(data: &[u8], first: usize) -> [f64; N] {
    std::array::from_fn(|i| {
        let byte = if data.is_empty() { 128 } else { data[(first + i) % data.len()] };
        match byte {
            0 => 1e-12,
            1 => 1e-6,
            2 => 1e-3,
            253 => 1.0 - 1e-3,
            254 => 1.0 - 1e-6,
            255 => 1.0 - 1e-12,
            _ => (f64::from(byte) + 0.5) / 256.0,
        }
    })
}

/// Miss odds of the passings the bytes describe.
fn miss_odds(prepared: &Prepared, data: &[u8], toml: &str) -> Vec<f64> {
    let (course, masks) = (&prepared.course, Ask::standard_masks(prepared));
    let points: Vec<_> = masks.iter().map(|masks| Some((masks[0], masks[0]))).collect();
    let all = strata(course);
    let mut space = PassingWorkspace::default();
    let mut odds = Vec::new();
    for race in 0..RACES {
        let u = uniforms(data, 31 * race);
        let context =
            RaceContext::new(prepared, RaceDraw::from_uniforms(course, &prepared.tag, race as u64, &u));
        for passing in 0..PASSINGS {
            let place = 7 * (race * PASSINGS + passing);
            let stratum = &all[passing % all.len()];
            let (row, wetness) = (stratum.placement_row, stratum.wetness);
            let runner =
                RunnerDraw::from_uniforms(course, &context.draw, row, wetness, &uniforms(data, place));
            let crossing = |point: usize| {
                let (race, passing) = (race as u64, passing as u64);
                let id = CrossingId { seed: 1, race, passing, point: point as u64 };
                CrossingDraw::from_uniforms(course, id, &uniforms(data, place + 16))
            };
            let mut scores = Vec::new();
            send(&context, &runner, crossing, &points, &mut space, |at, work| {
                let law = context.offset_law;
                scores.extend(masks[at.point].iter().map(|&mask| work.score_lines(mask, law)));
            });
            for score in &scores {
                assert!((0.0..=1.0 + 1e-12).contains(&score.miss), "miss odds {} in\n{toml}", score.miss);
                let causes = score.never_in_reach + score.asleep + score.unheard + score.crowded_out;
                assert!((causes - score.miss).abs() < 1e-9, "causes {causes} for {} in\n{toml}", score.miss);
                odds.push(score.miss);
            }
            let groups = space.open_points as usize;
            let mut awoken = 0.0;
            let stays = if groups > 0 {
                let above = |margin: f64| context.offset_law.odds_above(margin);
                each_step_of_any(&mut space.joined, groups, |margin, rise| awoken += rise * above(margin))
            } else {
                0.0
            };
            let any = awoken + stays;
            assert!((-1e-9..=1.0 + 1e-9).contains(&any), "any missed {any}");
        }
    }
    odds
}

/// Over random valid scenarios and random draws with far tails: odds are numbers in 0..1, causes add up, and for a tag without
/// contenders more power never raises the miss odds on the same draws (1e-9 covers the early stop and the order of summation).
pub fn passing(data: &[u8]) {
    type Pairs = HashMap<Vec<u8>, Option<Arc<Pair>>>;
    static PAIRS: Mutex<Option<Pairs>> = Mutex::new(None);
    let mut head = data[..data.len().min(SCENARIO_BYTES)].to_vec();
    head.resize(SCENARIO_BYTES, 0);
    let passings = &data[data.len().min(SCENARIO_BYTES)..];
    let known =
        PAIRS.lock().ok().and_then(|pairs| pairs.as_ref().and_then(|pairs| pairs.get(&head).cloned()));
    let known = known.unwrap_or_else(|| {
        let made = pair(&head).map(Arc::new);
        if let Ok(mut pairs) = PAIRS.lock() {
            let pairs = pairs.get_or_insert_default();
            if pairs.len() >= KEPT {
                pairs.clear();
            }
            pairs.insert(head.clone(), made.clone());
        }
        made
    });
    let Some(pair) = known else { return };
    let less = miss_odds(&pair.less, passings, &pair.toml);
    let Some(more) = &pair.more else { return };
    let more = miss_odds(more, passings, &pair.toml);
    for (a, b) in less.iter().zip(&more) {
        assert!(*b <= a + 1e-9, "3 dB more raise the miss odds from {a} to {b} in\n{}", pair.toml);
    }
}
