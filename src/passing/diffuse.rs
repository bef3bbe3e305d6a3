//! Scattered waves: what comes from fences, vehicles and the crowd, as M = 8 plane waves that the worn tag takes as it takes any ray.
//!
//!   c_scattered = Σₘ √((1 + R²)/M)·(λ/4π(d₁ + ℓₘ))·10^(−S/20)·gₘ·T(ûₘ, Êₘ)·B(ûₘ)·e^(−jk(ûₘ·r + ℓₘ))
//!
//! They are driven by all the power the antenna radiates (0 dBi on average over the directions), not by its peak gain. Each spreads over
//! the direct path d₁ and a detour ℓₘ (exponential) and loses the scatter loss S, stated against a free path of that length. gₘ is complex
//! normal with E|gₘ|² = 1. The direction ûₘ is uniform over the upper hemisphere; what the road throws back comes from below: R² is the road's
//! power reflection averaged over that hemisphere and both polarisations, and R²/(1 + R²) of the waves come from there.
//! Êₘ is linear, transverse, at a random angle. T is the response of the worn tag (`body`), taken at the mean attitude and gap of the crossing.
//! B: a wave is taken to come from 4 m away, so that the screens of the neighbours there act on it as on any ray.
//!
//! The directions and B are those of the place, shared by the antennas of a point; gain, detour and polarisation are each antenna's own. One
//! antenna has one set for both directions: the fade of the reply is the fade of the command.
//! Rician K is an outcome: `rician`.
//! Source of the plane-wave sum: R. H. Clarke, A Statistical Theory of Mobile-Radio Reception, Bell Syst. Tech. J. 47 (1968) 957-1000 (from memory).
//! Known weakness: scatter loss and detour are beliefs; sway and flutter (±8°, half the gap) do not act on the waves.

use crate::numeric::elementary::{ln, sin_cos};
use crate::random::Stream;
use crate::vector::{Field, Vec3};
use multiversion::multiversion;
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::PI;

pub const WAVES: usize = 8;

/// Directions of the waves at one crossing and what the tag takes from each.
#[derive(Clone, Copy, Debug)]
pub struct Arrivals {
    /// Directions of travel.
    pub along: [Vec3; WAVES],
    /// √((1 + R²)/M)·B·T for the horizontal and the upright transverse field.
    pub taken: [[Complex64; 2]; WAVES],
}

/// The horizontal and the upright unit field of a wave along `k`.
pub fn fields(k: Vec3) -> [Vec3; 2] {
    let across = k.cross(crate::vector::Z);
    let level = if across.dot(across) < 1e-12 { crate::vector::X } else { across.unit() };
    [level, level.cross(k)]
}

impl Arrivals {
    /// Draws the directions (two uniforms a wave). `road`: mean power reflection R² of the road in 0..=1; `takes`: B·T of a wave along
    /// k with field E.
    pub fn draw(stream: &mut Stream, road: f64, takes: impl Fn(Vec3, &Field) -> Complex64) -> Arrivals {
        let along = [(); WAVES].map(|()| direction(stream.uniform(), stream.uniform(), road));
        let share = ((1.0 + road) / WAVES as f64).sqrt();
        let one = Complex64::new(1.0, 0.0);
        let taken = along.map(|k| fields(k).map(|e| takes(k, &Field::along(e, one)) * share));
        Arrivals { along, taken }
    }
}

/// Direction of travel: from above, or for a share `road`/(1 + `road`) of the ranks from below.
pub fn direction(height: f64, azimuth: f64, road: f64) -> Vec3 {
    let below = road / (1.0 + road);
    let z = if height < below { height / below } else { (below - height) / (1.0 - below) };
    let (sin, cos) = sin_cos(2.0 * PI * azimuth);
    let across = (1.0 - z * z).max(0.0).sqrt();
    Vec3::new(across * cos, across * sin, z)
}

/// The waves of one antenna at one passing, component by component, so that several fit into one register.
#[derive(Clone, Copy, Debug)]
pub struct DiffuseWaves {
    x: [f64; WAVES],
    y: [f64; WAVES],
    z: [f64; WAVES],
    detour_m: [f64; WAVES],
    /// Size of √((1 + R²)/M)·10^(−S/20)·gₘ·T·B/4π; its phase is part of `phase_rad`.
    amplitude: [f64; WAVES],
    phase_rad: [f64; WAVES],
}

impl DiffuseWaves {
    /// Draws gain, detour and polarisation of each wave (four uniforms a wave). `level` = 10^(−S/20).
    pub fn draw(stream: &mut Stream, arrivals: &Arrivals, level: f64, mean_detour_m: f64) -> DiffuseWaves {
        let mut uniforms = [[0.0; WAVES]; 4];
        for wave in 0..WAVES {
            for u in &mut uniforms {
                u[wave] = stream.uniform();
            }
        }
        from_uniforms(&uniforms, arrivals, level, mean_detour_m)
    }

    /// Sum at place `r` (m), `distance` m from the antenna, on the scale of c.
    #[inline(always)]
    pub fn sum(&self, r: Vec3, distance: f64, wave_number: f64) -> Complex64 {
        // Steps over arrays, so that the compiler takes several waves at a time.
        let (mut re, mut im) = ([0.0; WAVES], [0.0; WAVES]);
        for m in 0..WAVES {
            let path = self.x[m] * r.x + self.y[m] * r.y + self.z[m] * r.z + self.detour_m[m];
            let (sin, cos) = sin_cos(self.phase_rad[m] - wave_number * path);
            let spread = self.amplitude[m] / (distance + self.detour_m[m]);
            re[m] = spread * cos;
            im[m] = spread * sin;
        }
        let wavelength_m = 2.0 * PI / wave_number;
        Complex64::new(re.iter().sum::<f64>() * wavelength_m, im.iter().sum::<f64>() * wavelength_m)
    }

    /// The waves one by one.
    pub fn told(&self) -> Vec<WaveFacts> {
        let one = |m: usize| WaveFacts {
            x: self.x[m],
            y: self.y[m],
            z: self.z[m],
            detour_m: self.detour_m[m],
            amplitude: self.amplitude[m],
            phase_deg: self.phase_rad[m].to_degrees(),
        };
        (0..WAVES).map(one).collect()
    }

    /// Largest |sum| at any place at least `distance` m from the antenna.
    #[inline(always)]
    pub fn bound(&self, distance: f64, wavelength_m: f64) -> f64 {
        let each = self.amplitude.iter().zip(&self.detour_m);
        each.map(|(amplitude, detour_m)| amplitude / (distance + detour_m)).sum::<f64>() * wavelength_m
    }
}

/// One scattered wave in numbers: direction of travel, and the terms of [`DiffuseWaves::sum`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WaveFacts {
    pub x: f64,
    pub y: f64,
    pub z: f64,
    pub detour_m: f64,
    /// aₘ: the wave adds λ·aₘ/(d₁ + detour)·e^(j(phase − k(û·r + detour))).
    pub amplitude: f64,
    pub phase_deg: f64,
}

/// Waves from uniforms in (0, 1): detour, power, phase, angle of the field.
#[multiversion(targets("x86_64+avx2"))]
fn from_uniforms(u: &[[f64; WAVES]; 4], arrivals: &Arrivals, level: f64, mean_detour_m: f64) -> DiffuseWaves {
    let zero = [0.0; WAVES];
    let mut waves =
        DiffuseWaves { x: zero, y: zero, z: zero, detour_m: zero, amplitude: zero, phase_rad: zero };
    let [detour, power, phase, angle] = u;
    for m in 0..WAVES {
        let Vec3 { x, y, z } = arrivals.along[m];
        (waves.x[m], waves.y[m], waves.z[m]) = (x, y, z);
        waves.detour_m[m] = -mean_detour_m * ln(1.0 - detour[m]);
        let (sin, cos) = sin_cos(PI * angle[m]);
        // g is complex normal, so the phase of T is lost in that of g.
        let taken = (arrivals.taken[m][0] * cos + arrivals.taken[m][1] * sin).norm_sqr();
        waves.amplitude[m] = (-ln(1.0 - power[m]) * taken).max(0.0).sqrt() * level / (4.0 * PI);
        waves.phase_rad[m] = 2.0 * PI * phase[m];
    }
    waves
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Purpose;

    /// Waves of passing `n` on a tag that answers to every field alike.
    fn waves(n: u64, road: f64, detour_m: f64) -> DiffuseWaves {
        let mut stream = Stream::new(3, Purpose::Diffuse, 0, 0, n);
        let arrivals = Arrivals::draw(&mut stream, road, |_, _| Complex64::new(1.0, 0.0));
        // Both fields taken alike: |cos + sin|² is 1 on average over the angle.
        DiffuseWaves::draw(&mut stream, &arrivals, 1.0, detour_m)
    }

    /// Source: Clarke 1968 (from memory): power exponential with mean 1 (here on the scale (λ/4πd)²), field correlation over distance δ in
    /// three dimensions sin(kδ)/(kδ), δ along the axis; a road that reflects all makes the directions a whole sphere. 20,000 draws, tolerance: the mean lies
    /// within 4.5 standard errors (false alarm 7e-6 each). The spread of the angle makes the power's variance 1.5/8 larger.
    #[test]
    fn val_power_and_correlation() {
        let (k, n, d, shift) = (19.0, 20_000, 5.0, 0.1);
        let scale = 2.0 * PI / k / (4.0 * PI * d);
        let (mut power, mut cross) = (0.0, Complex64::new(0.0, 0.0));
        for passing in 0..n {
            let waves = waves(passing, 1.0, 0.0);
            let here = waves.sum(Vec3::new(0.3, 0.2, 1.2), d, k) / scale;
            let there = waves.sum(Vec3::new(0.3 + shift, 0.2, 1.2), d, k) / scale;
            // R² = 1 doubles the power.
            power += 0.5 * here.norm_sqr();
            cross += 0.5 * here * there.conj();
            assert!(here.norm() * scale <= waves.bound(d, 2.0 * PI / k) + 1e-15);
        }
        let n = n as f64;
        assert!((power / n - 1.0).abs() < 4.5 * (1.2 / n).sqrt());
        assert!((cross.re / n - libm::sin(k * shift) / (k * shift)).abs() < 4.5 * 1.5 / n.sqrt());
    }

    #[test]
    fn waves_from_below_are_as_many_as_the_road_throws_back() {
        for road in [0.0, 0.25, 1.0] {
            let mut stream = Stream::new(4, Purpose::Diffuse, 0, 0, 0);
            let up =
                (0..40_000).filter(|_| direction(stream.uniform(), stream.uniform(), road).z > 0.0).count();
            let want = road / (1.0 + road);
            // 4.5 standard errors of a share of 40,000.
            assert!((up as f64 / 40_000.0 - want).abs() <= 4.5 * 0.5 / 200.0, "{road}: {up}");
        }
    }

    /// The bound holds at every place no nearer, whatever the detours.
    #[test]
    fn the_bound_holds_further_away() {
        for passing in 0..200 {
            let waves = waves(passing, 0.2, 6.0);
            for i in 0..20 {
                let d = 2.0 + 0.1 * f64::from(i);
                let c = waves.sum(Vec3::new(d, 0.3, 1.1), d, 18.5);
                assert!(c.norm() <= waves.bound(2.0, 2.0 * PI / 18.5) * (1.0 + 1e-12));
            }
        }
    }
}
