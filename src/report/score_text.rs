//! Forecasts against counts, as text.

use super::learn_text::{LEARN_CAUTIONS, verdict_words};
use super::words::{grouped, heading_note, item, percent, say, significant, table};
use crate::study::score::{Answer, ENOUGH_RACES, Scored};

pub fn score_text(a: &Answer) -> String {
    let mut out = "Forecasts against what was counted\n".to_owned();
    heading_note(&mut out, &a.note);
    out.push('\n');
    for words in first_words(a) {
        say(&mut out, &words);
    }
    out.push('\n');
    let rows: Vec<Vec<String>> = a.scored.iter().map(row).collect();
    out.push_str("Missed, and as it was forecast before the race\n");
    out.push_str(&table(&HEADER, &rows));
    out.push('\n');
    a.left_out.iter().for_each(|words| item(&mut out, &format!("Left out: {words}.")));
    reading().iter().for_each(|words| item(&mut out, words));
    item(&mut out, LEARN_CAUTIONS[1]);
    out
}

pub const HEADER: [&str; 8] =
    ["race", "point", "missed", "forecast", "90 % of races", "verdict", "log score", "of the counts before"];

/// How to read the table.
pub fn reading() -> [&'static str; 2] {
    [
        "Log score: minus the natural logarithm of the probability given to the count; lower is better. Of the counts before: the same for a beta-binomial of the earlier races at that point.",
        "Verdicts: above 5 % in line, above 1 % unusual, else outside the beliefs (twice the smaller tail). Points of one race share its day, so they fail together.",
    ]
}

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> Vec<String> {
    let n = a.scored.len();
    if n == 0 {
        return vec!["No count can be scored.".to_owned()];
    }
    let mut out = vec![format!(
        "{} of {n} counts lie within their 90 % interval; so few or fewer come with a probability of {} if the forecasts are right.",
        a.within,
        percent(a.so_few_within)
    )];
    out.push(if a.enough_races {
        match a.e_value {
            e if e >= 20.0 => format!("Evidence that the odds of missing are higher or lower than forecast: {} to 1 (20 is enough to call a forecast wrong at 5 %, whenever one looks).", significant(e)),
            e => format!("No evidence against the forecasts: {} to 1 where 20 would be needed.", significant(e)),
        }
    } else {
        format!(
            "Too few races ({} of {ENOUGH_RACES}) to tell whether forecasts are too high or too low on the whole: evidence so far {} to 1, 20 would call them wrong.",
            a.races,
            significant(a.e_value)
        )
    });
    if let (Some(brier), Some(of_share)) = (a.brier, a.brier_of_share) {
        out.push(format!(
            "Promises: Brier score {} (0 is perfect; who knew the share kept in the end, and no more, has {}).",
            significant(brier),
            significant(of_share)
        ));
    }
    for (ahead, whom) in [
        (a.ahead_of_counts, "the counts of earlier races"),
        (a.ahead_of_unlearned, "the forecasts of the same races without what was learned"),
    ] {
        if let Some(ahead) = ahead {
            let (words, size) = if ahead >= 0.0 { ("better", ahead) } else { ("worse", -ahead) };
            let size = significant(size);
            out.push(format!("Against {whom} the forecasts are {words} by {size} in mean log score."));
        }
    }
    out
}

/// The columns of `HEADER`.
pub fn row(s: &Scored) -> Vec<String> {
    let missed = if s.missed_low == s.missed_high {
        grouped(s.missed_low)
    } else {
        format!("{} to {}", s.missed_low, s.missed_high)
    };
    vec![
        s.race.clone(),
        s.point.clone(),
        format!("{missed} of {}", grouped(s.passed)),
        significant(s.mean),
        format!("{} to {}", s.p05, s.p95),
        verdict_words(s.verdict).to_owned(),
        format!("{:.2}", s.log_score),
        s.log_score_of_counts.map_or("-".to_owned(), |score| format!("{score:.2}")),
    ]
}
