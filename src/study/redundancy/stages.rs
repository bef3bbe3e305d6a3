//! Worlds of every group, added in stages until the question is settled.

use super::layouts::{Group, Layout};
use crate::estimate::checkpoint::Kept;
use crate::estimate::reading::SetDays;
use crate::estimate::run::{FIRST_WORLDS, Plan};
use crate::estimate::world::{Ask, WorldRow};

/// One group with its sets of lines and the worlds run so far.
pub struct GroupRun {
    pub group: Group,
    pub ask: Ask,
    pub rows: Vec<WorldRow>,
    point: usize,
}

impl GroupRun {
    /// A group's run with the sets of lines `masks` of the point; draws, allocation and tilt are those of `like`.
    pub fn new(group: Group, like: &Ask, point: usize, mut masks: Vec<u64>) -> GroupRun {
        masks.sort_unstable();
        masks.dedup();
        // The lines that stand come first: their misses are told apart by kind.
        masks.retain(|&mask| mask != group.standing);
        masks.insert(0, group.standing);
        let mut all = vec![Vec::new(); group.prepared.points.len()];
        all[point] = masks;
        let ask = Ask { masks: all, ..like.clone() };
        GroupRun { group, ask, rows: Vec::new(), point }
    }

    /// Asks for further sets of lines; worlds run so far are run again if there are new ones.
    pub fn ask_for(&mut self, masks: impl Iterator<Item = u64>) {
        let asked = &mut self.ask.masks[self.point];
        let before = asked.len();
        for mask in masks {
            if !asked.contains(&mask) {
                asked.push(mask);
            }
        }
        if asked.len() > before {
            self.rows.clear();
        }
    }

    /// Race days of the lines `mask` (one of the masks asked for).
    pub fn days(&self, mask: u64) -> SetDays {
        let set = self.ask.masks[self.point].iter().position(|&m| m == mask);
        SetDays::new(&self.rows, self.ask.set(self.point, set.expect("every mask used was asked for")))
    }

    /// Adds worlds up to so many; `name` is that of the group among what is kept.
    pub fn extend(&mut self, name: &str, worlds: u64, kept: &mut Kept, stop: &(dyn Fn() -> bool + Sync)) {
        let all: Vec<u64> = (0..worlds).collect();
        kept.extend(name, &self.group.prepared, &self.ask, &mut self.rows, &all, stop, &mut |_| {});
    }

    pub fn passings(&self) -> u64 {
        self.rows.iter().map(|row| row.passings).sum()
    }
}

/// The race days of a layout.
pub fn days_of(runs: &[GroupRun], layout: &Layout) -> SetDays {
    runs[layout.group].days(layout.mask)
}

/// World counts of the stages: doubling from the first to the most that the plan allows.
pub fn stages(plan: &Plan, ask: &Ask) -> Vec<u64> {
    if let Some(worlds) = plan.worlds {
        return vec![worlds];
    }
    let most = (plan.precision.max_passings / ask.passings().max(1)).max(FIRST_WORLDS);
    std::iter::successors(Some(FIRST_WORLDS), |w| Some(2 * w)).take_while(|w| *w <= most).collect()
}
