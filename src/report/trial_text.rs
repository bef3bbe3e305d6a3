//! A planned trial as text: what it would leave open first, then the steps, then simple plans of the same time.

use super::trial_sheet::{TRIAL_CAUTIONS, placement_words};
use super::words::{WIDTH, first_lines, grouped, heading_note, item, percent, say, significant, table, wrap};
use crate::study::trial::{Answer, PIN_MIN, POWER_MIN, SOAK_MIN, Step, Variant};
use std::path::Path;

pub fn trial_text(a: &Answer, written: Option<&Path>) -> String {
    let mut out = String::new();
    first_lines(&mut out, &a.provenance);
    out.push_str("A trial to sharpen the forecast\n");
    heading_note(&mut out, &a.note);
    out.push('\n');
    first_words(a).iter().for_each(|words| say(&mut out, words));
    out.push_str("\nSteps, in order\n");
    let rows: Vec<Vec<String>> = a.steps.iter().enumerate().map(|(i, s)| step_row(i, s)).collect();
    out.push_str(&table(&STEP_HEADER, &rows));
    out.push_str("\nThe same time spent otherwise\n");
    let rows: Vec<Vec<String>> = a.plans.iter().map(plan_row).collect();
    out.push_str(&table(&PLAN_HEADER, &rows));
    out.push_str("\nWhat stays open\n");
    open_words(a).iter().for_each(|words| item(&mut out, words));
    out.push_str("\nHow sure\n");
    how_sure(a).iter().for_each(|words| item(&mut out, words));
    a.warnings.iter().for_each(|warning| item(&mut out, &format!("Warning: {warning}")));
    if let Some(folder) = written {
        let words = format!(
            "Written to {0}: sheet.txt for the crew, passings.csv to fill in, trial.toml for `readodds learn {0}/trial.toml`.",
            folder.display()
        );
        out.push_str(&wrap(&format!("- {words}"), WIDTH, "  "));
    }
    out.push_str("\nCautions\n");
    TRIAL_CAUTIONS.iter().for_each(|caution| item(&mut out, caution));
    out
}

pub const STEP_HEADER: [&str; 7] = ["step", "bibs", "", "power", "laps", "passings", "missed, expected"];
pub const PLAN_HEADER: [&str; 4] = ["plan", "passings", "minutes", "rate known within a factor"];

/// The answer in a few sentences.
pub fn first_words(a: &Answer) -> Vec<String> {
    let (none, this) = (&a.plans[0], &a.plans[1]);
    let twice = &a.plans[2];
    let best_simple = a.plans[3..].iter().min_by(|x, y| x.ln_error.total_cmp(&y.ln_error));
    let mut out = vec![format!(
        "{} walkers and {} minutes in {}: {} passings tell the miss rate of {} within a factor of {} either way (90 %); today it is {}.",
        a.people,
        significant(a.minutes),
        a.yard,
        grouped(this.passings as u64),
        a.point,
        significant(this.within_factor),
        significant(none.within_factor)
    )];
    if let Some(simple) = best_simple {
        out.push(format!(
            "The best simple plan of those below ({}) leaves a factor of {}.",
            simple.name,
            significant(simple.within_factor)
        ));
    }
    out.push(format!(
        "Its laps walked twice leave a factor of {}: {}",
        significant(twice.within_factor),
        match twice.ln_error / this.ln_error {
            r if r > 0.93 => "what stays is the day's and the batch's own, which only another day with tags of another batch tells.",
            _ => "more time would pay.",
        }
    ));
    out
}

/// A step in words.
pub fn step_words(s: &Step) -> String {
    format!("{}, {}, {}", placement_words(&s.placement), s.wetness, power(s.drop_db))
}

fn power(drop_db: f64) -> String {
    match drop_db {
        0.0 => "as in the race".to_owned(),
        db => format!("{db} dB down"),
    }
}

/// Number, placement, wetness, power, laps, passings, expected misses.
pub fn step_row(i: usize, s: &Step) -> Vec<String> {
    vec![
        (i + 1).to_string(),
        placement_words(&s.placement).to_owned(),
        s.wetness.clone(),
        power(s.drop_db),
        s.laps.to_string(),
        s.passings.to_string(),
        format!("{} ({} to {})", significant(s.missed), s.missed_p05, s.missed_p95),
    ]
}

/// Name, passings, minutes, factor.
pub fn plan_row(v: &Variant) -> Vec<String> {
    vec![
        v.name.clone(),
        grouped(v.passings as u64),
        format!("{:.0}", v.minutes),
        significant(v.within_factor),
    ]
}

/// What is left of what nobody knows.
pub fn open_words(a: &Answer) -> Vec<String> {
    let mut out: Vec<String> = a
        .open
        .iter()
        .filter(|o| o.share_after >= 0.05)
        .take(4)
        .map(|o| {
            format!(
                "{}: {} of what is not known of ln(rate) afterwards ({} today). To know it: {}.",
                o.name,
                percent(o.share_after),
                percent(o.share_before),
                o.measure
            )
        })
        .collect();
    out.push("No walk tells of crowds at the antennas, of interference, of the shares of placements and soaked bibs, or of the batch that is printed for the race: counts of races do.".to_owned());
    out
}

pub fn how_sure(a: &Answer) -> Vec<String> {
    let this = &a.plans[1];
    vec![
        format!(
            "Each plan is walked in 192 worlds drawn from the beliefs, learned from all others of {} draws ({} runners simulated); the factor is 1.645 root mean square errors of ln(miss rate), rates below 0.1 of 10,000 taken as 0.1. The logarithm of a factor wavers by some {:.0} %, less from plan to plan of this table. The plan was chosen by 192 other worlds.",
            grouped(a.draws),
            grouped(a.runners_simulated),
            // Of a standard deviation of so many independent errors; truths of one draw share its beliefs.
            100.0 / (2.0 * a.draws.min(192) as f64).sqrt()
        ),
        format!(
            "The learning of this plan says {} of itself where its error is {} (ln(rate), standard deviations): alike if it is honest.",
            significant(this.ln_spread),
            significant(this.ln_error)
        ),
        format!(
            "Minutes: {} s a passing, {SOAK_MIN} min to soak the bibs, {PIN_MIN} to pin them elsewhere, {POWER_MIN} to set and note a power (our estimates). It holds only as far as the model does: what no belief allows for, no trial of these settings was planned to find.",
            significant(a.seconds_between)
        ),
    ]
}
