//! Mounts of a tag: which there are, on which frequencies, and the curve of the average sample in each.

use super::MountCurve;
use super::align::{Alignment, MIN_SCATTER_DB, Track};
use super::curve::OpenSpread;
use super::curve::{MAX_MOUNTS, closeness};
use super::interval::placement_sd;
use super::open::{self, Belief, Seen};
use super::pchip::Pchip;
use crate::diag::{Diagnostic, Source};
use crate::lab::{Mount, Sweep};
use std::sync::Arc;

/// Standard deviation of placing a sample where one sample or one mount cannot show it, dB. Our estimate.
const PLACING_DB: f64 = 0.3;
/// A knot spacing wider than this share of the 3 dB width of the resonance cuts its dip. Our estimate.
pub const MAX_SPACING_SHARE: f64 = 0.25;

pub struct Groups {
    /// From free air to the closest.
    pub mounts: Vec<Mount>,
    /// In order of first appearance.
    pub samples: Vec<String>,
}

/// Mounts and samples of the sweeps in use.
pub fn group(used: &[&Sweep], toml: &Arc<Source>, found: &mut Vec<Diagnostic>) -> Groups {
    let mut groups = Groups { mounts: Vec::new(), samples: Vec::new() };
    for sweep in used {
        if !groups.mounts.contains(&sweep.mount) {
            groups.mounts.push(sweep.mount.clone());
        }
        if !groups.samples.contains(&sweep.sample) {
            groups.samples.push(sweep.sample.clone());
        }
    }
    let s = |m: &Mount| m.gap_mm().map_or(0.0, closeness);
    groups.mounts.sort_by(|a, b| s(a).total_cmp(&s(b)));
    if groups.mounts.len() > MAX_MOUNTS {
        let message = format!("{} mounts, at most {MAX_MOUNTS} can be joined", groups.mounts.len());
        found.push(
            Diagnostic::error("tag-mounts", message).in_file(toml).help("list fewer files in `sweeps`"),
        );
    }
    // Beyond about 200 mm a gap is free air to the joining rule.
    if groups.mounts.windows(2).any(|w| s(&w[0]) >= s(&w[1])) {
        found.push(
            Diagnostic::error("tag-mounts", "two mounts have gaps that cannot be told apart").in_file(toml),
        );
    }
    if groups.mounts.first() != Some(&Mount::FreeAir) {
        found.push(
            Diagnostic::warning(
                "tag-no-free-air",
                "no free-air sweep: gaps wider than the widest one measured are taken for it",
            )
            .in_file(toml)
            .help("sweep the samples on a foam stand as well"),
        );
    }
    if groups.mounts.iter().all(|m| m.gap_mm().is_none()) {
        found.push(
            Diagnostic::warning(
                "tag-no-body",
                "no sweep over a body phantom: nothing is known about this tag on a runner",
            )
            .in_file(toml)
            .help("sweep the samples 10 mm over a phantom and on their own spacer on it"),
        );
    }
    for mount in &groups.mounts {
        let missing: Vec<&str> = groups
            .samples
            .iter()
            .filter(|sample| !used.iter().any(|s| s.mount == *mount && s.sample == **sample))
            .map(String::as_str)
            .collect();
        if !missing.is_empty() {
            let message = format!("{mount}: no sweep of sample {}", missing.join(", "));
            found.push(Diagnostic::warning("tag-unbalanced", message).in_file(toml).help(
                "sweep every sample in every mount: what a missing one does there is guessed from the others",
            ));
        }
    }
    groups
}

/// Every frequency at which a mount was read, MHz, increasing.
pub fn grid(used: &[&Sweep], mount: &Mount) -> Vec<f64> {
    let of_mount = used.iter().filter(|s| s.mount == *mount);
    let mut grid: Vec<f64> = of_mount
        .flat_map(|s| s.readings.iter())
        .filter(|r| r.threshold_dbm.is_some() || r.backscatter_db.is_some())
        .map(|r| r.freq_mhz)
        .collect();
    grid.sort_by(f64::total_cmp);
    grid.dedup();
    grid
}

/// Curve of one mount before its name is dropped.
pub struct Curve {
    gap_mm: Option<f64>,
    threshold_dbm: Pchip,
    backscatter_db: Pchip,
    open: Option<OpenSpread>,
}

impl From<Curve> for MountCurve {
    fn from(curve: Curve) -> MountCurve {
        let Curve { gap_mm, threshold_dbm, backscatter_db, open } = curve;
        MountCurve { gap_mm, threshold_dbm, backscatter_db, open }
    }
}

/// Curves of all mounts, with warnings about what they had to assume.
pub fn curves(
    used: &[&Sweep],
    groups: &Groups,
    grid_mhz: &[Vec<f64>],
    tracks: &[Vec<Option<Track>>],
    alignment: &Alignment,
    toml: &Arc<Source>,
    found: &mut Vec<Diagnostic>,
) -> Vec<Curve> {
    let mut curves: Vec<Curve> = Vec::new();
    let beliefs = open_thresholds(groups, grid_mhz, tracks, alignment);
    for (m, mount) in groups.mounts.iter().enumerate() {
        let (mut x, mut y) = (Vec::new(), Vec::new());
        let never: &[Belief] = &beliefs[m];
        for (&freq, level) in grid_mhz[m].iter().zip(&alignment.mean[m]) {
            let Some(level) = level else { continue };
            let belief = never.iter().find(|b| b.freq_mhz == freq);
            x.push(freq);
            y.push(belief.map_or(level.number(), |b| b.median_dbm));
        }
        if x.is_empty() {
            let message = format!("{mount}: not one threshold was measured");
            found.push(
                Diagnostic::error("tag-no-threshold", message)
                    .in_file(toml)
                    .help("measure this mount, or leave its file out"),
            );
            continue;
        }
        if let (Some(first), Some(last)) = (never.first(), never.last()) {
            let message = format!(
                "{mount}: no sample woke at {} of {} frequencies ({} to {} MHz); {}",
                never.len(),
                x.len(),
                first.freq_mhz,
                last.freq_mhz,
                taken_as(never),
            );
            let finding = Diagnostic::warning("tag-never-woke", message).in_file(toml);
            found.push(finding.help("sweep to a higher power if the amplifier allows"));
        }
        let open = (!never.is_empty()).then(|| spread_of(never, &x));
        let threshold_dbm = Pchip::new(x, y);
        spacing(mount, &threshold_dbm, toml, found);
        let backscatter_db = match backscatter(used, groups, mount, &grid_mhz[m], alignment) {
            Some(curve) => curve,
            None => match curves.last() {
                Some(wider) => {
                    let message = format!(
                        "{mount}: no backscatter was measured; taken from the wider mount less twice the difference in threshold"
                    );
                    let finding = Diagnostic::warning("tag-no-backscatter", message).in_file(toml);
                    found
                        .push(finding.help(
                            "the tag's gain counts once in the threshold and twice in the backscatter",
                        ));
                    like_wider(&threshold_dbm, wider)
                }
                None => {
                    let message = format!("{mount}: no backscatter was measured");
                    found.push(Diagnostic::error("tag-no-backscatter", message)
                        .in_file(toml)
                        .help("measure the reply at least in the widest mount: without it nobody knows whether the reader hears the tag"));
                    continue;
                }
            },
        };
        curves.push(Curve { gap_mm: mount.gap_mm(), threshold_dbm, backscatter_db, open });
    }
    curves
}

/// What is believed where no sample woke, per mount.
fn open_thresholds(
    groups: &Groups,
    grid_mhz: &[Vec<f64>],
    tracks: &[Vec<Option<Track>>],
    alignment: &Alignment,
) -> Vec<Vec<Belief>> {
    let shares: Vec<_> = tracks
        .iter()
        .map(|of_mount| {
            move |freq: f64| {
                let levels = || of_mount.iter().flatten().filter_map(|t| t.at(freq));
                levels().filter(|l| l.exact().is_some()).count() as f64 / (levels().count() as f64).max(1.0)
            }
        })
        .collect();
    let seen: Vec<Seen> = (0..groups.mounts.len())
        .map(|m| Seen {
            gap_mm: groups.mounts[m].gap_mm(),
            points: grid_mhz[m]
                .iter()
                .zip(&alignment.mean[m])
                .filter_map(|(f, l)| Some((*f, (*l)?)))
                .collect(),
            exact_share: &shares[m],
        })
        .collect();
    let placing = placement_sd(alignment).map_or(PLACING_DB, |(sd, _)| sd);
    open::beliefs(&seen, alignment.residual_sd_db.unwrap_or(MIN_SCATTER_DB), placing)
}

/// The belief in open thresholds in words.
fn taken_as(never: &[Belief]) -> String {
    let mean = |of: fn(&Belief) -> f64| never.iter().map(of).sum::<f64>() / never.len() as f64;
    let (middle, low, high) = (
        mean(|b| b.median_dbm),
        mean(|b| b.median_dbm - open::Z_975 * b.down_db),
        mean(|b| b.median_dbm + open::Z_975 * b.up_db),
    );
    format!(
        "there, on average, the threshold is believed to be at least {low:.1} dBm (median {middle:.1}, up to {high:.1}) from the shape of the curve and the wider mounts"
    )
}

/// Spread about the curve at all its knots `x`, MHz.
fn spread_of(never: &[Belief], x: &[f64]) -> OpenSpread {
    let at = |of: fn(&Belief) -> f64| {
        let value = |f: &f64| never.iter().find(|b| b.freq_mhz == *f).map_or(0.0, of);
        Pchip::new(x.to_vec(), x.iter().map(value).collect())
    };
    OpenSpread { down_db: at(|b| b.down_db), up_db: at(|b| b.up_db) }
}

/// Mean backscatter over the samples, each read at its own shift. Where no sample answered there is no knot: the
/// curve bridges inner holes and holds its last value outside.
fn backscatter(
    used: &[&Sweep],
    groups: &Groups,
    mount: &Mount,
    grid: &[f64],
    alignment: &Alignment,
) -> Option<Pchip> {
    let of_sample = |sample: &String| {
        let mut points: Vec<(f64, f64)> = used
            .iter()
            .filter(|s| s.mount == *mount && s.sample == *sample)
            .flat_map(|s| s.readings.iter().filter_map(|r| r.backscatter_db.map(|b| (r.freq_mhz, b))))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (x, y): (Vec<f64>, Vec<f64>) = points
            .chunk_by(|a, b| a.0 == b.0)
            .map(|same| (same[0].0, same.iter().map(|p| p.1).sum::<f64>() / same.len() as f64))
            .unzip();
        (!x.is_empty()).then(|| Pchip::new(x, y))
    };
    let curves: Vec<Option<Pchip>> = groups.samples.iter().map(of_sample).collect();
    let (mut x, mut y) = (Vec::new(), Vec::new());
    for &freq in grid {
        let (mut sum, mut count) = (0.0, 0usize);
        for (curve, shift) in curves.iter().zip(&alignment.shift_mhz) {
            // A sample counts where it has a reading at this frequency.
            let Some(curve) = curve else { continue };
            if curve.knots().0.binary_search_by(|knot| knot.total_cmp(&freq)).is_ok() {
                sum += curve.value(freq + shift);
                count += 1;
            }
        }
        if count > 0 {
            x.push(freq);
            y.push(sum / count as f64);
        }
    }
    (!x.is_empty()).then(|| Pchip::new(x, y))
}

fn like_wider(threshold_dbm: &Pchip, wider: &Curve) -> Pchip {
    let (x, y) = threshold_dbm.knots();
    let value = |f: f64, p: f64| wider.backscatter_db.value(f) - 2.0 * (p - wider.threshold_dbm.value(f));
    Pchip::new(x.to_vec(), x.iter().zip(y).map(|(&f, &p)| value(f, p)).collect())
}

/// Warns where neighbouring frequencies lie too far apart for the resonance between them.
fn spacing(mount: &Mount, curve: &Pchip, toml: &Arc<Source>, found: &mut Vec<Diagnostic>) {
    let (x, y) = curve.knots();
    if x.len() < 2 {
        let message = format!("{mount}: one frequency only");
        found.push(Diagnostic::warning("tag-spacing", message).in_file(toml));
        return;
    }
    let best = y.iter().copied().fold(f64::INFINITY, f64::min);
    if y.iter().all(|v| *v <= best + 3.0) {
        // Never 3 dB above its best: the resonance is wider than the sweep.
        return;
    }
    let width = width_3db(x, y);
    let widest =
        x.windows(2).map(|w| (w[1] - w[0], w[0])).fold((0.0, 0.0), |a, b| if b.0 > a.0 { b } else { a });
    let limit = MAX_SPACING_SHARE * width;
    if widest.0 > limit {
        let message = format!(
            "{mount}: {} MHz between readings at {} MHz, but the curve is {width:.0} MHz wide at 3 dB: a dip may be cut off",
            widest.0, widest.1,
        );
        let finding = Diagnostic::warning("tag-spacing", message).in_file(toml);
        found.push(finding.help(format!("read every {:.0} MHz or closer", limit.max(1.0).floor())));
    }
}

/// Width in MHz over which the curve stays within 3 dB of its lowest reading (the span when it never leaves).
pub fn width_3db(x: &[f64], y: &[f64]) -> f64 {
    let best = (0..y.len()).fold(0, |a, b| if y[b] < y[a] { b } else { a });
    let level = y[best] + 3.0;
    let low = (0..best).rev().find(|&k| y[k] > level).map_or(x[0], |k| x[k]);
    let high = (best..y.len()).find(|&k| y[k] > level).map_or(x[x.len() - 1], |k| x[k]);
    high - low
}
