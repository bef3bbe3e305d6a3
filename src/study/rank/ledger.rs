//! Misses and money of a season, level by level: one column a tag, one row a draw of what nobody knows.

use super::run::Cells;
use crate::estimate::offsets::LEVELS;
use crate::passing::draw::REPLICATES;
use crate::study::check::cover::{CoverVerdict, check};
use crate::study::season::Season;
use crate::study::season::resolve::Resolved;

/// What one race of a site loses, by tag and level: from all passings and from their halves.
pub struct SiteLoss {
    /// `[tag][version][level]`: missed passings of one race.
    pub missed: Vec<[Vec<f64>; 3]>,
    /// The same with each miss at its cost.
    pub money: Vec<[Vec<f64>; 3]>,
}

/// The losses of all sites over the worlds that all tags in question have.
pub struct Ledger<'a> {
    pub season: &'a Season,
    pub resolved: &'a Resolved,
    pub levels: usize,
    pub sites: Vec<SiteLoss>,
    /// `[site][tag]`: the sweeps of the tag reach the channels of the site.
    pub swept: Vec<Vec<bool>>,
}

impl<'a> Ledger<'a> {
    /// From the first `worlds` worlds of every cell; a tag with fewer worlds has no row (NaN).
    pub fn new(season: &'a Season, resolved: &'a Resolved, cells: &Cells, worlds: usize) -> Ledger<'a> {
        let levels = worlds * LEVELS;
        let tags = resolved.tags.len();
        let sites = resolved
            .sites
            .iter()
            .enumerate()
            .map(|(s, site)| {
                let runners = site.course.field.runners as f64;
                let mut loss = SiteLoss { missed: Vec::new(), money: Vec::new() };
                for tag in 0..tags {
                    if cells.worlds(tag) < worlds {
                        let none = || [(); 3].map(|()| vec![f64::NAN; levels]);
                        loss.missed.push(none());
                        loss.money.push(none());
                        continue;
                    }
                    let (mut missed, mut money) =
                        ([(); 3].map(|()| vec![0.0; levels]), [(); 3].map(|()| vec![0.0; levels]));
                    for (p, point) in site.course.points.iter().enumerate() {
                        let cost = season.miss_cost(point.is_finish).unwrap_or(1.0);
                        let days = cells.days(s, tag, p, worlds);
                        for version in 0..3 {
                            for level in 0..levels {
                                let odds = days.version(version, level);
                                let lost = runners * odds.iter().sum::<f64>() / odds.len() as f64;
                                missed[version][level] += lost;
                                money[version][level] += cost * lost;
                            }
                        }
                    }
                    loss.missed.push(missed);
                    loss.money.push(money);
                }
                loss
            })
            .collect();
        let swept = resolved
            .sites
            .iter()
            .map(|site| {
                let covered = |tag: &std::sync::Arc<crate::tag::Tag>| {
                    let verdict = check(&site.course, tag.curve.covered_mhz()).verdict;
                    !matches!(verdict, CoverVerdict::NoOverlap | CoverVerdict::ChannelsBeyond)
                };
                resolved.tags.iter().map(covered).collect()
            })
            .collect();
        Ledger { season, resolved, levels, sites, swept }
    }

    /// Replicate of a level.
    pub fn replicate(level: usize) -> usize {
        level / LEVELS % REPLICATES as usize
    }

    pub fn replicates(&self) -> usize {
        (self.levels / LEVELS).min(REPLICATES as usize)
    }

    /// Whether misses have a price and every tag of the choice has one, too.
    pub fn weighs_money(&self) -> bool {
        self.season.missed_passing_cost.is_some() && self.resolved.prices.iter().any(Option::is_some)
    }

    /// Bibs of one race at a site times the price of a tag.
    pub fn bill(&self, site: usize, tag: usize) -> Option<f64> {
        self.resolved.prices[tag].map(|price| price * self.resolved.sites[site].course.field.runners as f64)
    }

    /// Missed passings by level over some races: `races[(site, races)]`.
    pub fn missed(&self, races: &[(usize, f64)], tag: usize, version: usize) -> Vec<f64> {
        self.over(races, |site| &self.sites[site].missed[tag][version])
    }

    /// What decides, by level: misses at their cost and the bill where money is weighed, else misses.
    pub fn decisive(&self, races: &[(usize, f64)], tag: usize, version: usize) -> Vec<f64> {
        if !self.weighs_money() {
            return self.missed(races, tag, version);
        }
        let bill: f64 = races.iter().map(|&(s, n)| n * self.bill(s, tag).unwrap_or(f64::NAN)).sum();
        let mut all = self.over(races, |site| &self.sites[site].money[tag][version]);
        all.iter_mut().for_each(|x| *x += bill);
        all
    }

    fn over<'s>(&'s self, races: &[(usize, f64)], of: impl Fn(usize) -> &'s Vec<f64>) -> Vec<f64> {
        let mut sum = vec![0.0; self.levels];
        for &(site, n) in races.iter().filter(|(_, n)| *n > 0.0) {
            sum.iter_mut().zip(of(site)).for_each(|(sum, x)| *sum += n * x);
        }
        sum
    }

    pub fn passings(&self, races: &[(usize, f64)]) -> f64 {
        let per = |site: usize| {
            let course = &self.resolved.sites[site].course;
            course.field.runners as f64 * course.points.len() as f64
        };
        races.iter().map(|&(site, n)| n * per(site)).sum()
    }

    pub fn bibs(&self, races: &[(usize, f64)]) -> f64 {
        races.iter().map(|&(site, n)| n * self.resolved.sites[site].course.field.runners as f64).sum()
    }

    /// Why a tag cannot be chosen for these races; none if it can.
    pub fn barred(&self, races: &[(usize, f64)], tag: usize) -> Option<String> {
        let gaps: f64 = races.iter().filter(|(s, n)| *n > 0.0 && !self.swept[*s][tag]).map(|(_, n)| n).sum();
        if gaps > 0.0 {
            return Some(format!("not swept over the channels of {gaps:.0} of these races"));
        }
        if self.weighs_money() && self.resolved.prices[tag].is_none() {
            return Some("no price stated".to_owned());
        }
        let bibs = self.bibs(races);
        let stock = self.season.tags[tag].stock;
        stock
            .filter(|&stock| (stock as f64) < bibs)
            .map(|stock| format!("stock short by {:.0} tags", bibs - stock as f64))
    }
}
