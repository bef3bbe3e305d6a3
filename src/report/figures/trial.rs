//! Figures of a planned trial: what every plan leaves open, and what each step is expected to miss.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark};
use crate::report::palette::Style;
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::trial_text::step_words;
use crate::report::words::{grouped, significant};
use crate::study::trial::Answer;

const ASSUMED: &str = "minutes of each change; what no belief allows for";

fn source(a: &Answer) -> String {
    format!(
        "{} draws, {} runners, seed {}",
        grouped(a.draws),
        grouped(a.runners_simulated),
        a.provenance.seed
    )
}

/// Factor within which the rate is known after each plan.
pub fn plans(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("plan", "plan", Show::Fixed(0)),
        ("passings", "passings", Show::Fixed(0)),
        ("minutes", "minutes", Show::Fixed(0)),
        ("within_factor", "rate known within a factor", Show::Digits(3)),
    ]);
    for v in &a.plans {
        table.row([
            v.name.as_str().into(),
            (v.passings as f64).into(),
            v.minutes.into(),
            v.within_factor.into(),
        ]);
    }
    let dots = |of: fn(usize) -> bool| -> Vec<Dot> {
        let plans = a.plans.iter().enumerate().filter(|(i, _)| of(*i));
        let dot = |(i, v): (usize, &crate::study::trial::Variant)| Dot {
            at: i as f64,
            value: v.within_factor,
            inner: None,
            outer: None,
            tip: format!(
                "{}: {} passings, {:.0} min, within a factor of {}",
                v.name,
                grouped(v.passings as u64),
                v.minutes,
                significant(v.within_factor)
            ),
        };
        plans.map(dot).collect()
    };
    let layers = vec![
        Layer::new("this plan", Style::series(0), Mark::Dots(Along::X, dots(|i| i == 1))),
        Layer::new("others", Style::series(1), Mark::Dots(Along::X, dots(|i| i != 1))),
    ];
    let (none, this) = (&a.plans[0], &a.plans[1]);
    let mut out = figure(
        "plans",
        format!(
            "The rate is known within a factor of {} after this plan, of {} without a trial",
            significant(this.within_factor),
            significant(none.within_factor)
        ),
        "Each plan judged by worlds that chose none of them; further left is better, 1 would be certainty.",
        source(a),
        table,
    );
    ASSUMED.clone_into(&mut out.assumed);
    let x = Axis::new(
        "rate known within a factor (90 %)",
        Scale::from_zero(a.plans.iter().map(|v| v.within_factor)),
    );
    let names = a.plans.iter().map(|v| v.name.clone());
    out.panels = vec![panel("", x, Axis::categories("", names, true), 32.0 * a.plans.len() as f64, layers)];
    out
}

/// What every step is expected to miss.
pub fn steps(a: &Answer) -> Figure {
    let mut table = Table::new(&[
        ("step", "step", Show::Fixed(0)),
        ("passings", "passings", Show::Fixed(0)),
        ("missed", "missed, expected", Show::Digits(3)),
        ("p05", "5 % of worlds below", Show::Fixed(0)),
        ("p95", "5 % of worlds above", Show::Fixed(0)),
    ]);
    let name = |i: usize| format!("{}: {}", i + 1, step_words(&a.steps[i]));
    let mut dots = Vec::new();
    for (i, s) in a.steps.iter().enumerate() {
        let [p05, p95] = [s.missed_p05, s.missed_p95].map(f64::from);
        table.row([name(i).into(), (s.passings as f64).into(), s.missed.into(), p05.into(), p95.into()]);
        let share = |missed: f64| 100.0 * missed / s.passings.max(1) as f64;
        dots.push(Dot {
            at: i as f64,
            value: share(s.missed),
            inner: Some((share(p05), share(p95))),
            outer: None,
            tip: format!("{}: {} ({p05} to {p95}) of {}", name(i), significant(s.missed), s.passings),
        });
    }
    let mut out = figure(
        "steps",
        format!("{} steps: where misses are neither rare nor certain, a passing tells most", a.steps.len()),
        "Marker: expected share missed. Line: 5 to 95 % of the worlds drawn from the beliefs.",
        source(a),
        table,
    );
    ASSUMED.clone_into(&mut out.assumed);
    let x = Axis::new("missed, % of passings", Scale::Linear { low: 0.0, high: 100.0 });
    let layers = vec![Layer::new("", Style::series(0), Mark::Dots(Along::X, dots))];
    let names = (0..a.steps.len()).map(name);
    out.panels =
        vec![panel("", x, Axis::categories("", names, true), 32.0 * a.steps.len().max(2) as f64, layers)];
    out
}
