//! Two tags against each other: per region and place, at the same gap, where their curves cross, what backscatter says.

use super::answer::{EquivalenceAnswer, EquivalenceRow, PairAnswer, PairCrossings, PairRow};
use super::one::band_mean;
use super::{LabRequest, Loaded};
use crate::course::region_table::Row;
use crate::lab::Level;
use crate::lab::stat::backscatter::{BackscatterReading, compare_backscatter};
use crate::lab::stat::compare::{SampleMean, Verdict, welch};
use crate::lab::stat::crossing::crossings;
use crate::lab::stat::equivalence::batch_against_prototype;
use crate::tag::interval::{CurveInterval, placement_sd};
use crate::tag::load::Measured;
use crate::tag::pchip::Pchip;
use crate::tag::{MountCurve, TagCurve};

/// Odds of calling a batch equal that lies just at the margin.
pub const ALPHA_EQUIVALENCE: f64 = 0.05;
pub const NOT_TESTED: &str = "not tested; it takes two samples of each and a prototype whose samples differ.";

/// Where two tags are compared: the gap at which each is read, mm.
#[derive(Clone, Debug)]
struct Place {
    name: String,
    first_gap_mm: f64,
    second_gap_mm: f64,
}

/// Free air, 10 mm, the closest gap both were read at or closer, and each on its own spacer.
fn places(first: &Measured, second: &Measured) -> Vec<Place> {
    let (a, b) = (first.tag.curve.closest_gap_mm(), second.tag.curve.closest_gap_mm());
    let mut out = vec![Place {
        name: "free air".to_owned(),
        first_gap_mm: f64::INFINITY,
        second_gap_mm: f64::INFINITY,
    }];
    let common = a.max(b);
    let same = |gap_mm: f64| Place {
        name: format!("same gap {gap_mm} mm"),
        first_gap_mm: gap_mm,
        second_gap_mm: gap_mm,
    };
    if common <= 10.0 {
        out.push(same(10.0));
    }
    if common.is_finite() && common != 10.0 {
        out.push(same(common));
    }
    if a.is_finite() && b.is_finite() && a != b {
        out.push(Place { name: "each on its own spacer".to_owned(), first_gap_mm: a, second_gap_mm: b });
    }
    out
}

/// Band mean of every sample of a tag at a gap: its average curve moved by the sample's offset and shift.
fn sample_values(tag: &Measured, curve: &TagCurve, low: f64, high: f64, gap_mm: f64) -> Vec<f64> {
    let alignment = &tag.alignment;
    let of =
        |(offset, shift): (&f64, &f64)| offset + band_mean(low, high, |f| curve.value(f - shift, gap_mm).0);
    alignment.offset_db.iter().zip(&alignment.shift_mhz).map(of).collect()
}

/// The curve with the highest power tried in place of the stand-ins where no sample woke: what the tag needs at least.
fn needed_at_least(tag: &Measured) -> TagCurve {
    let curves = tag.tag.curve.mounts().iter().enumerate().map(|(m, mount)| {
        let (x, y) = mount.threshold_dbm.knots();
        let levels = tag.grid_mhz[m].iter().zip(&tag.alignment.mean[m]);
        let limit = |freq: f64| {
            levels.clone().find(|(f, _)| **f == freq).and_then(|(_, level)| match level {
                Some(Level::Above(limit)) => Some(*limit),
                _ => None,
            })
        };
        let y = x.iter().zip(y).map(|(f, v)| limit(*f).unwrap_or(*v)).collect();
        MountCurve { threshold_dbm: Pchip::new(x.to_vec(), y), ..mount.clone() }
    });
    TagCurve::new(curves.collect())
}

fn sample_mean(values: &[f64]) -> Option<SampleMean> {
    // One sample shows no spread: one degree of freedom's worth of belief in 1 dB stands in.
    if values.len() >= 2 { SampleMean::of(values) } else { SampleMean::with_prior(values, 1.0, 1.0) }
}

/// Standard uncertainty of a difference that the samples' scatter does not show: placing them, and the laboratories.
fn known_part(first: &Measured, second: &Measured, request: &LabRequest) -> f64 {
    let placing = |tag: &Measured| {
        let sd = placement_sd(&tag.alignment).map_or(0.0, |(sd, _)| sd);
        sd / (tag.samples.len() as f64).sqrt()
    };
    let bias = |tag: &Measured| if request.same_laboratory { 0.0 } else { tag.tag.spread.lab_bias_sd_db };
    [placing(first), placing(second), bias(first), bias(second)].iter().map(|u| u * u).sum::<f64>().sqrt()
}

/// Mounts that take part in the value at a gap: those next to it on either side; closer than the closest, that one; wider than the
/// widest, that one.
fn beside(tag: &Measured, gap_mm: f64) -> Vec<usize> {
    let gap = |m: usize| tag.mounts[m].gap_mm().unwrap_or(f64::INFINITY);
    let all = || 0..tag.mounts.len();
    let closer = all().filter(|&m| gap(m) <= gap_mm + 1e-9).max_by(|&a, &b| gap(a).total_cmp(&gap(b)));
    let wider = all().filter(|&m| gap(m) >= gap_mm - 1e-9).min_by(|&a, &b| gap(a).total_cmp(&gap(b)));
    let mut out: Vec<usize> = [closer, wider].into_iter().flatten().collect();
    out.dedup();
    out
}

/// Whether a tag's curve is a belief somewhere in the band at this gap.
fn never_woke(tag: &Measured, low: f64, high: f64, gap_mm: f64) -> bool {
    beside(tag, gap_mm).into_iter().any(|m| {
        tag.grid_mhz[m]
            .iter()
            .zip(&tag.alignment.mean[m])
            .any(|(f, level)| *f >= low && *f <= high && matches!(level, Some(Level::Above(_))))
    })
}

/// Why a tag has no threshold over a whole band at a gap; `None` where it has.
pub fn missing(tag: &Measured, low: f64, high: f64, gap_mm: f64) -> Option<String> {
    beside(tag, gap_mm).into_iter().find_map(|m| {
        let (from, to) = tag.tag.curve.mounts()[m].threshold_dbm.span();
        (from > low || to < high).then(|| {
            format!("thresholds of {} at {} run from {from} to {to} MHz", tag.tag.name, tag.mounts[m])
        })
    })
}

/// Rows of a comparison that are left out, each with its reason.
fn left_out(row: &Row, (low, high): (f64, f64), place: &Place, why: &str) -> String {
    format!("{}, {}: left out, it needs {low} to {high} MHz, but the {why}.", row.key, place.name)
}

pub fn pair(first: &Loaded, second: &Loaded, request: &LabRequest, regions: &[&'static Row]) -> PairAnswer {
    let (a, b) = (&first.measured, &second.measured);
    let known = known_part(a, b, request);
    let places = places(a, b);
    let (curve_a, curve_b) = (needed_at_least(a), needed_at_least(b));
    let (mut rows, mut not_compared) = (Vec::new(), Vec::new());
    for row in regions {
        for &(low, high) in row.bands_mhz {
            for place in &places {
                let why = missing(a, low, high, place.first_gap_mm)
                    .or_else(|| missing(b, low, high, place.second_gap_mm));
                if let Some(why) = why {
                    not_compared.push(left_out(row, (low, high), place, &why));
                    continue;
                }
                let x = sample_mean(&sample_values(a, &curve_a, low, high, place.first_gap_mm));
                let y = sample_mean(&sample_values(b, &curve_b, low, high, place.second_gap_mm));
                let (Some(x), Some(y)) = (x, y) else { continue };
                let open_a = never_woke(a, low, high, place.first_gap_mm);
                let open_b = never_woke(b, low, high, place.second_gap_mm);
                let difference = welch(&x, &y, known, request.level);
                let never = [(open_a, a), (open_b, b)].into_iter().filter(|(open, _)| *open);
                rows.push(PairRow {
                    region: row.key,
                    place: place.name.clone(),
                    first_dbm: x.mean,
                    second_dbm: y.mean,
                    never_woke: never.map(|(_, tag)| tag.tag.name.clone()).collect(),
                    at_most_db: (open_b && !open_a).then_some(difference.interval.high),
                    at_least_db: (open_a && !open_b).then_some(difference.interval.low),
                    difference,
                });
            }
        }
    }
    let crossings = places.iter().map(|place| cross(a, b, place, request)).collect();
    let words = words(a, b, &rows);
    PairAnswer {
        first: a.tag.name.clone(),
        second: b.tag.name.clone(),
        rows,
        crossings,
        backscatter: backscatter(a, b, regions),
        words,
        left_out: not_compared,
    }
}

fn cross(a: &Measured, b: &Measured, place: &Place, request: &LabRequest) -> PairCrossings {
    let (low, high) = (
        a.tag.curve.covered_mhz().0.max(b.tag.curve.covered_mhz().0),
        a.tag.curve.covered_mhz().1.min(b.tag.curve.covered_mhz().1),
    );
    let (ia, ib) = (CurveInterval::new(a, request.level), CurveInterval::new(b, request.level));
    let steps = ((high - low).max(0.0)).floor() as usize;
    let freq: Vec<f64> = (0..=steps).map(|k| low + k as f64).collect();
    let slope = |tag: &Measured, f: f64, gap: f64| {
        0.5 * (tag.tag.curve.value(f + 1.0, gap).0 - tag.tag.curve.value(f - 1.0, gap).0)
    };
    let difference: Vec<f64> = freq
        .iter()
        .map(|&f| a.tag.curve.value(f, place.first_gap_mm).0 - b.tag.curve.value(f, place.second_gap_mm).0)
        .collect();
    let half: Vec<f64> = freq
        .iter()
        .map(|&f| {
            libm::hypot(
                ia.half_width_db(slope(a, f, place.first_gap_mm)),
                ib.half_width_db(slope(b, f, place.second_gap_mm)),
            )
        })
        .collect();
    PairCrossings { place: place.name.clone(), crossings: crossings(&freq, &difference, &half) }
}

/// What stays of the differences when both tags are read at the same gap.
fn words(a: &Measured, b: &Measured, rows: &[PairRow]) -> Vec<String> {
    let mut out = Vec::new();
    let apart =
        |row: &&PairRow| row.never_woke.is_empty() && row.difference.verdict != Verdict::CannotBeToldApart;
    for own in rows.iter().filter(|r| r.place == "each on its own spacer").filter(apart) {
        let same = rows.iter().rfind(|r| r.region == own.region && r.place.starts_with("same gap"));
        let Some(same) = same.filter(|s| s.never_woke.is_empty()) else { continue };
        let told = same.difference.verdict == own.difference.verdict;
        let (before, after) = (own.difference.difference, same.difference.difference);
        out.push(if told {
            format!("{}: {} against {} differ by {before:+.1} dB each on its own spacer, and still by {after:+.1} dB at the {}.", own.region, a.tag.name, b.tag.name, same.place)
        } else {
            format!("{}: {} against {} differ by {before:+.1} dB each on its own spacer, but that does not survive at the {} ({after:+.1} dB): it is the spacer, not the antenna.", own.region, a.tag.name, b.tag.name, same.place)
        });
    }
    out
}

fn backscatter(a: &Measured, b: &Measured, regions: &[&'static Row]) -> Vec<String> {
    let at = |tag: &Measured, m: usize, freq: f64| {
        let grid = &tag.grid_mhz[m];
        let nearest = grid.iter().copied().min_by(|x, y| (x - freq).abs().total_cmp(&(y - freq).abs()))?;
        let k = grid.iter().position(|g| *g == nearest)?;
        let of_mount = tag.sweeps.iter().filter(|s| s.mount == tag.mounts[m] && s.link == tag.link);
        let mut powers: Vec<(f64, f64, f64)> = Vec::new();
        for r in of_mount.flat_map(|s| s.readings.iter()).filter(|r| r.freq_mhz == nearest) {
            let (Some(power), Some(efficiency)) = (r.backscatter_at_dbm, r.backscatter_db) else { continue };
            match powers.iter_mut().find(|p| (p.0 - power).abs() < 0.05) {
                Some(p) => (p.1, p.2) = (p.1 + efficiency, p.2 + 1.0),
                None => powers.push((power, efficiency, 1.0)),
            }
        }
        let readings: Vec<BackscatterReading> = powers
            .iter()
            .map(|&(incident_dbm, sum, n)| BackscatterReading { incident_dbm, efficiency_db: sum / n })
            .collect();
        Some((readings, tag.alignment.mean[m][k].and_then(Level::exact)))
    };
    let mut out = Vec::new();
    for row in regions {
        let Some(&(low, high)) = row.bands_mhz.first() else { continue };
        let freq = 0.5 * (low + high);
        for (m, mount) in a.mounts.iter().enumerate() {
            let twin = b.mounts.iter().position(|other| other.gap_mm() == mount.gap_mm());
            let Some(n) = twin else { continue };
            let (Some((x, tx)), Some((y, ty))) = (at(a, m, freq), at(b, n, freq)) else { continue };
            let said = compare_backscatter(&x, tx, &y, ty, 1.0).sentence(&a.tag.name, &b.tag.name);
            out.push(format!("{} {mount}: {said}", row.key));
        }
    }
    out
}

/// Production batch (second) against the approved prototype (first).
pub fn equivalence(
    prototype: &Loaded,
    batch: &Loaded,
    margin_db: f64,
    request: &LabRequest,
    regions: &[&'static Row],
) -> EquivalenceAnswer {
    let (old, new) = (&prototype.measured, &batch.measured);
    let known = known_part(old, new, request);
    let (mut rows, mut words) = (Vec::new(), Vec::new());
    for row in regions {
        for &(low, high) in row.bands_mhz {
            for place in places(old, new) {
                let why = missing(old, low, high, place.first_gap_mm)
                    .or_else(|| missing(new, low, high, place.second_gap_mm));
                if let Some(why) = why {
                    words.push(left_out(row, (low, high), &place, &why));
                    continue;
                }
                let x = sample_values(old, &old.tag.curve, low, high, place.first_gap_mm);
                let y = sample_values(new, &new.tag.curve, low, high, place.second_gap_mm);
                match batch_against_prototype(&x, &y, margin_db, ALPHA_EQUIVALENCE, known) {
                    Some(check) => {
                        let said = check.level.sentence("the batch", "the prototype", "threshold");
                        rows.push(EquivalenceRow { region: row.key, place: place.name, check, words: said });
                    }
                    None => words.push(format!("{}, {}: {NOT_TESTED}", row.key, place.name)),
                }
            }
        }
    }
    EquivalenceAnswer { prototype: old.tag.name.clone(), batch: new.tag.name.clone(), margin_db, rows, words }
}
