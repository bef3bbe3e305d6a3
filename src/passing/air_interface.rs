//! How long commands, replies and slots last.
//!
//! Reader to tag: preamble 12.5 µs + Tari + RTcal + TRcal before Query, frame-sync 12.5 µs + Tari + RTcal
//! before all else; data-0 lasts Tari, data-1 RTcal − Tari. Tag to reader: (preamble + n + 1)·M/BLF with a preamble of 6 or 18
//! (FM0) or 10 or 22 (Miller) symbols. T1 = max(RTcal, 10/BLF), T2 ≥ 3/BLF, T4 = 2 RTcal.
//! Empty slot = QueryRep + max(T1max, T4); collided = QueryRep + T1 + RN16 + 3/BLF; single = QueryRep + T1 +
//! RN16 + 3/BLF + ACK + T1 + EPC + 3/BLF.
//! Source: ISO/IEC 18000-63, as given in A. Soares Boaventura, N. Borges Carvalho, Radio Frequency Identification
//! Engineering, Cambridge University Press 2025, ch. 4, tables 4.1 to 4.5 and figure 4.1.

use crate::course::reader::{DivideRatio, LinkProfile};

const DELIMITER_US: f64 = 12.5;

/// Durations of one link profile, µs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlotTimes {
    pub query_us: f64,
    pub query_rep_us: f64,
    pub ack_us: f64,
    pub rn16_us: f64,
    pub epc_us: f64,
    pub t1_us: f64,
    pub t1_max_us: f64,
    pub t4_us: f64,
    pub empty_us: f64,
    pub collided_us: f64,
    pub single_us: f64,
}

/// Tolerance of the backscatter link frequency in percent at nominal temperature, from the
/// frequency-tolerance table of ISO/IEC 18000-63 (read in two open implementations that agree).
fn frequency_tolerance_percent(link: &LinkProfile) -> f64 {
    let f = link.blf_khz();
    let at = |khz: f64| (f - khz).abs() < 0.5;
    match link.divide_ratio {
        DivideRatio::SixtyFourThirds if at(640.0) => 15.0,
        DivideRatio::SixtyFourThirds if at(320.0) || at(256.0) => 10.0,
        DivideRatio::SixtyFourThirds if f > 320.0 => 22.0,
        DivideRatio::SixtyFourThirds if f > 256.0 => 12.0,
        DivideRatio::SixtyFourThirds if f > 160.0 => 10.0,
        DivideRatio::SixtyFourThirds if f > 107.0 => 7.0,
        DivideRatio::SixtyFourThirds => 5.0,
        DivideRatio::Eight if at(320.0) || at(256.0) => 10.0,
        DivideRatio::Eight if at(160.0) => 7.0,
        DivideRatio::Eight if f > 320.0 => 19.0,
        DivideRatio::Eight if f > 256.0 => 12.0,
        DivideRatio::Eight if f > 160.0 => 10.0,
        DivideRatio::Eight if f > 107.0 => 7.0,
        DivideRatio::Eight => 4.0,
    }
}

impl SlotTimes {
    /// Durations of a legal link profile with EPCs of `epc_bits`.
    pub fn new(link: &LinkProfile, epc_bits: u32) -> SlotTimes {
        let data = |bits: &str| -> f64 {
            bits.bytes().map(|b| if b == b'1' { link.rtcal_us - link.tari_us } else { link.tari_us }).sum()
        };
        let sync = DELIMITER_US + link.tari_us + link.rtcal_us;
        let period = 1e3 / link.blf_khz();
        let preamble = match (link.miller, link.trext) {
            (1, false) => 6.0,
            (1, true) => 18.0,
            (_, false) => 10.0,
            (_, true) => 22.0,
        };
        let reply = |bits: u32| (preamble + f64::from(bits) + 1.0) * f64::from(link.miller) * period;
        let t1 = link.rtcal_us.max(10.0 * period);
        let t1_max = t1 * (1.0 + frequency_tolerance_percent(link) / 100.0) + 2.0;
        let t4 = 2.0 * link.rtcal_us;
        let t2 = 3.0 * period;
        let query = sync + link.trcal_us + data(&query_bits(link, 4));
        let query_rep = sync + data("0000");
        // An RN16 is as likely to hold ones as zeros: eight of each.
        let ack = sync + data("010000000011111111");
        let (rn16, epc) = (reply(16), reply(32 + epc_bits));
        let collided = query_rep + t1 + rn16 + t2;
        SlotTimes {
            query_us: query,
            query_rep_us: query_rep,
            ack_us: ack,
            rn16_us: rn16,
            epc_us: epc,
            t1_us: t1,
            t1_max_us: t1_max,
            t4_us: t4,
            empty_us: query_rep + t1_max.max(t4),
            collided_us: collided,
            single_us: collided + ack + t1 + epc + t2,
        }
    }
}

/// The 22 bits of a Query for session S0, target A and slot exponent `q`.
/// Fields: 4 command, 1 DR, 2 M, 1 TRext, 2 Sel, 2 Session, 1 Target, 4 Q, 5 CRC-5.
pub fn query_bits(link: &LinkProfile, q: u8) -> String {
    let dr = u8::from(link.divide_ratio == DivideRatio::SixtyFourThirds);
    let m = link.miller.trailing_zeros();
    let body = format!("1000{dr}{m:02b}{}00000{q:04b}", u8::from(link.trext));
    let crc = crc5(&body);
    format!("{body}{crc:05b}")
}

/// CRC-5 with polynomial x⁵ + x³ + 1 and preset 01001 over a string of bits.
fn crc5(bits: &str) -> u8 {
    bits.bytes().fold(0b01001, |register: u8, bit| {
        let top = (register >> 4) & 1;
        let shifted = (register << 1) & 0b11111;
        if top ^ (bit - b'0') == 1 { shifted ^ 0b01001 } else { shifted }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(tari: f64, rtcal: f64, trcal: f64, dr: DivideRatio, miller: u8, trext: bool) -> LinkProfile {
        LinkProfile { tari_us: tari, rtcal_us: rtcal, trcal_us: trcal, divide_ratio: dr, miller, trext }
    }

    fn six() -> [LinkProfile; 6] {
        use DivideRatio::{Eight, SixtyFourThirds as S};
        let s = 64.0 / 3.0;
        [
            profile(6.25, 15.625, s / 0.640, S, 1, false),
            profile(12.5, 31.25, s / 0.320, S, 2, false),
            profile(12.5, 31.25, s / 0.320, S, 4, false),
            profile(25.0, 75.0, s / 0.250, S, 4, false),
            profile(25.0, 62.5, s / 0.250, S, 8, true),
            profile(25.0, 75.0, 200.0, Eight, 1, true),
        ]
    }

    /// Source: Boaventura & Carvalho, RFID Engineering (2025), table 4.4: Query with all fields zero but TRext has CRC-5
    /// 10011; the other strings follow from table 4.5. Tolerance: exact.
    #[test]
    fn val_query_bits() {
        assert_eq!(crc5("10000001000000000"), 0b10011);
        let strings: Vec<String> = six().iter().take(5).map(|p| query_bits(p, 4)).collect();
        assert_eq!(
            strings,
            [
                "1000100000000010000101",
                "1000101000000010000011",
                "1000110000000010001001",
                "1000110000000010001001",
                "1000111100000010001100"
            ]
        );
        assert_eq!(query_bits(&six()[5], 0), "1000000100000000010011");
    }

    /// Source: timing formulas of ISO/IEC 18000-63 (Boaventura & Carvalho 2025, tables 4.1, 4.2, fig. 4.1), evaluated
    /// with Python for six link profiles, µs. Tolerance: half of the last digit.
    #[test]
    fn val_slot_times() {
        let query_rep = [59.375, 106.250, 106.250, 212.500, 200.000, 212.500];
        let ack = [175.000, 337.500, 337.500, 787.500, 662.500, 787.500];
        let rn16 = [35.938, 168.750, 337.500, 432.000, 1248.000, 875.000];
        let epc = [210.938, 868.750, 1737.500, 2224.000, 4832.000, 3675.000];
        let empty = [90.625, 168.750, 168.750, 362.500, 325.000, 474.500];
        let collided = [115.625, 315.625, 484.375, 731.500, 1522.500, 1412.500];
        let single = [521.875, 1562.500, 2600.000, 3830.000, 7091.500, 6200.000];
        let t1_max = [19.969, 36.375, 36.375, 84.5, 70.75, 262.0];
        let near = |a: f64, b: f64| assert!((a - b).abs() < 6e-4, "{a} against {b}");
        for (i, link) in six().iter().enumerate() {
            let t = SlotTimes::new(link, 96);
            near(t.query_rep_us, query_rep[i]);
            near(t.ack_us, ack[i]);
            near(t.rn16_us, rn16[i]);
            near(t.epc_us, epc[i]);
            near(t.empty_us, empty[i]);
            near(t.collided_us, collided[i]);
            near(t.single_us, single[i]);
            near(t.t1_max_us, t1_max[i]);
        }
        for (i, query) in [220.833, 435.417, 435.417, 897.833, 835.333].iter().enumerate() {
            near(SlotTimes::new(&six()[i], 96).query_us, *query);
        }
    }
}
