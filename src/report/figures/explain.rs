//! Figures of one passing: forward and return margin along the road, rounds as strokes, odds of each round.

use super::predict::{figure, panel};
use crate::passing::trace::TraceRow;
use crate::report::figure::{Along, Axis, Bar, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::percent;
use crate::study::explain::{AntennaBest, PassingStory};

/// Margins below this are not drawn, dB.
const DEEPEST_DB: f64 = -30.0;
/// A longer pause between two rounds of an antenna breaks its line, s.
const PAUSE_S: f64 = 0.15;

/// Margins along one passing. `sensitivity_dbm` gives the received power a round needs.
pub fn margins(story: &PassingStory, sensitivity_dbm: &dyn Fn(&TraceRow) -> f64) -> Figure {
    let mut table = Table::new(&[
        ("time_s", "time, s", Show::Fixed(3)),
        ("x_m", "place along the road, m", Show::Fixed(2)),
        ("line", "line", Show::Fixed(0)),
        ("antenna", "antenna", Show::Fixed(0)),
        ("freq_mhz", "MHz", Show::Fixed(2)),
        ("forward_margin_db", "forward margin, dB", Show::Fixed(1)),
        ("return_margin_db", "return margin, dB", Show::Fixed(1)),
        ("read_odds", "odds of a read", Show::Percent),
    ]);
    let lines: Vec<&str> = story.antennas.iter().map(|a| a.line.as_str()).collect();
    let several = lines.iter().any(|l| *l != lines[0]);
    let name = |line: &str, antenna: &str| {
        if several { format!("{antenna}, {line}") } else { antenna.to_owned() }
    };
    for r in &story.rounds {
        table.row([
            r.time_s.into(),
            r.x_m.into(),
            r.line.as_str().into(),
            r.antenna.as_str().into(),
            r.freq_mhz.into(),
            (r.incident_dbm - r.threshold_dbm).into(),
            (r.received_dbm - sensitivity_dbm(r)).into(),
            r.read_odds().into(),
        ]);
    }
    let (mut forward, mut back, mut odds) = (vec![], vec![], vec![]);
    let mut top = [5.0_f64, 5.0];
    for (k, antenna) in story.antennas.iter().enumerate() {
        let name = name(&antenna.line, &antenna.antenna);
        let own: Vec<&TraceRow> =
            story.rounds.iter().filter(|r| r.line == antenna.line && r.antenna == antenna.antenna).collect();
        let run = |read: &dyn Fn(&TraceRow) -> f64| {
            let mut points: Vec<(f64, f64)> = vec![];
            for (i, r) in own.iter().enumerate() {
                if i > 0 && r.time_s - own[i - 1].time_s > PAUSE_S {
                    points.push((f64::NAN, f64::NAN));
                }
                points.push((r.x_m, read(r).max(DEEPEST_DB)));
            }
            Mark::Line { points, markers: false }
        };
        let margin = |r: &TraceRow| r.incident_dbm - r.threshold_dbm;
        let reply = |r: &TraceRow| r.received_dbm - sensitivity_dbm(r);
        top[0] = own.iter().map(|r| margin(r)).fold(top[0], f64::max);
        top[1] = own.iter().map(|r| reply(r)).fold(top[1], f64::max);
        let style = Style::series(k);
        let switch = || Switch::new("antenna", &name);
        forward.push(Layer::new(&name, style, run(&margin)).switched(switch()));
        back.push(Layer::new(&name, style, run(&reply)).switched(switch()));
        let bars = own.iter().filter(|r| r.read_odds() > 0.005).map(|r| Bar {
            at: r.x_m,
            from: 0.0,
            to: 100.0 * r.read_odds(),
            thickness: 0.012,
            tip: format!(
                "{name}\n{:+.2} m, {:.2} MHz\nheard {}, alone {}",
                r.x_m,
                r.freq_mhz,
                percent(r.heard_odds),
                percent(r.alone_odds)
            ),
        });
        odds.push(Layer::new("", style, Mark::Bars(Along::Y, bars.collect())).switched(switch()));
    }
    let rug = story.rounds.iter().filter(|r| r.awake).map(|r| (r.x_m, String::new()));
    forward.push(Layer::new(
        "rounds with the tag awake",
        Style::plain(Ink::Text).wide(0.8),
        Mark::Rug(rug.collect()),
    ));
    for (layers, label) in [(&mut forward, "awake above"), (&mut back, "9 of 10 replies heard above")] {
        let rule = Mark::Rule { along: Along::Y, at: 0.0, label: label.into() };
        layers.push(Layer::new("", Style::plain(Ink::Text).dashed(Dash::Long).wide(1.6), rule));
    }
    let ends = story.rounds.iter().map(|r| r.x_m).fold((0.0_f64, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let x =
        Axis::new("place along the road, m; the line is at 0", Scale::Linear { low: ends.0, high: ends.1 });
    let decibels = |label: &str, top: f64| Axis::new(label, Scale::around([DEEPEST_DB, top]));
    let reading = "Every round of every antenna in its turn. Forward margin: power at the tag over what this sample needs. \
                   Return margin: power of the reply over the reader's sensitivity. Below \u{2212}30 dB lies at the foot.";
    let awake: usize = story.antennas.iter().map(|a| a.awake_rounds).sum();
    let margin = |a: &AntennaBest| a.best_margin_db.unwrap_or(f64::NEG_INFINITY);
    let best = story.antennas.iter().max_by(|a, b| margin(a).total_cmp(&margin(b)));
    let title = match best {
        Some(a) => format!(
            "{}: awake in {awake} of {} rounds, best margin {:+.1} dB at {}",
            story.point,
            story.rounds.len(),
            margin(a),
            name(&a.line, &a.antenna)
        )
        .replace('-', "\u{2212}"),
        None => format!("{}: no antenna", story.point),
    };
    let source = format!("replay of race {}, passing {}", story.race, story.passing);
    let mut out = figure("margins", title, reading, source, table);
    out.panels = vec![
        panel(
            "forward: does the tag wake",
            x.clone(),
            decibels("margin over the threshold, dB", top[0]),
            170.0,
            forward,
        ),
        panel(
            "return: is the reply heard",
            x.clone(),
            decibels("margin over the sensitivity, dB", top[1]),
            150.0,
            back,
        ),
        panel(
            "each round: odds of a read",
            x,
            Axis::new("awake, heard and alone, %", Scale::Linear { low: 0.0, high: 100.0 }),
            80.0,
            odds,
        ),
    ];
    out
}

/// Antennas side by side: how near each came.
pub fn antennas(story: &PassingStory) -> Table {
    let mut table = Table::new(&[
        ("line", "line", Show::Fixed(0)),
        ("antenna", "antenna", Show::Fixed(0)),
        ("best_margin_db", "best margin, dB", Show::Fixed(1)),
        ("awake_rounds", "awake rounds", Show::Fixed(0)),
        ("rounds", "rounds", Show::Fixed(0)),
        ("best_heard_odds", "heard at best", Show::Percent),
        ("read_odds", "read by this antenna", Show::Percent),
    ]);
    for a in &story.antennas {
        table.row([
            a.line.as_str().into(),
            a.antenna.as_str().into(),
            Cell::from(a.best_margin_db),
            (a.awake_rounds as u64).into(),
            (a.rounds as u64).into(),
            a.best_heard_odds.into(),
            a.read_odds.into(),
        ]);
    }
    table
}
