//! One panel: frame, axes with their labels, and the place of the marks.

use super::figure::{Axis, Heat, Height, Layer, Mark, Panel};
use super::marks::{self, SPILL_PX, Sheets};
use super::palette::Ink;
use super::scale::{Scale, tick_text};
use super::svg::{Svg, px};
use super::table::significant;
use super::text_width::{fit, width_px, wrap};

const TICK_PX: f64 = 11.0;
const LONGEST_CATEGORY_PX: f64 = 200.0;

/// Where a panel stands: its left top corner, the room for the y ticks and the width of the plot, px.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub x: f64,
    pub y: f64,
    pub gutter: f64,
    pub width: f64,
    /// Height of title and axis label over the plot, alike for all panels of a row.
    pub head: f64,
}

/// Height that a panel's title and the label of its y axis need, px, when `room` px wide.
pub fn head_px(panel: &Panel, room: f64) -> f64 {
    let title = wrap(&panel.title, 12.0, true, room).len();
    let label = wrap(&panel.y.label, TICK_PX, false, room).len();
    16.0 * title as f64 + 15.0 * label as f64
}

/// Data to px within the plot.
#[derive(Clone, Copy, Debug)]
pub struct Map {
    pub x: Scale,
    pub y: Scale,
    pub width: f64,
    pub height: f64,
}

impl Map {
    pub fn x(&self, value: f64) -> f64 {
        self.x.place(value) * self.width
    }
    pub fn y(&self, value: f64) -> f64 {
        (1.0 - self.y.place(value)) * self.height
    }
}

/// Room the y tick labels need, px.
pub fn gutter_px(panel: &Panel) -> f64 {
    let length = if let Height::Px(height) = panel.height { height } else { 500.0 };
    let labels = tick_labels(&panel.y, length, 38.0);
    let widest = labels.iter().map(|(_, t)| width_px(t, TICK_PX, false)).fold(0.0, f64::max);
    widest.min(LONGEST_CATEGORY_PX) + 9.0
}

/// Room the last label of the x axis needs beyond the plot, px; fonts of other machines run wider than ours.
pub fn overhang_px(panel: &Panel) -> f64 {
    if panel.x.ticks.is_empty() {
        0.6 * width_px(&tick_text(panel.x.scale.ends().1.abs().ceil()), TICK_PX, false)
    } else {
        0.0
    }
}

fn tick_labels(axis: &Axis, length_px: f64, spacing_px: f64) -> Vec<(f64, String)> {
    if axis.ticks.is_empty() {
        let count = ((length_px / spacing_px) as usize).max(2);
        axis.scale.ticks(count).into_iter().map(|v| (v, tick_text(v))).collect()
    } else {
        axis.ticks.clone()
    }
}

/// Draws the panel and returns its height.
pub fn draw(svg: &mut Svg, key: &str, panel: &Panel, place: Place) -> f64 {
    let switch = panel.switch.as_ref().map(|s| format!("{}={}", s.group, s.name)).unwrap_or_default();
    let map = Map {
        x: panel.x.scale,
        y: panel.y.scale,
        width: place.width,
        height: match panel.height {
            Height::Px(height) => height,
            Height::ToScale => {
                let span = |s: Scale| (s.ends().1 - s.ends().0).abs();
                place.width * span(panel.y.scale) / span(panel.x.scale)
            }
        },
    };
    svg.open(
        "g",
        &[
            ("class", "panel".into()),
            ("data-s", (&switch).into()),
            ("data-x", (&axis_data(&panel.x)).into()),
            ("data-y", (&axis_data(&panel.y)).into()),
        ],
    );
    let room = place.gutter + place.width;
    let mut top = place.y;
    for line in wrap(&panel.title, 12.0, true, room) {
        top += 16.0;
        label(svg, (place.x, top - 4.0), "start", "600", Ink::Text, &line);
    }
    // The axis label stands right over its plot, whatever the titles beside it need.
    top = place.y + place.head - 15.0 * wrap(&panel.y.label, TICK_PX, false, room).len() as f64;
    for line in wrap(&panel.y.label, TICK_PX, false, room) {
        top += 15.0;
        label(svg, (place.x, top - 4.0), "start", "", Ink::Soft, &line);
    }
    top += 5.0;
    let left = place.x + place.gutter;
    svg.open("g", &[("class", "axis y".into())]);
    y_axis(svg, &panel.y, &map, left, top);
    svg.close("g");
    svg.open("g", &[("class", "axis x".into())]);
    let below = x_axis(svg, &panel.x, &map, left, top);
    svg.close("g");
    let mut sheets = Sheets::default();
    for layer in &panel.layers {
        marks::draw(&mut sheets, key, layer, &map);
    }
    sheet(svg, "plot", (left, top), &map, 0.0, sheets.plot);
    sheet(svg, "over", (left, top), &map, SPILL_PX, sheets.over);
    let mut bottom = top + map.height + below;
    if !panel.x.label.is_empty() {
        for line in wrap(&panel.x.label, TICK_PX, false, room) {
            bottom += 14.0;
            label(svg, (left + map.width / 2.0, bottom - 2.0), "middle", "", Ink::Soft, &line);
        }
    }
    svg.close("g");
    bottom - place.y
}

/// One sheet of marks, cut `spill` px outside the plot.
fn sheet(svg: &mut Svg, class: &str, (left, top): (f64, f64), map: &Map, spill: f64, marks: Svg) {
    let (wide, high) = (map.width + 2.0 * spill, map.height + 2.0 * spill);
    let view = if spill > 0.0 {
        format!("{} {} {} {}", px(-spill), px(-spill), px(wide), px(high))
    } else {
        String::new()
    };
    svg.open(
        "svg",
        &[
            ("class", class.into()),
            ("x", (left - spill).into()),
            ("y", (top - spill).into()),
            ("width", wide.into()),
            ("height", high.into()),
            ("viewBox", (&view).into()),
            ("overflow", "hidden".into()),
        ],
    );
    svg.open("g", &[("class", "marks".into())]);
    svg.append(marks);
    svg.close("g");
    svg.close("svg");
}

fn axis_data(axis: &Axis) -> String {
    let (low, high) = axis.scale.ends();
    let kind = if !axis.ticks.is_empty() {
        "named"
    } else if axis.scale.is_log() {
        "log"
    } else {
        "linear"
    };
    format!("{kind}|{low}|{high}|{}", axis.label)
}

fn label(svg: &mut Svg, at: (f64, f64), anchor: &str, weight: &str, ink: Ink, text: &str) {
    svg.leaf(
        "text",
        &[
            ("x", at.0.into()),
            ("y", at.1.into()),
            ("text-anchor", if anchor == "start" { "" } else { anchor }.into()),
            ("font-weight", weight.into()),
            ("font-size", if weight.is_empty() { "11" } else { "12" }.into()),
            ("fill", ink.hex().into()),
        ],
        text,
    );
}

fn rule(svg: &mut Svg, from: (f64, f64), to: (f64, f64), ink: Ink) {
    svg.empty(
        "line",
        &[
            ("x1", from.0.into()),
            ("y1", from.1.into()),
            ("x2", to.0.into()),
            ("y2", to.1.into()),
            ("stroke", ink.hex().into()),
        ],
    );
}

fn y_axis(svg: &mut Svg, axis: &Axis, map: &Map, left: f64, top: f64) {
    for (value, text) in tick_labels(axis, map.height, 38.0) {
        let y = top + map.y(value);
        if axis.grid {
            rule(svg, (left, y), (left + map.width, y), Ink::Faint);
        }
        let mut lines = wrap(&text, TICK_PX, false, LONGEST_CATEGORY_PX);
        if lines.len() > 2 {
            lines[1] = fit(&lines[1..].join(" "), TICK_PX, false, LONGEST_CATEGORY_PX);
            lines.truncate(2);
        }
        let first = y + 4.0 - 6.5 * (lines.len().saturating_sub(1)) as f64;
        for (i, line) in lines.iter().enumerate() {
            let line = fit(line, TICK_PX, false, LONGEST_CATEGORY_PX);
            label(svg, (left - 6.0, first + 13.0 * i as f64), "end", "", Ink::Text, &line);
        }
    }
    if !axis.grid {
        rule(svg, (left, top), (left, top + map.height), Ink::Soft);
    }
}

/// Returns the height the tick labels take.
fn x_axis(svg: &mut Svg, axis: &Axis, map: &Map, left: f64, top: f64) -> f64 {
    let foot = top + map.height;
    // Labels of a log axis are short, and every decade left out is missed.
    let labels = tick_labels(axis, map.width, if axis.scale.is_log() { 42.0 } else { 62.0 });
    let room = if axis.ticks.is_empty() { 90.0 } else { map.width / labels.len().max(1) as f64 - 4.0 };
    let mut deepest = 1;
    for (value, text) in &labels {
        let x = left + map.x(*value);
        if axis.grid {
            rule(svg, (x, top), (x, foot), Ink::Faint);
        }
        rule(svg, (x, foot), (x, foot + 4.0), Ink::Soft);
        let lines = wrap(text, TICK_PX, false, room);
        deepest = deepest.max(lines.len());
        for (i, line) in lines.iter().enumerate() {
            label(
                svg,
                (x, foot + 15.0 + 13.0 * i as f64),
                "middle",
                "",
                Ink::Text,
                &fit(line, TICK_PX, false, room),
            );
        }
    }
    rule(svg, (left, foot), (left + map.width, foot), Ink::Soft);
    4.0 + 13.0 * deepest as f64
}

/// A heat value in words.
pub fn heat_value(heat: &Heat, value: f64) -> String {
    if heat.percent { format!("{} %", plain(value * 100.0)) } else { plain(value) }
}

/// Three significant digits without trailing zeros.
fn plain(value: f64) -> String {
    let text = significant(value, 3);
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    short.replace('-', "\u{2212}")
}

/// Pattern id of a hatched area; none for plain fills.
pub fn hatch_id(key: &str, layer: &Layer) -> Option<String> {
    let hatched = match &layer.mark {
        Mark::Bars(..) => true,
        Mark::Outline { filled, .. } | Mark::Steps { filled, .. } => *filled,
        _ => false,
    };
    (hatched && layer.style.hatch > 0)
        .then(|| format!("{key}-hatch-{}-{}", layer.style.hatch, &layer.style.ink.hex()[1..]))
}

/// Fill and opacity of an area layer.
pub fn fill_of(key: &str, layer: &Layer) -> (String, f64) {
    let hex = layer.style.ink.hex().to_string();
    match (&layer.mark, hatch_id(key, layer)) {
        (_, Some(id)) => (format!("url(#{id})"), 1.0),
        (Mark::Band(_), _) => (hex, 0.22),
        (Mark::Shade { .. }, _) => (hex, 1.0),
        (Mark::Outline { filled: false, .. }, _) => ("none".into(), 1.0),
        _ => (hex, 1.0),
    }
}
