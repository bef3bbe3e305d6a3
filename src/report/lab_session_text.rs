//! The lab's answer as text, second part: batches, sessions and link profiles of one tag, and batch against prototype.

use super::lab_text::bullet;
use super::words::{table, wrap};
use crate::lab::stat::compare::Verdict;
use crate::lab::stat::equivalence::{Equivalence, EquivalenceVerdict};
use crate::study::lab::{BatchesAnswer, EquivalenceAnswer, TagAnswer};

/// Two one-sided tests in words.
pub const HOW_TO_READ: &str = "Difference: batch less prototype. Equal: its whole interval lies inside the margin (two one-sided tests at 5 %). Not equal: all of it lies outside. Only within: these readings show no smaller margin. Spread ratio: batch over prototype.";

/// Repeatability and reproducibility over sessions, operators or days.
pub fn precision(out: &mut String, tag: &TagAnswer) {
    for answer in &tag.precision {
        let link = if answer.link.is_empty() { String::new() } else { format!(", link {}", answer.link) };
        out.push_str(&format!("\nRepeats over {}s (ISO 5725-2), {}{link}\n", answer.factor, answer.mount));
        for line in &answer.words {
            bullet(out, line);
        }
        if answer.repeatability_db.is_some() {
            bullet(
                out,
                "All of it was read in one laboratory, so this is intermediate precision: another laboratory may differ by more.",
            );
        }
    }
}

/// Batches of one tag.
pub fn batches(out: &mut String, answer: &BatchesAnswer, level: f64) {
    out.push_str("\nProduction batches\n");
    let rows: Vec<Vec<String>> = answer
        .rows
        .iter()
        .map(|row| {
            let approved = answer.prototype.as_deref() == Some(&row.batch);
            let name = match (row.batch.as_str(), approved) {
                ("", _) => "not named".to_owned(),
                (name, true) => format!("{name} (prototype)"),
                (name, false) => name.to_owned(),
            };
            let half = row.half_width_db.map_or(String::new(), |h| format!(" ± {h:.1}"));
            vec![
                name,
                row.samples.len().to_string(),
                format!("{:+.1}{half}", row.offset_db),
                row.sd_db.map_or("-".to_owned(), |sd| format!("{sd:.2}")),
            ]
        })
        .collect();
    let offset = format!("against the average, dB ({:.0} %)", 100.0 * level);
    out.push_str(&table(&["batch", "samples", &offset, "scatter of its samples, dB"], &rows));
    for line in &answer.words {
        bullet(out, line);
    }
    for check in &answer.equivalence {
        equivalence(out, check);
    }
    if !answer.equivalence.is_empty() {
        bullet(out, HOW_TO_READ);
    }
}

/// What the two one-sided tests of one place say, in few words.
pub fn verdict(check: &Equivalence) -> String {
    match check.verdict {
        EquivalenceVerdict::Equivalent => "equal".to_owned(),
        EquivalenceVerdict::Different => "not equal".to_owned(),
        EquivalenceVerdict::Undecided => {
            format!("only within {:.1} dB", check.smallest_margin)
        }
    }
}

/// How the places of a comparison ended, in one sentence.
pub fn summary(answer: &EquivalenceAnswer) -> String {
    let count = |verdict| answer.rows.iter().filter(|r| r.check.level.verdict == verdict).count();
    let (equal, different) = (count(EquivalenceVerdict::Equivalent), count(EquivalenceVerdict::Different));
    let (all, margin) = (answer.rows.len(), answer.margin_db);
    let (batch, prototype) = (&answer.batch, &answer.prototype);
    match (all, equal, different) {
        (0, _, _) => format!("Batch {batch} could not be tested against prototype {prototype}."),
        (_, e, _) if e == all => {
            format!(
                "Batch {batch} equals prototype {prototype} within {margin} dB at all {all} places (bands and mounts)."
            )
        }
        (_, _, d) if d > 0 => format!(
            "Batch {batch} differs from prototype {prototype} by more than {margin} dB at {d} of {all} places."
        ),
        (_, e, _) => format!(
            "It is not shown that batch {batch} equals prototype {prototype} within {margin} dB: shown at {e} of {all} places."
        ),
    }
}

/// Production batch against the approved prototype.
pub fn equivalence(out: &mut String, answer: &EquivalenceAnswer) {
    out.push_str(&wrap(&summary(answer), 100, "  "));
    let rows: Vec<Vec<String>> = answer
        .rows
        .iter()
        .map(|row| {
            let (level, spread) = (&row.check.level, &row.check.spread_ratio_interval);
            vec![
                format!("{}, {}", row.region, row.place),
                format!("{:+.1}", level.difference),
                format!("{:+.1} to {:+.1}", level.interval.low, level.interval.high),
                verdict(level),
                format!("{:.1} ({:.1} to {:.1})", row.check.spread_ratio, spread.low, spread.high),
            ]
        })
        .collect();
    if let Some(row) = answer.rows.first() {
        let odds = format!("{:.0} % interval", 100.0 * (1.0 - 2.0 * row.check.level.alpha));
        let asked = format!("within {} dB?", answer.margin_db);
        let head = ["where", "difference, dB", &odds, &asked, "spread ratio"];
        out.push_str(&table(&head, &rows));
    }
    for line in &answer.words {
        bullet(out, line);
    }
}

/// Other link profiles against the curve's.
pub fn links(out: &mut String, tag: &TagAnswer) {
    if tag.links.is_empty() {
        return;
    }
    out.push_str("\nLink profiles: threshold against that of the curve's profile, sample by sample\n");
    let rows: Vec<Vec<String>> = tag
        .links
        .iter()
        .map(|link| {
            let d = &link.difference;
            vec![
                link.link.clone(),
                link.mount.clone(),
                format!("{:+.1}", d.difference),
                format!("{:+.1} to {:+.1}", d.interval.low, d.interval.high),
                match d.verdict {
                    Verdict::FirstLower => "needs less".to_owned(),
                    Verdict::SecondLower => "needs more".to_owned(),
                    Verdict::CannotBeToldApart => "cannot be told apart".to_owned(),
                },
            ]
        })
        .collect();
    let interval = format!("{:.0} % interval", 100.0 * tag.links[0].difference.level);
    out.push_str(&table(&["profile", "mount", "difference, dB", &interval, "so it"], &rows));
    for (i, link) in tag.links.iter().enumerate() {
        if tag.links[..i].iter().any(|before| before.link == link.link) {
            continue;
        }
        let settings = link.settings.as_deref().unwrap_or("not described by [[link_profile]] in tag.toml");
        bullet(out, &format!("{} against {}: {settings}.", link.link, link.against));
    }
}
