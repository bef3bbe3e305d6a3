//! What every input must survive, shared by the fuzz targets and by the replay of the corpus in `cargo test`.
#![allow(dead_code)]

use readodds::course::load::from_text;
use readodds::diag::Source;
use readodds::estimate::merge::merge;
use readodds::estimate::race_row::{Ask, PassingWorkspace, crossing_of, odds_of, runner_of};
use readodds::estimate::rows_file;
use readodds::estimate::strata::{strata, to_index};
use readodds::lab;
use readodds::passing::{RaceContext, RaceDraw, prepare};
use readodds::study::season;
use readodds::tag::{self, Tag};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

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

/// A file of race rows is read whole or refused; what is read goes through a merge without harm. The hash in the last line is made
/// right first, or hardly any input would get past it.
pub fn shard(data: &[u8]) {
    let _ = rows_file::parse(data);
    let mended = rows_file::with_end(&text(data));
    if let Ok(file) = rows_file::parse(mended.as_bytes()) {
        let named = |name: &str| (name.to_owned(), file.clone());
        let _ = merge(vec![named("a")]);
        assert!(merge(vec![named("a"), named("b")]).is_err() || file.rows.is_empty());
    }
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

/// Miss odds of some passings, or `None` if the scenario is refused.
fn miss_odds(toml: &str, seed: u64) -> Option<Vec<f64>> {
    let (course, _) = from_text("fuzz.toml", toml, &home().join("scenarios")).ok()?;
    let prepared = prepare(Arc::new(course), demo_tag());
    let masks = Ask::standard_masks(&prepared);
    let all = strata(&prepared.course);
    let mut space = PassingWorkspace::default();
    let mut odds = Vec::new();
    for race in 0..2 {
        let context =
            RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, seed, race));
        for stratum in 0..all.len() {
            let passing = to_index(stratum, race, all.len());
            let runner = runner_of(&context, &all, seed, passing);
            odds_of(
                &context,
                &runner,
                |point| crossing_of(&context, seed, passing, point),
                &masks,
                &mut space,
            );
            for score in space.odds.scores.iter().flatten() {
                assert!((0.0..=1.0 + 1e-12).contains(&score.miss), "miss odds {} in\n{toml}", score.miss);
                let causes = score.never_in_reach + score.asleep + score.unheard + score.crowded_out;
                assert!((causes - score.miss).abs() < 1e-9, "causes {causes} for {} in\n{toml}", score.miss);
                odds.push(score.miss);
            }
            assert!(
                (-1e-9..=1.0 + 1e-9).contains(&space.odds.any_missed),
                "any missed {}",
                space.odds.any_missed
            );
        }
    }
    Some(odds)
}

/// Over random valid scenarios: odds are numbers in 0..1, causes add up, and for a tag without contenders more power never raises
/// the miss odds on the same draws (1e-9 covers the early stop and the order of summation).
pub fn passing(data: &[u8]) {
    let seed = u64::from(data.len() as u32) * 7919 + u64::from(data.first().copied().unwrap_or(0));
    let alone = data.last().is_some_and(|byte| byte.is_multiple_of(2));
    let (Some(less), true) = (miss_odds(&random_scenario(data, 0.0, alone), seed), alone) else { return };
    let Some(more) = miss_odds(&random_scenario(data, 3.0, alone), seed) else { return };
    for (a, b) in less.iter().zip(&more) {
        assert!(
            *b <= a + 1e-9,
            "3 dB more raise the miss odds from {a} to {b} in\n{}",
            random_scenario(data, 0.0, alone)
        );
    }
}
