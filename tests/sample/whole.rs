//! Whether a drawing is whole: no marker, interval or word is cut by its sheet or by the edge of the picture.

use readodds::report::text_width::width_px;

/// Half the size of the largest marker, its edge included, px.
const MARKER_PX: f64 = 5.4;
/// Half the width of an interval's stroke, px.
const STROKE_PX: f64 = 2.0;

struct Sheet {
    x: f64,
    y: f64,
    wide: f64,
    high: f64,
    /// Where the sheet's own (0, 0) lies in it.
    origin: (f64, f64),
}

fn attribute<'a>(tag: &'a str, key: &str) -> Option<&'a str> {
    let start = tag.find(&format!(" {key}=\""))? + key.len() + 3;
    tag[start..].split('"').next()
}

fn number(tag: &str, key: &str) -> f64 {
    attribute(tag, key).and_then(|v| v.parse().ok()).unwrap_or(0.0)
}

fn numbers(text: &str) -> Vec<f64> {
    text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .filter_map(|n| n.parse().ok())
        .collect()
}

/// Corners of a path of `M`, `L`, `v` and `h`.
fn corners(d: &str) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = vec![];
    let starts: Vec<usize> = d.match_indices(|c: char| c.is_ascii_alphabetic()).map(|(i, _)| i).collect();
    for (k, &at) in starts.iter().enumerate() {
        let values = numbers(&d[at + 1..starts.get(k + 1).copied().unwrap_or(d.len())]);
        let (x, y) = out.last().copied().unwrap_or((0.0, 0.0));
        match (&d[at..=at], &values[..]) {
            ("v", [dy]) => out.push((x, y + dy)),
            ("h", [dx]) => out.push((x + dx, y)),
            (_, [x, y]) => out.push((*x, *y)),
            other => panic!("not a path of ours: {other:?}"),
        }
    }
    out
}

/// What is cut; empty when all is well.
pub fn cut(svg: &str) -> Vec<String> {
    let root = svg.find("viewBox=\"").map(|at| numbers(svg[at + 9..].split('"').next().unwrap())).unwrap();
    let (left, wide, high) = (root[0], root[2], root[3]);
    let mut out = vec![];
    let mut sheet: Option<Sheet> = None;
    for part in svg.split('<').skip(1) {
        let (tag, after) = part.split_once('>').unwrap();
        let name = tag.split([' ', '/']).next().unwrap();
        if name == "svg" && attribute(tag, "class").is_some_and(|c| c == "plot" || c == "over") {
            let view = attribute(tag, "viewBox").map_or(vec![0.0, 0.0], numbers);
            sheet = Some(Sheet {
                x: number(tag, "x"),
                y: number(tag, "y"),
                wide: number(tag, "width"),
                high: number(tag, "height"),
                origin: (-view[0], -view[1]),
            });
        }
        if tag == "/svg" {
            sheet = None;
        }
        let mut point = |what: &str, (x, y): (f64, f64), reach: f64| {
            let Some(s) = &sheet else { return };
            let (x, y) = (x + s.origin.0, y + s.origin.1);
            if x < reach || y < reach || x > s.wide - reach || y > s.high - reach {
                out.push(format!("{what} at {x:.1}, {y:.1} on a sheet of {:.1} x {:.1}", s.wide, s.high));
            }
        };
        let class = attribute(tag, "class").unwrap_or("");
        if name == "path" && class.starts_with("mark") {
            let at = numbers(attribute(tag, "transform").unwrap());
            point("marker", (at[0], at[1]), MARKER_PX);
        }
        if name == "path" && class == "whisker" {
            corners(attribute(tag, "d").unwrap()).into_iter().for_each(|c| point("interval", c, STROKE_PX));
        }
        if name == "text" {
            let moved = attribute(tag, "transform").map(numbers);
            let at = moved.map_or((number(tag, "x"), number(tag, "y")), |m| (m[0], m[1]));
            let at = sheet.as_ref().map_or(at, |s| (at.0 + s.x + s.origin.0, at.1 + s.y + s.origin.1));
            let text = after.replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">");
            let text = text.replace("&quot;", "\"").replace("&#39;", "'");
            let size = number(tag, "font-size");
            let length = width_px(&text, size, attribute(tag, "font-weight").is_some());
            let start = match attribute(tag, "text-anchor") {
                Some("middle") => at.0 - 0.5 * length,
                Some("end") => at.0 - length,
                _ => at.0,
            };
            if start < left - 0.5 || start + length > left + wide + 0.5 || at.1 < 0.7 * size || at.1 > high {
                out.push(format!("words \"{text}\" from {start:.1} to {:.1} of {wide}", start + length));
            }
        }
    }
    out
}
