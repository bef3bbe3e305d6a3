//! One crossing, ready to be asked its rounds, and the scratch memory of those who ask.

use super::contention::Frame;
use super::diffuse::{Arrivals, DiffuseWaves};
use super::draw::{CrossingDraw, OffsetLaw, RunnerDraw};
use super::link::Scene;
use super::prepared::{Prepared, PreparedAntenna, PreparedPoint, PreparedReader};
use super::race::RaceContext;
use super::schedule::Schedule;
use super::score::{self, Round, Score};
use super::screens::{self, Neighbour};
use super::stairs::Stairs;
use super::stride::Stride;
use super::waking::LONG_ROUND_S;
use crate::random::transform::poisson_quantile;
use crate::tag::curve::AtFrequency;

/// Standard deviation of the number of contenders averaged over a passing, over that at one instant: of an M/G/∞ queue with equal stays T, whose
/// autocorrelation falls linearly to nil at T, the mean over T has two thirds of the variance (elementary integral).
const OVER_A_STAY: f64 = 0.816_496_580_927_726;

/// Most ports of one reader.
pub const MAX_PORTS: usize = 64;

/// What became of one line.
#[derive(Clone, Debug, Default)]
pub struct LineRounds {
    pub stairs: Stairs,
    /// Surely read, whatever the sample's offset.
    pub settled: bool,
    /// Even the bare direct ray would have woken the tag in free air at some instant.
    pub in_reach: bool,
}

/// One reader during one crossing.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    pub schedule: Schedule,
    /// Odds to be alone in a slot.
    pub alone: f64,
    /// Place of its first channel among the tag curves of the crossing.
    pub first_curve: usize,
    /// Square root of the power in mW that wakes every sample at the mean gap on the first channel, losses included.
    pub sure_amplitude: f64,
    /// Square root of the least power in mW, losses included, at which the average sample wakes at any gap of this crossing on any
    /// channel; worked out when a line was not settled by its promising bins.
    pub least_amplitude: Option<f64>,
}

/// Scratch memory of one thread; grows to the largest crossing and stays there.
#[derive(Default)]
pub struct Workspace {
    pub lines: Vec<LineRounds>,
    pub(super) neighbours: Vec<Neighbour>,
    pub(super) waves: Vec<Option<DiffuseWaves>>,
    pub(super) arrivals: Option<Arrivals>,
    /// Tag curve at the channels met, per reader and channel.
    pub(super) curves: Vec<Option<AtFrequency>>,
    merged: Vec<Round>,
    /// Margin and heard odds of the parts of a long round.
    pub(super) parts: Vec<(f64, f64)>,
    /// What each reader does during the crossing.
    pub(super) readings: Vec<Reading>,
    /// Rounds fully worked out since the workspace was made.
    pub rounds_evaluated: u64,
    pub rounds_skipped: u64,
}

impl Workspace {
    pub fn new() -> Workspace {
        Workspace::default()
    }

    /// What reader number `index` did during the last crossing.
    #[cfg(test)]
    pub(super) fn reading(&self, index: usize) -> Reading {
        self.readings[index]
    }

    /// Rounds of the lines named in `mask` (bit l for line l) by falling margin, and whether any of them was ever in reach; none where one
    /// of the lines surely reads.
    pub fn rounds_of(&mut self, mask: u64) -> Option<(&[Round], bool)> {
        self.merged.clear();
        let mut in_reach = false;
        for (l, line) in self.lines.iter().enumerate().filter(|(l, _)| mask >> l & 1 == 1) {
            if line.settled {
                return None;
            }
            debug_assert!(l < 64);
            in_reach |= line.in_reach;
            self.merged.extend_from_slice(line.stairs.rounds());
        }
        score::sort(&mut self.merged);
        Some((&self.merged, in_reach))
    }

    /// Miss odds of the lines named in `mask` taken together.
    pub fn score_lines(&mut self, mask: u64, law: OffsetLaw) -> Score {
        self.rounds_of(mask).map_or(Score::default(), |(rounds, in_reach)| {
            score::score_sorted(rounds, |margin_db| law.odds_above(margin_db), in_reach)
        })
    }
}

/// A crossing, prepared for asking its rounds.
pub struct Crossing<'a> {
    pub race: &'a RaceContext<'a>,
    pub runner: &'a RunnerDraw,
    pub draw: &'a CrossingDraw,
    pub stride: Stride,
    /// Lines to work out, bit l for line l.
    pub lines: u64,
    /// Most a tag takes from any ray at any gap of this crossing.
    pub(super) most_taken: f64,
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
            lines: u64::MAX,
            most_taken: most_taken(prepared, &stride),
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
        let at_once = f64::from(poisson_quantile(self.draw.contender_rank, reader.mean_contenders));
        let mean = reader.mean_contenders;
        1 + (mean + OVER_A_STAY * (at_once - mean)).round().max(0.0) as u32
    }

    /// The reader's frame in this crossing's contention, and when it asks.
    pub fn schedule<'r>(&self, reader: &'r PreparedReader) -> (&'r Frame, Schedule) {
        let frame = reader.frames.at(self.contenders(reader));
        let schedule = Schedule::new(
            reader,
            frame.round_s,
            self.draw,
            self.half_time_s,
            self.stride.speed_m_s,
            self.race.draw.start_up_ms * 1e-3,
        );
        (frame, schedule)
    }

    /// How far beyond the bin of its middle a round of `round_s` can matter, m.
    pub fn overhang_m(&self, round_s: f64) -> f64 {
        if round_s > LONG_ROUND_S {
            self.stride.speed_m_s * (0.5 * round_s + self.race.draw.start_up_ms * 1e-3)
        } else {
            0.0
        }
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

    /// Loss each way of the water that stands on an antenna lying on the road, dB.
    pub fn water_db(&self, antenna: &PreparedAntenna) -> f64 {
        if antenna.flat { self.race.water_on_mats_db[self.draw.point] } else { 0.0 }
    }

    /// Tag curve on a channel, water and sample shift included.
    pub fn curve_at(&self, freq_mhz: f64) -> AtFrequency {
        let at = freq_mhz + self.runner.resonance_shift_mhz + self.runner.sample_shift_mhz;
        self.race.prepared.tag.curve.at(at, self.race.draw.open_score)
    }

    /// Scattered waves of an antenna of the point.
    pub fn waves(&self, arrivals: &Arrivals, antenna: usize) -> DiffuseWaves {
        let mut stream = self.draw.identity.diffuse(antenna);
        let mean_detour_m = self.race.prepared.course.beliefs.scatter_detour_m;
        DiffuseWaves::draw(&mut stream, arrivals, self.race.scatter_level, mean_detour_m)
    }

    /// Whether this bib lies closer to the body than any mount measured.
    pub fn clamped_gap(&self) -> bool {
        self.stride.mean_gap_mm() < self.race.prepared.tag.curve.closest_gap_mm()
    }
}

/// Most a tag takes from any ray at any gap of its crossing.
fn most_taken(prepared: &Prepared, stride: &Stride) -> f64 {
    let (worn, patterned) = (stride.mean_worn(), prepared.course.effects.tag_pattern);
    match &prepared.torsos {
        Some(torsos) => {
            let (narrow_mm, wide_mm) = stride.gap_range_mm();
            torsos.most_at_gaps(narrow_mm, wide_mm, &worn, patterned)
        }
        None => worn.most_bare(patterned),
    }
}

/// Fresh neighbours of this crossing.
pub fn neighbours_of(crossing: &Crossing, out: &mut Vec<Neighbour>) {
    let point = crossing.point();
    out.clear();
    if point.neighbours_per_m2 > 0.0 {
        let mut stream = crossing.draw.neighbours.neighbours();
        screens::place(
            &mut stream,
            point.neighbours_per_m2,
            point.road_width_m,
            crossing.draw.lateral_m,
            out,
        );
    }
}

/// Scattered waves of an antenna of the point, drawn when first asked for; none with the effect off.
pub(super) fn waves_of<'w>(
    crossing: &Crossing,
    scene: &Scene,
    work: &'w mut Workspace,
    antenna: usize,
) -> Option<&'w DiffuseWaves> {
    let Workspace { waves, arrivals, .. } = work;
    (crossing.race.scatter_level > 0.0).then(|| {
        &*waves[antenna].get_or_insert_with(|| {
            let arrivals = arrivals.get_or_insert_with(|| scene.arrivals(crossing));
            crossing.waves(arrivals, antenna)
        })
    })
}
