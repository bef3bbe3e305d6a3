//! What would tell two options apart: more passings, more samples, or nothing worth the trouble.
//!
//! The difference d of two options is known with variance V_p/n (passings: shrinks with the simulated races) + V_s/m (samples:
//! shrinks with the samples measured) + V_b (beliefs: shrinks with neither). It is settled at odds P when d ≥ z·√V, z = Φ⁻¹(P).
//! Solving for n with all else fixed gives n' = n·V_p / (d²/z² − V_s − V_b), and likewise for m.

use crate::random::transform::normal_quantile;

/// Where the variance of a difference comes from. Variances in the square of the difference's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertainty {
    /// Monte Carlo variance with the runs so far.
    pub simulation: f64,
    /// Variance by the small number of samples measured.
    pub samples: f64,
    /// Variance by everything else nobody knows.
    pub beliefs: f64,
}

/// What would settle a comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Settles {
    /// Already told apart.
    Settled,
    /// The difference is below what the user cares about, and surely so: either will do.
    NoMatter,
    /// This many times the runs so far, at least.
    Passings { factor: f64 },
    /// This many times the samples so far, at least.
    Samples { factor: f64 },
    /// Only both together: runs without end leave this factor on the samples.
    Both { samples_factor: f64 },
    /// Neither: the beliefs alone hide the difference. Measure them.
    Beliefs,
}

/// `difference` with its `uncertainty`, at `odds` (0.5..1) of having the order right; differences below `matters` (≥ 0) in size are nobody's
/// business.
pub fn what_settles(difference: f64, uncertainty: Uncertainty, matters: f64, odds: f64) -> Settles {
    let z = normal_quantile(odds);
    let Uncertainty { simulation, samples, beliefs } = uncertainty;
    let total = simulation + samples + beliefs;
    let d = difference.abs();
    if d * d >= z * z * total && d > 0.0 {
        return if d < matters && d + z * total.sqrt() < matters {
            Settles::NoMatter
        } else {
            Settles::Settled
        };
    }
    if d + z * total.sqrt() < matters {
        return Settles::NoMatter;
    }
    // Room for variance at this distance.
    let room = d * d / (z * z);
    if samples + beliefs < room {
        return Settles::Passings { factor: simulation / (room - samples - beliefs) };
    }
    if simulation + beliefs < room {
        return Settles::Samples { factor: samples / (room - simulation - beliefs) };
    }
    if beliefs < room {
        return Settles::Both { samples_factor: samples / (room - beliefs) };
    }
    Settles::Beliefs
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(d: f64, simulation: f64, samples: f64, beliefs: f64) -> Settles {
        what_settles(d, Uncertainty { simulation, samples, beliefs }, 0.1, 0.95)
    }

    /// Source: sample size of a one-sided normal test, n = (z·σ/d)², z(.95) = 1.644854; with σ² = 1 per run, 10 runs and d = 0.2
    /// it takes 67.64 runs, 6.764 times as many. Tolerance: half the last digit.
    #[test]
    fn val_runs_needed() {
        let Settles::Passings { factor } = ask(0.2, 0.1, 0.0, 0.0) else { panic!("more runs settle it") };
        assert!((factor - 6.764).abs() < 5e-4, "{factor}");
    }

    #[test]
    fn each_kind_of_answer() {
        assert_eq!(ask(1.0, 0.1, 0.1, 0.1), Settles::Settled);
        assert_eq!(ask(0.01, 1e-6, 1e-6, 1e-6), Settles::NoMatter);
        assert_eq!(ask(0.05, 1e-6, 1e-6, 1e-6), Settles::NoMatter);
        assert!(matches!(ask(0.2, 0.0, 0.1, 0.0), Settles::Samples { factor } if factor > 1.0));
        assert!(matches!(ask(0.2, 0.1, 0.1, 0.0), Settles::Both { .. }));
        assert_eq!(ask(0.2, 0.0, 0.0, 0.1), Settles::Beliefs);
        assert_eq!(ask(0.0, 1.0, 0.0, 0.0), Settles::Beliefs);
    }

    #[test]
    fn the_factor_settles_it_exactly() {
        let Settles::Passings { factor } = ask(0.3, 0.5, 0.01, 0.005) else { panic!("more runs settle it") };
        let after = |f: f64| ask(0.3, 0.5 / f, 0.01, 0.005);
        assert_eq!(after(factor * 1.0001), Settles::Settled);
        assert_ne!(after(factor * 0.99), Settles::Settled);
    }
}
