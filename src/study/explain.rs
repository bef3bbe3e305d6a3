//! What happened in one passing, with every number a pocket calculator needs to find the same.

use super::provenance::Provenance;
use crate::course::field::Placement;
use crate::estimate::passings::{crossing_of, runner_of};
use crate::estimate::strata::{Stratum, of_index, strata, weights};
use crate::passing::screens::Neighbour;
use crate::passing::trace::{SenderFacts, Trace, TraceRow, trace};
use crate::passing::{Crossing, Prepared, RaceContext, RaceDraw};
use serde::Serialize;

/// The draw of a passing in plain numbers. At t seconds from the line: x = speed·t, z = tag_height + bounce·sin(2π·steps/60·t + step_phase),
/// yaw = yaw + sway·sin(π·steps/60·t + sway_phase), gap = own spacer + air gap·(1 + flutter·sin(2π·steps/60·t + flutter_phase)).
#[derive(Clone, Debug, Serialize)]
pub struct DrawEcho {
    pub placement: String,
    pub wetness: String,
    /// At this point, its own factor included.
    pub speed_m_s: f64,
    pub lateral_m: f64,
    /// 1 or -1: the side of a bib worn on the side.
    pub side: f64,
    pub tag_height_m: f64,
    pub bounce_m: f64,
    pub step_phase_deg: f64,
    pub sway_deg: f64,
    pub sway_phase_deg: f64,
    pub own_spacer_mm: f64,
    pub air_gap_mm: f64,
    pub flutter_share: f64,
    pub flutter_phase_deg: f64,
    /// Air gap and the tag's own spacer together, without flutter.
    pub gap_mm: f64,
    pub closer_than_measured: bool,
    pub resonance_shift_mhz: f64,
    pub film_loss_db: f64,
    pub cover_loss_db: f64,
    pub sample_offset_db: f64,
    pub sample_shift_mhz: f64,
    pub lean_deg: f64,
    pub yaw_deg: f64,
    pub steps_per_min: f64,
    pub neighbours: Vec<Neighbour>,
    pub nearest_neighbour_m: Option<f64>,
    pub scatter_loss_db: f64,
    pub cross_polar_db: f64,
    pub cross_phase_deg: f64,
    pub torso_radius_m: f64,
    pub cling_factor: f64,
    pub body_loss_db: f64,
    /// Lab bias, error of the mean of few samples and batch offset: added to every threshold.
    pub threshold_offset_db: f64,
}

/// How near an antenna came to reading.
#[derive(Clone, Debug, Serialize)]
pub struct AntennaBest {
    pub line: String,
    pub antenna: String,
    /// Largest incident power less threshold, dB; absent if its turn never came.
    pub best_margin_db: Option<f64>,
    pub awake_rounds: usize,
    pub rounds: usize,
    /// Largest heard odds among awake rounds.
    pub best_heard_odds: f64,
    /// Odds that this antenna alone reads the tag.
    pub read_odds: f64,
}

/// One passing, told.
#[derive(Clone, Debug, Serialize)]
pub struct PassingStory {
    pub point: String,
    pub race: u64,
    pub passing: u64,
    /// Share of the race's runners that are of this passing's kind (placement and wetness).
    pub kind_share: f64,
    pub draw: DrawEcho,
    /// Tags contending at each reader, the runner's own included.
    pub contenders: Vec<(String, u32)>,
    pub antennas: Vec<AntennaBest>,
    /// What each antenna sends and hears, and its scattered waves.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub senders: Vec<SenderFacts>,
    /// Miss odds of this very sample: Π(1 − awake·heard·alone).
    pub miss_odds: f64,
    /// What happened, in a sentence.
    pub words: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rounds: Vec<TraceRow>,
}

/// The answer of `explain`.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    #[serde(flatten)]
    pub provenance: Provenance,
    pub note: String,
    pub passings: Vec<PassingStory>,
}

impl Answer {
    pub fn new(prepared: &Prepared, seed: u64, passings: Vec<PassingStory>) -> Answer {
        let course = &prepared.course;
        let provenance = Provenance::new(seed, course, &prepared.tag);
        Answer { provenance, note: course.note.clone(), passings }
    }
}

/// Replays passing `passing` of race `race` at point number `point`; `with_rounds` keeps every round.
pub fn explain(
    prepared: &Prepared,
    seed: u64,
    point: usize,
    race: u64,
    passing: u64,
    with_rounds: bool,
) -> PassingStory {
    let strata = strata(&prepared.course);
    let draw = RaceDraw::draw(&prepared.course, &prepared.tag, seed, race);
    let context = RaceContext::new(prepared, draw);
    story(&context, &strata, seed, point, passing, with_rounds)
}

fn story(
    race: &RaceContext,
    strata: &[Stratum],
    seed: u64,
    point: usize,
    passing: u64,
    with_rounds: bool,
) -> PassingStory {
    let course = &race.prepared.course;
    let runner = runner_of(race, strata, seed, passing);
    let draw = crossing_of(race, seed, passing, point);
    let crossing = Crossing::new(race, &runner, &draw);
    let told = trace(&crossing);
    let placement = &course.field.placements[runner.placement_row];
    let nearest = told
        .neighbours
        .iter()
        .map(|n| libm::hypot(n.ahead_m, n.y_m - draw.lateral_m))
        .fold(f64::INFINITY, f64::min);
    let (s, _) = of_index(passing, strata.len());
    let moving = f64::from(u8::from(course.effects.stride));
    let echo = DrawEcho {
        placement: Placement::words(placement.placement).to_owned(),
        wetness: runner.wetness.key().to_owned(),
        speed_m_s: crossing.stride.speed_m_s,
        lateral_m: draw.lateral_m,
        side: runner.side,
        tag_height_m: runner.tag_height_m,
        bounce_m: runner.bounce_m * moving,
        step_phase_deg: draw.step_phase_rad.to_degrees(),
        sway_deg: runner.sway_deg * moving,
        sway_phase_deg: draw.sway_phase_rad.to_degrees(),
        own_spacer_mm: race.prepared.tag.own_spacer_mm,
        air_gap_mm: runner.air_gap_mm,
        flutter_share: runner.flutter_share * moving,
        flutter_phase_deg: draw.flutter_phase_rad.to_degrees(),
        gap_mm: crossing.stride.mean_gap_mm(),
        closer_than_measured: crossing.clamped_gap(),
        resonance_shift_mhz: runner.resonance_shift_mhz,
        film_loss_db: runner.film_loss_db,
        cover_loss_db: placement.cover_loss_db,
        sample_offset_db: runner.sample_offset_db,
        sample_shift_mhz: runner.sample_shift_mhz,
        lean_deg: runner.lean_deg,
        yaw_deg: draw.yaw_deg,
        steps_per_min: runner.steps_per_min,
        neighbours: told.neighbours.clone(),
        nearest_neighbour_m: nearest.is_finite().then_some(nearest),
        scatter_loss_db: race.draw.scatter_loss_db,
        cross_polar_db: runner.cross_polar_db,
        cross_phase_deg: runner.cross_phase_rad.to_degrees(),
        torso_radius_m: runner.torso_radius_m,
        cling_factor: race.draw.cling_factor,
        body_loss_db: race.draw.body_loss_db,
        threshold_offset_db: race.draw.threshold_offset_db(),
    };
    let antennas = antenna_bests(race, point, &told);
    let words = words(&echo, &antennas, told.miss_odds, course.points[point].road_width_m);
    PassingStory {
        point: course.points[point].name.clone(),
        race: race.draw.race,
        passing,
        kind_share: weights(course, strata, &race.draw)[s],
        draw: echo,
        contenders: told.contenders,
        antennas,
        miss_odds: told.miss_odds,
        words,
        senders: if with_rounds { told.senders } else { Vec::new() },
        rounds: if with_rounds { told.rows } else { Vec::new() },
    }
}

fn antenna_bests(race: &RaceContext, point: usize, told: &Trace) -> Vec<AntennaBest> {
    let prepared = &race.prepared.points[point];
    let mut out = Vec::new();
    for reader in &prepared.readers {
        for antenna in &prepared.antennas[reader.antennas.clone()] {
            let line = &prepared.lines[reader.line];
            let mine =
                |r: &&TraceRow| &r.line == line && r.reader == reader.name && r.antenna == antenna.name;
            let rows: Vec<&TraceRow> = told.rows.iter().filter(mine).collect();
            let awake = rows.iter().filter(|r| r.awake);
            out.push(AntennaBest {
                line: line.clone(),
                antenna: antenna.name.clone(),
                best_margin_db: rows.iter().map(|r| r.incident_dbm - r.threshold_dbm).reduce(f64::max),
                awake_rounds: awake.clone().count(),
                rounds: rows.len(),
                best_heard_odds: awake.map(|r| r.heard_odds).fold(0.0, f64::max),
                read_odds: 1.0 - rows.iter().map(|r| 1.0 - r.read_odds()).product::<f64>(),
            });
        }
    }
    out
}

/// The passing in a sentence.
fn words(draw: &DrawEcho, antennas: &[AntennaBest], miss_odds: f64, road_width_m: f64) -> String {
    let place = if draw.lateral_m.abs() < 0.1 * road_width_m {
        "in the middle of the road".to_owned()
    } else {
        let side = if draw.lateral_m > 0.0 { "left" } else { "right" };
        format!("{:.1} m {side} of the middle", draw.lateral_m.abs())
    };
    let crowd = match draw.nearest_neighbour_m {
        Some(d) if d < 1.2 => format!(", nearest neighbour {d:.1} m away"),
        _ => String::new(),
    };
    let touching = if draw.closer_than_measured { ", closer than any mount measured" } else { "" };
    let start = format!(
        "{}, {} ({:.0} mm from the body{touching}), {place}, {:.1} m/s{crowd}: ",
        draw.wetness, draw.placement, draw.gap_mm, draw.speed_m_s
    );
    let margin = |a: &AntennaBest| a.best_margin_db.unwrap_or(f64::NEG_INFINITY);
    let Some(best) = antennas.iter().max_by(|a, b| margin(a).total_cmp(&margin(b))) else {
        return start + "no antenna asked";
    };
    let Some(best_margin_db) = best.best_margin_db else { return start + "no antenna had its turn" };
    let several_lines = antennas.iter().any(|a| a.line != best.line);
    let place =
        if several_lines { format!("{} of {}", best.antenna, best.line) } else { best.antenna.clone() };
    let awake: usize = antennas.iter().map(|a| a.awake_rounds).sum();
    let rounds = if awake == 1 { "1 round".to_owned() } else { format!("{awake} rounds") };
    let heard = antennas.iter().map(|a| a.best_heard_odds).fold(0.0, f64::max);
    let end = if awake == 0 {
        format!("asleep at every antenna, by {:.1} dB at best ({place})", -best_margin_db)
    } else if miss_odds < 0.05 {
        format!("read; best margin {best_margin_db:.1} dB at {place}, awake in {rounds}")
    } else if heard < 0.5 {
        format!(
            "awake in {rounds} (best margin {best_margin_db:.1} dB at {place}) but heard with odds of {:.0} % at best",
            100.0 * heard
        )
    } else {
        format!(
            "awake in only {rounds} (best margin {best_margin_db:.1} dB at {place}), missed with odds of {:.0} %",
            100.0 * miss_odds
        )
    };
    start + &end
}
