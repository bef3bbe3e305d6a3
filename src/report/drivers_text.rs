//! What drives the misses, as text made to be read aloud: the race day first, then the single passing.

use super::words::{grouped, heading_note, item, per_10_000, percent, say, significant, switched_off, table};
use crate::estimate::indices::Replicated;
use crate::study::drivers::FLOOR;
use crate::study::drivers::answer::{Answer, Driver, Split, Swing};

/// The whole report.
pub fn drivers_text(a: &Answer) -> String {
    let mut out = format!("{}, {}: what drives the misses\n", a.event, a.point);
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
    if a.interrupted {
        say(&mut out, "The run was broken off: this is what was known by then.");
    }
    out.push('\n');
    say(&mut out, &first_words(a));
    out.push('\n');
    swings(
        &mut out,
        "Missed per 10,000 on a race day, one thing at a time from its 5 % to its 95 % value, all else at its middle",
        &a.race_day_swings,
    );
    if let Some(split) = &a.race_day {
        shares(
            &mut out,
            "A race day, all things at once: share of the ups and downs of its miss odds",
            split,
            a,
        );
    }
    if let Some(split) = &a.one_passing {
        shares(&mut out, "One passing: share of the ups and downs of a single runner's miss odds", split, a);
    }
    swings(
        &mut out,
        "Missed per 10,000 if all runners were alike in one thing: all at its 5 % or all at its 95 % value",
        &a.runner_swings,
    );
    sure(&mut out, a);
    out
}

/// Missed of 10,000; at or below the floor the figure says nothing more.
pub fn missed(rate: f64) -> String {
    if rate <= FLOOR {
        format!("under {}", per_10_000(FLOOR).trim_end_matches('0'))
    } else {
        per_10_000(rate)
    }
}

/// "62 % (51 to 70)".
pub fn share_words(share: &Replicated) -> String {
    match (share.low, share.high) {
        (Some(low), Some(high)) => {
            format!("{} % ({} to {})", hundredths(share.mean), hundredths(low), hundredths(high))
        }
        _ => format!("{} %", hundredths(share.mean)),
    }
}

/// A share that may lie outside 0 to 1 by noise: shown as it is, but never as -0.
fn hundredths(share: f64) -> String {
    let text = format!("{:.0}", 100.0 * share);
    if text == "-0" { "0".to_owned() } else { text }
}

/// Whether an index stands out of its noise.
pub fn stands_out(share: &Replicated) -> bool {
    share.low.is_some_and(|low| low > 0.0)
}

/// The driver of largest total that stands out of the noise.
pub fn strongest(split: &Split) -> Option<&Driver> {
    split.drivers.iter().find(|d| stands_out(&d.total))
}

/// Whether the strongest driver clear of the noise is also the one of largest estimate; otherwise the run is too short to
/// name the strongest.
pub fn is_named(split: &Split) -> bool {
    split.drivers.first().is_some_and(|d| stands_out(&d.total))
}

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> String {
    let mut text = String::new();
    if a.race_day.is_none() && !a.interrupted {
        text.push_str("Nothing that a race day shares moves its miss rate: it is pinned, or the odds stand on their floor.");
    }
    if let Some(split) = &a.race_day {
        text.push_str(&match strongest(split) {
            Some(d) => format!(
                "{}: {}. It has a hand in {} of the ups and downs, {} by itself.",
                if is_named(split) {
                    "What moves the miss rate of a race day most"
                } else {
                    "This run is too short to say what moves the miss rate of a race day most; clear of its noise is this"
                },
                d.name,
                share_words(&d.total),
                share_words(&d.first_order)
            ),
            None => "Nothing that a race day shares stands out as the driver of its miss rate.".to_owned(),
        });
        text.push_str(&format!(
            " In nine cases of ten a race day misses {} to {} of 10,000.",
            missed(split.odds_p05),
            missed(split.odds_p95)
        ));
    }
    if let Some(s) = a.race_day_swings.first() {
        text.push_str(&format!(" Taken alone from one end to the other: {}", swing_words(s)));
    }
    if let Some((split, d)) = a.one_passing.as_ref().and_then(|split| Some((split, strongest(split)?))) {
        let what = if is_named(split) {
            "What decides most whether one runner is missed"
        } else {
            "Of what decides whether one runner is missed, this is clear of the noise"
        };
        text.push_str(&format!(" {what}: {}, with a hand in {}.", d.name, share_words(&d.total)));
    }
    text
}

/// A value with its unit.
fn value(v: f64, unit: &str) -> String {
    format!("{}{}{unit}", significant(v), if unit.is_empty() { "" } else { " " })
}

/// "diffuse level, from 3.4 dB to 9.7 dB, takes the misses from 0.3 to 12 of 10,000."
fn swing_words(s: &Swing) -> String {
    let ends = s.low.zip(s.high).map_or(String::new(), |(low, high)| {
        format!(", from {} to {},", value(low, &s.unit), value(high, &s.unit))
    });
    format!(
        "{}{ends} takes the misses from {} to {} of 10,000.",
        s.name,
        missed(s.miss_rate_at_low),
        missed(s.miss_rate_at_high)
    )
}

fn swings(out: &mut String, title: &str, list: &[Swing]) {
    if list.is_empty() {
        return;
    }
    let with_values = list.iter().any(|s| s.low.is_some());
    let rows: Vec<Vec<String>> = list
        .iter()
        .map(|s| {
            let mut row = vec![s.name.clone()];
            if with_values {
                row.push(s.low.map_or(String::new(), |v| value(v, "")));
                row.push(s.high.map_or(String::new(), |v| value(v, &s.unit)));
            }
            row.extend([missed(s.miss_rate_at_low), missed(s.miss_rate_at_high)]);
            row
        })
        .collect();
    let mut header = vec!["input"];
    if with_values {
        header.extend(["from", "to"]);
    }
    header.extend(["missed at its low", "at its high"]);
    out.push_str(&format!("{title}\n{}\n", table(&header, &rows)));
}

fn shares(out: &mut String, title: &str, split: &Split, a: &Answer) {
    let rows: Vec<Vec<String>> = split
        .drivers
        .iter()
        .map(|d| vec![d.name.clone(), share_words(&d.first_order), share_words(&d.total)])
        .collect();
    out.push_str(&format!("{title}\n{}", table(&["input", "by itself", "has a hand in"], &rows)));
    item(
        out,
        &format!(
            "by themselves they explain {} % together; the rest is what they do only in company",
            hundredths(split.first_order_sum)
        ),
    );
    if split.on_floor > 0.0 {
        let much = if split.on_floor > 0.5 {
            ": more than half, so the shares say mainly what lifts one above it"
        } else {
            ""
        };
        item(
            out,
            &format!(
                "{} of the points miss less than one in {}, where odds count as that{much}",
                percent(split.on_floor),
                grouped((1.0 / a.floor).round() as u64)
            ),
        );
    }
    out.push('\n');
}

fn sure(out: &mut String, a: &Answer) {
    out.push_str("How sure\n");
    switched_off(out, &a.effects_off);
    item(
        out,
        "Shares are of the variance of the logarithm of the miss odds: \"by itself\" is the first-order index, \"has a hand in\" the total index (Sobol' indices; A. Saltelli 2010, M. J. W. Jansen 1999). Totals overlap and may add up to more than 100 %. In brackets: 95 % interval over replications with other points and other runners; shares below 0 or above 100 % are noise.",
    );
    item(
        out,
        "A large share says that knowing this one thing would tell most about the misses. It does not say that anyone can change it.",
    );
    let replications = a.race_day.as_ref().map_or(0, |s| s.replications);
    item(
        out,
        &format!(
            "{replications} replications of {} race days and of {} passings, each twice; {} crossings simulated in all",
            a.request.points,
            a.request.passing_points,
            grouped(a.crossings)
        ),
    );
    for d in a.race_day.iter().flat_map(|s| &s.drivers).filter(|d| stands_out(&d.total)).take(3) {
        item(out, &format!("to know \"{}\": {}", d.name, d.how));
    }
    for line in a.assumed.iter().filter(|l| l.what.starts_with("beliefs")) {
        item(out, &format!("assumed, not measured: {} = {} ({})", line.what, line.value, line.source));
    }
    for warning in &a.warnings {
        item(out, &format!("warning: {warning}"));
    }
    let p = &a.provenance;
    item(out, &format!("{} {}, seed {}, {} input files", p.program, p.version, p.seed, p.inputs.len()));
}
