//! e^(jx) for the phases of rays and waves: one polynomial, the same bits on every platform, several at a time.
//!
//! x is reduced by the nearest multiple of π/2 (three-part Cody-Waite constant), then Taylor polynomials up to x¹³ and x¹⁴ on
//! |x| ≤ π/4: truncation below 2e-13. Good for |x| < 1e5 rad, far beyond the phases met here (k·d of a few
//! thousand); tested against libm to 1e-11. Only additions and products, so the compiler may use wide registers without changing a bit.
//! Source: W. J. Cody, W. Waite, Software Manual for the Elementary Functions, 1980, ch. 8 (from memory).

use num_complex::Complex64;

const INVERSE_HALF_PI: f64 = std::f64::consts::FRAC_2_PI;
/// π/2 in three parts; the first two have 33 significant bits, so their products with the quadrant are exact.
const HALF_PI_1: f64 = 1.570_796_326_734_125_6;
const HALF_PI_2: f64 = 6.077_100_506_303_966e-11;
const HALF_PI_3: f64 = 2.022_266_248_795_95e-21;
/// 1.5·2⁵²: adding and taking it away rounds to the nearest whole number.
const ROUND: f64 = 6_755_399_441_055_744.0;

/// (sin x, cos x) for |x| < 1e5.
#[inline(always)]
pub fn sin_cos(x: f64) -> (f64, f64) {
    let shifted = x * INVERSE_HALF_PI + ROUND;
    let quadrant = shifted.to_bits();
    let whole = shifted - ROUND;
    let r = ((x - whole * HALF_PI_1) - whole * HALF_PI_2) - whole * HALF_PI_3;
    let r2 = r * r;
    let sin = r + r
        * r2
        * (-1.0 / 6.0
            + r2 * (1.0 / 120.0
                + r2 * (-1.0 / 5040.0
                    + r2 * (1.0 / 362_880.0 + r2 * (-1.0 / 39_916_800.0 + r2 * (1.0 / 6_227_020_800.0))))));
    let cos = 1.0
        + r2 * (-0.5
            + r2 * (1.0 / 24.0
                + r2 * (-1.0 / 720.0
                    + r2 * (1.0 / 40_320.0
                        + r2 * (-1.0 / 3_628_800.0
                            + r2 * (1.0 / 479_001_600.0 + r2 * (-1.0 / 87_178_291_200.0)))))));
    // Odd quadrants swap sine and cosine; the signs follow from the two lowest bits.
    let odd = quadrant & 1 == 1;
    let (s, c) = if odd { (cos, sin) } else { (sin, cos) };
    let flip = |value: f64, on: u64| f64::from_bits(value.to_bits() ^ (on << 63));
    (flip(s, (quadrant >> 1) & 1), flip(c, ((quadrant >> 1) ^ quadrant) & 1))
}

/// e^(jx) for |x| < 1e5.
#[inline(always)]
pub fn turn(x: f64) -> Complex64 {
    let (sin, cos) = sin_cos(x);
    Complex64::new(cos, sin)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: libm's sine and cosine (correct to about one unit in the last place). Tolerance: 1e-11 up to 1e5 rad.
    #[test]
    fn val_turn_against_libm() {
        for i in -200_000..=200_000 {
            let x = f64::from(i) * 0.5 + f64::from(i % 7) * 0.013;
            let (s, c) = sin_cos(x);
            assert!((s - libm::sin(x)).abs() < 1e-11 && (c - libm::cos(x)).abs() < 1e-11, "{x}");
        }
        for x in [0.0, 1e-9, std::f64::consts::FRAC_PI_4, std::f64::consts::FRAC_PI_2, std::f64::consts::PI] {
            for x in [x, -x] {
                let (s, c) = sin_cos(x);
                assert!((s - libm::sin(x)).abs() < 1e-12 && (c - libm::cos(x)).abs() < 1e-12, "{x}");
            }
        }
    }
}
