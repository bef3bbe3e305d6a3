//! Open thresholds: where no sample woke up to the highest power, what is believed about the average sample.
//!
//! From free air to the closest mount, each mount hands on what it taught. A mount's belief before its own readings: resonance and width near
//! those of the next wider mount, level by the step between the two wider mounts over the closeness. Curves drawn from that and from
//! the mount's readings (`shape`) are weighed by how surely all samples would have stayed asleep, Φ(min(μ − limit)/σ): the censored
//! likelihood, with placing a sample shared by all its frequencies. What comes out is a median and a spread to either side at every open
//! frequency; the curve of a world is median + score·spread with one score for the tag (`passing::unknowns`), since the level of a
//! mount, not its shape, is what remains unknown.
//! Source: J. Tobin, Econometrica 26 (1958) 24-36 (censored likelihood).

use super::curve::closeness;
use super::shape::{Before, Drawn, Known, RESTS, draw};
use crate::lab::Level;
use crate::random::transform::normal_cdf;
use crate::random::{Purpose, Stream};

/// Curves drawn for a mount.
const DRAWS: usize = 1000;
/// Most readings and most open frequencies worked with; more are thinned evenly.
const MOST_KNOWN: usize = 30;
const MOST_OPEN: usize = 16;
/// With fewer effective draws the belief hardly reaches the limit and says nothing about how far beyond it the tag lies.
const LEAST_EFFECTIVE: f64 = 25.0;
/// Then: this far beyond the limit on average, dB. Our estimate.
const BEYOND_DB: f64 = 4.0;
/// 97.5 % point of the normal distribution.
pub const Z_975: f64 = 1.959_963_984_540_054;
/// Before any reading: level dBm, centre MHz, ln(half width in MHz). Our estimates, wide.
const NOTHING_KNOWN: Before = Before {
    level_dbm: (-10.0, 12.0),
    centre_mhz: (905.0, 45.0),
    ln_width: (3.4, 0.8),
    rests: [0.0; RESTS.len()],
};
/// From one mount to the next closer: standard deviation of the centre, MHz, and of ln width. Our estimates.
const CENTRE_STEP_MHZ: f64 = 20.0;
const LN_WIDTH_STEP: f64 = 0.4;
/// Rise of the threshold from free air to the body, dB, where no two wider mounts show it, and its standard deviation. Our estimate.
const RISE_DB: f64 = 12.0;
const RISE_SD_DB: f64 = 10.0;

/// Readings of the average sample in one mount: frequencies (MHz, increasing) with levels; how many samples stand behind each exact level,
/// as a share of all.
pub struct Seen<'a> {
    pub gap_mm: Option<f64>,
    pub points: Vec<(f64, Level)>,
    pub exact_share: &'a dyn Fn(f64) -> f64,
}

/// Belief at one open frequency: median dBm, and the distance to the 2.5 % and 97.5 % points over 1.96, dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Belief {
    pub freq_mhz: f64,
    pub median_dbm: f64,
    pub down_db: f64,
    pub up_db: f64,
}

/// Mean and standard deviation of what one mount taught.
struct Taught {
    closeness: f64,
    level_dbm: (f64, f64),
    centre_mhz: (f64, f64),
    ln_width: (f64, f64),
    rests: [f64; RESTS.len()],
}

/// Beliefs of every mount at its open frequencies, mounts from free air to the closest; empty lists where nothing is open. `scatter_db` is the
/// standard deviation of a reading, `placing_db` that of placing a sample in a mount.
pub fn beliefs(mounts: &[Seen], scatter_db: f64, placing_db: f64) -> Vec<Vec<Belief>> {
    let open = |seen: &Seen| seen.points.iter().any(|p| matches!(p.1, Level::Above(_)));
    // What closer mounts teach is never handed back.
    let Some(last) = mounts.iter().rposition(open) else { return vec![Vec::new(); mounts.len()] };
    let mut taught: Vec<Taught> = Vec::new();
    let mut out = Vec::with_capacity(mounts.len());
    for (m, seen) in mounts.iter().enumerate() {
        if m > last {
            out.push(Vec::new());
            continue;
        }
        let s = seen.gap_mm.map_or(0.0, closeness);
        let before = before(&taught, s);
        let mut stream = Stream::new(0, Purpose::Campaign, 900, 0, m as u64);
        let (found, more) = one(seen, &before, scatter_db, placing_db, &mut stream);
        out.push(found);
        taught.push(Taught { closeness: s, ..more });
    }
    out
}

fn before(taught: &[Taught], closeness: f64) -> Before {
    let Some(near) = taught.last() else { return NOTHING_KNOWN };
    let step = closeness - near.closeness;
    let (rise, rise_sd) = match taught.len().checked_sub(2).map(|k| &taught[k]) {
        Some(wider) => {
            // The body's grip grows less than linearly: half the straight line, and no surer than half of it.
            let line = (near.level_dbm.0 - wider.level_dbm.0) / (near.closeness - wider.closeness) * step;
            (0.5 * line, 5.0 + 0.5 * line.abs())
        }
        None => (RISE_DB * step, 4.0 + RISE_SD_DB * step),
    };
    // A tenth of the belief in the rest of the shape starts anew.
    let most = near.rests.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = near.rests.iter().map(|r| libm::exp(r - most)).sum();
    let rests = near.rests.map(|r| libm::log(0.9 * libm::exp(r - most) / total + 0.1 / RESTS.len() as f64));
    Before {
        level_dbm: (near.level_dbm.0 + rise, libm::hypot(near.level_dbm.1, rise_sd)),
        centre_mhz: (near.centre_mhz.0, libm::hypot(near.centre_mhz.1, CENTRE_STEP_MHZ)),
        ln_width: (near.ln_width.0, libm::hypot(near.ln_width.1, LN_WIDTH_STEP)),
        rests,
    }
}

/// Evenly thinned to at most `most`, both ends kept.
fn thinned<T: Copy>(all: &[T], most: usize) -> Vec<T> {
    if all.len() <= most {
        return all.to_vec();
    }
    (0..most).map(|k| all[k * (all.len() - 1) / (most - 1)]).collect()
}

fn one(
    seen: &Seen,
    before: &Before,
    scatter_db: f64,
    placing_db: f64,
    stream: &mut Stream,
) -> (Vec<Belief>, Taught) {
    let known: Vec<Known> = seen
        .points
        .iter()
        .filter_map(|&(freq_mhz, level)| {
            let share = (seen.exact_share)(freq_mhz).clamp(0.0, 1.0);
            // Where some samples never woke, only the better placed are seen.
            let sd_db = libm::hypot(scatter_db, 2.0 * placing_db * (1.0 - share)).max(0.05);
            matches!(level, Level::Exact(_) | Level::Below(_)).then_some(Known {
                freq_mhz,
                level_dbm: level.number(),
                sd_db,
            })
        })
        .collect();
    let open: Vec<(f64, f64)> = seen
        .points
        .iter()
        .filter_map(|&(f, level)| if let Level::Above(limit) = level { Some((f, limit)) } else { None })
        .collect();
    let targets = thinned(&open, MOST_OPEN);
    let frequencies: Vec<f64> = targets.iter().map(|t| t.0).collect();
    let mut drawn = draw(&thinned(&known, MOST_KNOWN), &frequencies, before, stream, DRAWS);
    let weights = weigh(&mut drawn, &targets, libm::hypot(scatter_db, placing_db).max(0.1), stream);
    let beliefs: Vec<Belief> = frequencies
        .iter()
        .enumerate()
        .map(|(k, &freq_mhz)| {
            let mut values: Vec<(f64, f64)> =
                drawn.iter().zip(&weights).map(|(d, w)| (d.curve_dbm[k], *w)).collect();
            values.sort_by(|a, b| a.0.total_cmp(&b.0));
            let at = |p: f64| quantile(&values, p);
            let median_dbm = at(0.5);
            let (down_db, up_db) = ((median_dbm - at(0.025)) / Z_975, (at(0.975) - median_dbm) / Z_975);
            Belief { freq_mhz, median_dbm, down_db, up_db }
        })
        .collect();
    (open.iter().map(|&(f, _)| between(&beliefs, f)).collect(), summary(&drawn, &weights))
}

/// Weights of the drawn curves, summing to one, after what never waking says about them.
fn weigh(drawn: &mut [Drawn], open: &[(f64, f64)], sd: f64, stream: &mut Stream) -> Vec<f64> {
    let above = |d: &Drawn| {
        d.curve_dbm.iter().zip(open).map(|(c, (_, limit))| c - limit).fold(f64::INFINITY, f64::min)
    };
    let even = 1.0 / drawn.len() as f64;
    if open.is_empty() {
        return vec![even; drawn.len()];
    }
    let mut weights: Vec<f64> = drawn.iter().map(|d| normal_cdf(above(d) / sd)).collect();
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
    if sum * sum < LEAST_EFFECTIVE * squares || squares == 0.0 {
        for d in drawn.iter_mut() {
            let lift = -above(d) - BEYOND_DB * libm::log(stream.uniform());
            d.curve_dbm.iter_mut().for_each(|c| *c += lift);
            d.level_dbm += lift;
        }
        return vec![even; drawn.len()];
    }
    weights.iter_mut().for_each(|w| *w /= sum);
    weights
}

/// Quantile of sorted values with weights that sum to one.
fn quantile(values: &[(f64, f64)], p: f64) -> f64 {
    let mut sum = 0.0;
    for (value, weight) in values {
        sum += weight;
        if sum >= p {
            return *value;
        }
    }
    values.last().map_or(f64::NAN, |v| v.0)
}

/// Straight line between the frequencies worked out.
fn between(beliefs: &[Belief], freq_mhz: f64) -> Belief {
    let right = beliefs.partition_point(|b| b.freq_mhz < freq_mhz).min(beliefs.len() - 1);
    let (a, b) = (beliefs[right.saturating_sub(1)], beliefs[right]);
    let t = if b.freq_mhz > a.freq_mhz { (freq_mhz - a.freq_mhz) / (b.freq_mhz - a.freq_mhz) } else { 1.0 };
    let mix = |x: f64, y: f64| x + t * (y - x);
    Belief {
        freq_mhz,
        median_dbm: mix(a.median_dbm, b.median_dbm),
        down_db: mix(a.down_db, b.down_db),
        up_db: mix(a.up_db, b.up_db),
    }
}

fn summary(drawn: &[Drawn], weights: &[f64]) -> Taught {
    let moments = |of: fn(&Drawn) -> f64| {
        let mean: f64 = drawn.iter().zip(weights).map(|(d, w)| w * of(d)).sum();
        let variance: f64 = drawn.iter().zip(weights).map(|(d, w)| w * (of(d) - mean) * (of(d) - mean)).sum();
        (mean, variance.max(1e-6).sqrt())
    };
    let mut rests = [1e-6; RESTS.len()];
    drawn.iter().zip(weights).for_each(|(d, w)| rests[d.rest] += w);
    Taught {
        closeness: 0.0,
        level_dbm: moments(|d| d.level_dbm),
        centre_mhz: moments(|d| d.centre_mhz),
        ln_width: moments(|d| d.ln_width),
        rests: rests.map(libm::log),
    }
}
