//! What a second line is worth, as text an organiser understands: the answer, the shared causes, what stays, what to buy.
//!
//! Lines share runners and their bibs. The text never calls them free of each other and never takes the product of their rates for
//! the rate of the pair; the naive gain stands only beside the true one, named as what it is.

use super::cautions::CAUTIONS;
use super::words::{
    WIDTH, grouped, heading_note, item, listed, per_10_000, percent, rate_percent, say, significant,
    switched_off, table, wrap,
};
use crate::estimate::replicates::Figure;
use crate::estimate::run::Stopped;
use crate::study::redundancy::answer::{Answer, CandidateResult, NamedShare, PairResult, SetResult};
use crate::study::redundancy::search::{Found, Search};

/// The whole report.
pub fn redundancy_text(answer: &Answer) -> String {
    let mut out = String::new();
    super::words::first_lines(&mut out, &answer.provenance);
    heading(&mut out, answer);
    say(&mut out, &first_words(answer));
    out.push('\n');
    sets(&mut out, answer);
    if !answer.pairs.is_empty() {
        answer.pairs.iter().for_each(|pair| item(&mut out, &pair_sentence(pair)));
        out.push('\n');
    }
    who(&mut out, answer);
    floor(&mut out, answer);
    candidates(&mut out, answer);
    if let Some(found) = &answer.search {
        search(&mut out, found, answer);
    }
    sure(&mut out, answer);
    out.push_str("\nCautions\n");
    CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
    out
}

fn heading(out: &mut String, a: &Answer) {
    out.push_str(&format!("{}, {}: what a second line is worth\n", a.event, a.point));
    heading_note(out, &a.note);
    say(
        out,
        &format!(
            "{} runners, tag {}, {}, weather {}; lines: {}; {} {} a season.",
            grouped(a.runners),
            a.tag.name,
            a.region,
            a.weather,
            a.lines.join(", "),
            grouped(a.request.races),
            if a.request.races == 1 { "race" } else { "such races" }
        ),
    );
    if a.stopped == Stopped::Interrupted {
        say(out, "The run was interrupted: this is what was known by then.");
    }
    out.push('\n');
}

/// A figure with its interval, each through `words`.
pub fn with_interval(f: &Figure, words: impl Fn(f64) -> String) -> String {
    if f.high.is_nan() {
        return words(f.value);
    }
    format!("{} ({} to {})", words(f.value), words(f.low), words(f.high))
}

/// A miss rate in words, with its interval.
pub fn rate_words(set: &SetResult) -> String {
    if set.miss_rate.value > 0.0 {
        format!("{} of 10,000", with_interval(&set.miss_rate, per_10_000))
    } else {
        format!("no miss was met (under {} of 10,000)", per_10_000(set.miss_rate.high))
    }
}

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> String {
    let promise = &a.all.promise;
    let mut text = format!(
        "As it stands, {} misses {}, {} of {} runners on average. The promise of {} (at most {} missed) is kept in {} of races.",
        a.point,
        rate_words(&a.all),
        significant(a.all.miss_rate.value * a.runners as f64),
        grouped(a.runners),
        rate_percent(a.target),
        grouped(promise.allowed),
        percent(promise.kept().value)
    );
    if let Some(search) = &a.search {
        text += &recommendation(search, a);
    } else if let Some(best) = best_candidate(a) {
        text += &format!(
            " The most that one addition does is {}: it leaves {} of 10,000 and divides the misses by {}.",
            best.name,
            per_10_000(best.result.miss_rate.value),
            gain_words(best.divides_misses_by.value)
        );
    }
    text
}

/// What the search says to do, in a sentence or two.
pub fn recommendation(s: &Search, a: &Answer) -> String {
    let keeps = |f: &Found| format!("kept in {}", with_interval(&f.result.promise.kept(), percent));
    let name =
        |f: &Found| if f.added.is_empty() { "the layout as it is".to_owned() } else { f.added.join(" + ") };
    let mut text = match &s.found {
        Some(f) if f.added.is_empty() => {
            format!(" It needs no addition to keep the promise in {} of races.", percent(s.confidence))
        }
        Some(f) => format!(
            " The cheapest layout that surely keeps the promise in {} of races is {}, {} in money: {}.",
            percent(s.confidence),
            name(f),
            grouped(f.cost.round() as u64),
            keeps(f)
        ),
        None if s.open.is_empty() => {
            let nearest = s
                .nearest
                .first()
                .map_or(String::new(), |f| format!(" Nearest comes {}: {}.", name(f), keeps(f)));
            format!(
                " No layout of the catalogue keeps the promise in {} of races.{nearest}",
                percent(s.confidence)
            )
        }
        None => String::new(),
    };
    if !s.open.is_empty() {
        let names: Vec<String> = s.open.iter().map(|f| format!("{} ({})", name(f), keeps(f))).collect();
        text += &format!(
            " Too close to call: {}; more computing will hardly tell, measuring what the misses hinge on would.",
            listed(&names)
        );
    }
    if let (Some(f), Some(each)) = (&s.cheapest_with_misses, a.request.missed_runner_cost)
        && let Some(total) = &f.with_misses
    {
        text += &format!(
            " With {} for each missed runner over {} races, {} costs least in all: {}.",
            significant(each),
            grouped(a.request.races),
            name(f),
            with_interval(total, |v| grouped(v.round() as u64))
        );
        if !s.ties_with_misses.is_empty() {
            text += &format!(" Not told apart from it: {}.", listed(&s.ties_with_misses));
        }
    }
    text
}

/// What misses are divided by; beyond 10,000 the figure says nothing more.
pub fn gain_words(gain: f64) -> String {
    if gain.is_finite() && gain <= 1e4 { significant(gain) } else { "more than 10,000".to_owned() }
}

/// The candidate that leaves the fewest misses.
pub fn best_candidate(a: &Answer) -> Option<&CandidateResult> {
    a.candidates.iter().min_by(|x, y| x.result.miss_rate.value.total_cmp(&y.result.miss_rate.value))
}

fn sets(out: &mut String, a: &Answer) {
    let rows: Vec<Vec<String>> = std::iter::once(&a.all)
        .chain(&a.sets)
        .map(|s| {
            let (rate, r) = (&s.miss_rate, &s.race_to_race);
            vec![
                s.name.clone(),
                per_10_000(rate.value),
                format!("{} to {}", per_10_000(rate.low), per_10_000(rate.high)),
                per_10_000(r.median.value),
                format!("{} to {}", per_10_000(r.p05.value), per_10_000(r.p95.value)),
                percent(s.promise.kept().value),
                percent(s.promise.most_break().value),
            ]
        })
        .collect();
    out.push_str("Missed runners per 10,000\n");
    out.push_str(&table(
        &[
            "lines",
            "mean",
            "95 % sim. interval",
            "median race",
            "race to race 5-95 %",
            "promise kept",
            "most races break it",
        ],
        &rows,
    ));
    out.push('\n');
}

/// r, the true gain and the naive one, in one paragraph.
pub fn pair_sentence(p: &PairResult) -> String {
    if !(p.first_missed.value > 0.0) {
        return format!(
            "{} missed nobody in this run, so nothing can be said of what {} adds.",
            p.first, p.second
        );
    }
    format!(
        "Of the runners missed by {}, {} are missed by {} too. {} therefore divides those misses by {}, not by the {} that its own miss rate seems to promise.",
        p.first,
        with_interval(&p.r, percent),
        p.second,
        p.second,
        with_interval(&p.true_gain, gain_words),
        gain_words(p.naive_gain)
    )
}

fn who(out: &mut String, a: &Answer) {
    if a.shared.is_empty() {
        return;
    }
    out.push_str("Who is missed by all lines together\n");
    let rows: Vec<Vec<String>> =
        a.shared.iter().take(6).map(|s| vec![s.name.clone(), percent(s.share)]).collect();
    out.push_str(&table(&["bib", "share of the misses"], &rows));
    out.push_str(&wrap(&format!("First cause: {}.", shares(&a.causes)), WIDTH, "  "));
    out.push('\n');
}

fn shares(list: &[NamedShare]) -> String {
    list.iter().map(|s| format!("{} {}", s.name, percent(s.share))).collect::<Vec<_>>().join(", ")
}

fn floor(out: &mut String, a: &Answer) {
    let Some(floor) = &a.floor else { return };
    out.push_str("What no line removes\n");
    item(out, &floor_words(floor));
    out.push('\n');
}

/// The floor in a sentence.
pub fn floor_words(floor: &crate::study::redundancy::answer::FloorOf) -> String {
    let share = floor
        .share_of_misses
        .map_or(String::new(), |share| format!(", {} of today's misses", percent(share)));
    format!(
        "Runners who crossed these lines {} times, far apart, would still be missed at every crossing in {} of 10,000 cases{share}: those misses belong to the bib (soaked, folded, covered, turned away, a weak tag), and only another tag or another way to wear it removes them.",
        floor.crossings,
        with_interval(&floor.miss_rate, per_10_000)
    )
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
                per_10_000(c.result.miss_rate.value),
                percent(c.result.promise.kept().value),
                with_interval(&c.divides_misses_by, gain_words),
                c.pair.as_ref().map_or("-".to_owned(), |p| gain_words(p.naive_gain)),
                with_interval(&c.saved_per_race, significant),
                c.cost_per_saved.as_ref().map_or("-".to_owned(), |f| with_interval(f, significant)),
            ]
        })
        .collect();
    out.push_str(&table(
        &["candidate", "cost", "missed", "kept", "gain", "naive", "saved a race", "cost each"],
        &rows,
    ));
    out.push_str(&wrap(
        "In brackets: 95 % simulation interval. \"gain\": what the misses are divided by. \"naive\": what the new line's own miss rate seems to promise; it leaves out what lines share. \"cost each\": money per runner saved over the season's races; from that cost of a missed runner on the candidate pays.",
        WIDTH,
        "  ",
    ));
    for c in &a.candidates {
        match c.pays {
            Some(true) => item(out, &format!("{} pays at the stated cost of a missed runner", c.name)),
            Some(false) => {
                item(out, &format!("{} does not pay at the stated cost of a missed runner", c.name))
            }
            None => {}
        }
    }
    if a.built_in_catalogue {
        item(
            out,
            "the scenario has no catalogue: this is a copy of its first line; add [[candidate]] tables with a cost",
        );
    }
    out.push('\n');
}

/// A layout in one line.
pub fn layout_words(f: &Found) -> String {
    let what = if f.added.is_empty() { "the layout as it is".to_owned() } else { f.added.join(" + ") };
    format!(
        "{what}: cost {}, missed {} of 10,000, promise kept in {} of races",
        grouped(f.cost.round() as u64),
        per_10_000(f.result.miss_rate.value),
        with_interval(&f.result.promise.kept(), percent)
    )
}

fn search(out: &mut String, s: &Search, a: &Answer) {
    out.push_str(&format!(
        "Cheapest layout that keeps the promise in {} of races ({} layouts looked at)\n",
        percent(s.confidence),
        s.layouts
    ));
    match &s.found {
        Some(found) => item(out, &format!("proven: {}", layout_words(found))),
        None => item(out, "none is proven"),
    }
    s.open.iter().for_each(|f| item(out, &format!("cheaper, too close to call: {}", layout_words(f))));
    s.nearest.iter().for_each(|f| item(out, &format!("comes near: {}", layout_words(f))));
    if a.request.missed_runner_cost.is_none() {
        item(
            out,
            "what a missed runner costs is not stated (--missed-runner-cost): cost and misses are not weighed",
        );
    }
    if !s.without_cost.is_empty() {
        item(out, &format!("left out, no cost stated: {}", s.without_cost.join(", ")));
    }
    out.push('\n');
}

fn sure(out: &mut String, a: &Answer) {
    out.push_str("How sure\n");
    switched_off(out, &a.effects_off);
    item(
        out,
        &format!(
            "{} draws of what nobody knows, {} passings in all layouts together; every layout met the same runners, postures, neighbours and waves, those of `predict`",
            grouped(a.worlds),
            grouped(a.passings)
        ),
    );
    for line in a.assumptions.iter().filter(|l| l.what.starts_with("beliefs")) {
        item(out, &format!("assumed, not measured: {} = {} ({})", line.what, line.value, line.source));
    }
    for warning in &a.warnings {
        item(out, &format!("Warning: {warning}"));
    }
    let p = &a.provenance;
    item(out, &format!("{} {}, seed {}, {} input files", p.program, p.version, p.seed, p.inputs.len()));
}
