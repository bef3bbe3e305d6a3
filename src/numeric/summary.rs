//! Mean and standard deviation of a list.

/// Mean; NaN for an empty list.
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Sample variance (divisor n − 1), by deviations from the mean; NaN for fewer than 2 values.
pub fn variance(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return f64::NAN;
    }
    let centre = mean(values);
    values.iter().map(|v| (v - centre) * (v - centre)).sum::<f64>() / (values.len() - 1) as f64
}

/// Sample standard deviation (divisor n − 1); NaN for fewer than 2 values.
pub fn standard_deviation(values: &[f64]) -> f64 {
    variance(values).sqrt()
}

/// Quantile by linear interpolation between order statistics at (n − 1)p (R. J. Hyndman and Y. Fan, Sample
/// quantiles in statistical packages, The American Statistician 50 (1996) 361-365, type 7). `sorted` ascending.
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> f64 {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let at = p * (sorted.len() - 1) as f64;
    let k = (at as usize).min(sorted.len() - 1);
    let next = (k + 1).min(sorted.len() - 1);
    sorted[k] + (at - k as f64) * (sorted[next] - sorted[k])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_lists() {
        assert_eq!((mean(&[1.0, 2.0, 6.0]), variance(&[1.0, 2.0, 6.0])), (3.0, 7.0));
        assert!(mean(&[]).is_nan() && standard_deviation(&[1.0]).is_nan());
        assert_eq!(quantile_of_sorted(&[1.0, 2.0, 4.0], 0.75), 3.0);
        assert_eq!(quantile_of_sorted(&[5.0], 0.3), 5.0);
        // A large common offset must not eat the digits.
        assert!((variance(&[1e9 + 1.0, 1e9 + 2.0, 1e9 + 3.0]) - 1.0).abs() < 1e-12);
    }
}
