//! From surfaces to missed passings of a season, by world and tag.

use super::run::Runs;
use crate::study::season::resolve::Resolved;
use crate::study::strata::{WETNESSES, mean_shares, weights};

/// Missed passings of the season's parts, read out of the runs.
pub struct Losses<'r> {
    resolved: &'r Resolved,
    runs: &'r Runs,
    /// Stratum weights by site under the mean day.
    weights: Vec<Vec<f64>>,
    /// `[site][tag][world]`: missed passings of one race and of its two halves.
    sites: Vec<Vec<Vec<[f64; 3]>>>,
    /// Price of a tag in missed passings, when prices and the cost of a miss are stated; else 0.
    per_bib: Vec<f64>,
}

/// Which number of passings a loss is read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Half {
    Both = 0,
    Even = 1,
    Odd = 2,
}

impl<'r> Losses<'r> {
    /// `missed_passing_cost` > 0 weighs prices against misses where a decision is asked for.
    pub fn new(resolved: &'r Resolved, runs: &'r Runs, missed_passing_cost: Option<f64>) -> Losses<'r> {
        let prices: Option<Vec<f64>> = resolved.prices.iter().copied().collect();
        let per_bib = match (prices, missed_passing_cost) {
            (Some(prices), Some(cost)) if cost > 0.0 => prices.iter().map(|price| price / cost).collect(),
            _ => vec![0.0; resolved.tags.len()],
        };
        let weights: Vec<Vec<f64>> = resolved
            .sites
            .iter()
            .map(|site| weights(&site.course, mean_shares(&site.course.weather)))
            .collect();
        let sites = runs
            .surfaces
            .iter()
            .enumerate()
            .map(|(site, tags)| {
                let runners = resolved.sites[site].course.field.runners as f64;
                let of_world = |surface: &crate::study::strata::Surface| {
                    let mut sums = [0.0; 3];
                    for point in 0..surface.sums.len() {
                        let halves = surface.halves(point, 0, &weights[site]);
                        sums[0] += surface.miss(point, 0, &weights[site]);
                        sums[1] += halves[0];
                        sums[2] += halves[1];
                    }
                    sums.map(|sum| runners * sum)
                };
                tags.iter().map(|worlds| worlds.iter().flatten().map(of_world).collect()).collect()
            })
            .collect();
        Losses { resolved, runs, weights, sites, per_bib }
    }

    pub fn variants(&self) -> usize {
        self.resolved.variants.len()
    }
    pub fn resolved(&self) -> &Resolved {
        self.resolved
    }
    pub fn runs(&self) -> &Runs {
        self.runs
    }
    pub fn site_weights(&self, site: usize) -> &[f64] {
        &self.weights[site]
    }

    /// Passings of the season under a what-if: every runner at every timing point.
    pub fn passings(&self, variant: usize) -> f64 {
        self.over_entries(variant, |site, races| {
            let course = &self.resolved.sites[site].course;
            races * course.field.runners as f64 * course.points.len() as f64
        })
    }

    /// Bibs of the season.
    pub fn bibs(&self, variant: usize) -> f64 {
        self.over_entries(variant, |site, races| {
            races * self.resolved.sites[site].course.field.runners as f64
        })
    }

    pub fn races(&self, variant: usize) -> f64 {
        self.over_entries(variant, |_, races| races)
    }

    fn over_entries(&self, variant: usize, value: impl Fn(usize, f64) -> f64) -> f64 {
        self.resolved.variants[variant].races.iter().map(|&(site, races)| value(site, races)).sum()
    }

    /// Missed passings of one race at a site, by world and tag; for a tag that was stopped its mean difference to one that
    /// was not is carried over.
    pub fn site(&self, site: usize, half: Half) -> Vec<Vec<f64>> {
        let tags = &self.sites[site];
        let worlds = self.runs.worlds as usize;
        let full = (0..tags.len()).find(|&t| tags[t].len() >= worlds);
        (0..worlds)
            .map(|world| {
                tags.iter()
                    .map(|own| match (own.get(world), full) {
                        (Some(loss), _) => loss[half as usize],
                        (None, Some(full)) => {
                            let mean = own.iter().zip(&tags[full]).map(|(a, b)| a[0] - b[0]).sum::<f64>()
                                / own.len().max(1) as f64;
                            tags[full][world][half as usize] + mean
                        }
                        (None, None) => f64::NAN,
                    })
                    .collect()
            })
            .collect()
    }

    /// Losses of the season by world and tag under a what-if, each line of the calendar weighed by `weight(entry, races)`.
    pub fn weighed(&self, variant: usize, half: Half, weight: impl Fn(usize, f64) -> f64) -> Vec<Vec<f64>> {
        let worlds = self.runs.worlds as usize;
        let mut total = vec![vec![0.0; self.resolved.tags.len()]; worlds];
        for (entry, &(site, races)) in self.resolved.variants[variant].races.iter().enumerate() {
            let factor = weight(entry, races);
            if factor == 0.0 {
                continue;
            }
            for (sum, losses) in total.iter_mut().zip(self.site(site, half)) {
                for (cell, loss) in sum.iter_mut().zip(losses) {
                    *cell += factor * loss;
                }
            }
        }
        total
    }

    /// Missed passings of the season by world and tag.
    pub fn season(&self, variant: usize) -> Vec<Vec<f64>> {
        self.weighed(variant, Half::Both, |_, races| races)
    }

    /// Whether the choice weighs prices against misses.
    pub fn weighs_prices(&self) -> bool {
        self.per_bib.iter().any(|&p| p > 0.0)
    }

    /// Price of one race's bibs at a site in missed passings, by tag.
    pub fn bill_of_race(&self, site: usize, tag: usize) -> f64 {
        self.resolved.sites[site].course.field.runners as f64 * self.per_bib[tag]
    }

    /// What the choice is made by: missed passings, and the bill in missed passings where prices are weighed.
    pub fn decision(&self, variant: usize, half: Half, weight: impl Fn(usize, f64) -> f64) -> Vec<Vec<f64>> {
        let mut total = self.weighed(variant, half, &weight);
        for (entry, &(site, races)) in self.resolved.variants[variant].races.iter().enumerate() {
            let factor = weight(entry, races);
            for world in &mut total {
                for (tag, cell) in world.iter_mut().enumerate() {
                    *cell += factor * self.bill_of_race(site, tag);
                }
            }
        }
        total
    }

    /// The decision over the season as it is or under a what-if.
    pub fn season_decision(&self, variant: usize) -> Vec<Vec<f64>> {
        self.decision(variant, Half::Both, |_, races| races)
    }

    /// Mean missed passings of one race at a site with all bibs in one wetness class, by tag; from the worlds that saw it.
    pub fn by_wetness(&self, site: usize, tag: usize) -> [f64; WETNESSES] {
        let course = &self.resolved.sites[site].course;
        let shares: Vec<f64> = course.field.placements.iter().map(|row| row.share).collect();
        std::array::from_fn(|wetness| {
            let mut total = 0.0;
            let mut worlds = 0.0_f64;
            for surface in self.runs.surfaces[site][tag].iter().flatten() {
                if surface.sums.iter().all(|sets| sets[0][wetness].passings == 0) {
                    continue;
                }
                worlds += 1.0;
                for sets in &surface.sums {
                    for (row, share) in shares.iter().enumerate() {
                        total += share * sets[0][row * WETNESSES + wetness].mean();
                    }
                }
            }
            course.field.runners as f64 * total / worlds.max(1.0)
        })
    }
}

/// Means by tag.
pub fn means(losses: &[Vec<f64>]) -> Vec<f64> {
    let options = losses.first().map_or(0, Vec::len);
    (0..options).map(|k| losses.iter().map(|w| w[k]).sum::<f64>() / losses.len() as f64).collect()
}

/// One option's losses over the worlds.
pub fn column(losses: &[Vec<f64>], option: usize) -> Vec<f64> {
    losses.iter().map(|world| world[option]).collect()
}
