//! One crossing of one timing point: a pure function of its draw.
//!
//! Rounds are visited strongest places first, in two sweeps: first those whose bare direct ray promises a sure wake-up, then the
//! rest. Each line keeps the staircase of rounds that can matter (`stairs`); a round that cannot reach its floor, by a
//! bound on the ray sum, is not worked out. A line is settled once its miss odds lie below 1e-10 whatever the sample's offset.
//! So an easy passing costs a few rounds, a hard one those that could still change it, and the result
//! is that of the plain sum over all rounds within 1e-10 (tested).

use super::crossing::Reading;
use super::crossing::waves_of;
pub use super::crossing::{Crossing, LineRounds, MAX_PORTS, Workspace, neighbours_of};
use super::link::Scene;
use super::prepared::{BIN_M, PreparedReader};
use super::promise::{judge, least_amplitude};
use super::waiting::{Waiter, Waiting, ask_waiting};
use super::waking::{Asked, LONG_ROUND_S, each_part};
use crate::tag::closeness;
use crate::units::db_to_amplitude_ratio;
use crate::vector::Vec3;

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
    for line in (0..point.lines.len()).filter(|line| crossing.lines >> line & 1 == 1) {
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
    let curve = *work.curves[place].get_or_insert_with(|| crossing.curve_at(freq_mhz));
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
