//! What a second line is worth, as text an organiser understands: the answer, the shared causes, what stays, what to buy.
//!
//! Lines share runners and their bibs. The text never calls them free of each other and never takes the product of their rates for
//! the rate of the pair; the naive gain stands only beside the true one, named as what it is.

use super::cautions::CAUTIONS;
use super::distance_text::distance_text;
use super::words::{
    WIDTH, grouped, heading_note, item, per_10_000, percent, rate_percent, say, significant, switched_off,
    table, wrap,
};
use crate::study::redundancy::answer::{Answer, CandidateResult};
use crate::study::redundancy::cheapest::{Layout, Search};
use crate::study::redundancy::pair::{NamedShare, PairResult, SetResult};

/// The whole report.
pub fn redundancy_text(answer: &Answer) -> String {
    let mut out = String::new();
    heading(&mut out, answer);
    say(&mut out, &first_words(answer));
    out.push('\n');
    sets(&mut out, answer);
    answer.pairs.iter().for_each(|pair| pair_words(&mut out, pair));
    who(&mut out, answer);
    floor(&mut out, answer);
    candidates(&mut out, answer);
    if let Some(curve) = &answer.distance {
        out.push_str(&distance_text(curve));
    }
    if let Some(found) = &answer.search {
        search(&mut out, found);
    }
    sure(&mut out, answer);
    out.push_str("\nCautions\n");
    for caution in CAUTIONS {
        item(&mut out, caution);
    }
    out
}

fn heading(out: &mut String, a: &Answer) {
    out.push_str(&format!("{}, {}: what a second line is worth\n", a.event, a.point));
    heading_note(out, &a.note);
    say(
        out,
        &format!(
            "{} runners, tag {}, {}, weather {}; lines: {}; {} simulated races.",
            grouped(a.runners),
            a.tag.name,
            a.region,
            a.weather,
            a.lines.join(", "),
            a.races
        ),
    );
    if a.interrupted {
        say(out, "The run was broken off: this is what was known by then.");
    }
    out.push('\n');
}

/// "4.4 times", or "many times" where nothing is shared.
pub fn times(gain: Option<f64>) -> String {
    gain.map_or("any number of times".to_owned(), |g| format!("{} times", significant(g)))
}

/// A miss rate in words, with its interval.
pub fn rate_words(set: &SetResult) -> String {
    if set.none_met {
        "no miss was met".to_owned()
    } else {
        format!(
            "{} of 10,000 ({} to {})",
            per_10_000(set.miss_rate),
            per_10_000(set.miss_rate_low),
            per_10_000(set.miss_rate_high)
        )
    }
}

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> String {
    let runners = a.runners as f64;
    let mut text = format!(
        "As it stands, {} misses {}, that is {} of {} runners. The promise of {} is kept in {} of such races.",
        a.point,
        rate_words(&a.all),
        significant(a.all.miss_rate * runners),
        grouped(a.runners),
        rate_percent(a.target),
        percent(a.all.target_odds)
    );
    if let Some(best) = best_candidate(a) {
        text.push_str(&format!(
            " The most that one addition does here is {}: it leaves {} of 10,000 and divides the misses by {}.",
            best.name,
            per_10_000(best.result.miss_rate),
            best.divides_misses_by.map_or("more than can be told".to_owned(), gain_words)
        ));
    }
    if let Some(share) = a.floor.as_ref().and_then(|f| f.share_of_misses) {
        text.push_str(&floor_sentence(share));
    }
    text
}

/// What of today's misses no line removes.
pub fn floor_sentence(share: f64) -> String {
    if share < 0.001 {
        " Hardly any of today's misses would stay if lines were added without end.".to_owned()
    } else {
        format!(" About {} of today's misses stay whatever lines are added.", percent(share))
    }
}

/// What misses are divided by; beyond 10,000 the figure says nothing more.
pub fn gain_words(gain: f64) -> String {
    if gain > 1e4 { "more than 10,000".to_owned() } else { significant(gain) }
}

/// The candidate that leaves the fewest misses.
pub fn best_candidate(a: &Answer) -> Option<&CandidateResult> {
    a.candidates.iter().min_by(|x, y| x.result.miss_rate.total_cmp(&y.result.miss_rate))
}

fn sets(out: &mut String, a: &Answer) {
    let rows: Vec<Vec<String>> = std::iter::once(&a.all)
        .chain(&a.sets)
        .map(|s| {
            vec![
                s.name.clone(),
                if s.none_met { "none met".to_owned() } else { per_10_000(s.miss_rate) },
                format!("{} to {}", per_10_000(s.miss_rate_low), per_10_000(s.miss_rate_high)),
                format!("{} to {}", per_10_000(s.race_p05), per_10_000(s.race_p95)),
                percent(s.target_odds),
            ]
        })
        .collect();
    out.push_str("Missed runners per 10,000\n");
    out.push_str(&table(
        &["lines", "missed", "computed within", "race to race 5-95 %", "target kept"],
        &rows,
    ));
    out.push('\n');
}

/// r, the true gain and the naive one, in one paragraph.
pub fn pair_sentence(p: &PairResult) -> String {
    let (Some(r), Some(low), Some(high)) = (p.r, p.r_low, p.r_high) else {
        return format!(
            "{} missed nobody in this run, so nothing can be said of what {} adds.",
            p.first, p.second
        );
    };
    let cause = p.shared.first().map_or(String::new(), |s| {
        format!(" The largest shared cause is a {} ({} of the double misses).", s.name, percent(s.share))
    });
    format!(
        "Of the runners missed by {}, {} ({} to {}) are missed by {} too. {} therefore divides those misses by {}, not by the {} that its own miss rate seems to promise.{cause}",
        p.first,
        percent(r),
        percent(low),
        percent(high),
        p.second,
        p.second,
        p.true_gain.map_or("more than can be told".to_owned(), gain_words),
        gain_words(p.naive_gain)
    )
}

fn pair_words(out: &mut String, p: &PairResult) {
    out.push_str(&format!("{} and {}\n", p.first, p.second));
    out.push_str(&wrap(&pair_sentence(p), WIDTH, "  "));
    if let Some(lines) = p.effective_lines {
        item(
            out,
            &format!(
                "the pair is worth {} lines without shared causes (for display only)",
                significant(lines)
            ),
        );
    }
    if !p.causes.is_empty() {
        item(out, &format!("why both miss: {}", shares(&p.causes)));
    }
    out.push('\n');
}

fn shares(list: &[NamedShare]) -> String {
    list.iter().map(|s| format!("{} {}", s.name, percent(s.share))).collect::<Vec<_>>().join(", ")
}

fn who(out: &mut String, a: &Answer) {
    if a.shared.is_empty() {
        return;
    }
    out.push_str("Who is missed by all lines together\n");
    let rows: Vec<Vec<String>> = a.shared.iter().map(|s| vec![s.name.clone(), percent(s.share)]).collect();
    out.push_str(&table(&["bib", "share of the misses"], &rows));
    out.push('\n');
}

fn floor(out: &mut String, a: &Answer) {
    let Some(floor) = &a.floor else { return };
    out.push_str("What no line removes\n");
    let rates: Vec<String> = floor.after_crossings.iter().map(|&rate| per_10_000(rate)).collect();
    item(
        out,
        &format!(
            "if the same runners crossed these lines again and again, far apart, the misses per 10,000 would go {}",
            rates.join(", ")
        ),
    );
    let text = floor.share_of_misses.map_or("no miss was met, so no floor shows".to_owned(), |share| {
        format!(
            "eight such crossings would still leave about {} of 10,000, {} of today's misses: these belong to the runner's bib (soaked, folded, covered, turned away, a weak sample), and only another tag or another way to wear it removes them",
            per_10_000(floor.floor),
            percent(share)
        )
    });
    item(out, &text);
    out.push('\n');
}

fn candidates(out: &mut String, a: &Answer) {
    if a.candidates.is_empty() {
        return;
    }
    out.push_str("What could be added, each alone\n");
    let rows: Vec<Vec<String>> = a
        .candidates
        .iter()
        .map(|c| {
            vec![
                c.name.clone(),
                c.cost.map_or("-".to_owned(), |cost| grouped(cost.round() as u64)),
                per_10_000(c.result.miss_rate),
                percent(c.result.target_odds),
                c.still_missed.map_or("-".to_owned(), percent),
                c.divides_misses_by.map_or("-".to_owned(), gain_words),
                c.pair.as_ref().map_or("-".to_owned(), |p| gain_words(p.naive_gain)),
                significant(c.saved_per_race),
                c.cost_per_saved.map_or("-".to_owned(), significant),
            ]
        })
        .collect();
    out.push_str(&table(
        &[
            "candidate",
            "cost",
            "missed",
            "target kept",
            "still missed",
            "gain",
            "naive gain",
            "saved a race",
            "cost each",
        ],
        &rows,
    ));
    out.push_str(&wrap(
        "\"still missed\": share of the runners missed today that are missed with the candidate too. \"gain\": what the misses are divided by. \"naive gain\": what the new line's own miss rate seems to promise; it leaves out what lines share. \"cost each\": money per runner saved, for one race.",
        WIDTH,
        "  ",
    ));
    if a.built_in_catalogue {
        item(
            out,
            "the scenario has no catalogue: this is a copy of its first line; add [[candidate]] tables with a cost",
        );
    }
    for pair in a.candidates.iter().filter_map(|c| c.pair.as_ref()) {
        item(out, &pair_sentence(pair));
    }
    out.push('\n');
}

/// A layout in one line.
pub fn layout_words(layout: &Layout) -> String {
    let what =
        if layout.added.is_empty() { "the layout as it is".to_owned() } else { layout.added.join(" + ") };
    format!(
        "{what}: cost {}, missed {} of 10,000, target kept in {} of races (at least {} with 95 % confidence)",
        grouped(layout.cost.round() as u64),
        per_10_000(layout.result.miss_rate),
        percent(layout.result.target_odds),
        percent(layout.odds_low)
    )
}

/// No layout keeps the promise: how far off the nearest is.
pub fn none_found(s: &Search) -> String {
    let Some(nearest) = s.runners_up.first() else {
        return "no layout of the catalogue was looked at to the end".to_owned();
    };
    let allowed = 1.0 - s.target;
    let rate = nearest.result.miss_rate;
    let off = if rate > allowed {
        format!(
            "on average it misses {} of 10,000, where {} are allowed: {} times too many",
            per_10_000(rate),
            per_10_000(allowed),
            significant(rate / allowed)
        )
    } else if nearest.result.target_odds >= s.confidence {
        format!(
            "too few race days to prove it: they show no more than at least {} (95 % confidence); --races takes more",
            percent(nearest.odds_low)
        )
    } else {
        format!(
            "on average it misses {} of 10,000, fewer than the {} allowed, but too many race days are worse",
            per_10_000(rate),
            per_10_000(allowed)
        )
    };
    format!(
        "no layout of the catalogue is proven to keep it. The nearest keeps it in {} of races, wanted are {}; {off}",
        percent(nearest.result.target_odds),
        percent(s.confidence)
    )
}

fn search(out: &mut String, s: &Search) {
    out.push_str(&format!(
        "Cheapest layout that keeps {} in {} of races\n",
        rate_percent(s.target),
        percent(s.confidence)
    ));
    match &s.found {
        Some(layout) => item(out, &layout_words(layout)),
        None => item(out, &none_found(s)),
    }
    for layout in &s.runners_up {
        let what = if s.found.is_some() { "runner-up" } else { "came near" };
        item(out, &format!("{what}: {}", layout_words(layout)));
    }
    item(
        out,
        &format!(
            "search: {} layouts by rising cost, {} dropped by a short run, {} run in full, {} crossings",
            s.layouts,
            s.screened_out,
            s.full_runs,
            grouped(s.crossings)
        ),
    );
    if !s.without_cost.is_empty() {
        item(out, &format!("left out, no cost stated: {}", s.without_cost.join(", ")));
    }
    for refused in &s.refused {
        item(out, &format!("could not be built: {refused}"));
    }
    out.push('\n');
}

fn sure(out: &mut String, a: &Answer) {
    out.push_str("How sure\n");
    switched_off(out, &a.effects_off);
    item(
        out,
        "every layout met the same runners, postures, neighbours and waves; ranges over races hold what nobody has measured",
    );
    item(out, &format!("{} crossings simulated in all", grouped(a.crossings)));
    for line in a.assumed.iter().filter(|l| l.what.starts_with("beliefs")) {
        item(out, &format!("assumed, not measured: {} = {} ({})", line.what, line.value, line.source));
    }
    for warning in &a.warnings {
        item(out, &format!("warning: {warning}"));
    }
    let p = &a.provenance;
    item(out, &format!("{} {}, seed {}, {} input files", p.program, p.version, p.seed, p.inputs.len()));
}
