//! Repeatability and reproducibility of a tag's threshold over sessions, operators or days (ISO 5725-2).
//!
//! Sessions (or operators, or days) stand for the laboratories of the standard, samples for its materials. The value of
//! a sweep is its mean threshold over the frequencies all sweeps of the mount share. Every sample is worked out by
//! itself, as the standard asks; then s_r² is the mean over the samples and s_L² the mean of s_x̄² − s_r²/n, cut at 0
//! once at the end (cut sample by sample it would come out too large).
//! Inside one laboratory the result is intermediate precision (ISO 5725-3, from memory): other laboratories differ by
//! more.

use super::answer::{PrecisionAnswer, PrecisionCell, PrecisionFlag};
use crate::lab::faults::{MountSweeps, by_mount};
use crate::lab::stat::interlab::precision;
use crate::lab::stat::outlier::{cochran_critical, grubbs, mandel_h_critical, mandel_k_critical};
use crate::lab::{Sweep, Taken};
use crate::numeric::summary::{mean, standard_deviation, variance};
use crate::tag::load::Measured;

/// Chance of a flag for a sound session. Source: ISO 5725-2:1994, 7.3 (levels of 5 % and 1 %, as in the abstract of doi 10.1007/s10182-011-0185-y).
const ALPHA: f64 = 0.01;
/// A difference seen once in twenty over a standard deviation, 1.96·√2. Source: ISO 5725-6 (from memory), 4.1.
const LIMIT_FACTOR: f64 = 2.8;

/// What may stand for the laboratories.
type Factor = (&'static str, fn(&Taken) -> &str);
const FACTORS: [Factor; 3] =
    [("session", |t| &t.session), ("operator", |t| &t.operator), ("day", |t| &t.day)];

/// One answer for each mount and factor named there with at least two values. A factor that cuts the sweeps as an
/// earlier one does (each day its operator) is left out.
pub fn over_factors(measured: &Measured) -> Vec<PrecisionAnswer> {
    let mut out = Vec::new();
    for group in by_mount(&measured.sweeps) {
        let mut cuts: Vec<Vec<usize>> = Vec::new();
        for (factor, of) in FACTORS {
            let named: Vec<&Sweep> =
                group.sweeps.iter().copied().filter(|s| !of(&s.taken).is_empty()).collect();
            let mut levels: Vec<&str> = Vec::new();
            let mut cut = Vec::new();
            for sweep in &named {
                let name = of(&sweep.taken);
                let k = levels.iter().position(|l| *l == name).unwrap_or_else(|| {
                    levels.push(name);
                    levels.len() - 1
                });
                cut.push(k);
            }
            if levels.len() < 2 || cuts.contains(&cut) {
                continue;
            }
            cuts.push(cut);
            out.push(one(&group, factor, of, &named, &levels));
        }
    }
    out
}

/// Mean threshold of each sweep over the frequencies they all have exactly.
fn values(group: &MountSweeps<'_>, named: &[&Sweep]) -> Vec<Option<f64>> {
    let own = MountSweeps { mount: group.mount, link: group.link, sweeps: named.to_vec() };
    let (freq, _) = own.common_curve();
    let value = |sweep: &&Sweep| {
        let at = sweep.readings.iter().filter(|r| freq.contains(&r.freq_mhz));
        let exact: Vec<f64> = at.filter_map(|r| r.threshold_dbm?.exact()).collect();
        (!exact.is_empty()).then(|| exact.iter().sum::<f64>() / exact.len() as f64)
    };
    named.iter().map(value).collect()
}

fn one(
    group: &MountSweeps<'_>,
    factor: &'static str,
    of: fn(&Taken) -> &str,
    named: &[&Sweep],
    levels: &[&str],
) -> PrecisionAnswer {
    let values = values(group, named);
    let mut samples: Vec<&str> = Vec::new();
    for sweep in named {
        if !samples.contains(&sweep.sample.as_str()) {
            samples.push(&sweep.sample);
        }
    }
    let mut answer = PrecisionAnswer {
        factor,
        mount: group.mount.to_string(),
        link: group.link.to_owned(),
        levels: levels.iter().map(|l| (*l).to_owned()).collect(),
        samples: Vec::new(),
        repeatability_db: None,
        between_db: None,
        reproducibility_db: None,
        repeatability_limit_db: None,
        reproducibility_limit_db: None,
        cells: Vec::new(),
        flags: Vec::new(),
        words: Vec::new(),
    };
    let (mut repeat, mut between, mut done) = (0.0, 0.0, Vec::new());
    for sample in samples {
        let cells: Vec<(&str, Vec<f64>)> = levels
            .iter()
            .map(|level| {
                let here = named.iter().zip(&values);
                let here = here.filter(|(s, _)| s.sample == sample && of(&s.taken) == *level);
                (*level, here.filter_map(|(_, v)| *v).collect::<Vec<f64>>())
            })
            .filter(|(_, values)| !values.is_empty())
            .collect();
        let slices: Vec<&[f64]> = cells.iter().map(|(_, v)| v.as_slice()).collect();
        let Some(found) = precision(&slices, ALPHA) else { continue };
        let count = cells.iter().map(|(_, v)| v.len() as f64).sum::<f64>() / cells.len() as f64;
        repeat += found.repeatability * found.repeatability;
        between +=
            found.spread_of_means * found.spread_of_means - found.repeatability * found.repeatability / count;
        answer.samples.push(sample.to_owned());
        answer.cells.extend(cells.iter().zip(&found.laboratories).map(|((level, _), lab)| PrecisionCell {
            sample: sample.to_owned(),
            level: (*level).to_owned(),
            readings: lab.readings,
            mean_dbm: lab.mean,
            sd_db: lab.standard_deviation,
            h: lab.h,
            k: lab.k,
            level_stands_out: lab.level_stands_out,
            scatter_stands_out: lab.scatter_stands_out,
        }));
        done.push(Done { cells: cells.into_iter().map(|(_, values)| values).collect() });
    }
    if done.is_empty() {
        answer.words.push(format!(
            "{} {factor}s are named, but repeatability and reproducibility need one sample read at least twice on each of three {factor}s.",
            levels.len()
        ));
        return answer;
    }
    let n = done.len() as f64;
    let repeat = repeat / n;
    let reproducibility = (repeat + (between / n).max(0.0)).sqrt();
    let repeatability = repeat.sqrt();
    answer.repeatability_db = Some(repeatability);
    answer.between_db = Some((between / n).max(0.0).sqrt());
    answer.reproducibility_db = Some(reproducibility);
    answer.repeatability_limit_db = Some(LIMIT_FACTOR * repeatability);
    answer.reproducibility_limit_db = Some(LIMIT_FACTOR * reproducibility);
    answer.words = words(&answer, levels.len());
    answer.flags = flags(factor, levels, &done);
    answer
}

fn words(a: &PrecisionAnswer, levels: usize) -> Vec<String> {
    let number = |v: Option<f64>| v.unwrap_or(0.0);
    let factor = a.factor;
    let (one, several) = match factor {
        "operator" => ("by one operator", "by different operators"),
        "day" => ("on one day", "on different days"),
        _ => ("in one session", "in different sessions"),
    };
    vec![
        format!(
            "Repeats {one} scatter by {:.2} dB (repeatability); {factor}s differ by {:.2} dB on top of it, {:.2} dB in all (reproducibility; {levels} {factor}s, samples {}).",
            number(a.repeatability_db),
            number(a.between_db),
            number(a.reproducibility_db),
            a.samples.join(", "),
        ),
        format!(
            "Nineteen times in twenty, two readings of one sample differ by less than {:.1} dB {one} and by less than {:.1} dB {several}.",
            number(a.repeatability_limit_db),
            number(a.reproducibility_limit_db),
        ),
    ]
}

/// What stands out, all samples taken together: the level of a session by Mandel's h and Grubbs' test over the
/// sessions' means, its scatter by Mandel's k and Cochran's test over variances pooled over the samples. Only samples read
/// in every session count here, so that a missing one does not pull a mean.
fn flags(factor: &str, levels: &[&str], done: &[Done]) -> Vec<PrecisionFlag> {
    let full: Vec<&Done> = done.iter().filter(|d| d.cells.len() == levels.len()).collect();
    let p = levels.len();
    if full.is_empty() || p < 3 {
        return Vec::new();
    }
    let n = full.len() as f64;
    let level_of = |k: usize| {
        let from_own =
            |d: &&Done| mean(&d.cells[k]) - d.cells.iter().map(|c| mean(c)).sum::<f64>() / p as f64;
        full.iter().map(from_own).sum::<f64>() / n
    };
    let means: Vec<f64> = (0..p).map(level_of).collect();
    let spread = standard_deviation(&means);
    let dof_of = |k: usize| full.iter().map(|d| d.cells[k].len() as f64 - 1.0).sum::<f64>();
    let pooled = |k: usize| {
        full.iter().map(|d| (d.cells[k].len() as f64 - 1.0) * variance(&d.cells[k])).sum::<f64>() / dof_of(k)
    };
    let variances: Vec<f64> = (0..p).map(pooled).collect();
    let all = variances.iter().sum::<f64>();
    let same_dof = (0..p).all(|k| dof_of(k) == dof_of(0));
    // Readings whose variance has as many degrees of freedom as the pooled one.
    let worth = 1 + dof_of(0) as usize;
    let (limit_h, limit_k) = (mandel_h_critical(p, ALPHA), mandel_k_critical(p, worth, ALPHA));
    let outlying = grubbs(&means);
    let mut out = Vec::new();
    for (k, level) in levels.iter().enumerate() {
        let h = means[k] / spread;
        if spread > 0.0 && h.abs() > limit_h {
            let others = (means.iter().sum::<f64>() - means[k]) / (p as f64 - 1.0);
            let g = outlying.filter(|g| g.index == k);
            let chance = g.map_or(String::new(), |g| {
                format!("; Grubbs G = {:.2}, 1 % limit {:.2}", g.statistic, g.critical_1_percent)
            });
            out.push(PrecisionFlag {
                level: (*level).to_owned(),
                difference_db: means[k] - others,
                statistic: h,
                words: format!(
                    "The level of {factor} {level} stands out: it reads {:+.1} dB against the others (Mandel h = {h:+.2}, limit ±{limit_h:.2}{chance}). Look for what was different then.",
                    means[k] - others,
                ),
            });
        }
        let ratio = (variances[k] * p as f64 / all).sqrt();
        if all > 0.0 && same_dof && ratio > limit_k {
            let share = variances[k] / all;
            out.push(PrecisionFlag {
                level: (*level).to_owned(),
                difference_db: variances[k].sqrt(),
                statistic: ratio,
                words: format!(
                    "The scatter of {factor} {level} stands out: its repeats scatter by {:.2} dB (Mandel k = {ratio:.2}, limit {limit_k:.2}; Cochran C = {share:.2}, 1 % limit {:.2}). Look at how the samples were placed.",
                    variances[k].sqrt(),
                    cochran_critical(p, worth, 0.01),
                ),
            });
        }
    }
    out
}

/// Readings of one sample in each session it was read in.
struct Done {
    cells: Vec<Vec<f64>>,
}
