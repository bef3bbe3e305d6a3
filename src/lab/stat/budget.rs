//! Uncertainty budget of a reading: a table of components, combined, expanded, and compared between two tags.
//!
//! u_c² = Σ (c·u)², ν_eff = u_c⁴ / Σ (c·u)⁴/ν, U = t_p(ν_eff)·u_c. Every component says how far it reaches: an
//! error of the laboratory (a wrong cable constant) shifts all its readings alike, one of the session only the
//! readings of that day, one of the reading only itself. Between two tags of one session the first two cancel.
//! Source: JCGM 100:2008 (GUM), 4.3 (shapes), 5.1.2 (sum), G.4.1 (effective degrees of freedom, rounded down),
//! G.6.4 (expanded). Inputs that are correlated otherwise: `correlated`.

use crate::numeric::student::t_quantile;
use serde::{Deserialize, Serialize};

/// How the error of a component is distributed; all numbers in the unit of the input quantity and positive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Standard deviation stated or observed.
    Normal { standard: f64 },
    /// Anything within ± half width is equally likely (a data sheet limit).
    Rectangular { half_width: f64 },
    /// Sum of two equal rectangular errors.
    Triangular { half_width: f64 },
    /// Sine of an unknown phase: the ends are likeliest (mismatch).
    UShaped { half_width: f64 },
    /// The value lies in one step of a stepped sweep and is taken at the middle of that step.
    Step { step: f64 },
}

impl Shape {
    /// Standard uncertainty (GUM 4.3.7, 4.3.9; U-shape: standard deviation of a·sin of a uniform phase, a/√2).
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Shape::Normal { standard } => standard,
            Shape::Rectangular { half_width } => half_width / 3.0_f64.sqrt(),
            Shape::Triangular { half_width } => half_width / 6.0_f64.sqrt(),
            Shape::UShaped { half_width } => half_width / 2.0_f64.sqrt(),
            Shape::Step { step } => step / 12.0_f64.sqrt(),
        }
    }
}

/// Which readings share the error of a component.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reach {
    Reading,
    Session,
    Laboratory,
}

/// One line of a budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Component {
    pub name: String,
    pub shape: Shape,
    /// Change of the result per change of this input.
    pub sensitivity: f64,
    /// Degrees of freedom of the standard uncertainty; `None` if it is taken as exactly known.
    pub degrees_of_freedom: Option<f64>,
    pub reach: Reach,
}

impl Component {
    /// Component with sensitivity 1 and a standard uncertainty that is taken as known.
    pub fn new(name: impl Into<String>, shape: Shape, reach: Reach) -> Component {
        Component { name: name.into(), shape, sensitivity: 1.0, degrees_of_freedom: None, reach }
    }
    pub fn with_degrees_of_freedom(self, degrees: f64) -> Component {
        Component { degrees_of_freedom: Some(degrees), ..self }
    }
    pub fn with_sensitivity(self, sensitivity: f64) -> Component {
        Component { sensitivity, ..self }
    }
    /// |c|·u, in the unit of the result.
    pub fn contribution(&self) -> f64 {
        (self.sensitivity * self.shape.standard_uncertainty()).abs()
    }
}

/// Combined and expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Combined {
    pub standard_uncertainty: f64,
    /// `None`: as good as infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    pub coverage_factor: f64,
    pub expanded_uncertainty: f64,
    pub level: f64,
}

/// One contribution and its share of the variance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Share {
    pub name: String,
    pub reach: Reach,
    pub contribution: f64,
    pub share_of_variance: f64,
}

/// Budget worked out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    pub total: Combined,
    pub rows: Vec<Share>,
    /// Standard uncertainty of what all readings of the laboratory share.
    pub laboratory: f64,
    /// ... of what the readings of one session share, the laboratory's part not counted.
    pub session: f64,
    /// ... of what belongs to the single reading.
    pub reading: f64,
}

/// Combines independent contributions (standard uncertainty, degrees of freedom) at two-sided `level` (0..1).
pub fn combine(contributions: &[(f64, Option<f64>)], level: f64) -> Combined {
    let variance: f64 = contributions.iter().map(|(u, _)| u * u).sum();
    let inverse: f64 =
        contributions.iter().filter_map(|(u, dof)| dof.map(|dof| (u * u) * (u * u) / dof)).sum();
    let degrees = if inverse > 0.0 { variance * variance / inverse } else { f64::INFINITY };
    // GUM G.4.1: rounded down, but never below 1.
    let used = if degrees > 1e6 { f64::INFINITY } else { degrees.floor().max(1.0) };
    let coverage_factor = t_quantile(0.5 + 0.5 * level, used);
    let standard_uncertainty = variance.sqrt();
    Combined {
        standard_uncertainty,
        effective_degrees_of_freedom: used.is_finite().then_some(degrees),
        coverage_factor,
        expanded_uncertainty: coverage_factor * standard_uncertainty,
        level,
    }
}

/// Works a budget out at two-sided `level` (0..1). Components are independent of each other.
pub fn budget(components: &[Component], level: f64) -> Budget {
    let total = combine(&contributions(components.iter()), level);
    let variance = total.standard_uncertainty * total.standard_uncertainty;
    let rows = components
        .iter()
        .map(|c| Share {
            name: c.name.clone(),
            reach: c.reach,
            contribution: c.contribution(),
            share_of_variance: if variance > 0.0 {
                c.contribution() * c.contribution() / variance
            } else {
                0.0
            },
        })
        .collect();
    let part = |reach: Reach| {
        components.iter().filter(|c| c.reach == reach).map(|c| c.contribution().powi(2)).sum::<f64>().sqrt()
    };
    Budget {
        total,
        rows,
        laboratory: part(Reach::Laboratory),
        session: part(Reach::Session),
        reading: part(Reach::Reading),
    }
}

fn contributions<'a>(components: impl Iterator<Item = &'a Component>) -> Vec<(f64, Option<f64>)> {
    components.map(|c| (c.contribution(), c.degrees_of_freedom)).collect()
}

/// Uncertainty of the difference of two readings, with the part they share taken out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    pub total: Combined,
    /// Components that cancelled, wholly or down to the difference of their sensitivities.
    pub cancelled: Vec<String>,
    /// Standard uncertainty if nothing had cancelled.
    pub without_cancelling: f64,
}

/// Difference of reading `a` and reading `b`. `together` says what they share: `Reach::Session` for two readings of
/// one session, `Reach::Laboratory` for two sessions of one laboratory, `Reach::Reading` for nothing. A component
/// cancels if both budgets name it with the same reach and that reach is at least `together`; what is left of it is
/// |c_a·u_a − c_b·u_b| (signs of the sensitivities kept).
pub fn difference(a: &[Component], b: &[Component], together: Reach, level: f64) -> Difference {
    let signed = |c: &Component| c.sensitivity * c.shape.standard_uncertainty();
    let shares =
        |c: &Component| c.reach != Reach::Reading && together != Reach::Reading && c.reach >= together;
    let partner = |c: &Component, list: &[Component]| {
        list.iter().position(|o| o.name == c.name && o.reach == c.reach && shares(c))
    };
    let mut left = Vec::new();
    let mut cancelled = Vec::new();
    for c in a {
        match partner(c, b) {
            Some(other) => {
                left.push(((signed(c) - signed(&b[other])).abs(), c.degrees_of_freedom));
                cancelled.push(c.name.clone());
            }
            None => left.push((c.contribution(), c.degrees_of_freedom)),
        }
    }
    left.extend(contributions(b.iter().filter(|c| partner(c, a).is_none())));
    let all: f64 = a.iter().chain(b).map(|c| c.contribution().powi(2)).sum();
    Difference { total: combine(&left, level), cancelled, without_cancelling: all.sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: JCGM 100:2008 (GUM), H.1 (end gauge), as worked again in the documentation of GTC (MSL New Zealand, docs/API/GUM_H1.rst, seen): components 25,
    /// √(5.8² + 3.9² + 6.7²) = 9.7, 2.9 and 16.6 nm, u 32 nm, 34 nm to second order; ν and U99 by arithmetic to five digits. Tolerance: half the last digit.
    #[test]
    fn val_gum_h1_end_gauge() {
        let c = combine(&[(25.0, Some(18.0)), (9.7, Some(25.6)), (2.9, Some(50.0)), (16.6, Some(2.0))], 0.99);
        assert!((c.standard_uncertainty - 31.671).abs() < 5e-4);
        let degrees = c.effective_degrees_of_freedom.expect("finite");
        assert!((degrees - 16.76).abs() < 5e-3);
        assert!((c.coverage_factor - 2.9208).abs() < 5e-5);
        assert!((c.expanded_uncertainty - 92.50).abs() < 0.01 && c.standard_uncertainty.round() == 32.0);
        // 2.92 times the rounded 32.
        assert_eq!((c.coverage_factor * 32.0).round(), 93.0);
        // Second-order terms 11.9 nm and 1.7 nm: 34 nm.
        let second = combine(&[(c.standard_uncertainty, None), (11.9, None), (1.7, None)], 0.95);
        assert!((second.standard_uncertainty - 33.9).abs() < 0.05);
    }

    /// Source: EA-4/02 M:2013, supplement example S2 (10 kg weight; 45/2, 15/√3, 14.4, 10/√3 and 10/√3 mg), from memory:
    /// u 29.3 mg and U 59 mg (k = 2) there, both rounded up; by hand √855.28 = 29.245. Tolerance: 0.001, and 0.6 for U.
    #[test]
    fn val_ea_4_02_weight() {
        let b = budget(
            &[
                Component::new("standard", Shape::Normal { standard: 22.5 }, Reach::Laboratory),
                Component::new("drift", Shape::Rectangular { half_width: 15.0 }, Reach::Laboratory),
                Component::new("comparison", Shape::Normal { standard: 14.4 }, Reach::Reading),
                Component::new("eccentric load", Shape::Rectangular { half_width: 10.0 }, Reach::Session),
                Component::new("buoyancy", Shape::Rectangular { half_width: 10.0 }, Reach::Session),
            ],
            0.9545,
        );
        assert!((b.total.standard_uncertainty - 29.245).abs() < 0.001, "{}", b.total.standard_uncertainty);
        assert_eq!(b.total.effective_degrees_of_freedom, None);
        assert!((b.total.coverage_factor - 2.0).abs() < 5e-4);
        assert!((b.total.expanded_uncertainty - 59.0).abs() < 0.6);
        assert!((b.rows.iter().map(|r| r.share_of_variance).sum::<f64>() - 1.0).abs() < 1e-12);
        let parts = b.laboratory.powi(2) + b.session.powi(2) + b.reading.powi(2);
        assert!((parts.sqrt() - b.total.standard_uncertainty).abs() < 1e-12);
    }

    /// Source: by hand: ±0.5 dB rectangular, 0.3 dB normal, ±0.25 dB U-shaped: √(1/12 + 0.09 + 1/32) = 0.452309 dB.
    /// Tolerance: half the last digit.
    #[test]
    fn val_decibel_terms() {
        let u = [
            Shape::Rectangular { half_width: 0.5 },
            Shape::Normal { standard: 0.3 },
            Shape::UShaped { half_width: 0.25 },
        ]
        .map(|s| (s.standard_uncertainty(), None));
        assert!((combine(&u, 0.95).standard_uncertainty - 0.452309).abs() < 5e-7);
        assert!(
            (Shape::Triangular { half_width: 6.0_f64.sqrt() }.standard_uncertainty() - 1.0).abs() < 1e-15
        );
        assert!((Shape::Step { step: 12.0_f64.sqrt() }.standard_uncertainty() - 1.0).abs() < 1e-15);
    }

    #[test]
    fn what_two_tags_share_cancels() {
        let tag = |repeat: f64| {
            vec![
                Component::new("cable", Shape::Rectangular { half_width: 0.5 }, Reach::Laboratory),
                Component::new("distance", Shape::Normal { standard: 0.2 }, Reach::Session),
                Component::new("repeatability", Shape::Normal { standard: repeat }, Reach::Reading)
                    .with_degrees_of_freedom(4.0),
            ]
        };
        let own = (0.09_f64 + 0.16).sqrt();
        let one_session = difference(&tag(0.3), &tag(0.4), Reach::Session, 0.95);
        assert!((one_session.total.standard_uncertainty - own).abs() < 1e-12);
        assert_eq!(one_session.cancelled, ["cable", "distance"]);
        // Two days: the distance was set twice.
        let two_sessions = difference(&tag(0.3), &tag(0.4), Reach::Laboratory, 0.95);
        assert!((two_sessions.total.standard_uncertainty - (own * own + 0.08).sqrt()).abs() < 1e-12);
        assert_eq!(two_sessions.cancelled, ["cable"]);
        let strangers = difference(&tag(0.3), &tag(0.4), Reach::Reading, 0.95);
        assert!(strangers.cancelled.is_empty());
        assert!((strangers.total.standard_uncertainty - strangers.without_cancelling).abs() < 1e-12);
        // Half the sensitivity: half the error is left.
        let mut half = tag(0.4);
        half[0].sensitivity = 0.5;
        let left = difference(&tag(0.3), &half, Reach::Session, 0.95);
        assert!((left.total.standard_uncertainty - (own * own + 0.0625 / 3.0).sqrt()).abs() < 1e-12);
    }
}
