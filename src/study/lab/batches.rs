//! Several production batches of one tag: how far they lie apart, and whether each equals the approved prototype.

use super::LabRequest;
use super::answer::{BatchRow, BatchesAnswer, EquivalenceAnswer, EquivalenceRow};
use super::compare::{ALPHA_EQUIVALENCE, missing};
use super::one::band_mean;
use crate::course::region_table::Row;
use crate::lab::stat::compare::{SampleMean, welch};
use crate::lab::stat::equivalence::batch_against_prototype;
use crate::lab::stat::hierarchy::two_spreads;
use crate::lab::stat::interlab::precision;
use crate::numeric::student::t_quantile;
use crate::numeric::summary::{mean, standard_deviation};
use crate::tag::load::Measured;

/// Chance of a flag for a sound batch. Source: ISO 5725-2:1994, 7.3 (levels of 5 % and 1 %, as in the abstract of doi 10.1007/s10182-011-0185-y).
const ALPHA: f64 = 0.01;

/// `None` when the sweeps name fewer than two batches.
pub fn answer(measured: &Measured, request: &LabRequest, regions: &[&'static Row]) -> Option<BatchesAnswer> {
    let mut batches: Vec<(&str, Vec<usize>)> = Vec::new();
    for (i, sample) in measured.samples.iter().enumerate() {
        let sweep = measured.sweeps.iter().find(|s| s.sample == *sample)?;
        match batches.iter_mut().find(|(name, _)| *name == sweep.taken.batch) {
            Some((_, list)) => list.push(i),
            None => batches.push((&sweep.taken.batch, vec![i])),
        }
    }
    if batches.len() < 2 {
        return None;
    }
    let offsets =
        |list: &[usize]| -> Vec<f64> { list.iter().map(|&i| measured.alignment.offset_db[i]).collect() };
    let rows: Vec<BatchRow> = batches
        .iter()
        .map(|(name, list)| {
            let values = offsets(list);
            let n = values.len() as f64;
            let sd = (values.len() >= 2).then(|| standard_deviation(&values));
            BatchRow {
                batch: (*name).to_owned(),
                samples: list.iter().map(|&i| measured.samples[i].clone()).collect(),
                offset_db: mean(&values),
                half_width_db: sd.map(|sd| t_quantile(0.5 + 0.5 * request.level, n - 1.0) * sd / n.sqrt()),
                sd_db: sd,
            }
        })
        .collect();
    let cells: Vec<Vec<f64>> = batches.iter().map(|(_, list)| offsets(list)).collect();
    let slices: Vec<&[f64]> = cells.iter().map(Vec::as_slice).collect();
    let spread = two_spreads(&slices, request.level);
    let mut words = Vec::new();
    if let Some(spread) = &spread {
        let share = spread.share_of_samples;
        words.push(format!(
            "Samples of one batch differ by {:.2} dB, batches by {:.2} dB (standard deviations). Between {:.0} and {:.0} % of the variance of a sample comes from its batch ({:.0} % odds).",
            spread.within,
            spread.between,
            100.0 * share.low,
            100.0 * share.high,
            100.0 * request.level,
        ));
    }
    if let Some(found) = precision(&slices, ALPHA) {
        for (row, lab) in rows.iter().zip(&found.laboratories) {
            if lab.level_stands_out {
                words.push(format!(
                    "The level of batch {} stands out (Mandel h = {:+.2}, limit ±{:.2}).",
                    row.batch, lab.h, found.h_critical
                ));
            }
            if lab.scatter_stands_out {
                words.push(format!(
                    "The samples of batch {} scatter more than those of the others (Mandel k = {:.2}, limit {:.2}).",
                    row.batch, lab.k, found.k_critical
                ));
            }
        }
    }
    words.push("The curve and the production spread take all batches together.".to_owned());
    let prototype = measured.file.prototype_batch.clone();
    let mut equivalence = Vec::new();
    if let Some(approved) = prototype.as_deref()
        && let Some((_, old)) = batches.iter().find(|(name, _)| *name == approved)
    {
        for (name, new) in batches.iter().filter(|(name, _)| *name != approved) {
            match request.equivalence_margin_db {
                Some(margin_db) => {
                    let pair = Pair { measured, old, new, margin_db };
                    equivalence.push(pair.check(approved, name, regions));
                }
                None => {
                    let (a, b) = (SampleMean::of(&offsets(new)), SampleMean::of(&offsets(old)));
                    if let (Some(a), Some(b)) = (a, b) {
                        let d = welch(&a, &b, 0.0, request.level);
                        let said = format!("batch {name}");
                        words.push(d.sentence(&said, &format!("the prototype {approved}"), "threshold"));
                    }
                }
            }
        }
        if request.equivalence_margin_db.is_none() {
            words.push("No difference found is no proof of being equal: ask with --equivalent-within and the margin you accept, in dB.".to_owned());
        }
    }
    Some(BatchesAnswer { prototype, rows, spread, equivalence, words })
}

struct Pair<'a> {
    measured: &'a Measured,
    old: &'a [usize],
    new: &'a [usize],
    margin_db: f64,
}

impl Pair<'_> {
    /// Band mean of each sample of a list in one mount. What a mount shows beyond the sample's offset counts: a spacer
    /// that came out thinner shows on the body only. The scatter of placing is in these values.
    fn values(&self, list: &[usize], mount: usize, low: f64, high: f64) -> Vec<f64> {
        let alignment = &self.measured.alignment;
        let curve = &self.measured.tag.curve.mounts()[mount].threshold_dbm;
        let of = |&i: &usize| {
            let rest = alignment.mount_residual_db[mount][i]?;
            let shift = alignment.shift_mhz[i];
            Some(alignment.offset_db[i] + rest + band_mean(low, high, |f| curve.value(f - shift)))
        };
        list.iter().filter_map(of).collect()
    }

    fn check(&self, prototype: &str, batch: &str, regions: &[&'static Row]) -> EquivalenceAnswer {
        let tag = self.measured;
        let (mut rows, mut words) = (Vec::new(), Vec::new());
        for row in regions {
            for &(low, high) in row.bands_mhz {
                for (m, mount) in tag.mounts.iter().enumerate() {
                    if let Some(why) = missing(tag, low, high, mount.gap_mm().unwrap_or(f64::INFINITY)) {
                        words.push(format!(
                            "{}, {mount}: left out, it needs {low} to {high} MHz, but the {why}.",
                            row.key
                        ));
                        continue;
                    }
                    let (old, new) =
                        (self.values(self.old, m, low, high), self.values(self.new, m, low, high));
                    match batch_against_prototype(&old, &new, self.margin_db, ALPHA_EQUIVALENCE, 0.0) {
                        Some(check) => rows.push(EquivalenceRow {
                            region: row.key,
                            place: mount.to_string(),
                            words: check.level.sentence("the batch", "the prototype", "threshold"),
                            check,
                        }),
                        None => words.push(format!("{}, {mount}: {}", row.key, super::compare::NOT_TESTED)),
                    }
                }
            }
        }
        EquivalenceAnswer {
            prototype: prototype.to_owned(),
            batch: batch.to_owned(),
            margin_db: self.margin_db,
            rows,
            words,
        }
    }
}
