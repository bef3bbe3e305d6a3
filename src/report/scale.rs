//! Axes: from data to the unit span, and round ticks for linear and logarithmic scales.

use super::words::grouped_text;

/// How an axis maps data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    Linear {
        low: f64,
        high: f64,
    },
    /// Both ends greater than 0.
    Log {
        low: f64,
        high: f64,
    },
}

impl Scale {
    /// Linear scale around the data, widened to whole ticks.
    pub fn around(values: impl IntoIterator<Item = f64>) -> Scale {
        let (low, high) = span(values);
        let step = tick_step(high - low, 5);
        Scale::Linear { low: (low / step).floor() * step, high: (high / step).ceil() * step }
    }
    /// Linear scale from zero to just over the greatest value.
    pub fn from_zero(values: impl IntoIterator<Item = f64>) -> Scale {
        Scale::around(values.into_iter().chain([0.0]))
    }
    /// Logarithmic scale around the values greater than 0, widened to whole decades.
    pub fn decades(values: impl IntoIterator<Item = f64>) -> Scale {
        let (low, high) = span(values.into_iter().filter(|v| *v > 0.0).map(libm::log10));
        let (low, high) = (low.floor(), high.ceil().max(low.floor() + 1.0));
        Scale::Log { low: libm::exp10(low), high: libm::exp10(high) }
    }
    pub fn ends(self) -> (f64, f64) {
        match self {
            Scale::Linear { low, high } | Scale::Log { low, high } => (low, high),
        }
    }
    pub fn is_log(self) -> bool {
        matches!(self, Scale::Log { .. })
    }
    /// Place on the axis: 0 at the low end, 1 at the high end; clamped to -1..=2 so that paths stay finite.
    pub fn place(self, value: f64) -> f64 {
        let t = match self {
            Scale::Linear { low, high } => (value - low) / (high - low),
            Scale::Log { low, .. } if value <= 0.0 || low <= 0.0 => -1.0,
            Scale::Log { low, high } => libm::log(value / low) / libm::log(high / low),
        };
        if t.is_nan() { -1.0 } else { t.clamp(-1.0, 2.0) }
    }
    /// Round tick values within the scale, about `count` of them.
    pub fn ticks(self, count: usize) -> Vec<f64> {
        match self {
            Scale::Linear { low, high } => {
                let step = tick_step(high - low, count);
                let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
                (first..=last).map(|k| k as f64 * step).collect()
            }
            Scale::Log { low, high } => {
                let decades = libm::log10(high / low);
                let every = (decades / count.max(1) as f64).ceil().max(1.0) as i32;
                let factors: &[f64] = if decades < 1.5 { &[1.0, 2.0, 5.0] } else { &[1.0] };
                let (first, last) =
                    (libm::log10(low).floor() as i32 - 1, libm::log10(high).ceil() as i32 + 1);
                (first..=last)
                    .filter(|k| k.rem_euclid(every) == 0)
                    .flat_map(|k| factors.iter().map(move |f| f * power_of_ten(k)))
                    .filter(|v| *v >= low * (1.0 - 1e-9) && *v <= high * (1.0 + 1e-9))
                    .collect()
            }
        }
    }
}

/// Exact decimal powers within f64's own parsing.
fn power_of_ten(k: i32) -> f64 {
    if k >= 0 { libm::exp10(f64::from(k)).round() } else { 1.0 / libm::exp10(f64::from(-k)).round() }
}

fn span(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .into_iter()
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    if low > high {
        (0.0, 1.0)
    } else if high - low < 1e-12 * high.abs().max(1e-9) {
        (low - low.abs().max(1.0) * 0.5, high + high.abs().max(1.0) * 0.5)
    } else {
        (low, high)
    }
}

/// Step of 1, 2 or 5 times a power of ten that cuts `span` into about `count` parts.
pub fn tick_step(span: f64, count: usize) -> f64 {
    let raw = span.abs().max(1e-300) / count.max(1) as f64;
    let power = libm::exp10(libm::log10(raw).floor());
    let lead = raw / power;
    let round = if lead < 1.5 {
        1.0
    } else if lead < 3.5 {
        2.0
    } else if lead < 7.5 {
        5.0
    } else {
        10.0
    };
    round * power
}

/// A tick's number: no trailing zeros, a true minus sign, thousands in groups.
pub fn tick_text(value: f64) -> String {
    let text = if value != 0.0 && (value.abs() >= 1e7 || value.abs() < 1e-6) {
        format!("{value:e}")
    } else {
        let fixed = format!("{value:.7}");
        fixed.trim_end_matches('0').trim_end_matches('.').to_string()
    };
    if text == "-0" { "0".into() } else { grouped_text(&text.replace('-', "\u{2212}")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn linear_ticks_are_round_and_inside() {
        assert_eq!(
            Scale::Linear { low: 860.0, high: 930.0 }.ticks(6),
            [860., 870., 880., 890., 900., 910., 920., 930.]
        );
        assert_eq!(Scale::Linear { low: -1.0, high: 1.0 }.ticks(4), [-1.0, -0.5, 0.0, 0.5, 1.0]);
    }
    #[test]
    fn log_ticks_are_decades_and_skip_when_crowded() {
        assert_eq!(Scale::Log { low: 0.01, high: 100.0 }.ticks(6), [0.01, 0.1, 1.0, 10.0, 100.0]);
        assert_eq!(Scale::Log { low: 2.0, high: 20.0 }.ticks(6), [2.0, 5.0, 10.0, 20.0]);
        assert!(Scale::Log { low: 1e-9, high: 1.0 }.ticks(4).len() <= 4);
    }
    #[test]
    fn places_run_from_0_to_1_and_stay_finite() {
        let log = Scale::Log { low: 0.1, high: 10.0 };
        assert!((log.place(1.0) - 0.5).abs() < 1e-12);
        assert_eq!(log.place(0.0), -1.0);
        assert_eq!(Scale::Linear { low: 0.0, high: 2.0 }.place(f64::NAN), -1.0);
    }
    #[test]
    fn scales_hold_all_values_even_one_or_none() {
        for values in [vec![], vec![0.0], vec![3.0], vec![-2.0, 7.3], vec![1e-5, 2e-5]] {
            for scale in [
                Scale::around(values.clone()),
                Scale::from_zero(values.clone()),
                Scale::decades(values.clone()),
            ] {
                let (low, high) = scale.ends();
                assert!(high > low && low.is_finite() && high.is_finite(), "{values:?} {scale:?}");
                assert!(
                    values
                        .iter()
                        .all(|v| (scale.is_log() && *v <= 0.0) || (*v >= low - 1e-9 && *v <= high + 1e-9))
                );
            }
        }
    }
    #[test]
    fn tick_text_is_plain() {
        assert_eq!(tick_text(-0.30000000000000004), "\u{2212}0.3");
        assert_eq!(tick_text(0.001), "0.001");
        assert_eq!(tick_text(6000.0), "6,000");
        assert_eq!(tick_text(-12000.5), "\u{2212}12,000.5");
        assert_eq!(tick_text(-0.0), "0");
    }
}
