//! Reflection at a flat surface: Fresnel coefficients at grazing angle ψ, with a film on top if there is one.
//!
//!   R_H = (sin ψ − q)/(sin ψ + q),  R_V = (ε sin ψ − q)/(ε sin ψ + q),  q = √(ε − cos²ψ)
//!
//! At ψ = 90° R_H = −R_V (sign convention). A film of thickness t over a half-space:
//! R = (r₀₁ + r₁₂ e^(−2jq₁kt)) / (1 + r₀₁ r₁₂ e^(−2jq₁kt)).
//! Source: M. Born, E. Wolf, Principles of Optics, 7th ed., §1.5 and §1.6.4 (from memory), time exp(+jωt).

use crate::numeric::elementary::pick;
use crate::units::amplitude_ratio_to_db;
use crate::vector::{Field, Vec3};
use num_complex::Complex64;
use std::sync::Arc;

/// R_H (field parallel to the surface) and R_V.
#[derive(Clone, Copy, Debug)]
pub struct Reflection {
    pub horizontal: Complex64,
    pub vertical: Complex64,
}

const ONE: Complex64 = Complex64::new(1.0, 0.0);

/// √z with the real part ≥ 0 (waves that decay downwards under exp(+jωt) for Im ε ≤ 0).
fn root(z: Complex64) -> Complex64 {
    // sqrt is correctly rounded everywhere, so this repeats on every platform.
    let size = (z.re * z.re + z.im * z.im).sqrt();
    let re = (0.5 * (size + z.re)).max(0.0).sqrt();
    let im = (0.5 * (size - z.re)).max(0.0).sqrt();
    Complex64::new(re, if z.im < 0.0 { -im } else { im })
}

/// Coefficients of the interface from medium 1 to medium 2 for a wave whose grazing sine in air is `sin_psi`.
fn interface(eps_1: Complex64, eps_2: Complex64, cos2_psi: f64) -> Reflection {
    let q1 = root(eps_1 - cos2_psi);
    let q2 = root(eps_2 - cos2_psi);
    Reflection {
        horizontal: (q1 - q2) / (q1 + q2),
        vertical: (eps_2 * q1 - eps_1 * q2) / (eps_2 * q1 + eps_1 * q2),
    }
}

/// Half-space of permittivity `eps` at grazing sine `sin_psi` in 0..=1.
pub fn half_space(eps: Complex64, sin_psi: f64) -> Reflection {
    interface(ONE, eps, 1.0 - sin_psi * sin_psi)
}

/// A film of permittivity `film` and electrical thickness k·t (radians in air) over `below`.
pub fn film_over(film: Complex64, k_thickness: f64, below: Complex64, sin_psi: f64) -> Reflection {
    let cos2 = 1.0 - sin_psi * sin_psi;
    let top = interface(ONE, film, cos2);
    let bottom = interface(film, below, cos2);
    let q1 = root(film - cos2);
    // exp(−2j q₁ k t)
    let turn = q1 * (2.0 * k_thickness);
    let (sin, cos) = libm::sincos(-turn.re);
    let round_trip = Complex64::new(cos, sin) * libm::exp(turn.im);
    let join = |r01: Complex64, r12: Complex64| (r01 + r12 * round_trip) / (ONE + r01 * r12 * round_trip);
    Reflection {
        horizontal: join(top.horizontal, bottom.horizontal),
        vertical: join(top.vertical, bottom.vertical),
    }
}

/// Loss of a wave that passes a film of permittivity `film` and electrical thickness k·t (radians in air) with air on both sides, at normal
/// incidence, dB: t = (1 − r²) e^(−jqkt) / (1 − r² e^(−2jqkt)).
pub fn film_loss_db(film: Complex64, k_thickness: f64) -> f64 {
    let r2 = interface(ONE, film, 0.0).horizontal.powi(2);
    let turn = root(film) * k_thickness;
    let (sin, cos) = libm::sincos(-turn.re);
    let once = Complex64::new(cos, sin) * libm::exp(turn.im);
    -amplitude_ratio_to_db(((ONE - r2) * once / (ONE - r2 * once * once)).norm())
}

/// A perfect conductor.
pub const METAL: Reflection =
    Reflection { horizontal: Complex64::new(-1.0, 0.0), vertical: Complex64::new(1.0, 0.0) };

/// Splits a field into s and p about a mirror of normal `n` and mirrors it.
/// Returns the mirrored direction and field; `k` and `n` unit vectors.
#[inline(always)]
pub fn mirror(k: Vec3, e: &Field, n: Vec3, r: &Reflection) -> (Vec3, Field) {
    let across = k.cross(n);
    let length2 = across.dot(across);
    // Normal incidence: any transverse direction serves as s.
    let x_serves = k.x.abs() < 0.9;
    let help = Vec3::new(pick(x_serves, 1.0, 0.0), pick(x_serves, 0.0, 1.0), 0.0);
    let any = (help - k * help.dot(k)).unit();
    let steep = length2 < 1e-18;
    let s = Vec3::choose(steep, any, across * (1.0 / length2.max(1e-300).sqrt()));
    let p = s.cross(k);
    let k_mirrored = k - n * (2.0 * k.dot(n));
    let p_mirrored = s.cross(k_mirrored);
    let field = Field::along(s, r.horizontal * e.dot(s)) + Field::along(p_mirrored, r.vertical * e.dot(p));
    (k_mirrored, field)
}

/// A surface's coefficients tabulated over sin ψ and interpolated linearly: 257 points, so that a ray
/// costs no complex root. Largest error against the formula for roads and torso: below 2e-3 in |R| above
/// sin ψ = 0.01 (tested); at grazing incidence R is nearly −1 either way.
#[derive(Clone, Debug)]
pub struct ReflectionTable {
    rows: Arc<[Reflection; ReflectionTable::CELLS + 1]>,
}

impl ReflectionTable {
    const CELLS: usize = 256;

    pub fn new(reflection: impl Fn(f64) -> Reflection) -> ReflectionTable {
        let rows = std::array::from_fn(|i| reflection(i as f64 / Self::CELLS as f64));
        ReflectionTable { rows: Arc::new(rows) }
    }

    /// Coefficients at `sin_psi`; outside 0..=1 those of the nearer end.
    // Whole numbers of 32 bits: several are made from floating ones at once.
    #[inline(always)]
    pub fn at(&self, sin_psi: f64) -> Reflection {
        let position = sin_psi.clamp(0.0, 1.0) * Self::CELLS as f64;
        let k = (position as i32).clamp(0, Self::CELLS as i32 - 1);
        let t = position - f64::from(k);
        let (a, b) = (&self.rows[k as usize], &self.rows[k as usize + 1]);
        Reflection {
            horizontal: a.horizontal + (b.horizontal - a.horizontal) * t,
            vertical: a.vertical + (b.vertical - a.vertical) * t,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::materials;
    use super::*;
    use crate::course::surface::Material;
    use crate::units::wave_number_rad_m;

    fn near(value: Complex64, size: f64, angle_deg: f64) {
        assert!((value.norm() - size).abs() < 6e-5, "{} against {size}", value.norm());
        let angle = libm::atan2(value.im, value.re).to_degrees();
        // The source rounds 1/(2πε₀) to 17.98, worth up to 0.01° where the phase turns fast.
        assert!((angle - angle_deg).abs() < 1.1e-2, "{angle} against {angle_deg}");
    }

    /// Source: Fresnel's equations (Born & Wolf, §1.5, from memory) with ITU-R P.2040 table 3 materials
    /// at 915 MHz, evaluated with Python. Tolerance: half of the last digit.
    #[test]
    fn val_fresnel() {
        let concrete = materials::road(Material::Concrete, 915.0).unwrap();
        let asphalt = materials::road(Material::Asphalt, 915.0).unwrap();
        let wet = materials::road(Material::WetGround, 915.0).unwrap();
        for (eps, psi_deg, h, ha, v, va) in [
            (concrete, 5.0_f64, 0.9200, 179.53, 0.6369, -178.34),
            (concrete, 30.0, 0.6224, 177.36, 0.1129, -17.07),
            (concrete, 60.0, 0.4460, 175.66, 0.3449, -5.59),
            (concrete, 90.0, 0.3966, 175.11, 0.3966, -4.89),
            (asphalt, 20.0, 0.7065, 179.52, 0.0922, -175.35),
            (asphalt, 45.0, 0.4930, 179.05, 0.2431, -1.90),
            (wet, 10.0, 0.9388, 179.84, 0.0217, -110.01),
            (wet, 90.0, 0.6965, 179.11, 0.6965, -0.89),
        ] {
            let r = half_space(eps, libm::sin(psi_deg.to_radians()));
            near(r.horizontal, h, ha);
            near(r.vertical, v, va);
            let broadside = half_space(eps, 1.0);
            assert!((broadside.horizontal + broadside.vertical).norm() < 1e-14);
        }
    }

    /// Source: layered-slab formula (Born & Wolf, §1.6.4, from memory), water 15 °C after ITU-R P.527-4 on
    /// asphalt, 915 MHz, evaluated with Python. Tolerance: half of the last digit.
    #[test]
    fn val_water_film_on_asphalt() {
        let asphalt = materials::road(Material::Asphalt, 915.0).unwrap();
        let water = materials::water(915.0, 15.0);
        for (film_mm, normal, h30, v30) in [
            (0.0, 0.375, 0.603, 0.090),
            (0.5, 0.431, 0.645, 0.183),
            (1.0, 0.541, 0.726, 0.320),
            (2.0, 0.723, 0.849, 0.540),
            (3.0, 0.822, 0.909, 0.678),
        ] {
            let kt = wave_number_rad_m(915.0) * film_mm * 1e-3;
            let broadside = film_over(water, kt, asphalt, 1.0);
            let slanted = film_over(water, kt, asphalt, 0.5);
            assert!((broadside.horizontal.norm() - normal).abs() < 6e-4);
            assert!((slanted.horizontal.norm() - h30).abs() < 6e-4);
            assert!((slanted.vertical.norm() - v30).abs() < 6e-4);
        }
    }

    /// Source: characteristic matrix of a layer in air (Born & Wolf, §1.6.2, from memory), ε = 80 − 4j, 915 MHz, evaluated with Python.
    /// Tolerance: half of the last digit.
    #[test]
    fn val_loss_through_a_water_film() {
        let water = Complex64::new(80.0, -4.0);
        for (film_mm, loss_db) in
            [(0.0, 0.0), (0.2, 0.1634), (0.5, 0.7252), (1.0, 2.1633), (2.0, 5.2631), (5.0, 10.9648)]
        {
            let kt = wave_number_rad_m(915.0) * film_mm * 1e-3;
            assert!(
                (film_loss_db(water, kt) - loss_db).abs() < 6e-5,
                "{film_mm}: {}",
                film_loss_db(water, kt)
            );
        }
    }

    #[test]
    fn table_follows_the_formula() {
        for eps in [materials::torso(915.0), materials::road(Material::WetGround, 915.0).unwrap()] {
            let table = ReflectionTable::new(|s| half_space(eps, s));
            for i in 0..2000 {
                let s = 0.01 + 0.99 * f64::from(i) / 1999.0;
                let (a, b) = (table.at(s), half_space(eps, s));
                assert!((a.horizontal - b.horizontal).norm() < 2e-3);
                assert!((a.vertical - b.vertical).norm() < 2e-3, "{s} {} {}", a.vertical, b.vertical);
            }
        }
    }
}
