//! Adaptive Gauss-Kronrod quadrature (10-point Gauss, 21-point Kronrod) on a finite interval.
//!
//! Source of the nodes and weights: R. Piessens and others, QUADPACK (1983), rule QK21. The interval with the
//! largest error is halved until the sum of errors is within the wish.

use crate::random::transform::normal_pdf;

const NODES: [f64; 11] = [
    0.995_657_163_025_808_1,
    0.973_906_528_517_171_7,
    0.930_157_491_355_708_2,
    0.865_063_366_688_984_5,
    0.780_817_726_586_416_9,
    0.679_409_568_299_024_4,
    0.562_757_134_668_604_7,
    0.433_395_394_129_247_2,
    0.294_392_862_701_460_2,
    0.148_874_338_981_631_22,
    0.0,
];
const KRONROD: [f64; 11] = [
    0.011_694_638_867_371_874,
    0.032_558_162_307_964_725,
    0.054_755_896_574_351_995,
    0.075_039_674_810_919_96,
    0.093_125_454_583_697_6,
    0.109_387_158_802_297_64,
    0.123_491_976_262_065_84,
    0.134_709_217_311_473_34,
    0.142_775_938_577_060_09,
    0.147_739_104_901_338_49,
    0.149_445_554_002_916_9,
];
/// Weights of the nodes with odd index.
const GAUSS: [f64; 5] = [
    0.066_671_344_308_688_14,
    0.149_451_349_150_580_6,
    0.219_086_362_515_982_04,
    0.269_266_719_309_996_35,
    0.295_524_224_714_752_87,
];

fn rule(f: &impl Fn(f64) -> f64, low: f64, high: f64) -> (f64, f64) {
    let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
    let mut kronrod = KRONROD[10] * f(centre);
    let mut gauss = 0.0;
    for i in 0..10 {
        let pair = f(centre - half * NODES[i]) + f(centre + half * NODES[i]);
        kronrod += KRONROD[i] * pair;
        if i % 2 == 1 {
            gauss += GAUSS[i / 2] * pair;
        }
    }
    (half * kronrod, (half * (kronrod - gauss)).abs())
}

/// ∫ f from `low` to `high` (finite), to the larger of `absolute` and `relative` × result, with at most 2000
/// pieces. The estimate of the error is that of the worst case and usually far too large.
/// Give the integrator its hint: cut the range where the function is narrow.
pub fn integrate(f: impl Fn(f64) -> f64, low: f64, high: f64, absolute: f64, relative: f64) -> f64 {
    let (value, error) = rule(&f, low, high);
    let mut pieces = vec![(low, high, value, error)];
    loop {
        let total: f64 = pieces.iter().map(|p| p.2).sum();
        let error: f64 = pieces.iter().map(|p| p.3).sum();
        if !(error > absolute.max(relative * total.abs())) || pieces.len() >= 2000 {
            return total;
        }
        let worst =
            (0..pieces.len()).max_by(|&i, &j| pieces[i].3.total_cmp(&pieces[j].3)).expect("never empty");
        let (low, high, ..) = pieces.swap_remove(worst);
        let middle = 0.5 * (low + high);
        for (a, b) in [(low, middle), (middle, high)] {
            let (value, error) = rule(&f, a, b);
            pieces.push((a, b, value, error));
        }
    }
}

// Expectations over one standard normal number, by the trapezoid rule: for a smooth integrand that dies out at both ends it
// converges faster than any power of the step. Source: L. N. Trefethen, J. A. C. Weideman, The exponentially convergent
// trapezoidal rule, SIAM Review 56(3), 2014. The integrand must not change much within one step (0.01).
const REACH: f64 = 9.5;
const STEPS: usize = 1900;

/// E f(Z), Z standard normal. What lies beyond ±9.5 (odds 2e-21) is left out.
pub fn normal_expectation(f: impl Fn(f64) -> f64) -> f64 {
    let step = 2.0 * REACH / STEPS as f64;
    let sum: f64 = (0..=STEPS)
        .map(|i| {
            let z = -REACH + step * i as f64;
            normal_pdf(z) * f(z)
        })
        .sum();
    sum * step
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: closed forms (∫₀¹ √x = 2/3, ∫₀¹ ln x = −1, ∫ e^(−x²/2) = √2π, ∫₀¹ x²⁹ = 1/30).
    /// Tolerance: 1e-10 (1e-15 for the polynomial, which the rule integrates exactly).
    #[test]
    fn val_integrals_with_closed_forms() {
        assert!((integrate(f64::sqrt, 0.0, 1.0, 1e-12, 0.0) - 2.0 / 3.0).abs() < 1e-10);
        assert!((integrate(libm::log, 0.0, 1.0, 1e-12, 0.0) + 1.0).abs() < 1e-10);
        let bell = integrate(|x| libm::exp(-0.5 * x * x), -40.0, 38.0, 1e-13, 0.0);
        assert!((bell - 2.506_628_274_631_000_5).abs() < 1e-12);
        let power = integrate(|x| libm::pow(x, 29.0), 0.0, 1.0, 1.0, 0.0);
        assert!((power - 1.0 / 30.0).abs() < 1e-15);
    }

    /// Source: moments of the standard normal distribution, 1, 0, 1, 0, 3, 0, 15 (Abramowitz & Stegun,
    /// Handbook of Mathematical Functions, 1964, 26.1.26). Tolerance: 1e-12.
    #[test]
    fn val_normal_moments() {
        for (power, moment) in [1.0, 0.0, 1.0, 0.0, 3.0, 0.0, 15.0].into_iter().enumerate() {
            let got = normal_expectation(|z| (0..power).fold(1.0, |product, _| product * z));
            assert!((got - moment).abs() < 1e-12, "moment {power}: {got}");
        }
    }
}
