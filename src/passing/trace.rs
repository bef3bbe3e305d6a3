//! The trace of one crossing: every round in the order of time, with the numbers a pocket calculator can check.

use super::diffuse::DiffuseWaves;
use super::link::Scene;
use super::pass::{Ask, Crossing, RoundDetail, neighbours_of};
use super::screens::Neighbour;
use crate::tag::closeness;
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
    pub heard_odds: f64,
    pub alone_odds: f64,
}

impl TraceRow {
    /// Odds that this round reads the tag.
    pub fn read_odds(&self) -> f64 {
        f64::from(u8::from(self.awake)) * self.heard_odds * self.alone_odds
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

/// Replays a crossing with its own sample offset.
pub fn trace(crossing: &Crossing) -> Trace {
    let point = crossing.point();
    let race = crossing.race;
    let mut neighbours = Vec::new();
    neighbours_of(crossing, &mut neighbours);
    let scene = Scene { race, point: crossing.draw.point, neighbours: &neighbours };
    let mean_excess_m = race.prepared.course.beliefs.diffuse_excess_path_m;
    let mut rows = Vec::new();
    let mut contenders = Vec::new();
    for reader in &point.readers {
        let tags = crossing.contenders(reader);
        contenders.push((reader.name.clone(), tags));
        let alone_odds = reader.frames.at(tags).alone;
        let waves: Vec<Option<DiffuseWaves>> = reader
            .antennas
            .clone()
            .map(|a| {
                (race.diffuse_amplitude > 0.0)
                    .then(|| DiffuseWaves::draw(&mut crossing.draw.identity.diffuse(a), mean_excess_m))
            })
            .collect();
        let schedule = crossing.schedule(reader);
        for n in 0..schedule.count() {
            let time_s = schedule.time_s(n);
            let instant = crossing.stride.at(time_s);
            let port = schedule.port(n);
            let antenna = reader.antennas.start + port;
            let channel = reader.hop_order[schedule.hop(n)];
            let freq_mhz = reader.channels[channel].freq_mhz;
            let s = closeness(instant.worn.gap_mm);
            let (threshold, backscatter_db) = race.prepared.tag.curve.join(&crossing.curve_at(freq_mhz), s);
            let ask = Ask {
                reader,
                antenna,
                channel,
                instant,
                waves: waves[port].as_ref(),
                losses_db: crossing.losses_db(s),
            };
            let detail = RoundDetail {
                incident_dbm: ask.incident_dbm(&scene),
                threshold_dbm: threshold + race.draw.threshold_offset_db() + crossing.runner.sample_offset_db,
                backscatter_db,
            };
            rows.push(TraceRow {
                time_s,
                x_m: instant.at.x,
                y_m: instant.at.y,
                z_m: instant.at.z,
                line: point.lines[reader.line].clone(),
                reader: reader.name.clone(),
                antenna: point.antennas[antenna].name.clone(),
                freq_mhz,
                incident_dbm: detail.incident_dbm,
                threshold_dbm: detail.threshold_dbm,
                received_dbm: ask.received_dbm(&scene, &detail),
                awake: detail.incident_dbm >= detail.threshold_dbm,
                heard_odds: ask.heard(&scene, &detail),
                alone_odds,
            });
        }
    }
    rows.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let miss_odds = rows.iter().map(|r| 1.0 - r.read_odds()).product();
    Trace { rows, neighbours, contenders, miss_odds }
}
