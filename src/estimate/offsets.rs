//! What is read off the staircase of margins: shifts of every threshold and the spread between tags, without further passings.
//!
//! A shift of the thresholds (batch, error of few samples, bias of the laboratory) and a tag's own offset are added to the same margin, so the
//! miss odds of a passing are a staircase over their sum δ, exact for every δ (`passing::score`). Passings are therefore run once per
//! world with δ left open, and each world stands for `LEVELS` draws of what nobody knows about thresholds times `DAYS` draws of
//! the day (batch, wetness): race days of their own, without passings of their own.
//!
//! The rises of the staircase are gathered on a grid of step h: each is split over its two neighbours so that its place is kept. That
//! widens it by h²/6 on average, which is taken off the variance of a normal law (for h = 0.2 dB and a spread of 0.8 dB the miss
//! odds of a tail event of 1e-6 then lie within 1 % of the exact ones; tested).

use super::tilt::Tilt;
use crate::passing::draw::{OffsetLaw, RACE_DIMS, REPLICATES, offset_law, place_of, race_pick};
use crate::passing::unknowns::{Layer, UNKNOWNS, by_passings, read_off};
use crate::passing::{Prepared, RaceDraw};
use crate::random::quantity::Quantity;
use crate::random::sobol::{Scrambled, Sobol};

/// Draws of what nobody knows about thresholds and shares, in every world.
pub const LEVELS: usize = 4;
/// Race days of each of these.
pub const DAYS: usize = 16;
/// Race days of a world.
pub const RACE_DAYS: usize = LEVELS * DAYS;
const STEP_DB: f64 = 0.2;
/// Probability, on average over the race days, that is left out at either end of the offsets.
const LEFT_OUT: f64 = 1e-9;

/// One race day of a world: what is read off for it.
#[derive(Clone, Debug)]
pub struct RaceDay {
    pub draw: RaceDraw,
    pub shift_db: f64,
    pub law: OffsetLaw,
}

/// The race days of a world, level by level, and the grid of offsets they need.
#[derive(Clone, Debug)]
pub struct RaceDays {
    /// The world with no shift of the thresholds: what passings see.
    pub world: RaceDraw,
    pub days: Vec<RaceDay>,
    /// Their points of the unit cube.
    pub points: Vec<[f64; RACE_DIMS]>,
    /// Weight of each level, 1 on average.
    pub level_weights: [f64; LEVELS],
    /// Offsets below this never put a tag to sleep, above never wake one, but for a probability of 1e-9.
    pub low_db: f64,
    pub high_db: f64,
    cells: usize,
    /// `[day][cell]`: probability that the offset of a tag exceeds the cell's; empty where no offset is left open.
    above: Vec<f64>,
}

impl RaceDays {
    /// Of the world whose point of the unit cube is `point`.
    pub fn new(
        prepared: &Prepared,
        (seed, world): (u64, u64),
        point: &[f64; RACE_DIMS],
        tilt: &Tilt,
    ) -> RaceDays {
        RaceDays::over(prepared, (seed, world), point, tilt, None)
    }

    /// The same with the grid over offsets from `span.0` to `span.1`, dB, whatever the laws of the race days.
    pub fn over(
        prepared: &Prepared,
        (seed, world): (u64, u64),
        point: &[f64; RACE_DIMS],
        tilt: &Tilt,
        span: Option<(f64, f64)>,
    ) -> RaceDays {
        let (course, tag) = (&prepared.course, &prepared.tag);
        let (points, level_weights) = points(prepared, (seed, world), point, tilt);
        let days: Vec<RaceDay> = points
            .iter()
            .map(|u| RaceDraw::from_uniforms(course, tag, world, u))
            .map(|draw| RaceDay {
                shift_db: draw.threshold_offset_db(),
                law: offset_law(course, &draw),
                draw,
            })
            .collect();
        let mut base = RaceDraw::from_uniforms(course, tag, world, point);
        (base.batch_offset_db, base.sample_mean_error_db, base.lab_bias_db) = (0.0, 0.0, 0.0);
        base.race_effect_db = 0.0;
        let exact = days.iter().all(|day| pinned(day.law) && day.shift_db == days[0].shift_db);
        let weight = |day: usize| level_weights[day / DAYS] / RACE_DAYS as f64;
        let above = |margin_db: f64| {
            let of_day =
                |(i, day): (usize, &RaceDay)| weight(i) * day.law.odds_above(margin_db - day.shift_db);
            days.iter().enumerate().map(of_day).sum::<f64>()
        };
        let below = |margin_db: f64| {
            let of_day = |(i, day): (usize, &RaceDay)| {
                weight(i) * (1.0 - day.law.odds_above(margin_db - day.shift_db))
            };
            days.iter().enumerate().map(of_day).sum::<f64>()
        };
        let exact = exact && span.is_none();
        let (low_db, high_db) = if let Some(span) = span {
            span
        } else if exact {
            let at = days[0].shift_db + days[0].law.0.median();
            (at, at)
        } else {
            (edge(&below, -1.0), edge(&above, 1.0))
        };
        let cells = if exact { 0 } else { ((high_db - low_db) / STEP_DB).ceil() as usize + 2 };
        let mut out = RaceDays {
            world: base,
            days,
            points,
            level_weights,
            low_db,
            high_db,
            cells,
            above: Vec::with_capacity(RACE_DAYS * cells),
        };
        for day in 0..out.days.len() {
            let RaceDay { law, shift_db, .. } = &out.days[day];
            let (law, shift_db) = (narrowed(*law), *shift_db);
            for cell in 0..cells {
                out.above.push(law.odds_above(out.low_db + cell as f64 * STEP_DB - shift_db));
            }
        }
        out
    }

    /// Offsets of the grid, dB.
    pub fn offsets_db(&self) -> Vec<f64> {
        (0..self.cells).map(|cell| self.low_db + cell as f64 * STEP_DB).collect()
    }

    /// Cells of a staircase gathered on the grid, the odds that always stay last.
    pub fn width(&self) -> usize {
        self.cells + 1
    }

    /// Adds a rise of `rise` at margin `margin_db` to a staircase gathered in `cells`.
    pub fn gather(&self, cells: &mut [f64], margin_db: f64, rise: f64) {
        if self.cells == 0 {
            if self.low_db > margin_db {
                cells[0] += rise;
            }
            return;
        }
        let place = ((margin_db - self.low_db) / STEP_DB).clamp(0.0, (self.cells - 1) as f64 - 1e-9);
        let (cell, part) = (place as usize, place.fract());
        cells[cell] += rise * (1.0 - part);
        cells[cell + 1] += rise * part;
    }

    /// Miss odds of a gathered staircase on race day `day`.
    pub fn odds(&self, cells: &[f64], day: usize) -> f64 {
        let above = &self.above[day * self.cells..(day + 1) * self.cells];
        above.iter().zip(cells).map(|(a, h)| a * h).sum::<f64>() + cells[self.cells]
    }

    /// Probability that the offset of a tag exceeds a margin (dB), over the race days weighted by `weight_of_day`; over all alike where
    /// every weight is nil.
    pub fn odds_above(&self, weight_of_day: impl Fn(usize) -> f64) -> impl Fn(f64) -> f64 {
        let weights: Vec<f64> = (0..RACE_DAYS).map(weight_of_day).collect();
        let total = weights.iter().sum::<f64>();
        let mut mean = vec![0.0; self.cells];
        for (day, weight) in weights.iter().enumerate() {
            let share = if total > 0.0 { weight / total } else { 1.0 / RACE_DAYS as f64 };
            let above = &self.above[day * self.cells..(day + 1) * self.cells];
            mean.iter_mut().zip(above).for_each(|(sum, a)| *sum += share * a);
        }
        move |margin_db| self.read(&mean, margin_db)
    }

    fn read(&self, above: &[f64], margin_db: f64) -> f64 {
        if self.cells == 0 {
            return f64::from(u8::from(self.low_db > margin_db));
        }
        let place = ((margin_db - self.low_db) / STEP_DB).clamp(0.0, (self.cells - 1) as f64 - 1e-9);
        let (cell, part) = (place as usize, place.fract());
        above[cell] * (1.0 - part) + above[cell + 1] * part
    }
}

/// The draws of the race days of a world.
pub fn race_day_draws(
    prepared: &Prepared,
    (seed, world): (u64, u64),
    point: &[f64; RACE_DIMS],
    tilt: &Tilt,
) -> Vec<RaceDraw> {
    let (points, _) = points(prepared, (seed, world), point, tilt);
    points.iter().map(|u| RaceDraw::from_uniforms(&prepared.course, &prepared.tag, world, u)).collect()
}

/// Points of the race days of a world (the world's own but for what is read off), and the weights of its levels.
fn points(
    prepared: &Prepared,
    (seed, world): (u64, u64),
    point: &[f64; RACE_DIMS],
    tilt: &Tilt,
) -> (Vec<[f64; RACE_DIMS]>, [f64; LEVELS]) {
    use crate::random::{Purpose, Stream};
    let sobol = SOBOL.get_or_init(|| Sobol::new(RACE_DIMS).expect("RACE_DIMS is below MAX_DIMS"));
    // One net for all worlds of a replicate, so that levels and days are spread evenly over all of them together.
    let (replicate, index) = (world % REPLICATES, world / REPLICATES);
    let net = |place: u64| {
        Scrambled::from_stream(sobol, &mut Stream::new(seed, Purpose::RaceDays, place, replicate, 0))
    };
    let (shared, own) = (net(0), net(place_of(&prepared.tag.name)));
    let coordinate = |dim: usize, place: usize| {
        let net = if UNKNOWNS[dim].of_tag { &own } else { &shared };
        net.coordinate(dim, place as u64)
    };
    let first = index as usize * LEVELS;
    // A dimension that is the world's own is free in these nets.
    let free = by_passings().next().expect("some unknowns need passings");
    let mut out = Vec::with_capacity(RACE_DAYS);
    let mut weights = [1.0; LEVELS];
    for (level, weight) in weights.iter_mut().enumerate() {
        let mut u = *point;
        read_off(Layer::NobodyKnows).for_each(|dim| u[dim] = coordinate(dim, first + level));
        let pick = shared.coordinate(free, (first + level) as u64);
        match &prepared.learned {
            Some(learned) => learned.level(race_pick(seed, world), pick, &mut u),
            None => (u, *weight) = tilt.point(&u, pick, read_off(Layer::NobodyKnows)),
        }
        for day in 0..DAYS {
            read_off(Layer::OfTheDay).for_each(|dim| u[dim] = coordinate(dim, (first + level) * DAYS + day));
            out.push(u);
        }
    }
    (out, weights)
}

static SOBOL: std::sync::OnceLock<Sobol> = std::sync::OnceLock::new();

fn pinned(law: OffsetLaw) -> bool {
    matches!(law.0, Quantity::Pinned(_)) || matches!(law.0, Quantity::Normal { sd, .. } if sd == 0.0)
}

/// A normal law less the variance that the grid adds.
fn narrowed(law: OffsetLaw) -> OffsetLaw {
    match law.0 {
        Quantity::Normal { mean, sd } if sd > STEP_DB => {
            OffsetLaw(Quantity::Normal { mean, sd: (sd * sd - STEP_DB * STEP_DB / 6.0).sqrt() })
        }
        _ => law,
    }
}

/// Where `tail`, falling in the direction of `sign`, falls below what is left out.
fn edge(tail: &dyn Fn(f64) -> f64, sign: f64) -> f64 {
    let (mut inside, mut outside) = (-60.0, 60.0);
    for _ in 0..30 {
        let middle = 0.5 * (inside + outside);
        if tail(sign * middle) > LEFT_OUT { inside = middle } else { outside = middle }
    }
    sign * outside
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn race_days() -> RaceDays {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (course, _) = crate::course::load(&root.join("scenarios/city-10k-dry-usa.toml")).unwrap();
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags/birch")).unwrap();
        let point = crate::passing::draw::race_point(&tag.name, 4, 7);
        let prepared = crate::passing::prepare(std::sync::Arc::new(course), std::sync::Arc::new(tag));
        RaceDays::new(&prepared, (4, 7), &point, &Tilt::default())
    }

    #[test]
    fn levels_share_what_nobody_knows_and_days_do_not() {
        let all = race_days();
        for (i, day) in all.days.iter().enumerate() {
            let same_level = &all.days[i / DAYS * DAYS];
            assert_eq!(day.draw.lab_bias_db, same_level.draw.lab_bias_db);
            assert_eq!(day.draw.sample_offset_sd_db, same_level.draw.sample_offset_sd_db);
            if i % DAYS > 0 {
                assert_ne!(day.draw.batch_offset_db, same_level.draw.batch_offset_db);
            }
            assert_eq!(day.draw.cling_factor, all.world.cling_factor);
        }
        assert_ne!(all.days[0].draw.lab_bias_db, all.days[DAYS].draw.lab_bias_db);
    }

    /// The grid against the law itself: a single rise anywhere, miss odds from 0.5 down to 3e-8.
    #[test]
    fn the_grid_keeps_the_odds() {
        let all = race_days();
        let mut told = 0;
        for day in [0, 17, 63] {
            let RaceDay { law, shift_db, .. } = &all.days[day];
            for margin_db in [0.03, 0.71, 1.44, 2.9, 3.57] {
                let mut cells = vec![0.0; all.width()];
                // Spread over a step, as the rises of many passings are.
                for part in 0..20 {
                    all.gather(&mut cells, margin_db + 0.01 * f64::from(part), 0.05);
                }
                let exact = (0..20)
                    .map(|part| 0.05 * law.odds_above(margin_db + 0.01 * f64::from(part) - shift_db))
                    .sum::<f64>();
                let got = all.odds(&cells, day);
                if exact < 3e-8 {
                    continue;
                }
                told += 1;
                assert!((got / exact - 1.0).abs() < 1e-2, "{margin_db}: {got} {exact}");
            }
        }
        assert!(told > 8);
    }
}
