//! The tag as a half-wave dipole: what it takes from a wave of direction k and field E.
//!
//!   F = cos(π/2·cos α)/sin²α · (E·â),  α the angle between ray and dipole axis â; 1 at broadside, co-polar.
//!
//! Source: C. A. Balanis, Antenna Theory, 4th ed. 2016, §4.6 (half-wave dipole; the same form in S. J. Orfanidis, Electromagnetic Waves and Antennas, toolbox, dipole.m, 1997). The lab curve
//! already contains the tag's gain at broadside, so F is relative to it.

use crate::numeric::elementary::{pick, sin_cos};
use crate::vector::{Field, Vec3};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

/// cos(π/2·u)/(1 − u²), the factor that turns E·â into the dipole's voltage; u = cos α in -1..=1.
#[inline(always)]
pub fn shape(u: f64) -> f64 {
    let rest = 1.0 - u * u;
    // Near the axis the quotient tends to π/4; below 1e-4 the polynomial's own error would be seen.
    let near = rest < 1e-4;
    pick(near, FRAC_PI_4, sin_cos(FRAC_PI_2 * u).1 / pick(near, 1.0, rest))
}

/// F of a wave travelling along unit `k` with field `e` on a dipole of unit axis `axis`.
/// `patterned` off: the co-polar part of the wave, alike from every side.
#[inline(always)]
pub fn taken(k: Vec3, e: &Field, axis: Vec3, patterned: bool) -> Complex64 {
    let u = k.dot(axis);
    let along = e.dot(axis);
    if patterned {
        along * shape(u)
    } else {
        let across = (1.0 - u * u).max(0.0).sqrt();
        let near = across < 1e-9;
        along * pick(near, 0.0, 1.0 / pick(near, 1.0, across))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{amplitude_ratio_to_db, power_ratio_to_db};
    use crate::vector::{X, Y, Z};

    /// Source: Balanis, Antenna Theory, §4.6 (from memory), evaluated with Python: pattern relative to
    /// broadside. Tolerance: half of the last digit.
    #[test]
    fn val_half_wave_pattern() {
        for (angle_deg, db) in [
            (80.0_f64, -0.194),
            (70.0, -0.779),
            (60.0, -1.761),
            (45.0, -4.042),
            (30.0, -7.581),
            (20.0, -11.164),
            (10.0, -17.239),
        ] {
            let (sin, cos) = libm::sincos(angle_deg.to_radians());
            // Ray at that angle from the axis (y), field in the plane of ray and axis.
            let k = X * sin + Y * cos;
            let e = Field::along(Y * sin - X * cos, Complex64::new(1.0, 0.0));
            let f = taken(k, &e, Y, true).norm();
            assert!((amplitude_ratio_to_db(f) - db).abs() < 6e-4, "{angle_deg}");
            let cross = Field::along(Z, Complex64::new(1.0, 0.0));
            assert!(taken(k, &cross, Y, true).norm() < 1e-15);
            assert!((taken(k, &e, Y, false).norm() - 1.0).abs() < 1e-12);
        }
    }

    /// Source: directivity of the half-wave dipole 1.64092 = 2.1509 dBi (Balanis §4.6, from memory); the
    /// pattern integral of this file must give it back. Tolerance: 1e-4 dB.
    #[test]
    fn val_half_wave_directivity() {
        let cells = 20_000;
        let mean: f64 = (0..cells)
            .map(|i| {
                let u = -1.0 + 2.0 * (f64::from(i) + 0.5) / f64::from(cells);
                let f = shape(u) * (1.0 - u * u).sqrt();
                f * f
            })
            .sum::<f64>()
            / f64::from(cells);
        assert!((power_ratio_to_db(1.0 / mean) - 2.1509).abs() < 1e-4);
    }
}
