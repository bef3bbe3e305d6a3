//! Permittivity of roads, water and tissue: ε = ε' − jε'', time convention exp(+jωt).
//!
//! Roads: ITU-R P.2040 table 3, ε' = a·f^b, σ = c·f^d with f in GHz (coefficients read in an open
//! implementation). The table's stated lower limit is 1 GHz for all ground rows, so 0.85–0.95 GHz is a slight extrapolation.
//! Water: ITU-R P.527-4 double Debye model (read in an open implementation), with the dissolved-salt terms left out:
//! rain is fresh.
//! Tissue: S. Gabriel, R. W. Lau, C. Gabriel, Phys. Med. Biol. 41 (1996) 2271-2293, four Cole-Cole terms.

use crate::course::surface::Material;
use crate::units::VACUUM_PERMITTIVITY_F_M;
use num_complex::Complex64;
use std::f64::consts::PI;

/// ε from real part and conductivity in S/m at `freq_mhz`.
pub fn permittivity(real: f64, conductivity_s_m: f64, freq_mhz: f64) -> Complex64 {
    Complex64::new(real, -conductivity_s_m / (2.0 * PI * freq_mhz * 1e6 * VACUUM_PERMITTIVITY_F_M))
}

/// Road material at `freq_mhz`; `None` for metal, which reflects everything.
pub fn road(material: Material, freq_mhz: f64) -> Option<Complex64> {
    let (a, b, c, d) = match material {
        Material::Concrete => (5.24, 0.0, 0.0462, 0.7822),
        Material::Asphalt => (4.83, 0.0, 0.0108, 1.3969),
        Material::Brick => (3.91, 0.0, 0.0238, 0.16),
        Material::Wood => (1.99, 0.0, 0.0047, 1.0718),
        Material::VeryDryGround => (3.0, 0.0, 0.00015, 2.52),
        Material::MediumDryGround => (15.0, -0.1, 0.035, 1.63),
        Material::WetGround => (30.0, -0.4, 0.15, 1.30),
        Material::Metal => return None,
    };
    let f_ghz = freq_mhz / 1000.0;
    Some(permittivity(a * libm::pow(f_ghz, b), c * libm::pow(f_ghz, d), freq_mhz))
}

/// Fresh water at `freq_mhz` and temperature in °C.
pub fn water(freq_mhz: f64, temperature_c: f64) -> Complex64 {
    let f = freq_mhz / 1000.0;
    let theta = 300.0 / (temperature_c + 273.15) - 1.0;
    let f1 = 20.20 - 146.4 * theta + 316.0 * theta * theta;
    let f2 = 39.8 * f1;
    let eps_s = 77.66 + 103.3 * theta;
    let eps_1 = 0.0671 * eps_s;
    let eps_inf = 3.52 - 7.52 * theta;
    let (x1, x2) = (f / f1, f / f2);
    let real = (eps_s - eps_1) / (1.0 + x1 * x1) + (eps_1 - eps_inf) / (1.0 + x2 * x2) + eps_inf;
    let imaginary = x1 * (eps_s - eps_1) / (1.0 + x1 * x1) + x2 * (eps_1 - eps_inf) / (1.0 + x2 * x2);
    Complex64::new(real, -imaginary)
}

/// One Cole-Cole term: strength, relaxation time in s, broadening.
struct ColeCole(f64, f64, f64);

/// Muscle (along and across averaged, as tabulated) at `freq_mhz`.
pub fn muscle(freq_mhz: f64) -> Complex64 {
    let omega = 2.0 * PI * freq_mhz * 1e6;
    let terms = [
        ColeCole(50.0, 7.234e-12, 0.10),
        ColeCole(7000.0, 353.678e-9, 0.10),
        ColeCole(1.2e6, 318.310e-6, 0.10),
        ColeCole(2.5e7, 2.274e-3, 0.0),
    ];
    let mut eps = Complex64::new(4.0, -0.20 / (omega * VACUUM_PERMITTIVITY_F_M));
    for ColeCole(strength, tau_s, alpha) in terms {
        // (jωτ)^(1−α) written out, so that only libm's pow and sincos are used.
        let exponent = 1.0 - alpha;
        let size = libm::pow(omega * tau_s, exponent);
        let (sin, cos) = libm::sincos(exponent * PI / 2.0);
        eps += strength / Complex64::new(1.0 + size * cos, size * sin);
    }
    eps
}

/// The torso as the mirror behind a tag: two thirds of muscle's permittivity and conductivity.
/// Source: the usual whole-body average in radio dosimetry (two-thirds muscle), from memory.
pub fn torso(freq_mhz: f64) -> Complex64 {
    muscle(freq_mhz) * (2.0 / 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn conductivity(eps: Complex64, freq_mhz: f64) -> f64 {
        -eps.im * 2.0 * PI * freq_mhz * 1e6 * VACUUM_PERMITTIVITY_F_M
    }

    /// Source: Gabriel, Lau, Gabriel, Phys. Med. Biol. 41 (1996) 2271, parameters of its Appendix C table; the
    /// 900 MHz pair 55.032 / 0.9430 S/m is also what the IFAC tissue calculator prints (from memory).
    /// Tolerance: half of the last digit.
    #[test]
    fn val_muscle() {
        for (freq_mhz, real, sigma) in
            [(866.0, 55.114, 0.9315), (900.0, 55.032, 0.9430), (915.0, 54.997, 0.9481)]
        {
            let eps = muscle(freq_mhz);
            assert!(
                (eps.re - real).abs() < 6e-4 && (conductivity(eps, freq_mhz) - sigma).abs() < 6e-5,
                "{eps}"
            );
        }
        let eps = torso(915.0);
        assert!((eps.re - 36.665).abs() < 6e-4 && (conductivity(eps, 915.0) - 0.6321).abs() < 6e-5);
    }

    /// Source: ITU-R P.527-4 (read in an open implementation), pure water at 915 MHz. Tolerance: half of the
    /// last digit.
    #[test]
    fn val_water() {
        for (temperature_c, real, imaginary) in
            [(0.0, 86.950, 8.377), (10.0, 83.398, 5.649), (20.0, 79.857, 4.023), (30.0, 76.460, 3.001)]
        {
            let eps = water(915.0, temperature_c);
            assert!((eps.re - real).abs() < 6e-4 && (eps.im + imaginary).abs() < 6e-4, "{eps}");
        }
    }

    /// Source: ITU-R P.2040 table 3 (read in an open implementation), 915 MHz. Tolerance: half of the last digit.
    #[test]
    fn val_roads() {
        for (material, real, sigma) in [
            (Material::Concrete, 5.240, 0.04310),
            (Material::Asphalt, 4.830, 0.00954),
            (Material::Brick, 3.910, 0.02346),
            (Material::Wood, 1.990, 0.00427),
            (Material::MediumDryGround, 15.134, 0.03028),
            (Material::WetGround, 31.085, 0.13364),
        ] {
            let eps = road(material, 915.0).expect("not metal");
            assert!((eps.re - real).abs() < 6e-4 && (conductivity(eps, 915.0) - sigma).abs() < 6e-6, "{eps}");
        }
    }
}
