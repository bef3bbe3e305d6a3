//! The lab's answer as text, made to be read aloud: what is wrong first, then curves, spread, comparison.

use super::lab_session_text::{HOW_TO_READ, batches, equivalence, links, precision};
use super::words::{listed, table, wrap};
use crate::lab::stat::compare::Verdict;
use crate::study::lab::{BandAnswer, LabAnswer, MountAnswer, PairAnswer, PairRow, TagAnswer};

const WIDTH: usize = 100;
const CAUTION: &str = "Sweep outside a licensed band only inside a shielded chamber. Local rules prevail.";

/// The whole report.
pub fn lab_text(answer: &LabAnswer) -> String {
    let mut out = String::new();
    for tag in &answer.tags {
        one(&mut out, tag, answer.level);
    }
    for pair in &answer.comparisons {
        two(&mut out, pair, answer.level);
    }
    if let Some(check) = &answer.equivalence {
        out.push_str(&format!(
            "Batch {} against prototype {}: equal within {} dB?\n",
            check.batch, check.prototype, check.margin_db
        ));
        equivalence(&mut out, check);
        bullet(&mut out, HOW_TO_READ);
        out.push('\n');
    }
    if let Some(folder) = &answer.written {
        out.push_str(&format!("Written: {folder} (tag.toml and sweeps referred to the tag).\n\n"));
    }
    out.push_str("Assumed, not measured\n");
    for line in &answer.assumed {
        bullet(&mut out, line);
    }
    out.push_str("\nCaution\n");
    bullet(&mut out, CAUTION);
    out.push_str(&format!("\n{} {}; files read (SHA-256):\n", answer.program, answer.version));
    for input in &answer.inputs {
        out.push_str(&format!("  {}  {}\n", &input.sha256[..16.min(input.sha256.len())], input.path));
    }
    out
}

pub(super) fn bullet(out: &mut String, text: &str) {
    let wrapped = wrap(text, WIDTH - 2, "    ");
    out.push_str("  - ");
    out.push_str(wrapped.trim_start());
}

fn db(value: Option<f64>) -> String {
    value.map_or("-".to_owned(), |v| format!("{v:.1}"))
}

fn one(out: &mut String, tag: &TagAnswer, level: f64) {
    let how = if tag.referred_here { "raw readings, referred here" } else { "readings referred to the tag" };
    out.push_str(&format!("Tag {}: {} samples, {how}\n", tag.name, tag.samples.len()));
    if !tag.note.is_empty() {
        out.push_str(&wrap(&tag.note, WIDTH, ""));
    }
    out.push('\n');
    let serious = tag.findings.iter().filter(|f| f.serious).count();
    let heading = match (tag.findings.len() + tag.warnings.len(), serious) {
        (0, _) => "No fault of the measurement was found.\n".to_owned(),
        (n, 0) => format!("What to look at in the measurement ({n}), nothing serious\n"),
        (1, 1) => "What is wrong with the measurement (1, serious: clear it up first)\n".to_owned(),
        (n, s) if n == s => {
            format!("What is wrong with the measurement ({n}, all serious: clear them up first)\n")
        }
        (n, s) => {
            format!("What is wrong with the measurement ({n}, {s} of them serious: clear these up first)\n")
        }
    };
    out.push_str(&heading);
    for finding in &tag.findings {
        let mark = if finding.serious { "SERIOUS, " } else { "" };
        bullet(out, &format!("{mark}{} ({}): {}", finding.kind, finding.about, finding.words));
    }
    for warning in &tag.warnings {
        bullet(out, &format!("{warning}."));
    }
    curves(out, tag, level);
    out.push_str("\nWhat the samples tell about the production\n");
    for line in &tag.spread.words {
        bullet(out, line);
    }
    let moved = tag.samples.iter().zip(tag.spread.offset_db.iter().zip(&tag.spread.shift_mhz));
    let list: Vec<String> =
        moved.map(|(name, (offset, shift))| format!("{name} {offset:+.1} dB {shift:+.1} MHz")).collect();
    bullet(out, &format!("Samples against their average: {}.", list.join(", ")));
    if let Some(repeats) = &tag.repeats {
        bullet(
            out,
            &format!(
                "Repeats of one sample scatter by {:.2} dB, samples differ by {:.2} dB (standard deviations, {} readings of {} samples).",
                repeats.within, repeats.between, repeats.readings, repeats.samples
            ),
        );
    }
    uncertainty(out, tag);
    precision(out, tag);
    if let Some(answer) = &tag.batches {
        batches(out, answer, level);
    }
    links(out, tag);
    out.push('\n');
}

fn curves(out: &mut String, tag: &TagAnswer, level: f64) {
    out.push_str(&format!(
        "\nThreshold of the average tag, dBm at the tag (± at {:.0} %, the laboratory's own {:.1} dB not counted), and backscatter, dB\n",
        100.0 * level, tag.lab_bias_sd_db
    ));
    let regions: Vec<String> = tag.mounts.first().map_or(Vec::new(), |m| {
        m.bands.iter().map(|b| format!("{} {}-{}", b.region, b.low_mhz, b.high_mhz)).collect()
    });
    let mut header = vec!["mount", "best", "at MHz", "width MHz", "open"];
    header.extend(regions.iter().map(String::as_str));
    let rows: Vec<Vec<String>> = tag
        .mounts
        .iter()
        .map(|m| {
            let mut row = vec![
                m.mount.clone(),
                format!("{:.1}", m.best_dbm),
                format!("{:.0}", m.best_mhz),
                width(m),
                format!("{:.0} %", 100.0 * m.censored_share),
            ];
            row.extend(m.bands.iter().map(|b| match (b.threshold_dbm, b.half_width_db) {
                (Some(t), Some(h)) => format!("{t:.1} ± {h:.1} / {}", db(b.backscatter_db)),
                (Some(t), None) => open_words(b, t),
                _ => "not covered".to_owned(),
            }));
            row
        })
        .collect();
    out.push_str(&table(&header, &rows));
    out.push_str("  open: share of readings that only say \"above\" or \"below\" a level\n");
    if tag.mounts.iter().flat_map(|m| &m.bands).any(|b| b.open_share > 0.0) {
        out.push_str(&wrap(
            "at least: no sample woke in part of the band; the shape of the curve and the wider mounts say where its threshold may lie (median, upper end)",
            WIDTH - 2,
            "  ",
        ));
    }
}

/// A band in which no sample woke somewhere.
fn open_words(b: &BandAnswer, median_dbm: f64) -> String {
    let low = b.low_dbm.unwrap_or(median_dbm);
    let high = b.high_dbm.unwrap_or(median_dbm);
    format!("at least {low:.1} ({median_dbm:.1}, to {high:.1}) / {}", db(b.backscatter_db))
}

fn uncertainty(out: &mut String, tag: &TagAnswer) {
    let Some(answer) = &tag.budget else { return };
    let budget = &answer.budget;
    out.push_str(&format!("\nUncertainty of one threshold at {:.0} MHz, dB\n", answer.freq_mhz));
    let reach = |reach| match reach {
        crate::lab::stat::budget::Reach::Laboratory => "all tags of the laboratory",
        crate::lab::stat::budget::Reach::Session => "all tags of the session",
        crate::lab::stat::budget::Reach::Reading => "this reading",
    };
    let rows: Vec<Vec<String>> = budget
        .rows
        .iter()
        .map(|r| {
            let share = format!("{:.0} %", 100.0 * r.share_of_variance);
            vec![r.name.clone(), format!("{:.2}", r.contribution), share, reach(r.reach).to_owned()]
        })
        .collect();
    out.push_str(&table(&["part", "standard", "share", "shifts alike"], &rows));
    let total = &budget.total;
    bullet(
        out,
        &format!(
            "Together {:.2} dB; expanded {:.2} dB (k = {:.2}, {:.0} %). Shared by all tags of the laboratory {:.2} dB and of the session {:.2} dB: this part cancels between two tags measured together.",
            total.standard_uncertainty,
            total.expanded_uncertainty,
            total.coverage_factor,
            100.0 * total.level,
            budget.laboratory,
            budget.session,
        ),
    );
    let ends: Vec<String> =
        answer.expanded_db.iter().map(|(f, u)| format!("{u:.2} dB at {f:.0} MHz")).collect();
    bullet(out, &format!("Expanded over the sweep: {}.", ends.join(", ")));
}

fn two(out: &mut String, pair: &PairAnswer, level: f64) {
    out.push_str(&format!(
        "{} against {}: threshold, dB ({:.0} %)\n",
        pair.first,
        pair.second,
        100.0 * level
    ));
    let rows: Vec<Vec<String>> = pair.rows.iter().map(|r| pair_row(pair, r)).collect();
    out.push_str(&table(&["where", "difference", "interval", "so"], &rows));
    for place in &pair.crossings {
        let clear: Vec<String> = place
            .crossings
            .iter()
            .filter(|c| c.clear)
            .map(|c| {
                let lower = if c.first_lower_before { &pair.first } else { &pair.second };
                format!("at {:.0} MHz ({lower} needs less below it)", c.freq_mhz)
            })
            .collect();
        if !clear.is_empty() {
            bullet(out, &format!("{}: the curves cross {}.", place.place, clear.join(", ")));
        }
    }
    for line in pair.words.iter().chain(&pair.left_out).chain(&pair.backscatter) {
        bullet(out, line);
    }
    out.push_str(
        "  3 dB less threshold reaches as far with half the power: the trade calls that twice as good.\n\n",
    );
}

/// Width of the resonance; a curve that never leaves 3 dB is at least as wide as its sweep.
fn width(mount: &MountAnswer) -> String {
    let span = match (mount.curve.first(), mount.curve.last()) {
        (Some(first), Some(last)) => last.freq_mhz - first.freq_mhz,
        _ => 0.0,
    };
    let sign = if mount.width_mhz >= span { ">" } else { "" };
    format!("{sign}{:.0}", mount.width_mhz)
}

/// Tag that needs at least so many dB more than the other, because it never woke in part of the band.
fn bound<'a>(pair: &'a PairAnswer, r: &PairRow) -> Option<(String, &'a str, f64)> {
    match (r.at_most_db, r.at_least_db) {
        (Some(most), _) if most < 0.0 => Some((format!("<= {most:+.1}"), &pair.second, -most)),
        (_, Some(least)) if least > 0.0 => Some((format!(">= {least:+.1}"), &pair.first, least)),
        _ => None,
    }
}

/// What one line of a comparison comes to.
pub fn so_words(pair: &PairAnswer, r: &PairRow) -> String {
    if let Some((_, worse, size)) = bound(pair, r) {
        return format!("{worse} needs at least {size:.1} dB more: it never woke in part of the band");
    }
    if !r.never_woke.is_empty() {
        return format!("not known: {} never woke in part of the band", listed(&r.never_woke));
    }
    match (r.difference.verdict, r.difference.samples_needed) {
        (Verdict::FirstLower, _) => format!("{} needs less", pair.first),
        (Verdict::SecondLower, _) => format!("{} needs less", pair.second),
        (_, Some(n)) => format!("cannot be told apart (about {n} samples each would)"),
        _ => "cannot be told apart".to_owned(),
    }
}

/// One line of a comparison. A tag that never woke leaves the difference open on one side.
fn pair_row(pair: &PairAnswer, r: &PairRow) -> Vec<String> {
    let d = &r.difference;
    let (difference, interval) = match bound(pair, r) {
        Some((difference, ..)) => (difference, "open".to_owned()),
        None if !r.never_woke.is_empty() => ("-".to_owned(), "open".to_owned()),
        None => {
            (format!("{:+.1}", d.difference), format!("{:+.1} to {:+.1}", d.interval.low, d.interval.high))
        }
    };
    vec![format!("{}, {}", r.region, r.place), difference, interval, so_words(pair, r)]
}
