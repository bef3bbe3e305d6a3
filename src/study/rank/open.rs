//! How much of a season's answer hangs on thresholds at which no sample of a tag woke.

use super::ledger::Ledger;
use super::run::Cells;
use super::worth::values;
use crate::passing::unknowns::{OPEN_KEY, UNKNOWNS};
use crate::study::provenance::open_mounts;
use crate::study::season::resolve::Resolved;
use serde::Serialize;

/// A tag with open thresholds: what it loses (in what decides, a season) with them in their lowest and in their highest third.
#[derive(Clone, Debug, Serialize)]
pub struct OpenTag {
    pub tag: String,
    pub mounts: Vec<String>,
    pub loss_at_low: f64,
    pub loss_at_high: f64,
    /// Whether with them in their highest third another tag loses less than this one; of the choice only.
    pub overturns: Option<String>,
}

/// Tags whose thresholds are open in some mount; `leader` is the choice.
pub fn open_tags(
    ledger: &Ledger,
    cells: &Cells,
    resolved: &Resolved,
    races: &[(usize, f64)],
    leader: Option<usize>,
    in_question: &[usize],
) -> Vec<OpenTag> {
    let Some(unknown) = UNKNOWNS.iter().find(|u| u.key == OPEN_KEY) else { return Vec::new() };
    let of_tag = |&tag: &usize| {
        let mounts = open_mounts(&resolved.tags[tag]);
        if mounts.is_empty() {
            return None;
        }
        let drawn = values(cells, tag, ledger.levels, unknown.value);
        let mut order: Vec<usize> = (0..drawn.len()).collect();
        order.sort_by(|&a, &b| drawn[a].total_cmp(&drawn[b]).then(a.cmp(&b)));
        let third = (order.len() / 3).max(1);
        let mean = |tag: usize, part: &[usize]| {
            let losses = ledger.decisive(races, tag, 0);
            part.iter().map(|&level| losses[level]).sum::<f64>() / part.len() as f64
        };
        let (low, high) = (order.get(..third)?, &order[order.len().saturating_sub(third)..]);
        let loss_at_high = mean(tag, high);
        let better = in_question.iter().filter(|&&other| other != tag && mean(other, high) < loss_at_high);
        let overturns = (leader == Some(tag))
            .then(|| better.min_by(|&&a, &&b| mean(a, high).total_cmp(&mean(b, high))))
            .flatten()
            .map(|&other| resolved.tags[other].name.clone());
        Some(OpenTag {
            tag: resolved.tags[tag].name.clone(),
            mounts,
            loss_at_low: mean(tag, low),
            loss_at_high,
            overturns,
        })
    };
    in_question.iter().filter_map(of_tag).collect()
}
