//! Makes demo-data/outcomes: two seasons of counts and one trial of an invented company, simulated passing by passing from beliefs unlike the
//! defaults. Run from the project: `cargo run --release --example make_outcomes`.
//!
//! What was true (and what `learn` is never told): little scatter, bodies that cost more than the phantom, a laboratory that reads 1 dB low, and races that differ by
//! 0.5 dB of their own.

use readodds::course::field::Placement;
use readodds::course::weather::Wetness;
use readodds::estimate::passings::{PassingWorkspace, crossing_of, runner_of, send};
use readodds::estimate::run::Plan;
use readodds::estimate::strata::{strata, weights};
use readodds::passing::draw::{RACE_DIMS, RaceDraw, offset_law};
use readodds::passing::score::each_step;
use readodds::passing::{Prepared, RaceContext, prepare};
use readodds::random::{Purpose, Stream};
use readodds::study::predict::predict;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;

const SEED: u64 = 20_410_518;
const RACE_EFFECT_DB: f64 = 0.5;

/// The true vector; the day's own coordinates come from `stream`.
fn truth(stream: &mut Stream) -> [f64; RACE_DIMS] {
    let mut u = [0.5; RACE_DIMS];
    for (dim, value) in
        [(1, 0.75), (2, 0.4), (3, 0.35), (4, 0.8), (6, 0.6), (7, 0.6), (8, 0.84), (9, 0.5), (11, 0.6)]
    {
        u[dim] = value;
    }
    for dim in [0, 5, 10] {
        u[dim] = stream.uniform();
    }
    u
}

fn load(scenario: &str) -> Prepared {
    let (course, _) = readodds::course::load(Path::new(scenario)).expect("a scenario of the demo");
    let (tag, _) = readodds::tag::load(&course.tag_folder).expect("a tag of the demo");
    prepare(Arc::new(course), Arc::new(tag))
}

/// Miss odds of sets of lines at a threshold offset.
fn odds_at(work: &mut readodds::passing::Workspace, mask: u64, offset_db: f64) -> f64 {
    let Some((rounds, _)) = work.rounds_of(mask) else { return 0.0 };
    let mut below = 0.0;
    let stays = each_step(rounds, |margin, rise| below += if margin < offset_db { rise } else { 0.0 });
    (below + stays).clamp(0.0, 1.0)
}

/// Lines that read a runner at each point: bit l is line l.
fn run(race: &RaceContext, stratum: usize, passing: u64, offset_db: f64, stream: &mut Stream) -> Vec<u64> {
    let prepared = race.prepared;
    let all = strata(&prepared.course);
    let runner = runner_of(race, &all, SEED, passing * all.len() as u64 + stratum as u64);
    let asked: Vec<_> = prepared
        .points
        .iter()
        .map(|p| Some(((1u64 << p.lines.len()) - 1, (1u64 << p.lines.len()) - 1)))
        .collect();
    let mut space = PassingWorkspace::default();
    let mut read = Vec::new();
    let index = passing * all.len() as u64 + stratum as u64;
    send(
        race,
        &runner,
        |p| crossing_of(race, SEED, index, p),
        &asked,
        &mut space,
        |at, work| {
            let lines = prepared.points[at.point].lines.len();
            let u = stream.uniform();
            read.push(if lines == 1 {
                u64::from(u >= odds_at(work, 1, offset_db))
            } else {
                let (both, first, second) =
                    (odds_at(work, 3, offset_db), odds_at(work, 1, offset_db), odds_at(work, 2, offset_db));
                match u {
                    u if u < both => 0,
                    u if u < first => 2,
                    u if u < first + second - both => 1,
                    _ => 3,
                }
            });
        },
    );
    read
}

fn race(prepared: &Prepared, number: u64, runners: u64) -> Vec<Vec<u64>> {
    let mut stream = Stream::new(SEED, Purpose::Campaign, 7, number, 0);
    let u = truth(&mut stream);
    let mut draw = RaceDraw::from_uniforms(&prepared.course, &prepared.tag, number, &u);
    draw.race_effect_db = RACE_EFFECT_DB * stream.normal();
    let shift = draw.threshold_offset_db();
    let law = offset_law(&prepared.course, &draw).0;
    let all = strata(&prepared.course);
    let shares = weights(&prepared.course, &all, &draw);
    let race = RaceContext::new(prepared, draw).certain(-60.0, 60.0);
    (0..runners)
        .map(|k| {
            let (pick, mut below) = (stream.uniform(), 0.0);
            let stratum = shares.iter().position(|w| {
                below += w;
                below >= pick
            });
            let offset = shift + law.quantile(stream.uniform());
            run(&race, stratum.unwrap_or(0), k, offset, &mut stream)
        })
        .collect()
}

fn race_file(name: &str, number: u64, season: u32) -> String {
    let prepared = load("scenarios/half-marathon-rain-eu-lower.toml");
    let read = race(&prepared, number, 2600 + 200 * (number % 4));
    let count = |test: &dyn Fn(&Vec<u64>) -> bool| read.iter().filter(|r| test(r)).count();
    let pattern = |lines: u64| count(&|r| r[2] == lines);
    let seen_later = |r: &Vec<u64>| r[1] > 0 || r[2] > 0;
    let (known, missed) = (count(&seen_later), count(&|r| seen_later(r) && r[0] == 0));
    let mut out = format!(
        "# Invented: counts of a race that never was, made by examples/make_outcomes.rs.\n[race]\nname = \"{name}\"\nscenario = \"../../scenarios/half-marathon-rain-eu-lower.toml\"\nweather_seen = \"rain\"\nforecast = \"forecast.json\"\n\n"
    );
    let _ = write!(
        out,
        "# Everybody was filmed at the finish.\n[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\n"
    );
    for (lines, names) in [(3, "\"main\", \"backup\""), (1, "\"main\""), (2, "\"backup\""), (0, "")] {
        let _ = write!(out, "\n[[point.pattern]]\nread = [{names}]\ncount = {}\n", pattern(lines));
    }
    let _ = write!(
        out,
        "\n# At 10 km only those are known who were read later.\n[[point]]\nname = \"10 km\"\nreference = \"seen_elsewhere\"\nseen_at = [\"15 km\", \"finish\"]\npassed = {known}\nmissed = {missed}\n"
    );
    if season == 1 && number == 2 {
        out += "\n[[point]]\nname = \"15 km\"\nexcluded = \"mat 3 torn off from 10:40 to the end, in the crew's log\"\n";
    }
    out
}

fn trial_file() -> String {
    let prepared = load("demo-data/outcomes/yard-walk.toml");
    let mut stream = Stream::new(SEED, Purpose::Campaign, 8, 0, 0);
    let u = truth(&mut stream);
    let draw = RaceDraw::from_uniforms(&prepared.course, &prepared.tag, 900, &u);
    let (shift, law) = (draw.threshold_offset_db(), offset_law(&prepared.course, &draw).0);
    let all = strata(&prepared.course);
    let mut out = "# Invented: passings that never were, made by examples/make_outcomes.rs.\nperson,tag,placement,wetness,drop_db,drop_by,read\n".to_owned();
    let people: Vec<f64> = (0..20).map(|_| shift + law.quantile(stream.uniform())).collect();
    let mut passing = 0;
    for (drop_db, placement, wetness, laps) in [
        (3.0, Placement::FrontHigh, Wetness::Soaked, 3),
        (6.0, Placement::FrontHigh, Wetness::Soaked, 3),
        (3.0, Placement::Back, Wetness::Soaked, 2),
        (6.0, Placement::FrontHigh, Wetness::Dry, 2),
    ] {
        let lowered = prepared.lowered(drop_db, false);
        let race = RaceContext::new(&lowered, draw.clone()).certain(-60.0, 60.0);
        let stratum = all
            .iter()
            .position(|s| {
                prepared.course.field.placements[s.placement_row].placement == placement
                    && s.wetness == wetness
            })
            .expect("the stratum is in the scenario");
        for (person, offset) in people.iter().enumerate() {
            for _ in 0..laps {
                passing += 1;
                let read = run(&race, stratum, passing, *offset, &mut stream)[0];
                let _ = writeln!(
                    out,
                    "{},{},{},{},{drop_db},setting,{read}",
                    person + 1,
                    101 + person,
                    placement.key(),
                    wetness.key()
                );
            }
        }
    }
    out
}

fn main() -> std::io::Result<()> {
    let folder = Path::new("demo-data/outcomes");
    for (number, (season, name)) in
        [(1, "spring"), (1, "autumn"), (2, "spring"), (2, "autumn")].into_iter().enumerate()
    {
        let file = format!("season-{season}-{name}.toml");
        std::fs::write(
            folder.join(file),
            race_file(&format!("Heronmere {name}, season {season}"), number as u64 + 1, season),
        )?;
    }
    // As it was stored before the first race.
    let prepared = load("scenarios/half-marathon-rain-eu-lower.toml");
    let forecast = predict(&prepared, &Plan::new(1), &[], &|| false);
    std::fs::write(folder.join("forecast.json"), serde_json::to_string(&forecast)? + "\n")?;
    std::fs::write(folder.join("yard-trial.csv"), trial_file())?;
    std::fs::write(
        folder.join("yard-trial.toml"),
        "# Invented: a trial that never was, made by examples/make_outcomes.rs.\n[trial]\nname = \"Yard, twenty walkers\"\nscenario = \"yard-walk.toml\"\nfile = \"yard-trial.csv\"\n",
    )
}
