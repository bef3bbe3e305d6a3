//! Slots shared with other tags: frame length, odds of being alone, duration of a round.
//!
//! N contenders choose one of L slots at random: singles N(1−1/L)^(N−1), empties L(1−1/L)^N, the rest collide.
//! A given tag is alone with odds (1−1/L)^(N−1). The reader takes the power of two that reads most tags per second
//! at N. A round lasts Query − QueryRep plus the expected slots (each slot's time contains the QueryRep that opens it).
//! Source: framed slotted ALOHA, F. C. Schoute, IEEE Trans. Commun. 31 (1983) 565-568 (abstract); slot times in
//! `air_interface`.
//! Against a slot-by-slot simulation (tests/crowd.rs) misses in session S0 are 6 to 7 % high at 80 and 160 arrivals a second for half a second each, a third high
//! where 1 in 800 is missed; a reader that guesses its frame from collisions does as well as one that knows N. In sessions S1 to S3 nobody is
//! missed for want of slots.
//! Known weakness: one number of contenders for a passing; in a wave of a mass start the flow to state is that of the wave.

use super::air_interface::SlotTimes;

/// Largest number of contenders tabulated; above it the last row stands.
pub const MAX_CONTENDERS: usize = 512;
const MAX_FRAME_EXPONENT: u32 = 10;

/// Expected slots of a frame of `slots` with `tags` contenders: single, empty, collided.
pub fn expected_slots(slots: f64, tags: f64) -> (f64, f64, f64) {
    let quiet = 1.0 - 1.0 / slots;
    // 0^0 = 1: one tag in a frame of one slot is alone.
    let single = tags * if tags == 1.0 { 1.0 } else { libm::pow(quiet, tags - 1.0) };
    let empty = slots * if tags == 0.0 { 1.0 } else { libm::pow(quiet, tags) };
    (single, empty, slots - single - empty)
}

/// Odds that one of `tags` contenders is alone in its slot of `slots`.
pub fn alone_odds(slots: f64, tags: f64) -> f64 {
    if tags <= 1.0 { 1.0 } else { libm::pow(1.0 - 1.0 / slots, tags - 1.0) }
}

/// One row: what a reader does when N tags contend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    pub slots: u32,
    pub alone: f64,
    pub round_s: f64,
}

/// Rows for 1..=MAX_CONTENDERS contenders.
#[derive(Clone, Debug)]
pub struct FrameTable(Vec<Frame>);

impl FrameTable {
    /// `frame_slots` and `round_s` pin what they name.
    pub fn new(times: &SlotTimes, frame_slots: Option<u32>, round_s: Option<f64>) -> FrameTable {
        FrameTable((1..=MAX_CONTENDERS).map(|n| frame(times, n as f64, frame_slots, round_s)).collect())
    }

    /// Row for `contenders` ≥ 1 tags, the runner's own included.
    pub fn at(&self, contenders: u32) -> &Frame {
        &self.0[(contenders.max(1) as usize - 1).min(MAX_CONTENDERS - 1)]
    }
}

fn frame(times: &SlotTimes, tags: f64, frame_slots: Option<u32>, round_s: Option<f64>) -> Frame {
    let duration_s = |slots: f64| {
        let (single, empty, collided) = expected_slots(slots, tags);
        (times.query_us - times.query_rep_us
            + single * times.single_us
            + empty * times.empty_us
            + collided * times.collided_us)
            * 1e-6
    };
    let rate = |slots: u32| expected_slots(f64::from(slots), tags).0 / duration_s(f64::from(slots));
    let slots = frame_slots.unwrap_or_else(|| {
        (0..=MAX_FRAME_EXPONENT)
            .map(|e| 1u32 << e)
            .fold(1, |best, s| if rate(s) > rate(best) { s } else { best })
    });
    Frame {
        slots,
        alone: alone_odds(f64::from(slots), tags),
        round_s: round_s.unwrap_or_else(|| duration_s(f64::from(slots))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::reader::{DivideRatio, LinkProfile};

    /// Source: framed slotted ALOHA (Schoute 1983, abstract; efficiency 1/e: Choi & Lee, EURASIP J. Wireless Commun. Netw. 2012:268), evaluated with
    /// Python. Tolerance: half of the last digit.
    #[test]
    fn val_slotted_aloha() {
        for (n, l, single, empty, collided, alone) in [
            (3.0, 4.0, 1.68750, 1.68750, 0.62500, 0.56250),
            (5.0, 8.0, 2.93091, 4.10327, 0.96582, 0.58618),
            (10.0, 16.0, 5.59425, 8.39137, 2.01439, 0.55942),
            (20.0, 16.0, 5.86792, 4.40094, 5.73114, 0.29340),
            (100.0, 128.0, 46.00249, 58.42317, 23.57434, 0.46002),
        ] {
            let (s, e, c) = expected_slots(l, n);
            assert!((s - single).abs() < 6e-6 && (e - empty).abs() < 6e-6 && (c - collided).abs() < 6e-6);
            assert!((alone_odds(l, n) - alone).abs() < 6e-6);
        }
        let (single, _, _) = expected_slots(1e6, 1e6);
        assert!((single / 1e6 - 0.367879).abs() < 1e-6);
    }

    /// Source: ISO/IEC 18000-63 timing (Boaventura & Carvalho 2025, ch. 4) with framed ALOHA, evaluated with
    /// Python: one tag, one slot: 1463.4 and 221.5 rounds/s; 16 tags in 16 slots: 1455.1 and 213.7 reads/s when what a Query
    /// lasts longer than a QueryRep is left out. Tolerance: half of the last digit.
    #[test]
    fn val_round_rates() {
        let s = 64.0 / 3.0;
        let fast = LinkProfile {
            tari_us: 6.25,
            rtcal_us: 15.625,
            trcal_us: s / 0.640,
            divide_ratio: DivideRatio::SixtyFourThirds,
            miller: 1,
            trext: false,
        };
        let slow = LinkProfile { tari_us: 25.0, rtcal_us: 75.0, trcal_us: s / 0.250, miller: 4, ..fast };
        for (link, rounds_per_s, reads_per_s) in [(fast, 1463.4, 1455.1), (slow, 221.5, 213.7)] {
            let times = SlotTimes::new(&link, 96);
            let table = FrameTable::new(&times, None, None);
            assert!((1.0 / table.at(1).round_s - rounds_per_s).abs() < 0.06);
            assert_eq!((table.at(1).slots, table.at(1).alone), (1, 1.0));
            let pinned = FrameTable::new(&times, Some(16), None);
            let (single, _, _) = expected_slots(16.0, 16.0);
            let slots_s = pinned.at(16).round_s - (times.query_us - times.query_rep_us) * 1e-6;
            assert!((single / slots_s - reads_per_s).abs() < 0.06);
        }
    }
}
