//! One crossing of one timing point: a pure function of its draw.
//!
//! Rounds are visited strongest places first, in two sweeps: first those whose bare direct ray promises a sure wake-up, then the
//! rest. Each line keeps the staircase of rounds that can matter (`stairs`); a round that cannot reach its floor, by a
//! bound on the ray sum, is not worked out. A line is settled once its miss odds lie below 1e-10 whatever the sample's offset.
//! So an easy passing costs a few rounds, a hard one those that could still change it, and the result
//! is that of the plain sum over all rounds within 1e-10 (tested).

use super::contention::Frame;
use super::diffuse::{Arrivals, DiffuseWaves};
use super::draw::{CrossingDraw, OffsetLaw, RunnerDraw};
use super::link::Scene;
use super::prepared::{BIN_M, Prepared, PreparedPoint, PreparedReader};
use super::promise::{Reading, judge, least_amplitude};
use super::race::RaceContext;
use super::schedule::Schedule;
use super::score::{self, Round, Score};
use super::screens::{self, Neighbour};
use super::stairs::Stairs;
use super::stride::Stride;
use super::waiting::{Waiter, Waiting, ask_waiting};
use super::waking::{Asked, LONG_ROUND_S, each_part};
use crate::random::transform::poisson_quantile;
use crate::tag::closeness;
use crate::tag::curve::AtFrequency;
use crate::units::db_to_amplitude_ratio;
use crate::vector::Vec3;

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

/// Scratch memory of one thread; grows to the largest crossing and stays there.
#[derive(Default)]
pub struct Workspace {
    pub lines: Vec<LineRounds>,
    neighbours: Vec<Neighbour>,
    waves: Vec<Option<DiffuseWaves>>,
    arrivals: Option<Arrivals>,
    /// Tag curve at the channels met, per reader and channel.
    pub(super) curves: Vec<Option<AtFrequency>>,
    merged: Vec<Round>,
    /// Margin and heard odds of the parts of a long round.
    parts: Vec<(f64, f64)>,
    /// What each reader does during the crossing.
    readings: Vec<Reading>,
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
        1 + poisson_quantile(self.draw.contender_rank, reader.mean_contenders)
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

    /// Tag curve on a channel, water and sample shift included.
    pub fn curve_at(&self, freq_mhz: f64) -> AtFrequency {
        let at = freq_mhz + self.runner.resonance_shift_mhz + self.runner.sample_shift_mhz;
        self.race.prepared.tag.curve.at(at)
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

/// Works out every line of the crossing into `work.lines`.
pub fn pass(crossing: &Crossing, work: &mut Workspace) {
    let (race, point) = (crossing.race, crossing.point());
    let mut neighbours = std::mem::take(&mut work.neighbours);
    neighbours_of(crossing, &mut neighbours);
    let scene = Scene { race: crossing.race, point: crossing.draw.point, neighbours: &neighbours };
    work.waves.clear();
    work.arrivals = None;
    work.waves.resize(point.antennas.len(), None);
    let channels: usize = point.readers.iter().map(|r| r.channels.len()).sum();
    work.curves.clear();
    work.curves.resize(channels, None);
    work.readings.clear();
    let mean_closeness = closeness(crossing.stride.mean_gap_mm());
    let more_db =
        race.draw.threshold_offset_db() + crossing.losses_db(mean_closeness) + race.certain_above_db();
    let mut first_curve = 0;
    for reader in &point.readers {
        let (frame, schedule) = crossing.schedule(reader);
        let curve = work.curves[first_curve].insert(crossing.curve_at(reader.channels[0].freq_mhz));
        let (threshold_dbm, _) = race.prepared.tag.curve.join(curve, mean_closeness);
        work.readings.push(Reading {
            schedule,
            alone: frame.alone,
            first_curve,
            sure_amplitude: db_to_amplitude_ratio(threshold_dbm + more_db),
            least_amplitude: None,
        });
        first_curve += reader.channels.len();
    }
    work.lines.resize_with(point.lines.len(), LineRounds::default);
    for line in 0..point.lines.len() {
        pass_line(crossing, &scene, line, work);
    }
    work.neighbours = neighbours;
}

fn pass_line(crossing: &Crossing, scene: &Scene, line: usize, work: &mut Workspace) {
    let point = crossing.point();
    let mut out = std::mem::take(&mut work.lines[line]);
    out.stairs.clear();
    out.settled = false;
    out.in_reach = false;
    let order = &point.visit_order[crossing.runner.placement_row];
    let mut waiting = Waiting::default();
    let settled = [Sweep::Promising, Sweep::Rest].into_iter().any(|sweep| {
        if sweep == Sweep::Rest {
            for (index, reader) in point.readers.iter().enumerate().filter(|(_, reader)| reader.line == line)
            {
                let least = least_amplitude(crossing, reader, work.readings[index].first_curve, work);
                work.readings[index].least_amplitude = Some(least);
            }
        }
        order.iter().any(|&bin| {
            let middle_x = (bin as f64 + 0.5) * BIN_M - point.zone_m;
            let middle = crossing.stride.mean_place(middle_x / crossing.stride.speed_m_s);
            for (index, reader) in point.readers.iter().enumerate().filter(|(_, reader)| reader.line == line)
            {
                let ask = BinAsk { reader, index, bin, sweep, middle };
                pass_bin(crossing, scene, &ask, &mut waiting, work, &mut out);
            }
            out.stairs.settled(crossing.race.certain_above_db())
        })
    });
    let settled = settled || {
        ask_waiting(crossing, scene, &mut waiting, work, &mut out);
        out.stairs.settled(crossing.race.certain_above_db())
    };
    out.settled = settled;
    work.lines[line] = out;
}

/// Which rounds are looked at: first those of antennas whose bare direct ray promises a sure wake-up there.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sweep {
    Promising,
    Rest,
}

/// One reader in one bin of x.
struct BinAsk<'a> {
    reader: &'a PreparedReader,
    /// Number of the reader at its point.
    index: usize,
    bin: usize,
    sweep: Sweep,
    /// Tag in the middle of the bin, without bounce.
    middle: Vec3,
}

fn pass_bin(
    crossing: &Crossing,
    scene: &Scene,
    bin: &BinAsk,
    waiting: &mut Waiting,
    work: &mut Workspace,
    out: &mut LineRounds,
) {
    let (reader, reading) = (bin.reader, work.readings[bin.index]);
    let schedule = &reading.schedule;
    let rounds = schedule.rounds_in_bin(bin.bin);
    if rounds.is_empty() {
        return;
    }
    let floor = match bin.sweep {
        Sweep::Promising => None,
        Sweep::Rest => Some(crossing.race.certain_below().max(out.stairs.floor_amplitude())),
    };
    let promises = judge(crossing, scene, reader, &reading, bin.middle, floor, work);
    let (asked, nothing_new) = match bin.sweep {
        Sweep::Promising => (promises.promising, true),
        Sweep::Rest => (promises.open, out.in_reach || promises.in_reach == 0),
    };
    if asked == 0 && nothing_new {
        return;
    }
    for n in rounds {
        let port = schedule.port(n);
        out.in_reach |= promises.in_reach >> port & 1 == 1;
        if asked >> port & 1 == 0 || schedule.starting_up(n) {
            continue;
        }
        let channel = reader.hop_order[schedule.hop(n)];
        if schedule.round_s() > LONG_ROUND_S {
            let place =
                LongRound { antenna: reader.antennas.start + port, channel, middle_s: schedule.time_s(n) };
            ask_long(crossing, scene, reader, &reading, &place, work, out);
            continue;
        }
        waiting.push(Waiter {
            reader: bin.index,
            antenna: reader.antennas.start + port,
            channel,
            curve: reading.first_curve + channel,
            alone: reading.alone,
            promising: bin.sweep == Sweep::Promising,
            time_s: schedule.time_s(n),
        });
        if waiting.full() {
            ask_waiting(crossing, scene, waiting, work, out);
        }
    }
}

/// A round too long for its middle to stand for it.
struct LongRound {
    antenna: usize,
    channel: usize,
    middle_s: f64,
}

fn ask_long(
    crossing: &Crossing,
    scene: &Scene,
    reader: &PreparedReader,
    reading: &Reading,
    round: &LongRound,
    work: &mut Workspace,
    out: &mut LineRounds,
) {
    let freq_mhz = reader.channels[round.channel].freq_mhz;
    let place = reading.first_curve + round.channel;
    let curve = work.curves[place].get_or_insert_with(|| crossing.curve_at(freq_mhz)).clone();
    let mut parts = std::mem::take(&mut work.parts);
    parts.clear();
    let waves = waves_of(crossing, scene, work, round.antenna);
    let asked = Asked { reader, antenna: round.antenna, channel: round.channel, waves, curve: &curve };
    let round_s = reading.schedule.round_s();
    each_part(crossing, scene, &asked, round.middle_s, round_s, |margin_db, heard, _| {
        parts.push((margin_db, heard))
    });
    if parts[0].0 >= crossing.race.certain_below_db() {
        out.stairs.add_parts(&parts, reading.alone);
    }
    work.parts = parts;
    work.rounds_evaluated += 1;
}
