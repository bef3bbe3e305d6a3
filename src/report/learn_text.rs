//! What was learned, as text: whether it can be believed first, then before and after, then source by source.

use super::words::{
    WIDTH, first_lines, grouped, heading_note, item, per_10_000, percent, say, significant, table, wrap,
};
use crate::study::learn::{
    Answer, CauseAnswer, Foreseen, RungAnswer, SourceAnswer, Spread, TargetAnswer, Verdict,
};
use std::fmt::Write;
use std::path::Path;

/// Cautions of looking back.
pub const LEARN_CAUTIONS: [&str; 4] = [
    "What was learned holds for this tag, band, beliefs and build; the folder refuses others. No single belief in it is a result: only their combinations are.",
    "Take all races or none. A point with an outage on record is left out by `excluded`; a count is never left out because it looks bad.",
    "Counts that fit may fit for a wrong reason: before a layout is changed on the strength of them, look at patterns of lines and at who was missed.",
    "In trials power goes only downwards, nobody lingers on or before an antenna, and mains in the wet is for licensed hands; local rules prevail.",
];

pub fn learn_text(a: &Answer, written: Option<&Path>) -> String {
    let mut out = String::new();
    first_lines(&mut out, &a.provenance);
    out.push_str("What the outcomes teach\n");
    heading_note(&mut out, &a.note);
    out.push('\n');
    for words in first_words(a) {
        say(&mut out, &words);
    }
    out.push('\n');
    out.push_str("Miss rate of a race, missed of 10,000: mean, and 5 to 95 % of races\n");
    let rows: Vec<Vec<String>> = a.targets.iter().map(|t| target_row(a, t)).collect();
    out.push_str(&table(&["point", "before", "after", "range narrower by"], &rows));
    out.push('\n');
    out.push_str("Source by source: missed, and what 90 % of races would have counted\n");
    let rows: Vec<Vec<String>> = a.sources.iter().map(source_row).collect();
    out.push_str(&table(&["source", "missed", "foreseen before", "from the others", "verdict"], &rows));
    out.push('\n');
    for source in a.sources.iter().filter(|s| !s.rungs.is_empty()) {
        let _ = writeln!(out, "{}: missed, and what 90 % of such trials would have counted", source.name);
        let rows: Vec<Vec<String>> = source.rungs.iter().map(rung_row).collect();
        out.push_str(&table(&RUNG_HEADER, &rows));
        out.push('\n');
    }
    for source in a.sources.iter().filter(|s| !s.causes.is_empty()) {
        let _ = writeln!(out, "{}: is it the reason that was learned?", source.name);
        let rows: Vec<Vec<String>> = source.causes.iter().map(cause_row).collect();
        out.push_str(&table(&CAUSE_HEADER, &rows));
        out.push('\n');
    }
    for source in a.sources.iter().filter(|s| s.rungs.is_empty()) {
        out.push_str(&wrap(&format!("- {}: {}.", source.name, source.counted.join("; ")), WIDTH, "  "));
    }
    a.left_out.iter().for_each(|words| item(&mut out, &format!("Left out on record: {words}")));
    out.push_str("\nHow sure\n");
    for words in how_sure(a) {
        item(&mut out, &words);
    }
    a.warnings.iter().for_each(|warning| item(&mut out, &format!("Warning: {warning}")));
    if let Some(folder) = written {
        item(
            &mut out,
            &format!("Written to {}: forecast with --learned {}.", folder.display(), folder.display()),
        );
    }
    out.push_str("\nCautions\n");
    LEARN_CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
    out
}

pub const RUNG_HEADER: [&str; 4] = ["setting", "missed", "foreseen before", "learned"];

pub const CAUSE_HEADER: [&str; 4] = ["question", "counted", "90 % expected", "verdict"];

/// The columns of `CAUSE_HEADER`.
pub fn cause_row(c: &CauseAnswer) -> Vec<String> {
    vec![
        c.question.clone(),
        format!("{} of {}", grouped(c.count), grouped(c.of)),
        range(&c.foreseen),
        verdict(&c.foreseen).to_owned(),
    ]
}

/// Setting, missed, foreseen before and after.
pub fn rung_row(r: &RungAnswer) -> Vec<String> {
    let range = |s: &Spread| format!("{} to {}", significant(s.p05), significant(s.p95));
    vec![
        r.setting.clone(),
        format!("{} of {}", grouped(r.missed), grouped(r.passed)),
        range(&r.before),
        range(&r.after),
    ]
}

/// The answer in a few sentences: what speaks against it, then what the forecast has become.
pub fn first_words(a: &Answer) -> Vec<String> {
    let mut out = doubts(a);
    if let Some(t) = a.targets.first() {
        out.push(format!(
            "From {}: {} now misses {} of 10,000 on average ({} before), {} to {} from race to race ({} to {} before), tag {}.",
            from_words(a),
            t.point,
            per_10_000(t.after.mean),
            per_10_000(t.before.mean),
            per_10_000(t.after.p05),
            per_10_000(t.after.p95),
            per_10_000(t.before.p05),
            per_10_000(t.before.p95),
            a.tag.name
        ));
    }
    out
}

/// What speaks against believing it.
pub fn doubts(a: &Answer) -> Vec<String> {
    let mut out = Vec::new();
    let outside: Vec<&SourceAnswer> =
        a.sources.iter().filter(|s| s.before.verdict == Verdict::Outside).collect();
    if let Some(worst) = outside.iter().min_by(|a, b| a.before.tail.total_cmp(&b.before.tail)) {
        out.push(format!(
            "THESE BELIEFS HARDLY PRODUCE THESE COUNTS. Furthest off: {}, {} of {} missed where {} to {} were foreseen. Look for a cause (outage, wrong setting, wrong reference, wrong scenario) before anything is learned from it.",
            worst.name,
            significant(worst.missed),
            grouped(worst.passed),
            significant(worst.before.count.p05),
            significant(worst.before.count.p95)
        ));
    }
    let wrong = a.sources.iter().flat_map(|s| s.causes.iter().map(move |c| (s, c)));
    let wrong = wrong.filter(|(_, c)| c.foreseen.verdict == Verdict::Outside);
    if let Some((s, c)) = wrong.min_by(|a, b| a.1.foreseen.tail.total_cmp(&b.1.foreseen.tail)) {
        out.push(format!(
            "THE COUNTS MAY FIT FOR A WRONG REASON. {}, {}: {} of {}, {} expected. Before a layout is changed on the strength of this, find out why.",
            s.name,
            c.question,
            grouped(c.count),
            grouped(c.of),
            range(&c.foreseen)
        ));
    }
    if !a.trusted {
        out.push(format!(
            "The weights rest on {} effective draws of {}: take what was learned for a hint. More draws (--draws) or fewer, surer counts may help; if not, these beliefs cannot produce these counts.",
            significant(a.effective_groups),
            grouped(a.groups)
        ));
    }
    out
}

/// How many races and trials were learned from.
pub fn from_words(a: &Answer) -> String {
    let trials = a.sources.iter().filter(|s| s.trial).count();
    let races = a.sources.len() - trials;
    let told = [(races, "race"), (trials, "trial")].into_iter().filter(|(n, _)| *n > 0);
    told.map(|(n, what)| counted(n, what)).collect::<Vec<_>>().join(" and ")
}

fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn rates(s: &Spread) -> String {
    format!("{} ({} to {})", per_10_000(s.mean), per_10_000(s.p05), per_10_000(s.p95))
}

/// Point, before, after, by how much the range is narrower.
pub fn target_row(a: &Answer, t: &TargetAnswer) -> Vec<String> {
    // A range from few draws is narrow for that reason alone.
    let narrower = if a.trusted { narrower(t) } else { "not known".to_owned() };
    vec![t.point.clone(), rates(&t.before), rates(&t.after), narrower]
}

/// By how much the range of the rate, as a ratio, has shrunk.
fn narrower(t: &TargetAnswer) -> String {
    let width = |s: &Spread| libm::log(s.p95.max(1e-9) / s.p05.max(1e-9));
    match width(&t.after) / width(&t.before) {
        r if r < 0.995 => percent(1.0 - r),
        _ => "nothing".to_owned(),
    }
}

fn range(f: &Foreseen) -> String {
    format!("{} to {}", significant(f.count.p05), significant(f.count.p95))
}

/// Source, missed, foreseen before, from the others, verdict.
pub fn source_row(s: &SourceAnswer) -> Vec<String> {
    let others = s.from_others.as_ref().map_or("-".to_owned(), |f| format!("{}, {}", range(f), verdict(f)));
    vec![
        s.name.clone(),
        format!("{} of {}", significant(s.missed), grouped(s.passed)),
        range(&s.before),
        others,
        verdict(&s.before).to_owned(),
    ]
}

pub fn verdict(f: &Foreseen) -> &'static str {
    verdict_words(f.verdict)
}

pub fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InLine => "in line",
        Verdict::Unusual => "unusual",
        Verdict::Outside => "outside the beliefs",
    }
}

/// Odds of so few truths held by chance below which that is said.
const FEW_HELD: f64 = 0.01;

/// What the answer rests on.
pub fn how_sure(a: &Answer) -> Vec<String> {
    let k = a.k_hat.map_or("no tail to judge".to_owned(), |k| format!("k-hat {k:.2}"));
    let mut out = vec![
        format!(
            "{} draws of what only passings tell ({}), {} effective, {k} (trusted below {:.2}); each stands for 128 draws of the rest, {} runners simulated in all.",
            grouped(a.groups),
            match a.rounds {
                0 => "no further round was needed".to_owned(),
                n => format!("{n} further rounds near the counts"),
            },
            significant(a.effective_groups),
            a.k_limit,
            grouped(a.passings)
        ),
        format!(
            "In {} worlds drawn from what was learned everything was counted again and learned from by the draws of all others: {} truths lay within 5 to 95 % of it (about {} if the learning is right), {} within 25 to 75 % (about {}).{}",
            a.calibration.worlds,
            a.calibration.held_90,
            (0.9 * a.calibration.worlds as f64).round(),
            a.calibration.held_50,
            (0.5 * a.calibration.worlds as f64).round(),
            match a.calibration.tail < FEW_HELD {
                true => " TOO FEW: the ranges after are too narrow, more draws (--draws) are needed.",
                false => "",
            }
        ),
        format!(
            "Before and after are the forecasts of `predict` without and with what was learned, same seed. After, races may differ by a term of their own, half-normal with scale {} dB on every threshold (our estimate, --race-effect): it keeps the range of the next race honest.",
            a.race_effect_db
        ),
        "Verdicts: above 5 % in line, above 1 % unusual, else outside the beliefs; from the others: with this source left out. Nine verdicts in a row raise an unusual one by chance in a third of seasons.".to_owned(),
    ];
    if a.sources.iter().filter(|s| !s.trial).count() < 10 {
        out.push("Fewer than ten races: whether forecasts are too high or too low on the whole is too early to tell.".to_owned());
    }
    out.push("Not learned: shares of placements (taken from the scenario), the film of water of each day (one for all races of a draw), what a person's passings have in common beyond the tag (1 dB, our estimate).".to_owned());
    out
}
