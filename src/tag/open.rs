//! Thresholds where no sample woke: what the rest of the measurement says of them, as a distribution.
//!
//! Such a knot only says P > L. Over frequency a tag's threshold follows a resonance,
//!
//!   P(f) = P₀ + 10 log₁₀(1 + ((f − f₀)/w)²) + δ(f),
//!
//! δ an error of the model of `MODEL_SD_DB`, correlated over `MODEL_CORRELATION_MHZ`. Every (P₀, f₀, w) of a grid is weighed by the readings of its
//! mount (known: normal; open: Φ((P − L)/σ); J. Tobin, Econometrica 26 (1958) 24-36) and by the next wider mount: close to a body the
//! resonance falls by `SHIFT_MHZ` and its best threshold rises by `RISE_DB`, both wide (our estimates). Readings as
//! close as the model error reaches count as one. Where readings are near, their distance to the model is carried on, fading.
//! What is left is sorted by the mean over the open knots: curve r of the family is the threshold at rank r, so one rank (an unknown of the race
//! draw) moves all open knots together, which is how an error of an extrapolation behaves.
//! A mount where nothing woke rests on the wider mount and its limits alone: read its values as "at least".

use super::pchip::Pchip;
use crate::lab::Level;
use crate::random::transform::{normal_cdf, normal_quantile};

const MODEL_SD_DB: f64 = 0.5;
const MODEL_CORRELATION_MHZ: f64 = 12.0;
/// Mean and standard deviation of the resonance of a mount less that of the next wider one, MHz.
const SHIFT_MHZ: (f64, f64) = (-8.0, 20.0);
/// The same of its best threshold, dB.
const RISE_DB: (f64, f64) = (8.0, 8.0);
/// The same of ln of its width.
const LN_WIDTH: (f64, f64) = (0.0, 0.5);
/// Scatter of an open reading about the model, dB.
const OPEN_SD_DB: f64 = 0.3;
/// Ranks between which the members of a family are averaged.
const EDGES: [f64; 15] = [0.0, 0.025, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.975, 1.0];

/// A resonance: best threshold (dBm), its frequency and its half width at 3 dB (MHz).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resonance {
    pub best_dbm: f64,
    pub centre_mhz: f64,
    pub half_width_mhz: f64,
}

impl Resonance {
    fn rise_db(centre_mhz: f64, half_width_mhz: f64, freq_mhz: f64) -> f64 {
        let x = (freq_mhz - centre_mhz) / half_width_mhz;
        10.0 * libm::log10(1.0 + x * x)
    }
}

/// Threshold curves of a mount by rank, all the same where a sample woke.
#[derive(Clone, Debug)]
pub struct Family {
    curves: Vec<Pchip>,
    /// Frequencies at which no sample woke, MHz.
    pub open_mhz: Vec<f64>,
    /// Highest power tried there, dBm.
    pub limit_dbm: Vec<f64>,
    /// Nothing woke in the whole mount.
    pub nothing_woke: bool,
}

impl Family {
    /// Threshold at a rank in 0..=1, dBm.
    pub fn value(&self, freq_mhz: f64, rank: f64) -> f64 {
        let middle = |k: usize| 0.5 * (EDGES[k] + EDGES[k + 1]);
        let last = self.curves.len() - 1;
        if rank <= middle(0) {
            return self.curves[0].value(freq_mhz);
        }
        let k = (1..=last).find(|&k| rank <= middle(k)).unwrap_or(last);
        let t = ((rank - middle(k - 1)) / (middle(k) - middle(k - 1))).min(1.0);
        let (a, b) = (self.curves[k - 1].value(freq_mhz), self.curves[k].value(freq_mhz));
        a + t * (b - a)
    }

    /// The curve at rank 0.5.
    pub fn median(&self) -> Pchip {
        let x = self.curves[0].knots().0.to_vec();
        let y = x.iter().map(|&f| self.value(f, 0.5)).collect();
        Pchip::new(x, y)
    }
}

/// One member of the posterior.
struct Member {
    weight: f64,
    resonance: Resonance,
    /// Standard deviations of the model error carried beyond the readings.
    error: f64,
}

/// What the knots of a mount say of its resonance.
pub struct Fit {
    members: Vec<Member>,
    /// Mean over the members.
    pub mean: Resonance,
}

/// Weighs resonances by the knots (MHz, level) of a mount and by the next wider mount, if there is one.
pub fn fit(knots: &[(f64, Level)], wider: Option<&Resonance>) -> Option<Fit> {
    let exact: Vec<(f64, f64)> = knots.iter().filter_map(|(f, level)| Some((*f, level.exact()?))).collect();
    let (low, high) = (knots.first()?.0, knots.last()?.0);
    let spacing = (high - low) / (knots.len() as f64 - 1.0).max(1.0);
    // Readings within the reach of the model error count as one.
    let temper = (spacing / MODEL_CORRELATION_MHZ).min(1.0);
    let variance = MODEL_SD_DB * MODEL_SD_DB;
    let mut members = Vec::new();
    for i in 0..41 {
        let centre_mhz = low - 60.0 + (high - low + 120.0) * f64::from(i) / 40.0;
        for j in 0..17 {
            let half_width_mhz = 8.0 * libm::exp(f64::from(j) / 16.0 * libm::log(25.0));
            let rise = |f: f64| Resonance::rise_db(centre_mhz, half_width_mhz, f);
            let mut log_prior = 0.0;
            // Level of the best threshold: from the readings, drawn towards what the wider mount lets expect.
            let (mut precision, mut sum) = (1e-6, 0.0);
            if let Some(wider) = wider {
                let shift = (centre_mhz - wider.centre_mhz - SHIFT_MHZ.0) / SHIFT_MHZ.1;
                let width = (libm::log(half_width_mhz / wider.half_width_mhz) - LN_WIDTH.0) / LN_WIDTH.1;
                log_prior -= 0.5 * (shift * shift + width * width);
                precision = 1.0 / (RISE_DB.1 * RISE_DB.1);
                sum = (wider.best_dbm + RISE_DB.0) * precision;
            }
            let (prior_precision, prior_mean) = (precision, sum / precision);
            for &(f, y) in &exact {
                precision += temper / variance;
                sum += temper * (y - rise(f)) / variance;
            }
            let centre_dbm = sum / precision;
            let misfit: f64 = exact.iter().map(|&(f, y)| (y - rise(f) - centre_dbm).powi(2)).sum();
            let log_fit = log_prior
                - 0.5 * temper * misfit / variance
                - 0.5 * prior_precision * (centre_dbm - prior_mean).powi(2)
                - 0.5 * libm::log(precision);
            for level in 0..7 {
                let z = normal_quantile((f64::from(level) + 0.5) / 7.0);
                let best_dbm = centre_dbm + z / precision.sqrt();
                let open = |(f, level): &(f64, Level)| match level {
                    Level::Above(limit) => {
                        log_cdf((best_dbm + rise(*f) - limit) / (OPEN_SD_DB + MODEL_SD_DB))
                    }
                    Level::Below(limit) => {
                        log_cdf((limit - best_dbm - rise(*f)) / (OPEN_SD_DB + MODEL_SD_DB))
                    }
                    Level::Exact(_) => 0.0,
                };
                let log_open = temper * knots.iter().map(open).sum::<f64>();
                for error in [-1.5, 0.0, 1.5] {
                    members.push(Member {
                        weight: log_fit + log_open - 0.5 * error * error,
                        resonance: Resonance { best_dbm, centre_mhz, half_width_mhz },
                        error,
                    });
                }
            }
        }
    }
    let most = members.iter().map(|m| m.weight).fold(f64::NEG_INFINITY, f64::max);
    members.iter_mut().for_each(|m| m.weight = libm::exp(m.weight - most));
    let total: f64 = members.iter().map(|m| m.weight).sum();
    members.retain(|m| m.weight > 1e-5);
    let mean = |pick: fn(&Resonance) -> f64| {
        members.iter().map(|m| m.weight * pick(&m.resonance)).sum::<f64>() / total
    };
    let mean = Resonance {
        best_dbm: mean(|r| r.best_dbm),
        centre_mhz: mean(|r| r.centre_mhz),
        half_width_mhz: mean(|r| r.half_width_mhz),
    };
    Some(Fit { members, mean })
}

fn log_cdf(z: f64) -> f64 {
    if z > -30.0 { libm::log(normal_cdf(z)) } else { -0.5 * z * z - libm::log(-z * 2.5066282746310002) }
}

/// The family of a mount with open knots; `None` where some sample woke at every one.
pub fn family(knots: &[(f64, Level)], wider: Option<&Resonance>) -> Option<Family> {
    let open: Vec<(usize, f64, f64)> = knots
        .iter()
        .enumerate()
        .filter_map(|(k, (f, level))| match level {
            Level::Above(limit) => Some((k, *f, *limit)),
            _ => None,
        })
        .collect();
    if open.is_empty() {
        return None;
    }
    let fit = fit(knots, wider)?;
    let exact: Vec<(f64, f64)> = knots.iter().filter_map(|(f, level)| Some((*f, level.exact()?))).collect();
    // Of each member: its mean over the open knots, and its values there.
    let mut worked: Vec<(f64, f64, Vec<f64>)> = fit
        .members
        .iter()
        .map(|member| {
            let Resonance { best_dbm, centre_mhz, half_width_mhz } = member.resonance;
            let model = |f: f64| best_dbm + Resonance::rise_db(centre_mhz, half_width_mhz, f);
            let values: Vec<f64> = open
                .iter()
                .map(|&(_, f, limit)| {
                    let nearest = exact.iter().min_by(|a, b| (a.0 - f).abs().total_cmp(&(b.0 - f).abs()));
                    let (carried, loose) = nearest.map_or((0.0, 1.0), |&(at, y)| {
                        let kept = libm::exp(-(at - f).abs() / MODEL_CORRELATION_MHZ);
                        (kept * (y - model(at)), (1.0 - kept * kept).sqrt())
                    });
                    (model(f) + carried + member.error * loose * MODEL_SD_DB).max(limit)
                })
                .collect();
            (values.iter().sum::<f64>() / values.len() as f64, member.weight, values)
        })
        .collect();
    worked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = worked.iter().map(|w| w.1).sum();
    let curve = |k: usize| {
        let (from, to) = (EDGES[k] * total, EDGES[k + 1] * total);
        let (mut before, mut taken) = (0.0, 0.0);
        let mut sums = vec![0.0; open.len()];
        for (_, weight, values) in &worked {
            let part = ((before + weight).min(to) - f64::max(before, from)).max(0.0);
            sums.iter_mut().zip(values).for_each(|(sum, v)| *sum += part * v);
            (before, taken) = (before + weight, taken + part);
        }
        let mut y: Vec<f64> = knots.iter().map(|(_, level)| level.number()).collect();
        open.iter().zip(sums).for_each(|(&(k, ..), sum)| y[k] = sum / taken.max(1e-300));
        Pchip::new(knots.iter().map(|k| k.0).collect(), y)
    };
    Some(Family {
        curves: (0..EDGES.len() - 1).map(curve).collect(),
        open_mhz: open.iter().map(|o| o.1).collect(),
        limit_dbm: open.iter().map(|o| o.2).collect(),
        nothing_woke: exact.is_empty(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, Stream};

    fn normal(stream: &mut Stream) -> f64 {
        normal_quantile(stream.uniform())
    }

    /// One invented mount: two resonances of unlike strength in parallel, as a bent bib antenna has, so the model is wrong on purpose.
    struct Truth {
        best_dbm: f64,
        centre_mhz: f64,
        half_width_mhz: f64,
        second: (f64, f64, f64),
    }

    impl Truth {
        fn draw(stream: &mut Stream, wider: &Truth) -> Truth {
            Truth {
                best_dbm: wider.best_dbm + 3.0 + 14.0 * stream.uniform(),
                centre_mhz: wider.centre_mhz - 8.0 + 12.0 * normal(stream),
                half_width_mhz: wider.half_width_mhz * libm::exp(0.3 * normal(stream)),
                second: (
                    wider.second.0 + 6.0 * normal(stream),
                    wider.second.1,
                    wider.second.2 + 2.0 * normal(stream),
                ),
            }
        }
        fn value(&self, f: f64) -> f64 {
            let x = (f - self.centre_mhz) / self.half_width_mhz;
            let y = (f - self.second.0) / self.second.1;
            let taken = 1.0 / (1.0 + x * x) + libm::pow(10.0, -0.1 * self.second.2.max(3.0)) / (1.0 + y * y);
            self.best_dbm - 10.0 * libm::log10(taken)
        }
    }

    fn free_air(stream: &mut Stream) -> Truth {
        Truth {
            best_dbm: -17.0 + 2.0 * normal(stream),
            centre_mhz: 900.0 + 20.0 * normal(stream),
            half_width_mhz: 15.0 + 60.0 * stream.uniform(),
            second: (
                870.0 + 60.0 * stream.uniform(),
                20.0 + 30.0 * stream.uniform(),
                8.0 + 6.0 * stream.uniform(),
            ),
        }
    }

    /// Share of 160 invented mounts whose true mean over 902 to 928 MHz lies in the interval from rank 0.025 to 0.975, by share of the band in
    /// which no sample woke. Bound: 95 % less 3.5 standard deviations of a binomial share of 160 (0.89; false alarm 2e-4 each).
    #[test]
    fn the_family_holds_the_truth_at_every_share_of_open_knots() {
        let mut stream = Stream::new(41, Purpose::Pilot, 0, 0, 0);
        let grid: Vec<f64> = (0..51).map(|k| 850.0 + 2.0 * f64::from(k)).collect();
        let band = || grid.iter().copied().filter(|f| (902.0..=928.0).contains(f));
        let n = band().count() as f64;
        for share in [0.16, 0.42, 0.69] {
            let (mut held, mut width) = (0, 0.0);
            for _ in 0..160 {
                let wide = free_air(&mut stream);
                let truth = Truth::draw(&mut stream, &wide);
                let mut values: Vec<f64> = band().map(|f| truth.value(f)).collect();
                values.sort_by(f64::total_cmp);
                // The highest power of the chamber wakes all but this share of the band.
                let limit = values[((1.0 - share) * n) as usize];
                let knots: Vec<(f64, Level)> = grid
                    .iter()
                    .map(|&f| (f, truth.value(f) + 0.2 * normal(&mut stream)))
                    .map(|(f, y)| (f, if y > limit { Level::Above(limit) } else { Level::Exact(y) }))
                    .collect();
                let known: Vec<(f64, Level)> =
                    grid.iter().map(|&f| (f, Level::Exact(wide.value(f)))).collect();
                let wider = fit(&known, None).expect("read").mean;
                let family = family(&knots, Some(&wider)).expect("some are open");
                let mean = |rank: f64| band().map(|f| family.value(f, rank)).sum::<f64>() / n;
                let true_mean = band().map(|f| truth.value(f)).sum::<f64>() / n;
                // Reading noise of the known part: 0.2 dB over the root of some 14 readings.
                held += usize::from(mean(0.025) - 0.11 < true_mean && true_mean < mean(0.975) + 0.11);
                width += mean(0.975) - mean(0.025);
            }
            let (cover, width) = (f64::from(held as u32) / 160.0, width / 160.0);
            println!("{share}: cover {cover:.3}, width {width:.2} dB");
            assert!(cover > 0.89, "{share}: {cover}");
        }
    }

    #[test]
    fn known_knots_stay_and_open_ones_lie_above_their_limit() {
        let knots: Vec<(f64, Level)> = (0..21)
            .map(|k| (860.0 + 5.0 * f64::from(k), -10.0 + 0.9 * f64::from(k)))
            .map(|(f, y)| (f, if y > 0.0 { Level::Above(0.0) } else { Level::Exact(y) }))
            .collect();
        let family = family(&knots, None).expect("some are open");
        for rank in [0.0, 0.01, 0.5, 0.9, 1.0] {
            for (f, level) in &knots {
                match level {
                    Level::Exact(y) => assert!((family.value(*f, rank) - y).abs() < 1e-12),
                    _ => assert!(family.value(*f, rank) >= 0.0),
                }
            }
        }
        assert!(family.value(960.0, 0.975) > family.value(960.0, 0.025) + 0.5);
        assert!(!family.nothing_woke && super::family(&knots[..5], None).is_none());
    }
}
