//! The response table: miss odds by world, stratum and offset, before any law is laid over them.
//!
//!   T[world][set][stratum](δ) = mean miss odds of the stratum's passings where every threshold lies δ dB higher.
//!
//! The sets are those of the ask, then "missed at one point or more" and "missed at every point asked for": all at the same δ, as a tag carries its
//! own offset past all points.
//!
//! A shift of the thresholds, the spread between tags and the shares of the strata are laid over it afterwards, so one table serves any
//! belief about them: what learning from races and trials needs.

use super::passings::PassingWorkspace;
use super::strata::Stratum;
use super::world::{Ask, gather};
use crate::passing::Prepared;
use crate::passing::draw::RACE_DIMS;
use rayon::prelude::*;

/// Offsets of a table reach at most this far either way, dB.
pub const MOST_REACH_DB: f64 = 14.0;

/// Miss odds over worlds, sets of lines, strata and offsets.
pub struct Response {
    /// Rising, in equal steps.
    pub offsets_db: Vec<f64>,
    pub strata: Vec<Stratum>,
    /// Sets of the ask, and the two over all points.
    pub sets: usize,
    worlds: usize,
    /// Runners sent past every point in all.
    pub passings: u64,
    /// `[world][set][stratum][offset]`.
    odds: Vec<f32>,
}

impl Response {
    pub fn worlds(&self) -> usize {
        self.worlds
    }

    /// With odds given by world and set, the same in all strata and at all offsets.
    #[cfg(test)]
    pub fn made(
        offsets_db: Vec<f64>,
        strata: Vec<Stratum>,
        sets: usize,
        worlds: usize,
        of: impl Fn(usize, usize) -> f64,
    ) -> Response {
        let each = strata.len() * offsets_db.len();
        let values =
            (0..worlds * sets).flat_map(|i| std::iter::repeat_n(of(i / sets, i % sets) as f32, each));
        Response { odds: values.collect(), offsets_db, strata, sets, worlds, passings: 0 }
    }

    /// Adds the worlds of a later round.
    pub fn extend(&mut self, more: Response) {
        self.worlds += more.worlds;
        self.passings += more.passings;
        self.odds.extend(more.odds);
    }

    /// Miss odds over the offsets.
    pub fn odds(&self, world: usize, set: usize, stratum: usize) -> &[f32] {
        let n = self.offsets_db.len();
        let first = ((world * self.sets + set) * self.strata.len() + stratum) * n;
        &self.odds[first..first + n]
    }
}

/// The table of worlds, each with the number of its passings' streams and its point of the unit cube, over offsets of `reach_db` either way; `None` once `stop` says so.
pub fn response(
    prepared: &Prepared,
    ask: &Ask,
    worlds: &[(u64, [f64; RACE_DIMS])],
    reach_db: f64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Response> {
    let reach_db = reach_db.min(MOST_REACH_DB);
    let span = Some((-reach_db, reach_db));
    let sets = ask.sets() + 2;
    let parts: Option<Vec<_>> = worlds
        .par_iter()
        .map_init(PassingWorkspace::default, |space, (streams, point)| {
            let gathered = gather(prepared, ask, *streams, (*point, 1.0), span, space, stop)?;
            let mut odds = Vec::new();
            for set in 0..sets {
                for (s, &count) in ask.allocation.iter().enumerate() {
                    let both = [gathered.staircase(set, 0, s), gathered.staircase(set, 1, s)];
                    let last = both[0].len() - 1;
                    // A stratum that nobody asks for has no passings.
                    let count = count.max(1);
                    let mut sum = both[0][last] + both[1][last];
                    for (a, b) in both[0][..last].iter().zip(&both[1][..last]) {
                        // A rise at an offset counts half there: the law laid over it is smooth.
                        odds.push(((sum + 0.5 * (a + b)) / count as f64) as f32);
                        sum += a + b;
                    }
                }
            }
            Some((gathered.days.offsets_db(), gathered.strata, odds))
        })
        .collect();
    let mut parts = parts?.into_iter();
    let (offsets_db, strata, mut odds) = parts.next()?;
    parts.for_each(|(_, _, more)| odds.extend(more));
    let passings = ask.passings() * worlds.len() as u64;
    Some(Response { offsets_db, strata, sets, worlds: worlds.len(), passings, odds })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::run::{Plan, ask, world_rows};
    use crate::estimate::strata::weights;
    use crate::estimate::tilt::Tilt;
    use crate::estimate::world::Ask;
    use crate::random::transform::normal_pdf;
    use std::path::Path;
    use std::sync::Arc;

    /// The table with a race day's law laid over it gives that day's miss odds.
    #[test]
    fn the_table_under_a_law_is_the_race_day() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (course, _) = crate::course::load(&root.join("scenarios/trail-soaked-one-mat.toml")).unwrap();
        let (tag, _) = crate::tag::load(&root.join("demo-data/tags/alder")).unwrap();
        let prepared = crate::passing::prepare(Arc::new(course), Arc::new(tag));
        let plan = Plan { passings_per_world: 60, ..Plan::new(1) };
        let ask = Ask { tilt: Tilt::default(), ..ask(&prepared, &plan, Ask::standard_masks(&prepared)) };
        let points: Vec<_> = (0..2).map(|world| (world, ask.world_point(&prepared, world).0)).collect();
        let table = response(&prepared, &ask, &points, MOST_REACH_DB, &|| false).unwrap();
        let rows = world_rows(&prepared, &ask, vec![0, 1], &|| false);
        for (world, row) in rows.iter().enumerate() {
            let days = crate::estimate::offsets::race_day_draws(
                &prepared,
                (ask.seed, world as u64),
                &points[world].1,
                &ask.tilt,
            );
            for day in [0, 21, 63] {
                let draw = &days[day];
                let shares = weights(&prepared.course, &table.strata, draw);
                let (shift, sd) = (draw.threshold_offset_db(), draw.sample_offset_sd_db);
                let mut total = 0.0;
                for (s, share) in shares.iter().enumerate() {
                    let (mut sum, mut mass) = (0.0, 0.0);
                    for (offset, odds) in table.offsets_db.iter().zip(table.odds(world, 0, s)) {
                        let density = normal_pdf((offset - shift) / sd);
                        sum += density * f64::from(*odds);
                        mass += density;
                    }
                    total += share * sum / mass;
                }
                let direct = 0.5 * f64::from(row.half(0, 0)[day] + row.half(0, 1)[day]);
                assert!((total / direct - 1.0).abs() < 0.02, "{total} {direct}");
            }
        }
    }
}
