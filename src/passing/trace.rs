//! The trace of one crossing: every round in the order of time, with the numbers a pocket calculator can check.

use super::ask::Ask;
use super::crossing::{Crossing, neighbours_of};
use super::diffuse::{DiffuseWaves, WaveFacts};
use super::link::Scene;
use super::prepared::PreparedReader;
use super::screens::Neighbour;
use super::waking::{Asked, LONG_ROUND_S, asked_at, each_part};
use super::ways::{ScatteredFacts, WayFacts, scattered, ways};
use crate::tag::curve::AtFrequency;
use crate::units::{amplitude_ratio_to_db, db_to_amplitude_ratio};
use crate::vector::Vec3;
use num_complex::Complex64;
use serde::Serialize;

/// One round of one reader. Rounds longer than 10 ms are judged part by part (`waking`); their powers here are those of the middle.
#[derive(Clone, Debug, Serialize)]
pub struct TraceRow {
    pub time_s: f64,
    pub x_m: f64,
    pub y_m: f64,
    pub z_m: f64,
    /// Yaw of the trunk, sway included.
    pub yaw_deg: f64,
    /// Gap to the body, own spacer and flutter included.
    pub gap_mm: f64,
    pub line: String,
    pub reader: String,
    pub antenna: String,
    pub freq_mhz: f64,
    pub ways: Vec<WayFacts>,
    pub scattered: Option<ScatteredFacts>,
    /// Cover, film, body against phantom, water on the antenna: each way, in every part.
    pub losses_db: f64,
    /// Boresight-equivalent isotropic incident power.
    pub incident_dbm: f64,
    /// Threshold of the average sample as measured, at this frequency and gap.
    pub measured_dbm: f64,
    /// Threshold of this very sample, offsets of race and sample included.
    pub threshold_dbm: f64,
    pub backscatter_db: f64,
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

    pub fn direct(&self) -> &WayFacts {
        &self.ways[0]
    }

    /// All ways but the direct one together, dBm; `None` without any.
    pub fn reflected_dbm(&self) -> Option<f64> {
        let part = |way: &WayFacts| {
            let amplitude = db_to_amplitude_ratio(way.part_dbm);
            Complex64::from_polar(amplitude, way.phase_deg.to_radians())
        };
        let sum: Complex64 = self.ways[1..].iter().map(part).sum();
        (self.ways.len() > 1).then(|| amplitude_ratio_to_db(sum.norm()))
    }
}

/// One antenna as this crossing met it.
#[derive(Clone, Debug, Serialize)]
pub struct SenderFacts {
    pub line: String,
    pub reader: String,
    pub antenna: String,
    pub x_m: f64,
    pub y_m: f64,
    pub z_m: f64,
    pub port_power_dbm: f64,
    pub cable_loss_db: f64,
    pub water_db: f64,
    /// Of its reader, interference included.
    pub sensitivity_dbm: f64,
    pub epc_bits: u32,
    pub round_s: f64,
    pub scattered_waves: Vec<WaveFacts>,
}

/// A crossing told round by round.
#[derive(Clone, Debug)]
pub struct Trace {
    pub rows: Vec<TraceRow>,
    pub senders: Vec<SenderFacts>,
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
    pub gap_mm: f64,
    pub antenna: usize,
    pub freq_mhz: f64,
    pub incident_dbm: f64,
    /// Without the sample's own offset.
    pub race_threshold_dbm: f64,
    /// With this sample's own offset.
    pub threshold_dbm: f64,
    pub backscatter_db: f64,
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
    each_question(crossing, scene, reader, step, |round, _, _| told(round));
}

/// Scattered waves of the antennas of a reader.
fn waves_of(crossing: &Crossing, scene: &Scene, reader: &PreparedReader) -> Vec<Option<DiffuseWaves>> {
    let arrivals = (crossing.race.scatter_level > 0.0).then(|| scene.arrivals(crossing));
    let of = |antenna| arrivals.as_ref().map(|arrivals| crossing.waves(arrivals, antenna));
    reader.antennas.clone().map(of).collect()
}

/// The same, with the question asked in the middle of each round.
fn each_question(
    crossing: &Crossing,
    scene: &Scene,
    reader: usize,
    step: usize,
    mut told: impl FnMut(RoundFacts, &Ask, Option<&DiffuseWaves>),
) {
    let reader = &crossing.point().readers[reader];
    let waves = waves_of(crossing, scene, reader);
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
        asked_at(crossing, scene, &asked, time_s, |ask, here| {
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
            let round = RoundFacts {
                time_s,
                at: here.instant.at,
                gap_mm: here.instant.worn.gap_mm,
                antenna,
                freq_mhz,
                incident_dbm: here.detail.incident_dbm,
                race_threshold_dbm: here.detail.threshold_dbm,
                threshold_dbm,
                backscatter_db: here.detail.backscatter_db,
                received_dbm: here.received_dbm,
                powered_share,
                heard_odds,
            };
            told(round, ask, asked.waves);
        });
    }
}

/// Replays a crossing with its own sample offset.
pub fn trace(crossing: &Crossing) -> Trace {
    let point = crossing.point();
    let mut neighbours = Vec::new();
    neighbours_of(crossing, &mut neighbours);
    let scene = Scene { race: crossing.race, point: crossing.draw.point, neighbours: &neighbours };
    let offset_db = crossing.race.draw.threshold_offset_db();
    let (mut rows, mut senders, mut contenders) = (Vec::new(), Vec::new(), Vec::new());
    for (number, reader) in point.readers.iter().enumerate() {
        let tags = crossing.contenders(reader);
        contenders.push((format!("{} of {}", reader.name, point.lines[reader.line]), tags));
        let alone_odds = reader.frames.at(tags).alone;
        let (_, schedule) = crossing.schedule(reader);
        let waves = waves_of(crossing, &scene, reader);
        for (antenna, waves) in point.antennas[reader.antennas.clone()].iter().zip(waves) {
            senders.push(SenderFacts {
                line: point.lines[reader.line].clone(),
                reader: reader.name.clone(),
                antenna: antenna.name.clone(),
                x_m: antenna.radiator.at.x,
                y_m: antenna.radiator.at.y,
                z_m: antenna.radiator.at.z,
                port_power_dbm: antenna.port_power_dbm,
                cable_loss_db: antenna.cable_loss_db,
                water_db: crossing.water_db(antenna),
                sensitivity_dbm: reader.sensitivity_dbm,
                epc_bits: reader.epc_bits,
                round_s: schedule.round_s(),
                scattered_waves: waves.map_or(Vec::new(), |waves| waves.told()),
            });
        }
        each_question(crossing, &scene, number, 1, |round, ask, waves| {
            rows.push(TraceRow {
                time_s: round.time_s,
                x_m: round.at.x,
                y_m: round.at.y,
                z_m: round.at.z,
                yaw_deg: crossing.stride.yaw_deg(round.time_s),
                gap_mm: round.gap_mm,
                line: point.lines[reader.line].clone(),
                reader: reader.name.clone(),
                antenna: point.antennas[round.antenna].name.clone(),
                freq_mhz: round.freq_mhz,
                ways: ways(&scene, ask),
                scattered: scattered(&scene, ask, waves),
                losses_db: ask.losses_db,
                incident_dbm: round.incident_dbm,
                measured_dbm: round.race_threshold_dbm - offset_db,
                threshold_dbm: round.threshold_dbm,
                backscatter_db: round.backscatter_db,
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
    Trace { rows, senders, neighbours, contenders, miss_odds }
}
