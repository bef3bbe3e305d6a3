//! Reader antenna: gain over direction and the polarisation of the field it sends there.
//!
//! Local axes: b boresight; v the unit vector ⟂ b in the vertical plane through b, pointing up (b = ±z: v = +x);
//! h = b × v. For a direction k leaving the antenna, φ = atan2(k·h, k·b) and θ = asin(k·v), and
//!
//!   G = G₀ − min( min(12(φ/φ₃)², A) + min(12(θ/θ₃)², A), A )
//!
//! Source: 3GPP TR 38.901 V17, table 7.3-1 (element pattern; read in an open implementation).
//! Field: e₁ = the part of h transverse to k, normalised (v where that vanishes); e₂ = k × e₁. Linear with tilt
//! τ from h: e₁ cos τ + e₂ sin τ. Elliptic with axial ratio AR: (e₁ ± j t e₂)/√(1+t²), t = 10^(−AR/20).
//!
//! Known weakness: peak gain and beamwidths are over-determined; `study::check` compares the gain
//! with the directivity of this pattern.

use crate::course::antenna::{Antenna, Polarisation};
use crate::numeric::elementary::{atan2, pick};
use crate::units::db_to_amplitude_ratio;
use crate::vector::{Field, Vec3};
use num_complex::Complex64;

/// Pattern numbers: half-power beamwidths in degrees, largest attenuation in dB.
#[derive(Clone, Copy, Debug)]
pub struct Pattern {
    pub gain_dbi: f64,
    pub horizontal_beamwidth_deg: f64,
    pub vertical_beamwidth_deg: f64,
    pub front_to_back_db: f64,
}

impl Pattern {
    /// Gain in dBi towards azimuth `phi_deg` and elevation `theta_deg` from boresight.
    #[inline(always)]
    pub fn gain_dbi(&self, phi_deg: f64, theta_deg: f64) -> f64 {
        let cut = |angle_deg: f64, beamwidth_deg: f64| {
            let x = angle_deg / beamwidth_deg;
            (12.0 * x * x).min(self.front_to_back_db)
        };
        let fall = cut(phi_deg, self.horizontal_beamwidth_deg) + cut(theta_deg, self.vertical_beamwidth_deg);
        self.gain_dbi - fall.min(self.front_to_back_db)
    }
}

/// An antenna with its axes worked out once; of several elements fed together, the one next to the middle with its share of the power.
#[derive(Clone, Copy, Debug)]
pub struct Radiator {
    pub at: Vec3,
    pub boresight: Vec3,
    pub up: Vec3,
    pub across: Vec3,
    pub pattern: Pattern,
    /// √G₀.
    pub peak_amplitude: f64,
    /// Weights of e₁ and e₂.
    polarisation: (Complex64, Complex64),
    /// Off: the peak gain in every direction.
    directive: bool,
}

impl Radiator {
    pub fn new(antenna: &Antenna, directive: bool) -> Radiator {
        let (boresight, up, across) = antenna.axes();
        // Fed together, each of n elements has the gain of all less 10 log n and a share 1/n of the power.
        let gain_dbi = antenna.gain_dbi - 2.0 * antenna.elements.gain_db();
        let middle = Vec3::new(antenna.x_m, antenna.y_m, antenna.z_m);
        let first_m = antenna.elements.places_m().nth((antenna.elements.count - 1) / 2).unwrap_or(0.0);
        let polarisation = match antenna.polarisation {
            Polarisation::Linear { tilt_deg } => {
                let (sin, cos) = libm::sincos(tilt_deg.to_radians());
                (Complex64::new(cos, 0.0), Complex64::new(sin, 0.0))
            }
            Polarisation::Circular { axial_ratio_db, right_handed } => {
                let t = db_to_amplitude_ratio(-axial_ratio_db);
                let norm = 1.0 / (1.0 + t * t).sqrt();
                // With exp(+jωt) and e₂ = k × e₁ a lag of e₂ (−j) turns right-handed about k.
                let sign = if right_handed { -1.0 } else { 1.0 };
                (Complex64::new(norm, 0.0), Complex64::new(0.0, sign * t * norm))
            }
        };
        Radiator {
            at: middle + across * first_m,
            boresight,
            up,
            across,
            pattern: Pattern {
                gain_dbi,
                horizontal_beamwidth_deg: antenna.horizontal_beamwidth_deg,
                vertical_beamwidth_deg: antenna.vertical_beamwidth_deg,
                front_to_back_db: antenna.front_to_back_db,
            },
            peak_amplitude: db_to_amplitude_ratio(gain_dbi),
            polarisation,
            directive,
        }
    }

    /// The elements beyond the first (the one next to the middle), m along `across` from it.
    pub fn further_m(antenna: &Antenna) -> Vec<f64> {
        let first = (antenna.elements.count - 1) / 2;
        let places: Vec<f64> = antenna.elements.places_m().collect();
        let apart = |(i, place): (usize, &f64)| (i != first).then(|| place - places[first]);
        places.iter().enumerate().filter_map(apart).collect()
    }

    /// Amplitude √G (linear, isotropic = 1) towards unit direction `k`.
    #[inline(always)]
    pub fn amplitude(&self, k: Vec3) -> f64 {
        db_to_amplitude_ratio(self.gain_dbi(k))
    }

    /// Gain in dBi towards unit direction `k`.
    #[inline(always)]
    pub fn gain_dbi(&self, k: Vec3) -> f64 {
        let (across, ahead, up) = (k.dot(self.across), k.dot(self.boresight), k.dot(self.up));
        let phi = atan2(across, ahead);
        // asin of the part upwards; k is a unit vector.
        let theta = atan2(up, (across * across + ahead * ahead).sqrt());
        let towards_dbi = self.pattern.gain_dbi(phi.to_degrees(), theta.to_degrees());
        pick(self.directive, towards_dbi, self.pattern.gain_dbi)
    }

    /// Most amplitude towards any direction within `within_rad` of unit `k` (head of `promise`).
    #[inline(always)]
    pub fn most_amplitude(&self, k: Vec3, within_rad: f64) -> f64 {
        let ahead = k.dot(self.boresight);
        let off_rad = (atan2((1.0 - ahead * ahead).max(0.0).sqrt(), ahead) - within_rad).max(0.0);
        let Pattern { gain_dbi, horizontal_beamwidth_deg, vertical_beamwidth_deg, front_to_back_db } =
            self.pattern;
        let x = off_rad.to_degrees() / horizontal_beamwidth_deg.max(vertical_beamwidth_deg);
        let fall_db = pick(self.directive, (12.0 * x * x).min(front_to_back_db), 0.0);
        db_to_amplitude_ratio(gain_dbi - fall_db)
    }

    /// Unit-amplitude field vector towards unit direction `k`.
    #[inline(always)]
    pub fn field(&self, k: Vec3) -> Field {
        let transverse = |axis: Vec3| axis - k * axis.dot(k);
        let first = transverse(self.across);
        let first = Vec3::choose(first.dot(first) < 1e-12, transverse(self.up), first).unit();
        let second = k.cross(first);
        Field::along(first, self.polarisation.0) + Field::along(second, self.polarisation.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::power_ratio_to_db;

    const TR38901: Pattern = Pattern {
        gain_dbi: 8.0,
        horizontal_beamwidth_deg: 65.0,
        vertical_beamwidth_deg: 65.0,
        front_to_back_db: 30.0,
    };

    /// Source: 3GPP TR 38.901 V17 table 7.3-1 (65°, 65°, 30 dB, 30 dB, 8 dBi), evaluated; zenith angles of the
    /// table are 90° minus elevation here. Tolerance: half of the last digit.
    #[test]
    fn val_element_pattern() {
        for (zenith_deg, azimuth_deg, gain_dbi) in [
            (90.0, 0.0, 8.0),
            (90.0, 32.5, 5.0),
            (57.5, 32.5, 2.0),
            (90.0, 65.0, -4.0),
            (45.0, 0.0, 2.2485),
            (0.0, 0.0, -15.0059),
            (90.0, 180.0, -22.0),
        ] {
            assert!((TR38901.gain_dbi(azimuth_deg, 90.0 - zenith_deg) - gain_dbi).abs() < 5e-5);
        }
    }

    fn radiator(polarisation: Polarisation) -> Radiator {
        let antenna = Antenna {
            name: "a".into(),
            x_m: 0.0,
            y_m: 0.0,
            z_m: 1.0,
            azimuth_deg: 0.0,
            elevation_deg: 0.0,
            gain_dbi: 6.0,
            horizontal_beamwidth_deg: 70.0,
            vertical_beamwidth_deg: 70.0,
            front_to_back_db: 25.0,
            polarisation,
            elements: crate::course::elements::Elements::ONE,
            power_dbm: 30.0,
            cable_loss_db: 0.0,
        };
        Radiator::new(&antenna, true)
    }

    /// Source: polarisation loss of an elliptic wave on a linear antenna, best r²/(1+r²) and worst 1/(1+r²) with
    /// r = 10^(AR/20): C. A. Balanis, Antenna Theory, 4th ed. 2016, §2.12 (from memory), evaluated.
    /// AR 0: −3.010 dB; AR 3: −1.764 and −4.764 dB. Tolerance: half of the last digit.
    #[test]
    fn val_axial_ratio_bounds() {
        for (axial_ratio_db, best_db, worst_db) in
            [(0.0, -3.010, -3.010), (1.0, -2.539, -3.539), (3.0, -1.764, -4.764), (6.0, -0.973, -6.973)]
        {
            let r = radiator(Polarisation::Circular { axial_ratio_db, right_handed: true });
            let field = r.field(r.boresight);
            let taken: Vec<f64> = (0..360)
                .map(|i| {
                    let (sin, cos) = libm::sincos(f64::from(i).to_radians() * 0.5);
                    power_ratio_to_db(field.dot(r.across * cos + r.up * sin).norm_sqr())
                })
                .collect();
            let best = taken.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let worst = taken.iter().copied().fold(f64::INFINITY, f64::min);
            assert!((best - best_db).abs() < 5e-4 && (worst - worst_db).abs() < 5e-4, "{best} {worst}");
        }
    }

    /// Source: cos² law of linear polarisations, textbook (E. L. Malus); 30° −1.25 dB, 60° −6.02 dB. Tolerance:
    /// half of the last digit.
    #[test]
    fn val_linear_rotation() {
        let r = radiator(Polarisation::Linear { tilt_deg: 0.0 });
        for (angle_deg, loss_db) in
            [(10.0_f64, -0.13), (30.0, -1.25), (45.0, -3.01), (60.0, -6.02), (80.0, -15.21)]
        {
            let (sin, cos) = libm::sincos(angle_deg.to_radians());
            let taken = r.field(r.boresight).dot(r.across * cos + r.up * sin).norm_sqr();
            assert!((power_ratio_to_db(taken) - loss_db).abs() < 5e-3);
        }
    }

    #[test]
    fn no_direction_near_by_is_stronger_than_the_bound() {
        let r = radiator(Polarisation::Linear { tilt_deg: 0.0 });
        let pattern = Pattern { horizontal_beamwidth_deg: 100.0, vertical_beamwidth_deg: 40.0, ..r.pattern };
        let r = Radiator { pattern, ..r };
        let mut nearest: f64 = 0.0;
        for i in 0..72 {
            for j in 0..=36 {
                let k = Vec3::from_azimuth_elevation_deg(5.0 * f64::from(i), 5.0 * f64::from(j) - 90.0);
                for turn in 0..12 {
                    let aside = Vec3::from_azimuth_elevation_deg(30.0 * f64::from(turn), 17.0);
                    let off = (aside - k * aside.dot(k)).unit();
                    let (sin, cos) = libm::sincos(0.1);
                    let share = r.amplitude(k * cos + off * sin) / r.most_amplitude(k, 0.1 + 1e-9);
                    assert!(share <= 1.0 + 1e-9, "{i} {j} {turn}: {share}");
                    nearest = nearest.max(share);
                }
            }
        }
        assert!(nearest > 0.99, "the bound is met at boresight and behind: {nearest}");
    }

    #[test]
    fn axes_are_right_handed_and_fields_transverse() {
        for (azimuth, elevation) in [(0.0, 0.0), (90.0, 30.0), (10.0, -80.0), (0.0, 90.0), (45.0, -90.0)] {
            let mut r = radiator(Polarisation::Circular { axial_ratio_db: 1.0, right_handed: false });
            let b = Vec3::from_azimuth_elevation_deg(azimuth, elevation);
            r.boresight = b;
            for k in [b, Vec3::new(0.3, -0.4, 0.5).unit(), r.across, -r.up] {
                let e = r.field(k);
                assert!(e.dot(k).norm() < 1e-12);
                let power = e.x.norm_sqr() + e.y.norm_sqr() + e.z.norm_sqr();
                assert!((power - 1.0).abs() < 1e-12);
            }
            assert!((r.across.norm() - 1.0).abs() < 1e-12);
        }
    }
}
