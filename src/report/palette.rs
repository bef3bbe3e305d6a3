//! Colours, line styles, markers and hatches of every figure. A series is never told by its colour alone.
//!
//! The six inks were found by a search of our own: lightness fixed on a ladder L* = 24, 31, 38, 46, 54, 62 (so they
//! differ in grey print and keep 3:1 contrast on white), hue and chroma free, maximising the smallest CIELAB distance
//! between any two inks as seen with normal vision and with full protan, deutan and tritan deficiency.
//! Source of the rule: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A Physiologically-based Model for Simulation
//! of Color Vision Deficiency, IEEE TVCG 15(6), 2009, matrices of severity 1.0; CIELAB after ISO/CIE 11664-4:2019;
//! contrast after W3C, WCAG 2.1 (2018), 1.4.11. The tests below hold the inks to it.

/// A colour of the figures, as `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    Azure,
    Ochre,
    Ruby,
    Moss,
    Lilac,
    Plum,
    /// Text and frames.
    Text,
    /// Secondary text, reference lines.
    Soft,
    /// Grid lines.
    Faint,
    /// Shading under the data.
    Wash,
    Paper,
}

impl Ink {
    /// The inks of data series, in the order of use.
    pub const SERIES: [Ink; 6] = [Ink::Azure, Ink::Ochre, Ink::Ruby, Ink::Moss, Ink::Lilac, Ink::Plum];
    pub fn hex(self) -> &'static str {
        match self {
            Ink::Azure => "#0264ec",
            Ink::Ochre => "#b37409",
            Ink::Ruby => "#af095f",
            Ink::Moss => "#3d3b01",
            Ink::Lilac => "#a886c7",
            Ink::Plum => "#781b8b",
            Ink::Text => "#1b1b1b",
            Ink::Soft => "#595959",
            Ink::Faint => "#dcdad5",
            Ink::Wash => "#f1efea",
            Ink::Paper => "#ffffff",
        }
    }
}

/// Line styles, in the order of use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dash {
    Solid,
    Long,
    Dot,
    LongDot,
    Short,
    LongDotDot,
}

impl Dash {
    pub const SERIES: [Dash; 6] =
        [Dash::Solid, Dash::Long, Dash::Dot, Dash::LongDot, Dash::Short, Dash::LongDotDot];
    /// `stroke-dasharray`; empty for a solid line.
    pub fn array(self) -> &'static str {
        ["", "9 4", "1.5 3", "10 3 1.5 3", "5 3", "10 3 1.5 3 1.5 3"][self as usize]
    }
}

/// Point markers, in the order of use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    Disc,
    Square,
    Wedge,
    Diamond,
    Cross,
    Ring,
    /// A small disc, for many values close together; not a series of its own.
    Point,
}

impl Marker {
    pub const SERIES: [Marker; 6] =
        [Marker::Disc, Marker::Square, Marker::Wedge, Marker::Diamond, Marker::Cross, Marker::Ring];
    /// SVG path around the origin, about 9 px wide.
    pub fn path(self) -> &'static str {
        match self {
            Marker::Disc => "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0Z",
            Marker::Point => "M-2.1 0a2.1 2.1 0 1 0 4.2 0a2.1 2.1 0 1 0-4.2 0Z",
            Marker::Square => "M-3.7-3.7h7.4v7.4h-7.4Z",
            Marker::Wedge => "M0-4.8L4.5 3.6h-9Z",
            Marker::Diamond => "M0-5L4.4 0L0 5L-4.4 0Z",
            Marker::Cross => "M-4-2.2L-2.2-4L0-1.8L2.2-4L4-2.2L1.8 0L4 2.2L2.2 4L0 1.8L-2.2 4L-4 2.2L-1.8 0Z",
            Marker::Ring => {
                "M-4.4 0a4.4 4.4 0 1 0 8.8 0a4.4 4.4 0 1 0-8.8 0ZM-2.3 0a2.3 2.3 0 1 1 4.6 0a2.3 2.3 0 1 1-4.6 0Z"
            }
        }
    }
}

/// How a series looks: ink, dash, marker and hatch go together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    pub ink: Ink,
    pub dash: Dash,
    pub marker: Marker,
    /// Hatch of areas, 0 (plain) to 5.
    pub hatch: u8,
    pub width_px: f64,
}

impl Style {
    /// The n-th series; styles repeat after six.
    pub fn series(n: usize) -> Style {
        let k = n % 6;
        Style {
            ink: Ink::SERIES[k],
            dash: Dash::SERIES[k],
            marker: Marker::SERIES[k],
            hatch: k as u8,
            width_px: 1.8,
        }
    }
    /// A plain line of one ink.
    pub fn plain(ink: Ink) -> Style {
        Style { ink, dash: Dash::Solid, marker: Marker::Disc, hatch: 0, width_px: 1.2 }
    }
    pub fn dashed(self, dash: Dash) -> Style {
        Style { dash, ..self }
    }
    pub fn wide(self, width_px: f64) -> Style {
        Style { width_px, ..self }
    }
}

/// Steps of the heat maps, from paper (least) to dark (most): one hue, so that grey print keeps the order.
pub const RAMP: [&str; 8] =
    ["#faf8f3", "#e6e3ee", "#cdcbe6", "#b0b0dc", "#8f93cf", "#6a76bd", "#43589f", "#1d3a73"];

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(hex: &str) -> [f64; 3] {
        [1, 3, 5].map(|i| {
            let c = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).unwrap()) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        })
    }
    fn times(m: [[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
        m.map(|r| r[0] * v[0] + r[1] * v[1] + r[2] * v[2])
    }
    fn cielab(rgb: [f64; 3]) -> [f64; 3] {
        let m = [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ];
        let xyz = times(m, rgb);
        let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
        let [x, y, z] = [f(xyz[0] / 0.95047), f(xyz[1]), f(xyz[2] / 1.08883)];
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }
    fn seen(hex: &str) -> [[f64; 3]; 4] {
        let rgb = linear(hex);
        let simulated = |m| cielab(times(m, rgb).map(|c: f64| c.clamp(0.0, 1.0)));
        [
            cielab(rgb),
            simulated([
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ]),
            simulated([
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ]),
            simulated([
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ]),
        ]
    }

    /// Source: Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, severity 1.0 matrices, applied to linear sRGB;
    /// distance in CIELAB (ISO/CIE 11664-4:2019). Tolerance: our own search reached 31; anything under 25 is a slip.
    #[test]
    fn val_inks_stay_apart_for_colour_blind_readers() {
        for (i, a) in Ink::SERIES.iter().enumerate() {
            for b in &Ink::SERIES[..i] {
                for (view, (p, q)) in seen(a.hex()).iter().zip(seen(b.hex())).enumerate() {
                    let d = (0..3).map(|k| (p[k] - q[k]).powi(2)).sum::<f64>().sqrt();
                    assert!(d > 25.0, "{a:?} and {b:?} are {d:.1} apart in view {view}");
                }
            }
        }
    }

    /// Source: W3C, Web Content Accessibility Guidelines 2.1 (2018): 1.4.11 asks 3:1 for marks, 1.4.3 asks 4.5:1 for
    /// text. Tolerance: none. Grey steps of 5 in L* are our own rule.
    #[test]
    fn val_inks_have_contrast_and_grey_steps() {
        let luminance = |hex: &str| {
            let [r, g, b] = linear(hex);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let contrast = |ink: Ink| 1.05 / (luminance(ink.hex()) + 0.05);
        for ink in Ink::SERIES {
            assert!(contrast(ink) >= 3.0, "{ink:?}: {:.2}", contrast(ink));
        }
        for ink in [Ink::Text, Ink::Soft] {
            assert!(contrast(ink) >= 4.5, "{ink:?}: {:.2}", contrast(ink));
        }
        let mut greys = Ink::SERIES.map(|ink| cielab(linear(ink.hex()))[0]);
        greys.sort_by(f64::total_cmp);
        assert!(greys.windows(2).all(|w| w[1] - w[0] > 5.0), "{greys:?}");
        let ramp = RAMP.map(|hex| cielab(linear(hex))[0]);
        assert!(ramp.windows(2).all(|w| w[0] - w[1] > 5.0), "{ramp:?}");
    }
}
