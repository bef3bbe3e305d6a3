//! The page of a ranking.

use super::{inputs, run};
use crate::report::cautions::CAUTIONS;
use crate::report::figures::rank::{next, pairs, parts, ranking};
use crate::report::page::{Page, assumptions};
use crate::report::rank_text::choice;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, percent, significant};
use crate::study::rank::answer::Answer;

pub fn page(a: &Answer) -> Page {
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("missed", "missed in a season", Show::Fixed(0)),
        ("range", "5 to 95 %", Show::Fixed(0)),
        ("odds_best", "odds of fewest misses", Show::Fixed(0)),
        ("regret", "expected regret", Show::Fixed(0)),
        ("target_met", "races that meet the target", Show::Fixed(0)),
    ]);
    let base = a.variants.first();
    let mut tags: Vec<_> = base.map_or(vec![], |v| v.tags.iter().collect());
    tags.sort_by(|x, y| x.missed.total_cmp(&y.missed));
    for t in tags {
        table.row([
            Cell::from(t.tag.as_str()),
            significant(t.missed).into(),
            format!("{} to {}", significant(t.missed_p05), significant(t.missed_p95)).into(),
            percent(t.odds_best).into(),
            significant(t.regret).into(),
            percent(t.target_met).into(),
        ]);
    }
    let mut hinges: Vec<String> = vec![];
    for axis in &a.flips {
        for flip in &axis.flips {
            hinges.push(format!(
                "{}: below {} {} is best, above it {}; the season has {}.",
                axis.what,
                percent(flip.at),
                flip.below,
                flip.above,
                percent(axis.now)
            ));
        }
    }
    let changed = a.variants.iter().skip(1).filter(|v| base.is_some_and(|b| b.best != v.best));
    hinges.extend(changed.map(|v| format!("{}: {} would be best.", v.name, v.best)));
    if let Some(worth) = a.next.first() {
        hinges.push(format!("Measure next: {} ({}).", worth.what, worth.how));
    }
    let mut assumed = assumptions();
    for line in &a.assumed {
        assumed.row([
            Cell::from(line.trim_start_matches("assumed, not measured: ")),
            Cell::Empty,
            Cell::Empty,
        ]);
    }
    let mut figures = vec![ranking(a)];
    figures.extend(parts(a));
    figures.extend(pairs(a));
    figures.extend(next(a));
    let mut page = Page {
        study: "rank".into(),
        subject: a.season.clone(),
        note: a.note.clone(),
        answer: choice(a),
        caption: "Missed passings in a season, tag by tag".into(),
        table,
        hinges,
        cautions: CAUTIONS.iter().map(|c| (*c).to_string()).collect(),
        figures,
        assumptions: assumed,
        inputs: inputs(&a.provenance),
        run: run(&a.provenance),
    };
    page.run.push(("worlds".into(), grouped(a.worlds)));
    page.run.push(("crossings".into(), grouped(a.crossings)));
    page.run.extend(a.warnings.iter().map(|w| ("warning".into(), w.clone())));
    page
}
