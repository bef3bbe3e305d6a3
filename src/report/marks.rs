//! The marks of a panel: lines, bands, bars, dots with intervals, heat maps, outlines.
//!
//! Paths carry `vector-effect` so that zooming keeps line widths; markers and words are placed by `transform`, so that
//! the page can move them without stretching them.
//!
//! A panel has two sheets. What has a length (lines, areas) is cut at the plot's edge; what stands at a point (markers,
//! intervals, words) goes on a sheet `SPILL_PX` wider all around, so that a marker on the edge of an axis stays whole.

use super::figure::{Along, Anchor, Bar, Dot, Heat, Layer, Mark};
use super::palette::{Dash, Ink, Marker, RAMP};
use super::panel::{Map, fill_of, heat_value};
use super::svg::{Svg, Value, path, px};
use super::text_width::width_px;

/// How far the sheet of markers and words reaches over the plot, px: more than half a marker, its edge included.
pub const SPILL_PX: f64 = 8.0;
const NOTE_PX: f64 = 11.0;

/// The two sheets of a panel.
#[derive(Default)]
pub struct Sheets {
    /// Lines and areas, cut at the plot's edge.
    pub plot: Svg,
    /// Markers, intervals and words.
    pub over: Svg,
}

/// Draws one layer.
pub fn draw(sheets: &mut Sheets, key: &str, layer: &Layer, map: &Map) {
    let (mut under, mut over) = (Svg::default(), Svg::default());
    parts(&mut under, &mut over, key, layer, map);
    let switch = layer.switch.as_ref().map(|s| format!("{}={}", s.group, s.name)).unwrap_or_default();
    for (sheet, part) in [(&mut sheets.plot, under), (&mut sheets.over, over)] {
        if part.is_empty() {
            continue;
        }
        sheet.open(
            "g",
            &[("class", "layer".into()), ("data-s", (&switch).into()), ("data-name", (&layer.name).into())],
        );
        sheet.append(part);
        sheet.close("g");
    }
}

fn parts(svg: &mut Svg, over: &mut Svg, key: &str, layer: &Layer, map: &Map) {
    let style = layer.style;
    let (fill, opacity) = fill_of(key, layer);
    match &layer.mark {
        Mark::Line { points, markers } => {
            // A gap in the data (NaN) is a gap in the line; a lone point stays to be seen as a round dot.
            let mut d = String::new();
            for run in points.split(|(x, y)| !(x.is_finite() && y.is_finite())).filter(|run| !run.is_empty())
            {
                let ends = if run.len() == 1 { [run[0], run[0]].to_vec() } else { run.to_vec() };
                d.push_str(&path(at(map, &ends)));
            }
            stroke(svg, layer, &d, "line");
            if *markers {
                for (x, y) in at(map, points) {
                    marker(over, layer, x, y, "");
                }
            }
        }
        Mark::Band(edges) => {
            let up = edges.iter().map(|(x, low, _)| (*x, *low));
            let back = edges.iter().rev().map(|(x, _, high)| (*x, *high));
            let ring: Vec<(f64, f64)> = up.chain(back).collect();
            area(svg, &format!("{}Z", path(at(map, &ring))), &fill, opacity, None, "");
        }
        Mark::Steps { edges, heights, filled } => {
            let mut points = vec![];
            for (i, height) in heights.iter().enumerate() {
                points.extend([(edges[i], *height), (edges[i + 1], *height)]);
            }
            let line = path(at(map, &points));
            if *filled && !points.is_empty() {
                let (a, b) = (map.x(edges[0]), map.x(edges[heights.len()]));
                let foot = px(map.height);
                let ring = format!("{line}L{} {foot}L{} {foot}Z", px(b), px(a));
                area(svg, &ring, &fill, opacity, Some(style.ink), "");
            } else {
                stroke(svg, layer, &line, "line");
            }
        }
        Mark::Bars(along, bars) => {
            for bar in bars {
                let (x, y, w, h) = bar_box(map, *along, bar);
                let d = format!("M{} {}h{}v{}h{}Z", px(x), px(y), px(w), px(h), px(-w));
                // A bar of no length is there to be pointed at, not to be seen.
                let edge = (w.min(h) > 0.05).then_some(style.ink);
                area(svg, &d, &fill, opacity, edge, &bar.tip);
            }
        }
        Mark::Dots(along, dots) => dots.iter().for_each(|dot| whisker(over, layer, map, *along, dot)),
        Mark::Heat(heat) => heat_map(svg, heat, map),
        Mark::Shade { along, from, to, label } => {
            let (x, y, w, h) = match along {
                Along::X => (map.x(*from), 0.0, map.x(*to) - map.x(*from), map.height),
                Along::Y => (0.0, map.y(*to), map.width, map.y(*from) - map.y(*to)),
            };
            area(
                svg,
                &format!("M{} {}h{}v{}h{}Z", px(x), px(y), px(w), px(h), px(-w)),
                &fill,
                opacity,
                None,
                label,
            );
            if !label.is_empty() && w > 8.0 {
                note(over, map, (x + w / 2.0, y + 12.0), label, Anchor::Middle, Ink::Soft);
            }
        }
        Mark::Rule { along, at, label } => {
            let (d, place, anchor) = match along {
                Along::X => {
                    let x = map.x(*at);
                    let (nudge, anchor) =
                        if x > map.width * 0.7 { (-4.0, Anchor::End) } else { (4.0, Anchor::Start) };
                    (format!("M{} 0V{}", px(x), px(map.height)), (x + nudge, 12.0), anchor)
                }
                Along::Y => {
                    let y = map.y(*at);
                    (format!("M0 {}H{}", px(y), px(map.width)), (map.width - 4.0, y - 5.0), Anchor::End)
                }
            };
            stroke(svg, layer, &d, "rule");
            if !label.is_empty() {
                note(over, map, place, label, anchor, style.ink);
            }
        }
        Mark::Rug { strokes, height_px } => {
            let layer = &Layer { style: style.dashed(Dash::Solid), ..layer.clone() };
            let stroke_at = |x: f64| format!("M{} {}v{}", px(map.x(x)), px(map.height), px(-height_px));
            for (x, tip) in strokes.iter().filter(|(_, tip)| !tip.is_empty()) {
                svg.tipped("path", &stroke_attributes(layer, &stroke_at(*x), "tip"), tip);
            }
            // Strokes that say nothing of their own are one path: there may be thousands.
            let silent: String =
                strokes.iter().filter(|(_, tip)| tip.is_empty()).map(|(x, _)| stroke_at(*x)).collect();
            if !silent.is_empty() {
                stroke(svg, layer, &silent, "rule");
            }
        }
        Mark::Outline { points, filled, tip } => {
            let d = format!("{}Z", path(at(map, points)));
            if *filled {
                area(svg, &d, &fill, opacity, Some(style.ink), tip);
            } else {
                svg.tipped(
                    "path",
                    &stroke_attributes(layer, &d, if tip.is_empty() { "rule" } else { "tip" }),
                    tip,
                );
            }
        }
        Mark::Note { at, text, anchor } => {
            note(over, map, (map.x(at.0), map.y(at.1)), text, *anchor, style.ink);
        }
    }
}

fn at<'a>(map: &'a Map, points: &'a [(f64, f64)]) -> impl Iterator<Item = (f64, f64)> + 'a {
    points.iter().filter(|(x, y)| x.is_finite() && y.is_finite()).map(|(x, y)| (map.x(*x), map.y(*y)))
}

fn stroke_attributes<'a>(layer: &Layer, d: &'a str, class: &'a str) -> [(&'static str, Value<'a>); 8] {
    [
        ("class", class.into()),
        ("d", d.into()),
        ("fill", "none".into()),
        ("stroke", layer.style.ink.hex().into()),
        ("stroke-width", layer.style.width_px.into()),
        ("stroke-dasharray", layer.style.dash.array().into()),
        ("stroke-linecap", if class == "line" { "round" } else { "" }.into()),
        ("vector-effect", "non-scaling-stroke".into()),
    ]
}

fn stroke(svg: &mut Svg, layer: &Layer, d: &str, class: &str) {
    svg.empty("path", &stroke_attributes(layer, d, class));
}

fn area(svg: &mut Svg, d: &str, fill: &str, opacity: f64, edge: Option<Ink>, tip: &str) {
    svg.tipped(
        "path",
        &[
            ("class", if tip.is_empty() { "area" } else { "tip" }.into()),
            ("d", d.into()),
            ("fill", fill.into()),
            ("fill-opacity", if opacity == 1.0 { "".into() } else { opacity.into() }),
            ("stroke", edge.map_or("", Ink::hex).into()),
            ("stroke-width", if edge.is_some() { "0.8" } else { "" }.into()),
            ("vector-effect", "non-scaling-stroke".into()),
        ],
        tip,
    );
}

fn marker(svg: &mut Svg, layer: &Layer, x: f64, y: f64, tip: &str) {
    let place = format!("translate({} {})", px(x), px(y));
    if layer.style.marker == Marker::Ring {
        // Paper in the hole, so that the interval does not strike it through.
        let d = Marker::Disc.path();
        let fill = Ink::Paper.hex();
        svg.empty(
            "path",
            &[
                ("class", "mark".into()),
                ("transform", (&place).into()),
                ("d", d.into()),
                ("fill", fill.into()),
            ],
        );
    }
    svg.tipped(
        "path",
        &[
            ("class", if tip.is_empty() { "mark" } else { "mark tip" }.into()),
            ("transform", (&place).into()),
            ("d", layer.style.marker.path().into()),
            ("fill", layer.style.ink.hex().into()),
            ("stroke", Ink::Paper.hex().into()),
            ("stroke-width", "0.7".into()),
        ],
        tip,
    );
}

/// Words with a paper-coloured halo, so that lines behind do not hide them; moved until they lie inside the plot.
fn note(svg: &mut Svg, map: &Map, at: (f64, f64), text: &str, anchor: Anchor, ink: Ink) {
    let wide = width_px(text, NOTE_PX, false);
    let (name, before) = match anchor {
        Anchor::Start => ("", 0.0),
        Anchor::Middle => ("middle", 0.5 * wide),
        Anchor::End => ("end", wide),
    };
    let x = at.0.min(map.width - wide + before).max(before);
    let y = at.1.clamp(NOTE_PX, (map.height - 3.0).max(NOTE_PX));
    svg.leaf(
        "text",
        &[
            ("class", "mark".into()),
            ("transform", (&format!("translate({} {})", px(x), px(y))).into()),
            ("text-anchor", name.into()),
            ("font-size", NOTE_PX.into()),
            ("fill", if ink == Ink::Faint { Ink::Soft } else { ink }.hex().into()),
            ("stroke", Ink::Paper.hex().into()),
            ("stroke-width", "3".into()),
            ("stroke-linejoin", "round".into()),
            ("paint-order", "stroke".into()),
        ],
        text,
    );
}

fn bar_box(map: &Map, along: Along, bar: &Bar) -> (f64, f64, f64, f64) {
    let half = bar.thickness / 2.0;
    let (a, b, c, d) = match along {
        Along::X => (map.x(bar.from), map.x(bar.to), map.y(bar.at - half), map.y(bar.at + half)),
        Along::Y => (map.x(bar.at - half), map.x(bar.at + half), map.y(bar.from), map.y(bar.to)),
    };
    (a.min(b), c.min(d), (a - b).abs(), (c - d).abs())
}

/// A dot with its intervals: the inner one thick, the outer one thin with end strokes.
fn whisker(svg: &mut Svg, layer: &Layer, map: &Map, along: Along, dot: &Dot) {
    let point = |value: f64| match along {
        Along::X => (map.x(value), map.y(dot.at)),
        Along::Y => (map.x(dot.at), map.y(value)),
    };
    let line = |svg: &mut Svg, (low, high): (f64, f64), width: f64, caps: bool| {
        let (a, b) = (point(low), point(high));
        let mut d = path([a, b]);
        if caps {
            for (x, y) in [a, b] {
                d += &match along {
                    Along::X => format!("M{} {}v8", px(x), px(y - 4.0)),
                    Along::Y => format!("M{} {}h8", px(x - 4.0), px(y)),
                };
            }
        }
        svg.empty(
            "path",
            &[
                ("class", "whisker".into()),
                ("d", (&d).into()),
                ("fill", "none".into()),
                ("stroke", layer.style.ink.hex().into()),
                ("stroke-width", width.into()),
                ("vector-effect", "non-scaling-stroke".into()),
            ],
        );
    };
    if let Some(outer) = dot.outer {
        line(svg, outer, 1.2, true);
    }
    if let Some(inner) = dot.inner {
        line(svg, inner, 4.0, false);
    }
    let (x, y) = point(dot.value);
    marker(svg, layer, x, y, &dot.tip);
}

/// Cells of one colour class in one path, runs along a row merged.
fn heat_map(svg: &mut Svg, heat: &Heat, map: &Map) {
    let class = |v: f64| heat.cuts.iter().take_while(|cut| v >= **cut).count();
    let mut paths = vec![String::new(); RAMP.len()];
    let mut words = String::new();
    for (j, row) in heat.values.iter().enumerate() {
        let y = heat.y0 + heat.dy * j as f64;
        let (a, b) = (map.y(y - heat.dy / 2.0), map.y(y + heat.dy / 2.0));
        let mut i = 0;
        while i < row.len() {
            if row[i].is_nan() {
                i += 1;
                continue;
            }
            let start = i;
            while i < row.len() && !row[i].is_nan() && class(row[i]) == class(row[start]) {
                i += 1;
            }
            let x = |k: usize| map.x(heat.x0 + heat.dx * (k as f64 - 0.5));
            let d = format!("M{} {}H{}V{}H{}Z", px(x(start)), px(a), px(x(i)), px(b), px(x(start)));
            paths[class(row[start])].push_str(&d);
        }
        let shown: Vec<String> = row
            .iter()
            .map(|v| if v.is_nan() { String::new() } else { heat_value(heat, *v).replace(' ', "") })
            .collect();
        words.push_str(&shown.join(","));
        words.push(';');
    }
    let grid = format!("{}|{}|{}|{}|{}", heat.x0, heat.dx, heat.y0, heat.dy, heat.quantity);
    svg.open(
        "g",
        &[
            ("class", "heat".into()),
            ("shape-rendering", "crispEdges".into()),
            ("data-grid", (&grid).into()),
            ("data-values", (&words).into()),
        ],
    );
    for (d, colour) in paths.iter().zip(RAMP) {
        if !d.is_empty() {
            svg.empty("path", &[("d", d.into()), ("fill", colour.into())]);
        }
    }
    svg.close("g");
}
