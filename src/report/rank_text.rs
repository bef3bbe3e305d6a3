//! The ranking as text, made to be read aloud: the choice first, then the table, what it hangs on, and what to do next.

use super::redundancy_text::with_interval;
use super::words::{
    WIDTH, grouped, heading_note, item, listed, per_10_000, percent, say, significant, table, wrap,
};
use crate::estimate::replicates::Figure;
use crate::estimate::run::Stopped;
use crate::study::rank::answer::{Answer, TagResult, VariantResult};
use crate::study::rank::decide::Standing;
use crate::study::rank::groups::Split;
use crate::study::rank::open::OpenTag;

/// Most tags in a table with all columns; the rest follow in a list.
const MOST_ROWS: usize = 24;

/// The whole report.
pub fn rank_text(answer: &Answer) -> String {
    let mut out = String::new();
    super::words::first_lines(&mut out, &answer.provenance);
    heading(&mut out, answer);
    say(&mut out, &choice(answer));
    open_sentences(answer).iter().for_each(|words| say(&mut out, words));
    out.push('\n');
    tags(&mut out, answer);
    what_ifs(&mut out, answer);
    groups(&mut out, answer);
    measure(&mut out, answer);
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
            "{} races, {} passings (every runner at every timing point), {} tags past the same runners on the same {} draws of what nobody knows.",
            significant(base.races),
            grouped(base.passings.round() as u64),
            base.tags.len(),
            grouped(4 * a.worlds)
        ),
    );
    if !a.market.is_empty() {
        say(out, &format!("Races are weighted to the market: {}.", listed(&a.market)));
    }
    if a.stopped == Stopped::Interrupted {
        say(out, "The run was interrupted: this is what was known by then.");
    }
    for t in base.tags.iter().filter(|t| t.barred.is_some()) {
        say(out, &format!("{} cannot be chosen: {}.", t.tag, t.barred.as_deref().unwrap_or_default()));
    }
    out.push('\n');
}

fn find<'a>(variant: &'a VariantResult, name: &str) -> Option<&'a TagResult> {
    variant.tags.iter().find(|t| t.tag == name)
}

fn whole(value: f64) -> String {
    if value.abs() >= 10.0 { grouped_signed(value) } else { significant(value) }
}

fn grouped_signed(value: f64) -> String {
    let text = grouped(value.abs().round() as u64);
    if value < 0.0 { format!("-{text}") } else { text }
}

/// The unit of what decides.
pub fn unit(a: &Answer) -> String {
    if a.weighs_money { a.currency.clone() } else { "missed passings".to_owned() }
}

/// The choice in a few sentences.
pub fn choice(a: &Answer) -> String {
    let base = &a.variants[0];
    let Some(best) = a.choice.as_deref().and_then(|name| find(base, name)) else {
        return "No tag can be chosen: each is barred for the reason above.".to_owned();
    };
    let mut text = if a.ties.is_empty() {
        format!("Choose {}.", best.tag)
    } else {
        let gaps: Vec<String> = a
            .ties
            .iter()
            .filter_map(|name| find(base, name))
            .map(|t| format!("{} ({} more)", t.tag, with_interval(&t.behind_by, whole)))
            .collect();
        let measure = a.worth.first().map_or(String::new(), |w| format!("; measuring {} would", w.what));
        format!(
            "{} and {} tie: in {} they differ by less than what matters or than this run can tell; more computing will hardly tell them apart{measure}. By the mean, {} is first.",
            best.tag,
            listed(&gaps),
            unit(a),
            best.tag
        )
    };
    if let Some(missed) = &best.missed {
        text += &format!(
            " Expect {} missed passings in the season, {} of 10,000 ({} to {} missed in nine cases of ten, over what nobody knows); the promises are kept with a probability of {} on average.",
            with_interval(missed, whole),
            per_10_000(best.miss_rate),
            whole(best.missed_p05),
            whole(best.missed_p95),
            percent(best.promise_kept)
        );
    }
    if a.weighs_money
        && let Some(total) = &best.total
    {
        text += &format!(" Bibs and misses together cost {} {}.", with_interval(total, whole), a.currency);
    }
    if let Some(regret) = &best.regret {
        text += &format!(
            " Knowing what nobody knows would save {} {} on average.",
            with_interval(regret, whole),
            unit(a)
        );
    }
    let fewest =
        base.tags.iter().filter(|t| t.barred.is_none()).min_by(|x, y| x.miss_rate.total_cmp(&y.miss_rate));
    if let Some(fewest) = fewest.filter(|t| t.tag != best.tag && !a.ties.contains(&t.tag)) {
        text += &format!(
            " {} misses fewest ({} of 10,000), whatever it costs.",
            fewest.tag,
            per_10_000(fewest.miss_rate)
        );
    }
    text
}

/// A tag's standing in a word.
pub fn standing_word(t: &TagResult) -> &'static str {
    match t.standing {
        Standing::Choice => "choice",
        Standing::Behind => "behind",
        Standing::Tie | Standing::Open => "ties",
        Standing::Barred => "barred",
    }
}

/// The tags of a version of the calendar, best first.
pub fn in_order(v: &VariantResult) -> Vec<&TagResult> {
    let mut order: Vec<&TagResult> = v.tags.iter().collect();
    let total = |t: &TagResult| match t.standing {
        Standing::Barred => f64::INFINITY,
        _ => t.total.map_or(f64::INFINITY, |f| f.value),
    };
    order.sort_by(|x, y| total(x).total_cmp(&total(y)).then(x.miss_rate.total_cmp(&y.miss_rate)));
    order
}

/// The tags beside each other: headings, and the numbers in words. Text and page show these.
pub fn tag_table(a: &Answer) -> (Vec<&'static str>, Vec<Vec<String>>) {
    let mut header = vec!["tag", "", "missed", "5-95 %", "per 10,000", "promise kept"];
    if a.weighs_money {
        header.extend(["bibs", "with misses", "more than choice"]);
    } else {
        header.push("more than choice");
    }
    header.push("least in");
    let money = |v: Option<f64>| v.map_or("-".to_owned(), whole);
    let row = |t: &&TagResult| {
        let mut row = vec![
            t.tag.clone(),
            standing_word(t).to_owned(),
            t.missed.map_or("-".to_owned(), |f| whole(f.value)),
            format!("{} to {}", whole(t.missed_p05), whole(t.missed_p95)),
            per_10_000(t.miss_rate),
            percent(t.promise_kept),
        ];
        let more = if t.standing == Standing::Choice || t.standing == Standing::Barred {
            "-".to_owned()
        } else {
            range(&t.behind_by)
        };
        if a.weighs_money {
            row.extend([money(t.bill), money(t.total.map(|f| f.value)), more]);
        } else {
            row.push(more);
        }
        row.push(percent(t.probability_least));
        row
    };
    (header, in_order(&a.variants[0]).iter().take(MOST_ROWS).map(row).collect())
}

fn range(f: &Figure) -> String {
    format!("{} to {}", whole(f.low), whole(f.high))
}

/// How the table of tags is read.
pub const TAG_TABLE_READING: &str = "\"5-95 %\": over what nobody knows. \"promise kept\": mean over races and timing points. \"more than choice\": 95 % simulation interval of what the tag costs beyond the choice, on the same draws. \"least in\": share of the draws of what nobody knows in which it costs least.";

fn tags(out: &mut String, a: &Answer) {
    out.push_str(&format!("The season, tag by tag ({})\n", unit(a)));
    let (header, rows) = tag_table(a);
    out.push_str(&table(&header, &rows));
    let left = a.variants[0].tags.len().saturating_sub(rows.len());
    if left > 0 {
        item(out, &format!("{left} more tags, all further behind: --format json"));
    }
    out.push_str(&wrap(TAG_TABLE_READING, WIDTH, "  "));
    out.push('\n');
}

/// What the what-ifs change, one sentence each. Text and page show these.
pub fn what_if_sentences(a: &Answer) -> Vec<String> {
    a.variants
        .iter()
        .skip(1)
        .map(|v| {
            let best = v.choice.as_deref().and_then(|name| find(v, name));
            let what = match best {
                None => "no tag can be chosen".to_owned(),
                Some(t) => {
                    let ties = if v.ties.is_empty() {
                        String::new()
                    } else {
                        format!(", tied with {}", listed(&v.ties))
                    };
                    let total =
                        t.total.map_or(String::new(), |f| format!(", {} {}", whole(f.value), unit(a)));
                    format!("{}{ties} ({} of 10,000 missed{total})", t.tag, per_10_000(t.miss_rate))
                }
            };
            let verdict = if v.changes_choice { "the choice changes to" } else { "the choice stays" };
            let barred: Vec<String> = v
                .tags
                .iter()
                .filter_map(|t| t.barred.as_ref().map(|why| format!("{}: {why}", t.tag)))
                .collect();
            let barred = if barred.is_empty() { String::new() } else { format!(" [{}]", barred.join("; ")) };
            format!("{}: {verdict} {what}{barred}", v.name)
        })
        .collect()
}

fn what_ifs(out: &mut String, a: &Answer) {
    if a.variants.len() < 2 {
        return;
    }
    out.push_str("What if\n");
    what_if_sentences(a).iter().for_each(|sentence| item(out, sentence));
    out.push('\n');
}

/// The best tag per group of races, a sentence per split. Text and page show these.
pub fn split_sentences(a: &Answer) -> Vec<String> {
    let sentence = |split: &Split| {
        let groups: Vec<String> = split
            .groups
            .iter()
            .map(|g| {
                let ties =
                    if g.ties.is_empty() { String::new() } else { format!(" (ties: {})", g.ties.join(", ")) };
                format!("{} for {}{ties}", g.choice.as_deref().unwrap_or("none"), g.name)
            })
            .collect();
        let saves = split.saves.as_ref().map_or(String::new(), |f| {
            if f.low > 0.0 {
                format!("; that saves {} {} over one tag for all", with_interval(f, whole), unit(a))
            } else {
                "; that saves nothing worth naming over one tag for all".to_owned()
            }
        });
        format!("by {}: {}{saves}", split.by, groups.join(", "))
    };
    a.splits.iter().map(sentence).collect()
}

fn groups(out: &mut String, a: &Answer) {
    if a.splits.is_empty() {
        return;
    }
    out.push_str("The best tag for each kind of race\n");
    split_sentences(a).iter().for_each(|sentence| item(out, sentence));
    if a.variants[0].tags.len() <= 6 {
        for split in &a.splits {
            let names: Vec<&str> = a.variants[0].tags.iter().map(|t| t.tag.as_str()).collect();
            let mut header = vec![split.by, "races"];
            header.extend(&names);
            let rows: Vec<Vec<String>> = split
                .groups
                .iter()
                .map(|g| {
                    let mut row = vec![g.name.clone(), significant(g.races)];
                    row.extend(
                        g.miss_rate.iter().map(|r| if r.is_nan() { "-".to_owned() } else { per_10_000(*r) }),
                    );
                    row
                })
                .collect();
            out.push_str(&format!("Missed per 10,000, by {}\n{}", split.by, table(&header, &rows)));
        }
    }
    out.push('\n');
}

/// How much hangs on thresholds at which no sample woke, a sentence for each such tag.
pub fn open_sentences(a: &Answer) -> Vec<String> {
    let of = |t: &OpenTag| {
        let then = t.overturns.as_ref().map_or(String::new(), |other| {
            format!(" In their highest third {other} would lose less: sweep {} again with more power before choosing.", t.tag)
        });
        format!(
            "Part of this is belief: no sample of {} woke at some frequencies ({}). With its thresholds there in their lowest third it loses {} {} a season, in their highest third {}.{then}",
            t.tag,
            listed(&t.mounts),
            whole(t.loss_at_low),
            unit(a),
            whole(t.loss_at_high)
        )
    };
    a.open.iter().map(of).collect()
}

/// What is worth measuring, a sentence each. Text and page show these.
pub fn worth_sentences(a: &Answer) -> Vec<String> {
    a.worth
        .iter()
        .take(4)
        .map(|w| {
            let of = w.tag.as_ref().map_or(String::new(), |tag| format!(" of {tag}"));
            format!(
                "{}{of}: knowing it is worth about {} {} a season ({})",
                w.what,
                whole(w.worth),
                unit(a),
                w.measure
            )
        })
        .collect()
}

fn measure(out: &mut String, a: &Answer) {
    out.push_str("Worth measuring\n");
    let list = worth_sentences(a);
    if list.is_empty() {
        item(out, "nothing that one unknown alone could tell would change the choice");
    }
    list.iter().for_each(|sentence| item(out, sentence));
    out.push('\n');
}

fn certainty(out: &mut String, a: &Answer) {
    out.push_str("How sure\n");
    let ended = match a.stopped {
        Stopped::Settled => {
            "The run ended when every tag was surely behind, or tied by less than what matters."
        }
        Stopped::WorldsDone => {
            "The run ended with the most worlds allowed; what is not told apart is called a tie."
        }
        Stopped::Interrupted => "The run was interrupted.",
    };
    item(
        out,
        &format!(
            "{} draws of what nobody knows, {} runners simulated over all races and tags. {ended} What matters: {} of the choice's total.",
            grouped(4 * a.worlds),
            grouped(a.passings),
            percent(a.matters)
        ),
    );
    if a.weighs_money {
        item(
            out,
            &format!(
                "a missed passing costs {} {}{} (stated in the season file)",
                significant(a.missed_passing_cost.unwrap_or(0.0)),
                a.currency,
                a.missed_finish_cost
                    .map_or(String::new(), |c| format!(", a missed finish {}", significant(c)))
            ),
        );
    } else {
        item(out, "prices or the cost of a miss are not stated: misses alone decide");
    }
    a.warnings.iter().for_each(|warning| item(out, &format!("Warning: {warning}")));
    for line in &a.assumed {
        item(out, &format!("assumed, not measured: {line}"));
    }
    let p = &a.provenance;
    item(out, &format!("{} {}, seed {}, {} input files", p.program, p.version, p.seed, p.inputs.len()));
}
