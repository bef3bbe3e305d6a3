//! Of a forecast: what it hinges on, and how sure it is. Sentences shared by text and page.

use super::predict_text::worst;
use super::words::*;
use crate::estimate::replicates::Figure;
use crate::estimate::run::Stopped;
use crate::passing::unknowns::OPEN_RANK;
use crate::study::predict::{Forecast, PointForecast};
use crate::study::what_drives::Driver;

/// The drivers of the worst point that stand out of chance.
pub fn clear_drivers(p: &PointForecast, most: usize) -> Vec<&Driver> {
    p.drivers.iter().filter(|d| d.clear).take(most).collect()
}

/// A value with its unit.
pub fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { format!("{value:.2}") } else { format!("{value:.2} {unit}") }
}

pub fn hinges(out: &mut String, f: &Forecast) {
    let Some(p) = worst(f) else { return };
    let clear = clear_drivers(p, 3);
    if clear.is_empty() {
        return;
    }
    out.push_str(&format!(
        "What it hinges on at {}: missed per 10,000 at either end, share it decides alone\n",
        p.name
    ));
    let rows: Vec<Vec<String>> = clear
        .iter()
        .map(|d| {
            let end = |value: f64, rate: &Figure| {
                format!("{}: {}", with_unit(value, &d.unit), per_10_000(rate.value))
            };
            vec![
                d.what.clone(),
                end(d.low, &d.miss_rate_at_low),
                end(d.high, &d.miss_rate_at_high),
                percent(d.share.value),
                if d.nobody_knows { "until measured".to_owned() } else { "of the day".to_owned() },
            ]
        })
        .collect();
    out.push_str(&table(&["unknown", "lowest third", "highest third", "decides", "holds"], &rows));
    if let Some(first) = clear.iter().find(|d| d.nobody_knows) {
        out.push_str(&wrap(&format!("To find out {}: {}.", first.what, first.measure), WIDTH, "  "));
    }
    out.push('\n');
}

/// Why the run ended, in words.
pub fn why_ended(f: &Forecast) -> String {
    match f.stopped {
        Stopped::Settled => format!(
            "Each rate is known to {} or {} missed runners per race (standard error), whichever is looser.",
            percent(f.precision.relative),
            significant(f.precision.runners)
        ),
        Stopped::WorldsDone => {
            "The run ended with the passings it was given; the intervals say how precise that is.".to_owned()
        }
        Stopped::Interrupted => "The run was interrupted: this is what was known by then.".to_owned(),
    }
}

pub fn certainty(out: &mut String, f: &Forecast) {
    out.push_str("How sure\n");
    item(
        out,
        &format!(
            "Simulation: {} runners past every point in {} draws of what nobody knows, each read for 64 race days. {}",
            grouped(f.passings),
            grouped(f.worlds),
            why_ended(f)
        ),
    );
    item(
        out,
        "Race to race: weather, batch, laboratory error and unmeasured quantities. Only measuring narrows it, not computing.",
    );
    item(
        out,
        &format!(
            "Measured: the tag's curves from {} samples (offsets between them {:.2} dB, standard deviation), down to {:.1} mm from the phantom. Nothing else here is measured.",
            f.tag.samples, f.tag.observed_offset_sd_db, f.tag.closest_gap_mm
        ),
    );
    if let Some(sentence) = open_thresholds(f) {
        item(out, &sentence);
    }
    for p in f.points.iter().filter(|p| p.closer_than_measured > 0.01).take(1) {
        item(
            out,
            &format!(
                "{} of the bibs (and {} of the misses) sit closer to the body than any mount measured; there the closest mount's curve stands in, which flatters the tag.",
                percent(p.closer_than_measured),
                percent(p.closer_than_measured_of_misses)
            ),
        );
    }
    let k: Vec<String> =
        f.points.iter().filter_map(|p| Some(format!("{} {:.0} dB", p.name, p.rician_k_db?))).collect();
    if !k.is_empty() {
        let text = format!(
            "Rays over scattered waves at the best antenna of a median runner (Rician K): {}.",
            k.join(", ")
        );
        item(out, &text);
    }
    f.warnings.iter().for_each(|warning| item(out, &format!("Warning: {warning}")));
}

/// What hangs on thresholds that the laboratory left open, at the worst point; none where every one was read.
pub fn open_thresholds(f: &Forecast) -> Option<String> {
    let p = worst(f).filter(|_| f.tag.thresholds_open)?;
    let Some(d) = p.drivers.iter().find(|d| d.key == OPEN_RANK) else {
        return Some(
            "In part of a mount no sample woke: the threshold there is drawn, and these draws are too few to say how much hangs on it.".to_owned(),
        );
    };
    let (low, high) = (d.miss_rate_at_low.value, d.miss_rate_at_high.value);
    let weight = if high > 1.3 * low { "measure it before you rely on this" } else { "little hangs on it" };
    Some(format!(
        "In part of a mount no sample woke; its threshold is drawn from what the rest of the sweeps allows. At {}, the lowest third of that gives {} missed of 10,000, the highest third {}: {weight}.",
        p.name,
        per_10_000(low),
        per_10_000(high)
    ))
}
