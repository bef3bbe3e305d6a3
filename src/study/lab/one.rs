//! One tag: its curves with intervals, its spread, its budget, and what is wrong with its measurement.

use super::answer::{BandAnswer, BudgetAnswer, CurvePoint, LinkAnswer, MountAnswer, SpreadAnswer, TagAnswer};
use super::{LabRequest, Loaded};
use crate::course::region_table::Row;
use crate::lab::faults::{self, Finding, bench, by_mount, repeats};
use crate::lab::stat::budget::{Component, Reach, Shape, budget};
use crate::lab::stat::compare::paired;
use crate::lab::stat::few::spread_summary;
use crate::lab::stat::hierarchy::{TwoSpreads, two_spreads};
use crate::lab::stat::spread_words::spread_sentences;
use crate::lab::{Level, Sweep, raw_budget};
use crate::tag::MountCurve;
use crate::tag::interval::{CurveInterval, placement_sd, slope};
use crate::tag::load::Measured;
use crate::tag::mounts::width_3db;
use crate::tag::pchip::Pchip;

/// Points of a band over which a curve is averaged.
pub const BAND_POINTS: usize = 21;

/// Mean of a function over `low..=high`.
pub fn band_mean(low: f64, high: f64, value: impl Fn(f64) -> f64) -> f64 {
    let at = |k: usize| low + (high - low) * k as f64 / (BAND_POINTS - 1) as f64;
    (0..BAND_POINTS).map(|k| value(at(k))).sum::<f64>() / BAND_POINTS as f64
}

pub fn answer(loaded: &Loaded, request: &LabRequest, regions: &[&'static Row]) -> TagAnswer {
    let measured = &loaded.measured;
    let tag = &measured.tag;
    let precision = super::precision::over_factors(measured);
    let mut findings = findings(loaded, request, regions);
    let standing_out = precision.iter().flat_map(|of| {
        of.flags.iter().map(|flag| Finding {
            kind: "stands-out",
            serious: false,
            about: of.mount.clone(),
            words: flag.words.clone(),
            number: flag.difference_db,
            unit: "dB",
        })
    });
    for finding in standing_out {
        // Read back from a folder written by this program it is there already.
        if !findings.iter().any(|f| f.words == finding.words) {
            findings.push(finding);
        }
    }
    faults::sort(&mut findings);
    let repeats = repeats_against_samples(&measured.sweeps, request.level);
    TagAnswer {
        name: tag.name.clone(),
        note: tag.note.clone(),
        referred_here: loaded.raw.is_some(),
        own_spacer_mm: tag.own_spacer_mm,
        samples: measured.samples.clone(),
        lab_bias_sd_db: tag.spread.lab_bias_sd_db,
        findings,
        warnings: loaded.warnings.iter().map(|w| w.message.clone()).collect(),
        mounts: mounts(measured, request, regions),
        spread: spread(measured, request),
        budget: budget_of(loaded, repeats.as_ref()),
        repeats,
        precision,
        batches: super::batches::answer(measured, request, regions),
        links: links(measured, request),
        session: super::session::answer(measured),
    }
}

fn findings(loaded: &Loaded, request: &LabRequest, regions: &[&'static Row]) -> Vec<Finding> {
    let measured = &loaded.measured;
    let mut found = faults::of_sweeps(&measured.sweeps);
    let (low, high) = measured.tag.curve.covered_mhz();
    if let Some(raw) = &loaded.raw {
        found.extend(bench::quiet_room(&raw.raw, &raw.quiet_room));
        found.extend(bench::near_field(&raw.file, high));
    }
    let curve = &measured.tag.curve;
    for (mount, m) in measured.mounts.iter().zip(curve.mounts()) {
        // A tag that slept cannot reply: only where it woke is a reply missing.
        let (x, _) = m.threshold_dbm.knots();
        let woke: Vec<f64> = x
            .iter()
            .copied()
            .filter(|f| m.open.as_ref().is_none_or(|o| o.added_db(*f, 1.0) == 0.0))
            .collect();
        let (Some(&first), Some(&last)) = (woke.first(), woke.last()) else { continue };
        let (from, to) = m.backscatter_db.span();
        let short = (from - first).max(last - to);
        if short > 0.0 {
            let words = format!(
                "{mount}: the tag woke from {first} to {last} MHz, but its reply was read from {from} to {to} MHz only; beyond, the last reply stands in. Thresholds are not touched by this."
            );
            found.push(Finding {
                kind: "reply-cover",
                serious: false,
                about: mount.to_string(),
                words,
                number: short,
                unit: "MHz",
            });
        }
    }
    for row in regions {
        let from = row.bands_mhz.iter().map(|b| b.0).fold(f64::INFINITY, f64::min);
        let to = row.bands_mhz.iter().map(|b| b.1).fold(f64::NEG_INFINITY, f64::max);
        let needed = to + request.water_shift_mhz;
        if from >= low && needed <= high {
            continue;
        }
        let short = (needed - high).max(low - from);
        let words = format!(
            "Thresholds were looked for from {low} to {high} MHz in all mounts{}. {} needs {from} to {to} MHz, and {needed} MHz with the {} MHz that water may shift the tag: {short:.1} MHz are missing and are taken from the end of the sweep.",
            narrowest(measured, low, high),
            row.name,
            request.water_shift_mhz,
        );
        let serious = from < low || to > high;
        found.push(Finding {
            kind: "cover",
            serious,
            about: row.key.to_owned(),
            words,
            number: short,
            unit: "MHz",
        });
    }
    found.extend(super::samples::findings(measured));
    // What only the bench could show stays with the sweeps it was seen in.
    for earlier in &measured.file.finding {
        if !found.iter().any(|f| f.kind == earlier.kind && f.about == earlier.about) {
            found.push(faults::carried(earlier));
        }
    }
    faults::sort(&mut found);
    found
}

/// Which mount cuts the common span short, where one alone does.
fn narrowest(measured: &Measured, low: f64, high: f64) -> String {
    let spans = measured.mounts.iter().zip(measured.tag.curve.mounts());
    let widest = |(_, m): &(&crate::lab::Mount, &MountCurve)| m.threshold_dbm.span();
    let cut: Vec<String> = spans
        .clone()
        .filter(|one| widest(one).0 == low && widest(one).1 == high)
        .map(|(mount, _)| mount.to_string())
        .collect();
    if cut.len() == 1 && measured.mounts.len() > 1 {
        format!(" ({} is the narrowest)", cut[0])
    } else {
        String::new()
    }
}

fn mounts(measured: &Measured, request: &LabRequest, regions: &[&'static Row]) -> Vec<MountAnswer> {
    let interval = CurveInterval::new(measured, request.level);
    let curves = measured.tag.curve.mounts();
    let one = |(m, curve): (usize, &crate::tag::MountCurve)| {
        let (x, y) = curve.threshold_dbm.knots();
        let best = (0..y.len()).fold(0, |a, b| if y[b] < y[a] { b } else { a });
        let mount = &measured.mounts[m];
        let readings = || {
            let of_mount = measured.sweeps.iter().filter(move |s| s.mount == *mount);
            of_mount.flat_map(|s| s.readings.iter().filter_map(|r| r.threshold_dbm))
        };
        let open = readings().filter(|t| t.exact().is_none()).count();
        let never = |freq: f64| {
            let k = measured.grid_mhz[m].iter().position(|g| *g == freq);
            k.is_some_and(|k| matches!(measured.alignment.mean[m][k], Some(Level::Above(_))))
        };
        let point = |(&freq, &threshold): (&f64, &f64)| {
            let (low_dbm, high_dbm) = interval.ends_dbm(curve, freq);
            CurvePoint {
                freq_mhz: freq,
                threshold_dbm: threshold,
                low_dbm,
                high_dbm,
                backscatter_db: curve.backscatter_db.value(freq),
                never_woke: never(freq),
            }
        };
        let band = |row: &&'static Row| {
            let parts =
                row.bands_mhz.iter().map(|&(low, high)| band(row, low, high, curve, &never, &interval));
            parts.collect::<Vec<_>>()
        };
        MountAnswer {
            mount: mount.to_string(),
            gap_mm: curve.gap_mm,
            frequencies: x.len(),
            censored_share: open as f64 / readings().count().max(1) as f64,
            best_dbm: y[best],
            best_mhz: x[best],
            width_mhz: width_3db(x, y),
            bands: regions.iter().flat_map(band).collect(),
            curve: x.iter().zip(y).map(point).collect(),
        }
    };
    curves.iter().enumerate().map(one).collect()
}

fn band(
    row: &'static Row,
    low_mhz: f64,
    high_mhz: f64,
    mount: &MountCurve,
    never: &dyn Fn(f64) -> bool,
    interval: &CurveInterval,
) -> BandAnswer {
    let (threshold, backscatter) = (&mount.threshold_dbm, &mount.backscatter_db);
    let inside = threshold.knots().0.iter().filter(|f| (low_mhz..=high_mhz).contains(*f));
    let (all, open) =
        inside.fold((0.0, 0.0), |(all, open), f| (all + 1.0, open + f64::from(u8::from(never(*f)))));
    let end = |of: &dyn Fn((f64, f64)) -> f64| {
        covered_by(threshold, low_mhz, high_mhz)
            .then(|| band_mean(low_mhz, high_mhz, |f| of(interval.ends_dbm(mount, f))))
    };
    let covered = |curve: &Pchip| covered_by(curve, low_mhz, high_mhz);
    let mean = |curve: &Pchip| covered(curve).then(|| band_mean(low_mhz, high_mhz, |f| curve.value(f)));
    let worst = |f: f64, worst: f64| threshold.value(f).max(worst);
    let step = (high_mhz - low_mhz) / (BAND_POINTS - 1) as f64;
    BandAnswer {
        region: row.key,
        low_mhz,
        high_mhz,
        threshold_dbm: mean(threshold),
        half_width_db: (covered(threshold) && open == 0.0).then(|| {
            let mean_slope = band_mean(low_mhz, high_mhz, |f| slope(threshold, f));
            interval.half_width_db(mean_slope)
        }),
        low_dbm: end(&|ends| ends.0),
        high_dbm: end(&|ends| ends.1),
        open_share: if all > 0.0 {
            open / all
        } else {
            f64::from(u8::from(open_at_ends(mount, low_mhz, high_mhz)))
        },
        backscatter_db: mean(backscatter),
        worst_in_band_dbm: covered(threshold)
            .then(|| (0..BAND_POINTS).fold(f64::NEG_INFINITY, |w, k| worst(low_mhz + step * k as f64, w))),
    }
}

fn covered_by(curve: &Pchip, low_mhz: f64, high_mhz: f64) -> bool {
    curve.span().0 <= low_mhz && curve.span().1 >= high_mhz
}

/// Whether a band that holds no reading of its own lies among open thresholds.
fn open_at_ends(mount: &MountCurve, low_mhz: f64, high_mhz: f64) -> bool {
    let added = |f: f64| mount.open.as_ref().map_or(0.0, |open| open.added_db(f, 1.0));
    added(low_mhz) > 0.0 || added(high_mhz) > 0.0
}

fn spread(measured: &Measured, request: &LabRequest) -> SpreadAnswer {
    let alignment = &measured.alignment;
    let given = &measured.file.spread;
    // The same grounds, and so the same posterior, as the forecast's (`tag::load`).
    let offset =
        spread_summary(&alignment.offset_db, &given.offset_ground(alignment.offset_noise), request.level);
    let shift =
        spread_summary(&alignment.shift_mhz, &given.shift_ground(alignment.shift_noise), request.level);
    let mut words = offset.as_ref().map_or(Vec::new(), |s| spread_sentences(s, "dB"));
    words.extend(shift.as_ref().map_or(Vec::new(), |s| spread_sentences(s, "MHz")).into_iter().take(1));
    SpreadAnswer {
        offset_db: alignment.offset_db.clone(),
        shift_mhz: alignment.shift_mhz.clone(),
        residual_sd_db: alignment.residual_sd_db,
        placement_sd_db: placement_sd(alignment).map(|(sd, _)| sd),
        offset,
        shift,
        words,
    }
}

/// Mean threshold of each repeat of each sample, in the first mount that holds repeats.
fn repeats_against_samples(sweeps: &[Sweep], level: f64) -> Option<TwoSpreads> {
    by_mount(sweeps).iter().find_map(|group| {
        let (freq, _) = group.common_curve();
        let mean = |sweep: &Sweep| {
            let exact = sweep.readings.iter().filter(|r| freq.contains(&r.freq_mhz));
            let values: Vec<f64> = exact.filter_map(|r| r.threshold_dbm?.exact()).collect();
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        let mut samples: Vec<(&str, Vec<f64>)> = Vec::new();
        for sweep in &group.sweeps {
            let Some(value) = mean(sweep) else { continue };
            match samples.iter_mut().find(|(name, _)| *name == sweep.sample) {
                Some((_, values)) => values.push(value),
                None => samples.push((&sweep.sample, vec![value])),
            }
        }
        let cells: Vec<&[f64]> = samples.iter().map(|(_, values)| values.as_slice()).collect();
        two_spreads(&cells, level)
    })
}

fn budget_of(loaded: &Loaded, repeats: Option<&TwoSpreads>) -> Option<BudgetAnswer> {
    let raw = loaded.raw.as_ref()?;
    let (low, high) = loaded.measured.tag.curve.covered_mhz();
    let work = |freq: f64| {
        let mut components = raw_budget::components(&raw.file, &raw.bench, freq);
        if let Some(repeats) = repeats {
            let shape = Shape::Normal { standard: repeats.within };
            let dof = repeats.readings.saturating_sub(repeats.samples) as f64;
            let seen = Component::new("repeats of one sample", shape, Reach::Reading);
            components.push(seen.with_degrees_of_freedom(dof.max(1.0)));
        }
        (!components.is_empty()).then(|| budget(&components, 0.95))
    };
    let middle = 0.5 * (low + high);
    let ends = [low, middle, high];
    let expanded = ends.iter().filter_map(|&f| Some((f, work(f)?.total.expanded_uncertainty))).collect();
    Some(BudgetAnswer { freq_mhz: middle, budget: work(middle)?, expanded_db: expanded })
}

/// Other link profiles against the curve's, sample by sample.
fn links(measured: &Measured, request: &LabRequest) -> Vec<LinkAnswer> {
    let mut out = Vec::new();
    for group in by_mount(&measured.sweeps).iter().filter(|g| g.link != measured.link) {
        let (mut here, mut there) = (Vec::new(), Vec::new());
        for sweep in &group.sweeps {
            let same =
                |s: &&Sweep| s.sample == sweep.sample && s.mount == sweep.mount && s.link == measured.link;
            let mut twins = measured.sweeps.iter().filter(same);
            // The one of the same repeat and session, else the first of the sample.
            let nearest = |s: &&Sweep| s.repeat == sweep.repeat && s.taken == sweep.taken;
            let Some(twin) = twins.clone().find(nearest).or_else(|| twins.next()) else { continue };
            let (a, b) = repeats::common(sweep, twin);
            if !a.is_empty() {
                here.push(a.iter().sum::<f64>() / a.len() as f64);
                there.push(b.iter().sum::<f64>() / b.len() as f64);
            }
        }
        if let Some(difference) = paired(&here, &there, 0.0, request.level) {
            let first = format!("link profile {}", group.link);
            let words = difference.sentence(&first, &format!("profile {}", measured.link), "threshold");
            let described = |name: &str| measured.file.link_profile.iter().find(|p| p.name == name);
            let settings = match (described(group.link), described(&measured.link)) {
                (Some(here), Some(there)) => here.instead_of(there),
                _ => None,
            };
            out.push(LinkAnswer {
                link: group.link.to_owned(),
                against: measured.link.clone(),
                settings,
                mount: group.mount.to_string(),
                difference,
                words,
            });
        }
    }
    out
}
