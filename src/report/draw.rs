//! A figure as SVG: title, reading, legend, panels in a grid, source and assumptions.
//!
//! Widths are those of an A4 page between 15 mm margins (680 px of 1/96 inch); letters end up 8 to 12 pt high.

use super::figure::{Figure, Layer, Mark};
use super::palette::{Dash, Ink, RAMP};
use super::panel::{self, Place};
use super::svg::{FONTS, Svg, px};
use super::text_width::{width_px, wrap};

/// Width of every figure, px.
pub const WIDTH_PX: f64 = 680.0;
const MARGIN_PX: f64 = 8.0;
const COLUMN_GAP_PX: f64 = 12.0;
/// Least room at a panel's right for the half of its last tick label.
const OVERHANG_PX: f64 = 15.0;

/// What surrounds the panels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dress {
    /// A picture that stands alone: with title, reading, source and assumptions.
    Whole,
    /// Panels and legend only; the page around it has the words.
    Bare,
}

/// The figure as an SVG document.
pub fn draw(figure: &Figure, dress: Dress) -> String {
    let mut body = Svg::default();
    let mut y = if dress == Dress::Whole { MARGIN_PX + 6.0 } else { 2.0 };
    let inner = WIDTH_PX - 2.0 * MARGIN_PX;
    if dress == Dress::Whole {
        for line in wrap(&figure.title, 16.0, true, inner) {
            y += 20.0;
            words(&mut body, MARGIN_PX, y - 4.0, &line, "16", "600", Ink::Text);
        }
        y += 2.0;
        for line in wrap(&figure.reading, 12.0, false, inner) {
            y += 16.0;
            words(&mut body, MARGIN_PX, y - 3.0, &line, "12", "", Ink::Soft);
        }
        y += 6.0;
    }
    y = legend(&mut body, figure, y);
    y = grid(&mut body, figure, y);
    if dress == Dress::Whole {
        let assumed = format!("Assumed, not measured: {}", figure.assumed);
        let notes = [format!("Source: {}", figure.source), assumed];
        let count = if figure.assumed.is_empty() { 1 } else { 2 };
        for note in &notes[..count] {
            for line in wrap(note, 10.5, false, inner) {
                y += 14.0;
                words(&mut body, MARGIN_PX, y - 2.0, &line, "10.5", "", Ink::Soft);
            }
        }
        y += MARGIN_PX;
    }
    // On a page the text around it sets the margin.
    let left = if dress == Dress::Whole { 0.0 } else { MARGIN_PX };
    let mut svg = Svg::default();
    let (title_id, desc_id) = (format!("{}-title", figure.key), format!("{}-desc", figure.key));
    svg.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg".into()),
            ("id", (&format!("{}-svg", figure.key)).into()),
            ("class", "figure".into()),
            ("viewBox", (&format!("{} 0 {} {}", px(left), px(WIDTH_PX - 2.0 * left), px(y))).into()),
            ("width", (WIDTH_PX - 2.0 * left).into()),
            ("height", y.into()),
            ("role", "img".into()),
            ("aria-labelledby", (&format!("{title_id} {desc_id}")).into()),
            ("font-family", FONTS.into()),
            ("font-size", "11.5".into()),
        ],
    );
    svg.leaf("title", &[("id", (&title_id).into())], &figure.title);
    svg.leaf("desc", &[("id", (&desc_id).into())], &figure.reading);
    if dress == Dress::Whole {
        svg.leaf("style", &[], &super::font::faces());
    }
    hatches(&mut svg, figure);
    svg.empty("rect", &[("width", WIDTH_PX.into()), ("height", y.into()), ("fill", Ink::Paper.hex().into())]);
    let mut text = svg.finish();
    text.push_str(&body.finish());
    text.push_str("</svg>\n");
    text
}

/// Words at a point; `weight` may be empty.
fn words(svg: &mut Svg, x: f64, y: f64, text: &str, size: &str, weight: &str, ink: Ink) {
    svg.leaf(
        "text",
        &[
            ("x", x.into()),
            ("y", y.into()),
            ("font-size", size.into()),
            ("font-weight", weight.into()),
            ("fill", ink.hex().into()),
        ],
        text,
    );
}

/// Panels row by row; returns the y below them.
fn grid(svg: &mut Svg, figure: &Figure, mut y: f64) -> f64 {
    let columns = figure.columns.max(1);
    let inner = WIDTH_PX - 2.0 * MARGIN_PX - COLUMN_GAP_PX * (columns - 1) as f64;
    let gutters: Vec<f64> = (0..columns)
        .map(|c| figure.panels.iter().skip(c).step_by(columns).map(panel::gutter_px).fold(0.0, f64::max))
        .collect();
    let overhang = figure.panels.iter().map(panel::overhang_px).fold(OVERHANG_PX, f64::max);
    let width = (inner - gutters.iter().sum::<f64>()) / columns as f64 - overhang;
    for row in figure.panels.chunks(columns) {
        let mut x = MARGIN_PX;
        let mut tallest = 0.0_f64;
        let heads = row.iter().zip(&gutters).map(|(panel, gutter)| panel::head_px(panel, gutter + width));
        let head = heads.fold(0.0, f64::max);
        for (c, panel) in row.iter().enumerate() {
            let place = Place { x, y, gutter: gutters[c], width, head };
            tallest = tallest.max(panel::draw(svg, &figure.key, panel, place));
            x += gutters[c] + width + overhang + COLUMN_GAP_PX;
        }
        y += tallest + 10.0;
    }
    y
}

/// Named layers once each, and the steps of a heat map; returns the y below them.
fn legend(svg: &mut Svg, figure: &Figure, mut y: f64) -> f64 {
    let mut seen: Vec<&str> = vec![];
    let mut x = MARGIN_PX;
    let mut any = false;
    for layer in figure.layers() {
        if layer.name.is_empty() || seen.contains(&layer.name.as_str()) {
            continue;
        }
        seen.push(&layer.name);
        let wide = 32.0 + width_px(&layer.name, 11.5, false) + 18.0;
        if x > MARGIN_PX && x + wide > WIDTH_PX - MARGIN_PX {
            x = MARGIN_PX;
            y += 18.0;
        }
        let switch = layer.switch.as_ref().map(|s| format!("{}={}", s.group, s.name)).unwrap_or_default();
        svg.open("g", &[("class", "key".into()), ("data-s", (&switch).into())]);
        sample(svg, figure, layer, x, y + 8.0);
        words(svg, x + 32.0, y + 12.0, &layer.name, "11.5", "", Ink::Text);
        svg.close("g");
        x += wide;
        any = true;
    }
    if any {
        y += 22.0;
    }
    if let Some(heat) = figure.layers().find_map(|l| if let Mark::Heat(h) = &l.mark { Some(h) } else { None })
    {
        words(svg, MARGIN_PX, y + 12.0, &heat.quantity, "11.5", "", Ink::Text);
        let mut x = MARGIN_PX + width_px(&heat.quantity, 11.5, false) + 12.0;
        for (i, colour) in RAMP.iter().enumerate() {
            svg.empty(
                "rect",
                &[
                    ("x", x.into()),
                    ("y", (y + 2.0).into()),
                    ("width", 44.0.into()),
                    ("height", 12.0.into()),
                    ("fill", (*colour).into()),
                    ("stroke", Ink::Soft.hex().into()),
                    ("stroke-width", "0.5".into()),
                ],
            );
            if let Some(cut) = heat.cuts.get(i) {
                let text = panel::heat_value(heat, *cut);
                svg.leaf(
                    "text",
                    &[
                        ("x", (x + 44.0).into()),
                        ("y", (y + 26.0).into()),
                        ("text-anchor", "middle".into()),
                        ("font-size", "10.5".into()),
                        ("fill", Ink::Soft.hex().into()),
                    ],
                    &text,
                );
            }
            x += 44.0;
        }
        y += 36.0;
    }
    y
}

/// A stretch of the layer's line, 26 px long.
fn line(svg: &mut Svg, layer: &Layer, x: f64, y: f64, width: f64) {
    svg.empty(
        "path",
        &[
            ("d", (&format!("M{} {}h26", px(x), px(y))).into()),
            ("stroke", layer.style.ink.hex().into()),
            ("stroke-width", width.into()),
            ("stroke-dasharray", layer.style.dash.array().into()),
            ("fill", "none".into()),
        ],
    );
}

/// A small picture of the layer's look, 26 px wide.
fn sample(svg: &mut Svg, figure: &Figure, layer: &Layer, x: f64, y: f64) {
    let style = layer.style;
    let stroke = |svg: &mut Svg, width: f64| line(svg, layer, x, y, width);
    let marker = |svg: &mut Svg| {
        svg.empty(
            "path",
            &[
                ("d", style.marker.path().into()),
                ("transform", (&format!("translate({} {})", px(x + 13.0), px(y))).into()),
                ("fill", style.ink.hex().into()),
            ],
        );
    };
    match &layer.mark {
        Mark::Line { markers, .. } => {
            stroke(svg, style.width_px);
            if *markers {
                marker(svg);
            }
        }
        Mark::Rule { .. } | Mark::Steps { filled: false, .. } => stroke(svg, style.width_px),
        Mark::Dots(_, dots) => {
            // Intervals are solid whatever the style's dash, and dots without one have no line.
            if dots.iter().any(|dot| dot.inner.is_some() || dot.outer.is_some()) {
                let layer = Layer { style: style.dashed(Dash::Solid), ..layer.clone() };
                line(svg, &layer, x, y, 1.4);
            }
            marker(svg);
        }
        Mark::Note { .. } | Mark::Heat(_) => {}
        Mark::Rug { .. } => svg.empty(
            "path",
            &[
                ("d", (&format!("M{} {}v8m5 -8v8m5 -8v8", px(x + 8.0), px(y - 4.0))).into()),
                ("stroke", style.ink.hex().into()),
                ("stroke-width", "1.4".into()),
            ],
        ),
        Mark::Band(_) | Mark::Shade { .. } | Mark::Bars(..) | Mark::Steps { .. } | Mark::Outline { .. } => {
            let (fill, opacity) = panel::fill_of(&figure.key, layer);
            svg.empty(
                "rect",
                &[
                    ("x", x.into()),
                    ("y", (y - 5.5).into()),
                    ("width", 26.0.into()),
                    ("height", 11.0.into()),
                    ("fill", (&fill).into()),
                    ("fill-opacity", opacity.into()),
                    ("stroke", style.ink.hex().into()),
                    ("stroke-width", "0.8".into()),
                ],
            );
        }
    }
}

/// Patterns of the hatched layers.
fn hatches(svg: &mut Svg, figure: &Figure) {
    let mut seen: Vec<String> = vec![];
    for layer in figure.layers() {
        let Some(id) = panel::hatch_id(&figure.key, layer) else { continue };
        if seen.contains(&id) {
            continue;
        }
        let (turn, d) = match layer.style.hatch {
            1 => ("rotate(45)", "M0 3h6"),
            2 => ("rotate(0)", "M1.5 3h2.4"),
            3 => ("rotate(135)", "M0 3h6"),
            4 => ("rotate(0)", "M0 3h6"),
            _ => ("rotate(45)", "M0 3h6M3 0v6"),
        };
        svg.open("defs", &[]);
        svg.open(
            "pattern",
            &[
                ("id", (&id).into()),
                ("width", "6".into()),
                ("height", "6".into()),
                ("patternUnits", "userSpaceOnUse".into()),
                ("patternTransform", turn.into()),
            ],
        );
        svg.empty(
            "rect",
            &[("width", "6".into()), ("height", "6".into()), ("fill", layer.style.ink.hex().into())],
        );
        svg.empty(
            "path",
            &[("d", d.into()), ("stroke", Ink::Paper.hex().into()), ("stroke-width", "1.5".into())],
        );
        svg.close("pattern");
        svg.close("defs");
        seen.push(id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn drawing_is_stable_and_hostile_names_stay_text() {
        for figure in sample::figures() {
            for dress in [Dress::Whole, Dress::Bare] {
                let svg = draw(&figure, dress);
                assert_eq!(svg, draw(&figure, dress));
                assert!(
                    !svg.contains("<script") && !svg.contains("NaN") && !svg.contains("inf"),
                    "{}",
                    figure.key
                );
                assert_eq!(
                    svg.matches("<g ").count() + svg.matches("<g>").count(),
                    svg.matches("</g>").count()
                );
            }
        }
    }
    #[test]
    fn nothing_is_cut() {
        for figure in sample::figures() {
            for dress in [Dress::Whole, Dress::Bare] {
                let cut = sample::whole::cut(&draw(&figure, dress));
                assert!(cut.is_empty(), "{}: {cut:?}", figure.key);
            }
        }
        // The check itself sees a marker on an edge without room around it.
        let narrow = draw(&sample::figures()[5], Dress::Bare).replace("-8 -8 ", "0 0 ");
        assert!(!sample::whole::cut(&narrow).is_empty());
    }
    #[test]
    fn a_whole_figure_says_its_finding_source_and_assumptions() {
        let figure = &sample::figures()[0];
        let (whole, bare) = (draw(figure, Dress::Whole), draw(figure, Dress::Bare));
        for words in ["Source: none, invented", "Assumed, not measured: everything"] {
            assert!(whole.contains(words) && !bare.contains(words));
        }
        assert!(whole.contains("<title") && whole.contains("<desc") && whole.contains("target 0.5 %"));
    }
}
