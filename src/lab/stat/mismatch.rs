//! Mismatch: power lost or won between two ports whose reflections meet at an unknown phase.
//!
//! The level is wrong by 20·lg|1 − Γ₁Γ₂| with an unknown phase of Γ₁Γ₂, so the error lies between
//! 20·lg(1 − |Γ₁Γ₂|) and 20·lg(1 + |Γ₁Γ₂|) and is likeliest near the ends (U-shaped).
//! Source: I. A. Harris and F. L. Warner, Re-examination of mismatch uncertainty when measuring microwave power
//! and attenuation, IEE Proc. H 128 (1981) 35-41.

use super::budget::Shape;
use crate::units::amplitude_ratio_to_db;

/// (upper, lower) limit of the error in dB; |Γ₁|, |Γ₂| in 0..1.
pub fn mismatch_limits_db(reflection_1: f64, reflection_2: f64) -> (f64, f64) {
    let product = (reflection_1 * reflection_2).abs();
    (amplitude_ratio_to_db(1.0 + product), amplitude_ratio_to_db(1.0 - product))
}

/// Component of a budget: U-shaped with the upper limit as half width.
pub fn mismatch_shape(reflection_1: f64, reflection_2: f64) -> Shape {
    Shape::UShaped { half_width: mismatch_limits_db(reflection_1, reflection_2).0 }
}

/// |Γ| from a return loss in dB (≥ 0).
pub fn reflection_of_return_loss(return_loss_db: f64) -> f64 {
    crate::units::db_to_amplitude_ratio(-return_loss_db)
}

/// |Γ| from a voltage standing wave ratio (≥ 1).
pub fn reflection_of_vswr(vswr: f64) -> f64 {
    (vswr - 1.0) / (vswr + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: by hand from I. A. Harris and F. L. Warner (1981): |Γ| 0.2 and 0.1 give 20·lg 1.02 = +0.17200 and
    /// 20·lg 0.98 = −0.17548 dB, u = 0.121625 dB; VSWR 1.5 is |Γ| 0.2 and 13.9794 dB. Tolerance: half the last digit.
    #[test]
    fn val_mismatch() {
        let (up, down) = mismatch_limits_db(0.2, 0.1);
        assert!((up - 0.17200).abs() < 5e-6 && (down + 0.17548).abs() < 5e-6);
        assert!((mismatch_shape(0.2, 0.1).standard_uncertainty() - 0.121625).abs() < 5e-7);
        assert!((reflection_of_vswr(1.5) - 0.2).abs() < 1e-15);
        assert!((reflection_of_return_loss(13.9794) - 0.2).abs() < 2e-6);
    }
}
