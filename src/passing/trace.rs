//! The trace of one crossing: every round in the order of time, with the numbers a pocket calculator can check.

use super::crossing::{Crossing, neighbours_of};
use super::diffuse::DiffuseWaves;
use super::link::Scene;
use super::screens::Neighbour;
use super::waking::{Asked, LONG_ROUND_S, at, each_part};
use crate::tag::curve::AtFrequency;
use crate::vector::Vec3;
use serde::Serialize;

/// One round of one reader.
#[derive(Clone, Debug, Serialize)]
pub struct TraceRow {
    pub time_s: f64,
    pub x_m: f64,
    pub y_m: f64,
    pub z_m: f64,
    pub line: String,
    pub reader: String,
    pub antenna: String,
    pub freq_mhz: f64,
    /// Boresight-equivalent isotropic incident power.
    pub incident_dbm: f64,
    /// Threshold of this very sample, its own offset included.
    pub threshold_dbm: f64,
    pub received_dbm: f64,
    pub awake: bool,
    /// Share of the round in which a reply finds the tag under power ever since its start-up time before the Query.
    pub powered_share: f64,
    pub heard_odds: f64,
    pub alone_odds: f64,
}

impl TraceRow {
    /// Odds that this round reads the tag.
    pub fn read_odds(&self) -> f64 {
        self.powered_share * self.heard_odds * self.alone_odds
    }
}

/// A crossing told round by round.
#[derive(Clone, Debug)]
pub struct Trace {
    pub rows: Vec<TraceRow>,
    pub neighbours: Vec<Neighbour>,
    /// Contenders at each reader, the runner's own tag included.
    pub contenders: Vec<(String, u32)>,
    /// Π (1 − read odds) over all rounds: miss odds of this very sample.
    pub miss_odds: f64,
}

/// One round in numbers, before names are put to it.
#[derive(Clone, Copy, Debug)]
pub struct RoundFacts {
    pub time_s: f64,
    pub at: Vec3,
    pub antenna: usize,
    pub freq_mhz: f64,
    pub incident_dbm: f64,
    /// With this sample's own offset.
    pub threshold_dbm: f64,
    pub received_dbm: f64,
    pub powered_share: f64,
    pub heard_odds: f64,
}

/// Works out every `step`-th round of reader number `reader`, in the order of time.
pub fn each_round(
    crossing: &Crossing,
    scene: &Scene,
    reader: usize,
    step: usize,
    mut told: impl FnMut(RoundFacts),
) {
    let race = crossing.race;
    let reader = &crossing.point().readers[reader];
    let arrivals = (race.scatter_level > 0.0).then(|| scene.arrivals(crossing));
    let waves: Vec<Option<DiffuseWaves>> = reader
        .antennas
        .clone()
        .map(|a| arrivals.as_ref().map(|arrivals| crossing.waves(arrivals, a)))
        .collect();
    let mut curves: Vec<Option<AtFrequency>> = vec![None; reader.channels.len()];
    let (_, schedule) = crossing.schedule(reader);
    for n in (0..schedule.count()).step_by(step) {
        let time_s = schedule.time_s(n);
        let port = schedule.port(n);
        let antenna = reader.antennas.start + port;
        let channel = reader.hop_order[schedule.hop(n)];
        let freq_mhz = reader.channels[channel].freq_mhz;
        let curve = curves[channel].get_or_insert_with(|| crossing.curve_at(freq_mhz));
        let asked = Asked { reader, antenna, channel, waves: waves[port].as_ref(), curve };
        let here = at(crossing, scene, &asked, time_s);
        let own_db = crossing.runner.sample_offset_db;
        let threshold_dbm = here.detail.threshold_dbm + own_db;
        let (mut powered_share, mut heard_odds) = (0.0, here.heard);
        let started = !schedule.starting_up(n);
        if started && schedule.round_s() > LONG_ROUND_S {
            let mut heard_share = 0.0;
            each_part(crossing, scene, &asked, time_s, schedule.round_s(), |margin_db, heard, share| {
                if margin_db >= own_db {
                    powered_share += share;
                    heard_share += share * heard;
                }
            });
            if powered_share > 0.0 {
                heard_odds = heard_share / powered_share;
            }
        } else if started && here.detail.incident_dbm >= threshold_dbm {
            powered_share = 1.0;
        }
        told(RoundFacts {
            time_s,
            at: here.instant.at,
            antenna,
            freq_mhz,
            incident_dbm: here.detail.incident_dbm,
            threshold_dbm,
            received_dbm: here.received_dbm,
            powered_share,
            heard_odds,
        });
    }
}

/// Replays a crossing with its own sample offset.
pub fn trace(crossing: &Crossing) -> Trace {
    let point = crossing.point();
    let mut neighbours = Vec::new();
    neighbours_of(crossing, &mut neighbours);
    let scene = Scene { race: crossing.race, point: crossing.draw.point, neighbours: &neighbours };
    let mut rows = Vec::new();
    let mut contenders = Vec::new();
    for (number, reader) in point.readers.iter().enumerate() {
        let tags = crossing.contenders(reader);
        contenders.push((reader.name.clone(), tags));
        let alone_odds = reader.frames.at(tags).alone;
        each_round(crossing, &scene, number, 1, |round| {
            rows.push(TraceRow {
                time_s: round.time_s,
                x_m: round.at.x,
                y_m: round.at.y,
                z_m: round.at.z,
                line: point.lines[reader.line].clone(),
                reader: reader.name.clone(),
                antenna: point.antennas[round.antenna].name.clone(),
                freq_mhz: round.freq_mhz,
                incident_dbm: round.incident_dbm,
                threshold_dbm: round.threshold_dbm,
                received_dbm: round.received_dbm,
                awake: round.powered_share > 0.0,
                powered_share: round.powered_share,
                heard_odds: round.heard_odds,
                alone_odds,
            });
        });
    }
    rows.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let miss_odds = rows.iter().map(|r| 1.0 - r.read_odds()).product();
    Trace { rows, neighbours, contenders, miss_odds }
}
