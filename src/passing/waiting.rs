//! Rounds wait until four are together, then they are asked in one go (`four_at_once`).
//!
//! A round that cannot reach the floor of the staircase, by a bound on its rays, is not worked out; the bound is looked
//! at once the place and the gain are known and again once the diffuse waves are.

use super::ask::{Ask, RoundDetail};
use super::crossing::{Crossing, LineRounds, Workspace, waves_of};
use super::four_at_once::{self, LANES, Seen};
use super::link::{Ray, Scene};
use super::score::Round;
use crate::units::db_to_amplitude_ratio;
use num_complex::Complex64;

/// A round that waits to be asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct Waiter {
    /// Number of the reader at its point.
    pub reader: usize,
    pub antenna: usize,
    pub channel: usize,
    /// Place of the channel among the tag curves of the crossing.
    pub curve: usize,
    /// Odds to be alone in a slot.
    pub alone: f64,
    /// Whether the bare direct ray promises a sure wake-up here.
    pub promising: bool,
    /// Middle of the round, s from the line.
    pub time_s: f64,
}

/// At most four rounds.
#[derive(Default)]
pub struct Waiting {
    count: usize,
    rounds: [Waiter; LANES],
}

impl Waiting {
    /// Adds a round; there must be room.
    pub fn push(&mut self, waiter: Waiter) {
        self.rounds[self.count] = waiter;
        self.count += 1;
    }

    pub fn full(&self) -> bool {
        self.count == LANES
    }
}

/// Works out the rounds that wait and adds those that can matter to the staircase of their line.
pub fn ask_waiting(
    crossing: &Crossing,
    scene: &Scene,
    waiting: &mut Waiting,
    work: &mut Workspace,
    out: &mut LineRounds,
) {
    let Waiting { count, rounds } = waiting;
    let count = std::mem::take(count);
    if count == 0 {
        return;
    }
    // Spare lanes hold rounds of before; what they give is not used.
    let radiators = rounds.each_ref().map(|r| &scene.antennas()[r.antenna].radiator);
    let mut seen = [Seen::default(); LANES];
    four_at_once::look(&crossing.stride, &rounds.each_ref().map(|r| r.time_s), radiators, &mut seen);
    let (mut begun, mut wave_number, mut scale) = ([None; LANES], [0.0; LANES], [0.0; LANES]);
    let asks = std::array::from_fn(|l| ask_of(crossing, scene, &rounds[l], &seen[l]));
    for (l, (round, ask)) in rounds.iter().zip(&asks).enumerate().take(count) {
        begun[l] = begin(crossing, scene, round, ask, seen[l].closeness, work, out);
        if begun[l].is_some() {
            wave_number[l] = ask.channel.wave_number;
            scale[l] = scene.direct_scale(ask.antenna, ask.channel, ask.instant, ask.sight);
        }
    }
    if begun.iter().all(Option::is_none) {
        work.rounds_skipped += count as u64;
        return;
    }
    let mut sums = four_at_once::direct_rays(scene.taker(), &seen, &wave_number, &scale);
    add_images(scene, &asks, &begun, &mut sums);
    for (l, (round, ask)) in rounds.iter().zip(&asks).enumerate().take(count) {
        let Some(Begun { mut detail, diffuse }) = begun[l] else {
            work.rounds_skipped += 1;
            continue;
        };
        work.rounds_evaluated += 1;
        detail.incident_dbm = ask.dbm_of(sums[l] + diffuse);
        let margin_db = detail.incident_dbm - detail.threshold_dbm;
        if margin_db < crossing.race.certain_below_db().max(out.stairs.floor_db()) {
            continue;
        }
        let heard = ask.heard(scene, &detail);
        out.stairs.add(Round { margin_db, missed: 1.0 - heard * round.alone, unheard: 1.0 - heard });
    }
}

#[inline(always)]
fn ask_of<'a>(crossing: &Crossing<'a>, scene: &'a Scene, round: &Waiter, seen: &'a Seen) -> Ask<'a> {
    let reader = &crossing.point().readers[round.reader];
    Ask {
        reader,
        antenna: &scene.antennas()[round.antenna],
        channel: &reader.channels[round.channel],
        instant: &seen.instant,
        sight: &seen.sight,
        losses_db: crossing.losses_db(seen.closeness) + crossing.water_db(&scene.antennas()[round.antenna]),
    }
}

/// Adds the reflected rays of the rounds begun; they, too, are taken four at a time.
fn add_images(
    scene: &Scene,
    asks: &[Ask; LANES],
    begun: &[Option<Begun>; LANES],
    sums: &mut [Complex64; LANES],
) {
    let planes = !scene.race.prepared.points[scene.point].planes.is_empty();
    if !planes && asks.iter().all(|ask| !ask.antenna.ground && ask.antenna.further_m.is_empty()) {
        return;
    }
    let (mut rays, mut lanes, mut count) = ([Ray::default(); LANES], [0; LANES], 0);
    let mut flush = |rays: &[Ray; LANES], lanes: &[usize]| {
        let taken = four_at_once::rays(scene.taker(), rays);
        lanes.iter().zip(taken).for_each(|(&lane, c)| sums[lane] += c);
    };
    for (l, ask) in asks.iter().enumerate().filter(|(l, _)| begun[*l].is_some()) {
        scene.each_image(ask.antenna, ask.channel, ask.instant, |ray, _| {
            (rays[count], lanes[count]) = (ray, l);
            count += 1;
            if count == LANES {
                flush(&rays, &lanes);
                count = 0;
            }
        });
    }
    flush(&rays, &lanes[..count]);
}

/// What is known of a round before its rays are summed.
#[derive(Clone, Copy)]
struct Begun {
    detail: RoundDetail,
    diffuse: Complex64,
}

/// Threshold and diffuse waves of a round; none where its rays surely cannot reach the floor.
fn begin(
    crossing: &Crossing,
    scene: &Scene,
    round: &Waiter,
    ask: &Ask,
    closeness: f64,
    work: &mut Workspace,
    out: &LineRounds,
) -> Option<Begun> {
    let race = crossing.race;
    let curve = work.curves[round.curve].get_or_insert_with(|| crossing.curve_at(ask.channel.freq_mhz));
    let (threshold, backscatter_db) = race.prepared.tag.curve.join(curve, closeness);
    let threshold_dbm = threshold + race.draw.threshold_offset_db();
    let detail = RoundDetail { incident_dbm: f64::NEG_INFINITY, threshold_dbm, backscatter_db };
    let waves = waves_of(crossing, scene, work, round.antenna);
    // The bound would seldom spare a promising round.
    if round.promising {
        return Some(Begun { detail, diffuse: ask.diffuse(scene, waves) });
    }
    let needed = db_to_amplitude_ratio(threshold_dbm + ask.losses_db - ask.antenna.port_power_dbm);
    let least = needed * race.certain_below().max(out.stairs.floor_amplitude());
    let rays = ask.ray_bound(scene, crossing.most_taken);
    if rays + waves.map_or(0.0, |w| ask.diffuse_bound(w)) < least {
        return None;
    }
    let diffuse = ask.diffuse(scene, waves);
    (rays + diffuse.norm_sqr().sqrt() >= least).then_some(Begun { detail, diffuse })
}
