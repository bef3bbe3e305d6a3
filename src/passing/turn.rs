//! e^(jx), the phase of rays and waves.

use crate::numeric::elementary::sin_cos;
use num_complex::Complex64;

/// e^(jx) for |x| < 1e5.
#[inline(always)]
pub fn turn(x: f64) -> Complex64 {
    let (sin, cos) = sin_cos(x);
    Complex64::new(cos, sin)
}
