//! What would tell two tags apart, pair by pair.

use super::losses::{Half, Losses};
use crate::estimate::joint::quantile;
use crate::estimate::paired::PairedMoments;
use crate::estimate::settle::{Settles, Uncertainty, what_settles};
use crate::random::transform::normal_quantile;
use crate::study::worlds::{UNKNOWNS, score_of};
use serde::Serialize;

/// Two tags compared over the season as it is.
#[derive(Clone, Debug, Serialize)]
pub struct Pair {
    pub better: String,
    pub worse: String,
    /// Missed passings per season that `worse` has more, mean over worlds.
    pub more_missed: f64,
    /// 5 to 95 % over worlds.
    pub more_missed_p05: f64,
    pub more_missed_p95: f64,
    /// Share of the worlds in which `better` misses fewer.
    pub odds_better: f64,
    pub told_apart: bool,
    /// What would settle it, in words.
    pub verdict: String,
    /// Crossings more of each tag, when runs would settle it.
    pub more_crossings: Option<f64>,
    /// Samples more of each tag, when samples would settle it.
    pub more_samples: Option<f64>,
    /// How many times more worlds draws of their own would have needed.
    pub variance_ratio: Option<f64>,
    /// The same for the passings within a world: the noise of both tags over the noise of their difference.
    pub passings_variance_ratio: Option<f64>,
}

/// All pairs, the closest first.
pub fn pairs(losses: &Losses, seed: u64, matters: f64, odds: f64) -> Vec<Pair> {
    let season = losses.season(0);
    let halves = [Half::Even, Half::Odd].map(|half| losses.weighed(0, half, |_, races| races));
    let tags = losses.resolved().tags.len();
    let mut list: Vec<Pair> = (0..tags)
        .flat_map(|a| (a + 1..tags).map(move |b| (a, b)))
        .map(|(a, b)| pair(losses, &season, &halves, (a, b), seed, matters, odds))
        .collect();
    list.sort_by(|x, y| x.more_missed.total_cmp(&y.more_missed));
    list
}

fn pair(
    losses: &Losses,
    season: &[Vec<f64>],
    halves: &[Vec<Vec<f64>>; 2],
    (a, b): (usize, usize),
    seed: u64,
    matters: f64,
    odds: f64,
) -> Pair {
    let resolved = losses.resolved();
    // A stopped tag has numbers of its own only up to where it was stopped.
    let own = |tag: usize| losses.runs().stopped[tag].unwrap_or(losses.runs().worlds) as usize;
    let worlds = own(a).min(own(b)).min(season.len());
    let moments = PairedMoments::from_pairs(season[..worlds].iter().map(|w| (w[a], w[b])));
    let (better, worse) = if moments.mean_a <= moments.mean_b { (a, b) } else { (b, a) };
    let gaps: Vec<f64> = season[..worlds].iter().map(|w| w[worse] - w[better]).collect();
    let mean = moments.difference().abs();
    let n = worlds as f64;
    // Passings' own noise: half the difference of the halves has the variance of their mean.
    let noise = (0..worlds)
        .map(|w| {
            let half = |h: usize| halves[h][w][worse] - halves[h][w][better];
            0.25 * (half(0) - half(1)) * (half(0) - half(1))
        })
        .sum::<f64>()
        / n;
    let noise_of = |tag: usize| {
        let squares = (0..worlds).map(|w| {
            let step = halves[0][w][tag] - halves[1][w][tag];
            0.25 * step * step
        });
        squares.sum::<f64>() / n
    };
    let across = moments.difference_variance();
    let worlds_variance = (across - noise).max(0.0);
    let samples = worlds_variance * share_by_samples(losses, &gaps, [better, worse], seed);
    let uncertainty = Uncertainty { simulation: across / n, samples, beliefs: worlds_variance - samples };
    let odds_better = gaps
        .iter()
        .map(|&g| {
            if g > 0.0 {
                1.0
            } else if g == 0.0 {
                0.5
            } else {
                0.0
            }
        })
        .sum::<f64>()
        / n;
    // Gaps over worlds are skewed: their own odds count, the normal law only says what would help.
    let sure = odds_better >= odds && mean > normal_quantile(odds) * uncertainty.simulation.sqrt();
    let settles = if sure && mean >= matters {
        Settles::Settled
    } else {
        what_settles(mean, uncertainty, matters, odds)
    };
    let crossings = losses.runs().crossings as f64 / resolved.tags.len() as f64;
    let sampled = resolved.tags[better].spread.samples.min(resolved.tags[worse].spread.samples) as f64;
    let (better_name, worse_name) = (resolved.tags[better].name.clone(), resolved.tags[worse].name.clone());
    let more = |factor: f64, have: f64| (have * (factor - 1.0)).max(1.0).ceil();
    let (mut more_crossings, mut more_samples) = (None, None);
    let verdict = match settles {
        Settles::Settled => format!("told apart: {better_name} misses fewer than {worse_name}"),
        Settles::NoMatter => "differ by less than anyone need care about: take the cheaper".to_owned(),
        Settles::Passings { factor } => {
            more_crossings = Some(more(factor, crossings));
            format!(
                "cannot be told apart; about {:.0} more simulated passings of each would settle it",
                more(factor, crossings)
            )
        }
        Settles::Samples { factor } => {
            more_samples = Some(more(factor, sampled));
            format!(
                "cannot be told apart; about {:.0} more samples of each would settle it",
                more(factor, sampled)
            )
        }
        Settles::Both { samples_factor } => {
            more_samples = Some(more(samples_factor, sampled));
            format!(
                "cannot be told apart; more simulated passings and about {:.0} more samples of each would settle it",
                more(samples_factor, sampled)
            )
        }
        Settles::Beliefs => {
            "cannot be told apart; neither passings nor samples settle it, only measuring what is assumed"
                .to_owned()
        }
    };
    Pair {
        better: better_name,
        worse: worse_name,
        more_missed: mean,
        more_missed_p05: quantile(&gaps, 0.05),
        more_missed_p95: quantile(&gaps, 0.95),
        odds_better,
        told_apart: settles == Settles::Settled,
        verdict,
        more_crossings,
        more_samples,
        variance_ratio: moments.variance_ratio().filter(|r| r.is_finite()),
        passings_variance_ratio: (noise > 0.0).then(|| (noise_of(a) + noise_of(b)) / noise),
    }
}

/// Share of the variance of the gaps that the error of the samples' means explains: squared correlations with both tags' numbers,
/// less what noise alone would give.
fn share_by_samples(losses: &Losses, gaps: &[f64], tags: [usize; 2], seed: u64) -> f64 {
    let samples = UNKNOWNS.iter().find(|u| u.name == "average sample").expect("in the table");
    let n = gaps.len() as f64;
    tags.iter()
        .map(|&tag| {
            let name = &losses.resolved().tags[tag].name;
            let scores = (0..gaps.len()).map(|w| score_of(samples, name, seed, w as u64));
            let moments = PairedMoments::from_pairs(gaps.iter().copied().zip(scores));
            let r = moments.correlation().unwrap_or(0.0);
            (r * r - 1.0 / n).max(0.0)
        })
        .sum::<f64>()
        .min(1.0)
}
