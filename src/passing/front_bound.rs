//! How much a worn tag can take from a wave at most, by gap and direction: the bound that spares rounds.
//!
//! The front factor of `body` for the worst polarisation, tabulated over the gap (0, 1, 2 … 61 mm), sin ψ = −k·n̂ and the
//! part of k along the tag's axis; a cell holds the largest value at its corners and middle, times 1.1 for what lies between (tested
//! against random directions). Rays from behind take at most 1.

use super::body::{Body, Worn};
use super::fresnel::ReflectionTable;
use crate::vector::{Field, Vec3, X, Y, Z};
use num_complex::Complex64;

const GAPS: usize = 62;
const CELLS: usize = 16;
const SLACK: f64 = 1.1;

#[derive(Clone, Debug)]
pub struct FrontBound {
    /// [gap][sin ψ][|k·axis|]
    cells: Vec<f32>,
    anywhere: Vec<f64>,
}

impl FrontBound {
    pub fn new(torso: &ReflectionTable, wave_number: f64, patterned: bool) -> FrontBound {
        let body = Body { torso: torso.clone(), rear_floor: 1.0 };
        // Value at each grid corner of half the cell size: corners and middles at once.
        let fine = 2 * CELLS + 1;
        let mut corners = vec![0.0_f64; GAPS * fine * fine];
        for gap in 0..GAPS {
            for i in 0..fine {
                for j in 0..fine {
                    let sin_psi = (i as f64 / (fine - 1) as f64).max(1e-3);
                    let across = j as f64 / (fine - 1) as f64;
                    let room = (1.0 - sin_psi * sin_psi).max(0.0).sqrt();
                    let along = across.min(room).min(0.9999);
                    corners[(gap * fine + i) * fine + j] =
                        largest(&body, gap as f64, sin_psi, along, wave_number, patterned);
                }
            }
        }
        let mut cells = vec![0.0_f32; GAPS * CELLS * CELLS];
        let mut anywhere = vec![1.0_f64; GAPS];
        for gap in 0..GAPS {
            for i in 0..CELLS {
                for j in 0..CELLS {
                    let mut most: f64 = 1.0;
                    for g in [gap, (gap + 1).min(GAPS - 1)] {
                        for di in 0..3 {
                            for dj in 0..3 {
                                most = most.max(corners[(g * fine + 2 * i + di) * fine + 2 * j + dj]);
                            }
                        }
                    }
                    cells[(gap * CELLS + i) * CELLS + j] = (SLACK * most) as f32;
                    anywhere[gap] = anywhere[gap].max(SLACK * most);
                }
            }
        }
        FrontBound { cells, anywhere }
    }

    /// Bound for a ray along unit `k`.
    pub fn towards(&self, k: Vec3, worn: &Worn) -> f64 {
        let sin_psi = -k.dot(worn.normal);
        if sin_psi <= 0.0 {
            return 1.0;
        }
        let cell = |v: f64| ((v * CELLS as f64) as usize).min(CELLS - 1);
        let gap = (worn.gap_mm as usize).min(GAPS - 1);
        f64::from(self.cells[(gap * CELLS + cell(sin_psi)) * CELLS + cell(k.dot(worn.axis).abs())])
    }

    /// Bound for any ray at any gap from `narrow_mm` to `wide_mm`.
    pub fn at_gaps(&self, narrow_mm: f64, wide_mm: f64) -> f64 {
        let cell = |gap_mm: f64| (gap_mm.max(0.0) as usize).min(GAPS - 1);
        self.anywhere[cell(narrow_mm)..=cell(wide_mm)].iter().copied().fold(1.0, f64::max)
    }

    /// Bound for any ray.
    pub fn anywhere(&self, gap_mm: f64) -> f64 {
        self.anywhere[(gap_mm as usize).min(GAPS - 1)]
    }
}

/// Front factor for the worst polarisation: the root of the summed squares of two crossed fields.
fn largest(body: &Body, gap_mm: f64, sin_psi: f64, along: f64, wave_number: f64, patterned: bool) -> f64 {
    let up = (1.0 - sin_psi * sin_psi - along * along).max(0.0).sqrt();
    let k = (X * -sin_psi + Y * along + Z * up).unit();
    let worn = Worn { axis: Y, normal: X, gap_mm: gap_mm.max(0.05) };
    let first = (Y - k * k.dot(Y)).unit();
    let second = k.cross(first);
    let one = Complex64::new(1.0, 0.0);
    let size = |e: Vec3| body.taken(k, &Field::along(e, one), &worn, wave_number, patterned).norm_sqr();
    (size(first) + size(second)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::passing::{fresnel, materials};
    use crate::random::{Purpose, Stream};
    use crate::units::wave_number_rad_m;

    #[test]
    fn no_random_direction_exceeds_the_bound() {
        let eps = materials::torso(915.0);
        let torso = ReflectionTable::new(|s| fresnel::half_space(eps, s));
        let k = wave_number_rad_m(915.0);
        let bound = FrontBound::new(&torso, k, true);
        let mut stream = Stream::new(5, Purpose::Study, 0, 0, 0);
        let body = Body { torso, rear_floor: 0.05 };
        for _ in 0..20_000 {
            let gap_mm = 1.0 + 60.0 * stream.uniform() * stream.uniform();
            let worn = Worn { axis: Y, normal: X, gap_mm };
            let azimuth = 360.0 * stream.uniform();
            let elevation = libm::asin(2.0 * stream.uniform() - 1.0).to_degrees();
            let ray = Vec3::from_azimuth_elevation_deg(azimuth, elevation);
            let first = (Z - ray * ray.z).unit();
            let one = Complex64::new(1.0, 0.0);
            let take = |e: Vec3| body.taken(ray, &Field::along(e, one), &worn, k, true).norm_sqr();
            let most = (take(first) + take(ray.cross(first))).sqrt();
            assert!(
                most <= bound.towards(ray, &worn) && most <= bound.anywhere(gap_mm),
                "{most} {gap_mm} {ray:?}"
            );
        }
    }
}
