//! Worlds of every site (scenario of the season) and tag.
//!
//! Worlds are drawn from their own law, not where the misses of one tag are: what is compared must stand on the same draws, and a season's total is
//! carried by common misses. Passings go to the strata by the root of their weights, the same for every tag.

use crate::estimate::checkpoint::Kept;
use crate::estimate::reading::SetDays;
use crate::estimate::strata::{LEAST, strata, weights};
use crate::estimate::tilt::Tilt;
use crate::estimate::world::{Ask, WorldRow};
use crate::passing::{Prepared, RaceDraw, prepare, prepare_like};
use crate::study::season::resolve::Resolved;
use rayon::prelude::*;

/// Passings in a world of a site.
const PASSINGS_PER_WORLD: f64 = 40.0;

/// One site with one tag.
pub struct Cell {
    pub prepared: Prepared,
    pub ask: Ask,
    pub rows: Vec<WorldRow>,
}

/// `[site][tag]`.
pub struct Cells(pub Vec<Vec<Cell>>);

impl Cells {
    /// Everything prepared, no world run yet; `None` once `stop` says so.
    pub fn new(resolved: &Resolved, seed: u64, stop: &(dyn Fn() -> bool + Sync)) -> Option<Cells> {
        // Sites with the same antennas share the order of places: prepare one of each layout first.
        let layout = |site: usize| {
            let points = |s: usize| &resolved.sites[s].course.points;
            (0..site)
                .find(|&earlier| {
                    points(earlier).len() == points(site).len()
                        && points(earlier).iter().zip(points(site)).all(|(a, b)| {
                            a.zone_m == b.zone_m && a.antennas().map(|x| x.2).eq(b.antennas().map(|x| x.2))
                        })
                })
                .unwrap_or(site)
        };
        let layouts: Vec<usize> = (0..resolved.sites.len()).map(layout).collect();
        let first: Vec<Option<Prepared>> = (0..resolved.sites.len())
            .into_par_iter()
            .map(|site| {
                (layouts[site] == site && !stop())
                    .then(|| prepare(resolved.sites[site].course.clone(), resolved.tags[0].clone()))
            })
            .collect();
        let jobs: Vec<(usize, usize)> = (0..resolved.sites.len())
            .flat_map(|site| (0..resolved.tags.len()).map(move |tag| (site, tag)))
            .collect();
        let cells: Option<Vec<Cell>> = jobs
            .into_par_iter()
            .map(|(site, tag)| {
                let sibling = first[layouts[site]].as_ref().filter(|_| !stop())?;
                let course = resolved.sites[site].course.clone();
                let mut prepared = if tag == 0 && layouts[site] == site {
                    sibling.clone()
                } else {
                    prepare_like(course, resolved.tags[tag].clone(), sibling)
                };
                prepared.learned = resolved.learned.get(site).map(|of_site| of_site[tag].clone());
                Some(Cell { ask: ask(&prepared, seed), prepared, rows: Vec::new() })
            })
            .collect();
        let mut cells = cells?.into_iter();
        let sites = resolved.sites.iter().map(|_| cells.by_ref().take(resolved.tags.len()).collect());
        Some(Cells(sites.collect()))
    }

    /// Runs the tags still in question up to `worlds` worlds; `told` hears of every cell that is done.
    pub fn extend(
        &mut self,
        worlds: u64,
        running: &[bool],
        kept: &mut Kept,
        stop: &(dyn Fn() -> bool + Sync),
        told: &mut dyn FnMut(u64, u64),
    ) {
        let planned = (self.0.len() * running.iter().filter(|r| **r).count()) as u64;
        let mut done = 0;
        let all: Vec<u64> = (0..worlds).collect();
        for (site, tags) in self.0.iter_mut().enumerate() {
            for (tag, cell) in tags.iter_mut().enumerate().filter(|(tag, _)| running[*tag]) {
                let name = format!("site {site}, tag {tag}");
                kept.extend(&name, &cell.prepared, &cell.ask, &mut cell.rows, &all, stop, &mut |_| {});
                done += 1;
                told(done, planned);
            }
        }
    }

    /// Worlds that every cell of a tag has.
    pub fn worlds(&self, tag: usize) -> usize {
        self.0.iter().map(|tags| tags[tag].rows.len()).min().unwrap_or(0)
    }

    pub fn passings(&self) -> u64 {
        self.0.iter().flatten().flat_map(|cell| &cell.rows).map(|row| row.passings).sum()
    }

    /// Race days of all lines of a point, from the first `worlds` worlds.
    pub fn days(&self, site: usize, tag: usize, point: usize, worlds: usize) -> SetDays {
        let cell = &self.0[site][tag];
        SetDays::new(&cell.rows[..worlds], cell.ask.set(point, 0))
    }
}

fn ask(prepared: &Prepared, seed: u64) -> Ask {
    let course = &prepared.course;
    let strata = strata(course);
    let middle = RaceDraw::from_uniforms(course, &prepared.tag, 0, &[0.5; crate::passing::draw::RACE_DIMS]);
    let roots: Vec<f64> = weights(course, &strata, &middle).iter().map(|w| w.sqrt()).collect();
    let total: f64 = roots.iter().sum();
    let even = |share: f64| (2 * (0.5 * share * PASSINGS_PER_WORLD / total).round() as u64).max(LEAST);
    Ask {
        seed,
        masks: prepared.points.iter().map(|p| vec![(1u64 << p.lines.len()) - 1]).collect(),
        allocation: roots.into_iter().map(even).collect(),
        tilt: Tilt::default(),
    }
}
