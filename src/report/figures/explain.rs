//! Figures of one passing: forward and return margin along the road, rounds as strokes, odds of each round.

use super::{figure, panel};
use crate::passing::trace::TraceRow;
use crate::report::figure::{Along, Axis, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::{Scale, tick_text};
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, minus, percent};
use crate::study::explain::{AntennaBest, PassingStory};

/// Margins below this are not drawn, dB.
const DEEPEST_DB: f64 = -30.0;
/// Most antennas drawn.
const MOST_ANTENNAS: usize = 8;
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
    let margin = |r: &TraceRow| r.incident_dbm - r.threshold_dbm;
    let reply = |r: &TraceRow| r.received_dbm - sensitivity_dbm(r);
    let highest = story.rounds.iter().map(|r| margin(r).max(reply(r))).fold(20.0_f64, f64::max);
    let top = 10.0 * (0.1 * highest).ceil();
    let ends = story.rounds.iter().map(|r| r.x_m).fold((0.0_f64, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let shown = nearest(story);
    let mut panels = vec![];
    for (k, antenna) in shown.iter().enumerate() {
        let own: Vec<&TraceRow> =
            story.rounds.iter().filter(|r| r.line == antenna.line && r.antenna == antenna.antenna).collect();
        let name = name(&antenna.line, &antenna.antenna);
        let last = k + 1 == shown.len();
        let x = Axis::new(
            if last { "place along the road, m; the line is at 0" } else { "" },
            Scale::Linear { low: ends.0, high: ends.1 },
        );
        let y = |words: &str| Axis {
            ticks: (-1..=3)
                .map(|i| 20.0 * f64::from(i))
                .filter(|v| *v <= top)
                .map(|v| (v, tick_text(v)))
                .collect(),
            ..Axis::new(if k == 0 { words } else { "" }, Scale::Linear { low: DEEPEST_DB, high: top })
        };
        let said = match antenna.best_margin_db {
            Some(m) => minus(&format!("{name}: forward, {m:+.1} dB at best")),
            None => format!("{name}: forward, never asked"),
        };
        let read = own.iter().filter(|r| r.read_odds() >= 0.5).count();
        let heard =
            format!("{name}: return, {} of {} rounds read", grouped(read as u64), grouped(own.len() as u64));
        let way = [
            (said, y("power at the tag over its threshold, dB"), run(&own, &margin), Style::series(0)),
            (heard, y("reply at the reader over its sensitivity, dB"), run(&own, &reply), Style::series(3)),
        ];
        for (title, y, line, style) in way {
            let mut one = panel(&title, x.clone(), y, 46.0, layers(&own, line, style));
            one.switch = Switch::new("antenna", &name);
            panels.push(one);
        }
    }
    let mut reading = "Every round of every antenna in its turn, left: does the tag wake, right: is the reply heard. Below \
                       \u{2212}30 dB lies at the foot. Strokes at the foot: rounds; the tall dark ones read the tag with odds of \
                       one half or more."
        .to_owned();
    let left = story.antennas.len() - shown.len();
    if left > 0 {
        reading += &format!(" The {left} antennas that came least near are in the table only.");
    }
    let awake: usize = story.antennas.iter().map(|a| a.awake_rounds).sum();
    let best = story.antennas.iter().max_by(|a, b| best_of(a).total_cmp(&best_of(b)));
    let title = match best {
        Some(a) => minus(&format!(
            "{}: awake in {} of {} rounds, best margin {:+.1} dB at {}",
            story.point,
            grouped(awake as u64),
            grouped(story.rounds.len() as u64),
            best_of(a),
            name(&a.line, &a.antenna)
        )),
        None => format!("{}: no antenna", story.point),
    };
    let source = format!("replay of race {}, passing {}", story.race, story.passing);
    let mut out = figure("margins", title, &reading, source, table);
    out.columns = 2;
    out.panels = panels;
    out
}

fn best_of(a: &AntennaBest) -> f64 {
    a.best_margin_db.unwrap_or(f64::NEG_INFINITY)
}

/// The antennas that came nearest, in the order of the layout.
fn nearest(story: &PassingStory) -> Vec<&AntennaBest> {
    let mut order: Vec<usize> = (0..story.antennas.len()).collect();
    order.sort_by(|&a, &b| best_of(&story.antennas[b]).total_cmp(&best_of(&story.antennas[a])));
    order.truncate(MOST_ANTENNAS);
    order.sort_unstable();
    order.into_iter().map(|i| &story.antennas[i]).collect()
}

/// A margin over the place; a pause between two turns is a gap in the line.
fn run(own: &[&TraceRow], read: &dyn Fn(&TraceRow) -> f64) -> Mark {
    let mut points: Vec<(f64, f64)> = vec![];
    for (i, r) in own.iter().enumerate() {
        if i > 0 && r.time_s - own[i - 1].time_s > PAUSE_S {
            points.push((f64::NAN, f64::NAN));
        }
        points.push((r.x_m, read(r).max(DEEPEST_DB)));
    }
    Mark::Line { points, markers: false }
}

fn layers(own: &[&TraceRow], line: Mark, style: Style) -> Vec<Layer> {
    let strokes = |of: &dyn Fn(&TraceRow) -> bool| -> Vec<(f64, String)> {
        own.iter().filter(|r| of(r)).map(|r| (r.x_m, String::new())).collect()
    };
    let tip = |r: &&&TraceRow| {
        let odds = format!("heard {}, alone {}", percent(r.heard_odds), percent(r.alone_odds));
        (r.x_m, format!("{:+.2} m, {:.2} MHz\n{odds}", r.x_m, r.freq_mhz))
    };
    let read = own.iter().filter(|r| r.read_odds() >= 0.5).map(|r| tip(&r)).collect();
    let zero = Mark::Rule { along: Along::Y, at: 0.0, label: String::new() };
    vec![
        Layer::new(
            "a round",
            Style::plain(Ink::Faint).wide(0.8),
            Mark::Rug { strokes: strokes(&|_| true), height_px: 4.0 },
        ),
        Layer::new(
            "a round that reads",
            Style::plain(Ink::Text).wide(0.8),
            Mark::Rug { strokes: read, height_px: 10.0 },
        ),
        Layer::new("awake, heard above this", Style::plain(Ink::Soft).dashed(Dash::Long), zero),
        Layer::new("", Style { dash: Dash::Solid, ..style }, line),
    ]
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
            percent(a.best_heard_odds).into(),
            percent(a.read_odds).into(),
        ]);
    }
    table
}
