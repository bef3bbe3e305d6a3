//! One crossing of one timing point: a pure function of its draw.
//!
//! Rounds are visited strongest places first. A line is settled once the product of (1 − p) over rounds that are
//! awake whatever the sample's offset falls below e^−30: its miss odds then lie below e^−30 and count as 0. Rounds whose incident power
//! cannot reach the threshold by a bound on the ray sum are not worked out (they are asleep, exactly). So easy passings cost a few rounds, hard ones all of them.

use super::decode::heard_odds;
use super::diffuse::DiffuseWaves;
use super::draw::{CrossingDraw, OffsetLaw, RunnerDraw};
use super::link::Scene;
use super::prepared::{PreparedPoint, PreparedReader};
use super::race::RaceContext;
use super::schedule::Schedule;
use super::score::{NOTHING_LEFT, Round, Score, score};
use super::screens::{self, Neighbour};
use super::stride::{Instant, Stride};
use crate::random::transform::poisson_quantile;
use crate::tag::closeness;
use crate::tag::curve::AtFrequency;
use crate::units::{amplitude_ratio_to_db, db_to_amplitude_ratio};
use std::f64::consts::PI;

/// What became of one line.
#[derive(Clone, Debug, Default)]
pub struct LineRounds {
    pub rounds: Vec<Round>,
    /// Surely read, whatever the sample's offset.
    pub settled: bool,
    /// Even the bare direct ray would have woken the tag in free air at some instant.
    pub in_reach: bool,
}

/// Scratch memory of one thread; grows to the largest crossing and stays there.
#[derive(Default)]
pub struct Workspace {
    pub lines: Vec<LineRounds>,
    neighbours: Vec<Neighbour>,
    waves: Vec<Option<DiffuseWaves>>,
    /// Tag curve at the channels met, per reader and channel.
    curves: Vec<Option<AtFrequency>>,
    merged: Vec<Round>,
    /// Rounds fully worked out since the workspace was made.
    pub rounds_evaluated: u64,
    pub rounds_skipped: u64,
}

impl Workspace {
    pub fn new() -> Workspace {
        Workspace::default()
    }

    /// Miss odds of the lines named in `mask` (bit l for line l) taken together.
    pub fn score_lines(&mut self, mask: u64, law: OffsetLaw) -> Score {
        self.merged.clear();
        let mut in_reach = false;
        for (l, line) in self.lines.iter().enumerate().filter(|(l, _)| mask >> l & 1 == 1) {
            if line.settled {
                return Score::default();
            }
            debug_assert!(l < 64);
            in_reach |= line.in_reach;
            self.merged.extend_from_slice(&line.rounds);
        }
        score(&mut self.merged, law, in_reach)
    }
}

/// One round worked out in full.
#[derive(Clone, Copy, Debug)]
pub struct RoundDetail {
    pub incident_dbm: f64,
    /// Threshold with everything but the sample's own offset, dBm.
    pub threshold_dbm: f64,
    pub backscatter_db: f64,
}

/// A crossing, prepared for asking its rounds.
pub struct Crossing<'a> {
    pub race: &'a RaceContext<'a>,
    pub runner: &'a RunnerDraw,
    pub draw: &'a CrossingDraw,
    pub stride: Stride,
    half_time_s: f64,
    cover_and_film_db: f64,
}

impl<'a> Crossing<'a> {
    pub fn new(race: &'a RaceContext<'a>, runner: &'a RunnerDraw, draw: &'a CrossingDraw) -> Crossing<'a> {
        let prepared = race.prepared;
        let point = &prepared.points[draw.point];
        let placement = &prepared.course.field.placements[runner.placement_row];
        let stride = Stride::new(
            runner,
            draw,
            placement,
            prepared.tag.own_spacer_mm,
            point.speed_factor,
            prepared.course.effects.stride,
        );
        Crossing {
            race,
            runner,
            draw,
            half_time_s: point.zone_m / stride.speed_m_s,
            stride,
            cover_and_film_db: placement.cover_loss_db + runner.film_loss_db,
        }
    }

    pub fn point(&self) -> &'a PreparedPoint {
        &self.race.prepared.points[self.draw.point]
    }

    /// Tags contending at a reader, the runner's own included.
    pub fn contenders(&self, reader: &PreparedReader) -> u32 {
        if !self.race.prepared.course.effects.contention || reader.mean_contenders <= 0.0 {
            return 1;
        }
        1 + poisson_quantile(self.draw.contender_rank, reader.mean_contenders)
    }

    pub fn schedule(&self, reader: &PreparedReader) -> Schedule {
        let round_s = reader.frames.at(self.contenders(reader)).round_s;
        Schedule::new(reader, round_s, self.draw, self.half_time_s, self.stride.speed_m_s)
    }

    /// Loss each way that does not depend on the antenna: cover, film, body against phantom.
    pub fn losses_db(&self, closeness: f64) -> f64 {
        let body = if self.race.prepared.course.effects.body {
            self.race.draw.body_loss_db * closeness
        } else {
            0.0
        };
        self.cover_and_film_db + body
    }

    /// Tag curve on a channel, water and sample shift included.
    pub fn curve_at(&self, freq_mhz: f64) -> AtFrequency {
        let at = freq_mhz + self.runner.resonance_shift_mhz + self.runner.sample_shift_mhz;
        self.race.prepared.tag.curve.at(at)
    }

    /// Whether this bib lies closer to the body than any mount measured.
    pub fn clamped_gap(&self) -> bool {
        self.stride.mean_gap_mm() < self.race.prepared.tag.curve.closest_gap_mm()
    }
}

/// Fresh neighbours of this crossing.
pub fn neighbours_of(crossing: &Crossing, out: &mut Vec<Neighbour>) {
    let point = crossing.point();
    out.clear();
    if point.neighbours_per_m2 > 0.0 {
        let mut stream = crossing.draw.identity.neighbours();
        screens::place(
            &mut stream,
            point.neighbours_per_m2,
            point.road_width_m,
            crossing.draw.lateral_m,
            out,
        );
    }
}

/// Works out every line of the crossing into `work.lines`. `thorough`: every round that could be awake, no early stop.
pub fn pass(crossing: &Crossing, work: &mut Workspace, thorough: bool) {
    let point = crossing.point();
    let mut neighbours = std::mem::take(&mut work.neighbours);
    neighbours_of(crossing, &mut neighbours);
    let scene = Scene { race: crossing.race, point: crossing.draw.point, neighbours: &neighbours };
    work.waves.clear();
    work.waves.resize(point.antennas.len(), None);
    let channels: usize = point.readers.iter().map(|r| r.channels.len()).sum();
    work.curves.clear();
    work.curves.resize(channels, None);
    work.lines.resize_with(point.lines.len(), LineRounds::default);
    for line in 0..point.lines.len() {
        pass_line(crossing, &scene, line, work, thorough);
    }
    work.neighbours = neighbours;
}

fn pass_line(crossing: &Crossing, scene: &Scene, line: usize, work: &mut Workspace, thorough: bool) {
    let point = crossing.point();
    let race = crossing.race;
    let mut out = std::mem::take(&mut work.lines[line]);
    out.rounds.clear();
    out.settled = false;
    out.in_reach = false;
    let order = &point.visit_order[crossing.runner.placement_row];
    let mut surely_missed = 1.0;
    'places: for &bin in order {
        let mut first_curve = 0;
        for reader in &point.readers {
            let curves = first_curve..first_curve + reader.channels.len();
            first_curve = curves.end;
            if reader.line != line {
                continue;
            }
            let frame = reader.frames.at(crossing.contenders(reader));
            let schedule = crossing.schedule(reader);
            for n in schedule.rounds_in_bin(bin) {
                let instant = crossing.stride.at(schedule.time_s(n));
                let antenna = reader.antennas.start + schedule.port(n);
                let channel = reader.hop_order[schedule.hop(n)];
                let curve = *work.curves[curves.start + channel]
                    .get_or_insert_with(|| crossing.curve_at(reader.channels[channel].freq_mhz));
                let waves = if race.diffuse_amplitude > 0.0 {
                    let mean = race.prepared.course.beliefs.diffuse_excess_path_m;
                    Some(&*work.waves[antenna].get_or_insert_with(|| {
                        DiffuseWaves::draw(&mut crossing.draw.identity.diffuse(antenna), mean)
                    }))
                } else {
                    None
                };
                let s = closeness(instant.worn.gap_mm);
                let (threshold, backscatter_db) = race.prepared.tag.curve.join(&curve, s);
                let detail = RoundDetail {
                    incident_dbm: 0.0,
                    threshold_dbm: threshold + race.draw.threshold_offset_db(),
                    backscatter_db,
                };
                let ask = Ask { reader, antenna, channel, instant, waves, losses_db: crossing.losses_db(s) };
                let (awake_possible, reach) = ask.bound(scene, detail.threshold_dbm + race.certain_below_db);
                out.in_reach |= reach;
                if !awake_possible {
                    work.rounds_skipped += 1;
                    continue;
                }
                work.rounds_evaluated += 1;
                let incident_dbm = ask.incident_dbm(scene);
                let margin_db = incident_dbm - detail.threshold_dbm;
                if margin_db < race.certain_below_db {
                    continue;
                }
                let heard = ask.heard(scene, &RoundDetail { incident_dbm, ..detail });
                let round = Round { margin_db, missed: 1.0 - heard * frame.alone, unheard: 1.0 - heard };
                out.rounds.push(round);
                if margin_db > race.certain_above_db {
                    surely_missed *= round.missed;
                    if surely_missed < NOTHING_LEFT && !thorough {
                        out.settled = true;
                        break 'places;
                    }
                }
            }
        }
    }
    work.lines[line] = out;
}

/// One question of a reader to the tag.
pub struct Ask<'a> {
    pub reader: &'a PreparedReader,
    pub antenna: usize,
    pub channel: usize,
    pub instant: Instant,
    pub waves: Option<&'a DiffuseWaves>,
    pub losses_db: f64,
}

impl Ask<'_> {
    /// Incident power at the tag, dBm, boresight-equivalent isotropic.
    pub fn incident_dbm(&self, scene: &Scene) -> f64 {
        let antenna = &scene.race.prepared.points[scene.point].antennas[self.antenna];
        let channel = &self.reader.channels[self.channel];
        let c = scene.amplitude(antenna, self.waves, channel, &self.instant);
        antenna.port_power_dbm + amplitude_ratio_to_db(c.norm_sqr().sqrt().max(1e-30)) - self.losses_db
    }

    pub fn received_dbm(&self, scene: &Scene, detail: &RoundDetail) -> f64 {
        let antenna = &scene.race.prepared.points[scene.point].antennas[self.antenna];
        2.0 * detail.incident_dbm - antenna.port_power_dbm - antenna.cable_loss_db + detail.backscatter_db
    }

    /// Odds that the replies decode.
    pub fn heard(&self, scene: &Scene, detail: &RoundDetail) -> f64 {
        if !scene.race.prepared.course.effects.decoding {
            return 1.0;
        }
        heard_odds(self.received_dbm(scene, detail) - self.reader.sensitivity_dbm, self.reader.epc_bits)
    }

    /// Whether the incident power could reach `least_dbm` by a bound on the ray sum, and whether the bare direct
    /// ray would wake the tag in free air.
    fn bound(&self, scene: &Scene, least_dbm: f64) -> (bool, bool) {
        let prepared = scene.race.prepared;
        let antenna = &prepared.points[scene.point].antennas[self.antenna];
        let channel = &self.reader.channels[self.channel];
        let path = self.instant.at - antenna.radiator.at;
        let distance = path.norm().max(0.02);
        let k = path * (1.0 / distance);
        let unit = channel.wavelength_m / (4.0 * PI * distance);
        let direct = antenna.radiator.amplitude(k) * unit;
        let reach = direct * direct * antenna.port_power_mw >= channel.free_air_threshold_mw;
        let front = if prepared.course.effects.body {
            prepared.front_bound_at(self.instant.worn.gap_mm)
        } else {
            1.0
        };
        let peak = antenna.radiator.peak_amplitude() * unit;
        let images = usize::from(antenna.ground) + prepared.points[scene.point].planes.len();
        // An image is never nearer than the direct path and never better than the peak gain.
        let mut largest = (direct + peak * images as f64) * front;
        if let Some(waves) = self.waves {
            largest += peak * scene.race.diffuse_amplitude * waves.bound();
        }
        let needed = db_to_amplitude_ratio(least_dbm + self.losses_db - antenna.port_power_dbm);
        (largest >= needed, reach)
    }
}
