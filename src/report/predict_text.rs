//! The forecast as text, made to be read aloud: the answer first, then the table, the reasons, what it hinges on. What few readers
//! need at the line (every share, every assumption, the cautions in full) follows with `full`.

use super::cautions::CAUTIONS;
use super::words::{
    WIDTH, first_lines, grouped, item, listed, per_10_000, percent, rate_percent, say, significant,
    switched_off, table, wrap,
};
use crate::estimate::promise::CountForecast;
use crate::estimate::replicates::Figure;
use crate::estimate::run::Stopped;
use crate::study::predict::{Forecast, NamedShare, PointForecast};
use crate::study::what_drives::{Driver, open_thresholds};

/// The whole report.
pub fn predict_text(forecast: &Forecast, full: bool) -> String {
    let mut out = String::new();
    first_lines(&mut out, &forecast.provenance);
    heading(&mut out, forecast);
    say(&mut out, &answer(forecast));
    if let Some(words) = open_sentence(forecast) {
        say(&mut out, &words);
    }
    out.push('\n');
    points(&mut out, forecast);
    causes(&mut out, forecast);
    if full {
        who(&mut out, forecast);
    } else {
        who_in_short(&mut out, forecast);
    }
    lines(&mut out, forecast);
    hinges(&mut out, forecast);
    certainty(&mut out, forecast);
    if full {
        assumed(&mut out, forecast);
        out.push_str("\nCautions\n");
        CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
        provenance(&mut out, forecast);
    } else {
        say(
            &mut out,
            &format!(
                "{} assumptions, the shares in full, cautions and input hashes: --full. Local rules and licensed practice prevail; a forecast is no permission to transmit.",
                forecast.assumptions.len()
            ),
        );
    }
    out
}

fn heading(out: &mut String, f: &Forecast) {
    out.push_str(&format!("{}: forecast of missed runners\n", f.event));
    if !f.note.is_empty() {
        say(out, &f.note);
    }
    say(out, &format!("{} runners. {}", grouped(f.runners), field_sentence(f)));
    switched_off(out, &f.effects_off);
    out.push('\n');
}

/// Tag, region and weather in a sentence.
pub fn field_sentence(f: &Forecast) -> String {
    let [dry, damp, soaked] = f.wetness_shares;
    format!(
        "Tag {} ({} samples), {}, weather {}: {} of the bibs dry, {} damp, {} soaked on average.",
        f.tag.name,
        f.tag.samples,
        f.region,
        f.weather,
        percent(dry),
        percent(damp),
        percent(soaked)
    )
}

/// How much of the answer hangs on thresholds at which no sample woke; `None` where all were read.
pub fn open_sentence(f: &Forecast) -> Option<String> {
    let mounts = &f.tag.open_mounts;
    if mounts.is_empty() {
        return None;
    }
    let head = format!(
        "Part of this is belief: no sample of {} woke at some frequencies ({}), so its thresholds there are only known to be at least the highest power tried.",
        f.tag.name,
        listed(mounts)
    );
    let tail = match worst(f).and_then(|p| Some((p, open_thresholds(&p.drivers)?))) {
        Some((p, d)) => {
            let ends = format!(
                "with them in their lowest third {} of 10,000 are missed at {}, in their highest third {}",
                per_10_000(d.miss_rate_at_low.value),
                p.name,
                per_10_000(d.miss_rate_at_high.value)
            );
            if d.clear {
                let share = percent(d.share.value);
                format!(
                    " Much hangs on it: {ends}; alone they decide {share} of whether the promise holds. To know: {}.",
                    d.measure
                )
            } else {
                format!(" Little hangs on it here: {ends}.")
            }
        }
        None => " Too few worlds were drawn to say how much hangs on it.".to_owned(),
    };
    Some(head + &tail)
}

/// The point with the highest miss rate.
pub fn worst(f: &Forecast) -> Option<&PointForecast> {
    f.points.iter().max_by(|a, b| a.miss_rate.value.total_cmp(&b.miss_rate.value))
}

/// The answer in a few sentences: the finish, the worst point, and what to do next.
pub fn answer(f: &Forecast) -> String {
    let Some(worst) = worst(f) else { return String::new() };
    let finish = f.points.iter().find(|p| p.is_finish);
    let mut text = String::new();
    if let Some(p) = finish {
        text += &point_sentence(f, p);
    }
    if finish.is_none_or(|p| p.name != worst.name) {
        let other = point_sentence(f, worst);
        text += &if text.is_empty() { other } else { format!(" Worst is {}", &lowered(&other)) };
    }
    let rare = f.points.iter().all(|p| p.miss_rate.value < 1e-4);
    if rare {
        text.push_str(
            " Below 1 in 10,000 radio no longer sets the limit: dead, torn, lost or swapped tags and forgotten bibs are not modelled and will outweigh it.",
        );
    } else {
        text += &next_step(worst);
    }
    text
}

/// "At finish expect …" with the name first becomes "finish: …" within a sentence.
fn lowered(sentence: &str) -> String {
    sentence.strip_prefix("At ").unwrap_or(sentence).to_owned()
}

fn point_sentence(f: &Forecast, p: &PointForecast) -> String {
    if p.none_met {
        return format!(
            "At {}, no miss was met: fewer than {} of 10,000 runners ({} passings simulated).",
            p.name,
            per_10_000(p.miss_rate.high),
            grouped(f.passings)
        );
    }
    let role = if p.is_finish { "without a finish time" } else { "missed" };
    let kept = p.promise.kept();
    format!(
        "At {}, expect {} of {} runners {role} on average, that is {} of 10,000; {} to {} in nine races of ten. The promise of {} (at most {} missed) is kept in {} of such races.",
        p.name,
        significant(p.missed.mean.value),
        grouped(f.runners),
        per_10_000(p.miss_rate.value),
        grouped(p.missed.p05),
        grouped(p.missed.p95),
        rate_percent(p.promise.target),
        grouped(p.promise.allowed),
        percent(kept.value)
    )
}

/// What the misses at a point have in common and which command says what helps.
fn next_step(p: &PointForecast) -> String {
    let c = &p.causes;
    let compare = format!("`redundancy --point \"{}\"` compares remedies", p.name);
    let kinds = [
        (c.never_in_reach, "never in reach of an antenna", "add or move antennas"),
        (
            c.asleep,
            "asleep: too little power reaches the tag",
            "more power within the law, antennas nearer, a second line or a tag that bears water and bodies better",
        ),
        (
            c.awake_not_heard,
            "awake but not heard",
            "cables, reader sensitivity, interference and the link profile",
        ),
        (
            c.crowded_out,
            "crowded out by other tags",
            "sessions that keep read tags quiet, more readers or a second line",
        ),
    ];
    let Some(most) = kinds.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else { return String::new() };
    let who = concentrated(p).map_or(String::new(), |words| format!(", mostly {words}"));
    format!(
        " At {}, {} of the misses are {}{who}; what helps: {}. {compare}.",
        p.name,
        percent(most.0),
        most.1,
        most.2
    )
}

/// The kind of bib that carries far more than its share of the misses.
fn concentrated(p: &PointForecast) -> Option<String> {
    let heavy = |list: &[NamedShare], words: &dyn Fn(&str) -> String| {
        list.iter()
            .filter(|s| s.of_misses > 0.5 && s.of_passings < 0.6 && s.of_misses > 1.5 * s.of_passings)
            .max_by(|a, b| a.of_misses.total_cmp(&b.of_misses))
            .map(|s| (s.of_misses, words(&s.name)))
    };
    let wet = heavy(&p.by_wetness, &|name| format!("{name} bibs"));
    let placed = heavy(&p.by_placement, &|name| format!("bibs {name}"));
    [wet, placed].into_iter().flatten().max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, words)| words)
}

fn interval(low: f64, high: f64) -> String {
    format!("{} to {}", per_10_000(low), per_10_000(high))
}

/// The 95 % simulation interval in words.
pub fn within(rate: &Figure) -> String {
    if rate.high.is_nan() { "not known yet".to_owned() } else { interval(rate.low, rate.high) }
}

fn points(out: &mut String, f: &Forecast) {
    let rows: Vec<Vec<String>> = f
        .points
        .iter()
        .map(|p| {
            let (rate, simulated) = if p.none_met {
                (format!("<{}", per_10_000(p.miss_rate.high)), "none met".to_owned())
            } else {
                (per_10_000(p.miss_rate.value), within(&p.miss_rate))
            };
            let r = &p.race_to_race;
            vec![
                p.name.clone(),
                rate,
                simulated,
                per_10_000(r.median.value),
                interval(r.p05.value, r.p95.value),
                missed_range(&p.missed),
                format!("{}: {}", rate_percent(p.promise.target), percent(p.promise.kept().value)),
            ]
        })
        .collect();
    let count = format!("of {} missed", grouped(f.runners));
    out.push_str("Missed runners per 10,000, at each timing point with all its lines\n");
    out.push_str(&table(
        &[
            "timing point",
            "mean",
            "95 % sim. interval",
            "median race",
            "race to race 5-95 %",
            &count,
            "promise kept",
        ],
        &rows,
    ));
    let any = f.whole_event.any_split_missed;
    let mut text = format!(
        "A runner lacks at least one split with a probability of {} in 10,000.",
        per_10_000(any.value)
    );
    if let Some(p) = key_point(f) {
        let promise = &p.promise;
        text += &format!(
            " Unknowns hold for all races until measured: of {} such races at {}, at least one breaks the promise with a probability of {}, more than half with {}.",
            promise.contract_races,
            p.name,
            percent(promise.at_least.first().map_or(0.0, |f| f.value)),
            percent(promise.most_break().value)
        );
    }
    out.push_str(&wrap(&text, WIDTH, "  "));
    out.push('\n');
}

/// The finish, or else the worst point.
pub fn key_point(f: &Forecast) -> Option<&PointForecast> {
    f.points.iter().find(|p| p.is_finish).or(worst(f))
}

fn with_misses(f: &Forecast) -> impl Iterator<Item = &PointForecast> {
    f.points.iter().filter(|p| p.miss_rate.value > 0.0)
}

fn causes(out: &mut String, f: &Forecast) {
    let rows: Vec<Vec<String>> = with_misses(f)
        .map(|p| {
            let c = &p.causes;
            let shares = [c.never_in_reach, c.asleep, c.awake_not_heard, c.crowded_out];
            std::iter::once(p.name.clone()).chain(shares.map(percent)).collect()
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    out.push_str("Why: first cause of the misses\n");
    out.push_str(&table(
        &["timing point", "never in reach", "asleep", "awake, not heard", "crowded out"],
        &rows,
    ));
    out.push('\n');
}

/// The kinds of bib that are missed most, in one table.
fn who_in_short(out: &mut String, f: &Forecast) {
    let Some(first) = with_misses(f).next() else { return };
    let mut rows = Vec::new();
    let lists: [fn(&PointForecast) -> &Vec<NamedShare>; 2] = [|p| &p.by_wetness, |p| &p.by_placement];
    for list in lists {
        let mut order: Vec<usize> = (0..list(first).len()).collect();
        let most = |i: &usize| with_misses(f).map(|p| list(p)[*i].of_misses).fold(0.0, f64::max);
        order.retain(|i| list(first)[*i].of_passings > 0.0 && most(i) >= 0.1);
        order.sort_by(|a, b| most(b).total_cmp(&most(a)));
        for i in order.into_iter().take(2) {
            let share = &list(first)[i];
            let mut row = vec![share.name.clone(), percent(share.of_passings)];
            row.extend(with_misses(f).map(|p| percent(list(p)[i].of_misses)));
            rows.push(row);
        }
    }
    let columns: Vec<String> = with_misses(f).map(|p| format!("misses at {}", p.name)).collect();
    let mut header = vec!["who is missed most", "all runners"];
    header.extend(columns.iter().map(String::as_str));
    out.push_str(&format!("{}\n", table(&header, &rows)));
}

fn who(out: &mut String, f: &Forecast) {
    shares(out, f, "Who is missed, by wetness of the bib", |p| &p.by_wetness);
    shares(out, f, "Who is missed, by where the bib sits", |p| &p.by_placement);
    shares(out, f, "Where on the road, from its right edge to its left", |p| &p.by_lateral);
}

/// One table for all points with the same names (roads of other widths have other strips): a row a name, beside it the share of all
/// runners, then the share of the misses at each point.
fn shares(out: &mut String, f: &Forecast, title: &str, list: fn(&PointForecast) -> &Vec<NamedShare>) {
    let names = |p: &PointForecast| list(p).iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    let mut groups: Vec<Vec<&PointForecast>> = Vec::new();
    for p in with_misses(f) {
        match groups.iter_mut().find(|g| names(g[0]) == names(p)) {
            Some(group) => group.push(p),
            None => groups.push(vec![p]),
        }
    }
    for group in groups {
        let mut header = vec!["share of", "all runners"];
        let columns: Vec<String> = group.iter().map(|p| format!("misses at {}", p.name)).collect();
        header.extend(columns.iter().map(String::as_str));
        let rows: Vec<Vec<String>> = (0..list(group[0]).len())
            .map(|i| {
                let first = &list(group[0])[i];
                let mut row = vec![first.name.clone(), percent(first.of_passings)];
                row.extend(group.iter().map(|p| percent(list(p)[i].of_misses)));
                row
            })
            .collect();
        out.push_str(&format!("{title}\n{}\n", table(&header, &rows)));
    }
}

fn lines(out: &mut String, f: &Forecast) {
    for p in f.points.iter().filter(|p| p.lines.len() > 1) {
        let rows: Vec<Vec<String>> = p
            .lines
            .iter()
            .map(|l| {
                let shared = l.missed_by_the_others_too;
                let gain = if shared.value > 0.0 { significant(1.0 / shared.value) } else { "-".to_owned() };
                vec![
                    l.name.clone(),
                    per_10_000(l.miss_rate.value),
                    within(&l.miss_rate),
                    percent(shared.value),
                    gain,
                ]
            })
            .collect();
        out.push_str(&format!("Lines of {}, each alone: missed per 10,000\n", p.name));
        out.push_str(&table(
            &["line", "mean", "95 % sim. interval", "the others miss too", "the others divide misses by"],
            &rows,
        ));
        out.push('\n');
    }
}

/// The drivers of the worst point that stand out of chance.
pub fn clear_drivers(p: &PointForecast, most: usize) -> Vec<&Driver> {
    p.drivers.iter().filter(|d| d.clear).take(most).collect()
}

/// A value with its unit.
pub fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { format!("{value:.2}") } else { format!("{value:.2} {unit}") }
}

fn hinges(out: &mut String, f: &Forecast) {
    let Some(p) = worst(f) else { return };
    let clear = clear_drivers(p, 3);
    if clear.is_empty() {
        return;
    }
    out.push_str(&format!(
        "What it hinges on at {}: missed per 10,000 at either end, share it decides alone\n",
        p.name
    ));
    let rows: Vec<Vec<String>> = clear
        .iter()
        .map(|d| {
            let end = |value: f64, rate: &Figure| {
                format!("{}: {}", with_unit(value, &d.unit), per_10_000(rate.value))
            };
            vec![
                d.what.clone(),
                end(d.low, &d.miss_rate_at_low),
                end(d.high, &d.miss_rate_at_high),
                percent(d.share.value),
                if d.nobody_knows { "until measured".to_owned() } else { "of the day".to_owned() },
            ]
        })
        .collect();
    out.push_str(&table(&["unknown", "lowest third", "highest third", "decides", "holds"], &rows));
    if let Some(first) = clear.iter().find(|d| d.nobody_knows) {
        out.push_str(&wrap(&format!("To find out the {}: {}.", first.what, first.measure), WIDTH, "  "));
    }
    out.push('\n');
}

/// Why the run ended, in words.
pub fn why_ended(f: &Forecast) -> String {
    match f.stopped {
        Stopped::Settled => format!(
            "Each rate is known to {} or {} missed runners per race (standard error), whichever is looser.",
            percent(f.precision.relative),
            significant(f.precision.runners)
        ),
        Stopped::WorldsDone => {
            "The run ended with the passings it was given; the intervals say how precise that is.".to_owned()
        }
        Stopped::Interrupted => "The run was interrupted: this is what was known by then.".to_owned(),
    }
}

fn certainty(out: &mut String, f: &Forecast) {
    out.push_str("How sure\n");
    item(
        out,
        &format!(
            "Simulation: {} runners past every point in {} draws of what nobody knows, each read for 64 race days. {}",
            grouped(f.passings),
            grouped(f.worlds),
            why_ended(f)
        ),
    );
    item(
        out,
        "Race to race: weather, batch, laboratory error and unmeasured quantities. Only measuring narrows it, not computing.",
    );
    item(
        out,
        &format!(
            "Measured: the tag's curves from {} samples (offsets between them {:.2} dB, standard deviation), down to {:.1} mm from the phantom. Nothing else here is measured.",
            f.tag.samples, f.tag.observed_offset_sd_db, f.tag.closest_gap_mm
        ),
    );
    for p in f.points.iter().filter(|p| p.closer_than_measured > 0.01).take(1) {
        item(
            out,
            &format!(
                "{} of the bibs (and {} of the misses) sit closer to the body than any mount measured; there the closest mount's curve stands in, which flatters the tag.",
                percent(p.closer_than_measured),
                percent(p.closer_than_measured_of_misses)
            ),
        );
    }
    let k: Vec<String> =
        f.points.iter().filter_map(|p| Some(format!("{} {:.0} dB", p.name, p.rician_k_db?))).collect();
    if !k.is_empty() {
        let text = format!(
            "Rays over scattered waves at the best antenna of a median runner (Rician K): {}.",
            k.join(", ")
        );
        item(out, &text);
    }
    f.warnings.iter().for_each(|warning| item(out, &format!("Warning: {warning}")));
}

fn assumed(out: &mut String, f: &Forecast) {
    out.push_str("\nAssumed, not measured\n");
    for a in &f.assumptions {
        out.push_str(&wrap(&format!("{}: {} [{}]", a.what, a.value, a.source), WIDTH, "  "));
    }
    out.push_str(&wrap(&format!("region: {}", f.region_source), WIDTH, "  "));
}

fn provenance(out: &mut String, f: &Forecast) {
    let p = &f.provenance;
    out.push_str(&format!("\n{} {}, seed {}\n", p.program, p.version, p.seed));
    for input in &p.inputs {
        out.push_str(&format!("  {}  {}\n", &input.sha256[..16.min(input.sha256.len())], input.path));
    }
}

/// Runners missed: the mean, and nine races of ten.
pub fn missed_range(missed: &CountForecast) -> String {
    format!("{} ({} to {})", significant(missed.mean.value), grouped(missed.p05), grouped(missed.p95))
}
