//! What the misses hinge on: how much each unknown of a race day decides, read off the race days of a run.
//!
//! For each unknown the race days are ranked by its value and cut into twenty parts of equal weight. The share it decides alone is the
//! variance of the parts' means over the variance of all (correlation ratio; K. Pearson, 1905), less what chance gives:
//!   η² = (S_between − (k − 1)·s²) / S_all, s² the variance within parts per independent value.
//! What is explained is the probability that the day breaks the promise, and, where no day does or all do, the logarithm of its miss odds.
//! Values of unknowns that only passings tell are as many as worlds; of others, as many as race days.

use crate::estimate::offsets::{DAYS, RACE_DAYS, race_day_draws};
use crate::estimate::promise::{Breaks, allowed};
use crate::estimate::reading::{SetDays, without};
use crate::estimate::replicates::{Figure, Scale, figure, figure_of};
use crate::estimate::run::Run;
use crate::passing::unknowns::{Enters, Layer, OPEN_KEY, UNKNOWNS, Unknown};
use crate::passing::{Prepared, RaceDraw};
use serde::{Deserialize, Serialize};

const PARTS: usize = 20;
/// Fewest worlds that tell anything.
const LEAST_WORLDS: usize = 64;

/// One unknown and what it decides.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Driver {
    pub key: String,
    pub what: String,
    pub unit: String,
    /// True: the same in every race until measured; false: of the day.
    pub nobody_knows: bool,
    pub measure: String,
    /// Middle of the lowest and of the highest third.
    pub low: f64,
    pub high: f64,
    /// Expected miss rate in the lowest and in the highest third.
    pub miss_rate_at_low: Figure,
    pub miss_rate_at_high: Figure,
    /// Probability that a race breaks the promise there.
    pub breaks_at_low: f64,
    pub breaks_at_high: f64,
    /// Share of the variance it decides alone, 0..1.
    pub share: Figure,
    /// Whether the share stands out of chance.
    pub clear: bool,
    /// The share with one replicate left out at a time.
    #[serde(skip)]
    pub share_without: Vec<f64>,
}

/// What hangs on the thresholds at which no sample woke; `None` where all were read or too few worlds were drawn.
pub fn open_thresholds(drivers: &[Driver]) -> Option<&Driver> {
    drivers.iter().find(|d| d.key == OPEN_KEY)
}

/// Whether the driver in place `place` is told apart from the next one.
pub fn order_known(drivers: &[Driver], place: usize) -> bool {
    let (Some(one), Some(next)) = (drivers.get(place), drivers.get(place + 1)) else { return true };
    let gap: Vec<f64> = one.share_without.iter().zip(&next.share_without).map(|(a, b)| a - b).collect();
    figure_of(one.share.value - next.share.value, &gap, Scale::Plain).low > 0.0
}

/// Drivers of one point, strongest first; empty for too few worlds.
pub fn drivers(prepared: &Prepared, run: &Run, days: &SetDays, runners: u64, target: f64) -> Vec<Driver> {
    if run.rows.len() < LEAST_WORLDS {
        return Vec::new();
    }
    let draws: Vec<Vec<RaceDraw>> = run
        .rows
        .iter()
        .map(|row| {
            let (point, _) = run.ask.world_point(prepared, row.world);
            race_day_draws(prepared, (run.ask.seed, row.world), &point, &run.ask.tilt)
        })
        .collect();
    let table = Breaks::new(runners, allowed(target, runners));
    let broken: Vec<f64> = days.each().map(|q| table.at(q)).collect();
    let explained = explained(&broken, days);
    let mut out: Vec<Driver> =
        UNKNOWNS.iter().filter_map(|unknown| driver(unknown, &draws, days, &broken, &explained)).collect();
    out.sort_by(|a, b| b.share.value.total_cmp(&a.share.value));
    out
}

/// What the unknowns are to explain, by race day.
fn explained(broken: &[f64], days: &SetDays) -> Vec<f64> {
    let mean = days.mean_of(Scale::Plain, |l| broken[l * DAYS..(l + 1) * DAYS].iter().sum::<f64>());
    let mean = mean.value / DAYS as f64;
    if (0.005..=0.995).contains(&mean) {
        return broken.to_vec();
    }
    // Odds far below the mean decide nothing: they are not told apart.
    let least = 1e-3 * days.rate().value.max(1e-12);
    days.each().map(|q| libm::log(q.max(least))).collect()
}

fn driver(
    unknown: &Unknown,
    draws: &[Vec<RaceDraw>],
    days: &SetDays,
    broken: &[f64],
    explained: &[f64],
) -> Option<Driver> {
    let values: Vec<f64> = draws.iter().flatten().map(unknown.value).collect();
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]).then(a.cmp(&b)));
    if values[order[0]] == values[*order.last()?] {
        return None;
    }
    let weight = |day: usize| days.weight(day / DAYS);
    let total: f64 = order.iter().map(|&day| weight(day)).sum();
    // Places in the order below which a share of the weight lies.
    let mut below = 0.0;
    let reached: Vec<f64> = order
        .iter()
        .map(|&day| {
            below += weight(day);
            below / total
        })
        .collect();
    let place = |share: f64| reached.partition_point(|r| *r < share).min(order.len() - 1);
    let (low, high) = (&order[..=place(1.0 / 3.0)], &order[place(2.0 / 3.0)..]);
    let (share, share_without) = share(&order, &reached, unknown, days, explained);
    let mean = |part: &[usize]| {
        part.iter().map(|&d| weight(d) * broken[d]).sum::<f64>()
            / part.iter().map(|&d| weight(d)).sum::<f64>()
    };
    Some(Driver {
        key: unknown.key.to_owned(),
        what: unknown.name.to_owned(),
        unit: unknown.unit.to_owned(),
        nobody_knows: unknown.layer == Layer::NobodyKnows,
        measure: unknown.measure.to_owned(),
        low: values[order[place(1.0 / 6.0)]],
        high: values[order[place(5.0 / 6.0)]],
        miss_rate_at_low: rate_over(low, days),
        miss_rate_at_high: rate_over(high, days),
        breaks_at_low: mean(low),
        breaks_at_high: mean(high),
        clear: share.low > 0.0 && share.value > 0.02,
        share,
        share_without,
    })
}

/// Expected miss rate over some race days.
fn rate_over(part: &[usize], days: &SetDays) -> Figure {
    let (mut sums, mut counts) = (vec![0.0; days.replicates], vec![0.0; days.replicates]);
    for &day in part {
        let level = day / DAYS;
        sums[days.replicate(level)] += days.weight(level) * days.of_level(level)[day % DAYS];
        counts[days.replicate(level)] += days.weight(level);
    }
    figure(days.replicates, Scale::Logarithm, |skip| {
        without(&sums, skip) / without(&counts, skip).max(1e-300)
    })
}

/// η² of the days in `order`, with its error.
fn share(
    order: &[usize],
    reached: &[f64],
    unknown: &Unknown,
    days: &SetDays,
    explained: &[f64],
) -> (Figure, Vec<f64>) {
    // Days of a world (or level) that share the value are one value only.
    let alike = match (unknown.enters, unknown.layer) {
        (Enters::Passings, _) => RACE_DAYS,
        (_, Layer::NobodyKnows) => DAYS,
        _ => 1,
    } as f64;
    let (sum, squares) = order.iter().fold((0.0, 0.0), |(s, q), &day| {
        let w = days.weight(day / DAYS);
        (s + w, q + w * w)
    });
    // As many race days of equal weight would tell as much.
    let effective = sum * sum / squares;
    // [part][replicate]: weight, sum, sum of squares.
    let mut sums = vec![vec![[0.0; 3]; days.replicates]; PARTS];
    for (rank, &day) in order.iter().enumerate() {
        let (level, x) = (day / DAYS, explained[day]);
        let part = ((reached[rank] * PARTS as f64) as usize).min(PARTS - 1);
        let cell = &mut sums[part][days.replicate(level)];
        let w = days.weight(level);
        *cell = [cell[0] + w, cell[1] + w * x, cell[2] + w * x * x];
    }
    let eta = |skip: Option<usize>| {
        let part = |p: usize| {
            let mut sum = [0.0; 3];
            for (_, cell) in sums[p].iter().enumerate().filter(|(r, _)| Some(*r) != skip) {
                (0..3).for_each(|i| sum[i] += cell[i]);
            }
            sum
        };
        let parts: Vec<[f64; 3]> = (0..PARTS).map(part).collect();
        let total = parts.iter().fold([0.0; 3], |a, b| [a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
        let mean = total[1] / total[0];
        let all = total[2] / total[0] - mean * mean;
        let between = parts
            .iter()
            .filter(|p| p[0] > 0.0)
            .map(|p| p[0] * (p[1] / p[0] - mean) * (p[1] / p[0] - mean))
            .sum::<f64>()
            / total[0];
        if all <= 1e-300 {
            return 0.0;
        }
        let values = effective / alike;
        let chance = (all - between).max(0.0) * (PARTS - 1) as f64 / (values - PARTS as f64).max(1.0);
        ((between - chance) / all).clamp(0.0, 1.0)
    };
    let without: Vec<f64> = (0..days.replicates).map(|r| eta(Some(r))).collect();
    let mut share = figure_of(eta(None), &without, Scale::Plain);
    (share.low, share.high) = (share.low.max(0.0), share.high.min(1.0));
    (share, without)
}
