//! Other runners as screens between antenna and tag.
//!
//! Each neighbour is a vertical screen 0.45 m wide and 1.7 m high that faces the ray. Loss of one screen:
//!
//!   L = −20 log₁₀( 1 − (F_h1 + F_h2)(F_w1 + F_w2) ),  F = atan( ±(π/2)·√( (π/λ)(D₁ + D₂ − r) ) )/π
//!
//! with D₁, D₂ the distances from the ray's two ends to the edge and r that between the ends, all in the view in question (from above for
//! the width, from the side for the height); + where the ray passes inside the edge, − outside. Losses add in dB (amplitudes
//! multiply), capped at 30 dB.
//! Source: 3GPP TR 38.901 V17 §7.6.4.2, blockage model B, eqs 7.6-29 and 7.6-30 (read in two open implementations).
//! The width is our estimate: shoulders (bideltoid breadth of ANSUR II, Natick/TR-15/007, 0.45 to 0.51 m).
//!
//! Neighbours move with the runner; their places are a hard-core Poisson field in the runner's frame.
//! Known weakness: the model ignores polarisation; within 1 m other models differ from it by up to 2x in dB.

use crate::numeric::elementary::{atan2, pick};
use crate::random::Stream;
use crate::random::transform::poisson_quantile;
use crate::vector::Vec3;
use multiversion::multiversion;
use serde::Serialize;
use std::f64::consts::{FRAC_PI_2, PI};

pub const SCREEN_WIDTH_M: f64 = 0.45;
pub const SCREEN_HEIGHT_M: f64 = 1.7;
/// Least amplitude all screens together leave: 30 dB.
pub const CAP_AMPLITUDE: f64 = 0.031_622_776_601_683_79;
/// DIFFERENCE: a screen whose middle stands further than this off the ray is left out, m. Its loss would be below 0.25 dB at the
/// distances of a timing point (tested), far below what the model itself is good for; most neighbours cost nothing that way.
pub const ASIDE_M: f64 = 1.2;
/// Nobody stands closer than this to a neighbour, m.
pub const HARD_CORE_M: f64 = 0.5;
/// Neighbours up to this far ahead and behind are placed, m.
pub const REACH_M: f64 = 4.0;
/// Most neighbours kept; about 2 runners/m² over an 8 m road.
pub const MAX_NEIGHBOURS: usize = 128;

/// A neighbour's place: metres ahead of the runner and metres from the middle of the road.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Neighbour {
    pub ahead_m: f64,
    pub y_m: f64,
}

/// Places neighbours of mean density `per_m2` on a road `road_width_m` wide around a runner at `lateral_m`.
/// Sequential hard core: a point within 0.5 m of the runner or of an earlier point is dropped, so very dense fields come out thinner.
pub fn place(stream: &mut Stream, per_m2: f64, road_width_m: f64, lateral_m: f64, out: &mut Vec<Neighbour>) {
    out.clear();
    let mean = per_m2 * 2.0 * REACH_M * road_width_m;
    let count = poisson_quantile(stream.uniform(), mean).min(4 * MAX_NEIGHBOURS as u32);
    for _ in 0..count {
        let ahead_m = (2.0 * stream.uniform() - 1.0) * REACH_M;
        let y_m = (stream.uniform() - 0.5) * road_width_m;
        let apart = |ahead: f64, y: f64| {
            let (dx, dy) = (ahead_m - ahead, y_m - y);
            dx * dx + dy * dy >= HARD_CORE_M * HARD_CORE_M
        };
        if out.len() < MAX_NEIGHBOURS && apart(0.0, lateral_m) && out.iter().all(|n| apart(n.ahead_m, n.y_m))
        {
            out.push(Neighbour { ahead_m, y_m });
        }
    }
}

/// Amplitude left by one screen of `width_m`, from `z_m.0` to `z_m.1` high, at horizontal place `at_m` on the ray
/// from `from` to `to`; 1 when the screen does not stand between the ends. At least 1e-6.
#[multiversion(targets("x86_64+avx2"))]
pub fn screen_amplitude(
    from: Vec3,
    to: Vec3,
    at_m: (f64, f64),
    width_m: f64,
    z_m: (f64, f64),
    wavelength_m: f64,
) -> f64 {
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let horizontal2 = dx * dx + dy * dy;
    let (px, py) = (at_m.0 - from.x, at_m.1 - from.y);
    let dot = px * dx + py * dy;
    if dot <= 0.0 || dot >= horizontal2 {
        return 1.0;
    }
    let horizontal = horizontal2.sqrt();
    let d1 = dot / horizontal;
    let d2 = horizontal - d1;
    let aside = (px * dy - py * dx) / horizontal;
    let half = 0.5 * width_m;
    let ray_z = from.z + (to.z - from.z) * d1 / horizontal;
    let straight = (horizontal2 + (to.z - from.z) * (to.z - from.z)).sqrt();
    // The two edges seen from above, then the two seen from the side: offsets from the ray's two ends, the straight way,
    // whether the ray passes inside. One loop for all four, taken together.
    let (left, right) = (aside - half, aside + half);
    let near = [left, right, z_m.1 - from.z, z_m.0 - from.z];
    let far = [left, right, z_m.1 - to.z, z_m.0 - to.z];
    let direct = [horizontal, horizontal, straight, straight];
    let sign =
        [aside < half, aside > -half, ray_z < z_m.1, ray_z > z_m.0].map(|inside| pick(inside, 1.0, -1.0));
    let mut f = [0.0; 4];
    for i in 0..4 {
        let excess = (d1 * d1 + near[i] * near[i]).sqrt() + (d2 * d2 + far[i] * far[i]).sqrt() - direct[i];
        f[i] = sign[i] * atan2(FRAC_PI_2 * (PI / wavelength_m * excess.max(0.0)).sqrt(), 1.0) * (1.0 / PI);
    }
    // Far outside two edges the product can turn slightly negative (a gain); the model means no loss there.
    (1.0 - (f[2] + f[3]) * (f[0] + f[1])).clamp(1e-6, 1.0)
}

/// Amplitude factor of all neighbours on the ray from `from` to `to`, never below the cap. `below_ground` is true
/// for the ray unfolded in the road: its screens reach as far below the road as above it.
pub fn neighbours_amplitude(
    neighbours: &[Neighbour],
    runner_x_m: f64,
    from: Vec3,
    to: Vec3,
    below_ground: bool,
    wavelength_m: f64,
) -> f64 {
    let mut amplitude = 1.0;
    each_screen(neighbours, runner_x_m, from, to, below_ground, wavelength_m, |_, one| amplitude *= one);
    amplitude.max(CAP_AMPLITUDE)
}

/// Number and amplitude factor of each neighbour near that ray.
#[inline(always)]
pub fn each_screen(
    neighbours: &[Neighbour],
    runner_x_m: f64,
    from: Vec3,
    to: Vec3,
    below_ground: bool,
    wavelength_m: f64,
    mut told: impl FnMut(usize, f64),
) {
    let z = (if below_ground { -SCREEN_HEIGHT_M } else { 0.0 }, SCREEN_HEIGHT_M);
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let horizontal2 = dx * dx + dy * dy;
    for (number, n) in neighbours.iter().enumerate() {
        let (px, py) = (runner_x_m + n.ahead_m - from.x, n.y_m - from.y);
        let along = px * dx + py * dy;
        let aside = px * dy - py * dx;
        if along > 0.0 && along < horizontal2 && aside * aside < ASIDE_M * ASIDE_M * horizontal2 {
            let place = (runner_x_m + n.ahead_m, n.y_m);
            told(number, screen_amplitude(from, to, place, SCREEN_WIDTH_M, z, wavelength_m));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Purpose;
    use crate::units::{amplitude_ratio_to_db, wavelength_m};

    fn screen_loss_db(
        from: Vec3,
        to: Vec3,
        x: f64,
        y: f64,
        width: f64,
        z: (f64, f64),
        wavelength: f64,
    ) -> f64 {
        -amplitude_ratio_to_db(screen_amplitude(from, to, (x, y), width, z, wavelength))
    }

    /// Source: 3GPP TR 38.901 V17 §7.6.4.2 eqs 7.6-29/30 (read in two open implementations), both ends at 1.2 m,
    /// screen 0 to 1.7 m, 915 MHz, evaluated with Python. Tolerance: 0.006 dB (printed to 0.01).
    #[test]
    fn val_blockage_model_b() {
        for (width, distance, d1, aside, loss_db) in [
            (0.3, 2.0, 1.0, 0.0, 3.41),
            (0.3, 3.0, 1.5, 0.0, 2.69),
            (0.3, 3.0, 1.5, 0.15, 2.11),
            (0.3, 3.0, 1.5, 0.50, 0.56),
            (0.3, 3.0, 0.75, 0.0, 3.17),
            (0.5, 2.0, 1.0, 0.0, 5.26),
            (0.5, 3.0, 1.5, 0.0, 4.25),
            (0.5, 5.0, 2.5, 0.0, 3.15),
            (0.5, 5.0, 0.5, 0.0, 5.35),
        ] {
            let got = screen_loss_db(
                Vec3::new(0.0, 0.0, 1.2),
                Vec3::new(distance, 0.0, 1.2),
                d1,
                aside,
                width,
                (0.0, 1.7),
                wavelength_m(915.0),
            );
            assert!((got - loss_db).abs() < 0.006, "{width} {distance} {d1} {aside}: {got}");
        }
    }

    /// Source: as above, overhead antenna at 3.0 m, tag at 1.2 m 2.5 m ahead, screen 0.5 by 1.7 m. The
    /// projection is a choice of the implementation, worth a few tenths of a dB. Tolerance: 0.5 dB.
    #[test]
    fn val_blockage_overhead() {
        for (before_m, loss_db) in [(0.3, 5.57), (0.5, 3.83), (0.75, 2.00), (1.0, 1.03), (1.5, 0.40)] {
            let got = screen_loss_db(
                Vec3::new(0.0, 0.0, 3.0),
                Vec3::new(2.5, 0.0, 1.2),
                2.5 - before_m,
                0.0,
                0.5,
                (0.0, 1.7),
                wavelength_m(915.0),
            );
            assert!((got - loss_db).abs() < 0.5, "{before_m}: {got}");
        }
    }

    /// Source: a half-plane that just touches the ray halves the field, 20·log10(2) = 6.02 dB (ITU-R P.526,
    /// ν = 0, from memory). Tolerance: 0.01 dB, since the screen here is large, not infinite.
    #[test]
    fn val_grazing_half_plane() {
        let got = screen_loss_db(
            Vec3::new(0.0, 0.0, 1.7),
            Vec3::new(4.0, 0.0, 1.7),
            2.0,
            0.0,
            2e6,
            (-1e6, 1.7),
            wavelength_m(915.0),
        );
        assert!((got - 6.0206).abs() < 0.01, "{got}");
    }

    #[test]
    fn neighbours_keep_apart_and_the_loss_is_capped() {
        let mut out = Vec::new();
        let mut placed = 0usize;
        for passing in 0..400 {
            let mut stream = Stream::new(7, Purpose::Neighbours, 0, 0, passing);
            place(&mut stream, 0.3, 6.0, 1.0, &mut out);
            placed += out.len();
            for (i, a) in out.iter().enumerate() {
                assert!(libm::hypot(a.ahead_m, a.y_m - 1.0) >= HARD_CORE_M);
                assert!(
                    out[..i].iter().all(|b| libm::hypot(a.ahead_m - b.ahead_m, a.y_m - b.y_m) >= HARD_CORE_M)
                );
            }
        }
        // Poisson mean 14.4 each, thinned by the hard core to roughly 1/(1 + 0.3·π·0.25) of it at worst.
        let mean = placed as f64 / 400.0;
        assert!((10.5..14.4).contains(&mean), "{mean}");
        let crowd = vec![Neighbour { ahead_m: 0.6, y_m: 0.0 }; 50];
        let (far, near) = (Vec3::new(3.0, 0.0, 1.2), Vec3::new(0.0, 0.0, 1.2));
        assert_eq!(neighbours_amplitude(&crowd, 0.0, far, near, false, 0.33), CAP_AMPLITUDE);
        assert!((amplitude_ratio_to_db(CAP_AMPLITUDE) + 30.0).abs() < 1e-12);
    }

    #[test]
    fn screens_left_out_would_have_cost_little() {
        let mut largest: f64 = 0.0;
        for distance in [1.0, 2.0, 3.0, 4.0] {
            for share in [0.1, 0.3, 0.5, 0.8] {
                for z in [0.02, 1.2, 2.8] {
                    largest = largest.max(screen_loss_db(
                        Vec3::new(0.0, 0.0, z),
                        Vec3::new(distance, 0.0, 1.2),
                        share * distance,
                        ASIDE_M,
                        SCREEN_WIDTH_M,
                        (0.0, SCREEN_HEIGHT_M),
                        wavelength_m(915.0),
                    ));
                }
            }
        }
        assert!(largest < 0.25, "{largest}");
    }
}
