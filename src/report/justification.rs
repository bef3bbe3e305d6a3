//! A written justification for the budget holder: one page of Markdown with numbers, assumptions and cautions.

use super::redundancy_text::{
    best_candidate, floor_words, pair_sentence, rate_words, recommendation, with_interval,
};
use super::words::{first_words, grouped, per_10_000, percent, rate_percent, significant};
use crate::study::provenance::Provenance;
use crate::study::redundancy::answer::Answer;

/// Text of the user inside Markdown: marks of Markdown and HTML lose their meaning.
fn plain(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '|' | '*' | '_' | '`' | '#' | '[' | ']' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// First paragraphs of a study of a set-up that may not be switched on or was hardly meant, or of tags measured with faults.
fn said_first(provenance: &Provenance) -> String {
    first_words(provenance).iter().map(|words| format!("**{}**\n\n", plain(words))).collect()
}

/// The page.
pub fn justification(a: &Answer) -> String {
    let mut out = format!("# {}: a second line at {}\n\n", plain(&a.event), plain(&a.point));
    out.push_str(&said_first(&a.provenance));
    if !a.note.is_empty() {
        out.push_str(&format!("{}\n\n", plain(&a.note)));
    }
    let runners = a.runners as f64;
    out.push_str("## The question\n\n");
    out.push_str(&format!(
        "We promise to read {} of the runners at {}. As the point stands ({}), the forecast is {} runners missed of {}: {}. The promise is kept in {} of such races.\n\n",
        rate_percent(a.target),
        plain(&a.point),
        plain(&a.lines.join(", ")),
        significant(a.all.miss_rate.value * runners),
        grouped(a.runners),
        rate_words(&a.all),
        percent(a.all.promise.kept().value)
    ));
    out.push_str("## What an addition would do\n\n");
    if a.candidates.is_empty() {
        out.push_str("No addition was looked at.\n\n");
    } else {
        out.push_str("| addition | cost | missed per 10,000 | promise kept | runners saved a race | cost per runner saved |\n|---|---:|---:|---:|---:|---:|\n");
        for c in &a.candidates {
            out.push_str(&format!(
                "| {} | {} | {} | {} | {} | {} |\n",
                plain(&c.name),
                c.cost.map_or("not stated".to_owned(), |cost| grouped(cost.round() as u64)),
                with_interval(&c.result.miss_rate, per_10_000),
                percent(c.result.promise.kept().value),
                with_interval(&c.saved_per_race, significant),
                c.cost_per_saved.as_ref().map_or("-".to_owned(), |f| with_interval(f, significant))
            ));
        }
        out.push('\n');
    }
    let pairs: Vec<String> = a
        .pairs
        .iter()
        .chain(best_candidate(a).and_then(|c| c.pair.as_ref()))
        .map(|p| plain(&pair_sentence(p)))
        .collect();
    if !pairs.is_empty() {
        out.push_str("## Why not more\n\n");
        for sentence in pairs {
            out.push_str(&format!("{sentence}\n\n"));
        }
    }
    if let Some(floor) = &a.floor {
        out.push_str(&format!("{}\n\n", plain(&floor_words(floor))));
    }
    out.push_str("## Recommendation\n\n");
    match &a.search {
        Some(search) => out.push_str(&format!("{}\n\n", plain(recommendation(search, a).trim()))),
        None => out.push_str("No search for the cheapest layout was made.\n\n"),
    }
    out.push_str("## Assumptions and cautions\n\n");
    out.push_str(&format!(
        "Tag {} ({} samples measured), {}, weather {}, {} draws of what nobody knows; every layout met the same runners. ",
        plain(&a.tag.name),
        a.tag.samples,
        plain(&a.region),
        plain(&a.weather),
        grouped(a.worlds)
    ));
    out.push_str(
        "The numbers are a forecast, not a measurement. They rest on beliefs nobody has measured yet:\n\n",
    );
    for line in a.assumptions.iter().filter(|l| l.what.starts_with("beliefs")) {
        out.push_str(&format!("- {}: {} ({})\n", plain(&line.what), plain(&line.value), plain(&line.source)));
    }
    out.push_str("\nMats and cables are trip hazards; gantries and mains supply in the rain are for qualified people; nobody should stand on or near antennas that are on. Radiated power must stay within the local limit. Local rules and licensed practice prevail.\n\n");
    let p = &a.provenance;
    out.push_str(&format!("{} {}, seed {}. Input files (SHA-256):\n\n", p.program, p.version, p.seed));
    for input in &p.inputs {
        out.push_str(&format!("- {} `{}`\n", plain(&input.path), input.sha256));
    }
    out
}

/// The choice of a tag for a season, as one page of Markdown.
pub fn of_tag(a: &crate::study::rank::Answer) -> String {
    use super::rank_text::{
        TAG_TABLE_READING, choice, split_sentences, tag_table, what_if_sentences, worth_sentences,
    };
    let mut out = format!("# {}: which tag\n\n", plain(&a.season));
    out.push_str(&said_first(&a.provenance));
    if !a.note.is_empty() {
        out.push_str(&format!("{}\n\n", plain(&a.note)));
    }
    out.push_str(&format!("{}\n\n## The tags\n\n", plain(&choice(a))));
    let (header, rows) = tag_table(a);
    out.push_str(&format!("| {} |\n|---|---|{}\n", header.join(" | "), "---:|".repeat(header.len() - 2)));
    for row in rows {
        let cells: Vec<String> = row.iter().map(|cell| plain(cell)).collect();
        out.push_str(&format!("| {} |\n", cells.join(" | ")));
    }
    out.push_str(&format!("\n{}\n", plain(TAG_TABLE_READING)));
    let mut list = |title: &str, items: Vec<String>| {
        if !items.is_empty() {
            out.push_str(&format!("\n## {title}\n\n"));
            items.iter().for_each(|line| out.push_str(&format!("- {}\n", plain(line))));
        }
    };
    list("What if", what_if_sentences(a));
    list("The best tag for each kind of race", split_sentences(a));
    list("Worth measuring", worth_sentences(a));
    list("Assumed, not measured", a.assumed.clone());
    list("Warnings", a.warnings.clone());
    out.push_str("\nThe numbers are a forecast, not a measurement. Radiated power, bands and licences are matters of local law. Local rules and licensed practice prevail.\n\n");
    let p = &a.provenance;
    out.push_str(&format!("{} {}, seed {}. Input files (SHA-256):\n\n", p.program, p.version, p.seed));
    for input in &p.inputs {
        out.push_str(&format!("- {} `{}`\n", plain(&input.path), input.sha256));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn user_text_cannot_become_markup() {
        assert_eq!(plain("<script>a|b*"), "&lt;script&gt;a\\|b\\*");
        assert_eq!(plain("two\nlines"), "two lines");
    }
}
