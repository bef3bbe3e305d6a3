//! The page of a laboratory session.

use super::{assumed_lines, inputs, strings};
use crate::report::figure::Figure;
use crate::report::figures::equal::{comparison, equivalence, who_needs_less};
use crate::report::figures::lab::{backscatter, samples, side_by_side, thresholds};
use crate::report::figures::session::{drift, residuals, ripple};
use crate::report::lab_session_text::summary;
use crate::report::page::Page;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::percent;
use crate::study::lab::{EquivalenceAnswer, LabAnswer, TagAnswer};
use crate::tag::load::Measured;

/// Cautions that belong to a chamber.
const CAUTIONS: [&str; 3] = [
    "Sweep outside the licensed band only inside a shielded chamber; what may be transmitted is a matter of local law.",
    "Keep people out of the beam while the generator is on.",
    "Local rules and licensed practice prevail over anything printed here.",
];

/// The page; `sessions` holds the readings of the tags in the same order.
pub fn page(a: &LabAnswer, sessions: &[Measured]) -> Page {
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("mount", "mount", Show::Fixed(0)),
        ("region", "band", Show::Fixed(0)),
        ("threshold_dbm", "threshold, dBm", Show::Fixed(1)),
        ("half_width_db", "give or take, dB", Show::Fixed(1)),
        ("worst_in_band_dbm", "worst in the band, dBm", Show::Fixed(1)),
        ("backscatter_db", "backscatter, dB", Show::Fixed(1)),
        ("low_dbm", "at least, dBm", Show::Fixed(1)),
        ("high_dbm", "at most, dBm", Show::Fixed(1)),
        ("open_percent", "no sample woke, % of the band", Show::Fixed(0)),
    ]);
    // Whether it can be trusted, then which tag is better, then how sure each of them is known.
    let serious = a.tags.iter().flat_map(|t| t.findings.iter().filter(|f| f.serious).map(move |f| (t, f)));
    let mut hinges: Vec<String> =
        serious.map(|(t, f)| format!("{}, {}: {}", t.name, f.about, f.words)).collect();
    hinges.extend(a.comparisons.iter().flat_map(|pair| pair.words.iter().chain(&pair.left_out).cloned()));
    let mut figures: Vec<_> = side_by_side(a, "tags").into_iter().collect();
    for (k, tag) in a.tags.iter().enumerate() {
        for mount in &tag.mounts {
            for band in &mount.bands {
                table.row([
                    Cell::from(tag.name.as_str()),
                    mount.mount.as_str().into(),
                    format!("{}, {} to {}\u{a0}MHz", band.region, band.low_mhz, band.high_mhz).into(),
                    band.threshold_dbm.into(),
                    band.half_width_db.into(),
                    band.worst_in_band_dbm.into(),
                    band.backscatter_db.into(),
                    band.low_dbm.into(),
                    band.high_dbm.into(),
                    (100.0 * band.open_share).into(),
                ]);
            }
        }
        hinges.extend(tag.spread.words.iter().map(|w| format!("{}: {w}", tag.name)));
        for of in &tag.precision {
            hinges.extend(of.words.iter().map(|w| format!("{}, {}: {w}", tag.name, of.mount)));
        }
        if let Some(batches) = &tag.batches {
            hinges.extend(batches.words.iter().map(|w| format!("{}: {w}", tag.name)));
        }
        for link in &tag.links {
            hinges.push(format!("{}, {}: {}", tag.name, link.mount, link.words));
        }
        figures.push(thresholds(tag, a.level, &format!("thresholds-{}", k + 1)));
        figures.push(backscatter(tag, &format!("backscatter-{}", k + 1)));
        figures.extend(samples(tag, &format!("samples-{}", k + 1)));
        figures.extend(ripple(tag, &format!("ripple-{}", k + 1)));
        figures.extend(drift(tag, &format!("drift-{}", k + 1)));
        figures.extend(sessions.get(k).and_then(|m| residuals(m, &format!("session-{}", k + 1))));
    }
    let tests = tested(a);
    let names: Vec<&str> = a.tags.iter().map(|t| t.name.as_str()).collect();
    let lines = a.assumed.iter().map(String::as_str);
    Page {
        study: "lab".into(),
        subject: names.join(", "),
        note: notes(a),
        answer: answer(a, &tests),
        caption: format!("Average tag in each band, {} interval", percent(a.level)),
        table,
        hinges_heading: "What the measurement shows".into(),
        hinges,
        cautions: strings(&CAUTIONS),
        figures: first_figures(a, &tests).into_iter().chain(figures).collect(),
        assumptions: assumed_lines(lines),
        inputs: inputs(&a.inputs),
        run: vec![("program".into(), format!("{} {}", a.program, a.version))],
        ..Page::default()
    }
}

/// Tests of equivalence, with the tag they belong to: batches of one tag, then a batch given as a folder of its own.
fn tested(a: &LabAnswer) -> Vec<(&str, &EquivalenceAnswer)> {
    let own = a.tags.iter().flat_map(|t| t.batches.iter().map(move |b| (t, b)));
    let own = own.flat_map(|(t, b)| b.equivalence.iter().map(move |e| (t.name.as_str(), e)));
    let given = a.equivalence.iter().map(|e| (a.tags.first().map_or("", |t| t.name.as_str()), e));
    own.chain(given).collect()
}

/// Whether the measurement can be trusted, then what was asked of it.
fn answer(a: &LabAnswer, tests: &[(&str, &EquivalenceAnswer)]) -> String {
    let serious = a.tags.iter().flat_map(|t| &t.findings).filter(|f| f.serious).count();
    let samples: usize = a.tags.iter().map(|t| t.samples.len()).sum();
    let sound = match serious {
        0 => format!("{samples} samples read; nothing serious found wrong with the measurement."),
        1 => format!("{samples} samples read; one serious finding about the measurement: clear it up first."),
        n => format!(
            "{samples} samples read; {n} serious findings about the measurement: clear them up first."
        ),
    };
    let pairs = a.comparisons.iter().map(|pair| format!("By threshold {}.", who_needs_less(pair)));
    let all = std::iter::once(sound).chain(tests.iter().map(|(_, e)| summary(e))).chain(pairs);
    all.collect::<Vec<_>>().join(" ")
}

/// What the tag files say of themselves; with several tags each after its name.
fn notes(a: &LabAnswer) -> String {
    let one = |t: &TagAnswer| match a.tags.len() {
        1 => t.note.clone(),
        _ => format!("{}: {}.", t.name, t.note.trim_end_matches('.')),
    };
    a.tags.iter().filter(|t| !t.note.is_empty()).map(one).collect::<Vec<_>>().join(" ")
}

/// What was asked first: equal or not, which tag is better.
fn first_figures(a: &LabAnswer, tests: &[(&str, &EquivalenceAnswer)]) -> Vec<Figure> {
    let mut out: Vec<Figure> = equivalence(tests).into_iter().collect();
    let pairs = a.comparisons.iter().enumerate();
    out.extend(pairs.filter_map(|(k, pair)| comparison(pair, a.level, &format!("comparison-{}", k + 1))));
    out
}
