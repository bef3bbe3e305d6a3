//! Many worlds: a pilot sets the allocation, then worlds are added until what is asked is settled.
//!
//! Worlds are worked out in parallel and kept in their order; nothing else is parallel, so the result is the same bytes on any number of threads.
//! Stages end at world counts that are powers of two times the replicates, so every replicate is a whole net.

use super::checkpoint::Kept;
use super::passings::PassingWorkspace;
use super::pilot::pilot;
use super::reading::SetDays;
use super::world::{Ask, WorldRow, run_world};
use crate::passing::Prepared;
use crate::passing::draw::REPLICATES;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Passings in a world.
pub const PASSINGS_PER_WORLD: u64 = 48;
/// Worlds of the first stage.
pub const FIRST_WORLDS: u64 = 4 * REPLICATES;

/// When a rate is known well enough.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Precision {
    /// Standard error as a share of the rate.
    pub relative: f64,
    /// Standard error in missed runners per race; nothing below it is refined.
    pub runners: f64,
    /// Most passings, each past every timing point.
    pub max_passings: u64,
}

impl Default for Precision {
    fn default() -> Precision {
        Precision { relative: 0.1, runners: 0.1, max_passings: 200_000 }
    }
}

/// What a run is asked to do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    pub seed: u64,
    pub precision: Precision,
    /// Fixed number of worlds in place of the precision.
    pub worlds: Option<u64>,
    pub passings_per_world: u64,
}

impl Plan {
    pub fn new(seed: u64) -> Plan {
        Plan { seed, precision: Precision::default(), worlds: None, passings_per_world: PASSINGS_PER_WORLD }
    }
}

/// Why a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stopped {
    /// What was asked is settled.
    Settled,
    /// A fixed number of worlds, or the most passings allowed, are done.
    WorldsDone,
    Interrupted,
}

/// All rows of a run, in the order of their worlds.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    pub ask: Ask,
    pub rows: Vec<WorldRow>,
    pub stopped: Stopped,
}

impl Run {
    /// Race days of set number `set` of a point.
    pub fn days(&self, point: usize, set: usize) -> SetDays {
        self.set_days(self.ask.set(point, set))
    }

    /// Race days of "missed at one point or more".
    pub fn any_missed(&self) -> SetDays {
        self.set_days(self.ask.missed_somewhere())
    }

    fn set_days(&self, set: usize) -> SetDays {
        SetDays::new(&self.rows, set)
    }

    pub fn passings(&self) -> u64 {
        self.rows.iter().map(|row| row.passings).sum()
    }
}

/// How far a run has come.
#[derive(Clone, Copy, Debug)]
pub struct Progress {
    pub worlds: u64,
    pub planned: u64,
}

/// The ask of a plan: what its pilot says of the sets of lines in `masks`.
pub fn ask(prepared: &Prepared, plan: &Plan, masks: Vec<Vec<u64>>) -> Ask {
    let (allocation, tilt) = pilot(prepared, plan.seed, &masks, plan.passings_per_world);
    Ask { seed: plan.seed, masks, allocation, tilt }
}

/// Name under which a run's worlds are kept.
pub const FORECAST: &str = "forecast";

/// Adds worlds, from those `kept` or worked out, until `settled` says so, the plan's number is reached, or `stop`.
pub fn run(
    prepared: &Prepared,
    plan: &Plan,
    ask: Ask,
    kept: &mut Kept,
    settled: &dyn Fn(&Run) -> bool,
    stop: &(dyn Fn() -> bool + Sync),
    watch: &mut dyn FnMut(&Progress),
) -> Run {
    let most = most_worlds(plan, &ask);
    let mut target = plan.worlds.unwrap_or(FIRST_WORLDS.min(most));
    let mut out = Run { ask, rows: Vec::new(), stopped: Stopped::Settled };
    loop {
        let worlds: Vec<u64> = (0..target).collect();
        let mut told = |worlds: usize| watch(&Progress { worlds: worlds as u64, planned: target });
        kept.extend(FORECAST, prepared, &out.ask, &mut out.rows, &worlds, stop, &mut told);
        if (out.rows.len() as u64) < target {
            out.stopped = Stopped::Interrupted;
            return out;
        }
        if plan.worlds.is_some() || target >= most || settled(&out) {
            if plan.worlds.is_some() || !settled(&out) {
                out.stopped = Stopped::WorldsDone;
            }
            return out;
        }
        target = (2 * target).min(most);
    }
}

/// Most worlds of a plan: a power of two for every replicate.
fn most_worlds(plan: &Plan, ask: &Ask) -> u64 {
    let most = plan.precision.max_passings / ask.passings().max(1) / REPLICATES;
    if most == 0 { 1 } else { 1 << most.ilog2() }.max(2) * REPLICATES
}

/// Whether the rate of every point's lines together is as precise as asked. A stage that looks precise by luck reads low, so stopping at the first
/// such look would bias the rate and narrow its interval (cover 80 % in place of 95, `cargo bench --bench cover`): the first half of the
/// worlds must have come near the precision already, and the first stage never settles anything.
pub fn rates_known(run: &Run, precision: &Precision, runners: u64) -> bool {
    const NEAR: f64 = 1.5;
    let known = |rows: &[WorldRow], set: usize, room: f64| {
        let rate = SetDays::new(rows, set).rate();
        rate.standard_error <= room * precision.relative * rate.value
            || rate.standard_error * runners as f64 <= room * precision.runners
    };
    let worlds = run.rows.len();
    worlds as u64 >= 2 * FIRST_WORLDS
        && (0..run.ask.masks.len()).filter(|&point| !run.ask.masks[point].is_empty()).all(|point| {
            let set = run.ask.set(point, 0);
            known(&run.rows, set, 1.0) && known(&run.rows[..worlds / 2], set, NEAR)
        })
}

/// Rows of the worlds listed, in the order of the list, worked out in parallel. Once `stop` says so, only the first ones that are whole.
pub fn world_rows(
    prepared: &Prepared,
    ask: &Ask,
    worlds: Vec<u64>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<WorldRow> {
    let rows: Vec<Option<WorldRow>> = worlds
        .into_par_iter()
        .map_init(PassingWorkspace::default, |space, world| run_world(prepared, ask, world, space, stop))
        .collect();
    rows.into_iter().map_while(|row| row).collect()
}
