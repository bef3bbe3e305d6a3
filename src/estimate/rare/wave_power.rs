//! Total power of the diffuse waves of one antenna, as a coordinate of its own.
//!
//! The powers of the waves are independent and exponential. Their sum is gamma distributed, and how it is shared among
//! them is independent of it (E. Lukacs, A characterization of the gamma distribution, Ann. Math. Stat. 26 (1955) 319-324). So
//! waves drawn as ever and scaled to a total drawn from its own law have the law they had.

use crate::numeric::gamma::{gamma_quantile, gamma_upper_quantile};
use crate::passing::diffuse::WAVES;
use crate::random::transform::{normal_cdf, normal_quantile};

/// Total power of the waves of an antenna: the sum of `WAVES` exponential powers of mean 1/`WAVES`, which is gamma distributed.
/// Its quantile function, tabulated over the normal score.
pub struct WavePower {
    ln_power: Vec<f64>,
}

impl WavePower {
    const REACH: f64 = 8.0;
    const STEP: f64 = 0.05;

    pub fn new() -> WavePower {
        let shape = WAVES as f64;
        let nodes = (2.0 * WavePower::REACH / WavePower::STEP).round() as usize;
        let ln_power = (0..=nodes)
            .map(|node| {
                let z = node as f64 * WavePower::STEP - WavePower::REACH;
                let power = if z < 0.0 {
                    gamma_quantile(shape, normal_cdf(z))
                } else {
                    gamma_upper_quantile(shape, normal_cdf(-z))
                };
                libm::log(power / shape)
            })
            .collect();
        WavePower { ln_power }
    }

    /// Power exceeded with odds 1 − u; the mean is 1.
    pub fn quantile(&self, u: f64) -> f64 {
        let last = self.ln_power.len() - 1;
        let position = ((normal_quantile(u) + WavePower::REACH) / WavePower::STEP).clamp(0.0, last as f64);
        let node = (position as usize).min(last - 1);
        let t = position - node as f64;
        libm::exp(self.ln_power[node] * (1.0 - t) + self.ln_power[node + 1] * t)
    }
}

impl Default for WavePower {
    fn default() -> Self {
        WavePower::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: chi-square with 16 degrees of freedom (twice the shape), upper 5 % point 26.296, lower 5 % point
    /// 7.962, median 15.338 (Abramowitz & Stegun 1964, table 26.8). Tolerance: 2e-4 relative (the table's step).
    #[test]
    fn val_wave_power() {
        let power = WavePower::new();
        for (u, chi_square) in [(0.05, 7.962), (0.5, 15.338), (0.95, 26.296)] {
            assert!((power.quantile(u) / (chi_square / 16.0) - 1.0).abs() < 2e-4, "{u}");
        }
    }
}
