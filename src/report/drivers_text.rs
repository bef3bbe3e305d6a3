//! What the misses hinge on, as text: the first driver in a sentence, then all of them in one table.

use super::cautions::CAUTIONS;
use super::predict_text::with_unit;
use super::words::{
    WIDTH, first_lines, grouped, heading_note, item, listed, per_10_000, percent, rate_percent, say,
    significant, switched_off, table, wrap,
};
use crate::estimate::run::Stopped;
use crate::study::drivers::Answer;
use crate::study::what_drives::Driver;

/// The whole report.
pub fn drivers_text(a: &Answer) -> String {
    let mut out = String::new();
    first_lines(&mut out, &a.provenance);
    out.push_str(&format!("{}, {}: what the misses hinge on\n", a.event, a.point));
    heading_note(&mut out, &a.note);
    say(
        &mut out,
        &format!(
            "{} runners, tag {}, {}, weather {}; lines: {}.",
            grouped(a.runners),
            a.tag.name,
            a.region,
            a.weather,
            a.lines.join(", ")
        ),
    );
    out.push('\n');
    say(&mut out, &first_words(a));
    out.push('\n');
    if !a.drivers.is_empty() {
        out.push_str("Share each unknown decides alone; missed per 10,000, and promise broken, in its lowest and highest third\n");
        let shown = |d: &&Driver| d.share.high >= 0.005;
        let rows: Vec<Vec<String>> = a.drivers.iter().filter(shown).map(row).collect();
        out.push_str(&table(&["unknown", "holds", "decides alone", "lowest third", "highest third"], &rows));
        let small: Vec<String> = a.drivers.iter().filter(|d| !shown(d)).map(|d| d.what.clone()).collect();
        if !small.is_empty() {
            out.push_str(&wrap(&format!("Under 0.5 %: {}.", listed(&small)), WIDTH, "  "));
        }
        out.push('\n');
        to_measure(&mut out, a);
    }
    out.push_str("How sure\n");
    item(
        &mut out,
        &format!(
            "{} draws of what nobody knows with {} runners in all, the same as those of `predict`. In brackets: 95 % simulation interval. Shares that only several unknowns decide together belong to none of them: alone they decide {} of it in all.",
            grouped(a.worlds),
            grouped(a.passings),
            percent(a.drivers.iter().map(|d| d.share.value).sum::<f64>().min(1.0))
        ),
    );
    if a.stopped == Stopped::Interrupted {
        item(&mut out, "The run was interrupted: this is what was known by then.");
    }
    switched_off(&mut out, &a.effects_off);
    a.warnings.iter().for_each(|warning| item(&mut out, &format!("Warning: {warning}")));
    out.push_str("\nCautions\n");
    CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
    out
}

fn row(d: &Driver) -> Vec<String> {
    let end = |value: f64, rate: f64, broken: f64| {
        format!("{}: {}, {}", with_unit(value, &d.unit), per_10_000(rate), percent(broken))
    };
    vec![
        d.what.clone(),
        holds(d).to_owned(),
        share_words(d),
        end(d.low, d.miss_rate_at_low.value, d.breaks_at_low),
        end(d.high, d.miss_rate_at_high.value, d.breaks_at_high),
    ]
}

/// How long a value of the unknown holds.
pub fn holds(d: &Driver) -> &'static str {
    if d.nobody_knows { "until measured" } else { "one day" }
}

/// "62 % (51 to 70)".
pub fn share_words(d: &Driver) -> String {
    let whole = |share: f64| format!("{:.0}", 100.0 * share);
    format!("{} % ({} to {})", whole(d.share.value), whole(d.share.low), whole(d.share.high))
}

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> String {
    let kept = a.promise.kept();
    let mut text = format!(
        "{} misses {} of 10,000 on average, {} of {} runners; the promise of {} (at most {}) is broken in {} of races.",
        a.point,
        per_10_000(a.miss_rate.value),
        significant(a.miss_rate.value * a.runners as f64),
        grouped(a.runners),
        rate_percent(a.promise.target),
        grouped(a.promise.allowed),
        percent(1.0 - kept.value)
    );
    let clear: Vec<&Driver> = a.drivers.iter().filter(|d| d.clear).collect();
    match clear[..] {
        [] if a.drivers.is_empty() => {
            text += " Everything that a race day does not know is pinned, or too few draws were made to tell."
        }
        [] => text += " No unknown stands out as what decides.",
        [only] => text += &format!(" What decides most is this: {}, {}.", only.what, share_words(only)),
        [first, second, ..] if a.first_known => {
            text += &format!(" What decides most is this: {}, {} alone.", first.what, share_words(first));
            text += &if a.second_known {
                format!(" Second: {}, {}.", second.what, share_words(second))
            } else {
                format!(" For the second place {} and others tie.", second.what)
            };
        }
        [first, second, ..] => {
            text += &format!(
                " What decides most is a tie: {} ({}) and {} ({}); more computing will hardly tell them apart.",
                first.what,
                share_words(first),
                second.what,
                share_words(second)
            );
        }
    }
    text
}

/// What would tell the unknowns that matter.
fn to_measure(out: &mut String, a: &Answer) {
    let list: Vec<&Driver> = a.drivers.iter().filter(|d| d.clear && d.nobody_knows).take(3).collect();
    if list.is_empty() {
        return;
    }
    out.push_str("Worth measuring, in this order\n");
    for d in list {
        item(out, &format!("{}: {}", d.what, d.measure));
    }
    out.push('\n');
}
