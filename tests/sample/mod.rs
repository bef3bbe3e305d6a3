//! Invented figures and a page for the tests of the drawing code: every mark once, names that try to break out.

// Not every test that shares this file looks for cut marks.
#[allow(dead_code)]
pub mod whole;

use readodds::report::figure::*;
use readodds::report::page::{Page, assumptions};
use readodds::report::palette::{Dash, Ink, Style};
use readodds::report::scale::Scale;
use readodds::report::table::{Cell, Show, Table};

pub const HOSTILE: &str = "</title><script>alert('x')</script>&\"";

fn figure(key: &str, title: &str, columns: usize, panels: Vec<Panel>) -> Figure {
    let mut table = Table::new(&[("name", "Name", Show::Fixed(0)), ("miss_rate", "Missed", Show::Percent)]);
    table.row([Cell::from(HOSTILE), Cell::from(0.0123)]);
    Figure {
        key: key.into(),
        title: title.into(),
        reading:
            "Invented numbers. Thick line: 95 % interval of the simulation. Thin line: middle 90 % of races."
                .into(),
        source: "none, invented for a test".into(),
        assumed: "everything".into(),
        columns,
        panels,
        table,
    }
}

fn panel(title: &str, x: Axis, y: Axis, height: f64, layers: Vec<Layer>) -> Panel {
    Panel { title: title.into(), x, y, height: Height::Px(height), layers, switch: None }
}

pub fn figures() -> Vec<Figure> {
    vec![rates(), curves(), causes(), heat(), steps(), edges()]
}

/// Markers, intervals and words on every edge of a panel.
fn edges() -> Figure {
    let dot = |at: f64, v: f64| Dot {
        at,
        value: v,
        inner: Some((0.0, v)),
        outer: Some((0.0, 10.0)),
        tip: String::new(),
    };
    let corners = vec![dot(0.0, 0.0), dot(0.0, 10.0), dot(10.0, 0.0), dot(10.0, 10.0)];
    let words = |x: f64, y: f64, anchor: Anchor| {
        let note = Mark::Note { at: (x, y), text: "words as long as a sentence".into(), anchor };
        Layer::new("", Style::plain(Ink::Text), note)
    };
    let mut layers = vec![
        Layer::new("corners", Style::series(2), Mark::Dots(Along::Y, corners)),
        words(0.0, 0.0, Anchor::End),
        words(10.0, 10.0, Anchor::Start),
        words(0.0, 10.0, Anchor::Middle),
    ];
    layers.push(Layer::new(
        "",
        Style::series(1),
        Mark::Rule { along: Along::X, at: 6.5, label: "a rule near the right edge, with words".into() },
    ));
    let axis = |label: &str| Axis::new(label, Scale::Linear { low: 0.0, high: 10.0 });
    figure("sample-edges", "Nothing on an edge is cut", 3, {
        let one = panel("", axis("value, dB"), axis("value, dB"), 120.0, layers);
        vec![one.clone(), one.clone(), one]
    })
}

fn rates() -> Figure {
    let dot = |at: f64, v: f64| Dot {
        at,
        value: v,
        inner: Some((v * 0.8, v * 1.25)),
        outer: Some((v * 0.3, v * 3.0)),
        tip: format!("{v} %"),
    };
    let names = ["start, 2 lines", "10 km by the old mill, one line only", "finish"];
    let layers = vec![
        Layer::new(
            "plain tag, dry",
            Style::series(0),
            Mark::Dots(Along::X, vec![dot(-0.15, 0.4), dot(0.85, 1.9), dot(1.85, 0.02)]),
        )
        .switched(Switch::new("weather", "dry")),
        Layer::new(
            "plain tag, soaked",
            Style::series(1),
            Mark::Dots(Along::X, vec![dot(0.15, 1.4), dot(1.15, 9.9), dot(2.15, 0.2)]),
        )
        .switched(Switch::new("weather", "soaked")),
        Layer::new(
            "",
            Style::plain(Ink::Text).dashed(Dash::Short),
            Mark::Rule { along: Along::X, at: 0.5, label: "target 0.5 %".into() },
        ),
    ];
    let x = Axis::new("runners missed, %, log scale", Scale::Log { low: 0.001, high: 100.0 });
    let y = Axis::categories("timing point", names.map(String::from), true);
    figure(
        "sample-rates",
        "The 10 km point misses 9.9 % in rain, twenty times its target",
        1,
        vec![panel("", x, y, 150.0, layers)],
    )
}

fn curves() -> Figure {
    let one = |title: &str, shift: f64| {
        let points: Vec<(f64, f64)> =
            (0..60).map(|i| (860.0 + f64::from(i), -12.0 + shift + (f64::from(i) / 9.0).cos())).collect();
        let band = points.iter().map(|(x, y)| (*x, y - 1.0, y + 1.2)).collect();
        let shade = Mark::Shade { along: Along::X, from: 865.0, to: 868.0, label: "lower".into() };
        let shade2 = Mark::Shade { along: Along::X, from: 902.0, to: 919.0, label: "upper".into() };
        let layers = vec![
            Layer::new("", Style::plain(Ink::Wash), shade),
            Layer::new("", Style::plain(Ink::Wash), shade2),
            Layer::new("spread of samples", Style::series(0), Mark::Band(band)),
            Layer::new("average sample", Style::series(0), Mark::Line { points, markers: false }),
            Layer::new(
                "needs more than the generator gives",
                Style::series(2),
                Mark::Rug {
                    strokes: vec![(870.0, "870 MHz".into()), (880.0, "880 MHz".into())],
                    height_px: 9.0,
                },
            ),
        ];
        let mut p = panel(
            title,
            Axis::new("frequency, MHz", Scale::Linear { low: 860.0, high: 920.0 }),
            Axis::new("threshold, dBm", Scale::Linear { low: -20.0, high: 0.0 }),
            120.0,
            layers,
        );
        p.switch = Switch::new("mount", title);
        p
    };
    figure(
        "sample-curves",
        "On a body the tag needs 8 dB more than in free air",
        3,
        vec![one("free air", -5.0), one("4 mm", 0.0), one("1 mm", 3.0), one(HOSTILE, 4.0)],
    )
}

fn causes() -> Figure {
    let names = ["never in reach", "asleep", "awake, not heard", "heard, crowded out"];
    let bars = |n: usize| {
        let list = names.iter().enumerate().map(|(i, name)| Bar {
            at: i as f64 - 0.2 + 0.4 * n as f64,
            from: 0.0,
            to: (10 + 17 * i - 5 * n) as f64,
            thickness: 0.36,
            tip: format!("{name}: {} %", 10 + 17 * i),
        });
        Layer::new(&format!("line {n}"), Style::series(n), Mark::Bars(Along::X, list.collect()))
    };
    let x = Axis::new("share of the misses, %", Scale::Linear { low: 0.0, high: 80.0 });
    let y = Axis::categories("first cause", names.map(String::from), true);
    let all: Vec<Layer> = (0..6)
        .map(|n| {
            let mut l = bars(n % 2);
            l.style = Style::series(n);
            l.name = format!("series {n}");
            l
        })
        .collect();
    let y2 = y.clone();
    figure(
        "sample-causes",
        "Two of three misses are tags asleep",
        1,
        vec![
            panel("", x.clone(), y, 140.0, vec![bars(0), bars(1)]),
            panel("all styles over one another", x, y2, 100.0, all),
        ],
    )
}

fn heat() -> Figure {
    let values = (0..24)
        .map(|j| {
            (0..40)
                .map(|i| {
                    let (x, y) = (f64::from(i) / 5.0 - 4.0, f64::from(j) / 6.0 - 2.0);
                    if j == 3 && i == 3 { f64::NAN } else { (-(x * x) / 3.0 - (y - 0.5).powi(2) / 4.0).exp() }
                })
                .collect()
        })
        .collect();
    let heat = Heat {
        x0: -3.9,
        dx: 0.2,
        y0: -1.92,
        dy: 1.0 / 6.0,
        values,
        cuts: [0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 0.99],
        quantity: "odds of a read".into(),
        percent: true,
    };
    let ring = (0..24).map(|k| (f64::from(k) * 0.2618).sin_cos()).map(|(s, c)| (0.4 * c, 0.4 * s)).collect();
    let layers = vec![
        Layer::new("", Style::plain(Ink::Text), Mark::Heat(heat)),
        Layer::new(
            "antenna",
            Style::series(3),
            Mark::Outline { points: ring, filled: true, tip: "antenna 1".into() },
        ),
        Layer::new(
            "",
            Style::plain(Ink::Text),
            Mark::Note { at: (1.0, 1.0), text: "running direction".into(), anchor: Anchor::Start },
        ),
    ];
    let x = Axis::new("along the road, m", Scale::Linear { low: -4.0, high: 4.0 });
    let y = Axis::new("across the road, m", Scale::Linear { low: -2.0, high: 2.0 });
    let mut p = panel("from above, dry", x, y, 0.0, layers);
    p.height = Height::ToScale;
    figure("sample-heat", "A runner two metres to the left is read from 2 m before the line", 1, vec![p])
}

fn steps() -> Figure {
    let edges: Vec<f64> = (0..=30).map(f64::from).collect();
    let heights: Vec<f64> = (0..30).map(|k| (-(f64::from(k) - 12.0).powi(2) / 40.0).exp() * 0.1).collect();
    let layers = vec![
        Layer::new(
            "odds of this many",
            Style::series(4),
            Mark::Steps { edges: edges.clone(), heights: heights.clone(), filled: true },
        ),
        Layer::new("outline", Style::series(5), Mark::Steps { edges, heights, filled: false }),
        Layer::new(
            "",
            Style::plain(Ink::Text),
            Mark::Rule { along: Along::Y, at: 0.05, label: "5 %".into() },
        ),
        Layer::new(
            "sum",
            Style::series(2),
            Mark::Line { points: vec![(2.0, 0.02), (9.0, 0.04), (20.0, 0.08)], markers: true },
        ),
    ];
    let x = Axis::new("runners missed", Scale::Linear { low: 0.0, high: 30.0 });
    let y = Axis::new("odds", Scale::Linear { low: 0.0, high: 0.12 });
    figure(
        "sample-steps",
        "Between 5 and 20 of 6000 runners are missed in nine of ten races",
        1,
        vec![panel("", x, y, 160.0, layers)],
    )
}

// The browser tests share this file and keep pictures of their own.
#[allow(dead_code)]
/// Keeps a picture for people to look at when READODDS_LOOK names a folder.
pub fn keep(figure: &Figure) {
    let Some(folder) = std::env::var_os("READODDS_LOOK") else { return };
    let svg = readodds::report::draw::draw(figure, readodds::report::draw::Dress::Whole);
    let file = std::path::Path::new(&folder).join(&figure.key);
    #[cfg(feature = "png")]
    std::fs::write(file.with_extension("png"), readodds::report::png::png(&svg).unwrap()).unwrap();
    std::fs::write(file.with_extension("svg"), svg).unwrap();
}

pub fn page() -> Page {
    let mut table =
        Table::new(&[("point", "Timing point", Show::Fixed(0)), ("miss_rate", "Missed", Show::Percent)]);
    table.row([Cell::from("finish"), Cell::from(0.0021)]);
    table.row([Cell::from(HOSTILE), Cell::from(0.099)]);
    let mut assumed = assumptions();
    assumed.row([Cell::from("gap behind the tag"), Cell::from("2 mm, ln-sd 0.7"), Cell::from(HOSTILE)]);
    Page {
        study: "predict".into(),
        subject: format!("Invented Harbour Run {HOSTILE}"),
        note: "Invented for a test.".into(),
        answer: "Of 6,000 runners about 12 leave no read at the finish in rain, and 594 at the old mill."
            .into(),
        caption: "Missed runners".into(),
        table,
        hinges: vec!["How wet the bibs are: half the misses come with soaked bibs.".into(), HOSTILE.into()],
        cautions: vec!["Mains supply in the rain is for qualified people; local rules prevail.".into()],
        figures: figures(),
        assumptions: assumed,
        inputs: vec![(HOSTILE.into(), "00ff".into())],
        run: vec![("seed".into(), "1".into())],
        ..Page::default()
    }
}
