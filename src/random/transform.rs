//! Inverse-CDF transforms over libm: the samplers whose values are under contract.
//!
//! Normal quantile: P. J. Acklam's rational approximation would need a refinement step; used here is
//! M. J. Wichura, Algorithm AS 241 (PPND16), Applied Statistics 37 (1988) 477-484, relative accuracy about
//! 1e-16 for 1e-316 < p < 1 - 1e-16.

/// Φ(x), by the complementary error function (relative accuracy about 1e-15 in both tails).
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}

/// Standard normal density.
pub fn normal_pdf(x: f64) -> f64 {
    0.398_942_280_401_432_7 * libm::exp(-0.5 * x * x)
}

/// Φ⁻¹(p) for 0 < p < 1; ±∞ at the ends.
pub fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * horner(&AS241_A, r) / horner(&AS241_B, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if tail <= 0.0 {
        return if q < 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let r = (-libm::log(tail)).sqrt();
    let value = if r <= 5.0 {
        horner(&AS241_C, r - 1.6) / horner(&AS241_D, r - 1.6)
    } else {
        horner(&AS241_E, r - 5.0) / horner(&AS241_F, r - 5.0)
    };
    if q < 0.0 { -value } else { value }
}

fn horner(coefficients_descending: &[f64; 8], x: f64) -> f64 {
    coefficients_descending.iter().fold(0.0, |sum, c| sum * x + c)
}

const AS241_A: [f64; 8] = [
    2509.0809287301226727,
    33430.575583588128105,
    67265.770927008700853,
    45921.953931549871457,
    13731.693765509461125,
    1971.5909503065514427,
    133.14166789178437745,
    3.387132872796366608,
];
const AS241_B: [f64; 8] = [
    5226.495278852545925,
    28729.085735721942674,
    39307.89580009271061,
    21213.794301586595867,
    5394.1960214247511077,
    687.1870074920579083,
    42.313330701600911252,
    1.0,
];
const AS241_C: [f64; 8] = [
    7.7454501427834140764e-4,
    0.0227238449892691845833,
    0.24178072517745061177,
    1.27045825245236838258,
    3.64784832476320460504,
    5.7694972214606914055,
    4.6303378461565452959,
    1.42343711074968357734,
];
const AS241_D: [f64; 8] = [
    1.05075007164441684324e-9,
    5.475938084995344946e-4,
    0.0151986665636164571966,
    0.14810397642748007459,
    0.68976733498510000455,
    1.6763848301838038494,
    2.05319162663775882187,
    1.0,
];
const AS241_E: [f64; 8] = [
    2.01033439929228813265e-7,
    2.71155556874348757815e-5,
    0.0012426609473880784386,
    0.026532189526576123093,
    0.29656057182850489123,
    1.7848265399172913358,
    5.4637849111641143699,
    6.6579046435011037772,
];
const AS241_F: [f64; 8] = [
    2.04426310338993978564e-15,
    1.4215117583164458887e-7,
    1.8463183175100546818e-5,
    7.868691311456132591e-4,
    0.0148753612908506148525,
    0.13692988092273580531,
    0.59983220655588793769,
    1.0,
];

/// Exponential with the given mean.
pub fn exponential_quantile(p: f64, mean: f64) -> f64 {
    -mean * libm::log1p(-p)
}

/// Poisson count by inversion (mean ≥ 0; exact summation of the probabilities, so meant for means below
/// about 700).
pub fn poisson_quantile(p: f64, mean: f64) -> u32 {
    let mut term = libm::exp(-mean);
    let mut cumulative = term;
    let mut count = 0u32;
    // The bound only matters when rounding keeps the sum just below p.
    let last = (mean + 40.0 * mean.sqrt() + 60.0) as u32;
    while p > cumulative && count < last {
        count += 1;
        term *= mean / f64::from(count);
        cumulative += term;
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: M. J. Wichura, AS 241, Applied Statistics 37 (1988), p. 478 check values
    /// (Φ⁻¹(0.25), Φ⁻¹(0.001), Φ⁻¹(1e-20)). Tolerance: 1e-14 relative.
    #[test]
    fn val_normal_quantile() {
        for (p, z) in [
            (0.25, -0.674_489_750_196_081_7),
            (0.001, -3.090_232_306_167_813_5),
            (1e-20, -9.262_340_089_798_408),
        ] {
            assert!((normal_quantile(p) / z - 1.0_f64).abs() < 1e-14, "{p}: {}", normal_quantile(p));
        }
        assert_eq!(normal_quantile(0.5), 0.0);
    }

    /// Source: standard normal tail, Abramowitz & Stegun, Handbook of Mathematical Functions (1964) §26.2;
    /// Φ(−8) = 6.220960574271819e-16. Tolerance: 1e-13 relative.
    #[test]
    fn val_normal_cdf_tail() {
        assert!((normal_cdf(-8.0) / 6.220_960_574_271_82e-16 - 1.0).abs() < 1e-13);
        for z in [-6.0, -3.0, -0.2, 0.0, 1.5, 4.0] {
            assert!((normal_quantile(normal_cdf(z)) - z).abs() < 1e-9);
        }
    }

    #[test]
    fn poisson_quantile_inverts_the_sum() {
        // e^-2 = .1353, +.2707 = .4060, +.2707 = .6767
        assert_eq!([0.1, 0.2, 0.5, 0.7].map(|p| poisson_quantile(p, 2.0)), [0, 1, 2, 3]);
        assert_eq!(poisson_quantile(0.999_999, 0.0), 0);
    }
}
