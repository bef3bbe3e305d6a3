//! When a reader asks, on which port and on which frequency.
//!
//! Rounds follow each other without a gap; round n of a crossing has its middle at (n + φ)·T after the runner enters the
//! zone, φ the drawn round phase. The reader stays on a port for its dwell and takes its ports in turn; it stays on a frequency for the
//! hop dwell and follows the channel order. All of it is closed form in n, so rounds can be visited in any order.

use super::draw::CrossingDraw;
use super::prepared::{BIN_M, PreparedReader};
use super::waking::CARRIER_BEFORE_QUERY_S;

/// Rounds of one reader during one crossing.
#[derive(Clone, Copy, Debug)]
pub struct Schedule {
    round_s: f64,
    phase: f64,
    half_time_s: f64,
    speed_m_s: f64,
    count: i64,
    port_offset_s: f64,
    port_dwell_s: f64,
    ports: usize,
    hop_offset_s: f64,
    hop_dwell_s: f64,
    hops: usize,
    /// The first round of a turn is lost to a tag still starting up.
    first_is_lost: bool,
}

impl Schedule {
    /// `half_time_s`: how long before and after the line the runner is inside the zone.
    pub fn new(
        reader: &PreparedReader,
        round_s: f64,
        crossing: &CrossingDraw,
        half_time_s: f64,
        speed_m_s: f64,
        start_up_s: f64,
    ) -> Schedule {
        let ports = reader.antennas.len();
        let hops = reader.hop_order.len();
        let count = (2.0 * half_time_s / round_s - crossing.round_phase).ceil().max(0.0);
        Schedule {
            round_s,
            phase: crossing.round_phase,
            half_time_s,
            speed_m_s,
            count: count as i64,
            port_offset_s: crossing.port_phase * reader.port_dwell_s * ports as f64,
            port_dwell_s: reader.port_dwell_s,
            ports,
            hop_offset_s: crossing.hop_phase * reader.hop_dwell_s * hops as f64,
            hop_dwell_s: reader.hop_dwell_s,
            hops,
            first_is_lost: ports > 1
                && start_up_s > CARRIER_BEFORE_QUERY_S
                && reader.port_dwell_s >= 2.0 * round_s,
        }
    }

    pub fn count(&self) -> i64 {
        self.count
    }

    /// Middle of round `n`, seconds from crossing the line.
    pub fn time_s(&self, n: i64) -> f64 {
        (n as f64 + self.phase) * self.round_s - self.half_time_s
    }

    /// Time from one round to the next, s.
    pub fn round_s(&self) -> f64 {
        self.round_s
    }

    /// Rounds whose middle lies in bin `bin` of x; the bins partition the rounds.
    pub fn rounds_in_bin(&self, bin: usize) -> std::ops::Range<i64> {
        let first = |bin: usize| {
            let time = bin as f64 * BIN_M / self.speed_m_s;
            ((time / self.round_s - self.phase).ceil() as i64).clamp(0, self.count)
        };
        first(bin)..first(bin + 1)
    }

    /// Port in turn at round `n`.
    pub fn port(&self, n: i64) -> usize {
        in_turn(self.turn(n), self.ports)
    }

    fn turn(&self, n: i64) -> f64 {
        (self.time_s(n) + self.half_time_s + self.port_offset_s) / self.port_dwell_s
    }

    /// Whether a port change has just left the tag without power for too long to hear the Query of round `n`.
    pub fn starting_up(&self, n: i64) -> bool {
        self.first_is_lost && self.turn(n).floor() != self.turn(n - 1).floor()
    }

    /// Position in the hop order at round `n`.
    pub fn hop(&self, n: i64) -> usize {
        let turn = (self.time_s(n) + self.half_time_s + self.hop_offset_s) / self.hop_dwell_s;
        in_turn(turn, self.hops)
    }
}

/// `turn` ≥ 0 in whole steps, modulo `of`; a crossing has far fewer than 2³² turns, and narrow divisions are quick.
fn in_turn(turn: f64, of: usize) -> usize {
    if of == 1 { 0 } else { (turn as u32 % of as u32) as usize }
}
