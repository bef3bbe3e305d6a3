//! e^x, sine with cosine, and atan2 as short polynomials that the compiler can take apart, inline and do several of at a time.
//!
//! Only sums, products and single divisions: the same bits on every platform, whatever the width of its registers. They serve the
//! kernel, which asks for hundreds of them in a passing; all else uses `libm`.
//!
//! - e^x: x less the nearest multiple of ln 2 (two-part constant), Taylor to the 12th power, scaled by a power of two. Tested to 1e-14.
//! - sin, cos: x less the nearest multiple of 2π (three-part constant), a quarter of the rest by Taylor to x¹³ and x¹⁴, then doubled
//!   twice (sin 2a = 2 sin a cos a, cos 2a = 1 − 2 sin² a), so no quadrant has to be chosen. For |x| < 1e5, tested to 1e-11.
//! - atan2: one of three ranges about 0, π/4 and π/2 with one division (atan a − atan b = atan((a − b)/(1 + ab))), then a Chebyshev fit of degree
//!   17 on |t| ≤ tan(π/8). Tested to 2e-13.
//!
//! Source of the reductions: W. J. Cody, W. Waite, Software Manual for the Elementary Functions, 1980, ch. 6, 8, 11 (from memory).

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, LOG2_E, PI, TAU};

/// 1.5·2⁵²: adding and taking it away rounds to the nearest whole number.
const ROUND: f64 = 6_755_399_441_055_744.0;
/// ln 2 in two parts; the first has 33 significant bits.
const LN_2_1: f64 = 0.693_147_180_369_123_8;
const LN_2_2: f64 = 1.908_214_929_270_587_7e-10;
/// 2π in three parts; the first two have 33 significant bits, so their products with a small whole number are exact.
const TAU_1: f64 = 4.0 * 1.570_796_326_734_125_6;
const TAU_2: f64 = 4.0 * 6.077_100_506_303_966e-11;
const TAU_3: f64 = 4.0 * 2.022_266_248_795_95e-21;

/// `a` where `first`, else `b`: a choice instead of a jump, so that a loop over several rounds can be taken four at a time.
#[inline(always)]
pub fn pick(first: bool, a: f64, b: f64) -> f64 {
    if first { a } else { b }
}

/// e^x; x below −700 counts as −700 and x above 700 as 700.
#[inline(always)]
pub fn exp(x: f64) -> f64 {
    let x = x.clamp(-700.0, 700.0);
    let shifted = x * LOG2_E + ROUND;
    let whole = shifted - ROUND;
    let r = (x - whole * LN_2_1) - whole * LN_2_2;
    let r2 = r * r;
    // Even and odd powers side by side: half the waiting.
    let even = 1.0
        + r2 * (1.0 / 2.0
            + r2 * (1.0 / 24.0
                + r2 * (1.0 / 720.0
                    + r2 * (1.0 / 40_320.0 + r2 * (1.0 / 3_628_800.0 + r2 * (1.0 / 479_001_600.0))))));
    let odd = 1.0
        + r2 * (1.0 / 6.0
            + r2 * (1.0 / 120.0 + r2 * (1.0 / 5_040.0 + r2 * (1.0 / 362_880.0 + r2 * (1.0 / 39_916_800.0)))));
    let power_of_two = f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52);
    (even + r * odd) * power_of_two
}

/// ln x for a normal number x > 0; anything else gives a number without meaning.
#[inline(always)]
pub fn ln(x: f64) -> f64 {
    // Bits of the root of a half: the mantissa is cut so that it lies between that and the root of two.
    const ROOT_HALF: u64 = 0x3FE6_A09E_667F_3BCD;
    const ONE: u64 = 0x3FF0_0000_0000_0000;
    let shifted = x.to_bits().wrapping_add(ONE - ROOT_HALF);
    // The exponent as a number, without a conversion: the low bits of 2^52.
    let exponent = f64::from_bits((shifted >> 52) | 0x4330_0000_0000_0000) - 4_503_599_627_371_519.0;
    let mantissa = f64::from_bits((shifted & 0x000F_FFFF_FFFF_FFFF).wrapping_add(ROOT_HALF));
    // ln m = 2 artanh((m − 1)/(m + 1))
    let s = (mantissa - 1.0) / (mantissa + 1.0);
    let s2 = s * s;
    let s4 = s2 * s2;
    let even =
        1.0 + s4 * (1.0 / 5.0 + s4 * (1.0 / 9.0 + s4 * (1.0 / 13.0 + s4 * (1.0 / 17.0 + s4 * (1.0 / 21.0)))));
    let odd = 1.0 / 3.0 + s4 * (1.0 / 7.0 + s4 * (1.0 / 11.0 + s4 * (1.0 / 15.0 + s4 * (1.0 / 19.0))));
    exponent * LN_2_1 + (2.0 * s * (even + s2 * odd) + exponent * LN_2_2)
}

/// (sin x, cos x) for |x| < 1e5.
#[inline(always)]
pub fn sin_cos(x: f64) -> (f64, f64) {
    let whole = (x * (1.0 / TAU) + ROUND) - ROUND;
    let r = 0.25 * (((x - whole * TAU_1) - whole * TAU_2) - whole * TAU_3);
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
    let (sin_2, cos_2) = (2.0 * sin * cos, 1.0 - 2.0 * sin * sin);
    (2.0 * sin_2 * cos_2, 1.0 - 2.0 * sin_2 * sin_2)
}

/// Angle of the point (x, y) in −π..=π; 0 at the origin.
#[inline(always)]
pub fn atan2(y: f64, x: f64) -> f64 {
    const TAN_PI_8: f64 = 0.414_213_562_373_095_03;
    const TAN_3_PI_8: f64 = 2.414_213_562_373_095;
    let (ay, ax) = (y.abs(), x.abs());
    let (low, high) = (ay <= TAN_PI_8 * ax, ay > TAN_3_PI_8 * ax);
    let over = pick(low, ay, pick(high, -ax, ay - ax));
    let under = pick(low, ax, pick(high, ay, ay + ax));
    let base = pick(low, 0.0, pick(high, FRAC_PI_2, FRAC_PI_4));
    // The smallest number spares the origin a division of nothing by nothing.
    let t = over / (under + f64::MIN_POSITIVE);
    let z = t * t;
    let fit = 0.999_999_999_999_973_1
        + z * (-0.333_333_333_308_581_2
            + z * (0.199_999_996_120_132_42
                + z * (-0.142_856_907_604_882_87
                    + z * (0.111_103_927_969_460_11
                        + z * (-0.090_784_887_430_464_53
                            + z * (0.075_643_707_701_563_77
                                + z * (-0.058_769_018_191_878_57 + z * 0.030_697_378_738_960_623)))))));
    let angle = base + t * fit;
    let angle = pick(x < 0.0, PI - angle, angle);
    pick(y < 0.0, -angle, angle)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: libm's exponential (correct to about one unit in the last place). Tolerance: 1e-14 relative.
    #[test]
    fn val_exp_against_libm() {
        for i in -70_000..=70_000 {
            let x = f64::from(i) * 0.009_98;
            let exact = libm::exp(x);
            assert!((exp(x) / exact - 1.0).abs() < 1e-14, "{x}");
        }
        assert_eq!(exp(0.0), 1.0);
        assert!(exp(-5000.0) < 1e-300 && exp(5000.0) > 1e300);
    }

    /// Source: libm's logarithm (correct to about one unit in the last place). Tolerance: 2e-16 plus 3e-16 relative.
    #[test]
    fn val_ln_against_libm() {
        for i in -70_000..=70_000 {
            let x = libm::exp(f64::from(i) * 0.009_98);
            let exact = libm::log(x);
            assert!((ln(x) - exact).abs() <= 2e-16 + 3e-16 * exact.abs(), "{x}");
        }
        for x in [1.0, 1.0 + 1e-9, 1.0 - 1e-9, 0.5, 2.0, std::f64::consts::FRAC_1_SQRT_2, f64::MIN_POSITIVE] {
            assert!((ln(x) - libm::log(x)).abs() <= 2e-16 + 3e-16 * libm::log(x).abs(), "{x}");
        }
    }

    /// Source: libm's sine and cosine (correct to about one unit in the last place). Tolerance: 1e-11 up to 1e5 rad.
    #[test]
    fn val_sin_cos_against_libm() {
        for i in -200_000..=200_000 {
            let x = f64::from(i) * 0.5 + f64::from(i % 7) * 0.013;
            let (s, c) = sin_cos(x);
            assert!((s - libm::sin(x)).abs() < 1e-11 && (c - libm::cos(x)).abs() < 1e-11, "{x}");
        }
        for x in [0.0, 1e-9, FRAC_PI_4, FRAC_PI_2, PI, TAU] {
            for x in [x, -x] {
                let (s, c) = sin_cos(x);
                assert!((s - libm::sin(x)).abs() < 1e-12 && (c - libm::cos(x)).abs() < 1e-12, "{x}");
            }
        }
    }

    /// Source: libm's arc tangent (correct to about one unit in the last place). Tolerance: 2e-13.
    #[test]
    fn val_atan2_against_libm() {
        for i in 0..=100_000 {
            let (y, x) = libm::sincos(f64::from(i) * 1e-5 * TAU + 1e-7);
            for size in [1e-6, 1.0, 300.0] {
                let got = atan2(size * y, size * x);
                assert!((got - libm::atan2(size * y, size * x)).abs() < 2e-13, "{x} {y}");
            }
        }
        for (y, x) in [(0.0, 1.0), (1.0, 0.0), (-1.0, 0.0), (0.0, -1.0), (0.0, 0.0)] {
            assert!((atan2(y, x) - libm::atan2(y, x)).abs() < 2e-13, "{x} {y}");
        }
    }
}
