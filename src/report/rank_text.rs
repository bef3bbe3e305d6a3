//! The ranking as text, made to be read aloud: the choice first, then the table, what it hangs on, and what to do next.

use super::words::{
    WIDTH, grouped, heading_note, item, per_10_000, percent, rate_percent, say, significant, table, wrap,
};
use crate::study::rank::answer::{Answer, PriceStep, TagResult, VariantResult};
use crate::study::rank::pairs::Pair;

/// The whole report.
pub fn rank_text(answer: &Answer) -> String {
    let mut out = String::new();
    heading(&mut out, answer);
    say(&mut out, &choice(answer));
    out.push('\n');
    tags(&mut out, answer);
    parts(&mut out, answer);
    prices(&mut out, answer);
    what_ifs(&mut out, answer);
    flips(&mut out, answer);
    apart(&mut out, answer);
    weights(&mut out, answer);
    next(&mut out, answer);
    certainty(&mut out, answer);
    out
}

fn heading(out: &mut String, a: &Answer) {
    out.push_str(&format!("{}: which tag to choose\n", a.season));
    heading_note(out, &a.note);
    let base = &a.variants[0];
    say(
        out,
        &format!(
            "{} races, {} passings (every runner at every timing point), {} tags, all on the same {} simulated worlds.",
            significant(base.races),
            grouped(base.passings.round() as u64),
            base.tags.len(),
            a.worlds
        ),
    );
    if a.interrupted {
        say(out, "The run was broken off: this is what was known by then.");
    }
    out.push('\n');
}

fn find<'a>(variant: &'a VariantResult, name: &str) -> Option<&'a TagResult> {
    variant.tags.iter().find(|t| t.tag == name)
}

/// The choice in a few sentences.
pub fn choice(a: &Answer) -> String {
    let base = &a.variants[0];
    let Some(best) = find(base, &a.choice) else { return String::new() };
    let mut text = format!(
        "Choose {}. Expect {} missed passings in the season, {} of 10,000 ({} to {} in nine cases of ten, over what nobody has measured).",
        best.tag,
        count(best.missed),
        per_10_000(best.miss_rate),
        count(best.missed_p05),
        count(best.missed_p95)
    );
    if let (Some(odds), Some(cost), Some(regret)) = (best.odds_least_cost, best.total_cost, best.regret_money)
    {
        text.push_str(&format!(
            " Tags and misses together cost about {} {}; the odds that no other tag costs less are {}, and choosing it costs on average {} {} more than choosing with all unknowns known.",
            grouped(cost.round() as u64),
            a.currency,
            percent(odds),
            grouped(regret.round() as u64),
            a.currency
        ));
    } else {
        text.push_str(&format!(
            " The odds that no other tag misses fewer are {}; choosing it loses on average {} passings against choosing with all unknowns known.",
            percent(best.odds_best),
            count(best.regret)
        ));
    }
    if let Some(short) = best.short_of_stock {
        text.push_str(&format!(" But its stock is {} tags short of what the season needs.", grouped(short)));
    }
    if base.best != best.tag && !base.best.is_empty() {
        let fewest = find(base, &base.best);
        text.push(' ');
        text.push_str(&format!(
            "{} misses fewest ({}), whatever it costs.",
            base.best,
            fewest.map_or(String::new(), |t| count(t.missed))
        ));
    }
    text
}

/// A number of misses: whole from ten up.
fn count(value: f64) -> String {
    if value >= 10.0 { grouped(value.round() as u64) } else { significant(value) }
}

/// The tags beside each other, fewest misses first: headings, and the numbers in words. Text and page show these.
pub fn tag_table(a: &Answer) -> (Vec<&'static str>, Vec<Vec<String>>) {
    let Some(base) = a.variants.first() else { return (vec![], vec![]) };
    let priced = base.tags.iter().any(|t| t.bill.is_some());
    let mut header = vec!["tag", "missed", "5-95 %", "per 10,000", "fewest", "regret", "meets target"];
    if priced {
        header.extend(["bill", "with misses"]);
    }
    if a.weighs_prices {
        header.push("cheapest");
    }
    let mut order: Vec<&TagResult> = base.tags.iter().collect();
    order.sort_by(|x, y| x.missed.total_cmp(&y.missed));
    let row = |t: &&TagResult| {
        let money = |v: Option<f64>| v.map_or("-".to_owned(), |v| grouped(v.round() as u64));
        let mut row = vec![
            t.tag.clone(),
            count(t.missed),
            format!("{} to {}", count(t.missed_p05), count(t.missed_p95)),
            per_10_000(t.miss_rate),
            percent(t.odds_best),
            count(t.regret),
            percent(t.target_met),
        ];
        if priced {
            row.extend([money(t.bill), money(t.total_cost)]);
        }
        if a.weighs_prices {
            row.push(t.odds_least_cost.map_or("-".to_owned(), percent));
        }
        row
    };
    let rows = order.iter().map(row).collect();
    (header, rows)
}

/// How to read `tag_table`.
pub const TAG_TABLE_READING: &str = "\"fewest\": odds that no tag misses fewer. \"regret\": missed passings it loses on average against the best tag of each world. \"meets target\": share of races and timing points that reach it.";

fn tags(out: &mut String, a: &Answer) {
    let base = &a.variants[0];
    let (header, rows) = tag_table(a);
    out.push_str("Missed passings per season\n");
    out.push_str(&table(&header, &rows));
    out.push_str(&wrap(TAG_TABLE_READING, WIDTH, "  "));
    for t in base.tags.iter().filter(|t| t.short_of_stock.is_some()) {
        item(
            out,
            &format!("{}: {} tags short of the season's need", t.tag, grouped(t.short_of_stock.unwrap_or(0))),
        );
    }
    out.push('\n');
}

fn parts(out: &mut String, a: &Answer) {
    let names: Vec<&str> = a.variants[0].tags.iter().map(|t| t.tag.as_str()).collect();
    for by in ["region", "weather", "layout"] {
        let rows: Vec<Vec<String>> = a
            .parts
            .iter()
            .filter(|p| p.by == by)
            .map(|p| {
                let mut row = vec![p.name.clone(), significant(p.races)];
                row.extend(p.miss_rate.iter().map(|&rate| per_10_000(rate)));
                row
            })
            .collect();
        if rows.len() > 1 {
            let mut header = vec![by, "races"];
            header.extend(&names);
            out.push_str(&format!("Missed per 10,000 passings by {by}\n"));
            out.push_str(&table(&header, &rows));
            out.push('\n');
        }
    }
}

/// What the steps up in price buy, a sentence each.
pub fn price_sentences(a: &Answer) -> Vec<String> {
    let sentence = |step: &PriceStep| {
        let verdict = match a.missed_passing_cost {
            Some(cost) if step.cost_per_avoided_miss <= cost => {
                format!(" - below the {} stated per miss: worth it", significant(cost))
            }
            Some(cost) => format!(" - above the {} stated per miss: not worth it", significant(cost)),
            None => String::new(),
        };
        format!(
            "{} in place of {}: {} {} more, {} fewer misses, {} {} for each{verdict}",
            step.to,
            step.from,
            grouped(step.extra_bill.round() as u64),
            a.currency,
            count(step.misses_avoided),
            significant(step.cost_per_avoided_miss),
            a.currency
        )
    };
    a.price_steps.iter().map(sentence).collect()
}

fn prices(out: &mut String, a: &Answer) {
    if a.price_steps.is_empty() {
        return;
    }
    out.push_str("What fewer misses cost\n");
    for sentence in price_sentences(a) {
        item(out, &sentence);
    }
    out.push('\n');
}

fn what_ifs(out: &mut String, a: &Answer) {
    if a.variants.len() < 2 {
        return;
    }
    let names: Vec<&str> = a.variants[0].tags.iter().map(|t| t.tag.as_str()).collect();
    let mut header = vec!["what if", "passings", "fewest"];
    header.extend(&names);
    let rows: Vec<Vec<String>> = a
        .variants
        .iter()
        .map(|v| {
            let mut row = vec![v.name.clone(), grouped(v.passings.round() as u64), v.best.clone()];
            row.extend(v.tags.iter().map(|t| per_10_000(t.miss_rate)));
            row
        })
        .collect();
    out.push_str("What if: missed per 10,000 passings\n");
    out.push_str(&table(&header, &rows));
    for v in a.variants.iter().skip(1) {
        for change in &v.changes {
            item(out, &format!("{}: {change}", v.name));
        }
    }
    out.push('\n');
}

fn flips(out: &mut String, a: &Answer) {
    out.push_str(if a.weighs_prices {
        "Where the choice changes (prices weighed against misses)\n"
    } else {
        "Where the choice changes\n"
    });
    for axis in &a.flips {
        let now = percent(axis.now);
        let text = if axis.flips.is_empty() {
            format!("{}: now {now}; {} stays the choice from 0 to 100 %", axis.what, axis.best_at_zero)
        } else {
            let steps: Vec<String> = axis
                .flips
                .iter()
                .map(|f| format!("{} up to {:.1} %, then {}", f.below, 100.0 * f.at, f.above))
                .collect();
            format!("{}: now {now}; {}", axis.what, steps.join("; "))
        };
        item(out, &text);
    }
    out.push('\n');
}

fn apart(out: &mut String, a: &Answer) {
    out.push_str("Which tags can be told apart by their misses\n");
    for Pair { better, worse, more_missed, odds_better, verdict, .. } in &a.pairs {
        item(
            out,
            &format!(
                "{better} and {worse}: {worse} misses {} more per season, odds {} that {better} is better; {verdict}",
                count(*more_missed),
                percent(*odds_better)
            ),
        );
    }
    out.push('\n');
}

fn weights(out: &mut String, a: &Answer) {
    let names: Vec<&str> = a.variants[0].tags.iter().map(|t| t.tag.as_str()).collect();
    let mut header = vec!["if the calendar is not as stated"];
    header.extend(&names);
    let rows: Vec<Vec<String>> = a
        .under_weights
        .iter()
        .map(|w| {
            let mut row = vec![w.what.clone()];
            row.extend(w.odds_best.iter().map(|&odds| percent(odds)));
            row
        })
        .collect();
    out.push_str("Odds of being the choice under uncertain weights of the races\n");
    out.push_str(&table(&header, &rows));
    out.push('\n');
}

fn next(out: &mut String, a: &Answer) {
    if a.next.is_empty() {
        return;
    }
    out.push_str("What to measure next, by what it would save before the choice\n");
    let worth: Vec<_> = a
        .next
        .iter()
        .filter(|w| w.saved > w.standard_error.unwrap_or(0.0) && w.saved > 0.05)
        .take(6)
        .collect();
    if worth.is_empty() {
        item(
            out,
            "nothing: no single unknown, once known, would change the choice by more than the noise of this run",
        );
    }
    for w in worth {
        let error = w.standard_error.map_or(String::new(), |e| format!(" ± {}", count(e)));
        let money = a.missed_passing_cost.filter(|_| a.weighs_prices).map_or(String::new(), |cost| {
            format!(" ({} {})", grouped((w.saved * cost).round() as u64), a.currency)
        });
        item(out, &format!("{}: worth {}{error} missed passings{money}; {}", w.what, count(w.saved), w.how));
    }
    out.push('\n');
}

fn certainty(out: &mut String, a: &Answer) {
    out.push_str("How sure\n");
    item(
        out,
        &format!(
            "Choosing by this run instead of an endless one costs at most about {} of the passings (wanted: below {}{}).",
            share(a.run_regret_share),
            share(a.request.regret_goal),
            if a.goal_reached { ", reached" } else { ", not reached" }
        ),
    );
    item(
        out,
        &format!(
            "All tags met the same runners, postures, waves and weather: {} crossings in all. Draws of their own for each tag would have needed {} times as many worlds.",
            grouped(a.crossings),
            ratios(a)
        ),
    );
    for t in &a.variants[0].tags {
        if let Some(worlds) = t.stopped_after_worlds {
            item(out, &format!("{} was surely behind after {worlds} worlds and was not run further.", t.tag));
        }
    }
    item(
        out,
        "Ranges are over what nobody has measured; they do not shrink with a longer run, only by measuring.",
    );
    for line in &a.assumed {
        item(out, line);
    }
    let targets: Vec<String> = a.targets.iter().map(|&t| rate_percent(t)).collect();
    item(out, &format!("Target: {} of the runners read at each timing point.", targets.join(", ")));
    for warning in &a.warnings {
        item(out, &format!("warning: {warning}"));
    }
    let p = &a.provenance;
    item(out, &format!("{} {}, seed {}, {} input files.", p.program, p.version, p.seed, p.inputs.len()));
}

/// Range of the variance ratios over the pairs.
fn ratios(a: &Answer) -> String {
    let list: Vec<f64> = a.pairs.iter().filter_map(|p| p.variance_ratio).collect();
    let (low, high) = list.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), &r| (l.min(r), h.max(r)));
    if list.is_empty() { "as many or more".to_owned() } else { format!("{low:.1} to {high:.1} (by pair)") }
}

fn share(value: f64) -> String {
    if value.is_finite() {
        format!("{} %", significant(100.0 * value))
    } else {
        "an unknown share".to_owned()
    }
}
