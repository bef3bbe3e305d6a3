//! Faults that only samples and mounts together show: a dud, labels exchanged, a file in the wrong place, a spike, drift by the minute.
//!
//! Each test has its own limit on the odds of a false alarm; together a clean campaign is accused in at most a few of a hundred
//! (`tests/lab_samples.rs` prints how often).

use super::session::SweepLevel;
use crate::lab::faults::{Finding, odds_in_words};
use crate::lab::stat::two_way;
use crate::numeric::least_squares::fit;
use crate::numeric::student::{t_quantile, t_two_sided_p};
use crate::tag::load::Measured;

/// Odds of a false alarm of each test on a clean campaign.
const ALPHA: f64 = 0.005;
/// Belief in the spread between good samples: as if this many had shown it, dB. Our estimate (the median spread under the prior of `tag::spread`).
const SPREAD_WORTH: f64 = 4.0;
const SPREAD_DB: f64 = 0.75;
/// A single reading counts as a spike from this many robust standard deviations and decibels off its neighbours.
const SPIKE_SIGMA: f64 = 7.0;
const SPIKE_DB: f64 = 0.8;

/// What is found, in no order.
pub fn findings(measured: &Measured) -> Vec<Finding> {
    let mut found: Vec<Finding> = dud(measured).into_iter().collect();
    found.extend(places(measured));
    found.extend(spikes(measured));
    found.extend(drift(measured));
    found
}

/// The sample furthest from the others against the spread that good samples have.
fn dud(measured: &Measured) -> Option<Finding> {
    let offsets = &measured.alignment.offset_db;
    let n = offsets.len();
    if n < 3 {
        return None;
    }
    let others = |i: usize| offsets.iter().enumerate().filter(move |(k, _)| *k != i).map(|(_, o)| *o);
    let count = n as f64 - 1.0;
    let away = |i: usize| offsets[i] - others(i).sum::<f64>() / count;
    let worst = (0..n).max_by(|&a, &b| away(a).abs().total_cmp(&away(b).abs()))?;
    let mean = others(worst).sum::<f64>() / count;
    let squares: f64 = others(worst).map(|o| (o - mean) * (o - mean)).sum();
    let dof = SPREAD_WORTH + count - 1.0;
    let scale = ((SPREAD_WORTH * SPREAD_DB * SPREAD_DB + squares) / dof * (1.0 + 1.0 / count)).sqrt();
    let t = away(worst) / scale;
    if t.abs() < t_quantile(1.0 - 0.5 * ALPHA / n as f64, dof) {
        return None;
    }
    let odds = (n as f64 * t_two_sided_p(t, dof)).min(1.0);
    let sample = &measured.samples[worst];
    let words = format!(
        "Sample {sample} needs {:+.1} dB against the other {}, in all mounts alike; the odds that a good one of {n} lies so far off are {}. Look at it: a broken loop, a chip badly bonded, another model. A forecast spreads this over the whole production.",
        away(worst),
        n - 1,
        odds_in_words(odds),
    );
    Some(Finding {
        kind: "dud",
        serious: true,
        about: format!("sample {sample}"),
        words,
        number: away(worst),
        unit: "dB",
    })
}

/// Exchanged labels, or one sweep that does not fit its sample and mount.
fn places(measured: &Measured) -> Option<Finding> {
    let alignment = &measured.alignment;
    let level = |(rest, offset): (&Option<f64>, &f64)| rest.map(|r| r + offset);
    let full: Vec<(usize, Vec<f64>)> = alignment
        .mount_residual_db
        .iter()
        .enumerate()
        .filter_map(|(m, row)| {
            let levels: Option<Vec<f64>> = row.iter().zip(&alignment.offset_db).map(level).collect();
            Some((m, levels?))
        })
        .collect();
    let levels: Vec<Vec<f64>> = full.iter().map(|(_, row)| row.clone()).collect();
    let (exchange, cell) = two_way::look(&levels)?;
    let mount = |place: usize| measured.mounts[full[place].0].to_string();
    let sample = |i: usize| &measured.samples[i];
    // An exchange leaves two cells off: it explains them both.
    if exchange.odds < ALPHA && exchange.odds <= cell.odds {
        let (a, b) = (sample(exchange.samples.0), sample(exchange.samples.1));
        let place = mount(exchange.mount);
        let words = format!(
            "Samples {a} and {b} look exchanged at {place}: elsewhere they lie {:.1} dB apart, here the other way round; the odds that chance looks like this are {}. Read their labels again, and the names of the files.",
            exchange.apart_db.abs(),
            odds_in_words(exchange.odds),
        );
        return Some(Finding {
            kind: "exchanged",
            serious: true,
            about: place,
            words,
            number: exchange.apart_db,
            unit: "dB",
        });
    }
    (cell.odds < ALPHA && cell.away_db.abs() > 0.5).then(|| {
        let (name, place) = (sample(cell.sample), mount(cell.mount));
        let words = format!(
            "Sample {name} reads {:+.1} dB at {place} against what it reads elsewhere and the others read there; the odds that placing alone does this are {}. The file may belong to another sample or mount, or it was placed badly: measure this one again.",
            cell.away_db,
            odds_in_words(cell.odds),
        );
        Finding { kind: "misplaced", serious: true, about: format!("sample {name}, {place}"), words, number: cell.away_db, unit: "dB" }
    })
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Single readings off their neighbours in the same sweep, the curve of all taken off first; one finding per sweep.
fn spikes(measured: &Measured) -> Vec<Finding> {
    let mut out = Vec::new();
    let alignment = &measured.alignment;
    for sweep in measured.sweeps.iter().filter(|s| s.link == measured.link) {
        let Some(m) = measured.mounts.iter().position(|mount| *mount == sweep.mount) else { continue };
        let Some(i) = measured.samples.iter().position(|sample| *sample == sweep.sample) else { continue };
        let curve = &measured.tag.curve.mounts()[m].threshold_dbm;
        let rest: Vec<(f64, f64)> = sweep
            .readings
            .iter()
            .filter_map(|r| {
                let at = r.freq_mhz - alignment.shift_mhz[i];
                // Beyond its span the curve stands still: that bend is not the reading's.
                let (low, high) = curve.span();
                if !(low..=high).contains(&at) {
                    return None;
                }
                let expected = alignment.offset_db[i] + curve.value(at);
                Some((r.freq_mhz, r.threshold_dbm?.exact()? - expected))
            })
            .collect();
        if rest.len() < 9 {
            continue;
        }
        // One spike takes its share of the mean curve along: neighbours tell better than the curve.
        let bend = |k: usize| rest[k].1 - 0.5 * (rest[k - 1].1 + rest[k + 1].1);
        let mut sizes: Vec<f64> = (1..rest.len() - 1).map(|k| bend(k).abs()).collect();
        let sigma = median(&mut sizes) / 0.6745;
        // At the ends fewer samples make the curve, shifted as they are against each other.
        let worst = (3..rest.len() - 3).max_by(|&a, &b| bend(a).abs().total_cmp(&bend(b).abs()));
        let Some(worst) = worst.filter(|&k| bend(k).abs() > (SPIKE_SIGMA * sigma).max(SPIKE_DB)) else {
            continue;
        };
        let place = format!("sample {}, {}", sweep.sample, sweep.mount);
        let words = format!(
            "The reading at {} MHz lies {:+.1} dB off its neighbours, {:.0} times what single readings scatter. An interferer or a slip of the instrument: read it again.",
            rest[worst].0,
            bend(worst),
            bend(worst).abs() / sigma.max(1e-3),
        );
        out.push(Finding {
            kind: "spike",
            serious: false,
            about: place,
            words,
            number: bend(worst),
            unit: "dB",
        });
    }
    out
}

/// Slope of the levels over the hour each sweep began, whatever the order of the files; mount and sample have levels of their own, so a slope
/// is not hidden in them. `None` where the plan of the session cannot tell them apart.
fn drift(measured: &Measured) -> Option<Finding> {
    let session = super::session::answer(measured);
    if !session.timed {
        return None;
    }
    let (first, last) = (session.sweeps.first()?.minute?, session.sweeps.last()?.minute?);
    let is = |yes: bool| f64::from(u8::from(yes));
    let row = |s: &SweepLevel| -> Vec<f64> {
        let mounts = measured.mounts.iter().map(|m| is(m.to_string() == s.mount));
        let samples = measured.samples.iter().skip(1).map(|name| is(*name == s.sample));
        mounts.chain(samples).chain([(s.minute.unwrap_or(first) - first) / 60.0]).collect()
    };
    let rows: Vec<Vec<f64>> = session.sweeps.iter().map(row).collect();
    let levels: Vec<f64> = session.sweeps.iter().map(|s| s.level_db).collect();
    let fitted = fit(&rows, &levels)?;
    let columns = fitted.coefficients.len();
    let dof = rows.len().checked_sub(columns).filter(|dof| *dof > 0)? as f64;
    let variance = fitted.residual_square_sum / dof * fitted.unscaled_covariance[columns - 1][columns - 1];
    let slope = fitted.coefficients[columns - 1];
    let odds = t_two_sided_p(slope / variance.sqrt().max(1e-12), dof);
    let moved = slope * (last - first) / 60.0;
    (odds < ALPHA && moved.abs() > 0.2).then(|| {
        let words = format!(
            "The level moves by {moved:+.1} dB over the {:.0} minutes of the session, by the minute each sweep began; the odds that chance does this are {}. Something drifted: warm-up, a cable. Measure a sample again at the end of every session.",
            last - first,
            odds_in_words(odds),
        );
        Finding {
            kind: "drift",
            serious: true,
            about: "all sweeps by the minute".to_owned(),
            words,
            number: moved,
            unit: "dB",
        }
    })
}
