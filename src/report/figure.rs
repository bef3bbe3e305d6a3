//! A figure as plain data: what it says, its panels and marks, its table. Drawing it is another file's work
//! (`draw` for SVG, `png` for pixels, `page` for HTML), so every form shows the same numbers.

use super::palette::Style;
use super::scale::Scale;
use super::table::Table;

#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// File name and anchor: lower case, digits, hyphens.
    pub key: String,
    /// The finding, as a sentence.
    pub title: String,
    /// What is drawn and how to read it.
    pub reading: String,
    /// Where the numbers come from.
    pub source: String,
    /// What was assumed and not measured; empty when nothing was.
    pub assumed: String,
    /// Panels side by side, filled row by row.
    pub columns: usize,
    pub panels: Vec<Panel>,
    pub table: Table,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    pub title: String,
    pub x: Axis,
    pub y: Axis,
    pub height: Height,
    pub layers: Vec<Layer>,
    /// Set when the whole panel can be switched off.
    pub switch: Option<Switch>,
}

/// Height of a panel's plot area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Height {
    Px(f64),
    /// Both axes to the same scale: a drawing to scale.
    ToScale,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Quantity and unit: `frequency, MHz`.
    pub label: String,
    pub scale: Scale,
    /// Own ticks (categories); empty: round numbers.
    pub ticks: Vec<(f64, String)>,
    /// Whether grid lines are drawn.
    pub grid: bool,
}

impl Axis {
    pub fn new(label: &str, scale: Scale) -> Axis {
        Axis { label: label.into(), scale, ticks: vec![], grid: true }
    }
    /// Categories at 0, 1, 2, …; on a y axis the first is at the top.
    pub fn categories(label: &str, names: impl IntoIterator<Item = String>, downwards: bool) -> Axis {
        let ticks: Vec<(f64, String)> = names.into_iter().enumerate().map(|(i, n)| (i as f64, n)).collect();
        let (low, high) = (-0.5, ticks.len().max(1) as f64 - 0.5);
        let scale =
            if downwards { Scale::Linear { low: high, high: low } } else { Scale::Linear { low, high } };
        Axis { label: label.into(), scale, ticks, grid: false }
    }
}

/// A switch of the page: layers of the same group and name go on and off together.
#[derive(Clone, Debug, PartialEq)]
pub struct Switch {
    pub group: String,
    pub name: String,
}

impl Switch {
    pub fn new(group: &str, name: &str) -> Option<Switch> {
        Some(Switch { group: group.into(), name: name.into() })
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// Name in the legend; empty: not listed.
    pub name: String,
    pub style: Style,
    pub switch: Option<Switch>,
    pub mark: Mark,
}

impl Layer {
    pub fn new(name: &str, style: Style, mark: Mark) -> Layer {
        Layer { name: name.into(), style, switch: None, mark }
    }
    pub fn switched(self, switch: Option<Switch>) -> Layer {
        Layer { switch, ..self }
    }
}

/// Which axis carries the value of a bar, dot, shade or rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    X,
    Y,
}

/// A value with its intervals: `inner` drawn thick, `outer` drawn thin.
#[derive(Clone, Debug, PartialEq)]
pub struct Dot {
    /// Place on the other axis.
    pub at: f64,
    pub value: f64,
    pub inner: Option<(f64, f64)>,
    pub outer: Option<(f64, f64)>,
    /// What a reader sees when pointing at it.
    pub tip: String,
}

/// A bar from one value to another, `thickness` in units of the other axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    pub at: f64,
    pub from: f64,
    pub to: f64,
    pub thickness: f64,
    pub tip: String,
}

/// Values on a regular grid of cells; cell (i, j) is centred at (x0 + i·dx, y0 + j·dy).
#[derive(Clone, Debug, PartialEq)]
pub struct Heat {
    pub x0: f64,
    pub dx: f64,
    pub y0: f64,
    pub dy: f64,
    /// Rows of equal length, `values[j][i]`; NaN is left blank.
    pub values: Vec<Vec<f64>>,
    /// Upper ends of the colour classes, rising, one fewer than the ramp has steps.
    pub cuts: [f64; 7],
    /// Words of the quantity for the tip and the key: `read odds`.
    pub quantity: String,
    pub percent: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Mark {
    Line {
        points: Vec<(f64, f64)>,
        markers: bool,
    },
    /// (x, low, high)
    Band(Vec<(f64, f64, f64)>),
    /// `heights[i]` between `edges[i]` and `edges[i + 1]`.
    Steps {
        edges: Vec<f64>,
        heights: Vec<f64>,
        filled: bool,
    },
    Bars(Along, Vec<Bar>),
    Dots(Along, Vec<Dot>),
    Heat(Heat),
    /// A stretch of one axis, over the whole panel, with its label at the top.
    Shade {
        along: Along,
        from: f64,
        to: f64,
        label: String,
    },
    /// A value of one axis, as a line over the whole panel.
    Rule {
        along: Along,
        at: f64,
        label: String,
    },
    /// Strokes at the foot of the panel.
    Rug {
        strokes: Vec<(f64, String)>,
        height_px: f64,
    },
    /// A closed outline in data units; filled with the style's hatch when `filled`.
    Outline {
        points: Vec<(f64, f64)>,
        filled: bool,
        tip: String,
    },
    /// Words at a point of the data.
    Note {
        at: (f64, f64),
        text: String,
        anchor: Anchor,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

impl Figure {
    /// All panels' layers.
    pub fn layers(&self) -> impl Iterator<Item = &Layer> {
        self.panels.iter().flat_map(|p| &p.layers)
    }
    /// Text for those who cannot see the figure: the finding, then what is drawn.
    pub fn alt(&self) -> String {
        format!("{} {}", self.title, self.reading)
    }
}
