//! What the miss rate of a run hinges on: which race-day quantity moves it most.
//!
//! Every race draws its weather and beliefs afresh. Ranking the races by one drawn quantity and comparing the
//! mean miss rate of the highest and the lowest third shows how much that quantity matters, with nothing run again. The
//! order of importance is the squared rank correlation (C. Spearman, Am. J. Psychol. 15 (1904) 72-101).

use crate::passing::{Prepared, RaceDraw};
use serde::{Deserialize, Serialize};

/// One race-day quantity and what it does to the misses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hinge {
    pub what: String,
    pub unit: String,
    /// Middle of the lowest and of the highest third.
    pub low: f64,
    pub high: f64,
    /// Mean miss rate in the lowest and in the highest third.
    pub miss_rate_at_low: f64,
    pub miss_rate_at_high: f64,
    /// Squared rank correlation with the miss rate, 0..1.
    pub share: f64,
    /// Whether the share stands out of chance (rank correlation beyond 3 standard errors).
    pub clear: bool,
}

/// Hinges of one point, strongest first. `rates[i]` belongs to race `races[i]`; fewer than 30 races say nothing.
pub fn hinges(prepared: &Prepared, seed: u64, races: &[u64], rates: &[f64]) -> Vec<Hinge> {
    if races.len() < 30 {
        return Vec::new();
    }
    let draws: Vec<RaceDraw> =
        races.iter().map(|&r| RaceDraw::draw(&prepared.course, &prepared.tag, seed, r)).collect();
    type Reads = fn(&RaceDraw) -> f64;
    let quantities: [(&str, &str, Reads); 7] = [
        ("share of soaked bibs that day", "", |d| d.wetness_shares[2]),
        ("how much bibs cling (factor on the air gap)", "", |d| d.cling_factor),
        ("loss of a body beyond the phantom's", "dB", |d| d.body_loss_db),
        ("threshold error: lab, few samples, batch", "dB", RaceDraw::threshold_offset_db),
        ("spread between samples of the batch", "dB", |d| d.sample_offset_sd_db),
        ("Rician K of the diffuse waves", "dB", |d| d.rician_k_db),
        ("rear floor (wave round the body)", "dB", |d| d.rear_floor_db),
    ];
    let mut out: Vec<Hinge> = quantities
        .iter()
        .filter_map(|(what, unit, read)| {
            let values: Vec<f64> = draws.iter().map(read).collect();
            hinge(what, unit, &values, rates)
        })
        .collect();
    out.sort_by(|a, b| b.share.total_cmp(&a.share));
    out
}

fn hinge(what: &str, unit: &str, values: &[f64], rates: &[f64]) -> Option<Hinge> {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    if values[order[0]] == values[order[n - 1]] {
        return None;
    }
    let rho = correlation(&ranks(values), &ranks(rates));
    let third = n / 3;
    let mean = |part: &[usize]| part.iter().map(|&i| rates[i]).sum::<f64>() / part.len() as f64;
    Some(Hinge {
        what: what.to_owned(),
        unit: unit.to_owned(),
        low: values[order[third / 2]],
        high: values[order[n - 1 - third / 2]],
        miss_rate_at_low: mean(&order[..third]),
        miss_rate_at_high: mean(&order[n - third..]),
        share: rho * rho,
        clear: rho.abs() > 3.0 / (n as f64 - 1.0).sqrt(),
    })
}

/// Ranks with ties shared.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut out = vec![0.0; values.len()];
    let mut i = 0;
    while i < order.len() {
        let mut j = i;
        while j + 1 < order.len() && values[order[j + 1]] == values[order[i]] {
            j += 1;
        }
        for &k in &order[i..=j] {
            out[k] = 0.5 * (i + j) as f64;
        }
        i = j + 1;
    }
    out
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma) * (x - ma);
        bb += (y - mb) * (y - mb);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_that_drives_the_rate_is_found_and_another_is_not() {
        let values: Vec<f64> = (0..90).map(f64::from).collect();
        let rates: Vec<f64> = values.iter().map(|v| 1e-3 * (1.0 + v)).collect();
        let h = hinge("x", "dB", &values, &rates).unwrap();
        assert!((h.share - 1.0).abs() < 1e-12 && h.clear && h.miss_rate_at_high > 3.0 * h.miss_rate_at_low);
        let other: Vec<f64> = (0..90).map(|i| f64::from((i * 37) % 90)).collect();
        assert!(!hinge("y", "", &other, &rates).unwrap().clear);
        assert!(hinge("pinned", "", &[1.0; 90], &rates).is_none());
    }
}
