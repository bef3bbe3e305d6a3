//! The page of a planned trial.

use super::{frame, strings};
use crate::report::figures::trial::{plans, steps};
use crate::report::page::{Page, assumptions};
use crate::report::table::{Cell, Show, Table};
use crate::report::trial_sheet::TRIAL_CAUTIONS;
use crate::report::trial_text::{first_words, how_sure, open_words, plan_row, step_row};
use crate::report::words::{grouped, significant};
use crate::study::trial::{Answer, PIN_MIN, POWER_MIN, SOAK_MIN};

pub fn page(a: &Answer) -> Page {
    let of = |headings: &[&'static str], rows: Vec<Vec<String>>| {
        let columns: Vec<_> = headings.iter().map(|h| (*h, *h, Show::Fixed(0))).collect();
        let mut table = Table::new(&columns);
        table.rows = rows.into_iter().map(|row| row.into_iter().map(Cell::Text).collect()).collect();
        table
    };
    let step_rows = a.steps.iter().enumerate().map(|(i, s)| step_row(i, s)).collect();
    let plan_rows = a.plans.iter().map(plan_row).collect();
    let mut assumed = assumptions();
    for (what, value) in [
        ("minutes to soak the bibs", SOAK_MIN),
        ("minutes to pin them elsewhere", PIN_MIN),
        ("minutes to set and note a power", POWER_MIN),
    ] {
        assumed.row([Cell::from(what), Cell::from(value), Cell::from("our estimate")]);
    }
    let mut page = Page {
        subject: format!("{} walkers, {} minutes, tag {}", a.people, significant(a.minutes), a.tag.name),
        note: a.note.clone(),
        answer: first_words(a).join(" "),
        caption: "Steps, in order".into(),
        table: of(&["step", "bibs", "wetness", "power", "laps", "passings", "missed, expected"], step_rows),
        hinges_heading: "What stays open, and how sure".into(),
        hinges: open_words(a).into_iter().chain(how_sure(a)).collect(),
        figures: vec![plans(a), steps(a)],
        further: vec![(
            "The same time spent otherwise".into(),
            of(&["plan", "passings", "minutes", "rate known within a factor"], plan_rows),
        )],
        ..frame("trial", &a.provenance, assumed)
    };
    page.cautions = strings(&TRIAL_CAUTIONS);
    page.run.push(("draws".into(), grouped(a.draws)));
    page.run.push(("runners simulated".into(), grouped(a.runners_simulated)));
    page
}
