//! What no further line removes: the same runners and bibs cross the same lines again and again, each time with new postures, neighbours and waves.
//!
//! A runner who is missed by eight such crossings is missed by any number of lines like these: the bib is soaked, folded, covered or turned away, or the
//! tag is weak. The timing point is laid out eight times in a row; the floor is the probability of a miss at every one of them.

use crate::estimate::checkpoint::Kept;
use crate::estimate::reading::SetDays;
use crate::estimate::replicates::Figure;
use crate::estimate::world::Ask;
use crate::passing::Prepared;
use serde::Serialize;
use std::sync::Arc;

/// Crossings of the floor.
const CROSSINGS: usize = 8;

/// What no line removes.
#[derive(Clone, Debug, Serialize)]
pub struct Floor {
    pub crossings: usize,
    pub miss_rate: Figure,
    /// Share of the present misses that stays.
    pub share_of_misses: Option<f64>,
}

/// The floor of a point; none once `stop` says so.
pub fn floor(
    base: &Prepared,
    point: usize,
    like: &Ask,
    now: &Figure,
    worlds: u64,
    kept: &mut Kept,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Floor> {
    let mut course = (*base.course).clone();
    course.points = vec![course.points[point].clone(); CROSSINGS];
    let mut prepared = base.clone();
    prepared.points = vec![prepared.points[point].clone(); CROSSINGS];
    prepared.course = Arc::new(course);
    let all = (1u64 << prepared.points[0].lines.len()) - 1;
    let ask = Ask { masks: vec![vec![all]; CROSSINGS], ..like.clone() };
    let (name, all) = (format!("{}, floor", prepared.points[0].name), (0..worlds).collect::<Vec<u64>>());
    let mut rows = Vec::new();
    kept.extend(&name, &prepared, &ask, &mut rows, &all, stop, &mut |_| {});
    if (rows.len() as u64) < worlds {
        return None;
    }
    let miss_rate = SetDays::new(&rows, ask.missed_everywhere()).rate();
    let share_of_misses = (now.value > 0.0).then(|| (miss_rate.value / now.value).min(1.0));
    Some(Floor { crossings: CROSSINGS, miss_rate, share_of_misses })
}
