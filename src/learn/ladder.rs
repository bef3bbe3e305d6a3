//! The rungs of a trial: what every setting would have counted, before anything was learned and after.
//!
//! One vector of every spread of every group walks the whole trial again with tags drawn anew: for "before" any of them, for "after" one picked by its weight.

use super::calibration::trial_again;
use super::evidence::{Evidence, Kind, TrialEvidence};
use super::likelihood::Laid;
use super::odds::cell_at;
use super::posterior::Posterior;
use super::vectors::{EACH, SPREADS};
use crate::passing::draw::RACE_DIMS;
use crate::random::{Purpose, Stream};
use rayon::prelude::*;

/// Counts with their weights.
pub type Weighted = Vec<(f64, f64)>;

/// What one setting would have missed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rung {
    pub before: Weighted,
    pub after: Weighted,
}

/// Rungs of source number `source`, setting by setting; none for a race. `None` once `stop` says so.
pub fn ladder(
    evidence: &Evidence,
    posterior: &Posterior,
    seed: u64,
    source: usize,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Vec<Rung>> {
    let Kind::Trial(trial) = &evidence.sources[source].kind else { return Some(Vec::new()) };
    let view = evidence.sources[source].view;
    let (prior, learned) = (posterior.prior_weights(), posterior.vector_weights(None));
    let of_group = |group: usize| {
        if stop() {
            return None;
        }
        let vectors = posterior.vectors(group);
        let mut stream = Stream::new(seed, Purpose::Study, 8, group as u64, source as u64);
        let mut walks = Vec::with_capacity(2 * SPREADS);
        for spread in 0..SPREADS {
            let own = spread * EACH..(spread + 1) * EACH;
            let mut laid = Laid::new(evidence, &posterior.tables, group, &vectors[own.start]);
            for (after, weights) in
                [(false, &prior[group][own.clone()]), (true, &learned[group][own.clone()])]
            {
                let weight: f64 = weights.iter().sum();
                if weight <= 0.0 {
                    continue;
                }
                let shares: Vec<f64> = weights.iter().map(|w| w / weight).collect();
                let u = &vectors[own.start + cell_at(&shares, stream.uniform())];
                walks.push((after, weight, missed(&mut laid, view, u, trial, &mut stream)));
            }
        }
        Some(walks)
    };
    let walks: Vec<_> = (0..posterior.points.len()).into_par_iter().map(of_group).collect::<Option<_>>()?;
    let mut out = vec![Rung::default(); trial.settings.len()];
    for (after, weight, counts) in walks.into_iter().flatten() {
        for (rung, count) in out.iter_mut().zip(counts) {
            let to = if after { &mut rung.after } else { &mut rung.before };
            to.push((count as f64, weight));
        }
    }
    Some(out)
}

/// Missed at every setting when the trial is walked once more.
fn missed(
    laid: &mut Laid,
    view: usize,
    u: &[f64; RACE_DIMS],
    trial: &TrialEvidence,
    stream: &mut Stream,
) -> Vec<u64> {
    let cell = cell_at(&laid.masses(view, u), stream.uniform());
    let again = trial_again(laid, trial, cell, stream);
    let mut out = vec![0; trial.settings.len()];
    again.trial.walkers.iter().flat_map(|w| &w.counts).for_each(|&(setting, _, x)| out[setting] += x);
    out
}
